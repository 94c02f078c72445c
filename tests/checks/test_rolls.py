"""Sizes over rolls: dovetails and vees whose readings closed forms give, and rolls that lie on edges."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

from fixturecheck.checks.rolls import check
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import SetupError
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.make import body, place
from fixturecheck.setup.model import Setup
from fixturecheck.setup.records import OverRolls

HIGH = 12.0


def slide(wide: float = 40.0, angle_deg: float = 60.0, **given):
    """A male dovetail: flanks that lean outward over a level shoulder on either side."""
    out = HIGH / math.tan(math.radians(angle_deg))
    half, far = wide / 2, 60.0
    outline = [(-far, -10), (far, -10), (far, 0), (half, 0), (half + out, HIGH), (-half - out, HIGH),
               (-half, 0), (-far, 0)]  # fmt: skip
    drawn = cq.Workplane("XZ").polyline(outline).close().extrude(50)
    mid = out / 2
    faces = {
        "left_flank": (-half - mid, -25, HIGH / 2), "right_flank": (half + mid, -25, HIGH / 2),
        "left_land": (-50, -25, 0), "right_land": (50, -25, 0), "right_side": (far, -25, -5),
        "base": (0, -25, -10),
    }  # fmt: skip
    return body("slide", drawn, faces=faces, **given)


def slot(wide: float = 60.0, angle_deg: float = 60.0, **given):
    """A female dovetail: undercut flanks over a floor."""
    inward = HIGH / math.tan(math.radians(angle_deg))
    half, far = wide / 2, 60.0
    outline = [(-far, -10), (far, -10), (far, HIGH), (half - inward, HIGH), (half, 0), (-half, 0),
               (-half + inward, HIGH), (-far, HIGH)]  # fmt: skip
    drawn = cq.Workplane("XZ").polyline(outline).close().extrude(50)
    mid = inward / 2
    faces = {
        "left_flank": (-half + mid, -25, HIGH / 2), "right_flank": (half - mid, -25, HIGH / 2),
        "floor": (0, -25, 0), "base": (0, -25, -10),
    }  # fmt: skip
    return body("slide", drawn, faces=faces, **given)


def vee(**given):
    """A block with a V of 90 degrees, 10 mm deep, in its top at 30."""
    outline = [(-25, 0), (25, 0), (25, 30), (10, 30), (0, 20), (-10, 30), (-25, 30)]
    drawn = cq.Workplane("XZ").polyline(outline).close().extrude(40)
    faces = {"left": (-5, -20, 25), "right": (5, -20, 25), "base": (0, -20, 0), "top": (20, -20, 30)}
    return body("slide", drawn, faces=faces, **given)


def found(drawn, /, **given):
    stated = {"name": "width", "part": "slide", "roll_mm": 10.0, **given}
    setup = Setup(name="bench", bodies=(drawn,), over_rolls=(OverRolls(**stated),))
    placed = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    return list(
        check(Stage(setup=setup, placed=placed, contacts=ContactMap(patches=(), overlaps=()), cuts=()))
    )


SLIDE = {"roll_on": ("left_flank", "left_land"), "second_roll_on": ("right_land", "right_flank")}
SLOT = {"roll_on": ("left_flank", "floor"), "second_roll_on": ("right_flank", "floor")}


def one(findings, kind):
    (finding,) = (f for f in findings if f.kind is kind)
    return finding


@pytest.mark.parametrize("turned", [0.0, 37.0])
def test_a_dovetail_slide_reads_the_closed_form_over_two_rolls(turned):
    """40 + 10 (1 + cot 30) = 67.3205, the closed form of every toolmaker's handbook, however it stands."""
    stands = place(at=(5, 6, 7), rotate=[("y", turned), ("z", turned)])
    findings = found(slide(at=stands), **SLIDE)
    reading = one(findings, Kind.OVER_ROLLS)
    assert reading.value == pytest.approx(40.0 + 10.0 * (1.0 + math.sqrt(3.0)), abs=1e-9)
    assert "over two rolls of 10 mm" in reading.says
    assert all(f.verdict is Verdict.GO for f in findings)


def test_between_the_rolls_of_a_dovetail_slot():
    """The same closed form inward: 60 - 10 (1 + cot 30) = 32.6795."""
    reading = one(found(slot(), **SLOT), Kind.OVER_ROLLS)
    assert reading.value == pytest.approx(60.0 - 10.0 * (1.0 + math.sqrt(3.0)), abs=1e-9)
    assert "between two rolls" in reading.says


def test_over_one_roll_in_a_vee():
    """To the base: 20 to the vertex and r / sin 45 + r over it. From the top: how far out, or in."""
    over = one(found(vee(), roll_on=("left", "right"), to="base"), Kind.OVER_ROLLS)
    assert over.value == pytest.approx(20.0 + 5.0 * (1.0 + math.sqrt(2.0)), abs=1e-9)
    proud = one(found(vee(), roll_on=("left", "right"), to="top"), Kind.OVER_ROLLS)
    assert proud.value == pytest.approx(5.0 * (1.0 + math.sqrt(2.0)) - 10.0, abs=1e-9)
    sunk = one(found(vee(), roll_on=("left", "right"), to="top", roll_mm=4.0), Kind.OVER_ROLLS)
    assert sunk.value == pytest.approx(10.0 - 2.0 * (1.0 + math.sqrt(2.0)), abs=1e-9)


def test_over_one_roll_to_the_far_side_of_a_slide():
    """From the side at 60 to the far side of the left roll: 60 + 20 + 5 cot 30 + 5."""
    reading = one(found(slide(), roll_on=SLIDE["roll_on"], to="right_side"), Kind.OVER_ROLLS)
    assert reading.value == pytest.approx(80.0 + 5.0 / math.tan(math.radians(30.0)) + 5.0, abs=1e-9)


@pytest.mark.parametrize("part", [slide, slot])
def test_the_tolerance_of_the_reading_is_what_moved_faces_read(part):
    """A flank moved by t along its normal widens by t / sin a; each land moved by t by t cot a: read anew."""
    zone = 0.04
    stated = SLIDE if part is slide else SLOT
    tolerances = dict.fromkeys((*stated["roll_on"], *stated["second_roll_on"]), zone)
    reading = one(found(part(tolerance_mm=tolerances), **stated), Kind.OVER_ROLLS)
    # By hand: each flank moves its roll level by (w/2) / sin 60, each land by (w/2) cot 60; the floor of a
    # slot carries both rolls, as two lands do.
    a = math.radians(60.0)
    by_hand = 2 * (zone / 2) * (1 / math.sin(a) + 1 / math.tan(a))
    assert f"±{by_hand * 1e3:.4g} µm" in reading.says
    wider = part(wide=(40.0 if part is slide else 60.0) + 2 * 0.01 / math.sin(a))
    assert abs(one(found(wider, **stated), Kind.OVER_ROLLS).value - reading.value) == pytest.approx(
        2 * 0.01 / math.sin(a), abs=1e-9
    )


def test_a_roll_on_the_edge_is_no_go_with_the_rolls_that_fit():
    """The flank is 12 / sin 60 = 13.856 long; a roll touches it d/2 cot 30 up: 16 mm at most."""
    findings = found(slide(), **SLIDE, roll_mm=20.0)
    short = [f for f in findings if f.kind is Kind.ROLL_TOUCH and f.verdict is Verdict.NO_GO]
    assert {str(f.about[0]) for f in short} == {"slide.left_flank", "slide.right_flank"}
    up = 10.0 / math.tan(math.radians(30.0))
    assert short[0].value == pytest.approx(12.0 / math.sin(math.radians(60.0)) - up, abs=1e-9)
    # 0.2 mm inside either end: 2 (13.856 - 0.2) tan 30 at most, 2 x 0.2 tan 30 at least.
    assert "Take rolls from 0.24 mm to 15.76 mm" in short[0].remedy


def test_a_roll_that_bottoms_elsewhere_is_no_go():
    """A pin 4 mm from the corner on the shoulder: the roll's middle lies 8.66 off, and runs into it."""
    pin = cq.Workplane("XZ").center(24.0 + 4.0, 1.0).rect(1.0, 2.0).extrude(50)
    drawn = slide()
    joined = cq.Workplane(obj=drawn.solid).union(pin)
    part = body("slide", joined, faces={
        "left_flank": (-20 - 3.46, -25, 6), "right_flank": (20 + 3.46, -25, 6), "left_land": (-50, -25, 0),
        "right_land": (25, -25, 0),
    })  # fmt: skip
    findings = found(part, **SLIDE)
    assert any(f.kind is Kind.ROLL_FREE and f.verdict is Verdict.NO_GO for f in findings)


def test_rolls_that_are_not_known_well_enough_are_a_caution():
    """Of rolls 10 um off in diameter the reading is off by 10 um (1 + cot 30): over a tenth of its zone."""
    part = slide(tolerance_mm=dict.fromkeys(("left_flank", "right_flank"), 0.02))
    unsure = one(found(part, **SLIDE, roll_error_um=10.0), Kind.ROLL_ERROR)
    assert unsure.value == pytest.approx(10.0 * (1 + 1 / math.tan(math.radians(30.0))), rel=1e-6)
    assert unsure.verdict is Verdict.CAUTION


def test_what_no_roll_lies_on_is_unknown():
    (finding,) = found(slide(), roll_on=("left_land", "right_land"), to="right_side")
    assert finding.verdict is Verdict.UNKNOWN
    assert "parallel" in finding.says


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (
            {"roll_on": ("left_flank", "left_lamd"), "to": "base"},
            "there is no face 'slide.left_lamd'; did you mean",
        ),
        ({"roll_on": ("left_flank",), "to": "base"}, "a roll lies on two faces"),
        ({**SLIDE, "to": "base"}, "state second_roll_on, or the face"),
        ({"roll_on": ("left_flank", "left_land")}, "state second_roll_on, or the face"),
        ({**SLIDE, "part": "slyde"}, "no part is named 'slyde'; did you mean 'slide'"),
    ],
)
def test_what_cannot_be_measured_is_refused(given, says):
    with pytest.raises(SetupError, match=says.replace("(", r"\(")):
        found(slide(), **given)
