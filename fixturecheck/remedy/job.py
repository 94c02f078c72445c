"""A search for reliefs from file to folder, as the command line runs it in its own process."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from fixturecheck.remedy.export import export, told
from fixturecheck.remedy.relief import relieve
from fixturecheck.setup.load import load

Progress = Callable[[str, float], None]


def run(
    setup_path: str, overrides: Mapping[str, str], folder: str, *, progress: Progress
) -> tuple[bool, str]:
    """Load a set-up, relieve it, write the changed parts.

    Returns
    -------
    tuple
        Whether nothing is left in the way, and what was found, for the terminal.

    Raises
    ------
    FixturecheckError
        The set-up is wrong, or something could not be computed.
    """
    progress(f"read {Path(setup_path).name}", 0.05)
    setup = load(setup_path, overrides)
    progress("look for reliefs", 0.2)
    found = relieve(setup)
    progress("write", 0.9)
    export(found, Path(folder))
    done = found.cured and (found.rest_after is None or found.rest_after.rests)
    return done, told(found)
