"""By what factor each part holds against a milling cut: the teeth in the cut, loaded to collapse."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fixturecheck.hold_result import Driver
from fixturecheck.holding.factor import CEILING, Change, Rig, fine_enough, losses_of, pull_on
from fixturecheck.holding.milled_stands import Milled, Stand, angles_of, stands
from fixturecheck.holding.model import Borne, Lost, MilledHold
from fixturecheck.kernel.shapes import to_vector
from fixturecheck.physics.collapse import collapse
from fixturecheck.physics.equilibrium import Holding, Load, write_equations
from fixturecheck.physics.equilibrium_path import settle_held
from fixturecheck.physics.grinding import Forces
from fixturecheck.physics.limit_rank import rank_factors
from fixturecheck.physics.milling import tooth_force_n
from fixturecheck.physics.milling_turn import CutterWay, thickest_chip_mm
from fixturecheck.physics.ranges import Range

_FOLLOWED = 6
"""Places and angles that are followed with one thing lost, besides one of each way."""
_SORTED_SHARE = 0.85
"""How much less than what sorts it a load was found to be borne, with some to spare."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """The cutter at one place and angle, and a figure that sorts it among the others.

    Parameters
    ----------
    stand : Stand
    problem : Holding
        With what holds at its low end and the cutting force at its high end.
    rank_factor : float
        About the factor, for sorting only.
    """

    stand: Stand
    problem: Holding
    rank_factor: float

    def borne(self, values: Mapping[str, float]) -> Borne:
        """Load it until it lets go."""
        found = collapse(self.problem, ceiling=CEILING)
        return Borne(case=self.stand.case, values=values, problem=self.problem, collapse=found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loaded:
    """Every trial, the lowest rank first, and those that were loaded to collapse, the least borne first."""

    values: Mapping[str, float]
    trials: tuple[Trial, ...]
    borne: tuple[Borne, ...]

    @property
    def worst(self) -> Trial:
        """The trial that is borne least."""
        return next(t for t in self.trials if t.stand.case is self.borne[0].case)


def loaded(job: Milled, *, change: Change = lambda whole: whole) -> Loaded:
    """Load a part by the cutter at every place and angle; all that it may bear least, to collapse.

    All that holds is at its low end. The part is drawn finished, so the teeth push above its face.

    Raises
    ------
    NotComputedError
        The pull on the part was not counted, or no tooth meets it, or an analysis gave no answer.
    SetupError
        The cut's numbers make no sense.
    """
    if job.rig.pulls:
        job.rig.pulls.must_know(job.part)
    tooth_force_n(job.cut, job.takes)
    values = {**{name: span.low for name, span in _inputs(job.rig).items()}, Driver.SIZE: 1.0}
    held = job.rig.holding(values, ())
    every = stands(job)
    problems = [change(replace(held, cutting=stand.loads)) for stand in every]
    ranked = [
        Trial(stand=stand, problem=problem, rank_factor=rank)
        for stand, problem, rank in zip(every, problems, _ranks(problems), strict=True)
    ]
    ranked.sort(key=lambda t: (t.rank_factor, t.stand.case.label, t.stand.case.at_mm))
    borne: list[Borne] = []
    for trial in ranked:
        if borne and _SORTED_SHARE * trial.rank_factor >= min(b.collapse.factor.low for b in borne):
            break
        borne.append(trial.borne(values))
    borne.sort(key=lambda b: b.collapse.factor.low)
    return Loaded(values=values, trials=tuple(ranked), borne=tuple(borne))


def _ranks(problems: Sequence[Holding]) -> list[float]:
    """Return what sorts the problems, which differ by their cutting loads only; zero where nothing rests."""
    equations = [write_equations(p) for p in problems]
    rest, rests = settle_held(equations[0])
    if not rests:
        return [0.0] * len(problems)
    return rank_factors(equations[0], rest.carried_n, [e.cutting_n for e in equations])


def milled_hold(job: Milled, found: Loaded | None = None) -> MilledHold:
    """Return by what factor a part holds against a milling cut, and what that depends on.

    Parameters
    ----------
    found : Loaded or None
        What `loaded` found of it; None loads it here.

    Raises
    ------
    NotComputedError, SetupError
        As `loaded` does.
    """
    rig, part = job.rig, job.part
    found = found or loaded(job)
    known, trial = found.borne[0], found.worst
    cutting = tuple(trial.problem.cutting)

    def scaled(values: Mapping[str, float]) -> tuple[Load, ...]:
        return tuple(
            replace(c, force_n=to_vector(values[Driver.SIZE] * f for f in c.force_n)) for c in cutting
        )

    share = {way: _least_share(job, way) for way in job.ways}
    spans = {**_inputs(rig), Driver.SIZE: Range(low=share[CutterWay(known.case.stroke)], high=1.0)}
    factors = fine_enough(rig, spans, scaled, known)
    most_n, way = max((t.cutting_n, way) for way in job.ways for _, t in angles_of(job, way))
    return MilledHold(
        part=part,
        cut=job.mill.name,
        cutting_n=Range(low=most_n * share[way], high=most_n),
        case=known.case,
        factors=factors,
        problem=rig.holding(factors.worst_inputs, scaled(factors.worst_inputs)),
        load_n=to_vector(sum(c.force_n[i] for c in cutting) for i in range(3)),
        pull_n=pull_on(rig, part),
    )


def milled_losses(job: Milled, losable: Sequence[str]) -> tuple[Lost, ...]:
    """Take away one block or clamp at a time, or wet every contact that is dry; the lowest factor first."""
    return losses_of(losable, lambda change: _of_every_way(loaded(job, change=change)), wet=job.rig.wet)


def _of_every_way(found: Loaded) -> tuple[Borne, ...]:
    """Return what is borne least, and of each way of the cutter that is not among it what is borne least.

    What is borne least need not be what digs in.
    """
    borne = list(found.borne[:_FOLLOWED])
    seen = {b.case.stroke for b in borne}
    for one in found.borne[_FOLLOWED:]:
        borne += [one] if one.case.stroke not in seen else []
        seen.add(one.case.stroke)
    for trial in found.trials:
        if trial.stand.case.stroke not in seen:
            seen.add(trial.stand.case.stroke)
            borne.append(trial.borne(found.values))
    return tuple(sorted(borne, key=lambda b: b.collapse.factor.low))


def _inputs(rig: Rig) -> dict[str, Range]:
    """Return what is not known well of the hold; there is no wheel."""
    nothing = Range.exactly(0.0)
    wheel = Forces(
        tangential_n=nothing, normal_n=nothing, wall_n=nothing, cross_n=nothing, energy_j_mm3=nothing
    )
    of_wheel = {Driver.DRAG, Driver.PRESS, Driver.WALL, Driver.CROSS}
    return {name: span for name, span in rig.inputs(wheel).items() if name not in of_wheel}


def _least_share(job: Milled, way: str) -> float:
    """Return the least cutting force over the greatest, at the thickest chip of a way."""
    one = tooth_force_n(job.cut, job.takes, thickest_chip_mm(job.cut, way))
    return one.low / one.high
