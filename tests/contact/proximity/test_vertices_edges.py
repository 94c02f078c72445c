"""Candidates between corners, edges and flat faces, against distances of points and lines by hand."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.proximity.query import ROOM
from fixturecheck.contact.proximity.vertices_edges import FoundRows, with_row
from tests.contact.staging import near


def cube(x=10.0, y=10.0, z=10.0):
    return cq.Workplane().box(x, y, z).val()


def test_corners_stand_over_a_flat_face_at_their_height():
    rows = near(cube(40, 40), cube(), (3, 4, 12))
    assert rows.gap_mm == pytest.approx([2.0] * 4)
    corners = np.where((rows.body_a == 1)[:, None], rows.point_a_mm, rows.point_b_mm)
    assert sorted(map(tuple, np.round(corners, 9).tolist())) == [
        (-2, -1, 7), (-2, 9, 7), (8, -1, 7), (8, 9, 7),
    ]  # fmt: skip


def test_crossing_edges_are_as_far_apart_as_their_common_normal_is_long():
    # Two bars on edge, one along X below and one along Y above: ridges 10 / sqrt 2 from their middles.
    def on_edge(axis):
        bar = cq.Workplane().box(*(60 if k == axis else 10 for k in range(3)))
        about = [0, 0, 0]
        about[axis] = 1
        return bar.rotate((0, 0, 0), tuple(about), 45).val()

    rows = near(on_edge(0), on_edge(1), (0, 0, 2 * 10 / np.sqrt(2) + 1.5))
    assert rows.gap_mm == pytest.approx([1.5])
    assert np.abs(rows.normal[0]) == pytest.approx((0, 0, 1))


def test_a_corner_beside_a_corner_is_seen_along_the_line_between_them():
    rows = near(cube(), cube(), (11, 12, 12))
    best = int(np.argmin(rows.gap_mm))
    assert rows.gap_mm[best] == pytest.approx(np.sqrt(1 + 4 + 4))
    # Normals point out of body b into body a.
    sign = 1.0 if rows.body_a[best] == 1 else -1.0
    assert sign * rows.normal[best] == pytest.approx(np.array([1, 2, 2]) / 3)


def test_what_is_out_of_reach_is_no_candidate():
    assert len(near(cube(), cube(), (0, 0, 13.1)).gap_mm) == 0


def test_rows_past_the_room_are_counted_so_that_they_can_be_asked_for_again():
    table = FoundRows(np.zeros((1, 7)), np.zeros((1, 4), dtype=np.int64), 0)
    for gap in (0.5, 0.7):
        table = with_row(table, gap, (0.0, 0.0, 1.0), (1.0, 2.0, 3.0), (0, 4), (1, 5))
    assert table.rows == 2
    assert table.numbers[0].tolist() == [0.5, 0, 0, 1, 1, 2, 3]
    assert table.names[0].tolist() == [0, 4, 1, 5]
    assert ROOM > 2
