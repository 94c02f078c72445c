"""The code blocks of the pages in `docs/`, and running them one after the other as a reader would."""

from __future__ import annotations

import contextlib
import doctest
import importlib.util
import io
import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from fixturecheck import cli
from tests.meta.source import ROOT

DOCS = ROOT / "docs"
PAGES = sorted(p.relative_to(DOCS).as_posix() for p in DOCS.rglob("*.md"))
OUTPUT, LONG, BENCH = "output", "runs for ", "printed by scripts/bench.py"
"""Titles: what the block before printed, `...` standing for anything; a command too long for a test; and what
the script of speeds printed, which differs on every machine."""

_FENCE = re.compile(r"^```(\w+)(?: title=\"([^\"]*)\")?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_EXIT = re.compile(r"\s+# exit code (\d)$")
_PREPARES = ("python3 -m venv .venv", ".venv/bin/pip install -q .")
_RELIEVED: dict[str, str] = {}
_ALIKE = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@dataclass(frozen=True, slots=True, kw_only=True)
class Fence:
    """One code block: its language, its title (empty where it has none) and its text."""

    language: str
    title: str
    text: str


def fences(page: str) -> Iterator[Fence]:
    """Yield the code blocks of a page in their order."""
    text = (DOCS / page).read_text(encoding="utf-8")
    assert text.count("\n```") == 2 * len(_FENCE.findall(text)), (
        f"{page}: a code block that is not understood"
    )
    for language, title, inside in _FENCE.findall(text):
        yield Fence(language=language, title=title, text=inside)


class Reader:
    """Somebody who works through a page: writes its files, runs its commands and code, reads the output."""

    def __init__(self) -> None:
        self._names: dict[str, Any] = {"__name__": "page"}
        self.printed = ""

    def does(self, fence: Fence) -> None:
        """Do what a block says, or compare what was printed with what it shows."""
        if fence.title == OUTPUT:
            same = doctest.OutputChecker().check_output(fence.text, self.printed, _ALIKE)
            assert same, f"the page shows\n{fence.text}\nand this was printed\n{self.printed}"
        elif fence.language == "sh":
            self._commands(fence)
        elif fence.title:
            Path(fence.title).write_text(fence.text, encoding="utf-8")
        elif fence.language == "python":
            with self._heard():
                exec(compile(fence.text, "page", "exec"), self._names)  # noqa: S102 -- our own pages

    def _commands(self, fence: Fence) -> None:
        for line in fence.text.splitlines():
            if line in _PREPARES:
                continue
            told = _EXIT.search(line)
            expected = int(told.group(1)) if told else 0
            words = shlex.split(line, comments=True)
            if words[:3] == ["python", "-m", "pytest"]:
                _run_tests(Path(words[3]))
                continue
            assert words[0] == "fixturecheck", f"no test runs {line!r}"
            if fence.title.startswith(LONG):
                options = cli.parser().parse_args(words[1:])
                files = [getattr(options, name, None) for name in ("setup", "measurements", "study")]
                assert any(file is not None and file.is_file() for file in files)
                continue
            if words[1] == "relieve" and line in _RELIEVED:
                # The longest command of the pages, shown on two of them.
                self.printed = _RELIEVED[line]
                continue
            with self._heard():
                code = cli.main([*words[1:], *(["--no-pictures"] if "check" in words else [])])
            assert code == expected, f"{line}: exit code {code}\n{self.printed}"
            if words[1] == "relieve":
                _RELIEVED[line] = self.printed

    @contextlib.contextmanager
    def _heard(self) -> Iterator[None]:
        heard = io.StringIO()
        with contextlib.redirect_stdout(heard), contextlib.redirect_stderr(heard):
            try:
                yield
            finally:
                self.printed = heard.getvalue()


def _run_tests(path: Path) -> None:
    """Call every test function of a file."""
    found = importlib.util.spec_from_file_location(path.stem, path)
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    tests = [getattr(module, name) for name in dir(module) if name.startswith("test_")]
    assert tests, f"{path} holds no test"
    for test in tests:
        test()


def stand_in(folder: Path, patch: pytest.MonkeyPatch) -> None:
    """Go to a folder in which the models are, as a reader's copy of the repository has them."""
    (folder / "models").symlink_to(ROOT / "models", target_is_directory=True)
    patch.chdir(folder)
    patch.setenv("COLUMNS", "100")
    patch.setattr("sys.dont_write_bytecode", True)
