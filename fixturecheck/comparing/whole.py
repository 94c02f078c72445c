"""Two results held together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fixturecheck.comparing.findings import finding_changes, name_after
from fixturecheck.comparing.model import Comparison, Renames, StatedChange, Trend
from fixturecheck.comparing.solids import renames, solid_changes
from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Role, StatedFact, StatedValue
from fixturecheck.result.stored import StoredResult

_NOISE = 1e-8


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
