"""One tree of errors with exit codes, and mistakes gathered so that all are reported at once."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TypeVar


class FixturecheckError(Exception):
    """Root of the tree; something failed that is not the user's doing."""

    exit_code = 3


class Problem(str):
    """One thing that is wrong: a sentence, which also knows what it is about.

    Parameters
    ----------
    text : str
        The sentence.
    about : tuple of str
        The table, and which entry: `("cut", "floor")`, `("seat", "part", "rail")`, `("machine", "flange")`.
        Empty for the whole.
    """

    __slots__ = ("about",)

    about: tuple[str, ...]

    def __new__(cls, text: str, about: tuple[str, ...] = ()) -> Problem:
        """Return the sentence with what it is about."""
        self = super().__new__(cls, text)
        self.about = about
        return self


class SetupError(FixturecheckError):
    """What the user stated cannot be used: a missing file, an unknown name, a number that is not one.

    Parameters
    ----------
    *problems : str
        All that is wrong, one sentence each; the command line gives each a line of its own.
    """

    exit_code = 2

    @property
    def problems(self) -> tuple[str, ...]:
        """All that is wrong, one sentence each."""
        return tuple(p if isinstance(p, str) else str(p) for p in self.args)

    def __str__(self) -> str:
        return "; ".join(self.problems)


class KernelError(FixturecheckError):
    """The geometry kernel failed, crashed or ran out of time on a named operation."""


class NotComputedError(FixturecheckError):
    """A number could not be computed; the message is the reason that the `unknown` finding carries."""


@contextmanager
def about(*what: str) -> Iterator[None]:
    """Give every problem raised in the block its subject, unless it has one.

    Parameters
    ----------
    *what : str
        As in `Problem`.

    Yields
    ------
    None
        Nothing; problems raised in the block are marked.
    """
    try:
        yield
    except SetupError as wrong:
        wrong.args = tuple(p if isinstance(p, Problem) else Problem(p, what) for p in wrong.problems)
        raise


def refuse_unless_positive(what: str, *values: float) -> None:
    """Refuse numbers that are not finite and above zero.

    Parameters
    ----------
    what : str
        What they are numbers of, which starts the message.

    Raises
    ------
    SetupError
        One of them is not.
    """
    if not all(math.isfinite(v) and v > 0.0 for v in values):
        raise SetupError(f"{what}: {values} must all be numbers above zero")


MOST_TOLD = 40
"""Lines of mistakes that are reported at once; a file with more of them is wrong as a whole."""

S = TypeVar("S")
T = TypeVar("T")


class Mistakes:
    """What was found wrong so far, in the order in which it was found."""

    def __init__(self) -> None:
        self._lines: dict[str, None] = {}

    def __len__(self) -> int:
        """Return how many mistakes were noted."""
        return len(self._lines)

    def add(self, line: str) -> None:
        """Note a mistake; the same line is reported once."""
        self._lines.setdefault(line)

    @contextmanager
    def noted(self) -> Iterator[None]:
        """Note the mistakes raised in the block, and go on after it."""
        try:
            yield
        except SetupError as reason:
            for line in reason.problems:
                self.add(line)

    def each(self, things: Iterable[S], read: Callable[[S], T]) -> tuple[T, ...]:
        """Return what is read of each thing, without those that have a mistake, which is noted.

        Parameters
        ----------
        things : iterable
            What there is to read.
        read : callable
            Reads one thing; raises `SetupError` where it has mistakes.
        """
        found: list[T] = []
        for thing in things:
            with self.noted():
                found.append(read(thing))
        return tuple(found)

    def or_else(self, read: Callable[[], T], otherwise: S) -> T | S:
        """Return what is read, or another value in its place where that has mistakes, which are noted.

        Parameters
        ----------
        read : callable
            Called without arguments; raises `SetupError` where there are mistakes.
        otherwise : object
            Returned in that case.
        """
        try:
            return read()
        except SetupError as reason:
            for line in reason.problems:
                self.add(line)
            return otherwise

    def raise_any(self) -> None:
        """Raise what was noted.

        Raises
        ------
        SetupError
            Something was noted; its `problems` hold a line for each.
        """
        lines = tuple(self._lines)
        if len(lines) > MOST_TOLD:
            lines = (*lines[:MOST_TOLD], f"and {len(lines) - MOST_TOLD} more mistakes")
        if lines:
            raise SetupError(*lines)


def read_all(things: Iterable[S], read: Callable[[S], T]) -> tuple[T, ...]:
    """Return what is read of each thing.

    Parameters
    ----------
    things : iterable of S
        What is to be read.
    read : Callable[[S], T]
        Reads one of them.

    Returns
    -------
    tuple of T
        What was read, in order.

    Raises
    ------
    SetupError
        Some of them have a mistake; all mistakes are reported together.
    """
    wrong = Mistakes()
    found = wrong.each(things, read)
    wrong.raise_any()
    return found
