"""Does every part sit on the faces meant for it, with an area to hold by, and on nothing else.

What: for each stated seat the area that touches, as a share of the smaller of the two faces; the gap
where it is open; what touches without being meant to, and so lifts the part off its seats; whether a part
stands on an edge or a corner; what overlaps as drawn.
Why: a magnet or vise holds by area. A part on an edge has none, though it looks seated, and a part on a
burr or an unplanned ledge is ground to the wrong datum.
Formulas: areas and gaps of the exact contact map; share = area touching / area of the smaller face.
Limits: `min_share` of the seat, half of the face unless the set-up states it (common practice, no source).
Go: a block flat on a chuck. No-go: a square bar on its edge between the flanks of a V-block that is
too wide for it.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.checks.touching import (
    SHARE,
    along_round,
    by_share,
    outward,
    said,
    seating,
    subject_of,
    unmeant,
)
from fixturecheck.contact.model import Overlap, Patch
from fixturecheck.kernel.clip import centre_of
from fixturecheck.result import Finding, Verdict
from fixturecheck.setup.model import Body, Seat

ID = "seat"
TITLE = "Parts on their seats"

_EDGE = "a face held by a line or a point has no area for a magnet (common practice, no source)"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each seat, each contact that is not meant, each part's footing, each overlap."""
    for seat in stage.setup.seats:
        if seat.rank != "nest":
            yield _seat(stage, seat)
    for part in stage.setup.parts():
        yield from _unmeant(stage, part)
        yield from _footing(stage, part)
    for overlap in stage.contacts.overlaps:
        if not _both_parts(stage, overlap):
            yield _overlap(stage, overlap)


def _seat(stage: Stage, seat: Seat) -> Finding:
    """Judge one stated seat."""
    found = seating(stage, seat)
    if found.area_mm2:
        return by_share(ID, seat, found, "lies on", stage.setup.write)
    lines, write = found.of_kind("line", "point"), stage.setup.write
    says = f"{seat.body}.{seat.face} does not touch {seat.on}.{seat.on_face}"
    remedy = None
    spot = None
    verdict = Verdict.NO_GO
    if lines:
        says = f"{said(lines[0], write)}: the {seat.rank} seat bears on a {lines[0].contact.kind}, "
        says += "with no area."
        spot = lines[0]
        verdict = Verdict.CAUTION if all(map(along_round, lines)) else Verdict.NO_GO
    elif found.gap_um is not None:
        mean, most = found.gap_um
        gaps = f"{write.gap(mean, '.4g')} ({write.gap(most, '.4g')} at most)"
        says += f": the {seat.rank} seat stands open by {gaps}."
        remedy = f"Bring {seat.body} {write.length(mean / 1e3)} closer, or find what holds it off."
        spot = found.of_kind("near")[0]
    else:
        near = write.length(stage.setup.tolerances.near_mm, "g")
        says += f" anywhere within {near}: the {seat.rank} seat is not used."
    return Finding(
        check=ID,
        verdict=verdict,
        subject=subject_of(seat),
        value=0.0,
        unit="share",
        limit=seat.min_share,
        margin=-seat.min_share,
        says=says,
        remedy=remedy,
        source=SHARE,
        shapes=tuple(p.shape for p in found.patches),
        location_mm=spot.contact.centroid if spot else None,
        direction=outward(spot, seat.body) if spot else None,
    )


def _unmeant(stage: Stage, part: Body) -> Iterator[Finding]:
    """Report what touches a part without being meant to, apart from its neighbours in the gang."""
    open_seats = [
        s
        for s in stage.setup.seats
        if s.body == part.name and s.rank != "nest" and not seating(stage, s).area_mm2
    ]
    for other in stage.setup.bodies:
        if other.role == "part":
            continue
        for patch in unmeant(stage, part.name, other.name):
            yield _touches(stage, part, patch, open_seats)


def _touches(stage: Stage, part: Body, patch: Patch, open_seats: list[Seat]) -> Finding:
    """Judge one contact that no seat states: it lifts the part, or it is one place too many."""
    what = said(patch, stage.setup.write)
    if not any(s.body == part.name for s in stage.setup.seats):
        verdict, says = (
            Verdict.CAUTION,
            f"{what}: no seat is stated for {part.name}, so this may be one.",
        )
        remedy = "State the seats of the part."
    elif open_seats:
        held = ", ".join(s.face for s in open_seats)
        verdict = Verdict.NO_GO
        says = f"{what}, which is no seat, and {part.name} stands open at {held}."
        remedy = (
            f"Relieve {patch.contact.a if patch.contact.a.startswith(part.name + '.') else patch.contact.b}."
        )
    else:
        verdict = Verdict.CAUTION
        says = f"{what}, which is no seat: it fights the seats that {part.name} is meant to have."
        remedy = "State it as a seat, or relieve it."
    return Finding(
        check=ID,
        verdict=verdict,
        subject=f"{part.name}: {patch.shape.name}",
        says=says,
        remedy=remedy,
        source="contacts that no seat of the set-up states",
        shapes=(patch.shape,),
        location_mm=patch.contact.centroid,
        direction=outward(patch, part.name),
    )


def _footing(stage: Stage, part: Body) -> Iterator[Finding]:
    """Report a part that has no area under it at all."""
    held = [
        p
        for other in stage.setup.bodies
        if other.role == "fixture"
        for p in stage.contacts.between(part.name, other.name)
        if p.contact.kind != "near"
    ]
    if any(p.contact.kind == "area" for p in held):
        return
    sharp = [p for p in held if p.contact.kind in {"line", "point"}]
    if not sharp:
        says = f"{part.name} touches nothing that holds it."
        yield Finding(check=ID, verdict=Verdict.NO_GO, subject=part.name, says=says, source=_EDGE)
        return
    where = "; ".join(said(p, stage.setup.write) for p in sharp[:3])
    rolls = all(map(along_round, sharp))
    how = "bears along its round" if rolls else "stands on an edge or corner"
    yield Finding(
        check=ID,
        verdict=Verdict.CAUTION if rolls else Verdict.NO_GO,
        subject=part.name,
        value=0.0,
        unit="mm2",
        says=f"{part.name} {how}, with no area to hold by: {where}.",
        remedy="Seat it on a face: turn it, use blocking with faces to match, or hold it in the vise.",
        source=_EDGE,
        shapes=tuple(p.shape for p in sharp),
        location_mm=sharp[0].contact.centroid,
        direction=outward(sharp[0], part.name),
    )


def _both_parts(stage: Stage, overlap: Overlap) -> bool:
    return all(stage.setup.body(name).role == "part" for name in (overlap.a, overlap.b))


def _staying(stage: Stage, name: str) -> tuple[bool, int]:
    """Sort key: a part is sooner moved than a fixture, a lone block than a chuck of several bodies."""
    body = stage.setup.body(name)
    together = [b for b in stage.setup.bodies if body.group is not None and b.group == body.group]
    return body.role != "part", max(len(together), 1)


def _overlap(stage: Stage, overlap: Overlap) -> Finding:
    """Report two bodies that cannot both be where they are drawn."""
    moving = min((overlap.a, overlap.b), key=lambda name: _staying(stage, name))
    shared = stage.setup.write.volume(overlap.volume_mm3)
    return Finding(
        check=ID,
        verdict=Verdict.NO_GO,
        subject=f"{overlap.a} and {overlap.b}",
        value=overlap.volume_mm3,
        unit="mm3",
        limit=0.0,
        margin=-overlap.volume_mm3,
        says=f"{overlap.a} and {overlap.b} overlap as drawn, by {shared}.",
        remedy=f"Move {moving} until the two only touch.",
        source="two solids cannot share space",
        shapes=(overlap.shape,),
        location_mm=centre_of(overlap.common),
    )
