"""How clamps press: forces with place and direction, low to high, from what the set-up states of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.errors import NotComputedError
from fixturecheck.hold_result import ClampKind
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import face_frame
from fixturecheck.kernel.shapes import Solid, to_vector
from fixturecheck.physics.clamps import (
    ClampForce,
    nut_factor,
    screw_force_n,
    strap_clamp,
    toe_clamp,
    vise_efficiency,
    vise_force_n,
)
from fixturecheck.physics.equilibrium import Load
from fixturecheck.physics.ranges import Range
from fixturecheck.setup.holding import Clamp
from fixturecheck.setup.model import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressed:
    """A clamp as a force on a body."""

    clamp: Clamp
    force: ClampForce

    def load(self, share: float) -> Load:
        """Return the load between the low end (0) and the high end (1) of the force."""
        span = self.force.force_n
        size = span.low + share * (span.high - span.low)
        return Load(
            body=self.clamp.body,
            force_n=self.force.vector_n(size),
            at_mm=self.force.at_mm,
            label=self.clamp.name,
            by=self.lost,
        )

    @property
    def lost(self) -> str:
        """What its loss is called; no body has such a name."""
        return f"clamp {self.clamp.name}"


def pressed(setup: Setup, placed: Mapping[str, Solid]) -> tuple[Pressed, ...]:
    """Return every clamp as a force.

    Raises
    ------
    SetupError
        A number makes no sense.
    NotComputedError
        The pressing face of a jaw is not flat.
    """
    clamps = setup.holding.clamps if setup.holding else ()
    return tuple(Pressed(clamp=c, force=_force(setup, placed, c)) for c in clamps)


def guides(found: tuple[Pressed, ...]) -> dict[str, NDArray[np.float64]]:
    """Return the direction in which each jaw slides."""
    return {p.clamp.body: np.array(p.force.direction) for p in found if p.clamp.kind == ClampKind.VISE}


def _force(setup: Setup, placed: Mapping[str, Solid], clamp: Clamp) -> ClampForce:
    if clamp.kind == ClampKind.VISE:
        centre, normal = _face(setup, placed, clamp)
        return ClampForce(force_n=_size_n(clamp), direction=to_vector(normal), at_mm=to_vector(centre))
    at = to_vector(clamp.at_mm or (0.0, 0.0, 0.0))
    if clamp.kind == ClampKind.STRAP:
        return strap_clamp(
            _size_n(clamp),
            screw_to_heel_mm=clamp.screw_to_heel_mm,
            screw_to_part_mm=clamp.screw_to_part_mm,
            at_mm=at,
        )
    inward = to_vector(clamp.inward or (0.0, 0.0, 0.0))
    return toe_clamp(_size_n(clamp), inward=inward, down_deg=clamp.down_deg, at_mm=at)


def _size_n(clamp: Clamp) -> Range:
    """Return the force of jaw, screw or toe, low to high."""
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
    names = setup.body(clamp.body).face_names()
    for face, name in zip(faces_of(placed[clamp.body]), names, strict=True):
        if name == clamp.face:
            centre, normal, flat = face_frame(face)
            if flat:
                return centre, normal
    message = f"clamp {clamp.name!r}: {clamp.body}.{clamp.face} is not a flat face"
    raise NotComputedError(message)
