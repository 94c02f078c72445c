"""How fast a wheel may run, and the flanges and guard that it needs."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.names import unknown
from fixturecheck.shop.tables import read
from fixturecheck.shop.wheels import Wheel

SFPM_IN_M_S = 0.3048 / 60
"""One surface foot per minute, in m/s."""

STRENGTHS = ("low", "medium", "high")
"""The classes of strength of a wheel; which one a wheel has, only its maker knows."""

_SPEC = re.compile(
    r"\d{0,3}[A-Z]{1,2}[ -]*\d{1,4}[ -]*[A-Z][ -]*(\d{1,2})?[ -]*(?P<bond>RF|BF|MG|PL|V|S|R|B|E).*"
)


def bond_of(spec: str) -> str:
    """Return the bond in a specification like `40A 60 K 7 V`: abrasive, grit, grade, structure and bond.

    Parameters
    ----------
    spec : str
        As marked on the wheel, as in ISO 525; the structure may be missing, and the maker may add to it.

    Returns
    -------
    str
        V vitrified, B resinoid, R rubber, E shellac, S silicate, MG magnesite, PL plastic; F is reinforced.

    Raises
    ------
    SetupError
        The text is no such specification.
    """
    found = _SPEC.fullmatch(spec.strip().upper())
    if not found:
        message = f"wheel spec {spec!r} must be like '40A 60 K 7 V': abrasive, grit, grade, structure, bond"
        raise SetupError(message)
    return found["bond"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedLimit:
    """The highest surface speed of a wheel, where it comes from, and whether it is the wheel's own mark."""

    speed_m_s: float
    source: str
    marked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class GuardExposure:
    """How much of a wheel the guard of one kind of machine may leave open.

    Parameters
    ----------
    total_deg : float
        The whole angle left open.
    start_deg : float
        Where the opening may begin, from the horizontal through the spindle; negative is below it.
    """

    machine: str
    total_deg: float
    start_deg: float
    source: str


def speed_m_s(diameter_mm: float, rpm: float) -> float:
    """Return the surface speed of a wheel, pi D n.

    Parameters
    ----------
    diameter_mm : float
        Diameter of the wheel.
    rpm : float
        Speed of the spindle.

    Returns
    -------
    float
        m/s.

    References
    ----------
    Closed form.
    """
    return math.pi * diameter_mm * 1e-3 * rpm / 60


def rpm_for(speed_m_s: float, *, diameter_mm: float) -> float:
    """Return the spindle speed at which a wheel has that surface speed.

    Raises
    ------
    SetupError
        The diameter is not positive.
    """
    if not diameter_mm > 0:
        message = f"wheel: diameter_mm must be more than zero, got {diameter_mm:g}"
        raise SetupError(message)
    return speed_m_s * 60 / (math.pi * diameter_mm * 1e-3)


def speed_limit(wheel: Wheel, *, strength: str = "low") -> SpeedLimit:
    """Return the highest surface speed of a wheel.

    What is marked on the wheel counts; without a mark it is the table's value for the shape, the bond
    in the wheel's specification and the strength, of which the lowest is assumed.

    Raises
    ------
    SetupError
        The mark is not a positive number, or shape, bond or strength is not known.
    NotComputedError
        The table has no row for the shape and bond.

    References
    ----------
    ANSI B7.1-2000 [@ansib71] section 7.1.1: the maker's mark is the limit; table 23, from memory.
    """
    if wheel.max_speed_m_s is not None:
        if not (math.isfinite(wheel.max_speed_m_s) and wheel.max_speed_m_s > 0):
            message = f"wheel: max_speed_m_s must be a positive number, got {wheel.max_speed_m_s!r}"
            raise SetupError(message)
        return SpeedLimit(speed_m_s=wheel.max_speed_m_s, source="marked on the wheel", marked=True)
    if strength not in STRENGTHS:
        raise unknown(strength, STRENGTHS, what="strength of wheel")
    bond = bond_of(wheel.spec)
    for row in read("wheels")["speed_limit"]:
        if wheel.shape in row["shapes"] and bond in row["bonds"]:
            speed = row[f"{strength}_sfpm"] * SFPM_IN_M_S
            return SpeedLimit(speed_m_s=speed, source=f"{row['source']}; {strength} strength", marked=False)
    message = (
        f"no speed limit is on file for a wheel of shape {wheel.shape} and bond {bond}; state max_speed_m_s"
    )
    raise NotComputedError(message)


@cache
def stripes() -> Mapping[str, float]:
    """Return the speed in m/s that each colour of stripe allows."""
    return MappingProxyType({row["colour"]: float(row["speed_m_s"]) for row in read("wheels")["stripe"]})


def least_flange_mm(wheel: Wheel) -> float:
    """Return the least diameter of a straight flange for the wheel.

    Parameters
    ----------
    wheel : Wheel
        The wheel.

    Returns
    -------
    float
        mm.

    References
    ----------
    OSHA 1910.215(c) [@osha215], from memory.
    """
    (row,) = read("wheels")["flange"]
    return float(row["least_share_of_diameter"]) * wheel.diameter_mm


def guard_exposure(machine: str = "surface_grinder") -> GuardExposure:
    """Return what the guard of one kind of machine may leave open.

    Raises
    ------
    SetupError
        The kind of machine is not known.
    """
    rows = {row["machine"]: row for row in read("wheels")["guard_exposure"]}
    if machine not in rows:
        raise unknown(machine, rows, what="kind of machine")
    return GuardExposure(**rows[machine])
