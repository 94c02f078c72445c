"""Candidates of free-form faces: their lowest places over other faces, exact to rounding, line by line.

Where a free-form face comes near a face of another body, the gap along each of its lines of parameters is
least where the surface runs parallel to the other. That place is found by root finding, and so is the lowest
of all. Every such place is a point of the body, so no candidate overstates the contact. Corners and edges of
the other body are projected on the face along its own normal.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.valleys import Walk, least_places, turning_up
from fixturecheck.contact.proximity.candidates import Candidates, ProximityScene, seen_from_a
from fixturecheck.contact.proximity.vertices_edges import Query
from fixturecheck.kernel.brep.features import Features
from fixturecheck.kernel.brep.free_form import STATIONS, Curve, Smooth, Target
from fixturecheck.kernel.brep.primitives import CurveKind

_TURNS = 12
"""How often the search for the lowest place changes between the two families of lines."""
_ROUNDING = 1e-12

Row = tuple[float, Floats, Floats, int, int, int, int]
"""Gap, normal out of b, place on a, body and face of a, body and face of b."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Frames:
    """How body b's frame is seen from body a's: x -> turn x + shift, and b's own into the machine's."""

    turn: Floats
    shift: Floats
    b_turn: Floats
    b_origin: Floats

    def world(self, point: Floats, normal: Floats) -> tuple[Floats, Floats]:
        """Return a point and a normal of b's frame in the machine's."""
        return self.b_turn @ point + self.b_origin, self.b_turn @ normal


def smooth_rows(
    scene: ProximityScene, rotation: Floats, origin_mm: Floats, pairs: NDArray[np.int64], query: Query
) -> Candidates:
    """Return the candidates between free-form faces and what is near them, of pairs (n, 2) of bodies.

    Parameters
    ----------
    scene : ProximityScene
        The bodies.
    rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
        Poses of all bodies.
    pairs : ndarray of int, shape (m, 2)
        Bodies by index; each pair is looked at both ways.
    query : Query
        Which gaps and directions are kept.

    Returns
    -------
    Candidates
    """
    rows: list[Row] = []
    for pair in pairs.tolist():
        for a, b in (pair, pair[::-1]):
            frames = _Frames(
                turn=rotation[b].T @ rotation[a],
                shift=rotation[b].T @ (origin_mm[a] - origin_mm[b]),
                b_turn=rotation[b],
                b_origin=origin_mm[b],
            )
            targets = scene.features[b].targets()
            for gap, normal, place, own, face in _ridges_down(scene.features[a], targets, frames, query):
                rows.append((gap, normal, place, a, own, b, face))
            faces = scene.features[a].smooth
            for one in faces:
                for gap, normal, place, face in _down_on(one, targets, frames, query):
                    rows.append((gap, normal, place, a, one.face, b, face))
            back = _Frames(
                turn=rotation[a].T @ rotation[b],
                shift=rotation[a].T @ (origin_mm[b] - origin_mm[a]),
                b_turn=rotation[a],
                b_origin=origin_mm[a],
            )
            for one in faces:
                for gap, normal, place, face in _dropped(scene.features[b], one, back, query):
                    rows.append((gap, normal, place, b, face, a, one.face))
    return _packed(rows)


def _packed(rows: Sequence[Row]) -> Candidates:
    gap = np.array([r[0] for r in rows])
    normal = np.array([r[1] for r in rows]).reshape(-1, 3)
    place = np.array([r[2] for r in rows]).reshape(-1, 3)
    names = np.array([r[3:] for r in rows], dtype=np.int64).reshape(-1, 4)
    return seen_from_a(gap, normal, place, names)


def _down_on(
    one: Smooth, targets: Sequence[Target], frames: _Frames, query: Query
) -> Iterator[tuple[float, Floats, Floats, int]]:
    """Yield the lowest places of a free-form face over the faces of another body."""
    points, normals = one.points @ frames.turn.T + frames.shift, one.normals @ frames.turn.T
    slack = query.away_mm + one.reach_mm
    low, high = points.min(axis=(0, 1)) - slack, points.max(axis=(0, 1)) + slack
    for target in targets:
        if np.any(target.low_mm > high) or np.any(target.high_mm < low):
            continue
        near = one.inside & np.all(
            (points >= target.low_mm - slack) & (points <= target.high_mm + slack), axis=2
        )
        if not near.any():
            continue
        over = _Over(one, target, frames)
        gaps, facing = over.gaps(points, normals, near)
        gaps = np.where(near & (facing >= -query.slack_rad), gaps, np.inf)
        for at in over.floors(gaps, (query.deep_mm - one.reach_mm, query.reach_mm + one.reach_mm)):
            point, own, gap, normal, inside = over.place(at)
            fits = inside and query.deep_mm <= gap <= query.reach_mm
            if fits and float(own @ normal) <= query.slack_rad:
                world, out = frames.world(point, normal)
                yield gap, out, world, target.face


class _Over:
    """The gap from a free-form face to a face of another body, over the first one's parameters."""

    def __init__(self, one: Smooth, target: Target, frames: _Frames) -> None:
        self._one, self._target, self._frames = one, target, frames

    def place(self, at: tuple[float, float]) -> tuple[Floats, Floats, float, Floats, bool]:
        """Return point and own normal in b's frame, gap, b's normal, and whether it lies on both faces."""
        point, own = self._one.probe.at(at)
        point, own = self._frames.turn @ point + self._frames.shift, self._frames.turn @ own
        gap, normal, inside = self._target.probe.gap(point)
        return point, own, gap, normal, inside and self._one.probe.inside(at)

    def gaps(self, points: Floats, normals: Floats, near: NDArray[np.bool_]) -> tuple[Floats, Floats]:
        """Return the gap at places (m, k, 3) and how well the faces look at each other there."""
        if self._target.plane is not None:
            start, normal = self._target.plane
            return (points - start) @ normal, -(normals @ normal)
        gaps, facing = np.full(near.shape, np.inf), np.full(near.shape, -1.0)
        for i, j in np.argwhere(near):
            gaps[i, j], normal, _ = self._target.probe.gap(points[i, j])
            facing[i, j] = -float(normals[i, j] @ normal)
        return gaps, facing

    def floors(self, gaps: Floats, band_mm: tuple[float, float]) -> Iterator[tuple[float, float]]:
        """Yield the parameters at which the gap is least along each line, and from the lowest, of all."""
        lowest: tuple[float, tuple[float, float]] | None = None
        for parameter in (0, 1):
            table = gaps if parameter == 0 else gaps.T
            lines, spots = (self._one.u, self._one.v) if parameter == 0 else (self._one.v, self._one.u)
            for i, j in _minima(table, band_mm):
                ends = spots[max(j - 1, 0)], spots[min(j + 1, len(spots) - 1)]
                at = self._along(float(lines[i]), parameter, (float(ends[0]), float(ends[1])))
                yield at
                gap = self.place(at)[2]
                if lowest is None or gap < lowest[0]:
                    lowest = gap, at
        if lowest is not None:
            yield self._lowest(lowest[1])

    def _lowest(self, at: tuple[float, float]) -> tuple[float, float]:
        """Return the lowest place near one, searched along lines of either parameter in turn."""
        spots = self._one.u, self._one.v
        steps = [float(s[1] - s[0]) for s in spots]
        for turn in range(_TURNS):
            parameter = turn % 2
            k = 1 - parameter
            ends = max(at[k] - steps[k], float(spots[k][0])), min(at[k] + steps[k], float(spots[k][-1]))
            new = self._along(at[parameter], parameter, ends)
            moved = max(abs(new[0] - at[0]) / steps[0], abs(new[1] - at[1]) / steps[1])
            at = new
            if turn > 0 and moved < 1e-9:
                break
        return at

    def _along(self, line: float, parameter: int, ends: tuple[float, float]) -> tuple[float, float]:
        """Return where the gap is least along a line of parameters between two ends of it."""

        def at(x: float) -> tuple[float, float]:
            return (line, x) if parameter == 0 else (x, line)

        def slope(x: float) -> float:
            point, both = self._one.probe.tangents(at(x))
            normal = self._target.plane[1] if self._target.plane else self._foot_normal(point)
            return float((self._frames.turn @ both[1 - parameter]) @ normal)

        low, high = ends
        if slope(low) >= 0:
            return at(low)
        if slope(high) <= 0:
            return at(high)
        return at(float(brentq(slope, low, high, xtol=_ROUNDING * max(abs(low), abs(high), 1.0))))

    def _foot_normal(self, point: Floats) -> Floats:
        return self._target.probe.gap(self._frames.turn @ point + self._frames.shift)[1]


def _minima(table: Floats, band_mm: tuple[float, float]) -> Iterator[tuple[int, int]]:
    """Yield row and column of the lowest places along the rows of a table, within a band of gaps."""
    wide = np.pad(table, ((0, 0), (1, 1)), constant_values=np.inf)
    low = (table <= wide[:, :-2]) & (table <= wide[:, 2:]) & (table >= band_mm[0]) & (table <= band_mm[1])
    # Of a run of equal gaps the first and the last stand for all.
    inner = low & np.pad(low, ((0, 0), (1, 1)))[:, :-2] & np.pad(low, ((0, 0), (1, 1)))[:, 2:]
    for i, j in np.argwhere(low & ~inner):
        yield int(i), int(j)


def _dropped(
    features: Features, one: Smooth, frames: _Frames, query: Query
) -> Iterator[tuple[float, Floats, Floats, int]]:
    """Yield corners and straight edges of a body dropped on a free-form face of another."""
    slack = query.away_mm + one.reach_mm
    low, high = one.points.min(axis=(0, 1)) - slack, one.points.max(axis=(0, 1)) + slack
    corners = features.points_mm[: features.sharp_count] @ frames.turn.T + frames.shift
    for k in np.flatnonzero(np.all((corners >= low) & (corners <= high), axis=1)):
        gap, normal, inside = one.probe.gap(corners[k])
        if inside and query.deep_mm <= gap <= query.reach_mm:
            leaving = features.tangent_cones[k] @ frames.turn.T @ normal
            if leaving.min(initial=0.0) >= -query.slack_rad:
                world, out = frames.world(corners[k], normal)
                face = _looking(features.point_faces[k], features.point_normals[k] @ frames.turn.T, normal)
                yield gap, out, world, face
    for curve in features.curves():
        points = curve.points @ frames.turn.T + frames.shift
        if np.any(points.min(axis=0) > high) or np.any(points.max(axis=0) < low):
            continue
        walk = partial(_seen, curve, frames)
        for share in _lows(curve, points, one, walk, (low, high)):
            spot = walk(share)[0]
            gap, normal, inside = one.probe.gap(spot)
            if (
                inside
                and query.deep_mm <= gap <= query.reach_mm
                and _in_normal_cone(curve, share, frames, normal, query)
            ):
                world, out = frames.world(spot, normal)
                yield gap, out, world, _face_of(curve, share, frames, normal)


def _lows(
    curve: Curve, points: Floats, one: Smooth, walk: Walk, box: tuple[Floats, Floats]
) -> Iterator[float]:
    """Yield the shares at which a curve is nearest to a free-form face, over its parts near the face."""
    if curve.kind == CurveKind.LINE:
        yield from least_places(walk, one.probe, _SHARES[::_FEWER])
        return
    # An arc between two points stays within half their distance of them.
    slack = 0.5 * np.linalg.norm(np.diff(points, axis=0), axis=1)[:, None]
    low, high = np.minimum(points[:-1], points[1:]) - slack, np.maximum(points[:-1], points[1:]) + slack
    near = np.flatnonzero(np.all((low <= box[1]) & (high >= box[0]), axis=1))
    for run in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1):
        if len(run):
            yield from least_places(walk, one.probe, _SHARES[run[0] : run[-1] + 2])


_FEWER = 6
"""Of a straight edge every sixth station does."""
_SHARES = np.linspace(0.0, 1.0, STATIONS + 1).tolist()


def _seen(curve: Curve, frames: _Frames, share: float) -> tuple[Floats, Floats]:
    """Return point and derivative of a curve in the other body's frame."""
    point, along = curve.probe.at(share)
    return frames.turn @ point + frames.shift, frames.turn @ along


def _in_normal_cone(curve: Curve, share: float, frames: _Frames, normal: Floats, query: Query) -> bool:
    """Whether the faces beside a curve leave what it comes down on, whose normal is given."""
    leaving = curve.probe.leaving(share) @ frames.turn.T @ normal
    return bool(leaving.min(initial=0.0) >= -query.slack_rad)


def _face_of(curve: Curve, share: float, frames: _Frames, normal: Floats) -> int:
    """Return the face beside a curve that looks most at what it comes down on."""
    return _looking(np.array(curve.faces), curve.probe.normals(share) @ frames.turn.T, normal)


def _ridges_down(
    features: Features, targets: Sequence[Target], frames: _Frames, query: Query
) -> Iterator[tuple[float, Floats, Floats, int, int]]:
    """Yield the lowest places of curved edges, circles left out, over the flat faces of another body."""
    for curve in features.curves():
        if curve.kind in {CurveKind.LINE, CurveKind.CIRCLE}:
            continue
        points, tangents = curve.points @ frames.turn.T + frames.shift, curve.tangents @ frames.turn.T
        # An arc between two points stays within half their distance of them.
        slack = query.away_mm + 0.5 * float(np.linalg.norm(np.diff(points, axis=0), axis=1).max())
        low, high = points.min(axis=0) - slack, points.max(axis=0) + slack
        for target in targets:
            if target.plane is None or np.any(target.low_mm > high) or np.any(target.high_mm < low):
                continue
            for k, j in turning_up((tangents @ target.plane[1]).tolist(), 0.0):
                ends = _SHARES[k], _SHARES[j]
                level = partial(_level_at, partial(_seen, curve, frames), target.plane[1])
                share = ends[0] if k == j else level(ends)
                spot = _seen(curve, frames, share)[0]
                gap, normal, inside = target.probe.gap(spot)
                if (
                    inside
                    and query.deep_mm <= gap <= query.reach_mm
                    and _in_normal_cone(curve, share, frames, normal, query)
                ):
                    world, out = frames.world(spot, normal)
                    yield gap, out, world, _face_of(curve, share, frames, normal), target.face


def _level_at(walk: Walk, normal: Floats, ends: tuple[float, float]) -> float:
    """Return the share between two at which a curve runs square to a normal."""
    return float(brentq(lambda share: float(walk(share)[1] @ normal), *ends, xtol=_ROUNDING))


def _looking(faces: NDArray[np.int64], normals: Floats, direction: Floats) -> int:
    """Return the face that looks most against a direction."""
    look = np.where(faces >= 0, -(normals @ direction), -math.inf)
    return int(faces[int(np.argmax(look))])
