"""Names of bodies and faces: which are allowed, and which known one was probably meant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from difflib import get_close_matches
from typing import TypeVar

from fixturecheck.errors import SetupError

T = TypeVar("T")

MOST_NAME = 60
"""The longest name that is taken, in characters."""

NAME = re.compile(r"[A-Za-z0-9_-]+")
"""What a body, face or cut may be called: it becomes a file name and one side of `body.face`."""

CHECKS = (
    "seat", "nest", "rest", "location", "tolerance", "hold", "crash", "reach", "clear", "align", "limits",
    "dials", "release", "angle", "rolls", "drill", "mill", "vise", "wall", "hardening",
)  # fmt: skip
"""The checks by their names, for what may be stated of them."""

SEVERITIES = ("go", "caution", "no-go")
"""What a no-go may count as."""

BY_PLACE = re.compile(r"face_\d+")
"""Names kept for faces that nobody named; they are numbered by place."""


def allowed_name(name: object, where: str, most: int = MOST_NAME) -> None:
    """Refuse what may not be the name of a body, face, cut, clamp or mill.

    Parameters
    ----------
    name : object
        The name as stated.
    where : str
        What it names, for the message.
    most : int
        Letters that it may have at most.

    Raises
    ------
    SetupError
        It is too long, or has letters that no file name should have.
    """
    if not isinstance(name, str) or not NAME.fullmatch(name):
        raise SetupError(
            f"{where}: a name is made of letters a to z, digits, _ and -, without blanks or dots"
        )
    if len(name) > most:
        raise SetupError(f"{where}: a name has at most {most} letters, since it becomes part of file names")


def one_of(value: object, known: tuple[str, ...], where: str) -> None:
    """Refuse a word that is not known.

    Parameters
    ----------
    value : object
        The word as stated.
    known : tuple of str
        The words that may stand there.
    where : str
        The place, for the message.

    Raises
    ------
    SetupError
        Names the place, the word and those that may stand there.
    """
    if value not in known:
        raise SetupError(f"{where}: {value!r} is unknown; use {', '.join(known[:-1])} or {known[-1]}")


def plain(name: str) -> str:
    """Turn a name from a file into one that is allowed: other characters become `_`; may be empty.

    Parameters
    ----------
    name : str
        The name in the file.

    Returns
    -------
    str
        The name in allowed letters.
    """
    return re.sub(r"[^A-Za-z0-9_-]+", "_", name).strip("_")


_MOST_NUMBER = 5
"""Letters kept free at the end of a name for a number that tells it from others."""


def distinct(names: Iterable[str]) -> Iterator[str]:
    """Yield names from a file in allowed letters, no two alike: with a number where several share one.

    Parameters
    ----------
    names : iterable of str
        The names in the file.

    Yields
    ------
    str
        A name for each, in order.
    """
    taken: set[str] = set()
    wanted = [plain(name)[: MOST_NAME - _MOST_NUMBER] or "body" for name in names]
    several = {w for w in wanted if wanted.count(w) > 1}
    for stem in wanted:
        count = 1
        name = f"{stem}_1" if stem in several else stem
        while name in taken:
            count += 1
            name = f"{stem}_{count}"
        taken.add(name)
        yield name


_SHOWN = 24


def nearest(wanted: str, known: Iterable[str]) -> str:
    """Say which known names come closest to the one that was not found, or list what there is.

    Parameters
    ----------
    wanted : str
        The name that was not found.
    known : iterable of str
        The names that there are.

    Returns
    -------
    str
        `did you mean 'floor' or 'flank'?`, else `there are a, b, c`, else `there are none`.
    """
    # What is only numbered by its place tells least.
    names = sorted(set(known), key=lambda name: (BY_PLACE.fullmatch(name) is not None, name))
    close = close_to(wanted, names)
    if close:
        return "did you mean " + " or ".join(repr(n) for n in close) + "?"
    if not names:
        return "there are none"
    return "there are " + ", ".join(names[:_SHOWN]) + (", ..." if len(names) > _SHOWN else "")


def close_to(wanted: str, known: Iterable[str]) -> list[str]:
    """Return at most three known names that are like the one that was not found, the nearest first.

    Parameters
    ----------
    wanted : str
        The name that was not found.
    known : iterable of str
        The names that there are.

    Returns
    -------
    list of str
        Empty where none is like it.
    """
    # Compared without regard to case, so that FLOOR finds floor.
    folded: dict[str, str] = {}
    for name in sorted(set(known)):
        folded.setdefault(name.lower(), name)
    return [folded[n] for n in get_close_matches(str(wanted).lower(), folded, n=3, cutoff=0.6)]


def row_of(name: str, known: Mapping[str, T], *, what: str) -> T:
    """Return the row of a name in a table.

    Parameters
    ----------
    name : str
        The name.
    known : mapping of str to T
        The table.
    what : str
        What the name is of, for a message.

    Returns
    -------
    T
        The row.

    Raises
    ------
    SetupError
        Nothing has this name; the message lists the nearest names.
    """
    if name not in known:
        raise unknown(name, known, what=what)
    return known[name]


def unknown(name: str, known: Iterable[str], *, what: str) -> SetupError:
    """Return the error for a name that is not known, with the nearest names, or all when none is near.

    Parameters
    ----------
    name : str
        The name that is not known.
    known : iterable of str
        The names that there are.
    what : str
        What the name is of: `material`, `parameter of parallel`.

    Returns
    -------
    SetupError
        The error, not raised.
    """
    return SetupError(f"{what} {name!r} is not known; {nearest(name, known)}")
