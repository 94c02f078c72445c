"""How a search for reliefs is written: each relief, why others do not do, and what no relief cures."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from fixturecheck.result.relief import (
    ClashFaces,
    FaceUse,
    IfMarked,
    NoCut,
    NoRest,
    NotClear,
    NotMade,
    Objection,
    Refused,
    Rejected,
    Relief,
    ReliefCut,
    ReliefKind,
    ReliefOutcome,
    SeatReduced,
    StillClashes,
    StillLands,
    StillOpen,
    TakesFrom,
    ThinWall,
)
from fixturecheck.units import Writing, angle_text
from fixturecheck.wording.motion import settled_words


class ReliefLine(StrEnum):
    """What a line about a relief tells, as it is labelled in a terminal."""

    CLEARS = "clears"
    TOUCHES = "touches"
    TAKES = "takes"
    CODE = "code"
    MIND = "mind"
    OR = "or"
    LESS = "less"
    NOT = "not"
    TRIED = "tried"
    WOULD_DO = "would do"


def clash_words(clash: ClashFaces) -> str:
    """Return a clash: `pawl_2.back+under into pawl_1.step_fillet`.

    Parameters
    ----------
    clash : ClashFaces
        The faces on either side, and whether they only land.
    """
    return f"{clash.a} {'onto' if clash.lands else 'into'} {clash.b}"


def place_words(cut: ReliefCut) -> str:
    """Return the edge, corner or face that is cut, by the names of faces.

    Parameters
    ----------
    cut : ReliefCut
        The cut.

    Returns
    -------
    str
        `under+back`, or `corner of floor and wall` for a groove.
    """
    faces = cut.faces
    return f"corner of {' and '.join(faces)}" if cut.kind is ReliefKind.GROOVE else "+".join(faces)


def _cut_words(cut: ReliefCut, write: Writing) -> str:
    """Return kind and size of a cut: `0.80 mm x 45° chamfer`."""
    unit = write.name("mm")
    if cut.leg_mm is not None and cut.leg_before_mm is not None:
        was = write.length(cut.leg_before_mm, ".2f")
        return f"{_size(cut.leg_mm, write)} {unit} x {angle_text(cut.slope_deg)} chamfer instead of {was}"
    return relief_size_words(cut, write)


def relief_size_words(cut: ReliefCut, write: Writing) -> str:
    """Return kind and size of what is cut; of a chamfer that is made larger, how far its face goes back.

    Parameters
    ----------
    cut : ReliefCut
        The cut.
    write : Writing
        What writes lengths.

    Returns
    -------
    str
        `0.80 mm x 45° chamfer`, `0.41 x 0.81 mm undercut`.
    """
    (one, two), unit = (_size(v, write) for v in cut.size_mm), write.name("mm")
    if cut.kind is ReliefKind.CHAMFER:
        return f"{one} {unit} x {angle_text(cut.slope_deg)} chamfer"
    if cut.kind in {ReliefKind.FILLET, ReliefKind.SETBACK}:
        return f"{one} {unit} {cut.kind}"
    return f"{one} x {two} {unit} {cut.kind}"


def _size(value_mm: float, write: Writing) -> str:
    """Return a length in mm with two decimals, or with as many more as it has, up to four."""
    if abs(round(value_mm, 2) - value_mm) < 5e-5:
        return write.number(value_mm, "mm", ".2f", "up")
    return write.number(value_mm, "mm", ".4f", "up").rstrip("0")


def relief_words(cut: ReliefCut, write: Writing) -> str:
    """Return a relief that does, with its place and every body that it changes.

    Parameters
    ----------
    cut : ReliefCut
        The relief.
    write : Writing
        What writes lengths.

    Returns
    -------
    str
        `0.80 mm x 45° chamfer on back+under of pawl_1, pawl_2`.
    """
    where = "in the" if cut.kind is ReliefKind.GROOVE else "on"
    return f"{_cut_words(cut, write)} {where} {place_words(cut)} of {', '.join(cut.bodies)}"


def relief_lines(relief: Relief, write: Writing) -> Iterator[tuple[ReliefLine, str]]:
    """Yield what there is to say about a relief.

    Parameters
    ----------
    relief : Relief
        The relief.
    write : Writing
        What writes quantities.

    Yields
    ------
    ReliefLine
        What the line tells.
    str
        The line without its label.
    """
    often = "" if relief.share_lands == 1.0 else f", which met in {relief.share_lands:.1%} of draws"
    by = f", by {write.length(relief.clear_mm, '.3f')}" if relief.clear_mm else ""
    wall = write.length(relief.wall_mm, ".2f")
    how = "by hand" if relief.by_hand else "to be milled or ground"
    yield ReliefLine.CLEARS, f"{clash_words(relief.clears)}{often}{by}"
    yield ReliefLine.TOUCHES, f"{', '.join(relief.touches)}; thinnest wall behind it {wall}"
    yield ReliefLine.TAKES, f"{write.volume(relief.removed_mm3, '.3g')}, {how}"
    yield ReliefLine.CODE, relief.line
    for note in groove_notes(relief, write):
        yield ReliefLine.MIND, note
    for other in relief.instead:
        yield ReliefLine.OR, relief_words(other, write)
    if relief.if_marked is not None:
        yield ReliefLine.LESS, marked_words(relief.if_marked, write)
    for rejected in relief.rejected:
        yield ReliefLine.NOT, rejected_words(rejected, write)


def groove_notes(relief: Relief, write: Writing) -> tuple[str, ...]:
    """Return what the shop must know of a groove besides its size; nothing for other cuts.

    Parameters
    ----------
    relief : Relief
        The relief.
    write : Writing
        What writes lengths.

    Returns
    -------
    tuple of str
        One note each.
    """
    groove = relief.groove
    if groove is None:
        return ()
    one, two = (write.length(v, ".2f") for v in groove.behind_mm)
    lines = [f"it goes {one} behind the wall and {two} behind the floor"]
    if groove.along_bisector:
        lines.insert(0, "it runs along the bisector of floor and wall: width x depth below its mouth")
    if groove.tool_radius_mm is not None:
        radius = write.length(groove.tool_radius_mm, ".2f", "down")
        lines.append(f"the corner of the tool may have a radius of {radius} at most")
    return tuple(lines)


def marked_words(would_do: IfMarked, write: Writing) -> str:
    """Return which faces to mark for a relief that does, and the relief.

    Parameters
    ----------
    would_do : IfMarked
        The faces and the relief.
    write : Writing
        What writes lengths.

    Returns
    -------
    str
        Without a full stop.
    """
    faces = " and ".join(would_do.faces)
    return f"with {faces} marked without function (no_function): {relief_words(would_do.cut, write)}"


def rejected_words(rejected: Rejected, write: Writing) -> str:
    """Return a cut that does not do, and why not.

    Parameters
    ----------
    rejected : Rejected
        The cut and what is against it.
    write : Writing
        What writes quantities.

    Returns
    -------
    str
        Without a full stop.
    """
    cut = rejected.cut
    against = "; ".join(_objection_words(one, write) for one in rejected.against)
    more = f" ({rejected.more} more of this kind fail)" if rejected.more else ""
    return f"{_cut_words(cut, write)} on {cut.bodies[0]}.{place_words(cut)}: {against}{more}"


def _objection_words(objection: Objection, write: Writing) -> str:
    """Return why a cut does not do."""
    match objection:
        case NotMade():
            return objection.reason
        case NotClear():
            return "it does not clear"
        case TakesFrom():
            return _face_words(objection)
        case ThinWall():
            thin, stated = write.length(objection.wall_mm, ".2f"), write.length(objection.least_mm, "g")
            return f"it leaves a wall of {thin}, thinner than the {stated} stated"
        case SeatReduced():
            share, least = f"{objection.share:.0%}", f"{objection.least_share:.0%}"
            return f"it leaves {objection.face} on {objection.on} with {share} of the face, below {least}"
        case StillClashes():
            return f"{clash_words(objection.clash)} is still in the way"
        case StillLands():
            often = "" if objection.share is None else f" in {objection.share:.2%} of draws"
            return f"{objection.a} still lands on {objection.b}{often}"
        case StillOpen():
            return f"{objection.face} still rests {write.gap(objection.gap_um, '.1f')} off {objection.on}"
        case NoRest():
            return settled_words(objection.settled, write)


def _face_words(objection: TakesFrom) -> str:
    """Return why a face may not become smaller."""
    match objection.use:
        case FaceUse.GROUND:
            return f"it takes from {objection.face}, which cut {objection.cut} grinds"
        case FaceUse.SEAT:
            return f"nothing is left of {objection.face}, which is a seat"
        case FaceUse.FUNCTION:
            return f"it takes from {objection.face}, which is not marked without function"


def why_words(why: NoCut | Rejected, write: Writing) -> str:
    """Return why a cut does not do, or why there was none to try on a body.

    Parameters
    ----------
    why : NoCut or Rejected
        The cut, or the body.
    write : Writing
        What writes quantities.

    Returns
    -------
    str
        Without a full stop.
    """
    if isinstance(why, Rejected):
        return rejected_words(why, write)
    if not why.kinds:
        return f"{why.body} has no face marked without function"
    kinds = ", ".join(why.kinds)
    return f"on {why.body} nothing beside a face without function takes a {kinds} at the clash"


def gives_words(refused: Refused) -> str:
    """Return which face would have to give.

    Parameters
    ----------
    refused : Refused
        What was refused, with the faces of which one must give.
    """
    used = ", though each of them is a seat or is ground" if refused.all_used else ""
    return f"{' or '.join(refused.must_give)} would have to give{used}"


def refused_lines(refused: Refused, write: Writing) -> Iterator[tuple[ReliefLine, str]]:
    """Yield what was tried on a clash that no relief cures, and what would do.

    Parameters
    ----------
    refused : Refused
        The clash.
    write : Writing
        What writes quantities.

    Yields
    ------
    ReliefLine
        What the line tells.
    str
        The line without its label.
    """
    for why in refused.why:
        yield ReliefLine.TRIED, why_words(why, write)
    if refused.if_marked is not None:
        yield ReliefLine.WOULD_DO, marked_words(refused.if_marked, write)


def unknown_words(found: ReliefOutcome) -> tuple[str, ...]:
    """Return what could not be computed, and why.

    Parameters
    ----------
    found : ReliefOutcome
        What looking for reliefs came to.

    Returns
    -------
    tuple of str
        Empty where all was computed.
    """
    reason = found.landings_unknown
    return (f"whether anything lands first within tolerances: {reason}",) if reason else ()


def outcome_text(name: str, found: ReliefOutcome, write: Writing) -> str:
    """Return what was relieved in a set-up and what could not be, as lines for a terminal.

    Parameters
    ----------
    name : str
        Name of the set-up.
    found : ReliefOutcome
        What the search came to.
    write : Writing
        What writes quantities.

    Returns
    -------
    str
        Several lines, the last one without a line feed.
    """
    lines, code = [name, ""], "code" if write.units == "mm" else "code, mm"
    if found.cured and not found.reliefs:
        lines.append("Nothing is in the way with every seat closed: there is nothing to relieve.")
    for relief in found.reliefs:
        lines.append(relief_words(relief.cut, write))
        told = relief_lines(relief, write)
        lines += [f"  {code if line is ReliefLine.CODE else line:<8} {text}" for line, text in told]
    for refused in found.refused:
        lines.append(f"no relief cures {clash_words(refused.clash)}: {gives_words(refused)}")
        lines += [f"  {line:<8} {text}" for line, text in refused_lines(refused, write)]
    lines += [f"could not be computed: {what}" for what in unknown_words(found)]
    if found.rest_before and found.rest_after and found.reliefs:
        before, after = (settled_words(rest, write) for rest in (found.rest_before, found.rest_after))
        lines += ["", f"before: {before}", f"after:  {after}"]
    if found.reliefs:
        lines += [
            "",
            "Only what keeps seats open was looked at. Check the set-up with the changed part for the rest.",
        ]
    return "\n".join(lines)
