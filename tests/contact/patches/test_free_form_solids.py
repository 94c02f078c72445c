"""Swept, lofted and twisted bodies on flats and rails, worked out from the curves they were made along."""

from __future__ import annotations

import math

import cadquery as cq
import pytest
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.GCPnts import GCPnts_AbscissaPoint
from scipy.optimize import brentq, minimize_scalar

from fixturecheck.kernel.measure import box_of
from tests.contact.staging import only, plate, put

RADIUS_MM = 4.0


def pipe(path: cq.Edge) -> cq.Solid:
    """A round bar of radius 4 along a curve."""
    start = cq.Plane(origin=path.startPoint(), xDir=(1, 0, 0), normal=path.tangentAt(0))
    return cq.Workplane(start).circle(RADIUS_MM).sweep(cq.Workplane(obj=cq.Wire.assembleEdges([path]))).val()


def rail(from_y: float) -> cq.Workplane:
    """A rail along X, 10 mm wide, its top at z = 0."""
    return cq.Workplane().box(40, 10, 10, centered=(True, False, False)).translate((0, from_y, -10))


@pytest.mark.parametrize("from_y", [10.0, -20.0])
def test_a_wavy_handle_lies_on_a_rail_along_the_curve_it_was_swept_along(from_y):
    """Its centre line is level, so all its lowest places are, one radius below it."""
    points = [(0, -40, 4), (6, -15, 4), (-6, 15, 4), (0, 40, 4)]
    path = cq.Edge.makeSpline([cq.Vector(*p) for p in points])
    curve = BRepAdaptor_Curve(path.wrapped)
    first, last = curve.FirstParameter(), curve.LastParameter()
    at = [brentq(lambda t, y=y: curve.Value(t).Y() - y, first, last) for y in (from_y, from_y + 10)]
    line = only(put("rail", rail(from_y)), put("handle", pipe(path)))
    assert line.kind == "line"
    assert line.length_mm == pytest.approx(GCPnts_AbscissaPoint.Length_s(curve, *at, 1e-10), abs=1e-4)
    assert line.centroid[2] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("side", [1, -1])
def test_a_sagging_handle_hangs_on_the_inner_edges_of_two_rails(side):
    """In the plane x = 0 the edge at y = 10 is one radius from the centre line, let down until it is."""
    points = [(0, -40, 10), (0, -15, 5), (0, 0, 4), (0, 15, 5), (0, 40, 10)]
    path = cq.Edge.makeSpline([cq.Vector(*p) for p in points])
    curve = BRepAdaptor_Curve(path.wrapped)
    middle = (curve.FirstParameter() + curve.LastParameter()) / 2

    def off(down_mm: float) -> float:
        def away(t: float) -> float:
            place = curve.Value(float(t))
            return math.hypot(place.Y() - 10, place.Z() + down_mm)

        bounds = middle, curve.LastParameter()
        found = minimize_scalar(away, bounds=bounds, method="bounded", options={"xatol": 1e-12})
        return float(found.fun) - RADIUS_MM

    down_mm = brentq(off, -2.0, 1.0)
    hung = pipe(path).translate(cq.Vector(0, 0, down_mm))
    point = only(put("rail", rail(10.0 if side > 0 else -20.0)), put("handle", hung))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, 10 * side, 0), abs=1e-5)


def test_a_lofted_blade_lies_on_its_ruling():
    """Lofted between two ellipses it is ruled: the line from (0, 0, -3) to (30, 0, -2) is its lowest."""
    blade = cq.Workplane("YZ").ellipse(12, 3).workplane(offset=30).ellipse(8, 2).loft(ruled=False).val()
    lying = blade.rotate(cq.Vector(0, 0, -3), cq.Vector(0, 1, -3), math.degrees(math.atan2(1, 30)))
    line = only(put("plate", plate()), put("blade", lying.translate(cq.Vector(0, 0, 3))))
    assert line.kind == "line"
    assert line.length_mm == pytest.approx(math.hypot(30, 1), rel=1e-6)


def test_a_twisted_bar_stands_on_the_place_where_its_long_axis_points_down():
    """An ellipse of 8 by 5 turned by half a turn over 60 mm points its long axis down in the middle."""
    bar = cq.Workplane("YZ").ellipse(8, 5).twistExtrude(60, 180).val().translate(cq.Vector(-30, 0, 8))
    assert box_of(bar)[2] == pytest.approx(0.0, abs=1e-5)
    point = only(put("plate", plate()), put("bar", bar))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, 0, 0), abs=1e-3)
