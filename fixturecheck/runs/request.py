"""What a command asks of the process that runs it, and what it hears back."""

from __future__ import annotations

from dataclasses import dataclass

VARIANT_LIMIT_S = 1800.0
"""How many seconds a variant of a study may take where nothing else is asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRequest:
    """How a set-up is checked, and how the answer is shown.

    Parameters
    ----------
    pictures : bool
        Whether to draw.
    only : tuple of str or None
        The checks to ask; None asks all.
    skip : tuple of str
        Checks to leave out.
    width : int
        Columns of the terminal.
    colour : bool
        Whether the table is coloured.
    """

    pictures: bool = True
    only: tuple[str, ...] | None = None
    skip: tuple[str, ...] = ()
    width: int = 100
    colour: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAnswer:
    """What a check came to, once everything is written.

    Parameters
    ----------
    verdict : str
        The verdict of the set-up, or of the whole job.
    table : str
        What the terminal shows.
    trouble : str or None
        Why pictures are missing although they were asked for; None where all were drawn.
    """

    verdict: str
    table: str
    trouble: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepAnswer:
    """What a study came to, once everything is written.

    Parameters
    ----------
    came : str
        `passes`, `fails` or `unknown`.
    text : str
        What the terminal shows.
    all_known : bool
        Whether nothing had to be worked out.
    junit : str
        JUnit XML of it.
    summary : str
        The same in Markdown, for the page of a job.
    """

    came: str
    text: str
    all_known: bool
    junit: str
    summary: str
