"""Where a freed part goes, from the solids, against circles, lines and corners worked out by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from fixturecheck import Cut, Setup, Wheel, body
from fixturecheck.holding.factor import Loaded
from fixturecheck.holding.failure_path import first_met, ways_of
from fixturecheck.holding.model import Borne, LoadCase
from fixturecheck.holding.process import TRAVEL_MM
from fixturecheck.holding.wheel import follow_away, follow_into
from fixturecheck.interval import Range
from fixturecheck.kernel.boolean import united
from fixturecheck.kernel.construct import box
from fixturecheck.result.contact import Mover
from fixturecheck.result.hold import CutCase, Outcome, Stroke
from fixturecheck.statics.equilibrium import Rigid
from fixturecheck.statics.mechanism import starting_motions
from tests.holding.rigs import ground

RADIUS_MM, WIDE_MM, TALL_MM = 90.0, 20.5, 40.0
PLATE = box((-80, -40, -10), (80, 40, 0))


def scene(part, *others):
    setup = Setup(
        name="bench",
        bodies=(
            body("plate", PLATE, role="fixture"),
            *(body(f"stop_{i}", solid, role="fixture") for i, solid in enumerate(others)),
            body("part", part, faces={"floor": ">Z"}),
        ),
        cuts=(Cut(name="top", parts=("part",), floor="floor", stock_mm=0.1, downfeed_mm=0.02),),
        wheel=Wheel(diameter_mm=2 * RADIUS_MM, thickness_mm=WIDE_MM),
    )
    return scene_under(setup)


def scene_under(setup):
    process, rig = ground(setup)
    return process.scene(rig)


def first_hit(bench, motion, case):
    others = {name: shape for name, shape in bench.others(case).items() if name != "part"}
    return first_met(bench.standing["part"], motion, others)


def tower(low_x=-10.0, high_x=10.0):
    return box((low_x, -5, 0), (high_x, 5, TALL_MM))


def at(x, stroke=Stroke.RIGHT):
    return LoadCase(of_cut=CutCase(stroke=stroke), at_mm=(x, 0.0, TALL_MM))


def moving(*, velocity=(0, 0, 0), turn=(0, 0, 0), about=(0, 0, TALL_MM / 2)):
    """The motion of a body with this velocity at a point and this rotation."""
    middle = np.array([0.0, 0.0, TALL_MM / 2])
    speed = np.array(velocity) + np.cross(turn, middle - about)
    rigid = Rigid(name="part", at_mm=tuple(middle), size_mm=TALL_MM / 2)
    return starting_motions((rigid,), np.concatenate([speed, turn])[None, :].astype(float))[0]


def tips_right(edge_x):
    return moving(turn=(0, 1, 0), about=(edge_x, 0, 0))


def segment_mm3(deep_mm, wide_mm):
    """Volume of a cylinder cut off by a plane: circular segment, any handbook of formulas."""
    if deep_mm <= 0:
        return 0.0
    r = RADIUS_MM
    area = r**2 * math.acos(1 - deep_mm / r) - (r - deep_mm) * math.sqrt(2 * r * deep_mm - deep_mm**2)
    return area * wide_mm


def deep_after(moved_mm, wheel_x, edge_x, motion):
    """How deep the tipped floor cuts the wheel: its radius less the axis's distance from the floor."""
    angle = moved_mm * np.linalg.norm(motion.rotation_rad_mm)
    level = np.array([math.cos(angle), -math.sin(angle)])
    up = np.array([math.sin(angle), math.cos(angle)])
    on_floor = np.array([edge_x, 0.0]) + (-edge_x) * level + TALL_MM * up
    axis = np.array([wheel_x, TALL_MM + RADIUS_MM])
    return RADIUS_MM - float((axis - on_floor) @ up)


def test_a_tip_that_lifts_the_floor_under_the_wheel_digs_in_by_the_segment_of_a_circle():
    bench, motion = scene(tower()), tips_right(10.0)
    crash = follow_into(bench, motion, bench.wheel_at(at(0.0))[Mover.WHEEL])
    assert crash.outcome is Outcome.DIGS_IN
    expected = [segment_mm3(deep_after(t, 0.0, 10.0, motion), 10.0) for t in crash.moved_mm]
    # Up to where the chord runs out of the floor's end, 20 mm wide.
    deep = [deep_after(t, 0.0, 10.0, motion) for t in crash.moved_mm]
    inside = [2 * math.sqrt(2 * RADIUS_MM * max(d, 0.0)) < 18.0 for d in deep]
    assert sum(inside) >= 4
    for ok, found, wanted in zip(inside, crash.overlap_mm3, expected, strict=True):
        if ok:
            assert found == pytest.approx(wanted, rel=1e-3, abs=1e-6)


def test_a_tip_that_lowers_the_floor_under_the_wheel_falls_away():
    """A floor that overhangs the foot: right of the edge it tips over, it goes down."""
    part = united([tower(), box((-10, -5, 30), (40, 5, TALL_MM))], "the part")
    bench, motion = scene(part), tips_right(10.0)
    wheel = bench.wheel_at(at(40.0))[Mover.WHEEL]
    assert follow_into(bench, motion, wheel).outcome is Outcome.STAYS
    away = follow_away(bench, motion, wheel)
    assert away.outcome is Outcome.FALLS_AWAY
    # What the wheel takes of its pass before: half a segment as deep as the downfeed, at the floor's end.
    assert away.overlap_mm3[0] == pytest.approx(0.5 * segment_mm3(0.02, 10.0), rel=1e-3)
    # The same part with the wheel left of the edge is lifted into it.
    assert follow_into(bench, motion, bench.wheel_at(at(-5.0))[Mover.WHEEL]).outcome is Outcome.DIGS_IN


@pytest.mark.parametrize("way", [(1, 0, 0), (-1, 0, 0), (0, 1, 0)])
def test_a_level_slide_bites_no_deeper(way):
    bench = scene(tower())
    wheel = bench.wheel_at(at(0.0))[Mover.WHEEL]
    assert follow_into(bench, moving(velocity=way), wheel).outcome is Outcome.STAYS
    assert follow_away(bench, moving(velocity=way), wheel).outcome is Outcome.STAYS


@pytest.mark.parametrize(
    ("rise_mm", "outcome"), [(0.002, Outcome.STAYS), (0.02, Outcome.DIGS_IN), (0.04, Outcome.DIGS_IN)]
)
def test_a_rise_by_another_pass_is_a_bite_and_what_contacts_give_is_none(rise_mm, outcome):
    """The scene's pass is 0.02 mm deep. The foot of 20 x 10 mm gives 2 E* sqrt(A / pi) = 1.8 kN/um, by a
    rigid punch (Sneddon 1965, from memory): under 3 kN no more than 2 um."""
    give_um = 3000.0 / (2.0 * 113_147.0 * math.sqrt(200.0 / math.pi)) * 1e3
    assert give_um < 2.0
    bench = scene(tower())
    creeping = moving(velocity=(1.0, 0.0, rise_mm / TRAVEL_MM))
    assert follow_into(bench, creeping, bench.wheel_at(at(0.0))[Mover.WHEEL]).outcome is outcome


def test_a_slide_runs_into_the_nearer_stop_after_its_gap():
    bench = scene(tower(), box((13.2, -5, 0), (20, 5, 8)), box((-30, -5, 0), (-15.5, 5, 8)))
    assert first_hit(bench, moving(velocity=(1, 0, 0)), at(0.0)) == (
        "stop_0",
        pytest.approx(3.2, abs=0.02),
    )
    assert first_hit(bench, moving(velocity=(-1, 0, 0)), at(0.0)) == (
        "stop_1",
        pytest.approx(5.5, abs=0.02),
    )
    assert first_hit(bench, moving(velocity=(0, 1, 0)), at(0.0))[0] is None


def test_a_tip_runs_into_a_wall_when_its_corner_gets_there():
    """A corner on a circle about the edge: x = sqrt(w^2 + h^2) cos(angle + atan(h / w)), w to the left."""
    bench = scene(tower(), box((14.0, -5, 20.0), (20, 5, 38.0)))
    motion = tips_right(10.0)
    hit, after_mm = first_hit(bench, motion, at(-60.0))
    assert hit == "stop_0"
    # The right wall leans as a line through the edge: at the wall's top it has gone 4 mm to the right.
    angle = math.atan(4.0 / 38.0)
    assert after_mm * np.linalg.norm(motion.rotation_rad_mm) == pytest.approx(angle, rel=0.01)


def test_a_wall_that_moves_into_the_wheels_side_digs_in():
    """A step ground against its wall: a slide toward the wheel takes the wall by its own area."""
    step = united([box((-20, -15, 0), (20, 15, 10)), box((-20, 5, 10), (20, 15, 14))], "the part")
    setup = Setup(
        name="step",
        bodies=(
            body("plate", PLATE, role="fixture"),
            body("part", step, faces={"floor": (0, -5, 10), "wall": (0, 5, 12)}),
        ),
        cuts=(Cut(name="step", parts=("part",), floor="floor", wall="wall", downfeed_mm=0.01, stock_mm=0.1),),
        wheel=Wheel(diameter_mm=2 * RADIUS_MM, thickness_mm=WIDE_MM),
    )
    bench = scene_under(setup)
    wheel = bench.wheel_at(LoadCase(of_cut=CutCase(stroke=Stroke.RIGHT), at_mm=(0, 0, 10)))[Mover.WHEEL]
    toward = follow_into(bench, moving(velocity=(0, -1, 0)), wheel)
    assert toward.outcome is Outcome.DIGS_IN
    # Half the chord at the top of the wall is 26.6 mm, more than half the wall: all of it but what lies
    # under the rim, between the circle and the floor.
    under = 2 * (
        20 * RADIUS_MM - sum(math.sqrt(RADIUS_MM**2 - x**2) for x in np.linspace(0, 20, 2001)) * 0.01
    )
    assert toward.overlap_mm3[-1] == pytest.approx((40 * 4 - under) * TRAVEL_MM, rel=0.02)
    assert follow_into(bench, moving(velocity=(0, 1, 0)), wheel).outcome is Outcome.STAYS


def test_a_slide_that_brings_a_shoulder_into_the_wheel_digs_in_further_on():
    """A shoulder 6 mm off the side of the wheel: nothing within two millimetres, and a bite there."""
    part = united(
        [
            box((-20, -30, 0), (20, 10.25, 10)),
            box((-20, 16.25, 0), (20, 26, 14)),
            box((-20, 10, 0), (20, 17, 6)),
        ],
        "the part",
    )
    setup = Setup(
        name="shoulder",
        bodies=(body("plate", PLATE, role="fixture"), body("part", part, faces={"floor": (0, -5, 10)})),
        cuts=(
            Cut(name="top", parts=("part",), floor="floor", stock_mm=0.1, downfeed_mm=0.01, way="traverse"),
        ),
        wheel=Wheel(diameter_mm=2 * RADIUS_MM, thickness_mm=WIDE_MM),
    )
    bench = scene_under(setup)
    case = LoadCase(of_cut=CutCase(stroke=Stroke.RIGHT), at_mm=(0.0, 9.0, 10.0))
    wheel = bench.wheel_at(case)[Mover.WHEEL]
    slide = moving(velocity=(0, -1, 0))
    assert follow_into(bench, slide, wheel).outcome is Outcome.STAYS
    hit, after_mm = first_hit(bench, slide, case)
    assert hit is None
    assert after_mm is None
    further = follow_into(bench, slide, wheel, travel_mm=12.0)
    assert further.outcome is Outcome.DIGS_IN
    side_mm = max(v.Y for v in wheel.Vertices())
    assert further.first_mm > 16.25 - side_mm


def test_a_wrong_silence_about_a_part_that_lets_go_without_a_motion_found():
    """A case without a motion stays among those that were followed, as one that is not known."""
    bench, case = scene(tower()), at(0.0)
    found = SimpleNamespace(factor=Range.exactly(1.5), motions=(), at_least=False)
    borne = Borne(case=case, values={}, problem=None, collapse=found, settled=True)
    part = SimpleNamespace(
        part="part", case=case, borne=borne, losses=(), factors=SimpleNamespace(factor=found.factor)
    )
    every = Loaded(trials=(), borne=(borne,))
    (way,) = ways_of(bench, part, every, 3.0).found
    assert way.crash is None
    assert way.reason == "no motion was found at 1.5 times the cutting load"
    found.at_least = True
    assert ways_of(bench, part, every, 3.0).found == ()
