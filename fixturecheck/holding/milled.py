"""By what factor each part holds against a milling cut: the cutter's turning force, loaded to collapse."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from fixturecheck.errors import NotComputedError
from fixturecheck.holding.factor import CEILING, Rig
from fixturecheck.holding.loads import target_box
from fixturecheck.holding.model import MilledHold
from fixturecheck.kernel.shapes import Solid, to_vector
from fixturecheck.physics.collapse import collapse
from fixturecheck.physics.collapse_range import factor_range
from fixturecheck.physics.equilibrium import Holding, Load, write_equations
from fixturecheck.physics.grinding import Forces
from fixturecheck.physics.limit_load import limit_factor
from fixturecheck.physics.milling import Mill, milling_loads, shearing, teeth_in_cut, tooth_force_n
from fixturecheck.physics.ranges import Range
from fixturecheck.result import Vector
from fixturecheck.setup.holding import Milling
from fixturecheck.setup.model import Setup

SIZE = "size of the cutting force"
_LOADED = 8


def milled_holds(
    setup: Setup, placed: Mapping[str, Solid], rig: Rig, missing: dict[str, str]
) -> tuple[MilledHold, ...]:
    """Load every part by its milling cuts; what cannot be computed is added to `missing` with its reason."""
    found = []
    for mill in setup.holding.milling if setup.holding else ():
        for part in mill.parts:
            try:
                found.append(milled_hold(setup, placed, rig, mill, part))
            except NotComputedError as reason:
                missing[f"{part} in {mill.name}"] = str(reason)
    return tuple(found)


def milled_hold(setup: Setup, placed: Mapping[str, Solid], rig: Rig, mill: Milling, part: str) -> MilledHold:
    """Load one part by a milling cut until it lets go; what the cutter then bites into is not followed.

    The force turns with the cutter, so it is put along and against the feed and across it, at the middle
    and at both ends of the face; half the depth of the cut above it, since the part is drawn finished.

    Raises
    ------
    NotComputedError
        The pull on the part was not counted, or the analysis gave no answer.
    SetupError
        The cut's numbers make no sense.
    """
    if rig.pulls:
        rig.pulls.must_know(part)
    cut = Mill(
        cutter_mm=mill.cutter_mm,
        teeth=mill.teeth,
        deep_mm=mill.deep_mm,
        wide_mm=mill.wide_mm,
        feed_mm_tooth=mill.feed_mm_tooth,
    )
    table = shearing(mill.cuts_as)
    one = tooth_force_n(cut, table)
    known = Range(low=one.low, high=one.high * teeth_in_cut(cut))
    inputs = rig.inputs(_no_wheel())
    low = {name: span.low for name, span in inputs.items()}
    level = math.hypot(mill.feed[0], mill.feed[1])
    along = (mill.feed[0] / level, mill.feed[1] / level, 0.0)
    loads = milling_loads(cut, table, feed=along, across=(-along[1], along[0], 0.0))
    places = _places(setup, placed, mill, part)
    worst = _worst(rig.holding(low, ()), part, itertools.product(_largest(loads), places))

    def build(values: Mapping[str, float]) -> Holding:
        force = to_vector(values[SIZE] * f for f in worst.force_n)
        return rig.holding(values, (Load(body=part, force_n=force, at_mm=worst.at_mm, label="cut"),))

    spans = {name: span for name, span in inputs.items() if span.low < span.high or span.low > 0.0}
    spans[SIZE] = Range(low=known.low / known.high, high=1.0)
    return MilledHold(
        part=part,
        cut=mill.name,
        cutting_n=known,
        load_n=worst.force_n,
        at_mm=worst.at_mm,
        factors=factor_range(build, spans, ceiling=CEILING, draws=2),
    )


def _worst(held: Holding, part: str, loads: Iterable[tuple[Vector, Vector]]) -> Load:
    """Return the load that a part bears least: ranked by upper bounds, the lowest few loaded to collapse."""
    ranked = []
    for force, at in loads:
        problem = replace(held, cutting=(Load(body=part, force_n=force, at_mm=at, label="cut"),))
        ranked.append((limit_factor(write_equations(problem)), force, at, problem))
    ranked.sort(key=lambda row: row[:3])
    tried = [(collapse(row[3], ceiling=CEILING).factor.low, row[3].cutting[0]) for row in ranked[:_LOADED]]
    return min(tried, key=lambda row: row[0])[1]


def _largest(loads: Iterable[Vector]) -> list[Vector]:
    """Keep the largest force of each direction: a smaller one is held by a larger factor."""
    best: dict[tuple[float, ...], tuple[float, Vector]] = {}
    for force in sorted(set(loads)):
        size = math.hypot(*force)
        way = tuple(round(f / size, 9) for f in force)
        best[way] = max(best.get(way, (0.0, force)), (size, force))
    return [force for _, force in best.values()]


def _places(setup: Setup, placed: Mapping[str, Solid], mill: Milling, part: str) -> tuple[Vector, ...]:
    """Return middle and both ends of the milled face along the feed, halfway up the depth of the cut."""
    box = target_box(setup, placed, part, mill.face)
    middle = [0.5 * (box[0] + box[3]), 0.5 * (box[1] + box[4])]
    axis = 0 if abs(mill.feed[0]) >= abs(mill.feed[1]) else 1
    z = box[5] + 0.5 * mill.deep_mm
    places = []
    for end in (box[axis], middle[axis], box[axis + 3]):
        at = list(middle)
        at[axis] = end
        places.append((float(at[0]), float(at[1]), float(z)))
    return tuple(places)


def _no_wheel() -> Forces:
    nothing = Range.exactly(0.0)
    return Forces(tangential_n=nothing, normal_n=nothing, wall_n=nothing, energy_j_mm3=nothing)
