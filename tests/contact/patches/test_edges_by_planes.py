"""A block on a plate, tipped by hand: which edges lie on it and which corners stand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixturecheck.contact.patches.edges_by_planes import on_planes
from fixturecheck.contact.placed import place_bodies
from tests.contact.staging import block, pin, place, put

TOUCH_MM, SLACK_MM = 1e-3, 3e-3


def told(drawn, at, covered=()):
    """Return what of a body at a place may touch the top of a plate of 40 x 40 at z = 0, and its vertices."""
    plate, body = place_bodies([put("a_plate", block(40, 40, 5, (0, 0, -5))), put("b_body", drawn, at)])
    top = [plate.face_names.index("top")]
    edges = np.arange(len(body.table.straight))
    table = body.table
    known = np.isin(edges, np.array(covered, dtype=int))[:, None]
    found = on_planes(
        edges,
        (body.edge_samples, body.inward, table.straight, table.bulges_mm, table.edge_vertices, body.vertices),
        np.array(top),
        (plate.normals, plate.offsets, plate.lows, plate.highs),
        known,
        (TOUCH_MM, SLACK_MM),
    )
    assert all((pairs[:, 1] == top).all() for pairs in found)
    return [pairs[:, 0].tolist() for pairs in found], body


def low_edges(body):
    return np.flatnonzero(np.abs(body.edge_samples[..., 2]).max(axis=1) <= TOUCH_MM).tolist()


def test_a_block_that_stands_flat_lies_on_the_edges_of_its_foot():
    (lying, reaching, standing), body = told(block(6, 4, 3), place())
    # Its foot lies in the plane, and all four sides rise.
    assert lying == low_edges(body)
    assert len(lying) == 4
    # A corner of an edge that lies there is told of by the edge.
    assert reaching == standing == []


def test_what_is_covered_is_told_no_more():
    (lying, _, standing), body = told(
        block(6, 4, 3), place(), covered=low_edges(told(block(6, 4, 3), place())[1])
    )
    assert lying == standing == []
    assert len(body.vertices) == 8


def test_a_block_tipped_about_an_edge_lies_on_that_edge():
    tipped = place((0, 0, 0), (0, 1, 0), 30.0)
    (_, body) = told(block(6, 4, 3), tipped)
    raised = place((0, 0, -body.vertices[:, 2].min())) * tipped
    (lying, reaching, standing), body = told(block(6, 4, 3), raised)
    assert lying == low_edges(body)
    assert len(lying) == 1
    assert reaching == standing == []


@pytest.mark.parametrize(
    ("off_mm", "x_mm", "stands"), [(0.0, 0.0, True), (0.002, 0.0, False), (0.0, 60.0, False)]
)
def test_a_block_on_a_corner_stands_on_it_where_the_plate_is(off_mm, x_mm, stands):
    tipped = place((0, 0, 0), (1, 2, 0), 40.0)
    (_, body) = told(block(6, 4, 3), tipped)
    lowest = int(np.argmin(body.vertices[:, 2]))
    raised = place((x_mm, 0, off_mm - body.vertices[lowest, 2])) * tipped
    (lying, reaching, standing), _ = told(block(6, 4, 3), raised)
    assert lying == reaching == []
    assert standing == ([lowest] if stands else [])


def test_a_pin_on_its_rim_reaches_the_plate_between_the_ends_of_that_edge():
    leaning = place((0, 0, 0), (1, 0, 0), 20.0)
    # A rim of radius 3 tipped by 20 degrees reaches 3 sin 20 below its middle.
    (lying, reaching, standing), body = told(
        pin(3, 20), place((0, 0, 3 * math.sin(math.radians(20)))) * leaning
    )
    foot = int(np.argmin(np.where(body.table.straight, np.inf, body.edge_samples[..., 2].min(axis=1))))
    assert lying == standing == []
    assert reaching == [foot]
