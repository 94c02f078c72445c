"""`fixturecheck cache`: what is kept between runs, and to forget it."""

from __future__ import annotations

import argparse

from fixturecheck.commands.shared import Parser
from fixturecheck.commands.terminal import GO, NOT_COMPUTED, say
from fixturecheck.errors import SetupError


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options.

    Parameters
    ----------
    commands : subparsers action
        The commands that it joins.
    """
    cache = commands.add_parser(
        "cache",
        help="show what is kept between runs, or forget it",
        description="Meshes, magnetic fields and loads to collapse are kept between runs, each by everything "
        "that it depends on, so that what did not change is not computed again. Above 1 GB what was not used "
        "for longest is forgotten. The environment variable FIXTURECHECK_CACHE names another folder; `off` "
        "keeps nothing.",
    )
    cache.add_argument("--clear", action="store_true", help="forget all of it")
    cache.set_defaults(command=_cache)


def _cache(options: argparse.Namespace) -> int:
    from fixturecheck.cache import current  # noqa: PLC0415 -- loads NumPy

    kept = current()
    if options.clear:
        try:
            kept.clear()
        except OSError as reason:
            raise SetupError(
                f"the cache in {kept.folder} could not be cleared: {reason.strerror or reason}"
            ) from reason
    held = kept.contents()
    if kept.trouble:
        raise SetupError(f"{kept.trouble}; FIXTURECHECK_CACHE names another folder")
    if held is None:
        return GO if say("nothing is kept: FIXTURECHECK_CACHE is off\n") else NOT_COMPUTED
    rows = [
        f"{name.removeprefix('fixturecheck.'):<45} {count:>7} {size / 1e6:>10.1f} MB"
        for name, (count, size) in sorted(held.answers.items())
    ]
    count, size = (sum(pair[i] for pair in held.answers.values()) for i in (0, 1))
    whole = f"{'all':<45} {count:>7} {size / 1e6:>10.1f} MB"
    return GO if say("\n".join([f"kept in {held.folder}", *rows, whole, ""])) else NOT_COMPUTED
