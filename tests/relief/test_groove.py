"""Grooves into inside corners, against the fillet they must take away, and by settling."""

from __future__ import annotations

import math

import cadquery as cq
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from fixturecheck import relieve
from fixturecheck.contact.placed import place_bodies
from fixturecheck.kernel.boolean import stepped
from fixturecheck.kernel.measure import distance
from fixturecheck.relief.clashes import clashes_of
from fixturecheck.relief.grooves import corners_at, groove
from fixturecheck.relief.search import redrawn, with_body
from fixturecheck.result.relief import NoCut
from fixturecheck.units import METRIC
from fixturecheck.wording.relief import relief_words
from tests.relief.nests import angle_setup, opening_um, volume_by_its_line_mm3, walls_against

GROOVE = ("groove",)


def proposed(setup):
    """The groove before it is made, and the set-up with it made at a share of its size."""
    plate = setup.body("angle")
    (clash,) = clashes_of(setup)
    here = place_bodies([plate.placed()])[0]
    (corner,) = corners_at(here, clash.zone, plate.no_function, setup.tolerances.touch_mm)
    block = setup.body("block")
    cut = groove(here, corner, block.solid.moved(block.at), setup.relief.clearance_mm)

    def made(share):
        small = cut.sized(tuple(share * size for size in cut.size_mm))
        solid = stepped(plate.solid, small.corner, small.axes, small.sizes_mm)
        return with_body(setup, {"angle": redrawn(plate, solid)})

    return cut, made


@seed(4)
@settings(max_examples=6, suppress_health_check=list(HealthCheck))
@given(
    size=st.floats(0.6, 3.0),
    burr=st.booleans(),
    turn=st.floats(0.0, 60.0),
    clear=st.sampled_from([0.0, 0.15]),
)
def test_the_groove_proposed_seats_a_block_and_nine_tenths_of_it_does_not(size, burr, turn, clear):
    size = round(size, 3)
    setup = angle_setup(size, burr=burr, turn_deg=round(turn, 1), clearance_mm=clear, kinds=GROOVE)
    found = relieve(setup)
    (relief,) = found.reliefs
    # A fillet of R, or a 45 degree burr of that leg, leaves floor and wall at R from where they would meet.
    assert relief.cut.size_mm == pytest.approx((size, size), abs=1e-6)
    assert opening_um(found.setup) <= setup.tolerances.touch_um
    _, made = proposed(setup)
    assert opening_um(made(0.9)) > setup.tolerances.touch_um


def test_the_corner_of_the_block_stands_clear_by_what_was_asked():
    setup = angle_setup(1.0, clearance_mm=0.2, kinds=GROOVE)
    found = relieve(setup)
    plate = found.setup.body("angle").solid
    corner = cq.Edge.makeLine(cq.Vector(0, -10, 0), cq.Vector(0, 10, 0))
    # 0.2 behind either face; the far sides of the groove are a radius away.
    assert distance(plate, corner)[0] == pytest.approx(0.2, abs=1e-6)


@pytest.mark.parametrize("clear", [0.0, 0.1, 0.3])
def test_the_tool_may_be_as_round_as_the_corner_allows(clear):
    # A groove whose own corner has the radius stated leaves the block's edge exactly as clear as asked.
    setup = angle_setup(3.0, clearance_mm=clear, kinds=GROOVE)
    cut, _ = proposed(setup)
    radius, behind = cut.tool_mm(clear), cut.behind_mm[0]
    arc = cq.Workplane("XZ", origin=(behind * -1 + radius, 0, behind * -1 + radius)).circle(radius).extrude(1)
    edge = cq.Edge.makeLine(cq.Vector(0, 0, 0), cq.Vector(0, -1, 0))
    wall = next(f for f in arc.faces("%CYLINDER").vals())
    assert distance(wall, edge)[0] == pytest.approx(clear, abs=1e-6)


def test_the_groove_takes_no_more_of_floor_and_wall_than_the_fillet_did():
    setup = angle_setup(1.2345, kinds=GROOVE)
    (relief,) = relieve(setup).reliefs
    assert not {"floor", "wall"} & set(relief.touches)
    assert (
        relief_words(relief.cut, METRIC)
        == "1.2345 x 1.2345 mm groove in the corner of floor and wall of angle"
    )


def test_the_line_of_code_makes_the_same_groove():
    (relief,) = relieve(angle_setup(0.8, turn_deg=25.0, kinds=GROOVE)).reliefs
    assert volume_by_its_line_mm3(relief) == pytest.approx(relief.solid.Volume(), abs=1e-4)


def test_a_corner_with_function_is_not_grooved():
    (refused,) = relieve(angle_setup(1.0, no_function=(), kinds=GROOVE)).refused
    assert NoCut(body="angle") in refused.why
    assert "angle.filling" in refused.must_give


def test_a_wall_thinner_than_stated_refuses_the_groove():
    (refused,) = relieve(angle_setup(1.0, kinds=GROOVE, min_wall_mm=25.0)).refused
    assert 25.0 in {thin.least_mm for thin in walls_against(refused)}


def test_the_volume_taken_is_that_of_the_fillet_and_the_strips_behind():
    setup = angle_setup(2.0, clearance_mm=0.1, kinds=GROOVE)
    (relief,) = relieve(setup).reliefs
    # Fillet R^2 (1 - pi/4), and the L behind floor and wall: (R + d)^2 - R^2; over the 40 mm of the plate.
    section = 4.0 * (1 - math.pi / 4) + 2.1**2 - 2.0**2
    assert relief.before.Volume() - relief.solid.Volume() == pytest.approx(40 * section, rel=1e-6)
