"""Patches of contact: which points lie on them, and how they are carried to copies."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixturecheck.contact.patch import covered, raw_edge, raw_point, raw_segment
from fixturecheck.kernel.construct import circle
from fixturecheck.kernel.measure import edge_length_mm
from fixturecheck.result.contact import ContactKind
from tests.contact.staging import block, found, plate, put

UP = np.array([0.0, 0.0, 1.0])
QUARTER = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])


def line():
    return raw_segment((0,), (1, 2), UP, (np.zeros(3), np.array([10.0, 0, 0])))


def test_a_straight_line_has_its_length_and_holds_its_points():
    raw = line()
    assert (raw.kind, raw.length_mm) == (ContactKind.LINE, 10.0)
    assert raw.centroid == pytest.approx((5, 0, 0))
    points = np.array([[0.0, 0, 0], [5, 0.001, 0], [10.1, 0, 0], [5, 0, 0.1]])
    assert raw.holds(points, 0.01).tolist() == [True, True, False, False]


def test_a_circle_of_contact_has_its_own_length_and_centre():
    raw = raw_edge((0,), (1,), UP, circle(np.array([1.0, 2, 3]), UP, 4.0))
    assert raw.length_mm == pytest.approx(8 * math.pi)
    assert raw.centroid == pytest.approx((1, 2, 3), abs=1e-9)
    assert raw.holds(np.array([[5.0, 2, 3], [1.0, 2, 3]]), 1e-6).tolist() == [True, False]


def test_two_lines_cover_together_what_neither_covers_alone():
    parts = [raw_segment((0,), (1,), UP, (np.array([x, 0.0, 0]), np.array([x + 5, 0.0, 0]))) for x in (0, 5)]
    whole = line().spots()
    assert not covered(whole, parts[:1], 1e-6)
    assert covered(whole, parts, 1e-6)


def test_a_moved_patch_is_the_one_of_bodies_moved_alike():
    raw = line().moved(QUARTER, np.array([0.0, 0, 7]))
    assert raw.ends[1] == pytest.approx((0, 10, 7))
    assert raw.holds(np.array([[0.0, 4, 7], [4.0, 0, 7]]), 1e-6).tolist() == [True, False]
    assert edge_length_mm(raw.make()) == pytest.approx(10.0)


def test_a_patch_turned_round_is_seen_from_the_other_body():
    raw = raw_point((0,), (3, 4), UP, np.ones(3)).turned()
    assert (raw.a_faces, raw.b_faces) == ((3, 4), (0,))
    assert raw.normal == pytest.approx(-UP)


def test_a_patch_carried_to_copies_has_their_names_and_place():
    (patch,) = [
        p
        for p in found(put("base", plate()), put("part", block(20, 10, 5))).patches
        if p.contact.kind == ContactKind.AREA
    ]
    copy = patch.carried_to({"base": "plate", "part": "block"}, QUARTER, np.array([30.0, 0, 0]))
    # The map names the body first whose name comes first.
    assert copy.bodies == ("block", "plate")
    assert copy.contact.normal == pytest.approx((0, 0, -1))
    assert copy.contact.centroid == pytest.approx((30, 0, 0), abs=1e-9)
    assert copy.contact.area_mm2 == patch.contact.area_mm2
