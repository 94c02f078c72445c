"""A comparison in the report: in words, for the terminal and as data, and as its page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fixturecheck.comparing.model import (
    Comparison,
    FaceChange,
    FindingChange,
    SolidChange,
    StatedChange,
    Trend,
)
from fixturecheck.faceref import FaceRef, on
from fixturecheck.report.json import as_plain
from fixturecheck.report.markup import Cell, Picture, Table, picture_of, render_page, table_of
from fixturecheck.report.pictures.draw import SIDES
from fixturecheck.report.terminal import folded
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.shapes import StatedValue
from fixturecheck.units import Writing, angle_text, metric_unit, missed_text
from fixturecheck.wording import sentences as words
from fixturecheck.wording.sentences import (
    asked,
    first_up,
    names_listed,
    number_found,
    plural,
    shown,
    verdict_word,
    wide_spaces,
)

MOST_ROWS = 40
_MOST_FACES = 8


def _headline(found: Comparison) -> str:
    """Return in one sentence what the comparison comes to."""
    broken = [c for c in found.findings if c.breaks]
    lost = [c for c in found.findings if c.unknown]
    known = [c for c in found.findings if c.known]
    phrases = []
    if broken:
        phrases.append(f"{plural(len(broken), 'finding')} got worse than the limit")
    if lost:
        phrases.append(f"{plural(len(lost), 'finding')} can no longer be computed")
    if not phrases:
        phrases.append("nothing got worse than its limit")
    if known:
        phrases.append(f"{plural(len(known), 'known shortfall')} let stand")
    return f"{first_up('; '.join(phrases))}."


def _counts(found: Comparison) -> str:
    """Return how many findings are worse, new, better, gone and the same."""
    of = {trend: sum(c.change is trend for c in found.findings) for trend in Trend}
    return ", ".join(f"{number} {trend}" for trend, number in of.items() if number)


def _worth_telling(found: Comparison) -> list[FindingChange]:
    """Return the findings that are not the same as before, and what is known; those that stay go last."""
    rows = [c for c in found.findings if c.change is not Trend.SAME or c.differs or c.known]
    return sorted(rows, key=_passes)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlikeChanges:
    """Changes told as one: the first, and those of other bodies with the same faces and numbers."""

    first: FindingChange
    like: tuple[FindingChange, ...] = ()

    @property
    def title(self) -> str:
        """What they are about."""
        return words.title(
            words.Together(finding=self.first.finding, like=tuple(c.finding for c in self.like))
        )


def alike_changes(found: Comparison) -> list[AlikeChanges]:
    """Return what is worth telling, like changes of copies of a part together.

    Parameters
    ----------
    found : Comparison
        The two results held together.

    Returns
    -------
    list of AlikeChanges
        Those with nothing but go before and after come last.
    """
    alike: dict[object, list[FindingChange]] = {}
    for change in _worth_telling(found):
        finding = change.finding
        faces = tuple(FaceRef(one).face for one in finding.about) or finding.subject
        like = (change.change, change.known, _verdicts(change), asked(finding), finding.cut, faces)
        alike.setdefault((*like, _numbers(change, found.units)), []).append(change)
    return [AlikeChanges(first=first, like=tuple(like)) for first, *like in alike.values()]


def _passes(change: FindingChange) -> bool:
    return all(f is None or f.verdict is Verdict.GO for f in (change.before, change.after))


def _numbers(change: FindingChange, units: str) -> tuple[str, str, str]:
    """Return value before, value after and limit of a finding as a table shows them."""
    before, after = change.before, change.after
    limits = dict.fromkeys(_limit(f, units) for f in (before, after) if f is not None and f.limit is not None)
    was, now = _value(before, units), _value(after, units)
    values = [f.value for f in (before, after) if f is not None and f.value is not None]
    if len(values) == 2 and was == now == shown(values[1], change.finding.unit, units):
        # A change in digits that are not shown reads as the way it goes.
        now = missed_text(now, was, values[1], values[0])
    return was, now, " then ".join(limits)


def _value(finding: Finding | None, units: str) -> str:
    return "" if finding is None or finding.value is None else number_found(finding, units)


def _limit(finding: Finding, units: str) -> str:
    return shown(finding.limit, finding.unit, units)


def _verdicts(change: FindingChange) -> str:
    """Return the verdict before and after, once where it stays."""
    verdicts = [str(f.verdict) for f in (change.before, change.after) if f is not None]
    return " to ".join(dict.fromkeys(verdicts))


def _stated_words(change: StatedChange) -> str:
    """Return one stated value that is another: `cut corner, stock_mm: 0.1 to 0.2`."""
    of = " ".join(
        (change.of, on(*change.about) if len(change.about) == 2 else ", ".join(change.about))
    ).strip()
    if not change.key:
        return f"{of}: {change.change}"
    if change.change is Trend.SAME:
        return f"{of}, {change.key}: {_value_words(change.before)} to {_value_words(change.after)}"
    value = change.after if change.change is Trend.NEW else change.before
    return f"{of}, {change.key}: {change.change}, {_value_words(value)}"


def _value_words(value: StatedValue) -> str:
    """Return a stated value as it stands in a set-up."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple):
        return f"[{', '.join(map(_value_words, value))}]"
    return f"{value:.9g}" if isinstance(value, float | int) else str(value)


def solid_words(change: SolidChange, write: Writing) -> str:
    """Return what became of a body: what was added and removed, which faces moved.

    Parameters
    ----------
    change : SolidChange
        The body before and after.
    write : Writing
        Writes the quantities in the units of the set-up.

    Returns
    -------
    str
        Phrases parted by semicolons.
    """
    if change.change is not Trend.SAME:
        return str(change.change)
    if not change.redrawn:
        return "renamed"
    phrases = []
    if change.added_mm3 is not None and change.removed_mm3 is not None:
        phrases.append(f"{write.volume(change.added_mm3)} added, {write.volume(change.removed_mm3)} removed")
    elif change.before_mm3 != change.after_mm3:
        phrases.append(f"{write.volume(change.before_mm3)} to {write.volume(change.after_mm3)}")
    alike = Counter(_face_words(f, write) for f in change.faces)
    told = list(alike.items())[:_MOST_FACES]
    phrases += [f"{face} ({count} faces)" if count > 1 else face for face, count in told]
    more = len(change.faces) - sum(count for _, count in told)
    phrases += [plural(more, "more face")] if more else []
    return "; ".join(phrases)


def _face_words(face: FaceChange, write: Writing) -> str:
    """Return how a face moved, turned, or that it is new or gone."""
    if face.moved_mm is None:
        return f"face {face.after} is new" if face.after else f"face {face.before} is gone"
    name = face.after if face.before == face.after else f"{face.before} (now {face.after})"
    phrases = []
    if face.moved_mm:
        phrases.append(f"moved {write.length(face.moved_mm, '+.6g')}")
    if face.turned_deg:
        phrases.append(f"turned by {angle_text(face.turned_deg, '.4g')}")
    return f"{name} {' and '.join(phrases)}"


def alike_key(change: SolidChange) -> object:
    """Return what bodies share that changed alike, as the copies of one part do.

    Parameters
    ----------
    change : SolidChange
        The body before and after.

    Returns
    -------
    object
        Hashable, and equal for bodies that changed alike.
    """
    volumes = [None if v is None else round(v, 6) for v in (change.added_mm3, change.removed_mm3)]
    faces = tuple((f.before, f.after, round(f.moved_mm or 0.0, 6)) for f in change.faces)
    kept = change.before == change.after
    return change.change, kept, None if kept else change.after, tuple(volumes), faces


def _solid_lines(found: Comparison, write: Writing) -> list[str]:
    """Return a sentence for each body that was redrawn, renamed, added or taken away; like ones in one."""
    alike: dict[object, list[SolidChange]] = {}
    for solid in found.solids:
        if solid.redrawn or solid.before != solid.after:
            alike.setdefault(alike_key(solid), []).append(solid)
    lines = []
    for several in alike.values():
        first = several[0]
        name = first.after if first.before == first.after else f"{first.before}, now {first.after}"
        if first.change is not Trend.SAME or len(several) > 1:
            name = names_listed([s.after or s.before for s in several])
        lines.append(f"{name}: {solid_words(first, write)}")
    return lines


def comparison_text(found: Comparison, *, width: int, titled: bool = True) -> str:
    """Return a comparison for the terminal, with what the two are called unless that is known.

    Parameters
    ----------
    found : Comparison
        The two results held together.
    width : int
        Columns of the terminal; fewer than 40 count as 40.
    titled : bool
        Whether the first line says what the two are called.

    Returns
    -------
    str
        Lines, without a break at the end.
    """
    write, columns = Writing(units=found.units), max(width, 40)
    lines = [f"{found.before} to {found.after}"] if titled else []
    lines += [_headline(found), *filter(None, [_counts(found)])]
    if found.verdict_before is not found.verdict_after:
        lines.append(f"verdict: {found.verdict_before} to {found.verdict_after}")
    lines += [f"no longer asked: {', '.join(found.no_longer_asked)}"] if found.no_longer_asked else []
    lines += _stale_lines(found)
    rows = alike_changes(found)
    lines += [""] if rows else []
    lines += [line for row in rows[:MOST_ROWS] for line in _lines(row, found.units, columns)]
    lines += [f"and {len(rows) - MOST_ROWS} more"] if len(rows) > MOST_ROWS else []
    changed = [*_solid_lines(found, write), *(_stated_words(s) for s in found.stated)]
    if changed:
        lines += ["", "what changed:"]
        lines += [line for text in changed[:MOST_ROWS] for line in folded(text, columns, first=4, rest=8)]
        lines += [f"    and {len(changed) - MOST_ROWS} more"] if len(changed) > MOST_ROWS else []
    return wide_spaces("\n".join(lines)).rstrip()


def _stale_lines(found: Comparison) -> list[str]:
    """Return a line for each entry of a baseline that is no longer needed."""
    return [f"no longer short, take it out of the baseline: {name}" for name in found.no_longer_short]


def _lines(row: AlikeChanges, units: str, columns: int) -> Iterator[str]:
    change, finding = row.first, row.first.finding
    was, now, limit = _numbers(change, units)
    number = " to ".join(dict.fromkeys(text for text in (was, now) if text))
    limit = f" (limit {limit})" if limit else ""
    known = ", known" if change.known else ""
    about = f"{asked(finding)}  {row.title}"
    yield f"{change.change}{known}: {_verdicts(change)}  {about}  {number}{limit}".rstrip()
    if change.after is not None and change.after.verdict is not Verdict.GO:
        yield from folded(change.after.says, columns, first=4, rest=8)


def comparison_dict(found: Comparison) -> dict[str, Any]:
    """Return a comparison as plain values.

    Parameters
    ----------
    found : Comparison
        The two results held together.

    Returns
    -------
    dict
        What comparison.json holds.
    """
    return {
        "comparison": 1,
        "tool": {"name": "fixturecheck"},
        "before": {"called": found.before, "name": found.names[0], "verdict": str(found.verdict_before)},
        "after": {"called": found.after, "name": found.names[1], "verdict": str(found.verdict_after)},
        "worse_than_limit": found.breaks,
        "no_longer_computed": found.unknown,
        "no_longer_asked": list(found.no_longer_asked),
        "no_longer_short": list(found.no_longer_short),
        "findings": [_finding_change(c) for c in found.findings],
        "stated": [
            {"change": str(s.change), "of": s.of, "about": list(s.about), "key": s.key, "before": s.before,
             "after": s.after, "unit": metric_unit(s.key)}
            for s in found.stated
        ],
        "solids": [as_plain(s) for s in found.solids if s.redrawn or s.before != s.after],
    }  # fmt: skip


def _finding_change(change: FindingChange) -> dict[str, Any]:
    finding = change.finding
    return {
        "id": finding.id,
        "change": str(change.change),
        "worse_than_limit": change.breaks,
        "known": change.known,
        "check": finding.check,
        "subject": finding.subject,
        "before": _side(change.before),
        "after": _side(change.after),
    }


def _side(finding: Finding | None) -> dict[str, Any] | None:
    if finding is None:
        return None
    kept = ("value", "unit", "limit", "margin", "says")
    return {"verdict": str(finding.verdict), **{name: getattr(finding, name) for name in kept}}


def comparison_page(
    found: Comparison, pairs: Sequence[str], pictures: Mapping[str, bytes], why_missing: str | None
) -> str:
    """Return the page.

    Parameters
    ----------
    found : Comparison
        The two results held together.
    pairs : sequence of str
        The title of each pair of pictures, in the order of their numbers.
    pictures : mapping of str to bytes
        PNG files by name.
    why_missing : str or None
        Why there are no pictures, or not all.

    Returns
    -------
    str
        HTML.
    """
    rows = alike_changes(found)
    write = Writing(units=found.units)
    verdict = "no-go" if found.breaks else "unknown" if found.unknown else "go"
    return render_page(
        "comparison.html",
        title=f"{found.before} to {found.after}",
        verdict=verdict,
        headline=_headline(found),
        counts=_counts(found),
        verdicts=[verdict_word(v) for v in (found.verdict_before, found.verdict_after)],
        sides=[
            (when, called, name, str(verdict_of))
            for when, called, name, verdict_of in zip(
                SIDES,
                (found.before, found.after),
                found.names,
                (found.verdict_before, found.verdict_after),
                strict=True,
            )
        ],
        silent=found.no_longer_asked,
        findings=_findings(rows, found.units),
        says=[
            (row.title, row.first.after)
            for row in rows
            if row.first.after is not None and (row.first.breaks or row.first.unknown)
        ],
        pairs=[(title, _pair(number, title, pictures)) for number, title in enumerate(pairs, start=1)],
        why_missing=why_missing,
        solids=_solid_lines(found, write),
        stated=[_stated_words(s) for s in found.stated],
    )


def _findings(rows: Sequence[AlikeChanges], units: str) -> Table:
    cells = []
    for row in rows:
        c = row.first
        change = f"{c.change}, known" if c.known else str(c.change)
        strong = Cell(lines=(change,), strong=c.breaks or c.unknown)
        cells.append((strong, _verdicts(c), asked(c.finding), row.title, *_numbers(c, units)))
    heads = ("became", "verdict", "check", "about", "before", "after", "limit")
    return table_of(heads, cells, 4, 5, 6)


def _pair(number: int, title: str, pictures: Mapping[str, bytes]) -> list[Picture]:
    files = [(f"{number:02d}_{when}.png", when) for when in SIDES]
    return [picture_of(pictures[file], f"{title}, {when}", when) for file, when in files if file in pictures]
