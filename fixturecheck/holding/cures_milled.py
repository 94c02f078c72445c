"""What would bring the factor of a milled part back: a shallower cut, or tighter clamps."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

from fixturecheck.effort import SpentError
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.clamping import pressed
from fixturecheck.holding.cures import CLAMP_STEP, MOST_CLAMP_RATIO, tightened, tightened_words
from fixturecheck.holding.cures_model import holds_words
from fixturecheck.holding.milled import milled_hold
from fixturecheck.holding.milled_stands import Milled

LEAST_DEPTH_MM, DEPTH_STEP_MM = 0.1, 0.05
"""The shallowest cut that a cutter takes and does not rub, and the step of the answer: common practice, no
source."""
_ROUNDS = 4


def milled_cures(job: Milled, factor: float, least_factor: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the changes that reach the least factor, each put through the full analysis.

    Parameters
    ----------
    factor : float
        What it holds as stated.

    Returns
    -------
    cures : tuple of str
    untried : tuple of str
        What could not be computed, and why.
    """
    if factor <= 0.0:
        return (), ()
    cures: list[str] = []
    untried: list[str] = []
    for name, way in (("a shallower cut", _shallower), ("tighter clamps", _tighter)):
        try:
            cures += way(job, factor, least_factor)
        except SpentError as reason:
            untried.append(f"not every cure for {job.part} in {job.mill.name} was looked for: {reason}")
            break
        except NotComputedError as reason:
            untried.append(f"{name} for {job.part} in {job.mill.name} was not found: {reason}")
    return tuple(c[0].upper() + c[1:] for c in cures), tuple(untried)


def _shallower(job: Milled, factor: float, least_factor: float) -> Iterator[str]:
    """Look for a depth of cut that is held: its force goes with the depth, its lever hardly."""
    now_mm = job.mill.deep_mm

    def at(ratio: float) -> tuple[float, Milled]:
        deep_mm = DEPTH_STEP_MM * math.floor(now_mm / ratio / DEPTH_STEP_MM + 1e-9)
        return deep_mm, replace(job, mill=replace(job.mill, deep_mm=deep_mm))

    found = _first_that_holds(at, factor, least_factor, lambda deep_mm: deep_mm >= LEAST_DEPTH_MM - 1e-9)
    if found is not None:
        deep_mm, reached = found
        write = job.setup.write
        depth = f"{write.length(deep_mm, '.2f', 'down')} deep at a time "
        depth += f"instead of {write.number(now_mm, 'mm', 'g')}"
        yield f"mill {depth}: {job.part} then {holds_words(reached)}"


def _tighter(job: Milled, factor: float, least_factor: float) -> Iterator[str]:
    """Look for how much harder all clamps together must press."""
    if job.setup.holding is None or not job.setup.holding.clamps:
        return

    def at(ratio: float) -> tuple[float, Milled]:
        steps = CLAMP_STEP * math.ceil(ratio / CLAMP_STEP - 1e-9)
        changed = tightened(job.setup, steps)
        rig = replace(job.rig, clamps=pressed(changed, job.placed))
        return steps, replace(job, setup=changed, rig=rig)

    found = _first_that_holds(at, factor, least_factor, lambda ratio: ratio <= MOST_CLAMP_RATIO)
    if found is not None:
        ratio, reached = found
        yield f"{tightened_words(job.setup, ratio)}: {job.part} then {holds_words(reached)}"


def _first_that_holds(
    at: Callable[[float], tuple[float, Milled]],
    factor: float,
    least_factor: float,
    allowed: Callable[[float], bool],
) -> tuple[float, float] | None:
    """Change in proportion to what is missing, and again by what is then missing; None where that fails."""
    ratio = least_factor / factor
    for _ in range(_ROUNDS):
        value, changed = at(ratio)
        if not allowed(value):
            return None
        reached = milled_hold(changed).factors.factor.low
        if reached >= least_factor:
            return value, reached
        if reached <= 0.0:
            return None
        ratio *= max(1.02, least_factor / reached)
    return None
