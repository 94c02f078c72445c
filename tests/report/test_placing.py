"""Words keep off the spot and off one another."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.report.pictures.ink import STEP, Board, around, heart, nearest_of


def board() -> Board:
    return Board(width=1200, height=824, weight=np.zeros((824 // STEP, 1200 // STEP)))


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@settings(max_examples=40)
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


def test_words_are_put_on_empty_ground() -> None:
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


@settings(max_examples=30)
@given(st.lists(st.tuples(st.floats(200, 1000), st.floats(200, 600)), min_size=2, max_size=6))
def test_a_line_is_said_to_be_crossed_where_points_of_it_lie_in_words(
    spots: list[tuple[float, float]],
) -> None:
    """Against points along the line."""
    places = board()
    for spot in spots:
        box = places.find(*spot, 140, 50, least=36)
        assert box is not None
        end = nearest_of(box, spot)
        along = [
            [a + share * (b - a) for a, b in zip(spot, end, strict=True)] for share in np.linspace(0, 1, 50)
        ]
        met = any(overlap((x, y, x, y), other) for x, y in along for other in places.words)
        assert not met or places.crossed(spot, box)
        places.write(box, spot)


def test_a_row_of_names_leaves_every_line_free() -> None:
    """Four bodies in a row, as pawls in a trough are seen: one line used to run under the name before it."""
    weight = np.zeros((824 // STEP, 1200 // STEP))
    weight[230 // STEP : 460 // STEP, 360 // STEP : 860 // STEP] = 2.5
    places = Board(width=1200, height=824, weight=weight)
    spots = [(436.0, 212.0), (540.0, 244.0), (644.0, 276.0), (768.0, 312.0)]
    for spot in spots:
        box = places.find(*spot, 140, 50, least=36)
        assert box is not None
        assert places.crossed(spot, box) == 0
        places.write(box, spot)
