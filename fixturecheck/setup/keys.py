"""The keys of a set-up, each with unit, default, range and meaning, as its data class tells them."""

from __future__ import annotations

import inspect
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import MISSING, Field, dataclass
from typing import Any, get_args, get_origin

from fixturecheck.fields import allowed_in, own_fields
from fixturecheck.setup.document import BY_OTHER_KEYS, LISTS, RECORDS
from fixturecheck.setup.measurement import MEASURED
from fixturecheck.setup.reader import kind_of, types_of
from fixturecheck.units import inch_key, metric_unit

RECORD_OF: Mapping[str, type] = {**RECORDS, **MEASURED}
"""The data class of each table, of a set-up and of a file of measurements."""

_HEADS = {
    "body.seats": "[[body.seats]]",
    "staging.push": "[staging.push.PART]",
    "staging.press": "[[staging.press]]",
}
_KINDS = {"text": "text", "number": "number", "whole": "whole number", "flag": "true or false"}
_LISTS = {"texts": "list of texts", "numbers": "list of numbers"}
_PARAMETERS = re.compile(r"^Parameters\n-+\n(.*?)(?=^\w+\n-{3,}|\Z)", re.MULTILINE | re.DOTALL)
_ENTRY = re.compile(r"^(\w[\w, ]*) : (.+)\n((?:[ \t]+.*\n?|\n)*)", re.MULTILINE)
NEEDED = "(needed)"
"""Stands in place of the default of a key that must be stated."""


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
    takes : str
        The kind of value, or the words that it may be; empty where the meaning says it.
    span : str
        The range of its number in words; empty where it has none.
    inch_key : str
        The key that states it in inch units; empty where there is none.
    meaning : str
        What it means.
    matters : str
        What hangs on it where it is left out; empty where nothing does.
    """

    name: str
    unit: str
    default: str
    takes: str
    span: str
    inch_key: str
    meaning: str
    matters: str = ""

    @property
    def facts(self) -> tuple[str, ...]:
        """All that is known of its value, each in a few words."""
        inch = f"in inch units: {self.inch_key}" if self.inch_key else ""
        return tuple(text for text in (self.takes, self.span, inch) if text)


def keys_of(table: str) -> Iterator[Key]:
    """Yield the keys of a table of a set-up, in the order of its data class."""
    yield from keys_of_record(RECORD_OF[table], BY_OTHER_KEYS.get(table, ()))


def keys_of_record(record: type, without: Collection[str] = ()) -> Iterator[Key]:
    """Yield the keys of a table by its data class, in its order.

    Parameters
    ----------
    without : collection of str
        Fields that other keys state.
    """
    meanings, types = meanings_of(record), types_of(record)
    for field in own_fields(record):
        if field.name not in without:
            yield Key(
                name=field.name,
                unit=metric_unit(field.name),
                default=_default(field),
                takes=_takes(field, _kind_told(types[field.name])),
                span="" if (rule := allowed_in(field)) is None else rule.range_said(),
                inch_key=inch_key(field.name) or "",
                meaning=meanings.get(field.name, ""),
                matters="" if rule is None else rule.matters,
            )


def _kind_told(hint: Any) -> str:
    """Return the kind of value of a field; of a list of lists nothing is told but its meaning."""
    nested = any(get_origin(member) is tuple for member in get_args(hint))
    return "anything" if get_origin(hint) is tuple and nested else kind_of(hint)


def purpose_of(table: str) -> str:
    """Return in one line what a table states."""
    return purpose_of_record(RECORD_OF[table])


def purpose_of_record(record: type) -> str:
    """Return in one line what a table of a data class states."""
    return (inspect.getdoc(record) or "").splitlines()[0]


def heading(table: str) -> str:
    """Return how a table is opened in a file."""
    return _HEADS.get(table) or (f"[[{table}]]" if table in (*LISTS, "measurement") else f"[{table}]")


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


def _takes(field: Field[Any], kind: str) -> str:
    """Return the words that a value may be, or else its kind."""
    rule = allowed_in(field)
    if rule is not None and rule.words:
        return ("list of " if kind == "texts" else "") + " | ".join(f'"{w}"' for w in rule.words)
    return {**_KINDS, **_LISTS}.get(kind, "")
