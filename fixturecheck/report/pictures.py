"""What the drawing process is handed: the scenes of a result and the meshes in them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.figures import Figure, all_arrays
from fixturecheck.report.hold_scene import hold_scenes
from fixturecheck.report.location_scene import location_scene
from fixturecheck.report.order import numbered
from fixturecheck.report.rest_scene import rest_scene
from fixturecheck.report.scene import close_up, overview, set_stage
from fixturecheck.result import NamedShape, Result


def write_job(home: Path, folder: Path, result: Result, meshes: Mapping[str, Mesh]) -> Path:
    """Write the job file of a result's pictures and return its path.

    Parameters
    ----------
    home : Path
        A folder for the job file and the meshes beside it, not part of what the user gets.
    folder : Path
        Where the pictures go; it is made.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stage = set_stage(result, meshes)
    scenes = [overview(stage)]
    resting = rest_scene(stage)
    scenes += [] if resting is None else [resting]
    locating = location_scene(stage)
    scenes += [] if locating is None else [locating]
    held = hold_scenes(stage)
    scenes += [scene for scene, _ in held]
    figures = [figure for _, drawn in held for figure in drawn]
    scenes += [close_up(stage, row) for row in numbered(result) if row.picture is not None]
    return write_scenes(home, folder, scenes, (result.shapes, meshes), figures)


def write_scenes(
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
