"""Which question a finding answers, the id it gets from that, and which findings are reported as one.

The id is the name by which a finding is known from one result to the next, whatever its verdict and numbers.
It is `check/question`, then what the finding is about: `/body.face` for each body or face, `:NAME` for
what is neither body nor cut, `@CUT` for a cut. Only where one question has several answers about the same
things, as two points where the same two faces meet, are they numbered by place: `~2`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from enum import StrEnum
from urllib.parse import quote

from fixturecheck.faceref import FaceRef
from fixturecheck.result.contact import Mover
from fixturecheck.result.finding import Finding, Group, Kind, Verdict

CAUSES = frozenset(
    {
        ("seat", Kind.STANDS_ON_NOTHING),
        ("seat", Kind.OPEN),
        ("seat", Kind.ON_A_LINE),
        ("seat", Kind.NOT_MEANT),
        ("seat", Kind.NO_FOOTING),
        ("seat", Kind.TOUCHES_NOTHING),
        ("seat", Kind.OVERLAP),
        ("nest", Kind.OPEN),
        ("nest", Kind.OVERLAP),
        ("touch", Kind.OVERLAP),
    }
)
"""No-go, by check and kind, that leave a part elsewhere than drawn; other answers about the part follow."""

BOTH_MOVE = Kind.OVERLAP
"""The kind in which neither body is known to be the one in the wrong place."""

OF_THE_GANG = frozenset({("rest", Kind.OVERLAPS), ("rest", Kind.ORDER)})
"""Answers about all parts at once that change once neighbours nest and none is drawn into another."""

CONSEQUENCES = frozenset({"rest", "location", "tolerance", "hold", "crash", "release"})
"""Checks whose answer about a part changes once the part sits where it is drawn."""

OF_ONE_BODY = frozenset({("touch", Kind.FREE)})
"""Answers, by check and kind, that change once the body is no longer drawn into another."""

BESIDE_THE_SHARE = Kind.MEETS
"""The kind that only says that a seat closes: reported with the share of the face that does."""

_SAME_SHARE, _SAME = 1e-6, 1e-9
"""Margins that differ by less of themselves, or by less, are one: copies of a part differ by rounding."""

Key = tuple[object, ...]
EITHER_WAY = frozenset(
    {Kind.OVERLAP, Kind.BESIDE_THE_NEST, Kind.LANDS_FIRST, Kind.DOES_NOT_GO_IN, Kind.TOUCH, Kind.CLEAR,
     Kind.KEEPS_MAGNETISM, Kind.HOLES, Kind.DEMAGNETISE}
)  # fmt: skip
"""Kinds about bodies of which none comes first: their order is that of a list, and says nothing."""
_SAFE = "._-+"
_MM = 4
"""Decimals of a place, in mm, by which answers to one question are put in order."""


def grouped(findings: Sequence[Finding], drawings: Mapping[str, str]) -> tuple[Group, ...]:
    """Return the groups of a result's findings; every finding is in exactly one.

    Findings are alike where check, kind, verdict, unit and cut are the same and they are about copies of the
    same bodies; and where all of them wait for one clash. A finding that is not go follows from a no-go of
    `CAUSES` about the same part; a seat on a body that stands on nothing follows from that. That a seat
    closes is reported under the share that does.

    Parameters
    ----------
    findings : sequence of Finding
        In the order of `Result.findings`.
    drawings : mapping of str to str
        The drawing of each body by the body's name: equal for copies of one part, whatever the text is.

    Returns
    -------
    tuple of Group
        In the order of their first findings.
    """
    together = _alike(findings, range(len(findings)), drawings)
    causes = [members for members in together if _is_cause(findings[members[0]])]
    owner: dict[int, int] = {}
    for i, finding in enumerate(findings):
        may = (
            finding.check in CONSEQUENCES
            or finding.kind is Kind.ON_NOTHING
            or (finding.check, finding.kind) in OF_ONE_BODY
        )
        if may and finding.overruled is None and finding.verdict is not Verdict.GO:
            for number, members in enumerate(causes):
                if any(_follows(finding, findings[m]) for m in members):
                    owner[i] = number
                    break
    beside = _beside_the_share(findings)
    groups = []
    for members in together:
        own = [m for m in members if m not in owner and m not in beside]
        if not own:
            continue
        mine = causes.index(members) if members in causes else None
        under = [i for i, number in owner.items() if number == mine]
        under += [i for i, share in beside.items() if share in own or share in under]
        follows = tuple(_group(findings, found) for found in _alike(findings, under, drawings))
        groups.append(_group(findings, own, follows))
    return tuple(groups)


def _beside_the_share(findings: Sequence[Finding]) -> dict[int, int]:
    """Return, by the place of each finding that a seat closes, the place of the one that tells its share."""
    shares = {
        (f.check, f.about): i
        for i, f in enumerate(findings)
        if f.kind in {Kind.CLOSED, Kind.ON_A_LINE, Kind.ALONG_ITS_ROUND, Kind.ON_NOTHING}
    }
    return {
        i: shares[f.check, f.about]
        for i, f in enumerate(findings)
        if f.kind is BESIDE_THE_SHARE and (f.check, f.about) in shares
    }


def _group(findings: Sequence[Finding], members: Sequence[int], follows: tuple[Group, ...] = ()) -> Group:
    """Put the member that is furthest from its limit first; of those alike but for rounding the first."""
    margins = [_margin(findings[i]) for i in members]
    least = min(margins)
    lead = next(
        i
        for i, m in zip(members, margins, strict=True)
        if math.isclose(m, least, rel_tol=_SAME_SHARE, abs_tol=_SAME)
    )
    return Group(lead=lead, like=tuple(m for m in members if m != lead), follows=follows)


def _margin(finding: Finding) -> float:
    return 0.0 if finding.margin is None else finding.margin


def _alike(
    findings: Sequence[Finding], places: Sequence[int] | range, drawings: Mapping[str, str]
) -> list[list[int]]:
    """Return the places of like findings together, in the order of the first of each."""
    together: dict[Key, list[int]] = {}
    for i in places:
        together.setdefault(_key(findings[i], i, drawings), []).append(i)
    return list(together.values())


def _key(finding: Finding, place: int, drawings: Mapping[str, str]) -> Key:
    """Return what like findings share; one without a kind, or about nothing, is like no other.

    What waits for one clash waits for the same cure, whatever the check.
    """
    if not finding.kind or not finding.about:
        return (place,)
    if finding.kind is Kind.WAITS:
        return (finding.kind, finding.about)
    about = tuple(_drawn(one, drawings) for one in finding.about)
    return (
        finding.check,
        finding.kind,
        finding.verdict,
        finding.overruled,
        finding.unit,
        finding.cut,
        tuple(sorted(about)) if finding.kind is BOTH_MOVE else about,
        finding.limit is None,
        finding.remedy is None,
    )


def _drawn(one: str, drawings: Mapping[str, str]) -> tuple[str, str]:
    ref = FaceRef(one)
    return drawings.get(ref.body, ref.body), ref.face


def _is_cause(finding: Finding) -> bool:
    return finding.verdict is Verdict.NO_GO and (finding.check, finding.kind) in CAUSES


def _follows(finding: Finding, cause: Finding) -> bool:
    """Tell whether a finding is about a part that a cause leaves elsewhere than drawn."""
    if Kind.STANDS_ON_NOTHING in {cause.kind, finding.kind} or finding.kind is Kind.ON_NOTHING:
        same = finding.kind is Kind.ON_NOTHING and cause.kind is Kind.STANDS_ON_NOTHING
        return same and _body(finding.about[1]) == _body(cause.about[0])
    if (finding.check, finding.kind) in OF_THE_GANG:
        return cause.kind is BOTH_MOVE or cause.check == "nest"
    if not finding.about or not cause.about:
        return False
    moved = {_body(one) for one in (cause.about if cause.kind is BOTH_MOVE else cause.about[:1])}
    return _body(finding.about[0]) in moved


def _body(one: str) -> str:
    return FaceRef(one).body


class Passage(StrEnum):
    """How what moves in a cut passes a body, or the tip of a clamp that is not drawn."""

    HITS = "hits"
    RUBS = "rubs"
    CLOSE = "close"
    CLEARS = "clears"
    HITS_CLAMP = "hits clamp"


PASSAGES: Mapping[tuple[Mover, Passage], Kind] = {
    (mover, how): Kind(f"{mover} {how}") for mover in Mover for how in Passage
}
"""The kind of finding, by what moves and how it passes."""
QUESTIONS: Mapping[tuple[str, Kind], str] = {
    ("seat", Kind.CLOSED): "share",
    ("seat", Kind.ON_A_LINE): "share",
    ("seat", Kind.ON_NOTHING): "share",
    ("seat", Kind.MEETS): "gap",
    ("seat", Kind.OPEN): "gap",
    ("seat", Kind.NO_FOOTING): "no footing",
    ("seat", Kind.TOUCHES_NOTHING): "no footing",
    ("seat", Kind.STANDS_ON_NOTHING): "stands",
    ("seat", Kind.ATTACHED): "stands",
    ("nest", Kind.CLOSED): "share",
    ("nest", Kind.ON_A_LINE): "share",
    ("nest", Kind.MEETS): "gap",
    ("nest", Kind.OPEN): "gap",
    ("nest", Kind.DRAWN_OPEN): "gap",
    ("rest", Kind.NO_REST): "comes to rest",
    ("rest", Kind.OVERLAPS): "comes to rest",
    ("location", Kind.FOLLOWS): "located",
    ("location", Kind.FREE): "located",
    **{
        ("clear", kind): "clamp clearance" if how is Passage.HITS_CLAMP else f"{mover} clearance"
        for (mover, how), kind in PASSAGES.items()
    },
    ("clear", Kind.CLAMP_NOT_DRAWN): "clamp clearance",
    ("clear", Kind.CLAMP_CLEARS): "clamp clearance",
}
"""By check and kind, the question that several kinds answer; any other kind is a question of its own."""


def question_of(finding: Finding) -> str:
    """Return which of its check's questions a finding answers, or leaves unanswered.

    Parameters
    ----------
    finding : Finding
        With the name of its check.

    Returns
    -------
    str
        As in `QUESTIONS`, else the kind itself; empty where the finding has none.
    """
    kind = finding.asks or finding.kind
    return "" if kind is None else QUESTIONS.get((finding.check, kind), str(kind))


def kinds_of(check: str, question: str) -> tuple[Kind, ...]:
    """Return the kinds of finding that answer a question of a check, as `question_of` names it.

    Parameters
    ----------
    check : str
        Name of the check.
    question : str
        What it asks, or a kind that no question joins with others.

    Returns
    -------
    tuple of Kind
        Empty where there is no such question.
    """
    joined = tuple(kind for (of, kind), asked in QUESTIONS.items() if of == check and asked == question)
    return joined or tuple(kind for kind in Kind if kind == question)


def name_of(finding: Finding) -> str:
    """Return the id of a finding, where nothing else answers its question about the same things.

    Parameters
    ----------
    finding : Finding
        With the name of its check; its own id plays no part.

    Returns
    -------
    str
        Check, question and what it is about with `/` between, then `:NAMED` and `@CUT` where it has them.
    """
    about = [*finding.about]
    if (finding.asks or finding.kind) in EITHER_WAY:
        about.sort()
    said = [finding.check, question_of(finding).replace(" ", "-"), *about]
    name = "/".join(map(_plain, said))
    name += f":{_plain(finding.named)}" if finding.named else ""
    return name + (f"@{_plain(finding.cut)}" if finding.cut else "")


def _plain(text: str) -> str:
    """Return a name without any sign that an id is put together with."""
    return quote(text, safe=_SAFE).replace("~", "%7E")


def identified(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings, in their order, each with an id that no other of them has.

    The ids do not depend on the order. No part of a name holds a `~`, so that numbers clash with no name.

    Parameters
    ----------
    findings : iterable of Finding
        All findings of one result.

    Returns
    -------
    tuple of Finding
        Of those of one name, all but the first have `~` and a number after it.
    """
    findings = tuple(findings)
    alike: dict[str, list[int]] = {}
    for i, finding in enumerate(findings):
        alike.setdefault(name_of(finding), []).append(i)
    ids: dict[int, str] = {}
    for name, places in alike.items():
        places.sort(key=lambda i: _where(findings[i]))
        for number, i in enumerate(places, start=1):
            ids[i] = name if number == 1 else f"{name}~{number}"
    return tuple(_called(finding, ids[i]) for i, finding in enumerate(findings))


def _called(finding: Finding, name: str) -> Finding:
    """Give a finding its id: to the finding itself the first time, so that it stays the one that was told."""
    if not finding.id:
        object.__setattr__(finding, "id", name)
    return finding if finding.id == name else replace(finding, id=name)


def _where(finding: Finding) -> tuple[object, ...]:
    """Return what puts answers to one question in order: where they are, then what they say."""
    place = tuple(round(v, _MM) + 0.0 for v in finding.location_mm or ())
    said = finding.subject, str(finding.kind), finding.says, finding.about
    # Two that agree in all of that are still told apart, so that their order in the list does not decide.
    return place, *said, str(finding.verdict), str(finding.asks), str(finding.value)
