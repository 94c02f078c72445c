"""Candidates of free-form faces, against the least places of the simple solids that they stand in for."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from tests.contact.free_form import egg, elliptic_bar, freeform
from tests.contact.staging import block, near, pin, plate


def lowest(rows):
    """Gap, place on the free-form body and normal out of the other one, of the least row."""
    best = int(np.argmin(rows.gap_mm))
    if rows.body_a[best] == 1:
        return rows.gap_mm[best], rows.point_a_mm[best], rows.normal[best]
    return rows.gap_mm[best], rows.point_b_mm[best], -rows.normal[best]


@pytest.mark.parametrize("lean_deg", [0.0, 10.0, 25.0])
def test_an_elliptic_bar_over_a_plate_is_as_near_as_the_tangent_of_its_section(lean_deg):
    """The tangent in a direction at an angle t lies sqrt(a^2 sin^2 t + b^2 cos^2 t) from the middle."""
    lean = math.radians(lean_deg)
    bar = elliptic_bar().translate((0, 0, -5)).val()
    rows = near(plate().val(), bar, (0, 0, 9.0), turn=(0, lean, 0), reach_mm=5.0)
    gap, _, normal = lowest(rows)
    assert gap == pytest.approx(9.0 - math.hypot(8 * math.sin(lean), 5 * math.cos(lean)), abs=1e-8)
    assert normal == pytest.approx((0, 0, 1), abs=1e-9)


def test_an_egg_over_a_plate_is_nearest_at_its_pole():
    gap, place, _ = lowest(near(plate().val(), egg().val(), (3, 4, 1.25)))
    assert gap == pytest.approx(1.25, abs=1e-8)
    assert place == pytest.approx((3, 4, 1.25), abs=1e-3)


def test_a_corner_over_a_spline_rod_is_as_far_as_over_the_rod():
    rod = freeform(pin(5, 60, (0, -30, 0), (0, 1, 0)))
    spike = cq.Workplane().polyline([(0, 0), (8, 20), (-8, 20)]).close().extrude(2).val()
    # Its tips lie at (3, y, z): the wedge stands on an end face, its two sharp corners down.
    down = spike.rotate(cq.Vector(0, 0, 0), cq.Vector(1, 0, 0), 90).translate(cq.Vector(3, 0, 0))
    gap, _, normal = lowest(near(rod, down, (0, 0, 4.0 + 1.0)))
    assert gap == pytest.approx(math.hypot(3, 5) - 5.0, abs=1e-8)
    assert normal == pytest.approx(np.array([3, 0, 5]) / math.hypot(3, 5), abs=1e-6)


def test_a_straight_edge_across_a_spline_rod_is_as_far_as_across_the_rod():
    rod = freeform(pin(5, 60, (0, -30, 0), (0, 1, 0)))
    gap, _, normal = lowest(near(rod, block(40, 6, 8).val(), (0, 0, 6.75), turn=(0.3, 0, 0)))
    # The lower edge of the block lies half its width times the sine below the middle of its foot.
    assert gap == pytest.approx(1.75 - 3 * math.sin(0.3), abs=1e-8)
    assert normal == pytest.approx((0, 0, 1), abs=1e-6)


def test_what_is_out_of_reach_of_a_free_form_face_is_no_candidate():
    assert len(near(plate().val(), egg().val(), (0, 0, 3.5)).gap_mm) == 0
