"""Which question a finding answers, and which id it gets from that.

The id is the name by which a finding is known from one result to the next, whatever its verdict and numbers.
It is `check/question`, then what the finding is about: `/body.face` for each body or face, `:NAME` for
what is neither body nor cut, `@CUT` for a cut. Only where one question has several answers about the same
things, as two points where the same two faces meet, are they numbered by place: `~2`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from enum import StrEnum
from urllib.parse import quote

from fixturecheck.result.contact import Mover
from fixturecheck.result.finding import Finding, Kind


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
EITHER_WAY = frozenset(
    {Kind.OVERLAP, Kind.BESIDE_THE_NEST, Kind.LANDS_FIRST, Kind.DOES_NOT_GO_IN, Kind.TOUCH, Kind.CLEAR,
     Kind.KEEPS_MAGNETISM, Kind.HOLES, Kind.DEMAGNETISE}
)  # fmt: skip
"""Kinds about bodies of which none comes first: their order is that of a list, and says nothing."""
_SAFE = "._-+"
_MM = 4
"""Decimals of a place, in mm, by which answers to one question are put in order."""


def question_of(finding: Finding) -> str:
    """Return which of its check's questions a finding answers, or leaves unanswered."""
    kind = finding.asks or finding.kind
    return "" if kind is None else QUESTIONS.get((finding.check, kind), str(kind))


def kinds_of(check: str, question: str) -> tuple[Kind, ...]:
    """Return the kinds of finding that answer a question of a check, as `question_of` names it."""
    joined = tuple(kind for (of, kind), asked in QUESTIONS.items() if of == check and asked == question)
    return joined or tuple(kind for kind in Kind if kind == question)


def name_of(finding: Finding) -> str:
    """Return the id of a finding, where nothing else answers its question about the same things."""
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
