"""What the drawing process is handed: the scenes of a result and the meshes in them."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.order import numbered
from fixturecheck.report.pictures.figures import Figure, all_arrays
from fixturecheck.report.pictures.hold_scene import hold_scenes
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.report.pictures.scene import (
    MeshedResult,
    close_up,
    location_scene,
    overview,
    rest_scene,
    set_stage,
)
from fixturecheck.result import Result
from fixturecheck.result.shapes import NamedShape


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """Every scene of a result.

    Parameters
    ----------
    stage : MeshedResult
        The shapes with their meshes.
    general : tuple of mapping
        The set-up, how it rests, what locates it and how it holds.
    figures : mapping of str to tuple of Figure
        What a scene shows besides shapes, by its file.
    close_ups : mapping of int to mapping
        The scene of each finding that has a picture, by its number.
    """

    stage: MeshedResult
    general: tuple[Mapping[str, Any], ...]
    figures: Mapping[str, tuple[Figure, ...]]
    close_ups: Mapping[int, Mapping[str, Any]]


def drawing_of(result: Result, meshes: Mapping[str, Mesh]) -> Drawing:
    """Return every scene of a result, drawn on paper or turned on the screen."""
    stage = set_stage(result, meshes)
    held = hold_scenes(stage)
    found = (overview(stage), rest_scene(stage), location_scene(stage), *(scene for scene, _ in held))
    return Drawing(
        stage=stage,
        general=tuple(scene for scene in found if scene is not None),
        figures={scene["file"]: tuple(drawn) for scene, drawn in held},
        close_ups={row.number: close_up(stage, row) for row in numbered(result) if row.picture is not None},
    )


def write_job(
    home: Path, folder: Path, result: Result, meshes: Mapping[str, Mesh], drawing: Drawing | None = None
) -> Path:
    """Write the job file of a result's pictures and return its path.

    Parameters
    ----------
    home : Path
        A folder for the job file and the meshes beside it, not part of what the user gets.
    folder : Path
        Where the pictures go; it is made.
    drawing : Drawing, optional
        What `drawing_of` returned for the result, where it has been asked already.
    """
    drawn = drawing or drawing_of(result, meshes)
    scenes = [*drawn.general, *drawn.close_ups.values()]
    figures = [figure for several in drawn.figures.values() for figure in several]
    return _write_scenes(home, folder, scenes, (result.shapes, meshes), figures)


def painted(
    painter: Painter,
    folder: Path,
    scenes: Sequence[Mapping[str, Any]],
    drawn: tuple[Sequence[NamedShape], Mapping[str, Mesh]],
) -> Drawn:
    """Have scenes drawn into a folder, and wait for the pictures.

    Parameters
    ----------
    painter : Painter
        A drawing process that has drawn nothing yet.
    drawn : (sequence of NamedShape, mapping of str to Mesh)
        The shapes in the scenes, and the mesh of each by its name.
    """
    with tempfile.TemporaryDirectory() as home:
        painter.begin(_write_scenes(Path(home), folder, scenes, drawn))
        return painter.finish()


def _write_scenes(
    home: Path,
    folder: Path,
    scenes: Sequence[Mapping[str, Any]],
    drawn: tuple[Sequence[NamedShape], Mapping[str, Mesh]],
    figures: Sequence[Figure] = (),
) -> Path:
    """Write the job file of some scenes, the shapes and figures in them and their meshes; return its path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = home / "job.json"
    np.savez(path.with_suffix(".npz"), **_arrays(*drawn), **all_arrays(figures))
    path.write_text(json.dumps({"folder": str(folder), "scenes": list(scenes)}), encoding="utf-8")
    return path


def _arrays(shapes: Sequence[NamedShape], meshes: Mapping[str, Mesh]) -> dict[str, Any]:
    """Return the meshes as plain arrays, keyed by shape and kind."""
    arrays: dict[str, Any] = {}
    for shape in shapes:
        mesh = meshes[shape.name]
        arrays[f"{shape.name}/points"] = mesh.points_mm
        arrays[f"{shape.name}/triangles"] = mesh.triangles
        arrays[f"{shape.name}/lines"] = np.vstack([np.zeros((0, 3)), *mesh.lines_mm])
        arrays[f"{shape.name}/line_sizes"] = np.array([len(line) for line in mesh.lines_mm], dtype=np.int64)
        arrays[f"{shape.name}/dots"] = mesh.dots_mm
    return arrays
