"""Runs a set-up through every step, once: set-up in, result out, no files touched."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module

from fixturecheck.access.ground import grind
from fixturecheck.checks import MODULES
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.find import find_contacts
from fixturecheck.errors import NotComputedError
from fixturecheck.result import Finding, NamedShape, Result, Role, Verdict, worst
from fixturecheck.setup.model import Setup
from fixturecheck.setup.validate import suspicions

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done so far, 0 to 1."""


def _quiet(_doing: str, _share: float) -> None:
    """Report nothing."""


def stage_of(setup: Setup, *, progress: Progress = _quiet) -> Stage:
    """Place the bodies, find what touches, and grind every cut."""
    solids = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    progress("contacts", 0.05)
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    cuts = []
    for i, cut in enumerate(setup.cuts):
        progress(f"cut {cut.name}", 0.25 + 0.45 * i / len(setup.cuts))
        cuts.append(grind(setup, cut))
    return Stage(setup=setup, placed=solids, contacts=contacts, cuts=tuple(cuts))


def check(setup: Setup, *, progress: Progress = _quiet) -> Result:
    """Check a set-up and return everything found.

    A check that could not compute its answer becomes an `unknown` finding that carries the reason.
    """
    stage = stage_of(setup, progress=progress)
    findings: list[Finding] = list(suspicions(setup))
    for i, (name, module) in enumerate(MODULES.items()):
        progress(f"check {name}", 0.7 + 0.3 * i / len(MODULES))
        try:
            findings += import_module(module).check(stage)
        except NotComputedError as reason:
            findings.append(_unknown(name, setup.name, str(reason)))
    progress("done", 1.0)
    return Result(
        verdict=worst(f.verdict for f in findings),
        name=setup.name,
        units=setup.units,
        sources=setup.sources,
        findings=tuple(findings),
        contacts=tuple(p.contact for p in stage.contacts.patches),
        cuts=tuple(c.made for c in stage.cuts),
        shapes=_shapes(stage, findings),
    )


def _unknown(check_name: str, subject: str, reason: str) -> Finding:
    says = f"Could not be computed: {reason}"
    return Finding(check=check_name, verdict=Verdict.UNKNOWN, subject=subject, says=says)


def _shapes(stage: Stage, findings: list[Finding]) -> tuple[NamedShape, ...]:
    """Collect bodies, patches, cuts' regions and findings' evidence, each name once."""
    found: dict[str, NamedShape] = {}
    for body in stage.setup.bodies:
        role = Role.PART if body.role == "part" else Role.FIXTURE
        shape = NamedShape(name=body.name, role=role, geometry=stage.placed[body.name], bodies=(body.name,))
        found[shape.name] = shape
    groups = [[p.shape for p in stage.contacts.patches], [o.shape for o in stage.contacts.overlaps]]
    groups += [list(c.shapes) for c in stage.cuts] + [list(f.shapes) for f in findings]
    for group in groups:
        for shape in group:
            found.setdefault(shape.name, shape)
    return tuple(found.values())
