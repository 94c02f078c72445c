"""Lines about what has been found while a check still runs: what is not go, and a count of the rest."""

from __future__ import annotations

from collections.abc import Callable

from fixturecheck.report.colours import SIGNS
from fixturecheck.result import Finding, Verdict

MOST_EACH = 3
"""Findings of one check that are told one by one; a gang fails the same way many times."""
_LONGEST = 300


class SoFar:
    """Tells findings as they come; those of one check follow each other.

    Parameters
    ----------
    tell : callable
        Called with lines.
    """

    def __init__(self, tell: Callable[[list[str]], None]) -> None:
        self._tell = tell
        self._check = ""
        self._counts: dict[Verdict, int] = {}
        self._shown = 0

    def found(self, finding: Finding) -> None:
        """Take one finding."""
        if finding.check != self._check:
            self.end()
            self._check = finding.check
        verdict = finding.verdict
        if verdict is not Verdict.GO and self._shown < MOST_EACH:
            self._shown += 1
            line = (
                f"{SIGNS[verdict]} {str(verdict).upper()} {finding.check} {finding.subject}: {finding.says}"
            )
            self._tell([line if len(line) <= _LONGEST else f"{line[: _LONGEST - 1]}…"])
        else:
            self._counts[verdict] = self._counts.get(verdict, 0) + 1

    def end(self) -> None:
        """Tell how many more there were of the check that is done."""
        more = "more " if self._shown else ""
        counts = [
            f"{self._counts[v]} {more if v is not Verdict.GO else ''}{v}"
            for v in Verdict
            if v in self._counts
        ]
        if counts:
            self._tell([f"{self._check}: {', '.join(counts)}"])
        self._counts, self._shown = {}, 0
