"""How far does each clamp bend a wall of a part, which springs back when it lets go.

What: the wall behind each flat face that a jaw, a strap or a toe presses, or that stands against what a jaw
presses in turn; cut straight while it is bent, it comes out crooked.
Why: a wall beside a pocket gives way under the jaw, and a thin plate under a strap between its parallels.
Formula: a strip from its foot to its edge, or between two feet, as thick as the wall is row by row, under an
even push on what is pressed: bending, shear and the give of its foot (`statics.stiffness`).
A flat jaw whose push passes through what is solid goes in no further than that gives, F L / (E A), and the
wall with it.
Limits: a quarter of the tightest zone of the faces that are made, 5 um without one (chosen here, no source).
Material that ends at something that bears on the part from behind is no wall. A round face that is hollow
behind is a thin ring pressed from both sides, (pi/4 - 2/pi) W R^3 / (E I), or not known. Of steel the softest
counts, and the most force that the clamp may press with.
Go: a block between the jaws, or a strap over a parallel. No-go: a wall of 1 mm beside a pocket 15 mm deep,
pressed by 2 kN.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.checks.stage import Stage
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.holding.clamping import Pressed, pressed_by
from fixturecheck.holding.jaws import Grip, bearing_from_behind, grip_of, squeezed_parts
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.depth import FlatPush, Wall, is_hollow_along, walls_behind
from fixturecheck.kernel.measure import extent_along, face_frame, is_flat, on_face
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.hold import ClampKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import BodyRole
from fixturecheck.shop.tables import Material, material
from fixturecheck.sizes.faces import RoundFace, holes_of, outer_round, round_faces
from fixturecheck.statics.stiffness import THIN_SHARE, bent_mm, section_mm4, squeezed_mm
from fixturecheck.units import Writing

TITLE = "Walls under clamps"

_SOURCE = "closed form of a strip with shear and the give of its foot; limit chosen here, no source"
_RING = "Roark, circular rings, from memory; a wall thin against its radius; limit chosen here, no source"
_OF_ZONE = 0.25
"""How much of the tightest zone of what is made a wall may spring back by: chosen here, no source."""
_ALLOWED_MM = 0.005
"""The same where no zone is stated: chosen here, no source."""
_ON_MM = 0.1
"""How far a stated place may lie off the face that is meant."""
_INTO = 0.5
"""How much of a clamp's push must go straight into a face for it to be the one that is pressed."""


_NOTICED = 0.01
"""Share of what is allowed from which on a wall is told: chosen here, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Press:
    """A flat face of a part under a push, and the walls behind it."""

    part: Body
    ref: FaceRef
    force_n: float
    walls: tuple[Wall, ...]


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each face that a clamp presses and that has a wall behind it."""
    for stated in stage.setup.clamps:
        try:
            clamp = pressed_by(stage.setup, stage.placed, stated)
        except NotComputedError as reason:
            yield not_computed(
                stated.name, reason, about=(stated.body,), named=stated.name, asks=Kind.THIN_WALL
            )
            continue
        found = _by_jaw if clamp.clamp.kind == ClampKind.VISE else _by_tip
        presses = [press for press in found(stage, clamp) if press.force_n > 0.0]
        told = [finding for press in presses if (finding := _wall(stage, clamp, press)) is not None]
        yield from told
        if presses and not told:
            yield _solid(clamp, [press.ref for press in presses])
        for part, ref, at_mm in _rounds(stage, clamp):
            yield _round(stage, clamp, part, ref, at_mm)


def _by_jaw(stage: Stage, clamp: Pressed) -> Iterator[_Press]:
    """Yield the faces that a jaw presses, and those that what it presses stands by."""
    grip = grip_of(stage.setup, stage.contacts, clamp)
    if grip is None:
        return
    jaw = _flat_push(grip)
    for part in squeezed_parts(stage.setup, stage.placed, stage.contacts, grip):
        name = part.body.name
        for ref, face, press in part.flats():
            behind = bearing_from_behind(part.touching, name, press.patch.outward(name))
            yield _Press(
                part=part.body,
                ref=ref,
                force_n=press.share * clamp.force.force_n.high,
                walls=walls_behind(part.solid, face, press.patch.shape.geometry, behind, jaw),
            )


def _flat_push(grip: Grip) -> FlatPush:
    """Return the push of a jaw, which leans on what it presses: p = F / A (1 + e (s - c) / k^2)."""
    ends = np.array([extent_along(p.shape.geometry, grip.up) for p in grip.patches])
    areas = np.array([p.contact.area_mm2 for p in grip.patches])
    areas = areas if areas.any() else np.ones(len(areas))
    middles, at_mm = ends.mean(axis=1), float(grip.middle_mm @ grip.up)
    middle = float(np.average(middles, weights=areas))
    square = float(np.average((middles - middle) ** 2 + np.ptp(ends, axis=1) ** 2 / 12.0, weights=areas))
    return FlatPush(way=grip.up, at_mm=at_mm, lean_per_mm=0.0 if square <= 0.0 else (at_mm - middle) / square)


def _by_tip(stage: Stage, clamp: Pressed) -> Iterator[_Press]:
    """Yield the flat face of a part that a strap or toe presses, where its tip stands on one."""
    body, force = stage.setup.body(clamp.clamp.body), clamp.force
    if body.role != BodyRole.PART:
        return
    solid, at = stage.placed[body.name], np.array(force.at_mm)
    touching = tuple(p for p in stage.contacts.patches if body.name in p.bodies)
    for face, name in zip(faces_of(solid), body.face_names(), strict=True):
        if not is_flat(face) or not on_face(at, face, _ON_MM):
            continue
        _, out, _ = face_frame(face)
        straight = -float(out @ np.array(force.direction))
        if straight >= _INTO:
            behind = bearing_from_behind(touching, body.name, to_vector(out))
            yield _Press(
                part=body,
                ref=FaceRef.of(body.name, name),
                force_n=straight * force.force_n.high,
                walls=walls_behind(solid, face, vertex(at), behind),
            )
            return


def _rounds(stage: Stage, clamp: Pressed) -> Iterator[tuple[Body, FaceRef, Vector]]:
    """Yield the faces of parts that are not flat and that a clamp presses, and where."""
    name, way = clamp.clamp.body, np.array(clamp.force.direction)
    if clamp.clamp.kind != ClampKind.VISE:
        body = stage.setup.body(name)
        faces = zip(faces_of(stage.placed[name]), body.face_names(), strict=True)
        met = [(f, n) for f, n in faces if on_face(np.array(clamp.force.at_mm), f, _ON_MM)]
        if body.role == BodyRole.PART and met and not any(is_flat(f) for f, _ in met):
            yield body, FaceRef.of(name, met[0][1]), clamp.force.at_mm
        return
    for patch in stage.contacts.patches:
        if name not in patch.bodies or patch.contact.kind == ContactKind.NEAR:
            continue
        other = next(iter(set(patch.bodies) - {name}))
        body, own = stage.setup.body(other), patch.sides_from(other)[0]
        flat = {n for f, n in zip(faces_of(body.solid), body.face_names(), strict=True) if is_flat(f)}
        into = -float(np.array(patch.outward(other)) @ way)
        if body.role == BodyRole.PART and into >= _INTO and not set(own.faces) & flat:
            yield body, FaceRef.of(other, own.faces[0]), patch.contact.centroid


def ring_squeezed_mm(
    part: Body, bore: RoundFace, outer: RoundFace, force_n: float
) -> tuple[float, float] | None:
    """Return by how much a ring grows in line with two forces that press on it, and square to them, mm.

    Parameters
    ----------
    part : Body
        What the ring is of; of steel the softest counts.
    bore, outer : RoundFace
        Its two faces.
    force_n : float
        Each of the two forces.

    Returns
    -------
    tuple of float or None
        As `squeezed_mm` has them; None where its wall is too thick for the formula of a thin ring.
    """
    wall_mm, radius_mm = outer.radius_mm - bore.radius_mm, 0.5 * (outer.radius_mm + bore.radius_mm)
    if wall_mm > THIN_SHARE * radius_mm:
        return None
    low, high = extent_along(part.solid, bore.axis)
    softest_mpa = material(part.material).youngs_modulus_mpa[0]
    return squeezed_mm(force_n, radius_mm, softest_mpa, section_mm4(wall_mm, high - low))


def _round(stage: Stage, clamp: Pressed, part: Body, ref: FaceRef, at_mm: Vector) -> Finding:
    """Judge a round face under a clamp: solid behind, a thin ring in closed form, and else not known."""
    if not is_hollow_along(stage.placed[part.name], at_mm, clamp.force.direction):
        return _solid(clamp, [ref])
    write, force_n = stage.setup.write, clamp.force.force_n.high
    pressed = [face for face in round_faces(part) if face.name == ref.face]
    rings = [(hole.face, outer) for hole in holes_of(part) if (outer := outer_round(hole.face, pressed))]
    ring = max(rings, key=lambda one: one[0].radius_mm, default=None)
    squeezed = ring_squeezed_mm(part, *ring, force_n) if ring else None
    if squeezed is None:
        why = (
            "it is no plain ring" if ring is None else "its wall is too thick for the formula of a thin ring"
        )
        says = (
            f"How far {ref}, hollow behind, gives under {clamp.clamp.name} is not known: {why}. Press where "
        )
        says += "it is solid, or put a plug that fits into the hollow."
        return not_computed(
            ref, says, about=(ref,), named=clamp.clamp.name, asks=Kind.THIN_WALL, source=_RING
        )
    gives_mm = -squeezed[0]
    allowed_mm = _allowed_mm(part.zone_mm(name) for name in _made_on(stage.setup, part.name))
    says = (
        f"{clamp.clamp.name} presses the ring at {ref} with up to {write.force(force_n)}. In line with that "
    )
    says += f"it gives {write.gap(gives_mm * 1e3, '.3g')}, and springs back when it lets go."
    cure = "Put a plug that fits into the bore, grip it by its ends"
    return _springs(stage, clamp, ref, gives_mm, allowed_mm, says, cure, _RING, at_mm)


def _wall(stage: Stage, clamp: Pressed, press: _Press) -> Finding | None:
    """Judge the wall that bends most behind a face; None where nothing bends to speak of."""
    setup, write, ref = stage.setup, stage.setup.write, press.ref
    allowed_mm = _allowed_mm(press.part.zone_mm(name) for name in _made_on(setup, press.part.name))
    steel = material(press.part.material)
    each = [(_bends_mm(wall, press.force_n, steel), wall) for wall in press.walls]
    bends_mm, wall = max(each, key=lambda one: one[0], default=(0.0, None))
    if wall is None or bends_mm < _NOTICED * allowed_mm:
        return None
    says = f"{clamp.clamp.name} presses {ref} with up to {write.force(press.force_n)}. Behind it stands a "
    says += f"wall {_sizes(wall, write)}, which bends by {write.gap(bends_mm * 1e3, '.3g')} at most and "
    says += "springs back when it lets go."
    foot = "press over what bears the part" if wall.both_ends else "press below its foot"
    cure = f"Fill the room behind the wall with a block that fits, {foot}"
    return _springs(stage, clamp, ref, bends_mm, allowed_mm, says, cure, _SOURCE, clamp.force.at_mm)


def _springs(
    stage: Stage,
    clamp: Pressed,
    ref: FaceRef,
    gives_mm: float,
    allowed_mm: float,
    says: str,
    cure: str,
    source: str,
    at_mm: Vector,
) -> Finding:
    """Judge by how much a face gives under a clamp; whatever else would cure it, less force does."""
    write, least_n = stage.setup.write, clamp.force.force_n.high * allowed_mm / gives_mm
    return judge(
        gives_mm * 1e3,
        unit="um",
        at_most=allowed_mm * 1e3,
        kind=Kind.THIN_WALL,
        about=(ref,),
        named=clamp.clamp.name,
        says=says,
        remedy=f"{cure}, or press with {write.force(least_n, toward='down')} at most"
        f"{_torque(clamp, least_n, write)}.",
        source=source,
        location_mm=at_mm,
        direction=clamp.force.direction,
    )


def _solid(clamp: Pressed, faces: Sequence[FaceRef]) -> Finding:
    """Say that nothing bends."""
    return judge(
        0.0,
        unit="um",
        verdict=Verdict.GO,
        subject=clamp.clamp.name,
        kind=Kind.THIN_WALL,
        about=tuple(faces),
        named=clamp.clamp.name,
        says=f"What {clamp.clamp.name} presses is solid, or something bears on it right behind: "
        f"{', '.join(faces)}.",
        source=_SOURCE,
    )


def _bends_mm(wall: Wall, force_n: float, steel: Material) -> float:
    """Return how far a wall bends under the push on its face, no further than a jaw goes in beside it."""
    bends_mm = bent_mm(
        force_n=wall.share * force_n,
        thick_mm=wall.rows_mm,
        high_mm=wall.high_mm,
        long_mm=wall.long_mm,
        youngs_modulus_mpa=steel.youngs_modulus_mpa[0],
        poisson=steel.poisson,
        pressed_mm=wall.pressed_mm,
        both_ends=wall.both_ends,
    )
    if wall.borne_mm2 <= 0.0:
        return bends_mm
    return min(bends_mm, force_n * wall.deep_mm / (steel.youngs_modulus_mpa[0] * wall.borne_mm2))


def _torque(clamp: Pressed, least_n: float, write: Writing) -> str:
    """Say which torque presses with no more than that; nothing where a force is stated."""
    if clamp.clamp.torque_nm is None:
        return ""
    torque = clamp.clamp.torque_nm * least_n / clamp.force.force_n.high
    return f", tightened to {write.torque(torque, '.1f', 'down')}"


def _sizes(wall: Wall, write: Writing) -> str:
    thick = [write.length(t, ".3g") for t in (wall.thick_mm, max(wall.rows_mm))]
    says = f"{' to '.join(dict.fromkeys(thick))} thick and {write.length(wall.high_mm, '.3g')}"
    return f"{says} {'wide between two feet' if wall.both_ends else 'high'}"


def _allowed_mm(zones_mm: Iterable[float | None]) -> float:
    """Return how far a wall may bend while faces of some profile zones are made, mm; None has none."""
    stated = [z for z in zones_mm if z is not None]
    return _OF_ZONE * min(stated) if stated else _ALLOWED_MM


def _made_on(setup: Setup, part: str) -> Iterator[str]:
    """Yield the faces that the cuts of a set-up make on a part."""
    for cut in setup.cuts:
        if part in cut.parts:
            yield from (name for name in (cut.floor, cut.wall) if name)
    for run in setup.end_mills:
        if part in run.parts:
            yield from run.makes
    for mill in setup.mills:
        if part in mill.parts:
            yield mill.face
