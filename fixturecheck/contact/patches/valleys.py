"""Where smooth faces, and edges over free-form faces, touch: along the valleys of the gap.

Over the parameters of face A the gap to face B is a smooth height. It has a minimum at a point where the
faces curve apart both ways, and along a curve where they run together one way. Every line of parameters that
crosses such a valley has its own minimum, which is found to rounding; those that touch, joined, are the
contact.

Along an edge the gap to a face is a smooth function of one parameter. Where it stays within the touch limit
over a length the edge lies on the face in a line; where it only comes down to it, they touch at a point.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize
from scipy.spatial import cKDTree

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import RawPatch, raw_edge, raw_point
from fixturecheck.contact.placed import FacePair
from fixturecheck.kernel.brep.probes import EdgeProbe, Probe
from fixturecheck.kernel.construct import segment, spline_through
from fixturecheck.numeric import last_inside, off_line_mm, square_to

OPPOSED = 1.0 - 1e-4
"""Smooth faces touch at a point where their normals oppose this well; else an edge or corner touches."""
_EXPLAINED = 0.1
_SEEN = 0.05
_END_HALVINGS = 40
_JOINED = 2.2
"""Places on neighbouring lines join into one curve when no further apart than this many lines."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """A place of face A in its parameters, where it is, and how it stands to face B there."""

    at: Floats
    point: Floats
    gap_mm: float
    normal: Floats
    opposed_share: float


class Height:
    """The gap from face A to face B as a function of A's parameters.

    Parameters
    ----------
    ours, theirs : Probe
        Faces A and B.
    window : tuple of ndarray, shape (2,)
        Least and greatest parameters that are looked at.
    step : ndarray, shape (2,)
        Distance of neighbouring lines in either parameter.
    """

    def __init__(self, ours: Probe, theirs: Probe, window: tuple[Floats, Floats], step: Floats) -> None:
        self.ours, self.theirs, self.window, self.step = ours, theirs, window, step

    def place(self, at: Floats) -> Place | None:
        """Return the place at parameters; None off either face."""
        u, v = float(at[0]), float(at[1])
        if not self.ours.inside((u, v)):
            return None
        point, normal = self.ours.at((u, v))
        gap, other, inside = self.theirs.gap(point)
        if not inside:
            return None
        opposed = -float(normal @ other)
        return Place(at=np.array([u, v]), point=point, gap_mm=gap, normal=normal, opposed_share=opposed)

    def least(self, start: Floats) -> Place | None:
        """Return the lowest place reached going down from parameters; None where that is off a face."""
        bounds = [(low - s, high - s) for low, high, s in zip(*self.window, start, strict=True)]
        bounds = [(low / step, high / step) for (low, high), step in zip(bounds, self.step, strict=True)]

        def height(x: Floats) -> tuple[float, Floats]:
            u, v = (start + x * self.step).tolist()
            point, both = self.ours.tangents((u, v))
            gap, normal, _ = self.theirs.gap(point)
            return gap, both @ normal * self.step

        options = {"ftol": 0.0, "gtol": 1e-11, "maxiter": 60}
        found = minimize(height, np.zeros(2), jac=True, method="L-BFGS-B", bounds=bounds, options=options)
        return self.place(np.clip(start + found.x * self.step, *self.window))

    def along(self, near: Floats, parameter: int) -> Place | None:
        """Return where a line of parameters crosses the floor of a valley near a place of it.

        Parameters
        ----------
        near : ndarray, shape (2,)
            The place.
        parameter : int
            Which of the two parameters is kept.

        Returns
        -------
        Place or None
            None where the gap is not least along the line, or where the line runs along the valley.
        """
        other = 1 - parameter
        line, spot = float(near[parameter]), float(near[other])
        low = max(self.window[0][other], spot - self.step[other])
        high = min(self.window[1][other], spot + self.step[other])

        def at(x: float) -> Floats:
            out = np.empty(2)
            out[parameter], out[other] = line, x
            return out

        def slope(x: float) -> float:
            u, v = at(x).tolist()
            point, both = self.ours.tangents((u, v))
            return float(both[other] @ self.theirs.gap(point)[1])

        ends = slope(low), slope(high)
        if ends[0] >= 0 or ends[1] <= 0:
            return self._lower(at(low), at(high)) if ends[0] * ends[1] >= 0 else None
        place = self.place(at(brentq(slope, low, high, xtol=1e-12 * max(abs(low), abs(high), 1.0))))
        if place is None:
            return None
        return place if self._bend(place, other) >= _CROSSES * self._bend(place, parameter) else None

    def _lower(self, one: Floats, other: Floats) -> Place | None:
        """Return the lower of two places."""
        found = [p for p in (self.place(one), self.place(other)) if p is not None]
        return min(found, key=lambda p: p.gap_mm, default=None)

    def _bend(self, place: Place, parameter: int) -> float:
        """Return the second derivative of the gap along one parameter, per mm, at or beside a place."""
        step = np.zeros(2)
        step[parameter] = 0.5 * self.step[parameter]
        for shift in (0.0, 1.0, -1.0):
            row = [self.place(place.at + (shift + k) * step) for k in (-1.0, 0.0, 1.0)]
            before, middle, after = row
            if before is not None and middle is not None and after is not None:
                long = 0.5 * float(np.linalg.norm(after.point - before.point))
                return (before.gap_mm - 2 * middle.gap_mm + after.gap_mm) / max(long, 1e-12) ** 2
        return 0.0


_CROSSES = 0.5
"""A line crosses a valley where the gap bends along it at least half as much as along the other parameter."""


def touching_places(
    height: Height, cells: NDArray[np.int64], gaps: Floats, at: Floats, touch_mm: float
) -> list[Place]:
    """Return the places where two faces touch: on the floors of valleys, and at lowest places by themselves.

    Parameters
    ----------
    height : Height
        The gap from face A to face B.
    cells : ndarray of int, shape (n, 2)
        Column and row of the samples that look at face B, in the grid of the window.
    gaps : ndarray, shape (n,)
    at : ndarray, shape (n, 2)
        Parameters of the samples.
    touch_mm : float
        Gaps up to this, and overlaps as deep, are contact.

    Returns
    -------
    list of Place
    """
    table = {(int(m), int(n)): gap for (m, n), gap in zip(cells, gaps, strict=True)}
    found = []
    for parameter in (0, 1):
        beside = ((0, 1), (0, -1)) if parameter == 0 else ((1, 0), (-1, 0))
        for k in _lowest(cells, gaps, table, beside):
            place = height.along(at[k], parameter)
            if place is not None and abs(place.gap_mm) <= touch_mm and place.opposed_share >= OPPOSED:
                found.append(place)
    for k in _lowest(cells, gaps, table, _AROUND):
        if any(np.linalg.norm((p.at - at[k]) / height.step) <= _JOINED for p in found):
            continue
        low = height.least(at[k])
        if low is not None and abs(low.gap_mm) <= touch_mm and low.opposed_share >= OPPOSED:
            found.append(low)
    return found


_AROUND = tuple((m, n) for m in (-1, 0, 1) for n in (-1, 0, 1) if m or n)


def _lowest(
    cells: NDArray[np.int64],
    gaps: Floats,
    table: dict[tuple[int, int], float],
    beside: Iterable[tuple[int, int]],
) -> Iterator[int]:
    """Yield the samples that none of those beside them is lower than."""
    for k, ((m, n), gap) in enumerate(zip(cells.tolist(), gaps, strict=True)):
        rivals = [table[key] for dm, dn in beside if (key := (m + dm, n + dn)) in table]
        if all(rival >= gap for rival in rivals) and any(rival > gap + _FLAT_MM for rival in rivals):
            yield k


_FLAT_MM = 1e-9
"""Along the floor of a valley no sample is lower than those beside it by more than rounding."""


def opening_directions(spots: Floats, gaps: Floats, touch_mm: float) -> int:
    """Return in how many directions a gap grows as between faces that curve apart, and not as noise.

    A quadratic is fitted: it has to hold the gap within a tenth of its growth, and that has to be more than a
    twentieth of the touch limit over the extent of the spots.

    Parameters
    ----------
    spots : ndarray, shape (n, 1) or (n, 2)
        Along a curve, or in a plane across the normal.
    gaps : ndarray, shape (n,)
    touch_mm : float
        The touch limit that growth is measured by.

    Returns
    -------
    int
        From 0 to the number of columns of `spots`; all of them where there are too few spots to fit.
    """
    count = int(spots.shape[1])
    middle = (spots.max(axis=0) + spots.min(axis=0)) / 2
    size = max(float(np.abs(spots - middle).max()), 1e-12)
    x = (spots - middle) / size
    pairs = [(i, j) for i in range(count) for j in range(i, count)]
    rows = np.stack([np.ones(len(x)), *x.T, *(x[:, i] * x[:, j] for i, j in pairs)], axis=1)
    if len(rows) < rows.shape[1]:
        return count
    fit = np.linalg.lstsq(rows, gaps, rcond=1e-9)[0]
    bend = np.zeros((count, count))
    for (i, j), value in zip(pairs, fit[1 + count :], strict=True):
        bend[i, j] = bend[j, i] = value if i == j else value / 2
    rises, axes = np.linalg.eigh(bend)
    grows = rises * np.abs(x @ axes).max(axis=0) ** 2
    rest = float(np.sqrt(np.mean((gaps - rows @ fit) ** 2)))
    return int(np.sum((grows > _SEEN * touch_mm) & (rest <= _EXPLAINED * grows)))


def lines_and_points(
    height: Height, places: Sequence[Place], faces: tuple[int, int], touch_mm: float
) -> Iterator[RawPatch]:
    """Yield the lines and points that places where two faces touch make up.

    Parameters
    ----------
    height : Height
        The gap from face A to face B.
    places : sequence of Place
        Where the two touch, in any order.
    faces : tuple of int
        The number of face A and that of face B.
    touch_mm : float
        Gaps up to this are contact.

    Yields
    ------
    RawPatch
    """
    if not places:
        return
    spacing = _spacing_mm(height, places)
    for group in _groups(places, _JOINED * spacing):
        run = _in_order(group, spacing)
        points = np.array([p.point for p in run])
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        arc = np.concatenate([[0.0], np.cumsum(steps)])
        gaps = np.array([p.gap_mm for p in run])
        if (
            len(run) < _FEWEST
            or _curves_apart(group, touch_mm)
            or opening_directions(arc[:, None], gaps, touch_mm)
        ):
            low = height.least(min(group, key=lambda p: p.gap_mm).at)
            if low is not None and abs(low.gap_mm) <= touch_mm and low.opposed_share >= OPPOSED:
                yield raw_point((faces[0],), (faces[1],), low.normal, low.point)
            continue
        yield _line(height, run, faces, spacing, touch_mm)


_FEWEST = 4


def _curves_apart(group: Sequence[Place], touch_mm: float) -> bool:
    """Whether two faces curve apart both ways from the middle of the places where they touch."""
    points = np.array([p.point for p in group])
    normal = group[len(group) // 2].normal
    across = square_to(normal)
    flat = (points - points.mean(axis=0)) @ across.T
    return opening_directions(flat, np.array([p.gap_mm for p in group]), touch_mm) == _BOTH


_BOTH = 2


def _spacing_mm(height: Height, places: Sequence[Place]) -> float:
    """Return how far apart neighbouring lines of parameters are where the faces touch, the wider way."""
    widest = 0.0
    for place in places[:: max(1, len(places) // 8)]:
        for parameter in (0, 1):
            at = place.at.copy()
            at[parameter] += height.step[parameter]
            widest = max(
                widest, float(np.linalg.norm(height.ours.at((float(at[0]), float(at[1])))[0] - place.point))
            )
    return widest


def _groups(places: Sequence[Place], within_mm: float) -> list[list[Place]]:
    """Part places into those that are joined by steps no longer than a distance."""
    tree = cKDTree(np.array([p.point for p in places]))
    owner = np.arange(len(places))

    def root(k: int) -> int:
        while owner[k] != k:
            k = int(owner[k])
        return k

    for m, n in tree.query_pairs(within_mm):
        owner[root(m)] = root(n)
    found: dict[int, list[Place]] = {}
    for k, place in enumerate(places):
        found.setdefault(root(k), []).append(place)
    return list(found.values())


def _in_order(group: Sequence[Place], spacing_mm: float) -> list[Place]:
    """Return places in the order in which a curve runs through them, thinned to a quarter of a step."""
    points = np.array([p.point for p in group])
    start = int(np.argmax(np.linalg.norm(points - points.mean(axis=0), axis=1)))
    left = set(range(len(group)))
    order = [start]
    left.discard(start)
    while left:
        rest = np.array(sorted(left))
        away = np.linalg.norm(points[rest] - points[order[-1]], axis=1)
        near = rest[away < 0.25 * spacing_mm]
        left -= {int(k) for k in near}
        rest, away = rest[away >= 0.25 * spacing_mm], away[away >= 0.25 * spacing_mm]
        if not rest.size or away.min() > 2 * _JOINED * spacing_mm:
            break
        order.append(int(rest[np.argmin(away)]))
        left.discard(order[-1])
    return [group[k] for k in order]


def _line(
    height: Height, run: list[Place], faces: tuple[int, int], spacing_mm: float, touch_mm: float
) -> RawPatch:
    """Return the curve through places in order, followed to where it leaves a face or the faces part."""
    closed = (
        len(run) > 2 * _FEWEST and float(np.linalg.norm(run[0].point - run[-1].point)) <= _JOINED * spacing_mm
    )
    if not closed:
        run = [_end(height, run[1], run[0], touch_mm), *run, _end(height, run[-2], run[-1], touch_mm)]
    points = _apart(np.array([p.point for p in run]), 1e-6)
    start, end = points[0], points[-1]
    direction = (end - start) / max(float(np.linalg.norm(end - start)), 1e-12)
    middle = run[len(run) // 2]
    straight = not closed and float(off_line_mm(points, start, direction).max()) <= touch_mm
    edge = segment(start, end) if straight else spline_through(points, closed=closed)
    error_mm = max(abs(p.gap_mm) for p in run)
    ends = (start, end) if straight else None
    return raw_edge((faces[0],), (faces[1],), middle.normal, edge, ends, error_mm)


def _apart(points: Floats, least_mm: float) -> Floats:
    """Return points without those that repeat the one before."""
    keep = np.concatenate([[True], np.linalg.norm(np.diff(points, axis=0), axis=1) > least_mm])
    return np.asarray(points[keep])


def _end(height: Height, inner: Place, last: Place, touch_mm: float) -> Place:
    """Return the last place of a curve past `last`, away from `inner`, found by halving a step."""
    parameter = int(np.argmax(np.abs((last.at - inner.at) / height.step)))
    step = last.at - inner.at

    def at(share: float) -> Place | None:
        spot = last.at + share * step
        if not height.window[0][parameter] <= spot[parameter] <= height.window[1][parameter]:
            return None
        place = height.along(spot, parameter)
        touches = place is not None and abs(place.gap_mm) <= touch_mm and place.opposed_share >= OPPOSED
        return place if touches else None

    apart = 1e-6 / max(float(np.linalg.norm(last.point - inner.point)), 1e-12)
    share = last_inside(lambda t: at(t) is not None, 0.0, 1.5, apart=apart, halvings=_END_HALVINGS)
    return (at(share) if share > 0.0 else None) or last


Walk = Callable[[float], tuple[Floats, Floats]]
"""Gives the point at a share of an edge, and the derivative by that share."""

STATIONS = 48
_COARSE = 32
_EDGE_END_HALVINGS = 60
_LEVEL = 1e-10
"""An edge that leans less than this over a face runs level with it there: rounding makes no least place."""
_RISES = -1e-3
"""Material beside an edge counts as rising from a face down to this sine of the angle."""
_INNER = 9
_TREND, _EDGE_EXPLAINED = 0.5, 0.1
"""A gap that grows by half the touch limit along a line, to within a tenth, only starts in a point."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeFoot:
    """A place of an edge: its share, where it is, how far outside the face, and the normal at its foot.

    `within` says whether the foot lies within the face's outline.
    """

    share: float
    point: Floats
    gap_mm: float
    normal: Floats
    within: bool


def spot_at(walk: Walk, face: Probe, share: float) -> EdgeFoot:
    """Return the place of an edge at a share of it.

    Parameters
    ----------
    walk : Walk
        The edge.
    face : Probe
        The face that the gap is measured to.
    share : float
        How far along the edge, from 0 to 1.

    Returns
    -------
    EdgeFoot
    """
    point, _ = walk(share)
    gap, normal, within = face.gap(point)
    return EdgeFoot(share=share, point=point, gap_mm=gap, normal=normal, within=within)


def least_places(walk: Walk, face: Probe, stations: Sequence[float]) -> Iterator[float]:
    """Yield the shares of an edge between neighbouring stations at which the gap is least, to rounding.

    Parameters
    ----------
    walk : Walk
        The edge.
    face : Probe
        The face that the gap is measured to.
    stations : sequence of float
        At least two rising shares of the edge.

    Yields
    ------
    float
        A share of the edge.
    """

    def slope(share: float) -> float:
        point, along = walk(share)
        return float(along @ face.gap(point)[1])

    slopes = [slope(t) for t in stations]
    flat = _LEVEL * max(float(np.linalg.norm(walk(t)[1])) for t in stations[:: len(stations) - 1])
    for k, j in turning_up(slopes, flat):
        low, high = stations[k], stations[j]
        yield low if k == j else float(brentq(slope, low, high, xtol=1e-13))


def turning_up(slopes: Sequence[float], flat_mm: float) -> Iterator[tuple[int, int]]:
    """Yield between which neighbours slopes turn from falling to rising; one twice where it alone is level.

    What is drawn symmetric is often level just at a station.

    Parameters
    ----------
    slopes : sequence of float
        Derivatives of the gap by the share of the edge at stations in order.
    flat_mm : float
        Slopes up to this either way count as level.

    Yields
    ------
    tuple of int
        Indices of the stations before and after the turn; the same twice where the slope is level at one
        station only.
    """
    for k in range(len(slopes) - 1):
        if slopes[k] >= -flat_mm:
            continue
        if slopes[k + 1] > flat_mm:
            yield k, k + 1
        elif slopes[k + 1] >= -flat_mm and k + 2 < len(slopes) and slopes[k + 2] > flat_mm:
            yield k + 1, k + 1


def stretches(walk: Walk, box: tuple[Floats, Floats], slack_mm: float) -> Iterator[Floats]:
    """Yield stations along the parts of an edge that come within a distance of a box, ends included.

    Parameters
    ----------
    walk : Walk
        The edge.
    box : tuple of ndarray, shape (3,)
        Least and greatest corner, mm.
    slack_mm : float
        Places this near to the box count as in it.

    Yields
    ------
    ndarray, shape (STATIONS + 1,)
        Rising shares of the edge, evenly spaced.
    """
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
    box: tuple[Floats, Floats],
    names: tuple[tuple[int, ...], int],
    touch_mm: float,
) -> Iterator[RawPatch]:
    """Yield the lines and points in which an edge of A touches a free-form face of B.

    Parameters
    ----------
    edge : EdgeProbe
        The edge of A.
    face : Probe
        The face of B.
    box : tuple of ndarray, shape (3,)
        Least and greatest corner of a box round the face.
    names : tuple
        The faces that meet in the edge, and the number of the other face.
    touch_mm : float

    Yields
    ------
    RawPatch
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
                    _end_on_edge(edge, face, spots[k].share, spots[max(k - 1, 0)].share, touch_mm),
                    _end_on_edge(
                        edge, face, spots[last].share, spots[min(last + 1, len(spots) - 1)].share, touch_mm
                    ),
                )
                yield _stretch(edge, face, span, names, touch_mm)
            k = last + 1


def least_beside(
    pair: FacePair, below_mm: float, touch_mm: float, *, opposed_share: float
) -> Iterator[float]:
    """Yield gaps, each less than the one before, between the edges of either of two faces and the other face.

    Parameters
    ----------
    pair : FacePair
        The two bodies and a face of each.
    below_mm : float
        Only gaps less than this.
    touch_mm : float
        Overlaps up to this are gaps.
    opposed_share : float
        The faces look at each other where the cosine between one normal and the other turned back is that.

    Yields
    ------
    float
        The gap, mm; below zero where they overlap.
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


def _touches(edge: EdgeProbe, spot: EdgeFoot, touch_mm: float) -> bool:
    """Whether an edge touches a face at a place, with the material beside it rising from the face."""
    if not spot.within or abs(spot.gap_mm) > touch_mm:
        return False
    return bool((edge.leaving(spot.share) @ spot.normal).min(initial=0.0) >= _RISES)


def _end_on_edge(edge: EdgeProbe, face: Probe, inner: float, outer: float, touch_mm: float) -> float:
    """Return how far from one share of an edge towards another it goes on touching a face."""

    def touches(share: float) -> bool:
        return _touches(edge, spot_at(edge.at, face, share), touch_mm)

    return last_inside(touches, inner, outer, apart=1e-12, halvings=_EDGE_END_HALVINGS)


def _stretch(
    edge: EdgeProbe,
    face: Probe,
    span: tuple[float, float],
    names: tuple[tuple[int, ...], int],
    touch_mm: float,
) -> RawPatch:
    """Return the line that an edge shares with a face over a span, or the point where they are nearest."""
    spots = [spot_at(edge.at, face, t) for t in np.linspace(*span, _INNER).tolist()]
    gaps = np.array([s.gap_mm for s in spots])
    arc = np.linspace(0.0, edge.length_mm(*span), _INNER)
    if (
        arc[-1] <= touch_mm
        or opening_directions(arc[:, None], gaps, touch_mm)
        or _slants(arc, gaps, touch_mm)
    ):
        lows = least_places(edge.at, face, np.linspace(*span, _INNER).tolist())
        low = min([*spots, *(spot_at(edge.at, face, t) for t in lows)], key=lambda s: s.gap_mm)
        return raw_point(names[0], (names[1],), -low.normal, low.point)
    part = edge.part(*span)
    start, end = spots[0].point, spots[-1].point
    direction = (end - start) / max(float(np.linalg.norm(end - start)), 1e-12)
    straight = bool(off_line_mm(np.array([s.point for s in spots]), start, direction).max() <= 1e-9)
    ends = (start, end) if straight else None
    normal = -spots[_INNER // 2].normal
    return raw_edge(names[0], (names[1],), normal, part, ends, float(np.abs(gaps).max()))


def _slants(arc: Floats, gaps: Floats, touch_mm: float) -> bool:
    """Whether a gap grows steadily along a line, as where an edge leans on a face with one end."""
    slope, start = np.polyfit(arc, gaps, 1)
    grows = abs(float(slope)) * float(arc[-1])
    rest = float(np.sqrt(np.mean((gaps - start - slope * arc) ** 2)))
    return grows > _TREND * touch_mm and rest <= _EDGE_EXPLAINED * grows
