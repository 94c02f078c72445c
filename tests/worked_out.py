"""A set-up worked out for all its checks, as the engine does before it asks them."""

from __future__ import annotations

from fixturecheck import engine
from fixturecheck.checks import chosen
from fixturecheck.checks.stage import Stage
from fixturecheck.result.finding import Finding
from fixturecheck.setup.model import Setup, among_its_own


@among_its_own
def stage_of(setup: Setup) -> tuple[Stage, list[Finding]]:
    """Return what the checks are given, and a finding for each step that could not be computed."""
    work = engine._Work(setup, chosen(), lambda _doing, _share: None, copied=False)
    work.touch()
    for step in engine.STEPS:
        if work.needs(step):
            work.work_out(step)
    return work.stage, work.missing
