"""`fixturecheck relieve` from the command line: the pawl's heel, and set-ups where it cannot help."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

MODELS = Path(__file__).resolve().parents[2] / "models"


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "fixturecheck", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


@pytest.mark.parametrize(
    "name", ["index_pawl/rev_a_staged.py", "index_pawl/rev_a_staged.toml", "keeper/ledge.py"]
)
def test_the_relief_is_r_less_h_on_every_copy_and_the_relieved_part_is_go(name, tmp_path):
    out = tmp_path / "out"
    done = run("relieve", str(MODELS / name), "--out", str(out))
    assert done.returncode == 0, done.stderr
    (relief,) = json.loads((out / "reliefs.json").read_text())["reliefs"]
    # A corner 0.2 over the shelf beside a fillet of 1.0: what is between must go, r - h.
    assert relief["size_mm"] == [0.8, 0.8]
    assert relief["kind"] == "chamfer"
    assert ".chamfer(0.80)" in relief["line"]
    assert len(relief["bodies"]) == (1 if name.startswith("keeper") else 4)
    assert len(list((out / "parts").glob("*.step"))) == 1
    # A second run replaces the first.
    assert run("relieve", str(MODELS / name), "--out", str(out)).returncode == 0


@pytest.mark.parametrize(("leg", "code"), [("0.8", 0), ("0.72", 1)])
def test_the_leg_named_makes_the_check_go_and_nine_tenths_of_it_do_not(leg, code, tmp_path):
    done = run(
        "check", str(MODELS / "index_pawl/rev_a_staged.py"), "--set", f"heel_mm={leg}",
        "--no-pictures", "--out", str(tmp_path / "out"),
    )  # fmt: skip
    assert done.returncode == code, done.stderr
    rest = json.loads((tmp_path / "out" / "result.json").read_text())["rest"]
    assert rest["ending"] == "rest"


def test_a_keeper_with_a_low_lip_is_no_go_and_its_rest_is_in_the_result(tmp_path):
    done = run("check", str(MODELS / "keeper/ledge.py"), "--no-pictures", "--out", str(tmp_path / "out"))
    assert done.returncode == 1, done.stderr
    result = json.loads((tmp_path / "out" / "result.json").read_text())
    found = [f for f in result["findings"] if f["check"] == "rest" and f["subject"] == "keeper"]
    # r - sqrt(r^2 - (r - h)^2) with r = 1 and h = 0.2.
    assert found[0]["verdict"] == "no-go"
    assert found[0]["value"] == pytest.approx(400.0, abs=4.0)


@pytest.mark.parametrize(
    ("override", "says"),
    [
        ("staging.order=['pawl_1', 'pawl_9']", "no loose part is named 'pawl_9'"),
        ("staging.order=['pawl_1', 'pawl_1']", "each part is placed once"),
        ("staging.approach_mm=-1", "staging, approach_mm"),
        ("relief.min_wall_mm=-1", "relief, min_wall_mm"),
    ],
)
def test_staging_and_relief_that_cannot_be_are_one_plain_line(override, says, tmp_path):
    done = run(
        "relieve",
        str(MODELS / "index_pawl/rev_a_staged.toml"),
        "--set",
        override,
        "--out",
        str(tmp_path / "out"),
    )
    assert done.returncode == 2
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()
