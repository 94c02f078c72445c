"""The cuts that might cure a clash, ranked by what they cost, and why some do not hold."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from fixturecheck.errors import KernelError
from fixturecheck.kernel.measure import volume_mm3
from fixturecheck.remedy.proposals import Proposal
from fixturecheck.setup.model import Body, Setup

_BY_HAND_MM = 1.0
"""An edge is broken by stone or file up to this leg or radius (common practice, no source)."""
_DEEPER_BY_HAND_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Try:
    """One cut on one body, and the material that it takes."""

    body: Body
    proposal: Proposal
    removed_mm3: float

    @property
    def bother(self) -> tuple[bool, bool, float]:
        """What ranks a cut: by hand first, plain before round edges, then by the material taken."""
        return not by_hand(self.proposal), not self.proposal.is_plain, round(self.removed_mm3, 6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tries:
    """The cuts that might cure one clash.

    Parameters
    ----------
    kinds : sequence of str
        As the set-up states them; decides between cuts that take the same.
    drawn : Setup
        The set-up before any relief.
    """

    drawn: Setup
    kinds: Sequence[str]
    _tries: list[Try] = field(default_factory=list)
    _notes: list[str] = field(default_factory=list)
    _rejected: dict[str, list[str]] = field(default_factory=dict)

    def add(self, body: Body, proposal: Proposal) -> None:
        """Make a cut on its solid to see what it takes; one that cannot be made is rejected."""
        try:
            solid = proposal.made(body.solid)
        except KernelError as reason:
            self.reject(proposal, f"{proposal.words} on {body.name}.{proposal.where}: {reason}")
            return
        removed = volume_mm3(body.solid) - volume_mm3(solid)
        self._tries.append(Try(body=body, proposal=proposal, removed_mm3=removed))

    def ranked(self) -> list[Try]:
        """Return the cuts, the least of a bother first."""

        def rank(one: Try) -> tuple[tuple[bool, bool, float], int, str]:
            return one.bother, self.kinds.index(one.proposal.kind), one.proposal.where

        return sorted(self._tries, key=rank)

    def note(self, why: str) -> None:
        """Keep why a body has no cut at all."""
        self._notes.append(why)

    def reject(self, proposal: Proposal, why: str) -> None:
        """Keep why a cut does not hold."""
        self._rejected.setdefault(proposal.kind, []).append(why)

    def why(self) -> tuple[str, ...]:
        """Return why bodies have no cut and why cuts do not hold, once for each kind."""
        return (*dict.fromkeys(self._notes), *self.rejected(()))

    def rejected(self, held: Collection[str]) -> tuple[str, ...]:
        """Return why cuts do not hold, once for each kind but those of which some do."""
        told = []
        for kind, whys in self._rejected.items():
            once = list(dict.fromkeys(whys))
            more = f" ({len(once) - 1} more of this kind fail)" if len(once) > 1 else ""
            told += [] if kind in held else [once[0] + more]
        return tuple(told)


def by_hand(proposal: Proposal) -> bool:
    """Tell whether a hand can make a cut: a small chamfer or rounded edge, or a chamfer made larger."""
    largest = max(proposal.cut.size_mm)
    if proposal.kind in {"chamfer", "fillet"}:
        return largest <= _BY_HAND_MM + 1e-9
    bevel = proposal.bevel
    return (
        bevel is not None
        and largest <= _DEEPER_BY_HAND_MM + 1e-9
        and bevel.leg_after(largest) <= _BY_HAND_MM + _DEEPER_BY_HAND_MM
    )
