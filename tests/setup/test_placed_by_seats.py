"""Set-ups whose bodies are placed by their seats: poses as worked out by hand, and what is refused."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import cadquery as cq
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import SetupError
from fixturecheck.kernel.place import matrix_of, translation
from fixturecheck.nesting.model import settling_model_of
from fixturecheck.nesting.settle import (
    loads_of,
    loose_of,
    moved_back,
    ranks_of,
    retreats_of,
    settle_setup,
    settle_together,
)
from fixturecheck.result.contact import ContactKind
from fixturecheck.setup.load import load
from fixturecheck.setup.model import Setup
from fixturecheck.setup.placed import place_by_seats
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.statics.rest import Bounds
from tests.doors import command

MODELS = Path(__file__).parents[2] / "models"
SAME_MM = 1e-6

HEAD = """
[[equipment]]
kind = "flat_magnetic_chuck"
name = "chuck"

[[equipment]]
kind = "blocking_block"
name = "stop"
at = [-75, 65, 0]
params = { length_mm = 40, width_mm = 20, height_mm = 6, chamfer_mm = 0 }
"""
BODY = """
[[body]]
name = "gib"
file = "gib.step"
faces = { under = "<Z", back = ">Y", left = "<X", right = ">X", floor = ">Z" }
"""
SEATS = {
    "floor": '{ face = "under", on = "chuck_plate", on_face = "top" }',
    "fence": '{ face = "back", on = "chuck_back_rail", on_face = "fence" }',
    "stop": '{ face = "left", on = "stop", on_face = "plus_x", rank = "stop", min_share = 0.1 }',
}


def seats(*names: str) -> str:
    return "seats = [" + ", ".join(SEATS[n] for n in names) + "]\n"


THREE = seats("floor", "fence", "stop")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the part: 30 x 12 x 8 mm, its origin in a corner that is nowhere near its seats."""
    found = tmp_path_factory.mktemp("seats")
    part = cq.Workplane().box(30, 12, 8, centered=False).translate((100, 7, -3))
    cq.exporters.export(part, str(found / "gib.step"))
    return found


def read(folder: Path, text: str, **overrides: str) -> Setup:
    path = folder / "one.toml"
    path.write_text(text)
    return load(path, {key.replace("__", "."): value for key, value in overrides.items()})


def refused(folder: Path, text: str) -> str:
    with pytest.raises(SetupError) as caught:
        read(folder, text)
    (line,) = caught.value.problems
    return line


def corner(setup: Setup, name: str) -> tuple[float, ...]:
    """Return the least x, y and z of a body where it stands."""
    body = setup.body(name)
    box = body.solid.moved(body.at).BoundingBox(tolerance=1e-9)
    return tuple(round(v, 6) for v in (box.xmin, box.ymin, box.zmin))


def poses(setup: Setup) -> dict[str, Any]:
    return {b.name: matrix_of(b.at) for b in setup.bodies}


def test_a_block_on_the_chuck_against_the_rail_up_to_a_stop(folder: Path) -> None:
    """By hand: the fence is at y = 75, the stop ends at x = -55, the chuck's top is z = 0."""
    setup = read(folder, HEAD + BODY + seats("floor", "fence", "stop"))
    assert corner(setup, "gib") == (-55.0, 63.0, 0.0)
    assert [(s.face, s.rank, s.min_share) for s in setup.seats] == [
        ("under", "primary", 0.5), ("back", "secondary", 0.5), ("left", "stop", 0.1),
    ]  # fmt: skip


def test_seats_in_tables_of_their_own_place_a_body_that_states_no_place(folder: Path) -> None:
    apart = "".join(
        f"\n[[seat]]\nbody = 'gib'\n{SEATS[n].strip('{} ').replace(', ', chr(10))}\nrank = '{rank}'\n"
        for n, rank in (("floor", "primary"), ("fence", "secondary"))
    )
    apart += "\n[[seat]]\nbody = 'gib'\n" + SEATS["stop"].strip("{} ").replace(", ", "\n")
    setup = read(folder, HEAD + BODY + apart)
    assert corner(setup, "gib") == (-55.0, 63.0, 0.0)
    assert len(setup.seats) == 3


def test_what_is_left_free_is_stated(folder: Path) -> None:
    """By hand: the middle of the chuck is x = 0, y = 0; the part is 30 x 12 mm."""
    setup = read(folder, HEAD + BODY + seats("floor", "fence") + "along_mm = 20\n")
    assert corner(setup, "gib") == (5.0, 63.0, 0.0)
    setup = read(folder, HEAD + BODY + seats("floor") + "along_in = [0, 1]\nturn_deg = 90\n")
    assert corner(setup, "gib") == (-6.0, 10.4, 0.0)
    gap = seats("floor", "fence", "stop").replace('rank = "stop"', 'rank = "stop", gap_mm = 3')
    setup = read(folder, HEAD + BODY + gap)
    assert corner(setup, "gib") == (-52.0, 63.0, 0.0)
    assert [s.face for s in setup.seats] == ["under", "back"]


def test_a_gang_stands_a_pitch_apart_from_the_stop_on(folder: Path) -> None:
    cut = '\n[[cut]]\nname = "top"\nparts = ["gib"]\nfloor = "floor"\n'
    push = '\n[staging]\norder = ["gib"]\n[staging.push.gib]\ndirection = [-1, 1, 0]\n'
    text = HEAD + BODY + "count = 3\npitch_mm = 32\n" + seats("floor", "fence", "stop") + cut + push
    setup = read(folder, text)
    names = tuple(f"gib_{n}" for n in (1, 2, 3))
    assert [corner(setup, n) for n in names] == [(x, 63.0, 0.0) for x in (-55.0, -23.0, 9.0)]
    assert setup.cuts[0].parts == names
    assert setup.staging is not None
    assert setup.staging.order == names
    assert tuple(setup.staging.push) == names
    assert [s.body for s in setup.seats if s.rank == "stop"] == ["gib_1"]
    assert (
        len(
            list(
                read(
                    folder,
                    text,
                    body__gib__count="2",
                ).parts()
            )
        )
        == 2
    )


@pytest.mark.parametrize(
    "nest",
    [
        'against = "right"\n',
        'against = "right"\npitch = "nest"\n',
        'seats = [{ face = "left", on_face = "right", rank = "nest" }, ',
    ],
)
def test_a_gang_nests_face_on_face(folder: Path, nest: str) -> None:
    three = seats("floor", "fence", "stop")
    stated = nest + three.removeprefix("seats = [") if nest.startswith("seats") else nest + three
    setup = read(folder, HEAD + BODY + "count = 4\n" + stated)
    assert [corner(setup, f"gib_{n}")[0] for n in (1, 2, 3, 4)] == [-55.0, -25.0, 5.0, 35.0]
    nests = [(s.body, s.face, s.on, s.on_face) for s in setup.seats if s.rank == "nest"]
    assert nests == [(f"gib_{n}", "left", f"gib_{n - 1}", "right") for n in (2, 3, 4)]


def test_a_wrong_face_in_the_seats_of_a_gang_is_told_once(folder: Path) -> None:
    stated = "count = 4\nagainst = 'right'\n" + seats("floor", "fence", "stop").replace("under", "undr")
    assert "body 'gib_1' has no face 'undr'; did you mean 'under'?" in refused(folder, HEAD + BODY + stated)
    stated = "count = 4\nagainst = 'rigt'\n" + seats("floor", "fence", "stop")
    assert "body 'gib_1' has no face 'rigt'; did you mean 'right'?" in refused(folder, HEAD + BODY + stated)


END = """
[[equipment]]
kind = "blocking_block"
name = "end"
params = { length_mm = 30, chamfer_mm = 0 }
seats = [
    { face = "base", on = "chuck_plate", on_face = "top" },
    { face = "plus_y", on = "chuck_back_rail", on_face = "fence" },
"""


def test_blocking_is_placed_by_its_seats_too(folder: Path) -> None:
    """By hand: the block, 25 mm wide, stands against the fence, its face toward -X on the gib's right end."""
    own = '{ face = "minus_x", on = "gib", on_face = "right", rank = "stop" }]\n'
    theirs = ', { face = "right", on = "end", on_face = "minus_x", rank = "stop" }]\n'
    for text in (END + own + HEAD + BODY + THREE, HEAD + BODY + THREE.replace("]\n", theirs) + END + "]\n"):
        setup = read(folder, text)
        assert corner(setup, "end") == (-25.0, 50.0, 0.0)
        assert corner(setup, "gib") == (-55.0, 63.0, 0.0)


@pytest.mark.parametrize(
    ("stated", "line", "says"),
    [
        (
            seats("floor", "fence"),
            12,
            "'gib' is not located by its seats: it slides along X; state one more seat, along_mm, or at",
        ),
        (
            seats("floor"),
            12,
            "'gib' is not located by its seats: it slides along X and slides along Y and turns about Z; "
            "state one more seat, along_mm and turn_deg, or at",
        ),
        (THREE + "along_mm = 3\n", 12, "'gib': its seats leave no slide; leave along_mm out"),
        (
            THREE + "at = [0, 0, 0]\n",
            17,
            "[[body]] 'gib' states at, and seats to be placed by its seats; keep one",
        ),
        ("count = 3\n", 12, "[[body]] 'gib' states no seats to be placed by; state seats, or at"),
        (
            "count = 3\n" + THREE,
            12,
            "[[body]] 'gib': say where each next one stands: against = the face of the one before that it "
            "lands on, or pitch_mm",
        ),
        ("count = 0\npitch_mm = 3\n" + THREE, 16, "count in [[body]] 'gib': must be from 1 to 500; got 0"),
        (
            "count = 9\npitch_mm = 31\n" + THREE,
            16,
            "'gib': 9 do not fit on chuck_plate.top: gib_8 reaches over its end with 100% of its seat; "
            "at most 7 fit",
        ),
        (
            THREE.replace('"left"', '"lefty"'),
            12,
            "seat of 'gib' on 'stop': body 'gib' has no face 'lefty'; did you mean 'left'?",
        ),
        (
            THREE.replace("]\n", ', { face = "right", on = "stop", on_face = "minus_x", rank = "stop" }]\n'),
            12,
            "gib.right on stop.minus_x contradicts gib.left on stop.plus_x: the faces are 70 mm into each "
            "other",
        ),
    ],
)
def test_what_cannot_be_placed_is_refused_in_one_line(
    folder: Path, stated: str, line: int, says: str
) -> None:
    assert refused(folder, HEAD + BODY + stated) == f"one.toml, line {line}: {says}"


def test_the_command_says_it_in_that_line_and_writes_nothing(folder: Path) -> None:
    (folder / "one.toml").write_text(HEAD + BODY + seats("floor", "fence"))
    answer = command("check", folder / "one.toml", "--out", folder / "out")
    assert (answer.returncode, answer.stdout, answer.stderr.count("\n")) == (2, "", 1)
    assert "'gib' is not located by its seats: it slides along X" in answer.stderr
    assert not (folder / "out").exists()


def _without_places(text: str) -> str:
    """Take the place of every part out of a set-up."""
    head, *bodies = re.split(r"(?=^\[\[body\]\])", text, flags=re.MULTILINE)
    return head + "".join(re.sub(r"^(at|rotate) = .*\n", "", b, count=1, flags=re.MULTILINE) for b in bodies)


STATED = [
    p for p in sorted(MODELS.glob("*/*.toml")) if "_by_seats" not in p.name and not p.stem.startswith("job")
]
"""Parts of a job stand as the job states them."""
ON_EDGES = ("on_edge", "on_edge_held")
"""A narrow edge in a V touches neither flank with its face, which is what these show."""
IN_VISE = ("in_vise", "in_vise_clamped", "milled")
"""A vise leaves the part where it is put along the jaws."""


@pytest.mark.parametrize("path", STATED, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_the_parts_of_the_models_stand_where_their_seats_put_them(path: Path, tmp_path: Path) -> None:
    for part in path.parent.glob("*.step"):
        (tmp_path / part.name).symlink_to(part)
    one = tmp_path / "one.toml"
    one.write_text(_without_places(path.read_text()))
    if path.stem in ON_EDGES:
        with pytest.raises(
            SetupError, match=r"right_flank contradicts .* the faces stand 90 deg to each other"
        ):
            load(one)
        return
    if path.stem in IN_VISE:
        with pytest.raises(SetupError, match="'link' is not located by its seats: it slides along X;"):
            load(one)
    overrides = {"body.link.along_mm": "0"} if path.stem in IN_VISE else {}
    there, found = poses(load(path)), poses(load(one, overrides))
    assert set(there) == set(found)
    for name, matrix in found.items():
        assert np.allclose(matrix, there[name], atol=SAME_MM), name


def test_the_pawls_placed_by_seats_are_the_set_up_with_places() -> None:
    by_places, by_seats = (load(MODELS / "index_pawl" / f"{n}.toml") for n in ("rev_a", "rev_a_by_seats"))
    assert sorted(by_seats.seats, key=str) == sorted(by_places.seats, key=str)
    assert by_seats.cuts == by_places.cuts
    there = poses(by_places)
    for name, matrix in poses(by_seats).items():
        assert np.allclose(matrix, there[name], atol=SAME_MM), name


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.permutations(range(4)), seat_order=st.permutations(range(3)))
def test_the_order_of_the_entries_changes_no_place(
    folder: Path, order: list[int], seat_order: list[int]
) -> None:
    """A chain of four entries, each on the next: the chuck, a block, a gib up to it, a block up to that."""
    chuck, stop = (f"\n[[equipment]]{entry}" for entry in HEAD.split("[[equipment]]")[1:])
    ranked = [
        SEATS["floor"].replace(" }", ', rank = "primary" }'),
        SEATS["fence"].replace(" }", ', rank = "secondary" }'),
        SEATS["stop"],
    ]
    shuffled = "seats = [" + ", ".join(ranked[k] for k in seat_order) + "]\n"
    up_to = '{ face = "minus_x", on = "gib", on_face = "right", rank = "stop" }]\n'
    entries = [chuck, stop, BODY + shuffled, END + up_to]
    setup = read(folder, "".join(entries[k] for k in order))
    assert corner(setup, "gib") == (-55.0, 63.0, 0.0)
    assert corner(setup, "end") == (-25.0, 50.0, 0.0)


def test_what_is_placed_by_its_seats_rests_there(folder: Path) -> None:
    """Parts let down from 2 mm away come back to within 0.1 um of where their seats put them."""
    push = '\n[staging.push."*"]\ndirection = [-1, 0.5, 0]\n'
    text = HEAD + BODY + "count = 3\n" + 'against = "right"\n' + THREE + push
    flat = read(folder, text)
    round_ = cq.Workplane("XY").circle(16).extrude(40)
    cq.exporters.export(round_, str(folder / "pin.step"))
    pin = read(folder, PIN)
    pawls = load(MODELS / "index_pawl/rev_a_by_seats.toml", {"body.pawl.file": "pawl_b.step"})
    for setup in (flat, pin, pawls):
        bench = settling_model_of(setup)
        staging = setup.staging or Staging(push={"*": Push(direction=(-1, 0, 0))})
        loads = loads_of(bench, staging, loose_of(bench, staging))
        away = moved_back(
            bench.drawn, retreats_of(loads, ranks_of(bench, staging, loads), staging.approach_mm)
        )
        rest = settle_together(bench, loads, away, Bounds(approach_mm=staging.approach_mm))
        assert np.abs(rest.poses.origin_mm - bench.drawn.origin_mm).max() < 1e-4


PIN = """
[[equipment]]
kind = "magnetic_v_block"
name = "vee"
params = { land_mm = 16 }

[[equipment]]
kind = "blocking_block"
name = "stop"
params = { length_mm = 20, width_mm = 30, height_mm = 12 }
along_mm = [-45, 5]
turn_deg = 0
seats = [{ face = "base", on = "vee_left", on_face = "land" }]

[[body]]
name = "pin"
file = "pin.step"
faces = { round = "%CYLINDER", end = "<Z" }
seats = [
    { face = "round", on = "vee_left", on_face = "left_flank" },
    { face = "round", on = "vee_right", on_face = "right_flank" },
    { face = "end", on = "stop", on_face = "plus_x", rank = "stop" },
]

[staging.push.pin]
direction = [-1, 0, 0]
"""


def test_a_script_places_its_parts_by_their_seats(folder: Path) -> None:
    """By hand, as above; the same function serves what a script states."""
    setup = read(folder, HEAD + BODY + THREE)
    lost = [replace(b, at=translation((3.0, 4.0, 5.0))) if b.name == "gib" else b for b in setup.bodies]
    placed = place_by_seats(lost, setup.seats)
    assert [matrix_of(b.at).tolist() for b in placed] == [matrix_of(b.at).tolist() for b in setup.bodies]
    with pytest.raises(SetupError, match="'gib' is not located by its seats: it slides along X"):
        place_by_seats(lost, setup.seats[:2])
    middle = place_by_seats(lost, setup.seats[:2], along_mm={"gib": 0.0})
    assert corner(replace(setup, bodies=middle), "gib") == (-15.0, 63.0, 0.0)
    with pytest.raises(SetupError, match=r"place_by_seats: no body is named 'gip'; did you mean 'gib'\?"):
        place_by_seats(lost, setup.seats, names=["gip"])


CONE = """
[[equipment]]
kind = "magnetic_v_block"
name = "vee"
params = { land_mm = 16 }

[[body]]
name = "cone"
file = "cone.step"
rotate = [["y", 90]]
faces = { side = { near = [6.9, 0, 15] } }
along_mm = 5
seats = [
    { face = "side", on = "vee_left", on_face = "left_flank" },
    { face = "side", on = "vee_right", on_face = "right_flank" },
]
[staging]
"""


def test_a_cone_in_a_v_block_touches_both_flanks_and_stays_there(folder: Path) -> None:
    """Closed form: 5 degrees a side in a trough of 90 degrees rises by asin(sin 5 / sin 45) along it."""
    taper = math.tan(math.radians(5.0))
    frustum = cq.Solid.makeCone(6.9 - 15 * taper, 6.9 + 15 * taper, 30)
    cq.exporters.export(cq.Workplane(frustum), str(folder / "cone.step"))
    setup = read(folder, CONE)
    at = matrix_of(setup.body("cone").at)
    rise = math.asin(math.sin(math.radians(5.0)) / math.sin(math.radians(45.0)))
    assert np.abs(at[:3, 2]) == pytest.approx((math.cos(rise), 0.0, math.sin(rise)), abs=1e-9)
    found = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    touch = {str(p.contact.a) + str(p.contact.b) for p in found.patches if p.contact.kind == ContactKind.LINE}
    assert len([one for one in touch if "cone.side" in one]) == 2
    assert not found.overlaps
    rest = settle_setup(setup, setup.staging)
    assert rest.rests
    assert np.abs(rest.poses["cone"].shift_mm).max() < 1e-4


@pytest.mark.parametrize(
    ("drawn", "says"),
    [
        ("cone", "side (a cone of 10 degrees) cannot lie on sink (a countersink of 40 degrees)"),
        ("oval", "cone.side is a free-form face, which no part is placed by; state at"),
    ],
)
def test_what_has_no_pose_by_its_seat_is_one_plain_line(folder: Path, drawn: str, says: str) -> None:
    sink = cq.Workplane(cq.Solid.makeCone(2, 2 + 20 * TAN_20, 20)).translate((0, 0, -10))
    block = cq.Workplane().box(60, 60, 20).cut(sink)
    cq.exporters.export(block, str(folder / "sunk.step"))
    solid = cq.Solid.makeCone(6, 6 + 30 * math.tan(math.radians(5.0)), 30)
    if drawn == "oval":
        solid = cq.Workplane().ellipse(7.3, 5.0).extrude(30).val()
    cq.exporters.export(cq.Workplane(solid), str(folder / "cone.step"))
    text = (
        CONE.split("[[body]]", maxsplit=1)[0]
        + """
[[body]]
name = "block"
file = "sunk.step"
role = "fixture"
faces = { sink = { near = [5.7, 0, 0] } }

[[body]]
name = "cone"
file = "cone.step"
faces = { side = { near = [7.3, 0, 15] } }
seats = [{ face = "side", on = "block", on_face = "sink" }]
"""
    )
    with pytest.raises(SetupError, match=re.escape(says)):
        read(folder, text)


TAN_20 = math.tan(math.radians(20.0))
