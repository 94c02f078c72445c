"""Which known name was meant: the error for a name that is not known."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from fixturecheck.errors import SetupError


def unknown(name: str, known: Iterable[str], *, what: str) -> SetupError:
    """Return the error for a name that is not known, with the nearest names, or all when none is near.

    Parameters
    ----------
    what : str
        What the name is of: `material`, `parameter of parallel`.
    """
    names = sorted(known)
    near = get_close_matches(name, names, n=3, cutoff=0.5)
    hint = f"did you mean {' or '.join(near)}?" if near else f"known are {', '.join(names)}"
    return SetupError(f"{what} {name!r} is not known; {hint}")
