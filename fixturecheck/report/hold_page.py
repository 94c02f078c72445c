"""The report's sections on the hold: factors, forces, what drives them, losses, faces; how it comes apart."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from markupsafe import Markup

from fixturecheck.report.markup import MOST_OPEN, Cell, Picture, Table, render, round_step, table_of
from fixturecheck.report.order import HOLD_FLUX, HOLD_PULL, let_go_picture, worst_of_each_cut
from fixturecheck.result import Result
from fixturecheck.result.hold import FaceHeld, HoldFound, Outcome, PartHeld, Tool
from fixturecheck.result.release import BodyLeaves
from fixturecheck.units import Writing
from fixturecheck.wording.hold import (
    amount,
    bounded_factor,
    burr_words,
    case_words,
    digits,
    factor_words,
    first_words,
    friction_words,
    input_span,
    kept_lines,
    loss_how,
    loss_words,
    magnet_words,
    note_words,
    outcome_words,
    pry_words,
    range_words,
    tools_of,
    way_words,
)
from fixturecheck.wording.motion import how_words
from fixturecheck.wording.remedies import remedy_words
from fixturecheck.wording.sentences import sentence

_OF_WHEEL = "nobody in the plane of the wheel"
_OF_CUTTER = "no glove, sleeve or hand near a turning cutter"
_OF_DRILL = "no glove, sleeve, hair or hand near a turning drill"

CAPTIONS = {
    HOLD_PULL: "Where the magnet pulls, and how hard: pull per area on the faces that touch, evened out over "
    "about {about}, at the weak end of what is not known well. The parts are ghosts so that the "
    "faces under them show.",
    HOLD_FLUX: "Flux in a section through the iron: arrows point the way of the flux, longer and darker "
    "where it is denser. N and S are the poles.",
}

_LET_GO = (
    "The cutting force where {part} bears it least, and how it starts to move if it lets go. The move is "
    "drawn larger: only its direction is true."
)

_BEFORE = "{tools} clear of the work and the spindle at rest, magnet off and clamps open"

_MEANS = {
    Outcome.DIGS_IN: "the wheel takes more of it the farther it moves",
    Outcome.STAYS: "the wheel takes no more and no less of it",
}


def hold_section(result: Result, pictures: Mapping[str, Picture]) -> Markup:
    """Return the section; empty where the set-up states no holding, as the answers say.

    Parameters
    ----------
    result : Result
        Its hold is told, in the units that it is shown in.
    pictures : mapping of str to Picture
        The pictures of the hold by file name.

    Returns
    -------
    Markup
        HTML.
    """
    hold, units = result.holding, result.shown_in
    if hold is None:
        return Markup()
    write = Writing(units=units)
    return render(
        "hold.html",
        tools=tools_of(hold),
        clear=", ".join([_OF_WHEEL] * hold.grinds + [_OF_CUTTER] * hold.mills + [_OF_DRILL] * hold.drills),
        magnet=magnet_words(hold.magnet, write),
        least=digits(hold.least_factor),
        friction=sentence(friction_words(hold.friction)),
        missing=[f"{about}: {why}" for about, why in hold.missing],
        factors=_factors(hold, write) if hold.parts else None,
        parts=[_part(p, hold, write, pictures) for p in worst_of_each_cut(hold)],
        kept=[sentence(line) for line in kept_lines(hold)],
        pictures=[pictures[name] for name in (HOLD_PULL, HOLD_FLUX) if name in pictures],
        faces=_faces(hold, units) if hold.faces else None,
        most_open=MOST_OPEN,
        notes=[sentence(note_words(n, write)) for n in hold.notes],
    )


def apart_section(result: Result) -> Markup | None:
    """Return the section on how bodies come off; None where none does and no burr is left.

    Parameters
    ----------
    result : Result
        What its hold says of bodies that leave, and of burrs, is told.

    Returns
    -------
    Markup or None
        HTML.
    """
    hold = result.holding
    if hold is None or not (hold.leaving or hold.burrs):
        return None
    steps = first_words(hold.before) if hold.before else _BEFORE.format(tools=tools_of(hold))
    return render(
        "apart.html",
        first=sentence(steps),
        leaving=_leaving(hold, Writing(units=result.shown_in)) if hold.leaving else None,
        burrs=[burr_words(b) for b in hold.burrs],
    )


def hold_captions(hold: HoldFound | None, units: str) -> dict[str, str]:
    """Return what stands under each picture of the hold, by file name.

    Parameters
    ----------
    hold : HoldFound or None
        None gives no captions.
    units : str
        Units of the report: `mm`, `inch` or `thou`.

    Returns
    -------
    dict of str to str
        In plain words; one for each cut besides pull and flux.
    """
    if hold is None:
        return {}
    parts = {let_go_picture(hold, p): _LET_GO.format(part=p.part) for p in worst_of_each_cut(hold)}
    about = "0.04 in" if units != "mm" else "a millimetre"
    return {**{name: says.format(about=about) for name, says in CAPTIONS.items()}, **parts}


def _factors(hold: HoldFound, write: Writing) -> Table:
    rows = [
        (
            Cell(lines=(p.part,), below=f"in {p.cut}", unbroken=True),
            Cell(lines=(factor_words(p, hold),), below=f"asked {digits(hold.least_factor)}"),
            range_words(p.pull_n, "N", write.units) if any(p.pull_n) else "none",
            _cutting(p, write.units),
            Cell(lines=(how_words(p.failure, write),), below=_where(p, write)),
        )
        for p in hold.parts
    ]
    heads = (
        "part",
        "times its load",
        "pull of magnet on all its faces",
        "cutting force",
        "how it lets go, and where",
    )
    return table_of(heads, rows, 1, 2)


def _cutting(part: PartHeld, units: str) -> Cell:
    """Return the forces of wheel or cutter, one below the other."""
    named = (
        ("drag", part.drag_n),
        ("push", part.press_n),
        ("push on wall", part.wall_n),
        ("across, either way, up to", (part.cross_n[1], part.cross_n[1])),
        ("along the teeth", part.milling_n),
        ("thrust", part.thrust_n),
    )
    lines = [f"{name} {range_words(ends, 'N', units)}" for name, ends in named if any(ends)]
    turns = [f"torque {range_words(part.torque_nm, 'N m', units)}"] * part.down_its_axis
    return Cell(lines=(*lines, *turns))


def _where(part: PartHeld, write: Writing) -> str:
    case = case_words(part.case, write)
    return f"{case}. {_outcome(part)}" if part.goes else case


def _outcome(part: PartHeld) -> str:
    """Say what the freed body does to the wheel and what it runs into."""
    if part.goes is None:
        return ""
    means = f": {_MEANS[part.outcome]}" if part.outcome in _MEANS and part.tool is Tool.WHEEL else ""
    says = sentence(f"{outcome_words(part)}{means}")
    return f"{says} It then runs into {part.hits}." if part.hits else says


def _part(part: PartHeld, hold: HoldFound, write: Writing, pictures: Mapping[str, Picture]) -> dict[str, Any]:
    """Return what a reader wants of the part that holds least in one cut."""
    names = frozenset({part.part, part.goes or ""})
    far = max((max(i.factor_at_low, i.factor_at_high) for i in part.inputs), default=0.0)
    return {
        "title": f"{part.part} in {part.cut}: {factor_words(part, hold)} times its load",
        "others": sum(p.cut == part.cut for p in hold.parts) - 1,
        "how": sentence(how_words(part.failure, write), names),
        "outcome": _outcome(part),
        "picture": pictures.get(let_go_picture(hold, part)),
        "tornado": tornado(part, hold, write.units),
        "low": digits(part.factor_low),
        "beyond": digits(hold.ceiling) if far >= hold.ceiling * (1.0 - 1e-9) else "",
        "losses": _losses(part, hold, write) if part.losses else None,
        "remedies": [sentence(remedy_words(r, write)) for r in part.remedies],
    }


def _losses(part: PartHeld, hold: HoldFound, write: Writing) -> Table:
    rows = [
        (
            loss_words(loss.lost),
            "not known" if loss.factor is None else _left(loss.factor, hold),
            loss_how(loss, write),
        )
        for loss in part.losses
    ]
    return table_of(("case", "times its load", "what happens"), rows, 1)


def _left(factor: float, hold: HoldFound) -> Cell:
    """Return the factor that is left, with a word where it does not hold at all."""
    text = (bounded_factor(factor, hold),)
    if factor < 1.0:
        return Cell(lines=text, below="lets go under the cut", strong=True)
    return Cell(lines=text, below="less than asked" if factor < hold.least_factor else "")


def _faces(hold: HoldFound, units: str) -> Table:
    """Return the pull face by face."""
    heads = ("faces", "pull", "area", "pull per area", "flux density")
    rows = [_face(f, units) for f in sorted(hold.faces, key=lambda f: (f.a, f.b))]
    return table_of(heads, rows, 1, 2, 3, 4)


def _face(face: FaceHeld, units: str) -> tuple[str | Cell, ...]:
    each = (
        (100.0 * face.low_n / face.area_mm2, 100.0 * face.high_n / face.area_mm2)
        if face.area_mm2
        else (0.0, 0.0)
    )
    return (
        Cell(lines=(face.a,), below=f"on {face.b}", unbroken=True),
        range_words((face.low_n, face.high_n), "N", units),
        amount(face.area_mm2, "mm2", units),
        range_words(each, "N/cm2", units),
        f"{digits(face.flux_density_t)}\u202fT",
    )


def _leaving(hold: HoldFound, write: Writing) -> Table:
    rows = [_leaves(i, b, write) for i, b in enumerate(hold.leaving, start=1)]
    return table_of(("", "body", "still drawn by", "comes off", "pry under"), rows, 0, 2)


def _leaves(number: int, body: BodyLeaves, write: Writing) -> tuple[str | Cell, ...]:
    keeps = "demagnetise before lifting, and again before the next seating" if body.demagnetise else ""
    return (
        str(number),
        Cell(lines=(body.body,), below=keeps, unbroken=True),
        "" if body.residual_n is None else range_words(body.residual_n, "N", write.units),
        Cell(lines=tuple(way_words(w, write) for w in body.ways) or ("no way off was found",)),
        pry_words(body.pry, write) if body.pry else "no edge found",
    )


_WIDE, _LEFT, _RIGHT = 440.0, 44.0, 50.0
_ROW, _BAR, _TOP, _FOOT = 70.0, 34.0, 54.0, 40.0
"""Sizes of the picture of what drives a factor; names stand over their bars, so that a phone shows all."""
_ALL, _AT_LOW, _AT_HIGH = "#3c4650", "#c8913a", "#2f6f9f"
"""Input at its low end, at its high end: apart in lightness too, for eyes that do not tell the hues."""
_CLEAR = ' stroke="#fff" stroke-width="4" paint-order="stroke"'
"""Keeps a number readable where it stands on a line."""


def tornado(part: PartHeld, hold: HoldFound, units: str) -> str:
    """Return what each input does to a part's factor as an SVG; empty where nothing was varied.

    One row for each input, the strongest first: a bar from the factor at its low end to that at its high end,
    the others in the middle, or weak where that is beyond the search. Bars that reach the end of the search
    are cut there with a jagged end.

    Parameters
    ----------
    part : PartHeld
        The part in one cut, with what each input does to its factor.
    hold : HoldFound
        The hold that the part belongs to.
    units : str
        Units of the report: `mm`, `inch` or `thou`.

    Returns
    -------
    str
        SVG, with its texts escaped.
    """
    if not part.inputs:
        return ""
    scale = _Scale(part, hold)
    bars = [_bar(scale, hold, _TOP, [(part.factor_low, _ALL), (part.factor_high, _ALL)])]
    names = [_name("all of them", "all bad ends to all good ends", _TOP)]
    for i, found in enumerate(part.inputs, start=1):
        ends = [(found.factor_at_low, _AT_LOW), (found.factor_at_high, _AT_HIGH)]
        top = _TOP + _ROW * i
        names.append(_name(found.name, input_span(found, units), top))
        bars.append(_bar(scale, hold, top, sorted(ends)))
    foot = _TOP + _ROW * len(names)
    drawn, labels = (" ".join(layer) for layer in zip(*bars, strict=True))
    title = escape(f"What drives the factor of {part.part} in {part.cut}")
    return (
        f'<svg viewBox="0 0 {_WIDE:.0f} {foot + _FOOT:.0f}" role="img" aria-label="{title}" class="tornado" '
        'style="width:100%;max-width:560px;height:auto" font-size="14">'
        f"{_key()}{_axis(scale, foot)}{drawn}{_least(scale, hold, foot)}{''.join(names)}{labels}</svg>"
    )


class _Scale:
    """The axis of the factor: from zero to beyond all single inputs and what was asked."""

    def __init__(self, part: PartHeld, hold: HoldFound) -> None:
        values = [part.factor_low]
        values += [f for i in part.inputs for f in (i.factor_at_low, i.factor_at_high)]
        self.high = min(1.02 * hold.ceiling, 1.15 * max(*values, hold.least_factor))
        self.step = round_step(self.high / 6)

    def x(self, factor: float) -> float:
        """Return where a factor lies, at most the end of the axis."""
        return _LEFT + min(factor, self.high) / self.high * (_WIDE - _LEFT - _RIGHT)

    def ends_before(self, factor: float) -> bool:
        """Tell whether a factor lies beyond the axis."""
        return factor > self.high


def _name(text: str, below: str, top: float) -> str:
    """Write a row's name, and between what it was moved."""
    y = top + 13.0
    return (
        f'<text x="{_LEFT:.0f}" y="{y}" font-weight="600"{_CLEAR}>{escape(text)}</text>'
        f'<text x="{_LEFT:.0f}" y="{y + 15}" font-size="11.5" fill="#555"{_CLEAR}>{escape(below)}</text>'
    )


def _bar(scale: _Scale, hold: HoldFound, top: float, ends: list[tuple[float, str]]) -> tuple[str, str]:
    """Draw a bar between two factors, each half in its end's colour, and the numbers to go over all bars."""
    (near, first), (far, second) = ends
    x0, x1, y = scale.x(near), scale.x(far), top + _BAR + 17.0
    open_end = far >= hold.ceiling * (1.0 - 1e-9)
    clipped = open_end or scale.ends_before(far)
    if x1 - x0 < 1.0:
        says = f"no change below {digits(hold.ceiling)}" if open_end else f"{digits(near)}, no change"
        mark = f'<path d="M{x1:.1f} {top + _BAR}v24" stroke="#333" stroke-width="3"/>'
        place = f'x="{x1 - 8:.1f}" text-anchor="end"' if x1 > _WIDE / 2 else f'x="{x1 + 8:.1f}"'
        return mark, f'<text {place} y="{y}"{_CLEAR}>{escape(says)}</text>'
    half = (x0 + x1) / 2
    bars = (
        f'<rect x="{x0:.1f}" y="{top + _BAR}" width="{half - x0:.1f}" height="24" fill="{first}"/>'
        f'<rect x="{half:.1f}" y="{top + _BAR}" width="{x1 - half:.1f}" height="24" fill="{second}"/>'
    )
    labels = (
        f'<text x="{x0 - 5:.1f}" y="{y}" text-anchor="end"{_CLEAR}>{digits(near)}</text>'
        f'<text x="{x1 + (9 if clipped else 5):.1f}" y="{y}">{digits(far)}{"+" if open_end else ""}</text>'
    )
    return bars + (_jagged(x1, top + _BAR) if clipped else ""), labels


def _jagged(x: float, top: float) -> str:
    """Cut a bar's end to teeth: it goes on beyond what was looked at."""
    teeth = " ".join(f"{x + (5.0 if i % 2 else 0.0):.1f},{top + 4 * i:.1f}" for i in range(7))
    return f'<polyline points="{teeth}" fill="none" stroke="#fff" stroke-width="4"/>'


def _axis(scale: _Scale, foot: float) -> str:
    marks = []
    at = 0.0
    while at <= scale.high:
        x = scale.x(at)
        marks.append(
            f'<line x1="{x:.1f}" y1="{_TOP}" x2="{x:.1f}" y2="{foot}" stroke="#dde1e5"/>'
            f'<text x="{x:.1f}" y="{foot + 16}" text-anchor="middle" font-size="12">{digits(at)}</text>'
        )
        at = round(at + scale.step, 9)
    says = "factor: times the cutting load at which it lets go"
    middle = (_LEFT + _WIDE - _RIGHT) / 2
    place = f'x="{middle:.0f}" y="{foot + 34}" text-anchor="middle"'
    return "".join(marks) + f'<text {place} font-size="12" fill="#555">{says}</text>'


def _least(scale: _Scale, hold: HoldFound, foot: float) -> str:
    x = scale.x(hold.least_factor)
    return (
        f'<line x1="{x:.1f}" y1="{_TOP - 6}" x2="{x:.1f}" y2="{foot}" stroke="#b0182c" stroke-width="2" '
        f'stroke-dasharray="6 4"/><text x="{x:.1f}" y="{_TOP - 10}" text-anchor="middle" font-size="12" '
        f'fill="#b0182c">asked: {digits(hold.least_factor)}</text>'
    )


def _key() -> str:
    return "".join(
        f'<rect x="{x}" y="6" width="14" height="14" fill="{colour}"/>'
        f'<text x="{x + 20}" y="18" font-size="12">{says}</text>'
        for x, colour, says in ((44, _AT_LOW, "input at its low end"), (220, _AT_HIGH, "at its high end"))
    )
