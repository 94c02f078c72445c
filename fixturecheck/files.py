"""Files: tables that ship with the package, and files that are written whole or not at all."""

from __future__ import annotations

import os
import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from fixturecheck.errors import FixturecheckError

SETUP_SUFFIXES = (".py", ".toml")
"""Endings of files that hold a set-up."""
STEP_SUFFIXES = (".step", ".stp", ".p21")
BREP_SUFFIXES = (".brep", ".brp")
PART_SUFFIXES = (*STEP_SUFFIXES, *BREP_SUFFIXES)
"""Endings of files that hold a part."""


def no_setup(path: Path) -> str:
    """Say why a path is no set-up's file, and what to give in its place.

    Parameters
    ----------
    path : Path
        As it was given: not there, no file, or of another ending than a set-up's.

    Returns
    -------
    str
        Without a full stop.
    """
    if path.is_dir():
        return f"{path} is a folder; give the set-up in it, ending in .py or .toml"
    if not path.is_file():
        return f"{path} is not a file; give a set-up ending in .py or .toml"
    if path.suffix.lower() in PART_SUFFIXES:
        return f"{path} is a part, not a set-up; `fixturecheck new {path}` proposes a set-up for it"
    return f"{path} is no set-up file: give a script ending in .py or a description ending in .toml"


_CITED = re.compile(r"\s*\[@\w+\]")


def uncited(source: str) -> str:
    """Return a source in words, without the keys of works that it cites in brackets.

    Parameters
    ----------
    source : str
        As a table or a docstring gives it.

    Returns
    -------
    str
        The same for people.
    """
    return _CITED.sub("", source)


def shipped_table(room: str, name: str) -> dict[str, Any]:
    """Return a TOML file of the package as plain values.

    Parameters
    ----------
    room : str
        The folder, from the package's own: `statics`, or `shop/tables`.
    name : str
        The file, without its ending.

    Returns
    -------
    dict[str, Any]
        The tables and values of the file.
    """
    return tomllib.loads(files("fixturecheck").joinpath(f"{room}/{name}.toml").read_text("utf-8"))


def append_whole(path: Path, content: str) -> None:
    """Write text to the end of a file in one go; one that is not there yet is made.

    Parameters
    ----------
    path : Path
        A link, a pipe or a device is written to.
    content : str
        Written as UTF-8.

    Raises
    ------
    FixturecheckError
        It cannot be read or written; an earlier file is as it was.
    """
    try:
        earlier = path.read_bytes() if path.is_file() else b""
    except OSError as trouble:
        raise FixturecheckError(f"{path} cannot be added to: {trouble.strerror or trouble}") from trouble
    apart = b"" if not earlier or earlier.endswith(b"\n") else b"\n"
    write_whole(path, earlier + apart + content.encode())


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file in one go: a reader sees the earlier file or the new one, never half of it.

    A link, a pipe or a device stays what it is, and is written to.

    Parameters
    ----------
    path : Path
        An earlier file there is replaced.
    content : str or bytes
        Text is written as UTF-8.

    Raises
    ------
    FixturecheckError
        It cannot be written; an earlier file is as it was.
    """
    half = path.with_name(f".{path.name}.{os.getpid()}")
    written = content.encode() if isinstance(content, str) else content
    try:
        if path.is_symlink() or (path.exists() and not path.is_file()):
            path.write_bytes(written)
            return
        half.write_bytes(written)
        half.replace(path)
    except OSError as trouble:
        half.unlink(missing_ok=True)
        raise FixturecheckError(f"{path} cannot be written: {trouble.strerror or trouble}") from trouble
