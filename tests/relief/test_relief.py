"""Reliefs against closed forms, and by settling: the size proposed seats the part, 0.9 of it does not."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from fixturecheck import relieve
from fixturecheck.contact.placed import place_bodies
from fixturecheck.kernel.sample import surface_points
from fixturecheck.relief.clashes import clashes_of
from fixturecheck.relief.edge_cuts import cut_solid, edges_at, smallest_cut
from fixturecheck.relief.search import redrawn, with_body
from fixturecheck.result.relief import NoCut
from fixturecheck.units import METRIC
from fixturecheck.wording.relief import marked_words, outcome_text, relief_words
from tests.relief.nests import keeper_setup, opening_um, volume_by_its_line_mm3, walls_against

pytestmark = pytest.mark.slow


@seed(20)
@settings(max_examples=5, suppress_health_check=list(HealthCheck))
@given(radius=st.floats(1.0, 3.0), share=st.floats(0.05, 0.5), kind=st.sampled_from(["chamfer", "fillet"]))
def test_the_size_proposed_seats_a_keeper_and_nine_tenths_of_it_does_not(radius, share, kind):
    high = round(radius * share, 3)
    radius = round(radius, 3)
    setup = keeper_setup(radius, high, kinds=(kind,))
    found = relieve(setup)
    (relief,) = found.reliefs
    # The fillet leaves the wall at its radius, the lip is at its height: what is between must go.
    exact = radius - high
    assert relief.cut.size_mm[0] == pytest.approx(math.ceil(exact * 100 - 1e-4) / 100, abs=0.0101)
    assert relief.cut.size_mm[0] >= exact - 1e-6
    assert opening_um(found.setup) <= setup.tolerances.touch_um

    body = setup.body("keeper")
    clash = clashes_of(setup)[0]
    here = place_bodies([body.placed()])[0]
    for edge in edges_at(here, clash.zone, body.no_function, setup.tolerances.touch_mm):
        cut = smallest_cut(here, edge, kind, clash.zone, surface_points(clash.zone), 0.0)
        if here.label(here.table.edge_faces[edge]).faces == relief.cut.faces:
            small = replace(cut, size_mm=tuple(0.9 * v for v in relief.cut.size_mm))
            less = with_body(setup, {"keeper": redrawn(body, cut_solid(body.solid, small))})
            assert opening_um(less) > setup.tolerances.touch_um


def test_an_asked_clearance_makes_the_chamfer_larger_by_root_two_of_it():
    # Between a 45 degree face and the run-out of the fillet on the wall: leg = r - h + c sqrt 2.
    setup = keeper_setup(1.0, 0.2, kinds=("chamfer",), clearance_mm=0.1)
    (relief,) = relieve(setup).reliefs
    assert relief.cut.size_mm[0] == pytest.approx(0.8 + 0.1 * math.sqrt(2), abs=0.0101)


def test_the_line_of_code_makes_the_same_part():
    for kind in ("chamfer", "fillet", "undercut"):
        found = relieve(keeper_setup(1.0, 0.2, kinds=(kind,)))
        (relief,) = found.reliefs
        assert volume_by_its_line_mm3(relief) == pytest.approx(relief.solid.Volume(), abs=1e-6)


def test_a_relief_that_leaves_too_thin_a_wall_is_refused_with_the_wall():
    found = relieve(keeper_setup(1.0, 0.2, min_wall_mm=100.0))
    assert not found.reliefs
    (refused,) = found.refused
    assert 100.0 in {thin.least_mm for thin in walls_against(refused)}
    assert found.setup.body("keeper").solid.Volume() == keeper_setup(1.0, 0.2).body("keeper").solid.Volume()


def test_where_every_face_has_function_it_says_which_would_have_to_give():
    (refused,) = relieve(keeper_setup(1.0, 0.2, no_function=())).refused
    assert NoCut(body="keeper") in refused.why
    assert {"keeper.under", "stop.fillet"} & set(refused.must_give)


def test_nothing_to_relieve_where_nothing_is_in_the_way():
    corner = cq.selectors.NearestToPointSelector((-10.0, 0.0, 6.2))
    found = relieve(keeper_setup(1.0, 0.2, lip=lambda part: part.edges(corner).chamfer(0.8)))
    assert (found.reliefs, found.refused) == ((), ())
    assert "Check the set-up" not in outcome_text("keeper", found, METRIC)


def test_the_relief_that_takes_least_of_what_a_hand_makes_comes_first():
    """A chamfer of 0.8 is stoned; the step of 0.41 x 0.81 takes as much and is milled, the lip more still."""
    found = relieve(keeper_setup(1.0, 0.2))
    (relief,) = found.reliefs
    assert (relief.cut.kind, relief.by_hand) == ("chamfer", True)
    # Cautions of other checks may remain, which nobody has looked at.
    assert outcome_text("keeper", found, METRIC).endswith(
        "Check the set-up with the changed part for the rest."
    )
    assert relief.removed_mm3 == pytest.approx(0.5 * 0.8**2 * 30, rel=1e-6)
    assert "fillet" in {other.kind for other in relief.instead}
    kinds = [rejected.cut.kind for rejected in relief.rejected]
    assert len(kinds) == len(set(kinds))


def test_a_chamfer_too_small_by_a_tenth_is_made_larger():
    """The fillet of 1 stands 0.8 past a lip 0.2 high; the chamfer there is 0.7, and a tenth is missing."""
    setup = keeper_setup(1.0, 0.2, bevel_mm=0.7, no_function=("under", "bevel"))
    (relief,) = relieve(setup).reliefs
    assert relief_words(relief.cut, METRIC) == "0.80 mm x 45° chamfer instead of 0.70 mm on bevel of keeper"
    assert relief.cut.size_mm[0] == pytest.approx(0.1 / math.sqrt(2), abs=1e-6)
    assert relief.removed_mm3 == pytest.approx(0.5 * (0.8**2 - 0.7**2) * 30, rel=1e-6)
    assert relief.by_hand


def test_it_says_which_face_would_have_to_be_marked_for_a_lesser_relief():
    """Only the fillet may give, by a groove that is milled; the lip's edge would be stoned."""
    (relief,) = relieve(keeper_setup(1.0, 0.2, no_function=("fillet",))).reliefs
    assert (relief.cut.kind, relief.by_hand) == ("groove", False)
    assert (relief.if_marked.faces, relief.if_marked.cut.size_mm) == (("keeper.under",), (0.8, 0.8))
    assert marked_words(relief.if_marked, METRIC).startswith(
        "with keeper.under marked without function (no_function): 0.80 mm x 45°"
    )
    (refused,) = relieve(keeper_setup(1.0, 0.2, no_function=())).refused
    assert refused.if_marked.faces == ("keeper.under",)


def test_the_ring_of_its_picture_holds_the_clash():
    (relief,) = relieve(keeper_setup(1.0, 0.2)).reliefs
    # The clash reaches 0.4 along the lip, from the wall to the fillet, and 0.8 up: sqrt(1 - 0.8^2) = 0.6.
    assert relief.clash_size_mm == pytest.approx(math.hypot(0.4, 0.8), rel=1e-3)
    assert relief.clash_at_mm[1] == pytest.approx(0.0, abs=1e-6)
    assert -10.0 <= relief.clash_at_mm[0] <= -9.6


def test_names_survive_the_relief():
    found = relieve(keeper_setup(1.0, 0.2))
    assert {"base", "back", "under", "relief"} <= set(found.setup.body("keeper").faces)
