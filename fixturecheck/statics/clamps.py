"""How hard does a clamp hold: from the torque on its screw to a force with direction and place."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from fixturecheck.errors import SetupError, refuse_unless_positive
from fixturecheck.files import shipped_table
from fixturecheck.interval import Range, over_ends
from fixturecheck.result.shapes import Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class ClampForce:
    """A clamp as a force on a part.

    Parameters
    ----------
    force_n : Range
        Size.
    direction : Vector
        Unit direction in which it pushes the part.
    at_mm : Vector
        Where it acts.
    """

    force_n: Range
    direction: Vector
    at_mm: Vector

    def vector_n(self, size_n: float) -> Vector:
        """Return the force of this size."""
        x, y, z = (size_n * d for d in self.direction)
        return x, y, z


def screw_force_n(torque_nm: float, diameter_mm: float, nut_factor: Range) -> Range:
    """Return the force in a screw from the torque on it: F = T / (K d).

    Parameters
    ----------
    torque_nm, diameter_mm : float
        Torque, and diameter of the thread.
    nut_factor : Range
        K, which takes up all friction.

    Returns
    -------
    Range
        N.

    Raises
    ------
    SetupError
        A number is not positive.

    References
    ----------
    T = K d F: bolt torque page citing Shigley [@boltpage].
    """
    refuse_unless_positive("screw", torque_nm, diameter_mm, nut_factor.low)
    return over_ends(lambda k: torque_nm * 1e3 / (k * diameter_mm), nut_factor)


def vise_force_n(torque_nm: float, screw_mm: float, nut_factor: Range, efficiency: Range) -> Range:
    """Return the force of a vise's jaw from the torque on its handle.

    Parameters
    ----------
    torque_nm, screw_mm : float
        Torque on the handle, and diameter of the screw.
    nut_factor : Range
        K of the screw.
    efficiency : Range
        Share of the screw's force that reaches the jaw.

    Returns
    -------
    Range
        N.

    Raises
    ------
    SetupError
        A number is not positive, or the efficiency is above one.

    References
    ----------
    T = K d F: bolt torque page citing Shigley [@boltpage]; the efficiency is common practice, no source.
    """
    refuse_unless_positive("vise", efficiency.low)
    if efficiency.high > 1.0:
        raise SetupError(f"vise: efficiency {efficiency.high} is above one")
    return over_ends(
        lambda force, share: force * share, screw_force_n(torque_nm, screw_mm, nut_factor), efficiency
    )


def strap_clamp(
    screw_n: Range, *, screw_to_heel_mm: float, screw_to_part_mm: float, at_mm: Vector
) -> ClampForce:
    """Return the force of a strap on the part: a lever over its heel, pressed down by the screw between.

    Parameters
    ----------
    screw_n : Range
        Force in the screw.
    screw_to_heel_mm, screw_to_part_mm : float
        Arms of the lever.
    at_mm : Vector
        Where the strap presses on the part.

    Returns
    -------
    ClampForce
        Straight down.

    Raises
    ------
    SetupError
        An arm is not positive.

    References
    ----------
    Closed form: the lever.
    """
    refuse_unless_positive("strap clamp", screw_to_heel_mm, screw_to_part_mm)
    share = screw_to_heel_mm / (screw_to_heel_mm + screw_to_part_mm)
    return ClampForce(force_n=screw_n.scaled(share), direction=(0.0, 0.0, -1.0), at_mm=at_mm)


def toe_clamp(force_n: Range, *, inward: Vector, down_deg: float, at_mm: Vector) -> ClampForce:
    """Return the force of a toe clamp: inward from the side and down by an angle.

    Parameters
    ----------
    force_n : Range
        Size of the force.
    inward : Vector
        Level direction in which it pushes the part.
    down_deg : float
        Angle by which it points down.
    at_mm : Vector
        Where it pushes.

    Returns
    -------
    ClampForce
        With a unit direction.

    Raises
    ------
    SetupError
        The inward direction is not level, or the angle is outside 0 to 90 degrees.

    References
    ----------
    Closed form.
    """
    level = math.hypot(inward[0], inward[1])
    if level == 0.0 or abs(inward[2]) > 1e-9 * level or not 0.0 <= down_deg < 90.0:
        raise SetupError(f"toe clamp: inward {inward} must be level and the angle {down_deg}° within 0 to 90")
    along, down = math.cos(math.radians(down_deg)) / level, math.sin(math.radians(down_deg))
    return ClampForce(force_n=force_n, direction=(inward[0] * along, inward[1] * along, -down), at_mm=at_mm)


def nut_factor(state: str) -> Range:
    """Return K for a state of the thread.

    Parameters
    ----------
    state : str
        `dry`, `oiled` or `anti_seize`.

    Returns
    -------
    Range
        K of `clamps.toml`.

    Raises
    ------
    SetupError
        The table has no such row.
    """
    return _range("nut_factor", state, "k")


def vise_efficiency() -> Range:
    """Return the share of the screw's force that reaches the jaw of a vise.

    Returns
    -------
    Range
        As in `clamps.toml`.
    """
    return _range("vise", "screw", "efficiency")


def friction(pair: str) -> Range:
    """Return the coefficient of friction for a kind of contact.

    Parameters
    ----------
    pair : str
        Name of a row of `clamps.toml`.

    Returns
    -------
    Range
        mu.

    Raises
    ------
    SetupError
        The table has no such row.
    """
    return _range("friction", pair, "mu")


def _range(kind: str, name: str, key: str) -> Range:
    """Read one range from the table or say which rows there are."""
    rows: dict[str, Any] = shipped_table("statics", "clamps")[kind]
    if name not in rows:
        raise SetupError(f"{kind}: no row {name!r}; the table has {', '.join(sorted(rows))}")
    return Range.of(rows[name][key])
