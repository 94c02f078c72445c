"""Runs a set-up through every step, once: set-up in, result out, no files touched."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from importlib import import_module

from fixturecheck.access.ground import grind
from fixturecheck.checks import MODULES
from fixturecheck.checks.asked import not_asked
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.find import find_contacts
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.grouping import grouped
from fixturecheck.kernel.clip import flush_faces
from fixturecheck.kernel.shapes import compound
from fixturecheck.kernel.sound import one_of_each
from fixturecheck.result import Finding, NamedShape, Result, Role, Verdict, worst
from fixturecheck.settling.answer import answered
from fixturecheck.settling.record import rest_of, rest_shapes
from fixturecheck.setup.doubts import suspicions
from fixturecheck.setup.model import Body, Setup

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done so far, 0 to 1."""


def _quiet(_doing: str, _share: float) -> None:
    """Report nothing."""


def stage_of(setup: Setup, *, progress: Progress = _quiet) -> tuple[Stage, list[Finding]]:
    """Place the bodies, find what touches, grind every cut, and let the parts settle where that is asked.

    Returns
    -------
    stage : Stage
        With every cut that could be ground.
    findings : list of Finding
        An `unknown` for each cut that could not, and for a rest that could not, with the reason.
    """
    solids = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    progress("contacts", 0.05)
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    cuts, missing = [], []
    for i, cut in enumerate(setup.cuts):
        progress(f"cut {cut.name}", 0.25 + 0.4 * i / len(setup.cuts))
        try:
            cuts.append(grind(setup, cut))
        except (NotComputedError, KernelError) as reason:
            missing.append(_unknown("reach", cut.name, str(reason)))
    progress("rest", 0.7)
    try:
        rest = answered(setup)
    except (NotComputedError, KernelError) as reason:
        rest = None
        missing.append(_unknown("rest", setup.name, str(reason)))
    stage = Stage(setup=setup, placed=solids, contacts=contacts, cuts=tuple(cuts), answered=rest)
    if setup.holding is not None:
        # Loaded only where it is asked: the field solver alone takes most of a second to load.
        holding = import_module("fixturecheck.holding.run")
        hold = holding.held(
            setup,
            solids,
            contacts,
            stage.cuts,
            progress=lambda doing, share: progress(doing, 0.7 + 0.2 * share),
        )
        stage = replace(stage, held=hold)
    return stage, missing


def check(setup: Setup, *, progress: Progress = _quiet) -> Result:
    """Check a set-up and return everything found.

    A check that could not compute its answer becomes an `unknown` finding that carries the reason.
    """
    # The kernel adds to solids as it works, so that copies no longer look alike afterwards.
    drawings = _drawings(setup)
    stage, missing = stage_of(setup, progress=progress)
    findings = [*suspicions(setup), *missing]
    for i, (name, module) in enumerate(MODULES.items()):
        progress(f"check {name}", 0.9 + 0.1 * i / len(MODULES))
        try:
            # What was found before a failure stays: extending keeps it.
            findings.extend(import_module(module).check(stage))
        except (NotComputedError, KernelError) as reason:
            findings.append(_unknown(name, setup.name, str(reason)))
    findings = [_as_stated(setup, f) for f in findings]
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
        rest=rest_of(stage.answered) if stage.answered else None,
        holding=import_module("fixturecheck.holding.told").found(setup, stage.held) if stage.held else None,
        groups=grouped(findings, drawings),
        not_asked=not_asked(setup, rests=stage.answered is None or stage.answered.settled.rests),
    )


def _as_stated(setup: Setup, finding: Finding) -> Finding:
    """Let the set-up say what a check's no-go counts as; the check's own verdict stays beside it."""
    if finding.verdict is not Verdict.NO_GO:
        return finding
    counts_as = Verdict(setup.severity.get(finding.check, finding.verdict))
    if counts_as is finding.verdict:
        return finding
    return replace(finding, verdict=counts_as, overruled=finding.verdict)


def _drawings(setup: Setup) -> dict[str, str]:
    """Return for each body the name of the first one drawn alike with the same role."""
    bodies = setup.bodies
    first = one_of_each([b.solid for b in bodies])
    return {b.name: f"{b.role} {bodies[i].name}" for b, i in zip(bodies, first, strict=True)}


def _unknown(check_name: str, subject: str, reason: str) -> Finding:
    says = f"Could not be computed: {str(reason).rstrip('.')}."
    return Finding(check=check_name, verdict=Verdict.UNKNOWN, subject=subject, kind="not computed", says=says)


def _poles(body: Body) -> NamedShape:
    """Return where the poles that are set in a body show on its surface."""
    seen = [face for pole in body.poles for face in flush_faces(pole.solid.moved(pole.at), body.solid)]
    return NamedShape(
        name=f"{body.name} poles", role=Role.POLE, geometry=compound(seen).moved(body.at), bodies=(body.name,)
    )


def _shapes(stage: Stage, findings: list[Finding]) -> tuple[NamedShape, ...]:
    """Collect bodies, patches, cuts' regions and findings' evidence, each name once."""
    found: dict[str, NamedShape] = {}
    for body in stage.setup.bodies:
        role = Role.PART if body.role == "part" else Role.FIXTURE
        shape = NamedShape(name=body.name, role=role, geometry=stage.placed[body.name], bodies=(body.name,))
        found[shape.name] = shape
        if body.poles:
            found[f"{body.name} poles"] = _poles(body)
    groups = [[p.shape for p in stage.contacts.patches], [o.shape for o in stage.contacts.overlaps]]
    groups += [list(c.shapes) for c in stage.cuts] + [list(f.shapes) for f in findings]
    groups.append(list(rest_shapes(stage.answered)) if stage.answered else [])
    for group in groups:
        for shape in group:
            found.setdefault(shape.name, shape)
    return tuple(found.values())
