"""What the check of coming off says: go by hand, caution where finished faces rub, no-go where stuck."""

import pytest

from fixturecheck import Cut, Holding, Seat, Setup, body, check, equipment
from fixturecheck.checks import release
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.holding.model import Held
from fixturecheck.kernel.construct import box
from fixturecheck.machining.as_ground import grind
from fixturecheck.release.sequence import HAND_N, release_of
from fixturecheck.result.finding import Verdict

WEIGHT_N = 7870e-9 * 9.80665 * 60 * 40 * 15


def block(material="steel_1018"):
    faces = {"seat": "<Z", "floor": ">Z", "left": "<X", "right": ">X"}
    solid = box((-30, -20, 0), (30, 20, 15))
    return body("block", solid, material=material, finish="ground", faces=faces)


def table(*others):
    plain = body("table", box((-200, -200, -20), (200, 200, 0)), role="fixture", finish="ground")
    return (plain, *others, block())


def fixture(name, low, high, **given):
    return body(name, box(low, high), role="fixture", finish="ground", **given)


def told(*bodies, reason="", seats=(), **given):
    """The check's findings for bodies as drawn, the field not solved."""
    setup = Setup(
        name="bench",
        bodies=bodies,
        seats=seats,
        cuts=(Cut(name="top", parts=("block",), floor="floor"),),
        holding=Holding(**given),
    )
    placed = {b.name: b.solid.moved(b.at) for b in bodies}
    contacts = find_contacts([b.placed() for b in bodies], setup.tolerances)
    cuts = tuple(grind(setup, c) for c in setup.cuts)
    found = release_of(setup, placed, contacts, cuts, None, reason)
    held = Held(parts=(), pulls=None, release=found, missing={})
    stage = Stage(setup=setup, placed=placed, contacts=contacts, cuts=cuts, held=held)
    return list(release.check(stage))


def about(findings, start):
    return next(f for f in findings if f.subject.startswith(start))


def test_a_block_on_a_table_is_tipped_off_by_hand():
    found = about(told(*table()), "block, 1 of 1")
    assert found.verdict is Verdict.GO
    assert found.value == pytest.approx(WEIGHT_N / 2, rel=1e-6)
    assert (found.limit, found.unit) == (HAND_N, "N")
    assert found.says.startswith("Wheel clear of the work and the spindle at rest. Tip block about its ")
    assert found.direction is not None


def test_the_sequence_is_told_body_by_body():
    left = fixture("stop_left", (-60, -15, 0), (-30, 15, 12))
    right = fixture("stop_right", (30, -15, 0), (60, 15, 12))
    findings = told(*table(left, right), blocking=("stop_left", "stop_right"))
    steps = [f.says for f in findings if " of 3" in f.subject]
    assert "Tip stop_left about its left bottom edge, toward -X" in steps[0]
    assert steps[1].startswith("Tip stop_right about its right bottom edge, toward +X")
    assert steps[2].startswith("Tip block about its ")


def test_a_slide_that_rubs_the_seat_is_a_caution_and_names_the_faces():
    roof = fixture("roof", (-100, -100, 15.2), (100, 100, 25))
    found = about(told(*table(roof)), "block")
    assert found.verdict is Verdict.CAUTION
    assert "Slide block toward" in found.says
    assert "it rubs block.seat on table." in found.says


def test_a_part_that_comes_off_no_way_is_a_no_go():
    walls = [
        fixture("left", (-60, -60, 0), (-30.05, 60, 15), fastened=True),
        fixture("right", (30.05, -60, 0), (60, 60, 15), fastened=True),
        fixture("front", (-30, -60, 0), (30, -20.05, 15), fastened=True),
        fixture("back", (-30, 20.05, 0), (30, 60, 15), fastened=True),
        fixture("roof", (-100, -100, 15.2), (100, 100, 25), fastened=True),
    ]
    found = about(told(*table(*walls)), "block")
    assert found.verdict is Verdict.NO_GO
    assert found.value is None


def test_a_pull_that_is_not_known_is_never_a_pass():
    found = about(told(*table(), reason="the field did not converge"), "block")
    assert found.verdict is Verdict.UNKNOWN
    assert found.value is None
    assert "Tip block" in found.says
    assert "Not known: the field did not converge." in found.says


def on_chuck(material):
    chuck = equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=0.0)
    return (*chuck, block(material))


def test_hardened_tool_steel_is_demagnetised_with_its_numbers():
    found = about(told(*on_chuck("tool_steel_d2")), "block: tool_steel_d2")
    assert found.verdict is Verdict.CAUTION
    # The greatest coercivity of 2 % C 12 % Cr steel, and the border of the semi-hard class.
    assert (found.value, found.limit, found.unit) == (9710.0, 1000.0, "A/m")
    assert found.says.startswith("Demagnetise block before lifting")
    assert "chips hang on" in found.says
    step = about(told(*on_chuck("tool_steel_d2")), "block, 1").says
    assert step.startswith(
        "Wheel clear of the work and the spindle at rest, magnet off, its demagnetising cycle run where it "
        "has one."
    )
    assert "by hand once demagnetised" in step


@pytest.mark.parametrize("material", ["steel_1018", "brass"])
def test_soft_steel_and_brass_ask_for_nothing(material):
    assert not [f for f in told(*on_chuck(material)) if f.unit == "A/m"]


def test_hardened_steel_away_from_any_magnet_asks_for_nothing():
    plain = body("table", box((-200, -200, -20), (200, 200, 0)), role="fixture", finish="ground")
    assert not [f for f in told(plain, block("tool_steel_d2")) if f.unit == "A/m"]


def test_burrs_on_seats_are_told_first():
    stop = fixture("stop", (-60, -15, 0), (-30, 15, 12))
    seat = Seat(body="block", face="left", on="stop", on_face=stop.face_names()[0])
    found = about(told(*table(stop), seats=(seat,)), "burrs")
    assert found.verdict is Verdict.GO
    assert found.says == (
        "Stone these edges before the next seating: block.floor+left at the -X end (left is a seat); "
        "block.floor+right at the +X end (where the sparks leave)."
    )


def test_a_setup_that_states_no_holding_is_not_asked():
    setup = Setup(name="bench", bodies=table())
    assert not [f for f in check(setup).findings if f.check == "release"]


def test_the_whole_way_with_a_part_that_the_magnet_does_not_pull():
    """Brass carries no flux: whether it holds is unknown, but its weight is all that it comes off against."""
    setup = Setup(
        name="brass on the chuck",
        bodies=on_chuck("brass"),
        seats=(Seat(body="block", face="seat", on="chuck_plate", on_face="top"),),
        cuts=(Cut(name="top", parts=("block",), floor="floor", stock_mm=0.1),),
        holding=Holding(magnet="full", grinds_as={"block": "soft_steel"}),
    )
    result = check(setup, only=("release",))
    found = next(f for f in result.findings if f.check == "release" and f.subject.startswith("block"))
    assert found.verdict is Verdict.GO
    assert found.value == pytest.approx(WEIGHT_N * 8500 / 7870 / 2, rel=1e-6)
    (leaves,) = result.holding.leaving
    assert leaves.residual_n == (0.0, 0.0)
    assert result.holding.burrs


def test_the_whole_way_with_a_steel_that_has_no_curve():
    setup = Setup(
        name="tool steel on the chuck",
        bodies=on_chuck("tool_steel_a2"),
        seats=(Seat(body="block", face="seat", on="chuck_plate", on_face="top"),),
        cuts=(Cut(name="top", parts=("block",), floor="floor", stock_mm=0.1),),
        holding=Holding(magnet="full"),
    )
    found = [f for f in check(setup, only=("release",)).findings if f.check == "release"]
    assert about(found, "block, 1").verdict is Verdict.UNKNOWN
    assert "curves_between" in about(found, "block, 1").says
    assert about(found, "block: tool_steel_a2").verdict is Verdict.CAUTION
