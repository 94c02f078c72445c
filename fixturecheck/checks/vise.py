"""Does a vise press where it can: does its jaw cock or lift, how far do parts stand out, is a ring squeezed.

What: for each jaw that is clamped, the area and pressure of what it presses, whether its force goes through
that area, how far the parts stand over it, and how far a ring between the jaws springs out of round.
Why: a jaw that presses off its middle cocks and holds by a corner; one that presses high lifts the part; a
ring that is bored round in the vise is oval when it opens.
Formulas: pressure = force / area; a force outside the middle third of what it presses opens its far side; a
ring changes by (pi/4 - 2/pi) W R^3 / (E I).
Limits: the middle third along the jaw, closed form of a strip without tension; outside of what it presses
no-go, and a caution where all of it lies above the middle; 5000 N/cm2 on finished faces and an overhang of
twice the gripped height (chosen here, no source); the zone of a bore. The screw is taken to push at the
middle of the jaw's face.
Go: a block in the middle of the jaw. No-go: the same block at one end of it, with nothing at the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patch import Patch
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.clamping import Pressed, pressed
from fixturecheck.kernel.measure import box_of, extent_along
from fixturecheck.kernel.place import matrix_of
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.hold import ClampKind
from fixturecheck.setup.model import Body
from fixturecheck.setup.records import BodyRole
from fixturecheck.shop.tables import material
from fixturecheck.sizes.faces import RoundFace, holes_of, round_faces
from fixturecheck.statics.ring import section_mm4, squeezed_mm

ID = "vise"
TITLE = "Jaws of a vise"

MOST_PRESSURE_N_CM2 = 5000.0
MOST_OVERHANG = 2.0
_CHOSEN = "chosen here, no source"
_THIRD = "closed form: a strip that bears no tension is pressed all over within its middle third"
_RING = "Roark, circular rings, from memory; a wall thin against its radius"
_UP = np.array([0.0, 0.0, 1.0])
_THIN = 0.25
"""Wall over mean radius up to which a ring counts as thin."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grip:
    """What one jaw presses.

    Parameters
    ----------
    clamp : Pressed
    patches : tuple of Patch
        On its face.
    across, up : ndarray, shape (3,)
        Level along the jaw, and up it.
    across_mm, up_mm : tuple of float
        How far what it presses reaches either way, from the middle of the jaw's face.
    """

    clamp: Pressed
    patches: tuple[Patch, ...]
    across: Floats
    up: Floats
    across_mm: tuple[float, float]
    up_mm: tuple[float, float]

    @property
    def area_mm2(self) -> float:
        """What it presses."""
        return sum(p.contact.area_mm2 for p in self.patches)

    @property
    def jaw(self) -> str:
        """The jaw."""
        return self.clamp.clamp.body


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of each jaw."""
    for clamp in pressed(stage.setup, stage.placed):
        if clamp.clamp.kind != ClampKind.VISE:
            continue
        grip = _grip(stage, clamp)
        if grip is None:
            says = f"{clamp.clamp.body} presses nothing as drawn, so what it does is not known."
            yield not_computed(ID, clamp.clamp.body, says, about=(clamp.clamp.body,))
            continue
        if grip.area_mm2 > 0.0:
            # On lines and points the pressure is Hertz's, which the hold asks after.
            yield _pressure(stage, grip)
        yield _cocks(stage, grip)
        yield _lifts(stage, grip)
        parts = dict.fromkeys(n for p in grip.patches for n in p.bodies if n != grip.jaw)
        for name in parts:
            body = stage.setup.body(name)
            if body.role == BodyRole.PART:
                out = _overhang(stage, grip, name)
                if out is not None:
                    yield out
                yield from _ring(stage, grip, body)


def _grip(stage: Stage, clamp: Pressed) -> _Grip | None:
    """Return what a jaw presses; None where that is nothing."""
    jaw, face = clamp.clamp.body, clamp.clamp.face
    patches = tuple(
        p
        for p in stage.contacts.patches
        if p.contact.kind != ContactKind.NEAR and jaw in p.bodies and p.sides_from(jaw)[0].face == face
    )
    if not patches:
        return None
    normal, centre = np.array(clamp.force.direction), np.array(clamp.force.at_mm)
    across = np.cross(_UP, normal)
    if float(np.linalg.norm(across)) < _LEVEL:
        message = f"{jaw} presses up or down, so which way it could cock is not worked out"
        raise NotComputedError(message)
    across /= np.linalg.norm(across)
    up = np.cross(normal, across)
    shapes = [p.shape.geometry for p in patches]
    spans = [_span(shapes, way, centre) for way in (across, up)]
    return _Grip(clamp=clamp, patches=patches, across=across, up=up, across_mm=spans[0], up_mm=spans[1])


_LEVEL = 1e-3


def _span(shapes: Sequence[Any], way: Floats, centre: Floats) -> tuple[float, float]:
    ends = [extent_along(s, way) for s in shapes]
    return min(e[0] for e in ends) - float(centre @ way), max(e[1] for e in ends) - float(centre @ way)


def _pressure(stage: Stage, grip: _Grip) -> Finding:
    force, write = grip.clamp.force.force_n, stage.setup.write
    least, most = (100.0 * one / grip.area_mm2 for one in (force.low, force.high))
    says = (
        f"{grip.jaw} presses {write.area(grip.area_mm2)} with {write.force(force.low)} to "
        f"{write.force(force.high)}, {write.pressure(least)} to {write.pressure(most)}."
    )
    return judge(
        most,
        unit="N/cm2",
        at_most=MOST_PRESSURE_N_CM2,
        short=Verdict.CAUTION,
        check=ID,
        subject=grip.jaw,
        kind=Kind.JAW_PRESSURE,
        about=(grip.jaw,),
        says=says,
        remedy="Take soft pads or a wider part of the face, or less torque.",
        source=_CHOSEN,
    )


def _off(span_mm: tuple[float, float]) -> tuple[float, float]:
    """Return how far the middle of what is pressed lies from the force, and half of its width."""
    return 0.5 * (span_mm[0] + span_mm[1]), 0.5 * (span_mm[1] - span_mm[0])


def _cocks(stage: Stage, grip: _Grip) -> Finding:
    """Judge whether the force goes through the middle of what is pressed, along the jaw."""
    write = stage.setup.write
    off_mm, half_mm = _off(grip.across_mm)
    outside = abs(off_mm) > half_mm
    says = f"What {grip.jaw} presses lies {write.length(abs(off_mm))} from the middle of the jaw and is "
    says += f"{write.length(2 * half_mm)} wide"
    good = abs(off_mm) <= half_mm / 3
    says += "." if good else ", so that the jaw cocks" + (" and bears on its corner." if outside else ".")
    side = "-" if float(grip.across @ _main(grip.across)) * off_mm > 0 else "+"
    axis = "XYZ"[int(np.argmax(np.abs(grip.across)))]
    remedy = f"Put a piece just as thick as the part between the jaws, {write.length(abs(off_mm))} from the "
    remedy += f"middle on the {side}{axis} side, or move the part to the middle."
    return judge(
        abs(off_mm),
        unit="mm",
        at_most=half_mm / 3,
        rounding=1e-6,
        short=Verdict.NO_GO if outside else Verdict.CAUTION,
        check=ID,
        subject=grip.jaw,
        kind=Kind.JAW_COCKS,
        about=(grip.jaw,),
        says=says,
        remedy=remedy,
        source=_THIRD,
        shapes=() if good else tuple(p.shape for p in grip.patches),
        location_mm=None if good else grip.clamp.force.at_mm,
        direction=None if good else grip.clamp.force.direction,
    )


def _main(way: Floats) -> Floats:
    """Return the axis that a direction runs along most."""
    return np.asarray(np.eye(3)[int(np.argmax(np.abs(way)))])


def _lifts(stage: Stage, grip: _Grip) -> Finding:
    """Judge whether all that a jaw presses lies above its middle: it leans back then and lifts the part."""
    write = stage.setup.write
    off_mm, half_mm = _off(grip.up_mm)
    says = f"The middle of what {grip.jaw} presses is {write.length(abs(off_mm))} "
    says += f"{'above' if off_mm > 0 else 'below'} the middle of the jaw, over a height of "
    says += write.length(2 * half_mm)
    good = off_mm <= half_mm
    says += "." if good else ", so that the jaw leans back and the part lifts off what it lies on."
    return judge(
        off_mm,
        unit="mm",
        at_most=half_mm,
        rounding=1e-6,
        short=Verdict.CAUTION,
        check=ID,
        subject=grip.jaw,
        kind=Kind.JAW_LIFTS,
        about=(grip.jaw,),
        says=says,
        remedy="Set the part lower or grip more of its height; tap it down and try the parallels by hand.",
        source=_THIRD,
    )


def _overhang(stage: Stage, grip: _Grip, part: str) -> Finding | None:
    """Hold what stands out over the jaw against the height that it grips; None where that is a level line."""
    write = stage.setup.write
    own = [p.shape.geometry for p in grip.patches if part in p.bodies]
    low_mm, high_mm = _span(own, _UP, np.zeros(3))
    out_mm = max(box_of(stage.placed[part])[5] - high_mm, 0.0)
    gripped_mm = high_mm - low_mm
    if gripped_mm <= _LEVEL:
        return None
    needed_mm = (out_mm + gripped_mm) / (1 + MOST_OVERHANG)
    says = f"{part} stands {write.length(out_mm)} out over what {grip.jaw} grips of it, "
    says += f"{write.length(gripped_mm)} high."
    return judge(
        out_mm,
        unit="mm",
        at_most=MOST_OVERHANG * gripped_mm,
        short=Verdict.CAUTION,
        check=ID,
        subject=part,
        kind=Kind.OVERHANG,
        about=(part, grip.jaw),
        says=says,
        remedy=f"Grip at least {write.length(needed_mm, '.1f', 'up')} of it, or "
        "back it up with a block behind the cut.",
        source=_CHOSEN,
    )


def _ring(stage: Stage, grip: _Grip, body: Body) -> Iterator[Finding]:
    """Judge how far a ring is squeezed out of round, where its bore has a tolerance."""
    write, turn = stage.setup.write, matrix_of(body.at)[:3, :3]
    for hole in holes_of(body):
        outer = _wall_round(hole.face, round_faces(body))
        zones = [z for n in hole.names if (z := body.zone_mm(n))]
        if (
            outer is None
            or not zones
            or abs(float(turn @ hole.face.axis @ grip.clamp.force.direction)) > _LEVEL
        ):
            continue
        wall_mm = outer.radius_mm - hole.face.radius_mm
        radius_mm = 0.5 * (outer.radius_mm + hole.face.radius_mm)
        name = f"{body.name}.{hole.names[0]}"
        if wall_mm > _THIN * radius_mm:
            says = f"{name} has a wall of {write.length(wall_mm)}, too thick for the formula of a thin ring."
            yield not_computed(ID, name, says, about=(name,))
            continue
        low, high = extent_along(body.solid, hole.face.axis)
        softest_mpa = material(body.material).youngs_modulus_mpa[0]
        across, along = squeezed_mm(
            grip.clamp.force.force_n.high, radius_mm, softest_mpa, section_mm4(wall_mm, high - low)
        )
        most_n = grip.clamp.force.force_n.high * min(zones) / -across
        says = f"The jaws squeeze the ring at {name} by {write.gap(-across * 1e3)} in line with them, and it "
        says += f"grows {write.gap(along * 1e3)} square to them: bored round as it is held, it is that "
        says += "much out when they open."
        yield judge(
            -across * 1e3,
            unit="um",
            at_most=min(zones) * 1e3,
            check=ID,
            subject=name,
            kind=Kind.RING_SQUEEZED,
            about=(name,),
            says=says,
            remedy=f"Press with no more than {most_n:.0f} N, grip it by its ends, or bore "
            "it in soft jaws that go round it.",
            source=_RING,
        )


def _wall_round(bore: RoundFace, others: tuple[RoundFace, ...]) -> RoundFace | None:
    """Return the outer round face that a bore shares its axis with; None where there is none."""
    for face in others:
        apart = face.origin - bore.origin
        off_mm = float(np.linalg.norm(apart - (apart @ bore.axis) * bore.axis))
        if not face.hollow and off_mm < _LEVEL and abs(float(face.axis @ bore.axis)) > 1 - 1e-9:
            return face
    return None
