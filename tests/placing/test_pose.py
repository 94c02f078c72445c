"""Bodies put on their seats, against closed forms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import permutations

import cadquery as cq
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from fixturecheck.kernel.select import by_point, by_selector
from fixturecheck.placing.mates import Mate, SeatFace, SeatFaces, fits
from fixturecheck.placing.pose import Closeness, Extent, Pose, Seated, seat
from fixturecheck.result.rest import FreedomKind

CLOSE = Closeness(off_mm=1e-3, lean_rad=1e-5)
SLIDES, TURNS = FreedomKind.SLIDES, FreedomKind.TURNS
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
Place = str | tuple[float, float, float]


def face(solid: cq.Shape, which: Place) -> SeatFace:
    """Return a face by a selector, or the one nearest a point."""
    numbers = by_selector(solid, which) if isinstance(which, str) else by_point(solid, which)
    return SeatFaces().read(solid, numbers, "a face")


def mate(own: SeatFace, other: SeatFace, by: Pose | None = None, gap_mm: float = 0.0) -> Mate:
    stands = by or Pose.drawn()
    return Mate(name="", own=own, other=other.moved(stands.turn, stands.shift), gap_mm=gap_mm)


def put(mates: Sequence[Mate], solid: cq.Shape, start: Pose | None = None) -> Seated:
    box = solid.BoundingBox()
    extent = Extent(middle_mm=np.array(box.center.toTuple()), size_mm=box.DiagonalLength)
    return seat(mates, start or Pose.drawn(), extent, CLOSE)


def left_free(seated: Seated) -> list[tuple[FreedomKind, tuple[float, ...]]]:
    """Return what is left free, with each axis up to its sense."""
    return [(m.kind, tuple(np.abs(np.round(m.axis, 9)))) for m in seated.free]


def turned(turn_rad: Sequence[float], shift_mm: Sequence[float] = (0.0, 0.0, 0.0)) -> Pose:
    return Pose(turn=Rotation.from_rotvec(turn_rad).as_matrix(), shift=np.array(shift_mm, dtype=float))


BLOCK = cq.Workplane().box(10, 20, 5).val()
POCKET = cq.Workplane().box(100, 100, 40).cut(cq.Workplane().box(80, 80, 40).translate((10, 10, 10))).val()
"""Its floor is at z = -10, two walls at x = -30 and y = -30."""
CORNER = (
    (face(BLOCK, "<Z"), face(POCKET, (10.0, 10.0, -10.0))),
    (face(BLOCK, "<X"), face(POCKET, (-30.0, 10.0, 5.0))),
    (face(BLOCK, "<Y"), face(POCKET, (10.0, -30.0, 5.0))),
)


@pytest.mark.parametrize(
    "start", [Pose.drawn(), turned((0.3, -2.0, 1.1), (4, 5, 6)), turned((math.pi, 0, 0))]
)
def test_a_block_in_a_corner_stands_at_its_half_lengths(start: Pose) -> None:
    """By hand: half of 10 x 20 x 5 mm from the planes x = -30, y = -30 and z = -10, in whatever order."""
    for order in permutations(CORNER):
        found = put([mate(*pair) for pair in order], BLOCK, start)
        assert found.unmet == ()
        assert found.free == ()
        assert np.allclose(found.pose.shift, (-25.0, -20.0, -7.5), atol=1e-12)
        assert np.allclose(found.pose.turn, np.eye(3), atol=1e-13)


def test_a_gap_holds_a_face_off() -> None:
    pairs = [mate(*pair, gap_mm=gap) for pair, gap in zip(CORNER, (0.5, 0.0, -1.0), strict=True)]
    assert np.allclose(put(pairs, BLOCK).pose.shift, (-25.0, -21.0, -7.0), atol=1e-12)


def test_what_flat_seats_leave_free() -> None:
    """Three planes take three, two and one freedom (3-2-1 location, common practice, no source)."""
    mates = [mate(*pair) for pair in CORNER]
    assert len(put([], BLOCK).free) == 6
    assert left_free(put(mates[:1], BLOCK)) == [(SLIDES, X), (SLIDES, Y), (TURNS, Z)]
    assert left_free(put(mates[:2], BLOCK)) == [(SLIDES, Y)]


numbers = st.floats(-3.0, 3.0)
vectors = st.tuples(numbers, numbers, numbers)


@settings(max_examples=25)
@given(whole=vectors, shift=vectors, start=vectors)
def test_a_corner_turned_as_a_whole_turns_the_block_with_it(
    whole: tuple[float, ...], shift: tuple[float, ...], start: tuple[float, ...]
) -> None:
    by = turned(whole, shift)
    found = put([mate(*pair, by) for pair in CORNER], BLOCK, turned(start))
    upright = Pose(turn=np.eye(3), shift=np.array((-25.0, -20.0, -7.5))).after(by)
    assert np.allclose(found.pose.matrix(), upright.matrix(), atol=1e-10)


def vee(angle_deg: float) -> tuple[SeatFace, SeatFace]:
    """Return the flanks, at -Y and +Y, of a V along X whose vertex line is the x axis."""
    half = math.radians(angle_deg) / 2
    y, z = 20 * math.sin(half), 20 * math.cos(half)
    outline = [(0, 0), (y, z), (40, z), (40, -20), (-40, -20), (-40, z), (-y, z)]
    block = cq.Workplane("YZ").polyline(outline).close().extrude(60).val()
    return face(block, (30.0, -y / 2, z / 2)), face(block, (30.0, y / 2, z / 2))


PIN = cq.Workplane("YZ").circle(6).extrude(30).val()
STOP = cq.Workplane().box(10, 10, 10).translate((-5, 0, 0)).val()
"""Its face toward +X is at x = 0."""


@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 120.0])
@pytest.mark.parametrize("start", [(0, 0, 0), (0, 0, 1.5), (0, 0, math.pi), (0.4, math.pi / 2, 0.2)])
def test_a_round_pin_in_a_v_lies_at_the_height_of_its_tangents(
    angle_deg: float, start: tuple[float, float, float]
) -> None:
    """Closed form: the axis of a pin of radius r lies r / sin(half the angle) above the vertex line."""
    pairs = [mate(face(PIN, "%CYLINDER"), flank) for flank in vee(angle_deg)]
    lying = put(pairs, PIN, turned(start))
    assert lying.unmet == ()
    assert left_free(lying) == [(SLIDES, X), (TURNS, X)]
    stopped = put([*pairs, mate(face(PIN, "<X"), face(STOP, ">X"))], PIN, turned(start))
    assert left_free(stopped) == [(TURNS, X)]
    middle = stopped.pose.apply(np.array((15.0, 0.0, 0.0)))
    assert np.allclose(middle, (15.0, 0.0, 6.0 / math.sin(math.radians(angle_deg) / 2)), atol=1e-9)
    assert np.allclose(stopped.pose.turn[:, 0], X, atol=1e-10)


def test_a_square_bar_in_a_v_lies_on_its_corner() -> None:
    """By hand: turned by 45 degrees, its middle half a diagonal above the vertex line."""
    bar = cq.Workplane().box(50, 12, 12).val()
    left, right = vee(90.0)
    found = put([mate(face(bar, "<Z"), right), mate(face(bar, "<Y"), left)], bar)
    assert left_free(found) == [(SLIDES, X)]
    assert found.pose.shift[2] == pytest.approx(12 / math.sqrt(2), abs=1e-12)
    assert abs(found.pose.turn[1, 1]) == pytest.approx(math.sqrt(0.5), abs=1e-13)


def test_a_wedge_goes_in_until_its_slope_meets_the_wall() -> None:
    """Closed form: 10 mm thick at its thin end, rising 1 in 5; in a slot of 12 mm it stops 10 mm in."""
    outline = [(0, 0), (60, 0), (60, 22), (0, 10)]
    wedge = cq.Workplane("XZ").polyline(outline).close().extrude(8).val()
    floor = cq.Workplane().box(100, 100, 10).translate((0, 0, -5)).val()
    slope = math.atan2(12, 60)
    upper = (
        cq.Workplane().box(40, 40, 10).translate((0, 0, 5)).rotate((0, 0, 0), (0, 1, 0), -math.degrees(slope))
    )
    upper = upper.translate((0, 0, 12)).val()
    pairs = [
        mate(face(wedge, "<Z"), face(floor, ">Z")),
        mate(face(wedge, "<Y"), face(floor, "<Y")),
        mate(face(wedge, (30.0, -4.0, 16.0)), face(upper, (0.0, 0.0, 12.0))),
    ]
    # The wall at -Y of the floor looks the same way as the wedge's: it is turned round to face it.
    found = put(pairs, wedge)
    assert found.unmet[0].mate == 2
    pairs[1] = mate(face(wedge, "<Y"), face(cq.Workplane().box(9, 10, 9).translate((0, -30, 0)).val(), ">Y"))
    found = put(pairs, wedge)
    assert found.free == ()
    assert np.allclose(found.pose.shift, (-10.0, -17.0, 0.0), atol=1e-12)


def test_seats_that_contradict_say_which_and_by_how_much() -> None:
    """By hand: a block of 10 mm between walls 9.8 mm apart is 0.2 mm too wide, whatever the floor."""
    floor, left, back = (mate(*pair) for pair in CORNER)
    wall = cq.Workplane().box(10, 40, 40).translate((-15.2, 0, 0)).val()
    found = put([floor, left, back, mate(face(BLOCK, ">X"), face(wall, "<X"))], BLOCK)
    (unmet,) = found.unmet
    assert (unmet.mate, unmet.against) == (3, (1,))
    assert unmet.off_mm == pytest.approx(-0.2, abs=1e-12)
    assert unmet.lean_rad == 0.0


def test_an_angle_that_does_not_fit_is_told() -> None:
    """By hand: a corner of 90 degrees in a V of 91 lies on one flank, one degree off the other."""
    left, right = vee(91.0)
    (unmet,) = put([mate(face(BLOCK, "<Z"), left), mate(face(BLOCK, "<Y"), right)], BLOCK).unmet
    assert (unmet.mate, unmet.against) == (1, (0,))
    assert math.degrees(unmet.lean_rad) == pytest.approx(1.0, abs=1e-9)


def test_a_plate_against_a_rod_and_a_ball_on_a_plate() -> None:
    """By hand: a flat face stands a radius from the axis of a rod, a ball's centre a radius above a plate."""
    rod = cq.Workplane().circle(4).extrude(20).translate((50, 0, -10)).val()
    found = put([mate(*CORNER[0]), mate(*CORNER[2]), mate(face(BLOCK, ">X"), face(rod, "%CYLINDER"))], BLOCK)
    assert found.pose.shift[0] == pytest.approx(50 - 4 - 5, abs=1e-12)
    ball = cq.Workplane().sphere(3).val()
    found = put([mate(face(ball, "%SPHERE"), CORNER[0][1])], ball)
    assert found.pose.shift[2] == pytest.approx(-7.0, abs=1e-12)
    assert len(found.free) == 5


def test_a_pin_in_a_bore_lies_on_its_axis_where_there_is_no_play() -> None:
    bored = cq.Workplane().box(40, 40, 20).faces(">Z").workplane().center(5, 7).hole(12).val()
    bore, pin = face(bored, "%CYLINDER"), face(PIN, "%CYLINDER")
    found = put([mate(pin, bore)], PIN)
    assert left_free(found) == [(SLIDES, Z), (TURNS, Z)]
    assert np.allclose(found.pose.apply(np.zeros(3))[:2], (5.0, 7.0), atol=1e-12)
    assert not fits(face(cq.Workplane().circle(6.1).extrude(5).val(), "%CYLINDER"), bore)
    assert not fits(face(BLOCK, "<Z"), bore)


def test_a_body_of_revolution_is_known_by_its_axis() -> None:
    whole = SeatFaces().shape(cq.Workplane().circle(5).extrude(9).faces(">Z").chamfer(1).val())
    assert whole.axis is not None
    assert np.allclose(np.abs(whole.axis[1]), Z)
    assert whole.size_mm == pytest.approx(math.sqrt(10**2 + 10**2 + 9**2), abs=1e-9)
    bored = cq.Workplane().circle(5).extrude(9).faces(">Z").workplane().hole(2)
    assert SeatFaces().shape(bored.val()).axis is not None
    flat = cq.Workplane().circle(5).extrude(9).cut(cq.Workplane().box(20, 20, 20).translate((14, 0, 0)))
    aside = cq.Workplane().circle(5).extrude(9).faces(">Z").workplane().center(2, 0).hole(2)
    for other in (BLOCK, flat.val(), aside.val()):
        assert SeatFaces().shape(other).axis is None


def cone_of(half_deg: float, long: float, top_mm: float = 0.0) -> cq.Shape:
    """A cone with its apex, or the small end of its frustum, at the origin, that widens along +Z."""
    wide = top_mm + long * math.tan(math.radians(half_deg))
    return cq.Workplane().add(cq.Solid.makeCone(top_mm, wide, long)).val()


def v_flanks(half_deg: float) -> tuple[SeatFace, SeatFace]:
    """The flanks of a groove along Y that meet in a line through the origin, each so steep to the upright."""
    high = 40.0
    wide = high * math.tan(math.radians(half_deg))
    outline = [(-wide - 9, -9), (wide + 9, -9), (wide + 9, high), (wide, high), (0, 0), (-wide, high)]
    groove = cq.Workplane("XZ").polyline([*outline, (-wide - 9, high)]).close().extrude(60, both=True).val()
    return face(groove, (-0.5 * wide, 0.0, 0.5 * high)), face(groove, (0.5 * wide, 0.0, 0.5 * high))


@pytest.mark.parametrize("top_mm", [0.0, 4.0])
@pytest.mark.parametrize(("cone_deg", "groove_deg"), [(15.0, 45.0), (20.0, 60.0), (8.0, 30.0)])
def test_a_cone_in_a_groove_rises_from_its_bottom_by_the_angle_of_its_tangents(
    cone_deg: float, groove_deg: float, top_mm: float
) -> None:
    """Closed form: each flank touches along a line, so that the apex lies on the bottom line of the groove.

    The axis a makes a . n = sin(cone) with both normals n: it rises by asin(sin(cone) / sin(groove)).
    """
    solid = cone_of(cone_deg, 30.0, top_mm)
    own = face(solid, (top_mm + 15.0 * math.tan(math.radians(cone_deg)), 0.0, 15.0))
    found = put([mate(own, flank) for flank in v_flanks(groove_deg)], solid, turned((-1.2, 0.1, 0.2)))
    assert not found.unmet
    axis = found.pose.turn @ (0.0, 0.0, 1.0)
    rise = math.asin(math.sin(math.radians(cone_deg)) / math.sin(math.radians(groove_deg)))
    assert axis == pytest.approx((0.0, math.cos(rise), math.sin(rise)), abs=1e-9)
    apex = found.pose.apply(np.array((0.0, 0.0, -top_mm / math.tan(math.radians(cone_deg)))))
    assert (apex[0], apex[2]) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert {m.kind for m in found.free} == {SLIDES, TURNS}


def test_a_cone_steeper_than_its_groove_contradicts() -> None:
    solid = cone_of(50.0, 20.0)
    own = face(solid, (10.0 * math.tan(math.radians(50.0)), 0.0, 10.0))
    assert [u.mate for u in put([mate(own, flank) for flank in v_flanks(40.0)], solid).unmet] == [1]


PLATE = cq.Workplane().box(60, 60, 12, centered=(True, True, False))
COUNTERSUNK = PLATE.cut(cq.Workplane().add(cone_of(30.0, 12.0, 2.0))).val()
"""Its hole is 2 mm in radius at z = 0 and widens upward by 30 degrees a side: its apex is at -2 / tan 30."""
BORED = PLATE.faces(">Z").workplane().hole(16.0).val()
APEX = -2.0 / math.tan(math.radians(30.0))


@pytest.mark.parametrize("start", [turned((0.3, -0.2, 0.5), (4, 5, 6)), turned((2.6, 0.3, 0.0), (0, 0, 30))])
def test_a_cone_in_its_own_countersink_lies_apex_on_apex(start: Pose) -> None:
    solid = cone_of(30.0, 15.0)
    own = face(solid, (8.0 * math.tan(math.radians(30.0)), 0.0, 8.0))
    found = put([mate(own, face(COUNTERSUNK, (5.0, 0.0, 5.2)))], solid, start)
    assert not found.unmet
    assert found.pose.turn @ (0.0, 0.0, 1.0) == pytest.approx((0.0, 0.0, 1.0), abs=1e-9)
    assert found.pose.shift == pytest.approx((0.0, 0.0, APEX), abs=1e-9)
    assert left_free(found) == [(TURNS, Z)]


@pytest.mark.parametrize("moves", ["cone", "plate"])
def test_a_cone_in_a_bore_goes_in_until_it_is_as_wide_as_the_rim(moves: str) -> None:
    """Closed form: at the rim, 12 mm up, its radius is the bore's 8 mm, 8 / tan 20 over its apex."""
    solid = cone_of(20.0, 40.0)
    cone, bore = face(solid, (20.0 * math.tan(math.radians(20.0)), 0.0, 20.0)), face(BORED, (8.0, 0.0, 6.0))
    start = turned((0.2, 0.1, 0.3), (3, 2, 1))
    high = 12.0 - 8.0 / math.tan(math.radians(20.0))
    if moves == "cone":
        found = put([mate(cone, bore)], solid, start)
        assert found.pose.shift == pytest.approx((0.0, 0.0, high), abs=1e-8)
    else:
        found = put([mate(bore, cone)], BORED, start)
        assert found.pose.turn.T @ -found.pose.shift == pytest.approx((0.0, 0.0, high), abs=1e-8)
    assert not found.unmet
    assert [m.kind for m in found.free] == [TURNS]


@pytest.mark.parametrize("moves", ["ball", "plate"])
def test_a_ball_in_a_countersink_stands_at_its_radius_over_the_sine(moves: str) -> None:
    ball = cq.Workplane().sphere(5.0).val()
    own, seat_ = face(ball, (5.0, 0.0, 0.0)), face(COUNTERSUNK, (5.0, 0.0, 5.2))
    start = turned((0.2, 0.1, 0.3), (3, 2, 9))
    high = APEX + 5.0 / math.sin(math.radians(30.0))
    if moves == "ball":
        found = put([mate(own, seat_)], ball, start)
        assert found.pose.shift == pytest.approx((0.0, 0.0, high), abs=1e-9)
    else:
        found = put([mate(seat_, own)], COUNTERSUNK, start)
        assert found.pose.turn.T @ -found.pose.shift == pytest.approx((0.0, 0.0, high), abs=1e-9)
    assert not found.unmet


def test_what_has_no_pose_by_its_cone_is_told_from_what_has() -> None:
    """Cones of unlike angles meet at an edge, and two cones side by side at a place that no seat names."""
    sharp, blunt = (face(cone_of(a, 9.0), (4.0 * math.tan(math.radians(a)), 0.0, 4.0)) for a in (20.0, 40.0))
    sink, flat = face(COUNTERSUNK, (5.0, 0.0, 5.2)), face(BLOCK, "<Z")
    assert [fits(sharp, other) for other in (flat, sink, blunt)] == [True, False, False]
    assert not fits(sink, flat)
