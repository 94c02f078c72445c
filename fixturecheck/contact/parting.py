"""The shortest straight move after which a body no longer shares space with another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.overlap import overlap
from fixturecheck.contact.standing import Standing, stand
from fixturecheck.effort import BOOLEAN, spend
from fixturecheck.kernel.measure import distance, extent_along
from fixturecheck.kernel.place import moved_by
from fixturecheck.kernel.shapes import Placed, Shape
from fixturecheck.tolerances import Tolerances

Array = NDArray[np.float64]
_FINE_UM = 0.02
_CLOSE_MM = 1e-4
_SAME_WAY = 1.0 - 1e-9
_ON_MM = 1e-4
_AXES = np.vstack((np.eye(3), -np.eye(3)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parting:
    """A move that was tried: after it the bodies only touch.

    Parameters
    ----------
    bodies : tuple of str
        What moves, all of one piece.
    by_mm : float
    direction : ndarray, shape (3,)
        Unit direction.
    """

    bodies: tuple[str, ...]
    by_mm: float
    direction: Array = field(repr=False)


def shortest_parting(
    moving: Sequence[Placed],
    still: Placed,
    others: Sequence[Placed],
    zone: Shape,
    tolerances: Tolerances,
) -> Parting | None:
    """Return the shortest move of some bodies, as one, that takes them out of another one.

    Tried are the axes and the normals of the flat faces that bound what is shared, each by halving on the
    solids; a move that would drive them further into any other body is none.

    Parameters
    ----------
    others : sequence of Placed
        What else stands there.
    zone : Shape
        What is shared as drawn.

    Returns
    -------
    Parting or None
        None where no straight move along those directions works.
    """
    fine = replace(tolerances, touch_um=_FINE_UM, overlap_mm3=1e-12)
    here, there = stand(moving), stand([still])[0]
    ways = _ways([*here, there], zone)
    guesses = [_span(zone, way) for way in ways]
    best: tuple[float, Array] | None = None
    around = stand(others)
    before = _shared_mm3(moving, around, fine)
    for k in np.argsort(np.round(guesses, 6), kind="stable"):
        way = ways[k]
        most = min(_clear_mm(here, there, way), best[0] - _CLOSE_MM if best else np.inf)
        by_mm = _least_mm(moving, there, way, (guesses[k], most), fine)
        if by_mm is None:
            continue
        # A bit more than needed would be no collision either; a bit less is what is asked of the others.
        then = [moved_by(body, (by_mm - _CLOSE_MM) * way) for body in moving]
        if _shared_mm3(then, around, fine) <= before + tolerances.overlap_mm3:
            best = by_mm, way
    if best is None:
        return None
    return Parting(bodies=tuple(b.name for b in moving), by_mm=best[0], direction=best[1])


def toward(direction: Array | Sequence[float]) -> str:
    """Return a direction in words: `toward -X` along an axis, else with its three parts."""
    way = np.asarray(direction, dtype=np.float64)
    way = way / np.linalg.norm(way)
    k = int(np.argmax(np.abs(way)))
    if abs(float(way[k])) > _SAME_WAY:
        return f"toward {'+' if way[k] > 0 else '-'}{'XYZ'[k]}"
    return f"along ({', '.join(f'{v + 0.0:.3g}' for v in np.round(way, 3))})"


def _ways(bodies: Sequence[Standing], zone: Shape) -> list[Array]:
    """Return the directions in which a move may part bodies, each once."""
    normals = [
        sign * body.normals[f]
        for body in bodies
        for f in np.flatnonzero(~np.isnan(body.offsets))
        if distance(body.face(int(f)), zone)[0] <= _ON_MM
        for sign in (1.0, -1.0)
    ]
    found: list[Array] = []
    for way in (*_AXES, *normals):
        if not any(float(way @ known) > _SAME_WAY for known in found):
            found.append(way)
    return found


def _span(zone: Shape, way: Array) -> float:
    low, high = extent_along(zone, way)
    return high - low


def _clear_mm(here: Sequence[Standing], there: Standing, way: Array) -> float:
    """Return how far bodies must go along a direction until a plane across it parts them for sure."""
    back = max(float(body.support(-way[None])[0]) for body in here)
    return float(there.support(way[None])[0]) + back


def _least_mm(
    moving: Sequence[Placed], there: Standing, way: Array, range_mm: tuple[float, float], fine: Tolerances
) -> float | None:
    """Return the least way that takes bodies out of another, up to the most that is of interest."""
    guess, most = range_mm

    def blocked(by_mm: float) -> bool:
        spend(BOOLEAN * len(moving))
        return any(overlap(body, there, fine) for body in stand([moved_by(b, by_mm * way) for b in moving]))

    if most <= 0.0 or blocked(most):
        return None
    low, high = 0.0, most
    if guess >= most or not blocked(guess):
        # Between flat faces the thickness of what is shared is the answer.
        high = min(guess, most)
        less = high - 2 * _CLOSE_MM
        if less <= 0.0 or blocked(less):
            return high
        high = less
    while high - low > _CLOSE_MM:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if blocked(middle) else (low, middle)
    return high


def _shared_mm3(moving: Sequence[Placed], around: Sequence[Standing], fine: Tolerances) -> float:
    """Return how much bodies share with what stands round them, in all."""
    pairs = ((body, other) for body in stand(moving) for other in around)
    return sum(found[1] for pair in pairs if (found := overlap(*pair, fine)) is not None)
