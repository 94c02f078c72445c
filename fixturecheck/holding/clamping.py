"""How clamps press, and the friction of each contact: the least of contact kind, surfaces and film.

A material's row states its friction on steel. Between two materials the lower of both rows counts, so that a
slippery surface is not held by the roughness of the other (common practice, no source). What a set-up states
as `mu` was found for its own contacts and overrules the rows; that a row has less is then a doubt.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.errors import NotComputedError
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import faces_of, solids_of
from fixturecheck.kernel.construct import segment
from fixturecheck.kernel.measure import distance, face_frame, is_inside
from fixturecheck.kernel.shapes import Solid
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import ClampKind, Loss, LossKind
from fixturecheck.setup.holding import Clamp
from fixturecheck.setup.holding import Holding as StatedHolding
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import material
from fixturecheck.statics.clamps import (
    ClampForce,
    friction,
    nut_factor,
    screw_force_n,
    strap_clamp,
    toe_clamp,
    vise_efficiency,
    vise_force_n,
)
from fixturecheck.statics.equilibrium import Load


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressed:
    """A clamp as a force on a body."""

    clamp: Clamp
    force: ClampForce

    def load(self, share: float) -> Load:
        """Return the load between the low end (0) and the high end (1) of the force."""
        return Load(
            body=self.clamp.body,
            force_n=self.force.vector_n(self.force.force_n.at(share)),
            at_mm=self.force.at_mm,
            label=self.clamp.name,
            by=self.loss.label,
        )

    @property
    def loss(self) -> Loss:
        """What is lost where it comes loose."""
        return Loss(kind=LossKind.CLAMP, name=self.clamp.name)


def pressed(setup: Setup, placed: Mapping[str, Solid]) -> tuple[Pressed, ...]:
    """Return every clamp as a force.

    Parameters
    ----------
    setup : Setup
        States the clamps.
    placed : mapping of str to Solid
        Every body where it stands.

    Returns
    -------
    tuple of Pressed
        One for each clamp, in the order of the set-up.

    Raises
    ------
    SetupError
        A number makes no sense.
    NotComputedError
        The pressing face of a jaw is not flat, or a strap or toe presses on nothing or inside the body.
    """
    return tuple(pressed_by(setup, placed, clamp) for clamp in setup.clamps)


def pressed_by(setup: Setup, placed: Mapping[str, Solid], clamp: Clamp) -> Pressed:
    """Return one clamp as a force; raises what `pressed` does.

    Parameters
    ----------
    setup : Setup
        Names the faces of its bodies.
    placed : mapping of str to Solid
        Every body where it stands.
    clamp : Clamp
        What presses.

    Returns
    -------
    Pressed
        The clamp with its force, place and direction.
    """
    one = Pressed(clamp=clamp, force=_force(setup, placed, clamp))
    if clamp.kind != ClampKind.VISE:
        _must_meet(setup, placed[clamp.body], one)
    return one


def _must_meet(setup: Setup, solid: Solid, one: Pressed) -> None:
    """Refuse a strap or toe in the air, one that pulls, and one inside the body: it pushes on its surface."""
    at, along = np.array(one.force.at_mm), np.array(one.force.direction)
    way = segment(at + _OUT_MM * along, at + _REACH_MM * along)
    # Only of a solid does the kernel see its inside, not of a compound that holds one.
    pieces, name, reach = solids_of(solid), one.clamp.name, setup.write.length(_REACH_MM)
    if any(is_inside(piece, at - _REACH_MM * along) for piece in pieces):
        raise NotComputedError(
            f"clamp {name!r} presses inside {one.clamp.body}, which still is {reach} back from at_mm; "
            "state a place on its surface, and the way into it"
        )
    if not any(distance(way, piece)[0] < _OUT_MM / 2 for piece in pieces):
        raise NotComputedError(
            f"clamp {name!r} presses on nothing: from at_mm the way it pushes there is no "
            f"{one.clamp.body} within {reach}; state a place on it, and the way into it"
        )


def guides(found: tuple[Pressed, ...]) -> dict[str, NDArray[np.float64]]:
    """Return the direction in which each jaw slides.

    Parameters
    ----------
    found : tuple of Pressed
        Clamps as forces; only vises have a jaw that slides.

    Returns
    -------
    dict of str to ndarray, shape (3,)
        By the body of the jaw, the way it pushes.
    """
    return {p.clamp.body: np.array(p.force.direction) for p in found if p.clamp.kind == ClampKind.VISE}


def _force(setup: Setup, placed: Mapping[str, Solid], clamp: Clamp) -> ClampForce:
    if clamp.kind == ClampKind.VISE:
        centre, normal = _face(setup, placed, clamp)
        return ClampForce(force_n=_clamp_size_n(clamp), direction=to_vector(normal), at_mm=to_vector(centre))
    at = to_vector(clamp.at_mm or (0.0, 0.0, 0.0))
    if clamp.kind == ClampKind.STRAP:
        return strap_clamp(
            _clamp_size_n(clamp),
            screw_to_heel_mm=clamp.screw_to_heel_mm,
            screw_to_part_mm=clamp.screw_to_part_mm,
            at_mm=at,
        )
    inward = to_vector(clamp.inward or (0.0, 0.0, 0.0))
    return toe_clamp(_clamp_size_n(clamp), inward=inward, down_deg=clamp.down_deg, at_mm=at)


def _clamp_size_n(clamp: Clamp) -> Range:
    """Return the force of jaw, screw or toe: as stated with its spread, or what is left of a torque."""
    if clamp.force_n is not None:
        low, high = (clamp.force_n * (1.0 + s * clamp.spread_share) for s in (-1.0, 1.0))
        return Range(low=low, high=high)
    torque = clamp.torque_nm or 0.0
    factor = nut_factor(clamp.thread)
    if clamp.kind == ClampKind.VISE:
        return vise_force_n(torque, clamp.screw_mm, factor, vise_efficiency())
    return screw_force_n(torque, clamp.screw_mm, factor)


def _face(
    setup: Setup, placed: Mapping[str, Solid], clamp: Clamp
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    faces = faces_of(placed[clamp.body])
    for i in setup.body(clamp.body).face_indices(clamp.face or ""):
        centre, normal, flat = face_frame(faces[i])
        if flat:
            return centre, normal
    raise NotComputedError(f"clamp {clamp.name!r}: {clamp.body}.{clamp.face} is not a flat face")


_OUT_MM, _REACH_MM = 1e-3, 1.0
"""How far off the body the place of a clamp may be stated: chosen here, no source."""

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
        """Return the coefficient between two bodies where the general one, within its range, is `mu`.

        Parameters
        ----------
        mu : float
            Coefficient of a general contact.
        bodies : collection of str
            Names of the two that touch.

        Returns
        -------
        float
            As far within the range of the two as `mu` lies within the general one, and never above `mu`.
        """
        span = _least(self.general, *(self.by_body[n] for n in bodies if n in self.by_body))
        if span == self.general:
            return mu
        wide = self.general.high - self.general.low
        share = min(max((mu - self.general.low) / wide, 0.0), 1.0) if wide > 0.0 else 0.0
        return min(mu, span.at(share))

    def of(self, body: str) -> Range:
        """Return what one body has against any other: low of the slipperiest, high of the roughest."""
        own = self.by_body.get(body, self.general)
        return Range(low=min([own.low, *(r.low for r in self.by_body.values())]), high=own.high)


def friction_of(setup: Setup) -> Friction:
    """Return the friction of every contact of a set-up.

    Parameters
    ----------
    setup : Setup
        States the friction, the coolant and the materials.

    Returns
    -------
    Friction
        A material counts by itself only where the set-up states no coefficient.
    """
    general = _mu_of(setup)
    by_material = {}
    for name in sorted({b.material for b in setup.bodies}) if not stated_holding(setup).mu else ():
        least = _least(general, Range.of(material(name).friction_on_steel))
        if least != general:
            by_material[name] = least
    by_body = {b.name: by_material[b.material] for b in setup.bodies if b.material in by_material}
    return Friction(general=general, by_body=by_body, by_material=by_material)


def stated_holding(setup: Setup) -> StatedHolding:
    """Return the holding that is stated, or the defaults where none is.

    Parameters
    ----------
    setup : Setup
        Its holding may be left out.

    Returns
    -------
    Holding
        All defaults where none is stated.
    """
    return setup.holding or StatedHolding()


def _mu_of(setup: Setup) -> Range:
    """Return the friction of the kind of contact, or that of the film where it is less, low to high."""
    dry = dry_mu_of(setup)
    return _least(dry, friction(FILM_ROW)) if stated_holding(setup).coolant else dry


def dry_mu_of(setup: Setup) -> Range:
    """Return the friction of the dry kind of contact as stated, low to high.

    Parameters
    ----------
    setup : Setup
        States a coefficient or the kind of contact.

    Returns
    -------
    Range
        Without the film of coolant.
    """
    holding = stated_holding(setup)
    return Range.of(holding.mu) if holding.mu else friction(holding.friction)


def _least(first: Range, *others: Range) -> Range:
    """Return the range with the lower of each end."""
    ranges = (first, *others)
    return Range(low=min(r.low for r in ranges), high=min(r.high for r in ranges))
