"""Reads a set-up from TOML, with solids from STEP or BREP files; runs no code."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.kernel.step_read import PartFile, read
from fixturecheck.result import Source
from fixturecheck.setup import stated as facts_of
from fixturecheck.setup.build import SETUP_TABLES, body_from_file, build_setup
from fixturecheck.setup.lines import lines_of
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.stated import Stated
from fixturecheck.shop.nearest import nearest
from fixturecheck.units import INCH_SUFFIX

_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)")
_TABLES = (
    "setup",
    "machine",
    "wheel",
    "tolerances",
    "severity",
    "flange",
    "guard",
    "faces",
    "params",
    "relief",
)


def load_toml(
    path: Path,
    overrides: Mapping[str, str],
    *,
    sources: Any,
) -> Setup:
    """Read a set-up from a TOML file.

    Parameters
    ----------
    path : Path
        The file; the files it names are looked for from its folder.
    overrides : mapping of str to str
        Values for dotted keys: `cut.floor.downfeed_mm`, `wheel.diameter_mm`, `seat.1.min_share`.
        Entries of a list go by their name, or by their number from 1.
    sources : callable
        Lists the files that it was read from, given the bodies.

    Raises
    ------
    SetupError
        The file cannot be read, does not parse, or states something wrong; with its line.
    """
    text = _text_of(path)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as reason:
        raise SetupError(_syntax(path, str(reason), text)) from reason
    set_by: dict[facts_of.Path, str] = {}
    for key, value in overrides.items():
        set_by[_override(document, key, value)] = f"--set {key}={value}"
    facts = Stated(
        what="the file",
        values=document,
        path=(),
        where=partial(_where, path.name, lines_of(text), set_by),
    )
    facts.only((*SETUP_TABLES, "body"))
    read_part = _Reader(path.parent)

    def bodies(units: str) -> Iterable[Body]:
        return [body_from_file(entry, units, read_part) for entry in facts.tables("body")]

    def listed(everything: Sequence[Body]) -> tuple[Source, ...]:
        return tuple(sources(everything))

    return build_setup(facts, bodies=bodies, name=path.stem, sources=listed)


class _Reader:
    """Reads each part file once, however many bodies it serves."""

    def __init__(self, home: Path) -> None:
        self._home = home
        self._read: dict[Path, PartFile] = {}

    def __call__(self, file: str) -> PartFile:
        path = self._home / file
        if path not in self._read:
            self._read[path] = read(path)
        return self._read[path]


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as reason:
        message = f"{path.name} is not UTF-8 text; save it as UTF-8"
        raise SetupError(message) from reason
    except OSError as reason:
        message = f"{path} cannot be read: {reason.strerror}"
        raise SetupError(message) from reason


def _syntax(path: Path, reason: str, text: str) -> str:
    """Put the line first in the parser's message."""
    found = _LINE.search(reason)
    line = int(found.group(1)) if found else len(text.splitlines())
    return f"{path.name}, line {line}: {_LINE.sub('', reason).replace(' (at end of document)', '')}"


def _where(file: str, lines: Mapping[Any, int], set_by: Mapping[Any, str], path: facts_of.Path) -> str:
    """Say where a key stands: the option that set it, or its line, or that of the table around it."""
    for n in range(len(path), 0, -1):
        if path[:n] in set_by:
            return set_by[path[:n]]
        if path[:n] in lines:
            return f"{file}, line {lines[path[:n]]}"
    return file


def _override(document: dict[str, Any], key: str, text: str) -> facts_of.Path:
    """Set a dotted key in the parsed document and return its path."""
    *parents, last = key.split(".")
    option = f"--set {key}={text}"
    if not parents:
        message = f"{option}: name a table and a key, like wheel.diameter_mm or cut.floor.downfeed_mm"
        raise SetupError(message)
    at: Any = document
    path: facts_of.Path = ()
    for part in parents:
        at, path = _step_into(at, path, part, option)
    if not isinstance(at, dict):
        message = f"{option}: {'.'.join(parents)} is no table"
        raise SetupError(message)
    for twin in _twins(last):
        at.pop(twin, None)
    at[last] = _value(text)
    return (*path, last)


def _step_into(at: Any, path: facts_of.Path, part: str, option: str) -> tuple[Any, facts_of.Path]:
    """Go one table or entry deeper."""
    if isinstance(at, list):
        names = [str(e.get("name", n)) for n, e in enumerate(at, start=1) if isinstance(e, dict)]
        if part in names:
            n = names.index(part)
        elif part.isdigit() and 1 <= int(part) <= len(at):
            n = int(part) - 1
        else:
            message = f"{option}: no {path[-1]} is named {part!r}; {nearest(part, names)}"
            raise SetupError(message)
        return at[n], (*path, n)
    if isinstance(at, dict) and (part in at or part in _TABLES):
        return at.setdefault(part, {}), (*path, part)
    known = list(at) if isinstance(at, dict) else []
    if not path:
        known += [name for name in _TABLES[:5] if name not in known]
    message = f"{option}: there is no table {part!r}; {nearest(part, known)}"
    raise SetupError(message)


def _twins(key: str) -> list[str]:
    """Return the keys that state the same quantity in other units, which an override replaces."""
    pairs = [*INCH_SUFFIX.items(), *((inch, metric) for metric, inch in INCH_SUFFIX.items())]
    return [key.removesuffix(one) + other for one, other in pairs if key.endswith(one)]


def _value(text: str) -> Any:
    """Read an override as TOML; what is no TOML value is text."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text
