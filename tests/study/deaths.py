"""Work for other processes, some of which end theirs."""

from __future__ import annotations

import os


def halved(number: int) -> float:
    """Return half of a number; an odd one ends the process."""
    if number % 2:
        os._exit(9)
    return number / 2


def ends(*_: object, **__: object) -> None:
    """End the process."""
    os._exit(9)
