"""How numbers and sentences are written for people, and how findings reported as one are put into words."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

from fixturecheck.faceref import FaceRef, on
from fixturecheck.result.finding import Finding, Kind, Verdict
from fixturecheck.units import Writing, in_units, missed_text, signed

SIGNS: Mapping[Verdict, str] = {
    Verdict.GO: "\u2713",
    Verdict.CAUTION: "\u25b2",
    Verdict.NO_GO: "\u2715",
    Verdict.UNKNOWN: "?",
}
"""A verdict is always its word and its sign; colour only helps."""
_IN_PICTURES = {
    "N/cm²": "N per sq cm",
    "mm²": "sq mm",
    "mm³": "cu mm",
    "in²": "sq in",
    "in³": "cu in",
    "µm": "um",
    "\u202f": " ",
    "\u2013": "-",
}
_COUNTS = (
    *("no", "one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)
_MOST_NAMED = 6
_RUN = 3
_NUMBERED = re.compile(r"(.*?)(\d+)")
_SAYS: Mapping[tuple[str, Kind | None], str] = {
    ("nest", Kind.OPEN): "{count} nests, of {who}, stay open by {value}.",
    ("nest", Kind.OVERLAP): "{count} nests, of {who}, are drawn into each other: {value} is shared.",
    ("nest", Kind.DRAWN_OPEN): "{count} nests, of {who}, are drawn open by {value}.",
    ("seat", Kind.OPEN): "{count} seats, of {who}, stand open by {value}.",
    ("seat", Kind.ON_A_LINE): "{count} seats, of {who}, bear on a line or a point only.",
    ("seat", Kind.NOT_MEANT): "{count} contacts, of {who}, are no seats.",
    ("seat", Kind.NO_FOOTING): "{count} parts, {who}, have no area under them.",
    ("seat", Kind.TOUCHES_NOTHING): "{count} parts, {who}, touch nothing that holds them.",
    ("seat", Kind.OVERLAP): "{count} pairs overlap as drawn, {value} each: {pairs}.",
    ("reach", Kind.STOCK_LEFT): "Stock up to {value} thick is left on {count} parts, {who}.",
    ("reach", Kind.GOUGE): "{count} parts, {who}, are gouged {value} deep.",
    ("reach", Kind.CORNER): "The corners of {count} parts, {who}, come out at R {value}.",
    ("clear", Kind.WHEEL_HITS): "The wheel runs into {count} bodies: {who}.",
    ("clear", Kind.FLANGE_HITS): "The flange runs into {count} bodies: {who}.",
    ("clear", Kind.GUARD_HITS): "The guard runs into {count} bodies: {who}.",
    ("rest", Kind.PLACE): "{count} parts, {who}, do not rest on their seats; they stand open by {value}.",
    ("hold", Kind.FACTOR): "{count} parts, {who}, hold {value}.",
}
"""By check and kind, for findings that are not go."""


def verdict_word(verdict: Verdict) -> str:
    """Return a verdict with its sign: `✕ NO-GO`.

    Parameters
    ----------
    verdict : Verdict
        Any of them.
    """
    return f"{SIGNS[verdict]} {str(verdict).upper()}"


def verdict_words(finding: Finding) -> str:
    """Return a finding's verdict with its sign; where it was overruled, its check's own first.

    Parameters
    ----------
    finding : Finding
        One that may have been overruled.
    """
    if finding.overruled is None:
        return verdict_word(finding.verdict)
    return f"{verdict_word(finding.overruled)}, counted as {str(finding.verdict).upper()}"


def plural(count: int, noun: str) -> str:
    """Return a count with its noun: `1 answer`, `3 answers`.

    Parameters
    ----------
    count : int
        One takes the noun as it is.
    noun : str
        In the singular; its plural is made with an s.
    """
    return f"{count} {noun}{'' if count == 1 else 's'}"


def first_up(text: str) -> str:
    """Return words with their first letter as a capital, whatever they begin with.

    Parameters
    ----------
    text : str
        May be empty.
    """
    return text[:1].upper() + text[1:]


def wide_spaces(text: str) -> str:
    """Return words with plain spaces before units, as a terminal or a log shows them.

    Parameters
    ----------
    text : str
        Words with narrow no-break spaces before units.
    """
    return text.replace("\u202f", " ")


def capitalised(text: str, names: Collection[str] = ()) -> str:
    """Return words with a capital first letter; a name at the start stays as it is written.

    Parameters
    ----------
    text : str
        Left alone where its first word holds more than letters.
    names : collection of str
        Names, as of bodies, that are never given a capital.
    """
    first, *_ = text.replace(".", " ").split(maxsplit=1) or [""]
    word = first.strip(",:;")
    return text if word in names or not word.isalpha() else text[:1].upper() + text[1:]


def sentence(text: str, names: Collection[str] = ()) -> str:
    """Return words as a sentence with a full stop; a name at the start stays as it is written.

    Parameters
    ----------
    text : str
        Empty gives empty; a full stop, question mark or exclamation mark at the end stays.
    names : collection of str
        Names, as of bodies, that are never given a capital.
    """
    text = text.strip()
    if not text:
        return ""
    start = capitalised(text, names)
    return start if start.endswith((".", "!", "?")) else f"{start}."


def picture_text(text: str) -> str:
    """Return words in letters that the pictures' built-in font has.

    Parameters
    ----------
    text : str
        Words with any signs.
    """
    for sign, word in _IN_PICTURES.items():
        text = text.replace(sign, word)
    return text


def shown_plain(value: float | None, unit: str, units: str) -> str:
    """Return a number as `shown` does, in letters that the pictures' built-in font has.

    Parameters
    ----------
    value : float or None
        In `unit`; None where it is not known.
    unit : str
        That of the number, as results name it; `um` is shown in mm where `units` is `mm`.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    if value is not None and unit == "um" and units == "mm":
        value, unit = value * 1e-3, "mm"
    return picture_text(shown(value, unit, units))


def plain_name(unit: str, units: str) -> str:
    """Return the name of a unit in letters that the pictures' built-in font has.

    Parameters
    ----------
    unit : str
        As results name it.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    return picture_text(sized(0.0, unit, units)[1])


def sized(value: float, unit: str, units: str) -> tuple[float, str]:
    """Return a number in the unit that a report in `units` uses, and that unit's name.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        That of the number, as results name it; `share` is shown in percent.
    units : str
        Units of the report: `mm`, `inch` or `thou`.

    Returns
    -------
    tuple of (float, str)
    """
    if unit == "share":
        return 100.0 * value, "%"
    number, name = in_units(value, unit, units)
    return number, signed(name)


def shown_span(values: Iterable[float], unit: str, units: str) -> str:
    """Return one number where all read the same, else the least and the greatest, their unit said once.

    Parameters
    ----------
    values : iterable of float
        At least one, in `unit`.
    unit : str
        That of the numbers, as results name it.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    ranked = sorted(values)
    return spanned(*(shown(v, unit, units) for v in (ranked[0], ranked[-1])))


def spanned(low: str, high: str) -> str:
    """Return two numbers with their units as a span, the unit said once; one where both read the same.

    Parameters
    ----------
    low, high : str
        As `shown` writes them.

    Returns
    -------
    str
    """
    if low == high:
        return low
    number, _, name = low.partition("\u202f")
    return f"{number} to {high}" if high.endswith(name) else f"{low} to {high}"


def shown(value: float | None, unit: str, units: str) -> str:
    """Return a number with its unit as sentences write it, for a report in `units`; a missing one is a dash.

    Parameters
    ----------
    value : float or None
        In `unit`; None where it is missing.
    unit : str
        That of the number, as results name it.
    units : str
        `mm`, `inch`, or `thou` for inches with small lengths in thousandths.
    """
    if value is None:
        return "\u2013"
    text = Writing(units=units).quantity(value, unit)
    number, _, name = text.partition(" ")
    return f"{number}\u202f{name}" if name else number


def number_found(
    finding: Finding, units: str, write: Callable[[float | None, str, str], str] | None = None
) -> str:
    """Return the number of a finding as it stands beside its limit; a missing one is a dash.

    One that misses its limit never reads as that.

    Parameters
    ----------
    finding : Finding
    units : str
        As of `shown`.
    write : callable, optional
        What writes a number of a unit for a report in `units`; `shown` without.

    Returns
    -------
    str
    """
    write = write or shown
    text = write(finding.value, finding.unit, units)
    missed = finding.verdict is not Verdict.GO and finding.margin is not None and finding.margin < 0.0
    if finding.value is None or finding.limit is None or not missed:
        return text
    limit = math.copysign(finding.limit, finding.value)
    return missed_text(text, write(limit, finding.unit, units), finding.value, limit)


def stated(length_mm: float, units: str) -> str:
    """Return a length as the set-up states it, with all its digits.

    Parameters
    ----------
    length_mm : float
        The length.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    return Writing(units=units).length(length_mm, "g").replace(" ", "\u202f")


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Findings reported as one: the one furthest from its limit, and those like it."""

    finding: Finding
    like: tuple[Finding, ...] = ()

    @property
    def all(self) -> tuple[Finding, ...]:
        """The finding that leads, then those like it."""
        return (self.finding, *self.like)

    @property
    def differ(self) -> bool:
        """Whether they are about different things; several checks may say the same of one."""
        return len({f.subject for f in self.all}) > 1


def _count_words(count: int) -> str:
    """Return a count as a word up to twelve, and as a number beyond."""
    return _COUNTS[count] if count < len(_COUNTS) else str(count)


def _bodies_named(findings: Sequence[Finding]) -> list[str]:
    """Return the bodies that the findings are about first, each once; subjects where none is named."""
    names = (FaceRef(f.about[0]).body if f.about else f.subject for f in findings)
    return sorted(dict.fromkeys(names), key=_by_number)


def who(findings: Sequence[Finding]) -> str:
    """Name what findings are about: a run of numbered names by its ends, and no more than a few others.

    Parameters
    ----------
    findings : sequence of Finding
        Those that are told as one.
    """
    return names_listed(_bodies_named(findings))


def names_listed(names: Sequence[str]) -> str:
    """Name bodies: a run of numbered names by its ends, and no more than a few others.

    Parameters
    ----------
    names : sequence of str
        In the order in which they are told; at least one.
    """
    if len(names) >= _RUN and _is_run(names):
        return f"{names[0]} to {names[-1]}"
    return listed(names)


def listed(names: Sequence[str]) -> str:
    """Return names as a list in a sentence, cut after a few.

    Parameters
    ----------
    names : sequence of str
        In the order in which they are told; at least one.
    """
    if len(names) > _MOST_NAMED:
        return f"{', '.join(names[: _MOST_NAMED - 1])} and {len(names) - _MOST_NAMED + 1} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def asked(finding: Finding) -> str:
    """Return the check of a finding, and which of its questions it answers.

    Parameters
    ----------
    finding : Finding
        One with or without a kind.
    """
    return f"{finding.check}, {finding.kind}" if finding.kind else finding.check


def checks_words(together: Together) -> str:
    """Return the checks of findings reported as one, and which of their questions they answer.

    Parameters
    ----------
    together : Together
        Findings that are reported as one.
    """
    checks, kind = dict.fromkeys(f.check for f in together.all), together.finding.kind
    return ", ".join([*checks, *([str(kind)] if kind else [])])


def title(together: Together) -> str:
    """Return what stands beside the check: the subject of one finding, or what several are about.

    Parameters
    ----------
    together : Together
        Findings that are reported as one.
    """
    if not together.differ:
        return together.finding.subject
    faces = {FaceRef(f.about[0]).face for f in together.all if f.about}
    face = faces.pop() if len(faces) == 1 else ""
    return f"{f'{face} of ' if face else ''}{who(together.all)} ({len(together.all)} alike)"


def says(together: Together, units: str) -> str:
    """Return the sentence for several like findings; empty where there is one, which has its own.

    Parameters
    ----------
    together : Together
        The finding that leads and those like it.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    finding = together.finding
    if not together.like:
        return ""
    pattern = _SAYS.get((finding.check, finding.kind)) if finding.verdict is not Verdict.GO else None
    if pattern is None:
        return ""
    pairs = listed([" and ".join(f.about) for f in together.all])
    text = pattern.format(
        count=_count_words(len(together.all)),
        who=who(together.all),
        value=values_span(together, units),
        pairs=pairs,
    )
    return first_up(text) if pattern.startswith("{count}") else text


def short(together: Together, units: str) -> str:
    """Return the line for like findings that are go: how many of what, on what, how much, and the limit.

    `four pawls: back on nest 100 % (limit 50 %)`. One without faces and number has its sentence.

    Parameters
    ----------
    together : Together
        The finding that leads and those like it.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    f = together.finding
    words = " ".join(text for text in (_faces(together.all), values_span(together, units)) if text)
    if not words:
        return f.says
    limit = "" if f.limit is None else f" (limit {shown(f.limit, f.unit, units)})"
    return f"{_counted(together.all)}: {words}{limit}"


def _counted(findings: Sequence[Finding]) -> str:
    """Count what findings are about: `four pawls` where the names are numbered alike, else the names."""
    names = _bodies_named(findings)
    stems = {m[1].rstrip("_- ") if (m := _NUMBERED.fullmatch(name)) else "" for name in names}
    stem = stems.pop() if len(stems) == 1 else ""
    return f"{_count_words(len(names))} {stem}s" if stem and len(names) > 1 else listed(names)


def _faces(findings: Sequence[Finding]) -> str:
    """Name the faces that findings are about, where all are about the same."""
    faces = {tuple(FaceRef(one).face for one in f.about) for f in findings}
    (first, *more) = faces
    return reduce(on, first) if first and all(first) and not more else ""


def values_span(together: Together, units: str) -> str:
    """Return the numbers found, from the least to the greatest; empty where there are none.

    Parameters
    ----------
    together : Together
        The finding that leads and those like it.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    ranked = sorted((f for f in together.all if f.value is not None), key=lambda f: f.value or 0.0)
    return spanned(*(number_found(f, units) for f in (ranked[0], ranked[-1]))) if ranked else ""


def instance(together: Together) -> str:
    """Return the words before the sentence of the finding that leads several.

    Parameters
    ----------
    together : Together
        Findings that are reported as one.
    """
    if not together.differ:
        return ""
    same = len({f.value for f in together.all}) == 1
    return "For one: " if same else "The furthest out: "


def _is_run(names: Sequence[str]) -> bool:
    """Tell whether names are numbered one after the other."""
    found = [_NUMBERED.fullmatch(n) for n in names]
    stems = {m[1] if m else None for m in found}
    numbers = [int(m[2]) for m in found if m]
    return (
        len(stems) == 1 and None not in stems and numbers == list(range(numbers[0], numbers[0] + len(names)))
    )


def _by_number(name: str) -> tuple[str, int]:
    found = _NUMBERED.fullmatch(name)
    return (found[1], int(found[2])) if found else (name, -1)
