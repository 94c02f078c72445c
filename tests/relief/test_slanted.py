"""Grooves into inside corners that are not square, against the section across them, and by settling."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from fixturecheck import relieve
from fixturecheck.contact.placed import place_bodies
from fixturecheck.kernel.boolean import stepped
from fixturecheck.kernel.construct import oriented_box
from fixturecheck.kernel.measure import distance
from fixturecheck.relief.clashes import clashes_of
from fixturecheck.relief.grooves import corners_at, groove
from fixturecheck.relief.search import redrawn, with_body
from fixturecheck.result.relief import NoCut
from fixturecheck.units import METRIC
from fixturecheck.wording.relief import groove_notes, relief_words
from tests.relief.nests import dovetail_setup, opening_um, volume_by_its_line_mm3, walls_against

GROOVE = ("groove",)
ROUNDING_MM = 0.0121
"""Depths are rounded up to a hundredth with at least 2 um of air."""


def proposed(setup):
    """The groove before it is made, and the set-up with it made at other sizes."""
    plate, gib = setup.body("plate"), setup.body("gib")
    (clash,) = clashes_of(setup)
    here = place_bodies([plate.placed()])[0]
    (corner,) = corners_at(here, clash.zone, plate.no_function, setup.tolerances.touch_mm)
    cut = groove(here, corner, gib.solid.moved(gib.at), setup.relief.clearance_mm)

    def made(size_mm):
        small = cut.sized(size_mm)
        solid = stepped(plate.solid, small.corner, small.axes, small.sizes_mm)
        return with_body(setup, {"plate": redrawn(plate, solid)})

    return cut, made


def half_rad(angle_deg):
    return math.radians(angle_deg / 2)


NOT_SQUARE = st.one_of(st.floats(50.0, 85.0), st.floats(95.0, 130.0)).map(lambda v: round(v, 1))


@seed(60)
@settings(max_examples=6, suppress_health_check=list(HealthCheck))
@given(angle=NOT_SQUARE, size=st.floats(1.0, 3.0), burr=st.booleans(), turn=st.floats(0.0, 60.0))
def test_the_groove_seats_a_gib_and_nine_tenths_of_its_width_or_depth_does_not(angle, size, burr, turn):
    size, a = round(size, 3), half_rad(angle)
    setup = dovetail_setup(size, angle, burr=burr, turn_deg=round(turn, 1), kinds=GROOVE)
    found = relieve(setup)
    (relief,) = found.reliefs
    # A fillet leaves floor and wall at r / tan a from the corner, a flat burr at its leg; the chord between.
    wide = 2 * size * (math.sin(a) if burr else math.cos(a))
    assert relief.cut.size_mm[0] == pytest.approx(wide, abs=1e-6)
    # The edge goes all the way in: as deep as the corner lies below that chord.
    assert 0 < relief.cut.size_mm[1] - 0.5 * wide / math.tan(a) < ROUNDING_MM
    assert opening_um(found.setup) <= setup.tolerances.touch_um
    assert not {"floor", "wall"} & set(relief.touches)
    cut, made = proposed(setup)
    wide, deep = cut.size_mm
    assert opening_um(made((0.9 * wide, deep))) > setup.tolerances.touch_um
    assert opening_um(made((wide, 0.9 * deep))) > setup.tolerances.touch_um


@pytest.mark.parametrize("angle", [60.0, 120.0])
@pytest.mark.parametrize("corner_mm", [0.0, 0.4])
def test_a_round_edge_asks_along_the_bisector_for_what_the_radii_differ_by(angle, corner_mm):
    radius, a = 1.6, half_rad(angle)
    setup = dovetail_setup(radius, angle, corner_mm=corner_mm, kinds=GROOVE)
    found = relieve(setup)
    (relief,) = found.reliefs
    # Seen along the bisector a radius r stands r (1 / sin a - 1) from where the faces would meet.
    needed = (radius - corner_mm) * (1 / math.sin(a) - 1)
    middle = 0.5 * relief.cut.size_mm[0] / math.tan(a) - radius * (1 / math.sin(a) - 1)
    below_the_fillet = relief.cut.size_mm[1] - middle
    assert 0 < below_the_fillet - needed < ROUNDING_MM
    assert opening_um(found.setup) <= setup.tolerances.touch_um
    cut, made = proposed(setup)
    less = made((cut.size_mm[0], middle + 0.9 * needed))
    assert opening_um(less) > setup.tolerances.touch_um


def test_a_bevel_longer_than_the_burr_needs_no_groove():
    assert relieve(dovetail_setup(1.0, 60.0, burr=True, bevel_mm=1.01, kinds=GROOVE)).reliefs == ()


@pytest.mark.parametrize("angle", [60.0, 105.0])
def test_the_edge_of_the_gib_stands_clear_by_more_than_was_asked(angle):
    clear, a = 0.2, half_rad(angle)
    found = relieve(dovetail_setup(1.0, angle, clearance_mm=clear, kinds=GROOVE))
    plate = found.setup.body("plate").solid
    edge = cq.Edge.makeLine(cq.Vector(0, -10, 0), cq.Vector(0, 10, 0))
    # Nearer by 0.2 to either face at once is 0.2 / sin a deeper along the bisector; the sides are
    # further off.
    assert 0 < distance(plate, edge)[0] - clear / math.sin(a) < ROUNDING_MM


@pytest.mark.parametrize("clear", [0.0, 0.1])
def test_the_tool_may_be_as_round_as_the_flanks_of_the_edge_allow(clear):
    setup = dovetail_setup(2.0, 120.0, clearance_mm=clear, kinds=GROOVE)
    cut, _ = proposed(setup)
    gib, plate = setup.body("gib").solid, setup.body("plate").solid
    box = cq.Workplane(oriented_box(cut.corner, cut.axes, cut.sizes_mm))
    bottom = [e for e in box.edges().vals() if _is_bottom(e, cut)]
    assert len(bottom) == 2

    def left_mm(radius):
        """Air between the round of such a tool and the gib, less what both share."""
        tool = box.newObject(bottom).fillet(radius)
        rounds = cq.Compound.makeCompound(tool.faces("%CYLINDER").vals())
        return distance(rounds, gib)[0] - plate.cut(tool.val()).intersect(gib).Volume()

    most = cut.tool_mm(clear)
    assert most < 0.5 * cut.size_mm[0]
    assert left_mm(most) == pytest.approx(clear, abs=1e-6)
    assert left_mm(1.3 * most) < clear - 1e-5


def _is_bottom(edge, cut):
    """Whether an edge runs along the bottom of a groove."""
    ends = np.array([p.toTuple() for p in (edge.startPoint(), edge.endPoint())]) - cut.corner
    _, high, along = (ends @ cut.axes.T).T
    return np.abs(high).max() < 1e-9 and np.ptp(along) > 1.0


def test_in_an_acute_corner_the_tool_may_be_round_all_over():
    cut, _ = proposed(dovetail_setup(2.0, 60.0, kinds=GROOVE))
    assert cut.tool_mm(0.0) == pytest.approx(0.5 * cut.size_mm[0])


def test_the_volume_taken_is_the_groove_less_the_air_over_the_fillet():
    radius, angle = 2.0, 60.0
    (relief,) = relieve(dovetail_setup(radius, angle, kinds=GROOVE)).reliefs
    a, (wide, deep) = half_rad(angle), relief.cut.size_mm
    # Fillet: the kite to its centre less the sector; air: the triangle to the chord less the fillet.
    fillet = radius**2 / math.tan(a) - radius**2 * (math.pi / 2 - a)
    air = 0.25 * wide**2 / math.tan(a) - fillet
    assert relief.before.Volume() - relief.solid.Volume() == pytest.approx(40 * (wide * deep - air), rel=1e-6)


def test_the_line_of_code_makes_the_same_groove():
    for angle in (60.0, 120.0):
        (relief,) = relieve(dovetail_setup(0.8, angle, turn_deg=25.0, kinds=GROOVE)).reliefs
        assert volume_by_its_line_mm3(relief) == pytest.approx(relief.solid.Volume(), abs=1e-3)


def test_a_corner_with_function_is_not_grooved():
    (refused,) = relieve(dovetail_setup(1.0, 60.0, no_function=(), kinds=GROOVE)).refused
    assert NoCut(body="plate") in refused.why
    assert "plate.filling" in refused.must_give


def test_a_wall_thinner_than_stated_refuses_the_groove():
    # Square in from the groove's side the wall of 4 mm is looked at aslant.
    setup = dovetail_setup(1.0, 60.0, wall_mm=4.0, kinds=GROOVE, min_wall_mm=8.0)
    (refused,) = relieve(setup).refused
    assert 8.0 in {thin.least_mm for thin in walls_against(refused)}
    assert relieve(dovetail_setup(1.0, 60.0, wall_mm=4.0, kinds=GROOVE, min_wall_mm=1.0)).cured


def test_it_says_what_the_shop_must_know():
    (relief,) = relieve(dovetail_setup(1.0, 120.0, kinds=GROOVE)).reliefs
    assert (
        relief_words(relief.cut, METRIC) == "1.00 x 0.30 mm groove in the corner of floor and wall of plate"
    )
    along, behind, tool = groove_notes(relief, METRIC)
    assert "along the bisector" in along
    # The bottom's ends: half the width times cos a, and what rounding added, behind either face.
    behind_mm = 0.5 * math.cos(math.radians(60)) + (0.3 - 0.5 / math.tan(math.radians(60))) * math.sin(
        math.radians(60)
    )
    assert behind == f"it goes {behind_mm:.2f} mm behind the wall and {behind_mm:.2f} mm behind the floor"
    assert tool.startswith("the corner of the tool may have a radius of 0.30 mm")
