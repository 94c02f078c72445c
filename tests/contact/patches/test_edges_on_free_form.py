"""Edges on free-form faces against the lengths and places of the shapes that the faces were made from.

A cone, ball or elliptic bar as B-splines has the answer of the cone, ball or bar. Perimeter of an ellipse:
4 a E(e2), the complete elliptic integral of the second kind (SciPy).
"""

from __future__ import annotations

import math

import cadquery as cq
import pytest
from scipy.special import ellipe

from tests.contact.free_form import elliptic_bar, freeform
from tests.contact.staging import ball, contacts, only, place, plate, put

RIM_MM = 4.0


def cone() -> cq.Solid:
    """A cone of 90 degrees whose radius at z = 0 is that of the bore."""
    return cq.Solid.makeCone(2, 8, 6, pnt=cq.Vector(0, 0, RIM_MM / 2 - RIM_MM), dir=cq.Vector(0, 0, 1))


def bored() -> cq.Workplane:
    return plate(30, 30).faces(">Z").workplane().hole(2 * RIM_MM)


def half_bored() -> cq.Workplane:
    """A plate whose front edge runs through the middle of the bore."""
    half = cq.Workplane().box(100, 40, 10, centered=(True, False, False)).translate((0, 0, -10))
    return half.cut(cq.Workplane().circle(RIM_MM).extrude(-10))


def knife(turn_deg: float = 0.0) -> cq.Workplane:
    """A bar with an edge along Y, 30 mm long and turned, on top of the elliptic bar."""
    outline = cq.Workplane("XZ").polyline([(0, 10), (-5, 15), (5, 15)]).close()
    return outline.extrude(-30).translate((0, -15, 0)).rotate((0, 0, 0), (0, 0, 1), turn_deg)


def oval_hole() -> cq.Workplane:
    return plate().cut(cq.Workplane().ellipse(6, 4).extrude(-20))


def oval_plug() -> cq.Solid:
    """A taper of ellipses, the one at z = 0 as large as the hole."""

    def ring(share: float, z: float) -> cq.Wire:
        around = cq.Edge.makeEllipse(6 * share, 4 * share, pnt=cq.Vector(0, 0, z), xdir=cq.Vector(1, 0, 0))
        return cq.Wire.assembleEdges([around])

    return cq.Solid.makeLoft([ring(0.5, -2), ring(2, 4)], True)


LINES = {
    "cone in a bore": lambda: (bored(), freeform(cone()), math.tau * RIM_MM, (0, 0, 0)),
    "cone in a bore, both splines": lambda: (
        freeform(bored()),
        freeform(cone()),
        math.tau * RIM_MM,
        (0, 0, 0),
    ),
    "ball in a bore": lambda: (bored(), freeform(ball(5, (0, 0, 3))), math.tau * RIM_MM, (0, 0, 0)),
    "cone in half a bore": lambda: (
        half_bored(),
        freeform(cone()),
        math.pi * RIM_MM,
        (0, 2 * RIM_MM / math.pi, 0),
    ),
    "knife along a bar": lambda: (elliptic_bar(), knife(), 30.0, (0, 0, 10)),
    "taper in an oval hole": lambda: (oval_hole(), oval_plug(), 24 * float(ellipe(1 - 16 / 36)), (0, 0, 0)),
}


@pytest.mark.parametrize("scene", LINES)
def test_edge_on_a_freeform_face_is_a_line_of_its_length(scene):
    a, b, long_mm, middle = LINES[scene]()
    line = only(put("a", a), put("b", b))
    assert line.kind == "line"
    assert line.length_mm == pytest.approx(long_mm, rel=1e-6)
    assert line.centroid == pytest.approx(middle, abs=1e-6)
    assert line.error_um < 0.01


@pytest.mark.parametrize("turn_deg", [90.0, 30.0, 2.0])
def test_knife_across_a_freeform_bar_is_a_point(turn_deg):
    point = only(put("bar", elliptic_bar()), put("knife", knife(turn_deg)))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, 0, 10), abs=1e-6)
    assert point.normal == pytest.approx((0, 0, 1), abs=1e-6)


def test_cone_beside_the_bore_touches_its_rim_at_one_point():
    """Moved 0.5 mm along x and lifted as much, the cone's side there is where it was; elsewhere it opens."""
    moved = freeform(cone()).moved(place((0.5, 0, 0.5)))
    point = only(put("plate", bored()), put("cone", moved))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((RIM_MM, 0, 0), abs=1e-6)


def test_knife_that_leans_on_a_bar_touches_with_one_end():
    """Tilted by 0.02 degrees about its end, 30 mm of edge rise by 10 um; 3 mm are within the touch limit."""
    leaning = knife().val().moved(place((0, -15, 10), (1, 0, 0), 0.02) * place((0, 15, -10)))
    (point,) = contacts(put("bar", elliptic_bar()), put("knife", leaning))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, -15, 10), abs=1e-3)


@pytest.mark.parametrize("wide", [cone, lambda: freeform(cone())], ids=["cone", "spline"])
@pytest.mark.parametrize("lift_mm", [0.02, 0.2])
def test_least_gap_between_a_cone_and_the_rim_of_a_bore_is_square_to_the_cone(wide, lift_mm):
    """Lifted by h, a cone of 90 degrees stands h cos 45 from the rim, nearer than at any place inside."""
    near = contacts(put("plate", bored()), put("cone", wide().moved(place((0, 0, lift_mm)))), kinds=["near"])
    assert near
    for gap in near:
        assert gap.gap_min_um == pytest.approx(1e3 * lift_mm * math.sqrt(0.5), abs=1e-3)
