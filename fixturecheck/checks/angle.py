"""Does a sine plate or angle block make the angle that a ground face needs, closely enough.

What: which gauge blocks to wring in which order, the angle that they make, how far it may be off by blocks,
rolls and flatness, and what that is at each face that is ground on a part that lies on it.
Why: a second of arc is a micron over 0.2 m; a stack that misses by a block, or a plate set steep, grinds
the slope wrong on every part.
Formulas: h = L sin(a); da = dh / (L cos a) + dL tan(a) / L + f / L; at a face, da in radians times its
extent square to the hinge. Of a compound plate both angles are off together, whichever way is worse for the
face: its extent along n x (da1 h1 +- da2 h2), h1 and h2 the hinges where they stand.
Limits: the profile tolerance of the face, or what `align` asks without one; 45 degrees, beyond which a sine
plate grows unsure fast (common practice, no source). Limits of blocks by grade: ISO 3650 [@iso3650], from
memory.
Go: 12.5 degrees on a plate of 127 mm with a stack of 27.488 mm, at most 8" off, over a face of 20 mm.
No-go: the same over a face of 100 mm that has a zone of 2 um.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np

from fixturecheck.angles.incline import ARCSEC_PER_DEG, Incline, resultant_deg, tilt_um
from fixturecheck.arrays import Floats
from fixturecheck.checks.align import DEFAULT_MM, hinges_of, slopes_of
from fixturecheck.checks.stage import Stage
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import centroid_of, extent_along, normal_in_middle
from fixturecheck.kernel.shapes import Face
from fixturecheck.numeric import to_vector
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import Cut
from fixturecheck.wording.settings import angle_dms, gauges_words, missed_words, stack_words, unsure_words

Place = tuple[Floats, Floats]
"""Middle and normal of a face."""

TITLE = "Angles of sine plates and angle blocks"

STEEP_DEG = 45.0
"""A sine plate steeper than this is unsure: common practice, no source."""

_SOURCE = (
    "closed form of the sine bar; limits of the blocks: ISO 3650, from memory; rolls and flatness as stated"
)


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the stack of each slope, and what its angle does to each face that is ground on it."""
    for body, riders in slopes_of(stage):
        own, who = body.inclines[-1], _leaf(stage.setup, body)
        if own.gauges_arcsec:
            yield _stack(who, body, own)
        if own.stack is not None:
            yield _stack(who, body, own)
            if own.wanted_deg > STEEP_DEG:
                yield _steep(who, body, own)
        for cut in stage.setup.cuts:
            for part in cut.parts:
                if part in riders:
                    yield from _targets(stage, body, cut, part)


def _leaf(setup: Setup, body: Body) -> str:
    """Return what a plate is called: by its equipment, where that has one only."""
    plates = [b for b in setup.bodies if b.inclines and b.group == body.group]
    return body.name if body.group is None or len(plates) > 1 else body.group


def _stack(who: str, body: Body, incline: Incline) -> Finding:
    """Tell the blocks to wring, and the angle that they make."""
    stack = incline.stack
    words = gauges_words(incline.gauges_arcsec) if stack is None else stack_words(stack, incline.blocks)
    both = ""
    if len(body.inclines) > 1:
        lean_deg = resultant_deg(*(i.reached_deg for i in body.inclines))
        both = f" On the plate below it leans {angle_dms(lean_deg)} from level in all."
    return judge(
        incline.missed_arcsec,
        unit="arcsec",
        verdict=Verdict.GO,
        subject=who,
        kind=Kind.STACK,
        about=(body.name,),
        says=f"Wring {words} from {incline.blocks} {'under' if stack else 'as'} {who}, in this order from "
        f"below: {angle_dms(incline.reached_deg)}, {missed_words(incline)}, and known to "
        f"{unsure_words(incline)}.{both}",
        source=_SOURCE,
    )


def _steep(who: str, body: Body, incline: Incline) -> Finding:
    return judge(
        incline.wanted_deg,
        unit="deg",
        at_most=STEEP_DEG,
        short=Verdict.CAUTION,
        subject=who,
        kind=Kind.STEEP,
        about=(body.name,),
        says=f"{who} is set at {incline.wanted_deg:g}°: a micron of the stack turns it more the "
        "steeper it stands, and a part on it slides.",
        remedy=f"Set {90 - incline.wanted_deg:g}° and lay the part on its other side, or use an angle block.",
        source="common practice, no source",
    )


def _targets(stage: Stage, slope: Body, cut: Cut, part: str) -> Iterator[Finding]:
    """Hold what the angles may be off against the tolerance of each face that a cut makes."""
    setup = stage.setup
    body = setup.body(part)
    for face in (cut.floor, cut.wall):
        for index in body.face_indices(face) if face is not None else ():
            drawn = faces_of(stage.placed[part])[index]
            normal = np.asarray(normal_in_middle(drawn))
            error_um = max(_over_face_um(drawn, across) for across in _turned_by(slope, normal))
            if error_um > 0.0:
                # A face square to the hinge turns in itself.
                place = (np.asarray(centroid_of(drawn)), normal)
                yield _target(setup, slope, (cut, FaceRef.of(part, str(face))), error_um, place)


def _turned_by(slope: Body, normal: Floats) -> Iterator[Floats]:
    """Yield, for each way in which the hinges may be off together, the slope that a face gets, radians.

    A turn d about a hinge h moves the point r of a face with normal n by d (h x r).n = r.(n x d h) off it.
    """
    hinges = hinges_of(slope)
    most = [math.radians(i.most_arcsec / ARCSEC_PER_DEG) for i in slope.inclines]
    # All of them the other way round is the same slope downward.
    for signs in itertools.product((1.0, -1.0), repeat=len(most) - 1):
        yield np.cross(normal, np.array([1.0, *signs]) * most @ hinges)


def _over_face_um(drawn: Face, slope_rad: Floats) -> float:
    """Return how far a face goes out of its plane over its size, by a slope, um."""
    steep = float(np.linalg.norm(slope_rad))
    if steep < _NO_SLOPE:
        return 0.0
    low, high = extent_along(drawn, slope_rad / steep)
    return tilt_um(math.degrees(steep) * ARCSEC_PER_DEG, high - low)


_NO_SLOPE = 1e-12
_SHARES = {
    "by_miss": "a finer set of blocks",
    "by_stack": "blocks of a better grade",
    "by_distance": "a plate whose rolls are known better, or a longer one",
    "by_flatness": "a flatter plate on a cleaner surface, or an indicator along the slope",
}


def _target(setup: Setup, slope: Body, at: tuple[Cut, FaceRef], error_um: float, place: Place) -> Finding:
    """Judge one face."""
    (cut, ref), write = at, setup.write
    stated = setup.body(ref.body).zone_mm(ref.face)
    limit_mm = DEFAULT_MM if stated is None else stated
    who = slope.group or slope.name
    shares: dict[str, float] = {}
    for incline in slope.inclines:
        for name, arcsec in (
            ("by_miss", abs(incline.missed_arcsec)),
            ("by_stack", incline.by_stack_arcsec),
            ("by_distance", incline.by_distance_arcsec),
            ("by_flatness", incline.by_flatness_arcsec),
        ):
            shares[name] = shares.get(name, 0.0) + arcsec
    take = f"Take {_SHARES[max(shares, key=shares.__getitem__)]}: that is the largest share."
    if slope.inclines[-1].gauges_arcsec:
        take = "Take gauges that are known better, or set it by an indicator along the slope."
    elif slope.inclines[-1].stack is None:
        take = "Take a block whose angle is known better, or set it by an indicator along the slope."
    off = " and ".join(f'{i.most_arcsec:.1f}"' for i in slope.inclines)
    return judge(
        error_um,
        unit="um",
        at_most=limit_mm * 1e3,
        kind=Kind.SLOPE,
        about=(ref, slope.name),
        cut=cut.name,
        says=f"The slope of {who} may be {off} off, which is {write.gap(error_um)} over {ref}, with "
        f"{write.gap(limit_mm * 1e3)} allowed.",
        remedy=take,
        source=_SOURCE if stated is not None else f"{_SOURCE}; tolerance: common practice, no source",
        location_mm=to_vector(place[0]),
        direction=to_vector(place[1]),
    )
