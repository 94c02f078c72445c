"""What it asks of a body's pose that one of its faces lies on a face that stands still."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.numeric import square_to
from fixturecheck.placing.faces import SeatFace

_PARALLEL = 1e-9
_EQUAL_MM = 1e-6
"""Radii that differ by less make a fit without play: the axes coincide."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mate:
    """A face of the body that is placed, on a face that stands still.

    Parameters
    ----------
    name : str
        What the pair is called.
    own : SeatFace
        The body's face, in the body's own frame.
    other : SeatFace
        The face that it goes on, in the machine's frame.
    gap_mm : float
        How far off it the face stands.
    """

    name: str
    own: SeatFace
    other: SeatFace
    gap_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Misfit:
    """How far a pose is from what a mate asks.

    Parameters
    ----------
    lean_rad : ndarray, shape (k,)
        Angles by which directions miss.
    off_mm : ndarray, shape (m,)
        Distances by which the surfaces miss: above zero apart, below zero one within the other.
    turn_rows : ndarray, shape (k, 3)
        How each angle changes with a turn, per radian.
    rows : ndarray, shape (m, 6)
        How each distance changes with a shift (mm) and a turn (radians) about the given centre.
    """

    lean_rad: Floats
    off_mm: Floats
    turn_rows: Floats
    rows: Floats

    def scaled(self, size_mm: float) -> tuple[Floats, Floats]:
        """Return what misses in mm at the body's size, (n,), and its rows for turns in mm at that size."""
        turns = np.hstack((np.zeros((len(self.turn_rows), 3)), self.turn_rows))
        rows = np.vstack((turns, self.rows / np.array([1.0, 1.0, 1.0, size_mm, size_mm, size_mm])))
        return np.concatenate((self.lean_rad * size_mm, self.off_mm)), rows


def misfit(mate: Mate, turn: Floats, shift: Floats, centre_mm: Floats) -> Misfit:
    """Return how far the body's pose, x -> turn x + shift, is from what the mate asks.

    Parameters
    ----------
    turn : ndarray, shape (3, 3)
        Rotation of the body.
    shift : ndarray, shape (3,)
        Where its origin goes, mm.
    centre_mm : ndarray, shape (3,)
        The point that turns are about, in the machine's frame.
    """
    asks = _ASKS[mate.own.kind, mate.other.kind]
    own = _Moved(
        point=turn @ mate.own.point_mm + shift,
        direction=turn @ mate.own.direction,
        radius=mate.own.radius_mm,
        outward=mate.own.outward,
    )
    return asks(own, mate.other, mate.gap_mm, centre_mm)


def fits(own: SeatFace, other: SeatFace) -> bool:
    """Tell whether two faces can touch from outside: a bore can only go on something round."""
    hollow = [face for face in (own, other) if face.outward < 0]
    if not hollow:
        return True
    rest = [face for face in (own, other) if face.outward > 0]
    if len(rest) != 1 or rest[0].kind == SurfaceKind.PLANE:
        return False
    return rest[0].radius_mm <= hollow[0].radius_mm + _EQUAL_MM


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Moved:
    """A face of the body where the pose puts it."""

    point: Floats
    direction: Floats
    radius: float
    outward: int


def cross(a: Floats, b: Floats) -> Floats:
    """Return a x b of two vectors, shape (3,); several times faster than numpy's."""
    return np.array((a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]))


def _made(leans: list[tuple[float, Floats]], offs: list[tuple[float, Floats]]) -> Misfit:
    return Misfit(
        lean_rad=np.array([v for v, _ in leans]),
        off_mm=np.array([v for v, _ in offs]),
        turn_rows=np.array([r for _, r in leans]).reshape(-1, 3),
        rows=np.array([r for _, r in offs]).reshape(-1, 6),
    )


def _facing(own: Floats, wanted: Floats) -> list[tuple[float, Floats]]:
    """Ask that a direction of the body is a given one; the two parts of the turn that is missing."""
    axes = square_to(wanted)
    parts = axes @ own
    sine = float(np.linalg.norm(parts))
    angle = float(np.arctan2(sine, own @ wanted))
    if sine < _PARALLEL and angle > 1.0:
        # It looks straight the other way: half a turn is missing, about either axis.
        parts, sine = np.array((1.0, 0.0)), 1.0
    # The same as the parts near the goal, and growing up to half a turn.
    share = angle / sine if sine > _PARALLEL else 1.0
    return [(float(share * part), cross(own, axis)) for part, axis in zip(parts, axes, strict=True)]


def _square(own: Floats, normal: Floats) -> list[tuple[float, Floats]]:
    """Ask that a direction of the body is square to a given one."""
    return [(float(np.arcsin(np.clip(own @ normal, -1.0, 1.0))), cross(own, normal))]


def _parallel(own: Floats, wanted: Floats) -> list[tuple[float, Floats]]:
    """Ask that an axis of the body lies along a given one, either way."""
    return _facing(own, wanted if own @ wanted >= 0.0 else -wanted)


def _shift(normal: Floats, point: Floats, centre: Floats) -> Floats:
    """Return how the position of a point of the body along a direction changes with shift and turn."""
    return np.concatenate((normal, cross(point - centre, normal)))


def _plane_plane(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    normal = other.direction
    off = float(normal @ (own.point - other.point_mm)) - gap
    return _made(_facing(own.direction, -normal), [(off, _shift(normal, own.point, centre))])


def _round_plane(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    normal = other.direction
    off = float(normal @ (own.point - other.point_mm)) - own.radius - gap
    leans = _square(own.direction, normal) if own.direction.any() else []
    return _made(leans, [(off, _shift(normal, own.point, centre))])


def _plane_round(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    normal = own.direction
    off = float(normal @ (other.point_mm - own.point)) - other.radius_mm - gap
    # The normal turns with the body, so that the arm counts from what stands still.
    row = np.concatenate((-normal, cross(normal, other.point_mm - centre)))
    leans = _square(normal, other.direction) if other.direction.any() else []
    return _made(leans, [(off, row)])


def _axes(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    """A pin in a bore, or over another: their axes lie parallel."""
    leans = _parallel(own.direction, other.direction)
    apart = own.point - other.point_mm
    return _made(leans, _beside(own, other, (other.direction, apart), gap, centre))


def _beside(
    own: _Moved, other: SeatFace, known: tuple[Floats, Floats], gap: float, centre: Floats
) -> list[tuple[float, Floats]]:
    """Ask that two round faces whose axes lie parallel touch along a line, or coincide."""
    axis, apart = known
    flat = apart - axis * (axis @ apart) if axis.any() else apart
    far = float(np.linalg.norm(flat))
    outside = own.outward > 0 and other.outward > 0
    play = abs(own.radius - other.radius_mm)
    if not outside and play + abs(gap) < _EQUAL_MM:
        ways = square_to(axis) if axis.any() else np.eye(3)
        return [(float(way @ apart), _shift(way, own.point, centre)) for way in ways]
    way = flat / far if far > _PARALLEL else (square_to(axis)[1] if axis.any() else np.eye(3)[2])
    off = far - own.radius - other.radius_mm - gap if outside else play - gap - far
    sign = 1.0 if outside else -1.0
    return [(off, _shift(sign * way, own.point, centre))]


def _balls(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    axis = other.direction
    return _made([], _beside(own, other, (axis, own.point - other.point_mm), gap, centre))


def _round_ball(own: _Moved, other: SeatFace, gap: float, centre: Floats) -> Misfit:
    """A cylinder of the body on a ball that stands still."""
    apart = own.point - other.point_mm
    flat = apart - own.direction * (own.direction @ apart)
    near = replace(own, point=other.point_mm + flat)
    return _made([], _beside(near, other, (own.direction, flat), gap, centre))


_PLANE, _CYLINDER, _SPHERE = SurfaceKind.PLANE, SurfaceKind.CYLINDER, SurfaceKind.SPHERE
_ASKS: Mapping[tuple[SurfaceKind, SurfaceKind], Callable[[_Moved, SeatFace, float, Floats], Misfit]] = {
    (_PLANE, _PLANE): _plane_plane,
    (_CYLINDER, _PLANE): _round_plane,
    (_SPHERE, _PLANE): _round_plane,
    (_PLANE, _CYLINDER): _plane_round,
    (_PLANE, _SPHERE): _plane_round,
    (_CYLINDER, _CYLINDER): _axes,
    (_SPHERE, _CYLINDER): _balls,
    (_SPHERE, _SPHERE): _balls,
    (_CYLINDER, _SPHERE): _round_ball,
}
