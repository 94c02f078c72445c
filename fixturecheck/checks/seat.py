"""Does every part sit on the faces meant for it, with an area to hold by, and on nothing that does not stand.

What: for each stated seat the area that touches, as a share of the smaller of the two faces; the gap
where it is open; what touches without being meant to, and so lifts the part off its seats; whether a part
stands on an edge or a corner; what overlaps as drawn; which stops and blocks stand on nothing themselves.
Why: a magnet or vise holds by area. A part on an edge has none, though it looks seated, and a part on a
burr or an unplanned ledge is ground to the wrong datum. A block that is drawn in the air stops nothing.
Formulas: areas and gaps of the exact contact map; share = area touching / area of the smaller face; what
stands is what the table, the machine's equipment, a clamp or something that stands carries from below.
Limits: `min_share` of the seat, half of the face unless the set-up states it (common practice, no source).
A round that bears along a line locates a part, and holds it only where another seat has an area.
Go: a block flat on a chuck. No-go: a square bar on its edge between the flanks of a V-block that is
too wide for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial

import numpy as np

from fixturecheck.checks.stage import Stage
from fixturecheck.checks.touching import (
    GAP,
    SHARE,
    Opening,
    along_round,
    by_share,
    closing,
    gap_closed,
    of_seat,
    opening_of,
    overlap_finding,
    patch_words,
    subject_of,
    unmeant,
)
from fixturecheck.contact.patch import Overlap, Patch
from fixturecheck.effort import SEAT, Budget
from fixturecheck.kernel.measure import centre_of
from fixturecheck.nesting.seating import (
    Base,
    Footing,
    Seating,
    footings,
    holding_nothing,
    nearest_to,
    seating,
    table_top_mm,
)
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.setup.model import Body, Seat
from fixturecheck.setup.records import BodyRole, Rank
from fixturecheck.units import Writing, angle_text
from fixturecheck.wording.sentences import listed

TITLE = "Parts on their seats"

Openings = Callable[[Seat], Opening]
"""How a seat stands open, measured once for each."""

_WIDE_MM = 0.5
_SQUARE_COSINE = 1e-6
_UNDER = -0.5
"""Height of the unit normal out of a part where something carries it: within 60 degrees of straight down."""
_EDGE = "a face held by a line or a point has no area for a magnet (common practice, no source)"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each seat, each contact that is not meant, each part's footing, each overlap."""
    found = footings(stage.setup, stage.contacts)
    idle = holding_nothing(found)
    opening = cache(partial(opening_of, stage))
    for seat in stage.setup.seats:
        if seat.rank != Rank.NEST:
            yield from _seat(stage, seat, idle, opening)
    bearing = _bearing(stage, idle)
    for part in stage.setup.parts():
        yield from _unmeant(stage, part, opening)
        yield from _footing(stage, part, bearing[part.name])
    cures = Budget(SEAT)
    for overlap in stage.contacts.overlaps:
        if not _both_parts(stage, overlap):
            yield overlap_finding(stage, overlap, cures)
    yield from _unfounded(stage, found)


def _of_its_seat(finding: Finding, seat: Seat, idle: frozenset[str]) -> Finding:
    """Take back the go of a seat on a body that stands on nothing itself."""
    if finding.verdict is not Verdict.GO or seat.on not in idle:
        return finding
    says = f"{finding.says} But {seat.on} stands on nothing itself: this is no seat."
    return replace(finding, verdict=Verdict.NO_GO, kind=Kind.ON_NOTHING, says=says, remedy=None)


def _seat(stage: Stage, seat: Seat, idle: frozenset[str], opening: Openings) -> Iterator[Finding]:
    """Judge one stated seat: whether it closes, and where it does, by how much of its face."""
    found = seating(stage.setup, stage.placed, stage.contacts, seat)
    lines = found.of_kind(ContactKind.LINE, ContactKind.POINT)
    if not found.area_mm2 and not lines:
        yield _open(stage, seat, found, opening(seat))
        return
    if found.area_mm2:
        share = by_share(stage, seat, found, "lies on")
    else:
        share = _on_line(stage, seat, found, lines, opening)
    yield _of_its_seat(share, seat, idle)
    yield gap_closed(stage, seat, found, "um")


def _on_line(stage: Stage, seat: Seat, found: Seating, lines: list[Patch], opening: Openings) -> Finding:
    """Judge a seat that bears on lines or points.

    A round face along a rail or a stop locates a part that holds by an area of another seat.
    """
    first, round_all = lines[0], all(map(along_round, lines))
    if round_all and seat.rank != Rank.PRIMARY and _holds_by_area(stage, seat.body):
        return judge(
            sum(line.contact.length_mm for line in lines),
            verdict=Verdict.GO,
            kind=Kind.ALONG_ITS_ROUND,
            **of_seat(seat),
            unit="mm",
            says=f"{patch_words(first, stage.setup.write)}: the {seat.rank} seat bears along the round face "
            "of the part and locates it. Another seat holds the part by an area.",
            source=_EDGE,
            shapes=tuple(p.shape for p in found.patches),
            location_mm=first.contact.centroid,
            direction=first.outward(seat.body),
        )
    return judge(
        0.0,
        unit="share",
        at_least=seat.min_share,
        verdict=Verdict.CAUTION if round_all else Verdict.NO_GO,
        kind=Kind.ON_A_LINE,
        **of_seat(seat),
        says=f"{patch_words(first, stage.setup.write)}: the {seat.rank} seat bears on a "
        f"{first.contact.kind}, with no area.",
        remedy=None if round_all else closing(stage, seat, opening(seat)),
        source=SHARE,
        shapes=tuple(p.shape for p in found.patches),
        location_mm=first.contact.centroid,
        direction=first.outward(seat.body),
    )


def _holds_by_area(stage: Stage, part: str) -> bool:
    """Tell whether any stated seat of a part touches over an area."""
    return any(
        seating(stage.setup, stage.placed, stage.contacts, s).area_mm2 > 0.0
        for s in stage.setup.seats
        if s.body == part
    )


def _open(stage: Stage, seat: Seat, found: Seating, opening: Opening) -> Finding:
    """Report a seat whose two faces do not touch, with the gap between them however large it is."""
    write, touch_mm = stage.setup.write, stage.setup.tolerances.touch_mm
    near = found.of_kind(ContactKind.NEAR)
    most_mm = max((p.contact.gap_max_um * 1e-3 for p in near), default=opening.gap_mm)
    says = f"{seat.body}.{seat.face} does not touch {seat.on}.{seat.on_face}: the {seat.rank} seat "
    gap, most = (_size(write, v) for v in (abs(opening.gap_mm), most_mm))
    if opening.gap_mm < 0.0:
        says += f"has its faces drawn {gap} past each other."
    elif opening.askew and opening.turned_deg > stage.setup.tolerances.wedge_deg:
        says += f"has its faces askew by {angle_text(opening.turned_deg, '.4g')}, at least {gap} apart."
    elif opening.turned_deg > stage.setup.tolerances.wedge_deg:
        says += f"has faces that do not face each other, at least {gap} apart."
    elif opening.apart is not None and abs(opening.gap_mm) <= touch_mm:
        says += "has its faces in one plane, but no part of the one lies over the other."
    elif opening.beside_mm > 0.0:
        says += f"stands open by {gap}, and its faces lie {_size(write, opening.beside_mm)} apart sideways."
    else:
        says += f"stands open by {gap}" + (f" ({most} at most)." if near else ".")
    normal = opening.normal
    way = None if normal is None else to_vector(normal if opening.gap_mm >= 0.0 else -normal)
    return judge(
        opening.gap_mm * 1e3,
        unit="um",
        within=touch_mm * 1e3,
        verdict=Verdict.NO_GO,
        kind=Kind.OPEN,
        **of_seat(seat),
        says=says,
        remedy=closing(stage, seat, opening),
        source=GAP,
        shapes=tuple(p.shape for p in found.patches),
        location_mm=near[0].contact.centroid if near else opening.at_mm,
        direction=way,
    )


def _size(write: Writing, gap_mm: float) -> str:
    """Write a gap in um as far as the near band goes, and in mm beyond."""
    return write.gap(gap_mm * 1e3, ".4g") if gap_mm < _WIDE_MM else write.length(gap_mm)


def _unmeant(stage: Stage, part: Body, opening: Openings) -> Iterator[Finding]:
    """Report what touches a part without being meant to, apart from its neighbours in the gang."""
    # A part that is drawn into a body needs no relief; the overlap is a finding of its own.
    into = {name for o in stage.contacts.overlaps if part.name in (o.a, o.b) for name in (o.a, o.b)}
    touching = [
        patch
        for other in stage.setup.bodies
        if other.role != BodyRole.PART and other.name not in into
        for patch in unmeant(stage, part.name, other.name)
    ]
    if not touching:
        return
    open_seats = [
        s
        for s in stage.setup.seats
        if s.body == part.name
        and s.rank != Rank.NEST
        and not _bears(seating(stage.setup, stage.placed, stage.contacts, s))
    ]
    for patch in touching:
        held = [s for s in open_seats if _may_hold_open(part, patch, opening(s))]
        yield _touches(stage, part, patch, held)


def _bears(found: Seating) -> bool:
    """Whether a seat closes: over an area, or along a round face and not on an edge."""
    lines = found.of_kind(ContactKind.LINE, ContactKind.POINT)
    return bool(found.area_mm2) or (bool(lines) and all(map(along_round, lines)))


def _may_hold_open(part: Body, patch: Patch, opening: Opening) -> bool:
    """Whether a contact may be what keeps a seat from closing: it looks the way that the part would go.

    One that is square to that way lets the part slide along it. Where the faces are turned to each other, the
    part tilts, and any contact may be what it tilts on.
    """
    if opening.normal is None or opening.turned_deg > 0.0 or patch.contact.kind is not ContactKind.AREA:
        return True
    return float(opening.normal @ np.asarray(patch.outward(part.name))) > _SQUARE_COSINE


def _touches(stage: Stage, part: Body, patch: Patch, open_seats: list[Seat]) -> Finding:
    """Judge one contact that no seat states: it lifts the part, or it is one place too many."""
    what = patch_words(patch, stage.setup.write)
    if not any(s.body == part.name for s in stage.setup.seats):
        verdict, says = (Verdict.CAUTION, f"{what}: no seat is stated for {part.name}, so this may be one.")
        remedy = "State the seats of the part."
    elif open_seats:
        held = ", ".join(dict.fromkeys(s.face for s in open_seats))
        verdict = Verdict.NO_GO
        says = f"{what} is not a stated seat, and {part.name} stands open at {held}."
        mine, theirs = patch.sides_from(part.name)
        remedy = "Stone the burr off." if mine.is_burr else f"Relieve {mine}."
        if any(s.body == part.name and s.own == mine for s in stage.setup.seats):
            remedy = f"State the seat as {mine} on {theirs}, or move what is in the way."
    else:
        verdict = Verdict.CAUTION
        says = f"{what} is not a stated seat. It locates {part.name} too, or keeps it off its seats."
        remedy = "State it as a seat, or relieve it."
    return judge(
        None,
        verdict=verdict,
        subject=f"{part.name}: {patch.shape.name}",
        kind=Kind.NOT_MEANT,
        about=patch.sides_from(part.name),
        says=says,
        remedy=remedy,
        source="contacts that no seat of the set-up states",
        shapes=(patch.shape,),
        location_mm=patch.contact.centroid,
        direction=patch.outward(part.name),
    )


def _bearing(stage: Stage, idle: frozenset[str]) -> dict[str, list[Patch]]:
    """Return what each part bears on: fixtures that stand, and parts under it that bear on something."""
    parts = {part.name for part in stage.setup.parts()}
    fixtures = {b.name for b in stage.setup.bodies if b.role == BodyRole.FIXTURE and b.name not in idle}
    found: dict[str, list[Patch]] = {part: [] for part in parts}
    under: dict[str, list[tuple[str, Patch]]] = {part: [] for part in parts}
    for patch in stage.contacts.patches:
        if patch.contact.kind is ContactKind.NEAR:
            continue
        for part, other in (patch.bodies, patch.bodies[::-1]):
            if part in parts and other in fixtures:
                found[part].append(patch)
            elif part in parts and other in parts and patch.outward(part)[2] <= _UNDER:
                under[part].append((other, patch))
    carried = {part for part in parts if found[part]}
    for _ in parts:
        carried |= {part for part in parts - carried if any(other in carried for other, _ in under[part])}
    return {part: found[part] + [p for other, p in under[part] if other in carried] for part in parts}


def _to_hold_by(stage: Stage, part: Body, sharp: Sequence[Patch]) -> str:
    """Say what gives a part an area to hold by, in a vise or out of it."""
    holding = stage.setup.holding
    if holding is not None and any(holding.jaws & {*p.bodies} for p in sharp):
        return (
            f"Put a V before one jaw, or take jaws milled to the round of {part.name}; on lines alone it "
            "holds what `hold` says."
        )
    return "Seat it on a face: turn it, use blocking with faces to match, or hold it in the vise."


def _to_stand_on(stage: Stage, part: Body) -> str:
    """Say what brings a part that touches nothing onto something."""
    seats = [s for s in stage.setup.seats if s.body == part.name]
    if seats:
        return f"Close its seats first: {listed([subject_of(s) for s in seats])}."
    return f"State on what {part.name} is to lie, as a seat, and draw it there."


def _footing(stage: Stage, part: Body, held: list[Patch]) -> Iterator[Finding]:
    """Report a part that has no area under it at all, of what it bears on."""
    if any(p.contact.kind == ContactKind.AREA for p in held):
        return
    sharp = [p for p in held if p.contact.kind in {ContactKind.LINE, ContactKind.POINT}]
    if not sharp:
        yield judge(
            None,
            verdict=Verdict.NO_GO,
            kind=Kind.TOUCHES_NOTHING,
            about=(part.name,),
            unit="mm2",
            says=f"{part.name} touches nothing that holds it.",
            remedy=_to_stand_on(stage, part),
            source=_EDGE,
        )
        return
    where = "; ".join(patch_words(p, stage.setup.write) for p in sharp[:3])
    rolls = all(map(along_round, sharp))
    how = "bears along its round" if rolls else "stands on an edge or corner"
    yield judge(
        0.0,
        verdict=Verdict.CAUTION if rolls else Verdict.NO_GO,
        kind=Kind.NO_FOOTING,
        about=(part.name,),
        unit="mm2",
        says=f"{part.name} {how}, with no area to hold by: {where}.",
        remedy=_to_hold_by(stage, part, sharp),
        source=_EDGE,
        shapes=tuple(p.shape for p in sharp),
        location_mm=sharp[0].contact.centroid,
        direction=sharp[0].outward(part.name),
    )


def _unfounded(stage: Stage, found: Mapping[str, Footing]) -> Iterator[Finding]:
    """Report each stop or block that stands on nothing, or that only a side face is said to hold."""
    standing = [name for name, footing in found.items() if footing.stands]
    for footing in found.values():
        if not footing.stands:
            yield _stands_on_nothing(stage, footing, standing)
        elif footing.base is Base.ATTACHED:
            on = " and ".join(footing.on)
            yield _of_footing(
                stage,
                footing,
                Verdict.CAUTION,
                f"{footing.body} is held up only by its side against {on}. It is taken as screwed on.",
                f"If it is, state fastened = true for {footing.body}. Otherwise set it on something.",
            )


def _stands_on_nothing(stage: Stage, footing: Footing, standing: list[str]) -> Finding:
    """Report one body that holds nothing, how far it is from what stands, and what would mend it."""
    name, write = footing.body, stage.setup.write
    near = nearest_to(name, stage.placed, standing, table_top_mm(stage.setup, stage.contacts))
    on = " and ".join(footing.on)
    touched = sorted(
        {b for p in stage.contacts.patches for b in p.bodies if _touches_part(stage, p, name)} - {name}
    )
    says = {
        Base.TIPS: f"{name} tips off {on}: its centre of gravity lies outside what carries it",
        Base.LEANS: f"{name} stands on nothing: it only leans against {on}, which carries none of its weight",
    }.get(
        footing.base, f"{name} stands on nothing: {_or_table(near.body)} is {write.length(near.gap_mm)} away"
    )
    if touched:
        says += f", and it touches only {' and '.join(touched)}" if not footing.on else ""
    says += ". It holds nothing and is left out of every answer on rest and hold."
    lower = f"Lower it by {write.length(near.drop_mm)} onto {_or_table(near.below)}"
    if footing.base is Base.TIPS:
        lower = f"Move it until its weight lies over {on}"
    remedy = f"{lower}, or state fastened = true if it is screwed or clamped where it is."
    gap_mm = None if footing.on else near.gap_mm
    return _of_footing(stage, footing, Verdict.NO_GO, says, remedy, gap_mm)


def _touches_part(stage: Stage, patch: Patch, name: str) -> bool:
    """Whether a patch is where a body touches a part."""
    roles = {stage.setup.body(b).role for b in patch.bodies if b != name}
    return patch.contact.kind != ContactKind.NEAR and name in patch.bodies and "part" in roles


def _or_table(body: str | None) -> str:
    return body or "the table (taken at the lowest plane of what is set up)"


def _of_footing(
    stage: Stage, footing: Footing, verdict: Verdict, says: str, remedy: str, gap_mm: float | None = None
) -> Finding:
    """Report a body by its footing; `gap_mm` is how far it is from what it could stand on."""
    return judge(
        gap_mm,
        unit="mm",
        at_most=None if gap_mm is None else 0.0,
        verdict=verdict,
        about=(footing.body,),
        kind=Kind.STANDS_ON_NOTHING if verdict is Verdict.NO_GO else Kind.ATTACHED,
        says=says,
        remedy=remedy,
        source="contacts of the fixtures from the table up; weight has to stand on something",
        shapes=stage.shapes_under(footing.body),
        location_mm=centre_of(stage.placed[footing.body]),
    )


def _both_parts(stage: Stage, overlap: Overlap) -> bool:
    return all(stage.setup.body(name).role == BodyRole.PART for name in (overlap.a, overlap.b))
