"""Names: which are allowed, and which one was probably meant."""

from __future__ import annotations

import re

from fixturecheck.errors import SetupError
from fixturecheck.setup.entries import MOST_NAME

NAME = re.compile(r"[A-Za-z0-9_-]+")
"""What a body, face or cut may be called: it becomes a file name and one side of `body.face`."""

CHECKS = (
    "seat", "nest", "rest", "location", "tolerance", "hold", "crash", "reach", "clear", "align", "limits",
    "release",
)  # fmt: skip
"""The checks by their names, for what may be stated of them."""

SEVERITIES = ("go", "caution", "no-go")
"""What a no-go may count as."""

BY_PLACE = re.compile(r"face_\d+")
"""Names kept for faces that nobody named; they are numbered by place."""


def allowed_name(name: object, where: str, most: int = MOST_NAME) -> None:
    """Refuse what may not be the name of a body, face, cut, clamp or mill.

    Raises
    ------
    SetupError
        It is too long, or has letters that no file name should have.
    """
    if not isinstance(name, str) or not NAME.fullmatch(name):
        message = f"{where}: a name is made of letters a to z, digits, _ and -, without blanks or dots"
        raise SetupError(message)
    if len(name) > most:
        message = f"{where}: a name has at most {most} letters, since it becomes part of file names"
        raise SetupError(message)


def one_of(value: object, known: tuple[str, ...], where: str) -> None:
    """Refuse a word that is none of those known.

    Raises
    ------
    SetupError
        Names the place, the word and those that may stand there.
    """
    if value not in known:
        message = f"{where}: {value!r} is unknown; use {', '.join(known[:-1])} or {known[-1]}"
        raise SetupError(message)


def plain(name: str) -> str:
    """Turn a name from a file into one that is allowed: other characters become `_`; may be empty."""
    return re.sub(r"[^A-Za-z0-9_-]+", "_", name).strip("_")
