"""Writes what a job leaves behind besides the folders of its operations: its page, its data, its pictures."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any, cast

import numpy as np

from fixturecheck.kernel.mesh.triangles import Mesh, Tessellator
from fixturecheck.kernel.shapes import Shape
from fixturecheck.process.model import JobResult
from fixturecheck.report.folder import PAGE, PICTURES, RESULT
from fixturecheck.report.job_page import job_json, job_page, state_picture
from fixturecheck.report.pictures.draw import write_scenes
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.report.pictures.scene import actor, camera, fit, legend_of
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit, up_for
from fixturecheck.result.shapes import NamedShape, Role

_GHOST = 0.35


def write_job_report(folder: Path, result: JobResult, *, painter: Painter | None) -> str | None:
    """Write the page, result.json and the pictures of a job.

    Parameters
    ----------
    folder : Path
        Holds the folders of the operations already.
    painter : Painter or None
        The drawing process; None draws no pictures.

    Returns
    -------
    str or None
        Why pictures are missing, when some are that were asked for.

    Raises
    ------
    KernelError
        A solid could not be meshed.
    """
    (folder / RESULT).write_bytes(job_json(result))
    drawn = Drawn(files=frozenset(), trouble=None)
    if painter is not None:
        shapes, scenes = _scenes(result)
        meshes = _meshes(shapes)
        with tempfile.TemporaryDirectory() as home:
            filled = [_filled(scene, shapes, meshes) for scene in scenes]
            painter.begin(write_scenes(Path(home), folder / PICTURES, filled, (shapes, meshes)))
            drawn = painter.finish()
    pictures = {name: (folder / PICTURES / name).read_bytes() for name in sorted(drawn.files)}
    missing = "not asked for" if painter is None else drawn.trouble
    (folder / PAGE).write_text(job_page(result, pictures=pictures, why_missing=missing), encoding="utf-8")
    return drawn.trouble


def _scenes(result: JobResult) -> tuple[tuple[NamedShape, ...], list[dict[str, Any]]]:
    """Return the shapes of the states, and which of them each picture shows."""
    shapes: list[NamedShape] = []
    scenes: list[dict[str, Any]] = []
    for n, state in enumerate(result.states):
        named = [NamedShape(name=f"state {n}", role=Role.PART, geometry=state.solid)]
        if state.taken is not None:
            named.append(NamedShape(name=f"taken {n}", role=Role.TAKEN, geometry=state.taken))
        met = [] if n == len(result.operations) else result.operations[n].findings
        named += [s for f in met for s in f.shapes]
        shapes += named
        title = (
            "before the first operation" if n == 0 else f"after {result.operations[n - 1].operation.title}"
        )
        scenes.append({"file": state_picture(n), "shows": [s.name for s in named], "title": title})
    return tuple({s.name: s for s in shapes}.values()), scenes


def _meshes(shapes: tuple[NamedShape, ...]) -> dict[str, Mesh]:
    worker = Tessellator()
    return {s.name: worker.mesh(cast("Shape", s.geometry)) for s in shapes}


def _filled(scene: dict[str, Any], shapes: tuple[NamedShape, ...], meshes: dict[str, Mesh]) -> dict[str, Any]:
    """Return a scene as the drawing process takes it; every picture is of one size."""
    colours = body_colours(tuple(s for s in shapes if s.role is not Role.PART))
    first = next(s for s in shapes if s.role is Role.PART)
    colours |= {s.name: body_colours((first,))[first.name] for s in shapes if s.role is Role.PART}
    eye = unit(FRONT_RIGHT)
    points = np.vstack([meshes[s.name].all_points_mm() for s in shapes])
    centre, height = fit(points, eye)
    actors = [
        actor(s, colours, opacity_share=_GHOST if s.role is Role.TAKEN else 1.0)
        for s in shapes
        if s.name in scene["shows"]
    ]
    return {
        "file": scene["file"],
        "actors": actors,
        "camera": camera(centre, eye, up_for(eye), height),
        "cut": False,
        "tags": [],
        "legend": legend_of(a["role"] for a in actors if a["role"] != Role.PART),
        "frame": False,
        "whole": True,
        "title": scene["title"],
        "verdict": None,
    }
