"""By what factor each part holds, what it depends on, and what one loss makes of it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.bearing import (
    Spot,
    contact_points,
    movers,
    pull_loads,
    rigid_bodies,
    spots,
    weights,
)
from fixturecheck.holding.clamping import (
    FILM_ROW,
    Friction,
    Pressed,
    friction_of,
    guides,
    pressed,
    stated_holding,
)
from fixturecheck.holding.grinding_loads import cases_of, forces_of, load_of
from fixturecheck.holding.model import Borne, Change, LoadCase, Lost, PartHold
from fixturecheck.interval import Range
from fixturecheck.kernel.shapes import Solid
from fixturecheck.machining.cut import GroundCut
from fixturecheck.machining.grinding import Forces, Pass
from fixturecheck.magnet.pull import Pulls
from fixturecheck.nesting.seating import Base, Footing
from fixturecheck.result.hold import FILM, ClampKind, Driver
from fixturecheck.setup.model import Body, Setup
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
from fixturecheck.statics.equilibrium import EquilibriumProblem, Load, Rigid

CEILING = 30.0
FINER, MOST_FINER, SAME_SHARE = 2.0, 4, 0.02
"""How much smaller cells are made, how often at most, and what change of the factor then counts as none."""
_ONTO_COSINE = 0.25

Cutting = Callable[[Mapping[str, float]], tuple[Load, ...]]
"""The cutting load at some values of the inputs."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rig:
    """All that holds a set-up, ready to be loaded.

    Parameters
    ----------
    bodies : tuple of Rigid
        What can move.
    spots : tuple of Spot
        What they touch.
    held : tuple of Load
        Weights.
    clamps : tuple of Pressed
    pulls : Pulls or None
        The magnet; None when it is off.
    friction : Friction
        Of each contact, under the film where coolant is used.
    wet : bool
        Coolant is used.
    """

    bodies: tuple[Rigid, ...]
    spots: tuple[Spot, ...]
    held: tuple[Load, ...]
    clamps: tuple[Pressed, ...]
    pulls: Pulls | None
    friction: Friction
    wet: bool

    @property
    def mu(self) -> Range:
        """Friction of the kind of contact stated, which `Driver.FRICTION` runs over."""
        return self.friction.general

    def finer(self, bodies: Container[str], ratio: float) -> Rig:
        """Return the rig with what some bodies touch in cells so many times as small."""
        cut_up = (s.finer(ratio) if s.a in bodies or s.b in bodies else s for s in self.spots)
        return replace(self, spots=tuple(cut_up))

    def holding(self, inputs: Mapping[str, float], cutting: tuple[Load, ...]) -> EquilibriumProblem:
        """Return the problem at some values of its inputs."""
        moving = {b.name for b in self.bodies}
        pulls = pull_loads(
            self.pulls,
            moving,
            strength_share=inputs.get(Driver.FINISH, 0.5),
            error_share=inputs.get(Driver.METHOD, 0.0),
        )
        # A clamp on what stands still changes nothing.
        clamps = tuple(c.load(inputs.get(Driver.CLAMP, 0.5)) for c in self.clamps if c.clamp.body in moving)
        return EquilibriumProblem(
            bodies=self.bodies,
            contacts=contact_points(self.spots, partial(self.friction.at, inputs[Driver.FRICTION])),
            held=(*self.held, *pulls, *clamps),
            cutting=cutting,
        )

    def inputs(self, forces: Forces) -> dict[str, Range]:
        """Return what is not known well, low to high."""
        found: dict[str, Range] = {
            Driver.FRICTION: self.mu,
            Driver.DRAG: forces.tangential_n,
            Driver.PRESS: forces.normal_n,
            Driver.WALL: forces.wall_n,
            Driver.CROSS: forces.cross_n,
        }
        if self.pulls and self.pulls.faces:
            found |= {Driver.FINISH: Range(low=0.0, high=1.0), Driver.METHOD: Range(low=-1.0, high=1.0)}
        if self.clamps:
            found[Driver.CLAMP] = Range(low=0.0, high=1.0)
        return found


def rig_of(setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, pulls: Pulls | None) -> Rig:
    """Put together what holds a set-up."""
    moving = movers(setup, contacts)
    clamps = pressed(setup, placed)
    return Rig(
        bodies=rigid_bodies(setup, placed, moving, guides(clamps)),
        spots=spots(contacts, moving),
        held=weights(setup, placed, moving),
        clamps=clamps,
        pulls=pulls,
        friction=friction_of(setup),
        wet=stated_holding(setup).coolant,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bearing:
    """One part under one cut: what it has to bear.

    Parameters
    ----------
    part : str
        The part.
    made : Pass
        The pass over it.
    forces : Forces
        Cutting force, low to high.
    cases : tuple of LoadCase
        Where the wheel may stand.
    """

    part: str
    made: Pass
    forces: Forces
    cases: tuple[LoadCase, ...]

    def load(self, case: LoadCase, values: Mapping[str, float]) -> Load:
        """Return the cutting load of one case at some values of the inputs."""
        return load_of(
            self.made,
            case,
            self.part,
            drag_n=values[Driver.DRAG],
            press_n=values[Driver.PRESS],
            wall_n=values[Driver.WALL],
            cross_n=values[Driver.CROSS],
        )


def bearing_of(setup: Setup, placed: Mapping[str, Solid], ground: GroundCut, body: Body) -> Bearing:
    """Return what a part has to bear in a cut.

    Raises
    ------
    NotComputedError
        No grinding energy is known, or no place was found at which the wheel meets the part.
    SetupError
        The cut's numbers make no sense.
    """
    made, forces = forces_of(setup, placed, ground.cut, body)
    cases = cases_of(setup, placed, ground, body)
    if not cases:
        message = f"{body.name}: no place was found at which the wheel meets it"
        raise NotComputedError(message)
    return Bearing(part=body.name, made=made, forces=forces, cases=cases)


def every_case(rig: Rig, bearing: Bearing, *, change: Change = lambda whole: whole) -> tuple[Borne, ...]:
    """Load every stroke and place until it lets go, the one borne least first.

    All that holds is taken at its low end and the cut at its high end, but for the push of the wheel, which
    also holds a part down, and the push of a cross feed, which goes either way: both ends of each are tried
    and the worst is kept, the greater push of the wheel with the worse way of the feed alone. What may be
    borne least is loaded again in smaller cells, as `least_settled` does.

    Parameters
    ----------
    change : callable
        What is lost of it.

    Raises
    ------
    NotComputedError
        The pull on the part was not counted, or as `settled` does.
    """
    if rig.pulls:
        rig.pulls.must_know(bearing.part)
    inputs = rig.inputs(bearing.forces)
    low = {name: span.low for name, span in inputs.items()}
    heavy = {**low, Driver.DRAG: inputs[Driver.DRAG].high, Driver.WALL: inputs[Driver.WALL].high}
    held = rig.holding(heavy, ())

    def loaded(case: LoadCase, values: Mapping[str, float]) -> Borne:
        problem = change(replace(held, cutting=(bearing.load(case, values),)))
        done = collapse(problem, ceiling=CEILING)
        return Borne(case=case, values=values, problem=problem, collapse=done, change=change)

    found = []
    for case in bearing.cases:
        light = [loaded(case, {**heavy, Driver.CROSS: across}) for across in inputs[Driver.CROSS].ends]
        worst = min(light, key=lambda b: b.low_factor)
        if inputs[Driver.PRESS].low < inputs[Driver.PRESS].high:
            pressed_down = loaded(case, {**worst.values, Driver.PRESS: inputs[Driver.PRESS].high})
            worst = min(worst, pressed_down, key=lambda b: b.low_factor)
        found.append(worst)
    return least_settled(rig, found)


def least_settled(rig: Rig, found: Iterable[Borne]) -> tuple[Borne, ...]:
    """Return cases, the one borne least first, with all that may be borne least known in cells small enough.

    Coarse cells may err low by more than they err high, so that the case that seems least need not be.

    Raises
    ------
    NotComputedError
        As `settled` does.
    """
    coarse = sorted(found, key=lambda b: (b.low_factor, b.case.label))
    done: list[Borne] = []
    for one in coarse:
        if done and one.low_factor * (1.0 - SAME_SHARE) >= min(b.low_factor for b in done):
            break
        done.append(settled(rig, one))
    return tuple(sorted((*done, *coarse[len(done) :]), key=lambda b: (b.low_factor, b.case.label)))


def settled(rig: Rig, one: Borne) -> Borne:
    """Load one case again in smaller cells of what goes, until they no longer change its factor.

    Of the last two, which differ by less than two per cent, the lower counts.

    Parameters
    ----------
    rig : Rig
        What it was loaded in.
    one : Borne
        A case; one that is settled stays as it is.

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
    message = f"the factor went from {before.low_factor:.3g} to {one.low_factor:.3g} in smaller cells and on"
    raise NotComputedError(message)


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= SAME_SHARE * max(one, other) + NOTHING


def factors_of(rig: Rig, bearing: Bearing, known: Borne) -> FactorRange:
    """Return the factor of one case over the ranges of all that is not known well.

    Parameters
    ----------
    known : Borne
        The case at a corner that was loaded already; where none is worse, it is the worst.

    Raises
    ------
    NotComputedError
        As `fine_enough` does.
    """

    def cutting(values: Mapping[str, float]) -> tuple[Load, ...]:
        return (bearing.load(known.case, values),)

    return fine_enough(rig, rig.inputs(bearing.forces), cutting, known)[0]


def fine_enough(
    rig: Rig, inputs: Mapping[str, Range], cutting: Cutting, known: Borne, *, tries: int = MOST_FINER
) -> tuple[FactorRange, Borne]:
    """Return the factor over ranges, in cells so small that it settles, and the case at its low end.

    Parameters
    ----------
    inputs : mapping of str to Range
        What is not known well.
    cutting : callable
        The cutting load at some values of the inputs.
    known : Borne
        A corner that was loaded already.
    tries : int
        How often the worst corner may ask for smaller cells than the one that is known.

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
        message = (
            f"the factor went from {found.factor.low:.3g} to {least.low_factor:.3g} in smaller cells and on"
        )
        raise NotComputedError(message)
    fine = replace(rig, spots=least.spots)
    problem = fine.holding(known.values, cutting(known.values))
    again = replace(known, problem=problem, collapse=collapse(problem, ceiling=CEILING), spots=fine.spots)
    return fine_enough(fine, inputs, cutting, again, tries=tries - 1)


def _lowered(found: FactorRange, worst: Collapse) -> FactorRange:
    """Return the range down to what was found lower."""
    return replace(found, factor=Range(low=worst.factor.low, high=found.factor.high), worst=worst)


def part_hold(
    rig: Rig, bearing: Bearing, borne: tuple[Borne, ...], *, cut: str, losable: Sequence[str]
) -> PartHold:
    """Return how one part holds in one cut.

    Parameters
    ----------
    borne : tuple of Borne
        Every case, from `every_case`.
    cut : str
        Name of the cut.
    losable : sequence of str
        Blocks and clamps of which each may be missing, from `single_losses`.

    Raises
    ------
    NotComputedError
        The analysis gave no answer.
    """
    case = borne[0].case
    found = factors_of(rig, bearing, borne[0])
    worst = rig.holding(found.worst_inputs, (bearing.load(case, found.worst_inputs),))
    return PartHold(
        part=bearing.part,
        cut=cut,
        forces=bearing.forces,
        case=case,
        factors=found,
        load_n=worst.cutting[0].force_n,
        pull_n=pull_on(rig, bearing.part),
        losses=losses_of(losable, lambda change: every_case(rig, bearing, change=change), wet=rig.wet),
        pushed_off_by=() if found.worst.rests else pushing_off(rig, bearing, case, found.worst_inputs),
    )


def pull_on(rig: Rig, part: str) -> Range:
    """Return the pulls of the magnet that press a part onto its seats, added as numbers.

    The faces on which it is drawn the way that the magnet draws it on the whole, within 75 degrees: the flat
    of a chuck, both flanks of a V. What a neighbour draws sideways presses it onto no seat of the magnet.
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


def losses_of(
    losable: Sequence[str], bear: Callable[[Change], tuple[Borne, ...]], *, wet: bool
) -> tuple[Lost, ...]:
    """Take away one block or clamp at a time, or wet every contact that is dry; the lowest factor first.

    Every case is loaded again: what is worst with a block in place need not be worst without it. What could
    not be computed comes before all.

    Parameters
    ----------
    bear : callable
        How what is left is borne, the least first.
    wet : bool
        The film counts already, so it is no loss.
    """
    changes: dict[str, Change] = {n: partial(without, name=n) for n in losable}
    if not wet:
        changes[FILM] = partial(filmed, film_mu=friction(FILM_ROW).low)
    found = []
    for name, change in changes.items():
        try:
            found.append(Lost(lost=name, borne=bear(change)))
        except NotComputedError as reason:
            found.append(Lost(lost=name, borne=(), reason=str(reason)))
    return tuple(sorted(found, key=lambda x: x.collapse.factor.low if x.collapse else -1.0))


def pushing_off(rig: Rig, bearing: Bearing, case: LoadCase, values: Mapping[str, float]) -> tuple[str, ...]:
    """Return the clamps that push the set-up off its seat: without any one of them it rests.

    Where no single one is to blame, all of them where it rests without any; empty where it does not either.
    """

    def rests(clamps: tuple[Pressed, ...]) -> bool:
        left = replace(rig, clamps=clamps)
        return collapse(left.holding(values, (bearing.load(case, values),)), ceiling=CEILING).rests

    single = [c for c in rig.clamps if rests(tuple(o for o in rig.clamps if o is not c))]
    if not single and rig.clamps and rests(()):
        single = list(rig.clamps)
    return tuple(c.clamp.name for c in single)


def single_losses(setup: Setup, rig: Rig) -> tuple[str, ...]:
    """Return what may be lost one at a time: every loose block, and every strap and toe on what can move.

    A vise is not taken away: without it nothing is clamped.
    """
    moving = {b.name for b in rig.bodies}
    clamps = (c for c in rig.clamps if c.clamp.kind != ClampKind.VISE and c.clamp.body in moving)
    return (*loose_blocks(setup, rig), *(c.lost for c in clamps))


def loose_blocks(setup: Setup, rig: Rig) -> tuple[str, ...]:
    """Return the blocks that stand loose; a jaw is not one of them."""
    return tuple(
        b.name for b in rig.bodies if setup.body(b.name).role == "fixture" and b.slides_along is None
    )


def kept_of(
    setup: Setup, found: Mapping[str, Footing], loose: Collection[str]
) -> tuple[tuple[str, str], ...]:
    """Return each fixture that stands and of which no loss is looked at, and why, in the set-up's order.

    Parameters
    ----------
    found : mapping of str to Footing
        What each fixture stands by.
    loose : collection of str
        Fixtures of which each may be lost.
    """
    fixtures = (b for b in setup.bodies if b.role == "fixture" and found[b.name].stands)
    return tuple((b.name, _why(setup, b, found[b.name])) for b in fixtures if b.name not in loose)


def _why(setup: Setup, body: Body, footing: Footing) -> str:
    holding = setup.holding
    if holding and body.name in holding.jaws:
        return "the jaw of the vise, without which nothing is clamped"
    if body.pole or body.poles:
        return "the magnet, on which everything stands"
    if body.group and sum(b.group == body.group for b in setup.bodies) > 1:
        return f"a piece of {body.group}"
    if footing.base is Base.FASTENED:
        return "stated as fastened"
    if footing.base is Base.TABLE:
        return "stands on the table and is taken as bolted to it"
    if footing.base is Base.ATTACHED:
        return f"taken as screwed to {' and '.join(footing.on)}"
    return "not among the loose blocking that is stated"
