"""Does a wall that earlier cuts left thin bear the clamp of a later operation.

What: the material behind each face that a clamp, a jaw or what it presses against bears on, in the state that
the operation finds.
Why: a wall beside a pocket bends under the jaw, is cut straight while bent, and springs back crooked.
Formula: a wall of thickness t that stands free over a height h and a length b bends under an even push F by
F h3 / (8 E b t3/12), a cantilever, and by shear and the give of its foot. It is held to a quarter of the
tightest zone of the faces made in the operation, else to 5 um, chosen here, no source.
Of a torque, the most force that friction in the screw leaves is taken.
Limit: a wall is where a ray straight in from the face comes out into air before the far side of the part; the
whole push is taken to bear on it. E = 190 GPa, the low end of steel: from memory.
Go: a solid block in the vise. No-go: a wall of 1 mm beside a pocket 15 mm deep, pressed by 2 kN.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.vise import wall_allowed_mm, wall_bends_mm
from fixturecheck.holding.clamping import clamp_size_n
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import is_flat
from fixturecheck.kernel.walls import walls_behind
from fixturecheck.process.across.stage import JobStage, RouteFinding
from fixturecheck.process.records import Operation
from fixturecheck.result.finding import Finding, Kind, judge
from fixturecheck.setup.holding import Clamp
from fixturecheck.setup.model import Setup

ID = "wall"
TITLE = "Thin walls bear the clamps"

STIFFNESS_MPA = 190e3
POISSON = 0.29


def check(stage: JobStage) -> Iterator[RouteFinding]:
    """Yield a finding for each face that is pressed and has a wall behind it."""
    for operation in stage.job.operations:
        made = stage.setups[operation.number]
        if made.setup is None or made.setup.holding is None:
            continue
        # Each part of a gang is the same one.
        pressed = {(face, clamp.name): clamp for face, clamp in _pressed(made.setup, made.parts)}
        for (face, _), clamp in pressed.items():
            finding = _wall(stage, operation, face, clamp)
            if finding is not None:
                yield RouteFinding(number=operation.number, finding=finding)


def _pressed(setup: Setup, parts: tuple[str, ...]) -> Iterator[tuple[str, Clamp]]:
    """Yield the faces of the job's part that seat on what clamps press, or on what stands against it."""
    holding = setup.holding
    for clamp in holding.clamps if holding is not None else ():
        group = setup.body(clamp.body).group
        for seat in setup.seats:
            for own, other in ((seat.own, seat.other), (seat.other, seat.own)):
                same = other.body == clamp.body or (
                    group is not None and setup.body(other.body).group == group
                )
                if own.body in parts and same:
                    yield own.face, clamp


def _wall(stage: JobStage, operation: Operation, face: str, clamp: Clamp) -> Finding | None:
    """Judge the wall behind a face; None where the part is solid behind it."""
    before = stage.before(operation)
    faces = [faces_of(before.solid)[i] for i in before.faces.get(face, ())]
    walls = [w for f in faces if is_flat(f) for w in walls_behind(before.solid, f)]
    if not walls:
        return None
    write = stage.job.write
    subject = f"{operation.title}: {face}"
    force_n = clamp_size_n(clamp).high
    each = ((wall_bends_mm(w, force_n, STIFFNESS_MPA, POISSON), w) for w in walls)
    bends_mm, wall = max(each, key=lambda one: one[0])
    allowed_mm = wall_allowed_mm(stage.job.part.zone_mm(f) for f in operation.makes)
    most = allowed_mm / bends_mm
    says = (
        f"{clamp.name} presses {face} with up to {write.force(force_n)}. Behind it stands a wall "
        f"{write.length(wall.thick_mm, '.3g')} thick and {write.length(wall.high_mm, '.3g')} high, which "
        f"bends by {write.gap(bends_mm * 1e3, '.3g')} at most."
    )
    less = (
        f"press with {write.force(most * clamp.force_n, toward='down')}"
        if clamp.force_n is not None
        else f"tighten to {write.torque(most * (clamp.torque_nm or 0.0), toward='down')}"
    )
    remedy = f"Clamp it before the cut that leaves the wall, fill the room behind it, or {less} at most."
    return judge(
        bends_mm * 1e3,
        unit="um",
        at_most=allowed_mm * 1e3,
        check=ID,
        subject=subject,
        kind=Kind.THIN_WALL,
        about=(face,),
        says=says,
        remedy=remedy,
        source="closed form of a cantilever under an even push, with shear and the give of its foot",
    )
