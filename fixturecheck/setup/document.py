"""A TOML file as text: its tables, the lines of their keys, overridden keys, and those marked as guesses."""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.fields import allowed_in, own_fields, shortened
from fixturecheck.names import nearest
from fixturecheck.result import Assumed
from fixturecheck.setup.reader import (
    RECORDS,
    SINGLE,
    KeyPath,
    Stated,
    TextSpot,
    from_inches,
    homes_of,
    is_single,
)
from fixturecheck.units import INCH_SUFFIX, inch_key, metric_unit

_PART = r"""(?:"(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)"""
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")
_TOKEN = re.compile(r'"""|\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|[\[\]{}]|\#[^\n]*|\\.', re.DOTALL)


def lines_of(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, of every key and table of a TOML text that parses.

    Keys inside inline tables are not listed; look up the key that holds the table.

    Parameters
    ----------
    text : str
        TOML that has been parsed without an error.

    Returns
    -------
    dict of path to int
        Paths are the keys from the top; entries of an array of tables count from 0.
    """
    found: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    rows = text.split("\n")
    n = 0
    while n < len(rows):
        header, key = _HEADER.match(rows[n]), _KEY.match(rows[n])
        if header:
            table = _opened(_parts(header.group(2)), header.group(1) == "[[", counts)
            found.setdefault(table, n + 1)
            if header.group(1) == "[[":
                # The whole list is where its first entry is.
                found.setdefault(table[:-1], n + 1)
            n += 1
        elif key:
            path = table
            for part in _parts(key.group(1)):
                path = (*path, part)
                found.setdefault(path, n + 1)
            n = _end_of_value(rows, n, key.end())
        else:
            n += 1
    return found


def _opened(parts: list[str], entry: bool, counts: dict[KeyPath, int]) -> KeyPath:
    """Return the path of the table that a header opens; parents that are lists mean their last entry."""
    path: KeyPath = ()
    for i, part in enumerate(parts):
        path = (*path, part)
        if entry and i == len(parts) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _parts(dotted: str) -> list[str]:
    """Split a dotted key, quotes taken off."""
    return [part.strip("\"'") for part in re.findall(_PART, dotted)]


def _end_of_value(rows: list[str], n: int, column: int) -> int:
    """Return the row after the value that starts in row n: lists and long texts go on over several."""
    depth = 0
    quotes = ""
    rest = rows[n][column:]
    while True:
        for token in _TOKEN.findall(rest):
            if quotes:
                quotes = "" if token == quotes else quotes
            elif token in {'"""', "'''"}:
                quotes = token
            elif token in {"[", "{"}:
                depth += 1
            elif token in {"]", "}"}:
                depth -= 1
        n += 1
        if (depth <= 0 and not quotes) or n >= len(rows):
            return n
        rest = rows[n]


MOST_BYTES = 4_000_000
"""A set-up of a thousand bodies is a tenth of this."""

_NO_VALUE = "Invalid value"
_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)")


def read_document(path: Path, overrides: Mapping[str, str], *, reached_by: str = "") -> Stated:
    """Read the tables of a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    overrides : mapping of str to str
        Values for dotted keys: `cut.floor.downfeed_mm`, `wheel.diameter_mm`, `seat.1.min_share`.
        Entries of a list go by their name, or by their number from 1; operations by their own number.
    reached_by : str
        What stands before each key where the user gave it: `operation.30.setup.`; messages repeat it.

    Returns
    -------
    Stated
        The whole file, with the overrides in place.

    Raises
    ------
    SetupError
        The file cannot be read or does not parse, with its line; or an override names nothing.
    """
    text = text_of(path)
    document = _parsed(path.name, text)
    set_by: dict[KeyPath, str] = {}
    wrong = Mistakes()
    for key, value in overrides.items():
        with wrong.noted():
            option = f"--set {reached_by}{key}={value}"
            set_by[_override(document, key, value, option)] = option
    wrong.raise_any()
    return _stated(path.name, text, document, set_by)


def document_of(name: str, text: str) -> Stated:
    """Return the tables of a TOML text.

    Parameters
    ----------
    name : str
        What its file is called.
    text : str

    Returns
    -------
    Stated
        The whole text; nothing in it is overridden.

    Raises
    ------
    SetupError
        It does not parse; with the line.
    """
    return _stated(name, text, _parsed(name, text), {})


def _stated(name: str, text: str, document: Mapping[str, Any], set_by: Mapping[KeyPath, str]) -> Stated:
    where = partial(_where, name, lines_of(text), set_by)
    return Stated(what="the file", values=document, path=(), where=where)


def _parsed(name: str, text: str) -> dict[str, Any]:
    """Return what a TOML text says.

    Raises
    ------
    SetupError
        It does not parse; with the line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as reason:
        raise SetupError(_syntax(name, str(reason), text)) from reason
    except RecursionError as reason:
        raise SetupError(f"{name} nests lists or tables too deep to be read") from reason
    except ValueError as reason:
        # A whole number of thousands of digits, which the language refuses to read.
        raise SetupError(f"{name} holds a number that cannot be read: {reason}") from reason


def text_of(path: Path) -> str:
    """Return the text of a file, which must be a regular one of sensible size.

    Parameters
    ----------
    path : Path
        A TOML file.

    Returns
    -------
    str
        All of it.

    Raises
    ------
    SetupError
        It cannot be read, is no regular file, too large or no UTF-8.
    """
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise SetupError(f"{path.name} is no regular file; give a file that holds a set-up")
        if found.st_size > MOST_BYTES:
            raise SetupError(
                f"{path.name} has {found.st_size} bytes; a set-up of more than {MOST_BYTES} is not read"
            )
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as reason:
        raise SetupError(f"{path.name} is not UTF-8 text; save it as UTF-8") from reason
    except OSError as reason:
        raise SetupError(f"{path} cannot be read: {reason.strerror}") from reason


def _syntax(name: str, reason: str, text: str) -> str:
    """Put the line first in the parser's message."""
    found = _LINE.search(reason)
    line = int(found.group(1)) if found else len(text.splitlines())
    said = _LINE.sub("", reason).replace(" (at end of document)", "")
    stands = text.splitlines()[line - 1 : line]
    quoted = f"; there stands {shortened(stands[0].strip())}, and text needs quotes" if stands else ""
    return f"{name}, line {line}: {said}{quoted if said == _NO_VALUE else ''}"


def _where(file: str, lines: Mapping[Any, int], set_by: Mapping[Any, str], path: KeyPath) -> str:
    """Say where a key stands: the option that set it, or its line, or that of the table around it."""
    for n in range(len(path), 0, -1):
        if path[:n] in set_by:
            return set_by[path[:n]]
        if path[:n] in lines:
            return TextSpot(file, lines[path[:n]])
    return TextSpot(file)


def _override(document: dict[str, Any], key: str, text: str, option: str) -> KeyPath:
    """Set a dotted key in the parsed document and return its path."""
    *parents, last = key.split(".")
    if not parents:
        raise SetupError(f"{option}: name a table and a key, like {_like(key)}")
    at: Any = document
    path: KeyPath = ()
    for part in parents:
        at, path = _step_into(at, path, part, option)
    if isinstance(at, list):
        raise SetupError(f"{option}: {'.'.join(parents)} is a list; say which: {_entry(at, parents)}.{last}")
    if not isinstance(at, dict):
        raise SetupError(f"{option}: {'.'.join(parents)} is no table")
    for twin in twins(last):
        at.pop(twin, None)
    at[last] = _value(text)
    return (*path, last)


def _step_into(at: Any, path: KeyPath, part: str, option: str) -> tuple[Any, KeyPath]:
    """Go one table or entry deeper."""
    if isinstance(at, list):
        n = _place_of(part, at)
        if n is None and part == "0" and at:
            raise SetupError(f"{option}: entries count from 1; write {_entry(at, [str(path[-1])])}")
        if n is None:
            raise SetupError(f"{option}: no {path[-1]} is named {part!r}; {nearest(part, _entry_names(at))}")
        return at[n], (*path, n)
    if isinstance(at, dict) and (part in at or part in SINGLE):
        return at.setdefault(part, {}), (*path, part)
    if not path and part in RECORDS:
        raise SetupError(f"{option}: the set-up states no [[{part}]]")
    known = list(at) if isinstance(at, dict) else []
    if not path:
        known += [name for name in RECORDS if name not in known and "." not in name]
    raise SetupError(f"{option}: there is no table {part!r}; {nearest(part, known)}")


def into_file(key: str, table: str, names_file: str) -> tuple[str, str] | None:
    """Return the entry of a list and the rest of a dotted key that leads into the file which it names.

    Parameters
    ----------
    key : str
        As `--set` takes it: `operation.40.setup.wheel.bore_mm`.
    table, names_file : str
        The list, and the key of its entries that names a file.

    Returns
    -------
    (str, str) or None
        None of any other key, as of that which names the file itself.
    """
    parts = key.split(".", 3)
    leads = len(parts) == 4 and (parts[0], parts[2]) == (table, names_file)
    return (parts[1], parts[3]) if leads else None


def _entry_names(entries: Sequence[Any]) -> list[str]:
    """Return the names of the entries of a list; one without a name goes by its number from 1."""
    return [
        str(e.get("name", n)) if isinstance(e, Mapping) else str(n) for n, e in enumerate(entries, start=1)
    ]


def _place_of(part: str, entries: Sequence[Any]) -> int | None:
    """Return the index of the entry that a part of a key means: by name, by its own number or from 1."""
    names = _entry_names(entries)
    if part in names:
        return names.index(part)
    own = [str(e["number"]) for e in entries if isinstance(e, Mapping) and "number" in e]
    if len(own) == len(entries):
        return own.index(part) if part in own else None
    numbered = part.isdecimal() and len(part) < 9 and 1 <= int(part) <= len(entries)
    return int(part) - 1 if numbered else None


def _entry(entries: list[Any], parents: list[str]) -> str:
    """Return the dotted name of the first entry of a list, and how else to name it."""
    first = entries[0] if entries else None
    name = str(first.get("name", 1)) if isinstance(first, dict) else "1"
    return f"{'.'.join(parents)}.{name}"


def _like(key: str) -> str:
    """Return dotted keys that end in a key, as examples of how to write it."""
    homes = [f"{table}.{'' if is_single(table) else 'NAME.'}{key}" for table in homes_of(key)]
    return " or ".join(homes[:3]) or "wheel.diameter_mm or cut.NAME.downfeed_mm"


def twins(key: str) -> list[str]:
    """Return the keys that state the same quantity in other units, which an override replaces.

    Parameters
    ----------
    key : str
        A key, with its unit at the end.

    Returns
    -------
    list of str
        Empty where the key does not end in a unit that has a counterpart.
    """
    pairs = [*INCH_SUFFIX.items(), *((inch, metric) for metric, inch in INCH_SUFFIX.items())]
    return [key.removesuffix(one) + other for one, other in pairs if key.endswith(one)]


def _value(text: str) -> Any:
    """Read an override as TOML; what is no TOML value is text."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except (ValueError, RecursionError):
        return text


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

    Parameters
    ----------
    facts : Stated
        The set-up as stated.
    keys : iterable of str
        Dotted keys, from the top of the set-up.

    Returns
    -------
    tuple of Guess
        In the order of the keys.

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
            n = _place_of(part, values)
            values = None if n is None else values[n]
        else:
            return None
    return values


def guessed_rows(found: Iterable[Guess]) -> Iterator[Assumed]:
    """Yield a row for each guess, as what is assumed is told.

    Parameters
    ----------
    found : iterable of Guess
        Guesses of one set-up.

    Yields
    ------
    Assumed
        Marked as guessed; a number under an inch key comes in metric units, under the metric key.
    """
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
            if key != field.name:
                value = from_inches(value, field.name)
            return value, field.name, matters
    return value, key, matters


def _said(value: object) -> str:
    """Write a list or a table in a few words."""
    if isinstance(value, Mapping):
        return ", ".join(f"{k.replace('_', ' ')} {_said(v)}" for k, v in value.items())
    if isinstance(value, list | tuple):
        return f"({', '.join(map(_said, value))})"
    return f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
