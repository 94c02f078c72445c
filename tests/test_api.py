"""The package from outside: its names, a report written from Python, and a user's own test of a set-up."""

from __future__ import annotations

import ast
import dataclasses
import importlib
import json
from pathlib import Path

import cadquery as cq
import pytest

import fixturecheck as fc
from fixturecheck.result.finding import Group, Kind
from tests.checks.gauged import body, on
from tests.contact.staging import block, plate
from tests.meta.source import ROOT
from tests.meta.test_layers import ALLOWED

STUB = ROOT / "fixturecheck" / "__init__.pyi"


def names_in_the_stub() -> dict[str, str]:
    """Each public name and the module that it comes from."""
    found = {}
    for node in ast.parse(STUB.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom):
            found.update((alias.name, node.module or alias.name) for alias in node.names)
    return found


NAMES = names_in_the_stub()


@pytest.mark.parametrize(
    "name",
    [
        "Result", "Finding", "Verdict", "FixturecheckError", "SetupError", "NotComputedError", "KernelError",
        "write_report", "relieve",
    ],
)  # fmt: skip
def test_name_is_public(name: str) -> None:
    assert name in fc.__all__


def test_a_star_import_leaves_the_usual_name_of_cadquery_alone() -> None:
    scope: dict[str, object] = {}
    exec("import cadquery as cq\nfrom fixturecheck import *", scope)  # noqa: S102 -- the line of a script
    assert scope["cq"] is cq
    assert scope["Setup"] is fc.Setup


@pytest.mark.parametrize("name", NAMES)
def test_public_name_is_what_its_home_defines(name: str) -> None:
    home = importlib.import_module(f"fixturecheck.{NAMES[name]}")
    assert getattr(fc, name) is (home if NAMES[name] == name else getattr(home, name))


def test_each_public_name_is_stated_once() -> None:
    stated = [
        a.asname for n in ast.parse(STUB.read_text()).body if isinstance(n, ast.ImportFrom) for a in n.names
    ]
    modules = [name for name, home in NAMES.items() if home == name]
    assert sorted(stated) == sorted([*fc.__all__, *modules])
    runtime = (ROOT / "fixturecheck" / "__init__.py").read_text(encoding="utf-8")
    assert [name for name in stated if f'"{name}"' in runtime] == []


def test_public_names_come_from_where_the_package_may_import() -> None:
    assert {home.split(".")[0] for home in NAMES.values()} - ALLOWED["__init__"] == set()


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = fc.no_such_name


def setup_of(gap_mm: float = 0.0, at_x: float = 0.0) -> fc.Setup:
    """A 20 x 10 x 5 block over a plate, its bottom seated on the top."""
    return fc.Setup(
        name="block on a plate",
        bodies=[
            dataclasses.replace(body("chuck", plate(), role="fixture"), at=cq.Location()),
            body("part", block(20, 10, 5, (at_x, 0, gap_mm))),
        ],
        seats=[on("part", "bottom", "chuck", "top")],
    )


@pytest.fixture(scope="module")
def seated() -> fc.Result:
    return fc.check(setup_of(), only=["seat"])


def test_write_report_writes_the_folder_of_the_command_line(seated: fc.Result, tmp_path: Path) -> None:
    assert fc.write_report(seated, tmp_path / "out", pictures=False) is None
    written = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert written == ["report.html", "result.json", "setup.step", "stl"]
    assert json.loads((tmp_path / "out" / "result.json").read_text())["verdict"] == "go"
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "block on a plate" in page


def test_write_report_replaces_a_report_and_nothing_else(seated: fc.Result, tmp_path: Path) -> None:
    out = tmp_path / "out"
    fc.write_report(seated, out, pictures=False)
    (out / "result.json").write_text((out / "result.json").read_text() + "\n")
    fc.write_report(seated, str(out), pictures=False)
    assert not (out / "result.json").read_text().endswith("\n\n")
    (out / "drawing.dwg").write_text("mine")
    with pytest.raises(fc.SetupError, match=r"holds drawing\.dwg"):
        fc.write_report(seated, out, pictures=False)


def test_write_report_refuses_a_result_without_its_setup(seated: fc.Result, tmp_path: Path) -> None:
    with pytest.raises(fc.SetupError, match="carries no set-up"):
        fc.write_report(dataclasses.replace(seated, setup=None), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_assert_go_returns_the_result_of_a_setup_that_is_go() -> None:
    result = fc.testing.assert_go(setup_of(), only=["seat"])
    assert result.verdict is fc.Verdict.GO


def test_assert_go_lists_what_is_not_go_and_how_to_cure_it() -> None:
    with pytest.raises(AssertionError) as failed:
        fc.testing.assert_go(setup_of(gap_mm=0.08), only=["seat"])
    lines = str(failed.value).splitlines()
    assert lines[0] == "block on a plate: no-go"
    assert lines[1].startswith("  no-go  seat: part.bottom on chuck.top: ")
    assert "80 µm" in lines[1]
    assert "  go  " not in str(failed.value)


def test_assert_go_tells_like_findings_of_a_gang_as_one() -> None:
    def like(one: str, other: str) -> fc.Finding:
        return fc.Finding(
            check="nest",
            verdict=fc.Verdict.NO_GO,
            subject=f"{one}.back on {other}.nest",
            about=(f"{one}.back", f"{other}.nest"),
            kind=Kind.OPEN,
            value=0.4,
            unit="mm",
            limit=0.001,
            says=f"{one} stays open.",
            remedy="Break the edge.",
        )

    findings = tuple(like(f"pawl_{n + 1}", f"pawl_{n}") for n in range(1, 4))
    result = fc.Result(
        verdict=fc.Verdict.NO_GO, name="gang", units="mm", sources=(), contacts=(), cuts=(), shapes=(),
        findings=findings, groups=(Group(lead=0, like=(1, 2)),),
    )  # fmt: skip
    with pytest.raises(AssertionError) as failed:
        fc.testing.assert_go(result)
    (_, told) = str(failed.value).splitlines()
    assert told.replace("\u202f", " ") == (
        "  no-go  nest: back of pawl_2 to pawl_4 (3 alike): Three nests, of pawl_2 to pawl_4, "
        "stay open by 0.4 mm. Change: Break the edge."
    )
    with pytest.raises(AssertionError, match=r"pawl_2 and pawl_4 \(2 alike\)"):
        fc.testing.assert_go(result, but=["nest/gap/pawl_3*"])


def test_one_value_for_all_faces_of_a_body_is_refused_in_a_line() -> None:
    with pytest.raises(fc.SetupError, match=r"^body .block.: finish holds a value by face"):
        fc.Body(name="block", solid=None, finish="ground")


def test_assert_go_passes_a_caution_only_where_told() -> None:
    # 40 % of the bottom is over the plate, whose edge is at x = 50; half is asked.
    result = fc.check(setup_of(at_x=52.0), only=["seat"])
    assert result.verdict is fc.Verdict.CAUTION
    with pytest.raises(AssertionError, match=r"caution  seat: part\.bottom.* Change: "):
        fc.testing.assert_go(result)
    assert fc.testing.assert_go(result, allow_caution=True) is result


@pytest.mark.parametrize("allow_caution", [False, True])
def test_assert_go_fails_on_unknown(seated: fc.Result, allow_caution: bool) -> None:
    lost = fc.Finding(check="hold", verdict=fc.Verdict.UNKNOWN, subject="part", says="Could not be computed.")
    result = dataclasses.replace(seated, verdict=fc.Verdict.UNKNOWN, findings=(*seated.findings, lost))
    with pytest.raises(AssertionError, match=r"unknown  hold: part: Could not be computed\."):
        fc.testing.assert_go(result, allow_caution=allow_caution)


def test_assert_go_fails_where_a_check_that_is_named_was_not_asked() -> None:
    with pytest.raises(AssertionError, match=r"not asked  hold: not stated \(\[holding\]\)"):
        fc.testing.assert_go(setup_of(), only=["seat", "hold"])


def test_assert_go_reads_a_file(tmp_path: Path) -> None:
    with pytest.raises(fc.SetupError, match="is not a file"):
        fc.testing.assert_go(tmp_path / "none.toml")
