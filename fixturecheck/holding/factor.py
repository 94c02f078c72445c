"""By what factor each part holds, what it depends on, and what one loss makes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fixturecheck.access.model import GroundCut
from fixturecheck.contact.model import ContactMap
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.clamping import Pressed, guides, pressed
from fixturecheck.holding.loads import cases_of, forces_of, load_of
from fixturecheck.holding.model import LoadCase, PartHold
from fixturecheck.holding.points import Spot, contact_points, movers, rigid_bodies, spots, weights
from fixturecheck.holding.pull import Pulls
from fixturecheck.kernel.shapes import Solid
from fixturecheck.physics.clamps import friction
from fixturecheck.physics.collapse import collapse
from fixturecheck.physics.collapse_range import Loss, factor_range, single_losses
from fixturecheck.physics.equilibrium import Holding, Load, Rigid, write_equations
from fixturecheck.physics.grinding import Forces, Pass
from fixturecheck.physics.limit_load import limit_factor
from fixturecheck.physics.ranges import Range
from fixturecheck.setup.model import Body, Setup

_FULLY_TRIED = 3
CEILING = 30.0

FRICTION, FINISH, METHOD, CLAMP = "friction", "finish and material", "error of the pull", "clamp force"
DRAG, PRESS, WALL = "drag of the wheel", "push of the wheel", "push on the wall"


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
    mu : Range
        Friction.
    """

    bodies: tuple[Rigid, ...]
    spots: tuple[Spot, ...]
    held: tuple[Load, ...]
    clamps: tuple[Pressed, ...]
    pulls: Pulls | None
    mu: Range

    def holding(self, inputs: Mapping[str, float], cutting: tuple[Load, ...]) -> Holding:
        """Return the problem at some values of its inputs."""
        points, open_pulls = contact_points(
            self.spots,
            self.pulls,
            mu=inputs[FRICTION],
            strength_share=inputs.get(FINISH, 0.5),
            error_share=inputs.get(METHOD, 0.0),
        )
        clamps = tuple(c.load(inputs.get(CLAMP, 0.5)) for c in self.clamps)
        return Holding(
            bodies=self.bodies, contacts=points, held=(*self.held, *open_pulls, *clamps), cutting=cutting
        )

    def inputs(self, forces: Forces) -> dict[str, Range]:
        """Return what is not known well, low to high."""
        found = {FRICTION: self.mu, DRAG: forces.tangential_n, PRESS: forces.normal_n, WALL: forces.wall_n}
        if self.pulls and self.pulls.faces:
            found |= {FINISH: Range(low=0.0, high=1.0), METHOD: Range(low=-1.0, high=1.0)}
        if self.clamps:
            found[CLAMP] = Range(low=0.0, high=1.0)
        return found


def rig_of(setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, pulls: Pulls | None) -> Rig:
    """Put together what holds a set-up."""
    clamps = pressed(setup, placed)
    moving = movers(setup, contacts)
    return Rig(
        bodies=rigid_bodies(setup, placed, moving, guides(clamps)),
        spots=spots(contacts, moving),
        held=weights(setup, placed, moving),
        clamps=clamps,
        pulls=pulls,
        mu=mu_of(setup),
    )


def mu_of(setup: Setup) -> Range:
    """Return the friction that is stated, low to high."""
    holding = setup.holding
    if holding and holding.mu:
        return Range(low=holding.mu[0], high=holding.mu[1])
    return friction(holding.friction if holding else "magnet")


def part_hold(setup: Setup, placed: Mapping[str, Solid], ground: GroundCut, body: Body, rig: Rig) -> PartHold:
    """Load one part by one cut until it lets go.

    Raises
    ------
    NotComputedError
        No grinding energy is known, or the analysis gave no answer.
    SetupError
        The cut's numbers make no sense.
    """
    made, forces = forces_of(setup, placed, ground.cut, body)
    inputs = rig.inputs(forces)
    case = _worst_case(cases_of(setup, placed, ground, body), made, body.name, rig, inputs)

    def build(values: Mapping[str, float]) -> Holding:
        return rig.holding(values, (load_at(made, case, body.name, values),))

    found = factor_range(build, inputs, ceiling=CEILING, draws=2)
    worst = build(found.worst_inputs)
    pulls = rig.pulls.on(body.name) if rig.pulls else ()
    return PartHold(
        part=body.name,
        cut=ground.cut.name,
        forces=forces,
        case=case,
        factors=found,
        load_n=worst.cutting[0].force_n,
        pull_n=Range(
            low=sum(f.weak_n * f.low_share for f in pulls), high=sum(f.strong_n * f.high_share for f in pulls)
        ),
        losses=losses_of(setup, worst),
    )


def load_at(made: Pass, case: LoadCase, body: str, values: Mapping[str, float]) -> Load:
    """Return the cutting load at some values of the inputs."""
    return load_of(made, case, body, drag_n=values[DRAG], press_n=values[PRESS], wall_n=values[WALL])


def losses_of(setup: Setup, holding: Holding) -> tuple[Loss, ...]:
    """Take away each loose block, and wet every contact."""
    blocks = [
        b.name for b in holding.bodies if setup.body(b.name).role == "fixture" and b.slides_along is None
    ]
    return single_losses(holding, blocks, film_mu=friction("coolant_film").low)


def _worst_case(
    cases: Sequence[LoadCase], made: Pass, body: str, rig: Rig, inputs: Mapping[str, Range]
) -> LoadCase:
    """Find the stroke and place that the part bears least.

    All are ranked by their upper bounds, which are cheap; the lowest few are loaded to collapse.
    """
    low = {name: span.low for name, span in inputs.items()}
    heavy = {**low, DRAG: inputs[DRAG].high, WALL: inputs[WALL].high}
    held = rig.holding(heavy, ())
    tried = []
    for case in cases:
        for press in inputs[PRESS].ends:
            load = load_at(made, case, body, {**heavy, PRESS: press})
            problem = replace(held, cutting=(load,))
            tried.append((limit_factor(write_equations(problem)), case.label, press, case, problem))
    tried.sort(key=lambda row: row[:3])
    if not tried:
        message = f"{body}: no place was found at which the wheel meets it"
        raise NotComputedError(message)
    answers = [(collapse(row[4], ceiling=CEILING).factor.low, row[1], row[3]) for row in tried[:_FULLY_TRIED]]
    return min(answers, key=lambda row: row[:2])[2]
