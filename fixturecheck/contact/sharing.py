"""How much of two flat faces can lie on each other at all, and the shortest slide to a wanted area."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import translate

from fixturecheck.contact.standing import Frame

Array = NDArray[np.float64]
_HALVINGS = 30
_FINER = 12
_FIRST_STEP = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """The outlines of two faces in one plane.

    Parameters
    ----------
    frame : Frame
        The plane's own coordinates.
    moving, still : shapely geometry
        The outlines in it, mm.
    """

    frame: Frame
    moving: Any = field(repr=False)
    still: Any = field(repr=False)

    def shared_mm2(self, by: Array) -> float:
        """Return what the two share when the one is shifted by (2,) in the plane."""
        return float(shapely.intersection(translate(self.moving, *by), self.still).area)

    def most_shared(self) -> tuple[float, Array]:
        """Return the most that the two can share without turning, mm2, and the shift (2,) that does it.

        Sides and middles are lined up in the directions of the smaller outline, and the best of these places
        is improved by ever smaller steps. For two rectangles with parallel sides that is exact: the product
        of their smaller widths. For others it is what was found, never more than there is.
        """
        ways = _ways(min(self.moving, self.still, key=lambda p: float(p.area)))
        places = [np.zeros(2), *_line_ups(self.moving, self.still, ways)]
        found = [self.shared_mm2(place) for place in places]
        best = int(np.argmax(np.round(found, 9)))
        area, place = found[best], places[best]
        step = _FIRST_STEP * float(np.sqrt(min(self.moving.area, self.still.area)))
        for _ in range(_FINER):
            tried = [place + sign * step * way for way in ways for sign in (1.0, -1.0)]
            areas = [self.shared_mm2(at) for at in tried]
            k = int(np.argmax(areas))
            if areas[k] > area * (1 + 1e-9):
                area, place = areas[k], tried[k]
            else:
                step *= 0.5
        return area, place

    def least_slide(self, wanted_mm2: float, best: Array) -> Array | None:
        """Return the shortest shift (2,) found after which the two share an area; None where none does.

        Looked for along the directions of the smaller outline and toward the place of the greatest share.
        """
        ways = _ways(min(self.moving, self.still, key=lambda p: float(p.area)))
        lines = [ways[0], -ways[0], ways[1], -ways[1], best]
        reach = float(np.linalg.norm(best)) or 1.0
        found = []
        for line in lines:
            size = float(np.linalg.norm(line))
            if size <= 0.0:
                continue
            length = self._least_along(line / size, reach, wanted_mm2)
            if length is not None:
                found.append(length * line / size)
        return min(found, key=lambda by: float(np.round(np.linalg.norm(by), 6)), default=None)

    def _least_along(self, way: Array, reach_mm: float, wanted_mm2: float) -> float | None:
        """Return how far along a direction the wanted area is first met; None where it is not."""
        ends = np.linspace(0.0, reach_mm, 9)[1:]
        enough = wanted_mm2 * (1 - 1e-9)
        first = next((k for k, s in enumerate(ends) if self.shared_mm2(s * way) >= enough), None)
        if first is None:
            return None
        low, high = (0.0 if first == 0 else float(ends[first - 1])), float(ends[first])
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if self.shared_mm2(middle * way) >= enough else (middle, high)
        return high


def _ways(outline: Any) -> Array:
    """Return the two directions (2, 2) of the narrowest rectangle round an outline."""
    corners = np.array(shapely.minimum_rotated_rectangle(outline).exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    one = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    one = one / np.linalg.norm(one)
    return np.array((one, (-one[1], one[0])))


def _line_ups(moving: Any, still: Any, ways: Array) -> Iterator[Array]:
    """Yield the shifts that line up sides and middles in both directions."""
    at = [np.asarray(shapely.get_coordinates(p)) @ ways.T for p in (moving, still)]
    (low, high), (to_low, to_high) = ((p.min(axis=0), p.max(axis=0)) for p in at)
    steps = np.stack((to_low - low, to_high - high, 0.5 * (to_low + to_high - low - high), np.zeros(2)))
    for i, j in product(range(4), repeat=2):
        yield steps[i, 0] * ways[0] + steps[j, 1] * ways[1]
