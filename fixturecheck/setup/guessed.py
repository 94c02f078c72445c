"""Which stated values are marked as guesses, where they stand, and what hangs on each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from fixturecheck.errors import Mistakes
from fixturecheck.fields import allowed_in, own_fields, shortened
from fixturecheck.result import Assumed
from fixturecheck.setup.document import RECORDS
from fixturecheck.setup.reader import Stated
from fixturecheck.units import from_inch_key, inch_key, metric_unit

_HANGS_ON: Mapping[str, str] = {
    "body": "what it weighs, how a magnet holds it, friction, and where it touches",
    "cut": "what is ground, and where the wheel goes",
    "equipment": "what the parts stand on and stop against",
    "machine": "what the machine reaches",
    "seat": "which seats locate the part, and when one is closed",
    "staging": "where the parts come to rest",
    "wheel": "what the wheel reaches and clears",
}
"""What hangs on the keys of a table that do not say so themselves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A stated value that is a guess.

    Parameters
    ----------
    path : tuple of str
        The way to it, as `--set` takes it: `cut`, `top`, `stock_mm`.
    value : object
        As it is stated.
    """

    path: tuple[str, ...]
    value: object


def guesses(facts: Stated, keys: Iterable[str]) -> tuple[Guess, ...]:
    """Return the values that the dotted keys of `guessed` name.

    Raises
    ------
    SetupError
        A key names nothing that is stated.
    """
    wrong = Mistakes()
    found = []
    for key in keys:
        path = tuple(key.split("."))
        with wrong.noted():
            value = _value_at(facts.values, path)
            if value is None:
                reason = f"guessed names {shortened(key)}, which is not stated; take it out of the list"
                facts.table("setup").fail(reason, "guessed")
            found.append(Guess(path=path, value=value))
    wrong.raise_any()
    return tuple(found)


def _value_at(values: object, path: Sequence[str]) -> object:
    """Return what stands at the end of a path; entries of a list go by name, or by number from 1."""
    for part in path:
        if isinstance(values, Mapping):
            values = values.get(part)
        elif isinstance(values, list | tuple):
            entries = {str(n): entry for n, entry in enumerate(values, start=1)}
            entries |= {str(e["name"]): e for e in values if isinstance(e, Mapping) and "name" in e}
            values = entries.get(part)
        else:
            return None
    return values


def guessed_rows(found: Iterable[Guess]) -> Iterator[Assumed]:
    """Yield a row for each guess, as what is assumed is told."""
    for guess in found:
        *owner, key = guess.path
        value, name, matters = _in_metric(guess.value, key, owner[0] if owner else "")
        number = isinstance(value, float | int) and not isinstance(value, bool)
        yield Assumed(
            of=" ".join(owner),
            key=name,
            value=value if isinstance(value, bool | float | int) else _said(value),
            unit=metric_unit(name) if number else "",
            hangs_on=matters,
            guessed=True,
        )


def _in_metric(value: object, key: str, table: str) -> tuple[object, str, str]:
    """Return a value in metric units under its metric key, and what hangs on it."""
    matters = _HANGS_ON.get(table, "what is checked")
    for field in own_fields(RECORDS[table]) if table in RECORDS else ():
        if key in {field.name, inch_key(field.name)}:
            rule = allowed_in(field)
            matters = rule.matters if rule is not None and rule.matters else matters
            if key != field.name and isinstance(value, int | float):
                value = from_inch_key(value, key=field.name)
            return value, field.name, matters
    return value, key, matters


def _said(value: object) -> str:
    """Write a list or a table in a few words."""
    if isinstance(value, Mapping):
        return ", ".join(f"{k.replace('_', ' ')} {_said(v)}" for k, v in value.items())
    if isinstance(value, list | tuple):
        return f"({', '.join(map(_said, value))})"
    return f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
