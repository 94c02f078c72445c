"""Which files a script reads while it runs, other than what it imports."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, wraps
from pathlib import Path
from typing import Any

import cadquery as cq

_READERS: tuple[tuple[Any, str], ...] = (
    *((cq.importers, name) for name in ("importStep", "importBrep", "importBin", "importDXF", "importShape")),
    *((cq.Shape, name) for name in ("importBrep", "importBin")),
    *((cq.Assembly, name) for name in ("importStep", "load")),
)
"""What reads geometry: the kernel opens these files itself, where Python hears nothing of it."""

Heard = Callable[[Path], None]

_listening: list[Heard] = []


@contextmanager
def files_read(home: Path) -> Iterator[list[Path]]:
    """Give the files that are read in the block.

    Geometry counts wherever it lies. Whatever else Python opens counts in the script's folder only, since the
    settings of libraries lie elsewhere.

    Parameters
    ----------
    home : Path
        The script's folder.

    Yields
    ------
    list of Path
        Each file once, in order; filled when the block has ended.
    """
    inside, found, filled = home.resolve(), set[Path](), list[Path]()

    def read(path: Path) -> None:
        if path.is_file():
            found.add(path.resolve())

    def opened(path: Path) -> None:
        there = path.resolve()
        own = there.relative_to(inside).parts if there.is_relative_to(inside) else (".",)
        if there.suffix != ".py" and not any(part.startswith((".", "__")) for part in own):
            read(there)

    _hear()
    _listening.append(opened)
    try:
        with _geometry_noted(read):
            yield filled
    finally:
        _listening.remove(opened)
        filled.extend(sorted(found))


@contextmanager
def _geometry_noted(read: Heard) -> Iterator[None]:
    """Have cadquery's readers of files say what they read."""
    before = [(owner, name, vars(owner)[name]) for owner, name in _READERS if name in vars(owner)]
    for owner, name, reader in before:
        if isinstance(reader, classmethod):
            setattr(owner, name, classmethod(_saying(reader.__func__, read, at=1)))
        else:
            setattr(owner, name, _saying(reader, read, at=0))
    try:
        yield
    finally:
        for owner, name, reader in before:
            setattr(owner, name, reader)


def _saying(reader: Callable[..., Any], read: Heard, *, at: int) -> Callable[..., Any]:
    """Return a reader that says which file it is given, by its place among the arguments or by any name."""

    @wraps(reader)
    def said(*given: Any, **named: Any) -> Any:
        for one in (*given[at:], *named.values()):
            if isinstance(one, str | os.PathLike):
                read(Path(one))
        return reader(*given, **named)

    return said


@cache
def _hear() -> None:
    """Hear of every file that Python opens to read, once and for all: a hook cannot be taken off again."""

    def hook(event: str, given: tuple[Any, ...]) -> None:
        if event == "open" and _listening:
            path, _, flags = given
            written = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR)
            if isinstance(path, str | os.PathLike) and not written:
                for heard in tuple(_listening):
                    heard(Path(path))

    sys.addaudithook(hook)
