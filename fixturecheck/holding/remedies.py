"""What would bring a factor back: a lighter cut, tighter clamps, more pull, a block, a vise.

What would bring a factor back: a lighter cut, a clamp tightened, pull, area, finish, a block, a vise.
Every cure is solved for on the set-up itself and told only after the changed set-up went through the full
analysis and reached the least factor. How large a change is compares what is needed with what there is; a
block fastened, a block added, a better finish and another way of holding count as a change of one and a half,
two, two and ten (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from fixturecheck.effort import SpentError
from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.holding.blocking import between_jaws, fastened, stopped
from fixturecheck.holding.clamping import pressed
from fixturecheck.holding.factor import bearing_of
from fixturecheck.holding.milling import Milled, milled_hold
from fixturecheck.holding.more_pull import finer_seat, larger_seat, more_magnet
from fixturecheck.holding.remedy_search import Changed, Cure, Search, TrialHold, holds_words
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing

Way = Callable[[TrialHold], Iterator[Cure]]

LEAST_DEPTH_MM, DEPTH_STEP_MM = 0.001, 0.0005
"""The finest downfeed worth setting on a hand wheel, and the step of the answer."""
MOST_CLAMP_RATIO, CLAMP_STEP = 4.0, 0.05
"""How far a clamp may be tightened beyond what is stated; its screw is not judged."""


def cures_of(bench: TrialHold) -> tuple[tuple[Cure, ...], tuple[str, ...]]:
    """Return every change that brings the factor back, the smallest first.

    Another way of holding is looked for only where no change is enough.

    Returns
    -------
    cures : tuple of Cure
    untried : tuple of str
        What could not be computed, and why.
    """
    changes: Mapping[str, Way] = {
        "a lighter cut": lighter_cut,
        "tighter clamps": tighter_clamps,
        "a loose block fastened": fastened,
        "a block added": stopped,
        "a larger seat": larger_seat,
        "more magnet": more_magnet,
        "a finer finish": finer_seat,
    }
    untried: list[str] = []
    found: list[Cure] = []
    try:
        for name, way in changes.items():
            found += _tried(name, way, bench, untried)
        if not found:
            found = _tried("a vise", between_jaws, bench, untried)
    except SpentError as reason:
        untried.append(f"not every cure for {bench.part.part} in {bench.part.cut} was looked for: {reason}")
    started = [replace(c, says=c.says[0].upper() + c.says[1:]) for c in found]
    return tuple(sorted(started, key=lambda c: (c.change_ratio, c.says))), tuple(untried)


def _tried(name: str, way: Way, bench: TrialHold, untried: list[str]) -> list[Cure]:
    """Return what a way gives; one that cannot be computed cures nothing and says why."""
    try:
        return list(way(bench))
    except SpentError:
        raise
    except (NotComputedError, KernelError, SetupError) as reason:
        untried.append(f"{name} for {bench.part.part} in {bench.part.cut} was not found: {reason}")
        return []


def lighter_cut(bench: TrialHold) -> Iterator[Cure]:
    """Look for the deepest pass that is held."""
    ground, now_mm = bench.scene.ground, bench.scene.ground.cut.downfeed_mm
    body = bench.scene.setup.body(bench.part.part)

    def at(depth_mm: float) -> Changed:
        shallow = replace(ground, cut=replace(ground.cut, downfeed_mm=depth_mm))
        bearing = bearing_of(bench.scene.setup, bench.placed, shallow, body)
        return Changed(rig=bench.rig, bearing=bearing)

    # On whole steps, whatever the depth stated.
    start_mm = DEPTH_STEP_MM * -(-now_mm // DEPTH_STEP_MM)
    search = Search(change=at, corners=[bench.first_corner()])
    found = search.least(bench.least_factor, now=start_mm, most=LEAST_DEPTH_MM, step=DEPTH_STEP_MM)
    if found is not None:
        (depth_mm, factor), write = found, bench.scene.setup.write
        says = (
            f"feed down {write.length(depth_mm, '.4f', 'down')} a pass instead of "
            f"{write.number(now_mm, 'mm', '.4g')}: {bench.part.part} then {holds_words(factor)}"
        )
        yield Cure(says=says, change_ratio=now_mm / depth_mm, factor=factor)


def tighter_clamps(bench: TrialHold) -> Iterator[Cure]:
    """Look for how much harder all clamps together must press."""
    setup = bench.scene.setup
    if setup.holding is None or not setup.holding.clamps:
        return

    def at(ratio: float) -> Changed:
        rig = replace(bench.rig, clamps=pressed(tightened(setup, ratio), bench.placed))
        return Changed(rig=rig, bearing=bench.bearing)

    search = Search(change=at, corners=[bench.first_corner()])
    found = search.least(bench.least_factor, now=1.0, most=MOST_CLAMP_RATIO, step=CLAMP_STEP)
    if found is not None:
        ratio, factor = found
        says = f"{tightened_words(setup, ratio)}: {bench.part.part} then {holds_words(factor)}"
        yield Cure(says=says, change_ratio=ratio, factor=factor)


def tightened(setup: Setup, ratio: float) -> Setup:
    """Return a set-up with every clamp tightened so many times as hard."""
    holding = setup.holding or Holding()
    return replace(
        setup, holding=replace(holding, clamps=tuple(_times_as_hard(c, ratio) for c in holding.clamps))
    )


def tightened_words(setup: Setup, ratio: float) -> str:
    """Say how hard that is."""
    clamps = setup.holding.clamps if setup.holding else ()
    return "tighten " + " and ".join(_how_hard(c, ratio, setup.write) for c in clamps)


def _times_as_hard(clamp: Clamp, ratio: float) -> Clamp:
    if clamp.force_n is not None:
        return replace(clamp, force_n=ratio * clamp.force_n)
    return replace(clamp, torque_nm=ratio * (clamp.torque_nm or 0.0))


def _how_hard(clamp: Clamp, ratio: float, write: Writing) -> str:
    if clamp.force_n is not None:
        stated = write.number(clamp.force_n, "N", "g")
        return f"{clamp.name} to {write.force(ratio * clamp.force_n, '.0f', 'up')} (stated {stated})"
    torque_nm = clamp.torque_nm or 0.0
    stated = write.number(torque_nm, "N m", "g")
    return f"{clamp.name} to {write.torque(ratio * torque_nm, '.1f', 'up')} (stated {stated})"


LEAST_MILLED_DEPTH_MM, MILLED_DEPTH_STEP_MM = 0.1, 0.05
"""The shallowest cut that a cutter takes and does not rub, and the step of the answer: common practice, no
source."""
_MILLED_ROUNDS = 4


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
        deep_mm = MILLED_DEPTH_STEP_MM * math.floor(now_mm / ratio / MILLED_DEPTH_STEP_MM + 1e-9)
        return deep_mm, replace(job, mill=replace(job.mill, deep_mm=deep_mm))

    found = _first_that_holds(
        at, factor, least_factor, lambda deep_mm: deep_mm >= LEAST_MILLED_DEPTH_MM - 1e-9
    )
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
    for _ in range(_MILLED_ROUNDS):
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
