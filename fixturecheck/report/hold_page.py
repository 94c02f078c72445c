"""The report's sections on the hold: factors, forces, what drives them, losses, faces; how it comes apart."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from fixturecheck.report.charts import tornado
from fixturecheck.report.markup import MOST_OPEN, Cell, Picture, Table, render, table_of
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
from fixturecheck.wording.remedy import remedy_words
from fixturecheck.wording.sentences import sentence

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


def hold_section(result: Result, pictures: Mapping[str, Picture]) -> Markup:
    """Return the section; where the set-up states no holding, that it was not asked.

    Parameters
    ----------
    pictures : mapping of str to Picture
        The pictures of the hold by file name.
    """
    hold, units = result.holding, result.shown_in
    if hold is None:
        return render("hold.html", hold=None)
    write = Writing(units=units)
    return render(
        "hold.html",
        hold=hold,
        tools=tools_of(hold),
        clear=", ".join([_OF_WHEEL] * hold.grinds + [_OF_CUTTER] * hold.mills),
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
        notes=[sentence(n) for n in hold.notes],
    )


def apart_section(result: Result) -> Markup | None:
    """Return the section on how bodies come off; None where none does and no burr is left."""
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


def hold_captions(hold: HoldFound | None, units: str = "mm") -> dict[str, str]:
    """Return what stands under each picture of the hold, by file name."""
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
            span(p.pull_n, "N", write.units) if any(p.pull_n) else "none",
            _cutting(p, write.units),
            Cell(lines=(how_words(p.failure, write),), below=_where(p)),
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
    )
    return Cell(lines=tuple(f"{name} {span(ends, 'N', units)}" for name, ends in named if any(ends)))


def _where(part: PartHeld) -> str:
    return f"{part.case}. {_outcome(part)}" if part.goes else part.case


def _outcome(part: PartHeld) -> str:
    """Say what the freed body does to the wheel and what it runs into."""
    if part.goes is None:
        return ""
    means = f": {_MEANS[part.outcome]}" if part.outcome in _MEANS and not any(part.milling_n) else ""
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
    text = (times(factor, hold),)
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
        span((face.low_n, face.high_n), "N", units),
        amount(face.area_mm2, "mm2", units),
        span(each, "N/cm2", units),
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
        "" if body.residual_n is None else span(body.residual_n, "N", write.units),
        Cell(lines=tuple(way_words(w, write) for w in body.ways) or ("no way off was found",)),
        pry_words(body.pry, write) if body.pry else "no edge found",
    )
