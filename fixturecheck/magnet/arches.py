"""Which flux leaks from pole to pole over the open: in arcs, above faces that no part covers."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.contact_map import near_bodies
from fixturecheck.contact.patches.separation import near_faces
from fixturecheck.contact.placed import PlaneFrame, Standing
from fixturecheck.kernel.measure import box_gap_mm
from fixturecheck.magnet.air_gaps import (
    PARALLEL_RAD,
    TOUCH_MM,
    WIDEST_RAD,
    GapRegion,
    Hinge,
    clean,
    hinge_of,
)

_NEAREST_MM, _LEAST_MM2 = 0.1, 1.0


def arched_regions(
    bodies: Sequence[Standing], leak: Callable[[int, int], bool], loose: Sequence[int], reach_mm: float
) -> list[GapRegion]:
    """Find the faces of poles beside each other between which flux leaks over the open.

    Parameters
    ----------
    bodies : sequence of Standing
        All iron bodies where they stand.
    leak : callable
        Whether two bodies, by index, are a north and a south pole.
    loose : sequence of int
        Bodies that are no poles: they are in the way of arcs.
    reach_mm : float
        How far apart two poles may stand.

    Returns
    -------
    list of GapRegion
        Arcs between flat faces that look past each other, as tops of a chuck and flanks of a V do.
    """
    regions: list[GapRegion] = []
    for i, j in sorted(near_bodies(bodies, reach_mm)):
        if not leak(i, j) or _another_between(bodies, i, j, loose):
            continue
        a, b = bodies[i], bodies[j]
        for f, g in sorted(zip(*map(np.ndarray.tolist, near_faces(a, b, reach_mm)), strict=True)):
            if a.table.kinds[f] == b.table.kinds[g] == "plane":
                regions += _arches(bodies, (i, f), (j, g), loose)
    return regions


def _another_between(bodies: Sequence[Standing], i: int, j: int, loose: Sequence[int]) -> bool:
    """Whether a third pole lies nearer to each of two poles than they do to each other."""

    def apart(k: int, m: int) -> float:
        return max(box_gap_mm(*((*bodies[n].low, *bodies[n].high) for n in (k, m))), 0.0)

    limit = apart(i, j) - TOUCH_MM
    others = (k for k in range(len(bodies)) if k not in {i, j} and k not in loose)
    return any(max(apart(i, k), apart(k, j)) < limit for k in others)


def _arches(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], loose: Sequence[int]
) -> Iterator[GapRegion]:
    """Tubes in arcs through open air between flat faces beside each other: flanks of a V, tops of a chuck.

    Arcs about the line where both planes meet, or about the middle of the space between faces of one plane.
    Between strips with a gap at that line the conductance of a length is mu0 ln(far / near) / opening: exact
    but for the far end where planes meet, up to a seventh too low over the tops of a row of poles (an
    elliptic integral, `tests/magnet/test_flux_closed_forms.py`). Where another body stands in the way of an
    arc there is none.
    """
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    opening = math.atan2(float(np.linalg.norm(np.cross(n, m))), float(-n @ m))
    if opening <= WIDEST_RAD:
        return
    hinge = _hinge((a, ours[1]), (b, theirs[1]), opening)
    if hinge is None:
        return
    out_a, out_b = hinge.out_a, hinge.out_b
    shared = hinge.shared((a, ours[1]), (b, theirs[1]))
    low, _, high, far = shared.bounds if shared.area > 0 else (0.0, 0.0, 0.0, 0.0)
    shared = shapely.intersection(shared, shapely.box(low, _NEAREST_MM, high, max(far, _NEAREST_MM)))
    for k in loose:
        shared = shapely.difference(shared, _shadow(bodies[k], hinge, out_a + out_b, out_a - out_b, n + m))
    shared = clean(shared)
    if shared.area <= _LEAST_MM2:
        return
    yield GapRegion(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        flat=False,
        seated=False,
        fine_points_mm=np.zeros((0, 3)),
        shape=shared,
        box=shared.bounds,
        tubes=hinge.tubes(opening, (out_b - out_a) / np.linalg.norm(out_b - out_a)),
        opening=True,
        arched=True,
    )


def _hinge(ours: tuple[Standing, int], theirs: tuple[Standing, int], opening: float) -> Hinge | None:
    """Return the line that arcs turn about; None where faces of one plane leave no space between them."""
    if math.pi - opening > PARALLEL_RAD:
        return hinge_of(ours, theirs)
    (a, f), (b, g) = ours, theirs
    n = a.normals[f]
    if abs(a.offsets[f] - b.offsets[g]) > TOUCH_MM:
        return None
    frame = PlaneFrame(n * a.offsets[f], n)
    near = shapely.shortest_line(frame.polygon(a.rings(f)), frame.polygon(b.rings(g)))
    if near.length <= 2.0 * _NEAREST_MM:
        return None
    first, last = frame.space(shapely.get_coordinates(near))
    out_b = (last - first) / np.linalg.norm(last - first)
    return Hinge(origin=(first + last) / 2.0, line=np.cross(n, out_b), out_a=-out_b, out_b=out_b)


def _shadow(body: Standing, hinge: Hinge, *ways: Floats) -> Any:
    """Return where a body bars arcs about a line, along it and away from it, as a rectangle.

    Its box across the line is taken for it, in the two longest of some ways: which arcs start beside it.
    """
    points = body.points(body.table.samples.reshape(-1, 3)) - hinge.origin
    along = points @ hinge.line
    across = points - along[:, None] * hinge.line
    axes = [w / np.linalg.norm(w) for w in sorted(ways, key=np.linalg.norm)[-2:]]
    spans = [(float((across @ w).min()), float((across @ w).max())) for w in axes]
    near = math.hypot(*(max(low, -high, 0.0) for low, high in spans))
    far = float(np.linalg.norm(across, axis=1).max())
    return shapely.box(float(along.min()), near, float(along.max()), far)
