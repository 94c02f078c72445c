"""How a body that has let go moves, and whether that takes it into the wheel.

At collapse a body moves with a twist. Followed as a screw it either runs into the wheel or away from it. How
much of it the wheel then takes comes from the solids and is only read here. Where that grows it digs in, and
no factor makes the set-up safe enough to ignore it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.numeric import to_vector
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import BodyMotion, MotionKind, Outcome
from fixturecheck.result.shapes import Vector
from fixturecheck.statics.equilibrium import Rigid

# Share of the fastest body's speed below which a body counts as standing still (its springs still give).
STANDS = 0.02
# Turning speed at the body's half size, over its speed, below which it slides and above which it turns.
SLIDES_BELOW, TURNS_ABOVE = 0.15, 0.4
# Cosine of a turn's axis with the vertical, or with that of a round, from which on it turns, or rolls.
UPRIGHT_ABOVE, ROLLS_ABOVE = 0.8, 0.99
_TURNS = (MotionKind.TURNS, MotionKind.SLIDES_AND_TURNS)
_TIPS = (MotionKind.TIPS, MotionKind.SLIDES_AND_TIPS)
_ROLLS = (MotionKind.ROLLS, MotionKind.SLIDES_AND_ROLLS)


@dataclass(frozen=True, slots=True, kw_only=True)
class StartingMotion(BodyMotion):
    """How one body starts to move, and where that leads."""

    def velocity_at(self, point_mm: Vector) -> Vector:
        """Return the velocity of a point that moves with the body, mm per mm."""
        arm = np.subtract(point_mm, self.at_mm)
        return to_vector(np.array(self.velocity) + np.cross(self.rotation_rad_mm, arm))

    def pose_after(self, moved_mm: float) -> tuple[Floats, Floats]:
        """Return where the motion leads if it goes on as it starts: x -> turn @ x + shift.

        The exact screw of the twist, so a body that tips keeps its shape and its axis; exponential of a
        twist as in Murray, Li, Sastry, A Mathematical Introduction to Robotic Manipulation, 2.36 (from
        memory).
        """
        angle = moved_mm * np.array(self.rotation_rad_mm)
        turn = Rotation.from_rotvec(angle).as_matrix()
        size = float(np.linalg.norm(angle))
        skew = np.cross(np.eye(3), angle)
        # (1 - cos) / size^2 and (size - sin) / size^3, with their series where those lose digits.
        first = 0.5 * np.sinc(size / (2.0 * np.pi)) ** 2
        second = (size - np.sin(size)) / size**3 if size > 1e-3 else 1.0 / 6.0 - size**2 / 120.0
        along = (np.eye(3) + first * skew + second * skew @ skew) @ (moved_mm * np.array(self.velocity))
        at = np.array(self.at_mm)
        return turn, at + along - turn @ at


def starting_motions(bodies: tuple[Rigid, ...], twists: Floats) -> tuple[StartingMotion, ...]:
    """Return the motion of every body that moves, the fastest first.

    Parameters
    ----------
    bodies : tuple of Rigid
        The bodies.
    twists : ndarray, shape (bodies, 6)
        Velocity of each reference point and rotation, in any common scale.

    Returns
    -------
    tuple of StartingMotion
        Velocities are shares of the fastest body's; empty where nothing moves.
    """
    sizes = np.array([body.size_mm for body in bodies])
    speeds = np.linalg.norm(twists[:, :3], axis=1) + np.linalg.norm(twists[:, 3:], axis=1) * sizes
    fastest = float(speeds.max(initial=0.0))
    if fastest <= 0.0:
        return ()
    order = [i for i in np.argsort(-speeds, kind="stable") if speeds[i] > STANDS * fastest]
    return tuple(_describe(bodies[i], twists[i] / fastest) for i in order)


def _describe(body: Rigid, twist: Floats) -> StartingMotion:
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
        axis_mm, axis = to_vector(foot), to_vector(unit)
        rolls = body.rolls_about is not None and abs(unit @ np.array(body.rolls_about)) > ROLLS_ABOVE
        alone, with_slide = _ROLLS if rolls else _TURNS if abs(unit[2]) > UPRIGHT_ABOVE else _TIPS
        kind = alone if turning >= TURNS_ABOVE * speed else with_slide
    return StartingMotion(
        body=body.name,
        kind=kind,
        velocity=to_vector(velocity),
        rotation_rad_mm=to_vector(rotation),
        at_mm=body.at_mm,
        axis_mm=axis_mm,
        axis=axis,
    )


def _straight(unit: Floats) -> MotionKind:
    """Name a motion without turning."""
    if unit[2] > 0.7:
        return MotionKind.LIFTS
    return MotionKind.DROPS if unit[2] < -0.7 else MotionKind.SLIDES


@dataclass(frozen=True, slots=True, kw_only=True)
class Crash:
    """The overlap along the motion.

    Parameters
    ----------
    outcome : Outcome
        What happens over the whole travel looked at; digging in anywhere counts as digging in.
    moved_mm : tuple of float
        How far the fastest point has moved.
    overlap_mm3 : tuple of float
        Common volume with the wheel there.
    first_mm : float or None
        Travel after which the overlap first exceeds that at the start; None where it never does.
    """

    outcome: Outcome
    moved_mm: tuple[float, ...]
    overlap_mm3: tuple[float, ...]
    first_mm: float | None


def follow_overlap(
    overlap_mm3: Callable[[float], float],
    *,
    travel_mm: float = 2.0,
    noise_mm3: float = 1e-6,
    samples: int = 9,
) -> Crash:
    """Move the body along its failure and read whether the wheel takes more of it.

    Parameters
    ----------
    overlap_mm3 : callable
        Common volume of body and wheel after the fastest point has moved this far, mm.
    travel_mm : float
        How far to look. Samples are spaced geometrically, since the first hundredth matters most.
    noise_mm3 : float
        Change of volume that counts as none.
    samples : int
        Number of samples besides the start.

    Returns
    -------
    Crash
        Outcome and samples.

    Raises
    ------
    SetupError
        Travel or samples make no sense.
    NotComputedError
        An overlap is negative or not finite.
    """
    if not travel_mm > 0.0 or samples < 2:
        raise SetupError(
            f"crash: travel {travel_mm} mm, {samples} samples; state a travel above zero, two samples"
        )
    moved = (0.0, *(float(t) for t in travel_mm * np.geomspace(1e-3, 1.0, samples)))
    overlaps = tuple(float(overlap_mm3(t)) for t in moved)
    for t, volume in zip(moved, overlaps, strict=True):
        if not (np.isfinite(volume) and volume >= -noise_mm3):
            raise NotComputedError(f"crash: the overlap after {t:.4f} mm came out as {volume} mm³")
    start = overlaps[0]
    grown = [t for t, volume in zip(moved, overlaps, strict=True) if volume > start + noise_mm3]
    shrinks = overlaps[-1] < start - noise_mm3
    outcome = Outcome.FALLS_AWAY if shrinks else Outcome.STAYS
    return Crash(
        outcome=Outcome.DIGS_IN if grown else outcome,
        moved_mm=moved,
        overlap_mm3=overlaps,
        first_mm=grown[0] if grown else None,
    )


def crash_verdict(outcome: Outcome, factor: float, *, safe_factor: float) -> Verdict:
    """Judge a factor together with where the body goes.

    Parameters
    ----------
    outcome : Outcome
        What the freed body does.
    factor : float
        Low end of the factor at collapse.
    safe_factor : float
        Factor below which digging in is a no-go; above it, it stays a caution.

    Returns
    -------
    Verdict
        No-go below one, where it lets go under the cut itself. Digging in: no-go below `safe_factor`, else
        caution. Otherwise go: whether it holds as often as is asked is another question.
    """
    if not np.isfinite(factor):
        return Verdict.UNKNOWN
    digs_in = outcome is Outcome.DIGS_IN
    if factor < (max(safe_factor, 1.0) if digs_in else 1.0):
        return Verdict.NO_GO
    return Verdict.CAUTION if digs_in else Verdict.GO
