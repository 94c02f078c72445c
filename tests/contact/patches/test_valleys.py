"""Valleys of the gap between faces and along edges, against the simple solids that they stand in for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixturecheck.contact.patches.valleys import Height, least_places, opening_directions, spot_at, stretches
from fixturecheck.kernel.brep.probes import Probe
from fixturecheck.kernel.brep.topology import faces_of
from tests.contact.free_form import freeform
from tests.contact.staging import ball, pin, plate


def face_of(drawn, kind):
    shape = drawn.val() if hasattr(drawn, "val") else drawn
    return next(f for f in faces_of(shape) if f.geomType() == kind)


@pytest.fixture(scope="module")
def plane():
    """The top of a plate, z = 0."""
    return Probe(max(faces_of(plate().val()), key=lambda f: f.Center().z))


def over(face, plane):
    """The gap from a whole face to the plane, seen on a hundred lines each way."""
    u0, u1, v0, v1 = face._uvBounds()
    low, high = np.array([u0, v0]), np.array([u1, v1])
    return Height(Probe(face), plane, (low, high), (high - low) / 100)


def test_a_ball_over_a_plane_is_least_under_its_middle(plane):
    height = over(face_of(freeform(ball(6, (2, 3, 6.25))), "BSPLINE"), plane)
    first, last = height.window
    low = height.least(0.5 * (first + last) - (0.0, 0.3) * (last - first))
    assert low.gap_mm == pytest.approx(0.25, abs=1e-9)
    assert low.point == pytest.approx((2, 3, 0.25), abs=1e-4)
    assert low.opposed_share == pytest.approx(1.0, abs=1e-9)


def test_a_line_round_a_cylinder_crosses_the_valley_at_its_lowest_generator(plane):
    height = over(face_of(pin(5, 40, (0, -20, 5.5), (0, 1, 0)), "CYLINDER"), plane)
    # The first parameter goes round the axis; the second is kept.
    round_it = np.linspace(height.window[0][0], height.window[1][0], 101)
    gaps = [height.place(np.array([u, 20.0])).gap_mm for u in round_it]
    place = height.along(np.array([round_it[int(np.argmin(gaps))], 20.0]), 1)
    assert place.gap_mm == pytest.approx(0.5, abs=1e-12)
    assert place.point == pytest.approx((0, 0, 0.5), abs=1e-6)


def circle(radius_mm, middle):
    """A walk round a circle in the XZ plane."""

    def walk(share):
        angle = 2 * math.pi * share
        at = np.array([math.cos(angle), 0.0, math.sin(angle)])
        along = 2 * math.pi * np.array([-math.sin(angle), 0.0, math.cos(angle)])
        return np.array(middle) + radius_mm * at, radius_mm * along

    return walk


@pytest.mark.parametrize("stations", [8, 9], ids=["between stations", "at a station"])
def test_an_upright_circle_over_a_plane_has_its_one_least_place_at_the_bottom(plane, stations):
    walk = circle(4.0, (0, 0, 4.125))
    (share,) = least_places(walk, plane, np.linspace(0, 1, stations).tolist())
    assert share == pytest.approx(0.75, abs=1e-12)
    spot = spot_at(walk, plane, share)
    assert (spot.gap_mm, spot.within) == (pytest.approx(0.125, abs=1e-12), True)
    assert spot.normal == pytest.approx((0, 0, 1))


def test_only_the_part_of_an_edge_near_the_box_is_looked_at(plane):
    # A quarter below the height of the axis is near; the upper half is not.
    low, high = np.array([-50.0, -40, -10]), np.array([50.0, 40, 0])
    (part,) = stretches(circle(40.0, (0, 0, 41.0)), (low, high), 2.0)
    assert 0.6 < part[0] < 0.75 < part[-1] < 0.9


@pytest.mark.parametrize(
    ("gap", "count"),
    [
        (lambda x, y: 0.01 * (x**2 + y**2), 2),
        (lambda x, _: 0.01 * x**2, 1),
        (lambda x, _: 0.0 * x, 0),
        (lambda x, y: 0.01 * x * y, 0),
    ],
    ids=["bowl", "trough", "level", "saddle"],
)
def test_a_gap_opens_in_as_many_directions_as_it_bends_up(gap, count):
    spots = np.stack(np.meshgrid(np.linspace(-3, 3, 7), np.linspace(-3, 3, 7)), axis=-1).reshape(-1, 2)
    found = opening_directions(spots, gap(*spots.T), 0.002)
    # Of a saddle one direction opens and the other closes, and neither explains the gap alone.
    assert found == count if count or gap(1.0, 1.0) == 0.0 else found <= 1
