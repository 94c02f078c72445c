"""How far a part can be pushed before it lands on another, and on what."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.find import find_contacts
from fixturecheck.contact.model import Patch
from fixturecheck.contact.overlap import overlap
from fixturecheck.contact.standing import stand
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.clip import moved_by
from fixturecheck.kernel.shapes import Placed
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import METRIC, Writing

Array = NDArray[np.float64]
_LOOKS = 9
_CLOSE_MM = 1e-5
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
    target = stand([still])[0]

    def blocked(travel_mm: float) -> bool:
        here = stand([moved_by(moving, travel_mm * push)])[0]
        return overlap(here, target, fine) is not None

    reach = write.length(reach_mm, "g")
    looks = np.linspace(-reach_mm, reach_mm, 2 * _LOOKS - 1)
    if blocked(looks[0]):
        message = f"{moving.name} is in the way of {still.name} even when drawn back {reach}"
        raise NotComputedError(message)
    first = next((k for k, t in enumerate(looks) if blocked(t)), None)
    if first is None:
        message = f"{moving.name} does not land on {still.name} within {reach}"
        raise NotComputedError(message)
    low, high = float(looks[first - 1]), float(looks[first])
    while high - low > _CLOSE_MM:
        middle = (low + high) / 2
        low, high = (low, middle) if blocked(middle) else (middle, high)
    rest = moved_by(moving, low * push)
    return Landing(travel_mm=low, patches=tuple(_ahead(rest, still, push, tolerances)))


def _ahead(moving: Placed, still: Placed, push: Array, tolerances: Tolerances) -> Iterator[Patch]:
    """Yield what the moving body touches ahead of it."""
    for patch in find_contacts([moving, still], tolerances).patches:
        sign = 1.0 if patch.contact.a.split(".", 1)[0] == moving.name else -1.0
        if patch.contact.kind != "near" and sign * float(np.dot(patch.contact.normal, push)) > 1e-6:
            yield patch
