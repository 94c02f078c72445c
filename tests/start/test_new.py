"""A first set-up for parts that others drew: its seats touch as the contact map says.

Parts: the models' own STEP files, and those that NIST drew for its test of product data (tests/data/nist).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fixturecheck import engine
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.kernel.step import read, reading_once
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.load import load
from fixturecheck.setup.make import place
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import Machine
from fixturecheck.start import layout
from fixturecheck.start.choose import propose
from fixturecheck.start.part import Part, read_part
from fixturecheck.start.standing import flat_stances, poses, vee_stances
from fixturecheck.start.write import first_setup_text, turns_of
from tests.doors import command

ROOT = Path(__file__).parents[2]
MODELS = sorted(ROOT.glob("models/*/*.step"))
NIST = [ROOT / "tests" / "data" / "nist" / f"nist_{name}.stp" for name in ("ctc_01", "ctc_03", "ftc_11")]
SHEET = next(p for p in NIST if p.stem.endswith("ctc_03"))
"""A bent sheet: each of its level faces lies between flanges, or is the edge of one."""


def step_of(drawn: cq.Workplane | cq.Shape, path: Path) -> Path:
    """Write a drawing to a STEP file."""
    cq.exporters.export(drawn if isinstance(drawn, cq.Workplane) else cq.Workplane(drawn), str(path))
    return path


def part_of(drawn: cq.Workplane | cq.Shape, folder: Path) -> Part:
    return read_part(step_of(drawn, folder / "piece.step"))


def proposed(path: Path, folder: Path, **wishes: object) -> Setup:
    """The set-up proposed for a part, as the file that is written reads."""
    out = folder / f"{path.stem}.toml"
    out.write_text(first_setup_text(propose(read_part(path), **wishes), folder))  # type: ignore[arg-type]  # as given
    return load(out)


def touching(setup: Setup) -> tuple[set[frozenset[str]], int]:
    """Pairs of faces that touch, and how many pairs of bodies overlap."""
    found = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    touch = {
        frozenset((str(p.contact.a), str(p.contact.b)))
        for p in found.patches
        if p.contact.kind is not ContactKind.NEAR
    }
    return touch, len(found.overlaps)


@pytest.mark.parametrize("path", [*MODELS, *NIST], ids=lambda p: p.stem)
def test_seats_touch_and_nothing_overlaps(path: Path, tmp_path: Path) -> None:
    setup = proposed(path, tmp_path)
    touch, overlaps = touching(setup)
    assert overlaps == 0
    assert any(s.rank == "primary" for s in setup.seats)
    for seat in setup.seats:
        assert frozenset((str(seat.own), str(seat.other))) in touch, seat


@pytest.mark.parametrize("path", [p for p in MODELS if p.stem.startswith("pawl")], ids=lambda p: p.stem)
def test_the_pawl_lies_on_its_two_flanks(path: Path, tmp_path: Path) -> None:
    setup = proposed(path, tmp_path)
    flanks = {s.on_face: s.face for s in setup.seats if s.on.startswith("vee")}
    assert set(flanks) == {"left_flank", "right_flank"}
    assert set(flanks.values()) == {"left_seat", "right_seat"}
    assert [(c.floor, c.wall) for c in setup.cuts] == [("floor", "wall")]


def test_a_gang_of_pawls_nests_at_its_pitch(tmp_path: Path) -> None:
    """Each stands with its back on the nest face of the one before, 16 mm on, as the pawl is drawn."""
    setup = proposed(ROOT / "models" / "index_pawl" / "pawl_b.step", tmp_path, count=4)
    nests = {frozenset((s.face, s.on_face)) for s in setup.seats if s.rank == "nest"}
    assert nests == {frozenset(("back", "nest"))}
    places = [b.at.toTuple()[0][0] for b in setup.parts()]
    assert np.abs(np.diff(places)) == pytest.approx([16.0] * 3, abs=1e-9)
    touch, overlaps = touching(setup)
    assert overlaps == 0
    assert all(frozenset((str(s.own), str(s.other))) in touch for s in setup.seats)


@pytest.mark.parametrize("path", MODELS, ids=lambda p: p.stem)
def test_a_part_is_stated_by_its_seats_and_stands_where_it_is_proposed_to(path: Path, tmp_path: Path) -> None:
    proposal = propose(read_part(path))
    text = first_setup_text(proposal, tmp_path)
    (body,) = tomllib.loads(text)["body"]
    assert "at" not in body
    assert {s["rank"] for s in body["seats"]} >= {"primary", "secondary"}
    meant = np.column_stack([proposal.posed.turn, proposal.places[0][1]])
    (tmp_path / "one.toml").write_text(text)
    found = next(load(tmp_path / "one.toml").parts())
    assert matrix_of(found.at)[:3] == pytest.approx(meant, abs=1e-6)


def test_a_gang_is_one_entry_and_its_guesses_are_found(tmp_path: Path) -> None:
    path = ROOT / "models" / "index_pawl" / "pawl_b.step"
    text = first_setup_text(propose(read_part(path), count=4), tmp_path)
    (body,) = tomllib.loads(text)["body"]
    assert (body["count"], body["against"]) == (4, "nest")
    assert text.count("[[seat]]") == 0
    (tmp_path / "gang.toml").write_text(text)
    told = {".".join(g.path) for g in load(tmp_path / "gang.toml").guessed}
    assert {"body.pawl_b.material", "body.pawl_b.seats.3.min_share"} <= told


def test_where_seats_leave_a_freedom_the_place_is_stated(tmp_path: Path) -> None:
    """A round plate on a chuck: its rim touches rail and blocks along lines, and it could turn."""
    disc = step_of(cq.Workplane().circle(20).extrude(8), tmp_path / "disc.step")
    stated = tomllib.loads(first_setup_text(propose(read_part(disc)), tmp_path))
    (body,) = stated["body"]
    assert ("at" in body) != ("seats" in body)
    # Places are those of a drawing: 20 mm from the middle to the rim, and no rounding of the kernel's.
    places = [v for piece in (body, *stated["equipment"]) for v in piece.get("at", ())]
    assert all(v == round(v, 3) for v in places)
    assert touching(proposed(disc, tmp_path))[1] == 0


def test_parts_that_do_not_nest_stand_with_blocks_between(tmp_path: Path) -> None:
    """A plate with slanted ends: no end of one lies on the next."""
    plate = cq.Workplane().polyline([(0, 0), (60, 0), (50, 20), (10, 20)]).close().extrude(8)
    setup = proposed(step_of(plate, tmp_path / "wedge.step"), tmp_path, count=2)
    touch, overlaps = touching(setup)
    assert overlaps == 0
    assert len(list(setup.parts())) == 2
    assert all(frozenset((str(s.own), str(s.other))) in touch for s in setup.seats)


def test_a_block_stands_where_its_weight_lies_well_over_what_bears(tmp_path: Path) -> None:
    """Closed form: on a side a x b of a box the weight is the lesser of a/2 and b/2 inside, h/2 up."""
    part = part_of(cq.Workplane().box(40, 20, 8), tmp_path)
    found = {(round(s.height_mm, 6), round(s.margin_mm, 6)) for s in flat_stances(part)}
    assert found == {(4.0, 10.0), (10.0, 4.0), (20.0, 4.0)}


def test_a_tall_pin_does_not_stand_on_its_end(tmp_path: Path) -> None:
    """2 mm from the middle to the rim, 50 mm up: it tips at atan(2/50), below the three degrees asked."""
    part = part_of(cq.Workplane().circle(2).extrude(100), tmp_path)
    assert math.degrees(math.atan(2 / 50)) < 3
    assert list(flat_stances(part)) == []


def test_what_leans_over_its_foot_does_not_stand_on_it(tmp_path: Path) -> None:
    """An L whose long arm carries the weight past the short foot stands on the arm alone."""
    ell = (
        cq.Workplane("XZ")
        .polyline([(0, 0), (5, 0), (5, 40), (60, 40), (60, 50), (0, 50)])
        .close()
        .extrude(10)
    )
    part = part_of(ell, tmp_path)
    assert all(np.linalg.norm(s.down - np.array([0, 0, -1.0])) > 1e-6 for s in flat_stances(part))


def test_a_floor_between_two_walls_is_not_open_to_the_wheel(tmp_path: Path) -> None:
    channel = cq.Workplane().box(60, 30, 20).faces(">Z").workplane().rect(60, 12).cutBlind(-8)
    part = part_of(channel, tmp_path)
    stance = next(s for s in flat_stances(part) if s.down[2] == -1.0)
    bottom = min((p for p in part.planes if p.normal[2] == 1.0), key=lambda p: p.offset_mm)
    assert list(poses(part, stance, bottom)) == []
    assert list(poses(part, stance, bottom, shut_in=True))


def test_a_step_is_ground_with_its_wall_across_the_feed(tmp_path: Path) -> None:
    """The part rises on the side of +Y or -Y only, so that the wheel passes beside it along X."""
    step = cq.Workplane().box(60, 30, 20).cut(cq.Workplane().box(30, 30, 8).translate((15, 0, 6)))
    part = part_of(step, tmp_path)
    stance = next(s for s in flat_stances(part) if s.down[2] == -1.0)
    low = next(p for p in part.planes if p.normal[2] == 1.0 and p.offset_mm < 9)
    found = list(poses(part, stance, low))
    assert {p.wall_side for p in found} == {1, -1}
    assert all(abs(p.turn[0, 0]) < 1e-9 for p in found), "the drawn X axis lies along Y"


def test_a_shaft_with_a_flat_lies_in_the_v(tmp_path: Path) -> None:
    """On a round of radius r the axis stands r / sin(45 deg) over the line in which the flanks meet."""
    shaft = cq.Workplane("YZ").circle(10).extrude(60).faces(">X").workplane().circle(6).extrude(20)
    shaft = shaft.cut(cq.Workplane().box(60, 30, 4).translate((30, 0, 10)))
    part = part_of(shaft, tmp_path)
    assert list(vee_stances(part, 90.0))
    setup = proposed(tmp_path / "piece.step", tmp_path)
    assert {s.on_face for s in setup.seats if s.rank in {"primary", "secondary"}} == {
        "left_flank",
        "right_flank",
    }
    assert next(setup.parts()).at.toTuple()[0][2] == pytest.approx(10 * math.sqrt(2), abs=1e-9)
    assert touching(setup)[1] == 0


@pytest.mark.parametrize(
    "turn",
    [
        np.eye(3),
        np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]),
        np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]]),
        Rotation.from_euler("xyz", [10, 20, 30], degrees=True).as_matrix(),
    ],
)
def test_turns_make_the_rotation(turn: np.ndarray) -> None:
    made = matrix_of(place(rotate=[(axis, deg) for axis, deg in turns_of(turn)]))
    assert made[:3, :3] == pytest.approx(turn, abs=1e-9)


@pytest.mark.parametrize("path", MODELS, ids=lambda p: p.stem)
def test_in_the_vise_both_jaws_grip_and_the_floor_stands_out(path: Path, tmp_path: Path) -> None:
    setup = proposed(path, tmp_path, on="vise")
    touch, overlaps = touching(setup)
    assert overlaps == 0
    assert all(frozenset((str(s.own), str(s.other))) in touch for s in setup.seats)
    assert {"vise_body", "vise_jaw"} <= {s.on for s in setup.seats}
    (part,) = setup.parts()
    jaws = box_of(placed_at(setup.body("vise_jaw").solid, setup.body("vise_jaw").at))[5]
    floor = plane_of(part, setup.cuts[0].floor)
    assert floor >= jaws + 2.5
    assert floor <= jaws + 3.5


def plane_of(part: Body, face: str) -> float:
    """Height of a level face of a part where it stands."""
    (index,) = part.face_indices(face)
    return box_of(placed_at(faces_of(part.solid)[index], part.at))[5]


def test_a_block_in_the_vise_by_hand(tmp_path: Path) -> None:
    """60 x 20 x 12: a vise 50 wide, jaws 25 tall, takes up to 1.5 x 50 mm; 25 + 3 - 12 = 16 mm under it."""
    proposal = propose(part_of(cq.Workplane().box(60, 20, 12), tmp_path), on="vise")
    vise, parallel, *rest = proposal.equipment
    assert (vise.params["width_mm"], vise.params["opening_mm"]) == (50.0, 20.0)
    assert parallel.params["height_mm"] == 16.0
    assert rest == [], "60 mm leave no room for a stop between jaws 50 mm wide"
    short = propose(part_of(cq.Workplane().box(24, 20, 12), tmp_path), on="vise")
    stop = next(p for p in short.equipment if p.name == "stop")
    assert stop.at == pytest.approx((12 + 6, -10, 16))
    assert stop.params["height_mm"] <= 12 - 1.5


@pytest.mark.parametrize("path", [*MODELS, NIST[0]], ids=lambda p: p.stem)
def test_a_part_is_pushed_only_where_something_stops_it(path: Path) -> None:
    found = propose(read_part(path), on="flat_chuck")
    on = {(s.on_face, str(s.rank)) for s in found.seats}
    assert (found.push[0] > 0) == (("minus_x", "stop") in on)
    assert (found.push[1] > 0) == (("fence", "secondary") in on)


def test_a_part_whose_stop_lies_off_its_middle_is_pushed_in_line_with_it_and_rests(tmp_path: Path) -> None:
    """By hand: stop and rail push back through one point if the hand pushes where their middles cross."""
    boot = (
        cq.Workplane().polyline([(0, 0), (80, 0), (80, 14), (30, 14), (30, 60), (0, 60)]).close().extrude(15)
    )
    path = step_of(boot, tmp_path / "boot.step")
    setup = proposed(path, tmp_path, on="flat_chuck")
    stop = next(s for s in setup.seats if s.on == "block_right")
    assert setup.staging is not None
    push = setup.staging.push["*"]
    assert push.at_mm is not None
    (part,) = setup.parts()
    there = (matrix_of(part.at) @ np.array([*push.at_mm, 1.0]))[:3]
    block = box_of(placed_at(setup.body(stop.on).solid, setup.body(stop.on).at))
    assert there[1] == pytest.approx((block[1] + block[4]) / 2, abs=1e-3)
    assert there[2] < 15
    found = engine.check(setup, only=("rest",))
    assert {f.verdict for f in found.findings if f.check == "rest"} == {Verdict.GO}


@pytest.mark.parametrize(("foot_mm", "rail_mm"), [(6.0, 8.0), (9.0, 12.0), (15.0, 0.0)])
def test_the_rail_reaches_the_side_of_a_head_that_begins_higher_up_or_is_not_used(
    foot_mm: float, rail_mm: float, tmp_path: Path
) -> None:
    """By hand: a T turned over, 20 mm tall; rails are 8 or 12 mm high, and its side begins above its foot."""
    tee = cq.Workplane().box(80, 20, foot_mm, centered=(True, True, False))
    tee = tee.union(
        cq.Workplane("XY", (0, 0, foot_mm)).box(80, 30, 20 - foot_mm, centered=(True, True, False))
    )
    path = step_of(tee, tmp_path / "tee.step")
    body = read_part(path).body
    top = max(zip(faces_of(body.solid), body.face_names(), strict=True), key=lambda one: one[0].Center().z)[1]
    setup = proposed(path, tmp_path, on="flat_chuck", floor=top)
    rails = [b for b in setup.bodies if b.name == "chuck_back_rail"]
    assert [box_of(b.solid)[5] for b in rails] == ([rail_mm] if rail_mm else [])
    assert any(s.on == "chuck_back_rail" for s in setup.seats) == bool(rails)
    assert touching(setup)[1] == 0


BAD_IN_VISE = {
    "wide": (cq.Workplane().box(400, 250, 240), {}, "largest vise opens 200 mm"),
    "two": (cq.Workplane().box(30, 20, 12), {"count": 2}, "a vise is set up for one part"),
    "round": (cq.Workplane().circle(10).extrude(20), {}, "no two flat sides across from each other"),
    "chip": (cq.Workplane().box(3, 3, 1.5), {}, "too thin for a vise"),
}


@pytest.mark.parametrize(("drawn", "wishes", "says"), BAD_IN_VISE.values(), ids=BAD_IN_VISE)
def test_what_a_vise_does_not_take_is_refused_in_one_line(
    drawn: cq.Workplane, wishes: dict[str, object], says: str, tmp_path: Path
) -> None:
    with pytest.raises(SetupError, match=says) as refused:
        propose(part_of(drawn, tmp_path), on="vise", **wishes)  # type: ignore[arg-type]  # as given
    assert len(refused.value.problems) == 1


BAD = {
    "ball": (cq.Workplane().sphere(10), {}, "no flat face"),
    "large": (cq.Workplane().box(1200, 700, 20), {}, "largest chuck is 1000 x 500 mm"),
    "many": (cq.Workplane().box(60, 20, 10), {"count": 200}, "takes 16"),
    "nameless": (cq.Workplane().box(60, 20, 10), {"floor": "flor"}, "no face 'flor'"),
}


@pytest.mark.parametrize(("drawn", "wishes", "says"), BAD.values(), ids=BAD)
def test_what_cannot_be_set_up_is_refused_in_one_line(
    drawn: cq.Workplane, wishes: dict[str, object], says: str, tmp_path: Path
) -> None:
    with pytest.raises(SetupError, match=says) as refused:
        propose(part_of(drawn, tmp_path), **wishes)  # type: ignore[arg-type]  # as given
    assert len(refused.value.problems) == 1


def test_a_part_whose_level_faces_are_all_shut_in_is_set_up_and_says_so(tmp_path: Path) -> None:
    """By hand: a trough with rims 8 and 12 mm over its bottom."""
    rim = [(-15, 0), (15, 0), (12, 20), (6, 12), (-6, 12), (-12, 24)]
    trough = part_of(cq.Workplane("YZ").polyline(rim).close().extrude(320), tmp_path)
    found = propose(trough, on="flat_chuck")
    assert found.posed.wall is None
    assert "stands up to 12 mm over it, in the way of the wheel" in found.because[1].reason
    assert "stands up to 84.58 mm over it" in propose(read_part(SHEET)).because[1].reason


def test_a_gang_that_all_but_nests_stands_as_it_is_meant_to(tmp_path: Path) -> None:
    """The heel of revision A lands 0.4 mm early, as its own set-up says; lines see that much, and no more."""
    path = ROOT / "models" / "index_pawl" / "pawl_a.step"
    found = propose(read_part(path), on="v_block", count=4)
    assert {(s.face, s.on_face) for s in found.seats if s.rank == "nest"} == {("back", "nest")}
    places = [at[0] for _, at in found.places]
    assert np.abs(np.diff(places)) == pytest.approx([16.0] * 3, abs=1e-9)
    (early,) = (b.reason for b in found.because if "nested" in b.choice)
    assert 0.2 < float(early.split("up to ")[1].split(" mm")[0]) <= 0.4


def test_a_gang_that_fits_nowhere_is_refused_at_once(tmp_path: Path) -> None:
    """The part is 450 x 800 x 150 mm: too long for four in a row, and too tall on an edge."""
    for on, says in (("v_block", "827.8 mm tall"), ("flat_chuck", "largest chuck is 1000 x 500 mm")):
        with pytest.raises(SetupError, match=says):
            propose(read_part(NIST[0]), on=on, count=4)


def test_nests_are_ruled_out_by_lines_and_few_are_tried_with_the_solids(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: each of the 12 risers of a stair could lie on its back; all but the lowest then pierce it.

    Two layers, one 10 mm ahead of the other, go into each other: 20 mm on, though they are 30 mm long.
    """
    tries: list[float] = []
    honest = layout.touching
    monkeypatch.setattr(layout, "touching", lambda pair: tries.append(1.0) or honest(pair))
    steps = [(x, 2 * (n + 1)) for n in range(12) for x in (2 * n, 2 * n + 2)]
    stair = cq.Workplane("XZ").polyline([(0, 0), *steps, (24, 0)]).close().extrude(10)
    layers = cq.Workplane().box(20, 10, 5).union(cq.Workplane().box(20, 10, 5).translate((10, 0, 5)))
    for drawn, pitch in ((stair, 24.0), (layers, 20.0)):
        nest = layout.nesting_of(part_of(drawn, tmp_path), np.eye(3)).nest
        assert nest is not None
        assert nest.pitch_mm == pytest.approx(pitch, abs=1e-9)
    assert len(tries) == 2


def test_a_stop_stands_where_the_end_reaches_down_to_it(tmp_path: Path) -> None:
    """By hand: a bridge whose arch takes the middle 40 mm of each end; the block stands against one pier."""
    bridge = cq.Workplane().box(90, 80, 40).cut(cq.Workplane().box(90, 40, 60).translate((0, 0, -20)))
    setup = proposed(step_of(bridge, tmp_path / "bridge.step"), tmp_path, on="flat_chuck")
    touch, overlaps = touching(setup)
    stops = [s for s in setup.seats if s.rank == "stop"]
    assert overlaps == 0
    assert {s.on for s in stops} == {"block_left", "block_right"}
    assert all(frozenset((str(s.own), str(s.other))) in touch for s in stops)


def test_a_large_chuck_comes_with_a_machine_that_takes_it(tmp_path: Path) -> None:
    setup = proposed(step_of(cq.Workplane().box(480, 200, 30), tmp_path / "plate.step"), tmp_path)
    assert (setup.machine.travel_x_mm, setup.machine.travel_y_mm) == (750.0, 300.0)
    assert {g.path[1] for g in setup.guessed if g.path[0] == "machine"} == {"travel_x_mm", "travel_y_mm"}
    small = proposed(step_of(cq.Workplane().box(60, 20, 10), tmp_path / "small.step"), tmp_path)
    assert small.machine == Machine()


def test_a_part_is_read_once_and_again_when_it_changed(tmp_path: Path) -> None:
    path = step_of(cq.Workplane().box(60, 20, 10), tmp_path / "piece.step")
    with reading_once():
        first = read(path).solids[0].solid
        assert read(path).solids[0].solid is first
        step_of(cq.Workplane().box(60, 20, 12), path)
        assert read(path).solids[0].solid is not first
    assert read(path).solids[0].solid is not read(path).solids[0].solid


def test_the_command_writes_file_and_page_and_says_why(tmp_path: Path) -> None:
    path = step_of(cq.Workplane().box(60, 20, 10), tmp_path / "bar.step")
    out = tmp_path / "bar.toml"
    answer = command("new", path, "--out", out, "--explain", "--no-pictures")
    assert answer.returncode == 0, answer.stderr
    assert "the weight lies" in answer.stdout
    assert "guessed, to be confirmed" in answer.stdout
    page = (tmp_path / "bar_check" / "report.html").read_text()
    assert "What rests on a guess" in page
    assert [g.path for g in load(out).guessed if g.path[0] == "cut"] == [
        ("cut", "top", "floor"), ("cut", "top", "stock_mm"), ("cut", "top", "downfeed_mm"),
        ("cut", "top", "cross_feed_mm"),
    ]  # fmt: skip
    again = command("new", path, "--out", out, "--no-pictures")
    assert again.returncode == 2
    assert "exists" in again.stderr


def twenty() -> cq.Compound:
    """Twenty boxes side by side."""
    return cq.Compound.makeCompound([cq.Solid.makeBox(5, 5, 5, cq.Vector(10 * n, 0, 0)) for n in range(20)])


REFUSED = {
    "nothing flat": (lambda: cq.Workplane().sphere(10), (), "piece.step has no flat face and no cylinder"),
    "a sheet": (lambda: cq.Face.makePlane(20, 10), (), "piece.step holds no solid"),
    "twenty solids": (twenty, (), "piece.step holds 20 solids; export one part alone"),
    "larger than any chuck": (
        lambda: cq.Workplane().box(1200, 700, 20), (), "largest chuck is 1000 x 500 mm"
    ),
    "more than go on a chuck": (lambda: cq.Workplane().box(60, 20, 10), ("--count", "200"), "takes 16"),
}  # fmt: skip


@pytest.mark.parametrize(("drawn", "words", "says"), REFUSED.values(), ids=REFUSED)
def test_a_refused_part_is_one_line_and_leaves_nothing(
    drawn: Callable[[], cq.Workplane | cq.Shape], words: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    path = step_of(drawn(), tmp_path / "piece.step")
    answer = command("new", path, *words, "--out", tmp_path / "piece.toml", "--no-pictures")
    assert (answer.returncode, answer.stdout) == (2, "")
    assert answer.stderr.count("\n") == 1
    assert says in answer.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["piece.step"]


def test_whatever_a_name_holds_is_read_back_as_it_was():
    odd = 'two\nlines, a "quote", a \\ and \x00\x7f of \u00e9t\u00e9'
    stated = {"name": odd, odd: [odd, {"\u00e9": 1.5}]}
    rows = [f"{layout.value_text(key)} = {layout.value_text(value)}" for key, value in stated.items()]
    assert tomllib.loads("\n".join(rows)) == stated
