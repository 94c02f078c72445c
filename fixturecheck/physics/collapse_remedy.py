"""What is the smallest change that brings the factor back.

Every answer is found by trying the change in the full analysis, and the change returned has been tried
itself and reaches the target; where the end of what can be had does not reach it, the answer is None.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from fixturecheck.errors import SetupError

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
    if not (math.isfinite(now) and math.isfinite(most) and now < most and math.isfinite(target)):
        message = f"remedy: from {now} to {most} for a factor of {target} is no span to look in"
        raise SetupError(message)
    span, fails, reaches = most - now, now, most
    if factor(fails) >= target:
        return fails
    if factor(reaches) < target:
        return None
    while reaches - fails > share * span:
        between = 0.5 * (fails + reaches)
        if factor(between) >= target:
            reaches = between
        else:
            fails = between
    return reaches
