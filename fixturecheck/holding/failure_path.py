"""Where a part goes once it has let go: away from the tool or into it, what it meets, and what stops it.

The part follows the motion that it starts with, the tool standing where it did, up to what stands in its way.
What stops it holds it only where it touches: the part is loaded again with that added.

To see whether that stops it, the part is pressed a little into what it meets. Of what the two then share,
what is thick enough stops it: the outermost points of that piece carry, along its thinnest direction, and
without friction.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.holding.factor import SAME_SHARE, Loaded, settled
from fixturecheck.holding.model import Borne, LoadCase, PartHold, Way, Ways
from fixturecheck.holding.process import FAR_MM, NEAR_MM, TRAVEL_MM, Bite, FreedScene
from fixturecheck.hull import farthest_out
from fixturecheck.kernel.boolean import apart
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.measure import box_gap_mm, distance, loose_box
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.sample import points_all_over
from fixturecheck.kernel.shapes import Shape
from fixturecheck.machining.bite import Bitten
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import Loss, MotionKind, Outcome
from fixturecheck.statics.collapse import Collapse, collapse
from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem
from fixturecheck.statics.mechanism import StartingMotion
from fixturecheck.units import factor_text

_PRESSED_MM, _BLUNT_SHARE = 0.1, 0.5
"""How far a part is pressed into what it meets, and what share of that the two must then lie in each other
whichever way they are measured: what it slips past by a smaller step aside does not stop it."""
_WAYS, _OUTERMOST = 400, 16
_SAME_MM, _SAME_COSINE = 1.0, 0.95
"""How far beside one touch another may lie and be the same, and how far their directions may differ."""
_MARGIN = 1.15
"""How far what sorts the loads may be off the factor, with some to spare."""
_MOST_STOPS = 4
"""Things that a part comes up against one after the other, up to which it is followed."""
_MOST_STEPS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StopContact:
    """Where a body bears on what stops it; n points.

    Parameters
    ----------
    body, other : str
        What moves, and what stops it.
    at_mm, normals : ndarray, shape (n, 3)
        Outermost points, and the way out of the body there.
    moved_mm : float
        How far the body has moved there.
    """

    body: str
    other: str
    at_mm: Floats
    normals: Floats
    moved_mm: float

    def contacts(self, problem: EquilibriumProblem) -> tuple[ContactPoint, ...]:
        """Return the points as contacts of a problem, in which the body stands where it began to move.

        Raises
        ------
        NotComputedError
            It has moved so far that what holds it no longer stands as it did.
        """
        if self.moved_mm > TRAVEL_MM:
            raise NotComputedError(
                f"{self.body} bears on {self.other} only after {self.moved_mm:.2g} mm, and what holds it is "
                f"known up to {TRAVEL_MM:g} mm from where it stands"
            )
        movable = any(b.name == self.other for b in problem.bodies)
        return tuple(
            ContactPoint(
                a=self.body,
                b=self.other if movable else "",
                at_mm=to_vector(at),
                normal=to_vector(normal),
                mu=0.0,
                label=f"{self.other}, which {self.body} comes up against",
            )
            for at, normal in zip(self.at_mm, self.normals, strict=True)
        )

    def is_among(self, known: Sequence[StopContact]) -> bool:
        """Say whether it repeats a known one: no farther out, and facing the same way."""
        return any(self._is_within(k) for k in known if (k.body, k.other) == (self.body, self.other))

    def _is_within(self, known: StopContact) -> bool:
        alike = bool(((self.normals @ known.normals.T).max(axis=1) >= _SAME_COSINE).all())
        ways = np.concatenate((_ways(), -_ways()))
        out = (self.at_mm @ ways.T).max(axis=0) <= (known.at_mm @ ways.T).max(axis=0) + _SAME_MM
        return alike and bool(out.all())


def touch_of(
    shape: Shape, motion: StartingMotion, name: str, other: Shape, after_mm: float
) -> StopContact | None:
    """Return where what a body meets stands in its way; None where it is only grazed.

    Parameters
    ----------
    shape : Shape
        The body where it stands at first.
    motion : StartingMotion
        How it moves.
    name : str
        Of what it meets.
    other : Shape
        What it meets, where that stands.
    after_mm : float
        How far the body has moved when the two all but meet.

    Returns
    -------
    StopContact or None
        Where the two bear on each other, once the body is pressed a trifle into the other.

    Raises
    ------
    NotComputedError
        The kernel gave no distance or no common volume.
    """
    what = f"{motion.body} on its way and what it meets"
    met = apart(other, transformed(shape, *motion.pose_after(after_mm)), what)
    speed = math.hypot(*motion.velocity_at(met.on_b)) if met is not None else 0.0
    if speed * FAR_MM <= _PRESSED_MM:
        return None
    moved_mm = after_mm + _PRESSED_MM / speed
    pressed = apart(other, transformed(shape, *motion.pose_after(moved_mm)), what)
    if pressed is None or pressed.common is None:
        return None
    least_mm = _BLUNT_SHARE * (_PRESSED_MM - NEAR_MM)
    found = []
    for piece in solids_of(pressed.common):
        points = points_all_over(piece)
        wide_mm, normal = _narrowest(points)
        if wide_mm >= least_mm:
            found.append(_outermost(points, normal, motion))
    if not found:
        return None
    at_mm, normals = (np.concatenate(rows) for rows in zip(*found, strict=True))
    return StopContact(body=motion.body, other=name, at_mm=at_mm, normals=normals, moved_mm=moved_mm)


def _ways() -> Floats:
    """Return directions spread evenly over half of them all, and the axes."""
    up = (np.arange(_WAYS) + 0.5) / _WAYS
    turn = math.pi * (1.0 + math.sqrt(5.0)) * np.arange(_WAYS)
    level = np.sqrt(1.0 - up**2)
    return np.concatenate((np.stack((np.cos(turn) * level, np.sin(turn) * level, up), axis=1), np.eye(3)))


def _narrowest(points: Floats) -> tuple[float, Floats]:
    """Return the least width of points and its direction, of directions spread evenly and their own."""
    own: Floats = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
    ways = np.concatenate((own, _ways()))
    wide_mm = np.ptp(points @ ways.T, axis=0)
    least = int(np.argmin(wide_mm))
    return float(wide_mm[least]), ways[least]


def _outermost(points: Floats, normal: Floats, motion: StartingMotion) -> tuple[Floats, Floats]:
    """Return the points farthest out across a direction, and that direction as the body goes."""
    middle = points.mean(axis=0)
    out = normal if np.dot(motion.velocity_at(to_vector(middle)), normal) >= 0.0 else -normal
    across = np.linalg.svd(normal[None, :])[2][1:]
    # Not square to the edges of a plain piece, along which all points would be as far out.
    flat = points @ across.T
    farthest = farthest_out(flat, _OUTERMOST, turned_rad=0.5 * math.pi / _OUTERMOST)
    # Points that differ along the direction only carry alike.
    _, chosen = np.unique(np.round(flat[farthest], 3), axis=0, return_index=True)
    at_mm = points[farthest[chosen]]
    return at_mm, np.repeat(out[None, :], len(at_mm), axis=0)


def ways_of(scene: FreedScene, part: PartHold, found: Loaded, least_factor: float) -> Ways:
    """Follow a part where each stroke or way is borne least, and wherever its factor is too low.

    The case borne least comes first; once one digs in, those that are borne better change no verdict and are
    not followed, but for any whose factor may still be too low. Of neighbours, which differ by a cutter's
    turn only, the one borne least is followed.

    Parameters
    ----------
    scene : FreedScene
        What stands there while the cut is made.
    part : PartHold
        How it holds; its losses are followed too.
    found : Loaded
        Every case.
    least_factor : float
        Factor that the set-up states.

    Returns
    -------
    Ways
        Those that do most harm first.
    """
    ways: list[Way] = []
    for borne, rank_factor in _cases(part, found, least_factor):
        if any(w.digs_in for w in ways) and rank_factor >= _MARGIN * least_factor:
            break
        way = follow(scene, borne, least_factor)
        ways += [way] if way is not None else []
        if way is not None and way.digs_in and way.factor < least_factor:
            break
    lost: list[Way] = []
    for loss in part.losses:
        followed: list[Way] = []
        for borne in (b for b in loss.borne if _may_let_go(b, least_factor)):
            way = follow(scene, borne, least_factor, loss.lost)
            if way is None or (way.crash is not None and way.factor >= least_factor):
                continue
            followed.append(way)
            if way.digs_in:
                break
        lost += sorted(followed, key=_by_harm)[:1]
    return Ways(found=tuple(sorted(ways, key=_by_harm)), lost=tuple(sorted(lost, key=_by_harm)))


def _cases(part: PartHold, found: Loaded, least_factor: float) -> Iterator[tuple[Borne, float]]:
    """Yield what is followed and what sorts it, the worst first; some is loaded only when it is asked for."""
    yield part.borne, 0.0
    known = {id(b.case): b for b in found.borne}
    risky = {n for n, b in known.items() if _may_let_go(b, least_factor)}
    strokes: set[str] = {part.case.stroke}
    # At another corner of the inputs the case borne least is followed once more.
    again = part.borne.collapse is not found.borne[0].collapse
    groups = set() if again else {part.case.group}
    for borne in found.borne:
        if id(borne.case) in risky and borne.case.group not in groups:
            groups.add(borne.case.group)
            strokes.add(borne.case.stroke)
            yield borne, 0.0
    for trial in found.trials:
        case, number = trial.case, id(trial.case)
        first_of_stroke = case.stroke not in strokes
        weak = case.group not in groups and trial.rank_factor < _MARGIN * least_factor
        strokes.add(case.stroke)
        groups.add(case.group)
        if (first_of_stroke or weak) and number not in risky:
            yield known.get(number) or trial.borne(), trial.rank_factor


def _may_let_go(one: Borne, least_factor: float) -> bool:
    """Say whether a case may be borne less than the least; in coarse cells it may come out slightly high."""
    return one.low_factor * (1.0 - SAME_SHARE) < least_factor


def _by_harm(way: Way) -> tuple[bool, bool, float]:
    """Sort ways: those that dig in first, then those not known, the lowest factor first among each."""
    return not way.digs_in, way.crash is not None, way.factor


def follow(scene: FreedScene, borne: Borne, least_factor: float, lost: Loss | None = None) -> Way | None:
    """Follow one collapse, and past what stops it; None where it stopped at the ceiling and nothing goes.

    What stops a part holds it only where it touches. The part is loaded again with that added, and if it then
    goes into the tool below the least factor, that way counts.

    Parameters
    ----------
    scene : FreedScene
        What stands there while the cut is made.
    borne : Borne
        The case in which it lets go.
    least_factor : float
        Past what stops the part, a way into the tool counts where it is borne below this factor.
    lost : Loss or None
        What is taken to be lost; None for nothing.

    Returns
    -------
    Way or None
        With the reason in place of a crash where it could not be computed.
    """
    way = Way(case=borne.case, factor=borne.low_factor, lost=lost, motion=None, crash=None)
    try:
        borne = settled(scene.rig, borne)
    except NotComputedError as reason:
        return replace(way, reason=str(reason))
    if borne.collapse.at_least:
        return None
    if not borne.collapse.motions:
        return replace(way, factor=borne.low_factor, reason=_no_motion(borne.collapse))
    way, touch = _step(scene, borne.case, borne.collapse, lost, ())
    if touch is None or way.crash is None or way.crash.outcome is not Outcome.STOPPED:
        return way
    try:
        return _past(scene, borne, way, touch, least_factor)
    except (NotComputedError, KernelError) as reason:
        message = f"what it does once {way.hits} stops it could not be computed: {reason}"
        return replace(way, crash=None, bites=None, reason=message)


def _no_motion(found: Collapse) -> str:
    return f"no motion was found at {factor_text(found.factor.low)} times the cutting load"


def _past(scene: FreedScene, borne: Borne, stopped: Way, touch: StopContact, least_factor: float) -> Way:
    """Load a stopped part again with what stops it added, until nothing new stops it.

    It then bears what a tooth bites, which is more than the cutting load.

    Raises
    ------
    NotComputedError
        It goes on, and where to is not known.
    """
    problem, touched = borne.problem, [touch]
    grown = max(stopped.crash.load_ratio, 1.0) if isinstance(stopped.crash, Bitten) else 1.0
    for _ in range(_MOST_STOPS):
        problem = replace(problem, contacts=(*problem.contacts, *touched[-1].contacts(problem)))
        found = collapse(problem, ceiling=least_factor * grown)
        if found.at_least or found.factor.low >= least_factor * grown:
            return stopped
        if not found.motions:
            raise NotComputedError(_no_motion(found))
        way, touch_next = _step(scene, borne.case, found, stopped.lost, touched)
        if way.crash is None:
            raise NotComputedError(way.reason)
        if way.digs_in:
            factor = max(stopped.factor, found.factor.low / grown)
            return replace(way, factor=factor, over=tuple(dict.fromkeys(t.other for t in touched)))
        if touch_next is None or way.crash.outcome is not Outcome.STOPPED:
            return stopped
        touched.append(touch_next)
    raise NotComputedError(f"it comes up against more than {_MOST_STOPS} things, one after the other")


def _step(
    scene: FreedScene, case: LoadCase, found: Collapse, lost: Loss | None, touched: Sequence[StopContact]
) -> tuple[Way, StopContact | None]:
    """Follow one motion up to the first thing that it meets; where that stops it, say where it bears."""
    part = scene.process.part
    mine = next((m for m in found.motions if m.body == part), found.motions[0])
    way = Way(case=case, factor=found.factor.low, lost=lost, motion=mine, crash=None)
    away = {lost.label if lost else "", *(m.body for m in found.motions)}
    try:
        others = {n: s for n, s in scene.others(case).items() if n not in away}
        hits, after_mm, touch = _first_stop(scene, mine, others, touched)
        crash, bites = _bitten(scene, case, found.motions, mine, after_mm, stops=touch is not None)
    except (NotComputedError, KernelError) as reason:
        return replace(way, reason=str(reason)), None
    followed = replace(
        way, crash=crash, bites=bites, drawn_in=scene.drawn_in(case, mine), hits=hits, hits_after_mm=after_mm
    )
    return followed, touch


def _first_stop(
    scene: FreedScene, mine: StartingMotion, others: Mapping[str, Shape], touched: Sequence[StopContact]
) -> tuple[str | None, float | None, StopContact | None]:
    """Return what is met first, after what way, and where it stands in the way; None where it does not.

    What bears on the part from the start does not count where it does.
    """
    shape, left = scene.standing[mine.body], dict(others)
    while True:
        hits, after_mm = first_met(shape, mine, left)
        if hits is None or after_mm is None:
            return None, None, None
        if not scene.stands_firm(hits):
            return hits, after_mm, None
        touch = touch_of(shape, mine, hits, left[hits], after_mm)
        if touch is None or not touch.is_among(touched):
            return hits, after_mm, touch
        del left[hits]


def _bitten(
    scene: FreedScene,
    case: LoadCase,
    motions: Sequence[StartingMotion],
    mine: StartingMotion,
    after_mm: float | None,
    *,
    stops: bool,
) -> tuple[Bite, str | None]:
    """Follow it a little way, and further to what stops it where it is bitten, or where it slides on.

    Parameters
    ----------
    after_mm : float or None
        How far it moves until it meets anything.
    stops : bool
        Whether that stands in its way.
    """
    stops_mm = after_mm if stops else None
    soon_mm = stops_mm if stops_mm is not None and stops_mm <= TRAVEL_MM else None
    near, bites = scene.bite(case, motions, soon_mm, travel_mm=TRAVEL_MM)
    if near.first_mm is not None and soon_mm is None and stops_mm is not None:
        return scene.bite(case, motions, stops_mm, travel_mm=TRAVEL_MM)
    vx, vy, _ = mine.velocity
    reach_mm = FAR_MM if scene.stops_count or after_mm is None else after_mm
    if near.first_mm is not None or mine.kind is not MotionKind.SLIDES or not (vx or vy):
        return near, bites
    if reach_mm <= TRAVEL_MM:
        return near, bites
    # Level as it lies: a shoulder of its own may meet the tool.
    level = replace(mine, velocity=(vx, vy, 0.0), rotation_rad_mm=(0.0, 0.0, 0.0))
    far, far_bites = scene.bite(case, (level,), stops_mm, travel_mm=reach_mm)
    return (far, far_bites) if far.first_mm is not None else (near, bites)


def first_met(
    shape: Shape, motion: StartingMotion, others: Mapping[str, Shape]
) -> tuple[str | None, float | None]:
    """Return which of others a body that moves meets first, and how far it has moved by then.

    What it touches from the start does not count.

    Parameters
    ----------
    shape : Shape
        The body where it stands.
    motion : StartingMotion
        How it starts.
    others : mapping of str to Shape
        What it may meet, where that stands.

    Returns
    -------
    tuple of str or None and float or None
        The name, and mm; both None where it meets nothing within `FAR_MM`.

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

    It is moved on by what surely keeps it clear: its distance over its greatest speed. So whether one stands
    in the other is asked only at the start.
    """
    box, after_mm = loose_box(other), 0.0
    for step in range(_MOST_STEPS):
        now = transformed(shape, *motion.pose_after(after_mm))
        gap_mm = box_gap_mm(loose_box(now), box)
        if gap_mm <= 1.0:
            how = apart(other, now, f"{motion.body} on its way and what it meets") if step == 0 else None
            gap_mm = distance(other, now)[0] if how is None else how.distance_mm
        if gap_mm <= NEAR_MM:
            return after_mm if step > 0 else None
        after_mm += gap_mm / speed
        if after_mm >= reach_mm:
            return None
    return None
