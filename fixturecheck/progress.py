"""How work that takes a while tells how far it is, and what it has found so far."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Called with what is being done, and the share done so far, 0 to 1."""

Tell = Callable[[list[str]], None]
"""Called with lines about what has been found, as soon as it has."""


def silent(_doing: str, _share: float) -> None:
    """Report nothing: the progress of work that nobody watches.

    Parameters
    ----------
    _doing : str
        What is being done.
    _share : float
        The share done so far, 0 to 1.
    """


def part_of(progress: Progress, low_share: float, high_share: float) -> Progress:
    """Return the progress of a step that takes the whole from one share to another.

    Parameters
    ----------
    progress : callable
        The progress of the whole.
    low_share, high_share : float
        Share of the whole that is done before the step and after it, 0 to 1.

    Returns
    -------
    Progress
        The progress of the step.
    """
    return lambda doing, share: progress(doing, low_share + (high_share - low_share) * share)
