"""`fixturecheck relieve` from the command line: the pawl's heel, and set-ups where it cannot help."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from tests.doors import command

pytestmark = pytest.mark.slow

MODELS = Path(__file__).resolve().parents[2] / "models"


@pytest.mark.parametrize(
    "name", ["index_pawl/rev_a_staged.py", "index_pawl/rev_a_staged.toml", "keeper/ledge.py"]
)
def test_the_relief_is_r_less_h_on_every_copy_and_the_relieved_part_is_go(name, tmp_path):
    out = tmp_path / "out"
    done = command("relieve", str(MODELS / name), "--out", str(out))
    assert done.returncode == 0, done.stderr
    (relief,) = json.loads((out / "reliefs.json").read_text())["reliefs"]
    # A corner 0.2 over the shelf beside a fillet of 1.0: what is between must go, r - h.
    assert relief["size_mm"] == [0.8, 0.8]
    assert relief["kind"] == "chamfer"
    assert ".chamfer(0.80)" in relief["line"]
    assert len(relief["bodies"]) == (1 if name.startswith("keeper") else 4)
    assert len(list((out / "parts").glob("*.step"))) == 1
    if name.startswith("keeper"):
        # A second run replaces the first.
        assert command("relieve", str(MODELS / name), "--out", str(out)).returncode == 0


@pytest.mark.parametrize(("leg", "code"), [("0.8", 0), ("0.72", 1)])
def test_the_leg_named_makes_the_check_go_and_nine_tenths_of_it_do_not(leg, code, tmp_path):
    done = command(
        "check", str(MODELS / "index_pawl/rev_a_staged.py"), "--set", f"heel_mm={leg}",
        "--no-pictures", "--out", str(tmp_path / "out"),
    )  # fmt: skip
    assert done.returncode == code, done.stderr
    rest = json.loads((tmp_path / "out" / "result.json").read_text())["rest"]
    assert rest["ending"] == "rest"


def test_a_keeper_with_a_low_lip_is_no_go_and_its_rest_is_in_the_result(tmp_path):
    done = command("check", str(MODELS / "keeper/ledge.py"), "--no-pictures", "--out", str(tmp_path / "out"))
    assert done.returncode == 1, done.stderr
    result = json.loads((tmp_path / "out" / "result.json").read_text())
    found = [f for f in result["findings"] if f["check"] == "rest" and f["subject"] == "keeper"]
    # r - sqrt(r^2 - (r - h)^2) with r = 1 and h = 0.2.
    assert found[0]["verdict"] == "no-go"
    assert found[0]["value"] == pytest.approx(400.0, abs=4.0)
    schema = files("fixturecheck.report").joinpath("result.schema.json").read_text(encoding="utf-8")
    jsonschema.validate(result, json.loads(schema))
    # The way in that the page plays ends where the part rests.
    (way,), (part,) = result["rest"]["ways_in"], result["rest"]["parts"]
    assert way["body"] == part["body"] == "keeper"
    assert [v["step"] for v in way["visited"]] == sorted(v["step"] for v in way["visited"])
    assert way["visited"][-1]["shift_mm"] == pytest.approx(part["shift_mm"], abs=1e-6)
    assert way["visited"][-1]["turn_deg"] == pytest.approx(part["turn_deg"], abs=1e-6)


LEDGE = """
import cadquery as cq
from fixturecheck import Push, Seat, Setup, Staging, body

gap_um = 4.5
zone_um = 12.0
function = 0.0
table = cq.Workplane().box(99, 99, 20).translate((0, 0, -10))
stop = cq.Workplane().box(10, 99, 40).translate((-5, 0, 20))
slot = cq.Workplane().box(2e-3 * gap_um, 40, 12).translate((0, 0, 16))
block = cq.Workplane().box(30, 20, 20).translate((15, 0, 10)).cut(slot)
setup = Setup(
    name="ledge",
    bodies=(
        body("table", table, role="fixture", faces={"top": ">Z"}),
        body("stop", stop, role="fixture", faces={"face": ">X"}),
        body(
            "block", block, faces={"base": "<Z", "back": (0, 0, 5), "tab": (1e-3 * gap_um, 0, 15)},
            no_function=() if function else ("tab",),
            tolerance_mm={"back": 1e-3 * zone_um, "tab": 1e-3 * zone_um}, orientation_mm=0.0,
        ),
    ),
    seats=(
        Seat(body="block", face="base", on="table", on_face="top"),
        Seat(body="block", face="back", on="stop", on_face="face", rank="secondary"),
    ),
    staging=Staging(push={"block": Push(direction=(-1, 0, 0))}),
)
"""


@pytest.mark.parametrize(
    ("override", "code", "says"),
    [
        # Two zones of 12 um differ by more than the 4.5 um drawn in one draw of eighteen; 7.5 um are short.
        ("zone_um=12", 0, "0.01 mm setback on tab of block"),
        ("function=1", 1, "block.tab would have to give"),
        ("zone_um=40000", 2, "tolerances of block reach through the wall of 30 mm behind"),
    ],
)
def test_what_lands_only_within_tolerances_is_relieved_or_told_in_a_plain_sentence(
    override, code, says, tmp_path
):
    script = tmp_path / "ledge.py"
    script.write_text(LEDGE)
    done = command("relieve", str(script), "--set", override, "--out", str(tmp_path / "out"), "--quiet")
    assert done.returncode == code, done.stderr
    assert says in (done.stderr if code == 2 else done.stdout)
    if code == 2:
        assert len(done.stderr.strip().splitlines()) == 1
    if code == 0:
        (relief,) = json.loads((tmp_path / "out" / "reliefs.json").read_text())["reliefs"]
        assert relief["share_lands"] == pytest.approx(0.056, abs=0.01)


@pytest.mark.parametrize(
    ("override", "says"),
    [
        ("staging.order=['pawl_1', 'pawl_9']", "no loose part is named 'pawl_9'"),
        ("staging.order=['pawl_1', 'pawl_1']", "each part is placed once"),
        ("staging.approach_mm=-1", "approach_mm in [staging]: must be from 0.001 to 100; got -1"),
        ("relief.min_wall_mm=-1", "min_wall_mm in [relief]: must be from 0 to 1000; got -1"),
    ],
)
def test_staging_and_relief_that_cannot_be_are_one_plain_line(override, says, tmp_path):
    done = command(
        "relieve",
        str(MODELS / "index_pawl/rev_a_staged.toml"),
        "--set",
        override,
        "--out",
        str(tmp_path / "out"),
        "--quiet",
    )
    assert done.returncode == 2
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()
