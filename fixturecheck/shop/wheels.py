"""Grinding wheels by their ISO 525 shape: dimensions, section, flange, guard, and how fast they may turn."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from types import MappingProxyType

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.names import unknown
from fixturecheck.shop.tables import read

_SAME_MM = 1e-6
"""Lengths closer than this are the same."""

SHAPES = {
    "1": "straight wheel",
    "5": "wheel recessed one side",
    "6": "straight cup wheel",
    "11": "flaring cup wheel",
    "12": "dish wheel",
}
"""The shapes of ISO 525 that are known here, by their number."""


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """A grinding wheel; dimension letters as in ISO 525.

    The front face is the one at the lower Y, away from the spindle nose. A recess, and the mouth of a
    cup or dish, is on the front.

    Parameters
    ----------
    shape : str
        ISO 525 shape: 1 straight, 5 recessed one side, 6 straight cup, 11 flaring cup, 12 dish.
    diameter_mm, thickness_mm, bore_mm : float
        D, T and H.
    corner_radius_mm : float
        Radius dressed, or worn, on both rim corners: of the periphery of shapes 1 and 5, of the
        grinding rim's face of the cups, of the outer edge of the dish.
    recess_diameter_mm, recess_depth_mm : float
        P and F of shape 5.
    rim_mm, bore_wall_mm : float
        W and E of the cups and the dish.
    small_diameter_mm : float
        J of shapes 11 and 12.
    flat_diameter_mm : float
        K of shapes 11 and 12, the flat inside; 0 makes the inner flank parallel to the outer one.
    edge_mm : float
        U of shape 12, the thickness of the outer edge.
    dressed_profile_mm : tuple of (float, float)
        Points (y, r): y along the axis from the front face, r the radius there, joined by straight
        lines. Empty for the shape's own rim.
    max_speed_m_s : float or None
        What the wheel is marked with; None takes the table value for shape and bond.
    spec : str
        What the wheel is made of, as marked on it: abrasive, grit, grade, structure, bond.
    """

    shape: str = field(default="1", metadata=allowed(words=SHAPES, matters="what the wheel can reach"))
    diameter_mm: float = field(
        default=178.0,
        metadata=allowed(2.0, 1000.0, matters="speed of the wheel, depth under the flange, path"),
    )
    thickness_mm: float = field(
        default=13.0, metadata=allowed(0.1, 500.0, matters="how wide a plunge grinds, clearance beside it")
    )
    bore_mm: float = field(default=31.75, metadata=allowed(0.1, 900.0, matters="whether the flanges go on"))
    corner_radius_mm: float = field(
        default=0.2,
        metadata=allowed(
            0.001, 100.0, or_zero=True, matters="the corner that is left between floor and wall"
        ),
    )
    recess_diameter_mm: float = field(default=0.0, metadata=allowed(0.01, 1000.0, or_zero=True))
    recess_depth_mm: float = field(default=0.0, metadata=allowed(0.01, 1000.0, or_zero=True))
    rim_mm: float = field(default=0.0, metadata=allowed(0.01, 1000.0, or_zero=True))
    bore_wall_mm: float = field(default=0.0, metadata=allowed(0.01, 1000.0, or_zero=True))
    small_diameter_mm: float = field(default=0.0, metadata=allowed(0.01, 1000.0, or_zero=True))
    flat_diameter_mm: float = field(default=0.0, metadata=allowed(0.01, 1000.0, or_zero=True))
    edge_mm: float = field(default=0.0, metadata=allowed(0.01, 1000.0, or_zero=True))
    dressed_profile_mm: tuple[tuple[float, float], ...] = field(
        default=(), metadata=allowed(0.0, 1000.0, items=400)
    )
    max_speed_m_s: float | None = field(
        default=None, metadata=allowed(1.0, 300.0, matters="the speed that the wheel may run at")
    )
    spec: str = field(
        default="A 46 J 8 V", metadata=allowed(matters="the speed that a wheel without a mark may run at")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    @property
    def radius_mm(self) -> float:
        """Half of the outside diameter."""
        return self.diameter_mm / 2

    @property
    def flat_radius_mm(self) -> float:
        """Half of K; where K is not stated, from the inner flank being parallel to the outer one."""
        if self.flat_diameter_mm > 0:
            return self.flat_diameter_mm / 2
        slope = (self.diameter_mm - self.small_diameter_mm) / 2 / (self.thickness_mm - self.edge_mm)
        return self.radius_mm - self.rim_mm - slope * (self.thickness_mm - self.bore_wall_mm)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Flange:
    """The pair of flanges that clamps the wheel.

    Parameters
    ----------
    diameter_mm : float
        Diameter of the flanges.
    thickness_mm : float
        Of one flange, outside the wheel.
    """

    diameter_mm: float = field(
        default=75.0,
        metadata=allowed(1.0, 1000.0, matters="how deep the wheel gets, whether the flanges clear"),
    )
    thickness_mm: float = field(
        default=8.0, metadata=allowed(0.1, 200.0, matters="whether the flanges clear")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """The wheel guard: a hood around the rim with side plates, open at the bottom.

    Parameters
    ----------
    opening_deg : float
        Angle of wheel left open, centred on straight down.
    radial_gap_mm, side_gap_mm : float
        Clearance from the wheel to the inside of the hood.
    wall_mm : float
        Thickness of the sheet.
    """

    opening_deg: float = field(
        default=150.0,
        metadata=allowed(1.0, 350.0, matters="whether the guard covers enough, what it must clear"),
    )
    radial_gap_mm: float = field(
        default=8.0, metadata=allowed(0.01, 500.0, or_zero=True, matters="whether the guard clears")
    )
    side_gap_mm: float = field(
        default=10.0, metadata=allowed(0.01, 500.0, or_zero=True, matters="whether the guard clears")
    )
    wall_mm: float = field(default=3.0, metadata=allowed(0.1, 100.0, matters="whether the guard clears"))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


_SIZES = {
    "1": {},
    "5": {"recess_diameter_mm": "P", "recess_depth_mm": "F"},
    "6": {"rim_mm": "W", "bore_wall_mm": "E"},
    "11": {"rim_mm": "W", "bore_wall_mm": "E", "small_diameter_mm": "J"},
    "12": {"rim_mm": "W", "bore_wall_mm": "E", "small_diameter_mm": "J", "edge_mm": "U"},
}
"""The dimensions that a shape must state besides D, T and H, by field, with their letters."""

_ALL_SIZES = {field: letter for sizes in _SIZES.values() for field, letter in sizes.items()}


def check_wheel(wheel: Wheel) -> None:
    """Check that the dimensions make a wheel of its shape.

    Parameters
    ----------
    wheel : Wheel
        As stated.

    Raises
    ------
    SetupError
        A dimension is missing, not finite, negative, does not belong to the shape, or does not fit.
    """
    if wheel.shape not in SHAPES:
        raise SetupError(
            f"wheel: shape {wheel.shape!r} is not known; use one of {', '.join(SHAPES)} of ISO 525"
        )
    _check_numbers(wheel)
    for rule, holds in _fits(wheel):
        if not holds:
            raise SetupError(f"wheel of shape {wheel.shape}: {rule}")


def _check_numbers(w: Wheel) -> None:
    """Check that every dimension of the shape is stated and no other is."""
    needed = {"diameter_mm": "D", "thickness_mm": "T", "bore_mm": "H", **_SIZES[w.shape]}
    for name, letter in needed.items():
        value = getattr(w, name)
        if not math.isfinite(value) or value <= 0:
            raise SetupError(
                f"wheel of shape {w.shape}: {name} ({letter}) must be a positive number of mm, got {value:g}"
            )
    foreign = {k: v for k, v in _ALL_SIZES.items() if k not in needed}
    if w.shape not in {"11", "12"}:
        foreign["flat_diameter_mm"] = "K"
    for name, letter in foreign.items():
        if getattr(w, name) != 0:
            raise SetupError(
                f"wheel of shape {w.shape}: {name} ({letter}) does not belong to this shape; leave it out"
            )
    for name in ("corner_radius_mm", "flat_diameter_mm"):
        value = getattr(w, name)
        if not math.isfinite(value) or value < 0:
            raise SetupError(f"wheel of shape {w.shape}: {name} must be zero or more mm, got {value:g}")


def _fits(w: Wheel) -> Iterator[tuple[str, bool]]:
    """Yield what must hold between the dimensions, in words, and whether it does."""
    d_mm, t_mm, h_mm = w.diameter_mm, w.thickness_mm, w.bore_mm
    yield f"the bore H {h_mm:g} mm must be smaller than D {d_mm:g} mm", h_mm < d_mm
    if w.shape == "5":
        p_mm, f_mm = w.recess_diameter_mm, w.recess_depth_mm
        yield f"the recess P {p_mm:g} mm must lie between H {h_mm:g} and D {d_mm:g} mm", h_mm < p_mm < d_mm
        yield f"the recess depth F {f_mm:g} mm must be less than T {t_mm:g} mm", f_mm < t_mm
    if w.shape in {"6", "11", "12"}:
        e_mm, mouth_mm = w.bore_wall_mm, d_mm - 2 * w.rim_mm
        yield f"the back E {e_mm:g} mm must be thinner than T {t_mm:g} mm", e_mm < t_mm
        yield f"the mouth D - 2 W = {mouth_mm:g} mm must be wider than H {h_mm:g} mm", mouth_mm > h_mm
    if w.shape == "12":
        yield f"the edge U {w.edge_mm:g} mm must be thinner than T {t_mm:g} mm", w.edge_mm < t_mm
    if w.shape in {"11", "12"}:
        j_mm, k_mm = w.small_diameter_mm, 2 * w.flat_radius_mm
        yield f"J {j_mm:g} mm must lie between H {h_mm:g} and D {d_mm:g} mm", h_mm < j_mm < d_mm
        floor_mm = max(t_mm - w.bore_wall_mm - w.edge_mm, 0.0)
        outside_mm = d_mm - (d_mm - j_mm) * floor_mm / (t_mm - w.edge_mm)
        yield f"K {k_mm:g} mm breaks through the flank, {outside_mm:g} mm there", k_mm < outside_mm
        yield f"K {k_mm:g} mm must be larger than H {h_mm:g} mm", k_mm > h_mm
        yield (
            f"K {k_mm:g} mm must not be wider than the mouth, {d_mm - 2 * w.rim_mm:g} mm",
            k_mm <= d_mm - 2 * w.rim_mm,
        )
    if w.dressed_profile_mm:
        yield from _profile_fits(w)


def _profile_fits(w: Wheel) -> Iterator[tuple[str, bool]]:
    """Yield what must hold for a dressed profile."""
    ys, rs = zip(*w.dressed_profile_mm, strict=True)
    least_mm = max(w.bore_mm, w.recess_diameter_mm) / 2
    yield "a dressed profile goes on shapes 1 and 5 only", w.shape in {"1", "5"}
    yield "the dressed profile must be finite numbers", all(map(math.isfinite, (*ys, *rs)))
    runs = f"the dressed profile must run from y = 0 to y = T = {w.thickness_mm:g} mm"
    yield f"{runs}, got {ys[0]:g} to {ys[-1]:g}", ys[0] == 0 and ys[-1] == w.thickness_mm
    forward = all(a <= b for a, b in pairwise(ys)) and len(set(w.dressed_profile_mm)) == len(ys)
    yield "the dressed profile must not turn back in y, nor repeat a point", forward
    top = f"the dressed profile must reach D/2 = {w.radius_mm:g} mm and no farther, got {max(rs):g}"
    yield top, abs(max(rs) - w.radius_mm) <= _SAME_MM
    yield f"the dressed profile must stay above r = {least_mm:g} mm", min(rs) > least_mm


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
        raise SetupError(
            f"wheel spec {spec!r} must be like '40A 60 K 7 V': abrasive, grit, grade, structure, bond"
        )
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

    Parameters
    ----------
    speed_m_s : float
        Surface speed.
    diameter_mm : float
        Diameter of the wheel, more than zero.

    Returns
    -------
    float
        Turns per minute.

    Raises
    ------
    SetupError
        The diameter is not positive.
    """
    if not diameter_mm > 0:
        raise SetupError(f"wheel: diameter_mm must be more than zero, got {diameter_mm:g}")
    return speed_m_s * 60 / (math.pi * diameter_mm * 1e-3)


def speed_limit(wheel: Wheel, *, strength: str = "low") -> SpeedLimit:
    """Return the highest surface speed of a wheel.

    What is marked on the wheel counts; without a mark it is the table's value for the shape, the bond
    in the wheel's specification and the strength, of which the lowest is assumed.

    Parameters
    ----------
    wheel : Wheel
        Its mark, shape and specification.
    strength : str
        One of `STRENGTHS`; of no effect where the wheel is marked.

    Returns
    -------
    SpeedLimit
        With where it comes from.

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
            raise SetupError(f"wheel: max_speed_m_s must be a positive number, got {wheel.max_speed_m_s!r}")
        return SpeedLimit(speed_m_s=wheel.max_speed_m_s, source="marked on the wheel", marked=True)
    if strength not in STRENGTHS:
        raise unknown(strength, STRENGTHS, what="strength of wheel")
    bond = bond_of(wheel.spec)
    for row in read("wheels")["speed_limit"]:
        if wheel.shape in row["shapes"] and bond in row["bonds"]:
            speed = row[f"{strength}_sfpm"] * SFPM_IN_M_S
            return SpeedLimit(speed_m_s=speed, source=f"{row['source']}; {strength} strength", marked=False)
    raise NotComputedError(
        f"no speed limit is on file for a wheel of shape {wheel.shape} and bond {bond}; state max_speed_m_s"
    )


@cache
def stripes() -> Mapping[str, float]:
    """Return the speed in m/s that each colour of stripe allows.

    Returns
    -------
    mapping of str to float
        By the colour; read only.
    """
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


def guard_exposure(machine: str) -> GuardExposure:
    """Return what the guard of one kind of machine may leave open.

    Parameters
    ----------
    machine : str
        As in the table of wheels: `surface_grinder`.

    Returns
    -------
    GuardExposure
        With its source.

    Raises
    ------
    SetupError
        The kind of machine is not known.
    """
    rows = {row["machine"]: row for row in read("wheels")["guard_exposure"]}
    if machine not in rows:
        raise unknown(machine, rows, what="kind of machine")
    return GuardExposure(**rows[machine])
