"""A part on a sine plate that tilts about two axes: where it stands, and what both angles do to its face."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck import engine
from fixturecheck.angles.incline import resultant_deg
from fixturecheck.errors import SetupError
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.make import equipment, place
from fixturecheck.setup.model import Body, Cut, Setup
from tests.checks.gauged import body, on

LOWER, UPPER = 8.0, 5.0


def compound(**params) -> dict[str, Body]:
    given = {"angle_deg": LOWER, "upper_angle_deg": UPPER} | params
    return {b.name: b for b in equipment("compound_sine_plate", name="sine", **given)}


@pytest.fixture(scope="module")
def plates() -> dict[str, Body]:
    return compound()


def placed(one: Body) -> cq.Solid:
    return one.solid.moved(one.at)


def looks(one: Body, face: str) -> np.ndarray:
    (index,) = one.faces[face]
    return np.array(placed(one).Faces()[index].normalAt().toTuple())


def spins(axis: str, angle_deg: float) -> np.ndarray:
    """The rotation matrix as any text on rigid bodies writes it."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    rows = {"x": [[1, 0, 0], [0, c, -s], [0, s, c]], "y": [[c, 0, s], [0, 1, 0], [-s, 0, c]]}
    return np.array(rows[axis])


def reached(one: Body) -> tuple[float, ...]:
    return tuple(i.reached_deg for i in one.inclines)


@pytest.mark.parametrize(("rises", "sign"), [("plus_x", -1.0), ("minus_x", 1.0)])
def test_both_tilts_are_in_the_solids(rises, sign):
    """The normal is Rx(A) Ry(-+B) z, and leans acos(cos A cos B) in all."""
    plates = compound(upper_rises=rises)
    top = plates["sine_plate"]
    a, b = reached(top)
    assert (a, b) == (pytest.approx(LOWER, abs=2e-4), pytest.approx(UPPER, abs=2e-4))
    normal = looks(top, "top")
    assert normal == pytest.approx(spins("x", a) @ spins("y", sign * b) @ [0.0, 0.0, 1.0], abs=1e-12)
    assert math.degrees(math.acos(normal[2])) == pytest.approx(resultant_deg(a, b), abs=1e-9)
    # What both stops keep from sliding down: along the plate, to its low corner.
    downhill = np.array([0.0, 0.0, -1.0]) + normal[2] * normal
    assert looks(top, "stop") @ downhill < 0.0
    assert looks(top, "side_stop") @ downhill < 0.0


def test_each_stack_stands_between_its_rolls_and_what_is_below(plates):
    for leaf, called, below in (("lower", "block", "base"), ("plate", "upper_block", "lower")):
        stack = [b for name, b in plates.items() if name.startswith(f"sine_{called}_")]
        incline = plates[f"sine_{leaf}"].inclines[-1]
        assert len(stack) == len(incline.stack.blocks_mm)
        assert placed(stack[0]).distance(placed(plates[f"sine_{below}"])) == pytest.approx(0.0, abs=1e-9)
        assert placed(stack[-1]).distance(placed(plates[f"sine_{leaf}"])) == pytest.approx(0.0, abs=1e-9)
        assert 127.0 * math.sin(math.radians(incline.reached_deg)) == pytest.approx(incline.stack.height_mm)
    solids = [placed(b) for b in plates.values()]
    for i, one in enumerate(solids):
        for other in solids[:i]:
            assert one.intersect(other).Volume() == pytest.approx(0.0, abs=1e-6)


def poles_of(plate: Body) -> list[cq.Solid]:
    return [p.solid.moved(plate.at * p.at) for p in plate.poles]


def test_poles_are_flush_with_the_tilted_top_and_inside_the_plate(plates):
    top = plates["sine_plate"]
    normal = looks(top, "top")
    (index,) = top.faces["top"]
    level = normal @ np.array(placed(top).Faces()[index].Center().toTuple())
    for pole in poles_of(top):
        ends = [normal @ np.array(v.toTuple()) for v in pole.Vertices()]
        assert max(ends) == pytest.approx(level, abs=1e-9)
        assert pole.intersect(placed(top)).Volume() == pytest.approx(pole.Volume(), rel=1e-9)


# A clapper of 40 x 30 whose top falls toward +X and +Y. By hand, for a plate that rises 5 deg toward +X on
# one that rises 8 deg toward +Y: -tan 5 along X, and along Y -tan 8 / cos 5, since the upper plate leans too.
FALLS_X, FALLS_Y = (
    -math.tan(math.radians(UPPER)),
    -math.tan(math.radians(LOWER)) / math.cos(math.radians(UPPER)),
)


def clapper(falls_x: float = FALLS_X, falls_y: float = FALLS_Y, **given) -> Body:
    wide, deep = 20.0, 15.0
    upright = cq.Workplane("XY").box(2 * wide, 2 * deep, 60.0, centered=(True, True, False))
    plane = cq.Plane(origin=(0, 0, 24), normal=(-falls_x, -falls_y, 1.0))
    drawn = upright.cut(cq.Workplane(plane).rect(300, 300).extrude(100))
    return body("clapper", drawn, **given)


def on_plate(plates: dict[str, Body], part: Body) -> Setup:
    """The part in the middle of the upper plate, its drawing square to the plate's."""
    top = plates["sine_plate"]
    a, b = reached(top)
    (index,) = top.faces["top"]
    middle = placed(top).Faces()[index].Center()
    stands = place(at=middle.toTuple(), rotate=[("y", -b), ("x", a)])
    moved = Body(
        name=part.name, solid=part.solid, at=stands, faces=part.faces, tolerance_mm=part.tolerance_mm
    )
    return Setup(
        name="bench",
        bodies=(*plates.values(), moved),
        seats=(on("clapper", "bottom", "sine_plate", "top"),),
        cuts=(Cut(name="slope", parts=("clapper",), floor="top", stock_mm=0.1, way="traverse"),),
    )


def test_both_stacks_are_told_and_both_errors_reach_the_face(plates):
    result = engine.check(on_plate(plates, clapper()), only=["angle", "align"])
    stacks = {f.subject: f for f in result.findings if f.kind is Kind.STACK}
    assert set(stacks) == {"sine_lower", "sine_plate"}
    a, b = reached(plates["sine_plate"])
    leans = resultant_deg(a, b)
    minutes = round((leans - int(leans)) * 60 - 0.5)
    assert f"{int(leans)}° {minutes}'" in stacks["sine_plate"].says
    (level,) = (f for f in result.findings if f.kind is Kind.FLOOR_LEVEL)
    assert level.verdict is Verdict.GO
    # Both angles off by their most, either way: how far the corners of the face then leave a plane.
    (slope,) = (f for f in result.findings if f.kind is Kind.SLOPE)
    most = [math.radians(i.most_arcsec / 3600) for i in plates["sine_plate"].inclines]
    hinges = np.array([[1.0, 0.0, 0.0], spins("x", a) @ [0.0, -1.0, 0.0]])
    corners = [np.array([x, y, 0.0]) for x in (-20.0, 20.0) for y in (-15.0, 15.0)]
    corners = [c + np.array([0.0, 0.0, FALLS_X * c[0] + FALLS_Y * c[1]]) for c in corners]
    corners = [spins("x", a) @ spins("y", -b) @ c for c in corners]
    worst = 0.0
    for sign in (1.0, -1.0):
        turn = most[0] * hinges[0] + sign * most[1] * hinges[1]
        heights = [np.cross(turn, c)[2] for c in corners]
        worst = max(worst, max(heights) - min(heights))
    assert slope.value == pytest.approx(worst * 1e3, rel=1e-4)


def test_a_face_on_both_slopes_is_ground_whole_and_no_deeper(plates):
    """By hand: 0.1 mm of stock over the level face, 40 x 30 over the cosine of its slope in the drawing."""
    setup = on_plate(plates, clapper())
    (cut,) = engine.check(setup, only=["reach"]).cuts
    area = 40.0 * 30.0 * math.sqrt(1.0 + FALLS_X**2 + FALLS_Y**2)
    assert cut.removed_mm3 == pytest.approx(0.1 * area, rel=1e-3)
    # The stacks miss by up to 2e-4 degrees, which is 0.07 um at the ends of the face.
    assert max(cut.gouge_mm3, cut.leftover_mm3) < 0.5 * 7e-5 * area
    assert [f.share_made for f in cut.faces] == [pytest.approx(1.0, abs=1e-3)]


def test_a_face_that_the_settings_leave_out_of_level_is_told_the_right_ones(plates):
    """Drawn for 9 deg below and 3 deg above toward +X; on a half-turned part both change their way."""
    x, y = -math.tan(math.radians(3.0)), -math.tan(math.radians(9.0)) / math.cos(math.radians(3.0))
    for sign, turned in ((1.0, False), (-1.0, True)):
        part = clapper(sign * x, sign * y)
        result = engine.check(on_plate(plates, part), only=["align"])
        (level,) = (f for f in result.findings if f.kind is Kind.FLOOR_LEVEL)
        assert level.verdict is Verdict.NO_GO
        assert "Set sine at 9.0000°, its upper plate at 3.0000°" in level.remedy
        assert ("end for end" in level.remedy) is turned


def test_one_hinge_is_not_enough_for_a_compound_angle():
    plates = {b.name: b for b in equipment("sine_plate", name="sine", angle_deg=LOWER)}
    top = plates["sine_plate"]
    (index,) = top.faces["top"]
    middle = placed(top).Faces()[index].Center()
    drawn = clapper()
    part = Body(name="clapper", solid=drawn.solid, faces=drawn.faces,
                at=place(at=middle.toTuple(), rotate=[("x", reached(top)[0])]))  # fmt: skip
    setup = Setup(
        name="bench",
        bodies=(*plates.values(), part),
        seats=(on("clapper", "bottom", "sine_plate", "top"),),
        cuts=(Cut(name="slope", parts=("clapper",), floor="top", stock_mm=0.1, way="traverse"),),
    )
    (level,) = (f for f in engine.check(setup, only=["align"]).findings if f.kind is Kind.FLOOR_LEVEL)
    assert "compound sine plate" in level.remedy
    assert "lower plate at 8.0000° and the upper one at 5.0000° toward +X" in level.remedy


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"upper_angle_deg": 0.1}, r"no stack of metric_88 makes 0.1 degrees.*nearest, 0.5000 mm"),
        ({"upper_rises": "up"}, "must be one of plus_x, minus_x"),
        ({"pole_pitch_mm": 200.0}, "no room for two poles"),
    ],
)
def test_bad_plates_are_refused(given, says):
    with pytest.raises(SetupError, match=says):
        compound(**given)
