"""One tree for everything that can go wrong, and the exit code each branch means."""

from __future__ import annotations


class FixturecheckError(Exception):
    """Root of the tree; something failed that is not the user's doing."""

    exit_code = 3


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
        return tuple(str(p) for p in self.args)

    def __str__(self) -> str:
        return "; ".join(self.problems)


class KernelError(FixturecheckError):
    """The geometry kernel failed, crashed or ran out of time on a named operation."""


class NotComputedError(FixturecheckError):
    """A number could not be computed; the message is the reason that the `unknown` finding carries."""
