"""Lists for a terminal: the keys of a set-up and what the shop has."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import MISSING, Field, dataclass
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.fields import allowed_in, own_fields
from fixturecheck.names import CHECKS, SEVERITIES, nearest, unknown
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.document import BY_OTHER_KEYS, LISTS, RECORDS
from fixturecheck.setup.measurement import MEASURED
from fixturecheck.setup.reader import kind_of, types_of
from fixturecheck.shop.catalogue import EquipmentType, Param, equipment, make
from fixturecheck.shop.tables import finishes, materials, read, uncited
from fixturecheck.shop.wheels import stripes
from fixturecheck.units import inch_key, metric_unit

_ALL = {**RECORDS, **MEASURED}
TABLES = (*_ALL, "severity")
"""The names of the tables, as `keys` takes them."""

_HEADS = {
    "body.seats": "[[body.seats]]",
    "staging.push": "[staging.push.PART]",
    "staging.press": "[[staging.press]]",
}
_KINDS = {"text": "text", "number": "number", "whole": "whole number", "flag": "true or false"}
_LISTS = {"texts": "list of texts", "numbers": "list of numbers"}
_PARAMETERS = re.compile(r"^Parameters\n-+\n(.*?)(?=^\w+\n-{3,}|\Z)", re.MULTILINE | re.DOTALL)
_ENTRY = re.compile(r"^(\w[\w, ]*) : (.+)\n((?:[ \t]+.*\n?|\n)*)", re.MULTILINE)
_WIDE = 100
NEEDED = "(needed)"
"""Stands in place of the default of a key that must be stated."""


def keys_told(table: str | None = None) -> str:
    """Return the keys of one table, or of all, each with its default, unit, range and meaning.

    Parameters
    ----------
    table : str, optional
        A name of `TABLES`.

    Raises
    ------
    SetupError
        There is no table of the name; the nearest are named.
    """
    if table is not None and table.strip("[]") not in TABLES:
        message = f"there is no table {table!r}; {nearest(table, TABLES)}"
        raise SetupError(message)
    chosen = TABLES if table is None else (table.strip("[]"),)
    return "\n".join(_severity() if name == "severity" else _table(name) for name in chosen)


def meanings_of(record: type) -> dict[str, str]:
    """Return what each field of a data class means, from the parameters of its docstring."""
    section = _PARAMETERS.search(inspect.getdoc(record) or "")
    found: dict[str, str] = {}
    for entry in _ENTRY.finditer(section.group(1) if section else ""):
        # What a script writes as None is what a file leaves out.
        says = re.sub(r"\bNone (?=\w)", "left out, it ", " ".join(entry.group(3).split()))
        says = re.sub(r"(^|\. )left", r"\1Left", says)
        found.update((name.strip(), says) for name in entry.group(1).split(","))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a table, as a reference shows it.

    Parameters
    ----------
    name : str
        The key.
    unit : str
        Unit of its number; empty where it has none.
    default : str
        What is used where the key is left out, as a file would state it; `(needed)` where it must be stated;
        empty where leaving it out means something else.
    facts : tuple of str
        The kind of value, its words, its range, and the key that states it in inch units.
    meaning : str
        What it means.
    """

    name: str
    unit: str
    default: str
    facts: tuple[str, ...]
    meaning: str


def keys_of(table: str) -> Iterator[Key]:
    """Yield the keys of a table of a set-up, in the order of its data class."""
    record = _ALL[table]
    meanings, types = meanings_of(record), types_of(record)
    for field in own_fields(record):
        if field.name not in BY_OTHER_KEYS.get(table, ()):
            yield Key(
                name=field.name,
                unit=metric_unit(field.name),
                default=_default(field),
                facts=tuple(_facts(field, kind_of(types[field.name]))),
                meaning=meanings.get(field.name, ""),
            )


def purpose_of(table: str) -> str:
    """Return in one line what a table states."""
    return (inspect.getdoc(_ALL[table]) or "").splitlines()[0]


def heading(table: str) -> str:
    """Return how a table is opened in a file."""
    return _HEADS.get(table) or (f"[[{table}]]" if table in (*LISTS, "measurement") else f"[{table}]")


def _table(name: str) -> str:
    lines = [f"{heading(name)}  {purpose_of(name)}"]
    for key in keys_of(name):
        stated = f" = {key.default}" if key.default not in {"", NEEDED} else f"  {key.default}".rstrip()
        lines.append(f"  {key.name}{stated}")
        for text in ("; ".join(key.facts), key.meaning):
            lines += textwrap.wrap(text, _WIDE, initial_indent=" " * 6, subsequent_indent=" " * 6)
    others = [n for n in TABLES if n.startswith(f"{name}.")]
    lines += [f"  with {', '.join(heading(n) for n in others)}"] if others else []
    return "\n".join(lines) + "\n"


def _default(field: Field[Any]) -> str:
    """Return the default as a file would state it; nothing where leaving it out means something else."""
    if field.default is MISSING and field.default_factory is MISSING:
        return NEEDED
    value = field.default if field.default is not MISSING else None
    if value is None or value == ():
        return ""
    return _written(value)


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return f"[{', '.join(_written(v) for v in value)}]"
    return f"{value:_}" if isinstance(value, int) else f"{value:g}"


def _facts(field: Field[Any], kind: str) -> Iterator[str]:
    """Yield the kind of value, its words, its range, and the key that states it in inch units."""
    rule = allowed_in(field)
    if rule is not None and rule.words:
        yield ("list of " if kind == "texts" else "") + " | ".join(f'"{w}"' for w in rule.words)
    elif kind in _KINDS or kind in _LISTS:
        yield {**_KINDS, **_LISTS}[kind]
    if rule is not None and rule.range_said():
        yield rule.range_said()
    inch = inch_key(field.name)
    if inch:
        yield f"in inch units: {inch}"


def _severity() -> str:
    levels = " | ".join(f'"{level}"' for level in SEVERITIES)
    names = textwrap.wrap(", ".join(CHECKS), _WIDE, initial_indent=" " * 6, subsequent_indent=" " * 6)
    return "\n".join(["[severity]  What a no-go of a check counts as.", f"  CHECK = {levels}", *names]) + "\n"


def _equipment() -> str:
    lines = ["equipment"]
    for kind in equipment().values():
        lines.append(f"  {kind.name}: {kind.says}")
        lines += [f"    {line}" for line in _notes(kind)]
        lines += [f"    {_param(p)}" for p in kind.params.values()]
    return "\n".join(lines) + "\n"


def equipment_told(name: str) -> str:
    """Return one kind of equipment: its parameters, and where its bodies and their faces are.

    Raises
    ------
    SetupError
        There is no such kind.
    """
    if name not in equipment():
        raise unknown(name, equipment(), what="equipment")
    kind = equipment()[name]
    lines = [
        f"{kind.name}: {kind.says}",
        *(f"  {line}" for line in _notes(kind)),
        "  params, mm and degrees:",
    ]
    lines += [f"    {_param(p)}" for p in kind.params.values()]
    lines.append("  bodies and faces as the defaults make them, in the equipment's own frame, mm:")
    # Only here, since the solids have to be made.
    from fixturecheck.shop.piece import body_place  # noqa: PLC0415 -- loads the kernel

    for body in map(body_place, make(name)):
        called = f"NAME_{body.suffix}" if body.suffix else "NAME"
        notes = [body.material, *([f"pole {body.pole}"] if body.pole else [])]
        notes += [f"set with {body.poles} poles"] if body.poles else []
        lines.append(f"    {called} ({', '.join(notes)}): {_point(body.low)} to {_point(body.high)}")
        rows = [
            (f.name, f"middle {_point(f.middle)}", _looks(f.looks), f"{f.area_mm2:.6g} mm²")
            for f in body.faces
        ]
        widths = [max((len(row[i]) for row in rows), default=0) for i in range(3)]
        lines += [
            f"      {'  '.join(c.ljust(w) for c, w in zip(row, [*widths, 0], strict=True))}" for row in rows
        ]
    return "\n".join(lines) + "\n"


def _point(point: Vector) -> str:
    return f"({', '.join(f'{round(v, 3) + 0.0:g}' for v in point)})"


def _looks(way: Vector | None) -> str:
    if way is None:
        return "curved"
    axes = {1.0: "+", -1.0: "-"}
    along = [(f"{axes[round(v, 6)]}{axis}") for v, axis in zip(way, "XYZ", strict=True) if abs(v) > 1 - 1e-6]
    return f"looks {along[0] if along else _point(way)}"


def _notes(kind: EquipmentType) -> list[str]:
    return [f"bodies: {kind.bodies}", f"origin: {kind.origin}", f"source: {uncited(kind.source)}"]


def _param(param: Param) -> str:
    options = f"; one of {', '.join(param.options)}" if param.options else ""
    span = f"; {param.allowed.range_said()}" if not isinstance(param.default, str) else ""
    return f"{param.name} = {param.default}  {param.says}{options}{span}"


def _materials() -> str:
    head = ("name", "kg/m3", "E MPa", "magnetic", "", "source")
    rows = [
        (
            m.name,
            f"{m.density_kg_m3:g}",
            _range(m.youngs_modulus_mpa),
            "yes" if m.magnetic else "no",
            m.says,
            uncited(m.source),
        )
        for m in materials().values()
    ]
    return _listed("materials", head, rows)


def _finishes() -> str:
    head = ("name", "Ra µm", "Rz µm", "flat within µm", "", "source")
    rows = [
        (f.name, _range(f.ra_um), _range(f.rz_um), _range(f.flatness_um), f.says, uncited(f.source))
        for f in finishes().values()
    ]
    return _listed("finishes", head, rows)


def _wheels() -> str:
    rows = [
        (
            ", ".join(row["shapes"]),
            ", ".join(row["bonds"]),
            *(
                f"{row[f'{s}_sfpm']} ({row[f'{s}_sfpm'] * 0.3048 / 60:.0f} m/s)"
                for s in ("low", "medium", "high")
            ),
            uncited(row["source"]),
        )
        for row in read("wheels")["speed_limit"]
    ]
    head = ("ISO 525 types", "bonds", "low sfpm", "medium sfpm", "high sfpm", "source")
    limits = _listed("wheels: highest surface speed; the mark on the wheel comes first", head, rows)
    marks = [(colour, f"{speed:g} m/s") for colour, speed in stripes().items()]
    return limits + _listed("wheels: stripes that allow more", ("stripe", "speed"), marks)


def _range(values: tuple[float, float]) -> str:
    low, high = values
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _listed(title: str, head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """Return a table in columns as wide as what stands in them; the last column runs on."""
    table = [head, *rows]
    widths = [max(len(row[i]) for row in table) for i in range(len(head) - 1)]
    lines = [title]
    for row in table:
        cells = [cell.ljust(width) for cell, width in zip(row, [*widths, 0], strict=True)]
        lines.append(f"  {'  '.join(cells)}".rstrip())
    return "\n".join(lines) + "\n"


SHELVES: Mapping[str, Callable[[], str]] = {
    "equipment": _equipment,
    "materials": _materials,
    "finishes": _finishes,
    "wheels": _wheels,
}
