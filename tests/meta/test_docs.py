"""README, DEVELOPERS and docs/ say what is there, and each check says what it is."""

from __future__ import annotations

import ast
import importlib
import re
import shlex
from collections.abc import Iterator
from functools import cache

import pytest

from docs.make import pages
from fixturecheck.checks import MODULES
from fixturecheck.cli import parser
from tests.meta.source import PACKAGE, ROOT, modules

README, DEVELOPERS, CI = ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / ".ci" / "run"
TESTS = "python -m pytest -n auto --dist loadfile"
BLOCK = re.compile(r"^```(?:sh|bash|console|shell)\n(.*?)^```", re.MULTILINE | re.DOTALL)
TOLD = re.compile(r"`((?:fixturecheck|tests|models|scripts|\.ci)/[\w./*-]*)`")
LINKED = re.compile(r"!?\[[^\]]*\]\((?!https?:|mailto:|#)([^)#\s]+)")
PICTURES = [f"pictures/{p.name}" for p in pages.PICTURES]
SECTIONS = {
    "What": r"^What: \S",
    "Why": r"^Why: \S",
    "Formula": r"^Formulas?: \S",
    "Limit": r"^Limits?: \S",
    "Go": r"\bGo: \S",
    "No-go": r"\bNo-go: \S",
}


@cache
def commands() -> tuple[str, ...]:
    """README's shell commands one by one, without prompts, comments and the environment's folder."""
    text = "\n".join(BLOCK.findall(README.read_text(encoding="utf-8"))).replace("\\\n", " ")
    lines = (line.split("  #")[0] for line in text.splitlines() if not line.startswith("#"))
    split = (part.strip() for line in lines for part in re.split(r"&&|;", line))
    return tuple(part.removeprefix("$ ").removeprefix(".venv/bin/") for part in split if part)


def _checks_run() -> list[list[str]]:
    words = (shlex.split(c) for c in commands())
    return [w[1:] for w in words if w[0] == "fixturecheck"]


def test_readme_shows_how_to_check_and_how_to_test() -> None:
    assert any(words[:1] == ["check"] for words in _checks_run()), "README shows no `fixturecheck check`"
    assert TESTS in commands(), f"README does not say `{TESTS}`"


def test_readme_commands_are_ones_the_command_line_takes() -> None:
    for words in _checks_run():
        if "--help" not in words:
            parser().parse_args(words)


def test_readme_commands_name_files_that_are_there() -> None:
    named = [w for c in commands() for w in shlex.split(c) if re.match(r"(models|scripts|tests|\.ci)/", w)]
    assert [w for w in named if not (ROOT / w).exists()] == []


def test_ci_runs_what_readme_says() -> None:
    steps = [line.strip() for line in CI.read_text(encoding="utf-8").splitlines()]
    assert steps[-2:] == [f"{TESTS} || failed=1", 'exit "$failed"'], "README's test command must come last"
    assert CI.stat().st_mode & 0o111, ".ci/run is not executable"


PAGES = [README, DEVELOPERS, *sorted((ROOT / "docs").rglob("*.md"))]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_pages_name_files_that_are_there(page) -> None:
    text = page.read_text(encoding="utf-8")
    missing = [n for n in TOLD.findall(text) if not any(ROOT.glob(n.rstrip("/")))]
    linked = [n for n in LINKED.findall(text) if not (page.parent / n).exists()]
    made = {(ROOT / "docs" / name).resolve() for name in (*pages.PAGES, *PICTURES)}
    assert missing + [n for n in linked if (page.parent / n).resolve() not in made] == []


@pytest.mark.parametrize("name", MODULES)
def test_each_check_says_what_it_is(name: str) -> None:
    module = importlib.import_module(MODULES[name])
    assert module.TITLE, name
    told = module.__doc__ or ""
    assert [s for s, pattern in SECTIONS.items() if not re.search(pattern, told, re.MULTILINE)] == []


@pytest.mark.parametrize("make", [pages.keys_page, pages.result_page], ids=["keys", "result"])
def test_every_row_of_the_reference_says_what_it_means(make) -> None:
    rows = [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)] for line in make().splitlines()]
    rows = [row for row in rows if len(row) > 2 and row[1].startswith("`")]
    assert len(rows) > 100
    assert [row[1] for row in rows if row[-2].removesuffix("May be left out.") == ""] == []


def test_every_public_name_is_in_the_reference() -> None:
    page, modules = pages.python_page(), {"cq", "testing"}
    wanted = {name: home for name, home in pages.public_names().items() if name not in modules}
    assert [n for n, home in wanted.items() if f"::: fixturecheck.{home}.{n}\n" not in page] == []
    assert all(f"## `fixturecheck.{name}`" in page for name in modules)


@pytest.mark.parametrize("name", MODULES)
def test_each_check_is_in_the_reference(name: str) -> None:
    """The page is made of the code; what a docstring says under each heading must reach it."""
    page = pages.checks_page()
    assert f"[`{name}`](#{name})" in page
    section = page.split(f"\n## `{name}`", 1)[1].split("\n## ", 1)[0]
    assert [s for s in SECTIONS if not re.search(rf"^{s}s?\n:   \S", section, re.MULTILINE)] == []


def test_the_map_names_modules_that_are_there() -> None:
    """Each room's row names its modules, or what they define; a module that went away is seen here."""
    rows = re.findall(r"^\| `([a-z_]+(?:/[a-z_]+)*)/` \|(.*)$", DEVELOPERS.read_text("utf-8"), re.MULTILINE)
    assert len(rows) > 20
    stems = {m.name.rsplit(".", 1)[-1] for m in modules()}
    own = {name for m in modules() for name in defined(m.tree)}
    named = {(room, n) for room, says in rows for n in re.findall(r"`([a-z_]+(?:/[a-z_]+)*)`", says)}
    assert {
        (room, n)
        for room, n in named
        if not ((ROOT / PACKAGE / n).exists() or (ROOT / n).exists())
        and not (ROOT / PACKAGE / f"{n}.py").exists()
        and not ((ROOT / PACKAGE / room / f"{n}.py").exists() or n in stems | own)
    } == set()


def defined(tree: ast.Module) -> Iterator[str]:
    """Yield the functions and classes of a module."""
    return (n.name for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef))
