"""Does a vise press where it can: does its jaw cock or lift, how far do parts stand out, is a ring squeezed.

What: for each jaw that is clamped, the area and pressure of what it presses, how its push spreads along it,
how far the parts stand over it, and how far a ring between the jaws bends and springs back.
Why: a jaw that presses off its middle, or is borne off it, cocks; one that presses high lifts the part; a
ring that is bored round in the vise is oval when it opens.
Formulas: pressure = force / area, sloped along the jaw about its middle: p = F / A (1 - e (x - c) / k^2), so
that a push outside the middle third of an even strip opens its far side; along a round
bar Hertz's line contact, p0 = sqrt(F E* / (pi l R)); a ring changes by
(pi/4 - 2/pi) W R^3 / (E I).
Limits: pressure everywhere along the jaw; no-go where the push passes beside all of it or a body is pressed
by nothing, and a caution where all of it lies above the middle; 5000 N/cm2 on finished faces and an
overhang of twice the gripped height (chosen here, no source); the zone of a bore; on a bar the pressure at
which a line contact begins to yield. The screw is taken to push at the middle of the jaw's face. What bends
besides, `wall` answers.
Go: a block in the middle of the jaw. No-go: the same block at one end of it, with nothing at the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.checks.stage import Stage
from fixturecheck.checks.touching import along_round
from fixturecheck.checks.wall import ring_squeezed_mm
from fixturecheck.holding.clamping import Pressed, pressed_by
from fixturecheck.holding.jaws import (
    LEVEL,
    Grip,
    Pushes,
    SqueezedPart,
    balancing,
    grip_of,
    joined_spread,
    packing,
    pushes,
    squeezed_parts,
)
from fixturecheck.kernel.measure import box_of, extent_along
from fixturecheck.kernel.place import matrix_of
from fixturecheck.numeric import UP
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.hold import ClampKind
from fixturecheck.setup.model import Body
from fixturecheck.setup.records import BodyRole
from fixturecheck.shop.tables import material
from fixturecheck.sizes.faces import holes_of, outer_round, round_faces
from fixturecheck.statics.stiffness import (
    Elastic,
    contact_modulus_mpa,
    line_contact,
)
from fixturecheck.wording.sentences import first_up

TITLE = "Jaws of a vise"

MOST_PRESSURE_N_CM2 = 5000.0
MOST_OVERHANG = 2.0
_DENSER = 1.1
"""Times the pressure of the jaw, from where that of a part is told by itself."""
_CHOSEN = "chosen here, no source"
_MARKS_MPA = {"soft_steel": 500.0, "cast_iron": 350.0, "hard_steel": 2500.0}
"""Peak pressure at which a line contact begins to yield, 1.67 times the yield strength, by class of grinding:
that of mild steel is taken as 300 MPa, of iron as 210, of hardened steel as 1500."""
_HERTZ = (
    "Johnson, Contact Mechanics, 4.2; yield begins below the line at 1.67 times the yield strength, which is "
    "that of mild steel, iron or hardened steel: all from memory"
)
_THIRD = "closed form: what bears no tension is pressed all over within its kern, of a strip its middle third"
_RING = "Roark, circular rings, from memory; a wall thin against its radius"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of each jaw."""
    for stated in stage.setup.clamps:
        if stated.kind != ClampKind.VISE:
            continue
        clamp = pressed_by(stage.setup, stage.placed, stated)
        grip = grip_of(stage.setup, stage.contacts, clamp)
        if grip is None:
            yield _presses_nothing(stage, clamp)
            continue
        if stopped_by := grip.stopped_by(stage.setup, stage.contacts):
            yield _stopped(grip, stopped_by)
            continue
        if grip.area_mm2 > 0.0:
            yield _pressure(stage, grip)
        else:
            yield from _line_pressure(stage, grip)
        yield _cocks(stage, grip)
        yield _lifts(stage, grip)
        for part in squeezed_parts(stage.setup, stage.placed, stage.contacts, grip):
            yield from _pressure_on(stage, grip, part)
            out = _overhang(stage, grip, part)
            if out is not None:
                yield out
            yield from _ring(stage, grip, part)


def _presses_nothing(stage: Stage, clamp: Pressed) -> Finding:
    """Say that what a jaw does is not known, and what would fill the room before it."""
    says = f"{clamp.clamp.body} presses nothing as drawn, so what it does is not known."
    piece = packing(stage.setup, stage.placed, clamp)
    if piece is not None:
        thick, wide, high = (
            stage.setup.write.length(v) for v in (piece.thick_mm, piece.wide_mm, piece.high_mm)
        )
        says += (
            f" Close it by {thick}; where something keeps it from going there, a spare jaw {thick} thick, "
        )
        says += f"{wide} wide and {high} high reaches over, and meets nothing else that is drawn."
    return not_computed(clamp.clamp.body, says, about=(clamp.clamp.body,))


def _stopped(grip: Grip, by: Sequence[str]) -> Finding:
    """Say that a jaw presses nothing but what stands still, as a soft jaw that is stated as fastened."""
    them = " and ".join(by)
    says = (
        f"{grip.jaw} presses {them} alone, which {'stand' if len(by) > 1 else 'stands'} still, so that none "
    )
    says += (
        "of its push goes on to a part. A soft jaw or a pad that goes with the jaw is not fastened to the "
    )
    says += "machine: leave `fastened` out, or state its own face as what the clamp presses with."
    return not_computed(grip.jaw, says, about=(grip.jaw,))


def _pressure_on(stage: Stage, grip: Grip, part: SqueezedPart) -> Iterator[Finding]:
    """Judge the pressure of a part that takes the push on less than the jaw presses, on either side."""
    force, write = grip.clamp.force.force_n, stage.setup.write
    sides = [[p for p in part.presses if p.front is front and p.share > 0.0] for front in (True, False)]
    dense = [(sum(p.share for p in s) / sum(p.patch.contact.area_mm2 for p in s), s) for s in sides if s]
    share_mm2, side = max(dense, key=lambda one: one[0], default=(0.0, []))
    if share_mm2 * grip.area_mm2 <= _DENSER:
        return
    area = write.area(sum(p.patch.contact.area_mm2 for p in side))
    least, most = (100.0 * one * share_mm2 for one in (force.low, force.high))
    name = part.body.name
    yield judge(
        most,
        unit="N/cm2",
        at_most=MOST_PRESSURE_N_CM2,
        short=Verdict.CAUTION,
        subject=name,
        kind=Kind.JAW_PRESSURE,
        about=(grip.jaw, name),
        says=f"The push of {grip.jaw} goes through {name} on {area} of one side: {write.pressure(least)} to "
        f"{write.pressure(most)}.",
        remedy="Take soft pads or a wider part of the face, or less torque.",
        source=_CHOSEN,
    )


def _pressure(stage: Stage, grip: Grip) -> Finding:
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
        kind=Kind.JAW_PRESSURE,
        about=(grip.jaw,),
        says=says,
        remedy="Take soft pads or a wider part of the face, or less torque.",
        source=_CHOSEN,
    )


def _line_pressure(stage: Stage, grip: Grip) -> Iterator[Finding]:
    """Judge the Hertzian pressure of each bar that a jaw presses along a line; edges have none."""
    lines = [p for p in grip.patches if along_round(p)]
    long_mm = sum(p.contact.length_mm for p in lines)
    force, write = grip.clamp.force.force_n, stage.setup.write
    for name in dict.fromkeys(n for p in lines for n in p.bodies if n != grip.jaw):
        body, own = stage.setup.body(name), [p for p in lines if name in p.bodies]
        faces = {p.sides_from(name)[0].face for p in own}
        radius_mm = max((r.radius_mm for r in round_faces(body) if r.name in faces), default=0.0)
        if radius_mm <= 0.0:
            continue
        modulus_mpa = contact_modulus_mpa(_elastic(body), _elastic(stage.setup.body(grip.jaw)))
        pressed = line_contact(force.high, long_mm, radius_mm, modulus_mpa)
        most_n = force.high * (_MARKS_MPA[material(body.material).grinds_as] / pressed.pressure_mpa) ** 2
        long, wide = sum(p.contact.length_mm for p in own), 2e3 * pressed.half_width_mm
        says = (
            f"{grip.jaw} presses {name} along a line of {write.length(long)}, {write.gap(wide)} wide, with "
        )
        says += f"up to {write.pressure(100.0 * pressed.pressure_mpa)} in its middle"
        found = judge(
            100.0 * pressed.pressure_mpa,
            unit="N/cm2",
            at_most=100.0 * _MARKS_MPA[material(body.material).grinds_as],
            short=Verdict.CAUTION,
            kind=Kind.JAW_PRESSURE,
            about=(grip.jaw, name),
            says=says + ".",
            remedy=f"Press with no more than {write.force(most_n)}, put soft pads before the jaws, or grip "
            "it in jaws that go round it.",
            source=_HERTZ,
        )
        yield (
            found
            if found.verdict is Verdict.GO
            else replace(found, says=says + ", so that the jaws mark it.")
        )


def _elastic(body: Body) -> Elastic:
    """Return the constants of a body, the stiffer end of its modulus."""
    row = material(body.material)
    return Elastic(modulus_mpa=row.youngs_modulus_mpa[1], poisson=row.poisson)


def _cocks(stage: Stage, grip: Grip) -> Finding:
    """Judge whether the push of the screw leaves all of what is pressed under pressure, along the jaw."""
    write, before = stage.setup.write, pushes(grip.spreads)
    after = pushes(grip.behind) if grip.behind else before
    how, spreads = (before, grip.spreads) if after.good or not before.good else (after, grip.behind)
    whole = joined_spread([*spreads.values()])
    low, high = whole.low_mm, whole.high_mm
    off = write.length(abs(how.off_mm))
    what = f"What {grip.jaw} presses" if how is before else "What bears it on the other side"
    says = f"{what} lies {off} from the middle of the jaw and is "
    says += f"{write.length(high - low)} wide"
    if how.idle:
        says += f", so that the jaw cocks and does not hold {' and '.join(how.idle)}."
    elif not how.good:
        says += ", so that the jaw cocks" + (" and bears on its corner." if how.outside else ".")
    else:
        says += "."
    short = {} if how.good else _stand_short(stage, grip)
    for name, gap_mm in short.items():
        says += f" {name} stands {write.length(gap_mm)} short of it and is not held."
    return judge(
        abs(how.off_mm),
        unit="mm",
        at_most=how.most_off_mm,
        rounding=1e-6,
        short=Verdict.NO_GO if how.outside or how.idle else Verdict.CAUTION,
        kind=Kind.JAW_COCKS,
        about=(grip.jaw,),
        says=says,
        remedy=_packed(stage, grip, short) or _evened(stage, grip, how, before),
        source=_THIRD,
        shapes=() if how.good else tuple(p.shape for p in grip.patches),
        location_mm=None if how.good else grip.clamp.force.at_mm,
        direction=None if how.good else grip.clamp.force.direction,
    )


def _stand_short(stage: Stage, grip: Grip) -> dict[str, float]:
    """Return the parts before a jaw that it all but touches, each with the room left."""
    jaw, face = grip.jaw, grip.clamp.clamp.face
    near = [
        (name, 1e-3 * p.contact.gap_mean_um)
        for p in stage.contacts.patches
        if p.contact.kind == ContactKind.NEAR and jaw in p.bodies and p.sides_from(jaw)[0].face == face
        for name in p.bodies
        if name != jaw and name not in grip.spreads and stage.setup.body(name).role == BodyRole.PART
    ]
    return {name: min(g for n, g in near if n == name) for name, _ in near}


def _packed(stage: Stage, grip: Grip, short: Mapping[str, float]) -> str | None:
    """Say how much to pack between a jaw and the parts that it all but touches; None where there are none."""
    if not short:
        return None
    parts = " and ".join(
        f"{stage.setup.write.length(mm)} between {n} and {grip.jaw}" for n, mm in short.items()
    )
    return f"Pack {parts}, or hold parts of unlike width one at a time."


def _evened(stage: Stage, grip: Grip, how: Pushes, before: Pushes) -> str | None:
    """Say what brings the push to the middle of what takes it; nothing where it is there."""
    if how.good:
        return None
    if how is before:
        return _balanced(stage, grip, how.off_mm)
    off = stage.setup.write.length(abs(how.off_mm))
    return f"Pack the room on the other side so that it bears on both ends there, or move the part by {off}."


def _balanced(stage: Stage, grip: Grip, off_mm: float) -> str:
    """Say which piece beside the parts balances the jaw, tried, or else how far to move them."""
    write = stage.setup.write
    piece = balancing(stage.setup, stage.placed, grip)
    moved = f"move what is gripped by {write.length(abs(off_mm))} to the middle of the jaw"
    if piece is None:
        return f"{first_up(moved)}: no piece beside it was found that balances it."
    axis = _main(grip.across)
    side = "+" if float(grip.across @ axis) * piece.at_mm > 0 else "-"
    thick, wide, high = (write.length(v) for v in (piece.thick_mm, piece.wide_mm, piece.high_mm))
    return (
        f"Put a piece just as thick as the part, {thick}, {wide} wide and {high} high between the jaws, "
        f"{write.length(abs(piece.at_mm))} from the middle on the {side}{'XYZ'[int(np.argmax(axis))]} side, "
        f"its middle there: tried, the jaw then presses all of both; or {moved}."
    )


def _main(way: Floats) -> Floats:
    """Return the axis that a direction runs along most."""
    return np.asarray(np.eye(3)[int(np.argmax(np.abs(way)))])


def _lifts(stage: Stage, grip: Grip) -> Finding:
    """Judge whether all that a jaw presses lies above its middle: it leans back then and lifts the part."""
    write = stage.setup.write
    # On either side what takes the push may lie too high.
    higher = max(grip.up_mm, grip.behind_up_mm)
    off_mm, half_mm = 0.5 * sum(higher), 0.5 * (higher[1] - higher[0])
    what = f"what {grip.jaw} presses" if higher == grip.up_mm else "what bears it on the other side"
    says = f"The middle of {what} is {write.length(abs(off_mm))} "
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
        kind=Kind.JAW_LIFTS,
        about=(grip.jaw,),
        says=says,
        remedy=("Set the part lower or grip more of its height" if half_mm > LEVEL else _lower(stage, off_mm))
        + "; tap it down and try the parallels by hand.",
        source=_THIRD,
    )


def _lower(stage: Stage, off_mm: float) -> str:
    """Say how much lower a bar lies at the middle of the jaw: it has no height to grip more of."""
    return f"Set it {stage.setup.write.length(off_mm, '.1f', 'up')} lower, its line at the middle of the jaw"


def _overhang(stage: Stage, grip: Grip, squeezed: SqueezedPart) -> Finding | None:
    """Hold what stands out over the jaw against the height that it grips; None where that is a level line."""
    write, part = stage.setup.write, squeezed.body.name
    own = [p for p in grip.patches if part in p.bodies] or [p.patch for p in squeezed.presses if p.front]
    ends = [extent_along(p.shape.geometry, UP) for p in own]
    low_mm, high_mm = min(e[0] for e in ends), max(e[1] for e in ends)
    out_mm = max(box_of(squeezed.solid)[5] - high_mm, 0.0)
    gripped_mm = high_mm - low_mm
    if gripped_mm <= LEVEL:
        return None
    needed_mm = (out_mm + gripped_mm) / (1 + MOST_OVERHANG)
    says = f"{part} stands {write.length(out_mm)} out over what {grip.jaw} grips of it, "
    says += f"{write.length(gripped_mm)} high."
    return judge(
        out_mm,
        unit="mm",
        at_most=MOST_OVERHANG * gripped_mm,
        short=Verdict.CAUTION,
        kind=Kind.OVERHANG,
        about=(part, grip.jaw),
        says=says,
        remedy=f"{_taller(stage, grip, squeezed, low_mm, needed_mm)}or back it up with a block behind the "
        "cut.",
        source=_CHOSEN,
    )


def _taller(stage: Stage, grip: Grip, part: SqueezedPart, low_mm: float, needed_mm: float) -> str:
    """Say how much of a part to grip: by how much to set it lower, or how high a spare jaw reaches up it."""
    write = stage.setup.write
    needed = write.length(needed_mm, ".1f", "up")
    jaw_low_mm, jaw_mm = extent_along(stage.placed[grip.jaw], UP)
    more_mm = needed_mm - (jaw_mm - low_mm)
    lower = ""
    if LEVEL < more_mm <= box_of(part.solid)[2] - jaw_low_mm:
        lower = (
            f"Set it {write.length(more_mm, '.1f', 'up')} lower, so that the jaw grips {needed} of it, or "
        )
    tops = [extent_along(face, UP)[1] for _, face, press in part.flats() if press.front]
    if not tops or max(tops) < low_mm + needed_mm - LEVEL:
        return lower.removesuffix("or ") or f"Grip at least {needed} of it, "
    over = write.length(max(low_mm + needed_mm - jaw_mm, 0.0), ".1f", "up")
    grip_it = lower or f"Grip at least {needed} of it, "
    return f"{grip_it}with a spare jaw {over} higher than this one, "


def _ring(stage: Stage, grip: Grip, part: SqueezedPart) -> Iterator[Finding]:
    """Judge how far a ring is squeezed out of round, where its bore has a tolerance."""
    write, body = stage.setup.write, part.body
    turn, force_n = matrix_of(body.at)[:3, :3], part.share * grip.clamp.force.force_n.high
    for hole in holes_of(body):
        outer = outer_round(hole.face, round_faces(body))
        zones = [z for n in hole.names if (z := body.zone_mm(n))]
        if (
            outer is None
            or not zones
            or abs(float(turn @ hole.face.axis @ grip.clamp.force.direction)) > LEVEL
        ):
            continue
        name = f"{body.name}.{hole.names[0]}"
        squeezed = ring_squeezed_mm(body, hole.face, outer, force_n)
        if squeezed is None:
            wall = write.length(outer.radius_mm - hole.face.radius_mm)
            says = f"{name} has a wall of {wall}, too thick for the formula of a thin ring."
            yield not_computed(name, says, about=(name,))
            continue
        across, along = squeezed
        most_n = grip.clamp.force.force_n.high * min(zones) / -across
        says = f"The jaws squeeze the ring at {name} by {write.gap(-across * 1e3)} in line with them, and it "
        says += f"grows {write.gap(along * 1e3)} square to them. If it is bored round like that, it is "
        says += "out of round by as much when they open."
        yield judge(
            -across * 1e3,
            unit="um",
            at_most=min(zones) * 1e3,
            kind=Kind.RING_SQUEEZED,
            about=(name,),
            says=says,
            remedy=f"Press with no more than {most_n:.0f} N, grip it by its ends, or bore "
            "it in soft jaws that go round it.",
            source=_RING,
        )
