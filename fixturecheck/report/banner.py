"""The words under a verdict: what it covers, what was overruled, and what was not asked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fixturecheck.report.order import Numbered, numbered
from fixturecheck.result import Finding, NotAsked, Result, Verdict, WhyNotAsked
from fixturecheck.wording.groups import title

ASKED = {
    "describe": "sizes as read",
    "seat": "seats",
    "nest": "nests",
    "rest": "rest",
    "location": "location",
    "tolerance": "tolerances",
    "hold": "hold",
    "crash": "letting go",
    "reach": "reach of the wheel",
    "clear": "clearance of the wheel",
    "align": "alignment",
    "limits": "limits of wheel and machine",
    "release": "release",
}
"""What each check answers, as a noun; a go names what it covers."""

QUESTIONS = {
    "seat": "do the parts sit on their seats",
    "nest": "do neighbours nest",
    "rest": "where do the parts come to rest",
    "location": "do the seats locate the work",
    "tolerance": "do the seats close within tolerances",
    "hold": "do the parts hold",
    "crash": "where does a part go if it lets go",
    "reach": "does the wheel reach floor and wall",
    "clear": "does the wheel clear everything",
    "align": "are the cut faces level and parallel",
    "limits": "are speed, travels and daylight within limits",
    "release": "how do the parts come off",
}
"""What is asked by each check, for those that were not asked."""

_HARMLESS = frozenset({"describe"})
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Banner:
    """What stands under the verdict, each a sentence or two; empty where there is nothing to say.

    Parameters
    ----------
    says : str
        What the verdict means, and what it covers.
    overruled : str
        Which no-go the set-up counts as something less.
    not_asked : str
        The questions that the verdict does not cover, each with its reason.
    """

    says: str
    overruled: str
    not_asked: str

    def lines(self) -> tuple[str, ...]:
        """Return what there is to say, in order."""
        return tuple(text for text in (self.says, self.overruled, self.not_asked) if text)


def banner(result: Result) -> Banner:
    """Return the words under a result's verdict."""
    return Banner(
        says=_says(result), overruled=_overruled(numbered(result)), not_asked=_not_asked(result.not_asked)
    )


def unmet(finding: Finding) -> bool:
    """Tell whether a finding's own limit is not met, whatever it counts as."""
    return finding.overruled is not None or (
        finding.verdict is not Verdict.GO and finding.margin is not None and finding.margin < 0
    )


def _says(result: Result) -> str:
    doing, do = ("milling", "mill") if _mills(result) else ("grinding", "grind")
    rows = numbered(result)
    counts = Counter(r.finding.verdict for r in rows)
    if result.verdict is Verdict.NO_GO:
        return f"Do not {do} this set-up as it stands."
    if result.verdict is Verdict.UNKNOWN:
        return (
            f"{_several(counts[Verdict.UNKNOWN], 'answer')} could not be computed. That is no pass: do not "
            f"{do} this set-up until it is known."
        )
    if result.verdict is Verdict.CAUTION:
        short = sum(unmet(r.finding) for r in rows if r.finding.verdict is Verdict.CAUTION)
        if short:
            return f"{_several(short, 'limit')} not met: decide on each caution before {doing}."
        return f"No limit is broken in what was asked; read the cautions before {doing}."
    return _go(result, doing)


def _go(result: Result, doing: str) -> str:
    asked = [check for check in ASKED if any(f.check == check for f in result.findings)]
    if not set(asked) - _HARMLESS:
        return "Nothing was asked, so nothing was found."
    what = ", ".join(ASKED[check] for check in asked if check not in _HARMLESS)
    if any(f.overruled is not None for f in result.findings):
        return f"Go only because the set-up overrules what its checks found. Asked: {what}."
    if result.not_asked:
        return f"Go for what was asked: {what}."
    return f"Nothing stands against {doing} this set-up. Asked: {what}."


def _mills(result: Result) -> bool:
    """Tell whether parts are milled and none is ground."""
    hold = result.holding
    return not result.cuts and hold is not None and bool(hold.parts) and not hold.grinds


def _overruled(rows: Iterable[Numbered]) -> str:
    """Say which findings count as less than their checks found."""
    told = [r.together for r in rows if r.finding.overruled is not None]
    if not told:
        return ""
    listed = "; ".join(
        f"{t.finding.check} of {title(t)} counts as {t.finding.verdict}" for t in told[:_MOST_NAMED]
    )
    rest = len(told) - _MOST_NAMED
    more = f"; and {rest} more" if rest > 0 else ""
    return f"Overruled by [severity], {len(told)} no-go: {listed}{more}."


def counted(rows: Sequence[Numbered]) -> str:
    """Count what is told under one number once, the worst first; what follows from it is not counted.

    Every verdict is named where the result has any finding; overruled ones are counted apart.
    """
    if not rows:
        return ""
    plain = Counter(r.finding.verdict for r in rows if r.finding.overruled is None)
    overruled = sum(r.finding.overruled is not None for r in rows)
    several = any(r.together.like or r.follows for r in rows)
    listed = [f"{plain[v]} {v}" for v in (Verdict.NO_GO, Verdict.UNKNOWN, Verdict.CAUTION, Verdict.GO)]
    listed += [f"{overruled} no-go overruled"] if overruled else []
    return ", ".join(listed) + (" (like findings counted once)" if several else "")


def questions(not_asked: Iterable[NotAsked]) -> list[tuple[str, str]]:
    """Return each question that was not asked, and what would ask it or why not."""
    told = []
    for one in not_asked:
        reason = _reason(one)
        how = f"To ask, state {one.lacks}" if one.reason is WhyNotAsked.NOT_STATED else reason.capitalize()
        told.append((QUESTIONS.get(one.check, one.check), how))
    return told


def _not_asked(questions: Iterable[NotAsked]) -> str:
    """List the questions, those with one reason together."""
    together: dict[str, list[str]] = {}
    for one in questions:
        together.setdefault(_reason(one), []).append(QUESTIONS.get(one.check, one.check))
    if not together:
        return ""
    listed = "; ".join(f"{', '.join(asked)} ({why})" for why, asked in together.items())
    return f"Not asked: {listed}."


def _reason(one: NotAsked) -> str:
    if one.reason is WhyNotAsked.NOT_STATED:
        return f"no {one.lacks}"
    if one.reason is WhyNotAsked.WAITS:
        return f"waits for {one.lacks}"
    return str(one.reason)


def _several(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"
