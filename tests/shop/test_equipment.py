"""Every piece of equipment: sound solids, named faces, bodies that touch and do not overlap."""

import inspect
import itertools
import math
import subprocess
import sys

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import brep_bytes, faces_of
from fixturecheck.kernel.measure import box_of, volume_mm3
from fixturecheck.kernel.select import by_selector
from fixturecheck.shop import equipment as solids
from fixturecheck.shop.catalogue import equipment, make
from fixturecheck.shop.piece import Piece
from fixturecheck.shop.tables import finishes, materials

KINDS = sorted(equipment())


def pieces_of(name: str, **params: float | str) -> dict[str, Piece]:
    return {p.suffix: p for p in make(name, **params)}


def face_area_mm2(piece: Piece, name: str) -> float:
    faces = faces_of(piece.solid)
    return sum(faces[i].Area() for i in piece.faces[name])


def test_the_shop_has_what_a_toolmaker_sets_up_with() -> None:
    wanted = {
        "magnetic_v_block", "flat_magnetic_chuck", "grinding_vise", "blocking_block", "parallel",
        "gauge_block", "angle_block", "angle_gauges", "sine_plate", "magnetic_sine_plate",
        "compound_sine_plate", "step_block", "stop_rod",
    }  # fmt: skip
    assert wanted == set(KINDS)


@pytest.mark.parametrize("name", KINDS)
def test_solids_are_sound_and_every_face_is_named_once(name: str) -> None:
    for piece in make(name):
        assert piece.solid.isValid()
        assert piece.solid.ShapeType() == "Solid"
        assert volume_mm3(piece.solid) > 0
        named = sorted(i for indices in piece.faces.values() for i in indices)
        assert named == list(range(len(faces_of(piece.solid))))
        assert piece.material in materials()
        assert set(piece.finish.values()) <= set(finishes())
        assert set(piece.finish) <= {*piece.faces, "*"}
        assert piece.role == "fixture"


def test_what_is_made_again_is_alike_and_shares_no_face() -> None:
    """What the kernel adds to one is not in the next: triangles, here."""
    first, again = make("flat_magnetic_chuck"), make("flat_magnetic_chuck")
    drawn = [brep_bytes(p.solid) for p in (*first, *first[0].poles)]
    for piece in first:
        piece.solid.mesh(0.1)
    third = make("flat_magnetic_chuck")
    assert [brep_bytes(p.solid) for p in (*again, *again[0].poles)] == drawn
    assert [brep_bytes(p.solid) for p in (*third, *third[0].poles)] == drawn
    assert not set(faces_of(first[0].solid)) & set(faces_of(again[0].solid))
    assert brep_bytes(make("flat_magnetic_chuck", length_mm=123.0)[0].solid) != drawn[0]


@pytest.mark.parametrize("name", KINDS)
def test_suffixes_make_names_and_are_unique(name: str) -> None:
    pieces = make(name)
    names = [p.body_name("thing") for p in pieces]
    assert len(set(names)) == len(names)
    assert all(n.replace("_", "").isalnum() for n in names)


@pytest.mark.parametrize("name", KINDS)
def test_bodies_do_not_overlap_and_hang_together(name: str) -> None:
    pieces = make(name)
    touches: dict[str, set[str]] = {p.suffix: set() for p in pieces}
    for a, b in itertools.combinations(pieces, 2):
        if a.solid.distance(b.solid) > 1e-9:
            continue
        touches[a.suffix].add(b.suffix)
        touches[b.suffix].add(a.suffix)
        assert a.solid.intersect(b.solid).Volume() == pytest.approx(0, abs=1e-9)
    if len(pieces) == 1 or name == "grinding_vise":
        return
    reached, todo = set(), [pieces[0].suffix]
    while todo:
        reached.add(here := todo.pop())
        todo += touches[here] - reached
    assert reached == set(touches)


@pytest.mark.parametrize("name", KINDS)
def test_the_table_and_the_function_of_a_kind_name_the_same_parameters(name: str) -> None:
    kind = equipment()[name]
    signature = inspect.signature(getattr(solids, name))
    assert list(signature.parameters) == list(kind.params)
    types = {"float": float, "int": int, "str": str}
    for key, parameter in signature.parameters.items():
        assert type(kind.params[key].default) is types[parameter.annotation]
    assert kind.says.endswith(".")
    assert kind.source


@pytest.mark.parametrize("name", KINDS)
def test_every_number_changes_the_solids(name: str) -> None:
    def fingerprint(**params: float | int | str) -> list[tuple[float | str, ...]]:
        pieces = [p for piece in make(name, **params) for p in (piece, *piece.poles)]
        # What a slope is known to is no size of its solids.
        return [(round(volume_mm3(p.solid), 6), *box_of(p.solid), repr(p.inclines)) for p in pieces]

    plain = fingerprint()
    for key, param in equipment()[name].params.items():
        if isinstance(param.default, str):
            continue
        changed = param.default + 1 if isinstance(param.default, int) else param.default * 0.9 + 0.07
        assert fingerprint(**{key: changed}) != plain, key


def test_listing_needs_no_kernel() -> None:
    code = (
        "import sys; from fixturecheck.shop import catalogue, tables, wheels;"
        "catalogue.equipment(); tables.materials(); tables.finishes(); wheels.stripes();"
        "sys.exit(any(m in sys.modules for m in ('OCP', 'cadquery', 'vtkmodules', 'numpy')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_unknown_equipment_names_the_nearest() -> None:
    with pytest.raises(SetupError, match="'magnetic_vblock' is not known; did you mean 'magnetic_v_block"):
        make("magnetic_vblock")
    with pytest.raises(SetupError, match=r"there are angle_block, .*step_block"):
        make("zzz")


def test_unknown_parameter_names_the_nearest() -> None:
    with pytest.raises(
        SetupError, match="parameter of parallel 'hieght_mm' is not known; did you mean 'height_mm"
    ):
        make("parallel", hieght_mm=3.0)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0, 0.0, True, "12", None])
def test_values_that_are_no_lengths(bad: object) -> None:
    with pytest.raises(
        SetupError,
        match=r"parallel: height_mm: (must be from 0\.01 to 2000; got |.* is not a number|.* is not finite)",
    ):
        make("parallel", height_mm=bad)


def test_a_parameter_of_another_kind_is_refused() -> None:
    with pytest.raises(SetupError, match=r"steps must be a whole number, got 2\.5"):
        make("step_block", steps=2.5)
    with pytest.raises(SetupError, match="pole_direction must be one of x, y; got 'z'"):
        make("flat_magnetic_chuck", pole_direction="z")
    with pytest.raises(SetupError, match="material must be a name"):
        make("parallel", material=3.0)
    with pytest.raises(SetupError, match="material 'steel_1081' is not known; did you mean 'steel_1018"):
        make("parallel", material="steel_1081")


# --- blocks ---------------------------------------------------------------------------------------


def test_gauge_block_is_its_size_between_lapped_faces() -> None:
    (block,) = make("gauge_block", size_mm=25.0)
    faces = faces_of(block.solid)
    (base,), (top,) = block.faces["base"], block.faces["top"]
    assert faces[top].Center().z - faces[base].Center().z == pytest.approx(25, abs=1e-12)
    assert block.finish["top"] == block.finish["base"] == "lapped"
    # Chamfers of 0.3 take 0.6 off each side of the 35 x 9 section.
    assert faces[top].Area() == pytest.approx(34.4 * 8.4, rel=1e-9)


def test_angle_block_has_its_angle() -> None:
    (block,) = make("angle_block", angle_deg=30.0, length_mm=60.0, toe_mm=5.0, width_mm=10.0)
    (index,) = block.faces["incline"]
    normal = faces_of(block.solid)[index].normalAt()
    assert math.degrees(math.acos(normal.z)) == pytest.approx(30, abs=1e-9)
    assert normal.y < 0
    heel_mm = 5 + 60 / math.sqrt(3)
    assert volume_mm3(block.solid) == pytest.approx(10 * 60 * (5 + heel_mm) / 2, rel=1e-9)
    with pytest.raises(SetupError, match="less than 90"):
        make("angle_block", angle_deg=90.0)


def test_each_step_of_a_step_block_lies_one_rise_higher() -> None:
    (block,) = make("step_block", steps=3, rise_mm=5.0, going_mm=8.0, width_mm=20.0)
    assert volume_mm3(block.solid) == pytest.approx(20 * 8 * 5 * (1 + 2 + 3), rel=1e-12)
    faces = faces_of(block.solid)
    for step in (1, 2, 3):
        (index,) = block.faces[f"step_{step}"]
        assert faces[index].Center().toTuple() == pytest.approx((0, (step - 0.5) * 8, step * 5), abs=1e-9)
        assert faces[index].Area() == pytest.approx(160, rel=1e-12)


def test_step_block_breaks_only_what_sticks_out() -> None:
    (block,) = make("step_block", steps=3, rise_mm=5.0, going_mm=8.0, width_mm=20.0, chamfer_mm=0.5)
    # Base twice, top of the back, three noses.
    assert len(block.faces["chamfer"]) == 6
    assert volume_mm3(block.solid) == pytest.approx(20 * (240 - 6 * 0.125), rel=1e-9)


def test_stop_rod_is_round() -> None:
    (rod,) = make("stop_rod", diameter_mm=8.0, length_mm=50.0, chamfer_mm=0.0)
    assert rod.faces["round"] == by_selector(rod.solid, "%CYLINDER")
    assert volume_mm3(rod.solid) == pytest.approx(math.pi * 16 * 50, rel=1e-9)
    assert "chamfer" not in rod.faces


@pytest.mark.parametrize(
    "name", ["blocking_block", "parallel", "gauge_block", "angle_block", "step_block", "stop_rod"]
)
def test_a_chamfer_must_leave_something(name: str) -> None:
    with pytest.raises(SetupError, match="chamfer_mm 20 leaves nothing"):
        make(name, chamfer_mm=20.0)


# --- chuck ----------------------------------------------------------------------------------------


def test_poles_alternate_at_the_pitch_in_the_middle_of_the_plate() -> None:
    pieces = pieces_of(
        "flat_magnetic_chuck", length_mm=200.0, pole_pitch_mm=20.0, spacer_mm=4.0, frame_mm=10.0
    )
    poles = pieces["plate"].poles
    # 180 mm inside the frame: nine pitches less one spacer are 176, a tenth would not fit.
    assert len(poles) == 9
    middles = [faces_of(p.solid)[p.faces["top"][0]].Center() for p in poles]
    assert [m.x for m in middles] == pytest.approx([20.0 * i for i in range(-4, 5)], abs=1e-9)
    assert all(abs(m.z) < 1e-9 and abs(m.y) < 1e-9 for m in middles)
    assert "".join(p.pole or "" for p in poles) == "nsnsnsnsn"
    assert face_area_mm2(poles[0], "top") == pytest.approx(16 * 130, rel=1e-12)


def test_poles_along_x_repeat_along_y() -> None:
    pieces = pieces_of("flat_magnetic_chuck", pole_direction="x", width_mm=120.0, frame_mm=10.0)
    poles = pieces["plate"].poles
    assert len(poles) == 4
    assert face_area_mm2(poles[0], "top") == pytest.approx(20 * 280, rel=1e-12)


@pytest.mark.parametrize("direction", ["x", "y"])
def test_poles_are_flush_with_the_plate_and_leave_the_frame(direction: str) -> None:
    pieces = pieces_of("flat_magnetic_chuck", pole_direction=direction, back_rail_height_mm=0.0)
    assert list(pieces) == ["plate"]
    plate = pieces["plate"]
    assert plate.pole is None
    boxes = [box_of(p.solid) for p in plate.poles]
    low, high = [min(b[i] for b in boxes) for i in range(3)], [max(b[i + 3] for b in boxes) for i in range(3)]
    assert (low[2], high[2]) == pytest.approx((-20, 0), abs=1e-9)
    assert low[0] >= -150 + 10 - 1e-9
    assert high[1] <= 75 - 10 + 1e-9
    # Fuse and plate are one solid again: no pole sticks out.
    assert volume_mm3(plate.solid) == pytest.approx(300 * 150 * 20, rel=1e-9)


def test_a_plate_whose_room_is_whole_pitches_loses_none() -> None:
    # 0.1 is no binary fraction: 20 poles of pitch 0.7 less one spacer of 0.1 fill 13.9 exactly.
    pieces = pieces_of(
        "flat_magnetic_chuck", length_mm=13.9 + 2 * 0.3, pole_pitch_mm=0.7, spacer_mm=0.1, frame_mm=0.3
    )
    assert len(pieces["plate"].poles) == 20


def test_rails_stand_at_the_back_and_on_the_left() -> None:
    pieces = pieces_of("flat_magnetic_chuck", back_rail_height_mm=8.0, side_rail_height_mm=6.0)
    assert box_of(pieces["back_rail"].solid) == pytest.approx((-150, 75, -20, 150, 85, 8), abs=1e-9)
    assert box_of(pieces["side_rail"].solid) == pytest.approx((-160, -75, -20, -150, 75, 6), abs=1e-9)
    for suffix, axis, at in (("back_rail", "y", 75), ("side_rail", "x", -150)):
        (index,) = pieces[suffix].faces["fence"]
        face = faces_of(pieces[suffix].solid)[index]
        assert getattr(face.Center(), axis) == pytest.approx(at, abs=1e-9)
        assert abs(getattr(face.normalAt(), axis)) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"spacer_mm": 25.0}, "leaves no iron"),
        ({"length_mm": 60.0}, "no room for two poles"),
        ({"frame_mm": 75.0}, "no room for two poles"),
        ({"pole_pitch_mm": 0.6, "spacer_mm": 0.1}, "more than a field can be worked out for"),
    ],
)
def test_chucks_that_cannot_be(params: dict[str, float], says: str) -> None:
    with pytest.raises(SetupError, match=says):
        make("flat_magnetic_chuck", **params)


# --- vise -----------------------------------------------------------------------------------------


def test_vise_opens_as_stated() -> None:
    pieces = pieces_of("grinding_vise", opening_mm=17.0)
    body, jaw = pieces["body"], pieces["jaw"]
    (fixed,), (moving,) = body.faces["fixed_jaw"], jaw.faces["moving_jaw"]
    fixed_face, moving_face = faces_of(body.solid)[fixed], faces_of(jaw.solid)[moving]
    assert fixed_face.Center().y == pytest.approx(0, abs=1e-12)
    assert fixed_face.normalAt().toTuple() == pytest.approx((0, -1, 0), abs=1e-12)
    assert moving_face.normalAt().toTuple() == pytest.approx((0, 1, 0), abs=1e-12)
    assert fixed_face.distance(moving_face) == pytest.approx(17, abs=1e-9)
    (floor,) = body.faces["bed_floor"]
    assert faces_of(body.solid)[floor].Center().z == pytest.approx(0, abs=1e-12)
    assert jaw.solid.distance(faces_of(body.solid)[floor]) == pytest.approx(0, abs=1e-12)


def test_vise_relief_and_slot_take_iron_away() -> None:
    plain = pieces_of("grinding_vise", relief_mm=0.0, slot_mm=0.0)["body"]
    bare = 73 * (190 * 32 + 25 * 35)
    assert volume_mm3(plain.solid) == pytest.approx(bare, rel=1e-9)
    assert "relief" not in plain.faces
    assert "slot" not in plain.faces
    real = pieces_of("grinding_vise", relief_mm=2.0, slot_mm=10.0)["body"]
    # The slot is half the bed deep and runs from the end of the bed to its own width before the jaw.
    assert volume_mm3(real.solid) == pytest.approx(bare - 73 * 4 - 10 * 16 * (165 - 10), rel=1e-9)


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"opening_mm": 126.0}, "more than the bed allows, 125"),
        ({"relief_mm": 13.0}, "relief_mm 13"),
        ({"slot_mm": 40.0}, "slot_mm 40"),
    ],
)
def test_a_vise_that_cannot_be_is_refused(params: dict[str, float], says: str) -> None:
    with pytest.raises(SetupError, match=says):
        make("grinding_vise", **params)
