"""Does a wall that earlier cuts left thin bear the clamp of a later operation.

What: the material behind each face that a clamp, a jaw or what it presses against bears on, in the state that
the operation finds.
Why: a wall beside a pocket bends under the jaw, is cut straight while bent, and springs back crooked.
Formula: a wall of thickness t that stands free over a height h and a length b, its foot fixed, bends under an
even push F by F h3 / (8 E b t3/12); closed form of a cantilever. It is held to a quarter of the tightest zone
of the faces made in the operation, else to 5 um, chosen here, no source.
Of a torque, the most force that friction in the screw leaves is taken.
Limit: a wall is where a ray straight in from the face comes out into air before the far side of the part; the
whole push is taken to bear on it. E = 190 GPa, the low end of steel: from memory.
Go: a solid block in the vise. No-go: a wall of 1 mm beside a pocket 15 mm deep, pressed by 2 kN.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fixturecheck.holding.clamping import clamp_size_n
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import extent_along, face_frame, is_flat
from fixturecheck.kernel.shapes import Face, Solid
from fixturecheck.kernel.walls import material_behind
from fixturecheck.process.across.stage import JobStage, RouteFinding
from fixturecheck.process.records import Operation
from fixturecheck.result.finding import Finding, Kind, judge
from fixturecheck.setup.holding import Clamp
from fixturecheck.setup.model import Setup

ID = "wall"
TITLE = "Thin walls bear the clamps"

STIFFNESS_MPA = 190e3
_ALLOWED_MM = 0.005
_OF_ZONE = 0.25
_SAME_MM = 1e-3
_AS_THIN = 1.5
"""Places behind a face count as one wall up to so many times its least thickness."""


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
    walls = [w for f in faces if is_flat(f) and (w := thinnest_wall(before.solid, f)) is not None]
    if not walls:
        return None
    wall = min(walls, key=lambda w: w.thick_mm)
    write = stage.job.write
    subject = f"{operation.title}: {face}"
    force_n = clamp_size_n(clamp).high
    bends_mm = bend_mm(force_n=force_n, thick_mm=wall.thick_mm, high_mm=wall.high_mm, long_mm=wall.long_mm)
    zones = [z for f in operation.makes if (z := stage.job.part.zone_mm(f)) is not None]
    allowed_mm = _OF_ZONE * min(zones) if zones else _ALLOWED_MM
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
        source="closed form of a cantilever under an even push",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A wall behind a face: its thickness, its height above what holds it, and its length."""

    thick_mm: float
    high_mm: float
    long_mm: float


def thinnest_wall(solid: Solid, face: Face) -> Wall | None:
    """Return the wall behind a flat face; None where the part is solid behind all of it.

    Where the wall ends free at both ends of the face it is held along the other direction only, and stands as
    high as it reaches there. Else it is held on three sides, and its height is taken as the lesser way.
    """
    _, normal, _ = face_frame(face)
    low, high = extent_along(solid, normal)
    behind = material_behind(solid, face)
    thin = behind.thick_mm < high - low - _SAME_MM
    if not thin.any():
        return None
    thick_mm = float(behind.thick_mm[thin].min())
    own = behind.thick_mm < _AS_THIN * thick_mm
    sizes = np.ptp(behind.places_mm[thin & own], axis=0) + behind.step_mm
    whole = np.ptp(behind.places_mm, axis=0) + behind.step_mm
    free = sizes > whole - 1.5 * behind.step_mm
    if free[0] != free[1]:
        across = 1 if free[0] else 0
        return Wall(thick_mm=thick_mm, high_mm=float(sizes[across]), long_mm=float(sizes[1 - across]))
    ends = (float(sizes.min()), float(sizes.max()))
    high_mm, long_mm = (ends[1], ends[0]) if free.all() else ends
    return Wall(thick_mm=thick_mm, high_mm=high_mm, long_mm=long_mm)


def bend_mm(*, force_n: float, thick_mm: float, high_mm: float, long_mm: float) -> float:
    """Return how far the free edge of a wall bends under an even push on all of it, its foot fixed.

    Parameters
    ----------
    force_n : float
        The whole push.
    thick_mm, high_mm, long_mm : float
        Of the wall: its thickness, its height above the foot, its length along the foot.

    Notes
    -----
    Closed form: w h^4 / (8 E I) with w = F / h and I = b t^3 / 12.
    """
    second_mm4 = long_mm * thick_mm**3 / 12.0
    return force_n * high_mm**3 / (8.0 * STIFFNESS_MPA * second_mm4)
