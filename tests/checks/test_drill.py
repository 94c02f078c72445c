"""Holes on flats, slopes and rounds: where they start, how deep they go, and what the tool meets."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import engine
from fixturecheck.errors import SetupError
from fixturecheck.machining.drilled import hole_of
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.load import load
from fixturecheck.setup.make import place
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.tools import Drilling
from tests.checks.gauged import body


def drilled(slope_deg: float = 0.0, diameter: float = 5.0, deep: float | None = None) -> cq.Workplane:
    """A block 40 x 30 x 20 whose top falls toward +X by an angle, with a hole down its middle."""
    fall = 40.0 * math.tan(math.radians(slope_deg))
    outline = [(0, 0), (40, 0), (40, 20), (0, 20 + fall)]
    work = cq.Workplane("XZ").polyline(outline).close().extrude(-30)
    long = 100.0 if deep is None else deep + fall / 2
    top = 20.0 + fall / 2
    tool = (
        cq.Workplane("XY").center(20, 15).circle(diameter / 2).extrude(long + (50.0 if deep is None else 0.0))
    )
    return work.cut(tool.translate((0, 0, top - long)) if deep is not None else tool.translate((0, 0, -10)))


def part(work: cq.Workplane, **given) -> Body:
    return body("block", work, **given)


def setup_of(*bodies: Body, **stated) -> Setup:
    given = {"flute_mm": 60.0, "stick_out_mm": 80.0} | stated
    drill = Drilling(name="cross", parts=("block",), hole="round", **given)
    return Setup(name="bench", bodies=bodies, drills=(drill,))


def asked(setup: Setup, kind: Kind):
    return [f for f in engine.check(setup, only=["drill"]).findings if f.kind is kind]


@pytest.mark.parametrize("slope_deg", [0.0, 4.0, 15.0])
def test_the_slope_is_that_of_the_face(slope_deg):
    block = part(drilled(slope_deg))
    hole = hole_of(block, setup_of(block).drills[0])
    rise = 2.5 * math.tan(math.radians(slope_deg))
    assert hole.slope_deg == pytest.approx(slope_deg, abs=1e-6)
    assert (hole.rim_high_mm, hole.rim_low_mm) == (
        pytest.approx(rise, abs=0.01),
        pytest.approx(-rise, abs=0.01),
    )
    assert hole.long_mm == pytest.approx(20.0 + 20.0 * math.tan(math.radians(slope_deg)), abs=1e-6)
    assert hole.through


@pytest.mark.parametrize(
    ("slope_deg", "spot_deg", "seat_mm", "verdict"),
    [
        (0.0, None, None, Verdict.GO),
        (4.0, None, None, Verdict.NO_GO),
        (4.0, 120.0, None, Verdict.GO),
        (15.0, 120.0, None, Verdict.NO_GO),
        (15.0, None, 5.0, Verdict.GO),
        (15.0, None, 4.0, Verdict.NO_GO),
    ],
)
def test_a_drill_starts_square_or_on_a_seat(slope_deg, spot_deg, seat_mm, verdict):
    (found,) = asked(setup_of(part(drilled(slope_deg)), spot_deg=spot_deg, seat_mm=seat_mm), Kind.DRILL_START)
    assert found.verdict is verdict
    if slope_deg == 15.0 and spot_deg:
        # 5 tan(15 deg) = 1.34 mm.
        assert "with an end mill 1.34 mm below its high side" in found.remedy


def test_a_cross_hole_on_the_crest_of_a_round_bar_starts_square():
    """The rim rises and falls, but its best plane is level."""
    bar = cq.Workplane("YZ").circle(10).extrude(40)
    hole = cq.Workplane("XY").center(20, 0).circle(2.5).extrude(30).translate((0, 0, -15))
    solid = bar.cut(hole).val()
    (index,) = (i for i, f in enumerate(solid.Faces()) if f.geomType() == "CYLINDER" and f.Area() < 400)
    block = Body(name="block", solid=solid, faces={"round": (index,)})
    found = hole_of(block, setup_of(block).drills[0])
    assert found.slope_deg == pytest.approx(0.0, abs=1e-3)
    assert found.rim_high_mm > 0.1
    off_crest = cq.Workplane("XY").center(20, 5).circle(2.0).extrude(30).translate((0, 0, -15))
    solid = bar.cut(off_crest).val()
    (index,) = (i for i, f in enumerate(solid.Faces()) if f.geomType() == "CYLINDER" and f.Area() < 400)
    block = Body(name="block", solid=solid, faces={"round": (index,)})
    # At y = 5 on a radius of 10 the surface slopes by asin(0.5) = 30 degrees; over the width a little more.
    assert hole_of(block, setup_of(block).drills[0]).slope_deg == pytest.approx(30.0, abs=1.5)


def test_a_tilted_part_is_told_to_be_tipped():
    leaning = part(drilled(), at=place(rotate=[("y", 10.0)]))
    (found,) = asked(setup_of(leaning), Kind.HOLE_UPRIGHT)
    assert (found.verdict, found.value) == (Verdict.NO_GO, pytest.approx(10.0))


def test_a_spot_narrower_than_the_point_is_a_caution():
    (shallow,) = asked(setup_of(part(drilled()), spot_deg=90.0), Kind.SPOT)
    assert shallow.verdict is Verdict.CAUTION
    # Half of 5 mm at 90 degrees.
    assert "2.50 mm deep" in shallow.says
    (wide,) = asked(setup_of(part(drilled()), spot_deg=120.0), Kind.SPOT)
    assert wide.verdict is Verdict.GO


@pytest.mark.parametrize(
    ("thread", "drill_mm", "verdict"),
    [
        ("M6", 5.0, Verdict.GO),
        ("M6", 4.9, Verdict.CAUTION),
        ("M6", 4.7, Verdict.NO_GO),
        ("M6", 5.5, Verdict.NO_GO),
    ],
)
def test_a_tap_drill_is_judged_by_the_share_of_the_thread_it_leaves(thread, drill_mm, verdict):
    """M6: 77 % at 5.0, 85 % at 4.9, 100 % at 4.7, 38 % at 5.5, by (D - d) / (1.299 P)."""
    block = part(drilled(diameter=drill_mm))
    (found,) = asked(setup_of(block, drill_mm=drill_mm, thread=thread), Kind.THREAD_SHARE)
    assert found.verdict is verdict


@pytest.mark.parametrize(("deep", "verdict"), [(16.9, Verdict.NO_GO), (17.1, Verdict.GO)])
def test_a_blind_hole_is_deep_enough_for_its_thread(deep, verdict):
    """12 mm of M6 with four threads of lead and a pitch of room: 17 mm."""
    block = part(drilled(deep=deep))
    (found,) = asked(setup_of(block, thread="M6", thread_mm=12.0), Kind.THREAD_DEPTH)
    assert (found.verdict, found.value) == (verdict, pytest.approx(deep))


def test_a_shorter_tap_is_named_only_where_one_is_short_enough():
    """12 mm of M6 and a pitch of room in 15 mm leave a lead of 2 threads, in 14.9 none that is sold."""
    bottoming = "take a bottoming tap, whose lead is 2 threads, or"
    for deep, named in ((15.0, bottoming), (14.9, "deeper, or thread")):
        block = part(drilled(deep=deep))
        (found,) = asked(setup_of(block, thread="M6", thread_mm=12.0), Kind.THREAD_DEPTH)
        assert named in found.remedy


def test_a_hole_that_is_there_is_only_tapped():
    """On a slope of 15 degrees no drill would start; the tap that stands out 40 mm meets what it would."""
    given = {"thread": "M6", "tap_stick_out_mm": 40.0, "daylight_mm": 110.0, "flute_mm": 5.0}
    setup = setup_of(part(drilled(15.0)), drilled=True, **given)
    kinds = {f.kind: f for f in engine.check(setup, only=["drill"]).findings}
    assert not kinds.keys() & {Kind.DRILL_START, Kind.FLUTES, Kind.DRILL_CLEAR, Kind.NUT_CLEAR}
    assert kinds.keys() >= {Kind.THREAD_SHARE, Kind.TAP_CLEAR, Kind.TAP_NUT_CLEAR}
    # 20 + 40 tan(15 deg) of work, 40 of tap and 60 of its chuck, 1 clear.
    assert kinds[Kind.TOOL_DAYLIGHT].value == pytest.approx(121.0 + 40.0 * math.tan(math.radians(15.0)))


def test_a_blind_thread_without_a_depth_is_unknown():
    found = engine.check(setup_of(part(drilled(deep=15.0)), thread="M6"), only=["drill"])
    assert any(f.verdict is Verdict.UNKNOWN and "state thread_mm" in f.says for f in found.findings)


def test_flutes_are_held_against_the_depth():
    """20 mm of hole, 1 mm beyond, a point of 1.50 mm and a diameter of 5: 27.5 mm."""
    for flute_mm, verdict in ((27.4, Verdict.NO_GO), (27.6, Verdict.GO)):
        (found,) = asked(setup_of(part(drilled()), flute_mm=flute_mm), Kind.FLUTES)
        assert (found.verdict, found.limit) == (verdict, pytest.approx(27.502, abs=0.001))


def bar(name: str, low: tuple, size: tuple) -> Body:
    return Body(name=name, role="fixture", solid=cq.Solid.makeBox(*size, cq.Vector(*low)))


def test_a_drill_runs_into_the_parallel_under_its_hole():
    under = bar("parallel", (15, 0, -10), (10, 30, 10))
    (hit,) = asked(setup_of(part(drilled()), under), Kind.DRILL_CLEAR)
    assert (hit.verdict, hit.value) == (Verdict.NO_GO, 0.0)
    beside = bar("parallel", (0, 0, -10), (10, 30, 10))
    (clear,) = asked(setup_of(part(drilled()), beside), Kind.DRILL_CLEAR)
    assert clear.verdict is Verdict.GO


def test_a_sloping_exit_is_drilled_until_its_lowest_point_is_open():
    """The under side falls by 40 tan(30 deg) / 2 to the middle, and across 6 mm by 1.732 mm either way.

    So the full diameter is out 1.732 + 1 mm below the middle, and the tip 1.803 mm lower still.
    """
    work = cq.Workplane("XZ").polyline([(0, 40 * math.tan(math.radians(30.0))), (40, 0), (40, 60), (0, 60)])
    hole = cq.Workplane("XY").center(20, 15).circle(3.0).extrude(80)
    block = part(work.close().extrude(-30).cut(hole))
    middle = 20 * math.tan(math.radians(30.0))
    tip = middle - 3 * math.tan(math.radians(30.0)) - 1.0 - 3.0 / math.tan(math.radians(59.0))
    (found,) = asked(setup_of(block), Kind.FLUTES)
    assert found.limit == pytest.approx(60.0 - tip + 6.0, abs=0.01)
    under = bar("below", (0, 0, tip - 5.5), (40, 30, 5))
    (near,) = asked(setup_of(block, under), Kind.DRILL_CLEAR)
    assert (near.verdict, near.value) == (Verdict.CAUTION, pytest.approx(0.5, abs=0.01))


def test_a_hole_through_one_ear_of_a_yoke_is_open_below_and_the_drill_may_meet_the_other():
    """Ears 6 and 8 thick; of a slot 4 wide the drill, 1 mm and its point of 1.50 out, leaves 1.5 mm."""
    for room, verdict in ((4.0, Verdict.GO), (2.0, Verdict.NO_GO)):
        whole = cq.Workplane().box(40, 30, 14 + room, centered=False)
        slot = cq.Workplane().box(30, 30, room, centered=False).translate((10, 0, 8))
        hole = (
            cq.Workplane("XY").center(25, 15).circle(2.5).extrude(6 + room).translate((0, 0, 8 + 0.5 * room))
        )
        block = part(whole.cut(slot).cut(hole))
        setup = setup_of(block)
        assert hole_of(block, setup.drills[0]).through
        (found,) = asked(setup, Kind.DRILL_CLEAR)
        assert found.verdict is verdict
    assert "runs into block below block.round" in found.says


def test_a_counterbore_ends_on_its_ledge():
    pilot, wide = (cq.Workplane("XY").center(20, 15).circle(r).extrude(30) for r in (1.0, 2.5))
    whole = cq.Workplane().box(40, 30, 20, centered=False).cut(pilot).cut(wide.translate((0, 0, 12)))
    block = part(whole)
    (index,) = (i for i, f in enumerate(block.solid.Faces()) if f.geomType() == "CYLINDER" and f.Area() > 100)
    ledge = Body(name="block", solid=block.solid, faces={"round": (index,)})
    assert not hole_of(ledge, setup_of(ledge).drills[0]).through


def test_a_nut_comes_down_on_a_jaw():
    """Out 30 mm; the tip goes 22.5 mm below the top at 20, so the nut comes to z = 27.5."""
    jaw = bar("jaw", (0, 31, 0), (40, 20, 35))
    (hit,) = asked(setup_of(part(drilled()), jaw, stick_out_mm=30.0), Kind.NUT_CLEAR)
    assert hit.verdict is Verdict.NO_GO
    low = bar("jaw", (0, 31, 0), (40, 20, 27))
    (near,) = asked(setup_of(part(drilled()), low, stick_out_mm=30.0), Kind.NUT_CLEAR)
    # 20 + 30 - 22.502 - 27 = 0.498 mm, less than the millimetre that is kept clear.
    assert (near.verdict, near.value) == (Verdict.CAUTION, pytest.approx(0.498, abs=0.001))
    (far,) = asked(setup_of(part(drilled()), low), Kind.NUT_CLEAR)
    assert far.verdict is Verdict.GO


def test_a_drill_comes_down_where_a_strap_presses():
    """The hole of 5 mm stands at (20, 15); half a millimetre about the tip is solid whichever way it lies."""

    def strapped(x_mm: float) -> Verdict:
        strap = Clamp(name="strap", kind="strap", body="block", at_mm=(x_mm, 15.0, 20.0), force_n=1000.0)
        setup = replace(setup_of(part(drilled())), holding=Holding(clamps=(strap,)))
        (found,) = asked(setup, Kind.DRILL_CLEAR)
        return found.verdict

    assert [strapped(x) for x in (22.6, 23.5, 24.5)] == [Verdict.NO_GO, Verdict.CAUTION, Verdict.GO]


def test_work_tool_and_clearance_must_fit_the_daylight():
    """20 mm of work, 140 of tool, 1 clear."""
    for daylight_mm, verdict in ((160.0, Verdict.NO_GO), (162.0, Verdict.GO)):
        (found,) = asked(setup_of(part(drilled()), daylight_mm=daylight_mm), Kind.TOOL_DAYLIGHT)
        assert (found.verdict, found.value) == (verdict, pytest.approx(161.0))


TOML = """
[[body]]
name = "block"
file = "block.step"
faces = { round = { select = "%CYLINDER" } }
[[drill]]
name = "cross"
parts = ["block"]
hole = "round"
flute_mm = 60
stick_out_mm = 80
"""


def test_from_toml_and_what_is_refused(tmp_path):
    cq.exporters.export(drilled(15.0), str(tmp_path / "block.step"))

    def stated(more: str = "", text: str = TOML):
        (tmp_path / "drill.toml").write_text(text + more)
        return load(tmp_path / "drill.toml")

    (found,) = asked(stated(), Kind.DRILL_START)
    assert found.verdict is Verdict.NO_GO
    for more, says in (
        (
            "daylight_mm = 120",
            "line 6: drill 'cross': drill and nut are 140 mm long, .*120 mm over the table",
        ),
        ("thread = 'M7'", "thread 'M7' is not known; there are"),
        ("thread_mm = 5", "thread_mm is stated without a thread"),
        ("drilled = true", "name its thread, and no spot_deg or seat_mm"),
    ):
        with pytest.raises(SetupError, match=says):
            stated(more)
    with pytest.raises(SetupError, match="block has no face 'rund'; did you mean 'round'"):
        stated(text=TOML.replace('hole = "round"', 'hole = "rund"'))
    with pytest.raises(SetupError, match="no part is named 'blok'; did you mean 'block'"):
        stated(text=TOML.replace('parts = ["block"]', 'parts = ["blok"]'))


def test_what_is_no_round_hole_is_unknown():
    block = part(cq.Workplane().box(40, 30, 20, centered=False))
    drill = Drilling(name="cross", parts=("block",), hole="top", flute_mm=60.0, stick_out_mm=80.0)
    (found,) = engine.check(Setup(name="bench", bodies=(block,), drills=(drill,)), only=["drill"]).findings
    assert found.verdict is Verdict.UNKNOWN


def test_a_tap_runs_out_into_the_parallel_below():
    """A through hole 20 deep for M6, tapped with a lead of four threads: its end comes 4 mm out below. The
    drill breaks through by 0.5 mm and its point of 1.5 mm, so a gap of 3 mm clears the drill, not the tap."""
    work, below = drilled(), bar("below", (0, 0, -13.0), (40, 30, 10))
    stated = {"thread": "M6", "breaks_through_mm": 0.5, "flute_mm": 60.0, "stick_out_mm": 80.0}
    setup = setup_of(part(work), below, **stated)
    (tap,) = asked(setup, Kind.TAP_CLEAR)
    assert tap.verdict is Verdict.NO_GO
    short = setup_of(part(work), below, **stated, lead_pitches=1.0)
    (tap,) = asked(short, Kind.TAP_CLEAR)
    assert tap.verdict is Verdict.GO


def test_the_holder_of_a_tap_meets_the_part():
    """A tap that stands out 20 mm and goes 24 mm in brings its nut 4 mm into the part."""
    stated = {"thread": "M6", "flute_mm": 60.0, "stick_out_mm": 80.0}
    (nut,) = asked(setup_of(part(drilled()), **stated, tap_stick_out_mm=20.0), Kind.TAP_NUT_CLEAR)
    assert nut.verdict is Verdict.NO_GO
    (nut,) = asked(setup_of(part(drilled()), **stated), Kind.TAP_NUT_CLEAR)
    assert nut.verdict is Verdict.GO


def test_a_spot_drill_is_held_against_what_stands_beside_the_hole():
    """A nut of 44 mm reaches 2 mm over a block that stands beside the part, 20 mm from the hole."""
    beside = bar("beside", (40.0, 5.0, 0.0), (10, 20, 60))
    stated = {"flute_mm": 60.0, "stick_out_mm": 120.0, "spot_deg": 120.0, "nut_mm": 44.0}
    (nut,) = asked(setup_of(part(drilled()), beside, **stated, spot_stick_out_mm=10.0), Kind.SPOT_NUT_CLEAR)
    assert nut.verdict is Verdict.NO_GO
    (nut,) = asked(setup_of(part(drilled()), beside, **stated), Kind.SPOT_NUT_CLEAR)
    assert nut.verdict is Verdict.GO


@pytest.mark.parametrize("given", [{"tap_stick_out_mm": 30.0}, {"spot_mm": 8.0}])
def test_a_tool_without_its_kind_is_refused(given):
    with pytest.raises(SetupError, match="is stated without"):
        setup_of(part(drilled()), flute_mm=60.0, stick_out_mm=80.0, **given)


@pytest.mark.parametrize(("deep", "verdict"), [(9.0, Verdict.GO), (18.0, Verdict.CAUTION)])
def test_a_hole_many_times_as_deep_as_it_is_wide_is_a_caution(deep, verdict):
    """1.5 mm wide: 6 and 12 diameters deep, where a twist drill makes ten: common practice, no source."""
    (found,) = asked(setup_of(part(drilled(diameter=1.5, deep=deep))), Kind.DEEP_HOLE)
    assert (found.verdict, found.value) == (verdict, pytest.approx(deep / 1.5))


@pytest.mark.parametrize(("deep", "says"), [(14.0, "thread 9.00 mm deep only"), (6.0, "thinner thread")])
def test_a_thread_too_short_to_hold_is_no_remedy(deep, says):
    """12 mm of M6 need 17: a hole of 14 leaves 9 of thread, one of 6 a single pitch; 4.8 hold a screw."""
    (found,) = asked(setup_of(part(drilled(deep=deep)), thread="M6", thread_mm=12.0), Kind.THREAD_DEPTH)
    assert found.verdict is Verdict.NO_GO
    assert says in found.remedy
