"""Everything that a check leaves behind: in one folder, or in a notebook."""

from __future__ import annotations

import tempfile
from html import escape
from pathlib import Path
from typing import cast

from fixturecheck.errors import SetupError
from fixturecheck.kernel.mesh.triangles import Mesh, Tessellator
from fixturecheck.kernel.shapes import Shape
from fixturecheck.progress import Progress, silent
from fixturecheck.report.folder import PAGE, PICTURES, RESULT, STEP, STL, scratch, staged, written
from fixturecheck.report.html import page
from fixturecheck.report.json import result_json
from fixturecheck.report.pictures.draw import drawing_of, write_job
from fixturecheck.report.pictures.painter import NOTHING_DRAWN, Painter
from fixturecheck.report.solids import write_setup_step, write_stl
from fixturecheck.report.viewer.block import view_of
from fixturecheck.result import Result
from fixturecheck.setup.model import Setup
from fixturecheck.wording.sentences import verdict_word


def meshes_of(result: Result, tessellator: Tessellator | None = None) -> dict[str, Mesh]:
    """Return the mesh of every shape of a result; identical parts are meshed once."""
    worker = tessellator or Tessellator()
    return {shape.name: worker.mesh(cast("Shape", shape.geometry)) for shape in result.shapes}


def write_report(result: Result, folder: str | Path, *, pictures: bool = True) -> str | None:
    """Write the report of a check into a folder, as the command line does.

    The folder then holds `report.html`, `result.json`, `setup.step`, `stl/` and `pictures/`. It appears whole
    or not at all; an earlier report in it is replaced.

    Parameters
    ----------
    result : Result
        What `fixturecheck.check` returned.
    folder : str or Path
        Where to write. It is made if it is not there. It may hold an earlier report and nothing else.
    pictures : bool
        Whether to draw. Drawing takes a few seconds, in a process of its own.

    Returns
    -------
    str or None
        Why pictures are missing although they were asked for; None where all were drawn.

    Raises
    ------
    SetupError
        The result was not made by a check, or the folder cannot be used.
    FixturecheckError
        Something could not be written.
    """
    setup = result.setup
    if not isinstance(setup, Setup):
        message = f"result {result.name!r} carries no set-up; write what `fixturecheck.check` returned"
        raise SetupError(message)
    painter = Painter() if pictures else None
    try:
        with staged(Path(folder)) as new, scratch(new), written(new):
            return write_all(new, result, setup, painter=painter)
    finally:
        if painter is not None:
            painter.stop()


def write_all(
    folder: Path,
    result: Result,
    setup: Setup,
    *,
    painter: Painter | None,
    progress: Progress = silent,
) -> str | None:
    """Write result.json, setup.step, the STL files, the pictures and report.html.

    Parameters
    ----------
    folder : Path
        An empty folder.
    painter : Painter or None
        The drawing process, started beforehand; None draws no pictures.
    progress : callable
        Called with what is being written and the share done, 0 to 1.

    Returns
    -------
    str or None
        Why pictures are missing, when some are that were asked for.

    Raises
    ------
    KernelError
        A solid could not be meshed or written.
    NotComputedError
        A number of the result is not finite.
    """
    (folder / RESULT).write_bytes(result_json(result))
    progress("meshes", 0.0)
    meshes = meshes_of(result)
    drawing = drawing_of(result, meshes)
    with tempfile.TemporaryDirectory() as home:
        if painter is not None:
            painter.begin(write_job(Path(home), folder / PICTURES, result, meshes, drawing))
        progress(STEP, 0.3)
        write_setup_step(folder / STEP, result, setup)
        progress("STL files", 0.5)
        write_stl(folder / STL, result.shapes, meshes)
        progress("pictures", 0.6)
        drawn = painter.finish() if painter is not None else NOTHING_DRAWN
    progress(PAGE, 0.95)
    pictures = drawn.read(folder / PICTURES)
    missing = "not asked for" if painter is None else drawn.trouble
    view = view_of(result, setup, meshes, drawing)
    text = page(result, setup, pictures=pictures, why_missing=missing, view=view)
    (folder / PAGE).write_text(text, encoding="utf-8")
    return drawn.trouble


HEIGHT_PX = 640


def notebook_html(result: Result) -> str:
    """Return markup that shows verdict, tables and the 3-D view, and needs nothing but itself.

    A result that no check made, which has no set-up to show, is its verdict and name.
    """
    verdict = f"{verdict_word(result.verdict)}: {result.name}"
    if not isinstance(result.setup, Setup):
        return f"<p>{escape(verdict)}</p>"
    meshes = meshes_of(result)
    view = view_of(result, result.setup, meshes, drawing_of(result, meshes))
    inside = page(result, result.setup, pictures={}, view=view)
    return (
        f'<iframe title="{escape(verdict)}" sandbox="allow-scripts" srcdoc="{escape(str(inside))}" '
        f'style="width: 100%; height: {HEIGHT_PX}px; border: 1px solid #888"></iframe>'
    )
