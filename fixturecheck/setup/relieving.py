"""What is asked of a relief: how much air it leaves, how much wall it spares, which kinds may be used."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixturecheck.errors import SetupError

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup

KINDS = ("chamfer", "fillet", "undercut", "groove", "setback")


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

    clearance_mm: float = 0.0
    min_wall_mm: float = 0.0
    kinds: tuple[str, ...] = KINDS


def refuse_bad_relieving(setup: Setup) -> None:
    """Raise for a wish that no relief can meet.

    Raises
    ------
    SetupError
        Names the wish and the value.
    """
    wanted = setup.relief
    for name in ("clearance_mm", "min_wall_mm"):
        value = getattr(wanted, name)
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not math.isfinite(value) or value < 0:
            message = f"relief, {name}: must be zero or more; got {value!r}"
            raise SetupError(message)
    strangers = [k for k in wanted.kinds if k not in KINDS]
    if strangers or not wanted.kinds:
        got = repr(strangers[0]) if strangers else "none"
        message = f"relief, kinds: use {', '.join(KINDS[:-1])} or {KINDS[-1]}; got {got}"
        raise SetupError(message)
