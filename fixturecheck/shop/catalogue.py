"""What equipment does the shop have, with which parameters; the solids are made only when asked for."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from fixturecheck.errors import SetupError
from fixturecheck.shop.nearest import unknown
from fixturecheck.shop.tables import material

if TYPE_CHECKING:
    from fixturecheck.shop.piece import Piece

Value = float | int | str


@dataclass(frozen=True, slots=True, kw_only=True)
class Param:
    """One parameter of a kind of equipment; its unit is the end of its name.

    Parameters
    ----------
    default : float, int or str
        Its type is the parameter's.
    may_be_zero : bool
        Whether 0 is allowed; less than 0 never is.
    options : tuple of str
        The names allowed; empty when any is.
    is_material : bool
        Whether it names a row of the materials table.
    """

    name: str
    default: Value
    says: str
    may_be_zero: bool = False
    options: tuple[str, ...] = ()
    is_material: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentType:
    """A kind of equipment, as listed; `maker` is where its solids are built."""

    name: str
    says: str
    origin: str
    bodies: str
    source: str
    maker: str
    params: Mapping[str, Param]


@cache
def equipment() -> Mapping[str, EquipmentType]:
    """Return every kind of equipment by its name, in the order of the table; needs no kernel."""
    text = files("fixturecheck.shop").joinpath("tables", "equipment.toml").read_text(encoding="utf-8")
    return MappingProxyType({name: _type_of(name, row) for name, row in tomllib.loads(text).items()})


def make(name: str, /, **params: Value) -> tuple[Piece, ...]:
    """Make a piece of equipment in its own frame.

    Parameters
    ----------
    name : str
        A kind of equipment.
    **params : float, int or str
        What differs from the defaults.

    Returns
    -------
    tuple of Piece
        Its bodies.

    Raises
    ------
    SetupError
        The equipment, a parameter or a material is not known, or a value cannot be used.
    """
    kinds = equipment()
    if name not in kinds:
        raise unknown(name, kinds, what="equipment")
    kind = kinds[name]
    values = {p.name: p.default for p in kind.params.values()}
    for key, value in params.items():
        if key not in kind.params:
            raise unknown(key, kind.params, what=f"parameter of {name}")
        values[key] = _checked(name, kind.params[key], value)
    for key, value in values.items():
        if kind.params[key].is_material:
            material(str(value))
    module, function = kind.maker.split(":")
    pieces: tuple[Piece, ...] = getattr(import_module(module), function)(**values)
    return pieces


def _type_of(name: str, row: Mapping[str, Any]) -> EquipmentType:
    """Read one row of the table."""
    params = {
        key: Param(
            name=key,
            default=p["default"],
            says=p["says"],
            may_be_zero=p.get("zero", False),
            options=tuple(p.get("options", ())),
            is_material=p.get("table") == "materials",
        )
        for key, p in row["params"].items()
    }
    words = {key: row[key] for key in ("says", "origin", "bodies", "source", "maker")}
    return EquipmentType(name=name, params=MappingProxyType(params), **words)


def _checked(equipment_name: str, param: Param, value: object) -> Value:
    """Return a value that the parameter can take."""
    where = f"{equipment_name}: {param.name}"
    if isinstance(param.default, str):
        if not isinstance(value, str):
            message = f"{where} must be a name, got {value!r}"
            raise SetupError(message)
        if param.options and value not in param.options:
            message = f"{where} must be one of {', '.join(param.options)}; got {value!r}"
            raise SetupError(message)
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        message = f"{where} must be a finite number, got {value!r}"
        raise SetupError(message)
    if value < 0 or (value == 0 and not param.may_be_zero):
        message = (
            f"{where} must be {'zero or more' if param.may_be_zero else 'more than zero'}, got {value:g}"
        )
        raise SetupError(message)
    if isinstance(param.default, int):
        if value != int(value):
            message = f"{where} must be a whole number, got {value:g}"
            raise SetupError(message)
        return int(value)
    return float(value)
