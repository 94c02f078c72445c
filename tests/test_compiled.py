"""Compiled loops are kept from run to run, and made anew when a file that holds one changes."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import fixturecheck
from fixturecheck.compiled import LOOPS

HOME = Path(fixturecheck.__file__).parent


def test_every_file_with_a_compiled_loop_is_on_the_list():
    # A loop that calls one in a file off the list would go on with what was compiled before a change there.
    holds = {
        path.relative_to(HOME).with_suffix("").as_posix()
        for path in HOME.rglob("*.py")
        if any(_is_compiled(node) for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    }
    assert holds
    assert holds <= set(LOOPS)


def test_every_file_with_a_constant_that_loops_are_compiled_with_is_on_the_list():
    # A constant is compiled in, so a loop would go on with what it was before a change.
    holds = set()
    for name in LOOPS:
        tree = ast.parse((HOME / f"{name}.py").read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and any(alias.name.isupper() for alias in node.names):
                holds.add((node.module or "").removeprefix("fixturecheck.").replace(".", "/"))
    assert holds
    assert holds <= set(LOOPS)


def _is_compiled(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef) and any(
        isinstance(d, ast.Name) and d.id == "compiled" for d in node.decorator_list
    )


def test_a_change_in_what_a_kept_loop_calls_is_seen(tmp_path):
    source = tmp_path / "fixturecheck"
    source.mkdir()
    (source / "__init__.py").write_text("")
    text = (HOME / "compiled.py").read_text(encoding="utf-8")
    (source / "compiled.py").write_text(text)
    (source / "arrays.py").write_text((HOME / "arrays.py").read_text(encoding="utf-8"))
    room = source / "statics"
    room.mkdir()
    (room / "__init__.py").write_text("")
    inner = "from fixturecheck.compiled import compiled\n\n@compiled\ndef inner(x):\n    return x + {}\n"
    outer = (
        "from fixturecheck.compiled import compiled\nfrom fixturecheck.statics.contact_step import inner\n\n"
        "@compiled\ndef outer(x):\n    return 10 * inner(x)\n"
    )
    (room / "outer.py").write_text(outer)
    ask = (
        "from fixturecheck.statics.outer import outer; print(outer(1), sum(outer.stats.cache_hits.values()))"
    )
    told = []
    for add in (1, 1, 2):
        (room / "contact_step.py").write_text(inner.format(add))
        run = subprocess.run(
            [sys.executable, "-B", "-c", ask],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(tmp_path), "NUMBA_CACHE_DIR": str(tmp_path / "kept")},
            capture_output=True,
            text=True,
            check=True,
        )
        told.append(tuple(int(word) for word in run.stdout.split()))
    assert told == [(20, 0), (20, 1), (30, 0)]


def test_loops_run_where_nothing_can_be_kept():
    # As on an installation that is not the user's own and without a home folder.
    ask = (
        "from numba.core import caching; caching.CacheImpl._locator_classes = []; "
        "from fixturecheck.compiled import dot; print(dot((1.0, 2.0, 3.0), (1.0, 1.0, 1.0)))"
    )
    run = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert run.stdout == "6.0\n"
