"""Edges that run over a free-form face: the gap between them, followed along the edge.

Along an edge the gap to a face is a smooth function of one parameter. Where it stays within the touch limit
over a length the edge lies on the face in a line; where it only comes down to it, they touch at a point.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from fixturecheck.contact.raw import Raw
from fixturecheck.contact.strips import Pair
from fixturecheck.contact.valleys import opens
from fixturecheck.kernel.brep.probe import EdgeProbe, Probe
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.measure import edge_centre
from fixturecheck.kernel.shapes import Shape
from fixturecheck.result import ContactKind

Array = NDArray[np.float64]
Walk = Callable[[float], tuple[Array, Array]]
"""Gives the point at a share of an edge, and the derivative by that share."""

STATIONS = 48
_COARSE = 32
_ENDS = 60
_LEVEL = 1e-10
"""An edge that leans less than this over a face runs level with it there: rounding makes no least place."""
_RISES = -1e-3
"""Material beside an edge counts as rising from a face down to this sine of the angle."""
_INNER = 9
_TREND, _EXPLAINED = 0.5, 0.1
"""A gap that grows by half the touch limit along a line, to within a tenth, only starts in a point."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """A place of an edge: its share, where it is, how far outside the face, and the normal at its foot.

    `within` says whether the foot lies within the face's outline.
    """

    share: float
    point: Array
    gap_mm: float
    normal: Array
    within: bool


def spot_at(walk: Walk, face: Probe, share: float) -> Spot:
    """Return the place of an edge at a share of it."""
    point, _ = walk(share)
    gap, normal, within = face.gap(point)
    return Spot(share=share, point=point, gap_mm=gap, normal=normal, within=within)


def least_places(walk: Walk, face: Probe, stations: Sequence[float]) -> Iterator[float]:
    """Yield the shares of an edge between neighbouring stations at which the gap is least, to rounding."""

    def slope(share: float) -> float:
        point, along = walk(share)
        return float(along @ face.gap(point)[1])

    slopes = [slope(t) for t in stations]
    flat = _LEVEL * max(float(np.linalg.norm(walk(t)[1])) for t in stations[:: len(stations) - 1])
    for k in range(len(slopes) - 1):
        low, high = stations[k], stations[k + 1]
        if slopes[k] < -flat and slopes[k + 1] > flat:
            yield float(brentq(slope, low, high, xtol=1e-13))


def stretches(walk: Walk, box: tuple[Array, Array], slack_mm: float) -> Iterator[Array]:
    """Yield stations along the parts of an edge that come within a distance of a box, ends included."""
    coarse = np.linspace(0.0, 1.0, _COARSE + 1)
    points = np.array([walk(float(t))[0] for t in coarse])
    # An arc stays within half its chord of it up to a half turn, which no piece of an edge here exceeds.
    bulge = np.linalg.norm(np.diff(points, axis=0), axis=1)[:, None] / 2 + slack_mm
    low, high = np.minimum(points[:-1], points[1:]) - bulge, np.maximum(points[:-1], points[1:]) + bulge
    near = np.all((low <= box[1]) & (high >= box[0]), axis=1)
    starts = np.flatnonzero(near & ~np.concatenate([[False], near[:-1]]))
    ends = np.flatnonzero(near & ~np.concatenate([near[1:], [False]]))
    for first, last in zip(starts, ends, strict=True):
        yield np.linspace(coarse[first], coarse[last + 1], STATIONS + 1)


def alongside(
    edge: EdgeProbe,
    face: Probe,
    box: tuple[Array, Array],
    names: tuple[tuple[int, ...], int],
    touch_mm: float,
) -> Iterator[Raw]:
    """Yield the lines and points in which an edge of A touches a free-form face of B.

    Parameters
    ----------
    box : tuple of ndarray, shape (3,)
        Least and greatest corner of a box round the face.
    names : tuple
        The faces that meet in the edge, and the number of the other face.
    touch_mm : float
    """
    for stations in stretches(edge.at, box, touch_mm):
        lows = least_places(edge.at, face, stations.tolist())
        spots = [spot_at(edge.at, face, t) for t in sorted({*stations.tolist(), *lows})]
        on = [_touches(edge, spot, touch_mm) for spot in spots]
        k = 0
        while k < len(spots):
            last = k
            while on[k] and last + 1 < len(spots) and on[last + 1]:
                last += 1
            if on[k]:
                span = (
                    _end(edge, face, spots[k].share, spots[max(k - 1, 0)].share, touch_mm),
                    _end(edge, face, spots[last].share, spots[min(last + 1, len(spots) - 1)].share, touch_mm),
                )
                yield _told(edge, face, span, names, touch_mm)
            k = last + 1


def least_beside(pair: Pair, below_mm: float, touch_mm: float, *, opposed_share: float) -> Iterator[float]:
    """Yield ever lesser gaps between the edges of either of two faces and the other face.

    Parameters
    ----------
    below_mm : float
        Only gaps less than this.
    touch_mm : float
        Overlaps up to this are gaps.
    opposed_share : float
        The faces look at each other where the cosine between one normal and the other turned back is that.
    """
    a, i, b, j = pair
    for (ours, one), (theirs, other) in (((a, i), (b, j)), ((b, j), (a, i))):
        own, face = Probe(ours.face(one)), Probe(theirs.face(other))
        box = theirs.lows[other], theirs.highs[other]
        for e in sorted({int(e) for e in ours.table.face_edges[one]}):
            if ours.table.lengths_mm[e] == 0.0:
                continue
            edge = EdgeProbe(ours.edge(e))
            walk = edge.at
            for stations in stretches(walk, box, below_mm):
                lows = least_places(walk, face, stations.tolist())
                for t in [*lows, float(stations[0]), float(stations[-1])]:
                    spot = spot_at(walk, face, t)
                    looks = -float(own.gap(spot.point)[1] @ spot.normal) >= opposed_share
                    if spot.within and looks and -touch_mm <= spot.gap_mm < below_mm:
                        below_mm = spot.gap_mm
                        yield below_mm


def _touches(edge: EdgeProbe, spot: Spot, touch_mm: float) -> bool:
    """Whether an edge touches a face at a place, with the material beside it rising from the face."""
    if not spot.within or abs(spot.gap_mm) > touch_mm:
        return False
    return bool((edge.leaving(spot.share) @ spot.normal).min(initial=0.0) >= _RISES)


def _end(edge: EdgeProbe, face: Probe, inner: float, outer: float, touch_mm: float) -> float:
    """Return how far from one share of an edge towards another it goes on touching a face."""
    for _ in range(_ENDS):
        if abs(outer - inner) <= 1e-12:
            break
        middle = (inner + outer) / 2
        if _touches(edge, spot_at(edge.at, face, middle), touch_mm):
            inner = middle
        else:
            outer = middle
    return inner


def _told(
    edge: EdgeProbe,
    face: Probe,
    span: tuple[float, float],
    names: tuple[tuple[int, ...], int],
    touch_mm: float,
) -> Raw:
    """Return the line that an edge shares with a face over a span, or the point where they are nearest."""
    spots = [spot_at(edge.at, face, t) for t in np.linspace(*span, _INNER).tolist()]
    gaps = np.array([s.gap_mm for s in spots])
    arc = np.linspace(0.0, edge.length_mm(*span), _INNER)
    if arc[-1] <= touch_mm or opens(arc[:, None], gaps, touch_mm) or _slants(arc, gaps, touch_mm):
        lows = least_places(edge.at, face, np.linspace(*span, _INNER).tolist())
        low = min([*spots, *(spot_at(edge.at, face, t) for t in lows)], key=lambda s: s.gap_mm)
        return Raw(
            kind=ContactKind.POINT,
            a_faces=names[0],
            b_faces=(names[1],),
            normal=-low.normal,
            centroid=low.point,
            make=partial(vertex, low.point),
            ends=(low.point, low.point),
        )
    part = edge.part(*span)
    start, end = spots[0].point, spots[-1].point
    off = np.array([s.point for s in spots]) - start
    way = (end - start) / max(float(np.linalg.norm(end - start)), 1e-12)
    straight = bool(np.linalg.norm(off - (off @ way)[:, None] * way, axis=1).max() <= 1e-9)
    return Raw(
        kind=ContactKind.LINE, a_faces=names[0], b_faces=(names[1],), normal=-spots[_INNER // 2].normal,
        centroid=edge_centre(part), length_mm=float(arc[-1]), make=partial(_same, part),
        ends=(start, end) if straight else None, error_mm=float(np.abs(gaps).max()),
    )  # fmt: skip


def _slants(arc: Array, gaps: Array, touch_mm: float) -> bool:
    """Whether a gap grows steadily along a line, as where an edge leans on a face with one end."""
    slope, start = np.polyfit(arc, gaps, 1)
    grows = abs(float(slope)) * float(arc[-1])
    rest = float(np.sqrt(np.mean((gaps - start - slope * arc) ** 2)))
    return grows > _TREND * touch_mm and rest <= _EXPLAINED * grows


def _same(shape: Shape) -> Shape:
    return shape
