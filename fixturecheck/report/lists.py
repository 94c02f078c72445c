"""Lists for a terminal: the keys of a set-up and what the shop has."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Mapping

from fixturecheck.errors import SetupError
from fixturecheck.files import uncited
from fixturecheck.names import CHECKS, SEVERITIES, nearest, unknown
from fixturecheck.process.records import BlankEntry, JobEntry, Operation
from fixturecheck.process.text import NOT_OF_PART
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.records import BodyEntry
from fixturecheck.setup.schema import (
    NEEDED,
    RECORD_OF,
    Key,
    heading,
    keys_of,
    keys_of_record,
    purpose_of,
    purpose_of_record,
)
from fixturecheck.shop.catalogue import EquipmentType, Param, equipment, make
from fixturecheck.shop.tables import finishes, materials, read
from fixturecheck.shop.wheels import stripes

JOB_RECORDS: Mapping[str, type] = {
    "job": JobEntry,
    "part": BodyEntry,
    "blank": BlankEntry,
    "operation": Operation,
}
"""The data class of each table of a job."""

_PART = "The finished part of a job: a [[body]] without its place, which each operation states."

TABLES = (*RECORD_OF, "severity", *JOB_RECORDS)
"""The names of the tables, as `keys` takes them."""

_WIDE = 100


def keys_text(table: str | None = None) -> str:
    """Return the keys of one table, or of all, each with its default, unit, range and meaning.

    Parameters
    ----------
    table : str, optional
        A name of `TABLES`.

    Returns
    -------
    str
        Lines.

    Raises
    ------
    SetupError
        There is no table of the name; the nearest are named.
    """
    if table is not None and table.strip("[]") not in TABLES:
        raise SetupError(f"there is no table {table!r}; {nearest(table, TABLES)}")
    chosen = TABLES if table is None else (table.strip("[]"),)
    return "\n".join(_severity() if name == "severity" else _table(name) for name in chosen)


def of_table(name: str) -> tuple[str, str, tuple[Key, ...]]:
    """Return how a table of a set-up, of measurements or of a job is opened, what it states, and its keys.

    Parameters
    ----------
    name : str
        A name of `TABLES` other than `severity`.

    Returns
    -------
    (str, str, tuple of Key)
        Its head in brackets, what it states, and its keys.
    """
    record = JOB_RECORDS.get(name)
    if record is None:
        return heading(name), purpose_of(name), tuple(keys_of(name))
    if record is BodyEntry:
        return f"[{name}]", _PART, tuple(keys_of_record(record, NOT_OF_PART))
    head = f"[[{name}]]" if record is Operation else f"[{name}]"
    return head, purpose_of_record(record), tuple(keys_of_record(record))


def _table(name: str) -> str:
    head, purpose, keys = of_table(name)
    lines = [f"{head}  {purpose}"]
    for key in keys:
        stated = f" = {key.default}" if key.default not in {"", NEEDED} else f"  {key.default}".rstrip()
        lines.append(f"  {key.name}{stated}")
        for text in ("; ".join(key.facts), key.meaning):
            lines += textwrap.wrap(text, _WIDE, initial_indent=" " * 6, subsequent_indent=" " * 6)
    others = [n for n in TABLES if n.startswith(f"{name}.")]
    lines += [f"  with {', '.join(heading(n) for n in others)}"] if others else []
    return "\n".join(lines) + "\n"


def _severity() -> str:
    levels = " | ".join(f'"{level}"' for level in SEVERITIES)
    names = textwrap.wrap(", ".join(CHECKS), _WIDE, initial_indent=" " * 6, subsequent_indent=" " * 6)
    return "\n".join(["[severity]  What a no-go of a check counts as.", f"  CHECK = {levels}", *names]) + "\n"


def _equipment() -> str:
    lines = ["equipment"]
    for kind in equipment().values():
        lines.append(f"  {kind.name}: {kind.says}")
        lines += [f"    {line}" for line in _notes(kind)]
        lines += [f"    {parameter_words(p)}" for p in kind.params.values()]
    return "\n".join(lines) + "\n"


def equipment_text(name: str) -> str:
    """Return one kind of equipment: its parameters, and where its bodies and their faces are.

    Parameters
    ----------
    name : str
        The kind, as the catalogue names it.

    Returns
    -------
    str
        Lines, the last one ended too.

    Raises
    ------
    SetupError
        There is no such kind.
    """
    if name not in equipment():
        raise unknown(name, equipment(), what="equipment")
    lines = [f"{name}: {equipment()[name].says}", *(f"  {line}" for line in equipment_lines(name)[1:])]
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


def equipment_lines(name: str) -> list[str]:
    """Return what a kind of equipment is and what sizes it takes, a line each, without making its solids.

    Parameters
    ----------
    name : str
        A kind in the catalogue.

    Returns
    -------
    list of str
        Lines without their breaks.
    """
    kind = equipment()[name]
    sizes = [f"  {parameter_words(p)}" for p in kind.params.values()]
    return [kind.says, *_notes(kind), "params, mm and degrees:", *sizes]


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


def parameter_words(param: Param) -> str:
    """Return a size of a kind of equipment with its default, meaning and range.

    Parameters
    ----------
    param : Param
        A size as the catalogue states it.

    Returns
    -------
    str
        One line.
    """
    options = f"; one of {', '.join(param.options)}" if param.options else ""
    span = f"; {param.allowed.range_said()}" if not isinstance(param.default, str) else ""
    return f"{param.name} = {param.default}  {param.says}{options}{span}"


def _materials() -> str:
    head = ("name", "kg/m3", "E MPa", "magnetic", "")
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
    return _sourced("materials", head, rows)


def _finishes() -> str:
    head = ("name", "Ra µm", "Rz µm", "flat within µm", "")
    rows = [
        (f.name, _range(f.ra_um), _range(f.rz_um), _range(f.flatness_um), f.says, uncited(f.source))
        for f in finishes().values()
    ]
    return _sourced("finishes", head, rows)


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
    head = ("ISO 525 types", "bonds", "low sfpm", "medium sfpm", "high sfpm")
    limits = _sourced("wheels: highest surface speed; the mark on the wheel comes first", head, rows)
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


_COLUMNS = 100


def _sourced(title: str, head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """Return a table whose last cells are sources, each below its row: they are far longer than a line."""
    *own, sources = zip(*rows, strict=True)
    name, heads, *lines = _listed(title, head, list(zip(*own, strict=True))).splitlines()
    told = [name, heads]
    for line, source in zip(lines, sources, strict=True):
        told += [
            line,
            *textwrap.wrap(f"source: {source}", _COLUMNS, initial_indent=" " * 6, subsequent_indent=" " * 8),
        ]
    return "\n".join(told) + "\n"


SHELVES: Mapping[str, Callable[[], str]] = {
    "equipment": _equipment,
    "materials": _materials,
    "finishes": _finishes,
    "wheels": _wheels,
}
