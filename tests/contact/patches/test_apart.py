"""Faces in one plane are proven as far apart as shapely's distance of their outlines; boxes against numpy."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest
import shapely

from fixturecheck.contact.patches.apart import near_pairs, proven_apart
from fixturecheck.contact.placed import place_bodies
from tests.contact.staging import anywhere, put

NOWHERE = np.zeros(3)


def test_boxes_come_near_where_they_do_along_every_axis():
    random = np.random.default_rng(3)
    lows, others = random.uniform(-5, 5, size=(2, 30, 3))
    highs, ends = lows + random.uniform(0, 2, size=(30, 3)), others + random.uniform(0, 2, size=(30, 3))
    apart = np.maximum(others[None] - highs[:, None], lows[:, None] - ends[None]).max(axis=2)
    found = near_pairs(lows, highs, others, ends, 0.5)
    assert found.tolist() == np.argwhere(apart <= 0.5).tolist()
    assert 0 < len(found) < 900


def star(random, reach_mm):
    """Return the corners of a seeded polygon round the origin that bulges in and out."""
    turned = np.sort(random.uniform(0, 2 * np.pi, size=9))
    out = random.uniform(0.4, 1.0, size=9) * reach_mm
    return np.column_stack([out * np.cos(turned), out * np.sin(turned)])


def prism(corners):
    return cq.Workplane("XY").polyline(corners.tolist()).close().extrude(-3)


@pytest.mark.parametrize("seed", range(4))
def test_tops_in_one_plane_are_apart_as_their_outlines_are(seed):
    random = np.random.default_rng(seed)
    ours, theirs = star(random, 6.0), star(random, 5.0)
    move = 11.0 * np.array([np.cos(seed), np.sin(seed)])
    a, b = place_bodies(
        [
            put("a", prism(ours), anywhere()),
            put("b", prism(theirs), anywhere() * cq.Location(cq.Vector(*move, 0.0))),
        ]
    )
    pair = np.array([[a.face_names.index("top"), b.face_names.index("top")]])
    apart_mm = shapely.distance(shapely.Polygon(ours), shapely.Polygon(theirs + move))
    assert apart_mm > 0.05
    assert proven_apart(pair, a.sheets, b.sheets, NOWHERE, apart_mm - 1e-6).all()
    assert not proven_apart(pair, a.sheets, b.sheets, NOWHERE, apart_mm + 1e-6).any()
    # Shifted together along the line between them they stay in the plane, and come as much nearer.
    out = a.turn @ np.array([*move, 0.0]) / 11.0
    nearer_mm = shapely.distance(shapely.Polygon(ours), shapely.Polygon(theirs + 0.99 * move))
    assert proven_apart(pair, a.sheets, b.sheets, -0.11 * out, nearer_mm - 1e-6).all()
    assert not proven_apart(pair, a.sheets, b.sheets, -0.11 * out, nearer_mm + 1e-6).any()


def test_tops_that_overlap_are_never_proven_apart():
    random = np.random.default_rng(8)
    ours, theirs = star(random, 6.0), star(random, 5.0)
    a, b = place_bodies([put("a", prism(ours), anywhere()), put("b", prism(theirs), anywhere())])
    pair = np.array([[a.face_names.index("top"), b.face_names.index("top")]])
    assert not proven_apart(pair, a.sheets, b.sheets, NOWHERE, 0.0).any()
    # Parted along the normal they are as far apart as that.
    up = 0.25 * a.normals[pair[0, 0]]
    assert proven_apart(pair, a.sheets, b.sheets, up, 0.2499).all()
    assert not proven_apart(pair, a.sheets, b.sheets, up, 0.2501).any()
