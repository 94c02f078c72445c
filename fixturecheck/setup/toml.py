"""Reads a set-up from TOML, with solids from STEP or BREP files; runs no code."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.kernel.step.read import PartFile, read
from fixturecheck.result import Source
from fixturecheck.setup.build import body_of, build_setup, located
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.text import FileBody, files_of, told_in_file


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
        Lists the files that it was read from, given the bodies and what other files were read.

    Raises
    ------
    SetupError
        The file cannot be read, does not parse, or states something wrong; with its line.
    """
    told = told_in_file(path, overrides)
    read_part = _Reader()
    bodies: Sequence[Callable[[], Body]] = [
        partial(_body, file, read_part) for file in files_of(told, path.parent)
    ]
    files = [] if told.shop_file is None else [told.shop_file]
    if told.holding is not None and told.holding.calibrated is not None:
        files.append(Path(told.holding.calibrated.path))

    def listed(everything: Sequence[Body]) -> tuple[Source, ...]:
        return tuple(sources(everything, files))

    return build_setup(told, bodies=bodies, sources=listed)


def _body(file: FileBody, read_part: Callable[[Path], PartFile]) -> Body:
    """Make one body whose solid is in a file of its own."""
    try:
        part = read_part(file.path)
    except SetupError as reason:
        file.facts.entry.fail(f"body {file.facts.name!r}: {reason}", "file")
    return body_of(file.facts, part, located(file.place), which=file.which)


class _Reader:
    """Reads each part file once, however many bodies it serves."""

    def __init__(self) -> None:
        self._read: dict[Path, PartFile] = {}

    def __call__(self, path: Path) -> PartFile:
        if path not in self._read:
            self._read[path] = read(path)
        return self._read[path]
