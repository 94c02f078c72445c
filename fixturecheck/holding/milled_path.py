"""Where a milled part goes once it has let go, and what stops it.

Does what a milled part meets stand in its way, and where does it then bear on the part.
The part is pressed a little into what it meets. Of what the two then share, what is thick enough stops it:
the outermost points of that piece carry, along its thinnest direction, and without friction.

Where a milled part goes once it has let go: away from the cutter or into it, and what stops it.
The part follows the motion that it starts with, the cutter standing where it did. Of what it may bite into,
two things are carried along: the stock in front of the teeth, which must not come nearer to the axis, and
every face of the bodies that move, none of which may come into the cutter. The part is drawn finished, so its
face touches the end of the cutter at the start.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.holding.factor import settled
from fixturecheck.holding.failure_path import (
    FAR_MM,
    NEAR_MM,
    TRAVEL_MM,
    by_harm,
    first_met,
    may_let_go,
    still,
    unsettled,
)
from fixturecheck.holding.grinding_loads import target_faces
from fixturecheck.holding.milling import Cutter, Loaded, Milled, cutter_at, points_on
from fixturecheck.holding.model import Borne, LoadCase, MilledHold, Way, Ways
from fixturecheck.kernel.boolean import apart
from fixturecheck.kernel.brep.topology import faces_of, solids_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import loose_box, on_face
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.shapes import Box, Shape, Solid
from fixturecheck.machining.milling import (
    GIVE_MM,
    Bite,
    Bitten,
    Chip,
    CutterWay,
    engaged_rad,
    follow_bite,
    thickest_chip_mm,
)
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import MotionKind, Outcome
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
            message = (
                f"{self.body} bears on {self.other} only after {self.moved_mm:.2g} mm, and what holds it is "
                f"known up to {TRAVEL_MM:g} mm from where it stands"
            )
            raise NotComputedError(message)
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
        """Say whether it is one of these again: as far out as that one or less, the same way."""
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
    name : str
        Of what it meets.
    after_mm : float
        How far the body has moved when the two all but meet.

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
        points = points_on(piece)
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
    turn = 2.0 * math.pi * (np.arange(_OUTERMOST) + 0.25) / _OUTERMOST
    flat = points @ across.T
    rays = np.stack((np.cos(turn), np.sin(turn)))
    farthest = np.argmax(flat @ rays, axis=0)
    # Points that differ along the direction only carry alike.
    _, chosen = np.unique(np.round(flat[farthest], 3), axis=0, return_index=True)
    at_mm = points[farthest[chosen]]
    return at_mm, np.repeat(out[None, :], len(at_mm), axis=0)


THE_TABLE = "the table"
_ARC = 25
_RINGS = (1.0, 0.75, 0.5, 0.25, 0.0)
_MARGIN = 1.15
"""How far what sorts the loads may be off the factor, with some to spare."""
_UNDER_MM = 1e-6
_MOST_STOPS = 4
"""Things that a part comes up against one after the other, up to which it is followed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MillingScene:
    """Everything that stands there while one face is milled, and points all over what may move.

    Parameters
    ----------
    job : Milled
    others : mapping of str to Shape
        What a part may run into: every body, and the table.
    surfaces : mapping of str to ndarray, shape (n, 3)
        Points on the faces, edges and corners of each body that can move.
    """

    job: Milled
    others: Mapping[str, Shape]
    surfaces: Mapping[str, Floats]

    def stands_firm(self, name: str) -> bool:
        """Say whether a body stops what runs into it: loose blocks and other parts are pushed along."""
        rigid = next((b for b in self.job.rig.bodies if b.name == name), None)
        return rigid is None or rigid.slides_along is not None

    def cutter_at(self, case: LoadCase) -> Cutter:
        """Return the cutter where a case puts it.

        Raises
        ------
        NotComputedError
            The case says nothing of its axis.
        """
        if case.axis_mm is None:
            message = f"where the cutter stands is not said: {case.label}"
            raise NotComputedError(message)
        return cutter_at(case.axis_mm, self.job.mill.cutter_mm)


def milling_scene_of(job: Milled) -> MillingScene:
    """Return what stands there, with the table below all of it where it is stated to lie there."""
    others: dict[str, Shape] = dict(job.placed)
    boxes = [loose_box(s) for s in job.placed.values()]
    others[THE_TABLE] = _table(boxes, min(job.setup.table_z_mm, *(b[2] for b in boxes)))
    moving = {b.name for b in job.rig.bodies}
    return MillingScene(
        job=job, others=others, surfaces={n: points_on(s) for n, s in job.placed.items() if n in moving}
    )


def milled_ways(job: Milled, part: MilledHold, found: Loaded, least_factor: float) -> Ways:
    """Follow a part where each way of the cutter is borne least, and wherever its factor is too low.

    The case borne least comes first; once one digs in, those that are borne better change no verdict and are
    not followed, but for any whose factor may still be too low. Of neighbours, which differ by the cutter's
    turn only, the one borne least speaks for all.

    Parameters
    ----------
    part : MilledHold
        How it holds; its losses are followed too.
    found : Loaded
        Every place and angle.
    least_factor : float
        Factor that the set-up states.
    """
    bench = milling_scene_of(job)
    ways: list[Way] = []
    for borne, rank_factor in _cases(part, found, least_factor):
        if any(w.digs_in for w in ways) and rank_factor >= _MARGIN * least_factor:
            break
        way = follow(bench, borne, least_factor)
        ways += [way] if way is not None else []
        if way is not None and way.digs_in and way.factor < least_factor:
            break
    lost: list[Way] = []
    for loss in part.losses:
        weak = (b for b in loss.borne if may_let_go(b, least_factor))
        followed: list[Way] = []
        for b in weak:
            way = follow(bench, b, least_factor, loss.lost)
            if way is None or (way.crash is not None and way.factor >= least_factor):
                continue
            followed.append(way)
            if way.digs_in:
                break
        lost += sorted(followed, key=by_harm)[:1]
    return Ways(found=tuple(sorted(ways, key=by_harm)), lost=tuple(sorted(lost, key=by_harm)))


def _cases(part: MilledHold, found: Loaded, least_factor: float) -> Iterator[tuple[Borne, float]]:
    """Yield what is followed and what sorts it, the worst first; some is loaded only when it is asked for."""
    values, worst = part.factors.worst_inputs, part.factors.worst
    yield Borne(case=part.case, values=values, problem=part.problem, collapse=worst, settled=True), 0.0
    known = {id(b.case): b for b in found.borne}
    told = {n for n, b in known.items() if may_let_go(b, least_factor)}
    group_of = {id(t.stand.case): t.stand.group for t in found.trials}
    strokes: set[str] = {part.case.stroke}
    groups: set[tuple[int, ...]] = set()
    for borne in found.borne:
        if id(borne.case) in told and group_of[id(borne.case)] not in groups:
            groups.add(group_of[id(borne.case)])
            strokes.add(borne.case.stroke)
            yield borne, 0.0
    for trial in found.trials:
        stand, number = trial.stand, id(trial.stand.case)
        first_of_way = stand.case.stroke not in strokes
        weak = stand.group not in groups and trial.rank_factor < _MARGIN * least_factor
        strokes.add(stand.case.stroke)
        groups.add(stand.group)
        if (first_of_way or weak) and number not in told:
            yield known.get(number) or trial.borne(found.values), trial.rank_factor


def follow(bench: MillingScene, borne: Borne, least_factor: float, lost: str = "") -> Way | None:
    """Follow one collapse, and past what stops it; None where it stopped at the ceiling and nothing goes.

    What stops a part holds it only where it touches: the part is loaded again with that added, and where it
    then goes into the cutter below the least factor, that is where it goes.
    """
    try:
        borne = settled(bench.job.rig, borne)
    except NotComputedError as reason:
        return unsettled(borne, lost, reason)
    if borne.collapse.at_least:
        return None
    if not borne.collapse.motions:
        return still(borne.case, borne.collapse, lost)
    way, touch = _step(bench, borne.case, borne.collapse, lost, ())
    if touch is None or way.crash is None or way.crash.outcome is not Outcome.STOPPED:
        return way
    try:
        return _past(bench, borne, way, touch, least_factor)
    except (NotComputedError, KernelError) as reason:
        message = f"what it does once {way.hits} stops it could not be computed: {reason}"
        return replace(way, crash=None, bites=None, reason=message)


def _past(bench: MillingScene, borne: Borne, stopped: Way, touch: StopContact, least_factor: float) -> Way:
    """Load a part again that is stopped, against what stops it, as often as something else does.

    Stopped it bears what a tooth then bites, which is more than it was asked to.

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
            message = f"no motion was found at {factor_text(found.factor.low)} times the cutting load"
            raise NotComputedError(message)
        way, touch_next = _step(bench, borne.case, found, stopped.lost, touched)
        if way.crash is None:
            raise NotComputedError(way.reason)
        if way.digs_in:
            factor = max(stopped.factor, found.factor.low / grown)
            return replace(way, factor=factor, over=tuple(dict.fromkeys(t.other for t in touched)))
        if touch_next is None or way.crash.outcome is not Outcome.STOPPED:
            return stopped
        touched.append(touch_next)
    message = f"it comes up against more than {_MOST_STOPS} things, one after the other"
    raise NotComputedError(message)


def _step(
    bench: MillingScene, case: LoadCase, found: Collapse, lost: str, touched: Sequence[StopContact]
) -> tuple[Way, StopContact | None]:
    """Follow one motion up to the first thing that it meets; where that stands in its way, tell how."""
    part = bench.job.part
    mine = next((m for m in found.motions if m.body == part), found.motions[0])
    way = Way(case=case, factor=found.factor.low, lost=lost, motion=mine, crash=None)
    away = {lost, *(m.body for m in found.motions)}
    try:
        others = {n: s for n, s in bench.others.items() if n not in away}
        hits, after_mm, touch = _first_stop(bench, mine, others, touched)
        stops_mm = after_mm if touch is not None else None
        bitten, bites = _bitten(bench, case, found.motions, mine, stops_mm)
    except (NotComputedError, KernelError) as reason:
        return replace(way, reason=str(reason)), None
    along, _ = bench.job.axes
    followed = replace(
        way,
        crash=bitten,
        bites=bites,
        drawn_in=float(np.dot(mine.velocity_at(case.at_mm), along)) < -0.5,
        hits=hits,
        hits_after_mm=after_mm,
    )
    return followed, touch


def _first_stop(
    bench: MillingScene, mine: StartingMotion, others: Mapping[str, Shape], touched: Sequence[StopContact]
) -> tuple[str | None, float | None, StopContact | None]:
    """Return what is met first, after what way, and where it stands in the way; None where it does not.

    What bears on the part already, where it does, is nothing that it meets.
    """
    shape, left = bench.job.placed[mine.body], dict(others)
    while True:
        hits, after_mm = first_met(shape, mine, left)
        if hits is None or after_mm is None:
            return None, None, None
        if not bench.stands_firm(hits):
            return hits, after_mm, None
        touch = touch_of(shape, mine, hits, left[hits], after_mm)
        if touch is None or not touch.is_among(touched):
            return hits, after_mm, touch
        del left[hits]


def _bitten(
    bench: MillingScene,
    case: LoadCase,
    motions: Sequence[StartingMotion],
    mine: StartingMotion,
    stops_mm: float | None,
) -> tuple[Bitten, str | None]:
    """Follow it a little way, and further to what stops it where it is bitten, or where it slides on."""
    soon_mm = stops_mm if stops_mm is not None and stops_mm <= TRAVEL_MM else None
    bitten, bites = follow_into(bench, case, motions, soon_mm)
    if bitten.first_mm is not None and soon_mm is None and stops_mm is not None:
        return follow_into(bench, case, motions, stops_mm)
    if bitten.first_mm is None and mine.kind is MotionKind.SLIDES:
        return _further_on(bench, case, mine, stops_mm, bitten)
    return bitten, bites


def _further_on(
    bench: MillingScene, case: LoadCase, motion: StartingMotion, stopped_after_mm: float | None, near: Bitten
) -> tuple[Bitten, str | None]:
    """Follow a slide on, level as it lies: a shoulder of its own may meet the cutter."""
    vx, vy, _ = motion.velocity
    if math.hypot(vx, vy) == 0.0:
        return near, None
    level = replace(motion, velocity=(vx, vy, 0.0), rotation_rad_mm=(0.0, 0.0, 0.0))
    far, bites = follow_into(bench, case, (level,), stopped_after_mm, travel_mm=FAR_MM)
    return (far, bites) if far.first_mm is not None else (near, None)


def follow_into(
    bench: MillingScene,
    case: LoadCase,
    motions: Sequence[StartingMotion],
    stopped_after_mm: float | None,
    *,
    travel_mm: float = TRAVEL_MM,
) -> tuple[Bitten, str | None]:
    """Return what becomes of the bite, and the body that is bitten into, None where none is.

    Parameters
    ----------
    motions : sequence of StartingMotion
        Of every body that moves.
    stopped_after_mm : float or None
        How far the part moves until something stands in its way.
    travel_mm : float
        How far it is followed where nothing does.
    """
    job, cutter = bench.job, bench.cutter_at(case)
    stock, under = stock_points(job, case, cutter)
    # What stops it is told once they have all but met.
    far_mm = travel_mm if stopped_after_mm is None else stopped_after_mm + NEAR_MM
    deepest: dict[str, float] = {}

    def bite(moved_mm: float) -> Bite:
        closer, rise = [], []
        for motion in motions:
            points = _after(motion, bench.surfaces[motion.body], moved_mm)
            start = cutter.deep_mm(bench.surfaces[motion.body])
            deep = [cutter.deep_mm(points) - start]
            if motion.body == job.part:
                closer.append(_closer(cutter, _after(motion, stock, moved_mm)))
                above = float(cutter.above_mm(_after(motion, under, moved_mm)).max())
                deep = [above] if max(deep) <= 0.0 else [*deep, above]
            rise.append(max(deep))
            deepest[motion.body] = max(deepest.get(motion.body, 0.0), *rise[-1:], *closer)
        return Bite(closer_mm=max(closer, default=0.0), rise_mm=max(rise))

    bitten = follow_bite(
        bite,
        Chip(
            thick_mm=thickest_chip_mm(job.cut, CutterWay(case.stroke)),
            deep_mm=job.mill.deep_mm,
            exponent=job.takes.exponent.low,
        ),
        travel_mm=far_mm,
        stopped=stopped_after_mm is not None,
        give_mm=GIVE_MM * max(1.0, far_mm / TRAVEL_MM),
    )
    if bitten.first_mm is None:
        return bitten, None
    return bitten, max(deepest, key=lambda n: (deepest[n], n == job.part))


def _closer(cutter: Cutter, front: Floats) -> float:
    """Return how far points that stood in front of the teeth have come behind them; sunk is away."""
    above = cutter.above_mm(front)
    return float(np.where(above >= -_UNDER_MM, cutter.behind_mm(front), above).max())


def stock_points(job: Milled, case: LoadCase, cutter: Cutter) -> tuple[Floats, Floats]:
    """Return points of the stock in front of the teeth, and of the finished face under the cutter.

    The stock lies on the face that is milled, as high as the cut is deep.
    """
    pieces = faces_of(target_faces(job.setup, job.placed, job.part, job.mill.face))
    low, high = engaged_rad(job.cut, CutterWay(case.stroke))
    along, left = (np.array(v) for v in job.axes)

    def ring(angles: Floats, radius_mm: float) -> Floats:
        level = np.outer(np.cos(angles), along) + np.outer(np.sin(angles), left)
        points = cutter.axis_mm + radius_mm * level
        return points[[any(on_face(p, piece, _UNDER_MM) for piece in pieces) for p in points]]

    tooth = np.array([case.at_mm[0], case.at_mm[1], cutter.axis_mm[2]])
    front = np.concatenate([ring(np.linspace(low, high, _ARC), cutter.radius_mm), tooth[None, :]])
    around = np.linspace(0.0, 2.0 * math.pi, 2 * _ARC, endpoint=False)
    under = [ring(around, share * cutter.radius_mm) for share in _RINGS]
    up = np.array([0.0, 0.0, job.mill.deep_mm])
    stock = np.concatenate([front, front + 0.5 * up, front + up])
    return stock, np.concatenate([*under, front])


def _after(motion: StartingMotion, points: Floats, moved_mm: float) -> Floats:
    turn, shift = motion.pose_after(moved_mm)
    return points @ turn.T + shift


def _table(boxes: Sequence[Box], top_mm: float) -> Solid:
    """Return the table below everything, wide enough for whatever falls on it."""
    low = [min(b[i] for b in boxes) - 2.0 * FAR_MM for i in range(2)]
    high = [max(b[i + 3] for b in boxes) + 2.0 * FAR_MM for i in range(2)]
    return box((low[0], low[1], top_mm - FAR_MM), (high[0], high[1], top_mm))
