"""Touch-offs, readings and what they leave, on a stepped pawl of our own, worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck.checks import dials as check_dials
from fixturecheck.dials.plan import dialled
from fixturecheck.errors import SetupError
from fixturecheck.machining.as_ground import grind
from fixturecheck.result.dials import MoveKind, Side
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.dials import Dials, Handwheel
from fixturecheck.setup.model import Body, Cut, Machine
from tests.machining.scene import FLOOR, block, named, pawl, stage, stepped

DOWN = Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down", travel_mm=200.0)
ACROSS = Handwheel(graduation_mm=0.02, turn_mm=4.0, counts_up="in", backlash_mm=0.1)
MACHINE = Machine(downfeed=DOWN, cross_feed=ACROSS, guard=None)


def run(*bodies, dials=None, machine=MACHINE, cuts=(), **cut):
    cut = {"stock_mm": 0.2, "wall_stock_mm": 0.1, "way": "traverse"} | cut
    if cut.get("wall", "wall") and cut["wall_stock_mm"] > 0:
        cut.setdefault("wall_feed_mm", min(0.02, cut["wall_stock_mm"]))
    made = stage(bodies or (pawl(),), machine=machine, **cut)
    setup = replace(made.setup, dials=dials, cuts=(*cuts, *made.setup.cuts))
    ground = (*(grind(setup, c) for c in cuts), *made.cuts)
    found = tuple(dialled(setup, ground, g, made.placed) for g in ground)
    made = replace(made, setup=setup, cuts=ground, dialled=found)
    return made, list(check_dials.check(made))


def of(found, kind, word=""):
    return next(f for f in found if f.kind is kind and word in f.subject + f.says)


@pytest.fixture(scope="module")
def plain():
    return run()


def test_a_plain_step_is_go_and_the_steps_come_in_the_order_of_the_trade(plain):
    made, found = plain
    assert {f.verdict for f in found} == {Verdict.GO}
    assert [m.kind for m in made.dialled[0].found.moves] == [
        MoveKind.RAISE,
        MoveKind.LOWER_BESIDE,
        MoveKind.TOUCH_SIDE,
        MoveKind.ZERO_CROSS,
        MoveKind.LIFT,
        MoveKind.OVER,
        MoveKind.TOUCH_TOP,
        MoveKind.ZERO_DOWN,
        MoveKind.TO_START,
        MoveKind.FEED_DOWN,
        MoveKind.FEED_WALL,
        MoveKind.SPARK_OUT,
    ]


def test_readings_of_floor_and_wall(plain):
    floor, wall = plain[0].dialled[0].found.targets
    # 0.2 mm of stock by lines of 0.01; 0.1 mm by lines of 0.02.
    assert (floor.reading.turns, floor.reading.lines, floor.reading.toward) == (0, 20, "down")
    assert (wall.reading.turns, wall.reading.lines, wall.reading.toward) == (0, 5, "in")
    assert wall.reading.shows_mm == pytest.approx(0.1)


@pytest.mark.parametrize(("turned", "stocks"), [(False, (0.37, 0.013)), (True, (0.2, 0.1))])
def test_the_part_as_ground_lies_where_the_dial_says(turned, stocks):
    # The second route: faces of the solid that the booleans leave, measured from the touched place.
    body = pawl(at=(20, 30, 50), turn=((0, 0, 1), 180)) if turned else pawl()
    made, _ = run(body, stock_mm=stocks[0], wall_stock_mm=stocks[1])
    for target, stock in zip(made.dialled[0].found.targets, stocks, strict=True):
        assert target.measured_mm == pytest.approx(stock, abs=1e-9)
        assert target.dialled_mm == pytest.approx(target.measured_mm, abs=1e-9)
        assert abs(target.reading.rounding_mm) <= target.reading.graduation_mm / 2 + 1e-12


def test_the_far_side_of_the_part_as_touched_face_takes_up_thickness_and_backlash():
    # The back of the pawl is touched by the wheel's front going out, at y = 30; the wall at y = 12 is met by
    # its rear going in. The front face goes from 30 to 12 less the wheel's 13 mm of thickness: 31 mm out, met
    # going in, so the dial stands the play of 0.1 mm less far out: 30.9 mm, 1545 lines of 0.02 mm.
    body = replace(pawl(), faces=named(stepped()) | {"back": _face(stepped(), (0, 1, 0))})
    asked = Dials(touch_side="pawl_1.back", may_mark=("pawl_1.back",))
    made, found = run(body, dials=asked)
    wall = made.dialled[0].found.targets[1]
    thick = made.setup.wheel.thickness_mm
    assert wall.reading.toward == "out"
    assert wall.reading.distance_mm == pytest.approx(18.0 + thick - 0.1, abs=1e-9)
    assert wall.takes_up
    assert wall.dialled_mm == pytest.approx(wall.measured_mm, abs=1e-9)
    assert wall.measured_mm == pytest.approx(18.0, abs=1e-9)
    assert "takes up the backlash" in of(found, Kind.READING, "wall").says
    unknown = replace(MACHINE, cross_feed=replace(ACROSS, backlash_mm=None))
    _, found = run(body, dials=asked, machine=unknown)
    untold = of(found, Kind.NOT_COMPUTED, "wall")
    assert untold.verdict is Verdict.UNKNOWN
    assert "backlash_mm" in untold.says
    scale = replace(MACHINE, cross_feed=Handwheel(graduation_mm=0.005, counts_up="in", reads="readout"))
    made, found = run(body, dials=asked, machine=scale)
    assert made.dialled[0].found.targets[1].reading.distance_mm == pytest.approx(18.0 + thick, abs=1e-9)
    assert of(found, Kind.READING, "wall").verdict is Verdict.GO


def test_a_cut_without_a_wall_touches_no_side_where_another_one_makes_a_wall():
    # The top is ground in the same set-up as the corner, whose wall still has its stock then: the top
    # needs the downfeed alone.
    asked = Dials(touch_side="pawl_1.wall")
    body = replace(pawl(), faces=named(stepped()) | {"upper": named(stepped(), z=20)["floor"]})
    upper = Cut(name="upper", parts=("pawl_1",), floor="upper", stock_mm=0.2, way="traverse")
    made, found = run(body, dials=asked, cuts=(upper,))
    sides = [[t.side for t in d.found.touches] for d in made.dialled]
    assert sides == [[Side.TOP], [Side.SIDE, Side.TOP]]
    assert not [f for f in found if f.verdict is Verdict.UNKNOWN]


def _face(solid, way):
    from fixturecheck.kernel.brep.topology import faces_of

    box = solid.BoundingBox()
    for i, f in enumerate(faces_of(solid)):
        n, c = f.normalAt(), f.Center()
        if n.dot(cq.Vector(*way)) > 0.99 and (way != (0, 1, 0) or abs(c.y - box.ymax) < 1e-6):
            return (i,)
    raise AssertionError(way)


def test_rounding_to_a_line_is_held_against_half_the_zone():
    # 0.213 by lines of 0.01: 21 lines, 3 um short; the mark goes 2 um deep: from 1 to 3 um proud.
    body = pawl(tolerance={"floor": 0.008})
    _, found = run(body, stock_mm=0.213, wall_stock_mm=0.0, wall=None)
    floor = of(found, Kind.READING, "floor")
    assert floor.value == pytest.approx(3.0, abs=1e-6)
    assert (floor.limit, floor.verdict) == (4.0, Verdict.GO)
    # 0.217: 22 lines, 3 um too far, and 2 um of mark: 5 um too deep.
    _, found = run(body, stock_mm=0.217, wall_stock_mm=0.0, wall=None)
    floor = of(found, Kind.READING, "floor")
    assert floor.value == pytest.approx(5.0, abs=1e-6)
    assert floor.verdict is Verdict.NO_GO
    assert "no deeper than 1 µm" in floor.remedy
    # As the remedy says: with a mark of 1 um it is met.
    _, found = run(body, stock_mm=0.217, wall=None, wall_stock_mm=0.0, dials=Dials(mark_mm=0.001))
    assert of(found, Kind.READING, "floor").verdict is Verdict.GO
    # A coarse dial alone misses it: measure and grind the rest.
    coarse = replace(MACHINE, downfeed=replace(DOWN, graduation_mm=0.02))
    _, found = run(body, stock_mm=0.21, wall_stock_mm=0.0, wall=None, machine=coarse, downfeed_mm=0.02)
    floor = of(found, Kind.READING, "floor")
    assert floor.verdict is Verdict.NO_GO
    assert "measure pawl_1.floor" in floor.remedy


def test_a_burr_on_a_touched_edge_leaves_its_height():
    body = pawl(tolerance={"floor": 0.02})
    # The floor is 12 mm deep and the wheel's flat 13 mm wide: it lies over the edge.
    _, found = run(body, wall=None, wall_stock_mm=0.0, dials=Dials(burr_mm=0.03))
    floor = of(found, Kind.READING, "floor")
    assert floor.value == pytest.approx(30.0)
    assert floor.verdict is Verdict.NO_GO
    assert "Stone the burrs to less than 10 µm" in floor.remedy


def test_wear_is_fed_more_and_does_not_move_the_face():
    made, _ = run(dials=Dials(wear_mm=0.03))
    floor = made.dialled[0].found.targets[0]
    assert floor.reading.lines == 23
    assert floor.dialled_mm == pytest.approx(0.2, abs=1e-9)


def round_bar() -> Body:
    """A half-round bar, flat above at one end only: the crown at z = 10, 30 mm of flat at z = 8.

    The wheel meets what of it lies 19 mm off the step of 2 mm: sqrt(2 (178 - 2)).
    """
    bar = (
        cq.Workplane("YZ")
        .circle(10.0)
        .extrude(80.0)
        .intersect(cq.Workplane().box(80, 40, 20, centered=(False, True, False)))
    )
    bar = bar.cut(cq.Workplane().box(30, 40, 20, centered=(False, True, False)).translate((0, 0, 8.0)))
    solid = bar.val()
    from fixturecheck.kernel.brep.topology import faces_of

    faces = {}
    for i, f in enumerate(faces_of(solid)):
        if f.geomType() == "CYLINDER":
            faces["crown"] = (i,)
        elif f.normalAt().z > 0.99:
            faces["floor"] = (i,)
    return Body(name="bar", solid=solid, at=cq.Location(cq.Vector(0, 0, 50)), faces=faces)


def test_a_touch_on_a_round_is_no_go_and_names_a_face_that_will_do():
    _, found = run(round_bar(), wall=None, wall_stock_mm=0.0, dials=Dials(touch_top="bar.crown"))
    bad = of(found, Kind.TOUCH_FACE)
    assert bad.verdict is Verdict.NO_GO
    assert "not flat" in bad.says
    assert "Touch off on bar.floor" in bad.remedy
    assert not [f for f in found if f.kind is Kind.READING]


def test_a_narrow_rib_is_no_place_to_touch():
    rib = cq.Workplane().box(20, 0.6, 4, centered=False).val()
    faces = {"top": _face(rib, (0, 0, 1))}
    rail = Body(name="rib", role="fixture", solid=rib, at=cq.Location(cq.Vector(40, 3, 60)), faces=faces)
    _, found = run(pawl(), rail, dials=Dials(touch_top="rib.top", may_mark=("rib.top",)))
    bad = of(found, Kind.TOUCH_FACE, "rib")
    assert (bad.verdict, bad.limit) == (Verdict.NO_GO, 1.0)
    assert bad.value == pytest.approx(0.6, abs=1e-6)


def test_a_face_in_a_slot_that_the_wheel_does_not_enter_is_not_reached():
    slot = cq.Workplane().box(20, 30, 20, centered=False)
    slot = slot.cut(cq.Workplane().box(20, 8, 6, centered=False).translate((0, 11, 14)))
    solid = slot.val()
    from fixturecheck.kernel.brep.topology import faces_of

    at = next(
        i for i, f in enumerate(faces_of(solid)) if f.normalAt().z > 0.99 and abs(f.Center().z - 14) < 1e-6
    )
    anvil = Body(
        name="anvil", role="fixture", solid=solid, at=cq.Location(cq.Vector(60, 0, 50)), faces={"in": (at,)}
    )
    _, found = run(pawl(), anvil, dials=Dials(touch_top="anvil.in", may_mark=("anvil.in",)))
    bad = of(found, Kind.TOUCH_FACE, "anvil")
    assert bad.verdict is Verdict.NO_GO
    assert "runs into anvil first" in bad.says


def test_a_finished_face_is_not_marked_unless_it_may_be():
    _, found = run(wall_stock_mm=0.0)
    bad = of(found, Kind.TOUCH_MARK, "wall")
    assert (bad.verdict, bad.value, bad.limit) == (Verdict.NO_GO, 2.0, 0.0)
    _, found = run(wall_stock_mm=0.0, dials=Dials(may_mark=("pawl_1.wall",)))
    assert of(found, Kind.TOUCH_MARK, "wall").verdict is Verdict.GO


def test_a_post_beside_the_way_is_hit_on_the_way_and_not_by_the_cut():
    # At the start the wheel's axis stands 6.32 + 10 mm left of the floor. A post 100 mm high, whose arm ends
    # over the rim where the wheel has to rise, is in no way of the pass: it lies above the axis.
    post = block("arm", (30, 30, 10), (-45, 0, 58.2 + 178.0 + 4.0))
    machine = replace(MACHINE, guard=None, daylight_mm=500.0)
    _, found = run(pawl(), post, machine=machine)
    hit = of(found, Kind.DIAL_WAY, "arm")
    assert hit.verdict is Verdict.NO_GO
    assert "runs into arm" in hit.says


def test_travel_and_daylight_run_out():
    short = replace(
        MACHINE, downfeed=replace(DOWN, travel_mm=10.0), cross_feed=replace(ACROSS, travel_mm=1.0)
    )
    _, found = run(machine=short)
    # From 5 mm over the top at z = 70 down to the floor at 58.
    down = of(found, Kind.DIAL_TRAVEL, "downfeed")
    assert (down.verdict, down.limit) == (Verdict.NO_GO, 10.0)
    assert down.value == pytest.approx(17.0, abs=1e-6)
    assert (
        down.says
        == "The downfeed runs past its travel: the dials of cut floor_cut take 17 mm, and it has 10 mm."
    )
    assert of(found, Kind.DIAL_TRAVEL, "cross feed").verdict is Verdict.NO_GO
    _, found = run(machine=replace(MACHINE, daylight_mm=24.0))
    low = of(found, Kind.DIAL_DAYLIGHT)
    # 20 mm of part and 5 mm of lift; 4 mm of lift would do.
    assert (low.verdict, low.value) == (Verdict.NO_GO, pytest.approx(25.0))
    assert "Lift no more than 4" in low.remedy


def test_a_pass_finer_than_a_line_cannot_be_set():
    _, found = run(downfeed_mm=0.004)
    step = of(found, Kind.LEAST_STEP)
    assert (step.verdict, step.value, step.limit) == (Verdict.NO_GO, 0.004, 0.01)


def test_a_feed_into_the_wall_finer_than_a_line_cannot_be_set_either():
    _, found = run(wall_feed_mm=0.005)
    steps = [f for f in found if f.kind is Kind.LEAST_STEP and f.verdict is Verdict.NO_GO]
    assert [(f.value, f.limit) for f in steps] == [(0.005, 0.02)]
    assert "cross feed" in steps[0].says


def test_an_earlier_cut_leaves_burrs_that_nobody_has_spoken_of():
    first = Cut(name="before", parts=("pawl_1",), floor="floor", stock_mm=0.2, way="traverse")
    made, found = run(cuts=(first,), wall=None, wall_stock_mm=0.0)
    late = [f for f in found if f.kind is Kind.TOUCH_FACE and f.cut == "floor_cut"]
    assert late[0].verdict is Verdict.CAUTION
    assert "before" in late[0].says
    _, found = run(cuts=(first,), wall=None, wall_stock_mm=0.0, dials=Dials(burr_mm=0.0))
    late = [f for f in found if f.kind is Kind.TOUCH_FACE and f.cut == "floor_cut"]
    assert late[0].verdict is Verdict.GO
    del made


def test_one_zero_serves_a_face_beside_the_target():
    # The top of the pawl, 12 mm over the floor, may be marked: 12 turns of 1 mm, and the mark 2 um deep.
    body = replace(pawl(), faces=named(stepped()) | {"top": _top()}, no_function=frozenset({"top"}))
    made, found = run(body, dials=Dials(touch_top="pawl_1.top"))
    floor = made.dialled[0].found.targets[0]
    assert (floor.reading.turns, floor.reading.lines) == (12, 0)
    assert floor.dialled_mm == pytest.approx(floor.measured_mm, abs=1e-9)
    assert of(found, Kind.READING, "floor").verdict is Verdict.GO


def _top():
    from fixturecheck.kernel.brep.topology import faces_of

    return tuple(
        i
        for i, f in enumerate(faces_of(stepped()))
        if f.normalAt().z > 0.99 and f.Center().z > 19.0 and f.Center().y > FLOOR
    )


@pytest.mark.parametrize(
    ("machine", "dials", "says"),
    [
        ({"downfeed": Handwheel(graduation_mm=0.01, counts_up="in", turn_mm=1.0)}, None, "use down or up"),
        ({"downfeed": Handwheel(graduation_mm=0.01, counts_up="down")}, None, "a dial needs turn_mm"),
        (
            {"downfeed": Handwheel(graduation_mm=0.03, counts_up="down", turn_mm=1.0)},
            None,
            "one turn is 33.3333 graduations",
        ),
        ({}, Dials(), "state [machine.downfeed]"),
        ({"downfeed": DOWN}, Dials(touch_side="pawl_1.wall"), "state [machine.cross_feed]"),
        ({"downfeed": DOWN}, Dials(touch_top="pawl_1.flor"), "did you mean 'floor'?"),
        ({"downfeed": DOWN}, Dials(touch_top="floor"), "write BODY.FACE"),
        ({"downfeed": DOWN}, Dials(may_mark=("pawl_2.floor",)), "no body is named 'pawl_2'"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(machine, dials, says):
    made = stage((pawl(),), wall=None)
    with pytest.raises(SetupError) as reason:
        replace(made.setup, machine=Machine(**machine), dials=dials)
    assert says in str(reason.value)
    assert len(reason.value.problems) == 1
