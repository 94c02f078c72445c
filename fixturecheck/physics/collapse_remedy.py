"""What is the smallest change that brings the factor back: pull, clamp force, area, depth of a pass, a block.

Every answer is found by trying the change in the full analysis, and the change returned has been tried
itself and reaches the target; where the end of what can be had does not reach it, the answer is None.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fixturecheck.errors import SetupError
from fixturecheck.physics.collapse_motion import Motion
from fixturecheck.physics.equilibrium import ContactPoint, Vector

Factor = Callable[[float], float]


def least_that_reaches(
    factor: Factor, target: float, *, now: float, most: float, share: float = 1e-3
) -> float | None:
    """Return the smallest increase of an input that brings the factor to its target.

    Parameters
    ----------
    factor : callable
        Factor at a value of the input; meant to rise with it.
    target : float
        Factor wanted.
    now, most : float
        Value as it is, and the most that can be had.
    share : float
        Accuracy, as a share of the span.

    Returns
    -------
    float or None
        The value, itself tried and found to reach the target; `now` where it does already; None where
        `most` does not.

    Raises
    ------
    SetupError
        The ends are not finite or the wrong way round.
    """
    _check_span(now, most, target)
    return _close_in(factor, target, fails=now, reaches=most, share=share)


def most_that_keeps(
    factor: Factor, target: float, *, now: float, least: float, share: float = 1e-3
) -> float | None:
    """Return the largest value, at most `now`, at which the factor still reaches its target.

    For inputs that lower the factor, such as the depth of a pass. Parameters and answer as in
    `least_that_reaches`, with `least` the smallest value worth setting.

    Raises
    ------
    SetupError
        The ends are not finite or the wrong way round.
    """
    _check_span(least, now, target)
    return _close_in(factor, target, fails=now, reaches=least, share=share)


def _close_in(factor: Factor, target: float, *, fails: float, reaches: float, share: float) -> float | None:
    """Halve the span between a value that fails and one that reaches the target."""
    if factor(fails) >= target:
        return fails
    if factor(reaches) < target:
        return None
    span = abs(reaches - fails)
    while abs(reaches - fails) > share * span:
        between = 0.5 * (fails + reaches)
        if factor(between) >= target:
            reaches = between
        else:
            fails = between
    return reaches


def _check_span(low: float, high: float, target: float) -> None:
    """Refuse a span that is none."""
    if not (math.isfinite(low) and math.isfinite(high) and low < high and math.isfinite(target)):
        message = f"remedy: from {low} to {high} for a factor of {target} is no span to look in"
        raise SetupError(message)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockPlace:
    """Where a blocking block would stop a failing body.

    Parameters
    ----------
    side : Vector
        Direction in which the body moves and against which the block stands: level, along X or Y.
    at_mm : Vector
        Middle of the contact at the height looked for, on the body's outside.
    height_mm : float
        Height of the contact's top above the seat.
    contacts : tuple of ContactPoint
        The contact points of the block with the body.
    """

    side: Vector
    at_mm: Vector
    height_mm: float
    contacts: tuple[ContactPoint, ...]


def block_against(
    motion: Motion,
    *,
    low_mm: Vector,
    high_mm: Vector,
    height_mm: float,
    mu: float,
    stiffness_n_mm: float = 1e5,
) -> BlockPlace | None:
    """Place a block against the side that a body moves toward.

    Parameters
    ----------
    motion : Motion
        How the body starts to move.
    low_mm, high_mm : Vector
        Corners of its box.
    height_mm : float
        How far up from the bottom of the box the block reaches.
    mu : float
        Friction against the block.
    stiffness_n_mm : float
        Stiffness of each of the four contact points.

    Returns
    -------
    BlockPlace or None
        The side, and four points over the lower `height_mm` of it; None where no side wall moves outward
        at that height, so no block of that height touches anything that moves toward it.
    """
    low, high = np.array(low_mm), np.array(high_mm)
    top = low[2] + min(height_mm, float(high[2] - low[2]))
    best: tuple[float, int, float] | None = None
    for axis in (0, 1):
        for sign, wall in ((1.0, high[axis]), (-1.0, low[axis])):
            point = 0.5 * (low + high)
            point[axis], point[2] = wall, top
            outward = sign * motion.velocity_at((float(point[0]), float(point[1]), float(point[2])))[axis]
            if outward > 0.05 and (best is None or outward > best[0]):
                best = (outward, axis, sign)
    if best is None:
        return None
    _, axis, sign = best
    wall = high[axis] if sign > 0.0 else low[axis]
    normal = [0.0, 0.0, 0.0]
    normal[axis] = sign
    side: Vector = (normal[0], normal[1], normal[2])
    corners = []
    for across in (low[1 - axis], high[1 - axis]):
        for z in (low[2], top):
            corner = np.array([0.0, 0.0, z])
            corner[axis], corner[1 - axis] = wall, across
            corners.append((float(corner[0]), float(corner[1]), float(corner[2])))
    middle = np.mean(corners, axis=0)
    points = tuple(
        ContactPoint(
            a=motion.body, at_mm=at, normal=side, mu=mu, stiffness_n_mm=stiffness_n_mm, label="added block"
        )
        for at in corners
    )
    return BlockPlace(
        side=side,
        at_mm=(float(middle[0]), float(middle[1]), float(middle[2])),
        height_mm=float(top - low[2]),
        contacts=points,
    )
