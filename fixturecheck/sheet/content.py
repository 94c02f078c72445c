"""What stands on the sheet of one operation, out of its set-up and what its check found."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from fixturecheck.faceref import FaceRef
from fixturecheck.process.run import comes_off
from fixturecheck.report.job import off_words
from fixturecheck.report.order import numbered
from fixturecheck.report.statements import QUESTIONS, at_the_machine, banner
from fixturecheck.result import Result
from fixturecheck.result.dials import CutDials, DialReading
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.result.hold import ClampKind, MagnetState
from fixturecheck.result.release import Burr
from fixturecheck.setup.holding import MillWay
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.setup.records import BodyRole, CutWay, Rank
from fixturecheck.setup.tools import MillMove
from fixturecheck.sheet.measured import MeasuredFace, MeasureRow, measure_rows
from fixturecheck.sizes.faces import RolledSize
from fixturecheck.units import Writing
from fixturecheck.wording.hold import burr_words, factor_words, first_words, magnet_state
from fixturecheck.wording.sentences import first_up, sentence
from fixturecheck.wording.settings import move_words, shown_on, tempered_words, time_words, turns_words

_MOST_CAUTIONS = 8
_MOST_POINTS = 4
"""Points of a move that are written out."""


class Mark(StrEnum):
    """What stands before a line: a box to tick, a dash, or an exclamation mark."""

    DO = "do"
    FACT = "fact"
    WATCH = "watch"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One line of a sheet.

    Parameters
    ----------
    text : str
        As it is read.
    mark : Mark
        Whether it is done and ticked off, known, or watched.
    """

    text: str
    mark: Mark = Mark.DO


@dataclass(frozen=True, slots=True, kw_only=True)
class StagedBody:
    """A body of the staging, with the number that it carries in the picture.

    Parameters
    ----------
    tag : str
        The body on which the number stands.
    name : str
        What is set: a body, or a piece of equipment of several.
    """

    number: int
    name: str
    tag: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DialRow:
    """A step at the dials: what to do, from zero, and what the dial shows."""

    do: str
    read: str
    shows: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSheet:
    """The dials of one cut, and its passes and time in a line."""

    name: str
    rows: tuple[DialRow, ...]
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The sheet of one operation; every text is as it is read.

    Parameters
    ----------
    number, title : str
        Number of the operation, empty where there is but one, and its name.
    verdict, meaning, not_asked : str
        What the check says, what that means at the machine, and which questions it does not cover.
    does : tuple of str
        What the operation makes, leaves and measures.
    steps : tuple of StagedBody
        The order of staging.
    special : tuple of SheetLine
        The stack under a slope, what each hole needs, how the furnace is set.
    seats, hold, datums : tuple of SheetLine
        What to stone and how to test the seat; magnet or torques; what is set parallel to the travel and how
        closely, and what an edge finder is set by.
    wheel, cutter : tuple of SheetLine
        Wheel, dress and cuts; end mills and drills.
    cuts : tuple of CutSheet
        The dials.
    measures : tuple of MeasureRow
        What to measure.
    off : tuple of SheetLine
        How the parts come off.
    cautions, safety : tuple of str
        What to watch in this set-up; the usual cautions.
    made_from : tuple of str
        The files with their hashes.
    pictures : tuple of str
        File names of the pictures; empty where there is none.
    """

    number: str
    title: str
    verdict: str
    meaning: str = ""
    not_asked: str = ""
    does: tuple[str, ...] = ()
    steps: tuple[StagedBody, ...] = ()
    special: tuple[SheetLine, ...] = ()
    seats: tuple[SheetLine, ...] = ()
    hold: tuple[SheetLine, ...] = ()
    datums: tuple[SheetLine, ...] = ()
    wheel: tuple[SheetLine, ...] = ()
    cutter: tuple[SheetLine, ...] = ()
    cuts: tuple[CutSheet, ...] = ()
    measures: tuple[MeasureRow, ...] = ()
    off: tuple[SheetLine, ...] = ()
    cautions: tuple[str, ...] = ()
    safety: tuple[str, ...] = ()
    made_from: tuple[str, ...] = ()
    pictures: tuple[str, ...] = ()


def sheet_of(
    result: Result,
    setup: Setup,
    heights: Sequence[MeasuredFace | RolledSize],
    *,
    number: str = "",
    title: str = "",
    stones: Sequence[str] = (),
    left_mm: Mapping[str, float] = MappingProxyType({}),
) -> Sheet:
    """Return the sheet of an operation.

    Parameters
    ----------
    result : Result
        What its check found.
    setup : Setup
        The set-up that was checked.
    heights : sequence of MeasuredFace or RolledSize
        How far each target lies from the face that its part seats by.
    number, title : str
        Of the operation; the name of the set-up where there is no title.
    stones : sequence of str
        Edges that are stoned before it, besides those of the seats.
    left_mm : mapping of str to float
        By face that it makes, the stock that it leaves there.

    Returns
    -------
    Sheet
        Without pictures.
    """
    write = setup.write
    return Sheet(
        number=number,
        title=title or setup.name,
        verdict=str(result.verdict).upper(),
        meaning=banner(result).says,
        not_asked=_not_asked(result) if _turning(setup) else "",
        steps=tuple(staged_steps(setup)),
        special=tuple(_special(result)),
        seats=tuple(_seats(result, setup, stones)),
        hold=tuple(_hold(result, setup)),
        datums=tuple(_datums(result, write)),
        wheel=tuple(_wheel(setup)),
        cutter=tuple(_cutter(setup)),
        cuts=tuple(_dials(d, write) for d in result.dials),
        measures=tuple(measure_rows(setup, heights, left_mm)),
        off=tuple(_off(result, setup)),
        cautions=tuple(_cautions(result)),
        safety=tuple(dict.fromkeys(line for machine in at_the_machine(setup) for line in machine)),
        made_from=tuple(f"{s.path}  sha256 {s.sha256}" for s in result.sources),
    )


def _not_asked(result: Result) -> str:
    """Return the questions that the verdict does not cover; keys of files are not for the machine."""
    open_ones = dict.fromkeys(QUESTIONS.get(one.check, one.check) for one in result.not_asked)
    return f"Not answered here: {'; '.join(open_ones)}." if open_ones else ""


def staged_steps(setup: Setup) -> Iterator[StagedBody]:
    """Yield the bodies in the order in which they are set, a piece of equipment once.

    Parameters
    ----------
    setup : Setup
        With or without a staging; without one, fixtures come first and parts last.

    Yields
    ------
    StagedBody
        Numbered from 1.
    """
    order = setup.staging.order if setup.staging is not None else ()
    fixtures = [b for b in setup.bodies if b.role != BodyRole.PART and b.name not in order]
    late = [setup.body(name) for name in order]
    parts = [b for b in setup.bodies if b.role == BodyRole.PART and b.name not in order]
    by_name: dict[str, list[Body]] = {}
    for body in (*fixtures, *late, *parts):
        by_name.setdefault(body.group or body.name, []).append(body)
    for number, (name, bodies) in enumerate(by_name.items(), start=1):
        yield StagedBody(
            number=number, name=name, tag=bodies[0].name, text=f"{name}{_goes_on(setup, bodies)}"
        )


_RANKS = {Rank.STOP: "up to", Rank.NEST: "nested on"}


def _goes_on(setup: Setup, bodies: Sequence[Body]) -> str:
    """Return what a body seats on, in the order of its seats, or that it is fastened where it stands."""
    if all(b.fastened for b in bodies):
        return ": screw or clamp it down"
    names = {b.name for b in bodies}
    seats = [s for s in setup.seats if s.body in names]
    onto = "; ".join(f"{s.face} {_RANKS.get(Rank(s.rank), 'on')} {s.other}" for s in seats)
    push = ""
    if setup.staging is not None:
        for name in sorted(names & {*setup.staging.push}):
            x, y, z = setup.staging.push[name].direction
            ways = [w for v, w in ((x, "X"), (y, "Y"), (z, "Z")) if v]
            signs = [
                f"{'+' if v > 0 else '-'}{w}" for v, w in zip([v for v in (x, y, z) if v], ways, strict=True)
            ]
            push = f"; push it toward {' '.join(signs)}"
    return f": {onto}{push}" if onto else push


def _seats(result: Result, setup: Setup, stones: Sequence[str]) -> Iterator[SheetLine]:
    """Yield what to stone, and how to try whether the parts sit."""
    burrs = result.holding.burrs if result.holding else ()
    parts = {b.name for b in setup.parts()}
    own = sorted({s.face for s in setup.seats if s.body in parts})
    faces = ", ".join(dict.fromkeys([*stones, *own])) or "every seat"
    of = "each part" if len(parts) > 1 else next(iter(parts))
    yield SheetLine(text=f"Stone the edges of {faces} of {of}; wipe seats and blocking clean and dry.")
    yield SheetLine(
        text="Try each seat: press on every corner of the part in turn, it must not rock; a strip of thin "
        "paper under each end of a seat must be held."
    )
    for words, bodies in burrs_together(burrs):
        of = bodies[0] if len(bodies) == 1 else f"each of {', '.join(bodies)}"
        yield SheetLine(text=f"After this operation stone, on {of}: {words}.")


def burrs_together(burrs: Sequence[Burr]) -> Iterator[tuple[str, list[str]]]:
    """Yield the burrs of like parts once.

    Parameters
    ----------
    burrs : sequence of Burr
        Of all parts.

    Yields
    ------
    (str, list of str)
        Edges, where on them and why, without their part; and the parts that have them.
    """
    on: dict[str, list[str]] = {}
    for burr in burrs:
        edge = FaceRef(burr.edge)
        on.setdefault(burr_words(replace(burr, edge=edge.face)), []).append(edge.body)
    by: dict[tuple[str, ...], list[str]] = {}
    for words, bodies in on.items():
        by.setdefault(tuple(bodies), []).append(words)
    yield from (("; ".join(words), [*bodies]) for bodies, words in by.items())


_SPECIAL = {
    Kind.STACK: Mark.DO,
    Kind.OVER_ROLLS: Mark.FACT,
    Kind.SLOPE: Mark.FACT,
    Kind.DRILL_START: Mark.DO,
    Kind.SPOT: Mark.DO,
    Kind.DRILL_SIZE: Mark.FACT,
    Kind.THREAD_SHARE: Mark.FACT,
    Kind.THREAD_DEPTH: Mark.DO,
    Kind.HARDNESS_TEST: Mark.DO,
}
"""Kinds of findings that tell what is set or done besides, whatever their verdict, and how each is marked."""


def _special(result: Result) -> Iterator[SheetLine]:
    """Yield the stack under a slope, what each hole needs, process and temper, where hardness is tested."""
    for steel in result.hardening.steels if result.hardening is not None else ():
        yield SheetLine(text=f"{first_up(steel.says)}. {sentence(tempered_words(steel))}")
    kinds = {f.says: f.kind for f in result.findings if f.kind in _SPECIAL}
    yield from (SheetLine(text=says, mark=_SPECIAL[kind]) for says, kind in kinds.items() if kind is not None)


def _turning(setup: Setup) -> str:
    """Return what turns at the machine; empty where nothing does."""
    mills = bool(setup.end_mills or (setup.holding and setup.holding.milling))
    tools = [("wheel", bool(setup.cuts)), ("cutter", mills), ("drill", bool(setup.drills))]
    named = [word for word, there in tools if there]
    return " and ".join(named) or ("" if setup.hardening is not None else "spindle")


def _hold(result: Result, setup: Setup) -> Iterator[SheetLine]:
    """Yield the magnet's state, the torque or force of each clamp, and how well the least part holds."""
    write, holding, found, turns = setup.write, setup.holding, result.holding, _turning(setup)
    if holding is None:
        if turns:
            says = "What holds the parts was not stated, and whether they hold was not asked."
            yield SheetLine(text=says, mark=Mark.WATCH)
            yield SheetLine(text=f"Tug every part and every block by hand before the {turns} turns.")
        return
    if holding.magnet != MagnetState.OFF:
        state = holding.magnet if found is None else magnet_state(found.magnet)
        yield SheetLine(text=f"Magnet: {state}.")
    for clamp in holding.clamps:
        what = "vise" if clamp.kind == ClampKind.VISE else f"{clamp.kind} clamp"
        by = "" if clamp.torque_nm is None else f"tighten to {write.torque(clamp.torque_nm)}"
        by = by or ("" if clamp.force_n is None else f"press with {write.force(clamp.force_n)}")
        yield SheetLine(text=f"{clamp.name} ({what}, on {clamp.body}): {by or 'as stated'}.")
    if any(clamp.kind == ClampKind.STRAP for clamp in holding.clamps):
        says = "Set the heel of a strap as high as what it presses: one that leans pushes the part sideways, "
        says += "and the hold was worked out straight down."
        yield SheetLine(text=says, mark=Mark.WATCH)
    if found is not None and found.parts:
        least = min(found.parts, key=lambda p: p.factor_low)
        yield SheetLine(
            text=f"Least: {least.part} holds {factor_words(least, found)} times its load.", mark=Mark.FACT
        )
    else:
        yield SheetLine(text="Whether the parts hold was not worked out.", mark=Mark.WATCH)
    if turns:
        yield SheetLine(text=f"Tug every part and every block by hand before the {turns} turns.")


def _datums(result: Result, write: Writing) -> Iterator[SheetLine]:
    """Yield what is set parallel to the travel, and the offset of each edge finder."""
    yield from (SheetLine(text=f.says) for f in result.findings if f.kind is Kind.SQUARED)
    for one in result.offsets:
        tip = write.length(one.radius_mm, "g")
        block = f"a block of {write.length(one.block_mm, 'g')} against it and " if one.block_mm else ""
        yield SheetLine(
            text=f"{one.name}: from {one.stop}, {block}half the tip of {tip}: the axis "
            f"is at {write.length(one.offset_mm, 'g')} when the finder touches. From there "
            f"{write.length(abs(one.set_mm), 'g')} toward {one.way} to {one.target}."
        )


def _wheel(setup: Setup) -> Iterator[SheetLine]:
    """Yield wheel, dress and what each cut is set to."""
    if not setup.cuts:
        return
    wheel, write, machine = setup.wheel, setup.write, setup.machine
    spec = f", {wheel.spec}" if wheel.spec else ""
    yield SheetLine(
        text=f"Wheel shape {wheel.shape}, {write.length(wheel.diameter_mm, 'g')} x "
        f"{write.length(wheel.thickness_mm, 'g')}{spec}."
    )
    yield SheetLine(text=f"Dress: corner radius {write.length(wheel.corner_radius_mm, 'g')}.")
    for cut in setup.cuts:
        yield SheetLine(text=f"Cut {cut.name}: {_settings(cut, write, cut.rpm or machine.rpm)}.")


def _cutter(setup: Setup) -> Iterator[SheetLine]:
    """Yield each end mill with its moves, each milling cut, and each drill."""
    write = setup.write
    for run in setup.end_mills:
        size, out = write.length(run.diameter_mm, "g"), write.length(run.stick_out_mm, "g")
        yield SheetLine(
            text=f"End mill {run.name}: {run.shape}, {size}, flutes {write.length(run.flute_mm, 'g')}, "
            f"stands out {out} of a nut of {write.length(run.nut_mm, 'g')}; makes {', '.join(run.makes)}."
        )
        for n, move in enumerate(run.moves, start=1):
            yield SheetLine(text=f"Move {n} of {run.name}: {_move_words(move, write)}.")
    for mill in setup.holding.milling if setup.holding is not None else ():
        way = "either way round" if mill.way == MillWay.ANY else mill.way
        yield SheetLine(
            text=f"Mill {mill.name}, {mill.face}: cutter {write.length(mill.cutter_mm, 'g')} with "
            f"{mill.teeth} teeth, {write.length(mill.deep_mm, 'g')} deep, "
            f"{write.length(mill.wide_mm, 'g')} wide, {write.length(mill.feed_mm_tooth, 'g')} a tooth, {way}."
        )
    for drill in setup.drills:
        nut = write.length(drill.nut_mm, "g")
        if drill.drilled:
            out = write.length(drill.longest_out_mm, "g")
            says = f"Tap {drill.name}: {drill.thread}, stands out {out} of a nut of {nut}; the hole is there."
            yield SheetLine(text=says)
            continue
        size = "as the hole is drawn" if drill.drill_mm is None else write.length(drill.drill_mm, "g")
        first = (
            "" if drill.seat_mm is None else f"end mill a seat of {write.length(drill.seat_mm, 'g')} first; "
        )
        first += "" if drill.spot_deg is None else f"spot at {drill.spot_deg:g}° first; "
        tap = "" if drill.thread is None else f"; then tap {drill.thread}"
        yield SheetLine(
            text=f"Drill {drill.name}: {first}{size}, point {drill.point_deg:g}°, stands out "
            f"{write.length(drill.stick_out_mm, 'g')} of a nut of {nut}{tap}."
        )


def _move_words(move: MillMove, write: Writing) -> str:
    """Return what one move of an end mill does."""
    down = "" if move.z_mm is None else f", tip at Z {write.length(move.z_mm, 'g')}"
    if move.from_z_mm is not None:
        round_ = "" if move.radius_mm is None else f", round at {write.length(move.radius_mm, 'g')}"
        fall = "" if move.pitch_mm is None else f", {write.length(move.pitch_mm, 'g')} down a round"
        high = write.length(move.from_z_mm, "g")
        down = f"{round_}{fall}, down from Z {high}{down}, then once more level"
    if move.face is not None and not move.at_mm:
        step = "" if move.step_mm is None else f", rounds {write.length(move.step_mm, 'g')} apart"
        leave = f", {write.length(move.leave_mm, 'g')} left on the walls" if move.leave_mm > 0.0 else ""
        return f"{move.kind} over {move.face}{step}{leave}{down}"
    points = " to ".join(
        f"X {write.length(x, 'g')} Y {write.length(y, 'g')}" for x, y in move.at_mm[:_MOST_POINTS]
    )
    more = f" and {len(move.at_mm) - _MOST_POINTS} more" if len(move.at_mm) > _MOST_POINTS else ""
    return f"{move.kind}, {points}{more}{down}"


def _settings(cut: Cut, write: Writing, rpm: float) -> str:
    phrases = [f"{rpm:g} rpm", f"stock {write.length(cut.stock_mm, 'g')}"]
    if cut.wall is not None and cut.wall_stock_mm > 0:
        phrases.append(f"on the wall {write.length(cut.wall_stock_mm, 'g')}")
    phrases.append(f"{write.length(cut.downfeed_mm, 'g')} a pass")
    if cut.way == CutWay.TRAVERSE:
        phrases.append(f"cross feed {write.length(cut.cross_feed_mm, 'g')}")
    phrases.append(f"table {write.table_speed(cut.table_speed_m_min)}")
    return ", ".join(phrases)


def _dials(dials: CutDials, write: Writing) -> CutSheet:
    rows = tuple(
        DialRow(
            do=move_words(m, write),
            # A read-out shows the distance itself; nobody counts its digits.
            read="" if m.reading is None or _on_a_scale(m.reading) else turns_words(m.reading, write),
            shows="" if m.reading is None else shown_on(m.reading),
        )
        for m in dials.moves
    )
    p = dials.passes
    strokes = "1 stroke" if p.strokes == 1 else f"{p.strokes} strokes"
    says = f"{strokes} a pass; about {time_words(p.batch_min)} a batch"
    says += f", {time_words(p.part_min)} a part" if p.part_min < p.batch_min else ""
    return CutSheet(name=dials.cut, rows=rows, says=says)


def _on_a_scale(reading: DialReading) -> bool:
    """Tell whether a read-out shows it."""
    return reading.turns is None and reading.lines is not None


def _off(result: Result, setup: Setup) -> Iterator[SheetLine]:
    """Yield how the parts come off, in their order, where a pry reaches them, and what must not rub."""
    hold = result.holding
    if hold is None or not hold.leaving:
        if _turning(setup):
            first = "Wheel clear and at rest" if setup.cuts else "Spindle at rest"
            yield SheetLine(text="How the parts come off was not worked out.", mark=Mark.WATCH)
        else:
            first = "Let it cool in the furnace's own way, with tongs and face shield"
        yield SheetLine(text=f"{first}; lift, do not slide.")
        return
    if hold.before is not None:
        yield SheetLine(text=f"{first_up(first_words(hold.before))}.")
    for body in comes_off(result):
        yield SheetLine(text=off_words(body))


def _cautions(result: Result) -> Iterator[str]:
    """Yield what is not go, the worst first."""
    rows = [r for r in numbered(result) if r.finding.verdict is not Verdict.GO or r.finding.overruled]
    for row in rows[:_MOST_CAUTIONS]:
        change = f" Change: {row.finding.remedy}" if row.finding.remedy else ""
        yield f"{str(row.finding.verdict).upper()}: {row.finding.says}{change}"
    if len(rows) > _MOST_CAUTIONS:
        yield f"And {len(rows) - _MOST_CAUTIONS} more, in the report."
