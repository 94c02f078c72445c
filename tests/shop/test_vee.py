"""The magnetic V-block, measured on its solids against the closed forms of a round part in a V."""

import math

import cadquery as cq
import pytest
from scipy.optimize import brentq
from shapely.geometry import Polygon, box

from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import box_of, volume_mm3
from fixturecheck.shop.catalogue import make
from fixturecheck.shop.piece import Piece


def halves(**params: float) -> dict[str, Piece]:
    return {p.suffix: p for p in make("magnetic_v_block", **params)}


def centre_height_mm(block: dict[str, Piece], radius_mm: float) -> float:
    """Find, by measuring on the solids, where the axis of a round part of that radius comes to lie."""

    def gap_mm(z_mm: float) -> float:
        axis = cq.Edge.makeLine(cq.Vector(-40, 0, z_mm), cq.Vector(40, 0, z_mm))
        return min(axis.distance(block[side].solid) for side in ("left", "right")) - radius_mm

    return brentq(gap_mm, 1.0, 4 * radius_mm, xtol=1e-11)


# Height of the centre above the vertex h = r / sin(a/2): standard jig and fixture text, from memory.
@pytest.mark.parametrize(("angle_deg", "height_mm"), [(90, 35.3553), (60, 50.0), (120, 28.8675)])
def test_centre_height_of_a_50_mm_bar(angle_deg: float, height_mm: float) -> None:
    found = centre_height_mm(halves(angle_deg=angle_deg), 25.0)
    assert found == pytest.approx(height_mm, abs=5e-5)
    assert found == pytest.approx(25 / math.sin(math.radians(angle_deg / 2)), abs=1e-9)


# Shift of centre, top and bottom line for a tolerance Td on the diameter: standard jig text, from memory.
@pytest.mark.parametrize(
    ("angle_deg", "centre", "top", "bottom"),
    [(90, 0.7071, 1.2071, 0.2071), (60, 1.0, 1.5, 0.5), (120, 0.5774, 1.0774, 0.0774)],
)
def test_locating_error_of_a_diameter_tolerance(
    angle_deg: float, centre: float, top: float, bottom: float
) -> None:
    block, tolerance_mm = halves(angle_deg=angle_deg), 0.1
    small_mm = centre_height_mm(block, 20.0)
    large_mm = centre_height_mm(block, 20.0 + tolerance_mm / 2)
    shift = (large_mm - small_mm) / tolerance_mm
    assert shift == pytest.approx(centre, abs=1e-4)
    assert shift + 0.5 == pytest.approx(top, abs=1e-4)
    assert shift - 0.5 == pytest.approx(bottom, abs=1e-4)


def test_a_bar_at_that_height_touches_both_flanks_and_enters_neither() -> None:
    block = halves()
    bar = cq.Solid.makeCylinder(10, 60, cq.Vector(-30, 0, 10 * math.sqrt(2)), cq.Vector(1, 0, 0))
    lower = bar.moved(cq.Location((0, 0, -0.01)))
    for side in ("left", "right"):
        assert bar.distance(block[side].solid) == pytest.approx(0, abs=1e-9)
        assert lower.intersect(block[side].solid).Volume() > 0
        raised_mm = bar.moved(cq.Location((0, 0, 0.01))).distance(block[side].solid)
        assert raised_mm == pytest.approx(0.01 * math.sin(math.radians(45)), abs=1e-9)


@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 120.0])
def test_flanks_look_up_and_in_at_half_the_included_angle(angle_deg: float) -> None:
    block = halves(angle_deg=angle_deg)
    half = math.radians(angle_deg / 2)
    for side, sign in (("left", 1), ("right", -1)):
        (index,) = block[side].faces[f"{side}_flank"]
        normal = faces_of(block[side].solid)[index].normalAt().toTuple()
        assert normal == pytest.approx((0, sign * math.cos(half), math.sin(half)), abs=1e-12)


def test_a_sharp_square_bar_does_not_bottom() -> None:
    # A square bar stands in a 90 degree V with its lower edge in the vertex, where the relief is.
    bar = cq.Workplane("YZ").rect(20, 20).extrude(60, both=True).val()
    bar = bar.rotate(cq.Vector(0, 0, 0), cq.Vector(1, 0, 0), 45).moved(cq.Location((0, 0, 10 * math.sqrt(2))))
    edge = min(bar.Edges(), key=lambda e: e.Center().z)
    assert edge.Center().toTuple()[1:] == pytest.approx((0, 0), abs=1e-9)
    for piece in halves().values():
        assert bar.intersect(piece.solid).Volume() == pytest.approx(0, abs=1e-9)
        # The groove is 4 mm wide and 3 mm deep: no iron or brass within 2 mm of the part's edge.
        assert edge.distance(piece.solid) >= 2 - 1e-9


@pytest.mark.parametrize("groove_width_mm", [4.0, 3.0])
@pytest.mark.parametrize("chamfer_mm", [0.0, 0.5])
def test_volumes_against_plane_geometry(groove_width_mm: float, chamfer_mm: float) -> None:
    # Independent section by shapely: rectangle less trough, groove and spacer.
    block = halves(angle_deg=100.0, groove_width_mm=groove_width_mm, chamfer_mm=chamfer_mm)
    top = 30 / math.tan(math.radians(50))
    section = box(-35, top - 70, 35, top)
    section -= Polygon([(0, 0), (60, 2 * top), (-60, 2 * top)])
    section -= box(-groove_width_mm / 2, -3, groove_width_mm / 2, top)
    section -= box(-1.5, -80, 1.5, top)
    # Land and side meet at 90 degrees, land and flank at 90 + 50.
    corners = chamfer_mm**2 / 2 * (1 + math.sin(math.radians(140)))
    for side in ("left", "right"):
        expected = (section.area / 2 - corners) * 100
        assert volume_mm3(block[side].solid) == pytest.approx(expected, rel=1e-9)
    assert volume_mm3(block["spacer"].solid) == pytest.approx(3 * (70 - top - 3) * 100, rel=1e-9)


def test_mirrored_halves_and_where_they_stand() -> None:
    block = halves()
    assert box_of(block["left"].solid) == pytest.approx((-50, -35, -40, 50, -1.5, 30), abs=1e-9)
    assert box_of(block["right"].solid) == pytest.approx((-50, 1.5, -40, 50, 35, 30), abs=1e-9)
    assert (block["left"].pole, block["right"].pole, block["spacer"].pole) == ("n", "s", None)


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"angle_deg": 180.0}, "angle_deg"),
        ({"spacer_mm": 5.0}, "spacer_mm 5"),
        ({"land_mm": 33.5}, "no flank"),
        ({"height_mm": 30.0}, "no iron below the groove"),
        ({"groove_depth_mm": 40.0}, "no iron below the groove"),
        ({"chamfer_mm": 2.5}, "chamfer_mm 2.5"),
    ],
)
def test_sizes_that_make_no_block(params: dict[str, float], says: str) -> None:
    with pytest.raises(SetupError, match=says):
        make("magnetic_v_block", **params)
