"""Faces that are clear as drawn and land first within tolerances: found, relieved, and gone."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import Push, Relieving, Seat, Setup, Staging, body, relieve
from fixturecheck.checks.tolerance import SURE
from fixturecheck.errors import SetupError
from fixturecheck.relief.clashes import clashing_contacts, shares_of
from fixturecheck.result.relief import NoCut
from fixturecheck.units import METRIC
from fixturecheck.wording.relief import relief_lines
from tests.relief.nests import angle_setup, keeper_setup

LEFT = Staging(push={"part": Push(direction=(-1, 0, 0))})
ONE_IN_TWENTY = 1.6448536
"""Standard deviations that a normal spread passes in 5 % (tables of the normal distribution)."""


def ledge_setup(gap_mm, zone_mm, no_function=("tab",), **wanted):
    """A block whose upper half stands back from its seat by `gap_mm`."""
    slot = cq.Workplane().box(2 * gap_mm, 40, 12).translate((0, 0, 16))
    part = cq.Workplane().box(30, 20, 20).translate((15, 0, 10)).cut(slot)
    return Setup(
        name="ledge",
        bodies=(
            body(
                "table", cq.Workplane().box(200, 200, 20).translate((0, 0, -10)),
                role="fixture", faces={"top": ">Z"},
            ),
            body(
                "stop", cq.Workplane().box(10, 100, 40).translate((-5, 0, 20)),
                role="fixture", faces={"face": ">X"},
            ),
            body(
                "part", part, faces={"base": "<Z", "back": (0, 0, 5), "tab": (gap_mm, 0, 15)},
                no_function=no_function, tolerance_mm={"back": zone_mm, "tab": zone_mm},
            ),
        ),
        seats=(
            Seat(body="part", face="base", on="table", on_face="top"),
            Seat(body="part", face="back", on="stop", on_face="face", rank="secondary"),
        ),
        staging=LEFT,
        relief=Relieving(**wanted),
    )  # fmt: skip


def not_leaning(setup):
    """The same with faces that only shift within their zones, as the closed forms below have them."""
    still = [replace(b, orientation_mm={"*": 0.0}) if b.tolerance_mm else b for b in setup.bodies]
    return replace(setup, bodies=tuple(still))


def test_a_nest_that_closes_as_drawn_but_not_in_one_draw_of_twenty_is_relieved():
    # Two errors of a sixth of 12 um each: their difference passes 1.645 of its deviations in 5 %.
    zone_um = 12.0
    gap_um = ONE_IN_TWENTY * math.hypot(zone_um / 6, zone_um / 6)
    setup = not_leaning(ledge_setup(gap_um * 1e-3, zone_um * 1e-3))
    (landing,) = clashing_contacts(setup)
    assert landing.share_lands == pytest.approx(0.05, abs=0.006)
    found = relieve(setup)
    (relief,) = found.reliefs
    assert (relief.cut.kind, relief.cut.faces) == ("setback", ("tab",))
    # At worst both zones are half used: 12 um, of which the drawing has the gap already.
    needed_um = zone_um - gap_um
    assert relief.cut.size_mm[0] == pytest.approx(math.ceil(needed_um / 10) * 0.01)
    assert relief.clear_mm == pytest.approx(0.012)
    assert shares_of(found.setup) == {}
    assert found.cured
    assert 0.04 <= relief.share_lands < 0.06
    assert any(f"{relief.share_lands:.1%} of draws" in text for _, text in relief_lines(relief, METRIC))


def test_faces_that_lean_land_first_more_often_and_are_relieved_as_well():
    zone_um = 12.0
    leaning = ledge_setup(0.0045, zone_um * 1e-3)
    (share,), (still,) = shares_of(leaning).values(), shares_of(not_leaning(leaning)).values()
    assert share > 1.5 * still
    found = relieve(leaning)
    assert len(found.reliefs) == 1
    assert all(left <= 1 - SURE for left in shares_of(found.setup).values())


def test_an_asked_clearance_is_added_to_the_band():
    (relief,) = relieve(ledge_setup(0.0045, 0.012, clearance_mm=0.1)).reliefs
    # 12 um of zones and 100 um asked, less the 4.5 um drawn: 107.5 um, rounded up to a hundredth.
    assert relief.cut.size_mm[0] == pytest.approx(0.11)


def test_a_bevel_over_a_burr_lands_as_often_as_the_closed_form_says_and_no_more_when_relieved():
    gap, high = 0.006, 0.3
    setup = not_leaning(keeper_setup(
        1.0, high, burr=True, bevel_mm=1.0 - high + gap * math.sqrt(2), no_function=("bevel",),
        zones={"stop.fillet": 0.012, "keeper.bevel": 0.012, "keeper.base": 0.02, "keeper.back": 0.02},
    ))  # fmt: skip
    # Across 45 degrees: both faces by their own, base and back by their share, each a sixth of its zone.
    sigma = math.sqrt(2 * (12 / 6) ** 2 + 2 * (20 / 6) ** 2 / 2)
    (share,) = shares_of(setup).values()
    assert share == pytest.approx(0.5 * math.erfc(1e3 * gap / sigma / math.sqrt(2)), abs=0.012)
    found = relieve(setup)
    (relief,) = found.reliefs
    assert relief.cut.kind == "setback"
    # The band: 6 + 6 of the faces, and the block shifted by 10 and 10 square to each other.
    assert relief.clear_mm == pytest.approx(0.012 + math.hypot(0.01, 0.01), abs=1e-9)
    assert all(left <= 1 - SURE for left in shares_of(found.setup).values())


@pytest.mark.parametrize("kinds", [("groove",), ("setback",)])
def test_where_only_the_stop_may_be_relieved_it_gets_a_groove_or_its_burr_set_back(kinds):
    setup = keeper_setup(
        1.0,
        0.3,
        burr=True,
        bevel_mm=0.706,
        no_function=("fillet",),
        zones={"keeper.bevel": 0.02},
        kinds=kinds,
    )
    found = relieve(setup)
    (relief,) = found.reliefs
    assert (relief.cut.bodies, relief.cut.kind) == (("stop",), kinds[0])
    assert shares_of(found.setup) == {}


def test_a_landing_with_function_on_both_sides_says_which_face_would_have_to_give():
    (refused,) = relieve(ledge_setup(0.0045, 0.012, no_function=())).refused
    assert (refused.clash.a, refused.clash.b, refused.clash.lands) == ("part.tab", "stop.face", True)
    assert NoCut(body="part") in refused.why
    assert refused.must_give == ("part.tab",)


def test_draws_that_nest_ask_for_nothing():
    found = relieve(ledge_setup(0.0125, 0.012))
    assert (found.reliefs, found.refused, found.landings_unknown) == ((), (), "")


@pytest.mark.parametrize("zone", [20.5, 60.0])
def test_zones_that_meet_inside_a_wall_are_one_plain_sentence(zone):
    setup = angle_setup(1.0, block_zones={"base": zone})
    with pytest.raises(SetupError, match=r"tolerances of block reach through the wall of 20 mm behind base"):
        relieve(setup)


def test_zones_just_short_of_the_wall_are_not_refused():
    setup = angle_setup(1.0, block_zones={"base": 19.9}, kinds=("chamfer",))
    assert relieve(setup).refused


@pytest.mark.parametrize("past_um", [0.0, 0.5, 2.0, 4.0])
def test_a_bevel_a_little_longer_than_a_burr_in_an_inside_corner_lands_as_often_as_the_burr_reaches_it(
    past_um,
):
    # The bevel's ends stand beside the burr as drawn; it runs on along floor and wall as it grows.
    setup = not_leaning(
        angle_setup(1.0, burr=True, bevel_mm=1.0 + past_um * 1e-3, plate_zones={"filling": 0.012})
    )
    # Across 45 degrees the gap is what it is longer by over root two; the burr is out by a sixth of 12 um.
    share = 0.5 * math.erfc(past_um / math.sqrt(2) / 2.0 / math.sqrt(2))
    assert shares_of(setup) == {("angle.filling", "block.bevel"): pytest.approx(share, abs=0.012)}


def test_a_bevel_longer_than_the_burr_ever_reaches_does_not_land():
    setup = not_leaning(angle_setup(1.0, burr=True, bevel_mm=1.0086, plate_zones={"filling": 0.012}))
    assert 8.6 / math.sqrt(2) > 6.0
    assert shares_of(setup) == {}
