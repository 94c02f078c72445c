"""Sizes after hardening against hand and against the solid stretched by the kernel, and what goes with it."""

from __future__ import annotations

from dataclasses import replace

import cadquery as cq
import pytest
from OCP.BRepBuilderAPI import BRepBuilderAPI_GTransform
from OCP.gp import gp_GTrsf, gp_Mat

from fixturecheck import engine
from fixturecheck.errors import SetupError
from fixturecheck.hardening.steels import WITHOUT_TABLE
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.hardening import FunctionalSize, Hardening
from fixturecheck.setup.load import load
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.sizes.answer import hardening_found
from tests.checks.gauged import body, on

STEEL = "tool_steel_a2"
# A2 tempered at 204 C and above: 0 to 0.0015 of the size, from its table.
MOST = 0.0015


def block(size=(40.0, 20.0, 20.0), **given) -> Body:
    drawn = cq.Workplane().box(*size, centered=False)
    given.setdefault("material", STEEL)
    return body("block", drawn, **given)


def table() -> Body:
    return Body(name="table", role="fixture", solid=cq.Solid.makeBox(200, 100, 10, cq.Vector(-50, -50, -10)))


def setup_of(part: Body, *seats, cuts=(), **hardening) -> Setup:
    stated = {
        "process": "vacuum_gas",
        "temper_c": 260.0,
        "distortion_mm": 0.0,
        "clean_up_mm": 0.0,
    } | hardening
    return Setup(name="bench", bodies=(part, table()), seats=seats, cuts=cuts, hardening=Hardening(**stated))


def asked(setup: Setup, kind: Kind):
    return [f for f in engine.check(setup, only=["hardening"]).findings if f.kind is kind]


def test_a_finished_face_moves_by_a_share_of_its_distance():
    """20 mm of A2 may grow by 0.0015 x 20 mm = 30 um; a zone of 20 um allows 10 either way."""
    (found,) = asked(setup_of(block(tolerance_mm={"top": 0.02})), Kind.SIZE_CHANGE)
    assert (found.verdict, found.value, found.limit) == (
        Verdict.NO_GO,
        pytest.approx(30.0),
        pytest.approx(10.0),
    )
    assert "Leave 0.03 mm on block.top" in found.remedy
    # Its middle, 15 um, cannot be aimed for: the rest, 15 um either way, is more than 10.
    assert "Or finish" not in found.remedy


@pytest.mark.parametrize(
    ("zone_mm", "verdict"), [(0.04, Verdict.NO_GO), (0.06, Verdict.CAUTION), (0.2, Verdict.GO)]
)
def test_a_face_that_is_finished_before_bends_too(zone_mm, verdict):
    """Open furnace and oil: 0.0003 to 0.0015 of its longest side of 80 mm, so 24 to 120 um, half to either
    side, and 10 um by growth: 22 to 70 um off, where the zones allow 20, 30 and 100."""
    part = block((80.0, 20.0, 20.0), tolerance_mm={"top": zone_mm})
    given = {"process": "open_oil", "distortion_mm": None, "growth_share": (0.0005, 0.0005)}
    (found,) = asked(setup_of(part, **given), Kind.SIZE_CHANGE)
    assert (found.verdict, found.value) == (verdict, pytest.approx(70.0))
    assert "may bend or twist by 24 to 120 µm" in found.says
    # Finished 10 um under size it would still bend.
    assert "Or finish" not in (found.remedy or "")


def test_a_size_known_well_enough_is_aimed_for():
    (found,) = asked(
        setup_of(block(tolerance_mm={"top": 0.02}), growth_share=(0.0008, 0.0012)), Kind.SIZE_CHANGE
    )
    assert found.value == pytest.approx(24.0)
    assert "Or finish it 20 µm under size before" in found.remedy


def test_stock_that_is_left_is_held_against_growth_distortion_and_skin():
    """One side: 30 um of growth + 0.0005 x 40 mm + 5 um (vacuum and gas, from its table) = 55 um."""
    part = block(tolerance_mm={"top": 0.02})
    for left_mm, verdict in ((0.05, Verdict.NO_GO), (0.06, Verdict.GO)):
        setup = setup_of(part, leave_mm={"top": left_mm}, distortion_mm=None, clean_up_mm=None)
        (found,) = asked(setup, Kind.SIZE_CHANGE)
        assert (found.verdict, found.limit) == (verdict, pytest.approx(0.055))


def test_the_stock_of_a_cut_after_hardening_counts():
    cut = Cut(name="top_cut", parts=("block",), floor="top", stock_mm=0.1)
    setup = setup_of(block(tolerance_mm={"top": 0.02, "right": 0.002}), cuts=(cut,), when="before")
    (found,) = asked(setup, Kind.SIZE_CHANGE)
    assert (found.subject, found.verdict, found.value) == ("block.top", Verdict.GO, pytest.approx(0.1))


def test_a_face_is_measured_from_the_seat_that_is_parallel_to_it():
    """The seat is the ledge at z = 5: the top at 20 is 15 mm off it, not 20."""
    drawn = cq.Workplane().box(40, 20, 20, centered=False).cut(cq.Workplane().box(40, 5, 5, centered=False))
    part = body("block", drawn, material=STEEL, tolerance_mm={"top": 0.02})
    assert "bottom_2" in part.faces
    (plain,) = asked(setup_of(part), Kind.SIZE_CHANGE)
    (seated,) = asked(setup_of(part, on("block", "bottom_2", "table", "face_1")), Kind.SIZE_CHANGE)
    assert (plain.value, seated.value) == (pytest.approx(20 * MOST * 1e3), pytest.approx(15 * MOST * 1e3))


def stretched(solid: cq.Solid, along: float, across: float) -> cq.Shape:
    """The solid itself under a uniform strain along X, by the kernel's general transformation."""
    matrix = gp_Mat(1 + along, 0, 0, 0, 1 + across, 0, 0, 0, 1 + across)
    return cq.Shape.cast(
        BRepBuilderAPI_GTransform(solid.wrapped, gp_GTrsf(matrix, gp_GTrsf().TranslationPart()), True).Shape()
    )


def test_sizes_between_slanted_faces_are_those_of_the_stretched_solid():
    """The distance of two slanted faces, 12 mm apart, on the solid that the kernel has stretched."""
    turn = cq.Location(cq.Vector(), cq.Vector(0, 1, 0), 30.0)
    solid = cq.Solid.makeBox(30, 8, 12).moved(turn)
    part = body("block", solid, material=STEEL)
    names = [n for n in part.faces if part.faces[n]]
    normal = cq.Vector(0, 0, 1).transform(cq.Matrix(turn.wrapped.Transformation()))
    ends = sorted(f for f in names if abs(solid.Faces()[part.faces[f][0]].normalAt().dot(normal)) > 0.99)
    along, across = 0.0010, -0.0004
    grown = stretched(solid, along, across)
    planes = [f for f in grown.Faces() if abs(f.normalAt(f.Center()).dot(normal)) > 0.99]
    apart = abs((planes[0].Center() - planes[1].Center()).dot(planes[0].normalAt(planes[0].Center())))
    hardening = {"sizes": (FunctionalSize(part="block", face=ends[0], to=ends[1], tolerance_mm=0.001),)}
    low = hardening_found(setup_of(part, growth_share=(across, across), **hardening)).sizes[0].usual_mm
    high = hardening_found(setup_of(part, growth_share=(along, along), **hardening)).sizes[0].usual_mm
    # n.r = sin 30: a quarter of the strain along, three quarters of that across.
    assert 12.0 + 0.25 * high + 0.75 * low == pytest.approx(apart, abs=2e-5)


def test_d2_stretches_along_the_bar_and_shrinks_across_it():
    part = block(material="tool_steel_d2", tolerance_mm={"right": 0.2, "top": 0.2})
    given = {"process": "foil_air", "temper_c": 204.0}
    found = {f.face.face: f for f in hardening_found(setup_of(part, rolled=(1, 0, 0), **given)).sizes}
    unknown = {f.face.face: f for f in hardening_found(setup_of(part, **given)).sizes}
    assert found["right"].high_mm > abs(found["right"].low_mm) > 0
    assert abs(found["top"].low_mm) > found["top"].high_mm > 0
    for face in ("right", "top"):
        assert unknown[face].low_mm <= found[face].low_mm
        assert unknown[face].high_mm >= found[face].high_mm


def bored(**given) -> Body:
    drawn = (
        cq.Workplane()
        .box(40, 20, 20, centered=False)
        .faces(">Z")
        .workplane(centerOption="CenterOfMass")
        .hole(8.0)
    )
    return body("block", drawn, material=STEEL, **given)


def test_a_bore_grows_with_its_steel():
    """8 mm of A2 grow by 0.0015 x 8 = 12 um at most, outward: a bore gets larger as the steel does."""
    size = FunctionalSize(part="block", face="round", tolerance_mm=0.02)
    (found,) = asked(setup_of(bored(), sizes=(size,)), Kind.SIZE_CHANGE)
    assert (found.verdict, found.value) == (Verdict.NO_GO, pytest.approx(12.0))
    assert "diameter of block.round" in found.says


def test_a_slanting_bore_face_that_is_no_size_is_unknown():
    drawn = (
        cq.Workplane()
        .box(40, 20, 20, centered=False)
        .faces(">Z")
        .workplane(centerOption="CenterOfMass")
        .cskHole(4.0, 8.0, 82.0)
    )
    part = body("block", drawn, material=STEEL)
    cone = next(i for i, f in enumerate(part.solid.Faces()) if f.geomType() == "CONE")
    part = Body(
        name="block", solid=part.solid, material=STEEL, faces={"cone": (cone,)}, tolerance_mm={"cone": 0.1}
    )
    (found,) = asked(setup_of(part), Kind.NOT_COMPUTED)
    assert found.verdict is Verdict.UNKNOWN
    assert "neither flat nor a cylinder" in found.says


def test_the_wrong_quench_is_no_go():
    (found,) = asked(setup_of(block(material="tool_steel_o1")), Kind.QUENCH)
    assert found.verdict is Verdict.NO_GO
    assert "vacuum_oil" in found.remedy
    assert "open_air" not in found.remedy


@pytest.mark.parametrize(
    ("temper_c", "wanted", "verdict"),
    [
        # 60 HRC at 500 F (260 C) by the A2 sheet.
        (260.0, (59.0, 61.0), Verdict.GO),
        (260.0, 60.0, Verdict.GO),
        (260.0, (60.5, 62.0), Verdict.CAUTION),
        (260.0, (56.0, 58.0), Verdict.NO_GO),
        (None, (59.0, 61.0), Verdict.GO),
        (None, None, Verdict.CAUTION),
        (260.0, None, Verdict.GO),
    ],
)
def test_hardness_against_what_is_wanted(temper_c, wanted, verdict):
    (found,) = asked(setup_of(block(), temper_c=temper_c, wanted_hrc=wanted), Kind.HARDNESS)
    assert found.verdict is verdict


def test_a_hardness_that_no_temper_gives_is_no_go_with_the_nearest():
    (found,) = asked(setup_of(block(), temper_c=None, wanted_hrc=40.0), Kind.HARDNESS)
    assert found.verdict is Verdict.NO_GO
    assert "nearest is 51 HRC at 593 C" in found.says


def test_a_temper_beyond_the_table_is_unknown():
    kinds = {
        f.kind for f in engine.check(setup_of(block(tolerance_mm={"top": 0.1}), temper_c=650.0)).findings
    }
    assert Kind.NOT_COMPUTED in kinds
    assert Kind.SIZE_CHANGE not in kinds


def test_a_temper_in_the_trough_is_told():
    """A2 sheet: 39 J at 900 F, 45 J at 700 F, both 58 HRC."""
    (found,) = asked(setup_of(block(), temper_c=482.0, wanted_hrc=58.0), Kind.TOUGHNESS)
    assert found.verdict is Verdict.CAUTION
    (best,) = asked(setup_of(block(), temper_c=None, wanted_hrc=58.0), Kind.TOUGHNESS)
    assert best.verdict is Verdict.GO


def test_a_thick_face_without_function_takes_the_test():
    """In the middle of 40 x 20, 10 mm from the edges, 20 mm thick."""
    part = block(tolerance_mm=dict.fromkeys(("top", "left", "right", "front", "back"), 0.2))
    (found,) = asked(setup_of(part), Kind.HARDNESS_TEST)
    assert (found.verdict, found.location_mm) == (Verdict.GO, pytest.approx((20.0, 10.0, 0.0), abs=1.0))
    assert found.value == pytest.approx(10.0, abs=0.5)
    assert found.value <= 10.0


def test_a_face_that_is_not_to_be_marked_is_left_out_whatever_else_is_said_of_it():
    part = block(no_function={"bottom"}, tolerance_mm=dict.fromkeys(("left", "right", "front", "back"), 0.2))
    (free,) = asked(setup_of(part), Kind.HARDNESS_TEST)
    assert "tested on block.bottom:" in free.says
    (kept,) = asked(setup_of(part, not_marked=("bottom",)), Kind.HARDNESS_TEST)
    assert "tested on block.top:" in kept.says


@pytest.mark.parametrize(
    ("size", "lacks"), [((40.0, 20.0, 0.7), "thick"), ((40.0, 2.0, 20.0), "to the edge")]
)
def test_a_thin_or_narrow_part_sends_a_test_piece_along(size, lacks):
    faces = ("top",) if "thick" in lacks else ("front", "back", "left", "right", "top")
    part = block(size, tolerance_mm=dict.fromkeys(faces, 0.05))
    if "thick" in lacks:
        part = block(size, tolerance_mm=dict.fromkeys(("left", "right", "front", "back"), 0.05))
    (found,) = asked(setup_of(part), Kind.HARDNESS_TEST)
    assert found.verdict is Verdict.CAUTION
    assert lacks in found.says
    assert "piece of the same bar" in found.remedy
    (sent,) = asked(setup_of(part, test_piece=True), Kind.HARDNESS_TEST)
    assert sent.verdict is Verdict.GO


def test_scale_asks_for_plugs_and_spoils_finished_faces():
    part = bored(tolerance_mm={"top": 0.1})
    setup = setup_of(part, process="open_air", clean_up_mm=None)
    (hole,) = asked(setup, Kind.HOLES)
    assert (hole.verdict, hole.subject) == (Verdict.CAUTION, "block.round")
    (skin,) = asked(setup, Kind.SKIN)
    assert (skin.verdict, skin.subject) == (Verdict.CAUTION, "block.top")
    assert "in a vacuum, or in salt" in skin.remedy
    (salt,) = asked(setup_of(part, process="salt_oil", clean_up_mm=None), Kind.SKIN)
    assert "salt" not in salt.remedy
    assert asked(setup_of(part, process="open_air", plugged=("round",)), Kind.HOLES) == []
    assert asked(setup_of(part), Kind.SKIN) == []


TOML = """
[setup]
name = "gib before the furnace"
[[body]]
name = "block"
file = "block.step"
material = "tool_steel_a2"
faces = { top = { select = ">Z" } }
tolerance_mm = { top = 0.02 }
[[equipment]]
kind = "parallel"
name = "under"
at = [0, 0, -20]
[hardening]
process = "vacuum_gas"
wanted_hrc = [59, 61]
leave_mm = { top = 0.2 }
"""


def test_hardening_stated_in_a_file_is_worked_out(tmp_path):
    cq.exporters.export(cq.Workplane().box(40, 20, 20, centered=False), str(tmp_path / "block.step"))
    (tmp_path / "job.toml").write_text(TOML)
    found = engine.check(load(tmp_path / "job.toml"), only=["hardening"])
    assert found.hardening.steels[0].temper_c == pytest.approx(260.0)
    assert {f.kind: f.verdict for f in found.findings}[Kind.SIZE_CHANGE] is Verdict.GO


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "wanted_hrc = [59, 61]",
            "steel = 'tool_steel_a6'",
            "line 14: .*steel to harden 'tool_steel_a6' is not known",
        ),
        ("vacuum_gas", "vacum_gas", "process 'vacum_gas' is not known; did you mean 'vacuum_gas'"),
        ("{ top = 0.2 }", "{ topp = 0.2 }", "no part that is hardened has a face 'topp'; did you mean 'top'"),
        ("[59, 61]", "[59, 60, 61]", "at most 2|holds more than 2"),
        ('"tool_steel_a2"', '"brass"', "'brass' is not known"),
    ],
)
def test_bad_statements_are_told(tmp_path, old, new, says):
    cq.exporters.export(cq.Workplane().box(40, 20, 20, centered=False), str(tmp_path / "block.step"))
    (tmp_path / "job.toml").write_text(TOML.replace(old, new, 1))
    with pytest.raises(SetupError, match=says):
        load(tmp_path / "job.toml")


def test_a_steel_without_a_table_is_answered_for_its_sizes_where_its_change_is_stated():
    """By hand: 20 mm by 0.05 to 0.1 % are 10 to 20 um, and 10 um are allowed."""
    block = body(
        "block",
        cq.Workplane().box(40, 30, 20),
        material="steel_1018",
        tolerance_mm={"top": 0.02},
    )
    stated = Hardening(process="salt_oil", growth_share=(0.0005, 0.001), distortion_mm=0.0, demagnetised=True)
    setup = Setup(name="furnace", bodies=(block,), hardening=stated)
    found = {f.kind: f for f in engine.check(setup, only={"hardening"}).findings}
    assert found[Kind.SIZE_CHANGE].value == pytest.approx(20.0)
    assert found[Kind.SIZE_CHANGE].verdict is Verdict.NO_GO
    assert not any("hardness of" in f.says and "temper" in f.says for f in found.values())
    asked = replace(setup, hardening=replace(stated, wanted_hrc=(58.0, 60.0)))
    unknown = [f for f in engine.check(asked, only={"hardening"}).findings if f.verdict is Verdict.UNKNOWN]
    assert ["hardness of steel_1018" in f.says for f in unknown] == [True]
    with pytest.raises(SetupError, match="steel to harden 'steel_1018' is not known"):
        replace(setup, hardening=replace(stated, growth_share=None))


@pytest.mark.parametrize("steel", WITHOUT_TABLE)
def test_a_steel_that_hardens_and_has_no_table_is_unknown_not_refused(steel):
    """Neither size nor hardness is guessed; what a shop measured on its own bars answers for the size."""
    part = block(material=steel, tolerance_mm={"top": 0.02})
    setup = setup_of(part, process="vacuum_oil")
    findings = engine.check(setup, only=["hardening"]).findings
    unknown = [f for f in findings if f.verdict is Verdict.UNKNOWN]
    assert any(f"the hardness of {steel}" in f.says for f in unknown)
    assert any("state growth_share" in f.says for f in unknown)
    assert not any(f.kind in (Kind.SIZE_CHANGE, Kind.HARDNESS) for f in findings)
    measured = replace(setup, hardening=replace(setup.hardening, growth_share=(0.0002, 0.0004)))
    (size,) = asked(measured, Kind.SIZE_CHANGE)
    # 20 mm by 0.04 % are 8 um of the 10 that are allowed.
    assert size.value == pytest.approx(8.0)
