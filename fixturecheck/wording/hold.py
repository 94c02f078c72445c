"""How a hold is written: magnet, friction, factors with their bounds, losses; and how bodies come off."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fixturecheck.result.hold import (
    AxialStroke,
    CutCase,
    CutterWay,
    Driver,
    Edge,
    End,
    FrictionUsed,
    HoldFound,
    HoldInput,
    HoldLoss,
    KeptFixture,
    KeptReason,
    Loss,
    LossKind,
    MagnetState,
    MagnetUsed,
    Outcome,
    PartHeld,
    PullNote,
    PullNoteKind,
    Stroke,
    Tool,
)
from fixturecheck.result.release import Burr, FirstSteps, OffKind, OffWay, PryAt, SteelKeeps
from fixturecheck.result.remedy import RemedySearch, RemedyUnknown
from fixturecheck.result.shapes import Vector
from fixturecheck.units import Writing
from fixturecheck.wording.motion import how_words
from fixturecheck.wording.sentences import sized

_DIGITS = 3
_LEAST = 5e-4

_ENDS = {
    Driver.FINISH: ("worst", "best"),
    Driver.METHOD: ("least", "most that it can be"),
    Driver.CLAMP: ("weakest", "strongest"),
    Driver.SIZE: ("sharp", "worn"),
    Driver.THRUST: ("least", "most that it can be"),
}
"""Inputs that run between two named ends and not over a quantity."""


def digits(value: float) -> str:
    """Return a number to three digits, never in powers of ten; less than half a thousandth is zero.

    Parameters
    ----------
    value : float
        In any unit, of either sign.
    """
    # What is smaller than any scale in a shop shows is nothing.
    return "0" if abs(_rounded(value)) < _LEAST else _plain(_rounded(value))


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def _plain(rounded: float) -> str:
    return f"{rounded:.0f}" if abs(rounded) >= 1000 else f"{rounded:.9f}".rstrip("0").rstrip(".")


def _sized(value: float, unit: str, units: str) -> tuple[str, str]:
    """Return a number and its unit in the report's units; what rounds to zero in mm or N is zero in any."""
    number, name = sized(value, unit, units)
    return ("0" if digits(value) == "0" else _plain(_rounded(number))), name


def amount(value: float, unit: str, units: str) -> str:
    """Return one number with its unit, in the report's units.

    Parameters
    ----------
    value : float
        In `unit`; it is told to three digits.
    unit : str
        That of the number, as results name it; `share` is shown in percent.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    return "\u202f".join(_sized(value, unit, units)).strip()


def range_words(ends: tuple[float, float], unit: str, units: str) -> str:
    """Return a range with its unit said once; one number where both ends are the same.

    Parameters
    ----------
    ends : tuple of float
        Low and high, in `unit`.
    unit : str
        That of both ends, as results name it; `share` is shown in percent.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    (low, name), (high, _) = (_sized(v, unit, units) for v in ends)
    text = low if low == high else f"{low} to {high}"
    return f"{text}\u202f{name}".strip()


def bounded_factor(factor: float, hold: HoldFound) -> str:
    """Return a factor; one at the end of the search is a bound.

    Parameters
    ----------
    factor : float
        Times the load.
    hold : HoldFound
        Its ceiling is where the search ends.
    """
    end = hold.ceiling
    return f"at least {digits(end)}" if factor >= end * (1.0 - 1e-9) else digits(factor)


def factor_words(part: PartHeld, hold: HoldFound) -> str:
    """Return the range of a part's factor.

    Parameters
    ----------
    part : PartHeld
        How the part holds in one cut.
    hold : HoldFound
        The hold that the part belongs to.
    """
    low, high = digits(part.factor_low), bounded_factor(part.factor_high, hold)
    if part.at_least:
        return f"at least {low}"
    return low if low == high else f"{low} to {high}"


def input_span(found: HoldInput, units: str) -> str:
    """Return between what an input was moved.

    Parameters
    ----------
    found : HoldInput
        Some inputs are told by named ends, the others by numbers.
    units : str
        Units of the report: `mm`, `inch` or `thou`.
    """
    ends = _ENDS.get(found.name)
    return " to ".join(ends) if ends else range_words(found.span, found.unit, units)


def case_words(case: CutCase, write: Writing) -> str:
    """Return the stroke of a cut, and where the tool stands.

    Parameters
    ----------
    case : CutCase
        The case.
    write : Writing
        What writes lengths and forces.

    Returns
    -------
    str
        Without a full stop.
    """
    x, y = (write.number(place, "mm", ".1f") for place in case.at_mm or (0.0, 0.0))
    unit = write.name("mm")
    match case.stroke:
        case Stroke():
            at = f"X {x}, Y {y} {unit}" if case.at_mm else f"the {case.end} end, {case.edge}"
            return f"{case.stroke}, wheel at {at}{', first pass' if case.first_pass else ''}"
        case CutterWay():
            at = _AT_END[case.end] if case.end else _AT_EDGE[case.edge or Edge.MIDDLE]
            return f"milling force of {write.force(case.force_n)}, {case.stroke} milling, {at}"
        case AxialStroke():
            return f"{case.stroke} at ({x}, {y}) {unit}" if case.at_mm else str(case.stroke)


_AT_END = {End.LEFT: "at the left end", End.MIDDLE: "in the middle", End.RIGHT: "at the right end"}
_AT_EDGE = {Edge.FRONT: "in front", Edge.MIDDLE: "in the middle", Edge.BACK: "behind"}


def friction_words(used: FrictionUsed) -> str:
    """Say what friction the factors are worked out with, and whether it is that of a wet contact.

    Parameters
    ----------
    used : FrictionUsed
        The friction, low to high, by material where one differs.
    """
    mu, dry = range_words(used.mu, "", "mm"), range_words(used.dry_mu, "", "mm")
    if not used.coolant:
        said = f"friction {mu}, dry as stated"
    else:
        said = f"friction {mu} under a film of coolant" + (f" ({dry} dry)" if dry != mu else "")
    lower = [f"{range_words(own, '', 'mm')} on {name}" for name, own in sorted(used.by_material.items())]
    return f"{said}, but {' and '.join(lower)}" if lower else said


def kept_words(kept: KeptFixture) -> str:
    """Return why a fixture is taken to be there throughout.

    Parameters
    ----------
    kept : KeptFixture
        The fixture, with the reason.
    """
    return _KEPT[kept.reason].format(" and ".join(kept.of))


_KEPT = {
    KeptReason.JAW: "the jaw of the vise, without which nothing is clamped",
    KeptReason.MAGNET: "the magnet, on which everything stands",
    KeptReason.PIECE: "a piece of {}",
    KeptReason.FASTENED: "stated as fastened",
    KeptReason.TABLE: "stands on the table and is taken as bolted to it",
    KeptReason.ATTACHED: "taken as screwed to {}",
    KeptReason.NOT_LISTED: "not among the loose blocking that is stated",
}


_SEARCHED = {
    RemedySearch.LIGHTER_CUT: "a lighter cut",
    RemedySearch.CLAMPS: "tighter clamps",
    RemedySearch.ANOTHER_WAY: "another way of cutting",
    RemedySearch.FASTENED: "a loose block fastened",
    RemedySearch.STOP: "a block added",
    RemedySearch.PLACE: "another place on the poles",
    RemedySearch.SEAT: "a larger seat",
    RemedySearch.MAGNET: "more magnet",
    RemedySearch.FINISH: "a finer finish",
    RemedySearch.DRY: "dry contacts",
    RemedySearch.VISE: "a vise",
}


def note_words(note: PullNote | RemedyUnknown, write: Writing) -> str:
    """Return what there is to know of the pull, or a remedy that could not be looked for.

    Parameters
    ----------
    note : PullNote or RemedyUnknown
        The note.
    write : Writing
        What writes lengths.

    Returns
    -------
    str
        Without a full stop.
    """
    if isinstance(note, RemedyUnknown):
        if note.search is None:
            return f"not every cure for {note.part} in {note.cut} was looked for: {note.reason}"
        return f"{_SEARCHED[note.search]} for {note.part} in {note.cut} was not found: {note.reason}"
    match note.kind:
        case PullNoteKind.COARSE:
            return f"{note.of} was meshed coarser than asked, {write.length(note.mesh_mm, '.1f')}"
        case PullNoteKind.NOT_MAGNETIC:
            return f"{note.of} is of {note.material}, which is not magnetic: the magnet does not pull on it"
        case PullNoteKind.NO_CURVE:
            return f"{note.of} has no B-H curve; it is taken between two that have one"
        case PullNoteKind.LEFT_OUT:
            across = ", ".join(note.across)
            return f"flux between {note.of} and {across} is left out: their shapes have no rule"
        case PullNoteKind.NO_FLUX:
            return f"no flux reaches {note.of}: it is not held by the magnet"


def kept_lines(hold: HoldFound) -> list[str]:
    """Return what was left out since it stands on nothing, and what was never taken away, and why.

    Parameters
    ----------
    hold : HoldFound
        What was found of the hold.

    Returns
    -------
    list of str
        Empty where nothing was left out or kept.
    """
    lines = []
    if hold.left_out:
        lines.append(f"left out of every figure, since it stands on nothing: {', '.join(hold.left_out)}")
    if hold.kept:
        there = "; ".join(f"{one.body} ({kept_words(one)})" for one in hold.kept)
        lines.append(f"taken to be there throughout: {there}")
    return lines


_OUTCOMES = {
    Outcome.DIGS_IN: "digs into the wheel",
    Outcome.STAYS: "stays in the wheel's cut",
    Outcome.FALLS_AWAY: "falls away from the wheel",
}

_OF_CUTTER = {
    Outcome.DIGS_IN: "is taken into the cutter",
    Outcome.STOPPED: "moves into the cutter and is stopped",
    Outcome.STAYS: "passes the cutter",
    Outcome.FALLS_AWAY: "moves away from the cutter",
}


def outcome_words(part: PartHeld) -> str:
    """Say what the freed body does to the wheel or the cutter.

    Parameters
    ----------
    part : PartHeld
        How the part holds in one cut.
    """
    if part.down_its_axis:
        return f"goes round with the {part.tool} or climbs up it"
    if part.tool is Tool.CUTTER:
        if part.over:
            return f"{past_words(part)} into the cutter"
        known = _OF_CUTTER[part.outcome] if part.outcome else ""
        return known or "whether it goes into the cutter is not known"
    known = _OUTCOMES.get(part.outcome, "") if part.outcome else ""
    return known or "whether it digs in is not known"


def past_words(part: PartHeld) -> str:
    """Say how a body goes on past what had stopped it, `tips over rail`; empty where nothing had.

    Parameters
    ----------
    part : PartHeld
        How the part holds in one cut.
    """
    if not part.over:
        return ""
    return f"{'tips' if part.tips_over else 'goes'} {over_words(part.over, tips_over=part.tips_over)}"


def over_words(over: Sequence[str], *, tips_over: bool) -> str:
    """Return what a body goes over or past: `over rail`, `past rail and stop`; empty for nothing.

    Parameters
    ----------
    over : sequence of str
        Names of bodies.
    tips_over : bool
        Whether it tips over them; else it goes past.
    """
    return f"{'over' if tips_over else 'past'} {' and '.join(over)}" if over else ""


def loss_words(lost: Loss) -> str:
    """Return the words for a loss: `without` a block or a clamp, `with` a film of coolant.

    Parameters
    ----------
    lost : Loss
        What is lost.
    """
    return "with a film of coolant" if lost.kind is LossKind.DRYNESS else f"without {lost.label}"


def loss_how(loss: HoldLoss, write: Writing) -> str:
    """Return how a part lets go when one thing is lost, or why that is not known.

    Parameters
    ----------
    loss : HoldLoss
        What is left when one thing is lost.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    return how_words(loss.failure, write) if loss.failure else loss.reason


def magnet_state(magnet: MagnetUsed) -> str:
    """Return what the magnet is switched to.

    Parameters
    ----------
    magnet : MagnetUsed
        The magnet as it is used.
    """
    if magnet.state is MagnetState.TRIFLE:
        return f"a trifle, {magnet.trifle_share:.0%} of full"
    return str(magnet.state)


def magnet_words(magnet: MagnetUsed, write: Writing) -> str:
    """Say what the magnet is taken for.

    Parameters
    ----------
    magnet : MagnetUsed
        Its state, and how strong it is taken to be.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if magnet.state is MagnetState.OFF:
        return "off"
    state = magnet_state(magnet)
    if not magnet.gives_mm:
        return f"{state}; its pull is not known"
    gives = " to ".join(write.length(g, ".3g") for g in magnet.gives_mm)
    if magnet.calibrated is not None:
        return (
            f"{state}; {magnet.calibrated}, as calibrated: it gives way like a gap of {gives} behind "
            "the poles"
        )
    if magnet.source_stated:
        return f"{state}; its source is stated, a gap of {gives} behind the poles"
    assumed = "" if magnet.rated_stated else ", assumed since none is stated,"
    return (
        f"{state}; every pull is relative to a rated {write.pressure(magnet.rated_n_cm2)}{assumed} on "
        f"{magnet.piece}, {magnet.finish.replace('_', ' ')} mild steel; it gives way like a gap "
        f"of {gives} behind the poles"
    )


def tools_of(hold: HoldFound) -> str:
    """Return what cuts the parts: `wheel`, `cutter`, `drill`, or several of them.

    Parameters
    ----------
    hold : HoldFound
        What was found of the hold.
    """
    asked = ((Tool.WHEEL, hold.grinds), (Tool.CUTTER, hold.mills), (Tool.DRILL, hold.drills))
    return " or ".join(tool for tool, cuts in asked if cuts)


_SIDES = (
    ((0.0, -1.0), "front", "-Y"),
    ((0.0, 1.0), "back", "+Y"),
    ((-1.0, 0.0), "left", "-X"),
    ((1.0, 0.0), "right", "+X"),
)
_SOME = 0.2
_UPRIGHT = 0.999


def first_words(steps: FirstSteps) -> str:
    """Return what comes before the first body is touched, without a full stop.

    Parameters
    ----------
    steps : FirstSteps
        What is to be done first.
    """
    asked = ((Tool.CUTTER, steps.mills), (Tool.DRILL, steps.drills))
    other = [tool for tool, cuts in asked if cuts]
    tools = [Tool.WHEEL, *other] if steps.grinds or not other else other
    phrases = [f"{' and '.join(tools)} clear of the work and the spindle at rest"]
    phrases += ["magnet off"] if steps.magnet_off else []
    phrases += ["its demagnetising cycle run where it has one"] if steps.demagnetise else []
    phrases += [f"open {name}" for name in steps.opened] + [f"loosen {name}" for name in steps.loosened]
    return ", ".join(phrases)


def step_words(name: str, way: OffWay | None, *, hand_n: float, keeps: bool, write: Writing) -> str:
    """Return what to do with a body in one sentence, without its full stop.

    Parameters
    ----------
    name : str
        The body.
    way : OffWay or None
        How it comes off; None where no way was found.
    hand_n : float
        What fingers do.
    keeps : bool
        Its steel keeps magnetism, so that the force stands only once that is out.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    if way is None:
        return f"{name} does not come off in any way that was tried: lifted, tipped or slid"
    words = f"{str(way.kind).capitalize()} {name} {_where(way)}"
    if way.force_n is None:
        return f"{words}, against a residual pull that is not known"
    with_what = "by hand" if way.force_n[1] <= hand_n else "more than fingers can"
    if keeps:
        with_what += " once demagnetised, more before"
    if way.kind is OffKind.TIP:
        if way.force_n[1] == 0.0:
            return f"{words}: it topples by itself, so keep a hand on it"
        return f"{words}: {_force(way.force_n, write)} under the far edge, {with_what}"
    return f"{words}: {_force(way.force_n, write)}, {with_what}"


def way_words(way: OffWay, write: Writing) -> str:
    """Return one way in words, with what it takes and what it rubs.

    Parameters
    ----------
    way : OffWay
        One way in which a body comes off.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    words = f"{way.kind} {_where(way)}"
    if way.force_n is not None:
        words += f", {_force(way.force_n, write)}"
    if way.rubs:
        words += f"; rubs {', '.join(f'{own} on {other}' for own, other in way.rubs)}"
    return words


def pry_words(pry: PryAt, write: Writing) -> str:
    """Return where a tool gets under an edge.

    Parameters
    ----------
    pry : PryAt
        A lip of no height is told as a square edge.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    lip = f"under a lip of {write.length(pry.under_mm, '.2g')}"
    under = lip if pry.under_mm else "at a square edge, with a thin wedge"
    place = ", ".join(write.number(v, "mm", ".0f") for v in pry.at_mm)
    return f"{under}, at ({place}) {write.name('mm')}"


def burr_words(burr: Burr) -> str:
    """Return where an edge is that is stoned, and why it matters.

    Parameters
    ----------
    burr : Burr
        The edge, with its ends and what seats on it.
    """
    where = "both ends of the stroke" if len(burr.ends) > 1 else f"the {burr.ends[0]} end"
    notes = ["where the sparks leave"] if burr.sparks and len(burr.ends) == 1 else []
    if burr.seats:
        are = "is a seat" if len(burr.seats) == 1 else "are seats"
        notes.append(f"{' and '.join(burr.seats)} {are}")
    told = f" ({', '.join(notes)})" if notes else ""
    return f"{burr.edge} at {where}{told}"


def keeps_words(keeps: SteelKeeps, write: Writing) -> str:
    """Say what magnetism a steel keeps, and what it does to chips.

    Parameters
    ----------
    keeps : SteelKeeps
        What was worked out of the steel.
    write : Writing
        Writes the quantities in the units of the set-up.
    """
    low, high = (c * 1e-3 for c in keeps.coercivity_a_m)
    spread = f"soft to {keeps.kept}" if keeps.soft_too else keeps.kept
    magnet = keeps.magnet_mmf_a
    beside = f" beside the {magnet:.0f} A of the magnet" if magnet is not None else ""
    chips = f"{keeps.chips_t * 1e3:.2g} mT"
    words = f"{spread} material, coercivity {low:.2g} to {high:.2g} kA/m"
    words += f": over {write.length(keeps.path_mm, '.0f')} between poles it drives up to {keeps.mmf_a:.0f} A "
    words += f"of its own{beside}, and off the magnet it may show {keeps.field_t * 1e3:.2g} mT, "
    if keeps.field_t > keeps.chips_t:
        return words + f"and chips hang on from {chips}"
    return words + f"less than the {chips} at which round chips hang on, though slivers may"


def _compass(along: Vector) -> tuple[str, str]:
    """Return a level direction as sides of the machine and as axes: `front left`, `-X -Y`."""
    size = max(math.hypot(along[0], along[1]), 1e-12)
    named = [(side, axis) for (x, y), side, axis in _SIDES if (x * along[0] + y * along[1]) / size > _SOME]
    return " ".join(side for side, _ in named), " ".join(axis for _, axis in reversed(named))


def _force(span: tuple[float, float], write: Writing) -> str:
    low, high = (write.number(v, "N", ".2g" if v < 100.0 else ".0f") for v in span)
    return f"{low if low == high else f'{low} to {high}'} {write.name('N')}"


def _where(way: OffWay) -> str:
    side, toward = _compass(way.along)
    if way.kind is OffKind.TIP:
        edge = f"its {side} bottom edge" if way.about_bottom else f"the {side} edge of its seat"
        return f"about {edge}, toward {toward}"
    if way.kind is OffKind.SLIDE:
        return f"toward {toward}"
    return "straight up" if way.along[2] > _UPRIGHT else f"up and away toward {toward} at once"
