"""Does a sine plate or angle block make the angle that a ground face needs, closely enough.

What: which gauge blocks to wring in which order, the angle that they make, how far it may be off by blocks,
rolls and flatness, and what that is at each face that is ground on a part that lies on it.
Why: a second of arc is a micron over 0.2 m; a stack that misses by a block, or a plate set steep, grinds
the slope wrong on every part.
Formulas: h = L sin(a); da = dh / (L cos a) + dL tan(a) / L + f / L; at a face, da in radians times its
extent square to the hinge.
Limits: the profile tolerance of the face, or what `align` asks without one; 45 degrees, beyond which a sine
plate grows unsure fast (common practice, no source). Limits of blocks by grade: ISO 3650 [@iso3650], from
memory.
Go: 12.5 degrees on a plate of 127 mm with a stack of 27.488 mm, 3" off, over a face of 20 mm. No-go: the
same over a face of 100 mm that has a zone of 2 um.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fixturecheck.angles.incline import Incline
from fixturecheck.angles.sine import tilt_um
from fixturecheck.arrays import Floats
from fixturecheck.checks.align import DEFAULT_MM
from fixturecheck.checks.stage import Stage
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import centroid_of, extent_along, normal_in_middle
from fixturecheck.kernel.place import matrix_of
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.setup.model import Body, Setup, together
from fixturecheck.setup.records import Cut
from fixturecheck.units import Writing
from fixturecheck.wording.settings import angle_dms, missed_words, stack_words, unsure_words

ID = "angle"
TITLE = "Angles of sine plates and angle blocks"

STEEP_DEG = 45.0
"""A sine plate steeper than this is unsure: common practice, no source."""

_SOURCE = (
    "closed form of the sine bar; limits of the blocks: ISO 3650, from memory; rolls and flatness as stated"
)


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the stack of each slope, and what its angle does to each face that is ground on it."""
    for body in stage.setup.bodies:
        incline = body.incline
        if incline is None:
            continue
        if incline.stack is not None:
            yield _stack(body, incline)
            if incline.wanted_deg > STEEP_DEG:
                yield _steep(body, incline)
        riders = carried_by(stage, body)
        for cut in stage.setup.cuts:
            for part in cut.parts:
                if part in riders:
                    yield from _targets(stage, body, incline, cut, part)


def carried_by(stage: Stage, slope: Body) -> frozenset[str]:
    """Return the bodies that lie on a slope: what touches its faces, and what seats on any of those."""
    setup = stage.setup
    own = {*together(setup, slope.name)}
    found: set[str] = set()
    for patch in stage.contacts.patches:
        if patch.contact.kind == ContactKind.AREA and slope.name in patch.bodies:
            found |= {name for other in patch.bodies if other not in own for name in together(setup, other)}
    while True:
        more = {s.body for s in setup.seats if s.on in found or s.on == slope.name} - found - own
        if not more:
            return frozenset(found)
        found |= {name for body in more for name in together(setup, body)}


def _stack(body: Body, incline: Incline) -> Finding:
    """Tell the blocks to wring, and the angle that they make."""
    stack = incline.stack
    words = "" if stack is None else stack_words(stack, incline.blocks)
    return judge(
        incline.missed_arcsec,
        unit="arcsec",
        verdict=Verdict.GO,
        check=ID,
        subject=body.group or body.name,
        kind=Kind.STACK,
        about=(body.name,),
        says=f"Wring {words} from {incline.blocks} under {body.group or body.name}, in this order from "
        f"below: {angle_dms(incline.reached_deg)}, {missed_words(incline)}, and known to "
        f"{unsure_words(incline)}.",
        source=_SOURCE,
    )


def _steep(body: Body, incline: Incline) -> Finding:
    return judge(
        incline.wanted_deg,
        unit="deg",
        at_most=STEEP_DEG,
        short=Verdict.CAUTION,
        check=ID,
        subject=body.group or body.name,
        kind=Kind.STEEP,
        about=(body.name,),
        says=f"{body.group or body.name} is set at {incline.wanted_deg:g}°: a micron of the stack turns it "
        "more the steeper it stands, and a part on it slides.",
        remedy=f"Set {90 - incline.wanted_deg:g}° and lay the part on its other side, or use an angle block.",
        source="common practice, no source",
    )


def _targets(stage: Stage, slope: Body, incline: Incline, cut: Cut, part: str) -> Iterator[Finding]:
    """Hold what the angle may be off against the tolerance of each face that a cut makes."""
    setup, write = stage.setup, stage.setup.write
    hinge = matrix_of(slope.at)[:3, 0]
    body = setup.body(part)
    for face in (cut.floor, cut.wall):
        for index in body.face_indices(face) if face is not None else ():
            drawn = faces_of(stage.placed[part])[index]
            normal = np.asarray(normal_in_middle(drawn))
            across = np.cross(normal, hinge)
            if float(np.linalg.norm(across)) < _SQUARE:
                # A face square to the hinge turns in itself.
                continue
            low, high = extent_along(drawn, across / np.linalg.norm(across))
            error_um = tilt_um(incline.most_arcsec, (high - low) * float(np.linalg.norm(across)))
            place = (np.asarray(centroid_of(drawn)), normal)
            yield _target(setup, (slope, incline), (cut, FaceRef.of(part, str(face))), error_um, place, write)


_SQUARE = 1e-6


def _target(
    setup: Setup,
    of: tuple[Body, Incline],
    at: tuple[Cut, FaceRef],
    error_um: float,
    place: tuple[Floats, Floats],
    write: Writing,
) -> Finding:
    """Judge one face."""
    (slope, incline), (cut, ref) = of, at
    stated = setup.body(ref.body).zone_mm(ref.face)
    limit_mm = DEFAULT_MM if stated is None else stated
    who = slope.group or slope.name
    parts = {
        "a finer set of blocks": abs(incline.missed_arcsec),
        "blocks of a better grade": incline.by_stack_arcsec,
        "a plate whose rolls are known better, or a longer one": incline.by_distance_arcsec,
        "a flatter plate on a cleaner surface, or an indicator along the slope": incline.by_flatness_arcsec,
    }
    return judge(
        error_um,
        unit="um",
        at_most=limit_mm * 1e3,
        check=ID,
        subject=f"{cut.name}/{ref}",
        kind=Kind.SLOPE,
        about=(ref, slope.name),
        cut=cut.name,
        says=f'The slope of {who} may be {incline.most_arcsec:.1f}" off, which is {write.gap(error_um)} over '
        f"{ref}, with {write.gap(limit_mm * 1e3)} allowed.",
        remedy=f"Take {max(parts, key=parts.__getitem__)}: that is the largest share.",
        source=_SOURCE if stated is not None else f"{_SOURCE}; tolerance: common practice, no source",
        location_mm=(float(place[0][0]), float(place[0][1]), float(place[0][2])),
        direction=(float(place[1][0]), float(place[1][1]), float(place[1][2])),
    )
