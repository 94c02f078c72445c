"""The features of several bodies as arrays, each kind in the order of bodies, and where they stand.

`first` (bodies + 1,) of each kind says where each body's features start; `middle_mm` (n, 3) and `ball_mm`
(n,) are a ball round each feature, by which far ones are passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fixturecheck.compiled import compiled
from fixturecheck.contact.rounds import (
    Capsules,
    Cones,
    SweptCircles,
    capsules_of,
    concave_cones_of,
    concave_tori_of,
    convex_cones_of,
    swept_circles_of,
)
from fixturecheck.kernel.brep.features import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


class Corners(NamedTuple):
    """Corners and sampled points: `cones` (n, k, 3), `faces` (n, f) and `normals` (n, f, 3), padded."""

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    cones: Floats
    faces: Ints
    normals: Floats


class Edges(NamedTuple):
    """Straight edges and chords: `ends_mm` (n, 2, 3), unit `along`, `leaves` and `normals` (n, 2, 3).

    `low_mm` and `high_mm` (n, 3) are the box round each.
    """

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    ends_mm: Floats
    low_mm: Floats
    high_mm: Floats
    along: Floats
    long_mm: Floats
    leaves: Floats
    faces: Ints
    normals: Floats
    straight: Mask


class Planes(NamedTuple):
    """Flat faces: `frame` (n, 4, 3) is a point, the normal and two directions; borders in those two.

    `border` (s, 2, 2) holds the segments of all borders, those of face i from `border_first[i]`; `low` and
    `high` (n, 2) the box round each border.
    """

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    frame: Floats
    face: Ints
    low: Floats
    high: Floats
    border_first: Ints
    border: Floats


class Bodies(NamedTuple):
    """All features of all bodies; in the bodies' own frames, or in the machine's once they stand."""

    corners: Corners
    edges: Edges
    planes: Planes
    circles: SweptCircles
    capsules: Capsules
    concave_cones: Cones
    concave_tori: SweptCircles
    convex_cones: Cones


def bodies_of(features: Sequence[Features]) -> Bodies:
    """Return the features of bodies, each in its own frame."""
    return Bodies(
        corners=_corners(features),
        edges=_edges(features),
        planes=_planes(features),
        circles=swept_circles_of(features),
        capsules=capsules_of(features),
        concave_cones=concave_cones_of(features),
        concave_tori=concave_tori_of(features),
        convex_cones=convex_cones_of(features),
    )


def _first(features: Sequence[Features], of: Callable[[Features], Sequence[object] | Floats]) -> Ints:
    return np.cumsum([0, *(len(of(f)) for f in features)])


def _corners(features: Sequence[Features]) -> Corners:
    points = np.concatenate([f.points_mm for f in features])
    return Corners(
        first=_first(features, lambda f: f.points_mm),
        middle_mm=points,
        ball_mm=np.zeros(len(points)),
        cones=_widened([f.cones for f in features]),
        faces=_widened([f.point_faces for f in features], fill=-1),
        normals=_widened([f.point_normals for f in features]),
    )


def _edges(features: Sequence[Features]) -> Edges:
    ends = np.concatenate([f.edges_mm for f in features])
    along = ends[:, 1] - ends[:, 0]
    long = np.linalg.norm(along, axis=1)
    return Edges(
        first=_first(features, lambda f: f.edges_mm),
        middle_mm=ends.mean(axis=1),
        ball_mm=0.5 * long,
        ends_mm=ends,
        low_mm=np.minimum(ends[:, 0], ends[:, 1]),
        high_mm=np.maximum(ends[:, 0], ends[:, 1]),
        along=along / long[:, None],
        long_mm=long,
        leaves=np.concatenate([f.leaves for f in features]),
        faces=np.concatenate([f.edge_faces for f in features]),
        normals=np.concatenate([f.edge_normals for f in features]),
        straight=np.concatenate([f.straight for f in features]),
    )


def _planes(features: Sequence[Features]) -> Planes:
    frame = np.concatenate([f.planes for f in features])
    borders = [one for f in features for one in f.outlines]
    low = np.array([one.min(axis=(0, 1)) for one in borders]).reshape(-1, 2)
    high = np.array([one.max(axis=(0, 1)) for one in borders]).reshape(-1, 2)
    middle = 0.5 * (low + high)
    return Planes(
        first=_first(features, lambda f: f.planes),
        middle_mm=frame[:, 0] + middle[:, :1] * frame[:, 2] + middle[:, 1:] * frame[:, 3],
        ball_mm=0.5 * np.linalg.norm(high - low, axis=1),
        frame=frame,
        face=np.concatenate([f.plane_faces for f in features]),
        low=low,
        high=high,
        border_first=np.cumsum([0, *(len(one) for one in borders)]),
        border=np.concatenate([*borders, np.zeros((0, 2, 2))]),
    )


def _widened(parts: list[Any], fill: int = 0) -> Any:
    """Stack ragged second axes, padded."""
    widest = max(p.shape[1] for p in parts)
    out = np.full((sum(len(p) for p in parts), widest, *parts[0].shape[2:]), fill, dtype=parts[0].dtype)
    start = 0
    for p in parts:
        out[start : start + len(p), : p.shape[1]] = p
        start += len(p)
    return out


def stand(own: Bodies, rotation: Floats, origin_mm: Floats) -> Bodies:
    """Return every feature where it stands at poses (n, 3, 3) and (n, 3)."""
    nowhere = np.zeros_like(origin_mm)

    def put(local: Floats, first: Ints) -> Floats:
        return _placed(local, first, rotation, origin_mm)

    def turn(local: Floats, first: Ints) -> Floats:
        return _placed(local, first, rotation, nowhere)

    def leaning(cone: Cones) -> Cones:
        return cone._replace(
            middle_mm=put(cone.middle_mm, cone.first),
            a_mm=put(cone.a_mm, cone.first),
            b_mm=put(cone.b_mm, cone.first),
            axis=turn(cone.axis, cone.first),
            zero=turn(cone.zero, cone.first),
        )

    def round_axis(circle: SweptCircles) -> SweptCircles:
        return circle._replace(
            middle_mm=put(circle.middle_mm, circle.first),
            axis=turn(circle.axis, circle.first),
            zero=turn(circle.zero, circle.first),
        )

    corner, edge, plane, circle, capsule, concave_cone, concave_torus, convex_cone = own
    ends = put(edge.ends_mm, edge.first)
    frame = turn(plane.frame, plane.first)
    frame[:, 0] = put(plane.frame[:, :1].copy(), plane.first)[:, 0]
    return Bodies(
        corners=corner._replace(
            middle_mm=put(corner.middle_mm, corner.first),
            cones=turn(corner.cones, corner.first),
            normals=turn(corner.normals, corner.first),
        ),
        edges=edge._replace(
            middle_mm=put(edge.middle_mm, edge.first),
            ends_mm=ends,
            low_mm=np.minimum(ends[:, 0], ends[:, 1]),
            high_mm=np.maximum(ends[:, 0], ends[:, 1]),
            along=turn(edge.along, edge.first),
            leaves=turn(edge.leaves, edge.first),
            normals=turn(edge.normals, edge.first),
        ),
        planes=plane._replace(middle_mm=put(plane.middle_mm, plane.first), frame=frame),
        circles=round_axis(circle),
        capsules=capsule._replace(
            middle_mm=put(capsule.middle_mm, capsule.first),
            a_mm=put(capsule.a_mm, capsule.first),
            b_mm=put(capsule.b_mm, capsule.first),
            axis=turn(capsule.axis, capsule.first),
            zero=turn(capsule.zero, capsule.first),
        ),
        concave_cones=leaning(concave_cone),
        concave_tori=round_axis(concave_torus),
        convex_cones=leaning(convex_cone),
    )


def _placed(local: Floats, first: Ints, rotation: Floats, origin_mm: Floats) -> Floats:
    """Turn and shift vectors (n, 3) or (n, k, 3)."""
    flat = local.reshape(len(local), int(np.prod(local.shape[1:-1])), 3)
    return placed(flat, first, rotation, origin_mm).reshape(local.shape)


@compiled
def placed(local: Floats, first: Ints, rotation: Floats, origin_mm: Floats) -> Floats:
    """Turn and shift vectors (n, k, 3) of bodies whose features start at `first`."""
    out = np.empty_like(local)
    for body in range(len(first) - 1):
        r, o = rotation[body], origin_mm[body]
        for i in range(first[body], first[body + 1]):
            for k in range(local.shape[1]):
                x, y, z = local[i, k, 0], local[i, k, 1], local[i, k, 2]
                for axis in range(3):
                    out[i, k, axis] = r[axis, 0] * x + r[axis, 1] * y + r[axis, 2] * z + o[axis]
    return out
