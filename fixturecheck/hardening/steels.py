"""Which steels harden, how they answer to tempering, and which ways to harden them there are: the tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from fixturecheck.errors import NotComputedError
from fixturecheck.files import shipped_table
from fixturecheck.interval import Range
from fixturecheck.names import row_of

Points = tuple[tuple[float, ...], ...]

WITHOUT_TABLE = (
    "steel_52100", "steel_4140", "tool_steel_m2", "silver_steel", "stainless_416",
    "stainless_455",
)  # fmt: skip
"""Materials that are hardened in practice and of whose hardness and size change no table was found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HardeningSteel:
    """One steel that hardens.

    Parameters
    ----------
    name : str
        Its name among the materials.
    says : str
        What it is.
    austenitise_c : float
        Temperature that it is quenched from.
    quenches : tuple of str
        What hardens it: `air`, `gas`, `oil`.
    as_quenched_hrc : float
        Its hardness before it is tempered.
    spread_hrc : float
        How far its hardness may lie off the curve, either way, HRC.
    hardness : tuple of (float, float)
        Tempering temperature, C, rising, and HRC.
    toughness : tuple of (float, float)
        Tempering temperature, C, rising, and impact energy, J; empty where no table of it was found.
    along, across : tuple of (float, float, float, float)
        Tempering temperature, C, rising, and size change low, usual and high, as a share of the size; empty
        where no table of it was found.
    source : str
        Where the values come from.
    """

    name: str
    says: str
    austenitise_c: float
    quenches: tuple[str, ...]
    as_quenched_hrc: float
    spread_hrc: float
    hardness: Points
    toughness: Points
    along: Points
    across: Points
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HardeningProcess:
    """One way to harden.

    Parameters
    ----------
    name : str
        What a set-up calls it.
    says : str
        What it is.
    quench : str
        What cools the part: `air`, `gas` or `oil`.
    removed_mm : Range
        How deep the surface is spoilt on each face.
    distortion_share : Range
        How far a part bends or twists, as a share of its longest side.
    scale : bool
        Whether it comes out with scale that is blasted off.
    surface : str
        What the surface is like afterwards.
    source : str
        Where the values come from.
    """

    name: str
    says: str
    quench: str
    removed_mm: Range
    distortion_share: Range
    scale: bool
    surface: str
    source: str


@cache
def hardening_steels() -> Mapping[str, HardeningSteel]:
    """Return every steel of the table by its name.

    Returns
    -------
    mapping of str to HardeningSteel
    """
    rows = shipped_table("hardening", "steels")
    return MappingProxyType(
        {
            name: HardeningSteel(name=name, **{k: _frozen(v) for k, v in row.items()})
            for name, row in rows.items()
        }
    )


@cache
def hardening_processes() -> Mapping[str, HardeningProcess]:
    """Return every way to harden by its name.

    Returns
    -------
    mapping of str to HardeningProcess
    """
    rows = shipped_table("hardening", "processes")
    return MappingProxyType({name: HardeningProcess(name=name, **_ranges(row)) for name, row in rows.items()})


def hardening_steel(name: str) -> HardeningSteel:
    """Return the steel of a name.

    Parameters
    ----------
    name : str
        Its name among the materials.

    Returns
    -------
    HardeningSteel

    Raises
    ------
    SetupError
        The table has no such steel; the nearest ones are named.
    """
    return row_of(name, hardening_steels(), what="steel to harden")


def tabled_steel(name: str) -> HardeningSteel:
    """Return the steel of a name, or say that nothing of it is known here.

    Parameters
    ----------
    name : str
        Its name among the materials.

    Returns
    -------
    HardeningSteel

    Raises
    ------
    NotComputedError
        It hardens, and there is no table of it.
    SetupError
        It is no steel to harden; the nearest ones are named.
    """
    if name in WITHOUT_TABLE:
        raise NotComputedError(
            f"no table of the hardness and the size change of {name} by temper was found; measure it on your "
            "own bars and state growth_share, like [0.0003, 0.001], and temper by its maker's sheet; there "
            "are tables of "
            f"{', '.join(hardening_steels())}"
        )
    return hardening_steel(name)


def refuse_soft_steel(name: str) -> None:
    """Refuse a material that is no steel to harden.

    Parameters
    ----------
    name : str
        Its name among the materials.

    Raises
    ------
    SetupError
        It is not in the table; the message lists the nearest names.
    """
    if name not in WITHOUT_TABLE:
        hardening_steel(name)


def hardening_process(name: str) -> HardeningProcess:
    """Return the way to harden of a name.

    Parameters
    ----------
    name : str

    Returns
    -------
    HardeningProcess

    Raises
    ------
    SetupError
        Nothing has this name; the message lists the nearest names.
    """
    return row_of(name, hardening_processes(), what="process")


def _frozen(value: Any) -> Any:
    return tuple(_frozen(v) for v in value) if isinstance(value, list) else value


def _ranges(row: Mapping[str, Any]) -> dict[str, Any]:
    """Turn each pair of numbers of a row into a range."""
    return {k: Range.of(v) if isinstance(v, list) else v for k, v in row.items()}
