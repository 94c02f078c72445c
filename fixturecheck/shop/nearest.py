"""Which known name was meant: the error for a name that is not known."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from fixturecheck.errors import SetupError

_SHOWN = 24


def nearest(wanted: str, known: Iterable[str]) -> str:
    """Say which known names come closest to the one that was not found, or list what there is.

    Returns
    -------
    str
        `did you mean 'floor' or 'flank'?`, else `there are a, b, c`, else `there are none`.
    """
    names = sorted(set(known))
    # Compared without regard to case, so that FLOOR finds floor.
    folded: dict[str, str] = {}
    for name in names:
        folded.setdefault(name.lower(), name)
    close = [folded[n] for n in get_close_matches(str(wanted).lower(), folded, n=3, cutoff=0.6)]
    if close:
        return "did you mean " + " or ".join(repr(n) for n in close) + "?"
    if not names:
        return "there are none"
    return "there are " + ", ".join(names[:_SHOWN]) + (", ..." if len(names) > _SHOWN else "")


def unknown(name: str, known: Iterable[str], *, what: str) -> SetupError:
    """Return the error for a name that is not known, with the nearest names, or all when none is near.

    Parameters
    ----------
    what : str
        What the name is of: `material`, `parameter of parallel`.
    """
    return SetupError(f"{what} {name!r} is not known; {nearest(name, known)}")
