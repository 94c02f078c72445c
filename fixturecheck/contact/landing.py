"""How far a part can be pushed before it lands on another, and on what."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.find import find_contacts
from fixturecheck.contact.model import Patch
from fixturecheck.contact.overlap import overlap
from fixturecheck.contact.standing import Standing, stand
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.measure import extent_along
from fixturecheck.kernel.place import moved_by
from fixturecheck.kernel.shapes import Placed, Shape
from fixturecheck.result import ContactKind
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import METRIC, Writing

Array = NDArray[np.float64]
_LOOKS = 9
_CLOSE_MM = 1e-5
_BEFORE_MM, _BEHIND_MM = 2e-6, 1e-4
"""How far before the travel that what is shared tells a part is free, and how far behind it is shut in.

A wedge counts as shared only when it is thick enough.
"""
_FINE_UM = 0.02
"""What counts as overlap while closing in: far below the touch tolerance, so that the travel is sharp."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Landing:
    """Where a pushed part first lands.

    Parameters
    ----------
    travel_mm : float
        From the drawn pose along the push to where it lands; negative when it lands before.
    patches : tuple of Patch
        What touches there with a normal along the push, in world coordinates of that pose.
    """

    travel_mm: float
    patches: tuple[Patch, ...]

    def carried_to(self, names: Mapping[str, str], turn: Array, shift: Array) -> Landing:
        """Return the landing of copies that stand to each other alike; see `Patch.carried_to`."""
        return replace(self, patches=tuple(p.carried_to(names, turn, shift) for p in self.patches))


def land(
    moving: Placed, still: Placed, push: Array, reach_mm: float, tolerances: Tolerances,
    write: Writing = METRIC,
) -> Landing:  # fmt: skip
    """Push one body at another along a straight line and return where it lands.

    The drawn pose may overlap; the part is first drawn back by `reach_mm`, looked at along the way and
    then closed in on by halving. Sliding along the other body does not count as landing.

    Parameters
    ----------
    push : ndarray, shape (3,)
        Unit direction of the push.
    reach_mm : float
        How far before and beyond the drawn pose is looked at.

    Raises
    ------
    NotComputedError
        It is still in the way when drawn back, or never lands within reach.
    """
    fine = replace(tolerances, touch_um=_FINE_UM, overlap_mm3=1e-12)
    here, target = stand([moving, still])

    def shared(travel_mm: float) -> Shape | None:
        found = overlap(Standing(moved_by(moving, travel_mm * push), here.table), target, fine)
        return found[0] if found is not None else None

    reach = write.length(reach_mm, "g")
    looks = np.linspace(-reach_mm, reach_mm, 2 * _LOOKS - 1)
    if shared(looks[0]) is not None:
        message = f"{moving.name} is in the way of {still.name} even when drawn back {reach}"
        raise NotComputedError(message)
    met = next(((k, zone) for k, t in enumerate(looks[1:]) if (zone := shared(t)) is not None), None)
    if met is None:
        message = f"{moving.name} does not land on {still.name} within {reach}"
        raise NotComputedError(message)
    before, zone = met
    ends = float(looks[before]), float(looks[before + 1])
    low = _closed_in(lambda t: shared(t) is not None, ends, zone, push)
    rest = moved_by(moving, low * push)
    return Landing(travel_mm=low, patches=tuple(_ahead(rest, still, push, tolerances)))


def _closed_in(
    blocked: Callable[[float], bool], ends_mm: tuple[float, float], zone: Shape, push: Array
) -> float:
    """Return the last travel that is not blocked, by halving.

    What two bodies share at a blocked travel is as long, along the push, as the part has gone too far, unless
    it came out again behind. Just before and just behind the travel that this gives are tried first; where
    they part free from blocked, most halves are known without asking the kernel.
    """
    low_mm, high_mm = ends_mm
    shallow, deep = extent_along(zone, push)
    guess = high_mm - (deep - shallow)
    free, shut = guess - _BEFORE_MM, guess + _BEHIND_MM
    known = low_mm < free and shut < high_mm and blocked(shut) and not blocked(free)
    while high_mm - low_mm > _CLOSE_MM:
        middle = (low_mm + high_mm) / 2
        stops = middle >= shut if known and not free < middle < shut else blocked(middle)
        low_mm, high_mm = (low_mm, middle) if stops else (middle, high_mm)
    return low_mm


def _ahead(moving: Placed, still: Placed, push: Array, tolerances: Tolerances) -> Iterator[Patch]:
    """Yield what the moving body touches ahead of it."""
    for patch in find_contacts([moving, still], tolerances).patches:
        sign = 1.0 if patch.contact.a.body == moving.name else -1.0
        if patch.contact.kind != ContactKind.NEAR and sign * float(np.dot(patch.contact.normal, push)) > 1e-6:
            yield patch
