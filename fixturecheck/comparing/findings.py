"""Which findings answer the same question before and after, and whether the answer is better or worse."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from fixturecheck.comparing.model import FindingChange, Renames, Trend
from fixturecheck.comparing.solids import paired
from fixturecheck.faceref import FaceRef
from fixturecheck.result.finding import BADNESS, Finding
from fixturecheck.result.finding_id import name_of

_NOISE = 2e-6
"""Numbers are kept to 1e-6; margins that differ by less, or by this share of themselves, are one."""
_UNPLACED_MM = 1e6


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
    if abs(gained) <= _NOISE * (1.0 + max(abs(before.margin), abs(after.margin))):
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
