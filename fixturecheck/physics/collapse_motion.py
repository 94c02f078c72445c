"""Which body goes, and how: the motion at collapse as a slide, a tip or a turn, in numbers and in words.

Words follow the surface grinder: X is the traverse of the table (right is +X), Y the cross feed (the column
is at +Y), Z is up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixturecheck.physics.equilibrium import FloatArray, Rigid, Vector
from fixturecheck.physics.rigid import cross_matrix, rotation_of
from fixturecheck.units import METRIC, Writing

# Share of the fastest body's speed below which a body counts as standing still (its springs still give).
STANDS = 0.02
# Turning speed at the body's half size, over its speed, below which it slides and above which it turns.
SLIDES_BELOW, TURNS_ABOVE = 0.15, 0.4
_NIL_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """How one body starts to move; speeds are relative to the fastest point of the fastest body.

    Parameters
    ----------
    body : str
        Its name.
    kind : str
        `slides`, `tips`, `turns` (about a near-vertical axis), `slides and tips`, `slides and turns`,
        `lifts` or `drops`.
    velocity : Vector
        Velocity of its reference point, mm per mm.
    rotation_rad_mm : Vector
        Rotation per mm of the fastest point.
    at_mm : Vector
        Its reference point.
    axis_mm, axis : Vector or None
        A point on the axis that it turns about, nearest to the reference point, and the direction.
    """

    body: str
    kind: str
    velocity: Vector
    rotation_rad_mm: Vector
    at_mm: Vector
    axis_mm: Vector | None
    axis: Vector | None

    @property
    def says(self) -> str:
        """The motion in words, in mm."""
        return self.told(METRIC)

    def told(self, write: Writing) -> str:
        """Return the motion in words."""
        if self.axis is None or self.axis_mm is None:
            straight = self.kind in {"lifts", "drops"}
            return f"{self.body} {self.kind}{'' if straight else ' ' + direction_words(self.velocity)}"
        way = _turning_words(np.array(self.axis), upright=self.kind.endswith("turns"))
        return f"{self.body} {self.kind} {way}{_place(self.axis_mm, self.axis, write)}"

    def velocity_at(self, point_mm: Vector) -> Vector:
        """Return the velocity of a point that moves with the body, mm per mm."""
        arm = np.subtract(point_mm, self.at_mm)
        return _vector(np.array(self.velocity) + np.cross(self.rotation_rad_mm, arm))

    def pose_after(self, moved_mm: float) -> tuple[FloatArray, FloatArray]:
        """Return where the motion leads if it goes on as it starts: x -> turn @ x + shift.

        The exact screw of the twist, so a body that tips keeps its shape and its axis; exponential of a
        twist as in Murray, Li, Sastry, A Mathematical Introduction to Robotic Manipulation, 2.36 (from
        memory).
        """
        angle = moved_mm * np.array(self.rotation_rad_mm)
        turn = rotation_of(angle)[0]
        size = float(np.linalg.norm(angle))
        skew = cross_matrix(angle)[0]
        # (1 - cos) / size^2 and (size - sin) / size^3, with their series where those lose digits.
        first = 0.5 * np.sinc(size / (2.0 * np.pi)) ** 2
        second = (size - np.sin(size)) / size**3 if size > 1e-3 else 1.0 / 6.0 - size**2 / 120.0
        along = (np.eye(3) + first * skew + second * skew @ skew) @ (moved_mm * np.array(self.velocity))
        at = np.array(self.at_mm)
        return turn, at + along - turn @ at


def motions(bodies: tuple[Rigid, ...], twists: FloatArray) -> tuple[Motion, ...]:
    """Return the motion of every body that moves, the fastest first.

    Parameters
    ----------
    bodies : tuple of Rigid
        The bodies.
    twists : ndarray, shape (bodies, 6)
        Velocity of each reference point and rotation, in any common scale.

    Returns
    -------
    tuple of Motion
        Velocities are shares of the fastest body's; empty where nothing moves.
    """
    sizes = np.array([body.size_mm for body in bodies])
    speeds = np.linalg.norm(twists[:, :3], axis=1) + np.linalg.norm(twists[:, 3:], axis=1) * sizes
    fastest = float(speeds.max(initial=0.0))
    if fastest <= 0.0:
        return ()
    order = [i for i in np.argsort(-speeds, kind="stable") if speeds[i] > STANDS * fastest]
    return tuple(_describe(bodies[i], twists[i] / fastest) for i in order)


def direction_words(direction: Vector) -> str:
    """Return a direction in words, such as `to the right and up`; parts under a third are left out.

    Parameters
    ----------
    direction : Vector
        In the machine's frame, of any length.

    Returns
    -------
    str
        Empty for no direction.
    """
    unit = np.array(direction) / max(float(np.linalg.norm(direction)), 1e-300)
    names = (("to the left", "to the right"), ("toward the operator", "toward the column"), ("down", "up"))
    said = [pair[int(part > 0.0)] for pair, part in zip(names, unit, strict=True) if abs(part) > 0.33]
    return " and ".join(said)


def _describe(body: Rigid, twist: FloatArray) -> Motion:
    """Sort one twist into a kind."""
    velocity, rotation = twist[:3], twist[3:]
    speed, turning = float(np.linalg.norm(velocity)), float(np.linalg.norm(rotation)) * body.size_mm
    axis_mm: Vector | None = None
    axis: Vector | None = None
    if turning <= SLIDES_BELOW * speed:
        kind = _straight(velocity / speed)
    else:
        unit = rotation / np.linalg.norm(rotation)
        foot = np.array(body.at_mm) + np.cross(rotation, velocity) / float(rotation @ rotation)
        axis_mm, axis = _vector(foot), _vector(unit)
        turn = "turns" if abs(unit[2]) > 0.8 else "tips"
        kind = turn if turning >= TURNS_ABOVE * speed else f"slides and {turn}"
    return Motion(
        body=body.name,
        kind=kind,
        velocity=_vector(velocity),
        rotation_rad_mm=_vector(rotation),
        at_mm=body.at_mm,
        axis_mm=axis_mm,
        axis=axis,
    )


def _straight(unit: FloatArray) -> str:
    """Name a motion without turning."""
    if unit[2] > 0.7:
        return "lifts"
    return "drops" if unit[2] < -0.7 else "slides"


def _turning_words(axis: FloatArray, *, upright: bool) -> str:
    """Say which way a turning body goes; one that tips goes the way its top leans against its foot."""
    if upright:
        return "counter-clockwise seen from above" if axis[2] > 0.0 else "clockwise seen from above"
    return direction_words(_vector(np.cross(axis, [0.0, 0.0, 1.0])))


def _place(foot: Vector, axis: Vector, write: Writing) -> str:
    """Say where the axis lies: the two coordinates it does not run along."""
    along = int(np.argmax(np.abs(axis)))
    # What rounds to nothing has no sign.
    near = [0.0 if abs(x) < _NIL_MM else x for x in foot]
    kept = [f"{'XYZ'[i]} {write.number(near[i], 'mm', '.1f')}" for i in range(3) if i != along]
    kind = "about an axis" if along == 2 else "over a line"
    return f", {kind} along {'XYZ'[along]} at {', '.join(kept)} {write.name('mm')}"


def _vector(values: FloatArray) -> Vector:
    """Return three plain numbers."""
    x, y, z = (float(v) for v in values)
    return x, y, z
