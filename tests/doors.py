"""The command line without its child process, for tests of what a command answers.

A child loads the kernel anew, which costs more than most checks do. `tests/acceptance/test_cli` and
`test_stopping` run commands as processes, and prove what the child is for: crashes, hangs and signals.
"""

from __future__ import annotations

import contextlib
import importlib
import io
from dataclasses import dataclass
from typing import Any

import pytest

from fixturecheck import cli
from fixturecheck.commands import check, new


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a command came to."""

    returncode: int
    stdout: str
    stderr: str


def run_here(run: str, *arguments: Any, **_: Any) -> Any:
    """Do the run of a command in this process, where the kernel is loaded already."""
    module, function = run.split(":")
    quiet = {"progress": lambda _doing, _share: None}
    if run in {check.RUN, new.RUN, new.FROM}:
        quiet["tell"] = lambda _lines: None
    return getattr(importlib.import_module(module), function)(*arguments, **quiet)


def command(*words: object) -> Answer:
    """Run a command with its run in this process."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("fixturecheck.kernel.worker.run_guarded", run_here)
        # Nothing is left beside the models.
        patch.setattr("sys.dont_write_bytecode", True)
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = cli.main([str(word) for word in words])
    return Answer(returncode=code, stdout=out.getvalue(), stderr=err.getvalue())
