"""Nests of a gang: shares by arithmetic, openings by the circle equation."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck.checks import nest
from fixturecheck.contact.patches import approach as landing
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.result.shapes import Role
from tests.checks.gauged import body, gauged, on
from tests.contact.staging import block

NEST = on("right", "left", "left", "right", rank="nest")


def verdicts(findings):
    return [f.verdict for f in findings]


def nested(*bodies, seats=(NEST,)):
    return gauged(nest.check, bodies, *seats)


def ledge(fillet_mm: float):
    """A part with a ledge at its foot and a milled fillet in the corner; its wall looks along +x at x = 0."""
    drawn = block(20, 12, 20, (-10, 0, 0)).union(block(30, 12, 5, (5, 0, -5)))
    return drawn.edges(cq.NearestToPointSelector((0, 0, 0))).fillet(fillet_mm)


def early_mm(radius_mm: float, height_mm: float) -> float:
    """How far off the wall a fillet is at a height above the floor (circle equation)."""
    return radius_mm - math.sqrt(radius_mm**2 - (radius_mm - height_mm) ** 2)


def test_two_blocks_face_to_face_are_go():
    (only,) = nested(body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (20, 0, 0))))
    assert (only.verdict, only.value) == (Verdict.GO, pytest.approx(1, abs=1e-9))


def test_nest_that_covers_too_little_is_a_caution():
    (only,) = nested(body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (20, 9, 0))))
    assert (only.verdict, only.value) == (Verdict.CAUTION, pytest.approx(3 / 12, abs=1e-9))


def hexagon(name: str, x_mm: float):
    """A hexagon 10 mm high and 20 mm across its flats, two of which look along +y and -y."""
    drawn = cq.Workplane().polygon(6, 20 / math.cos(math.radians(30))).extrude(10).translate((x_mm, 0, 0))
    sides = {"back": (0, 1), "upper_left": (-0.866, 0.5), "lower_right": (0.866, -0.5)}
    named = {
        side: (index,)
        for index, face in enumerate(faces_of(drawn.val()))
        for side, (x, y) in sides.items()
        if face.normalAt().dot(cq.Vector(x, y, 0)) > 0.99
    }
    return replace(body(name, drawn), faces=named)


def test_hexagons_corner_to_corner_along_a_rail_do_not_nest():
    """Two hexagons with a flat on one rail meet at their corners, 20 / cos 30 apart."""
    rail = body("rail", block(90, 10, 12, (20, 15, 0)), role="fixture")
    parts = hexagon("left", 0.0), hexagon("right", 20 / math.cos(math.radians(30)))
    nest_seat = on("right", "upper_left", "left", "lower_right", rank="nest")
    (only, *_) = gauged(nest.check, [rail, *parts], nest_seat, on("right", "back", "rail", "front"))
    assert (only.verdict, only.kind, only.value) == (Verdict.NO_GO, Kind.ON_A_LINE, 0.0)
    assert "No slide of right along its other seats" in only.remedy


def test_hexagons_corner_to_corner_with_room_slide_over_each_other():
    """A side is 20 / sqrt 3 mm: half a face over the other takes 5.774 mm along it, told rounded up."""
    parts = hexagon("left", 0.0), hexagon("right", 20 / math.cos(math.radians(30)))
    (only, *_) = gauged(nest.check, parts, on("right", "upper_left", "left", "lower_right", rank="nest"))
    assert (only.verdict, only.kind) == (Verdict.NO_GO, Kind.ON_A_LINE)
    assert f"Slide right {math.ceil(1000 / math.sqrt(3)) / 100:.2f} mm" in only.remedy


@pytest.mark.parametrize(("radius_mm", "height_mm"), [(3.0, 1.0), (2.0, 0.5)])
def test_corner_that_lands_on_the_fillet_holds_the_nest_open(radius_mm, height_mm):
    left = body("left", ledge(radius_mm))
    right = body(
        "right",
        block(20, 12, 15, (10, 0, height_mm)),
        no_function=frozenset({"bottom"}),
    )
    (only,) = nested(left, right)
    assert (only.verdict, only.unit) == (Verdict.NO_GO, "mm")
    assert only.value == pytest.approx(early_mm(radius_mm, height_mm), abs=1e-4)
    assert f"{only.value:.4g} mm before right.left meets left.right" in only.says
    assert "right.bottom+left" in only.says
    assert "left.round" in only.says
    assert {Role.OVERLAP, Role.LINE} <= {s.role for s in only.shapes}
    assert f"{radius_mm - height_mm:.2f} mm" in only.remedy


def test_a_corner_between_two_seats_is_broken_where_no_other_face_may_be():
    """A corner on the floor meets a fillet of 2 mm where it begins: both legs end there."""
    carried = on("right", "bottom", "left", "top_2")
    right = body("right", block(20, 12, 15, (10, 0, 0)))
    found = nested(body("left", ledge(2.0)), right, seats=(carried, NEST))
    (open_nest,) = [f for f in found if f.kind is Kind.OPEN]
    assert (
        "Or, with right.bottom marked no_function: chamfer right.bottom+left by at least 2.00 mm"
        in open_nest.remedy
    )


def test_copies_that_stand_alike_are_landed_once_and_told_each_as_if_alone(monkeypatch):
    left = body("left", ledge(3.0))
    right = body("right", block(20, 12, 15, (10, 0, 1)), no_function=frozenset({"bottom"}))
    places = {
        "b": cq.Location(cq.Vector(0, 0, 0)),
        "c": cq.Location(cq.Vector(5, 90, 0), cq.Vector(0, 0, 1), 90),
        "d": cq.Location(cq.Vector(0, 0, 200)),
    }
    gang, seats = [], []
    for name, at in places.items():
        # The second part's name comes first in one pair and last in the other two.
        other = f"a_{name}" if name == "d" else f"z_{name}"
        gang += [replace(left, name=name, at=at), replace(right, name=other, at=at)]
        seats.append(on(other, "left", name, "right", rank="nest"))
    landed = []

    def counted(*given, **known):
        landed.append(given[0].name)
        return landing.find_first_contact(*given, **known)

    monkeypatch.setattr(nest, "find_first_contact", counted)
    together = nested(*gang, seats=seats)
    assert landed == ["z_b"]
    for k, found in enumerate(together):
        (alone,) = nested(*gang[2 * k : 2 * k + 2], seats=seats[k : k + 1])
        assert (found.says, found.remedy, found.subject) == (alone.says, alone.remedy, alone.subject)
        assert found.location_mm == pytest.approx(alone.location_mm, abs=1e-6)
        assert found.direction == pytest.approx(alone.direction, abs=1e-9)
        for mine, theirs in zip(found.shapes, alone.shapes, strict=True):
            assert (mine.name, mine.bodies) == (theirs.name, theirs.bodies)
            middle = [s.geometry.BoundingBox().center.toTuple() for s in (mine, theirs)]
            assert middle[0] == pytest.approx(middle[1], abs=1e-4)


def test_a_chamfer_that_is_too_small_by_a_tenth_is_made_larger():
    """A fillet of 3 under a corner 1 high asks for a chamfer of 2; the one that is drawn is 1.9."""
    small = block(20, 12, 15, (10, 0, 1)).edges("<X and <Z").chamfer(1.9)
    right = body("right", small)
    bevel = next(
        i for i, f in enumerate(faces_of(right.solid)) if f.normalAt().x < -0.5 and f.normalAt().z < -0.5
    )
    faces = {n: tuple(i for i in of if i != bevel) for n, of in right.faces.items()}
    faces = {n: of for n, of in faces.items() if of} | {"bevel": (bevel,)}
    right = replace(right, faces=faces, no_function=frozenset({"bevel"}))
    found = nested(body("left", ledge(3.0)), right)[0]
    assert found.verdict is Verdict.NO_GO
    assert found.remedy.startswith("Make the chamfer right.bevel at least 2.00 mm x 45° instead of 1.90 mm")


def test_neighbours_that_overlap_without_a_nest_are_moved_apart():
    pair = body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (19.2, 0, 0)))
    (found,) = nested(*pair, seats=())
    assert found.remedy.startswith("Move right 0.8 mm toward +X: tried, the two then only touch.")
    assert found.direction == pytest.approx((1, 0, 0), abs=1e-9)


def test_relieved_corner_closes_the_nest():
    relieved = block(20, 12, 15, (10, 0, 1)).edges("<X and <Z").chamfer(2.0)
    (only,) = nested(body("left", ledge(3.0)), body("right", relieved))
    assert only.verdict is Verdict.GO
    assert only.value == pytest.approx(1, abs=1e-6)


LIP_MM, CLEAR_MM, INSIDE_MM = 3.0, 0.5, 2.0  # of the dovetail keys: lip, air over it, fillet behind it


def dovetail_key(name: str, x_mm: float):
    """A key on z = 0 whose flanks lean by 60 degrees; the toe of the next reaches over its lip."""

    def at(z_mm: float) -> float:
        return z_mm / math.tan(math.radians(60))

    over = LIP_MM + CLEAR_MM
    outline = [(10, 0), (28, 0), (28, LIP_MM), (20 + at(LIP_MM), LIP_MM), (20 + at(15), 15), (at(15), 15)]
    drawn = cq.Workplane("XZ").polyline([*outline, (at(over), over), (10, over)]).close().extrude(12)
    drawn = drawn.edges(cq.NearestToPointSelector((20 + at(LIP_MM), -6, LIP_MM))).fillet(INSIDE_MM)
    return body(name, drawn.translate((x_mm, 6, 0)))


@pytest.mark.parametrize("apart_mm", [0.0, 0.3])
def test_a_nest_that_leans_is_pushed_along_the_seat_that_the_part_slides_on(apart_mm):
    """Closed form in the plane: the toe at height c over the lip; a fillet fills the corner of 60 degrees.

    The centre of the fillet is r / tan 30 from the corner along the lip. Along the face's own normal the part
    would go through the table, and its flank would land on the lip.
    """
    table = body("table", block(200, 40, 10, (0, 0, -10)), role="fixture")
    first, second = dovetail_key("first", 0), dovetail_key("second", 20 + apart_mm)
    base = on("second", "bottom", "table", "top")
    nest_seat = on("second", "left", "first", "right", rank="nest")
    found = nested(table, first, second, seats=(base, nest_seat))[0]
    r, c = INSIDE_MM, CLEAR_MM
    along = r / math.tan(math.radians(30)) - math.sqrt(r**2 - (r - c) ** 2) - c / math.tan(math.radians(60))
    assert found.value == pytest.approx(along * math.sin(math.radians(60)), abs=1e-4)
    assert found.direction == pytest.approx((-1, 0, 0), abs=1e-9)
    assert f"Take {along:.3f} mm off" in found.remedy


def test_a_chamfer_on_an_edge_that_is_not_square_is_told_with_its_own_angle():
    """Closed form: its end on the flank is where the fillet runs out; equal legs on 60 degrees make 60."""
    first, second = dovetail_key("first", 0), dovetail_key("second", 20)
    second = replace(second, no_function=frozenset({"bottom_2"}))
    found = nested(first, second, seats=(on("second", "left", "first", "right", rank="nest"),))[0]
    leg = INSIDE_MM / math.tan(math.radians(30)) - CLEAR_MM / math.sin(math.radians(60))
    assert f"{math.ceil(leg * 100) / 100:.2f} mm x 60°: tried" in found.remedy


def test_nest_drawn_open_that_would_close_is_a_caution():
    (only,) = nested(body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (20.3, 0, 0))))
    assert (only.verdict, only.value) == (Verdict.CAUTION, pytest.approx(0.3, abs=1e-6))
    assert "the nest faces meet first" in only.says


def test_corner_that_would_land_first_is_found_though_the_parts_are_drawn_apart():
    left, right = body("left", ledge(3.0)), body("right", block(20, 12, 15, (11.5, 0, 1)))
    (only,) = nested(left, right)
    assert (only.verdict, only.value) == (Verdict.NO_GO, pytest.approx(early_mm(3.0, 1.0), abs=1e-4))


def test_nest_faces_drawn_into_each_other_are_no_go_with_the_volume():
    (only,) = nested(body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (19.9, 0, 0))))
    assert (only.verdict, only.unit) == (Verdict.NO_GO, "mm3")
    assert only.value == pytest.approx(0.1 * 12 * 8, rel=1e-6)
    assert "drawn 0.1 mm into" in only.says


def test_name_that_covers_two_planes_is_unknown():
    """The gap of such a nest has no one value."""
    left = body("left", ledge(3.0))
    both = {**left.faces, "right": left.faces["right"] + left.faces["right_2"]}
    both.pop("right_2")
    (only,) = nested(replace(left, faces=both), body("right", block(20, 12, 15, (11.5, 0, 1))))
    assert only.verdict is Verdict.UNKNOWN
    assert "left.right names faces in several planes" in only.says


def test_nest_that_never_lands_is_unknown():
    (only,) = nested(body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (21, 50, 0))))
    assert only.verdict is Verdict.UNKNOWN
    assert "does not land" in only.says


def test_neighbours_that_overlap_without_a_nest_are_no_go():
    left, right = body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (19, 0, 0)))
    (only,) = nested(left, right, seats=())
    assert (only.verdict, only.unit) == (Verdict.NO_GO, "mm3")
    assert only.value == pytest.approx(1 * 12 * 8, rel=1e-9)
    assert "no nest is stated" in only.says


def test_neighbours_apart_without_a_nest_say_nothing():
    assert not nested(body("left", block(20, 12, 8)), body("right", block(20, 12, 8, (25, 0, 0))), seats=())


def test_second_contact_beside_the_nest_is_a_caution():
    """The ledge under the neighbour touches as well as the wall beside it."""
    left = body("left", block(20, 12, 20, (-10, 0, 0)).union(block(30, 12, 5, (5, 0, -5))))
    findings = nested(left, body("right", block(20, 12, 15, (10, 0, 0))))
    assert verdicts(findings) == [Verdict.GO, Verdict.CAUTION]
    assert "beside the nest" in findings[1].says


@pytest.mark.parametrize(("radius_mm", "height_mm"), [(1.0, 0.2), (3.0, 1.0)])
@pytest.mark.parametrize("off_mm", [-0.0005, 0.0005])
def test_a_chamfer_closes_the_nest_from_where_the_circle_equation_says(radius_mm, height_mm, off_mm):
    """Its upper edge lands r - sqrt(r^2 - s^2) early, s below the centre of the fillet: a touch at 1 um."""
    s_mm = math.sqrt(2 * radius_mm * 1e-3 - 1e-6)
    leg_mm = radius_mm - height_mm - s_mm + off_mm
    relieved = block(20, 12, 15, (10, 0, height_mm)).edges("<X and <Z").chamfer(leg_mm)
    found = nested(body("left", ledge(radius_mm)), body("right", relieved))
    early_um = 1e3 * (radius_mm - math.sqrt(radius_mm**2 - (radius_mm - height_mm - leg_mm) ** 2))
    if off_mm < 0:
        (only,) = found
        assert (only.verdict, only.kind) == (Verdict.NO_GO, Kind.OPEN)
        assert 1e3 * only.value == pytest.approx(early_um, abs=1e-5)
        assert 1.0 < early_um < 1.03
    else:
        assert found[0].verdict is Verdict.GO
        assert {f.kind for f in found[1:]} == {Kind.BESIDE_THE_NEST}


def ramp(lean_deg: float):
    """A wall along +x at x = 0, above z = 2, and below it a ramp that leans by an angle against the level."""
    rise = math.tan(math.radians(lean_deg))
    foot = min(5.0, 2.0 / rise)
    outline = [
        (-20, -5),
        (20, -5),
        (20, 2 - foot * rise),
        (foot, 2 - foot * rise),
        (0, 2),
        (0, 20),
        (-20, 20),
    ]
    return cq.Workplane("XZ").polyline(outline).close().extrude(6, both=True)


@pytest.mark.parametrize("lean_deg", [2.0, 10.0, 30.0, 45.0, 80.0])
@pytest.mark.parametrize("early_um", [0.98, 1.02, 6.0])
def test_a_ramp_beside_the_nest_holds_it_open_by_what_is_met_early_along_the_push(lean_deg, early_um):
    """Across the ramp the corner lies early_um sin(lean) deep: less than a touch for the flatter ones."""
    low_mm = 2.0 - 1e-3 * early_um * math.tan(math.radians(lean_deg))
    found = nested(body("left", ramp(lean_deg)), body("right", block(20, 12, 15, (10, 0, low_mm))))
    if early_um < 1.0:
        assert found[0].verdict is Verdict.GO
    else:
        assert (found[0].verdict, found[0].kind) == (Verdict.NO_GO, Kind.OPEN)
        assert 1e3 * found[0].value == pytest.approx(early_um, abs=1e-3)
