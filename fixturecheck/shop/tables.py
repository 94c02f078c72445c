"""What do the shop's tables say: materials, finishes and rules for wheels, each row with its source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from fixturecheck.shop.nearest import unknown

Range = tuple[float, float]
"""Low and high of what is not known better."""


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
        Low and high; None where no value is known.
    bh : tuple of (float, float)
        Points of the B-H curve, field strength in A/m and flux density in T, rising; empty where no
        curve is known.
    source : str
        Where each value comes from.
    """

    name: str
    says: str
    density_kg_m3: float
    youngs_modulus_mpa: Range
    poisson: float
    cte_um_m_k: float
    magnetic: bool
    friction_on_steel: Range
    source: str
    coercivity_a_m: Range | None = None
    bh: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """One surface finish; roughness Ra and Rz as low and high."""

    name: str
    says: str
    ra_um: Range
    rz_um: Range
    source: str


@cache
def materials() -> Mapping[str, Material]:
    """Return every material by its name."""
    rows = read("materials")
    return MappingProxyType({name: Material(name=name, **_tuples(row)) for name, row in rows.items()})


@cache
def finishes() -> Mapping[str, Finish]:
    """Return every finish by its name, the smoothest first."""
    rows = read("finishes")
    return MappingProxyType({name: Finish(name=name, **_tuples(row)) for name, row in rows.items()})


def material(name: str) -> Material:
    """Return the material of that name.

    Raises
    ------
    SetupError
        No material has the name; the nearest ones are named.
    """
    known = materials()
    if name not in known:
        raise unknown(name, known, what="material")
    return known[name]


def finish(name: str) -> Finish:
    """Return the finish of that name.

    Raises
    ------
    SetupError
        No finish has the name; the nearest ones are named.
    """
    known = finishes()
    if name not in known:
        raise unknown(name, known, what="finish")
    return known[name]


def read(table: str) -> dict[str, Any]:
    """Return one of the package's tables as its TOML says it."""
    return tomllib.loads(files("fixturecheck.shop").joinpath("tables", f"{table}.toml").read_text("utf-8"))


def _tuples(row: Mapping[str, Any]) -> dict[str, Any]:
    """Turn a row's lists, and lists in them, into tuples."""

    def frozen(value: object) -> object:
        return tuple(frozen(v) for v in value) if isinstance(value, list) else value

    return {key: frozen(value) for key, value in row.items()}
