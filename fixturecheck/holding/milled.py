"""By what factor each part holds against a milling cut: the cutter's turning force, loaded to collapse."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fixturecheck.holding.factor import CEILING, DRAG, PRESS, WALL, Change, Rig, losses_of, pull_on
from fixturecheck.holding.loads import target_box
from fixturecheck.holding.model import Borne, LoadCase, Lost, MilledHold
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
_ENDS = {
    0: ("at the left end", "in the middle", "at the right end"),
    1: ("in front", "in the middle", "behind"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Milled:
    """One part under one milling cut, with what holds it."""

    setup: Setup
    placed: Mapping[str, Solid]
    rig: Rig
    mill: Milling
    part: str

    @property
    def cut(self) -> Mill:
        """The cut as numbers."""
        return Mill(
            cutter_mm=self.mill.cutter_mm,
            teeth=self.mill.teeth,
            deep_mm=self.mill.deep_mm,
            wide_mm=self.mill.wide_mm,
            feed_mm_tooth=self.mill.feed_mm_tooth,
        )


def milled_hold(job: Milled) -> MilledHold:
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
    rig, part = job.rig, job.part
    if rig.pulls:
        rig.pulls.must_know(part)
    one = tooth_force_n(job.cut, shearing(job.mill.cuts_as))
    known = Range(low=one.low, high=one.high * teeth_in_cut(job.cut))
    inputs = _inputs(rig)
    load_n, worst = _least_borne(job)

    def build(values: Mapping[str, float]) -> Holding:
        force = to_vector(values[SIZE] * f for f in load_n)
        return rig.holding(values, (Load(body=part, force_n=force, at_mm=worst.case.at_mm, label="cut"),))

    spans = {**inputs, SIZE: Range(low=known.low / known.high, high=1.0)}
    return MilledHold(
        part=part,
        cut=job.mill.name,
        cutting_n=known,
        case=worst.case,
        factors=factor_range(
            build,
            spans,
            known=(worst.collapse, {**worst.values, SIZE: 1.0}),
            ceiling=CEILING,
            draws=2,
        ),
        load_n=load_n,
        pull_n=pull_on(rig, part),
    )


def milled_losses(job: Milled, loose: Sequence[str]) -> tuple[Lost, ...]:
    """Take away one loose block at a time, or wet every contact; the lowest factor first."""
    return losses_of(loose, lambda change: (_least_borne(job, change=change)[1],))


def _inputs(rig: Rig) -> dict[str, Range]:
    """Return what is not known well of the hold; there is no wheel."""
    nothing = Range.exactly(0.0)
    wheel = Forces(tangential_n=nothing, normal_n=nothing, wall_n=nothing, energy_j_mm3=nothing)
    return {name: span for name, span in rig.inputs(wheel).items() if name not in {DRAG, PRESS, WALL}}


def _least_borne(job: Milled, *, change: Change = lambda whole: whole) -> tuple[Vector, Borne]:
    """Return the load that a part bears least: ranked by upper bounds, the lowest few loaded to collapse.

    All that holds is at its low end, and every tooth in the cut at its thickest chip.
    """
    low = {name: span.low for name, span in _inputs(job.rig).items()}
    held = job.rig.holding(low, ())
    ranked = []
    for force, (where, at) in itertools.product(_largest(_forces(job)), _places(job)):
        load = Load(body=job.part, force_n=force, at_mm=at, label="cut")
        problem = change(replace(held, cutting=(load,)))
        ranked.append((limit_factor(write_equations(problem)), force, at, where, problem))
    ranked.sort(key=lambda row: row[:3])
    tried = []
    for _, force, at, where, problem in ranked[:_LOADED]:
        label = f"milling force of {math.hypot(*force):.0f} N, cutter {where}"
        case = LoadCase(label=label, stroke="", at_mm=at)
        found = collapse(problem, ceiling=CEILING)
        tried.append((force, Borne(case=case, values=low, collapse=found)))
    return min(tried, key=lambda row: row[1].collapse.factor.low)


def _forces(job: Milled) -> tuple[Vector, ...]:
    """Return the cutter's force in every direction that counts."""
    feed = job.mill.feed
    level = math.hypot(feed[0], feed[1])
    along = (feed[0] / level, feed[1] / level, 0.0)
    return milling_loads(job.cut, shearing(job.mill.cuts_as), feed=along, across=(-along[1], along[0], 0.0))


def _largest(loads: Sequence[Vector]) -> list[Vector]:
    """Keep the largest force of each direction: a smaller one is held by a larger factor."""
    best: dict[tuple[float, ...], tuple[float, Vector]] = {}
    for force in sorted(set(loads)):
        size = math.hypot(*force)
        way = tuple(round(f / size, 9) for f in force)
        best[way] = max(best.get(way, (0.0, force)), (size, force))
    return [force for _, force in best.values()]


def _places(job: Milled) -> tuple[tuple[str, Vector], ...]:
    """Return middle and both ends of the milled face along the feed, halfway up the depth of the cut."""
    box = target_box(job.setup, job.placed, job.part, job.mill.face)
    middle = [0.5 * (box[0] + box[3]), 0.5 * (box[1] + box[4])]
    axis = 0 if abs(job.mill.feed[0]) >= abs(job.mill.feed[1]) else 1
    z = box[5] + 0.5 * job.mill.deep_mm
    places = []
    for where, end in zip(_ENDS[axis], (box[axis], middle[axis], box[axis + 3]), strict=True):
        at = list(middle)
        at[axis] = end
        places.append((where, (float(at[0]), float(at[1]), float(z))))
    return tuple(places)
