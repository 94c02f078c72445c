"""A set-up that cannot be checked never exists: what is refused, and in which words."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import cadquery as cq
import pytest

from fixturecheck import Body, Cut, Flange, Guard, Machine, Seat, Setup, Tolerances, Wheel, body, equipment
from fixturecheck.checks.doubts import suspicions
from fixturecheck.errors import SetupError
from fixturecheck.result import Source
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup import validate


def one(name: str = "block", **more: Any) -> Body:
    faces = {"top": ">Z", "base": "<Z", "side": ">X"}
    return body(name, cq.Workplane().box(10, 20, 5), faces=faces, **more)


def stated(**more: Any) -> Setup:
    return Setup(**{"name": "a set-up", "bodies": [one(), one("rest", role="fixture")], **more})


def cut(**more: Any) -> dict[str, Any]:
    return {"cuts": [Cut(**{"name": "top", "parts": ("block",), "floor": "top", **more})]}


def seat(**more: Any) -> dict[str, Any]:
    return {"seats": [Seat(**{"body": "block", "face": "base", "on": "rest", "on_face": "top", **more})]}


def machine(**more: Any) -> dict[str, Any]:
    return {"machine": Machine(**more)}


ONE = one()
SOLID = ONE.solid


def test_a_sound_set_up_exists_and_its_lists_are_tuples() -> None:
    setup = stated(**cut(parts=["block"]), **seat())
    assert isinstance(setup.bodies, tuple)
    assert isinstance(setup.cuts, tuple)
    assert setup.cuts[0].parts == ("block",)
    assert hash(setup.cuts[0])


# One row for each thing that can be wrong; the message is asserted from its start.
BAD = {
    "no name": ({"name": " "}, "a set-up needs a name of printable characters on one line; got ' '"),
    "name of two lines": ({"name": "a\nb"}, "a set-up needs a name of printable characters on one line"),
    "units": ({"units": "cm"}, "set-up, units: 'cm' is unknown; use mm or inch"),
    "small lengths": (
        {"units": "inch", "small_lengths": "mil"},
        "set-up, small_lengths: 'mil' is unknown; use as units or thou",
    ),
    "thou of mm": (
        {"small_lengths": "thou"},
        'set-up, small_lengths: thou are thousandths of an inch; state units = "inch" as well',
    ),
    "no bodies": ({"bodies": []}, "the set-up has no part: give at least one body the role 'part'"),
    "no parts": ({"bodies": [one(role="fixture")]}, "the set-up has no part: give at least one body"),
    "two of one name": ({"bodies": [one(), one()]}, "body 'block' is stated 2 times; each needs a name of"),
    "a dot in a name": (
        {"bodies": [one("a.b")]},
        "body 'a.b': a name is made of letters a to z, digits, _ and -",
    ),
    "a blank in a name": ({"bodies": [one("a b")]}, "body 'a b': a name is made of letters a to z"),
    "an umlaut in a name": ({"bodies": [one("\u00e4")]}, "body '\u00e4': a name is made of letters a to z"),
    "a slash in a name": ({"bodies": [one("../x")]}, "body '../x': a name is made of letters a to z"),
    "no list": ({"bodies": one()}, "bodies must be a list or tuple; got Body"),
    "nested": (
        {"bodies": [one(), equipment("parallel", name="p")]},
        "bodies must hold Body objects only; got tuple; what gives several is unpacked: *equipment(...)",
    ),
    "no bodies but solids": ({"bodies": [SOLID]}, "bodies must hold Body objects only; got Solid"),
    "role": ({"bodies": [one(role="prat")]}, "body 'block', role: 'prat' is unknown; use part or fixture"),
    "pole": ({"bodies": [one(pole="north")]}, "body 'block', pole: 'north' is unknown; use n or s"),
    "material": (
        {"bodies": [one(material="steel_1081")]},
        "body 'block': material 'steel_1081' is not known; did you mean 'steel_1018",
    ),
    "finish": (
        {"bodies": [one(finish="grond")]},
        "body 'block': finish 'grond' is not known; did you mean 'ground",
    ),
    "finish of no face": (
        {"bodies": [one(finish={"tpo": "ground"})]},
        "body 'block', finish: body 'block' has no face 'tpo'; did you mean 'top'?",
    ),
    "tolerance of no face": (
        {"bodies": [one(tolerance_mm={"tip": 0.1})]},
        "body 'block', tolerance_mm: body",
    ),
    "tolerance below zero": (
        {"bodies": [one(tolerance_mm=-0.1)]},
        "body 'block', tolerance_mm of '*': must be from 0.00001 to 100; got -0.1",
    ),
    "orientation of no face": (
        {"bodies": [one(tolerance_mm=0.1, orientation_mm={"tip": 0.1})]},
        "body 'block', orientation_mm: body",
    ),
    "orientation below zero": (
        {"bodies": [one(tolerance_mm=0.1, orientation_mm=-0.1)]},
        "body 'block', orientation_mm of '*': must be from 0 to 10; got -0.1",
    ),
    "orientation that is no number": (
        {"bodies": [one(tolerance_mm=0.1, orientation_mm=math.nan)]},
        "body 'block', orientation_mm of '*': nan is not finite; state a number",
    ),
    "orientation without a tolerance": (
        {"bodies": [one(orientation_mm={"top": 0.01})]},
        "body 'block', orientation_mm of 'top': it has no tolerance_mm within which it could lean",
    ),
    "orientation wider than its zone": (
        {"bodies": [one(tolerance_mm={"top": 0.01}, orientation_mm={"top": 0.02})]},
        "body 'block', orientation_mm of 'top': must be at most its tolerance_mm of 0.01; got 0.02",
    ),
    "no_function of no face": (
        {"bodies": [one(no_function=["bsae"])]},
        "body 'block', no_function: body 'block' has no face 'bsae'; did you mean 'base'?",
    ),
    "a face with two names": (
        {"bodies": [replace(ONE, faces={"a": (0,), "b": (0, 1)})]},
        "body 'block': faces 'a' and 'b' are the same face; give it one name",
    ),
    "a face beyond the solid": (
        {"bodies": [replace(ONE, faces={"a": (6,)})]},
        "body 'block', face 'a': (6,) are not numbers of the solid's 6 faces, from 0",
    ),
    "a face name that is kept": (
        {"bodies": [replace(ONE, faces={"face_2": (0,)})]},
        "body 'block', face 'face_2': names like face_3 are kept for faces that nobody named",
    ),
    "a face name with a dot": (
        {"bodies": [replace(ONE, faces={"a.b": (0,)})]},
        "body 'block', face 'a.b': a name",
    ),
    "place": (
        {"bodies": [one(at=cq.Location((math.inf, 0, 0)))]},
        "body 'block', at: its place is not made of finite numbers",
    ),
    "open": (
        {"bodies": [replace(ONE, faces={}, solid=cq.Solid.makeSolid(cq.Shell.makeShell(SOLID.Faces()[:5])))]},
        "body 'block' is open: 4 edges have a face on one side only; stitch it into a closed solid",
    ),
    "inside out": (
        {"bodies": [replace(ONE, faces={}, solid=cq.Solid(SOLID.wrapped.Reversed()))]},
        "body 'block' is inside out: its volume is -1000 mm³ because its faces point inward; reverse",
    ),
    "of another planet": (
        {"bodies": [body("block", cq.Workplane().box(1e7, 20, 5), faces={"top": ">Z"})]},
        "body 'block' is 10000000 mm over its longest side; was it drawn or exported in other units?",
    ),
    "a long name": (
        {"bodies": [one("b" * 121)]},
        f"body '{'b' * 121}': a name has at most 120 letters, since it becomes part of file names",
    ),
    "seat of no body": (
        seat(body="blok"),
        "seat of 'blok' on 'rest': no body is named 'blok'; did you mean 'block'?",
    ),
    "seat on no body": (
        seat(on="rset"),
        "seat of 'block' on 'rset': no body is named 'rset'; did you mean 'rest'?",
    ),
    "seat with no face": (
        seat(face="bsae"),
        "seat of 'block' on 'rest': body 'block' has no face 'bsae'; did you",
    ),
    "seat on no face": (
        seat(on_face="x"),
        "seat of 'block' on 'rest': body 'rest' has no face 'x'; there are base,",
    ),
    "seat on itself": (seat(on="block"), "seat of 'block' on 'block': a body cannot seat on itself"),
    "rank": (
        seat(rank="first"),
        "seat of 'block' on 'rest', rank: 'first' is unknown; use primary, secondary, ",
    ),
    "share": (seat(min_share=1.5), "seat of 'block' on 'rest', min_share: must be from 0 to 1; got 1.5"),
    "cut of no part": (cut(parts=("blok",)), "cut 'top': no body is named 'blok'; did you mean 'block'?"),
    "cut of nothing": (cut(parts=()), "cut 'top': parts must be a list of part names; got ()"),
    "cut of a name": (cut(parts="block"), "cut 'top': parts must be a list of part names; got 'block'"),
    "cut of one part twice": (cut(parts=("block", "block")), "cut 'top', part 'block' is stated 2 times"),
    "cut of a fixture": (
        cut(parts=("rest",)),
        "cut 'top': 'rest' is not ground, its role is 'fixture'; name parts",
    ),
    "cut of no face": (cut(floor="tpo"), "cut 'top': body 'block' has no face 'tpo'; did you mean 'top'?"),
    "cut of no wall": (cut(wall="sdie"), "cut 'top': body 'block' has no face 'sdie'; did you mean 'side'?"),
    "cut name": (cut(name="a b"), "cut 'a b': a name is made of letters"),
    "two cuts of one name": (
        {"cuts": cut()["cuts"] * 2},
        "cut 'top' is stated 2 times; each needs a name of",
    ),
    "way": (cut(way="climb"), "cut 'top', way: 'climb' is unknown; use plunge or traverse"),
    "nothing to grind": (
        cut(stock_mm=0.0),
        "cut 'top': there is nothing to grind; state stock_mm or wall_stock_mm",
    ),
    "stock below zero": (
        cut(stock_mm=-0.1),
        "cut 'top', stock_mm: must be 0, or from 0.0001 to 20; got -0.1",
    ),
    "downfeed zero": (cut(downfeed_mm=0), "cut 'top', downfeed_mm: must be from 0.0001 to 20; got 0"),
    "stock not finite": (cut(stock_mm=math.nan), "cut 'top', stock_mm: nan is not finite; state a number"),
    "speed not finite": (cut(rpm=math.inf), "cut 'top', rpm: inf is not finite; state a number"),
    "stock no number": (cut(stock_mm="0.1"), "cut 'top', stock_mm: '0.1' is not a number"),
    "stock true": (cut(stock_mm=True), "cut 'top', stock_mm: True is not a number"),
    "sparks": (machine(sparks="up"), "machine, sparks: 'up' is unknown; use left or right"),
    "travel": (machine(travel_x_mm=0.0), "machine, travel_x_mm: must be from 1 to 10000; got 0"),
    "table": (machine(table_z_mm=math.nan), "machine, table_z_mm: nan is not finite"),
    "flange": (
        machine(flange=Flange(diameter_mm=-1.0)),
        "flange, diameter_mm: must be from 1 to 1000; got -1",
    ),
    "guard": (machine(guard=Guard(opening_deg=400.0)), "guard, opening_deg: must be from 1 to 350; got 400"),
    "large flange": (
        machine(flange=Flange(diameter_mm=200.0)),
        "flange: its diameter of 200 mm must be less than",
    ),
    "wheel": (
        {"wheel": Wheel(diameter_mm=math.inf)},
        "wheel, diameter_mm: inf is not finite; state a number",
    ),
    "wheel shape": ({"wheel": Wheel(shape="99")}, "wheel"),
    "profile": (
        {"wheel": Wheel(dressed_profile_mm=((0.0, math.nan),))},
        "wheel, dressed_profile_mm: nan is not",
    ),
    "touch": (
        {"tolerances": Tolerances(touch_um=0.0)},
        "tolerances, touch_um: must be from 0.001 to 100; got 0",
    ),
    "severity": (
        {"severity": {"seat": "bad"}},
        "severity of 'seat': 'bad' is unknown; use go, caution or no-go",
    ),
    "severity of no check": (
        {"severity": {"holds": "caution"}},
        "severity of 'holds': no check has this name; did you mean 'hold' or 'rolls'?",
    ),
    "equipment below the table": (
        machine(table_z_mm=1.0),
        "machine, table_z_mm: rest reaches down to z = -2.5 mm, below the table at 1 mm; state the height of",
    ),
    "machine of another kind": (
        {"machine": {"rpm": 3000}},
        "machine: a dict was given where the set-up needs its",
    ),
}


@pytest.mark.parametrize("what", BAD)
def test_what_cannot_be_checked_is_refused_in_one_line(what: str) -> None:
    more, message = BAD[what]
    with pytest.raises(SetupError) as caught:
        stated(**more)
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)


def test_a_curved_floor_is_refused() -> None:
    pin = body("pin", cq.Workplane().cylinder(10, 3), faces={"round": "%CYLINDER"})
    with pytest.raises(SetupError) as caught:
        Setup(name="a", bodies=[pin], cuts=[Cut(name="c", parts=("pin",), floor="round")])
    assert str(caught.value) == (
        "cut 'c': face pin.round is a cylinder, not a plane; name the flat face to grind"
    )


def test_faces_that_nobody_named_can_be_meant_by_their_number() -> None:
    plain = body("plain", cq.Workplane().box(10, 20, 5))
    assert "face_3" in plain.face_names()
    Setup(name="a", bodies=[plain], cuts=[Cut(name="c", parts=("plain",), floor="face_3")])
    with pytest.raises(SetupError, match="no face 'face_7'"):
        Setup(name="a", bodies=[plain], cuts=[Cut(name="c", parts=("plain",), floor="face_7")])


@pytest.mark.parametrize(("factor", "suspect"), [(1.0, False), (1000.0, True), (0.001, True)])
def test_a_part_in_the_wrong_units_is_a_caution(factor: float, suspect: bool) -> None:
    sized = body("part", cq.Workplane().box(10 * factor, 20 * factor, 5 * factor))
    setup = Setup(name="a", bodies=[sized, one(role="fixture")])
    found = suspicions(setup)
    assert [f.subject for f in found] == ["part"] * suspect
    for finding in found:
        assert finding.verdict is Verdict.CAUTION
        assert finding.check == "describe"
        assert finding.value == pytest.approx(20 * factor)
        assert finding.margin is not None
        assert finding.margin < 0
        assert "other units" in finding.says


@pytest.mark.parametrize(
    ("units", "factor", "told"),
    [
        ("inch", 25.4, "Were the places stated in mm, a factor of 25.4"),
        ("mm", 1 / 25.4, "Were the places stated in inches, a factor of 25.4"),
        ("mm", 25.4, ""),
        ("inch", 1.0, ""),
        ("mm", 1.0, ""),
        ("mm", 0.2, ""),
    ],
)
def test_places_in_the_other_unit_are_told_where_all_seats_would_then_meet(units, factor, told) -> None:
    """A block of 20 x 20 x 5 on a plate 10 high, against a rail at x = 40: it belongs at (30, 0, 10)."""
    flat = {"top": ">Z", "bottom": "<Z", "right": ">X", "left": "<X"}

    def standing(name, size, at, role):
        drawn = cq.Workplane().box(*size, centered=(True, True, False))
        return body(name, drawn, at=tuple(factor * v for v in at), faces=flat, role=role)

    bodies = [
        standing("plate", (200, 100, 10), (0, 0, 0), "fixture"),
        standing("rail", (10, 100, 10), (45, 0, 10), "fixture"),
        standing("block", (20, 20, 5), (30, 0, 10), "part"),
    ]
    seats = [
        Seat(body="block", face="bottom", on="plate", on_face="top"),
        Seat(body="block", face="right", on="rail", on_face="left", rank="stop"),
    ]
    found = suspicions(Setup(name="x", units=units, bodies=bodies, seats=seats))
    assert [told in f.says for f in found if f.kind is Kind.OTHER_UNIT] == [True] * bool(told)


@pytest.mark.parametrize(("factor", "told"), [(25.4, True), (1.0, False)])
def test_places_in_the_other_unit_are_told_of_a_part_that_lies_beside_its_seat(
    factor: float, told: bool
) -> None:
    """A block at y = 40 on a plate 100 wide whose top is at z = 0: 25.4 times further it lies off it."""
    flat = {"top": ">Z", "bottom": "<Z"}
    plate = cq.Workplane().box(200, 100, 10, centered=(True, True, False)).translate((0, 0, -10))
    block = cq.Workplane().box(20, 20, 5, centered=(True, True, False))
    bodies = [
        body("plate", plate, faces=flat, role="fixture"),
        body("block", block, faces=flat, at=(0.0, 40.0 * factor, 0.0)),
    ]
    seats = [Seat(body="block", face="bottom", on="plate", on_face="top")]
    found = suspicions(Setup(name="x", units="inch", bodies=bodies, seats=seats))
    values = [f.value for f in found if f.kind is Kind.OTHER_UNIT]
    assert values == pytest.approx([40.0 * factor - 10.0 - 50.0] * told)


def test_a_file_without_a_unit_of_length_is_a_caution() -> None:
    source = Source(path="parts/block.step", sha256="0" * 64)
    unsaid = [replace(one(name), says_unit=False, source=source) for name in ("a", "b")]
    (found,) = suspicions(Setup(name="x", bodies=unsaid))
    assert found.verdict is Verdict.CAUTION
    assert found.says.startswith(
        "block.step states no unit of length, and its numbers were taken for mm: a is"
    )
    assert found.value == pytest.approx(20)


def test_a_solid_that_many_bodies_share_is_examined_once(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    real = validate.flaw_of
    monkeypatch.setattr(validate, "flaw_of", lambda solid: seen.append(solid) or real(solid))
    block = one()
    gang = [replace(block, name=f"b{i}", at=cq.Location((20.0 * i, 0, 0))) for i in range(128)]
    Setup(name="gang", bodies=gang)
    assert len(seen) == 1


def test_the_table_is_the_lowest_point_of_what_stands_there_unless_stated() -> None:
    assert stated().table_z_mm == pytest.approx(-2.5, abs=1e-9)
    assert stated(**machine(table_z_mm=-30.0)).table_z_mm == -30.0


@pytest.mark.parametrize(
    ("more", "subject", "words"),
    [
        (seat(min_share=0.0), "block.base", "states min_share = 0"),
        (
            cut(stock_mm=0.1, downfeed_mm=0.2),
            "top",
            "is stated as 0.2 mm deep, more than the 0.1 mm of stock",
        ),
        (
            {"bodies": [one(tolerance_mm={"top": 2.0})]},
            "block",
            "block is 5 mm where it is thinnest, and the tolerance of its face top is 2 mm",
        ),
        (
            {"bodies": [one()], **machine(table_z_mm=1.0)},
            "block",
            "block reaches 3.5 mm below the table, which is stated at z = 1 mm",
        ),
    ],
)
def test_what_was_probably_not_meant_is_a_caution(more: dict[str, Any], subject: str, words: str) -> None:
    (found,) = suspicions(stated(**more))
    assert (found.check, found.verdict, found.subject) == ("describe", Verdict.CAUTION, subject)
    assert words in found.says


@pytest.mark.parametrize(
    "more", [seat(), cut(stock_mm=0.2, downfeed_mm=0.2), {"bodies": [one(tolerance_mm=0.1)]}]
)
def test_what_is_usual_raises_no_doubt(more: dict[str, Any]) -> None:
    assert suspicions(stated(**more)) == ()
