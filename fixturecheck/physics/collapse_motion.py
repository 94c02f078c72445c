"""Which body goes, and how: the motion at collapse as a slide, a tip or a turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixturecheck.hold_result import BodyMotion, MotionKind
from fixturecheck.physics.equilibrium import FloatArray, Rigid, Vector
from fixturecheck.physics.rigid import cross_matrix, rotation_of

# Share of the fastest body's speed below which a body counts as standing still (its springs still give).
STANDS = 0.02
# Turning speed at the body's half size, over its speed, below which it slides and above which it turns.
SLIDES_BELOW, TURNS_ABOVE = 0.15, 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion(BodyMotion):
    """How one body starts to move, and where that leads."""

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
        upright = abs(unit[2]) > 0.8
        if turning >= TURNS_ABOVE * speed:
            kind = MotionKind.TURNS if upright else MotionKind.TIPS
        else:
            kind = MotionKind.SLIDES_AND_TURNS if upright else MotionKind.SLIDES_AND_TIPS
    return Motion(
        body=body.name,
        kind=kind,
        velocity=_vector(velocity),
        rotation_rad_mm=_vector(rotation),
        at_mm=body.at_mm,
        axis_mm=axis_mm,
        axis=axis,
    )


def _straight(unit: FloatArray) -> MotionKind:
    """Name a motion without turning."""
    if unit[2] > 0.7:
        return MotionKind.LIFTS
    return MotionKind.DROPS if unit[2] < -0.7 else MotionKind.SLIDES


def _vector(values: FloatArray) -> Vector:
    """Return three plain numbers."""
    x, y, z = (float(v) for v in values)
    return x, y, z
