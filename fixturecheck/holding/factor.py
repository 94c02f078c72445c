"""By what factor each part holds, what it depends on, and what one loss makes of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from fixturecheck.effort import COLLAPSE, spend
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.clamping import FILM_ROW, Pressed
from fixturecheck.holding.model import Borne, Change, LoadCase, Lost, Opened, PartHold, nothing_lost
from fixturecheck.holding.process import CuttingProcess
from fixturecheck.holding.rig import Rig
from fixturecheck.interval import Range
from fixturecheck.nesting.seating import Base, Footing
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import FILM, ClampKind, KeptFixture, KeptReason, Loss, LossKind
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import BodyRole
from fixturecheck.statics.clamps import friction
from fixturecheck.statics.collapse import (
    NOTHING,
    Collapse,
    FactorRange,
    collapse,
    factor_range,
    filmed,
    without,
)
from fixturecheck.statics.equilibrium import EquilibriumProblem, Load, cutting_loads, write_equations
from fixturecheck.statics.limit import rank_factors
from fixturecheck.statics.loading import settle_held

CEILING = 30.0
FINER, MOST_FINER, SAME_SHARE = 2.0, 4, 0.02
"""How much smaller cells are made, how often at most, and what change of the factor then counts as none."""
MANY = 36
"""Cases that are all loaded; of more, those that may be borne least: those of a wheel are never more."""
FEW = 8
"""Cases that are kept with one thing lost."""
_SORTED_SHARE = 0.85
"""How much less than what sorts it a load was found to be borne, with some to spare."""
_RANKED_EACH = 10
"""Cases that are sorted at the cost of loading one."""
_ONTO_COSINE = 0.25

Cutting = Callable[[Mapping[str, float]], tuple[Load, ...]]
"""The cutting load at some values of the inputs."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """One case, and a figure that sorts it among the others.

    Parameters
    ----------
    case : LoadCase
    problem : EquilibriumProblem
        With what holds at its low end and the cutting force at its high end.
    rank_factor : float
        About the factor, for sorting only; infinite where every case was loaded.
    load : callable
        Loads a case until it lets go.
    """

    case: LoadCase
    problem: EquilibriumProblem
    rank_factor: float
    load: Callable[[LoadCase], Borne]

    def borne(self) -> Borne:
        """Load it until it lets go."""
        return self.load(self.case)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loaded:
    """Every case of a part, the lowest rank first, and those loaded to collapse, the least borne first."""

    trials: tuple[Trial, ...]
    borne: tuple[Borne, ...]


def load_cases(
    rig: Rig, process: CuttingProcess, *, change: Change = nothing_lost, target_factor: float = 0.0
) -> Loaded:
    """Load a part in every case that it may bear least until it lets go.

    All that holds is at its low end and the cut at its high end; where a force of the cut can help to hold,
    both of its ends are tried. Many cases are sorted by a linear bound first.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    process : CuttingProcess
        What the part has to bear.
    change : callable
        What is lost of the holding.
    target_factor : float
        The first case that is surely borne less is the answer, alone; the others are left out.

    Returns
    -------
    Loaded
        Every case as sorted, and those that were loaded, the one borne least first.

    Raises
    ------
    NotComputedError
        The pull on the part was not counted, the tool meets it nowhere, an analysis gave no answer, or as
        `settled` does.
    SetupError
        The cut's numbers make no sense.
    """
    if rig.pulls:
        rig.pulls.must_know(process.part)
    low = {name: span.low for name, span in rig.inputs({}).items()}
    held = rig.holding(low, ())

    def problem_of(case: LoadCase, values: Mapping[str, float]) -> EquilibriumProblem:
        return change(replace(held, cutting=process.loads(case, values)))

    def load(case: LoadCase) -> Borne:
        least = math.inf

        def borne(values: Mapping[str, float]) -> Borne:
            nonlocal least
            problem, all_values = problem_of(case, values), {**low, **values}
            # The least of a case counts alone.
            done = collapse(problem, ceiling=CEILING, enough=least)
            least = min(least, done.factor.low)
            return Borne(case=case, values=all_values, problem=problem, collapse=done, change=change)

        return process.weakest(borne)

    walls = rig.between_walls(process.part)
    cases = [c for c in process.cases() if walls or not c.midway]
    if len(cases) <= MANY:
        every = _all_of(rig, map(load, cases), target_factor)
        trials = (Trial(case=b.case, problem=b.problem, rank_factor=math.inf, load=load) for b in every)
        return Loaded(trials=tuple(trials), borne=every)
    problems = [problem_of(c, process.heaviest) for c in cases]
    ranked = [
        Trial(case=case, problem=problem, rank_factor=rank, load=load)
        for case, problem, rank in zip(cases, problems, _ranks(problems), strict=True)
    ]
    ranked.sort(key=lambda t: (t.rank_factor, t.case.of_cut.order, t.case.at_mm))
    return Loaded(trials=tuple(ranked), borne=_least_of(rig, ranked, target_factor))


def _all_of(rig: Rig, found: Iterable[Borne], target_factor: float) -> tuple[Borne, ...]:
    """Return every case, the one borne least first; one alone that is surely borne less than enough."""
    borne = []
    for one in found:
        sure = settled(rig, one) if one.low_factor < target_factor else one
        if sure.low_factor < target_factor:
            return (sure,)
        borne.append(sure)
    return least_settled(rig, borne)


def _least_of(rig: Rig, ranked: Sequence[Trial], target_factor: float) -> tuple[Borne, ...]:
    """Load what may be borne least, the lowest rank first, until no rank leaves room for less."""
    borne: tuple[Borne, ...] = ()
    for trial in ranked:
        sorted_factor = _SORTED_SHARE * trial.rank_factor
        if borne and sorted_factor >= min(b.low_factor for b in borne):
            # What coarse cells say may be low.
            borne = least_settled(rig, borne)
            if sorted_factor >= borne[0].low_factor:
                break
        one = trial.borne()
        # Coarse cells may err low.
        one = settled(rig, one) if one.low_factor < target_factor else one
        if one.low_factor < target_factor:
            return (one,)
        borne = (*borne, one)
    return least_settled(rig, borne)


def _ranks(problems: Sequence[EquilibriumProblem]) -> list[float]:
    """Return what sorts the problems, which differ by their cutting loads only; zero where nothing rests."""
    spend(COLLAPSE * len(problems) // _RANKED_EACH)
    equations = write_equations(problems[0])
    rest, rests = settle_held(equations)
    if not rests:
        return [0.0] * len(problems)
    return rank_factors(equations, rest.carried_n, cutting_loads(problems[0], (p.cutting for p in problems)))


def least_settled(rig: Rig, found: Iterable[Borne]) -> tuple[Borne, ...]:
    """Return cases, the one borne least first, with all that may be borne least known in cells small enough.

    Coarse cells may err low by more than they err high, so that the case that seems least need not be.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    found : iterable of Borne
        The cases as borne in coarse cells, in any order.

    Returns
    -------
    tuple of Borne
        Every case; the first is settled.

    Raises
    ------
    NotComputedError
        As `settled` does.
    """
    coarse = sorted(found, key=lambda b: (b.low_factor, b.case.of_cut.order))
    done: list[Borne] = []
    for one in coarse:
        if done and one.low_factor * (1.0 - SAME_SHARE) >= min(b.low_factor for b in done):
            break
        done.append(settled(rig, one))
    return tuple(sorted((*done, *coarse[len(done) :]), key=lambda b: (b.low_factor, b.case.of_cut.order)))


def settled(rig: Rig, one: Borne) -> Borne:
    """Load one case again in smaller cells of what goes, until they no longer change its factor.

    Of the last two, which differ by less than two per cent, the lower counts.

    Parameters
    ----------
    rig : Rig
        What it was loaded in.
    one : Borne
        A case; one that is settled stays as it is.

    Returns
    -------
    Borne
        Settled, with the cells that it was cut up in.

    Raises
    ------
    NotComputedError
        An analysis gave no answer, or smaller cells went on changing the factor.
    """
    spots, before = one.spots or rig.spots, one
    for _ in range(MOST_FINER):
        goes = {m.body for m in one.collapse.motions}
        if one.settled or not goes or not one.collapse.rests:
            return replace(one, spots=spots, settled=True)
        fine = replace(rig, spots=spots).finer(goes, FINER)
        problem = one.change(fine.holding(one.values, one.problem.cutting))
        again = replace(one, problem=problem, collapse=collapse(problem, ceiling=CEILING), spots=fine.spots)
        if _same(again.low_factor, one.low_factor):
            least = one if one.low_factor <= again.low_factor else again
            return replace(least, spots=least.spots or spots, settled=True)
        spots, before, one = fine.spots, one, again
    raise NotComputedError(
        f"the factor went from {before.low_factor:.3g} to {one.low_factor:.3g} in smaller cells and on"
    )


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= SAME_SHARE * max(one, other) + NOTHING


def factors_of(rig: Rig, process: CuttingProcess, known: Borne) -> tuple[FactorRange, Borne]:
    """Return the factor of one case over the ranges of all that is not known well, and its least corner.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    process : CuttingProcess
        What the part has to bear.
    known : Borne
        The case at a corner that was loaded already; where none is worse, it is the worst.

    Returns
    -------
    FactorRange
        Low to high, with what drives it.
    Borne
        The case at the corner of the low end.

    Raises
    ------
    NotComputedError
        As `fine_enough` does.
    """
    spans = rig.inputs(process.inputs(known.case))
    return fine_enough(rig, spans, lambda values: process.loads(known.case, values), known)


def fine_enough(
    rig: Rig, inputs: Mapping[str, Range], cutting: Cutting, known: Borne, *, tries: int = MOST_FINER
) -> tuple[FactorRange, Borne]:
    """Return the factor over ranges, in cells so small that it settles, and the case at its low end.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    inputs : mapping of str to Range
        What is not known well.
    cutting : callable
        The cutting load at some values of the inputs.
    known : Borne
        A corner that was loaded already.
    tries : int
        How often the worst corner may ask for smaller cells than the one that is known.

    Returns
    -------
    FactorRange
        Low to high, with what drives it.
    Borne
        The case at the corner of the low end, settled.

    Raises
    ------
    NotComputedError
        An analysis gave no answer, or smaller cells went on changing the factor.
    """
    known = settled(rig, known)
    cut_up = replace(rig, spots=known.spots)

    def build(values: Mapping[str, float]) -> EquilibriumProblem:
        return cut_up.holding(values, cutting(values))

    found = factor_range(build, inputs, known=(known.collapse, known.values), ceiling=CEILING, draws=2)
    if found.worst is known.collapse:
        return found, known
    values = found.worst_inputs
    corner = replace(known, values=values, problem=build(values), collapse=found.worst, settled=False)
    least = settled(cut_up, corner)
    if _same(least.low_factor, found.factor.low):
        return (found if least.collapse is found.worst else _lowered(found, least.collapse)), least
    if tries <= 1:
        raise NotComputedError(
            f"the factor went from {found.factor.low:.3g} to {least.low_factor:.3g} in smaller cells and on"
        )
    fine = replace(rig, spots=least.spots)
    problem = fine.holding(known.values, cutting(known.values))
    again = replace(known, problem=problem, collapse=collapse(problem, ceiling=CEILING), spots=fine.spots)
    return fine_enough(fine, inputs, cutting, again, tries=tries - 1)


def _lowered(found: FactorRange, worst: Collapse) -> FactorRange:
    """Return the range down to what was found lower."""
    return replace(found, factor=Range(low=worst.factor.low, high=found.factor.high), worst=worst)


def part_hold(
    rig: Rig, process: CuttingProcess, found: Loaded, *, losses: Callable[[], tuple[Lost, ...]]
) -> PartHold:
    """Return how one part holds in one cut.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    process : CuttingProcess
        What the part has to bear.
    found : Loaded
        Every case, from `load_cases`.
    losses : callable
        Returns what one loss makes of it, as `losses_of` does.

    Returns
    -------
    PartHold
        Without ways and remedies, which are looked for later.

    Raises
    ------
    NotComputedError
        The analysis gave no answer.
    """
    factors, least = factors_of(rig, process, found.borne[0])
    values = factors.worst_inputs
    loads = process.loads(least.case, values)
    return PartHold(
        part=process.part,
        cut=process.cut_name,
        tool=process.tool,
        forces=process.forces,
        borne=replace(least, values=values, collapse=factors.worst, settled=True),
        factors=factors,
        load_n=to_vector(sum(load.force_n[i] for load in loads) for i in range(3)),
        pull_n=pull_on(rig, process.part),
        losses=losses(),
        pushed_off_by=() if factors.worst.rests else _pushing_off(rig, rig.holding(values, loads)),
        opened=_opened_by(rig, process),
    )


def _opened_by(rig: Rig, process: CuttingProcess) -> tuple[Opened, ...]:
    """Return what a cut pushes its part against each vise that grips it, the most over all its cases."""
    grips = [
        c
        for c in rig.clamps
        if c.clamp.kind == ClampKind.VISE
        and any({s.a, s.b} == {c.clamp.body, process.part} for s in rig.spots)
    ]
    if not grips:
        return ()
    forces = np.array(
        [
            np.sum([load.force_n for load in process.loads(case, process.heaviest)], axis=0)
            for case in process.cases()
        ]
    )
    return tuple(
        Opened(
            jaw=c.clamp.body,
            push_n=max(0.0, float((forces @ -np.array(c.force.direction)).max())),
            grip_n=c.force.force_n.low,
        )
        for c in grips
    )


def pull_on(rig: Rig, part: str) -> Range:
    """Return the pulls of the magnet that press a part onto its seats, added as numbers.

    The faces on which it is drawn the way that the magnet draws it on the whole, within 75 degrees: the flat
    of a chuck, both flanks of a V. What a neighbour draws sideways presses it onto no seat of the magnet.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    part : str
        Name of the part.

    Returns
    -------
    Range
        N; zero where no magnet pulls. From the weak end with the method's error low to the strong end with it
        high.
    """
    pulls = rig.pulls.on(part) if rig.pulls else ()
    if not pulls:
        return Range.exactly(0.0)
    toward = np.array([f.toward if f.a.body == part else -f.toward for f in pulls])
    whole = np.array([f.weak_n for f in pulls]) @ toward
    onto = toward @ whole >= _ONTO_COSINE * float(np.linalg.norm(whole))
    seated = [f for f, yes in zip(pulls, onto, strict=True) if yes]
    ends = [sum(f.at(share, error)[0] for f in seated) for share, error in ((0.0, -1.0), (1.0, 1.0))]
    return Range(low=min(ends), high=max(ends))


def losses_of(losable: Sequence[Loss], rig: Rig, process: CuttingProcess) -> tuple[Lost, ...]:
    """Take away one block or clamp at a time, or wet every contact that is dry; the lowest factor first.

    Every case is loaded again: what is worst with a block in place need not be worst without it. What could
    not be computed comes before all. Where coolant is used the film counts already, so it is no loss.

    Parameters
    ----------
    losable : sequence of Loss
        Blocks and clamps of which each may be missing, from `single_losses`.
    rig : Rig
        What holds the set-up.
    process : CuttingProcess
        What the part has to bear.

    Returns
    -------
    tuple of Lost
        One for each of them, and one for the film where no coolant is used.
    """
    changes: dict[Loss, Change] = {one: partial(without, name=one.label) for one in losable}
    if not rig.wet:
        changes[FILM] = partial(filmed, film_mu=friction(FILM_ROW).low)
    found = []
    for loss, change in changes.items():
        try:
            found.append(Lost(lost=loss, borne=_of_every_stroke(load_cases(rig, process, change=change))))
        except NotComputedError as reason:
            found.append(Lost(lost=loss, borne=(), reason=str(reason)))
    return tuple(sorted(found, key=lambda x: x.collapse.factor.low if x.collapse else -1.0))


def _of_every_stroke(found: Loaded) -> tuple[Borne, ...]:
    """Return what is borne least, and of each stroke or way that is not among it what is borne least.

    What is borne least need not be what digs in.
    """
    borne = list(found.borne[:FEW])
    seen = {b.case.stroke for b in borne}
    for one in found.borne[FEW:]:
        borne += [one] if one.case.stroke not in seen else []
        seen.add(one.case.stroke)
    for trial in found.trials:
        if trial.case.stroke not in seen:
            seen.add(trial.case.stroke)
            borne.append(trial.borne())
    return tuple(sorted(borne, key=lambda b: b.low_factor))


def _pushing_off(rig: Rig, problem: EquilibriumProblem) -> tuple[str, ...]:
    """Return the clamps that push the set-up off its seat: without any one of them it rests.

    Where no single one is to blame, all of them where it rests without any; empty where it does not either.
    """

    def rests(clamps: Iterable[Pressed]) -> bool:
        left = problem
        for clamp in clamps:
            left = without(left, clamp.loss.label)
        return collapse(left, ceiling=CEILING).rests

    single = [c for c in rig.clamps if rests([c])]
    if not single and rig.clamps and rests(rig.clamps):
        single = list(rig.clamps)
    return tuple(c.clamp.name for c in single)


def single_losses(setup: Setup, rig: Rig) -> tuple[Loss, ...]:
    """Return what may be lost one at a time: every loose block, and every strap and toe on what can move.

    A vise is not taken away: without it nothing is clamped.

    Parameters
    ----------
    setup : Setup
        Says which bodies are fixtures.
    rig : Rig
        What holds it.

    Returns
    -------
    tuple of Loss
        Blocks, then clamps.
    """
    moving = {b.name for b in rig.bodies}
    clamps = (c for c in rig.clamps if c.clamp.kind != ClampKind.VISE and c.clamp.body in moving)
    blocks = (Loss(kind=LossKind.BODY, name=name) for name in loose_blocks(setup, rig))
    return (*blocks, *(c.loss for c in clamps))


def loose_blocks(setup: Setup, rig: Rig) -> tuple[str, ...]:
    """Return the blocks that stand loose; a jaw is not one of them.

    Parameters
    ----------
    setup : Setup
        Says which bodies are fixtures.
    rig : Rig
        Its bodies are those that can move.

    Returns
    -------
    tuple of str
        Names, in the order of the rig.
    """
    return tuple(
        b.name for b in rig.bodies if setup.body(b.name).role == BodyRole.FIXTURE and b.slides_along is None
    )


def kept_of(setup: Setup, found: Mapping[str, Footing], loose: Collection[str]) -> tuple[KeptFixture, ...]:
    """Return each fixture that stands and of which no loss is looked at, and why, in the set-up's order.

    Parameters
    ----------
    setup : Setup
        Says which bodies are fixtures.
    found : mapping of str to Footing
        What each fixture stands by.
    loose : collection of str
        Fixtures of which each may be lost.

    Returns
    -------
    tuple of KeptFixture
        One for each fixture that stands and is not loose.
    """
    fixtures = (b for b in setup.bodies if b.role == BodyRole.FIXTURE and found[b.name].stands)
    return tuple(_kept(setup, b, found[b.name]) for b in fixtures if b.name not in loose)


def _kept(setup: Setup, body: Body, footing: Footing) -> KeptFixture:
    """Return why no loss of a fixture is looked at."""
    holding = setup.holding
    of: tuple[str, ...] = ()
    if holding and body.name in holding.jaws:
        reason = KeptReason.JAW
    elif body.pole or body.poles:
        reason = KeptReason.MAGNET
    elif body.group and sum(b.group == body.group for b in setup.bodies) > 1:
        reason, of = KeptReason.PIECE, (body.group,)
    elif footing.base is Base.FASTENED:
        reason = KeptReason.FASTENED
    elif footing.base is Base.TABLE:
        reason = KeptReason.TABLE
    elif footing.base is Base.ATTACHED:
        reason, of = KeptReason.ATTACHED, tuple(footing.on)
    else:
        reason = KeptReason.NOT_LISTED
    return KeptFixture(body=body.name, reason=reason, of=of)
