"""How far hulls reach and overlap, against corners of blocks and the rims of a pin by their closed forms."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fixturecheck.contact.patches.hulls import least_overlap_mm, parted, reach_mm
from fixturecheck.contact.placed import place_bodies
from tests.contact.staging import anywhere, block, pin, place, put


def test_the_hull_of_a_placed_pin_reaches_as_far_as_its_rims():
    (body,) = place_bodies([put("pin", pin(3, 20), anywhere())])
    ways = np.random.default_rng(5).normal(size=(30, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    low, high = (body.points(np.array([[0.0, 0, z]]))[0] for z in (0.0, 20.0))
    axis = (high - low) / 20
    rim = 3 * np.sqrt(1 - (ways @ axis) ** 2)
    reach = [reach_mm(body.hull, tuple(way)) for way in ways.tolist()]
    assert reach == pytest.approx(np.maximum(ways @ low, ways @ high) + rim)


def two_blocks():
    """Yield seeded pairs of blocks as bodies, from deep in each other to well apart."""
    random = np.random.default_rng(11)
    for _ in range(20):
        at, axis = random.uniform(-7, 7, size=3), random.normal(size=3)
        turned = place(tuple(at), tuple(axis), float(random.choice([0.0, 90.0, random.uniform(0, 180)])))
        yield place_bodies(
            [put("a", block(6, 4, 3), anywhere()), put("b", block(3, 5, 2), anywhere() * turned)]
        )


def test_blocks_overlap_along_their_normals_as_their_corners_do():
    least = []
    for a, b in two_blocks():
        depths = [
            min(
                (a.vertices @ n).max() - (b.vertices @ n).min(),
                (b.vertices @ n).max() - (a.vertices @ n).min(),
            )
            for n in (*a.normals, *b.normals)
        ]
        least.append(min(depths))
        assert least_overlap_mm(a.hull, b.hull, -np.inf) == pytest.approx(least[-1])
        # What is enough ends the search, whichever normal is met first.
        assert (least_overlap_mm(a.hull, b.hull, 0.0) <= 0.0) == (least[-1] <= 0.0)
    assert min(least) < 0.0 < max(least)


def test_faces_of_blocks_are_parted_where_their_corners_are():
    by, least_mm, met = np.array([0.2, -0.1, 0.3]), 0.25, 0
    for a, b in two_blocks():
        pairs = np.array(list(itertools.product(range(6), range(6))))
        ways = np.vstack([a.normals, b.normals, np.eye(3)]).T
        ours, theirs = ([body.vertices[f] @ ways for f in body.table.face_vertices] for body in (a, b))
        expected = []
        for i, j in pairs.tolist():
            beyond = (theirs[j] + by @ ways).min(axis=0) - ours[i].max(axis=0)
            before = ours[i].min(axis=0) - (theirs[j] + by @ ways).max(axis=0)
            expected.append(bool(np.maximum(beyond, before).max() > least_mm))
        assert parted(pairs, a.hull, b.hull, by, least_mm).tolist() == expected
        met += len(pairs) - sum(expected)
    assert met > 20
