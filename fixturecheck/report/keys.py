"""The keys of a set-up as a reference for a terminal, made of the data classes that hold them."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Iterator
from dataclasses import MISSING, Field
from typing import Any

from fixturecheck.allowed import allowed_in
from fixturecheck.errors import SetupError
from fixturecheck.recorded import own_fields
from fixturecheck.setup.stated import kind_of
from fixturecheck.setup.tables import BY_OTHER_KEYS, LISTS, RECORDS
from fixturecheck.setup.words import CHECKS, SEVERITIES
from fixturecheck.shop.nearest import nearest
from fixturecheck.units import inch_key

TABLES = (*RECORDS, "severity")
"""The names of the tables, as `keys` takes them."""

_HEADS = {"staging.push": "[staging.push.PART]", "staging.press": "[[staging.press]]"}
_KINDS = {"text": "text", "number": "number", "whole": "whole number", "flag": "true or false"}
_LISTS = {"texts": "list of texts", "numbers": "list of numbers"}
_PARAMETERS = re.compile(r"^Parameters\n-+\n(.*?)(?=^\w+\n-{3,}|\Z)", re.MULTILINE | re.DOTALL)
_ENTRY = re.compile(r"^(\w[\w, ]*) : (.+)\n((?:[ \t]+.*\n?|\n)*)", re.MULTILINE)
_WIDE = 100


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


def _table(name: str) -> str:
    record, meanings = RECORDS[name], meanings_of(RECORDS[name])
    own: list[Field[Any]] = [f for f in own_fields(record) if f.name not in BY_OTHER_KEYS.get(name, ())]
    lines = [f"{_head(name)}  {(inspect.getdoc(record) or '').splitlines()[0]}"]
    for field in own:
        lines.append(f"  {field.name}{_default(field)}")
        lines += textwrap.wrap(
            "; ".join(_facts(field)), _WIDE, initial_indent=" " * 6, subsequent_indent=" " * 6
        )
        lines += textwrap.wrap(
            meanings.get(field.name, ""), _WIDE, initial_indent=" " * 6, subsequent_indent=" " * 6
        )
    others = [n for n in TABLES if n.startswith(f"{name}.")]
    lines += [f"  with {', '.join(_head(n) for n in others)}"] if others else []
    return "\n".join(lines) + "\n"


def _head(name: str) -> str:
    """Return how the table is opened in a file."""
    return _HEADS.get(name) or (f"[[{name}]]" if name in LISTS else f"[{name}]")


def _default(field: Field[Any]) -> str:
    """Return the default as a file would state it; nothing where leaving it out means something else."""
    if field.default is MISSING and field.default_factory is MISSING:
        return "  (needed)"
    value = field.default if field.default is not MISSING else None
    if value is None or value == ():
        return ""
    return f" = {_written(value)}"


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
