"""The plugin for pytest: set-ups as tests, known shortfalls, and `assert_go` that lets some stand."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from fixturecheck import pytest_plugin as plugin
from fixturecheck.comparing.model import baseline_of, baseline_text
from fixturecheck.errors import SetupError
from fixturecheck.process.found import found_in
from fixturecheck.process.load import load_any
from fixturecheck.process.run import check_job
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Kind, NotAsked, Verdict, WhyNotAsked
from fixturecheck.testing import assert_go
from tests.comparing.test_door import PLAIN, SCRIPT

pytest_plugins = ["pytester"]

OPEN = Finding(
    check="nest", verdict=Verdict.NO_GO, subject="b.left on a.right", says="The nest stays open by 0.4 mm.",
    kind=Kind.OPEN, about=("b.left", "a.right"), value=0.4, unit="mm", limit=0.001, margin=-0.399,
    remedy="Chamfer it.",
)  # fmt: skip
DOUBT = replace(OPEN, check="describe", verdict=Verdict.CAUTION, kind=Kind.SIZE, about=("a",))
RESULT = Result(
    verdict=Verdict.NO_GO, name="two", units="mm", sources=(), contacts=(), cuts=(), shapes=(),
    findings=(OPEN, DOUBT),
    not_asked=(NotAsked(check="hold", reason=WhyNotAsked.NOT_STATED, lacks="[holding]"),),
)  # fmt: skip
ID = "nest/gap/b.left/a.right"


@pytest.fixture
def run(pytester, monkeypatch):
    """Run pytest on set-ups whose result is stood in for, except where a script is listed."""

    def inside(*words, ini="", answer=RESULT):
        def checked(path):
            if isinstance(answer, Exception):
                raise answer
            return answer

        if answer is not None:
            monkeypatch.setattr(plugin, "checked", checked)
        pytester.makeini(f"[pytest]\n{ini}")
        return pytester.runpytest(
            "-p", "fixturecheck.pytest_plugin", "-p", "no:cacheprovider", "-rsxX", *words
        )

    return inside


def test_each_check_of_a_set_up_is_a_test_with_its_sentence(run, pytester):
    pytester.path.joinpath("two.setup.toml").write_text("")
    pytester.path.joinpath("two.toml").write_text("")
    ran = run("-v")
    # One for what was stated and one for each check; the one with no holding is skipped.
    ran.assert_outcomes(passed=len(plugin.MODULES) - 1, failed=1, skipped=1)
    ran.stdout.fnmatch_lines(
        ["*two.setup.toml: nest*", "*no-go*nest: b.left on a.right: The nest stays open by 0.4 mm.*"]
    )
    ran.stdout.fnmatch_lines(["SKIPPED*not stated: [[]holding]*"])
    ran.stdout.no_fnmatch_line("*Traceback*")


def test_cautions_fail_where_that_is_asked(run, pytester):
    pytester.path.joinpath("two.setup.toml").write_text("")
    ran = run(ini="fixturecheck_strict = true")
    ran.assert_outcomes(passed=len(plugin.MODULES) - 2, failed=2, skipped=1)


@pytest.mark.parametrize("known", ["ini", "mark", "baseline"])
def test_a_known_shortfall_is_expected_to_fail(run, pytester, known):
    pytester.path.joinpath("two.setup.toml").write_text("")
    ini = ""
    if known == "ini":
        ini = "fixturecheck_known =\n  nest/gap/*"
    elif known == "mark":
        pytester.makeconftest(
            "import pytest\n"
            "def pytest_collection_modifyitems(items):\n"
            f"    items[2].add_marker(pytest.mark.known_shortfall({ID!r}))\n"
            "    assert items[2].name == 'nest'\n"
        )
    else:
        text = baseline_text(baseline_of("two", "", RESULT.findings))
        pytester.path.joinpath("two.known.json").write_text(text)
    run(ini=ini).assert_outcomes(passed=len(plugin.MODULES) - 1, xfailed=1, skipped=1)


def test_a_known_shortfall_that_got_worse_fails(run, pytester):
    pytester.path.joinpath("two.setup.toml").write_text("")
    less = replace(RESULT, findings=(replace(OPEN, value=0.1, margin=-0.099, id=""),))
    pytester.path.joinpath("two.known.json").write_text(baseline_text(baseline_of("two", "", less.findings)))
    run().assert_outcomes(passed=len(plugin.MODULES) - 1, failed=1, skipped=1)


def test_a_set_up_that_cannot_be_read_fails_with_its_lines(run, pytester):
    pytester.path.joinpath("two.setup.toml").write_text("")
    ran = run("-k", "nest", answer=SetupError("two.setup.toml, line 3: unknown key 'x'"))
    ran.assert_outcomes(failed=1, deselected=len(plugin.MODULES))
    ran.stdout.fnmatch_lines(["two.setup.toml, line 3: unknown key 'x'"])


def test_a_script_that_is_listed_is_checked(run, pytester):
    """The second block of two loses 13 um, so that its nest is drawn open: a caution."""
    folder = pytester.mkdir("models")
    folder.joinpath("short.py").write_text(SCRIPT.format(**{**PLAIN, "length": 19.987, "at": 20.013}))
    folder.joinpath("other.py").write_text("raise ValueError")
    ini = "fixturecheck_setups =\n  models/short.py\nfixturecheck_strict = true"
    ran = run("-k", "nest or seat", ini=ini, answer=None)
    ran.assert_outcomes(passed=1, failed=1, deselected=len(plugin.MODULES))
    ran.stdout.fnmatch_lines(["*second.left is drawn 0.013 mm off first.right*"])


def test_a_listed_pattern_that_no_file_meets_fails_unless_files_are_named(run, pytester, monkeypatch):
    pytester.path.joinpath("two.setup.toml").write_text("")
    ini = "fixturecheck_setups =\n  models/gone.toml\n  *.setup.toml"
    ran = run("-k", "gone or hold", ini=ini)
    ran.assert_outcomes(failed=1, skipped=1, deselected=len(plugin.MODULES))
    ran.stdout.fnmatch_lines(["fixturecheck_setups: models/gone.toml: no set-up that pytest looks at is*"])
    run("two.setup.toml", "-k", "hold", ini=ini).assert_outcomes(skipped=1, deselected=len(plugin.MODULES))
    # Nor where the run begins beside them.
    monkeypatch.chdir(pytester.mkdir("beside"))
    run(ini=ini).assert_outcomes()


ROUTE = """
import cadquery as cq
from fixturecheck import Operation, body, job_of

part = body("block", cq.Workplane().box(4, 3, 2), faces={"top": (0, 0, 1)})
job = job_of("block", part, (
    Operation(number=10, name="top", kind="mill", makes=("top",), stock_mm={"*": 1}, leave_mm={"*": 0.25}),
))
"""


def test_a_job_is_asked_across_its_operations_too(run, pytester):
    """A quarter of a millimetre is left on the top, and no operation takes it: `stock` says so."""
    path = pytester.path / "route.py"
    path.write_text(ROUTE)
    with pytest.raises(AssertionError, match=r"block: no-go\n  no-go  stock: 10: 10 top: top"):
        assert_go(path)
    (short,) = [f.id for f in found_in(check_job(load_any(path, {}))).findings if f.verdict is Verdict.NO_GO]
    assert short.startswith("10: stock/")
    assert assert_go(path, but=[short]).verdict is Verdict.NO_GO
    ran = run("-k", "across or seat", ini="fixturecheck_setups = route.py", answer=None)
    ran.assert_outcomes(passed=1, failed=1, deselected=len(plugin.MODULES))
    ran.stdout.fnmatch_lines(["*no-go*stock: 10: 10 top: top: *"])


def test_assert_go_lets_stand_what_is_named():
    assert assert_go(RESULT, but=[ID], allow_caution=True) is RESULT
    assert assert_go(RESULT, but=["nest/gap/*", "describe/*"]) is RESULT
    with pytest.raises(AssertionError, match=r"caution  describe"):
        assert_go(RESULT, but=[ID])
    with pytest.raises(AssertionError, match="no longer short  nest/share/x: take it out of `but`"):
        assert_go(RESULT, but=[ID, "nest/share/x"], allow_caution=True)


def test_the_hook_before_a_push_checks_set_ups_and_runs_no_other_tests(run, pytester):
    text = (Path(__file__).parents[1] / ".pre-commit-hooks.yaml").read_text()
    stated = dict(
        line.strip().split(": ", 1) for line in text.splitlines() if line.startswith("  ") and ": " in line
    )
    python, dash_m, module, *words = stated["entry"].split()
    assert (python, dash_m, module, stated["pass_filenames"]) == ("python", "-m", "pytest", "false")
    assert [bool(re.search(stated["files"], name)) for name in ("a/pawl.step", "gang.py", "notes.md")] == [
        True, True, False,
    ]  # fmt: skip
    pytester.makepyfile(test_mine="import what_nobody_has")
    pytester.path.joinpath("two.setup.toml").write_text("")
    run(*words).assert_outcomes(passed=len(plugin.MODULES) - 1, failed=1, skipped=1)
