"""The keys of a set-up as a reference for a terminal, made of the data classes that hold them."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Iterator
from dataclasses import MISSING, Field, dataclass
from typing import Any

from fixturecheck.allowed import allowed_in
from fixturecheck.errors import SetupError
from fixturecheck.recorded import own_fields
from fixturecheck.setup.stated import kind_of
from fixturecheck.setup.tables import BY_OTHER_KEYS, LISTS, MEASURED, RECORDS
from fixturecheck.setup.words import CHECKS, SEVERITIES
from fixturecheck.shop.nearest import nearest
from fixturecheck.units import inch_key, metric_unit

_ALL = {**RECORDS, **MEASURED}
TABLES = (*_ALL, "severity")
"""The names of the tables, as `keys` takes them."""

_HEADS = {"staging.push": "[staging.push.PART]", "staging.press": "[[staging.press]]"}
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
    meanings = meanings_of(record)
    for field in own_fields(record):
        if field.name not in BY_OTHER_KEYS.get(table, ()):
            yield Key(
                name=field.name,
                unit=metric_unit(field.name),
                default=_default(field),
                facts=tuple(_facts(field)),
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


def _facts(field: Field[Any]) -> Iterator[str]:
    """Yield the kind of value, its words, its range, and the key that states it in inch units."""
    rule = allowed_in(field)
    kind = kind_of(str(field.type))
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
