"""What equipment does the shop have, with which parameters; the solids are made only when asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.fields import Allowed, shortened
from fixturecheck.names import unknown
from fixturecheck.shop.tables import material, read

if TYPE_CHECKING:
    from fixturecheck.shop.piece import Piece

Value = float | int | str

_RANGES = {"mm": (0.01, 2000.0), "deg": (1.0, 175.0)}
_COUNT = (1, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class Param:
    """One parameter of a kind of equipment; its unit is the end of its name.

    Parameters
    ----------
    default : float, int or str
        Its type is the parameter's.
    allowed : Allowed
        The range of a number.
    options : tuple of str
        The names allowed; empty when any is.
    is_material : bool
        Whether it names a row of the materials table.
    """

    name: str
    default: Value
    says: str
    allowed: Allowed
    options: tuple[str, ...] = ()
    is_material: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentType:
    """A kind of equipment, as listed."""

    name: str
    says: str
    origin: str
    bodies: str
    source: str
    params: Mapping[str, Param]


@cache
def equipment() -> Mapping[str, EquipmentType]:
    """Return every kind of equipment by its name, in the order of the table; needs no kernel.

    Returns
    -------
    mapping of str to EquipmentType
        Read only.
    """
    return MappingProxyType({name: _type_of(name, row) for name, row in read("equipment").items()})


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
    values = checked_params(name, params)
    made = _made(name, tuple(values.items()))
    # The kernel adds to solids as it works, so that what is kept is never handed out itself.
    return tuple(piece.copied() for piece in made)


@lru_cache(maxsize=64)
def _made(name: str, values: tuple[tuple[str, Value], ...]) -> tuple[Piece, ...]:
    """Return the pieces of a kind of equipment with all its parameters, each made once in a process."""
    # Loaded when a solid is asked for: that takes the kernel. Each kind is made by the function of its name.
    pieces: tuple[Piece, ...] = getattr(import_module("fixturecheck.shop.equipment"), name)(**dict(values))
    return pieces


def checked_params(name: str, params: Mapping[str, object]) -> dict[str, Value]:
    """Return all parameters of a kind of equipment, those that are stated and the rest as the shop has them.

    Parameters
    ----------
    name : str
        Kind of equipment.
    params : mapping of str to object
        The parameters that are stated, lengths in mm.

    Returns
    -------
    dict of str to float, int or str
        In the order of the table; each in the unit at the end of its name.

    Raises
    ------
    SetupError
        The equipment or a parameter is not known, or a value is out of its range; all of them are told.
    """
    kinds = equipment()
    if name not in kinds:
        raise unknown(name, kinds, what="equipment")
    kind = kinds[name]
    values = {p.name: p.default for p in kind.params.values()}
    wrong = Mistakes()
    for key, value in params.items():
        with wrong.noted():
            if key not in kind.params:
                raise unknown(key, kind.params, what=f"parameter of {name}")
            values[key] = _checked(name, kind.params[key], value)
            if kind.params[key].is_material:
                material(str(value))
    wrong.raise_any()
    return values


def _type_of(name: str, row: Mapping[str, Any]) -> EquipmentType:
    """Read one row of the table."""
    params = {
        key: Param(
            name=key,
            default=p["default"],
            says=p["says"],
            allowed=_range_of(key, p),
            options=tuple(p.get("options", ())),
            is_material=p.get("table") == "materials",
        )
        for key, p in row["params"].items()
    }
    words = {key: row[key] for key in ("says", "origin", "bodies", "source")}
    return EquipmentType(name=name, params=MappingProxyType(params), **words)


def _range_of(key: str, row: Mapping[str, Any]) -> Allowed:
    """Return the range of a parameter: as its row states, else that of all lengths, angles or counts."""
    end = key.rsplit("_", 1)[-1]
    least, most = _RANGES.get(end, _COUNT)
    return Allowed(least=row.get("least", least), most=row.get("most", most), or_zero=row.get("zero", False))


def _checked(equipment_name: str, param: Param, value: object) -> Value:
    """Return a value that the parameter can take."""
    where = f"{equipment_name}: {param.name}"
    if isinstance(param.default, str):
        if not isinstance(value, str):
            raise SetupError(f"{where} must be a name, got {shortened(value)}")
        if param.options and value not in param.options:
            raise SetupError(f"{where} must be one of {', '.join(param.options)}; got {shortened(value)}")
        return value
    flaw = param.allowed.flaw_of(value)
    if flaw or not isinstance(value, int | float):
        raise SetupError(f"{where}: {flaw or 'must be one number'}")
    if isinstance(param.default, int):
        if value != int(value):
            raise SetupError(f"{where} must be a whole number, got {value:g}")
        return int(value)
    return float(value)
