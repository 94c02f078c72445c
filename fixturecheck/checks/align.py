"""Are target floors level and target walls parallel to the traverse, and those of a gang in one line.

What: how far each target face runs out over its own length: the rise of a floor, the slant of a wall along
the traverse, its lean from upright; and how far the floors and walls of a gang lie off those of the first
part.
Why: the wheel grinds one height and one line. What is not level or parallel to it comes out as taper; a
part that stands higher than its neighbours is ground too deep.
Formulas: floor, the range of Z over the face; wall, length |n_x / n_y| and height |n_z / n_y| with its
normal n; angle from the normal; of what was set parallel within r over l, r L / l over the walls' length L.
Closed forms.
Limit: the face's profile tolerance where stated, else 5 um (common practice, no source).
Go: a floor of 80 mm that rises 2 um. No-go: the same floor on a chip, 20 um out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from fixturecheck.angles.incline import Incline, compound_settings_deg
from fixturecheck.arrays import Floats
from fixturecheck.checks.stage import Stage
from fixturecheck.kernel.place import matrix_of, rotation
from fixturecheck.machining.cut import GroundCut
from fixturecheck.machining.wheel_path import PartTargets, TargetFace, rim_of, targets_of
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, judge, meets
from fixturecheck.setup.dials import Squaring
from fixturecheck.setup.model import Body, Cut, Setup, together
from fixturecheck.units import Writing, angle_text
from fixturecheck.wording.settings import levelled_words

TITLE = "Floors level, walls parallel to the traverse"
DEFAULT_MM = 0.005
_NOISE_MM = 1e-7
"""Errors below the kernel's own precision count as zero."""
_DOWN = 0.5
"""A contact whose normal points down by more than this carries."""
_BY = {"indicator": "an indicator", "block": "a block against the column"}
_UNTOLD = "5 um unless stated; common practice, no source"


def slopes_of(stage: Stage) -> Iterator[tuple[Body, frozenset[str]]]:
    """Yield each body that makes a slope, and the bodies that lie on it.

    Parameters
    ----------
    stage : Stage
        The set-up worked out as far as geometry goes.

    Yields
    ------
    tuple of (Body, frozenset of str)
        The bodies on it by their names.
    """
    for body in stage.setup.bodies:
        if body.inclines:
            yield body, _carried_by(stage, body)


def hinges_of(slope: Body) -> Floats:
    """Return the hinges of a slope in the machine's frame, unit length, shape (n, 3), the lowest first.

    Parameters
    ----------
    slope : Body
        A body with inclines.

    Returns
    -------
    ndarray, shape (n, 3)
    """
    turn = matrix_of(slope.at)[:3, :3]
    return np.array([turn @ np.asarray(incline.hinge) for incline in slope.inclines])


def levelling_deg(slope: Body, normal: Sequence[float]) -> tuple[float, float]:
    """Return the angles that bring a face on a slope level, degrees.

    Parameters
    ----------
    slope : Body
        A sine plate or angle block, as it stands.
    normal : sequence of float, shape (3,)
        The way the face looks where the slope stands now, in the machine's frame.

    Returns
    -------
    tuple of float
        Of the lower hinge, and of the upper; of one that the slope does not have, what would be needed of a
        hinge across that rises toward +X.

    Notes
    -----
    Closed form: the slope's own turns are undone, the last first, which gives the way the face looks while
    the plates lie flat; from there as `compound_settings_deg`.
    """
    flat = matrix_of(slope.at)[:3, :3].T @ np.asarray(normal, float)
    for incline in reversed(slope.inclines):
        flat = _turn(incline).T @ flat
    about_x, about_y = compound_settings_deg(to_vector(flat))
    if len(slope.inclines) == 1:
        return about_x, -about_y
    first, second = slope.inclines
    # With the lower plate flat, the upper hinge lies along Y one way or the other.
    return about_x, about_y * float((_turn(first).T @ np.asarray(second.hinge))[1])


def _turn(incline: Incline) -> Floats:
    return matrix_of(rotation(incline.hinge, incline.reached_deg))[:3, :3]


def _carried_by(stage: Stage, slope: Body) -> frozenset[str]:
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


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of every part of every cut, then of the gang."""
    write = stage.setup.write
    for cut in stage.cuts:
        parts = targets_of(stage.setup, cut.cut)
        for part in parts:
            yield _floor(stage, cut.cut, part)
            if part.wall is not None:
                yield from _wall(cut.cut, part, part.wall, write)
        if len(parts) > 1:
            yield from _gang(stage, cut.cut, parts)
        for square in stage.setup.squared:
            yield from _squared(stage.setup, cut, parts, square)


def _floor(stage: Stage, cut: Cut, part: PartTargets) -> Finding:
    """Judge how far a floor is from level."""
    write = stage.setup.write
    x0, y0, z0, x1, y1, z1 = part.floor.box
    nx, ny, nz = part.floor.normal
    along_mm, across_mm = (x1 - x0) * -nx / nz, (y1 - y0) * -ny / nz
    says = f"The floor of {part.body.name} in {cut.name} is level"
    remedy = None
    if z1 - z0 > _NOISE_MM:
        out, along, across = (write.gap(v * 1e3) for v in (z1 - z0, along_mm, across_mm))
        says = f"The floor of {part.body.name} in {cut.name} is {out} out of level over its size: "
        says += f"{along} toward +X over {write.length(x1 - x0)}, "
        says += f"{across} toward +Y over {write.length(y1 - y0)}"
        lows = [
            f"its {_low(v, axis)} by {write.gap(abs(v) * 1e3)}"
            for v, axis in ((along_mm, "X"), (across_mm, "Y"))
            if abs(v) > _NOISE_MM
        ]
        remedy = _set_level(stage, part) or f"Raise {' and '.join(lows)}."
    angle_deg = math.degrees(math.atan2(math.hypot(nx, ny), nz))
    return _finding(Kind.FLOOR_LEVEL, cut, part, part.floor, z1 - z0, angle_deg, (says, remedy), write)


def _set_level(stage: Stage, part: PartTargets) -> str | None:
    """Return how the slope under a part is set for its floor to be level; None where it lies on none."""
    for slope, riders in slopes_of(stage):
        if part.body.name in riders and part.floor.normal[2] > 0.0:
            needed_deg = levelling_deg(slope, part.floor.normal)
            return levelled_words(slope.group or slope.name, slope.inclines, needed_deg)
    return None


def _wall(cut: Cut, part: PartTargets, wall: TargetFace, write: Writing) -> Iterator[Finding]:
    """Judge how far a wall is from the traverse, and from upright."""
    x0, _, z0, x1, _, z1 = wall.box
    nx, ny, nz = wall.normal
    name = part.body.name
    slant_mm, lean_mm = (x1 - x0) * abs(nx / ny), (z1 - z0) * abs(nz / ny)
    says = f"The wall of {name} in {cut.name} is parallel to the traverse"
    remedy = None
    if slant_mm > _NOISE_MM:
        over = f"{write.gap(slant_mm * 1e3)} over {write.length(x1 - x0)}"
        says = f"The wall of {name} in {cut.name} runs out {over} of traverse"
        round_z = "counter-clockwise" if nx * ny > 0 else "clockwise"
        remedy = f"Swing {name} {round_z} seen from above by {over}, indicating along the wall."
    turn_deg = math.degrees(math.atan2(abs(nx), abs(ny)))
    yield _finding(Kind.WALL_ALONG, cut, part, wall, slant_mm, turn_deg, (says, remedy), write)
    says, remedy = f"The wall of {name} in {cut.name} is upright", None
    if lean_mm > _NOISE_MM:
        over = f"{write.gap(lean_mm * 1e3)} over {write.length(z1 - z0)}"
        says = f"The wall of {name} in {cut.name} leans {over} of height"
        remedy = f"Tip the top of {name} toward {'+' if nz * ny > 0 else '-'}Y by {over}."
    tip_deg = math.degrees(math.atan2(abs(nz), abs(ny)))
    yield _finding(Kind.WALL_UPRIGHT, cut, part, wall, lean_mm, tip_deg, (says, remedy), write)


def _gang(stage: Stage, cut: Cut, parts: list[PartTargets]) -> Iterator[Finding]:
    """Judge the floors and walls of a gang against those of the first part, where the dials are set."""
    first, write = parts[0], stage.setup.write
    for part in parts[1:]:
        up_mm = part.floor.centre[2] - first.floor.centre[2]
        up = write.gap(abs(up_mm) * 1e3)
        says = f"The floor of {part.body.name} is as high as that of {first.body.name} in {cut.name}"
        if abs(up_mm) > _NOISE_MM:
            how = (
                "higher, so it is ground that much too deep"
                if up_mm > 0
                else "lower, so that much stock stays"
            )
            says = f"The floor of {part.body.name} lies {up} {how} in {cut.name}"
        move = f"{'Lower' if up_mm > 0 else 'Raise'} {part.body.name} by {up}."
        if up_mm > 0 and _is_carried(stage, part.body.name):
            # It lies on what carries it and cannot go down.
            move = f"Pack the others up by {up}, or grind {part.body.name} in a cut of its own."
        yield _finding(Kind.GANG_HEIGHT, cut, part, part.floor, abs(up_mm), None, (says, move), write)
        if part.wall is None or first.wall is None:
            continue
        off_mm = part.wall.centre[1] - first.wall.centre[1]
        off = write.gap(abs(off_mm) * 1e3)
        says = f"The wall of {part.body.name} stands in line with that of {first.body.name} in {cut.name}"
        if abs(off_mm) > _NOISE_MM:
            says = f"The wall of {part.body.name} stands {off} out of line with that of "
            says += f"{first.body.name} in {cut.name}"
        move = f"Move {part.body.name} by {off} toward {'-' if off_mm > 0 else '+'}Y."
        yield _finding(Kind.GANG_LINE, cut, part, part.wall, abs(off_mm), None, (says, move), write)


def _squared(
    setup: Setup, ground: GroundCut, parts: list[PartTargets], square: Squaring
) -> Iterator[Finding]:
    """Judge what a body that is not quite parallel to the travel does to a cut.

    A wheel that goes into a corner copies the run-out into the walls, over all the gang. A flat that is
    traversed does not see it: the floor only has to be covered on the slant.
    """
    standing = [p for p in parts if square.body in _carriers(setup, p.body.name)]
    if not standing:
        return
    walls = [p.wall for p in standing if p.wall is not None]
    faces = walls or [p.floor for p in standing]
    length_mm = max(f.box[3] for f in faces) - min(f.box[0] for f in faces)
    write, cut = setup.write, ground.cut
    error_mm = slant_mm(square.runout_mm, square.over_mm, length_mm)
    if walls:
        zones = [z for p in standing if (z := p.body.zone_mm(p.wall.name.face if p.wall else "")) is not None]
        limit_mm = min(zones, default=DEFAULT_MM)
        source = "profile tolerance of the face" if zones else _UNTOLD
        what = f"slants the walls of {cut.name} by {write.gap(error_mm * 1e3)} over {write.length(length_mm)}"
    else:
        limit_mm = _spare_mm(setup, ground, parts)
        source = "how far the wheel's flat goes past the floor at the ends of its feed"
        what = (
            f"does not matter to {cut.name}, whose floor is traversed flat: it is covered on a slant of "
            f"{write.gap(error_mm * 1e3)} over {write.length(length_mm)}"
        )
        if limit_mm < 0:
            # The floor is not covered as it stands, which `reach` tells.
            return
    may_mm = allowed_runout_mm(limit_mm, square.over_mm, length_mm)
    runs, may = write.gap(square.runout_mm * 1e3), write.gap(may_mm * 1e3)
    over = write.length(square.over_mm, "g")
    yield judge(
        error_mm * 1e3,
        unit="um",
        at_most=limit_mm * 1e3,
        kind=Kind.SQUARED,
        about=(square.body,),
        cut=cut.name,
        says=f"{square.body}, set parallel by {_BY[square.by]} within {runs} over {over}, {what}. It may run "
        f"out {may} over {over}.",
        remedy=f"Set {square.body} parallel to the travel within {may} over {over}.",
        source=source,
    )


def _carriers(setup: Setup, part: str) -> set[str]:
    """Return what a part stands on or against, directly or through others, and their groups."""
    found, new = {part}, {part}
    while new:
        new = {s.on for s in setup.seats if s.body in new} - found
        found |= new
    return found | {g for n in found if (g := setup.body(n).group) is not None}


def _spare_mm(setup: Setup, ground: GroundCut, parts: list[PartTargets]) -> float:
    """Return how far the wheel's flat goes past the floors at either end of its feed, the lesser of both."""
    rim, path = rim_of(setup), ground.path
    low = min(p.floor.box[1] for p in parts) - (path.y_from_mm + rim.flat_from_mm)
    high = path.y_to_mm + rim.flat_to_mm - max(p.floor.box[4] for p in parts)
    return min(low, high)


def _is_carried(stage: Stage, part: str) -> bool:
    """Tell whether something that touches a part from below keeps it from being lowered."""
    return any(
        patch.outward(part)[2] < -_DOWN
        for patch in stage.contacts.patches
        if patch.contact.kind != ContactKind.NEAR and part in patch.bodies
    )


def _finding(
    kind: Kind,
    cut: Cut,
    part: PartTargets,
    target: TargetFace,
    error_mm: float,
    angle_deg: float | None,
    words: tuple[str, str | None],
    write: Writing,
) -> Finding:
    """Hold one error against the tolerance of its face; `words` say it and how to cure it."""
    says, remedy = words
    stated = part.body.zone_mm(target.name.face)
    limit_mm = DEFAULT_MM if stated is None else stated
    error_mm = error_mm if error_mm > _NOISE_MM else 0.0
    good = meets(error_mm, at_most=limit_mm)
    turned = f" ({angle_text(angle_deg)})" if angle_deg is not None and error_mm > 0 else ""
    return judge(
        error_mm * 1e3,
        unit="um",
        at_most=limit_mm * 1e3,
        kind=kind,
        about=(target.name,),
        cut=cut.name,
        says=f"{says}{turned}.",
        remedy=remedy,
        source=f"{write.gap(DEFAULT_MM * 1e3)} unless stated; common practice, no source"
        if stated is None
        else "profile tolerance of the face",
        location_mm=target.centre,
        direction=None if good else target.normal,
    )


def _low(rise_mm: float, axis: str) -> str:
    return f"{'-' if rise_mm >= 0 else '+'}{axis} end"


def slant_mm(runout_mm: float, over_mm: float, length_mm: float) -> float:
    """Return how far a line runs out over a length, from what it runs out over another.

    Parameters
    ----------
    runout_mm, over_mm : float
        How far it runs out, and over what.
    length_mm : float
        The other length.

    Returns
    -------
    float

    References
    ----------
    Similar triangles, closed form.
    """
    return runout_mm / over_mm * length_mm


def allowed_runout_mm(limit_mm: float, over_mm: float, length_mm: float) -> float:
    """Return how far a body may run out over a length so that a face keeps its limit over its own.

    Parameters
    ----------
    limit_mm, length_mm : float
        What the face may be out, over its own length.
    over_mm : float
        The length over which the body is measured.

    Returns
    -------
    float

    References
    ----------
    Similar triangles, closed form.
    """
    return limit_mm * over_mm / length_mm
