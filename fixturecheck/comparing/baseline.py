"""The known shortfalls that are accepted, as a file beside the set-up."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from fixturecheck.comparing.model import FindingChange
from fixturecheck.errors import SetupError
from fixturecheck.result.finding import BADNESS, Finding, Verdict

VERSION = 1
_NOISE = 1e-4
"""A margin that falls by no more than this share of itself, or this much, is still the one that is known."""


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
    """Return every finding that is not go as known."""
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
    """Return changes with those marked that the baseline lets stand."""
    return tuple(
        replace(
            c, known=c.after is not None and c.after.verdict is not Verdict.GO and known.lets_stand(c.after)
        )
        for c in changes
    )


def baseline_text(known: Baseline) -> str:
    """Return the file of a baseline: JSON, a finding a line, so that a change reads well in a diff."""
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
    path : str
        What to call it in a message.
    setup, file : str
        What the set-up is called that it is used for, and its file.

    Raises
    ------
    SetupError
        It is no baseline, is broken, of a newer version, or of another set-up.
    """
    try:
        data = json.loads(text)
    except ValueError as reason:
        message = f"{path} is no baseline: {reason}"
        raise SetupError(message) from reason
    if not isinstance(data, dict) or data.get("tool") != "fixturecheck" or "baseline" not in data:
        message = f"{path} is no baseline; `fixturecheck compare --write-baseline FILE RESULT` writes one"
        raise SetupError(message)
    if data["baseline"] != VERSION:
        message = f"{path} is a baseline of version {data['baseline']}; this version reads {VERSION}"
        raise SetupError(message)
    try:
        found = _read(data)
    except (KeyError, TypeError, ValueError) as reason:
        message = f"{path} is a broken baseline: {type(reason).__name__} {reason}"
        raise SetupError(message) from reason
    if found.setup != setup and (found.file != file or not file):
        message = f"{path} is the baseline of another set-up, {found.setup!r}, not of {setup!r}"
        raise SetupError(message)
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
