"""The gap between two faces at a pose: exact between flat faces, by candidates where one is curved."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, polygonize, union_all
from shapely.geometry import LineString

from fixturecheck.contact.candidates import Scene
from fixturecheck.contact.look import find_candidates
from fixturecheck.kernel.brep.features import Features
from fixturecheck.physics.rigid import Poses
from fixturecheck.settling.bench import Bench

Floats = NDArray[np.float64]


def gap_um(
    bench: Bench, poses: Poses, first: tuple[int, int], second: tuple[int, int]
) -> tuple[float, float]:
    """Return the least and greatest gap in um between two faces where they look at each other.

    Parameters
    ----------
    first, second : tuple of int
        Body and face index.

    Returns
    -------
    (low, high)
        Negative where they overlap; both infinite where the faces do not look at each other.
    """
    plane_a, plane_b = _plane(bench, first), _plane(bench, second)
    if plane_a is None or plane_b is None:
        return _round_gap(bench, poses, first, second)
    a, b = _placed(bench, poses, first, plane_a), _placed(bench, poses, second, plane_b)
    if float(a[1] @ b[1]) > -0.5:
        return np.inf, np.inf
    shadow = union_all([_shadow(part, a, b) for part in _area(bench.features[first[0]], plane_a)])
    target = union_all(_area(bench.features[second[0]], plane_b))
    common = shadow.intersection(target)
    if common.is_empty or common.area < 1e-9:
        return np.inf, np.inf
    parts = [p for p in getattr(common, "geoms", [common]) if isinstance(p, Polygon)]
    flat = np.concatenate([np.asarray(p.exterior.coords) for p in parts])
    places = b[0] + flat[:, :1] * b[2] + flat[:, 1:] * b[3]
    along = float(a[1] @ b[1])
    gaps = -((places - a[0]) @ a[1]) / along
    return float(gaps.min() * 1e3), float(gaps.max() * 1e3)


def _plane(bench: Bench, which: tuple[int, int]) -> int | None:
    """Return the number of a face among the flat faces of its body; None when it is curved."""
    found = np.flatnonzero(bench.features[which[0]].plane_faces == which[1])
    return int(found[0]) if len(found) else None


def _placed(bench: Bench, poses: Poses, which: tuple[int, int], plane: int) -> Floats:
    """Return point, normal and two directions of a flat face in the machine's frame."""
    local = bench.features[which[0]].planes[plane]
    rotation, origin = poses.rotation[which[0]], poses.origin_mm[which[0]]
    out = local @ rotation.T
    out[0] += origin
    return np.asarray(out)


def _area(features: Features, plane: int) -> list[Polygon]:
    """Return a flat face as polygons in its own directions, holes left out."""
    segments = features.outlines[plane]
    snapped = np.round(segments, 7)
    pieces = list(polygonize([LineString(one) for one in snapped]).geoms)
    # A hole's inside is polygonised too; it is no part of the face, which an even-odd count tells.
    return [p for p in pieces if _odd(p.representative_point().coords[0], snapped)]


def _odd(point: tuple[float, ...], segments: Floats) -> bool:
    """Tell whether a ray from the point crosses the border an odd number of times."""
    start, end = segments[:, 0], segments[:, 1]
    rises = (start[:, 1] > point[1]) != (end[:, 1] > point[1])
    rise = np.where(rises, end[:, 1] - start[:, 1], 1.0)
    at = start[:, 0] + (end[:, 0] - start[:, 0]) * (point[1] - start[:, 1]) / rise
    return bool(np.sum(rises & (point[0] < at)) % 2)


def _shadow(part: Polygon, a: Floats, b: Floats) -> Polygon:
    """Return a polygon of face a dropped on the plane of face b, in the directions of b."""

    def drop(ring: Floats) -> Floats:
        flat = np.asarray(ring)
        places = a[0] + flat[:, :1] * a[2] + flat[:, 1:] * a[3] - b[0]
        return np.stack((places @ b[2], places @ b[3]), axis=-1)

    outline = drop(np.asarray(part.exterior.coords))
    return Polygon(outline, [drop(np.asarray(hole.coords)) for hole in part.interiors]).buffer(0)


def _round_gap(
    bench: Bench, poses: Poses, first: tuple[int, int], second: tuple[int, int]
) -> tuple[float, float]:
    """Return the least gap found between two faces of which one is curved."""
    pair = [bench.features[first[0]], bench.features[second[0]]]
    scene = Scene(pair, [True, True])
    bodies = [first[0], second[0]]
    rows = find_candidates(scene, poses.rotation[bodies], poses.origin_mm[bodies], 5.0, 0.01)
    one = (rows.body_a == 0) & (rows.face_a == first[1]) & (rows.face_b == second[1])
    two = (rows.body_a == 1) & (rows.face_a == second[1]) & (rows.face_b == first[1])
    gaps = rows.gap_mm[one | two]
    return (float(gaps.min() * 1e3), float(gaps.max() * 1e3)) if len(gaps) else (np.inf, np.inf)
