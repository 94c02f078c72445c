"""Do the closed seats locate every face that is cut, without fighting each other.

What: for each part at rest, how many freedoms each seat takes that those before it left; which seat takes
none and so fights; whether a face that is cut can still move along its normal; and how far each such face
moves for every um that a seat is out. Asked only where the set-up states its staging.
Why: a wall is ground to the distance from the stop, so a part that may slide toward the wheel has no size;
two seats for one freedom never both touch.
Formulas: each seat point is a row [n, (p - o) x n]; the freedoms taken are ranks; a face moves by its own row
times the pseudo-inverse of the seats' rows. Three points, two, and one (primary, secondary, tertiary) take
all six.
Limits: a cut face that moves along its normal without any seat moving is not located.
Go: a block on a chuck against a back rail, whose floor and wall are cut. No-go: the same block with no rail,
whose wall is cut.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.result import Finding, Verdict
from fixturecheck.settling.locating import PartLocated, TargetMoved

ID = "location"
TITLE = "What locates the work"

_SOURCE = "ranks of the seats' contact rows; three, two and one point take six freedoms (common practice)"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each part, for each face that nothing locates and for each seat that fights."""
    found = stage.answered
    if found is None:
        return
    for part in found.located:
        yield _part(part)
        for target in part.targets:
            if target.free_mm > 0:
                yield _unlocated(part, target)
        yield from _fights(stage, part)
    for name, reason in found.missing:
        if name == ID:
            says = f"Could not be computed: {reason}"
            yield Finding(check=ID, verdict=Verdict.UNKNOWN, subject="staging", says=says, source=_SOURCE)


def _part(part: PartLocated) -> Finding:
    """Say what each seat of a part takes, and what the cut faces follow most."""
    takes = ", ".join(
        f"{role.name} ({rank}) takes {role.takes}"
        for role, rank in zip(part.located.roles, part.ranks, strict=True)
    )
    says = f"The seats of {part.body} take {part.located.rank} of 6 freedoms: {takes}."
    strongest = max(
        ((abs(v), t, name) for t in part.targets if not t.free_mm for name, v in t.by_seat.items()),
        key=lambda found: found[0],
        default=None,
    )
    if strongest is not None:
        size, target, name = strongest
        says += f" {target.target.name} moves {size:.2f} um for each um at {name}, the most of all."
    return Finding(
        check=ID,
        verdict=Verdict.GO,
        subject=part.body,
        value=float(part.located.rank),
        unit="freedoms",
        says=says,
        source=_SOURCE,
    )


def _unlocated(part: PartLocated, moved: TargetMoved) -> Finding:
    """Report a cut face that nothing locates along its normal."""
    target = moved.target
    return Finding(
        check=ID,
        verdict=Verdict.NO_GO,
        subject=target.name,
        says=f"No closed seat locates {target.name} along its normal: {part.body} may move by "
        f"{moved.free_mm:.2f} mm there for each mm that it is free to go.",
        remedy="Give the part a seat or a stop that faces that way, and push it there.",
        source=_SOURCE,
        location_mm=target.at_mm,
        direction=target.direction,
    )


def _fights(stage: Stage, part: PartLocated) -> Iterator[Finding]:
    """Report seats that take nothing that others do not hold already."""
    answered = stage.answered
    odds = answered.odds if answered else None
    for role in part.located.roles:
        if role.takes > 0:
            continue
        against = ", ".join(role.fights)
        says = f"{part.body}: {role.name} takes no freedom that {against} does not hold already: they fight."
        if odds is not None:
            shares = {
                f"{s.face} on {s.on}.{s.on_face}": s.share_closed for s in odds.seats if s.body == part.body
            }
            told = [f"{n} closes in {shares[n]:.0%}" for n in (role.name, *role.fights) if n in shares]
            says += f" Within the tolerances stated {', '.join(told)} of the draws."
        yield Finding(
            check=ID,
            verdict=Verdict.CAUTION,
            subject=f"{part.body}: {role.name}",
            says=says,
            remedy="Leave one of them out, or give one a little air.",
            source=_SOURCE,
        )
