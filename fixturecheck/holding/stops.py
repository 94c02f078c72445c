"""Whether what a freed part meets stops it, and where it then bears on the part.

The part is pressed a little into what it meets. Of what the two then share, what is thick enough stops it:
the outermost points of that piece carry, along its thinnest direction, and without friction.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.process import FAR_MM, NEAR_MM, TRAVEL_MM
from fixturecheck.hull import farthest_out
from fixturecheck.kernel.boolean import apart
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.sample import points_all_over
from fixturecheck.kernel.shapes import Shape
from fixturecheck.numeric import to_vector
from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem
from fixturecheck.statics.mechanism import StartingMotion

_PRESSED_MM, _BLUNT_SHARE = 0.1, 0.5
"""How far a part is pressed into what it meets, and what share of that the two must then lie in each other
whichever way they are measured: what it slips past by a smaller step aside does not stop it."""
_WAYS, _OUTERMOST = 400, 16
_SAME_MM, _SAME_COSINE = 1.0, 0.95
"""How far beside one touch another may lie and be the same, and how far their directions may differ."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StopContact:
    """Where a body bears on what stops it; n points.

    Parameters
    ----------
    body, other : str
        What moves, and what stops it.
    at_mm, normals : ndarray, shape (n, 3)
        Outermost points, and the way out of the body there.
    moved_mm : float
        How far the body has moved there.
    """

    body: str
    other: str
    at_mm: Floats
    normals: Floats
    moved_mm: float

    def contacts(self, problem: EquilibriumProblem) -> tuple[ContactPoint, ...]:
        """Return the points as contacts of a problem, in which the body stands where it began to move.

        Raises
        ------
        NotComputedError
            It has moved so far that what holds it no longer stands as it did.
        """
        if self.moved_mm > TRAVEL_MM:
            message = (
                f"{self.body} bears on {self.other} only after {self.moved_mm:.2g} mm, and what holds it is "
                f"known up to {TRAVEL_MM:g} mm from where it stands"
            )
            raise NotComputedError(message)
        movable = any(b.name == self.other for b in problem.bodies)
        return tuple(
            ContactPoint(
                a=self.body,
                b=self.other if movable else "",
                at_mm=to_vector(at),
                normal=to_vector(normal),
                mu=0.0,
                label=f"{self.other}, which {self.body} comes up against",
            )
            for at, normal in zip(self.at_mm, self.normals, strict=True)
        )

    def is_among(self, known: Sequence[StopContact]) -> bool:
        """Say whether it repeats a known one: no farther out, and facing the same way."""
        return any(self._is_within(k) for k in known if (k.body, k.other) == (self.body, self.other))

    def _is_within(self, known: StopContact) -> bool:
        alike = bool(((self.normals @ known.normals.T).max(axis=1) >= _SAME_COSINE).all())
        ways = np.concatenate((_ways(), -_ways()))
        out = (self.at_mm @ ways.T).max(axis=0) <= (known.at_mm @ ways.T).max(axis=0) + _SAME_MM
        return alike and bool(out.all())


def touch_of(
    shape: Shape, motion: StartingMotion, name: str, other: Shape, after_mm: float
) -> StopContact | None:
    """Return where what a body meets stands in its way; None where it is only grazed.

    Parameters
    ----------
    name : str
        Of what it meets.
    after_mm : float
        How far the body has moved when the two all but meet.

    Raises
    ------
    NotComputedError
        The kernel gave no distance or no common volume.
    """
    what = f"{motion.body} on its way and what it meets"
    met = apart(other, transformed(shape, *motion.pose_after(after_mm)), what)
    speed = math.hypot(*motion.velocity_at(met.on_b)) if met is not None else 0.0
    if speed * FAR_MM <= _PRESSED_MM:
        return None
    moved_mm = after_mm + _PRESSED_MM / speed
    pressed = apart(other, transformed(shape, *motion.pose_after(moved_mm)), what)
    if pressed is None or pressed.common is None:
        return None
    least_mm = _BLUNT_SHARE * (_PRESSED_MM - NEAR_MM)
    found = []
    for piece in solids_of(pressed.common):
        points = points_all_over(piece)
        wide_mm, normal = _narrowest(points)
        if wide_mm >= least_mm:
            found.append(_outermost(points, normal, motion))
    if not found:
        return None
    at_mm, normals = (np.concatenate(rows) for rows in zip(*found, strict=True))
    return StopContact(body=motion.body, other=name, at_mm=at_mm, normals=normals, moved_mm=moved_mm)


def _ways() -> Floats:
    """Return directions spread evenly over half of them all, and the axes."""
    up = (np.arange(_WAYS) + 0.5) / _WAYS
    turn = math.pi * (1.0 + math.sqrt(5.0)) * np.arange(_WAYS)
    level = np.sqrt(1.0 - up**2)
    return np.concatenate((np.stack((np.cos(turn) * level, np.sin(turn) * level, up), axis=1), np.eye(3)))


def _narrowest(points: Floats) -> tuple[float, Floats]:
    """Return the least width of points and its direction, of directions spread evenly and their own."""
    own: Floats = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
    ways = np.concatenate((own, _ways()))
    wide_mm = np.ptp(points @ ways.T, axis=0)
    least = int(np.argmin(wide_mm))
    return float(wide_mm[least]), ways[least]


def _outermost(points: Floats, normal: Floats, motion: StartingMotion) -> tuple[Floats, Floats]:
    """Return the points farthest out across a direction, and that direction as the body goes."""
    middle = points.mean(axis=0)
    out = normal if np.dot(motion.velocity_at(to_vector(middle)), normal) >= 0.0 else -normal
    across = np.linalg.svd(normal[None, :])[2][1:]
    # Not square to the edges of a plain piece, along which all points would be as far out.
    flat = points @ across.T
    farthest = farthest_out(flat, _OUTERMOST, turned_rad=0.5 * math.pi / _OUTERMOST)
    # Points that differ along the direction only carry alike.
    _, chosen = np.unique(np.round(flat[farthest], 3), axis=0, return_index=True)
    at_mm = points[farthest[chosen]]
    return at_mm, np.repeat(out[None, :], len(at_mm), axis=0)
