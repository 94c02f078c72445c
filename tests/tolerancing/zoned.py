"""Zones, and problems in which what errors do is known by hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.tolerancing.linear_rest import Linear
from fixturecheck.tolerancing.zones import Zone, vertices

SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def corners_of(zones: Sequence[Zone]) -> Floats:
    """Return every choice of one vertex of each zone."""
    each = [vertices(z) for z in zones]
    picks = np.stack(np.meshgrid(*[np.arange(len(v)) for v in each], indexing="ij")).reshape(len(each), -1)
    return np.hstack([v[p] for v, p in zip(each, picks, strict=True)])


def shifting(half_mm: Floats) -> tuple[Zone, ...]:
    """Return zones in which faces shift and do not lean."""
    return tuple(Zone(half_mm=float(h), corners=np.zeros((0, 2))) for h in half_mm)


def stack(count: int = 4) -> Linear:
    """Return blocks on one another: each gap opens with the block above and closes with faces."""
    slope = np.eye(count) - np.eye(count, k=-1)
    growth = np.zeros((count, 2 * count))
    for i in range(count):
        growth[i, 2 * i] = growth[i, 2 * i + 1] = -1.0
    return Linear(gap_mm=np.zeros(count), slope=slope, growth=growth, load=-np.ones(count))
