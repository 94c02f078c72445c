"""What a picture says of itself: a verdict only of a finding, a legend of what is seen, names in place."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

import cadquery as cq
import numpy as np
import pytest
from PIL import Image, ImageDraw

from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.kernel.select import flush_faces
from fixturecheck.report.order import numbered
from fixturecheck.report.pictures.hold_scene import ARROW_SHARE
from fixturecheck.report.pictures.ink import STEP, Board, Canvas, axes, tags
from fixturecheck.report.pictures.render import HEIGHT, WIDTH, Drawer
from fixturecheck.report.pictures.scene import close_up, legend_of, overview, set_stage
from fixturecheck.report.pictures.views import Projection
from fixturecheck.report.write import meshes_of
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.shop.catalogue import make
from fixturecheck.units import FREEDOM, factor_text, percent, shown_in
from fixturecheck.wording.sentences import number_found, shown
from tests.report import staged

CAMERA = {"target": [0.0, 0.0, 0.0], "eye": [0.0, -1.0, 0.0], "up": [0.0, 0.0, 1.0], "height_mm": 100.0}


def arrays(shapes: list[NamedShape]) -> dict[str, Any]:
    """Return the meshes of shapes as the drawing process reads them."""
    found: dict[str, Any] = {}
    for shape in shapes:
        mesh = Tessellator().mesh(shape.geometry)
        found |= {
            f"{shape.name}/points": mesh.points_mm,
            f"{shape.name}/triangles": mesh.triangles,
            f"{shape.name}/lines": np.vstack([np.zeros((0, 3)), *mesh.lines_mm]),
            f"{shape.name}/line_sizes": np.array([len(line) for line in mesh.lines_mm], dtype=np.int64),
            f"{shape.name}/dots": mesh.dots_mm,
        }
    return found


def drawn_as(name: str, role: Role, rgb: tuple[int, int, int], **more: Any) -> dict[str, Any]:
    solid = role is not Role.LINE
    return {
        "mesh": name,
        "role": str(role),
        "rgb": list(rgb),
        "opacity": 1.0,
        "solid": solid,
        "layer": 0,
    } | more


@pytest.mark.render
def test_roles_seen_are_those_in_the_picture() -> None:
    """A leftover inside a part and a line behind it are not seen; a ghost and a line before it are."""
    box = staged.box
    shapes = [
        NamedShape(name="part", role=Role.PART, geometry=box(-20, -10, -20, 20, 10, 20)),
        NamedShape(name="inside", role=Role.LEFTOVER, geometry=box(-5, -5, -5, 5, 5, 5)),
        NamedShape(name="ghost", role=Role.WHEEL, geometry=box(-40, -30, 25, 40, 30, 40)),
        NamedShape(name="gone", role=Role.TRAVEL, geometry=box(500, 0, 0, 510, 10, 10)),
    ]
    line = box(-15, -10, -1, 15, -10 + 1e-3, 1)
    for name, y in (("before", -12.0), ("behind", 12.0)):
        edge = line.moved(cq.Location((0, y + 10, 0))).Edges()[0]
        shapes.append(NamedShape(name=name, role=Role.LINE, geometry=edge))
    drawer = Drawer(arrays(shapes))
    actors = [
        drawn_as("part", Role.PART, (222, 196, 146)),
        drawn_as("inside", Role.LEFTOVER, (230, 140, 20)),
        drawn_as("ghost", Role.WHEEL, (178, 116, 96), opacity=0.2),
        drawn_as("gone", Role.TRAVEL, (134, 142, 86), opacity=0.2),
    ]
    scene = {"camera": CAMERA, "cut": False}
    behind = drawn_as("behind", Role.LINE, (28, 96, 168))
    assert drawer.draw({**scene, "actors": [*actors, behind]})[2] == {"part", "wheel"}
    before = drawn_as("before", Role.LINE, (28, 96, 168))
    assert drawer.draw({**scene, "actors": [*actors, before]})[2] == {"part", "wheel", "line"}


def test_the_whole_set_up_is_a_plain_view_and_a_finding_has_its_own_verdict() -> None:
    result = staged.result()
    stage = set_stage(result, meshes_of(result))
    assert overview(stage)["verdict"] is None
    row = next(r for r in numbered(result) if r.finding.check == "reach")
    assert close_up(stage, row)["verdict"] == "caution" != str(result.verdict)


def test_parts_that_are_small_in_the_whole_are_looked_at_closely() -> None:
    """A part of 20 x 10 x 10 on a plate of 300 x 150 stands in the close view with 8 mm round it."""
    box = staged.box

    def close(*part: float) -> dict[str, Any] | None:
        shapes = (
            NamedShape(name="plate", role=Role.FIXTURE, geometry=box(0, 0, -20, 300, 150, 0)),
            NamedShape(name="part", role=Role.PART, geometry=box(*part)),
        )
        result = replace(staged.result(), findings=(), shapes=shapes)
        camera: dict[str, Any] | None = overview(set_stage(result, meshes_of(result)))["close"]
        return camera

    assert close(0, 0, 0, 300, 150, 10) is None
    near = close(200, 90, 0, 220, 100, 10)
    assert near is not None
    eye, up = np.array(near["eye"]), np.array(near["up"])
    ends = [(192, 82, -8), (228, 108, 10)]
    corners = np.array(list(product(*zip(*ends, strict=True)))) - near["target"]
    high, wide = np.abs(corners @ up).max(), np.abs(corners @ np.cross(up, eye)).max()
    assert near["height_mm"] == pytest.approx(2 * 1.18 * max(high, 0.69 * wide), rel=1e-6)


def test_an_overruled_no_go_is_drawn_as_one_and_says_what_it_counts_as() -> None:
    result = staged.result()
    row = next(r for r in numbered(result) if r.finding.check == "reach")
    ruled = replace(row.finding, verdict=Verdict.GO, overruled=Verdict.NO_GO)
    findings = tuple(ruled if f is row.finding else f for f in result.findings)
    shown = replace(result, findings=findings)
    row = next(r for r in numbered(shown) if r.finding is ruled)
    scene = close_up(set_stage(shown, meshes_of(shown)), row)
    assert (scene["verdict"], scene["counted_as"]) == ("no-go", "go")


def test_a_clearance_names_and_draws_both_things_it_is_between() -> None:
    result = staged.result()
    room = NamedShape(
        name="guard travel top_flat", role=Role.TRAVEL, geometry=staged.box(-90, 17, 17, 90, 40, 60)
    )
    finding = Finding(
        check="clear",
        verdict=Verdict.CAUTION,
        subject="top_flat/rail",
        about=("rail",),
        says="",
        value=1.0,
        unit="mm",
        limit=2.0,
        shapes=(room,),
        location_mm=(0.0, 18.0, 16.0),
        direction=(0.0, 0.0, -1.0),
    )
    shown = replace(result, findings=(finding,), shapes=(*result.shapes, room))
    scene = close_up(set_stage(shown, meshes_of(shown)), numbered(shown)[0])
    assert {"guard travel top_flat", "rail", "wheel"} <= {a["mesh"] for a in scene["actors"]}
    assert scene["callout"][-1] == "guard travel top_flat to rail"
    # 1 mm of clearance is large enough to see: at least a fiftieth of the picture.
    assert scene["camera"]["height_mm"] < 50.0


@pytest.mark.parametrize(("wide", "covers"), [(600, True), (40, False)])
def test_a_name_stands_on_a_large_body_and_beside_a_small_one(wide: int, covers: bool) -> None:
    numbers = np.full((HEIGHT // STEP, WIDTH // STEP), -1)
    rows, columns = slice(80, 80 + max(wide // STEP // 2, 10)), slice(60, 60 + wide // STEP)
    numbers[rows, columns] = 0
    canvas = Canvas(
        picture=Image.new("RGB", (WIDTH, HEIGHT), "white"),
        numbers=numbers,
        projection=Projection.of(CAMERA, WIDTH, HEIGHT),
        scene={"actors": [{"mesh": "gib", "role": "part"}], "tags": ["gib"]},
    )
    board = Board(width=WIDTH, height=HEIGHT, weight=np.zeros(numbers.shape))
    tags(ImageDraw.Draw(canvas.picture), canvas, board)
    ((left, top, right, bottom),) = board.words
    body = STEP * columns.start, STEP * rows.start, STEP * columns.stop, STEP * rows.stop
    assert (left < body[2] and body[0] < right and top < body[3] and body[1] < bottom) == covers


def test_axes_are_named_at_their_positive_ends() -> None:
    """Seen from the front X runs to the right; seen from behind to the left, where the ink then is."""
    for eye, side in (((0.0, -1.0, 0.0), 1), ((0.0, 1.0, 0.0), -1)):
        picture = Image.new("RGB", (WIDTH, HEIGHT), (0, 255, 0))
        view = Projection.of({**CAMERA, "eye": list(eye)}, WIDTH, HEIGHT)
        board = Board(width=WIDTH, height=HEIGHT, weight=np.zeros((HEIGHT // STEP, WIDTH // STEP)))
        axes(ImageDraw.Draw(picture), view, board, small=True)
        ink = np.argwhere(np.asarray(picture).max(axis=2) < 60)
        middle = 104.0
        row = ink[np.abs(ink[:, 0] - (HEIGHT - 196)) < 3][:, 1]
        assert np.sign(row.mean() - middle) == side


def test_poles_show_where_they_are_flush_with_the_plate() -> None:
    """A bar set in a plate shows on its top and bottom only: two faces of 3 x 8."""
    plate, bar = staged.box(0, 0, 0, 20, 10, 5), staged.box(4, 1, 0, 7, 9, 5)
    faces = flush_faces(bar, plate)
    assert sorted(round(f.Area(), 9) for f in faces) == [24.0, 24.0]
    assert {round(f.Center().z, 9) for f in faces} == {0.0, 5.0}
    chuck = make("flat_magnetic_chuck")[0]
    assert all(len(flush_faces(pole.solid, chuck.solid)) == 2 for pole in chuck.poles)


def test_a_legend_names_each_role_once() -> None:
    rows = legend_of(["part", "part", "wheel"])
    assert [r["role"] for r in rows] == ["part", "wheel"]


def test_the_arrow_of_a_force_has_room_in_the_picture() -> None:
    """An arrow is 120 of the picture's 824 pixels long."""
    assert 120 / HEIGHT < ARROW_SHARE


def test_degrees_of_freedom_are_no_angle() -> None:
    assert shown(3.0, FREEDOM, "mm").replace("\u202f", " ") == "3 degrees of freedom"


@pytest.mark.parametrize(
    ("value", "limit", "unit", "reads"),
    [
        (0.69999, {"at_least": 0.7}, "share", "just under 70\u202f%"),
        (0.6995, {"at_least": 0.7}, "share", "69.95\u202f%"),
        (0.7, {"at_least": 0.7}, "share", "70\u202f%"),
        (2.9992, {"at_least": 3.0}, "x load", "just under 3\u202fx load"),
        (5.0002, {"at_most": 5.0}, "um", "just over 5\u202fµm"),
        (-5.0002, {"within": 5.0}, "um", "just under -5\u202fµm"),
    ],
)
def test_a_number_that_misses_its_limit_never_reads_as_that(value, limit, unit, reads):
    told = judge(value, unit=unit, check="seat", subject="a", kind=Kind.CLOSED, says="", **limit)
    assert number_found(told, "mm") == reads


def test_a_share_or_a_factor_in_a_sentence_never_reads_as_what_it_misses():
    told = ["0 %", "just over 0 %", "just under 100 %", "100 %"]
    assert [percent(s) for s in (0.0, 1e-5, 0.99999, 1.0)] == told
    assert percent(0.69999, 0.7) == "just under 70 %"
    assert [factor_text(f, 3.0) for f in (2.9992, 3.0, 3.0004)] == ["just under 3", "3", "3"]


@pytest.mark.parametrize(("units", "small", "shown_as"), [("inch", "thou", "thou"), ("mm", "thou", "mm")])
def test_thousandths_of_an_inch_are_of_inch_set_ups_alone(units: str, small: str, shown_as: str) -> None:
    assert shown_in(units, small) == shown_as
