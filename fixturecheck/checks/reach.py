"""Does wheel or cutter get to all that it should make, and take nothing else.

What: the part as ground (stock less the exact sweep) against the drawing: flange depth, stock left over,
gouges, the radius in the corner, the share of each target face that is made.
Why: a floor the wheel cannot reach, or a corner that keeps the wheel's radius, is found out at the machine
when the next part will not seat in it.
Formulas: the flange lets the wheel down by (D - flange) / 2. A wheel corner of radius r leaves L r^2 (1 -
pi/4) in a square corner of length L, and stands r (sqrt 2 - 1) off the sharp edge; between passes a step s
wider than the flat f leaves a ridge r - sqrt(r^2 - ((s - f) / 2)^2). All closed forms.
Limits: gouge and missed stock may be as thick as half the face's profile tolerance (the zone lies evenly
about the drawn face, ISO 1101 [@iso1101]), or the touch tolerance where none is stated; a face counts as made
at 99.9 % of what the wheel's corner leaves reachable (common practice, no source). A drawn fillet is the
largest radius that fits, so a sharper corner is go and says so; a sharp drawn corner always keeps the wheel's
radius, which is a caution unless the profile tolerance takes it up.
Go: floor 10 mm below a wall, wheel 178 mm with 75 mm flanges, corner drawn R 0.5 and wheel dressed to 0.2.
No-go: the same with a corner drawn R 0.1, or a floor 15 mm wide plunged with a 13 mm wheel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from fixturecheck.checks.stage import Stage
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.depth import proud_mm, thinner_mm
from fixturecheck.kernel.measure import box_of, centre_of
from fixturecheck.kernel.shapes import Shape
from fixturecheck.machining.as_ground import ridges_mm
from fixturecheck.machining.as_milled import MilledCut, below_floor_mm, whole_step_mm
from fixturecheck.machining.clearance import depth_beside_flange, flange_reach_mm, gouge_depth_mm
from fixturecheck.machining.cut import CornerMade, GroundCut, PartGround
from fixturecheck.machining.detours import larger_wheel, made_when_dressed, no_gouge, whole_floor
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, meets, not_computed
from fixturecheck.result.shapes import NamedShape, Role, Vector
from fixturecheck.setup.model import Cut, Setup
from fixturecheck.units import Writing, percent
from fixturecheck.wording.remedies import let_down_words, no_gouge_words, whole_words
from fixturecheck.wording.sentences import first_up

TITLE = "Floor, wall and corner as wheel or cutter makes them"

LEAST_SHARE = 0.999
_SAME_MM = 1e-6
_TOLERANCE = "half the profile tolerance of the face (ISO 1101), or the touch tolerance"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of each cut: flange depth, then each part's stock, gouge, corner and faces."""
    for cut in stage.cuts:
        yield _depth(stage.setup, cut)
        yield from _ridges(stage.setup, cut)
        for part in cut.parts:
            yield _missed(stage.setup, cut, part)
            yield _gouge(stage.setup, cut, part)
            if part.corner is not None:
                yield _corner(stage.setup, cut, part, part.corner)
            yield from _faces(cut, part)
    for run in stage.milled:
        for part in run.parts:
            yield _missed(stage.setup, run, part)
            yield _gouge(stage.setup, run, part)
            yield from _faces(run, part)


def _depth(setup: Setup, cut: GroundCut) -> Finding:
    """Hold the flange's reach against the depth of the floor."""
    wheel_mm, flange_mm = setup.wheel.diameter_mm, setup.machine.flange.diameter_mm
    reach_mm, name = flange_reach_mm(wheel_mm, flange_mm), cut.name
    try:
        deepest = depth_beside_flange(cut, reach_mm)
    except NotComputedError as reason:
        return not_computed(name, f"Flange depth: {reason}", cut=name, asks=Kind.FLANGE_DEPTH, unit="mm")
    depth_mm = deepest.depth_mm if deepest else 0.0
    write = setup.write
    says = f"Cut {name}: the wheel reaches {write.length(reach_mm)} past its flanges. "
    if deepest is None:
        says += "Nothing stands under the flanges."
    else:
        says += f"The floor lies {write.length(depth_mm)} below the top of {deepest.body} under the flanges."
    remedy = None
    if deepest and not meets(reach_mm, at_least=depth_mm):
        changes = larger_wheel(setup, cut, depth_mm, deepest.body)
        remedy = let_down_words(changes, setup.machine.least_clearance_mm, write)
    return judge(
        reach_mm,
        unit="mm",
        at_least=depth_mm,
        kind=Kind.FLANGE_DEPTH,
        cut=name,
        says=says,
        remedy=remedy,
    )


def _ridges(setup: Setup, cut: GroundCut) -> Iterator[Finding]:
    """Judge a cross feed that is wider than the flat of the wheel."""
    write = setup.write
    for height_mm in ridges_mm(setup, cut):
        limit_mm = _limit_mm(setup, cut.cut.parts[0], cut.cut.floor)
        yield judge(
            height_mm * 1e3,
            unit="um",
            at_most=limit_mm * 1e3,
            verdict=Verdict.GO if height_mm <= limit_mm else Verdict.NO_GO,
            kind=Kind.RIDGES,
            cut=cut.name,
            says=f"A cross feed of {write.length(cut.cut.cross_feed_mm, 'g')} is wider than the wheel's flat "
            f"and leaves ridges {write.gap(height_mm * 1e3)} high on the floor of {cut.name}.",
            remedy="Feed no more than the width of the wheel's flat per pass.",
            source=_TOLERANCE,
        )


def _missed(setup: Setup, cut: GroundCut | MilledCut, part: PartGround) -> Finding:
    """Judge the stock that is left apart from the wheel's own corner."""
    name, write, tool, limit_mm = cut.name, setup.write, _tool(cut), _limit_of(setup, cut, part)
    ground = isinstance(cut, GroundCut)
    thick_mm = thinner_mm(part.missed) if ground else proud_mm(part.missed, part.target)
    good = meets(thick_mm, at_most=limit_mm)
    kept = write.volume(part.leftover_mm3)
    in_corner = (
        f" ({kept} stays in {'the corner' if ground else 'corners and ridges'})"
        if part.leftover_mm3 > 0
        else ""
    )
    says = f"Cut {name}: the {tool} takes all the stock of {part.body} that it can reach{in_corner}."
    if not good:
        says = f"Cut {name}: the {tool} leaves {write.volume(part.leftover_mm3)} of stock on {part.body}. "
        says += f"Outside the {tool}'s own corner it is up to {write.length(thick_mm)} thick."
    return judge(
        thick_mm,
        unit="mm",
        at_most=limit_mm,
        kind=Kind.STOCK_LEFT,
        about=(part.body,),
        cut=name,
        says=says,
        remedy=None if good else _whole(setup, cut, part),
        source=_TOLERANCE,
        shapes=() if good else _shapes(Role.LEFTOVER, cut, part, part.leftover),
        location_mm=None if good else _place(part.missed),
        direction=None if good else (0.0, 0.0, -1.0),
    )


def _gouge(setup: Setup, cut: GroundCut | MilledCut, part: PartGround) -> Finding:
    """Judge what the wheel takes below the drawing, the drawn fillet apart."""
    name, write, tool, limit_mm = cut.name, setup.write, _tool(cut), _limit_of(setup, cut, part)
    deep_mm = gouge_depth_mm(part, limit_mm)
    good = meets(deep_mm, at_most=limit_mm)
    says = f"Cut {name}: the {tool} does not gouge {part.body}."
    if not good:
        says = f"Cut {name}: the {tool} gouges {part.body} up to {write.length(deep_mm)} deep. "
        says += f"It takes {write.volume(part.gouge_mm3)} that should stay."
    elif part.gouge is not None:
        says = (
            f"Cut {name}: the {tool} takes {write.volume(part.gouge_mm3)} of {part.body} below the drawing, "
        )
        says += "all of it "
        says += "in the fillet of the corner." if part.dug is None else "within tolerance."
    return judge(
        deep_mm,
        unit="mm",
        at_most=limit_mm,
        kind=Kind.GOUGE,
        about=(part.body,),
        cut=name,
        says=says,
        remedy=None if good else _no_gouge(setup, cut, part),
        source=_TOLERANCE,
        shapes=() if good else _shapes(Role.GOUGE, cut, part, part.dug),
        location_mm=None if good else _place(part.dug),
        direction=None if good else (0.0, 0.0, -1.0),
    )


def _corner(setup: Setup, cut: GroundCut, part: PartGround, corner: CornerMade) -> Finding:
    """Judge the radius left between floor and wall."""
    radius_mm, drawn_mm, where = corner.radius_mm, corner.drawn_mm, f"{part.body} in cut {cut.name}"
    verdict, remedy, source = Verdict.GO, None, "geometry of the solids"
    limit_mm, radius, drawn = drawn_mm, *(setup.write.length(r) for r in (radius_mm, drawn_mm))
    short = _short(cut.cut, corner)
    if any(corner.undercut_mm) and not short:
        says = f"The undercut of {where} clears the wheel's corner."
    elif any(corner.undercut_mm):
        verdict, remedy, limit_mm = (
            Verdict.CAUTION,
            _wider(setup, cut.cut, corner, short),
            min(short.values()),
        )
        says = f"The undercut of {where} is too small for the wheel's corner of {radius}: it goes "
        says += " and ".join(f"{_size(setup, mm)} into the {side}" for side, mm in short.items())
        says += ". Whatever seats there must clear what is left."
    elif corner.left is None and drawn_mm == 0:
        says = f"The corner of {where} comes out square: nothing is left in it."
    elif radius_mm <= drawn_mm + _SAME_MM:
        says = f"The corner of {where} comes out at R {radius}, within the drawn R {drawn}"
        sharper = radius_mm < drawn_mm - _SAME_MM
        says += f". Dress the wheel to R {drawn} if the radius itself matters." if sharper else "."
    elif drawn_mm > 0:
        verdict = Verdict.NO_GO
        remedy = f"{_dress(setup, drawn_mm)}." if made_when_dressed(setup, cut.cut, drawn_mm) else None
        says = f"The corner of {where} is drawn R {drawn} but comes out at R {radius}."
    else:
        allowed_mm = _limit_mm(setup, part.body, cut.cut.wall or cut.cut.floor, untold_mm=0.0)
        limit_mm, source = allowed_mm / (math.sqrt(2) - 1), "r (sqrt 2 - 1) within half the profile tolerance"
        says = f"The corner of {where} is drawn square but keeps the wheel's radius of {radius}. "
        if radius_mm <= limit_mm:
            says += "The tolerance allows that."
        else:
            verdict = Verdict.CAUTION
            says += "Whatever seats in it must clear that radius."
            remedy = _relieve(cut.cut, radius_mm, limit_mm, setup.write)
    return judge(
        radius_mm,
        unit="mm",
        at_most=limit_mm,
        verdict=verdict,
        kind=Kind.CORNER,
        about=(part.body,),
        cut=cut.name,
        says=says,
        remedy=remedy,
        source=source,
        shapes=() if verdict is Verdict.GO else _shapes(Role.LEFTOVER, cut, part, part.leftover),
        location_mm=None if verdict is Verdict.GO else _place(corner.left),
    )


def _short(cut: Cut, corner: CornerMade) -> dict[str, float]:
    """Return the ground faces in which an undercut is smaller than the corner of the wheel, with its size."""
    if corner.left is None:
        return {}
    sides = zip(("floor", "wall"), corner.undercut_mm, (cut.stock_mm, cut.wall_stock_mm), strict=True)
    return {side: mm for side, mm, stock in sides if stock > 0 and mm < corner.radius_mm - _SAME_MM}


def _size(setup: Setup, size_mm: float) -> str:
    return setup.write.length(size_mm, ".3g") if size_mm > 0 else "nothing"


def _wider(setup: Setup, cut: Cut, corner: CornerMade, short: Mapping[str, float]) -> str:
    """Say what an undercut lacks: a sharper wheel, or room in each face that is ground.

    An undercut in one face relieves a corner of which only that face is ground; where both are, it goes into
    both (forms E and F of DIN 509 [@din509], from memory).
    """
    sides = " and ".join(short)
    radius = setup.write.length(corner.radius_mm, ".3g", "up")
    wanted = f"carry the undercut at least {radius} into the {sides}"
    least_mm = min(short.values())
    if least_mm > 0 and made_when_dressed(setup, cut, least_mm):
        return f"{_dress(setup, least_mm)}, or {wanted}."
    return f"{first_up(wanted)}."


def _dress(setup: Setup, radius_mm: float) -> str:
    """Return what to dress the wheel's corner to, without a full stop."""
    return f"Dress the wheel's corner to {setup.write.length(radius_mm, '.3g', 'down')} or less"


def _relieve(cut: Cut, radius_mm: float, limit_mm: float, write: Writing) -> str:
    """Say what makes room for the wheel's corner in a square one: an undercut in each face that is ground."""
    sides = "floor and wall" if cut.wall_stock_mm > 0 and cut.stock_mm > 0 else "floor"
    sides = "wall" if cut.stock_mm <= 0 else sides
    relief = f"undercut the corner by at least {write.length(radius_mm, '.3g', 'up')} into the {sides}"
    if limit_mm > 0:
        return f"Dress the wheel's corner to {write.length(limit_mm, '.2g', 'down')} or less, or {relief}."
    return f"{first_up(relief)}, or state a profile tolerance that allows the radius."


def _faces(cut: GroundCut | MilledCut, part: PartGround) -> Iterator[Finding]:
    """Judge how much of each target face is made, of what the wheel's corner leaves reachable."""
    for face, kept in zip(part.faces, part.corner_shares, strict=True):
        reachable = 1.0 - kept
        share = face.share_made / reachable if reachable > 0 else 0.0
        says = f"Cut {cut.name} makes {percent(share, LEAST_SHARE)} of {face.face}"
        says += (
            f", apart from the {percent(kept)} that the {_tool(cut)}'s corner cannot reach."
            if kept > 1.0 - LEAST_SHARE
            else "."
        )
        yield judge(
            share,
            unit="share",
            at_least=LEAST_SHARE,
            kind=Kind.FACE_MADE,
            about=(face.face,),
            cut=cut.name,
            says=says,
            source="common practice, no source",
        )


def _tool(cut: GroundCut | MilledCut) -> str:
    return "wheel" if isinstance(cut, GroundCut) else "cutter"


def _limit_of(setup: Setup, cut: GroundCut | MilledCut, part: PartGround) -> float:
    """Return what stock or gouge a cut may leave: by its floor, of an end mill by the least of its faces."""
    faces = [cut.cut.floor] if isinstance(cut, GroundCut) else cut.run.makes
    return min(_limit_mm(setup, part.body, face) for face in faces)


def _whole(setup: Setup, cut: GroundCut | MilledCut, part: PartGround) -> str | None:
    """Say what would take all the stock."""
    if isinstance(cut, GroundCut):
        return whole_words(whole_floor(setup, cut), setup.write)
    step_mm = whole_step_mm(cut, part.body)
    if step_mm is not None:
        step = setup.write.length(step_mm, "g")
        return f"Step over by {step} at most: that leaves nothing between the rounds."
    low_mm = cut.lowest_mm(part.body)
    deeper_mm = 0.0 if part.missed is None else low_mm - box_of(part.missed)[2]
    if deeper_mm > _SAME_MM:
        low = setup.write.number(low_mm - deeper_mm, "mm", "g")
        return f"Set the tip {setup.write.length(deeper_mm, 'g')} lower, at z {low}."
    lacks_mm = 0.0 if part.missed is None else box_of(part.missed)[5] - low_mm - cut.run.flute_mm
    if cut.run.neck_radius_mm is not None and lacks_mm > _SAME_MM:
        lacks, high = setup.write.length(lacks_mm, "g"), setup.write.number(low_mm + lacks_mm, "mm", "g")
        whole = setup.write.length(cut.run.flute_mm + lacks_mm, "g")
        return f"Go over it once more with the tip {lacks} higher, at z {high}, or take flutes of {whole}."
    leave_mm = max(m.leave_mm for m in cut.run.moves)
    return "Take what is left on the walls off in a last run." if leave_mm > 0.0 else None


def _no_gouge(setup: Setup, cut: GroundCut | MilledCut, part: PartGround) -> str | None:
    """Say what would keep the tool out of the part."""
    if isinstance(cut, GroundCut):
        return no_gouge_words(no_gouge(setup, cut, part), setup.write)
    deep_mm = below_floor_mm(cut, part)
    if deep_mm <= 0.0:
        return None
    high = setup.write.number(cut.lowest_mm(part.body) + deep_mm, "mm", "g")
    return f"Keep the tip {setup.write.length(deep_mm, 'g')} higher, at z {high}."


def _limit_mm(setup: Setup, body_name: str, face: str, *, untold_mm: float | None = None) -> float:
    """Return half the profile tolerance of a face, or the touch tolerance where none is stated."""
    tolerance_mm = setup.body(body_name).zone_mm(face)
    if tolerance_mm is not None:
        return tolerance_mm / 2
    return setup.tolerances.touch_mm if untold_mm is None else untold_mm


def _shapes(
    role: Role, cut: GroundCut | MilledCut, part: PartGround, shape: Shape | None
) -> tuple[NamedShape, ...]:
    """Return the region under the name it has in the cut, so that it is drawn once."""
    if shape is None:
        return ()
    return (
        NamedShape(name=f"{role} {cut.name} {part.body}", role=role, geometry=shape, bodies=(part.body,)),
    )


def _place(shape: Shape | None) -> Vector | None:
    return None if shape is None else centre_of(shape)
