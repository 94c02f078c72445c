"""Two results held together: which findings answer the same question, and whether the answer got better."""

from __future__ import annotations

import math
import posixpath
from collections.abc import Iterable, Sequence
from dataclasses import replace

from fixturecheck.comparing.model import Comparison, FindingChange, Renames, StatedChange, Trend
from fixturecheck.comparing.solids import paired, renames, solid_changes
from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.result.finding import BADNESS, Finding, Origin
from fixturecheck.result.grouping import name_of
from fixturecheck.result.shapes import Role, StatedFact, StatedValue
from fixturecheck.result.stored import StoredResult, called_in

_MARGIN_NOISE = 2e-6
"""Numbers are kept to 1e-6; margins that differ by less, or by this share of themselves, are one."""
_UNPLACED_MM = 1e6
_NOISE = 1e-8


def renamed(finding: Finding, names: Renames) -> Finding:
    """Return a finding from before with bodies, faces and cut called as they are after."""
    return replace(
        finding,
        about=tuple(name_after(one, names) for one in finding.about),
        named=names.bodies.get(finding.named, finding.named),
        cut=names.cuts.get(finding.cut, finding.cut),
    )


def name_after(name: str, names: Renames) -> str:
    """Return what a body, or the faces of one, are called after."""
    ref = FaceRef(name)
    body = names.bodies.get(ref.body, ref.body)
    faces = [names.faces.get((ref.body, face), face) for face in ref.faces]
    return FaceRef.of(body, *faces)


def finding_changes(
    before: Sequence[Finding], after: Sequence[Finding], names: Renames
) -> tuple[FindingChange, ...]:
    """Return every finding of either side, paired: by id, else by check and what it is about.

    Findings whose ids differ by number only are paired by place.
    """
    olds, news = [renamed(f, names) for f in before], list(after)
    found: list[FindingChange] = []
    for key in (name_of, _loosely):
        old_rows, new_rows = _by(key, olds), _by(key, news)
        for name, mine in old_rows.items():
            theirs = new_rows.get(name, [])
            for i, j in paired(mine, theirs, _apart):
                found.append(_pair(mine[i], theirs[j]))
        seen = {id(f) for c in found for f in (c.before, c.after)}
        olds = [f for f in olds if id(f) not in seen]
        news = [f for f in news if id(f) not in seen]
    found += [FindingChange(change=Trend.GONE, before=f, after=None) for f in olds]
    found += [FindingChange(change=Trend.NEW, before=None, after=f) for f in news]
    return tuple(sorted(found, key=order_of))


def _loosely(finding: Finding) -> object:
    """Return what findings share that answer one check about the same things, by whichever question."""
    return finding.check, tuple(sorted(finding.about)) or finding.subject, finding.named, finding.cut


def _by(key: object, findings: Iterable[Finding]) -> dict[object, list[Finding]]:
    rows: dict[object, list[Finding]] = {}
    for finding in findings:
        rows.setdefault(key(finding), []).append(finding)  # type: ignore[operator]  # a function of a finding
    return rows


def _apart(one: Finding, other: Finding) -> float:
    """Return how far apart two answers to a question are, those of one kind and unit first."""
    here, there = one.location_mm, other.location_mm
    far = math.dist(here, there) if here and there else _UNPLACED_MM * (here != there)
    return far + _UNPLACED_MM * ((one.unit != other.unit) + (one.kind != other.kind))


def _pair(before: Finding, after: Finding) -> FindingChange:
    return FindingChange(change=_change_of(before, after), before=before, after=after)


def _change_of(before: Finding, after: Finding) -> Trend:
    """Return whether a finding is better or worse: by its verdict, else by its distance from the limit."""
    was, now = BADNESS.index(before.verdict), BADNESS.index(after.verdict)
    if was != now:
        return Trend.WORSE if now > was else Trend.BETTER
    if before.margin is None or after.margin is None or before.unit != after.unit:
        return Trend.SAME
    gained = after.margin - before.margin
    if abs(gained) <= _MARGIN_NOISE * (1.0 + max(abs(before.margin), abs(after.margin))):
        return Trend.SAME
    return Trend.BETTER if gained > 0 else Trend.WORSE


def order_of(change: FindingChange) -> tuple[object, ...]:
    """Return what sorts changes: beyond the limit first, then by what became of them, the worst first."""
    finding = change.finding
    urgent = 0 if change.breaks else 1 if change.unknown else 2
    return (
        urgent,
        list(Trend).index(change.change),
        -BADNESS.index(finding.verdict),
        finding.check,
        finding.id,
    )


def compared(before: StoredResult, after: StoredResult) -> Comparison:
    """Return what became of everything between two results.

    Raises
    ------
    SetupError
        The two have no body in common, so that they are of different set-ups.
    """
    cuts = tuple([s.about[0] for s in side.stated if s.of == "cut"] for side in (before, after))
    names = renames(before.bodies, after.bodies, (cuts[0], cuts[1]))
    _refuse_strangers(before, after, names)
    silent = {n.check for n in after.not_asked} - {n.check for n in before.not_asked}
    return replace(
        findings_compared(before, after, names),
        stated=stated_changes(before.stated, after.stated, names),
        solids=solid_changes(before.bodies, after.bodies),
        no_longer_asked=tuple(n.check for n in after.not_asked if n.check in silent),
    )


def findings_compared(before: StoredResult, after: StoredResult, names: Renames) -> Comparison:
    """Return what became of the findings of a result, and of nothing else.

    Parameters
    ----------
    before, after : StoredResult
    names : Renames
        What bodies and faces are called after.
    """
    return Comparison(
        before=before.path,
        after=after.path,
        names=(before.name, after.name),
        verdict_before=before.verdict,
        verdict_after=after.verdict,
        units=after.units,
        findings=finding_changes(before.findings, after.findings, names),
    )


def _refuse_strangers(before: StoredResult, after: StoredResult, names: Renames) -> None:
    parts = {b.name for b in before.bodies if b.role == Role.PART}
    if before.bodies and after.bodies:
        alike = bool(parts & set(names.bodies))
    else:
        one, other = (
            _named({FaceRef(n).body for f in side.findings for n in f.about}) for side in (before, after)
        )
        alike = bool(one & other)
    if not alike:
        message = (
            f"{before.path} ({before.name}) and {after.path} ({after.name}) are of different set-ups: "
            "no part of the one is in the other"
        )
        raise SetupError(message)


def _named(names: set[str]) -> set[str]:
    return names or {""}


def stated_changes(
    before: Iterable[StatedFact], after: Iterable[StatedFact], names: Renames
) -> tuple[StatedChange, ...]:
    """Return what is stated otherwise, or on one side only; a renamed thing is stated alike."""
    olds = {_key(fact, names): fact.value for fact in before}
    news = {(f.of, f.about, f.key): f.value for f in after}
    found = []
    for key in dict.fromkeys((*olds, *news)):
        if key in olds and key in news and _alike(olds[key], news[key]):
            continue
        change = Trend.SAME if key in olds and key in news else Trend.GONE if key in olds else Trend.NEW
        of, about, name = key
        found.append(
            StatedChange(
                change=change, of=of, about=about, key=name, before=olds.get(key), after=news.get(key)
            )
        )
    return tuple(_gathered(found))


def _key(fact: StatedFact, names: Renames) -> tuple[str, tuple[str, ...], str]:
    if fact.of == "cut":
        about = tuple(names.cuts.get(name, name) for name in fact.about)
    else:
        about = tuple(str(name_after(name, names)) for name in fact.about)
    return fact.of, about, fact.key


def _alike(one: StatedValue, other: StatedValue) -> bool:
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    numbers = not isinstance(one, bool | str) and not isinstance(other, bool | str)
    if numbers and isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= _NOISE * (1.0 + max(abs(one), abs(other)))
    return one == other and type(one) is type(other)


def _gathered(changes: Iterable[StatedChange]) -> Iterable[StatedChange]:
    """Put what is new or gone as a whole, a seat or a cut, in one line of its own."""
    rows: dict[tuple[Trend, str, tuple[str, ...]], list[StatedChange]] = {}
    for change in changes:
        rows.setdefault((change.change, change.of, change.about), []).append(change)
    for (change_kind, of, about), several in rows.items():
        whole = of in {"body", "seat", "cut"} and change_kind is not Trend.SAME and len(several) > 1
        if whole:
            yield StatedChange(change=change_kind, of=of, about=about, key="")
        else:
            yield from several


def of_operation(number: int, result: StoredResult, setup: str) -> StoredResult:
    """Return the result of an operation as a part of its job's.

    Parameters
    ----------
    number : int
        Stands before the names of bodies and cuts.
    setup : str
        The set-up's file from the job's folder, from where findings then say what file they come from.
    """

    def from_job(origin: Origin | None) -> Origin | None:
        return origin and replace(origin, file=posixpath.normpath(posixpath.join(folder, origin.file)))

    folder = posixpath.dirname(setup)

    def face(name: str) -> str:
        ref = FaceRef(name)
        return FaceRef.of(called_in(number, ref.body), *ref.faces)

    return replace(
        result,
        bodies=tuple(replace(b, name=called_in(number, b.name)) for b in result.bodies),
        stated=tuple(
            replace(s, about=tuple(called_in(number, a) for a in s.about) or (called_in(number, s.of),))
            for s in result.stated
        ),
        findings=tuple(
            replace(
                f,
                id=called_in(number, f.id),
                subject=called_in(number, f.subject),
                about=tuple(map(face, f.about)),
                named=called_in(number, f.named),
                cut=called_in(number, f.cut),
                origin=from_job(f.origin),
            )
            for f in result.findings
        ),
        not_asked=(),
    )


def with_operations(whole: StoredResult, operations: Sequence[StoredResult]) -> StoredResult:
    """Return a job's result with all that its operations tell.

    Parameters
    ----------
    whole : StoredResult
        What the job's own file tells, which no operation does.
    operations : sequence of StoredResult
        As `of_operation` returns them.
    """
    return replace(
        whole,
        bodies=tuple(b for one in operations for b in one.bodies),
        stated=tuple(s for one in operations for s in one.stated),
        findings=(*whole.findings, *(f for one in operations for f in one.findings)),
    )
