"""Finds on which line of a TOML text each key and table stands; the parser of the language does not say."""

from __future__ import annotations

import re

_PART = r"""(?:"(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)"""
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")
_TOKEN = re.compile(r'"""|\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|[\[\]{}]|\#[^\n]*|\\.', re.DOTALL)

Path = tuple[str | int, ...]


def lines_of(text: str) -> dict[Path, int]:
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
    found: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    rows = text.split("\n")
    n = 0
    while n < len(rows):
        header, key = _HEADER.match(rows[n]), _KEY.match(rows[n])
        if header:
            table = _opened(_parts(header.group(2)), header.group(1) == "[[", counts)
            found.setdefault(table, n + 1)
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


def _opened(parts: list[str], entry: bool, counts: dict[Path, int]) -> Path:
    """Return the path of the table that a header opens; parents that are lists mean their last entry."""
    path: Path = ()
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
