"""Whether two bodies occupy the same space, and how much of it."""

from __future__ import annotations

import numpy as np

from fixturecheck.contact.standing import Array, Standing
from fixturecheck.kernel.boolean import common_solid
from fixturecheck.kernel.shapes import Shape
from fixturecheck.tolerances import Tolerances


def overlap(a: Standing, b: Standing, tolerances: Tolerances) -> tuple[Shape, float] | None:
    """Return the common solid of two bodies and its volume in mm3, or None where they are apart.

    A plane that has all of one body on one side and all of the other beyond it proves them apart
    without asking the kernel; only pairs with no such plane cost a boolean. What is thinner than the
    touch tolerance is contact, not overlap.
    """
    if apart(a, b, tolerances.touch_mm):
        return None
    shape, volume, area = common_solid(a.solid(), b.solid())
    if volume <= tolerances.overlap_mm3 or 2 * volume / area < tolerances.touch_mm / 2:
        return None
    return shape, volume


def apart(a: Standing, b: Standing, slack_mm: float) -> bool:
    """Say whether some plane separates two bodies, to within a slack."""
    depth = np.minimum(a.high, b.high) - np.maximum(a.low, b.low)
    if depth.min() <= slack_mm:
        return True
    directions = np.vstack([_planes(a), -_planes(b)])
    if not directions.size:
        return False
    reach = a.support(directions) + b.support(-directions)
    return bool(reach.min() <= slack_mm)


def _planes(body: Standing) -> Array:
    flat = body.normals[~np.isnan(body.offsets)]
    return flat.reshape(-1, 3)
