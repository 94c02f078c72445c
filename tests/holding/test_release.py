"""How bodies come off, against statics and geometry by hand."""

import math

import manifold3d
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fixturecheck import Cut, Holding, Seat, Setup, body, equipment
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hold import held
from fixturecheck.kernel.boolean import united
from fixturecheck.kernel.brep.topology import edges_of
from fixturecheck.kernel.construct import box, chamfered
from fixturecheck.kernel.measure import edge_middle
from fixturecheck.machining.as_ground import grind
from fixturecheck.magnet.pull import FacePull, Pulls, magnet_of
from fixturecheck.magnet.remanence import residual_pulls
from fixturecheck.release.motions import TRAVEL_MM, UP, ReleaseMotion, TouchingFaces, WayOff, finished
from fixturecheck.release.sequence import HAND_N, release_of, takes_n
from fixturecheck.units import METRIC
from fixturecheck.wording.hold import pry_words, step_words, way_words
from tests.holding.blocks import H, L, W, fixture, part, table, walls

STEEL_N_MM3 = 7870e-9 * 9.80665


def comes_off(*bodies, blocking=(), pulls=None, reason="", cuts=()):
    """The release of bodies as drawn."""
    setup = Setup(name="bench", bodies=bodies, cuts=cuts, holding=Holding(blocking=blocking))
    placed = {b.name: b.solid.moved(b.at) for b in bodies}
    contacts = find_contacts([b.placed() for b in bodies], setup.tolerances)
    return release_of(setup, placed, contacts, [grind(setup, c) for c in cuts], pulls, reason)


def only(release, name="block"):
    return next(b for b in release.order if b.body == name)


def told(leaving):
    return [way_words(w, METRIC) for w in leaving.ways]


def step(leaving):
    best = leaving.ways[0] if leaving.ways else None
    return step_words(leaving.body, best, hand_n=HAND_N, keeps=leaving.demagnetise, write=METRIC)


def pulled(n, at, a="block.bottom", b="table.top"):
    """One residual pull at one place."""
    at = np.array(at)
    face = FacePull(
        a=FaceRef(a), b=FaceRef(b), weak_n=n, strong_n=n, weak_at_mm=at, strong_at_mm=at,
        toward=np.array([0.0, 0.0, -1.0]), area_mm2=1.0, flux_density_t=0.0,
        low_share=0.9, high_share=1.1, points_mm=at[None], pressure_n_mm2=np.ones(1),
    )  # fmt: skip
    return Pulls(faces=(face,))


# Force: the moment of the weight about the edge over the reach of the lift.


def test_a_block_is_tipped_over_its_long_edge_by_half_its_weight():
    found = only(comes_off(table(), part()))
    weight_n = STEEL_N_MM3 * L * W * H
    assert found.ways[0].force_n[0] == found.ways[0].force_n[1] == pytest.approx(weight_n / 2, rel=1e-6)
    assert found.by_hand
    assert not found.ways[0].rubs
    assert "tip about its" in told(found)[0]


def test_the_lever_is_from_the_edge_that_it_lies_on_to_the_far_end():
    rail = fixture("rail", (-10, -200, -20), (10, 200, 0))
    found = only(comes_off(rail, part()))
    # Weight at 10 from either edge of the rail, lifted 40 from it.
    tips = [w for w in told(found) if "tip" in w and "X" in w]
    assert len(tips) == 2
    assert found.ways[0].force_n[1] == pytest.approx(STEEL_N_MM3 * L * W * H * 10 / 40, rel=1e-6)


def test_a_weight_that_is_not_in_the_middle():
    solid = united(
        [box((-L / 2, -W / 2, 0), (L / 2, W / 2, H)), box((10, -W / 2, H), (30, W / 2, H + 30))], "the part"
    )
    found = only(comes_off(table(), part(solid=solid)))
    base, tower = STEEL_N_MM3 * L * W * H, STEEL_N_MM3 * 20 * W * 30
    # Over the edge beside the tower: the base acts at 30, the tower at 10, the lift at 60.
    expected = (base * 30 + tower * 10) / 60
    assert found.ways[0].force_n[1] == pytest.approx(expected, rel=1e-6)
    assert told(found)[0].startswith("tip about its right bottom edge, toward +X")


def test_a_block_that_hangs_over_topples_by_itself():
    ledge = fixture("ledge", (-200, -200, -20), (-5, 200, 0))
    found = only(comes_off(ledge, part()))
    assert found.ways[0].force_n[1] == 0.0
    assert "topples by itself" in step(found)


def test_the_residual_pull_adds_its_own_moment_and_its_range():
    pulls = pulled(100.0, (0.0, -15.0, 0.0))
    found = only(comes_off(table(), part(), pulls=pulls))
    weight_n = STEEL_N_MM3 * L * W * H
    # Tipped over the front edge, which the pull is 5 from; the range is that of the pull.
    assert told(found)[0].startswith("tip about its front bottom edge, toward -Y")
    assert found.ways[0].force_n[0] == pytest.approx((weight_n * 20 + 90 * 5) / 40, rel=1e-6)
    assert found.ways[0].force_n[1] == pytest.approx((weight_n * 20 + 110 * 5) / 40, rel=1e-6)
    lifted = next(w for w in told(found) if "straight up" in w)
    assert f"{weight_n + 90:.2g}" in lifted


def test_what_is_too_much_for_fingers_is_said():
    found = only(comes_off(table(), part(), pulls=pulled(2000.0, (0.0, 0.0, 0.0))))
    assert found.by_hand is False
    assert found.pry


def test_a_slide_takes_friction_and_what_pulls_against_it():
    """mu times the load square to the way, and what pulls against it, statics; a lift that rubs likewise."""
    along = np.array([1.0, 0.0, 0.0])
    loads = [(np.array([-5.0, 10.0, -20.0]), np.zeros(3))]
    slide = WayOff(motion=ReleaseMotion(kind="slide", along=along), slides=(touching(),))
    assert takes_n(slide, loads, part().solid, 0.3) == pytest.approx(5.0 + 0.3 * math.hypot(10.0, 20.0))
    lift = WayOff(motion=ReleaseMotion(kind="lift", along=UP), slides=(touching(),))
    assert takes_n(lift, loads, part().solid, 0.3) == pytest.approx(20.0 + 0.3 * math.hypot(5.0, 10.0))
    free = WayOff(motion=ReleaseMotion(kind="lift", along=UP), slides=())
    assert takes_n(free, loads, part().solid, 0.3) == pytest.approx(20.0)


def touching():
    return TouchingFaces(
        own=FaceRef("block.left"), other=FaceRef("wall.right"), normal=np.array([-1.0, 0.0, 0.0]),
        points_mm=np.zeros((1, 3)), shapes=(), finished=False, on_part=False,
    )  # fmt: skip


# Ways: from the solids.


def test_a_motion_is_told_as_it_was_tried():
    """The told rotation about the told point moves every point as the motion itself does."""
    tip = ReleaseMotion(
        kind="tip", along=UP, at_mm=np.array([3.0, 0.0, 1.0]), axis=np.array([0.0, 1.0, 0.0]), arm_mm=8.0
    )
    told = tip.as_result((0.0, 0.0, 0.0))
    points = np.array([[0.0, 0.0, 0.0], [5.0, 2.0, 9.0]])
    moved = np.array(told.velocity) + np.cross(told.rotation_rad_mm, points - np.array(told.at_mm))
    assert moved == pytest.approx(tip.velocity(points))
    lift = ReleaseMotion(kind="lift", along=UP).as_result((1.0, 2.0, 3.0))
    assert (lift.at_mm, lift.velocity, lift.travel_mm) == ((1.0, 2.0, 3.0), (0.0, 0.0, 1.0), TRAVEL_MM)


def test_a_part_in_a_pocket_can_only_be_lifted_straight_up():
    found = only(comes_off(table(), *walls(0.05, 10.0), part()))
    assert [w.split(",")[0] for w in told(found)] == ["lift straight up"]
    assert not found.ways[0].rubs
    assert found.pry is None


def test_in_a_pocket_without_play_the_lift_rubs_every_wall():
    found = only(comes_off(table(), *walls(0.0, 10.0), part()))
    assert len(found.ways) == 1
    assert {other.split(".")[0] for _, other in found.ways[0].rubs} == {f"wall_{s}" for s in "LRFB"}


def test_walls_that_were_only_milled_may_be_rubbed_by_a_milled_part():
    rough = [body(w.name, w.solid, role="fixture", finish="milled") for w in walls(0.0, 10.0)]
    found = only(comes_off(table("milled"), *rough, part(finish="milled")))
    assert not found.ways[0].rubs


def test_a_face_whose_finish_nobody_states_is_not_rubbed():
    rough = [body(w.name, w.solid, role="fixture", finish="milled") for w in walls(0.0, 10.0)]
    found = only(comes_off(table("milled"), *rough, part(finish=None)))
    assert len(found.ways[0].rubs) == 4


def roof(gap):
    return fixture("roof", (-100, -100, H + gap), (100, 100, H + gap + 10))


def test_under_an_overhang_a_part_can_only_slide_and_that_rubs_its_seat():
    found = only(comes_off(table(), roof(0.2), part()))
    assert {w.split(" ")[0] for w in told(found)} == {"slide"}
    assert [other.split(".")[0] for _, other in found.ways[0].rubs] == ["table"]


def test_an_overhang_beyond_the_travel_is_none():
    found = only(comes_off(table(), roof(TRAVEL_MM + 1.0), part()))
    assert not found.ways[0].rubs
    assert any("lift straight up" in w for w in told(found))


def test_a_pocket_with_a_roof_lets_nothing_out():
    found = only(comes_off(table(), roof(0.2), *walls(0.05, H), part()))
    assert found.ways == ()
    assert "does not come off in any way that was tried" in step(found)


@pytest.mark.parametrize(("play", "free"), [(0.95, False), (1.05, True)])
def test_a_tip_needs_the_play_that_its_lean_takes(play, free):
    """The side of a block leans out by h tan(angle) at the top of a wall of height h."""
    height, arm = 10.0, math.hypot(L, H)
    lean = height * math.tan(TRAVEL_MM / arm)
    sides = walls(play * lean, height, sides="R")
    found = only(comes_off(table(), *sides, part()))
    assert any("toward +X" in w and "tip" in w for w in told(found)) is free


def stands_clear(play, height, steps=200):
    """Whether a block leaning over its right edge stays clear of a wall, by another library's solids."""
    block = manifold3d.Manifold.cube([L, W, H]).translate([-L, -W / 2, 0])
    wall = manifold3d.Manifold.cube([20, 200, height]).translate([play, -100, 0])
    for angle in np.linspace(0, TRAVEL_MM / math.hypot(L, H), steps + 1):
        turn = Rotation.from_euler("y", angle).as_matrix()
        if (block.transform(np.hstack([turn, np.zeros((3, 1))])) ^ wall).volume() > 1e-2:
            return False
    return True


@pytest.mark.parametrize("seed", range(8))
def test_free_and_barred_tips_as_another_solid_modeller_sees_them(seed):
    draw = np.random.default_rng(seed)
    play, height = draw.uniform(0.1, 1.5), draw.uniform(3.0, 25.0)
    sides = walls(play, height, sides="R")
    found = only(comes_off(table(), *sides, part()))
    assert any("toward +X" in w and "tip" in w for w in told(found)) is stands_clear(play, height)


def test_a_face_that_a_cut_makes_counts_as_finished_whatever_is_stated():
    setup = Setup(
        name="bench",
        bodies=(table("milled"), part(finish="milled", faces={"seat": "<Z", "floor": ">Z"})),
        cuts=(Cut(name="top", parts=("block",), floor="floor"),),
    )
    assert finished(setup, FaceRef("block.floor"))
    assert not finished(setup, FaceRef("block.seat"))
    assert finished(setup, FaceRef("block.floor+seat"))


def test_a_tip_is_never_about_the_side_that_a_rail_touches():
    (rail,) = walls(0.0, 10.0, sides="B")
    found = only(comes_off(table(), rail, part()))
    assert any("tip about its front bottom edge, toward -Y" in w for w in told(found))
    assert not any("toward +Y" in w for w in told(found))


def test_a_round_part_tips_about_its_true_outline():
    from fixturecheck.kernel.construct import cylinder

    round_part = part(solid=cylinder(20.0, (0, 0, 0), (0, 0, 15)))
    found = only(comes_off(table(), round_part))
    weight_n = STEEL_N_MM3 * math.pi * 400 * 15
    # Its weight at the radius, lifted at the diameter.
    assert "tip" in told(found)[0]
    assert found.ways[0].force_n[1] == pytest.approx(weight_n / 2, rel=1e-3)


# Order.


def test_blocking_comes_away_before_the_part_that_it_encloses():
    left = fixture("left", (-L / 2 - 30, -15, 0), (-L / 2, 15, 12))
    right = fixture("right", (L / 2, -15, 0), (L / 2 + 30, 15, 12))
    release = comes_off(table(), left, right, part(), blocking=("left", "right"))
    assert [b.body for b in release.order] == ["left", "right", "block"]
    assert not any(b.ways[0].rubs for b in release.order)
    assert step(only(release, "left")).startswith("Tip left about its left bottom edge, toward -X")
    # Were they fixed, the part could not come off clean.
    fast = comes_off(table(), left, right, part())
    assert [b.body for b in fast.order] == ["block"]
    assert fast.order[0].ways[0].rubs


def test_the_middle_of_three_neighbours_is_never_the_first():
    three = [part(f"part_{i}", (20 * i, 0, 0), (20 * i + 20, 40, 15)) for i in range(3)]
    order = [b.body for b in comes_off(table(), *three).order]
    assert order[0] != "part_1"
    assert sorted(order) == ["part_0", "part_1", "part_2"]


def test_what_lies_on_top_goes_first():
    parallel = fixture("parallel", (-10, -60, -8), (10, 60, 0))
    under = fixture("table", (-200, -200, -28), (200, 200, -8))
    release = comes_off(under, parallel, part(), blocking=("parallel",))
    assert [b.body for b in release.order] == ["block", "parallel"]


def test_a_milled_part_is_lifted_off_its_parallel_before_that_is_slid_from_under_it():
    """The parallel cannot tip under the part, only slide on ground faces; once the part is gone it tips."""
    parallel = fixture("parallel", (-L / 2, -W / 2, -8), (L / 2, W / 2, 0))
    under = fixture("table", (-200, -200, -28), (200, 200, -8))
    release = comes_off(under, parallel, part(finish="milled"), blocking=("parallel",))
    assert [b.body for b in release.order] == ["block", "parallel"]
    assert not any(b.ways[0].rubs for b in release.order)


def test_a_part_in_a_loose_guide_is_slid_out_of_it_before_the_guide_goes():
    """The part rubs its seat alone; the guide from under it rubs that and what it lies on itself."""
    under = fixture("table", (-200, -200, -28), (200, 200, -8))
    floor, over = box((-40, -30, -8), (40, 30, 0)), box((-40, -30, H + 0.1), (40, 30, H + 8))
    back = box((-40, W / 2 + 0.1, -8), (40, 30, H + 8))
    guide = body("guide", united([floor, over, back], "guide"), role="fixture", finish="ground")
    release = comes_off(under, guide, part(), blocking=("guide",))
    assert [b.body for b in release.order] == ["block", "guide"]
    assert release.order[0].ways[0].rubs
    assert not release.order[1].ways[0].rubs


def test_a_neighbour_gone_frees_the_way_for_the_next():
    (fence,) = walls(0.0, 10.0, sides="L")
    row = [part(f"part_{i}", (-30 + 20 * i, 0, 0), (-10 + 20 * i, 40, 15)) for i in range(3)]
    release = comes_off(table(), fence, *row)
    assert [b.body for b in release.order] == ["part_2", "part_1", "part_0"]
    assert not any(b.ways[0].rubs for b in release.order)


def test_what_is_gone_pulls_no_more():
    """Two blocks that draw each other: the first to leave breaks the pull, the second has its weight only."""
    stop = fixture("stop", (-L / 2 - 30, -15, 0), (-L / 2, 15, 12))
    pulls = pulled(100.0, (-L / 2, 0.0, 5.0), "block.left", "stop.right")
    first, second = comes_off(table(), stop, part(), blocking=("stop",), pulls=pulls).order
    assert (first.body, second.body) == ("stop", "block")
    assert first.residual_n[1] == pytest.approx(110.0)
    assert second.residual_n[1] == 0.0
    assert second.ways[0].force_n[1] == pytest.approx(STEEL_N_MM3 * L * W * H / 2, rel=1e-6)


def test_without_the_residual_pull_the_ways_stand_and_the_force_is_not_known():
    found = comes_off(table(), part(), reason="no curve")
    assert found.reason == "no curve"
    assert only(found).ways
    assert only(found).ways[0].force_n is None


# Prying.


def test_a_pry_needs_room_for_its_blade():
    free = only(comes_off(table(), part()))
    near = only(comes_off(table(), *walls(20.0, 10.0), part()))
    far = only(comes_off(table(), *walls(27.0, 10.0), part()))
    assert free.pry
    assert near.pry is None
    assert far.pry


def test_a_pry_gets_under_a_chamfer():
    solid = box((-L / 2, -W / 2, 0), (L / 2, W / 2, H))
    (lower,) = [i for i, e in enumerate(edges_of(solid)) if np.allclose(edge_middle(e), (L / 2, 0, 0))]
    eased = chamfered(solid, lower, 1.5, METRIC)
    found = only(comes_off(table(), *walls(5.0, 10.0, sides="LFB"), part(solid=eased)))
    # The blade is 2 thick, so at its top the chamfer has come all the way out.
    assert pry_words(found.pry, METRIC).startswith("under a lip of 1.5 mm")
    square = only(comes_off(table(), *walls(5.0, 10.0, sides="LFB"), part()))
    assert "square edge" in pry_words(square.pry, METRIC)


# The field of the magnet that is off.


def on_the_chuck(**stated):
    """A small block on the magnet, and what touches there."""
    setup = Setup(
        name="small block on the chuck",
        bodies=(
            *equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=0.0),
            part(faces={"seat": "<Z"}),
        ),
        seats=(Seat(body="block", face="seat", on="chuck_plate", on_face="top"),),
        holding=Holding(magnet="full", **stated),
    )
    return setup, find_contacts([b.placed() for b in setup.bodies], setup.tolerances)


@pytest.fixture(scope="module")
def chuck(mesher):
    return magnet_of(*on_the_chuck(), mesher)


@pytest.mark.parametrize("solves", [True, False])
def test_a_hold_comes_off_against_the_residual_pull_that_is_stated(monkeypatch, solves):
    """The share of the set-up is asked; of a field that did not converge the pull is unknown."""
    setup, contacts = on_the_chuck(residual_share=0.07)
    asked = []

    def residual(magnet, share):
        asked.append((magnet, share))
        if not solves:
            raise NotComputedError("no field")
        return pulled(100.0, (0.0, 0.0, 0.0), b="chuck_plate.top")

    monkeypatch.setattr("fixturecheck.hold.magnet_of", lambda *_given, **_more: "the magnet")
    monkeypatch.setattr("fixturecheck.hold.residual_pulls", residual)
    placed = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    release = held(setup, placed, contacts, (), asked=("release",)).release
    assert asked == [("the magnet", 0.07)]
    assert release.reason == ("" if solves else "no field")
    known = only(release).residual_n
    assert known == pytest.approx((90.0, 110.0)) if solves else known is None


def test_the_residual_pull_grows_with_the_square_of_the_share_where_iron_is_straight(chuck):
    share = Holding().residual_share
    once, twice = (residual_pulls(chuck, s).on("block") for s in (share, 2 * share))
    strong = [sum(f.strong_n for f in p) for p in (once, twice)]
    weak = [sum(f.weak_n for f in p) for p in (once, twice)]
    assert strong[1] / strong[0] == pytest.approx(4.0, rel=1e-4)
    # Rayleigh: permeability rises at most in proportion to the field, so flux with its square.
    assert 4.0 < weak[1] / weak[0] < 16.0
    assert weak[0] < strong[0]
    # And it is small beside the rated pull of the area.
    assert strong[0] < 0.02 * 80.0 * L * W / 100
