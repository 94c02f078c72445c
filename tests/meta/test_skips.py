"""What README's test command installs is enough: no test is left out for a library that is missing."""

from __future__ import annotations

import ast

from tests.meta.source import ROOT

ELSEWHERE = {
    "tests/acceptance/test_stopping.py": 1,  # signals of other systems than Windows
    "tests/acceptance/test_cli.py": 1,  # /dev/full
    "tests/acceptance/test_watch.py": 1,
    "tests/kernel/step/test_foreign_solids.py": 1,  # Debian's packages
    "tests/study/test_sweep.py": 1,  # /proc
    "tests/test_files.py": 1,  # named pipes
}
"""Tests of what only some systems have, by file; anything else that is left out hides what it proves."""

LEAVES_OUT = {"importorskip", "skip", "skipif", "xfail"}


def test_no_test_is_left_out_for_want_of_a_library() -> None:
    found: dict[str, int] = {}
    for path in sorted((ROOT / "tests").rglob("*.py")):
        calls = [n.func for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Call)]
        names = [f.attr for f in calls if isinstance(f, ast.Attribute) and f.attr in LEAVES_OUT]
        if names:
            found[path.relative_to(ROOT).as_posix()] = len(names)
    assert found == ELSEWHERE
