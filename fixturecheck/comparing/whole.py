"""Two results held together: which bodies and findings are the same before and after, and what got better.

A name that is on both sides stands for itself. What is left over is paired by place and size: each pair costs
how far apart the two are, and all together cost least.
"""

from __future__ import annotations

import math
import posixpath
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from scipy.optimize import linear_sum_assignment

from fixturecheck.comparing.model import (
    Comparison,
    FaceChange,
    FindingChange,
    Renames,
    SolidChange,
    StatedChange,
    Trend,
)
from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.names import BY_PLACE
from fixturecheck.result.finding import BADNESS, Finding, Origin
from fixturecheck.result.grouping import name_of
from fixturecheck.result.shapes import BodyDrawn, FaceDrawn, Role, StatedFact, StatedValue
from fixturecheck.result.stored import StoredResult, called_in

_MARGIN_NOISE = 2e-6
"""Numbers are kept to 1e-6; margins that differ by less, or by this share of themselves, are one."""
_UNPLACED_MM = 1e6
_NOISE = 1e-8
T = TypeVar("T")
_SAME_MM = 5e-6
"""Places are kept to 1e-6 mm; faces nearer to each other than this have not moved."""
_SAME_DEG = 1e-5
_MOST_TURNED_DEG = 20.0
"""A flat face that turned by more is another face."""
_ALIKE_VOLUME = 0.2
"""Bodies whose volumes differ by more than this share are not one that was renamed."""
_FAR = 1e9


def _renamed(finding: Finding, names: Renames) -> Finding:
    """Return a finding from before with bodies, faces and cut called as they are after."""
    return replace(
        finding,
        about=tuple(_name_after(one, names) for one in finding.about),
        named=names.bodies.get(finding.named, finding.named),
        cut=names.cuts.get(finding.cut, finding.cut),
    )


def _name_after(name: str, names: Renames) -> str:
    """Return what a body, or the faces of one, are called after."""
    ref = FaceRef(name)
    body = names.bodies.get(ref.body, ref.body)
    faces = [names.faces.get((ref.body, face), face) for face in ref.faces]
    return FaceRef.of(body, *faces)


def _finding_changes(
    before: Sequence[Finding], after: Sequence[Finding], names: Renames
) -> tuple[FindingChange, ...]:
    """Return every finding of either side, paired: by id, else by check and what it is about.

    Findings whose ids differ by number only are paired by place.
    """
    olds, news = [_renamed(f, names) for f in before], list(after)
    found: list[FindingChange] = []
    for key in (name_of, _loosely):
        old_rows, new_rows = _by(key, olds), _by(key, news)
        for name, mine in old_rows.items():
            theirs = new_rows.get(name, [])
            for i, j in _paired(mine, theirs, _apart):
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
    """Return what sorts changes: beyond the limit first, then by what became of them, the worst first.

    Parameters
    ----------
    change : FindingChange
        One with a finding on either side.

    Returns
    -------
    tuple
        A key for `sorted`.
    """
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

    Parameters
    ----------
    before, after : StoredResult
        The earlier and the later result.

    Returns
    -------
    Comparison

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

    Returns
    -------
    Comparison
        Without what is stated, and without solids.
    """
    return Comparison(
        before=before.path,
        after=after.path,
        names=(before.name, after.name),
        verdict_before=before.verdict,
        verdict_after=after.verdict,
        units=after.units,
        findings=_finding_changes(before.findings, after.findings, names),
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
        raise SetupError(
            f"{before.path} ({before.name}) and {after.path} ({after.name}) are of different set-ups: "
            "no part of the one is in the other"
        )


def _named(names: set[str]) -> set[str]:
    return names or {""}


def stated_changes(
    before: Iterable[StatedFact], after: Iterable[StatedFact], names: Renames
) -> tuple[StatedChange, ...]:
    """Return what is stated otherwise, or on one side only; a renamed thing is stated alike.

    Parameters
    ----------
    before, after : iterable of StatedFact
        What either set-up states.
    names : Renames
        What has another name after.

    Returns
    -------
    tuple of StatedChange
    """
    news = {(f.of, f.about, f.key): f.value for f in after}
    olds: dict[_FactKey, StatedValue] = {}
    for fact in before:
        key = _key(fact, names, news)
        olds[key] = _value_after(fact.value, news.get(key), names)
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
    both = {key[:2] for key in olds} & {key[:2] for key in news}
    return tuple(_gathered(found, both))


_FactKey = tuple[str, tuple[str, ...], str]


def _key(fact: StatedFact, names: Renames, news: Container[_FactKey]) -> _FactKey:
    """Return the key of a fact as things are called after; a clamp may be called as a body is."""
    if fact.of == "cut":
        about = tuple(names.cuts.get(name, name) for name in fact.about)
    else:
        about = tuple(str(_name_after(name, names)) for name in fact.about)
    # A key names one body, each from its own name: two may have swapped theirs.
    moved = (fact.key.replace(f".{old}.", f".{new}.") for old, new in names.bodies.items() if old != new)
    renamed = ((fact.of, about, key) for key in moved if key != fact.key)
    return next((key for key in renamed if key in news), (fact.of, about, fact.key))


def _value_after(value: StatedValue, after: StatedValue, names: Renames) -> StatedValue:
    """Return a stated value with bodies called as they are after; a text that stays is no body's name."""
    if isinstance(value, tuple):
        others = after if isinstance(after, tuple) and len(after) == len(value) else (None,) * len(value)
        return tuple(_value_after(one, other, names) for one, other in zip(value, others, strict=True))
    return names.bodies.get(value, value) if isinstance(value, str) and value != after else value


def _alike(one: StatedValue, other: StatedValue) -> bool:
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    numbers = not isinstance(one, bool | str) and not isinstance(other, bool | str)
    if numbers and isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= _NOISE * (1.0 + max(abs(one), abs(other)))
    return one == other and type(one) is type(other)


def _gathered(
    changes: Iterable[StatedChange], both: Container[tuple[str, tuple[str, ...]]]
) -> Iterable[StatedChange]:
    """Put what is new or gone as a whole, as a seat or the table of staging, in one line of its own.

    Of what is on both sides, a key that came or went with nothing stated is left out.
    """
    rows: dict[tuple[Trend, str, tuple[str, ...]], list[StatedChange]] = {}
    for change in changes:
        rows.setdefault((change.change, change.of, change.about), []).append(change)
    for (change_kind, of, about), several in rows.items():
        if change_kind is Trend.SAME:
            yield from several
        elif (of, about) not in both:
            yield StatedChange(change=change_kind, of=of, about=about, key="")
        else:
            nothing: tuple[StatedValue, ...] = (None, ())
            yield from (c for c in several if c.before not in nothing or c.after not in nothing)


def of_operation(number: int, result: StoredResult, setup: str) -> StoredResult:
    """Return the result of an operation as a part of its job's.

    Parameters
    ----------
    number : int
        Stands before the names of bodies and cuts.
    result : StoredResult
        The operation's own.
    setup : str
        The set-up's file from the job's folder, from where findings then say what file they come from.

    Returns
    -------
    StoredResult
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

    Returns
    -------
    StoredResult
        The findings of the job itself come first.
    """
    return replace(
        whole,
        bodies=tuple(b for one in operations for b in one.bodies),
        stated=tuple(s for one in operations for s in one.stated),
        findings=(*whole.findings, *(f for one in operations for f in one.findings)),
    )


def _paired(before: Sequence[T], after: Sequence[T], cost: Callable[[T, T], float]) -> list[tuple[int, int]]:
    """Return the pairs, as places in the two lists, that cost least together; `_FAR` and more is no pair."""
    if not before or not after:
        return []
    if len(before) == len(after) == 1:
        return [(0, 0)] if cost(before[0], after[0]) < _FAR else []
    costs = np.array([[min(cost(b, a), _FAR) for a in after] for b in before])
    rows, columns = linear_sum_assignment(costs)
    found = zip(rows.tolist(), columns.tolist(), strict=True)
    return [(i, j) for i, j in found if costs[i, j] < _FAR]


def _bodies_paired(
    before: Sequence[BodyDrawn], after: Sequence[BodyDrawn]
) -> list[tuple[BodyDrawn, BodyDrawn]]:
    """Return each body with what it has become, by name, else by role, size and place."""
    there = {b.name: b for b in after}
    named = [(b, there[b.name]) for b in before if b.name in there]
    taken = {b.name for b, _ in named}
    left = [b for b in before if b.name not in taken]
    free = [b for b in after if b.name not in taken]
    return named + [(left[i], free[j]) for i, j in _paired(left, free, _body_cost)]


def _body_cost(one: BodyDrawn, other: BodyDrawn) -> float:
    large = max(one.volume_mm3, other.volume_mm3)
    size = max(*one.size_mm, *other.size_mm)
    apart = math.dist(one.centre_mm, other.centre_mm)
    differs = math.dist(sorted(one.size_mm), sorted(other.size_mm))
    far = (
        one.role != other.role
        or apart > size
        or abs(one.volume_mm3 - other.volume_mm3) > _ALIKE_VOLUME * large
    )
    return _FAR if far else apart + differs


def _faces_paired(before: BodyDrawn, after: BodyDrawn) -> list[tuple[FaceDrawn, FaceDrawn]]:
    """Return each face of a body with what it has become."""
    if before.faces == after.faces:
        return list(zip(before.faces, after.faces, strict=True))
    size = max(*before.size_mm, *after.size_mm)
    found = _paired(before.faces, after.faces, lambda b, a: _face_cost(b, a, size))
    return [(before.faces[i], after.faces[j]) for i, j in found]


def _face_cost(one: FaceDrawn, other: FaceDrawn, size_mm: float) -> float:
    """Return how far two faces are from being one; the same given name is worth a quarter of the body."""
    if one.kind != other.kind:
        return _FAR
    turned_deg = _turned_deg(one, other)
    if turned_deg > _MOST_TURNED_DEG:
        return _FAR
    named = one.name == other.name and not BY_PLACE.fullmatch(one.name)
    apart = math.dist(one.centre_mm, other.centre_mm)
    differs = abs(math.sqrt(one.area_mm2) - math.sqrt(other.area_mm2))
    turned = math.radians(turned_deg) * size_mm
    if not named and apart + differs > size_mm:
        return _FAR
    return apart + differs + turned + (0.0 if named else 0.25 * size_mm)


def _turned_deg(one: FaceDrawn, other: FaceDrawn) -> float:
    if one.normal is None or other.normal is None:
        return 0.0
    # Each face of a body is held against each: arrays of three numbers cost thirty times as much.
    (a, b, c), (x, y, z) = one.normal, other.normal
    across = math.hypot(b * z - c * y, c * x - a * z, a * y - b * x)
    return math.degrees(math.atan2(across, a * x + b * y + c * z))


def face_changes(before: BodyDrawn, after: BodyDrawn) -> tuple[FaceChange, ...]:
    """Return the faces of a body that moved, turned, are new or gone.

    Parameters
    ----------
    before, after : BodyDrawn
        The body on either side.

    Returns
    -------
    tuple of FaceChange
        Those that moved farthest first.
    """
    pairs = _faces_paired(before, after)
    found = [c for b, a in pairs if (c := _moved(b, a)) is not None]
    olds, news = {id(b) for b, _ in pairs}, {id(a) for _, a in pairs}
    found += [FaceChange(before=f.name, after="") for f in before.faces if id(f) not in olds]
    found += [FaceChange(before="", after=f.name) for f in after.faces if id(f) not in news]
    return tuple(sorted(found, key=lambda c: (-abs(c.moved_mm or 0.0), c.after, c.before)))


def _moved(before: FaceDrawn, after: FaceDrawn) -> FaceChange | None:
    """Return how a face moved; None where it stands as it was. A flat face moves along its normal only."""
    if before == after:
        return None
    step = np.subtract(after.centre_mm, before.centre_mm)
    if before.normal is not None and after.normal is not None:
        # The mean of the two normals, so that the way back is as long.
        mean = np.add(before.normal, after.normal)
        moved = float(step @ mean / np.linalg.norm(mean))
    else:
        moved = float(np.linalg.norm(step))
    turned = _turned_deg(before, after)
    if abs(moved) <= _SAME_MM and turned <= _SAME_DEG:
        return None
    return FaceChange(
        before=before.name,
        after=after.name,
        moved_mm=moved if abs(moved) > _SAME_MM else 0.0,
        turned_deg=turned if turned > _SAME_DEG else 0.0,
    )


def solid_changes(before: Sequence[BodyDrawn], after: Sequence[BodyDrawn]) -> tuple[SolidChange, ...]:
    """Return what became of each body, those that changed first; what was added and removed is left open.

    Parameters
    ----------
    before, after : sequence of BodyDrawn
        All bodies of either side.

    Returns
    -------
    tuple of SolidChange
        One for each body of either side; a pair shares one.
    """
    pairs = _bodies_paired(before, after)
    found = [
        SolidChange(
            before=b.name,
            after=a.name,
            change=Trend.SAME,
            before_mm3=b.volume_mm3,
            after_mm3=a.volume_mm3,
            faces=face_changes(b, a),
        )
        for b, a in pairs
    ]
    olds, news = {b.name for b, _ in pairs}, {a.name for _, a in pairs}
    for body in before:
        if body.name not in olds:
            gone = SolidChange(
                before=body.name, after="", change=Trend.GONE, before_mm3=body.volume_mm3, after_mm3=0.0
            )
            found.append(gone)
    for body in after:
        if body.name not in news:
            new = SolidChange(
                before="", after=body.name, change=Trend.NEW, before_mm3=0.0, after_mm3=body.volume_mm3
            )
            found.append(new)
    return tuple(sorted(found, key=lambda s: (not s.redrawn, s.before == s.after, s.after, s.before)))


def renames(
    before: Sequence[BodyDrawn], after: Sequence[BodyDrawn], cuts: tuple[Iterable[str], Iterable[str]]
) -> Renames:
    """Return what has another name after: bodies, their faces, and a cut where just one was renamed.

    Parameters
    ----------
    before, after : sequence of BodyDrawn
        All bodies of either side.
    cuts : tuple of (iterable of str, iterable of str)
        Names of the cuts before, and after.

    Returns
    -------
    Renames
    """
    bodies: dict[str, str] = {}
    faces: dict[tuple[str, str], str] = {}
    for one, other in _bodies_paired(before, after):
        bodies[one.name] = other.name
        there, here = {f.name for f in other.faces}, {f.name for f in one.faces}
        for b, a in sorted(_faces_paired(one, other), key=lambda pair: -pair[0].area_mm2):
            # A name that is on both sides stands for itself.
            if b.name not in there and a.name not in here:
                faces.setdefault((one.name, b.name), a.name)
    olds, news = (dict.fromkeys(names) for names in cuts)
    left, free = [c for c in olds if c not in news], [c for c in news if c not in olds]
    renamed = {left[0]: free[0]} if len(left) == len(free) == 1 else {}
    return Renames(bodies=bodies, faces=faces, cuts=renamed)
