"""Types that geometry is written with: arrays, whose shapes stand where one is named, points and outlines."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

Point2 = tuple[float, float]
"""A point of a plane, mm."""
Segment = tuple[Literal["line"], Point2, Point2] | tuple[Literal["arc"], Point2, Point2, Point2]
"""A straight piece of an outline (start, end), or a circular one (start, a point on it, end)."""
