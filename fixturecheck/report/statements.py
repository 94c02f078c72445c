"""What stands round a verdict: what it covers, what was stated or assumed, and how to work safely."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fixturecheck.fields import own_fields
from fixturecheck.report.markup import Table, table_of
from fixturecheck.report.order import Numbered, numbered
from fixturecheck.result import Assumed, Result
from fixturecheck.result.finding import Finding, NotAsked, Verdict, WhyNotAsked
from fixturecheck.setup.hardening import HardenedWhen
from fixturecheck.setup.model import Body, Setup
from fixturecheck.units import Writing, metric_unit, suffix_of
from fixturecheck.wording.motion import touching_says
from fixturecheck.wording.sentences import plural, shown, stated, title

AT_THE_MACHINE = (
    "This page does not replace training, the machine's manual or the law where you work. Local rules "
    "and the people trained for this machine decide.",
    "Before mounting: look the wheel over and ring it. One that sounds dead, is chipped or cracked is "
    "not used.",
    "Never run a wheel faster than the speed marked on it, whatever this page says.",
    "Guards on and closed, flanges and blotters in place, eye protection on.",
    "Magnet on or clamps tight, then tug every part and every block by hand before the wheel turns. A "
    "part that moves by hand will fly. Never trust a magnet alone: block in what can move.",
    "Stand aside of the wheel's plane when it starts, and let it run up before it touches anything.",
    "Check the table stops and the whole travel with the wheel raised and not turning.",
    "Coolant off and wheel stopped before measuring, cleaning or taking parts off.",
)


AT_THE_MILL = (
    "This page does not replace training, the machine's manual or the law where you work. Local rules "
    "and the people trained for this machine decide.",
    "Clamps and vise tight, then tug every part and every block by hand before the cutter turns. A part "
    "that moves by hand will fly or be drawn into the cutter. Take the handle off the vise and the "
    "wrench off the machine.",
    "Look the cutter over and see that its holder grips it: its flutes pull it out of a holder that "
    "does not, and deeper into the part.",
    "Climb milling draws the part and the table into the cutter: only where the feed has no play and "
    "the ways that are not fed are locked.",
    "Guard or shield in place, eye protection on, no gloves, rings, loose sleeves or hair near a "
    "turning cutter, and no hands.",
    "Try the whole travel with the cutter raised and not turning: jaws, stops and clamps must stand "
    "clear of cutter and holder.",
    "Spindle stopped before measuring, brushing off chips or taking parts off; chips never by hand.",
)


AT_THE_DRILL = (
    "This page does not replace training, the machine's manual or the law where you work. Local rules "
    "and the people trained for this machine decide.",
    "Clamp or block the part against turning: a drill that breaks through grips it and spins it.",
    "Chuck key out before the spindle turns; guard in place, eye protection on, no gloves, rings, loose "
    "sleeves or hair near it.",
    "Spindle stopped before measuring, brushing off chips or taking parts off; chips never by hand.",
)

AT_THE_FURNACE = (
    "This page does not replace training, the furnace's manual or the law where you work. Local rules, the "
    "steel maker's sheet and the people trained for this work decide.",
    "Hot steel looks like cold steel: tongs, face shield, heat-proof gloves and apron, and a marked place "
    "for it to cool.",
    "No damp part or tongs into salt or oil: the steam throws it out. Lid and extinguisher at hand, and air "
    "enough where gas is used.",
    "Temper at once, before the part is cold through; hard and untempered it may burst.",
)


def at_the_machine(setup: Setup) -> tuple[tuple[str, ...], ...]:
    """Return what is said about working safely, a list for each way in which the parts are worked.

    Parameters
    ----------
    setup : Setup
        Its cuts, milling, drills and hardening decide.

    Returns
    -------
    tuple of tuple of str
        Sentences of each list; grinding comes first, and stands where nothing else is done.
    """
    mills = bool(setup.end_mills or (setup.holding and setup.holding.milling))
    heats = setup.hardening is not None and setup.hardening.when == HardenedWhen.AFTER
    other = mills or bool(setup.drills) or heats
    return (
        *[AT_THE_MACHINE] * (bool(setup.cuts) or not other),
        *[AT_THE_MILL] * mills,
        *[AT_THE_DRILL] * bool(setup.drills),
        *[AT_THE_FURNACE] * heats,
    )


_ENDS = ("_deg", "_share", "_mm3", "_c", "_hrc", "_s", "_min")
_APART = (
    "flange", "guard", "downfeed", "cross_feed", "push", "press", "clamps", "milling", "sizes", "moves",
    "name",
)  # fmt: skip


def stated_table(setup: Setup) -> Table:
    """Return the table of what was stated.

    Parameters
    ----------
    setup : Setup
        The set-up that was checked.

    Returns
    -------
    Table
        Name and value of each; without heads.
    """
    rows = [(name, text) for name, text in _rows(setup) if text]
    rows += [(f"{body.role} {body.name}", _body(body)) for body in setup.bodies if body.group is None]
    return Table(heads=(), rows=tuple(rows))


_TURNED_DEG = 1e-9


def by_seats_table(setup: Setup) -> Table | None:
    """Return the table of the bodies that their seats placed, and where; None where each states its place.

    Parameters
    ----------
    setup : Setup
        The set-up that was checked, with its bodies in place.

    Returns
    -------
    Table or None
        Places in the units of the set-up.
    """
    write = setup.write
    rows = []
    for body in (b for b in setup.bodies if b.by_seats):
        at_mm, axis, angle_deg = body.pose()
        about = ", ".join(f"{v:.4g}" for v in axis)
        turned = f"{angle_deg:.6g}° about {about}" if angle_deg > _TURNED_DEG else "as drawn"
        rows.append((body.name, *(write.length(v) for v in at_mm), turned))
    heads = ("body", "X", "Y", "Z", "turned")
    return table_of(heads, rows, 1, 2, 3) if rows else None


def assumed_line(result: Result) -> str:
    """Return one line about what was assumed, for a terminal; empty where nothing was.

    Parameters
    ----------
    result : Result
        Its rows of what was assumed are counted, and the first few told.

    Returns
    -------
    str
        Not folded.
    """
    guessed, left_out = ([r for r in result.assumed if r.guessed is which] for which in (True, False))
    lines = []
    for what, rows in (("guessed, to be confirmed", guessed), ("assumed, not stated", left_out)):
        shown = [r for r in rows if not r.aside and not str(r.value).startswith("(")] or rows
        named = ", ".join(f"{words(r.key)} {_assumed_value(r, result.shown_in)}" for r in shown[:3])
        lines += [f"{what}: {len(rows)} values, such as {named}"] if rows else []
    return "; ".join([*lines, "report.html lists all"]) if lines else ""


def _assumed_value(row: Assumed, units: str) -> str:
    """Return an assumed value with its unit, for a report in `units`."""
    if isinstance(row.value, bool):
        return "yes" if row.value else "no"
    if isinstance(row.value, str):
        return row.value
    return _quantity(row.value, row.unit, units)


def words(key: str) -> str:
    """Return a key in words, without its unit: `corner radius` for `corner_radius_mm`.

    Parameters
    ----------
    key : str
        A key of a set-up.

    Returns
    -------
    str
        Words parted by blanks.
    """
    end = suffix_of(key) or next((e for e in _ENDS if key.endswith(e)), "")
    return key.removesuffix(end).replace("_", " ")


def assumed_table(result: Result, *, guessed: bool) -> Table | None:
    """Return the table of what was guessed, or assumed, each with what depends on it; None without one.

    Parameters
    ----------
    result : Result
        Its rows of what was assumed are told.
    guessed : bool
        True for the rows that were guessed, False for the others.

    Returns
    -------
    Table or None
        One row for each value.
    """
    rows = [
        (row.of, words(row.key), _assumed_value(row, result.shown_in), row.hangs_on)
        for row in result.assumed
        if row.guessed is guessed
    ]
    heads = ("of", "guessed" if guessed else "assumed", "value", "what depends on it")
    return Table(heads=heads, rows=tuple(rows)) if rows else None


def _rows(setup: Setup) -> Iterator[tuple[str, str]]:
    """Yield what was stated in each table, without what was left out."""
    units = setup.shown_in
    single: Iterable[tuple[str, Any]] = (
        ("wheel", setup.wheel),
        ("machine", setup.machine),
        ("flange", setup.machine.flange),
        ("guard", setup.machine.guard),
        ("downfeed", setup.machine.downfeed),
        ("cross feed", setup.machine.cross_feed),
        ("dials", setup.dials),
        ("tolerances", setup.tolerances),
        ("staging", setup.staging),
        ("holding", setup.holding),
        ("relief", setup.relief),
        ("hardening", setup.hardening),
    )
    for name, record in single:
        if record is not None:
            yield name, _of_record(record, units)
    if setup.machine.guard is None:
        yield "guard", "none over the wheel"
    for size in setup.hardening.sizes if setup.hardening else ():
        yield f"size of {size.part}.{size.face}", _of_record(size, units)
    for drill in setup.drills:
        yield f"drill {drill.name}", _of_record(drill, units)
    for run in setup.end_mills:
        yield f"end mill {run.name}", _of_record(run, units)
        for n, move in enumerate(run.moves, start=1):
            yield f"move {n} of {run.name}", _of_record(move, units)
    yield from _of_lists(setup, units)


def _of_lists(setup: Setup, units: str) -> Iterator[tuple[str, str]]:
    """Yield what was stated in the tables that there may be several of."""
    for seat in setup.seats:
        yield f"{seat.rank} seat", f"{seat.body}.{seat.face} on {seat.on}.{seat.on_face}"
    for cut in setup.cuts:
        yield f"cut {cut.name}", _of_record(cut, units)
    if setup.staging is not None:
        for name, push in setup.staging.push.items():
            yield f"push of {name}", _of_record(push, units)
        for press in setup.staging.press:
            yield "press", _of_record(press, units)
    for clamp in setup.clamps:
        yield f"clamp {clamp.name}", _of_record(clamp, units)
    if setup.holding is not None:
        for mill in setup.holding.milling:
            yield f"mill {mill.name}", _of_record(mill, units)
    yield from ((f"transfer {one.name}", _of_record(one, units)) for one in setup.transfers)
    yield from ((f"over_rolls {one.name}", _of_record(one, units)) for one in setup.over_rolls)
    yield from ((f"square {one.body}", _of_record(one, units)) for one in setup.squared)
    for check, level in setup.severity.items():
        yield "severity", f"a no-go of {check} counts as {level}"


def _of_record(record: Any, units: str) -> str:
    """Return the fields of a record that were stated, in words."""
    phrases = []
    for field in own_fields(type(record)):
        if field.name in record.stated and field.name not in _APART:
            value = getattr(record, field.name)
            if value is not None and value != ():
                phrases.append(f"{words(field.name)} {_written(value, field.name, units)}")
    return "; ".join(phrases)


def _body(body: Body) -> str:
    phrases = [f"material {body.material}"] if "material" in body.stated else []
    phrases += [f"finish {_written(body.finish, 'finish', '')}"] if body.finish else []
    phrases += [f"pole {body.pole}"] if body.pole else []
    phrases += ["fastened"] if body.fastened else []
    return "; ".join(phrases)


def _written(value: object, key: str, units: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return _quantity(value, metric_unit(key), units)
    if isinstance(value, Mapping):
        every = {k: _written(v, key, units) for k, v in value.items()}
        return ", ".join(
            text if k == "*" and len(every) == 1 else f"{k}: {text}" for k, text in every.items()
        )
    if isinstance(value, tuple | list):
        inner = [_written(v, key, units) for v in value]
        return ", ".join(
            f"({text})" if isinstance(v, tuple) else text for v, text in zip(value, inner, strict=True)
        )
    return str(value)


def _quantity(value: float, unit: str, units: str) -> str:
    if unit == "m/min":
        return Writing(units=units).table_speed(value)
    if unit == "mm":
        return stated(value, units)
    return shown(value, unit, units) if unit else f"{value:g}"


ASKED = {
    "describe": "sizes as read",
    "seat": "seats",
    "nest": "nests",
    "rest": "rest",
    "location": "location",
    "tolerance": "tolerances",
    "hold": "hold",
    "crash": "letting go",
    "reach": "reach of wheel or cutter",
    "clear": "clearance of wheel or cutter",
    "align": "alignment",
    "dials": "dials",
    "limits": "limits of wheel and machine",
    "release": "release",
    "angle": "angles",
    "rolls": "sizes over rolls",
    "drill": "holes",
    "mill": "end mills",
    "vise": "vise",
    "wall": "walls",
    "hardening": "hardening",
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
    "reach": "does wheel or cutter reach all that it makes",
    "clear": "does wheel or cutter clear everything",
    "align": "are the cut faces level and parallel",
    "dials": "what do the dials read, and where are they zeroed",
    "limits": "are speed, travels and daylight within limits",
    "release": "how do the parts come off",
    "angle": "does the slope come out right",
    "rolls": "what is read over rolls",
    "drill": "can the holes be drilled and tapped",
    "mill": "does each end mill fit what it makes",
    "vise": "does the vise press straight",
    "wall": "do thin walls bear the clamps",
    "hardening": "do sizes and hardness come out right",
    "made": "are the faces there that it seats by",
    "datum": "are faces measured from finished ones",
    "stock": "is all stock taken off",
    "burr": "is there a burr where it seats",
    "growth": "do faces stay within tolerance in hardening",
    "hard": "does nothing but the wheel meet hard steel",
    "magnetism": "is magnetism gone before it matters",
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
    """Return the words under a result's verdict.

    Parameters
    ----------
    result : Result
        What was found.

    Returns
    -------
    Banner
        Each of its texts is empty where there is nothing to say.
    """
    return Banner(
        says=_says(result), overruled=_overruled(numbered(result)), not_asked=_not_asked(result.not_asked)
    )


def _unmet(finding: Finding) -> bool:
    """Tell whether a finding's own limit is not met, whatever it counts as."""
    return finding.overruled is not None or (
        finding.verdict is not Verdict.GO and finding.margin is not None and finding.margin < 0
    )


def _says(result: Result) -> str:
    if result.touching is not None:
        return touching_says(result.touching, Writing(units=result.shown_in))
    doing, do = _work(result)
    rows = numbered(result)
    counts = Counter(r.finding.verdict for r in rows)
    if result.verdict is Verdict.NO_GO:
        return f"Do not {do} this set-up as it stands."
    if result.verdict is Verdict.UNKNOWN:
        return (
            f"{plural(counts[Verdict.UNKNOWN], 'answer')} could not be computed. That is no pass: do not "
            f"{do} this set-up until it is known."
        )
    if result.verdict is Verdict.CAUTION:
        short = sum(_unmet(r.finding) for r in rows if r.finding.verdict is Verdict.CAUTION)
        if short:
            return f"{plural(short, 'limit')} not met: decide on each caution before {doing}."
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


_WORK = {"drill": ("drilling", "drill"), "hardening": ("hardening", "harden")}
"""By what is asked of a set-up that nothing is ground or milled in, what is done in it."""


def _work(result: Result) -> tuple[str, str]:
    """Return what is done with a set-up: as a noun, and as what one is told not to do."""
    hold = result.holding
    asked = {f.check for f in result.findings}
    if not result.cuts and not (hold is not None and hold.parts and (hold.mills or hold.grinds)):
        found = next((words for check, words in _WORK.items() if check in asked), None)
        if found is not None:
            return found
    return ("milling", "mill") if _mills(result) else ("grinding", "grind")


def _mills(result: Result) -> bool:
    """Tell whether parts are milled and none is ground."""
    hold = result.holding
    held = hold is not None and bool(hold.parts)
    if not result.cuts and not held:
        return False
    return all(cut.milled for cut in result.cuts) and (hold is None or not hold.grinds)


def _overruled(rows: Iterable[Numbered]) -> str:
    """Say which findings count as less than their checks found."""
    overruled = [r.together for r in rows if r.finding.overruled is not None]
    if not overruled:
        return ""
    listed = "; ".join(
        f"{t.finding.check} of {title(t)} counts as {t.finding.verdict}" for t in overruled[:_MOST_NAMED]
    )
    rest = len(overruled) - _MOST_NAMED
    more = f"; and {rest} more" if rest > 0 else ""
    return f"Overruled by [severity], {len(overruled)} no-go: {listed}{more}."


def counted_words(rows: Sequence[Numbered]) -> str:
    """Count what is reported under one number once, the worst first; what follows from it is not counted.

    Every verdict is named where the result has any finding; overruled ones are counted apart.

    Parameters
    ----------
    rows : sequence of Numbered
        What `numbered` returned.

    Returns
    -------
    str
        Such as `1 no-go, 0 unknown, 2 caution, 5 go`; empty without rows.
    """
    if not rows:
        return ""
    plain = Counter(r.finding.verdict for r in rows if r.finding.overruled is None)
    overruled = sum(r.finding.overruled is not None for r in rows)
    several = any(r.together.like or r.follows for r in rows)
    listed = [f"{plain[v]} {v}" for v in (Verdict.NO_GO, Verdict.UNKNOWN, Verdict.CAUTION, Verdict.GO)]
    listed += [f"{overruled} no-go overruled"] if overruled else []
    return ", ".join(listed) + (" (like findings counted once)" if several else "")


def _not_asked(questions: Iterable[NotAsked]) -> str:
    """List the questions, those with one reason together."""
    together: dict[str, list[str]] = {}
    for one in questions:
        together.setdefault(reason(one), []).append(QUESTIONS.get(one.check, one.check))
    if not together:
        return ""
    listed = "; ".join(f"{', '.join(asked)} ({why})" for why, asked in together.items())
    return f"Not asked: {listed}."


def reason(one: NotAsked) -> str:
    """Say why a question was not asked.

    Parameters
    ----------
    one : NotAsked
        A question that nobody asked.

    Returns
    -------
    str
        Words without a full stop.
    """
    if one.reason is WhyNotAsked.NOT_STATED:
        return f"no {one.lacks}"
    if one.reason is WhyNotAsked.WAITS:
        return f"waits for {one.lacks}"
    return str(one.reason)
