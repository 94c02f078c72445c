"""Reads a set-up from a file, whichever way it is stated there."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path, PurePath
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.kernel.assembly import is_assembly
from fixturecheck.kernel.script import run
from fixturecheck.result import Source
from fixturecheck.setup.assembly import setup_from_assembly
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.toml import load_toml
from fixturecheck.shop.nearest import nearest

_NO_OVERRIDES: Mapping[str, str] = {}


def load(path: str | Path, overrides: Mapping[str, str] = _NO_OVERRIDES) -> Setup:
    """Read a set-up from a script or a TOML file.

    Parameters
    ----------
    path : str or Path
        A `.py` script that leaves a set-up or an assembly in the variable `setup` or shows it with
        `show_object`, or a `.toml` file.
    overrides : mapping of str to str
        For a script, values of its parameters by name; for TOML, values by dotted key.

    Returns
    -------
    Setup
        With `sources`: the file and every file read on its behalf, as paths from its folder.

    Raises
    ------
    SetupError
        The file cannot be used; one line that says why and what to do.
    """
    file = Path(path)
    if not file.exists():
        message = f"{path} does not exist; give a set-up file ending in .py or .toml"
        raise SetupError(message)
    suffix = file.suffix.lower()
    if not file.is_file() or suffix not in {".py", ".toml"}:
        message = f"{path} is no set-up file: give a script ending in .py or a description ending in .toml"
        if suffix in {".step", ".stp", ".brep", ".brp"}:
            message += "; name this part in the [[body]] of a .toml file"
        raise SetupError(message)
    if suffix == ".toml":
        return load_toml(file.absolute(), overrides, sources=partial(_sources, file.absolute()))
    return _load_script(file.absolute(), overrides)


def _load_script(file: Path, overrides: Mapping[str, str]) -> Setup:
    """Run a script and take the set-up that it leaves."""
    ran = run(file, overrides, nearest=nearest)
    candidates = [ran.variables["setup"]] if "setup" in ran.variables else list(ran.shown)
    found = [c for c in candidates if isinstance(c, Setup) or is_assembly(c)]
    if len(found) != 1:
        message = (
            f"{file.name} {_missing(candidates, found)}; assign one to the variable 'setup' or show_object it"
        )
        raise SetupError(message)
    setup = found[0] if isinstance(found[0], Setup) else _from_assembly(file, found[0])
    return replace(setup, sources=_sources(file, setup.bodies, ran.modules))


def _missing(candidates: list[Any], found: list[Any]) -> str:
    """Say what a script left instead of one set-up."""
    if found:
        return f"shows {len(found)} set-ups or assemblies"
    if candidates:
        return f"leaves a {type(candidates[0]).__name__}, not a set-up or an assembly"
    return "leaves no set-up"


def _from_assembly(file: Path, assembly: Any) -> Setup:
    try:
        return setup_from_assembly(assembly)
    except SetupError as reason:
        message = f"{file.name}: {reason}"
        raise SetupError(message) from reason


def _sources(file: Path, bodies: Iterable[Body], modules: Iterable[Path] = ()) -> tuple[Source, ...]:
    """List the set-up file, what it imported from its folder, and the part files, each once."""
    home = file.parent.resolve()
    found = {file.name: _digest(file)}
    for module in modules:
        found.setdefault(_from_home(module, home), _digest(module))
    for body in bodies:
        if body.source is not None:
            found.setdefault(_from_home(home / body.source.path, home), body.source.sha256)
    return tuple(Source(path=path, sha256=sha256) for path, sha256 in found.items())


def _from_home(path: Path, home: Path) -> str:
    """Write a path as seen from the set-up's folder, the same on every machine."""
    return PurePath(os.path.relpath(path.resolve(), home)).as_posix()


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
