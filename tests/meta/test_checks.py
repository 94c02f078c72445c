"""Every table of checks lists every check: one that a table forgets is not asked, or has no words."""

from __future__ import annotations

import ast
from collections.abc import Mapping

from fixturecheck.checks import MODULES
from fixturecheck.names import CHECKS
from fixturecheck.process.across import MODULES as OF_A_JOB
from fixturecheck.report.statements import ASKED, QUESTIONS
from tests.meta.source import modules


def _steps() -> Mapping[str, tuple[str, ...]]:
    """The table `STEPS` of the engine, read from its text: importing it would load the kernel."""
    (engine,) = [m.tree for m in modules() if m.name == "engine"]
    (table,) = [
        n.value for n in engine.body if isinstance(n, ast.AnnAssign) and ast.unparse(n.target) == "STEPS"
    ]
    found: Mapping[str, tuple[str, ...]] = ast.literal_eval(table or ast.Dict())
    return found


def test_every_table_of_checks_lists_every_check() -> None:
    asked_after = sorted(check for checks in _steps().values() for check in checks)
    assert tuple(MODULES) == CHECKS
    assert asked_after == sorted(MODULES)
    assert set(MODULES) <= set(ASKED)
    assert set(MODULES) | set(OF_A_JOB) == set(QUESTIONS)
