"""Flat faces carried on past their inside edges, against the areas that plane geometry gives them."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest
import shapely

from fixturecheck.contact.proximity.perturbed import extended_to_walls
from fixturecheck.kernel.brep.features import features_of

DEEP, BY = 40.0, 0.2
HALF = round(math.sqrt(0.5), 3)


def plate(leg):
    """An angle plate with a flat burr in its inside corner, 40 mm deep."""
    outline = [(-20, -20), (60, -20), (60, 0), (leg, 0), (0, leg), (0, 40), (-20, 40)]
    return features_of(cq.Workplane("XZ").polyline(outline).close().extrude(DEEP).val())


def areas(features):
    """Area of each flat face by its normal and its height along that, from its border."""
    found = {}
    for frame, outline in zip(features.planes, features.outlines, strict=True):
        ring = shapely.get_parts(shapely.polygonize(shapely.linestrings(np.round(outline, 7))))
        key = (*np.round(frame[1], 3), round(float(frame[0] @ frame[1]), 3))
        found[tuple(float(v) + 0.0 for v in key)] = float(sum(r.area for r in ring))
    return found


def test_a_burr_is_carried_on_behind_floor_and_wall_and_they_behind_it():
    leg = 1.0
    before, after = areas(plate(leg)), areas(extended_to_walls(plate(leg), BY))
    burr = (HALF, 0.0, HALF, round(leg * math.sqrt(0.5), 3))
    floor, wall = (0.0, 0.0, 1.0, 0.0), (1.0, 0.0, 0.0, 0.0)
    grown = {way: round(after[way] - before[way], 9) for way in before}
    # Past either edge of the burr by BY; floor and wall past the edge they have, seen along their normals.
    assert grown[burr] == pytest.approx(2 * BY * DEEP)
    assert grown[floor] == pytest.approx(BY * DEEP)
    assert grown[wall] == pytest.approx(BY * DEEP)
    assert {way for way, more in grown.items() if more > 1e-6} == {burr, floor, wall}


def test_no_face_is_carried_on_past_the_end_of_the_one_beside_it():
    # Floor and wall of 3 mm each beside a burr: seen along its normal they end 3 / root two from it.
    notch = [(0, 0), (5, 0), (5, 1), (2, 1), (1, 2), (1, 5), (0, 5)]
    two = features_of(cq.Workplane("XZ").polyline(notch).close().extrude(DEEP).val())
    burr = (HALF, 0.0, HALF, round(3 * math.sqrt(0.5), 3))
    more = areas(extended_to_walls(two, 10.0))[burr] - areas(two)[burr]
    assert more == pytest.approx(2 * 3 * math.sqrt(0.5) * DEEP)


def test_outside_edges_and_holes_stay_as_they_are():
    solid = cq.Workplane().box(30, 20, 10).faces(">Z").workplane().hole(6).edges("|Z").chamfer(1.0)
    one = features_of(solid.val())
    other = extended_to_walls(one, BY)
    for before, after in zip(one.outlines, other.outlines, strict=True):
        assert np.array_equal(before, after)
