"""Runs a set-up through every step, once: set-up in, result out, no files touched.

What costs least is worked out first, and its checks are asked at once, so that a clash is known in seconds
though the magnet takes minutes.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from importlib import import_module
from typing import cast

from fixturecheck.checks import MODULES, chosen
from fixturecheck.checks.doubts import assumed, suspicions
from fixturecheck.checks.stage import Check, Stage, not_asked
from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.dials.plan import Dialled, dialled
from fixturecheck.dials.reading import datum_offset
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.recall import asked_of, is_kept, recalled
from fixturecheck.kernel.select import flush_faces
from fixturecheck.kernel.standby import Posted, Standby, standby_here
from fixturecheck.machining.as_ground import grind
from fixturecheck.machining.as_milled import MilledCut, mill
from fixturecheck.machining.cut import GroundCut
from fixturecheck.nesting.answer import (
    StagingAnswer,
    rest_of,
    rest_shapes,
    staged_apart,
    staging_answer,
    standing_model,
)
from fixturecheck.nesting.seating import footings, holding_nothing
from fixturecheck.progress import Progress, silent
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed, worst
from fixturecheck.result.grouping import grouped
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.model import Body, Cut, Setup, among_its_own, drawings_of, magnet_alone, unstated
from fixturecheck.setup.outline import bodies_drawn, facts_of, origin_of
from fixturecheck.setup.records import BodyRole
from fixturecheck.sizes.answer import hardening_found
from fixturecheck.wording.motion import settled_words

Found = Callable[[Finding], None]
"""Called with each finding as soon as it is known."""

STEPS: Mapping[str, tuple[str, ...]] = {
    "contacts": ("seat", "nest", "angle", "drill", "vise", "wall", "rolls"),
    "cuts": ("reach", "mill", "align", "limits", "clear"),
    "dials": ("dials",),
    "rest": ("rest", "location", "tolerance"),
    "hardening": ("hardening",),
    "holding": ("hold", "crash", "release"),
}
"""What is worked out, in this order, and the checks that can be asked once it is."""

_SHARES = {"contacts": 0.2, "cuts": 0.35, "dials": 0.05, "rest": 0.4, "hardening": 0.0, "holding": 0.0}
_SHARES_HELD = {
    "contacts": 0.05, "cuts": 0.09, "dials": 0.01, "rest": 0.1, "hardening": 0.0, "holding": 0.75,
}  # fmt: skip
"""Share of the work that each step takes, without and with a holding."""
_CLASHES = frozenset(
    {("seat", Kind.OVERLAP), ("seat", Kind.TOUCHES_NOTHING), ("nest", Kind.OPEN), ("nest", Kind.OVERLAP)}
)
"""No-go, by check and kind, by which bodies cannot all be where they are drawn: no contact there is real."""
_CARRIES = 0.5
"""Height of the unit normal of a face that carries weight: within 60 degrees of level."""
_MOST_NAMED = 3


def _unheard(_finding: Finding) -> None:
    """Report nothing."""


_TELLS = frozenset({"sources", "origins", "severity", "guessed"})
"""What a set-up states that says where it comes from or what a verdict counts as: no step looks at it."""
_NOT_GROUND = _TELLS | {
    "staging",
    "hardening",
    "relief",
    "drills",
    "dials",
    "transfers",
    "over_rolls",
    "squared",
}
"""What the wheel does not depend on."""
_NOT_RESTED = _TELLS | {"wheel", "hardening", "drills", "dials", "transfers", "over_rolls", "squared"}
"""What neither nests nor the rest depend on."""
_NOT_HELD = _TELLS | {"hardening", "dials", "transfers", "over_rolls", "squared"}
"""What the hold and how parts come off do not depend on."""


def _at_rest(setup: Setup) -> Setup:
    """Return a set-up with all that nests and rest depend on: of its cuts that is which faces are ground."""
    bare = unstated(setup, _NOT_RESTED)
    cuts = tuple(Cut(name=c.name, parts=c.parts, floor=c.floor, wall=c.wall) for c in setup.cuts)
    object.__setattr__(bare, "cuts", cuts)
    return bare


class _Share:
    """Turns the share of a step into that of the whole."""

    def __init__(self, progress: Progress, *, held: bool) -> None:
        self._progress, self._shares = progress, _SHARES_HELD if held else _SHARES
        self._from, self._size = 0.0, 0.0

    def begin(self, step: str) -> None:
        """Enter a step; those before it are done."""
        self._from, self._size = self._from + self._size, self._shares[step]

    def __call__(self, doing: str, share: float) -> None:
        self._progress(doing, self._from + self._size * share)


class _Work:
    """A set-up as far as it has been worked out; `missing` holds what could not be."""

    def __init__(self, setup: Setup, asked: frozenset[str], progress: Progress, *, copied: bool) -> None:
        # The kernel adds to solids as it works, so that copies no longer look alike afterwards.
        self.drawings = drawings_of(setup)
        self.bodies = bodies_drawn(setup)
        progress("contacts", 0.0)
        solids = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
        stand = tuple(b.placed() for b in setup.bodies)
        self.bare = {
            "rest": _at_rest(setup),
            "cuts": unstated(setup, _NOT_GROUND),
            "held": unstated(setup, _NOT_HELD),
        }
        rested = asked_of("rested", self.bare["rest"])
        self.keys = {
            "contacts": asked_of("contacts", (stand, setup.tolerances)),
            "nest": asked_of("nest", rested),
            "rest": asked_of("rest", (rested, sorted(asked))),
            "cuts": asked_of("cuts", self.bare["cuts"]),
            "held": asked_of("held", (self.bare["held"], sorted(asked))) if setup.holding else "",
            "magnet": asked_of("magnet", magnet_alone(setup)) if setup.holding else "",
        }
        self.stage = Stage(setup=setup, placed=solids, contacts=ContactMap(patches=(), overlaps=()), cuts=())
        self.missing: list[Finding] = []
        self.asked = asked
        self._progress, self._copied = progress, copied
        self._stand = stand
        self._own: Standby | None = None
        self._resting: Posted[StagingAnswer] | None = None

    def begin(self) -> None:
        """Let the parts come to rest in a copy of this process, while this one finds contacts and cuts."""
        if not self.needs("rest") or is_kept(self.keys["rest"]):
            return
        standby, bare = standby_here(), self.bare["rest"]
        if standby is None:
            standby = self._own = Standby()
        work = partial(staged_apart, bare, self.asked)
        self._resting = standby.begun(work, lambda: [standing_model(bare)])

    def close(self) -> None:
        """End what was begun and is not wanted any more."""
        if self._resting is not None:
            self._resting.end()
        if self._own is not None:
            self._own.end()

    def touch(self) -> None:
        """Find what touches."""
        tolerances = self.stage.setup.tolerances
        contacts = recalled(self.keys["contacts"], lambda: find_contacts(self._stand, tolerances))
        self.stage = replace(self.stage, contacts=contacts)

    def _idle(self) -> Collection[str]:
        """Return the fixtures that stand on nothing."""
        return holding_nothing(footings(self.bare["rest"], self.stage.contacts))

    def _staged(self) -> StagingAnswer | None:
        """Return the results of staging, from where they were begun."""
        idle = self._idle()
        # It was begun before it was known what stands on nothing, as if nothing did.
        if self._resting is not None and not idle:
            return self._resting.value()
        return staging_answer(self.bare["rest"], self.asked, idle=idle)

    def needs(self, step: str) -> bool:
        """Tell whether a step has anything to work out for what is asked."""
        setup = self.stage.setup
        stated = {
            "rest": setup.staging is not None,
            "hardening": setup.hardening is not None,
            "holding": setup.holding is not None,
            "dials": bool(setup.transfers) or (setup.machine.downfeed is not None and bool(setup.cuts)),
        }
        wanted = {s for s, checks in STEPS.items() if stated.get(s, True) and self.asked & {*checks}}
        return step in wanted or (step == "cuts" and bool(wanted & {"holding", "dials"}))

    def work_out(self, step: str) -> None:
        """Work out one step; what touches is known from the start."""
        steps: Mapping[str, Callable[[], None]] = {
            "cuts": self.grind,
            "dials": self.dial,
            "rest": self.settle,
            "hardening": self.harden,
            "holding": self.hold,
        }
        if step in steps:
            steps[step]()

    def grind(self) -> None:
        """Grind and mill every cut that can be worked out."""
        setup = self.stage.setup
        cuts, milled, count = list[GroundCut](), list[MilledCut](), len(setup.cuts) + len(setup.end_mills)
        for cut in setup.cuts:
            self._progress(f"cut {cut.name}", len(cuts) / count)
            try:
                key = self.keys["cuts"] and f"{self.keys['cuts']} {cut.name}"
                cuts.append(recalled(key, partial(grind, self.bare["cuts"], cut)))
            except (NotComputedError, KernelError) as reason:
                self._miss("cuts", cut.name, reason)
        for run in setup.end_mills:
            self._progress(f"end mill {run.name}", (len(setup.cuts) + len(milled)) / count)
            try:
                milled.append(mill(setup, run))
            except (NotComputedError, KernelError) as reason:
                self._miss("cuts", run.name, reason)
        self.stage = replace(self.stage, cuts=tuple(cuts), milled=tuple(milled))

    def dial(self) -> None:
        """Work out what the dials read for every cut that could be ground."""
        stage, found = self.stage, list[Dialled]()
        for cut in stage.cuts if stage.setup.machine.downfeed is not None else ():
            self._progress(f"dials of {cut.cut.name}", len(found) / len(stage.cuts))
            try:
                found.append(dialled(stage.setup, stage.cuts, cut, stage.placed))
            except (NotComputedError, KernelError) as reason:
                self._miss("dials", cut.cut.name, reason)
        offsets = []
        for transfer in stage.setup.transfers:
            try:
                offsets.append(datum_offset(stage.setup, transfer))
            except (NotComputedError, KernelError) as reason:
                self._miss("dials", transfer.name, reason)
        self.stage = replace(stage, dialled=tuple(found), offsets=tuple(offsets))

    def settle(self) -> None:
        """Let the parts come to rest."""
        self._progress("rest", 0.0)
        try:
            rest = recalled(self.keys["rest"], self._staged)
            self.stage = replace(self.stage, answered=rest)
        except (NotComputedError, KernelError) as reason:
            self._miss("rest", self.stage.setup.name, reason)

    def harden(self) -> None:
        """Work out what hardening does to the parts."""
        self.stage = replace(self.stage, hardened=hardening_found(self.stage.setup))

    def hold(self) -> None:
        """Solve the magnet and load the parts."""
        stage = self.stage
        # Loaded only where it is asked: the field solver alone takes most of a second to load.
        holding = import_module("fixturecheck.hold")
        work = partial(
            holding.held,
            self.bare["held"],
            stage.placed,
            stage.contacts,
            stage.cuts,
            asked=self.asked,
            magnet_key=self.keys["magnet"],
            copied=self._copied,
            progress=self._progress,
        )
        self.stage = replace(stage, held=recalled(self.keys["held"], work))

    def _miss(self, step: str, subject: str, reason: Exception) -> None:
        """Keep an `unknown` for the first check that asks for a step."""
        for check_name in STEPS[step]:
            if check_name in self.asked:
                self.missing.append(not_computed(subject, reason, check=check_name))
                return


@among_its_own
def check(
    setup: Setup,
    *,
    only: Collection[str] | None = None,
    skip: Collection[str] = (),
    progress: Progress = silent,
    found: Found = _unheard,
    copied: bool = False,
) -> Result:
    """Check a set-up and return everything found.

    A check that could not compute its answer becomes an `unknown` finding that carries the reason. While
    parts do not stand on what is to carry them, do not nest, or bodies overlap, the holding is not worked
    out unless `only` names it.

    Parameters
    ----------
    setup : Setup
        What `load` returned, or a set-up made in Python.
    only : collection of str, optional
        The checks to ask; without it, all. What none of them needs is not computed.
    skip : collection of str
        Checks to leave out.
    progress : callable
        Called with what is being done, and the share done so far, 0 to 1.
    found : callable
        Called with each finding as soon as it is known; a later one may be worse.
    copied : bool
        Whether copies of this process may do what does not wait for the rest, where there is a second core:
        let parts come to rest, mesh iron, and load parts with one thing lost.

    Returns
    -------
    Result
        The verdict, and everything found. `write_report` writes it into a folder.

    Raises
    ------
    SetupError
        `only` or `skip` names no check, or nothing is left to ask.
    """
    asked = chosen(only, skip)
    share = _Share(progress, held=setup.holding is not None and bool(asked & {*STEPS["holding"]}))
    findings: list[Finding] = []
    work = _Work(setup, asked, share, copied=copied)
    with contextlib.closing(work):
        if copied:
            work.begin()
        work.touch()
        for finding in _in_turn(work, share, findings, waits=only is None):
            findings.append(_as_stated(setup, finding))
            found(findings[-1])
    progress("done", 1.0)
    order = [*MODULES]
    findings.sort(key=lambda f: order.index(f.check) if f.check in order else -1)
    return _result(work, findings)


def _in_turn(work: _Work, share: _Share, findings: list[Finding], *, waits: bool) -> Iterator[Finding]:
    """Yield every finding, step by step; `findings` are those so far, as the set-up counts them.

    Parameters
    ----------
    waits : bool
        Whether the holding waits until parts stand and nest and no bodies overlap.
    """
    setup = work.stage.setup
    yield from suspicions(setup)
    for step, checks in STEPS.items():
        names = [name for name in checks if name in work.asked]
        share.begin(step)
        if step == "holding" and work.needs(step):
            clash = _clash(findings)
            if clash is not None and waits:
                yield from (_waiting(name, setup, clash) for name in names)
                continue
            if work.stage.contacts.overlaps and clash is None:
                yield _unreal(names[0], work.stage)
        if work.needs(step):
            work.work_out(step)
        yield from work.missing
        work.missing.clear()
        yield from _untold(work, names)
        for i, name in enumerate(names):
            if work.needs(step):
                share(f"check {name}", 0.9 + 0.1 * i / len(names))
            try:
                yield from (replace(f, check=name) for f in _ask(name, work))
            except (NotComputedError, KernelError) as reason:
                yield not_computed(setup.name, reason, check=name)
    if not any(f.check in MODULES for f in findings):
        yield _nothing(setup, work.asked)


def _ask(check_name: str, work: _Work) -> Iterable[Finding]:
    """Return what a check finds; `nest`, which tries solids, is asked again only where it may differ."""
    ask = cast("Check", import_module(MODULES[check_name])).check
    if check_name != "nest":
        return ask(work.stage)
    bare = replace(work.stage, setup=work.bare["rest"], cuts=())
    return recalled(work.keys["nest"], lambda: tuple(ask(bare)))


def _untold(work: _Work, names: list[str]) -> Iterator[Finding]:
    """Yield what a check that is left out would have said: that an answer all of them need is missing."""
    if not names:
        return
    rest, held = work.stage.answered, work.stage.held
    if rest and not rest.settled.rests and names[0] in {"location", "tolerance"}:
        why = settled_words(rest.settled, work.stage.setup.write)
        reason = NotComputedError(f"the parts do not come to rest: {why}")
        yield not_computed(work.stage.setup.name, reason, check=names[0])
    if held and names[0] in {"crash", "release"} and (names[0] == "crash" or held.release is None):
        for asked, why in held.unknown:
            yield not_computed(asked.subject, NotComputedError(why), check=names[0])


def _nothing(setup: Setup, asked: frozenset[str]) -> Finding:
    """Say that there was nothing to answer, which is no pass."""
    lacking = [f"{n.check} needs {n.lacks}" for n in not_asked(setup) if n.check in asked and n.lacks]
    names = [name for name in MODULES if name in asked]
    why = f": {'; '.join(lacking)}" if lacking else ""
    says = f"Nothing in this set-up answers {', '.join(names)}{why}."
    return judge(
        None,
        verdict=Verdict.UNKNOWN,
        check=names[0],
        subject=setup.name,
        kind=Kind.NOTHING_TO_ANSWER,
        says=says,
    )


def _clash(findings: list[Finding]) -> Finding | None:
    """Return the first finding by which the bodies cannot all be where they are drawn; None without one."""
    failed = [f for f in findings if f.verdict is Verdict.NO_GO]
    return next((f for f in failed if (f.check, f.kind) in _CLASHES or _hangs(f)), None)


def _hangs(finding: Finding) -> bool:
    """Tell whether a part hangs over a seat that is to carry it.

    A stop that stands open at its side leaves the part standing where it is.
    """
    way = finding.direction
    return (
        (finding.check, finding.kind) == ("seat", Kind.OPEN) and way is not None and abs(way[2]) >= _CARRIES
    )


def _waiting(check_name: str, setup: Setup, clash: Finding) -> Finding:
    """Say that a question of the holding waits for parts that nest."""
    says = (
        f"Not worked out: {clash.subject} is a no-go of {clash.check}, so the parts cannot stand as they are "
        f"drawn, and what holds them is not known."
    )
    return judge(
        None,
        verdict=Verdict.UNKNOWN,
        check=check_name,
        subject=setup.name,
        kind=Kind.WAITS,
        about=clash.about[:1],
        says=says,
        remedy=f"Cure that first; `--only {','.join(STEPS['holding'])}` works it out as drawn all the same.",
    )


def _unreal(check_name: str, stage: Stage) -> Finding:
    """Say that what follows is worked out for bodies that overlap."""
    pairs = "; ".join(f"{o.a} and {o.b}" for o in stage.contacts.overlaps[:_MOST_NAMED])
    says = f"{pairs} overlap as drawn, so the holding is worked out for parts that cannot stand like that."
    return judge(
        None,
        verdict=Verdict.UNKNOWN,
        check=check_name,
        subject=stage.setup.name,
        kind=Kind.OVERLAP,
        says=says,
    )


def _result(work: _Work, findings: list[Finding]) -> Result:
    """Put the result together."""
    stage, setup = work.stage, work.stage.setup
    return Result(
        verdict=worst(f.verdict for f in findings),
        name=setup.name,
        units=setup.units,
        small_lengths=setup.small_lengths,
        sources=setup.sources,
        findings=tuple(findings),
        contacts=tuple(replace(p.contact, patch=p.name) for p in stage.contacts.patches),
        cuts=tuple(c.made for c in stage.worked),
        dials=tuple(d.found for d in stage.dialled if d.found is not None),
        offsets=stage.offsets,
        shapes=_shapes(stage, findings),
        rest=rest_of(stage.answered) if stage.answered else None,
        holding=import_module("fixturecheck.hold").hold_found(setup, stage.held) if stage.held else None,
        hardening=stage.hardened,
        groups=grouped(findings, work.drawings),
        assumed=assumed(setup),
        stated=facts_of(setup),
        bodies=work.bodies,
        setup=setup,
        not_asked=not_asked(
            setup,
            left_out=frozenset(MODULES) - work.asked,
            rests=stage.answered is None or stage.answered.settled.rests,
        ),
    )


def _as_stated(setup: Setup, finding: Finding) -> Finding:
    """Let the set-up say what a no-go counts as, beside the check's own verdict, and where it is stated."""
    finding = replace(finding, origin=origin_of(setup, finding))
    if finding.verdict is not Verdict.NO_GO:
        return finding
    counts_as = Verdict(setup.severity.get(finding.check, finding.verdict))
    if counts_as is finding.verdict:
        return finding
    return replace(finding, verdict=counts_as, overruled=finding.verdict)


def _poles(body: Body) -> NamedShape:
    """Return where the poles that are set in a body show on its surface."""
    seen = [face for pole in body.poles for face in flush_faces(placed_at(pole.solid, pole.at), body.solid)]
    return NamedShape(
        name=f"{body.name} poles",
        role=Role.POLE,
        geometry=placed_at(compound(seen), body.at),
        bodies=(body.name,),
    )


def _shapes(stage: Stage, findings: list[Finding]) -> tuple[NamedShape, ...]:
    """Collect bodies, patches, cuts' regions and findings' evidence, each name once."""
    found: dict[str, NamedShape] = {}
    for body in stage.setup.bodies:
        role = Role.PART if body.role == BodyRole.PART else Role.FIXTURE
        shape = NamedShape(name=body.name, role=role, geometry=stage.placed[body.name], bodies=(body.name,))
        found[shape.name] = shape
        if body.poles:
            found[f"{body.name} poles"] = _poles(body)
    groups = [[p.shape for p in stage.contacts.patches], [o.shape for o in stage.contacts.overlaps]]
    groups += [list(c.shapes) for c in stage.worked] + [list(f.shapes) for f in findings]
    groups.append(list(rest_shapes(stage.answered)) if stage.answered else [])
    for group in groups:
        for shape in group:
            found.setdefault(shape.name, shape)
    return tuple(found.values())
