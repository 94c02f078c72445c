"""Where a part goes once it has let go: into the wheel or away from it, and what it runs into first.

The wheel stands where the case puts it, at the height of the last pass. The part is taken as that pass
leaves it: what the wheel takes beyond that, while the part follows its motion, is a bite. The stock of the
pass itself is no bite, however fast the part is drawn under the wheel.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.holding.factor import SAME_SHARE
from fixturecheck.holding.model import Borne, LoadCase, PartHold, Way, Ways
from fixturecheck.kernel.boolean import apart, clipped, shared_mm3
from fixturecheck.kernel.measure import box_gap_mm, loose_box
from fixturecheck.kernel.place import shifted, transformed
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.machining.cut import GroundCut, Sweeps, rim_of, sweeps_of
from fixturecheck.machining.grinding import Stroke
from fixturecheck.result.hold import MotionKind, Outcome
from fixturecheck.setup.model import Setup
from fixturecheck.statics.collapse import Collapse
from fixturecheck.statics.mechanism import Crash, StartingMotion, follow_overlap
from fixturecheck.units import factor_text

TRAVEL_MM = 2.0
"""How far a freed part is followed into the wheel: by then it has been thrown or the wheel has broken."""
FAR_MM = 30.0
"""How far it is followed to whatever it runs into."""
GIVE_MM = 0.005
"""A rise that the springs of the contacts make when they are relieved, and no bite."""
_SAMPLES = 5
_STANDS_CLEAR = Crash(outcome=Outcome.STAYS, moved_mm=(0.0, TRAVEL_MM), overlap_mm3=(0.0, 0.0), first_mm=None)
NEAR_MM = 0.01
"""How close what moves and what stands have met."""
_MOST_STEPS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GrindingScene:
    """Everything that stands there while one cut is made.

    Parameters
    ----------
    setup : Setup
        The set-up.
    ground : GroundCut
        The cut.
    standing : mapping of str to Shape
        Every body; the parts of the cut as it leaves them.
    """

    setup: Setup
    ground: GroundCut
    standing: Mapping[str, Shape]

    def wheel_at(self, case: LoadCase) -> Sweeps:
        """Return wheel, flanges and guard where a case puts them."""
        rim, path = rim_of(self.setup), self.ground.path
        flat_mm = (rim.flat_from_mm + rim.flat_to_mm) / 2
        y_mm = min(max(case.at_mm[1] - flat_mm, path.y_from_mm), path.y_to_mm)
        x_mm = case.at_mm[0]
        still = replace(path, x_from_mm=x_mm, x_to_mm=x_mm, y_from_mm=y_mm, y_to_mm=y_mm)
        return sweeps_of(self.setup.machine, rim, still)


def scene_of(setup: Setup, placed: Mapping[str, Solid], ground: GroundCut) -> GrindingScene:
    """Return what stands there in a cut."""
    after = {p.body: p.ground for p in ground.parts}
    return GrindingScene(setup=setup, ground=ground, standing={n: after.get(n, s) for n, s in placed.items()})


Settle = Callable[[Borne], Borne]
"""Loads a case again in cells so small that smaller ones do not change its factor."""


def ways_of(
    scene: GrindingScene, part: PartHold, borne: Sequence[Borne], least_factor: float, *, settle: Settle
) -> Ways:
    """Follow a part in the cases whose factor is below the least, and in the worst of each stroke.

    The case borne least comes first; once one digs in, those that are borne better change no verdict and are
    not followed.

    Parameters
    ----------
    part : PartHold
        How it holds; its losses are followed too.
    borne : sequence of Borne
        Every case loaded until it lets go.
    least_factor : float
        Factor that the set-up states.
    settle : callable
        Makes the factor of a case that is followed as sure as that of the hold.
    """
    first = list({b.case.stroke: b for b in reversed(borne)}.values())
    cases = [b for b in borne if b in first or may_let_go(b, least_factor)]
    if part.factors.factor.low < borne[0].low_factor * (1.0 - 1e-6):
        # Some corner of the inputs is worse than the one that every case was loaded at.
        cases.insert(0, replace(borne[0], case=part.case, collapse=part.factors.worst, settled=True))
        first = [cases[0], *first]

    def followed(some: Sequence[Borne], lost: str = "") -> list[Way]:
        """Follow cases one after the other, down to the first that digs in."""
        found: list[Way] = []
        for one in some:
            try:
                sure = settle(one)
            except NotComputedError as reason:
                found.append(unsettled(one, lost, reason))
                continue
            if one not in first and sure.low_factor >= least_factor:
                continue
            way = _way(scene, part.part, sure.case, sure.collapse, lost)
            found += [way] if way is not None else []
            if way is not None and way.digs_in:
                break
        return sorted(found, key=by_harm)

    lost = [
        way
        for loss in part.losses
        for way in followed([b for b in loss.borne if may_let_go(b, least_factor)], loss.lost)[:1]
    ]
    return Ways(found=tuple(followed(cases)), lost=tuple(sorted(lost, key=by_harm)))


def may_let_go(one: Borne, least_factor: float) -> bool:
    """Say whether a case may be borne less than the least; in coarse cells it may come out a trifle high."""
    return one.low_factor * (1.0 - SAME_SHARE) < least_factor


def by_harm(way: Way) -> tuple[bool, bool, float]:
    """Sort ways: those that dig in first, then those not known, the lowest factor first among each."""
    return not way.digs_in, way.crash is not None, way.factor


def _way(scene: GrindingScene, part: str, case: LoadCase, found: Collapse, lost: str) -> Way | None:
    """Follow one collapse; None where it stopped at the ceiling and nothing goes."""
    if found.at_least:
        return None
    if not found.motions:
        return still(case, found, lost)
    mine = next((m for m in found.motions if m.body == part), found.motions[0])
    way = Way(case=case, factor=found.factor.low, lost=lost, motion=mine, crash=None)
    try:
        wheel = scene.wheel_at(case)
        crash, bites = _into_the_wheel(scene, found.motions, wheel.wheel, mine)
        hits, after_mm = first_hit(scene, mine, {m.body for m in found.motions}, wheel)
        if crash.outcome is not Outcome.DIGS_IN and mine.kind is MotionKind.SLIDES:
            crash, bites = _further_on(scene, mine, wheel.wheel, after_mm or FAR_MM, crash)
    except (NotComputedError, KernelError) as reason:
        return replace(way, reason=str(reason))
    return replace(
        way,
        crash=crash,
        bites=bites,
        drawn_in=isinstance(case.stroke, Stroke) and mine.velocity[0] * case.stroke.travel > 0.5,
        hits=hits,
        hits_after_mm=after_mm,
    )


def still(case: LoadCase, found: Collapse, lost: str) -> Way:
    """Return the way of a part that lets go though no motion was found: where it goes is unknown."""
    reason = f"no motion was found at {factor_text(found.factor.low)} times the cutting load"
    return Way(case=case, factor=found.factor.low, lost=lost, motion=None, crash=None, reason=reason)


def unsettled(one: Borne, lost: str, reason: NotComputedError) -> Way:
    """Return the way of a part whose factor is not known: nor is where it goes."""
    return Way(case=one.case, factor=one.low_factor, lost=lost, motion=None, crash=None, reason=str(reason))


def _into_the_wheel(
    scene: GrindingScene, motions: Sequence[StartingMotion], wheel: Shape, mine: StartingMotion
) -> tuple[Crash, str | None]:
    """Follow every body that moves; the first that the wheel bites into decides, else the part's own way."""
    for motion in motions:
        crash = follow_into(scene, motion, wheel)
        if crash.outcome is Outcome.DIGS_IN:
            return crash, motion.body
    return follow_away(scene, mine, wheel), None


def _further_on(
    scene: GrindingScene, motion: StartingMotion, wheel: Shape, reach_mm: float, near: Crash
) -> tuple[Crash, str | None]:
    """Follow a slide on, level as it lies, to what it runs into: a shoulder of its own may meet the wheel."""
    vx, vy, _ = motion.velocity
    if reach_mm <= TRAVEL_MM or math.hypot(vx, vy) == 0.0:
        return near, None
    level = replace(motion, velocity=(vx, vy, 0.0), rotation_rad_mm=(0.0, 0.0, 0.0))
    crash = follow_into(scene, level, wheel, travel_mm=reach_mm)
    return (crash, motion.body) if crash.outcome is Outcome.DIGS_IN else (near, None)


def follow_into(
    scene: GrindingScene, motion: StartingMotion, wheel: Shape, *, travel_mm: float = TRAVEL_MM
) -> Crash:
    """Say whether the wheel bites into a body beyond what its pass takes."""
    shape = scene.standing[motion.body]
    what = f"{motion.body} on its way and the wheel"
    near = _near(wheel, shape, travel_mm)
    if near is None:
        return _STANDS_CLEAR
    # Off the wall that the wheel grinds.
    side_mm = -GIVE_MM * scene.ground.path.wall_sign
    give_mm3 = shared_mm3(shifted(shape, (0.0, side_mm, GIVE_MM)), near, what)
    return follow_overlap(
        lambda t: shared_mm3(_after(shape, motion, t), near, what),
        travel_mm=travel_mm,
        noise_mm3=give_mm3 + 1e-6,
        samples=_SAMPLES,
    )


def follow_away(scene: GrindingScene, motion: StartingMotion, wheel: Shape) -> Crash:
    """Say whether a body that the wheel does not bite into stays under it or falls away.

    Read on what the wheel takes of the pass: it is lowered by the downfeed.
    """
    shape = scene.standing[motion.body]
    what = f"the stock of {motion.body} on its way and the wheel"
    near = _near(wheel, shape, TRAVEL_MM)
    if near is None:
        return _STANDS_CLEAR
    lowered = shifted(near, (0.0, 0.0, -scene.ground.cut.downfeed_mm))
    crash = follow_overlap(
        lambda t: shared_mm3(_after(shape, motion, t), lowered, what),
        travel_mm=TRAVEL_MM,
        samples=_SAMPLES,
    )
    # More of the same layer is the pass itself, at the depth that was set.
    stays = crash.outcome is Outcome.DIGS_IN
    return replace(crash, outcome=Outcome.STAYS, first_mm=None) if stays else crash


def _near(wheel: Shape, shape: Shape, travel_mm: float) -> Shape | None:
    """Return what of the wheel a body can reach on its way; booleans with less of it cost less."""
    x0, y0, z0, x1, y1, z1 = loose_box(shape)
    far = 1.5 * travel_mm
    reach = (x0 - far, y0 - far, z0 - far, x1 + far, y1 + far, z1 + far)
    return clipped(wheel, reach, "the wheel by the reach of a body")


def _after(shape: Shape, motion: StartingMotion, moved_mm: float) -> Shape:
    turn, shift = motion.pose_after(moved_mm)
    return transformed(shape, turn, shift)


def first_hit(
    scene: GrindingScene, motion: StartingMotion, moving: set[str], wheel: Sweeps
) -> tuple[str | None, float | None]:
    """Return what a freed body runs into first, and how far it has moved by then.

    What it touches from the start, or what moves with it, is nothing that it runs into.

    Raises
    ------
    NotComputedError
        The kernel gave no distance.
    """
    others: dict[str, Shape] = {n: s for n, s in scene.standing.items() if n not in moving}
    others["the flange"] = wheel.flange
    if wheel.guard is not None:
        others["the guard"] = wheel.guard
    return first_met(scene.standing[motion.body], motion, others)


def first_met(
    shape: Shape, motion: StartingMotion, others: Mapping[str, Shape]
) -> tuple[str | None, float | None]:
    """Return which of others a body that moves meets first, and how far it has moved by then.

    What it touches from the start is nothing that it meets.

    Raises
    ------
    NotComputedError
        The kernel gave no distance.
    """
    speed = _fastest(shape, motion)
    best: tuple[str | None, float | None] = (None, None)
    reach_mm = FAR_MM
    for name in sorted(others, key=lambda n: (box_gap_mm(loose_box(others[n]), loose_box(shape)), n)):
        after_mm = _meets(shape, motion, others[name], speed, reach_mm)
        if after_mm is not None:
            best, reach_mm = (name, after_mm), after_mm
    return best


def _fastest(shape: Shape, motion: StartingMotion) -> float:
    """Return a bound on the speed of any point of a shape, per mm of its motion."""
    box = loose_box(shape)
    arm_mm = max(
        math.dist((x, y, z), motion.at_mm)
        for x in (box[0], box[3])
        for y in (box[1], box[4])
        for z in (box[2], box[5])
    )
    return math.hypot(*motion.velocity) + math.hypot(*motion.rotation_rad_mm) * arm_mm


def _meets(shape: Shape, motion: StartingMotion, other: Shape, speed: float, reach_mm: float) -> float | None:
    """Return how far a body moves until it meets another; None within reach, or where they touch already.

    It is moved on by what surely keeps it clear: its distance over its greatest speed.
    """
    box, after_mm = loose_box(other), 0.0
    for step in range(_MOST_STEPS):
        now = _after(shape, motion, after_mm)
        gap_mm = box_gap_mm(loose_box(now), box)
        if gap_mm <= 1.0:
            how = apart(other, now, f"{motion.body} on its way and what it meets")
            gap_mm = how.distance_mm if how is not None else gap_mm
        if gap_mm <= NEAR_MM:
            return after_mm if step > 0 else None
        after_mm += gap_mm / speed
        if after_mm >= reach_mm:
            return None
    return None
