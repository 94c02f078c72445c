"""Do the closed seats locate every face that is cut, without fighting each other.

What: for each part at rest, how many freedoms each seat takes that those before it left; which seat takes
none and so fights; whether a face that is cut can still move along its normal; and how far each such face
moves for every um that a seat is out. Asked only where the set-up states its staging.
Why: a wall is ground to the distance from the stop, so a part that may slide toward the wheel has no size;
two seats for one freedom never both touch. Seats in one plane are one seat in pieces, as the two parallels of
a pair are (a common datum of ISO 5459, from memory): only how level they are is in question.
Formulas: each seat point is a row [n, (p - o) x n]; the freedoms taken are ranks; a face moves by its own row
times the pseudo-inverse of the seats' rows. Three points, two, and one (primary, secondary, tertiary) take
all six.
Limits: a cut face that moves along its normal without any seat moving is not located. A stop across a part
from what its push presses it on is taken as set up against it last: it locates nothing.
Go: a block on a chuck against a back rail, whose floor and wall are cut. No-go: the same block with no rail,
whose wall is cut.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fixturecheck.checks.stage import Stage
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef, on
from fixturecheck.nesting.answer import StagingAnswer
from fixturecheck.numeric import to_vector
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.rest import PartLocation, SeatRole, SeatTakes, TargetMoves
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import together
from fixturecheck.units import FREEDOM, Writing

TITLE = "What locates the work"

_NIL = 5e-4
_SAME_WAY = 1.0 - 1e-9
_IN_PLANE_MM = 1e-4
_LEVEL = (
    "Finish the faces that are to be level in one setting, or take a matched pair, and state tolerance_mm of "
    "each: `tolerance` then says how far a difference tilts the part."
)

_SOURCE = "ranks of the seats' contact rows; three, two and one point take six freedoms (common practice)"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each part, for each of its seats, and for each face of it that is cut."""
    found = stage.answered
    if found is None:
        return
    write = stage.setup.write
    for part in found.located:
        yield _part(part, write)
        for seat in part.seats:
            yield _seat(found, part, seat)
        for own, other in part.closing:
            yield _closes(found, own, other)
        for target in part.targets:
            yield _follows(target, write) if target.located else _unlocated(part, target, write)
    for name, reason in found.missing:
        if name == "location":
            yield not_computed("staging", NotComputedError(reason), source=_SOURCE)


def _part(part: PartLocation, write: Writing) -> Finding:
    """Say what each seat of a part takes, and what the cut faces follow most."""
    takes = ", ".join(f"{s.role.name} ({s.rank}) takes {s.role.takes}" for s in part.seats)
    says = f"The seats of {part.body} take {part.rank} of 6 degrees of freedom: {takes}."
    strongest = max(
        ((abs(v), t, name) for t in part.targets if t.located for name, v in t.by_seat),
        # Seats that act alike differ in rounding only: the first stated is named.
        key=lambda found: round(found[0], 6),
        default=None,
    )
    if strongest is not None:
        (size, target, name), (one, more) = strongest, write.steps()
        says += f" {target.place.name} follows {name} most: by {size:.2f} {more} for each {one}."
    return judge(
        float(part.rank),
        verdict=Verdict.GO,
        kind=Kind.RANK,
        about=(part.body,),
        unit=FREEDOM,
        says=says,
        source=_SOURCE,
    )


def _seat(found: StagingAnswer, part: PartLocation, seat: SeatTakes) -> Finding:
    """Say what one seat takes, where it acts and which way it holds; a caution where it fights another."""
    role = seat.role
    place, way = _acts(found, seat.own, seat.other)
    verdict, remedy = Verdict.GO, None
    if role.takes:
        says = f"{role.name} ({seat.rank}) takes {role.takes} of the {role.wants} degrees of freedom "
        says += "that it would take alone."
    elif level := _level_with(found, part, seat):
        says = f"{role.name} lies in one plane with {' and '.join(one.role.name for one in level)}. Together "
        says += "they are one seat, as good as they are level with each other."
        if found.chances is None and not any(_one_piece(found, seat, one) for one in level):
            verdict, remedy = Verdict.CAUTION, _LEVEL
    else:
        verdict, remedy = Verdict.CAUTION, "Leave one of them out, or give one a little air."
        says = _fights(found, part, role)
    return judge(
        float(role.takes),
        verdict=verdict,
        subject=f"{part.body}: {role.name}",
        kind=Kind.SEAT,
        about=(seat.own, seat.other),
        unit=FREEDOM,
        says=says,
        remedy=remedy,
        source=_SOURCE,
        location_mm=place,
        direction=way,
    )


def _level_with(found: StagingAnswer, part: PartLocation, seat: SeatTakes) -> list[SeatTakes]:
    """Return the seats stated before one that hold its part the same way, in the same plane."""
    place, way = _acts(found, seat.own, seat.other)
    level = []
    for one in part.seats[: part.seats.index(seat)]:
        there, same = _acts(found, one.own, one.other)
        if place is None or way is None or there is None or same is None:
            continue
        off_mm = float(np.dot(np.subtract(place, there), way))
        if float(np.dot(way, same)) > _SAME_WAY and abs(off_mm) < _IN_PLANE_MM:
            level.append(one)
    return level


def _one_piece(found: StagingAnswer, one: SeatTakes, other: SeatTakes) -> bool:
    """Tell whether two seats are one face of the part on one piece of equipment, as on both halves of a V."""
    pieces = together(found.model.setup, one.other.body)
    return one.own == other.own and other.other.body in pieces


def _closes(found: StagingAnswer, own: FaceRef, other: FaceRef) -> Finding:
    """Say that a stop only closes its part in."""
    name = on(own.face, other)
    place, way = _acts(found, own, other)
    return judge(
        0.0,
        verdict=Verdict.GO,
        subject=f"{own.body}: {name}",
        kind=Kind.SEAT,
        about=(own, other),
        unit=FREEDOM,
        says=f"{name} (stop) locates nothing: it is set against {own.body} last, to close it in.",
        source=_SOURCE,
        location_mm=place,
        direction=way,
    )


def _acts(found: StagingAnswer, own: FaceRef, other: FaceRef) -> tuple[Vector | None, Vector | None]:
    """Return the middle of where a seat carries, and the direction in which it holds its part."""
    for one in found.settled.carried:
        if {one.a, one.b} == {own, other}:
            # The normal in the contact looks out of b into a.
            sign = 1.0 if one.a == own else -1.0
            return to_vector(np.mean(one.points_mm, axis=0)), to_vector(sign * np.array(one.normal))
    return None, None


def _follows(moved: TargetMoves, write: Writing) -> Finding:
    """Say how a located face follows each seat."""
    place, (one, more) = moved.place, write.steps()
    each = [
        f"{v:+.3f} {more} for each {one} that {n} stands higher" for n, v in moved.by_seat if abs(v) > _NIL
    ]
    return judge(
        max((abs(v) for _, v in moved.by_seat), default=0.0),
        verdict=Verdict.GO,
        subject=place.name,
        kind=Kind.FOLLOWS,
        about=(place.ref,),
        cut=place.cut,
        unit="um/um",
        says=f"{place.name} moves along its normal by {', by '.join(each) or 'nothing'}.",
        source=_SOURCE,
        location_mm=place.at_mm,
        direction=place.direction,
    )


def _unlocated(part: PartLocation, moved: TargetMoves, write: Writing) -> Finding:
    """Report a cut face that nothing locates along its normal."""
    place, (one, more) = moved.place, write.steps("mm")
    return judge(
        None,
        verdict=Verdict.NO_GO,
        subject=place.name,
        kind=Kind.FREE,
        about=(place.ref,),
        cut=place.cut,
        unit="um/um",
        says=f"No closed seat locates {place.name} along its normal: {part.body} may move by "
        f"{moved.free_mm:.2f} {more} there for each {one} that it is free to go.",
        remedy="Give the part a seat or a stop that faces that way, and push it there.",
        source=_SOURCE,
        location_mm=place.at_mm,
        direction=place.direction,
    )


def _fights(found: StagingAnswer, part: PartLocation, role: SeatRole) -> str:
    """Say which seats hold what one would take, and which of them stays open more often within tolerances."""
    against = ", ".join(role.fights)
    says = f"{part.body}: {against} already holds every freedom that {role.name} would take, so they fight."
    chances = found.chances
    if chances is None:
        return says + " State the tolerances of their faces to learn which of them stays open."
    shares = {on(s.own.face, s.other): s.share_closed for s in chances.seats if s.own.body == part.body}
    closing_shares = {n: shares[n] for n in (role.name, *role.fights) if n in shares}
    listed = ", ".join(f"{n} closes in {v:.1%}" for n, v in closing_shares.items())
    loser = min(closing_shares, key=lambda n: closing_shares[n], default=None)
    if loser is None or closing_shares[loser] >= max(closing_shares.values()):
        return f"{says} Within the tolerances stated {listed} of the draws."
    return f"{says} Within the tolerances stated {loser} loses: {listed} of the draws."
