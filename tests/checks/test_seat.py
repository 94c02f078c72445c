"""Seats as a toolmaker would gauge them: shares and gaps by plain arithmetic."""

from __future__ import annotations

import math

import pytest

from fixturecheck.checks import seat
from fixturecheck.result import Verdict
from tests.checks.gauged import body, gauged, on
from tests.contact.staging import block, pin, place, plate, vee

CHUCK = body("chuck", plate(), role="fixture")
PRIMARY = on("part", "bottom", "chuck", "top")


def verdicts(findings):
    return [f.verdict for f in findings]


def test_block_flat_on_the_chuck_is_go():
    (only,) = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5))], PRIMARY)
    assert (only.verdict, only.subject) == (Verdict.GO, "part.bottom on chuck.top")
    assert only.value == pytest.approx(1.0, abs=1e-9)
    assert only.margin == pytest.approx(0.5, abs=1e-9)
    assert only.direction == pytest.approx((0, 0, -1), abs=1e-12)


@pytest.mark.parametrize(
    ("at_x", "share", "verdict"), [(52.0, 0.4, Verdict.CAUTION), (48.0, 0.6, Verdict.GO)]
)
def test_seat_partly_covered_goes_by_its_share(at_x, share, verdict):
    (only,) = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (at_x, 0, 0)))], PRIMARY)
    assert (only.verdict, only.value) == (verdict, pytest.approx(share, abs=1e-9))
    if verdict is Verdict.CAUTION:
        assert f"{0.1 * 20 * 10:.4g} mm2 more" in only.remedy


def test_share_is_of_the_smaller_face():
    small = body("chuck", plate(10, 10, 5), role="fixture")
    (only,) = gauged(seat.check, [small, body("part", block(20, 10, 5))], PRIMARY)
    assert only.value == pytest.approx(1.0, abs=1e-9)


def test_stated_share_is_the_limit():
    part = body("part", block(20, 10, 5, (48, 0, 0)))
    (only,) = gauged(seat.check, [CHUCK, part], on("part", "bottom", "chuck", "top", min_share=0.7))
    assert (only.verdict, only.limit) == (Verdict.CAUTION, 0.7)
    assert only.margin == pytest.approx(-0.1, abs=1e-9)


def test_open_seat_says_its_gap():
    findings = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (0, 0, 0.08)))], PRIMARY)
    assert verdicts(findings) == [Verdict.NO_GO, Verdict.NO_GO]
    assert "stands open by 80 um (80 um at most)" in findings[0].says
    assert "touches nothing that holds it" in findings[1].says


def test_seat_far_away_is_not_used():
    findings = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (0, 0, 3)))], PRIMARY)
    assert "anywhere within 0.5 mm" in findings[0].says
    assert verdicts(findings) == [Verdict.NO_GO, Verdict.NO_GO]


def test_square_bar_on_its_edge_in_a_wide_vee_is_no_go():
    """A square on its corner in a V of 120 degrees touches no flank: only the root carries it."""
    wide = body("vee", vee(60, angle_deg=120), role="fixture")
    bar = body("part", block(10, 50, 10, (0, 0, -5)), place((0, 0, 5 * math.sqrt(2)), (0, 1, 0), 45))
    findings = gauged(seat.check, [wide, bar])
    edges = [f for f in findings if "stands on an edge or corner" in f.says]
    assert verdicts(edges) == [Verdict.NO_GO]
    assert edges[0].value == 0


def test_square_bar_in_its_own_vee_is_go():
    right = body("vee", vee(60), role="fixture")
    bar = body("part", block(10, 50, 10, (0, 0, -5)), place((0, 0, 5 * math.sqrt(2)), (0, 1, 0), 45))
    flanks = {name for name in right.face_names() if name in {"left", "right", "top"}}
    assert flanks
    findings = gauged(seat.check, [right, bar])
    assert not any("stands on" in f.says for f in findings)
    assert all(f.verdict is Verdict.CAUTION and "no seat is stated" in f.says for f in findings)


def test_part_on_its_edge_with_a_seat_stated_names_the_line():
    tilted = body("part", block(20, 10, 5), place((0, 0, 10 * math.sin(0.1)), (0, 1, 0), math.degrees(0.1)))
    findings = gauged(seat.check, [CHUCK, tilted], PRIMARY)
    assert all(v is Verdict.NO_GO for v in verdicts(findings))
    assert "chuck.top on part.bottom+right (line, 10 mm)" in findings[0].says
    assert "stands on an edge or corner" in findings[-1].says


def test_round_bar_bears_along_its_round_and_is_a_caution():
    bar = body("part", pin(6, 50, (0, -25, 6), (0, 1, 0)))
    findings = gauged(seat.check, [CHUCK, bar], on("part", "round", "chuck", "top"))
    assert verdicts(findings) == [Verdict.CAUTION, Verdict.CAUTION]
    assert "bears on a line" in findings[0].says
    assert "bears along its round" in findings[1].says


def test_unmeant_contact_that_lifts_the_part_is_no_go():
    """A shim 0.05 mm thick under one end, stated as fixture and not as seat."""
    shim = body("shim", block(4, 10, 0.05, (8, 0, 0)), role="fixture")
    findings = gauged(seat.check, [CHUCK, shim, body("part", block(20, 10, 5, (0, 0, 0.05)))], PRIMARY)
    lifted = [f for f in findings if "which is no seat" in f.says]
    assert verdicts(lifted) == [Verdict.NO_GO]
    assert "part stands open at bottom" in lifted[0].says
    assert "50 um" in findings[0].says


def test_unmeant_contact_beside_a_closed_seat_is_a_caution():
    stop = body("stop", block(10, 20, 10, (-15, 0, 0)), role="fixture")
    findings = gauged(seat.check, [CHUCK, stop, body("part", block(20, 10, 5))], PRIMARY)
    assert verdicts(findings) == [Verdict.GO, Verdict.CAUTION]
    assert "part.left on stop.right (area, 50 mm2)" in findings[1].says


def test_stop_stated_as_a_seat_is_go():
    stop = body("stop", block(10, 20, 10, (-15, 0, 0)), role="fixture")
    seats = PRIMARY, on("part", "left", "stop", "right", rank="stop")
    findings = gauged(seat.check, [CHUCK, stop, body("part", block(20, 10, 5))], *seats)
    assert verdicts(findings) == [Verdict.GO, Verdict.GO]


def test_part_drawn_into_its_fixture_is_no_go_with_the_volume():
    findings = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (0, 0, -0.1)))], PRIMARY)
    overlap = next(f for f in findings if f.unit == "mm3")
    assert overlap.verdict is Verdict.NO_GO
    assert overlap.value == pytest.approx(20 * 10 * 0.1, rel=1e-9)
    assert not any(f.verdict is Verdict.GO for f in findings)


def test_parts_that_overlap_each_other_are_left_to_the_nest_check():
    pair = [body("part", block(20, 10, 5)), body("other", block(20, 10, 5, (19, 0, 0)))]
    findings = gauged(seat.check, [CHUCK, *pair], PRIMARY, on("other", "bottom", "chuck", "top"))
    assert verdicts(findings) == [Verdict.GO, Verdict.GO]


@pytest.mark.parametrize("names", [("rail", "stop"), ("stop", "rail")])
def test_the_block_is_moved_and_not_the_rail_of_the_chuck(names):
    made = {
        "rail": body("rail", block(20, 10, 5), role="fixture", group="chuck"),
        "stop": body("stop", block(20, 10, 5, (19, 0, 0)), role="fixture", group="stop"),
    }
    plate_of_it = body("chuck_plate", plate(), role="fixture", group="chuck")
    away = body("part", block(5, 5, 5, (60, 0, 0)))
    findings = gauged(seat.check, [plate_of_it, *(made[n] for n in names), away])
    (found,) = [f for f in findings if f.unit == "mm3"]
    assert found.remedy == "Move stop until the two only touch."
