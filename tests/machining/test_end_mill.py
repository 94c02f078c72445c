"""End mills over pockets, slots and steps: closed forms, and the mesh union of a ball along its path."""

from __future__ import annotations

import math
from itertools import pairwise

import cadquery as cq
import manifold3d
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.kernel.measure import volume_mm3
from fixturecheck.kernel.outline import Arc, Line
from fixturecheck.kernel.turned import along_path, straight_down
from fixturecheck.machining.as_milled import (
    MilledCut,
    floor_fillet_mm,
    mill,
)
from fixturecheck.machining.cutter_sweep import (
    cutter_sweep,
    ridge_mm,
    ridge_of_rounds_mm,
    swept_by_sections_mm3,
)
from fixturecheck.machining.end_mill import CutterPass, comes_down, cutter_outline, passes_of, radius_at_mm
from fixturecheck.machining.swept_area import points_of
from fixturecheck.setup.make import body as make_body
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.tools import EndMilling, MillMove

DEEP = 8.0


def pocketed(long: float = 24.0, wide: float = 12.0, round_mm: float = 4.0, floor_mm: float = 0.0) -> Body:
    """A block 40 x 20 x 24 with a pocket 8 deep in its middle, its floor and walls named."""
    hole = cq.Workplane("XY").box(long, wide, 12.0, centered=(True, True, False))
    hole = hole.edges("|Z").fillet(round_mm) if round_mm else hole
    hole = hole.faces("<Z").edges().fillet(floor_mm) if floor_mm else hole
    block = cq.Workplane("XY").box(40.0, 20.0, 24.0, centered=(True, True, False))
    solid = block.cut(hole.translate((0, 0, 24.0 - DEEP))).solids().val()
    named: dict[str, tuple[int, ...]] = {"floor": (), "walls": ()}
    for i, face in enumerate(solid.Faces()):
        middle, flat = face.Center(), face.geomType() == "PLANE"
        if flat and abs(middle.z - 16.0) < 1e-6:
            named["floor"] = (i,)
        elif 16.0 < middle.z < 23.9 and max(abs(middle.x) / 20, abs(middle.y) / 10) < 0.999:
            named["walls"] += (i,)
    return Body(name="block", solid=solid, faces=named)


def run_of(**given) -> EndMilling:
    stated = {"diameter_mm": 8.0, "flute_mm": 12.0, "stick_out_mm": 30.0, "makes": ("floor", "walls")} | given
    moves = stated.pop("moves", (MillMove(kind="pocket", face="floor"),))
    return EndMilling(name="pocket", parts=("block",), moves=moves, **stated)


def milled(body: Body, **given) -> MilledCut:
    run = run_of(**given)
    return mill(Setup(name="bench", bodies=(body,), end_mills=(run,)), run)


def test_a_pocket_comes_out_whole():
    """24 x 12 x 8 less what its rounds of 4 mm take, closed form."""
    (part,) = milled(pocketed()).parts
    assert part.removed_mm3 == pytest.approx((24 * 12 - (4 - math.pi) * 16) * DEEP, rel=1e-9)
    assert (part.leftover_mm3, part.gouge_mm3) == (0.0, 0.0)
    assert [f.share_made for f in part.faces] == [pytest.approx(1.0)]


def test_a_square_corner_keeps_the_radius_of_the_cutter():
    """(1 - pi/4) r^2 over the depth in each of four corners, closed form; nothing else is left."""
    (part,) = milled(pocketed(round_mm=0.0)).parts
    assert part.leftover_mm3 == pytest.approx(4 * (1 - math.pi / 4) * 16 * DEEP, rel=1e-9)
    assert part.missed is None


def test_rounds_too_far_apart_leave_an_island():
    cut = milled(pocketed(38.0, 18.0), moves=(MillMove(kind="pocket", face="floor", step_mm=8.0),))
    (part,) = cut.parts
    # The only round goes 4 mm inside the walls; within it 22 x 2 is not reached.
    assert volume_mm3(part.missed) == pytest.approx(22.0 * 2.0 * DEEP, rel=1e-6)


def test_what_is_left_on_the_walls_is_missed():
    (part,) = milled(pocketed(), moves=(MillMove(kind="pocket", face="floor", leave_mm=0.25),)).parts
    # Corners of 4 mm come out a quarter further in, at the radius of the cutter.
    assert part.leftover_mm3 == pytest.approx((24 * 12 - 23.5 * 11.5) * DEEP, rel=1e-9)
    assert volume_mm3(part.missed) == pytest.approx(part.leftover_mm3, rel=0.05)


@pytest.mark.parametrize("long", [60.0, 30.0])
def test_a_slot_as_wide_as_the_cutter(long):
    """Open at both ends, or closed by half rounds: its volume, closed form."""
    move = MillMove(kind="slot", face="floor")
    (part,) = milled(pocketed(long, 8.0, 0.0 if long > 40 else 3.99999999), moves=(move,)).parts
    whole = 40 * 8 if long > 40 else 22 * 8 + math.pi * 16
    assert part.removed_mm3 == pytest.approx(whole * DEEP, rel=1e-6)
    assert part.gouge_mm3 == pytest.approx(0.0, abs=1e-3)


def teed(from_x: float = -25.0, to_x: float = 25.0) -> Body:
    """A block 40 x 30 x 24 with a T-slot along X: 20 wide and 6 high on its floor at 8, its mouth 10 wide."""
    long = to_x - from_x
    low, mouth = (
        cq.Workplane("XY").box(long, wide, high, centered=(False, True, False)).translate((from_x, 0, 8))
        for wide, high in ((20, 6), (10, 20))
    )
    block = cq.Workplane("XY").box(40, 30, 24, centered=(True, True, False)).cut(low).cut(mouth)
    places = {"floor": (1, 0, 8), "mouth": (1, 5, 20), "other_mouth": (1, -5, 20), "tee": (1, 10, 11),
              "other_tee": (1, -10, 11), "under": (1, 7, 14), "other_under": (1, -7, 14)}  # fmt: skip
    if from_x > -20.0:
        places |= {"end": (from_x, 0, 20)}
    if to_x < 20.0:
        places |= {"other_end": (to_x, 0, 20)}
    return make_body("block", block, faces=places)


TEE = ("floor", "tee", "other_tee", "under", "other_under")


def tee_setup(body: Body, **given) -> Setup:
    ends = tuple(n for n in ("end", "other_end") if n in body.faces)
    slot = (MillMove(kind="slot", face="floor"),)
    mouth = EndMilling(
        name="mouth", parts=("block",), makes=("floor", "mouth", "other_mouth", *ends), moves=slot,
        diameter_mm=10.0, flute_mm=20.0, stick_out_mm=30.0,
    )  # fmt: skip
    cutter = {"diameter_mm": 20.0, "flute_mm": 6.0, "shank_mm": 9.0, "stick_out_mm": 40.0}
    tee = EndMilling(name="tee", parts=("block",), makes=(*TEE, *ends), **({"moves": slot} | cutter | given))
    return Setup(name="bench", bodies=(body,), end_mills=(mouth, tee))


def test_a_tee_slot_is_milled_by_a_head_on_a_neck():
    """40 x 10 x 16 for the mouth and 40 x 2 x 5 x 6 beside it for the head, closed form."""
    setup = tee_setup(teed())
    for run, mm3 in zip(setup.end_mills, (6400.0, 2400.0), strict=True):
        (part,) = mill(setup, run).parts
        assert part.removed_mm3 == pytest.approx(mm3, rel=1e-9)
        assert (part.leftover_mm3, part.gouge_mm3) == (pytest.approx(0.0, abs=1e-6), 0.0)


def test_a_head_lower_than_its_tee_slot_leaves_what_is_above_it():
    """A head of 5 leaves 40 x 10 x 1 until it goes over it once more; its flutes are then long enough."""
    setup = tee_setup(teed(), flute_mm=5.0)
    cut = mill(setup, setup.end_mills[1])
    assert volume_mm3(cut.parts[0].missed) == pytest.approx(400.0, rel=1e-3)
    assert cut.depth_mm("block") == pytest.approx(6.0)
    twice = (MillMove(kind="slot", face="floor"), MillMove(kind="slot", face="floor", z_mm=9.0))
    again = tee_setup(teed(), flute_mm=5.0, moves=twice)
    assert mill(again, again.end_mills[1]).parts[0].leftover_mm3 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("given", "says"),
    [({"shank_mm": 11.0}, "there are 10 mm"), ({"flute_mm": 7.0}, "6 mm above the tip the part is narrower")],
)
def test_a_head_or_neck_that_does_not_go_along_is_told_with_the_room(given, says):
    setup = tee_setup(teed(), **given)
    with pytest.raises(NotComputedError, match=says):
        mill(setup, setup.end_mills[1])


def test_a_head_comes_in_from_an_end_that_is_open():
    """Open toward +X only, it begins there; between two ends it comes down nowhere."""
    setup = tee_setup(teed(from_x=-10.0))
    (one,) = mill(setup, setup.end_mills[1]).passes["block"]
    assert one.path[0].start[0] > 20.0
    assert one.path[0].end[0] == pytest.approx(0.0)
    shut = teed(-18.0, 18.0)
    run = tee_setup(shut).end_mills[1]
    (one,) = passes_of(run, shut, shut.solid)
    assert not comes_down(run, shut.solid, one)


def test_a_tip_too_high_leaves_what_is_below_it():
    """40 x 8 x 1.5 under a slot just as wide as its cutter: not of a corner that no cutter reaches."""
    move = MillMove(kind="slot", face="floor", z_mm=17.5)
    (part,) = milled(pocketed(60.0, 8.0, 0.0), moves=(move,)).parts
    assert volume_mm3(part.missed) == pytest.approx(480.0, rel=1e-3)


def test_a_pocket_as_wide_as_the_cutter_is_a_slot():
    with pytest.raises(NotComputedError, match="state a slot"):
        milled(pocketed(30.0, 8.0, 0.0))


def test_a_cutter_wider_than_the_pocket_does_not_go_in():
    with pytest.raises(NotComputedError, match="does not go in"):
        milled(pocketed(), diameter_mm=12.5)


def test_a_bull_nose_makes_the_fillet_of_a_floor():
    """A corner as large as the drawn fillet leaves and gouges nothing."""
    (part,) = milled(pocketed(floor_mm=2.0), shape="bull", corner_mm=2.0).parts
    assert part.leftover_mm3 == pytest.approx(0.0, abs=1e-6)
    assert part.gouge_mm3 == pytest.approx(0.0, abs=1e-6)


def stepped(turn_deg: float) -> Body:
    """A block 30 x 20 x 12 with a step 6 deep and 8 wide, filleted by 1, its upper edge chamfered by 1."""
    step = (
        cq.Workplane("XY").box(8.0, 20.0, 6.0, centered=(False, True, False)).edges("<X and <Z").fillet(1.0)
    )
    block = (
        cq.Workplane("XY").box(30.0, 20.0, 12.0, centered=(True, True, False)).cut(step.translate((7, 0, 6)))
    )
    block = block.edges(cq.selectors.NearestToPointSelector((7, 0, 12))).chamfer(1.0)
    named = {}
    for name, at in (
        ("floor", (12, 0, 6)),
        ("wall", (7, 0, 9)),
        ("round", (7.3, 0, 6.3)),
        ("bevel", (6.5, 0, 11.5)),
    ):
        face = block.faces(cq.selectors.NearestToPointSelector(at)).val()
        named[name] = (next(i for i, f in enumerate(block.val().Faces()) if f.isSame(face)),)
    at = cq.Location((0, 0, 0), (0, 0, 1), turn_deg)
    return Body(name="block", solid=block.solids().val(), faces=named, at=at)


def test_a_run_finds_what_later_runs_cut_still_full():
    """Step, then the chamfer over it, by hand: 8 x 6 x 20 less a fillet of (1 - pi/4) x 20; 1/2 x 20.

    The block stands at 30 degrees, so that its fillet runs along neither X nor Y.
    """
    turn = math.radians(30.0)

    def across(x: float) -> tuple[tuple[float, float], ...]:
        return tuple(
            (x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn))
            for y in (-30.0, 30.0)
        )

    first = EndMilling(
        name="step", parts=("block",), makes=("floor", "wall", "round"), shape="bull", diameter_mm=20.0,
        corner_mm=1.0, flute_mm=20.0, stick_out_mm=30.0,
        moves=(MillMove(kind="line", at_mm=across(17.0), z_mm=6.0),),
    )  # fmt: skip
    second = EndMilling(
        name="bevel", parts=("block",), makes=("bevel",), shape="tapered", diameter_mm=2.0, taper_deg=45.0,
        flute_mm=5.0, stick_out_mm=30.0, moves=(MillMove(kind="line", at_mm=across(9.0), z_mm=10.0),),
    )  # fmt: skip
    setup = Setup(name="bench", bodies=(stepped(30.0),), end_mills=(first, second))
    cuts = [mill(setup, run) for run in setup.end_mills]
    taken = [cut.parts[0].removed_mm3 for cut in cuts]
    assert taken == pytest.approx([960.0 - (1.0 - math.pi / 4.0) * 20.0, 10.0], rel=1e-6)
    assert [(c.parts[0].leftover_mm3, c.parts[0].gouge_mm3) for c in cuts] == [(0.0, 0.0)] * 2
    assert floor_fillet_mm(cuts[0].parts[0].target, 6.0) == pytest.approx(1.0)
    # The chamfer lies 1 to 2 mm above the tip, where the cone is wider than its end.
    assert cuts[1].depth_mm("block") == pytest.approx(2.0, abs=1e-6)


def test_a_square_end_takes_the_fillet_and_that_is_no_gouge_outside_it():
    (part,) = milled(pocketed(floor_mm=2.0)).parts
    assert part.gouge_mm3 > 10.0
    assert part.dug is None


def test_a_plunge_bores_its_own_hole():
    block = (
        cq.Workplane("XY")
        .box(40, 20, 24, centered=(True, True, False))
        .faces(">Z")
        .workplane()
        .hole(8.0, 8.0)
    )
    solid = block.solids().val()
    made = tuple(
        i for i, f in enumerate(solid.Faces()) if f.geomType() == "CYLINDER" or abs(f.Center().z - 16) < 1e-6
    )
    body = Body(name="block", solid=solid, faces={"hole": made})
    plunge = MillMove(kind="plunge", at_mm=((0.0, 0.0),), z_mm=16.0)
    (part,) = milled(body, makes=("hole",), moves=(plunge,)).parts
    assert part.removed_mm3 == pytest.approx(math.pi * 16 * 8, rel=1e-9)
    assert (part.leftover_mm3, part.gouge_mm3) == (0.0, 0.0)


def test_stock_on_a_face_is_faced_off():
    block = cq.Workplane("XY").box(40, 6, 24, centered=(True, True, False)).solids().val()
    top = next(i for i, f in enumerate(block.Faces()) if f.Center().z > 23.9)
    body = Body(name="block", solid=block, faces={"top": (top,)})
    line = MillMove(kind="line", at_mm=((-30.0, 0.0), (30.0, 0.0)), z_mm=24.0)
    (part,) = milled(body, makes=("top",), stock_mm=0.5, moves=(line,)).parts
    assert part.removed_mm3 == pytest.approx(40 * 6 * 0.5, rel=1e-9)
    assert part.faces[0].share_made == pytest.approx(1.0)


def ball_mesh(at: np.ndarray, radius: float, top: float, sides: int = 128) -> manifold3d.Manifold:
    """A ball-nosed cutter as a fine mesh, its tip at a point."""
    ball = manifold3d.Manifold.sphere(radius, sides).translate((0.0, 0.0, radius))
    shank = manifold3d.Manifold.cylinder(top - radius, radius, radius, sides).translate((0.0, 0.0, radius))
    return (ball + shank).translate(at.tolist())


def test_a_ball_along_a_path_against_a_union_of_hulls():
    """A convex cutter that goes along a line sweeps the hull of its ends; the mesh is not quite round."""
    outline = cutter_outline(run_of(shape="ball"))
    path = [Line(start=(0.0, 0.0), end=(20.0, 0.0)), Line(start=(20.0, 0.0), end=(20.0, 15.0))]
    exact = volume_mm3(along_path(outline, path, 3.0))
    tools = [ball_mesh(np.array([x, y, 3.0]), 4.0, 12.0) for x, y in ((0, 0), (20, 0), (20, 15))]
    mesh = manifold3d.Manifold.batch_hull(tools[:2]) + manifold3d.Manifold.batch_hull(tools[1:])
    assert exact == pytest.approx(mesh.volume(), rel=1.5e-3)


@pytest.mark.parametrize("radius", [20.0, 4.0])
def test_a_ball_along_an_arc(radius):
    """Pappus for the section, with half of a cutter at either end."""
    arc = Arc(centre=(0.0, 0.0), radius_mm=radius, from_rad=0.3, turn_rad=-1.2)
    section, whole = math.pi * 8 + 8 * 8, 2 / 3 * math.pi * 64 + math.pi * 16 * 8
    found = volume_mm3(along_path(cutter_outline(run_of(shape="ball")), [arc], 0.0))
    assert found == pytest.approx(1.2 * radius * section + whole, rel=1e-9)


def test_a_tapered_cutter_that_stands_is_a_cone():
    """Frustum of a cone, closed form."""
    run = run_of(shape="tapered", taper_deg=10.0)
    top = 4.0 + 12.0 * math.tan(math.radians(10.0))
    found = volume_mm3(straight_down(cutter_outline(run), (1.0, 2.0), 0.0, 0.0))
    assert found == pytest.approx(math.pi * 12.0 / 3 * (16 + 4 * top + top * top), rel=1e-9)
    assert radius_at_mm(run, 12.0) == pytest.approx(top)


def test_a_ball_leaves_ridges_as_high_as_the_step_says_and_a_square_end_none():
    """r - sqrt(r^2 - s^2 / 4), closed form: 4 mm and a step of 1 mm leave 0.0314 mm; a square end none."""
    assert ridge_mm(run_of(shape="ball"), 1.0) == pytest.approx(4.0 - math.sqrt(16.0 - 0.25))
    assert ridge_mm(run_of(), 3.0) == 0.0


def test_a_ball_leaves_no_more_than_ridges_and_its_own_corner():
    (part,) = milled(
        pocketed(30.0, 18.0, 5.0, floor_mm=4.0),
        shape="ball",
        moves=(MillMove(kind="pocket", face="floor", step_mm=2.0),),
    ).parts
    assert part.gouge_mm3 == pytest.approx(0.0, abs=0.05)
    assert part.missed is None


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"shape": "bull"}, "corner_mm"),
        ({"corner_mm": 1.0}, "no corner_mm"),
        ({"taper_deg": 5.0}, "taper_deg"),
        ({"flute_mm": 40.0}, "stands out"),
        ({"moves": (MillMove(kind="pocket"),)}, "needs face"),
        ({"moves": (MillMove(kind="line", at_mm=((0.0, 0.0), (1.0, 0.0))),)}, "z_mm"),
        ({"moves": (MillMove(kind="arc", at_mm=((0.0, 0.0),), z_mm=1.0),)}, "3 points"),
        ({"makes": ("flor",)}, "floor"),
        ({"daylight_mm": 80.0}, "raised spindle"),
    ],
)
def test_a_cutter_that_cannot_be_is_refused(given, says):
    with pytest.raises(SetupError, match=says):
        Setup(name="bench", bodies=(pocketed(),), end_mills=(run_of(**given),))


def test_a_ball_takes_what_lies_beyond_the_centres_of_tight_arcs():
    """At each height the area of the path widened by the radius there (shapely), summed over the height.

    Joined at once, the kernel leaves out a quarter turn of 13.5 mm3 and calls what is left valid.
    """
    run, quarter, short_mm = run_of(shape="ball"), math.pi / 2, 0.1
    path = [
        Arc(centre=(0.0, 0.0), radius_mm=1.2, from_rad=-quarter, turn_rad=quarter),
        Line(start=(1.2, 0.0), end=(1.2, short_mm)),
        Arc(centre=(2.4, short_mm), radius_mm=1.2, from_rad=2 * quarter, turn_rad=-quarter),
    ]
    line = LineString([p for piece in path for p in points_of([piece], 1e-4)])
    heights = np.linspace(0.0, run.flute_mm, 401)
    heights = 0.5 * (heights[1:] + heights[:-1])
    areas = [line.buffer(radius_at_mm(run, h), quad_segs=64).area for h in heights]
    expected_mm3 = float(np.mean(areas)) * run.flute_mm
    assert volume_mm3(along_path(cutter_outline(run), path, 0.0)) == pytest.approx(expected_mm3, rel=3e-4)


def test_a_ball_round_a_pocket_against_a_mesh_union():
    """Hulls of balls from place to place along every round, joined (manifold3d); ridges count as swept."""
    run = run_of(shape="ball", flute_mm=8.0, moves=(MillMove(kind="pocket", face="floor", step_mm=1.0),))
    body = pocketed(16.0, 12.0, 5.0)
    passes = passes_of(run, body, body.solid)
    swept = cutter_sweep(run, passes, 30.0)
    assert len(swept.Solids()) == 1
    hulls = []
    for one in passes:
        tools = [ball_mesh(np.array([x, y, 16.0]), 4.0, 8.0, 64) for x, y in points_of(one.path, 5e-3)]
        hulls += [manifold3d.Manifold.batch_hull([a, b]) for a, b in pairwise(tools)]
    mesh = manifold3d.Manifold.batch_boolean(hulls, manifold3d.OpType.Add)
    between_mm3 = ridge_of_rounds_mm(run, 1.0) * 8.0 * 4.0
    assert mesh.volume() == pytest.approx(volume_mm3(swept), rel=1.5e-3, abs=between_mm3)


def test_a_ball_leaves_no_rib_in_the_middle_of_a_pocket():
    """Half of what is left is 0.12 mm after the last whole step of 0.14: one more round takes it."""
    run = run_of(shape="ball", diameter_mm=6.0, moves=(MillMove(kind="pocket", face="floor", step_mm=0.14),))
    body = pocketed(20.0, 18.0)
    passes = passes_of(run, body, body.solid)
    rings = shapely.union_all([LineString(points_of(p.path)) for p in passes])
    assert all(rings.distance(Point(0.0, y)) <= 0.07 + 1e-6 for y in np.linspace(-0.2, 0.2, 21))


def only(body: Body, *kept: str) -> Body:
    """The same block with flat faces of its pocket named one by one, and those alone."""
    named = {"floor": body.faces["floor"]}
    sides = {"left": (-12.0, 0.0), "right": (12.0, 0.0), "front": (0.0, -6.0), "rear": (0.0, 6.0)}
    for i in body.faces["walls"]:
        middle = body.solid.Faces()[i].Center()
        near = [n for n, (x, y) in sides.items() if math.hypot(middle.x - x, middle.y - y) < 1e-6]
        named |= dict.fromkeys(near, (i,))
    return Body(name="block", solid=body.solid, faces={name: named[name] for name in kept})


def test_rounds_between_the_faces_of_a_pocket_need_no_name():
    """The pocket is full before, with its corners: 24 x 12 x 8 less rounds of 4 mm, closed form."""
    flat = ("floor", "left", "right", "front", "rear")
    (part,) = milled(only(pocketed(), *flat), makes=flat).parts
    assert part.removed_mm3 == pytest.approx((24 * 12 - (4 - math.pi) * 16) * DEEP, rel=1e-9)


def test_a_pocket_that_is_not_filled_is_not_judged():
    """Two of four walls alone cannot be filled, or not up to the face: what is cut away is not known."""
    with pytest.raises((NotComputedError, KernelError), match="clos"):
        milled(only(pocketed(), "floor", "left"), makes=("floor", "left"))


def faced(solid: cq.Shape, floor_z: float, **walls) -> Body:
    """A part whose level face at a height is its floor, with walls picked by a rule."""
    named = {"floor": tuple(i for i, f in enumerate(solid.Faces()) if abs(f.Center().z - floor_z) < 1e-6)}
    named |= {n: tuple(i for i, f in enumerate(solid.Faces()) if rule(f)) for n, rule in walls.items()}
    return Body(name="block", solid=solid, faces=named)


def shouldered() -> Body:
    """A block 40 x 20 x 20 with a step 10 wide and 8 deep along one side, its wall square to the floor."""
    block = cq.Workplane("XY").box(40.0, 20.0, 20.0, centered=(True, True, False))
    step = cq.Workplane("XY").box(40.0, 10.0, 8.0, centered=(True, False, False)).translate((0, 0, 12))
    return faced(
        block.cut(step).solids().val(), 12.0, walls=lambda f: f.Center().z > 12.5 and abs(f.Center().y) < 1e-6
    )


@pytest.mark.parametrize("diameter", [8.0, 12.0])
def test_a_contour_beside_a_square_wall(diameter):
    """Once along the wall: 40 x 8 x the width of the cutter on the step, closed form."""
    cut = milled(shouldered(), diameter_mm=diameter, moves=(MillMove(kind="contour", face="floor"),))
    (part,) = cut.parts
    assert part.removed_mm3 == pytest.approx(40 * 8 * min(diameter, 10.0), rel=1e-9)
    assert part.gouge_mm3 == 0.0
    lines = [p for one in cut.passes["block"] for p in one.path if isinstance(p, Line)]
    assert [(p.start[1], p.end[1]) for p in lines] == [pytest.approx((diameter / 2, diameter / 2))]


def test_a_slot_that_a_wall_leaves_no_room_for():
    with pytest.raises(NotComputedError, match="a wall is nearer"):
        milled(shouldered(), diameter_mm=12.0, moves=(MillMove(kind="slot", face="floor"),))


def round_groove() -> Body:
    """A block with a groove 8 deep between radii of 6 and 15."""
    block = cq.Workplane("XY").box(40.0, 40.0, 20.0, centered=(True, True, False))
    groove = cq.Workplane("XY").circle(15.0).circle(6.0).extrude(8.0).translate((0, 0, 12))
    return faced(block.cut(groove).solids().val(), 12.0, walls=lambda f: f.geomType() == "CYLINDER")


@pytest.mark.parametrize("kind", ["pocket", "contour"])
def test_a_round_groove_is_milled_to_its_closed_form(kind):
    """pi (15^2 - 6^2) 8 with a square end; a corner of 1 leaves its rounds at both walls, Pappus."""
    move = (MillMove(kind=kind, face="floor"),)
    whole = math.pi * (15.0**2 - 6.0**2) * 8.0
    (part,) = milled(round_groove(), diameter_mm=6.0, moves=move).parts
    assert (part.removed_mm3, part.gouge_mm3) == (pytest.approx(whole, rel=1e-9), 0.0)
    (part,) = milled(round_groove(), diameter_mm=6.0, moves=move, shape="bull", corner_mm=1.0).parts
    # The centre of what a square has over a quarter round lies 0.2234 from its corner.
    corner, off = 1 - math.pi / 4, (10 - 3 * math.pi) / (3 * (4 - math.pi))
    assert part.leftover_mm3 == pytest.approx(2 * math.pi * corner * (15 - off + 6 + off), rel=1e-6)
    assert part.gouge_mm3 == pytest.approx(0.0, abs=1e-6)


def test_a_ball_round_an_island_leaves_it_standing():
    """What is left between 6 and 15 is the round beside both walls, and ridges 0.0300 mm high at most."""
    (part,) = milled(round_groove(), diameter_mm=6.0, shape="ball").parts
    assert part.gouge_mm3 == pytest.approx(0.0, abs=1e-3)
    beside = (9 - math.pi * 9 / 4) * 2 * math.pi * 21
    ridges = ridge_of_rounds_mm(run_of(shape="ball", diameter_mm=6.0), 0.6) * math.pi * (12**2 - 9**2)
    assert part.leftover_mm3 == pytest.approx(beside + ridges, rel=1e-3)


def test_a_sweep_by_sections_is_that_of_the_mesh_union():
    """Hulls of balls from place to place, joined (manifold3d)."""
    run = run_of(shape="ball", diameter_mm=6.0, flute_mm=8.0)
    path = (
        Line(start=(0.0, 0.0), end=(10.0, 0.0)),
        Arc(centre=(10.0, 5.0), radius_mm=5.0, from_rad=-math.pi / 2, turn_rad=math.pi),
    )
    passes = [CutterPass(path=path, z_mm=3.0), CutterPass(path=path[:1], z_mm=1.0)]
    hulls = []
    for one in passes:
        tools = [ball_mesh(np.array([x, y, one.z_mm]), 3.0, 8.0) for x, y in points_of(one.path, 1e-3)]
        hulls += [manifold3d.Manifold.batch_hull([a, b]) for a, b in pairwise(tools)]
    mesh = manifold3d.Manifold.batch_boolean(hulls, manifold3d.OpType.Add)
    assert swept_by_sections_mm3(run, passes, 20.0) == pytest.approx(mesh.volume(), rel=2e-3)
    assert volume_mm3(cutter_sweep(run, passes, 20.0)) == pytest.approx(mesh.volume(), rel=2e-3)


def bored(bore: float) -> Body:
    """A block 40 x 40 x 24 with a round pocket 8 deep in its middle."""
    block = cq.Workplane("XY").box(40.0, 40.0, 24.0, centered=(True, True, False))
    pocket = cq.Workplane("XY").circle(bore / 2).extrude(8.0).translate((0, 0, 16))
    return faced(block.cut(pocket).solids().val(), 16.0, walls=lambda f: f.geomType() == "CYLINDER")


def helix(**given) -> tuple[MillMove, ...]:
    stated = {
        "at_mm": ((0.0, 0.0),),
        "from_z_mm": 24.0,
        "z_mm": 16.0,
        "radius_mm": 4.0,
        "pitch_mm": 1.0,
    } | given
    return (MillMove(kind="helix", **stated),)


def test_a_helix_bores_a_round_pocket():
    """pi 10^2 8 by a cutter of 12 that goes round at 4; it leads by atan(1 / (2 pi 4)), closed forms."""
    cut = milled(bored(20.0), diameter_mm=12.0, moves=helix())
    (part,) = cut.parts
    assert part.removed_mm3 == pytest.approx(math.pi * 100 * 8, rel=1e-9)
    assert (part.leftover_mm3, part.gouge_mm3) == (0.0, 0.0)
    (one,) = cut.passes["block"]
    assert one.lead_deg == pytest.approx(math.degrees(math.atan(1 / (2 * math.pi * 4))))
    heights = [z for _, _, z in cut.made.tip_mm]
    assert (max(heights), min(heights)) == (pytest.approx(25.0), pytest.approx(16.0))


def test_a_helix_wider_than_its_cutter_leaves_a_pin():
    """Round at 7 a cutter of 8 never comes within 3 mm of the middle: pi 3^2 8 stands there."""
    (part,) = milled(bored(22.0), moves=helix(radius_mm=7.0)).parts
    assert part.leftover_mm3 == pytest.approx(math.pi * 9 * 8, rel=1e-9)
    assert volume_mm3(part.missed) == pytest.approx(math.pi * 9 * 8, rel=1e-2)


def ramp(legs: int, **given) -> tuple[MillMove, ...]:
    points = tuple((11.0 if n % 2 else -11.0, 0.0) for n in range(legs + 1))
    return (MillMove(kind="ramp", at_mm=points, **({"from_z_mm": 24.0, "z_mm": 16.0} | given)),)


def test_a_ramp_makes_the_slot_that_it_goes_down_in():
    """22 x 8 and two half rounds, 8 deep; 7 legs of 22 fall 8 in 154: 2.97 degrees."""
    cut = milled(pocketed(30.0, 8.0, 3.99999999), moves=ramp(7))
    (part,) = cut.parts
    assert part.removed_mm3 == pytest.approx((22 * 8 + math.pi * 16) * DEEP, rel=1e-6)
    assert cut.passes["block"][0].lead_deg == pytest.approx(math.degrees(math.atan(8 / 154)))


def test_a_ramp_deeper_than_its_flutes_is_not_worked_out():
    with pytest.raises(NotComputedError, match="at once"):
        milled(pocketed(30.0, 8.0, 3.99999999), flute_mm=6.0, moves=ramp(7))


@pytest.mark.parametrize("shape", ["ball", "square"])
def test_a_ramp_against_a_mesh_union(shape):
    """Hulls of the tool from place to place, down the ramp and back over it level (manifold3d)."""
    run = run_of(shape=shape, moves=ramp(1, from_z_mm=20.0))
    (one,) = passes_of(run, pocketed(), pocketed().solid)
    swept = volume_mm3(cutter_sweep(run, [one], 40.0))

    def tool(x: float, z: float) -> manifold3d.Manifold:
        if shape == "ball":
            return ball_mesh(np.array([x, 0.0, z]), 4.0, 12.0)
        return manifold3d.Manifold.cylinder(12.0, 4.0, 4.0, 128).translate((x, 0.0, z))

    ends = [(-11.0, 20.0), (11.0, 16.0), (-11.0, 16.0)]
    mesh = manifold3d.Manifold()
    for (a, za), (b, zb) in pairwise(ends):
        mesh += manifold3d.Manifold.batch_hull([tool(a, za), tool(b, zb)])
    # Above the flutes at the lowest height nothing is counted.
    mesh = mesh.trim_by_plane((0.0, 0.0, -1.0), -(16.0 + 12.0))
    assert swept == pytest.approx(mesh.volume(), rel=1.5e-3)


@pytest.mark.parametrize(
    ("move", "says"),
    [
        ({"kind": "ramp", "at_mm": ((0.0, 0.0), (9.0, 0.0)), "z_mm": 16.0}, "from_z_mm"),
        ({"kind": "ramp", "at_mm": ((0.0, 0.0),), "z_mm": 16.0, "from_z_mm": 20.0}, "2 points"),
        ({"kind": "helix", "at_mm": ((0.0, 0.0),), "z_mm": 16.0, "from_z_mm": 20.0}, "pitch_mm"),
        ({"kind": "helix", "at_mm": ((0.0, 0.0),), "z_mm": 16.0, "from_z_mm": 12.0}, "above z_mm"),
        ({"kind": "pocket", "face": "floor", "pitch_mm": 1.0}, "leave it out of a pocket"),
    ],
)
def test_a_way_down_that_is_half_stated_is_refused(move, says):
    with pytest.raises(SetupError, match=says):
        Setup(name="bench", bodies=(pocketed(),), end_mills=(run_of(moves=(MillMove(**move),)),))
