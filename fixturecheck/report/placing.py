"""Where words may stand in a picture: never on the spot, never on one another."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt

STEP = 4
"""Places are sought on a grid this many pixels wide."""

Box = tuple[float, float, float, float]
"""left, top, right, bottom in pixels."""


def around(x: float, y: float, width: float, height: float) -> Box:
    """Return the box of a size centred on a point."""
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


class Board:
    """What is taken of a picture.

    Parameters
    ----------
    width, height : int
        Size of the picture in pixels.
    weight : ndarray, shape (height / STEP, width / STEP)
        How much a place would rather stay uncovered; zero is free.
    """

    def __init__(self, *, width: int, height: int, weight: npt.NDArray[np.float64]) -> None:
        self.width = width
        self.height = height
        self.weight = weight
        self.taken = np.zeros(weight.shape, dtype=bool)

    def take(self, box: Box, margin: float = 8.0) -> None:
        """Keep everything else out of a box."""
        rows, columns = self._cells(box, margin)
        self.taken[rows, columns] = True

    def is_free(self, box: Box) -> bool:
        """Tell whether a box lies in the picture and on nothing taken."""
        left, top, right, bottom = box
        if left < 6 or top < 6 or right > self.width - 6 or bottom > self.height - 6:
            return False
        rows, columns = self._cells(box, 0.0)
        return not self.taken[rows, columns].any()

    def hidden(self, box: Box) -> float:
        """Return how much a box would hide: taken places count most."""
        rows, columns = self._cells(box, 0.0)
        return float(self.weight[rows, columns].sum() + 10.0 * self.taken[rows, columns].sum())

    def find(self, x: float, y: float, width: float, height: float, *, least: float) -> Box | None:
        """Return the best free box near a point, at least so far from it, or None.

        Near is better than far, and covering nothing is better than covering what the picture is about.
        """
        best: tuple[float, Box] | None = None
        for radius in range(0, 700, 28):
            for turn in range(0, 360, 15):
                angle = math.radians(turn)
                reach_x = (least + radius) * math.cos(angle) + math.copysign(width / 2, math.cos(angle))
                reach_y = (least + radius) * math.sin(angle)
                box = around(x + reach_x, y + reach_y, width, height)
                if not self.is_free(box):
                    continue
                rows, columns = self._cells(box, 0.0)
                cost = radius / 300.0 + float(self.weight[rows, columns].mean())
                if best is None or cost < best[0]:
                    best = cost, box
        return best[1] if best else None

    def _cells(self, box: Box, margin: float) -> tuple[slice, slice]:
        left, top, right, bottom = (round(v / STEP) for v in self._grown(box, margin))
        return slice(max(top, 0), max(bottom, 0) + 1), slice(max(left, 0), max(right, 0) + 1)

    @staticmethod
    def _grown(box: Box, margin: float) -> Box:
        left, top, right, bottom = box
        return left - margin, top - margin, right + margin, bottom + margin


def heart(mask: npt.NDArray[np.bool_]) -> tuple[float, float, float] | None:
    """Return the point of a region farthest from its border, and that distance, in pixels of the picture."""
    if not mask.any():
        return None
    depth = distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(np.argmax(depth)), depth.shape)
    return float(column) * STEP, float(row) * STEP, float(depth[row, column]) * STEP
