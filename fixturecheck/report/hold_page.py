"""The report's section on the hold: factors, forces, what drives them, losses, faces, how it comes apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from fixturecheck.report.charts import tornado
from fixturecheck.report.order import HOLD_FLUX, HOLD_PULL, let_go_picture, worst_of_each_cut
from fixturecheck.result import Result
from fixturecheck.result.hold import FaceHeld, HoldFound, Outcome, PartHeld
from fixturecheck.result.release import BodyLeaves
from fixturecheck.units import Writing
from fixturecheck.wording.hold import (
    amount,
    digits,
    factor_words,
    friction_words,
    kept_lines,
    loss_how,
    loss_words,
    magnet_words,
    outcome_words,
    span,
    times,
    tools_of,
)
from fixturecheck.wording.motion import how_words
from fixturecheck.wording.release import burr_words, first_words, pry_words, way_words
from fixturecheck.wording.sentences import sentence

_NOT_ASKED = (
    "<section><h2>Does it hold</h2>\n<p>Not asked: the set-up states no holding. State the magnet's pull and "
    "its state, or the clamps, and every part is loaded by its cut until it lets go.</p></section>"
)

_CAUTION = (
    '<p class="machine"><strong>Worked out from what was stated, not measured.</strong> Never trust a magnet '
    "or a vise alone: block in what can move, and with the magnet on or the clamps tight tug every part and "
    "block before the {tools} turns. Guard closed, eye protection on, {clear}. Local "
    "rules and the people trained for this machine decide.</p>"
)

_OF_WHEEL = "nobody in the plane of the wheel"
_OF_CUTTER = "no glove, sleeve or hand near a turning cutter"

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


def hold_section(result: Result, figures: Mapping[str, str]) -> str:
    """Return the section; where the set-up states no holding, that it was not asked.

    Parameters
    ----------
    figures : mapping of str to str
        The pictures of the hold by file name, ready for the page.
    """
    hold, units = result.holding, result.shown_in
    if hold is None:
        return _NOT_ASKED
    pieces = [
        "<section><h2>Does it hold</h2>",
        _CAUTION.format(tools=tools_of(hold), clear=_clear(hold)),
        f"<p>{_stated(hold, Writing(units=units))}</p>",
        _missing(hold),
        _factors(hold, units),
        *(_part(p, hold, units, figures) for p in worst_of_each_cut(hold)),
        _kept(hold),
        _faces(hold, units, figures),
        _leaving(hold, units),
        _notes(hold),
        "</section>",
    ]
    return "\n".join(p for p in pieces if p)


def _clear(hold: HoldFound) -> str:
    said = ([_OF_WHEEL] if hold.grinds else []) + ([_OF_CUTTER] if hold.mills else [])
    return ", ".join(said)


def hold_captions(hold: HoldFound | None, units: str = "mm") -> dict[str, str]:
    """Return what stands under each picture of the hold, by file name."""
    if hold is None:
        return {}
    parts = {let_go_picture(hold, p): _LET_GO.format(part=p.part) for p in worst_of_each_cut(hold)}
    about = "0.04 in" if units != "mm" else "a millimetre"
    return {**{name: says.format(about=about) for name, says in CAPTIONS.items()}, **parts}


def _stated(hold: HoldFound, write: Writing) -> str:
    return (
        f"Magnet: {escape(magnet_words(hold.magnet, write))}. Asked: that every part bears at least "
        f"{digits(hold.least_factor)} times the cutting load. "
        f"{escape(sentence(friction_words(hold.friction)))} Every figure is the range that follows from "
        "what is not known well; the low end of the factor counts."
    )


def _missing(hold: HoldFound) -> str:
    if not hold.missing:
        return ""
    rows = "".join(f"<li>{escape(f'{about}: {why}')}</li>" for about, why in hold.missing)
    return f"<p><strong>Not known, and not a pass:</strong></p><ul>{rows}</ul>"


def _factors(hold: HoldFound, units: str) -> str:
    if not hold.parts:
        return ""
    write = Writing(units=units)
    rows = [
        (
            _named(p.part, f"in {p.cut}"),
            _cell(factor_words(p, hold), f"asked {digits(hold.least_factor)}"),
            escape(span(p.pull_n, "N", units)) if any(p.pull_n) else "none",
            _cutting(p, units),
            _cell(how_words(p.failure, write), _where(p)),
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
    return table(heads, rows, frozenset({1, 2, 3}))


def _cutting(part: PartHeld, units: str) -> str:
    """Return the forces of wheel or cutter, one below the other."""
    named = (
        ("drag", part.drag_n),
        ("push", part.press_n),
        ("push on wall", part.wall_n),
        ("across, either way, up to", (part.cross_n[1], part.cross_n[1])),
        ("along the teeth", part.milling_n),
    )
    return "<br>".join(escape(f"{name} {span(ends, 'N', units)}") for name, ends in named if any(ends))


def _cell(text: str, below: str) -> str:
    """Return a cell with small words under it, as HTML."""
    return f'{escape(text)}<div class="small">{escape(below)}</div>' if below else escape(text)


def _named(name: str, below: str) -> str:
    """Return a cell whose lines are not broken."""
    return f'<span class="whole">{_cell(name, below)}</span>'


def _where(part: PartHeld) -> str:
    return f"{part.case}. {_outcome(part)}" if part.goes else part.case


def _outcome(part: PartHeld) -> str:
    """Say what the freed body does to the wheel and what it runs into."""
    if part.goes is None:
        return ""
    means = f": {_MEANS[part.outcome]}" if part.outcome in _MEANS and not any(part.milling_n) else ""
    says = sentence(f"{outcome_words(part)}{means}")
    return f"{says} It then runs into {part.hits}." if part.hits else says


def _part(part: PartHeld, hold: HoldFound, units: str, figures: Mapping[str, str]) -> str:
    """Return what a reader wants of the part that holds least in one cut."""
    title = escape(f"{part.part} in {part.cut}: {factor_words(part, hold)} times its load")
    others = sum(p.cut == part.cut for p in hold.parts) - 1
    note = f'<p class="small">The part that holds least in this cut, of {others + 1}.</p>' if others else ""
    names = frozenset({part.part, part.goes or ""})
    how = sentence(how_words(part.failure, Writing(units=units)), names)
    goes = f"<p>It lets go like this: {escape(how)} {escape(_outcome(part))}</p>"
    figure = figures.get(let_go_picture(hold, part), "")
    left = _losses(part, hold, units)
    drawn = tornado(part, hold, units)
    driven = (
        f'<h4>What drives the factor</h4><figure><div class="wide">{drawn}</div>'
        f"{_tornado_caption(part, hold)}</figure>"
        if drawn
        else ""
    )
    return "\n".join(
        p
        for p in (
            f"<h3>{title}</h3>",
            note,
            goes,
            figure,
            driven,
            left,
            _remedies(part),
        )
        if p
    )


def _tornado_caption(part: PartHeld, hold: HoldFound) -> str:
    far = max(max(i.factor_at_low, i.factor_at_high) for i in part.inputs)
    cut = (
        f" The search ends at {digits(hold.ceiling)}; a bar marked + goes on beyond."
        if far >= hold.ceiling * (1.0 - 1e-9)
        else ""
    )
    return (
        "<figcaption>Each bar moves one input from its low to its high end with the others in the middle, or "
        "at their weak ends where the middle holds beyond the search. "
        f"All bad ends together give {digits(part.factor_low)}, which is what counts.{cut}</figcaption>"
    )


def _losses(part: PartHeld, hold: HoldFound, units: str) -> str:
    if not part.losses:
        return ""
    rows = [
        (
            escape(loss_words(loss.lost)),
            "not known" if loss.factor is None else _left(loss.factor, hold),
            escape(loss_how(loss, Writing(units=units))),
        )
        for loss in part.losses
    ]
    return "<h4>What is left when one thing is lost</h4>" + table(
        ("case", "times its load", "what happens"), rows, frozenset({1})
    )


def _kept(hold: HoldFound) -> str:
    return "".join(f'<p class="small">{escape(sentence(line))}</p>' for line in kept_lines(hold))


def _left(factor: float, hold: HoldFound) -> str:
    """Return the factor that is left, with a word where it does not hold at all."""
    text = escape(times(factor, hold))
    if factor < 1.0:
        return f'<strong>{text}</strong><div class="small">lets go under the cut</div>'
    return text + ('<div class="small">less than asked</div>' if factor < hold.least_factor else "")


def _remedies(part: PartHeld) -> str:
    if not part.remedies:
        return ""
    items = "".join(f"<li>{escape(sentence(r))}</li>" for r in part.remedies)
    return f'<div class="change"><strong>What to change, any one of:</strong><ul>{items}</ul></div>'


def _faces(hold: HoldFound, units: str, figures: Mapping[str, str]) -> str:
    """Return the pull face by face, with the map of it and the section through the flux."""
    pictures = figures.get(HOLD_PULL, "") + figures.get(HOLD_FLUX, "")
    if not hold.faces:
        return f"<h3>Where the magnet pulls</h3>{pictures}" if pictures else ""
    rows = [_face(f, units) for f in sorted(hold.faces, key=lambda f: (f.a, f.b))]
    heads = ("faces", "pull", "area", "pull per area", "flux density")
    note = '<p class="small">Flux density: mean over the area that carries it.</p>'
    return f"<h3>Where the magnet pulls</h3>{pictures}" + table(heads, rows, frozenset({1, 2, 3, 4})) + note


def _face(face: FaceHeld, units: str) -> tuple[str, ...]:
    each = (
        (100.0 * face.low_n / face.area_mm2, 100.0 * face.high_n / face.area_mm2)
        if face.area_mm2
        else (0.0, 0.0)
    )
    return (
        _named(face.a, f"on {face.b}"),
        escape(span((face.low_n, face.high_n), "N", units)),
        escape(amount(face.area_mm2, "mm2", units)),
        escape(span(each, "N/cm2", units)),
        f"{digits(face.flux_density_t)}\u202fT",
    )


def _leaving(hold: HoldFound, units: str) -> str:
    if not hold.leaving and not hold.burrs:
        return ""
    rows = [_leaves(i, b, units) for i, b in enumerate(hold.leaving, start=1)]
    heads = ("", "body", "still drawn by", "comes off", "pry under")
    listed = table(heads, rows, frozenset({0, 2})) if rows else ""
    burrs = "".join(f"<li>{escape(burr_words(b))}</li>" for b in hold.burrs)
    stone = (
        f"<p>Burrs that the cuts leave, each where the two faces named meet; stone them before the next "
        f"seating:</p><ul>{burrs}</ul>"
        if burrs
        else ""
    )
    steps = first_words(hold.before) if hold.before else _BEFORE.format(tools=tools_of(hold))
    first = f"<p>{escape(sentence(steps))} Then in this order.</p>"
    return f"<h3>How it comes apart</h3>{first}{listed}{stone}"


def _leaves(number: int, body: BodyLeaves, units: str) -> tuple[str, ...]:
    write = Writing(units=units)
    drawn = "" if body.residual_n is None else escape(span(body.residual_n, "N", units))
    ways = "<br>".join(escape(way_words(w, write)) for w in body.ways) or "no way off was found"
    keeps = "demagnetise before lifting, and again before the next seating" if body.demagnetise else ""
    return (
        str(number),
        _body(body.body, keeps),
        drawn,
        ways,
        escape(pry_words(body.pry, write) if body.pry else "no edge found"),
    )


def _body(name: str, below: str) -> str:
    """Return a cell whose name is not broken, and what stands under it may be."""
    return f'<span class="whole">{escape(name)}</span>{_cell("", below)}'


def _notes(hold: HoldFound) -> str:
    if not hold.notes:
        return ""
    items = "".join(f"<li>{escape(sentence(n))}</li>" for n in hold.notes)
    return f'<p class="small">Taken for granted:</p><ul class="small">{items}</ul>'


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], numbers: frozenset[int]) -> str:
    """Return a table whose cells are HTML already; the columns in `numbers` are set to the right."""

    def row(cells: Sequence[str], tag: str) -> str:
        return "".join(f"<{tag}{' class=n' if i in numbers else ''}>{c}</{tag}>" for i, c in enumerate(cells))

    body = "\n".join(f"<tr>{row(cells, 'td')}</tr>" for cells in rows)
    head = row([escape(h) for h in heads], "th")
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>\n{body}\n</tbody></table></div>'
