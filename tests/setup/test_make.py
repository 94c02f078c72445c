"""Bodies, equipment and places as a script states them."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from fixturecheck import Cut, Setup, body, equipment, place
from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of

MATERIALS = "steel_1018"


def test_turns_are_made_in_order_about_the_machines_axes() -> None:
    """Against rotation matrices multiplied by hand: later turns to the left, then the move."""

    def about(axis: int, angle_deg: float) -> np.ndarray:
        c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
        i, j = [(1, 2), (2, 0), (0, 1)][axis]
        m = np.eye(3)
        m[i, i] = m[j, j] = c
        m[i, j], m[j, i] = -s, s
        return m

    at = place(at=(1, 2, 3), rotate=[("x", 30), ("z", 40), ("y", -70)])
    point = np.array([4.0, -5.0, 6.0])
    expected = about(1, -70) @ about(2, 40) @ about(0, 30) @ point + (1, 2, 3)
    found = cq.Vertex.makeVertex(*point).moved(at).toTuple()
    assert found == pytest.approx(tuple(expected), abs=1e-12)


def test_a_turn_about_any_axis() -> None:
    """A third of a turn about the space diagonal takes x to y."""
    at = place(rotate=[((1, 1, 1), 120)])
    assert cq.Vertex.makeVertex(1, 0, 0).moved(at).toTuple() == pytest.approx((0, 1, 0), abs=1e-12)


@pytest.mark.parametrize(
    ("stated", "message"),
    [
        ({"at": (1, 2)}, "at must be three finite numbers; got (1, 2)"),
        ({"at": (1, 2, math.nan)}, "at must be three finite numbers; got (1, 2, nan)"),
        ({"at": "abc"}, "at must be three finite numbers; got 'abc'"),
        ({"rotate": [("w", 3)]}, "axis 'w' is unknown; use x, y, z or a vector"),
        ({"rotate": [("x", math.inf)]}, "an angle must be a finite number of degrees; got inf"),
        ({"rotate": [("x", "9")]}, "an angle must be a finite number of degrees; got '9'"),
        ({"rotate": [((0, 0, 0), 3)]}, "an axis of rotation must have a length; got (0, 0, 0)"),
        ({"rotate": [3]}, "a turn is an axis and an angle in degrees, like ('z', 90); got 3"),
    ],
)
def test_a_place_that_cannot_be_is_refused(stated: dict[str, object], message: str) -> None:
    with pytest.raises(SetupError) as caught:
        place(**stated)
    assert str(caught.value) == message


def test_every_kind_of_reference_finds_its_face(block: cq.Workplane) -> None:
    solid = block.val()
    tagged = block.faces("<X").tag("left").end()
    faces = {
        "selector": ">Z",
        "point": (0.0, 0.0, -2.5),
        "face": solid.faces(">X"),
        "tag": tagged.faces(tag="left"),
        "several": [">Y", (0, -10, 0)],
    }
    made = body("block", block, faces=faces)
    where = {name: [faces_of(solid)[i].Center().toTuple() for i in made.faces[name]] for name in faces}
    assert where["selector"] == [pytest.approx((0, 0, 2.5), abs=1e-9)]
    assert where["point"] == [pytest.approx((0, 0, -2.5), abs=1e-9)]
    assert where["face"] == [pytest.approx((5, 0, 0), abs=1e-9)]
    assert where["tag"] == [pytest.approx((-5, 0, 0), abs=1e-9)]
    assert sorted(round(y) for _, y, _ in where["several"]) == [-10, 10]


def test_names_in_the_file_are_kept_unless_another_is_given(tmp_path: Path, block: cq.Workplane) -> None:
    solid = block.val()
    assembly = cq.Assembly(name="file").add(solid, name="p")
    for selector, name in (
        (">Z", "Datum A.1"),
        ("<Z", "base"),
        (">X", "face_2"),
        ("<X", "..."),
        ("|Y", "sides"),
    ):
        for face in solid.faces(selector).Faces():
            assembly.objects["p"].addSubshape(face, name=name)
    path = tmp_path / "a.step"
    assembly.export(str(path))
    made = body("p", path, faces={"floor": "<Z", "front": "<Y"})
    # face_2 and ... are no names of ours; a face that was renamed has one name only.
    assert sorted(made.faces) == ["Datum_A_1", "floor", "front", "sides"]
    assert len(made.faces["sides"]) == 1
    assert made.source is not None
    assert made.source.path == str(path)


def named_file(path: Path, block: cq.Workplane, names: dict[str, str]) -> Path:
    """Write the block with its faces named, by selector."""
    solid = block.val()
    assembly = cq.Assembly(name="file").add(solid, name="p")
    for selector, name in names.items():
        assembly.objects["p"].addSubshape(solid.faces(selector), name=name)
    assembly.export(str(path))
    return path


def test_an_exact_name_wins_over_one_that_is_alike_when_cleaned(tmp_path: Path, block: cq.Workplane) -> None:
    path = named_file(tmp_path / "a.step", block, {"<Z": "SEAT 1", ">X": "SEAT_1"})
    made = body("p", path)
    (seat,) = made.faces["SEAT_1"]
    assert faces_of(made.solid)[seat].Center().toTuple() == pytest.approx((5, 0, 0), abs=1e-9)
    # The other is still reached by its own name.
    both = body("p", path, faces={"bottom": "step:SEAT 1"})
    (bottom,) = both.faces["bottom"]
    assert faces_of(both.solid)[bottom].Center().toTuple() == pytest.approx((0, 0, -2.5), abs=1e-9)
    assert both.faces["SEAT_1"] == made.faces["SEAT_1"]


def test_names_that_are_alike_when_cleaned_are_an_error_that_names_both(
    tmp_path: Path, block: cq.Workplane
) -> None:
    path = named_file(tmp_path / "a.step", block, {"<Z": "SEAT 1", ">X": "SEAT/1"})
    made = body("p", path)
    assert "SEAT_1" not in made.faces
    cut = Cut(name="c", parts=("p",), floor="SEAT_1")
    with pytest.raises(SetupError) as caught:
        Setup(name="a", bodies=[made], cuts=[cut])
    assert str(caught.value) == (
        "cut 'c': 'SEAT_1' could be the face 'SEAT 1' or 'SEAT/1' of the file; name the face meant in the "
        "faces of 'p', like NAME = { step = 'SEAT 1' }"
    )
    clear = body("p", path, faces={"SEAT_1": "step:SEAT/1"})
    assert Setup(name="a", bodies=[clear], cuts=[cut]).cuts == (cut,)


def test_a_number_in_the_file_that_is_not_the_number_by_place(tmp_path: Path, block: cq.Workplane) -> None:
    drawn = body("p", block)
    by_place = {
        name: faces_of(drawn.solid)[i].Center().toTuple() for i, name in enumerate(drawn.face_names())
    }
    top = next(n for n, c in by_place.items() if c[2] > 2.0)
    other = next(n for n in by_place if n != top)
    for name, unclear in ((other, True), (top, False)):
        made = body("p", named_file(tmp_path / "a.step", block, {">Z": name}))
        setup = {"name": "a", "bodies": [made], "cuts": [Cut(name="c", parts=("p",), floor=name)]}
        if not unclear:
            Setup(**setup)
            continue
        with pytest.raises(SetupError, match=f"the file calls a face of 'p' '{name}', but '{name}' here is"):
            Setup(**setup)


def test_file_that_names_no_such_face(tmp_path: Path, block: cq.Workplane) -> None:
    solid = block.val()
    assembly = cq.Assembly(name="file").add(solid, name="p")
    assembly.objects["p"].addSubshape(solid.faces(">Z"), name="FLOOR")
    path = tmp_path / "a.step"
    assembly.export(str(path))
    with pytest.raises(SetupError) as caught:
        body("p", path, faces={"floor": "step:floor"})
    assert (
        str(caught.value) == "body 'p', face 'floor': the file names no face 'floor'; did you mean 'FLOOR'?"
    )


@pytest.mark.parametrize(
    ("solid", "message"),
    [
        (None, "body 'a': a solid was expected, got NoneType; give a CadQuery solid or workplane"),
        (cq.Workplane().rect(1, 1), "body 'a': one solid was expected, got 0 (in: nothing);"),
        (cq.Face.makePlane(1, 1), "body 'a': one solid was expected, got 0 (in: face);"),
        ("none.step", "body 'a': none.step does not exist"),
    ],
)
def test_a_body_of_what_is_no_solid_is_refused(solid: object, message: str) -> None:
    with pytest.raises(SetupError) as caught:
        body("a", solid)
    assert str(caught.value).startswith(message)


def test_one_value_is_for_all_faces(block: cq.Workplane) -> None:
    made = body("a", block, finish="ground", tolerance_mm=0.01, orientation_mm=0)
    assert made.finish == {"*": "ground"}
    assert made.tolerance_mm == {"*": 0.01}
    assert made.orientation_mm == {"*": 0}


def test_equipment_bodies_are_named_after_it() -> None:
    at = place(at=(0, 0, 7))
    vee = equipment("magnetic_v_block", name="vee", at=at)
    assert len(vee) > 1
    assert all(b.name.startswith("vee_") and b.group == "vee" and b.role == "fixture" for b in vee)
    assert {b.pole for b in vee} >= {"n", "s"}
    assert all(b.at is at for b in vee)
    (bar,) = equipment("parallel", name="bar", at=(1, 2, 3))
    assert bar.name == "bar"
    assert bar.at.toTuple()[0] == (1.0, 2.0, 3.0)


def test_equipment_that_is_not_in_the_shop() -> None:
    with pytest.raises(
        SetupError, match=r"^equipment 'a': equipment 'paralel' is not known; did you mean 'parallel"
    ):
        equipment("paralel", name="a")
    with pytest.raises(SetupError, match=r"^equipment 'a': parameter of parallel 'x' is not known"):
        equipment("parallel", name="a", x=1.0)
