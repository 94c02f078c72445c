"""Parts with free-form faces come to rest where their closed forms or their simple twins do.

The solids are not read as what they were made of: bodies are stated directly, without recognition.
"""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest
from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import location_of
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.result.rest import Settled
from fixturecheck.setup.staging import Push, Staging

EXACT_MM = 2e-5


def freeform(solid: cq.Solid) -> cq.Solid:
    """The same solid with every surface and edge a B-spline."""
    return cq.Shape.cast(BRepBuilderAPI_NurbsConvert(solid.wrapped, True).Shape()).Solids()[0]


def parabola(plane: str, half_mm: float, p_mm: float, top_mm: float) -> cq.Workplane:
    """A closed outline under z = `top_mm`, whose lower side is z = y^2 / (2 p), written as a Bezier curve."""
    rise = half_mm**2 / (2 * p_mm)
    # The middle pole of a parabola lies where the tangents at its ends meet.
    start, middle, end = (-half_mm, rise), (0.0, -rise), (half_mm, rise)
    outline = cq.Workplane(plane).moveTo(*start).bezier([start, middle, end], includeCurrent=False)
    return outline.lineTo(half_mm, top_mm).lineTo(-half_mm, top_mm).close()


def trough(p_mm: float, long_mm: float = 40.0) -> cq.Solid:
    """A bar along X with a parabola for its underside, its lowest line the x axis."""
    return parabola("YZ", 12.0, p_mm, 20.0).extrude(long_mm / 2, both=True).val()


def test_a_parabola_in_a_vee_rests_where_its_slope_is_that_of_the_flanks(shapes):
    """At slope one, y = p and z = p / 2: the vertex stands p / 2 above the root of a right-angled V."""
    p = 6.0
    vee = shapes.vee(90).rotate((0, 0, 0), (0, 0, 1), 90)
    bar = shapes.body("bar", trough(p), role="part", at=(0, 0, p / 2 + 0.7))
    settled = settle_setup(shapes.setup(shapes.body("vee", vee), bar))
    assert settled.rests
    assert settled.poses["bar"].matrix[2, 3] == pytest.approx(p / 2, abs=EXACT_MM)


@pytest.mark.parametrize("radius_mm", [2.0, 9.3, 17.0])
def test_a_spline_pin_rests_in_a_vee_as_a_cylinder_does(shapes, radius_mm):
    pin = freeform(cq.Solid.makeCylinder(radius_mm, 40, cq.Vector(0, -20, 0), cq.Vector(0, 1, 0)))
    high = radius_mm * math.sqrt(2)
    bodies = shapes.body("vee", shapes.vee(90)), shapes.body("pin", pin, role="part", at=(0.2, 0, high + 0.5))
    settled = settle_setup(shapes.setup(*bodies))
    assert settled.rests
    assert settled.poses["pin"].matrix[2, 3] == pytest.approx(high, abs=EXACT_MM)
    assert settled.poses["pin"].matrix[0, 3] == pytest.approx(0.0, abs=EXACT_MM)


def test_a_spline_ball_rests_in_a_corner_of_three_faces(shapes):
    """Touching a table and two walls, its centre lies one radius from each."""
    radius = 7.0
    ball = freeform(cq.Solid.makeSphere(radius, angleDegrees1=-90))
    bodies = (
        shapes.body("table", shapes.box(80, 80, 10, (0, 0, -10))),
        shapes.body("wall_x", shapes.box(10, 80, 40, (-35, 0, 0))),
        shapes.body("wall_y", shapes.box(80, 10, 40, (0, -35, 0))),
        shapes.body("ball", ball, role="part", at=(-20, -19, radius + 0.3)),
    )
    settled = settle_setup(shapes.setup(*bodies), Staging(push={"ball": Push(direction=(-1, -1, 0))}))
    assert settled.rests
    at = np.array(settled.poses["ball"].matrix)[:3, 3]
    assert at == pytest.approx((-30 + radius, -30 + radius, radius), abs=EXACT_MM)


def test_a_block_leans_on_a_ridge_along_the_tangent_of_its_parabola(shapes):
    """A block with its low edge in a corner at distance L leans on z = h - y^2 / (2 p): the tangent from it
    touches at y0 = -L + sqrt(L^2 - 2 p h), at a slope of -y0 / p."""
    p, h, away, high = 9.0, 3.0, 20.0, 6.0
    half = math.sqrt(2 * p * h)
    outline = (
        cq.Workplane("YZ").moveTo(-half, 0).bezier([(-half, 0), (0, 2 * h), (half, 0)], includeCurrent=False)
    )
    ridge = outline.close().extrude(15, both=True).val()
    bodies = (
        shapes.body("table", shapes.box(80, 120, 10, (0, 0, -10))),
        shapes.body("ridge", ridge),
        shapes.body("wall", shapes.box(80, 10, 40, (0, -away - 5, 0))),
        shapes.body("block", shapes.box(20, 30, high), role="part", at=(0, -4.7, 3.6)),
    )
    settled = settle_setup(shapes.setup(*bodies), Staging(push={"block": Push(direction=(0, -1, 0))}))
    assert settled.rests
    turn = 0.0
    for _ in range(60):
        # The upper edge of its end meets the wall, so the lower edge stands off by the sine of its height.
        off = away - high * math.sin(turn)
        touch = -off + math.sqrt(off**2 - 2 * p * h)
        turn = math.atan(-touch / p)
    lean = math.atan2(float(settled.poses["block"].matrix[2][1]), float(settled.poses["block"].matrix[1][1]))
    assert lean == pytest.approx(turn, abs=2e-6)


def test_a_lofted_bulge_does_not_sink_into_the_table(shapes):
    """However it comes to rest, its lowest place by the kernel's own box is on the table."""
    loft = cq.Workplane().ellipse(12, 7).workplane(offset=6).ellipse(9, 9).workplane(offset=6).ellipse(5, 8)
    part = loft.loft().val().rotate(cq.Vector(), cq.Vector(1, 0, 0), -80)
    part = part.translate(cq.Vector(0, 0, 12))
    bodies = shapes.body("table", shapes.box(80, 80, 10, (0, 0, -10))), shapes.body("part", part, role="part")
    settled = settle_setup(shapes.setup(*bodies))
    assert settled.rests
    rested = part.moved(location_of(settled.poses["part"].matrix))
    assert box_of(rested)[2] == pytest.approx(0.0, abs=1e-3)


def rest_height(shapes, part: cq.Solid, at: tuple[float, float, float], *fixtures) -> tuple[float, Settled]:
    settled = settle_setup(shapes.setup(*fixtures, shapes.body("part", part, role="part", at=at)))
    assert settled.rests
    return float(settled.poses["part"].matrix[2, 3]), settled


def pin_in_a_vee(shapes):
    pin = cq.Solid.makeCylinder(9.3, 40, cq.Vector(0, -20, 0), cq.Vector(0, 1, 0))
    high = 9.3 * math.sqrt(2)
    return pin, (0.2, 0, high + 0.5), high, [shapes.body("vee", shapes.vee(90))]


def ring_on_a_table(shapes):
    return (
        cq.Solid.makeTorus(10, 3),
        (1, 0.5, 3.4),
        3.0,
        [shapes.body("table", shapes.box(80, 80, 10, (0, 0, -10)))],
    )


def bored(shapes):
    block = cq.Workplane().box(60, 60, 20).translate((0, 0, -10)).faces(">Z").workplane().hole(8.0)
    return [shapes.body("plate", block.val())]


def cone_in_a_bore(shapes):
    """The rim of 8 mm meets the cone of 90 degrees 2 mm above its small end of 4 mm."""
    return cq.Solid.makeCone(2, 8, 6), (0.1, 0.05, -1.6), -2.0, bored(shapes)


def ball_in_a_bore(shapes):
    """A ball of radius 5 on a rim of radius 4 stands 3 above it."""
    return cq.Solid.makeSphere(5, angleDegrees1=-90), (0.1, 0.05, 3.3), 3.0, bored(shapes)


def ball_on_a_table(shapes):
    """Its centre of mass has to be found well, or it rolls for ever."""
    return (
        cq.Solid.makeSphere(7, angleDegrees1=-90),
        (3, 2, 7.4),
        7.0,
        [shapes.body("table", shapes.box(80, 80, 10, (0, 0, -10)))],
    )


@pytest.mark.parametrize(
    "scene", [pin_in_a_vee, ring_on_a_table, ball_on_a_table, cone_in_a_bore, ball_in_a_bore]
)
def test_the_error_told_bounds_that_of_the_rest_and_is_no_more_than_it_need_be(shapes, scene):
    """Faces lean by 45 degrees at most here, so an overlap of e unseen shifts the part by e sqrt 2.

    The bound cannot be finer than its own resolution of 0.1 um, and is no more than twenty times what is off.
    """
    part, start, high_mm, fixtures = scene(shapes)
    at, settled = rest_height(shapes, freeform(part), start, *fixtures)
    off_um = 1e3 * abs(at - high_mm)
    assert off_um <= math.sqrt(2) * settled.error_um
    assert settled.error_um <= 20 * max(off_um, 0.01)


def test_a_cone_comes_to_rest_on_the_rim_of_a_bore(shapes):
    part, start, high_mm, fixtures = cone_in_a_bore(shapes)
    assert rest_height(shapes, part, start, *fixtures)[0] == pytest.approx(high_mm, abs=EXACT_MM)


@pytest.mark.parametrize("turn_deg", [0.0, 30.0])
def test_a_cone_comes_to_rest_between_two_straight_edges(shapes, turn_deg):
    """At 4 mm from the axis each edge meets the cone of 90 degrees where its radius is 4."""
    left, right = shapes.box(20, 40, 20, (-14, 0, -20)), shapes.box(20, 40, 20, (14, 0, -20))
    turned = [one.rotate(cq.Vector(), cq.Vector(0, 0, 1), turn_deg) for one in (left, right)]
    fixtures = [shapes.body(name, one) for name, one in zip(("left", "right"), turned, strict=True)]
    at, _ = rest_height(shapes, cq.Solid.makeCone(2, 8, 6), (0.1, 0.05, -1.6), *fixtures)
    assert at == pytest.approx(-2.0, abs=EXACT_MM)
