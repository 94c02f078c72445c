"""What a comparison finds, as plain values, and the known shortfalls that are accepted, beside the set-up."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.result.finding import BADNESS, Finding, Verdict
from fixturecheck.result.shapes import StatedValue

VERSION = 1
_NOISE = 1e-4
"""A margin that falls by no more than this share of itself, or this much, is still the one that is known."""


class Trend(StrEnum):
    """What became of a finding, or of a stated value."""

    WORSE = "worse"
    NEW = "new"
    BETTER = "better"
    GONE = "gone"
    SAME = "same"


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingChange:
    """A finding before and after.

    Parameters
    ----------
    change : Trend
        What became of it.
    before, after : Finding or None
        The finding on either side, `before` with bodies and faces called as they are after; None on a side
        that has none.
    known : bool
        Whether a baseline lets it stand.
    """

    change: Trend
    before: Finding | None
    after: Finding | None
    known: bool = False

    @property
    def finding(self) -> Finding:
        """The finding as it is now, or as it was where it is gone.

        Raises
        ------
        ValueError
            There is none on either side.
        """
        found = self.after or self.before
        if found is None:
            raise ValueError("a change is of a finding")
        return found

    @property
    def breaks(self) -> bool:
        """Whether it got worse and is beyond its limit now, without a baseline that lets it stand."""
        now = self.after
        worse = self.change in {Trend.WORSE, Trend.NEW} and not self.known
        return worse and now is not None and now.verdict in {Verdict.NO_GO, Verdict.CAUTION}

    @property
    def unknown(self) -> bool:
        """Whether it could be computed before, or was not asked, and cannot be computed now."""
        now = self.after
        worse = self.change in {Trend.WORSE, Trend.NEW} and not self.known
        return worse and now is not None and now.verdict is Verdict.UNKNOWN

    @property
    def differs(self) -> bool:
        """Whether its number changed, though nothing says which way is better."""
        b, a = self.before, self.after
        return b is not None and a is not None and self.change is Trend.SAME and b.value != a.value


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedChange:
    """A stated value before and after; `about` names things as they are called after.

    Parameters
    ----------
    change : Trend
        `new`, `gone`, or `same` where another value is stated.
    of, key : str
    about : tuple of str
        As in `StatedFact`.
    before, after : StatedValue
        None on a side that does not state it.
    """

    change: Trend
    of: str
    about: tuple[str, ...]
    key: str
    before: StatedValue = None
    after: StatedValue = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceChange:
    """A face before and after.

    Parameters
    ----------
    before, after : str
        Its names; empty on a side that does not have it.
    moved_mm : float or None
        How far a flat face moved along its outward normal, in the body's own frame; of a curved one the
        distance of its centres. None where it is new or gone.
    turned_deg : float
        By how much a flat face turned.
    """

    before: str
    after: str
    moved_mm: float | None = None
    turned_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidChange:
    """A body before and after.

    Parameters
    ----------
    before, after : str
        Its names; empty on a side that does not have it.
    change : Trend
        `new`, `gone`, or `same` where it is on both sides.
    before_mm3, after_mm3 : float
        Its volumes; zero on a side that does not have it.
    added_mm3, removed_mm3 : float or None
        What was added to the solid and removed from it; None where the solids were not at hand or the kernel
        could not tell.
    faces : tuple of FaceChange
        Those that moved, turned, are new or gone.
    """

    before: str
    after: str
    change: Trend
    before_mm3: float
    after_mm3: float
    added_mm3: float | None = None
    removed_mm3: float | None = None
    faces: tuple[FaceChange, ...] = ()

    @property
    def redrawn(self) -> bool:
        """Whether the solid itself is another, beyond its name."""
        return self.change is not Trend.SAME or bool(self.faces) or self.before_mm3 != self.after_mm3


@dataclass(frozen=True, slots=True, kw_only=True)
class Renames:
    """What has another name after than before.

    Parameters
    ----------
    bodies : mapping of str to str
        Name before to name after, of every body that is on both sides.
    faces : mapping of (str, str) to str
        Body before and face before, to the face after.
    cuts : mapping of str to str
        Name before to name after, where a cut was renamed.
    """

    bodies: Mapping[str, str] = field(default_factory=dict)
    faces: Mapping[tuple[str, str], str] = field(default_factory=dict)
    cuts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two results held together.

    Parameters
    ----------
    before, after : str
        What the two are called: files or revisions.
    verdict_before, verdict_after : Verdict
    names : tuple of str
        What the set-ups are called, before and after.
    units : str
        What lengths are written in.
    findings : tuple of FindingChange
        What is beyond its limit first, then worse, new, better, gone and same.
    stated : tuple of StatedChange
    solids : tuple of SolidChange
        Every body; those that changed first.
    no_longer_asked : tuple of str
        Checks that were asked before and are not asked now.
    no_longer_short : tuple of str
        Ids that a baseline lets stand and that need it no more.
    """

    before: str
    after: str
    names: tuple[str, str]
    verdict_before: Verdict
    verdict_after: Verdict
    units: str
    findings: tuple[FindingChange, ...]
    stated: tuple[StatedChange, ...] = ()
    solids: tuple[SolidChange, ...] = ()
    no_longer_asked: tuple[str, ...] = ()
    no_longer_short: tuple[str, ...] = ()

    @property
    def unchanged(self) -> bool:
        """Whether nothing at all is other than before."""
        told = any(c.change is not Trend.SAME or c.differs for c in self.findings)
        drawn = any(s.redrawn or s.before != s.after for s in self.solids)
        return not (told or drawn or self.stated or self.no_longer_asked)

    @property
    def breaks(self) -> bool:
        """Whether anything got worse and is beyond its limit."""
        return any(f.breaks for f in self.findings)

    @property
    def unknown(self) -> bool:
        """Whether anything can no longer be computed."""
        return any(f.unknown for f in self.findings)


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownShortfall:
    """A finding that is not go and is accepted.

    Parameters
    ----------
    id : str
        Of the finding.
    verdict : Verdict
    margin : float or None
        In `unit`; it may not fall further.
    says : str
        What it said, for who reads the file.
    """

    id: str
    verdict: Verdict
    margin: float | None
    unit: str
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """The known shortfalls of one set-up.

    Parameters
    ----------
    setup, file : str
        What the set-up is called, and its file.
    known : tuple of KnownShortfall
    """

    setup: str
    file: str
    known: tuple[KnownShortfall, ...]

    def lets_stand(self, finding: Finding) -> bool:
        """Tell whether a finding is known and has not got worse since."""
        for one in self.known:
            if one.id == finding.id:
                return not _worse(one, finding)
        return False


def no_longer_short(known: Baseline, findings: Iterable[Finding]) -> tuple[str, ...]:
    """Return the ids of a baseline that no finding which is not go has any more.

    Parameters
    ----------
    known : Baseline
        The accepted shortfalls.
    findings : iterable of Finding
        All that there are now.

    Returns
    -------
    tuple of str
        In the order of the baseline.
    """
    short = {f.id for f in findings if f.verdict is not Verdict.GO}
    return tuple(k.id for k in known.known if k.id not in short)


def _worse(known: KnownShortfall, now: Finding) -> bool:
    if BADNESS.index(now.verdict) != BADNESS.index(known.verdict):
        return BADNESS.index(now.verdict) > BADNESS.index(known.verdict)
    if known.margin is None or now.margin is None or known.unit != now.unit:
        return False
    return now.margin < known.margin - _NOISE * (1.0 + abs(known.margin))


def baseline_of(setup: str, file: str, findings: Iterable[Finding]) -> Baseline:
    """Return every finding that is not go as known.

    Parameters
    ----------
    setup, file : str
        What the set-up is called, and its file.
    findings : iterable of Finding
        All of its result.

    Returns
    -------
    Baseline
        In the order of their ids.
    """
    return Baseline(
        setup=setup,
        file=file,
        known=tuple(
            KnownShortfall(id=f.id, verdict=f.verdict, margin=f.margin, unit=f.unit, says=f.says)
            for f in sorted(findings, key=lambda f: f.id)
            if f.verdict is not Verdict.GO
        ),
    )


def with_baseline(changes: Iterable[FindingChange], known: Baseline) -> tuple[FindingChange, ...]:
    """Return changes with those marked that the baseline lets stand.

    Parameters
    ----------
    changes : iterable of FindingChange
        What became of each finding.
    known : Baseline
        The accepted shortfalls.

    Returns
    -------
    tuple of FindingChange
        In the same order; `known` is set where the finding after is not go and may stand.
    """
    return tuple(
        replace(
            c, known=c.after is not None and c.after.verdict is not Verdict.GO and known.lets_stand(c.after)
        )
        for c in changes
    )


def baseline_text(known: Baseline) -> str:
    """Return the file of a baseline: JSON, a finding a line, so that a change reads well in a diff.

    Parameters
    ----------
    known : Baseline
        The accepted shortfalls, written in their order.

    Returns
    -------
    str
        It ends with the end of a line.
    """
    head = {"tool": "fixturecheck", "baseline": VERSION, "setup": known.setup, "file": known.file}
    rows = [
        json.dumps(
            {"id": k.id, "verdict": str(k.verdict), "margin": k.margin, "unit": k.unit, "says": k.says},
            ensure_ascii=False,
        )
        for k in known.known
    ]
    lines = [f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}," for key, value in head.items()]
    body = ",\n  ".join(rows)
    return "{\n" + "\n".join(lines) + '\n"known": [' + (f"\n  {body}\n" if rows else "") + "]\n}\n"


def read_baseline(text: bytes, path: str, *, setup: str, file: str) -> Baseline:
    """Read a baseline for a set-up.

    Parameters
    ----------
    text : bytes
        What the file holds.
    path : str
        What to call it in a message.
    setup, file : str
        What the set-up is called that it is used for, and its file.

    Returns
    -------
    Baseline

    Raises
    ------
    SetupError
        It is no baseline, is broken, of a newer version, or of another set-up.
    """
    try:
        data = json.loads(text)
    except ValueError as reason:
        raise SetupError(f"{path} is no baseline: {reason}") from reason
    if not isinstance(data, dict) or data.get("tool") != "fixturecheck" or "baseline" not in data:
        raise SetupError(
            f"{path} is no baseline; `fixturecheck compare --write-baseline FILE RESULT` writes one"
        )
    if data["baseline"] != VERSION:
        raise SetupError(f"{path} is a baseline of version {data['baseline']}; this version reads {VERSION}")
    try:
        found = _read(data)
    except (KeyError, TypeError, ValueError) as reason:
        raise SetupError(f"{path} is a broken baseline: {type(reason).__name__} {reason}") from reason
    if found.setup != setup and (found.file != file or not file):
        raise SetupError(f"{path} is the baseline of another set-up, {found.setup!r}, not of {setup!r}")
    return found


def _read(data: dict[str, Any]) -> Baseline:
    return Baseline(
        setup=data["setup"],
        file=data["file"],
        known=tuple(
            KnownShortfall(
                id=row["id"],
                verdict=Verdict(row["verdict"]),
                margin=None if row["margin"] is None else float(row["margin"]),
                unit=row["unit"],
                says=row["says"],
            )
            for row in data["known"]
        ),
    )
