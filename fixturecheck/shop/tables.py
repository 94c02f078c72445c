"""What do the shop's tables say: materials, finishes and rules for wheels, each row with its source.

A set-up may bring materials and finishes of its own; they are looked up among ours while it is checked.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, fields
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import Any, TypeVar

from fixturecheck.constants import GRAVITY_M_S2, MU0_H_M, PURE_IRON_J_T
from fixturecheck.errors import Mistakes, NotComputedError
from fixturecheck.fields import allowed, shortened
from fixturecheck.files import shipped_table
from fixturecheck.names import row_of

T = TypeVar("T")

WEAK_AT_A_M = 5e3
"""Field at which two curves are told apart as the weaker and the stronger."""

MOST_AT_COERCIVITY = 2.0 / 3.0
"""Most of its last polarisation that a curve may have reached at the coercivity. An initial curve lies
between the branches of the loop, of which one crosses zero there. Common practice, no source; all curves of
the table keep it."""

_LEAST_SLOPE = 0.999
LEAST_SOURCE = 8
"""Letters of a source; fewer name none."""


Range = tuple[float, float]
"""Low and high of what is not known better."""


GRINDS_AS = ("soft_steel", "hard_steel", "cast_iron")
"""Classes of materials whose grinding energy is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """One material at room temperature.

    Parameters
    ----------
    magnetic : bool
        Whether a magnet holds it.
    youngs_modulus_mpa, friction_on_steel : tuple of float
        Low and high.
    coercivity_a_m : tuple of float or None
        Low and high; None says that no value is known.
    name : str
        What it is called in a set-up; letters, digits, `_` and `-`.
    says : str
        What it is.
    density_kg_m3, poisson, cte_um_m_k : float
        Density, Poisson's ratio, and expansion in um for a metre and a kelvin.
    bh : tuple of (float, float)
        Points of the B-H curve, field strength in A/m and flux density in T, rising; empty where no
        curve is known.
    bh_spread_share : float
        How far the polarisation of a lot may lie off that curve, either way.
    between : tuple of str
        Two materials with a curve, the weaker and the stronger, that it lies between where it has none.
    grinds_as : str
        What it grinds like: `soft_steel`, `hard_steel` or `cast_iron`; empty where that is not known.
    source : str
        Where each value comes from.
    """

    name: str
    density_kg_m3: float = field(metadata=allowed(500.0, 25_000.0))
    youngs_modulus_mpa: Range = field(metadata=allowed(1e3, 1e6, items=2))
    poisson: float = field(metadata=allowed(0.0, 0.49))
    cte_um_m_k: float = field(metadata=allowed(0.0, 100.0))
    magnetic: bool
    friction_on_steel: Range = field(metadata=allowed(0.01, 1.5, items=2))
    source: str
    says: str = ""
    coercivity_a_m: Range | None = field(default=None, metadata=allowed(1.0, 1e6, items=2))
    bh: tuple[tuple[float, float], ...] = field(default=(), metadata=allowed(0.0, 1e6, items=400))
    bh_spread_share: float = field(default=0.0, metadata=allowed(0.0, 0.5))
    between: tuple[str, ...] = ()
    grinds_as: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """One surface finish.

    Parameters
    ----------
    name : str
        What it is called in a set-up; letters, digits, `_` and `-`.
    says : str
        What it is.
    ra_um, rz_um : tuple of float
        Roughness Ra and Rz, low and high.
    flatness_um : tuple of float
        Zone that the face is flat within over a seat, low and high; as ground unless stated.
    lost_share : float
        What it may lose of a magnet's pull beyond what its gap takes; as ground unless stated.
    source : str
        Where the values come from.
    """

    name: str
    ra_um: Range = field(metadata=allowed(0.001, 100.0, items=2))
    rz_um: Range = field(metadata=allowed(0.001, 1000.0, items=2))
    source: str
    says: str = ""
    flatness_um: Range = field(default=(0.5, 5.0), metadata=allowed(0.0, 2000.0, items=2))
    lost_share: float = field(default=0.06, metadata=allowed(0.0, 0.9))


@dataclass(frozen=True, slots=True, kw_only=True)
class Own:
    """Materials and finishes of the user's own, each under a name that ours do not have."""

    materials: tuple[Material, ...] = ()
    finishes: tuple[Finish, ...] = ()


_OWN: ContextVar[Own] = ContextVar("own", default=Own())  # noqa: B039 -- frozen


@contextmanager
def among_ours(own: Own) -> Iterator[None]:
    """Look materials and finishes of the user's up among ours while the block runs.

    Parameters
    ----------
    own : Own
        Added to those that are known already where such blocks stand in each other.

    Yields
    ------
    None
        Once; what was known before is restored afterwards.
    """
    before = _OWN.get()
    both = Own(
        materials=_joined(before.materials, own.materials), finishes=_joined(before.finishes, own.finishes)
    )
    token = _OWN.set(both)
    try:
        yield
    finally:
        _OWN.reset(token)


def _joined(before: tuple[T, ...], more: tuple[T, ...]) -> tuple[T, ...]:
    return (*before, *(one for one in more if one not in before))


@cache
def our_materials() -> Mapping[str, Material]:
    """Return every material of the package by its name.

    Returns
    -------
    mapping of str to Material
        Read only.
    """
    rows = read("materials")
    return MappingProxyType({name: Material(name=name, **_tuples(row)) for name, row in rows.items()})


@cache
def our_finishes() -> Mapping[str, Finish]:
    """Return every finish of the package by its name, the smoothest first.

    Returns
    -------
    mapping of str to Finish
        Read only.
    """
    rows = read("finishes")
    return MappingProxyType({name: Finish(name=name, **_tuples(row)) for name, row in rows.items()})


def materials() -> Mapping[str, Material]:
    """Return every material by its name, the user's own last.

    Returns
    -------
    mapping of str to Material
        Read only; with the user's own inside `among_ours`.
    """
    own = _OWN.get().materials
    return MappingProxyType({**our_materials(), **{m.name: m for m in own}}) if own else our_materials()


def finishes() -> Mapping[str, Finish]:
    """Return every finish by its name, the smoothest first.

    Returns
    -------
    mapping of str to Finish
        Read only; with the user's own inside `among_ours`.
    """
    own = _OWN.get().finishes
    if not own:
        return our_finishes()
    every = [*our_finishes().values(), *own]
    return MappingProxyType({f.name: f for f in sorted(every, key=lambda f: f.ra_um[0] * f.ra_um[1])})


def refuse_bad_own(own: Own) -> None:
    """Raise for every material and finish of the user's that cannot be, by the rules that ours keep.

    Parameters
    ----------
    own : Own
        As stated.

    Raises
    ------
    SetupError
        A name is ours or stated twice, a range runs backwards, a source is missing, or a curve cannot be.
    """
    wrong = Mistakes()
    for kind, rows, ours in (
        ("material", own.materials, our_materials()),
        ("finish", own.finishes, our_finishes()),
    ):
        names = [row.name for row in rows]
        for row in rows:
            where = f"{kind} {row.name!r}"
            if row.name in ours:
                wrong.add(f"{where}: the shop's own list has this name; give yours another")
            if names.count(row.name) > 1:
                wrong.add(f"{where}: stated more than once; each needs a name of its own")
            for flaw in flaws_of(row):
                wrong.add(f"{where}: {flaw}")
    wrong.raise_any()


def flaws_of(row: Material | Finish) -> Iterator[str]:
    """Yield what is wrong with a row of a table besides its ranges: no source, or numbers that cannot be.

    Parameters
    ----------
    row : Material or Finish
        Of ours or of the user's.

    Yields
    ------
    str
        What a message says after the name of the row.
    """
    if len(row.source.strip()) < LEAST_SOURCE:
        yield "say where its values come from under source"
    pairs = {f.name: getattr(row, f.name) for f in fields(row) if "Range" in str(f.type)}
    for key, pair in pairs.items():
        if pair is not None and not (len(pair) == 2 and pair[0] <= pair[1]):
            yield f"{key} must be low and high, like [1, 2]; got {shortened(list(pair))}"
    if isinstance(row, Material):
        if row.grinds_as not in {"", *GRINDS_AS}:
            yield f"grinds_as: {shortened(row.grinds_as)} is none of {', '.join(GRINDS_AS)}"
        yield from _magnetic_flaws(row)


def _magnetic_flaws(row: Material) -> Iterator[str]:
    if not row.magnetic and (row.bh or row.coercivity_a_m or row.between):
        yield "it is stated as not magnetic, and with a curve or a coercivity; state one of the two"
    if row.between and row.bh:
        yield "it has a curve of its own, so nothing that it lies between; state one of the two"
    if row.between and len(row.between) != 2:
        yield "between must name two materials, the weaker and the stronger"
    known = materials()
    for name in row.between:
        if name not in known or not known[name].bh:
            yield f"between: {shortened(name)} is no material with a B-H curve"
    if row.between and all(name in known and known[name].bh for name in row.between):
        for flaw in curve_contradictions(row, [known[name] for name in row.between]):
            yield f"between: {flaw}"
    yield from _curve_flaws(row)


def _polarisation_t(row: Material, field_a_m: float) -> float:
    """Return the polarisation of a curve: straight between its points, level beyond the last."""
    points = [(0.0, 0.0), *((h, b - MU0_H_M * h) for h, b in row.bh)]
    for (h0, j0), (h1, j1) in pairwise(points):
        if field_a_m <= h1:
            return j0 + (j1 - j0) * (field_a_m - h0) / (h1 - h0)
    return points[-1][1]


def curve_contradictions(row: Material, between: Sequence[Material]) -> Iterator[str]:
    """Yield why the weaker of two curves cannot lie below a material, its coercivity being what it is.

    A steel that is turned round only by its coercivity is not past its knee in that field.

    Parameters
    ----------
    row : Material
        The material, with the range of its coercivity; without one nothing is told.
    between : sequence of Material
        Those whose curves it is said to lie between, one at least.

    Yields
    ------
    str
        One reason, or none.
    """
    if row.coercivity_a_m is None:
        return
    weak = min(between, key=lambda m: _polarisation_t(m, WEAK_AT_A_M))
    high_a_m = row.coercivity_a_m[1]
    reached_t, last_t = _polarisation_t(weak, high_a_m), _polarisation_t(weak, math.inf)
    if reached_t > MOST_AT_COERCIVITY * last_t:
        yield (
            f"{weak.name} has reached {reached_t:.2f} T of its {last_t:.2f} T at {high_a_m:g} A/m, which the "
            f"coercivity of {row.name} may be, so {row.name} may be weaker than it; name a curve that rises "
            "later, such as gray_iron"
        )


def _curve_flaws(row: Material) -> Iterator[str]:
    """Yield what is wrong with the points of a B-H curve."""
    if any(len(point) != 2 for point in row.bh):
        yield "bh must be a list of points, each field strength in A/m and flux density in T"
        return
    for (h0, b0), (h1, b1) in pairwise(row.bh):
        if h1 <= h0:
            yield f"bh: the field strength must rise from point to point; {h1:g} follows {h0:g}"
        elif b1 - b0 < _LEAST_SLOPE * MU0_H_M * (h1 - h0):
            yield f"bh: from {h0:g} to {h1:g} A/m the flux rises more slowly than in air"
    highest_t = max((b - MU0_H_M * h for h, b in row.bh), default=0.0)
    if highest_t > PURE_IRON_J_T:
        yield f"bh: its polarisation reaches {highest_t:.3f} T, more than pure iron's {PURE_IRON_J_T:g} T"


def material(name: str) -> Material:
    """Return the material of that name.

    Parameters
    ----------
    name : str
        One of `materials()`.

    Returns
    -------
    Material

    Raises
    ------
    SetupError
        No material has the name; the nearest ones are named.
    """
    return row_of(name, materials(), what="material")


def weight_n(material_name: str, volume_mm3: float) -> float:
    """Return the weight of a volume of a material, N.

    Parameters
    ----------
    material_name : str
        A name from the materials table.
    volume_mm3 : float
        Volume of the body.

    Returns
    -------
    float
        At standard gravity.

    Raises
    ------
    SetupError
        No material has that name.
    NotComputedError
        The table has no density of the material.
    """
    found = material(material_name)
    if not found.density_kg_m3 or not found.density_kg_m3 > 0.0:
        raise NotComputedError(
            f"the table of materials has no density of {found.name}, so its weight is not known"
        )
    return found.density_kg_m3 * 1e-9 * volume_mm3 * GRAVITY_M_S2


def finish(name: str) -> Finish:
    """Return the finish of that name.

    Parameters
    ----------
    name : str
        One of `finishes()`.

    Returns
    -------
    Finish

    Raises
    ------
    SetupError
        No finish has the name; the nearest ones are named.
    """
    return row_of(name, finishes(), what="finish")


def read(table: str) -> dict[str, Any]:
    """Return one of the package's tables as its TOML says it.

    Parameters
    ----------
    table : str
        Its file in `shop/tables`, without the ending.

    Returns
    -------
    dict of str to object
        The tables and values of the file.
    """
    return shipped_table("shop/tables", table)


def _tuples(row: Mapping[str, Any]) -> dict[str, Any]:
    """Turn a row's lists, and lists in them, into tuples."""

    def frozen(value: object) -> object:
        return tuple(frozen(v) for v in value) if isinstance(value, list) else value

    return {key: frozen(value) for key, value in row.items()}
