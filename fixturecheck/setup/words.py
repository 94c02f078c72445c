"""Names: which are allowed, and which one was probably meant."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches

NAME = re.compile(r"[A-Za-z0-9_-]+")
"""What a body, face or cut may be called: it becomes a file name and one side of `body.face`."""

BY_PLACE = re.compile(r"face_\d+")
"""Names kept for faces that nobody named; they are numbered by place."""

_SHOWN = 8


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


def plain(name: str) -> str:
    """Turn a name from a file into one that is allowed: other characters become `_`; may be empty."""
    return re.sub(r"[^A-Za-z0-9_-]+", "_", name).strip("_")
