"""What would bring a factor back: a lighter cut, a clamp tightened, pull, area, finish, a block, a vise.

Every cure is solved for on the set-up itself and told only after the changed set-up went through the full
analysis and reached the least factor. How large a change is compares what is needed with what there is; a
block fastened, a block added, a better finish and another way of holding count as a change of one and a half,
two, two and ten (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from fixturecheck.effort import SpentError
from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.holding.clamping import pressed
from fixturecheck.holding.cures_block import fastened, stopped
from fixturecheck.holding.cures_field import finer_seat, larger_seat, more_magnet
from fixturecheck.holding.cures_model import Bench, Changed, Cure, Search, holds_words
from fixturecheck.holding.cures_vise import between_jaws
from fixturecheck.holding.factor import bearing_of
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing

Way = Callable[[Bench], Iterator[Cure]]

LEAST_DEPTH_MM, DEPTH_STEP_MM = 0.001, 0.0005
"""The finest downfeed worth setting on a hand wheel, and the step of the answer."""
MOST_CLAMP_RATIO, CLAMP_STEP = 4.0, 0.05
"""How far a clamp may be tightened beyond what is stated; its screw is not judged."""


def cures_of(bench: Bench) -> tuple[tuple[Cure, ...], tuple[str, ...]]:
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


def _tried(name: str, way: Way, bench: Bench, untried: list[str]) -> list[Cure]:
    """Return what a way gives; one that cannot be computed cures nothing and says why."""
    try:
        return list(way(bench))
    except SpentError:
        raise
    except (NotComputedError, KernelError, SetupError) as reason:
        untried.append(f"{name} for {bench.part.part} in {bench.part.cut} was not found: {reason}")
        return []


def lighter_cut(bench: Bench) -> Iterator[Cure]:
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


def tighter_clamps(bench: Bench) -> Iterator[Cure]:
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
