"""The crash check from set-ups: digging in, falling away, losses, and what is stated badly."""

import pytest

from fixturecheck import Clamp, Cut, Holding, Seat, Setup, Wheel, body, check, equipment
from fixturecheck.errors import SetupError
from fixturecheck.kernel.boolean import united
from fixturecheck.kernel.construct import box
from fixturecheck.result.finding import Verdict
from tests.holding.rigs import strap

WHEEL = Wheel(diameter_mm=178.0, thickness_mm=22.0)
PLATE = body("plate", box((-100, -60, -20), (100, 60, 0)), role="fixture")


def stated(part, holding, *others, downfeed_mm=0.01):
    return Setup(
        name="bench",
        bodies=(PLATE, *others, body("part", part, faces={"floor": ">Z"}, finish="ground")),
        cuts=(Cut(name="top", parts=("part",), floor="floor", stock_mm=0.1, downfeed_mm=downfeed_mm),),
        wheel=WHEEL,
        holding=holding,
    )


def told(setup, name="crash"):
    return [f for f in check(setup, only=(name,)).findings if f.check == name]


def tower(screw_n, mu=0.6):
    """A tower that tips to the right, with the drag, before it slides."""
    return stated(
        box((-8, -10, 0), (8, 10, 50)),
        Holding(coolant=False, mu=(mu, mu), clamps=(strap("part", (0, 0, 50), screw_n),)),
    )


def test_a_tower_that_tips_under_the_wheel_is_a_no_go_below_the_least_factor_and_a_caution_above():
    (weak,) = told(tower(1500.0))
    assert "tips" in weak.says
    assert "bites into it" in weak.says
    assert weak.verdict is Verdict.NO_GO
    assert weak.value < weak.limit == 3.0
    strong, lost = told(tower(16000.0))
    assert strong.value > 3.0
    assert strong.verdict is Verdict.CAUTION
    assert strong.says.startswith("part holds ")
    assert "times the cutting load (3 required; " in strong.says
    assert lost.says.startswith("Without clamp strap, part holds ")


def test_a_bar_that_slides_out_level_is_no_crash_and_says_what_it_runs_into():
    """Sparks to the right: the drag pushes it right, level, toward a stop 5 mm away."""
    stop = body("stop", box((45, -10, 0), (60, 10, 8)), role="fixture")
    bar = box((-40, -10, 0), (40, 10, 10))
    held = Holding(coolant=False, mu=(0.2, 0.2), clamps=(strap("part", (0, 0, 10), 1800.0),), blocking=())
    (found,) = told(stated(bar, held, stop))
    assert found.verdict is Verdict.GO
    assert 1.0 < found.value < 3.0
    assert "away from the wheel" in found.says or "does not cut deeper" in found.says
    assert "runs into stop after 5.0 mm" in found.says
    assert found.direction[0] == pytest.approx(1.0, abs=0.01)


def test_a_block_that_keeps_it_from_tipping_is_named_when_its_loss_digs_in():
    """A tower against a loose block that stands before a fixed stop; without the block it tips."""
    block = body("block", box((8, -15, 0), (60, 15, 40)), role="fixture")
    stop = body("stop", box((60, -15, 0), (80, 15, 40)), role="fixture")
    held = Holding(
        coolant=False, mu=(0.3, 0.3), clamps=(strap("part", (0, 0, 50), 4000.0),), blocking=("block",)
    )
    found = told(stated(box((-8, -10, 0), (8, 10, 50)), held, block, stop))
    first, *lost = found
    assert first.value > 3.0
    # The block stands before the fixed stop: it holds beyond the search, so nothing was followed.
    assert first.verdict is Verdict.GO
    (without,) = [f for f in lost if f.subject.endswith("without block")]
    # As the tower alone: drag and push as found, about its right lower edge; any text on statics.
    assert without.verdict is Verdict.CAUTION
    assert without.value == pytest.approx(told(tower(4000.0))[0].value, rel=0.01)
    assert "bites into it" in without.says


def test_a_clamp_that_pushes_the_part_off_its_seat_is_named():
    toe = Clamp(name="toe", kind="toe", body="part", at_mm=(-30, 0, 8), inward=(1, 0, 0), force_n=400.0)
    setup = stated(
        box((-30, -10, 0), (30, 10, 15)), Holding(coolant=False, friction="ground_steel", clamps=(toe,))
    )
    found = told(setup, "hold")[0]
    assert found.verdict is Verdict.NO_GO
    assert found.value == 0.0
    assert "moves off before the cut begins" in found.says
    assert "The force of toe pushes it off its seat" in found.says


def test_no_friction_is_said_plainly():
    found = told(stated(box((-30, -10, 0), (30, 10, 15)), Holding(coolant=False, mu=(0.0, 0.0))), "hold")[0]
    assert found.verdict is Verdict.NO_GO
    assert found.value == pytest.approx(0.0, abs=1e-3)
    assert "No friction is stated" in found.says


def test_a_cut_without_depth_is_refused():
    with pytest.raises(SetupError, match=r"downfeed_mm: must be from 0\.0001 to 20"):
        stated(box((-30, -10, 0), (30, 10, 15)), Holding(), downfeed_mm=0.0)


def test_one_kind_of_pole_has_no_return_path_and_nothing_is_held():
    pole = body(
        "pole",
        box((-60, -40, -40), (60, 40, 0)),
        role="fixture",
        pole="n",
        finish="ground",
        faces={"base": "<Z"},
    )
    part = body("part", box((-30, -10, 0), (30, 10, 15)), faces={"floor": ">Z"}, finish="ground")
    setup = Setup(
        name="one pole",
        bodies=(pole, part),
        cuts=(Cut(name="top", parts=("part",), floor="floor", stock_mm=0.1),),
        wheel=WHEEL,
        holding=Holding(magnet="full"),
    )
    found = told(setup, "hold")
    assert [f.verdict for f in found] == [Verdict.UNKNOWN]
    assert "no return path" in found[0].says
    # Told once: what goes where is not asked again.
    assert [f for f in check(setup, only=("hold", "crash")).findings if f.check == "crash"] == []


def test_an_overhang_lets_the_wheel_stand_where_the_part_goes_down():
    """The foot lies left of all of the floor: with the drag it tips away from the wheel."""
    part = united([box((-40, -10, 0), (-10, 10, 40)), box((-10, -10, 30), (40, 10, 44))], "the part")
    floor = body("part", part, faces={"floor": (20, 0, 44)}, finish="ground")
    setup = Setup(
        name="overhang",
        bodies=(PLATE, floor),
        cuts=(Cut(name="top", parts=("part",), floor="floor", stock_mm=0.1, downfeed_mm=0.01),),
        wheel=WHEEL,
        holding=Holding(coolant=False, mu=(0.6, 0.6), clamps=(strap("part", (-25, 0, 40), 3000.0),)),
    )
    (found,) = told(setup)
    assert "tips" in found.says
    assert "away from the wheel" in found.says
    # It lets go under the cut itself, whichever way it goes.
    assert 0.5 < found.value < 1.0
    assert found.verdict is Verdict.NO_GO


def hold_of_thin_part(wide_mm: float, at, **holding):
    """The first finding about the hold of a part 20 mm long and 2 mm thick on a bare chuck."""
    part = body(
        "part",
        box((-10, -wide_mm / 2, 0), (10, wide_mm / 2, 2)),
        at=at,
        material="steel_1018",
        finish="ground",
        faces={"floor": ">Z", "seat": "<Z"},
    )
    setup = Setup(
        name="thin",
        bodies=(*equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=0.0), part),
        seats=(Seat(body="part", face="seat", on="chuck_plate", on_face="top", rank="primary"),),
        cuts=(Cut(name="top", parts=("part",), floor="floor", stock_mm=0.05, downfeed_mm=0.02),),
        wheel=WHEEL,
        holding=Holding(magnet="full", rated_pull_n_cm2=80.0, **holding),
    )
    (found, *_) = told(setup, "hold")
    return found


@pytest.mark.parametrize(("at_x_mm", "alone"), [(0.0, True), (12.5, False)])
def test_a_part_on_one_pole_is_told_why_it_does_not_hold(at_x_mm, alone):
    """The middle pole of the chuck is 20 mm wide, and so is the part: no flux finds a way back through it."""
    found = hold_of_thin_part(16.0, (at_x_mm, 0, 0), least_factor=100.0)
    assert found.verdict is not Verdict.GO
    assert found.says.startswith("part lets go at ")
    assert ("It stands on one pole only, chuck_pole_" in found.says) is alone
    assert ("Set it across two" in found.says) is alone


def test_a_part_on_the_frame_of_the_chuck_is_told_where_its_poles_begin():
    """The plate ends at Y 75 and its poles 10 mm before: a part from 66.5 on stands 1.5 mm beside them."""
    found = hold_of_thin_part(8.0, (0, 70.5, 0))
    assert found.verdict is Verdict.NO_GO
    assert "the nearest begins 1.5 mm toward -Y. Set it over the poles." in found.says
