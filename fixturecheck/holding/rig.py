"""What holds a set-up, put together from what is stated: contacts, weights, clamps, pull, friction."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from functools import partial

from fixturecheck.contact.patch import ContactMap
from fixturecheck.holding.bearing import (
    Spot,
    contact_points,
    movers,
    on_the_table,
    pull_loads,
    rigid_bodies,
    spots,
    weights,
)
from fixturecheck.holding.clamping import Friction, Pressed, friction_of, guides, pressed, stated_holding
from fixturecheck.interval import Range
from fixturecheck.kernel.shapes import Solid
from fixturecheck.magnet.pull import Pulls
from fixturecheck.result.hold import ClampKind, Driver
from fixturecheck.setup.model import Setup
from fixturecheck.statics.equilibrium import EquilibriumProblem, Load, Rigid

_SQUARE = 0.9
"""How square to Y a wall stands."""


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

    def between_walls(self, part: str) -> bool:
        """Tell whether something stands against a part on either side of it along Y and presses on neither.

        Between the jaws of a vise the drag adds next to nothing to what presses already.
        """
        if any(c.clamp.kind == ClampKind.VISE for c in self.clamps):
            return False
        mine = [s for s in self.spots if part in {s.a, s.b}]
        across = [float(s.normal[1]) * (1.0 if s.a == part else -1.0) for s in mine]
        return max(across, default=0.0) > _SQUARE and min(across, default=0.0) < -_SQUARE

    @property
    def mu(self) -> Range:
        """Friction of the kind of contact stated, which `Driver.FRICTION` runs over."""
        return self.friction.general

    def finer(self, bodies: Container[str], ratio: float) -> Rig:
        """Return the rig with what some bodies touch in cells so many times as small.

        Parameters
        ----------
        bodies : container of str
            Names; a contact is cut up anew where one of its two bodies is among them.
        ratio : float
            Width of the cells now over that of the new ones.
        """
        cut_up = (s.finer(ratio) if s.a in bodies or s.b in bodies else s for s in self.spots)
        return replace(self, spots=tuple(cut_up))

    def holding(self, inputs: Mapping[str, float], cutting: tuple[Load, ...]) -> EquilibriumProblem:
        """Return the problem at some values of its inputs.

        Parameters
        ----------
        inputs : mapping of str to float
            By `Driver`. Friction has to be there; finish and clamp are midway (0.5) where they are not, and
            the method is without error (0).
        cutting : tuple of Load
            What the tool does to the part.
        """
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

    def inputs(self, of_cut: Mapping[str, Range]) -> dict[str, Range]:
        """Return what is not known well, low to high: of the cut as given, and of what holds."""
        found: dict[str, Range] = {Driver.FRICTION: self.mu, **of_cut}
        if self.pulls and self.pulls.faces:
            found |= {Driver.FINISH: Range(low=0.0, high=1.0), Driver.METHOD: Range(low=-1.0, high=1.0)}
        if self.clamps:
            found[Driver.CLAMP] = Range(low=0.0, high=1.0)
        return found


def rig_of(setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, pulls: Pulls | None) -> Rig:
    """Put together what holds a set-up.

    Parameters
    ----------
    setup : Setup
        As stated.
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        What touches among them.
    pulls : Pulls or None
        The magnet; None when it is off.

    Returns
    -------
    Rig
        Bodies that can move, what they touch, and all that presses, pulls and weighs on them.
    """
    moving = movers(setup, contacts)
    clamps = pressed(setup, placed)
    on_table = on_the_table(setup, placed, contacts, moving)
    whole = replace(contacts, patches=(*contacts.patches, *on_table))
    return Rig(
        bodies=rigid_bodies(setup, placed, moving, guides(clamps), whole),
        spots=spots(whole, moving),
        held=weights(setup, placed, moving),
        clamps=clamps,
        pulls=pulls,
        friction=friction_of(setup),
        wet=stated_holding(setup).coolant,
    )
