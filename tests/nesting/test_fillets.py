"""Round parts on fillets and burrs round the bottom of a socket or a boss, against the section across."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck import relieve
from fixturecheck.contact.proximity.candidates import ProximityScene
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.kernel.brep.features import features_of
from fixturecheck.nesting.settle import settle_setup
from tests.relief.nests import plug_setup

BORE, FILLET = 12.2, 2.0


def socket(shapes):
    """A bore of 12.2 mm radius with a fillet of 2 mm round its flat bottom at z = 0."""
    outline = cq.Workplane("XZ").moveTo(0, 0).lineTo(BORE - FILLET, 0).radiusArc((BORE, FILLET), -FILLET)
    outline = outline.lineTo(BORE, 15).lineTo(30, 15).lineTo(30, -10).lineTo(0, -10).close()
    return shapes.body("socket", outline.revolve(360, (0, 0), (0, 1)).val())


def boss(shapes):
    """A boss of 10 mm radius with a fillet of 2 mm round its foot on a flat at z = 0."""
    outline = cq.Workplane("XZ").moveTo(0, -10).lineTo(40, -10).lineTo(40, 0).lineTo(10 + FILLET, 0)
    outline = outline.radiusArc((10, FILLET), FILLET).lineTo(10, 20).lineTo(0, 20).close()
    return shapes.body("boss", outline.revolve(360, (0, 0), (0, 1)).val())


def rests_mm(shapes, on, solid):
    """How high a part rests over where it would if there were no fillet."""
    found = settle_setup(shapes.setup(on, shapes.body("part", solid, "part")))
    assert found.rests
    assert found.poses["part"].turn_deg == pytest.approx((0, 0, 0), abs=1e-5)
    return found.poses["part"].shift_mm[2]


@pytest.mark.parametrize("radius", [12.0, 11.9, 11.0])
def test_a_sharp_plug_rests_where_its_rim_meets_the_fillet(shapes, radius):
    plug = cq.Workplane().circle(radius).extrude(12).val()
    # The rim is FILLET less its play from the fillet's middle along the radius: the circle says how high.
    aside = FILLET - (BORE - radius)
    high = FILLET - math.sqrt(FILLET**2 - aside**2)
    assert rests_mm(shapes, socket(shapes), plug) == pytest.approx(high, abs=1e-6)


def test_a_round_plug_rests_where_its_own_fillet_meets_the_other(shapes):
    plug = cq.Workplane().circle(12).extrude(12).edges("<Z").fillet(1.0).val()
    # Two circles of 2 and 1 mm, one in the other: their middles are 1 mm apart, 0.8 of it along the radius.
    assert rests_mm(shapes, socket(shapes), plug) == pytest.approx(1.0 - 0.6, abs=1e-6)


def test_a_bevelled_plug_rests_on_the_first_of_its_two_rims(shapes):
    plug = cq.Workplane().circle(12).extrude(12).edges("<Z").chamfer(1.0).val()
    rims = [(11.0, 0.0), (12.0, 1.0)]
    high = max(FILLET - math.sqrt(FILLET**2 - (r - BORE + FILLET) ** 2) - z for r, z in rims)
    assert rests_mm(shapes, socket(shapes), plug) == pytest.approx(high, abs=1e-6)


@pytest.mark.parametrize("play", [0.5, 1.2])
@pytest.mark.parametrize("lift", [0.02, 0.3])
def test_a_ring_over_the_fillet_round_the_foot_of_a_boss_is_as_far_off_as_the_section_says(
    shapes, play, lift
):
    # It would tip off to one side, so only the gap is looked at.
    ring = cq.Workplane().circle(25).circle(10 + play).extrude(8).val()
    scene = ProximityScene([features_of(boss(shapes).solid), features_of(ring)], [False, True])
    high = FILLET - math.sqrt(FILLET**2 - (FILLET - play) ** 2) + lift
    places = np.array([[0, 0, 0], [0, 0, high]])
    rows = find_candidates(scene, np.tile(np.eye(3), (2, 1, 1)), places, 1.0, 1e-6)
    gap = FILLET - math.hypot(FILLET - play, FILLET - high)
    assert rows.gap_mm.min() == pytest.approx(gap, abs=1e-9)
    assert np.sum(rows.gap_mm < gap + 1e-9) >= 48


def test_a_ring_whose_bore_clears_the_fillet_lies_flat(shapes):
    ring = cq.Workplane().circle(25).circle(12.01).extrude(8).val()
    assert rests_mm(shapes, boss(shapes), ring) == pytest.approx(0.0, abs=1e-6)


def test_a_ball_smaller_than_the_fillet_lies_in_it_or_on_the_flat(shapes):
    ball = cq.Workplane().sphere(1.5).translate((0, 0, 1.5)).val()
    assert rests_mm(shapes, socket(shapes), ball) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("leg", "play"), [(1.0, 0.2), (2.0, 0.5)])
def test_a_plug_let_down_a_bore_does_not_pass_the_burr_at_its_bottom(leg, play):
    # The burr leaves the bore's wall at its leg over the bottom: 45 degrees down and inward from there.
    setup = plug_setup(leg, slack_mm=play, burr=True)
    found = settle_setup(setup, setup.staging)
    assert found.rests
    assert found.poses["plug"].shift_mm[2] == pytest.approx(leg - play, abs=1e-6)


def test_a_plug_over_a_fillet_is_relieved_and_seats():
    setup = plug_setup(1.0)
    found = relieve(setup)
    assert found.rest_before.rests
    assert found.rest_before.seats[0].gap_max_um == pytest.approx(400.0, abs=0.01)
    (relief,) = found.reliefs
    assert (relief.cut.kind, relief.cut.size_mm[0]) == ("chamfer", pytest.approx(0.8, abs=0.0101))
    assert found.rest_after.seats[0].gap_max_um <= setup.tolerances.touch_um


def bowl(shapes):
    """A block with half a ball of 5 mm radius taken out of its top at z = 0."""
    block = cq.Workplane().box(30, 30, 20).translate((0, 0, -10)).cut(cq.Workplane().sphere(5))
    return shapes.body("bowl", block.val())


@pytest.mark.parametrize("aside", [(0.0, 0.0), (0.4, -0.3)])
def test_a_ball_rests_at_the_bottom_of_a_bowl(shapes, aside):
    ball = shapes.body("part", cq.Workplane().sphere(4).val(), "part", at=(*aside, -1.0))
    found = settle_setup(shapes.setup(bowl(shapes), ball))
    assert found.rests
    # The middles are the difference of the radii apart, one above the other.
    assert found.poses["part"].matrix[:3, 3] == pytest.approx([0.0, 0.0, -1.0], abs=1e-3)
    assert found.poses["part"].matrix[2, 3] == pytest.approx(-1.0, abs=1e-6)


def test_a_flat_pin_rests_in_a_bowl_on_its_rim(shapes):
    pin = cq.Workplane().circle(3).extrude(12).translate((0, 0, -4)).val()
    # Pythagoras: a circle of 3 mm lies 4 mm below the middle of a ball of 5 mm.
    assert rests_mm(shapes, bowl(shapes), pin) == pytest.approx(0.0, abs=1e-6)


def test_a_cube_stands_in_a_bowl_on_its_corners(shapes):
    cube = cq.Workplane().box(4, 4, 4).translate((0, 0, -1.5)).val()
    low = math.sqrt(25 - 8) - 2.0
    found = settle_setup(shapes.setup(bowl(shapes), shapes.body("part", cube, "part")))
    assert found.rests
    assert found.poses["part"].matrix[2, 3] - 1.5 == pytest.approx(-low, abs=1e-6)
