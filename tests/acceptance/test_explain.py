"""`fixturecheck explain` and `fixturecheck schema`: every name is known, and a line of findings is taken."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from fixturecheck.checks import MODULES
from fixturecheck.files import shipped_table
from fixturecheck.report.terminal import SoFar, table
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.schemas import SCHEMAS, shipped
from fixturecheck.setup.schema import RECORD_OF, keys_of
from fixturecheck.shop.catalogue import equipment
from fixturecheck.units import inch_key
from tests.doors import command
from tests.report import staged

MEANS = shipped_table("wording", "kinds")


def explained(*words: str) -> str:
    answer = command("explain", *words)
    assert answer.returncode == 0, answer.stderr
    return answer.stdout


def test_a_key_is_told_with_its_unit_default_range_and_table() -> None:
    told = " ".join(explained("downfeed_mm").split())
    assert told.startswith("downfeed_mm, a key of [[cut]] Depth of one pass. unit: mm default: 0.01 ")
    assert "takes: number; from 0.0001 to 20 in inch units: downfeed_in" in told
    assert explained("cut.downfeed_in") == explained("downfeed_mm")
    assert "must be stated" in explained("mill.teeth")
    assert '"plunge" | "traverse"' in explained("cut.way")


def test_tables_and_keys_of_a_job_are_known() -> None:
    assert explained("operation").startswith("[[operation]], a table of a job\n  One step of the job.")
    assert explained("blank.low_in") == explained("low_mm")
    assert "takes: list of texts" in explained("operation.makes")


def test_every_key_table_and_size_is_known() -> None:
    for name in (*RECORD_OF, "severity", *equipment()):
        assert name in explained(name).splitlines()[0]
    for record in ("cut", "machine.guard", "staging.push", "measurement"):
        for key in keys_of(record):
            for name in (key.name, inch_key(key.name)):
                assert name is None or f"{key.name}, a key of" in explained(f"{record}.{name}")
    assert "a size of magnetic_v_block" in explained("magnetic_v_block.land_mm")


@pytest.mark.parametrize("check", MODULES)
def test_a_check_is_told_with_all_its_sections(check: str) -> None:
    told = explained(check)
    for section in ("What: ", "Why: ", "Formula", "Limit", "Go: ", "No-go: "):
        assert f"\n  {section}" in told
    assert "[@" not in told


def test_every_kind_of_finding_has_a_meaning_and_its_line_in_the_terminal_is_taken() -> None:
    assert set(MEANS) == set(Kind)
    one = staged.result()
    first = replace(one.findings[0], check="clear", verdict=Verdict.NO_GO, value=-2.0, limit=1.0, unit="mm")
    for kind in Kind:
        lines = table(replace(one, findings=(replace(first, kind=kind),), verdict=Verdict.NO_GO)).splitlines()
        row = next(line for line in lines if line.startswith("  1 "))
        told = explained(row)
        assert told.startswith(f"{kind}, a kind of finding\n"), row
        assert "\nclear, a check\n" in told


def test_an_id_is_taken() -> None:
    told = explained("clear/wheel-clearance/block@top")
    assert told.startswith("wheel hits, a kind of finding\n")
    assert "\nwheel clears, a kind of finding\n" in told
    assert "\nclear, a check\n" in told
    assert explained("reach/gouge/gib.floor@top").startswith("gouge, a kind of finding\n")
    assert command("explain", "seat/nothing-of-the-sort/x").returncode == 2


def test_a_line_as_it_is_found_is_taken() -> None:
    heard: list[str] = []
    SoFar(heard.extend).found(replace(staged.result().findings[0], check="seat", verdict=Verdict.NO_GO))
    assert explained(heard[0]).startswith("seat, a check\n")


@pytest.mark.parametrize(
    ("name", "near"),
    [("stok_mm", "'stock_mm'"), ("saet", "'seat'"), ("wheel hit", "'wheel hits'"), ("[[cutt]]", "'cut'")],
)
def test_an_unknown_name_is_answered_with_the_nearest(name: str, near: str) -> None:
    answer = command("explain", *name.split())
    assert answer.returncode == 2
    assert answer.stderr.count("\n") == 1
    assert near in answer.stderr


def test_alone_it_lists_what_there_is() -> None:
    told = " ".join(explained().split())
    for name in (*MODULES, *MEANS, *equipment(), "machine.guard"):
        assert str(name) in told


def test_schemas_are_put_beside_the_set_ups(tmp_path: Path) -> None:
    answer = command("schema", tmp_path)
    assert answer.returncode == 0
    assert "files begin with #:schema ./setup.schema.json" in answer.stdout
    for name in SCHEMAS:
        assert (tmp_path / name).read_bytes() == shipped(name).read_bytes()
    old = {**json.loads(shipped("setup.schema.json").read_text()), "properties": {}}
    (tmp_path / "setup.schema.json").write_text(json.dumps(old))
    assert command("schema", tmp_path).returncode == 0
    assert (tmp_path / "setup.schema.json").read_bytes() == shipped("setup.schema.json").read_bytes()
    assert [Path(line).name for line in command("schema").stdout.split()] == list(SCHEMAS)


def test_a_file_of_somebody_elses_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "shop.schema.json").write_text("{}")
    answer = command("schema", tmp_path)
    assert answer.returncode == 2
    assert "exists and is no schema of fixturecheck" in answer.stderr
    assert (tmp_path / "shop.schema.json").read_text() == "{}"
    assert command("schema", tmp_path / "nowhere").returncode == 2
