"""Everything that a check leaves behind: in one folder, or in a notebook."""

from __future__ import annotations

import hashlib
import itertools
import re
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import cast

from fixturecheck.errors import SetupError
from fixturecheck.kernel.mesh.triangles import Mesh, Tessellator, stl_bytes
from fixturecheck.kernel.shapes import Shape
from fixturecheck.kernel.step import Named, Rgb, write_step
from fixturecheck.progress import Progress, silent
from fixturecheck.report.folder import PAGE, PICTURES, RESULT, STEP, STL, scratch, staged, written
from fixturecheck.report.html import page
from fixturecheck.report.json import result_json
from fixturecheck.report.pictures.draw import drawing_of, write_job
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.painter import NOTHING_DRAWN, Painter
from fixturecheck.report.viewer.motions import view_of
from fixturecheck.result import Result
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.model import Setup
from fixturecheck.wording.sentences import verdict_word

_ROOT = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"
_ENTITY = re.compile(r"#(\d+)\s*=\s*((?:'(?:[^']|'')*'|[^';])*);\n?", re.DOTALL)
_REFERENCE = re.compile(r"'(?:[^']|'')*'|#(\d+)")


_INSTANCE = re.compile(r"(NEXT_ASSEMBLY_USAGE_OCCURRENCE\(')\d+(' *(?:'(?:[^']|'')*'|[^';])*;)")
_BREAK = re.compile(r"'(?:[^']|'')*'|\s*\n\s*")


def with_fixed_order(text: str) -> str:
    """Return the same Part 21 text with its instances counted from one and its styles in a fixed order.

    Parameters
    ----------
    text : str
        A STEP file as the kernel wrote it.

    Returns
    -------
    str
        A STEP file of the same content.
    """
    count = itertools.count(1)
    return _settle_styles(_INSTANCE.sub(lambda m: _on_one_line(f"{m[1]}{next(count)}{m[2]}"), text))


def _on_one_line(body: str) -> str:
    """Undo line breaks, which fall where the old numbers made them fall; strings keep theirs."""
    return _BREAK.sub(lambda m: m[0] if m[0].startswith("'") else "", body)


def _settle_styles(text: str) -> str:
    """Sort the styles by the item that they colour; text without styles comes back unchanged."""
    first = re.search(rf"^#(\d+)\s*=\s*{_ROOT}\(", text, re.MULTILINE)
    end = text.find("ENDSEC;", first.start()) if first else -1
    if first is None or end < 0:
        return text
    start_number = int(first.group(1))
    tail = {int(n): body for n, body in _ENTITY.findall(text[first.start() : end])}
    roots = [n for n, body in tail.items() if body.startswith(_ROOT)]
    bodies = {n: _sorted_items(body, tail) if n in roots else body for n, body in tail.items()}
    roots.sort(key=lambda n: _coloured(bodies[n], tail))
    ordered = _walk(roots, bodies)
    numbers = {old: start_number + i for i, old in enumerate(ordered)}
    lines = [f"#{numbers[old]} = {_renumbered(bodies[old], numbers)};\n" for old in ordered]
    return text[: first.start()] + "".join(lines) + text[end:]


def _references(body: str) -> list[int]:
    return [int(m.group(1)) for m in _REFERENCE.finditer(body) if m.group(1)]


def _target(style: int, tail: dict[int, str]) -> int:
    """Return the number of the geometry that a styled item colours: its last reference outside."""
    outside = [n for n in _references(tail[style]) if n not in tail]
    return outside[-1] if outside else style


def _coloured(root_body: str, tail: dict[int, str]) -> list[int]:
    return [_target(n, tail) for n in _references(root_body) if n in tail]


def _sorted_items(root_body: str, tail: dict[int, str]) -> str:
    """Rewrite a representation with its items in the order of what they colour."""
    references = _references(root_body)
    items = sorted((n for n in references if n in tail), key=lambda n: _target(n, tail))
    context = next(n for n in references if n not in tail)
    listed = ",".join(f"#{n}" for n in items)
    return f"{_ROOT}('',({listed}),#{context})"


def _walk(roots: list[int], bodies: dict[int, str]) -> list[int]:
    """List the style entities depth first, each once."""
    ordered: list[int] = []
    seen: set[int] = set()
    pile = list(reversed(roots))
    while pile:
        number = pile.pop()
        if number in seen:
            continue
        seen.add(number)
        ordered.append(number)
        pile.extend(n for n in reversed(_references(bodies[number])) if n in bodies)
    return ordered


def _renumbered(body: str, numbers: dict[int, int]) -> str:
    def swap(match: re.Match[str]) -> str:
        if match.group(1) is None:
            return match.group(0)
        number = int(match.group(1))
        return f"#{numbers.get(number, number)}"

    return _on_one_line(_REFERENCE.sub(swap, body))


def write_setup_step(path: Path, result: Result, setup: Setup) -> None:
    """Write a result's shapes as one AP242 assembly; bodies keep the names of their faces.

    Parameters
    ----------
    path : Path
        File to write.
    result : Result
        Its shapes are written, under its name.
    setup : Setup
        The set-up that was checked, with the faces of its bodies.

    Raises
    ------
    KernelError
        The kernel could not write the file.
    """
    write_step(path, result.name, list(_components(result, setup)))
    path.write_text(with_fixed_order(path.read_text(encoding="utf-8")), encoding="utf-8")


def _components(result: Result, setup: Setup) -> Iterator[Named]:
    """Yield one component for every shape of the result."""
    names = {body.name: tuple(body.face_names()) for body in setup.bodies}
    colours = body_colours(result.shapes)
    for shape in result.shapes:
        red, green, blue = colours[shape.name]
        rgb: Rgb = (red / 255, green / 255, blue / 255)
        faces = names.get(shape.name, ()) if shape.role in (Role.PART, Role.FIXTURE) else ()
        yield Named(name=shape.name, shape=cast("Shape", shape.geometry), rgb=rgb, face_names=faces)


_TOGETHER = {Role.AREA: "contacts_area", Role.NEAR: "contacts_near", Role.POLE: "poles"}
"""Patches are many and have no thickness; two solids that share an edge would not be one watertight shell."""

_LONGEST_BYTES = 100
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{p}{n}" for p in ("com", "lpt") for n in range(1, 10))})
"""Names that Windows does not give to files, with any ending."""


def write_stl(folder: Path, shapes: tuple[NamedShape, ...], meshes: Mapping[str, Mesh]) -> list[str]:
    """Write one STL for each body and region, and one for each kind of contact patch.

    Lines and points have no triangles and appear in setup.step only.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    shapes : tuple of NamedShape
        What to write; one whose mesh has no triangles is left out.
    meshes : mapping of str to Mesh
        By the name of the shape.

    Returns
    -------
    list of str
        Names of the files written.
    """
    groups: dict[str, list[Mesh]] = defaultdict(list)
    for shape in shapes:
        mesh = meshes[shape.name]
        if len(mesh.triangles):
            groups[_TOGETHER.get(shape.role, shape.name)].append(mesh)
    folder.mkdir(parents=True, exist_ok=True)
    names = file_names(list(groups))
    for name, members in groups.items():
        (folder / names[name]).write_bytes(stl_bytes(members))
    return [*names.values()]


def file_names(shapes: Sequence[str]) -> dict[str, str]:
    """Return the file name of each shape: one that every system takes, no two alike, whatever their case.

    Parameters
    ----------
    shapes : sequence of str
        Names of shapes.

    Returns
    -------
    dict of str to str
        By the name of the shape, with the ending.
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    for shape in shapes:
        stem = _file_stem(shape)
        name, count = stem, 1
        while name.lower() in taken:
            count += 1
            name = f"{stem}_{count}"
        taken.add(name.lower())
        found[shape] = f"{name}.stl"
    return found


def _file_stem(name: str) -> str:
    """Return a shape's name as a file name without its ending.

    It has letters, digits and `._-`, everything else is `_`; a long one is cut and ends in a digest of the
    whole, and one that a system keeps for its devices begins with `_`.
    """
    stem = "".join(c if c.isalnum() or c in "._-" else "_" for c in name)
    if len(stem.encode()) > _LONGEST_BYTES:
        digest = hashlib.sha256(name.encode()).hexdigest()[:8]
        stem = f"{stem.encode()[:_LONGEST_BYTES].decode(errors='ignore')}_{digest}"
    return f"_{stem}" if stem[:1] in {"", "."} or stem.split(".")[0].lower() in _DEVICES else stem


def meshes_of(result: Result) -> dict[str, Mesh]:
    """Return the mesh of every shape of a result; identical parts are meshed once.

    Parameters
    ----------
    result : Result
        What was found.

    Returns
    -------
    dict of str to Mesh
        By the name of the shape, where it stands.

    Raises
    ------
    KernelError
        A shape could not be meshed.
    """
    worker = Tessellator()
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
        raise SetupError(
            f"result {result.name!r} carries no set-up; write what `fixturecheck.check` returned"
        )
    painter = Painter() if pictures else None
    try:
        with staged(Path(folder)) as new, scratch(new), written(new):
            return write_all(new, result, setup, painter=painter)
    finally:
        if painter is not None:
            painter.stop()


def write_all(
    folder: Path, result: Result, setup: Setup, *, painter: Painter | None, progress: Progress = silent
) -> str | None:
    """Write result.json, setup.step, the STL files, the pictures and report.html.

    Parameters
    ----------
    folder : Path
        An empty folder.
    result : Result
        What was found.
    setup : Setup
        The set-up that was checked.
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

    Parameters
    ----------
    result : Result
        What a check returned.

    Returns
    -------
    str
        HTML, the page in a frame of its own.

    Raises
    ------
    KernelError
        A shape could not be meshed.
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
