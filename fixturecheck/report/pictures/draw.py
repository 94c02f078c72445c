"""What the drawing process is handed: the scenes of a result or of a comparison, and the meshes in them."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.order import numbered
from fixturecheck.report.pictures.figures import Figure, all_arrays, body_colours, mesh_arrays
from fixturecheck.report.pictures.hold_scene import hold_scenes
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.report.pictures.scene import (
    MOST_TAGS,
    MeshedResult,
    actor,
    around_of,
    camera,
    close_up,
    fitted,
    legend_of,
    location_scene,
    overview,
    rest_scene,
    scene_base,
    set_stage,
)
from fixturecheck.report.pictures.views import Evidence, Frame, Triangles, choose_view, long_axis_of
from fixturecheck.result import Result
from fixturecheck.result.shapes import BODIES, NamedShape, Role

MOST_PAIRS = 6
SIDES = ("before", "after")
_SEEN_THROUGH = 0.45
"""Opacity of a body that stands alone, so that what was added and removed shows in it."""
Pair = tuple[Sequence[NamedShape], Sequence[NamedShape]]
"""What is drawn before, and after."""


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
    """Return every scene of a result, drawn on paper or turned on the screen.

    Parameters
    ----------
    result : Result
        What was found.
    meshes : mapping of str to Mesh
        By the name of the shape.

    Returns
    -------
    Drawing
        The scenes of findings that have a picture stand by number in its `close_ups`.
    """
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
    result : Result
        What was found.
    meshes : mapping of str to Mesh
        By the name of the shape.
    drawing : Drawing, optional
        What `drawing_of` returned for the result, where it has been asked already.

    Returns
    -------
    Path
        In `home`; the file of the meshes beside it has the same stem.
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
    folder : Path
        Where the pictures go; it is made.
    scenes : sequence of mapping
        The first is drawn as a view of the whole, which the close-ups show small.
    drawn : (sequence of NamedShape, mapping of str to Mesh)
        The shapes in the scenes, and the mesh of each by its name.

    Returns
    -------
    Drawn
        Which pictures there are, and why others are missing.
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
        arrays |= mesh_arrays(shape.name, mesh.points_mm, mesh.triangles, mesh.lines_mm, mesh.dots_mm)
    return arrays


def pair_scenes(number: int, title: str, sides: Pair, meshes: Mapping[str, Mesh]) -> list[dict[str, Any]]:
    """Return the scenes of a body that changed, before and after, alone and both seen by one camera.

    Parameters
    ----------
    number : int
        Which pair of pictures it is, from 1.
    title : str
        What both titles say after `before` and `after`.
    sides : pair of sequences of NamedShape
        The body and what is marked on it, on either side.
    meshes : mapping of str to Mesh
        The mesh of each shape by its name.

    Returns
    -------
    list of dict
        Two scenes: before, after.
    """
    place = fitted(_points([*sides[0], *sides[1]], meshes))
    return [
        {
            **_scene(number, when, title, shapes),
            "actors": [
                actor(
                    s, body_colours(tuple(shapes)), opacity_share=_SEEN_THROUGH if s.role in BODIES else 1.0
                )
                for s in shapes
            ],
            "camera": place,
        }
        for when, shapes in zip(SIDES, sides, strict=True)
    ]


def place_scenes(
    title: str, bodies: Pair, marks: Pair, about: frozenset[str], meshes: Mapping[str, Mesh]
) -> list[dict[str, Any]]:
    """Return the scenes of the place that changed, before and after, with the whole small in the corner.

    Where something was added or removed, it is looked at from the side that shows it, or cut open there.

    Parameters
    ----------
    title : str
        What both titles say after `before` and `after`.
    bodies : pair of sequences of NamedShape
        All bodies on either side.
    marks : pair of sequences of NamedShape
        What was added, what was removed and the faces that moved.
    about : frozenset of str
        The bodies that changed or stand elsewhere.
    meshes : mapping of str to Mesh
        The mesh of each shape by its name.

    Returns
    -------
    list of dict
        Two scenes: before, after.
    """
    everything = _points([*bodies[0], *bodies[1]], meshes)
    changed = [s for s in (*bodies[0], *bodies[1]) if s.bodies[0] in about]
    seen = fitted(around_of(_points(changed, meshes), everything)), False
    for shapes, marked in zip(bodies, marks, strict=True):
        solids = [m for m in marked if m.role in {Role.ADDED, Role.REMOVED}]
        if solids:
            # Of like ones, the one that has most about it: what touches there is what a change may cure.
            most = max(solids, key=lambda m: sum(_meet(meshes[m.name], meshes[s.name]) for s in shapes))
            seen = _seen(most, [*shapes, most], everything, meshes)
            break
    near, cut = seen
    scenes = []
    for when, shapes, marked in zip(SIDES, bodies, marks, strict=True):
        drawn = [*shapes, *marked]
        colours = body_colours(tuple(drawn))
        scenes.append(
            {
                **_scene(1, when, title, drawn),
                "actors": [
                    actor(s, colours, pale=s.role in BODIES and s.bodies[0] not in about) for s in drawn
                ],
                "camera": fitted(everything),
                "close": near,
                "cut": cut,
                "tags": [s.name for s in shapes] if len(shapes) <= MOST_TAGS else [],
                "labels": {s.name: s.bodies[0] for s in shapes},
            }
        )
    return scenes


def _scene(number: int, when: str, title: str, shapes: Sequence[NamedShape]) -> dict[str, Any]:
    return {
        **scene_base(f"{number:02d}_{when}.png", f"{when}: {title}"),
        "legend": legend_of(s.role for s in shapes),
        "whole": True,
    }


def _seen(
    mark: NamedShape, shapes: Sequence[NamedShape], everything: Floats, meshes: Mapping[str, Mesh]
) -> tuple[dict[str, Any], bool]:
    """Return the camera that shows what was added or removed best, and whether it is cut open there."""
    points = meshes[mark.name].all_points_mm()
    spot = (points.min(axis=0) + points.max(axis=0)) / 2
    own = [n for n, s in enumerate(shapes) if s.role in BODIES and s.bodies == mark.bodies]
    room = fitted(around_of(_points([shapes[n] for n in own] or [mark], meshes), everything))
    frame = Frame(
        kind=Evidence.REGION,
        points_mm=points,
        bodies_mm=(),
        whole_mm=room["height_mm"],
        gap_mm=0.0,
        long_axis=long_axis_of(points),
        flat_normal=None,
    )
    corners = [meshes[s.name].points_mm[meshes[s.name].triangles] for s in shapes]
    owner = np.repeat(np.arange(len(shapes)), [len(one) for one in corners])
    view = choose_view(
        Triangles(corners_mm=np.concatenate(corners), owner=owner),
        spot_mm=spot,
        direction=None,
        section_direction=None,
        long_axis=frame.long_axis,
        height_mm=min(frame.height_mm(None), frame.whole_mm),
        region_mm=frame.seen_mm(None) / 2,
        bodies=frozenset(own),
        regions=frozenset({len(shapes) - 1}),
    )
    return camera(spot, view.eye, min(frame.height_mm(view), frame.whole_mm)), view.cut


def _meet(one: Mesh, other: Mesh) -> bool:
    """Tell whether the boxes of two shapes meet."""
    a, b = one.all_points_mm(), other.all_points_mm()
    return bool(np.all((a.min(axis=0) <= b.max(axis=0)) & (b.min(axis=0) <= a.max(axis=0))))


def _points(shapes: Sequence[NamedShape], meshes: Mapping[str, Mesh]) -> Floats:
    return np.vstack([np.zeros((0, 3)), *(meshes[s.name].all_points_mm() for s in shapes)])
