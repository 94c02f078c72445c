"""Which faces look at each other across a gap that carries flux: flat, tilted and wedge-shaped gaps."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from fixturecheck.contact.broad import near_bodies, near_faces
from fixturecheck.contact.fluxround import round_region
from fixturecheck.contact.fluxtube import TOUCH_MM, Band, GapRegion, Tubes
from fixturecheck.contact.standing import Array, Frame, Standing

_PARALLEL_RAD = 1e-7
# Beyond this opening two planes no longer look at each other enough for tubes bent into arcs.
_WIDEST_RAD = math.radians(60.0)
_FLAT_RAD = math.radians(1.0)


def gap_regions(
    bodies: Sequence[Standing], band: Callable[[int, int], Band | None]
) -> tuple[list[GapRegion], list[tuple[str, str]]]:
    """Find every pair of faces that look at each other across a gap that carries flux.

    Parameters
    ----------
    bodies : sequence of Standing
    band : callable
        Which gaps count between two bodies, by index; None leaves the pair out.

    Returns
    -------
    regions : list of GapRegion
    left_out : list of (str, str)
        Pairs of faces whose boxes meet but whose surfaces have no rule here: their flux, and so
        their hold, is not counted.
    """
    regions: list[GapRegion] = []
    left_out: list[tuple[str, str]] = []
    pairs = [(i, j) for i in range(len(bodies)) for j in range(i + 1, len(bodies))]
    widest = max((how.widest_mm for i, j in pairs if (how := band(i, j))), default=0.0)
    for i, j in sorted(near_bodies(bodies, widest)):
        how = band(i, j)
        if how is None:
            continue
        a, b = bodies[i], bodies[j]
        found: list[GapRegion] = []
        for f, g in sorted(zip(*map(np.ndarray.tolist, near_faces(a, b, how.widest_mm)), strict=True)):
            kinds = {a.table.kinds[f], b.table.kinds[g]}
            if kinds == {"plane"}:
                found += _planes(bodies, (i, f), (j, g), how)
            elif kinds <= {"plane", "cylinder"}:
                found += round_region(bodies, (i, f), (j, g), how)
            elif _within(a, f, b, g, how.band_mm):
                left_out.append((a.label([f]), b.label([g])))
        regions += _without_fringe(found)
    return regions, left_out


def _within(a: Standing, f: int, b: Standing, g: int, reach_mm: float) -> bool:
    """Whether the boxes of two faces come within reach of each other."""
    apart = np.maximum(a.lows[f] - b.highs[g], b.lows[g] - a.highs[f])
    return bool((apart <= reach_mm).all())


def _without_fringe(found: list[GapRegion]) -> list[GapRegion]:
    """Leave out wedges beside a wide seat: fringe of a per cent or two that would cost most of the mesh."""
    ours = {r.face_a for r in found if r.seated}
    theirs = {r.face_b for r in found if r.seated}
    return [r for r in found if r.flat or not r.opening or not (r.face_a in ours or r.face_b in theirs)]


def _planes(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band
) -> Iterator[GapRegion]:
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    opening = math.atan2(float(np.linalg.norm(np.cross(n, m))), float(-n @ m))
    if opening > _WIDEST_RAD:
        return
    if opening < _PARALLEL_RAD:
        yield from _parallel(bodies, ours, theirs, how)
    else:
        yield from _wedge(bodies, ours, theirs, how, opening)


def _parallel(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band
) -> Iterator[GapRegion]:
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n = a.normals[ours[1]]
    gap = float(-b.offsets[theirs[1]] - a.offsets[ours[1]])
    if not -TOUCH_MM <= gap <= how.widest_mm:
        return
    frame = Frame(n * a.offsets[ours[1]], n)
    shared = _clean(shapely.intersection(frame.polygon(a.rings(ours[1])), frame.polygon(b.rings(theirs[1]))))
    if shared.area <= 0:
        return
    narrow = 2 * shared.area / shared.length < how.narrow_mm / 2

    def tubes(at: Array) -> Tubes:
        points = frame.space(at)
        return points, points + gap * n, np.full(len(at), max(gap, 0.0)), np.tile(n, (len(at), 1))

    yield GapRegion(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        flat=True,
        seated=gap <= TOUCH_MM and not narrow,
        fine_points_mm=frame.space(_along(shared, how.fine_mm)) if narrow else np.zeros((0, 3)),
        shape=shared,
        box=shared.bounds,
        tubes=tubes,
    )


def _wedge(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band, opening: float
) -> Iterator[GapRegion]:
    """Tubes bent into arcs about the line where the two planes meet.

    Turning one plane about that line onto the other keeps lengths, so the shared region is the
    intersection of two polygons in (along the line, distance from it) coordinates, exactly.
    """
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    line = np.cross(n, m)
    line /= np.linalg.norm(line)
    dots = np.array([a.offsets[ours[1]], b.offsets[theirs[1]], 0.0])
    origin = np.linalg.solve(np.array([n, m, line]), dots)
    # Along each plane, away from the line, to the side where each lies in front of the other.
    out_a, out_b = np.cross(n, line), np.cross(m, line)
    out_a *= np.sign(out_a @ m)
    out_b *= np.sign(out_b @ n)
    shapes = []
    for body, face, out in ((a, ours[1], out_a), (b, theirs[1], out_b)):
        rings = [np.stack([(r - origin) @ line, (r - origin) @ out], axis=1) for r in body.rings(face)]
        shapes.append(shapely.Polygon(rings[0], rings[1:]))
    reach = (how.widest_mm if opening < _FLAT_RAD else how.band_mm) / opening
    shared = shapely.intersection(*shapes)
    low, _, high, _ = shared.bounds if shared.area > 0 else (0.0, 0.0, 0.0, 0.0)
    shared = _clean(shapely.intersection(shared, shapely.box(low, 0.0, high, reach)))
    if shared.area <= 0:
        return
    narrow = reach < how.narrow_mm or 2 * shared.area / shared.length < how.narrow_mm / 2
    direction = (n - m) / np.linalg.norm(n - m)

    def tubes(at: Array) -> Tubes:
        along, away = at[:, :1] * line + origin, at[:, 1:]
        ends = along + away * out_a, along + away * out_b
        return *ends, at[:, 1] * opening, np.tile(direction, (len(at), 1))

    yield GapRegion(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        flat=opening < _FLAT_RAD,
        seated=False,
        fine_points_mm=_line_points(shared, line, origin, out_a, how.fine_mm) if narrow else np.zeros((0, 3)),
        shape=shared,
        box=shared.bounds,
        tubes=tubes,
        opening=True,
    )


def _line_points(shared: Any, line: Array, origin: Array, out: Array, step_mm: float) -> Array:
    """Points along the side of a wedge nearest its line, where it is narrowest."""
    low, near, high, _ = shared.bounds
    s = np.linspace(low, high, max(2, math.ceil((high - low) / step_mm) + 1))
    return np.asarray(origin + s[:, None] * line + near * out)


def _clean(shape: Any) -> Any:
    """Keep the areas of an intersection, without the lines and points it may leave."""
    return shapely.union_all([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])


def _along(shape: Any, step_mm: float) -> Array:
    """Points along the outline of a region."""
    return np.asarray(shapely.get_coordinates(shapely.segmentize(shape.boundary, step_mm)))
