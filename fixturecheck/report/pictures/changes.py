"""What the pictures of a comparison show, before and after: the place that changed, then each body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.scene import actor, around_of, camera, fitted, legend_of
from fixturecheck.report.pictures.views import Evidence, Frame, Triangles, choose_view, long_axis_of
from fixturecheck.result.shapes import BODIES, NamedShape, Role

MOST_PAIRS = 6
SIDES = ("before", "after")
_MOST_TAGS = 14
_SEEN_THROUGH = 0.45
"""Opacity of a body that stands alone, so that what was added and removed shows in it."""

Pair = tuple[Sequence[NamedShape], Sequence[NamedShape]]
"""What is drawn before, and after."""


def pair_scenes(number: int, title: str, sides: Pair, meshes: Mapping[str, Mesh]) -> list[dict[str, Any]]:
    """Return the scenes of a body that changed, before and after, alone and both seen by one camera.

    Parameters
    ----------
    number : int
        Which pair of pictures it is, from 1.
    sides : pair of sequences of NamedShape
        The body and what is marked on it, on either side.
    meshes : mapping of str to Mesh
        The mesh of each shape by its name.
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
            "cut": False,
            "tags": [],
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
    bodies : pair of sequences of NamedShape
        All bodies on either side.
    marks : pair of sequences of NamedShape
        What was added, what was removed and the faces that moved.
    about : frozenset of str
        The bodies that changed or stand elsewhere.
    meshes : mapping of str to Mesh
        The mesh of each shape by its name.
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
                "tags": [s.name for s in shapes] if len(shapes) <= _MOST_TAGS else [],
                "labels": {s.name: s.bodies[0] for s in shapes},
            }
        )
    return scenes


def _scene(number: int, when: str, title: str, shapes: Sequence[NamedShape]) -> dict[str, Any]:
    return {
        "file": f"{number:02d}_{when}.png",
        "legend": legend_of(s.role for s in shapes),
        "whole": True,
        "title": f"{when}: {title}",
        "verdict": None,
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
    return camera(spot, view.eye, view.up, min(frame.height_mm(view), frame.whole_mm)), view.cut


def _meet(one: Mesh, other: Mesh) -> bool:
    """Tell whether the boxes of two shapes meet."""
    a, b = one.all_points_mm(), other.all_points_mm()
    return bool(np.all((a.min(axis=0) <= b.max(axis=0)) & (b.min(axis=0) <= a.max(axis=0))))


def _points(shapes: Sequence[NamedShape], meshes: Mapping[str, Mesh]) -> Floats:
    return np.vstack([np.zeros((0, 3)), *(meshes[s.name].all_points_mm() for s in shapes)])
