"""What is asked of a relief: how much air it leaves, how much wall it spares, which kinds may be used."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fixturecheck.allowed import allowed
from fixturecheck.errors import SetupError
from fixturecheck.recorded import HIDDEN, recorded

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup

KINDS = ("chamfer", "fillet", "undercut", "groove", "setback")


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Relieving:
    """What is asked of a relief.

    Parameters
    ----------
    clearance_mm : float
        Air wanted between the relief and what it clears, beyond what tolerances take.
    min_wall_mm : float
        Thinnest wall that a relief may leave; zero asks nothing.
    kinds : tuple of str
        Reliefs that the shop makes, those wanted most first: `chamfer`, `fillet` (a rounded edge),
        `undercut` (a step milled along an outside edge), `groove` (into an inside corner), `setback` (a
        whole flat face taken back).
    """

    clearance_mm: float = field(default=0.0, metadata=allowed(0.0, 10.0))
    min_wall_mm: float = field(default=0.0, metadata=allowed(0.0, 1000.0))
    kinds: tuple[str, ...] = field(default=KINDS, metadata=allowed(words=KINDS))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


def refuse_bad_relieving(setup: Setup) -> None:
    """Raise for a wish that no relief can meet.

    Raises
    ------
    SetupError
        Names the wish and the value.
    """
    if not setup.relief.kinds:
        message = f"relief, kinds: use {', '.join(KINDS[:-1])} or {KINDS[-1]}; got none"
        raise SetupError(message)
