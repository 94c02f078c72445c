"""Which boxes come near each other, held against each two of them looked at by themselves."""

from itertools import combinations

import numpy as np
import pytest

from fixturecheck.contact.proximity.candidates import boxes_at, near_boxes


@pytest.mark.parametrize(("seed", "apart_mm"), [(0, 0.0), (1, 0.5), (2, -0.3)])
def test_pairs_of_boxes_are_those_that_come_as_near(seed, apart_mm):
    random = np.random.default_rng(seed)
    low = random.uniform(0.0, 2.0, (40, 3))
    high = low + random.uniform(0.1, 2.0, (40, 3))
    loose = random.random(40) < 0.4
    near = [
        (i, j)
        for i, j in combinations(range(40), 2)
        if (loose[i] or loose[j]) and np.maximum(low[i] - high[j], low[j] - high[i]).max() <= apart_mm
    ]
    found = near_boxes(low, high, loose, apart_mm)
    assert list(map(tuple, found.tolist())) == near
    assert len(near) > 40  # there was no room for so many at first


def test_a_box_round_a_turned_box_holds_its_corners_and_no_more():
    turn, _ = np.linalg.qr(np.random.default_rng(4).normal(size=(3, 3)))
    middle, half, origin = np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0]), np.array([7.0, 8.0, 9.0])
    corners = np.stack(np.meshgrid(*[(-1.0, 1.0)] * 3), axis=-1).reshape(-1, 3) * half + middle
    there = corners @ turn.T + origin
    low, high = boxes_at(middle[None], half[None], turn[None].copy(), origin[None])
    assert low[0] == pytest.approx(there.min(axis=0))
    assert high[0] == pytest.approx(there.max(axis=0))
