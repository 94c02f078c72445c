"""Solids as built, against closed forms."""

import math

import pytest

from fixturecheck.errors import KernelError
from fixturecheck.kernel.boolean import cut
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import bevelled, box, chamfer, cylinder, prism
from fixturecheck.kernel.measure import box_of, volume_mm3


def test_box_stands_between_its_corners() -> None:
    assert box_of(box((-1.0, 2.0, 3.0), (4.0, 7.0, 11.0))) == pytest.approx((-1, 2, 3, 4, 7, 11), abs=1e-9)


def test_a_prism_of_a_triangle_has_its_area_times_its_length() -> None:
    solid = prism([(0.0, 0.0), (6.0, 0.0), (0.0, 4.0)], from_x_mm=-5.0, to_x_mm=15.0)
    assert volume_mm3(solid) == pytest.approx(6 * 4 / 2 * 20, rel=1e-12)
    assert box_of(solid) == pytest.approx((-5, 0, 0, 15, 6, 4), abs=1e-9)


def test_prism_the_other_way_round_is_still_right_side_out() -> None:
    solid = prism([(0.0, 4.0), (6.0, 0.0), (0.0, 0.0)], from_x_mm=0.0, to_x_mm=20.0)
    assert volume_mm3(solid) == pytest.approx(240, rel=1e-12)


def test_prism_without_area_is_an_error() -> None:
    with pytest.raises(KernelError, match="prism"):
        prism([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)], from_x_mm=0.0, to_x_mm=1.0)


def test_cylinder_between_two_points() -> None:
    solid = cylinder(3.0, (1.0, 2.0, 3.0), (1.0, 2.0, 13.0))
    assert volume_mm3(solid) == pytest.approx(math.pi * 9 * 10, rel=1e-9)
    assert box_of(solid) == pytest.approx((-2, -1, 3, 4, 5, 13), abs=1e-6)


def test_cut_must_leave_one_piece() -> None:
    bar = box((0.0, 0.0, 0.0), (30.0, 10.0, 10.0))
    notch = box((10.0, -1.0, 5.0), (20.0, 11.0, 11.0))
    assert volume_mm3(cut(bar, notch)) == pytest.approx(3000 - 500, rel=1e-12)
    with pytest.raises(KernelError, match="2 solids"):
        cut(bar, box((10.0, -1.0, -1.0), (20.0, 11.0, 11.0)))
    with pytest.raises(KernelError, match="0 solids"):
        cut(bar, box((-1.0, -1.0, -1.0), (31.0, 11.0, 11.0)))


def test_a_box_chamfered_all_round_has_the_volume_of_its_closed_form() -> None:
    # Each edge loses c^2/2 over what is left of it; of each corner's cube the tetrahedron c^3/6 stays.
    a, b, h, c = 50.0, 25.0, 12.0, 0.5
    solid = chamfer(box((0.0, 0.0, 0.0), (a, b, h)), c)
    edges = 4 * (a + b + h - 6 * c) * c**2 / 2
    assert volume_mm3(solid) == pytest.approx(a * b * h - edges - 8 * c**3 * 5 / 6, rel=1e-9)
    assert len(faces_of(solid)) == 6 + 12 + 8


def test_chamfer_of_nothing_changes_nothing() -> None:
    solid = box((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))
    assert chamfer(solid, 0.0) is solid


def test_chamfer_larger_than_the_box_is_an_error() -> None:
    with pytest.raises(KernelError, match="chamfer"):
        chamfer(box((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)), 6.0)


def test_a_bevel_takes_one_corner_of_a_polygon() -> None:
    square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
    assert bevelled(square, 2.0, at=[2]) == [(0, 0), (10, 0), (10, 8), (8, 10), (0, 10)]
    assert bevelled(square, 0.0, at=[2]) == square
