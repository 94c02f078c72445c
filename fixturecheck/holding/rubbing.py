"""Which friction each contact has: that of the kind of contact, of both surfaces and of the film, the least.

A material's row states its friction on steel. Between two materials the lower of both rows counts, so that a
slippery surface is not held by the roughness of the other (common practice, no source). What a set-up states
as `mu` was found for its own contacts and overrules the rows; that a row has less is then a doubt.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from fixturecheck.physics.clamps import friction
from fixturecheck.physics.ranges import Range
from fixturecheck.setup.holding import Holding as StatedHolding
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import material

FILM_ROW = "coolant_film"
"""Row of the table of friction for contacts under coolant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Friction:
    """Friction of every contact of a set-up.

    Parameters
    ----------
    general : Range
        Of the kind of contact stated, under the film where coolant is used.
    by_body : mapping of str to Range
        The bodies whose own surface has less than that, with what it has.
    by_material : mapping of str to Range
        The same by material.
    """

    general: Range
    by_body: Mapping[str, Range]
    by_material: Mapping[str, Range]

    def at(self, mu: float, bodies: Collection[str]) -> float:
        """Return the coefficient between two bodies where the general one, within its range, is `mu`."""
        span = _least(self.general, *(self.by_body[n] for n in bodies if n in self.by_body))
        if span == self.general:
            return mu
        wide = self.general.high - self.general.low
        share = min(max((mu - self.general.low) / wide, 0.0), 1.0) if wide > 0.0 else 0.0
        return min(mu, span.low + share * (span.high - span.low))

    def of(self, body: str) -> Range:
        """Return what one body has against any other: low of the slipperiest, high of the roughest."""
        own = self.by_body.get(body, self.general)
        return Range(low=min([own.low, *(r.low for r in self.by_body.values())]), high=own.high)


def friction_of(setup: Setup) -> Friction:
    """Return the friction of every contact of a set-up."""
    general = mu_of(setup)
    by_material = {}
    for name in sorted({b.material for b in setup.bodies}) if not stated_holding(setup).mu else ():
        low, high = material(name).friction_on_steel
        least = _least(general, Range(low=low, high=high))
        if least != general:
            by_material[name] = least
    by_body = {b.name: by_material[b.material] for b in setup.bodies if b.material in by_material}
    return Friction(general=general, by_body=by_body, by_material=by_material)


def stated_holding(setup: Setup) -> StatedHolding:
    """Return the holding that is stated, or the defaults where none is."""
    return setup.holding or StatedHolding()


def mu_of(setup: Setup) -> Range:
    """Return the friction of the kind of contact, or that of the film where it is less, low to high."""
    dry = dry_mu_of(setup)
    return _least(dry, friction(FILM_ROW)) if stated_holding(setup).coolant else dry


def dry_mu_of(setup: Setup) -> Range:
    """Return the friction of the dry kind of contact as stated, low to high."""
    holding = stated_holding(setup)
    return Range(low=holding.mu[0], high=holding.mu[1]) if holding.mu else friction(holding.friction)


def _least(first: Range, *others: Range) -> Range:
    """Return the range with the lower of each end."""
    ranges = (first, *others)
    return Range(low=min(r.low for r in ranges), high=min(r.high for r in ranges))
