"""Seats as a toolmaker would gauge them: shares and gaps by plain arithmetic."""

from __future__ import annotations

import dataclasses
import math

import cadquery as cq
import pytest

from fixturecheck.checks import seat
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.make import equipment
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
        assert f"{0.1 * 20 * 10:.4g} mm² more" in only.remedy


def test_share_is_of_the_smaller_face():
    small = body("chuck", plate(10, 10, 5), role="fixture")
    (only,) = gauged(seat.check, [small, body("part", block(20, 10, 5))], PRIMARY)
    assert only.value == pytest.approx(1.0, abs=1e-9)


def test_a_part_drawn_askew_is_told_which_way_it_turns_to_lie_flat():
    """A block turned by 8 degrees about Z goes back by as much; a corner is nearest to the fence."""
    fence = body("fence", block(60, 10, 10, (0, 30, 0)), role="fixture")
    turned = body("part", block(20, 10, 5).rotate((0, 0, 0), (0, 0, 1), 8.0))
    found = gauged(seat.check, [CHUCK, fence, turned], PRIMARY, on("part", "back", "fence", "front"))
    (askew,) = [f for f in found if f.kind is Kind.OPEN]
    assert "has its faces askew by 8°, at least" in askew.says
    assert askew.value == pytest.approx(
        1e3 * (25 - 10 * math.sin(math.radians(8)) - 5 * math.cos(math.radians(8)))
    )
    assert askew.remedy == "Turn part by -8° about Z so that the faces lie flat, and see what gap is left."


def test_stated_share_is_the_limit():
    part = body("part", block(20, 10, 5, (48, 0, 0)))
    (only,) = gauged(seat.check, [CHUCK, part], on("part", "bottom", "chuck", "top", min_share=0.7))
    assert (only.verdict, only.limit) == (Verdict.CAUTION, 0.7)
    assert only.margin == pytest.approx(-0.1, abs=1e-9)


def test_a_disc_over_an_edge_falls_short_by_the_area_of_its_segment():
    """A chord 6 mm from the middle of a disc of 20 mm leaves 1 - (acos u - u sqrt(1 - u^2)) / pi, u = 0.3."""
    inside = body("part", pin(20, 8, (44, 0, 0), (0, 0, 1)))
    (only,) = gauged(seat.check, [CHUCK, inside], on("part", "bottom", "chuck", "top", min_share=0.7))
    share = 1.0 - (math.acos(0.3) - 0.3 * math.sqrt(1.0 - 0.3**2)) / math.pi
    assert (only.verdict, only.value) == (Verdict.CAUTION, pytest.approx(share, abs=1e-9))


def test_open_seat_says_its_gap():
    findings = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (0, 0, 0.08)))], PRIMARY)
    assert verdicts(findings) == [Verdict.NO_GO, Verdict.NO_GO]
    assert "stands open by 80 µm (80 µm at most)" in findings[0].says
    assert "touches nothing that holds it" in findings[1].says
    assert findings[1].remedy == "Close its seats first: part.bottom on chuck.top."


def test_a_part_on_a_part_that_lies_on_the_chuck_has_a_footing():
    lower, upper = body("lower", block(30, 20, 8)), body("upper", block(20, 10, 5, (0, 0, 8)))
    seats = [on("lower", "bottom", "chuck", "top"), on("upper", "bottom", "lower", "top")]
    findings = gauged(seat.check, [CHUCK, lower, upper], *seats)
    assert verdicts(findings) == [Verdict.GO, Verdict.GO]


@pytest.mark.parametrize(
    ("lower_at", "upper_at"),
    [((0, 0, 0), (25, 0, 3)), ((0, 0, 0.5), (0, 0, 8.5))],
    ids=["beside", "in the air"],
)
def test_a_part_that_only_a_side_or_a_hanging_part_meets_has_no_footing(lower_at, upper_at):
    lower, upper = body("lower", block(30, 20, 8, lower_at)), body("upper", block(20, 10, 5, upper_at))
    findings = gauged(seat.check, [CHUCK, lower, upper], on("lower", "bottom", "chuck", "top"))
    assert ("upper", Kind.TOUCHES_NOTHING) in {(f.subject, f.kind) for f in findings}


def test_a_rail_as_high_as_what_carries_the_part_is_told_to_be_too_low():
    """The rail ends at 8 mm, where the part begins: no slide that keeps it on the plate brings any area."""
    plate_8, upper = (
        body("plate", block(40, 20, 8), role="fixture"),
        body("part", block(20, 20, 5, (0, 0, 8))),
    )
    rail = body("rail", block(40, 10, 8, (0, 15, 0)), role="fixture")
    seats = [on("part", "bottom", "plate", "top"), on("part", "back", "rail", "front", rank="secondary")]
    line = next(
        f for f in gauged(seat.check, [CHUCK, plate_8, rail, upper], *seats) if f.kind is Kind.ON_A_LINE
    )
    assert line.remedy == (
        "Seat part against something that reaches past this edge: on its other seats, back and rail.front "
        "share no area."
    )


def test_seat_far_away_is_not_used():
    findings = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (0, 0, 3)))], PRIMARY)
    assert "stands open by 3 mm" in findings[0].says
    assert (findings[0].value, findings[0].unit, findings[0].limit) == (pytest.approx(3000), "um", 1.0)
    assert "Move part 3 mm toward -Z" in findings[0].remedy
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


def test_round_side_along_a_rail_is_go_where_a_flat_holds_the_part():
    """A pin on a flat, its round against a rail, which locates it (common practice, no source)."""
    rail = body("rail", block(4, 60, 10, (8, 0, 0)), role="fixture")
    flat = pin(6, 50, (0, -25, 4), (0, 1, 0)).intersect(block(20, 60, 20).val())
    seats = PRIMARY, on("part", "round", "rail", "left", rank="secondary")
    findings = gauged(seat.check, [CHUCK, rail, body("part", flat)], *seats)
    assert verdicts(findings) == [Verdict.GO, Verdict.GO]
    assert findings[0].value == pytest.approx(1.0)
    assert (findings[1].value, findings[1].unit) == (pytest.approx(50.0), "mm")
    # The same seat as what the part is held by alone has no area.
    alone = gauged(seat.check, [CHUCK, rail, body("part", flat)], seats[1])
    assert alone[0].verdict is Verdict.CAUTION


def test_unmeant_contact_that_lifts_the_part_is_no_go():
    """A shim 0.05 mm thick under one end, stated as fixture and not as seat."""
    shim = body("shim", block(4, 10, 0.05, (8, 0, 0)), role="fixture")
    findings = gauged(seat.check, [CHUCK, shim, body("part", block(20, 10, 5, (0, 0, 0.05)))], PRIMARY)
    lifted = [f for f in findings if "is not a stated seat" in f.says]
    assert verdicts(lifted) == [Verdict.NO_GO]
    assert "part stands open at bottom" in lifted[0].says
    assert "50 µm" in findings[0].says


def test_unmeant_contact_beside_a_closed_seat_is_a_caution():
    stop = body("stop", block(10, 20, 10, (-15, 0, 0)), role="fixture")
    findings = gauged(seat.check, [CHUCK, stop, body("part", block(20, 10, 5))], PRIMARY)
    assert verdicts(findings) == [Verdict.GO, Verdict.CAUTION]
    assert "part.left on stop.right (area, 50 mm²)" in findings[1].says


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


def test_what_a_part_drawn_into_its_fixture_touches_there_is_nothing_to_relieve():
    """Sunk by the depth of a relief in its foot, the relief lies on the plate by chance."""
    relieved = block(20, 10, 5).cut(block(4, 10, 0.5, (8, 0, 0)))
    sunk = body("part", relieved.translate((0, 0, -0.5)))
    findings = gauged(seat.check, [CHUCK, sunk], PRIMARY)
    assert verdicts(findings) == [Verdict.NO_GO, Verdict.NO_GO]
    assert not any("elieve" in (f.remedy or "") for f in findings)


def test_parts_that_overlap_each_other_are_left_to_the_nest_check():
    pair = [body("part", block(20, 10, 5)), body("other", block(20, 10, 5, (19, 0, 0)))]
    findings = gauged(seat.check, [CHUCK, *pair], PRIMARY, on("other", "bottom", "chuck", "top"))
    assert verdicts(findings) == [Verdict.GO, Verdict.GO]


def test_a_part_drawn_too_low_over_its_parallel_goes_up_and_the_parallel_stays():
    parallel = body("parallel", block(60, 8, 16), role="fixture")
    part = body("part", block(40, 20, 10, (0, 0, 15.7)))
    findings = gauged(seat.check, [CHUCK, parallel, part], on("part", "bottom", "parallel", "top"))
    (found,) = [f for f in findings if f.unit == "mm3"]
    assert found.remedy.startswith("Move part 0.3 mm toward +Z")


def test_an_overlap_is_parted_without_driving_the_block_into_what_stands_beside_it():
    """The block would be out of the part 0.8 mm to the right, where another stands 0.5 mm off."""
    part = body("part", block(30, 20, 10))
    stop = body("stop", block(10, 24, 8, (19.2, 0, 0)), role="fixture")
    other = body("other", block(10, 24, 8, (29.7, 0, 0)), role="fixture")
    (free,) = [f for f in gauged(seat.check, [CHUCK, part, stop]) if f.unit == "mm3"]
    assert free.remedy.startswith("Move stop 0.8 mm toward +X")
    (shut,) = [f for f in gauged(seat.check, [CHUCK, part, stop, other]) if f.unit == "mm3"]
    assert shut.remedy.startswith("Move part 0.8 mm toward -X")


def test_a_move_apart_is_told_across_a_slope():
    """A wedge of 30 degrees sunk 0.2 mm below a slope: across the slope that is 0.2 cos 30."""
    wedge = cq.Workplane("XZ").polyline([(0, 0), (60, 0), (60, 60 * math.tan(math.radians(30)))]).close()
    ramp = body("ramp", wedge.extrude(20, both=True), role="fixture", group="table")
    base = body("base", plate(10, 10, 5), place((200, 0, 0)), role="fixture", group="table")
    tilted = place((30, 0, 30 * math.tan(math.radians(30)) - 0.2), (0, 1, 0), -30)
    (found,) = [
        f for f in gauged(seat.check, [ramp, base, body("part", block(20, 10, 5), tilted)]) if f.unit == "mm3"
    ]
    assert f"Move part {math.ceil(2000 * math.cos(math.radians(30))) / 1e4} mm" in found.remedy
    assert found.direction == pytest.approx((-0.5, 0, math.cos(math.radians(30))), abs=1e-6)


def half_chuck():
    """A plate that a slot of 8 along y splits, of which only the left half of the top is named."""
    made = body("chuck", plate(120, 80).cut(block(8, 82, 4, (0, 0, -4))), role="fixture")
    tops = made.faces["top"]
    left = min(tops, key=lambda i: faces_of(made.solid)[i].Center().x)
    (right,) = set(tops) - {left}
    half = dataclasses.replace(made, faces={**made.faces, "top": (left,)})
    return half, half.face_names()[right]


def test_a_seat_over_a_slot_takes_both_halves_though_it_names_one():
    """40 x 18 over a slot of 8: 16 mm of it lie on either half, 32/40 of the face."""
    chuck, _ = half_chuck()
    (only,) = gauged(seat.check, [chuck, body("part", block(40, 18, 10))], PRIMARY)
    assert (only.verdict, only.value) == (Verdict.GO, pytest.approx(0.8, abs=1e-9))
    assert "lies on chuck.top+face_" in only.says
    assert "576 mm²" in only.says


def test_a_part_with_a_slot_in_its_foot_sits_on_both_feet():
    made = body("part", block(40, 18, 10).cut(block(8, 20, 3)))
    left = min(made.faces["bottom"], key=lambda i: faces_of(made.solid)[i].Center().x)
    (only,) = gauged(seat.check, [CHUCK, dataclasses.replace(made, faces={"bottom": (left,)})], PRIMARY)
    assert (only.verdict, only.value) == (Verdict.GO, pytest.approx(1.0, abs=1e-9))


def test_a_half_that_has_a_seat_of_its_own_is_not_counted_twice():
    chuck, right = half_chuck()
    seats = PRIMARY, on("part", "bottom", "chuck", right)
    findings = gauged(seat.check, [chuck, body("part", block(40, 18, 10))], *seats)
    assert [f.value for f in findings] == [pytest.approx(0.4, abs=1e-9), pytest.approx(0.4, abs=1e-9)]


def test_a_low_rail_behind_a_tall_part_is_a_seat_as_good_as_it_can_be():
    """8 mm of rail behind 18 mm of part: 8/18 of the face, and all that the two can share."""
    rail = body("rail", block(150, 10, 8, (0, 15, 0)), role="fixture")
    part = body("part", block(60, 20, 18))
    seats = PRIMARY, on("part", "back", "rail", "front", rank="secondary")
    _, behind = gauged(seat.check, [CHUCK, rail, part], *seats)
    assert (behind.verdict, behind.value) == (Verdict.GO, pytest.approx(1.0, abs=1e-9))
    assert "480 mm², 44.44 % of the smaller face, which is all of the two faces that can meet" in behind.says
    assert behind.remedy is None


def test_a_part_is_not_asked_to_slide_down_into_what_it_stands_on():
    """The rail goes on 30 mm below the chuck's top, where no part gets: what can meet is what does."""
    rail = body("rail", block(150, 10, 38, (0, 15, -30)), role="fixture")
    part = body("part", block(60, 20, 18))
    seats = PRIMARY, on("part", "back", "rail", "front", rank="secondary")
    chuck = body("chuck", block(150, 20, 30, (0, 0, -30)), role="fixture")
    _, behind = gauged(seat.check, [chuck, rail, part], *seats)
    assert (behind.verdict, behind.value) == (Verdict.GO, pytest.approx(1.0, abs=1e-9))
    assert "480 mm², 44.44 % of the smaller face, which is all of the two faces that can meet" in behind.says


def test_a_part_that_hangs_over_the_end_of_a_low_rail_is_slid_by_what_the_rail_can_give():
    """20 of 60 mm along the rail: a third of what can meet; half is 10 mm further."""
    rail = body("rail", block(150, 10, 8, (0, 15, 0)), role="fixture")
    part = body("part", block(60, 20, 18, (85, 0, 0)))
    _, behind = gauged(seat.check, [CHUCK, rail, part], PRIMARY, on("part", "back", "rail", "front"))
    assert (behind.verdict, behind.value) == (Verdict.CAUTION, pytest.approx(1 / 3, abs=1e-9))
    assert behind.remedy == "Slide part 10.00 mm toward -X on rail, so that they share 80 mm² more."


def test_a_stop_that_stands_off_is_pushed_up_to_the_part():
    stop = body("stop", block(10, 20, 10, (16.2, 0, 0)), role="fixture")
    seats = PRIMARY, on("part", "right", "stop", "left", rank="stop")
    _, open_stop = gauged(seat.check, [CHUCK, stop, body("part", block(20, 10, 5))], *seats)[:2]
    assert "stands open by 1.2 mm" in open_stop.says
    assert open_stop.remedy.startswith("Move stop 1.2 mm toward -X")


def test_a_part_beside_the_face_that_is_meant_says_so():
    """The part is drawn 5 mm high and 12 mm beyond the edge of the plate."""
    findings = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (72, 0, 5)))], PRIMARY)
    assert "stands open by 5 mm, and its faces lie 12 mm apart sideways" in findings[0].says


def test_a_part_that_only_meets_the_edge_of_its_seat_is_slid_over_it():
    """The plate ends at x = 50. A part of 20 x 10 mm has half of its base on it 10 mm further in."""
    findings = gauged(seat.check, [CHUCK, body("part", block(20, 10, 5, (60, 0, 0)))], PRIMARY)
    assert "its faces in one plane, but no part of the one lies over the other" in findings[0].says
    assert findings[0].remedy == "Slide part 10.00 mm toward -X on chuck, so that they share 100 mm² more."


def test_a_chuck_is_not_lowered_under_a_part_that_runs_into_its_rail():
    """Lowered by the 8 of its rail it leaves the part in the air: by hand the part goes 17 to the front."""
    plate_of, rail = (
        dataclasses.replace(one, group="chuck")
        for one in (CHUCK, body("rail", block(120, 10, 8, (0, 35, 0)), role="fixture"))
    )
    part = body("part", block(60, 40, 12, (0, 27, 0)))
    findings = gauged(seat.check, [plate_of, rail, part], PRIMARY)
    (found,) = [f for f in findings if f.unit == "mm3"]
    assert found.remedy == "Move part 17 mm toward -Y: tried, the two then only touch."


def test_a_part_drawn_into_a_stop_is_not_lifted_off_its_seat():
    """A lift of 4 mm would part the two sooner; the low stop goes aside, and the part stays on the chuck."""
    stop = body("stop", block(30, 20, 4, (20, 0, 0)), role="fixture")
    part = body("part", block(40, 20, 10, (-5, 0, 0)))
    findings = gauged(seat.check, [CHUCK, stop, part], PRIMARY)
    (found,) = [f for f in findings if f.unit == "mm3"]
    assert found.remedy == "Move stop 10 mm toward +X: tried, the two then only touch."


def test_a_face_along_a_rail_does_not_hold_the_end_off_its_stop():
    """The rail lies square to the way that the part would go to its stop: it fights nothing."""
    rail = body("rail", block(100, 10, 8, (0, 15, 0)), role="fixture")
    stop = body("stop", block(10, 20, 8, (25, 0, 0)), role="fixture")
    part = body("part", block(20, 20, 10))
    seats = PRIMARY, on("part", "right", "stop", "left", rank="stop")
    findings = gauged(seat.check, [CHUCK, rail, stop, part], *seats)
    (found,) = [f for f in findings if "is not a stated seat" in f.says]
    assert (found.verdict, found.remedy) == (Verdict.CAUTION, "State it as a seat, or relieve it.")


def test_a_seat_face_that_lies_on_another_body_is_not_to_be_relieved():
    """The base is meant for the chuck and lies on a parallel: the parallel is the seat, or is in the way."""
    parallel = body("parallel", block(60, 8, 16), role="fixture")
    part = body("part", block(40, 20, 10, (0, 0, 16)))
    findings = gauged(seat.check, [CHUCK, parallel, part], PRIMARY)
    lies = next(f for f in findings if "is not a stated seat" in f.says)
    assert lies.remedy == "State the seat as part.bottom on parallel.top, or move what is in the way."


def test_a_part_on_supports_of_unequal_height_is_not_moved_into_the_higher_one():
    high = body("high", block(8, 40, 10.02, (20, 0, 0)), role="fixture")
    low = body("low", block(8, 40, 10, (-20, 0, 0)), role="fixture")
    part = body("part", block(60, 30, 12, (0, 0, 10.02)))
    seats = on("part", "bottom", "high", "top"), on("part", "bottom", "low", "top")
    closed, opened = gauged(seat.check, [CHUCK, high, low, part], *seats)
    assert closed.verdict is Verdict.GO
    assert "stands open by 20 um" in opened.says.replace("µ", "u")
    assert "lies on high.top" in opened.remedy
    assert "Put 0.02 mm of packing between bottom and low.top, or take 0.02 mm off high.top" in opened.remedy


def test_of_two_feet_of_unequal_length_the_chuck_is_not_cut_down():
    """Feet of 4 and 3.95 on one face: worked out by hand, the long one stands 0.05 proud."""
    drawn = block(80, 16, 6, (0, 0, 4)).union(block(16, 16, 4, (-30, 0, 0)))
    link = body("part", drawn.union(block(16, 16, 3.95, (30, 0, 0.05))))
    seats = on("part", "bottom_2", "chuck", "top"), on("part", "bottom_3", "chuck", "top")
    opened = next(f for f in gauged(seat.check, [CHUCK, link], *seats) if "stands open" in f.says)
    assert opened.remedy.endswith("bottom_2 and bottom_3 of part to match: bottom_2 stands 0.05 mm proud.")


def test_a_stop_against_the_longest_of_three_keys_is_not_moved_into_it():
    """Keys of 30, 30.02 and 30 side by side between two blocks: the middle one alone is held endwise."""
    left = body("left", block(20, 30, 6, (-10, 0, 0)), role="fixture")
    right = body("right", block(20, 30, 6, (40.02, 0, 0)), role="fixture")
    keys = [body(f"key_{n}", block(30 + extra, 10, 8, (15 + extra / 2, y, 0)))
            for n, (y, extra) in enumerate(((-10, 0), (0, 0.02), (10, 0)), start=1)]  # fmt: skip
    ends = [on(f"key_{n}", "right", "right", "left", rank="stop", min_share=0.1) for n in (1, 2, 3)]
    opened, _, other = gauged(seat.check, [CHUCK, left, right, *keys], *ends)[:3]
    assert "right stands against key_2.right and cannot come closer" in opened.remedy
    assert "Put 0.02 mm of packing between key_3.right and right.left" in other.remedy


def test_a_foot_too_long_is_told_with_what_the_part_lies_on():
    """A T on two parallels of 16 whose stem is 16.02: neither it nor the chuck goes aside, by hand 0.02."""
    pair = [body(f"par_{y}", block(80, 12, 16, (0, y, 0)), role="fixture") for y in (-19, 19)]
    tee = body("tee", block(60, 50, 8, (0, 0, 16)).union(block(60, 20, 16.02, (0, 0, -0.02))))
    seats = [on("tee", "bottom_2", bar.name, "top") for bar in pair]
    (found,) = [f for f in gauged(seat.check, [CHUCK, *pair, tee], *seats) if f.unit == "mm3"]
    assert found.remedy.startswith(
        "Moved alone, tee would leave what it lies on. Bring it and that 0.02 mm toward +Z"
    )


@pytest.mark.parametrize(
    ("high", "says"),
    [
        (20.01, "Bring chuck.top and par.top to match: par.top stands 0.01 mm proud."),
        (19.99, "or bring chuck.top and par.top to match: chuck.top stands 0.01 mm proud."),
    ],
)
def test_a_parallel_on_the_table_is_not_sunk_into_it_nor_drawn_out_from_under_the_part(high, says):
    """A bar over the end of a chuck 20 mm high, and a parallel of `high` beside it on the table."""
    stand = body("chuck", block(100, 40, 20, (0, 0, -20)), role="fixture", group="chuck")
    rail = body("rail", block(100, 10, 28, (0, 25, -20)), role="fixture", group="chuck")
    par = body("par", block(20, 20, high, (75, 0, -20)), role="fixture")
    bar = body("bar", block(110, 20, 10, (30, 0, 0)))
    seats = on("bar", "bottom", "chuck", "top"), on("bar", "bottom", "par", "top")
    found = gauged(seat.check, [stand, rail, par, bar], *seats)
    assert next(f for f in found if f.kind is Kind.OPEN).remedy.endswith(says)
    overlaps = [f for f in found if f.unit == "mm3"]
    assert len(overlaps) == (1 if high > 20 else 0)
    for overlap in overlaps:
        assert overlap.remedy.endswith(
            "Bring it and that 0.01 mm toward +Z, or relieve bar or par by as much where they meet."
        )


def test_a_round_in_a_v_is_not_slid_sideways_along_its_stop():
    """A shoulder of 24 behind a journal of 16, against the end of a V of 90: what meets is all that can.

    By hand: two segments of a circle of 12 cut at 8 (49.56 each) less what they share (0.46), less the relief
    at the vertex (6.52, taken by the Simpson rule): 92.1 mm2 on both halves.
    """
    vee = equipment("magnetic_v_block", name="vee")
    shaft = cq.Workplane("YZ").circle(8).extrude(60).translate((-10, 0, 0))
    shaft = shaft.union(cq.Workplane("YZ").workplane(offset=50).circle(12).extrude(12))
    part = body("part", shaft, place((0, 0, 8 * math.sqrt(2))))
    solid = faces_of(part.solid)
    shoulder = next(n for n, which in part.faces.items() if abs(solid[which[0]].Center().x - 50) < 1e-6)
    ends = [on("part", shoulder, f"vee_{half}", "plus_x", rank="stop") for half in ("left", "right")]
    first, second = [f for f in gauged(seat.check, [*vee, part], *ends) if f.kind is Kind.CLOSED]
    assert first.verdict is second.verdict is Verdict.GO
    assert first.remedy is None
    areas = [float(f.says.split("over ")[1].split(" mm")[0]) for f in (first, second)]
    assert sum(areas) == pytest.approx(92.1, abs=0.2)


def test_a_taper_that_touches_at_its_thick_end_is_turned_and_not_brought_closer():
    """A taper pin of 1:50 with its axis level: only the rim of the thick end is down."""
    drawn = cq.Solid.makeCone(4, 4.6, 60, pnt=cq.Vector(-30, 0, 4.6), dir=cq.Vector(1, 0, 0))
    found = gauged(seat.check, [CHUCK, body("part", drawn)], on("part", "round", "chuck", "top"))[0]
    assert found.verdict is Verdict.NO_GO
    assert found.remedy == "Turn part until round lies along chuck.top: they touch there alone."


def test_a_tilted_part_is_turned_by_the_angle_that_it_is_out():
    tilted = body("part", block(20, 10, 5), place((0, 0, 10 * math.sin(0.01)), (0, 1, 0), math.degrees(0.01)))
    found = gauged(seat.check, [CHUCK, tilted], PRIMARY)[0]
    assert f"Turn part by {math.degrees(0.01):.3g}°" in found.remedy


def test_a_tapered_part_is_not_turned_toward_one_jaw_away_from_the_other():
    """Foot 30 mm wide, top 27.5, 25 mm high: each side leans by atan(1.25 / 25), and the jaw is upright."""
    drawn = cq.Workplane("YZ").polyline([(-30, 0), (0, 0), (-1.25, 25), (-28.75, 25)]).close()
    part = body("part", drawn.extrude(20, both=True))
    jaw = body("jaw", block(60, 10, 30, (0, 5, 0)), role="fixture")
    seats = PRIMARY, on("part", "back", "jaw", "front", rank="secondary")
    _, found = (f for f in gauged(seat.check, [CHUCK, jaw, part], *seats) if f.kind != "meets")
    lean = math.degrees(math.atan(1.25 / 25))
    assert "on a line" in found.kind
    assert f"back and bottom stand at {90 - lean:.5g}° to each other" in found.remedy
    assert "to lie on at 90°. Put a round bar or a wedge between" in found.remedy


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
    assert found.remedy == "Move stop 1 mm toward +X: tried, the two then only touch."
    assert found.direction == pytest.approx((1, 0, 0), abs=1e-9)
