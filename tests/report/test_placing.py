"""Words keep off the spot and off one another."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.report.pictures.ink import STEP, Board, around, heart


def board() -> Board:
    return Board(width=1200, height=824, weight=np.zeros((824 // STEP, 1200 // STEP)))


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(100, 1100), st.floats(100, 700)), min_size=2, max_size=6))
def test_boxes_do_not_overlap_nor_cover_the_spot(anchors: list[tuple[float, float]]) -> None:
    places = board()
    spot = around(600, 412, 120, 120)
    places.take(spot)
    found = []
    for x, y in anchors:
        box = places.find(x, y, 180, 44, least=36)
        if box is None:
            continue
        places.take(box)
        assert not overlap(box, spot)
        assert not any(overlap(box, other) for other in found)
        assert box[0] >= 0
        assert box[3] <= 824
        found.append(box)
    assert len(found) == len(anchors)


def test_empty_ground_is_preferred() -> None:
    weight = np.zeros((206, 300))
    weight[:, 150:] = 1.0
    places = Board(width=1200, height=824, weight=weight)
    box = places.find(600, 412, 180, 44, least=60)
    assert box is not None
    assert box[2] <= 610


def test_full_board_has_no_place() -> None:
    places = board()
    places.take((0, 0, 1200, 824))
    assert places.find(600, 400, 100, 40, least=0) is None


def test_heart_is_the_middle_of_a_square() -> None:
    mask = np.zeros((100, 100), dtype=bool)
    mask[20:41, 50:71] = True
    found = heart(mask)
    assert found is not None
    x, y, room = found
    assert (x, y) == (60 * STEP, 30 * STEP)
    assert room == pytest.approx(11 * STEP)
    assert heart(np.zeros((5, 5), dtype=bool)) is None
