"""By what factor each part holds against milling: where the cutter may stand, its loads, the collapse.

Where a milling cutter may stand to a part, and how its teeth load the part there, over a turn.
Where the cutter stands across the face is not stated but for its way. So what it cuts at a time lies at
either edge of the face, and the axis is put where teeth meet either end of the face; and once between. A
place at which the cutter would stand in the finished part, or in what holds it, is none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.factor import CEILING, Rig, fine_enough, least_settled, losses_of, pull_on
from fixturecheck.holding.grinding_loads import target_faces
from fixturecheck.holding.model import Borne, Change, LoadCase, Lost, MilledHold
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.measure import (
    box_of,
    edge_points,
    extent_along,
    face_window,
    grid_on_face,
    loose_box,
)
from fixturecheck.kernel.shapes import Face, Solid
from fixturecheck.machining.grinding import Forces
from fixturecheck.machining.milling import (
    CutterWay,
    Mill,
    Shearing,
    Turned,
    laws,
    one_turn,
    shearing,
    strip_mm,
    thickest_chip_mm,
    tooth_force_n,
)
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import Driver
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.holding import Milling
from fixturecheck.setup.model import Setup
from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import EquilibriumProblem, Load, write_equations
from fixturecheck.statics.limit import rank_factors
from fixturecheck.statics.loading import settle_held

_LONG_DIAMETERS = 3.0
"""Length of a cutter over its diameter, beyond which its holder begins: common practice, no source."""
_SPACING_MM, _MOST_POINTS, _ON_EDGE = 1.0, 2500, 25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutter:
    """A cutter where it stands.

    Parameters
    ----------
    axis_mm : ndarray, shape (3,)
        Lower end of its axis.
    radius_mm, long_mm : float
    """

    axis_mm: Floats
    radius_mm: float
    long_mm: float

    def deep_mm(self, points: Floats) -> float:
        """Return how deep the deepest of some points lies in it; zero where none does."""
        inside = np.minimum(self.behind_mm(points), self.above_mm(points))
        reached = points[:, 2] <= self.axis_mm[2] + self.long_mm
        return max(0.0, float(np.where(reached, inside, 0.0).max(initial=0.0)))

    def behind_mm(self, points: Floats) -> Floats:
        """Return how far points lie behind its side; below zero outside."""
        apart: Floats = np.hypot(*(points - self.axis_mm)[:, :2].T)
        return self.radius_mm - apart

    def above_mm(self, points: Floats) -> Floats:
        """Return how far points lie above its end."""
        above: Floats = points[:, 2] - self.axis_mm[2]
        return above


def cutter_at(axis_mm: Vector, diameter_mm: float) -> Cutter:
    """Return a cutter with its axis there."""
    return Cutter(
        axis_mm=np.array(axis_mm), radius_mm=0.5 * diameter_mm, long_mm=_LONG_DIAMETERS * diameter_mm
    )


def points_on(solid: Solid) -> Floats:
    """Return points on every face and edge of a solid, about a millimetre apart, with its corners."""
    faces = [points_of(f) for f in faces_of(solid)]
    return np.concatenate([*faces, *(edge_points(e, _ON_EDGE) for e in edges_of(solid))])


def points_of(face: Face) -> Floats:
    """Return points on a face and its edges."""
    grid = grid_on_face(face, face_window(face), _SPACING_MM, _MOST_POINTS).points
    return np.concatenate([grid, *(edge_points(e, _ON_EDGE) for e in edges_of(face))])


_ANGLES = 7
_SAME_MM = 1e-6
_GRAZE_MM = 0.02
_ENDS = {
    0: ("at the left end", "in the middle", "at the right end"),
    1: ("in front", "in the middle", "behind"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Milled:
    """One part under one milling cut, with what holds it."""

    setup: Setup
    placed: Mapping[str, Solid]
    rig: Rig
    mill: Milling
    part: str

    @property
    def cut(self) -> Mill:
        """The cut as numbers."""
        return Mill(
            cutter_mm=self.mill.cutter_mm,
            teeth=self.mill.teeth,
            deep_mm=self.mill.deep_mm,
            wide_mm=self.mill.wide_mm,
            feed_mm_tooth=self.mill.feed_mm_tooth,
            helix_deg=self.mill.helix_deg or 0.0,
        )

    @property
    def takes(self) -> Shearing:
        """What cutting it takes; flutes lift by no more than they lean, if nothing rubs along them."""
        table = shearing(self.mill.cuts_as)
        if self.mill.helix_deg is None:
            return table
        lift = math.tan(math.radians(self.mill.helix_deg))
        return replace(table, axial_ratio=Range(low=0.0, high=lift))

    @property
    def ways(self) -> tuple[CutterWay, ...]:
        """Every way in which the cutter may stand to what it cuts; of those that are the same, one."""
        stated = tuple(CutterWay) if self.mill.way == "any" else (CutterWay(self.mill.way),)
        seen = {tuple(round(y / _SAME_MM) for y in strip_mm(self.cut, way)): way for way in stated}
        return tuple(seen.values())

    @property
    def axes(self) -> tuple[Vector, Vector]:
        """Level unit vectors along the feed and to the left of it."""
        x, y = self.mill.feed[0], self.mill.feed[1]
        level = math.hypot(x, y)
        return (x / level, y / level, 0.0), (-y / level, x / level, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stand:
    """The cutter at one place and angle.

    Parameters
    ----------
    case : LoadCase
        Place and way, in words too.
    group : tuple of int
        Way, strip, place and ends of what is square to the cutting force: those of one group differ by no
        more than the cutter's turn.
    loads : tuple of Load
        What its teeth do to the part.
    """

    case: LoadCase
    group: tuple[int, int, int, int]
    loads: tuple[Load, ...]


def angles_of(job: Milled, way: str) -> Iterator[tuple[int, Turned]]:
    """Yield the cutter over a turn, with every pair of ends of radial and axial force, and its number."""
    for i, law in enumerate(laws(job.takes)):
        for turned in one_turn(job.cut, law, way, steps=_ANGLES):
            yield i, turned


def stands(job: Milled) -> tuple[Stand, ...]:
    """Return every place and angle of the cutter that counts, with what its teeth do to the part.

    What holds at two places holds between them, at least where friction is as great as it may be: places lie
    at the ends of the face, for every angle where a tooth just meets them, and one between.

    Raises
    ------
    NotComputedError
        There is none: the cutter stands in something wherever it could.
    """
    face = target_faces(job.setup, job.placed, job.part, job.mill.face)
    along, left = (np.array(v) for v in job.axes)
    ground = _Ground(
        job=job, span=extent_along(face, along), across=extent_along(face, left), z=box_of(face)[5]
    )
    found: list[Stand] = []
    for w, way in enumerate(job.ways):
        strips = [(s, y) for s, y in enumerate(ground.strips(way)) if ground.is_open(y)]
        inner = [s for s, y in strips if ground.is_clear(ground.between, y)]
        turned = tuple(angles_of(job, way))
        for s, y in strips:
            outermost = s in (strips[0][0], strips[-1][0])
            for law, angle in turned:
                places = ground.ends(angle, y) if outermost else ()
                if inner and s == inner[len(inner) // 2]:
                    places = (*places, (1, ground.between - max(t.at_mm[0] for t in angle.teeth)))
                for p, x in places:
                    loads = ground.loads(angle, x, y)
                    if loads:
                        case = _case(job, way, ground.words(p), ground.axis(x, y), loads)
                        found.append(Stand(case=case, group=(w, s, p, law), loads=loads))
    if not found:
        into = f": it would stand in {' and '.join(sorted(ground.met))}" if ground.met else ""
        message = f"{job.part}: no place was found at which a tooth of the cutter meets it{into}"
        raise NotComputedError(message)
    return tuple(found)


class _Ground:
    """The face that is milled, along the feed (x) and to the left of it (y), and what stands in the way."""

    def __init__(self, job: Milled, span: tuple[float, float], across: tuple[float, float], z: float) -> None:
        self.job, self.span, self.across, self.z = job, span, across, z
        self.between = 0.5 * (span[0] + span[1])
        self.met: set[str] = set()
        self._higher = _higher(job, z + _GRAZE_MM)
        self._clear: dict[tuple[float, float], bool] = {}

    def axis(self, x: float, y: float) -> Vector:
        """Return the lower end of the axis at a place."""
        along, left = (np.array(v) for v in self.job.axes)
        return to_vector(x * along + y * left + np.array([0.0, 0.0, self.z]))

    def is_clear(self, x: float, y: float) -> bool:
        """Say whether the cutter stands in nothing there."""
        key = (round(x, 6), round(y, 6))
        if key not in self._clear:
            inside = _inside(self.axis(x, y), self.job.mill.cutter_mm, self._higher)
            self.met |= inside
            self._clear[key] = not inside
        return self._clear[key]

    def is_open(self, y: float) -> bool:
        """Say whether the cutter stands in nothing in the middle of a strip or well in at either end."""
        radius = 0.5 * self.job.mill.cutter_mm
        return any(self.is_clear(x, y) for x in (self.between, self.span[0] + radius, self.span[1] - radius))

    def strips(self, way: str) -> list[float]:
        """Return where the axis stands aside when what is cut lies at either edge, and between."""
        wide = self.job.mill.wide_mm
        low, high = self.across[0] + 0.5 * wide, self.across[1] - 0.5 * wide
        middle = 0.5 * (self.across[0] + self.across[1])
        aside = 0.5 * sum(strip_mm(self.job.cut, way))
        return [m - aside for m in ((middle,) if high - low < _SAME_MM else (low, middle, high))]

    def ends(self, angle: Turned, y: float) -> tuple[tuple[int, float], ...]:
        """Return where the first and last of its teeth just meet either end; at a wall, a radius off it."""
        reach = sorted({round(t.at_mm[0], 9) for t in angle.teeth})
        radius = 0.5 * self.job.mill.cutter_mm
        found: dict[tuple[int, float], None] = {}
        for p, end, inward in ((0, self.span[0], radius), (2, self.span[1], -radius)):
            for x in (end - reach[0], end - reach[-1]):
                place = x if self.is_clear(x, y) else end + inward
                if self.is_clear(place, y):
                    found[p, place] = None
        return tuple(found)

    def loads(self, angle: Turned, x: float, y: float) -> tuple[Load, ...]:
        """Return what the teeth that stand over the face do to the part."""
        along, left = (np.array(v) for v in self.job.axes)
        up = np.array([0.0, 0.0, 1.0])
        found = []
        for tooth in angle.teeth:
            if _over(x + tooth.at_mm[0], self.span) and _over(y + tooth.at_mm[1], self.across):
                at, force = (v[0] * along + v[1] * left + v[2] * up for v in (tooth.at_mm, tooth.force_n))
                place = to_vector(at + self.axis(x, y))
                found.append(Load(body=self.job.part, force_n=to_vector(force), at_mm=place, label="cut"))
        return tuple(found)

    def words(self, place: int) -> str:
        """Return an end of the face, as it lies in front of the operator."""
        axis = 0 if abs(self.job.mill.feed[0]) >= abs(self.job.mill.feed[1]) else 1
        return _ENDS[axis][place if self.job.mill.feed[axis] > 0.0 else 2 - place]


def _higher(job: Milled, z_mm: float) -> dict[str, Floats]:
    """Return points on the bodies that reach higher than the face that is milled."""
    tall = {n: s for n, s in job.placed.items() if loose_box(s)[5] > z_mm}
    return {n: points_on(s) for n, s in tall.items() if box_of(s)[5] > z_mm}


def _inside(axis_mm: Vector, diameter_mm: float, bodies: Mapping[str, Floats]) -> set[str]:
    """Return the bodies that the cutter would stand in."""
    cutter = cutter_at(axis_mm, diameter_mm)
    return {n for n, points in bodies.items() if cutter.deep_mm(points) > _GRAZE_MM}


def _case(job: Milled, way: CutterWay, where: str, axis_mm: Vector, teeth: Sequence[Load]) -> LoadCase:
    """Return the case of some teeth; it is placed at the one that pushes hardest."""
    whole = math.hypot(*(sum(t.force_n[i] for t in teeth) for i in range(3)))
    hardest = max(teeth, key=lambda t: math.hypot(*t.force_n))
    return LoadCase(
        label=f"milling force of {job.setup.write.force(whole)}, {way} milling, {where}",
        stroke=way,
        at_mm=hardest.at_mm,
        axis_mm=axis_mm,
    )


def _over(place_mm: float, span: tuple[float, float]) -> bool:
    return span[0] - _SAME_MM <= place_mm <= span[1] + _SAME_MM


_FOLLOWED = 6
"""Places and angles that are followed with one thing lost, besides one of each way."""
_SORTED_SHARE = 0.85
"""How much less than what sorts it a load was found to be borne, with some to spare."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """The cutter at one place and angle, and a figure that sorts it among the others.

    Parameters
    ----------
    stand : Stand
    problem : EquilibriumProblem
        With what holds at its low end and the cutting force at its high end.
    rank_factor : float
        About the factor, for sorting only.
    change : callable
        What is lost of the holding as stated.
    """

    stand: Stand
    problem: EquilibriumProblem
    rank_factor: float
    change: Change

    def borne(self, values: Mapping[str, float]) -> Borne:
        """Load it until it lets go."""
        found = collapse(self.problem, ceiling=CEILING)
        return Borne(
            case=self.stand.case, values=values, problem=self.problem, collapse=found, change=self.change
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loaded:
    """Every trial, the lowest rank first, and those that were loaded to collapse, the least borne first."""

    values: Mapping[str, float]
    trials: tuple[Trial, ...]
    borne: tuple[Borne, ...]

    @property
    def worst(self) -> Trial:
        """The trial that is borne least."""
        return next(t for t in self.trials if t.stand.case is self.borne[0].case)


def loaded(job: Milled, *, change: Change = lambda whole: whole) -> Loaded:
    """Load a part by the cutter at every place and angle; all that it may bear least, to collapse.

    All that holds is at its low end. The part is drawn finished, so the teeth push above its face.

    Raises
    ------
    NotComputedError
        The pull on the part was not counted, or no tooth meets it, or an analysis gave no answer.
    SetupError
        The cut's numbers make no sense.
    """
    if job.rig.pulls:
        job.rig.pulls.must_know(job.part)
    tooth_force_n(job.cut, job.takes)
    values = {**{name: span.low for name, span in _inputs(job.rig).items()}, Driver.SIZE: 1.0}
    held = job.rig.holding(values, ())
    every = stands(job)
    problems = [change(replace(held, cutting=stand.loads)) for stand in every]
    ranked = [
        Trial(stand=stand, problem=problem, rank_factor=rank, change=change)
        for stand, problem, rank in zip(every, problems, _ranks(problems), strict=True)
    ]
    ranked.sort(key=lambda t: (t.rank_factor, t.stand.case.label, t.stand.case.at_mm))
    borne: tuple[Borne, ...] = ()
    for trial in ranked:
        sorted_factor = _SORTED_SHARE * trial.rank_factor
        if borne and sorted_factor >= min(b.low_factor for b in borne):
            # What coarse cells say may be low.
            borne = least_settled(job.rig, borne)
            if sorted_factor >= borne[0].low_factor:
                break
        borne = (*borne, trial.borne(values))
    return Loaded(values=values, trials=tuple(ranked), borne=least_settled(job.rig, borne))


def _ranks(problems: Sequence[EquilibriumProblem]) -> list[float]:
    """Return what sorts the problems, which differ by their cutting loads only; zero where nothing rests."""
    equations = [write_equations(p) for p in problems]
    rest, rests = settle_held(equations[0])
    if not rests:
        return [0.0] * len(problems)
    return rank_factors(equations[0], rest.carried_n, [e.cutting_n for e in equations])


def milled_hold(job: Milled, found: Loaded | None = None) -> MilledHold:
    """Return by what factor a part holds against a milling cut, and what that depends on.

    Parameters
    ----------
    found : Loaded or None
        What `loaded` found of it; None loads it here.

    Raises
    ------
    NotComputedError, SetupError
        As `loaded` does.
    """
    rig, part = job.rig, job.part
    found = found or loaded(job)
    known, trial = found.borne[0], found.worst
    cutting = tuple(trial.problem.cutting)

    def scaled(values: Mapping[str, float]) -> tuple[Load, ...]:
        return tuple(
            replace(c, force_n=to_vector(values[Driver.SIZE] * f for f in c.force_n)) for c in cutting
        )

    share = {way: _least_share(job, way) for way in job.ways}
    spans = {**_inputs(rig), Driver.SIZE: Range(low=share[CutterWay(known.case.stroke)], high=1.0)}
    factors, least = fine_enough(rig, spans, scaled, known)
    most_n, way = max((t.cutting_n, way) for way in job.ways for _, t in angles_of(job, way))
    return MilledHold(
        part=part,
        cut=job.mill.name,
        cutting_n=Range(low=most_n * share[way], high=most_n),
        case=known.case,
        factors=factors,
        problem=least.problem,
        load_n=to_vector(sum(c.force_n[i] for c in cutting) for i in range(3)),
        pull_n=pull_on(rig, part),
    )


def milled_losses(job: Milled, losable: Sequence[str]) -> tuple[Lost, ...]:
    """Take away one block or clamp at a time, or wet every contact that is dry; the lowest factor first."""
    return losses_of(losable, lambda change: _of_every_way(loaded(job, change=change)), wet=job.rig.wet)


def _of_every_way(found: Loaded) -> tuple[Borne, ...]:
    """Return what is borne least, and of each way of the cutter that is not among it what is borne least.

    What is borne least need not be what digs in.
    """
    borne = list(found.borne[:_FOLLOWED])
    seen = {b.case.stroke for b in borne}
    for one in found.borne[_FOLLOWED:]:
        borne += [one] if one.case.stroke not in seen else []
        seen.add(one.case.stroke)
    for trial in found.trials:
        if trial.stand.case.stroke not in seen:
            seen.add(trial.stand.case.stroke)
            borne.append(trial.borne(found.values))
    return tuple(sorted(borne, key=lambda b: b.low_factor))


def _inputs(rig: Rig) -> dict[str, Range]:
    """Return what is not known well of the hold; there is no wheel."""
    nothing = Range.exactly(0.0)
    wheel = Forces(
        tangential_n=nothing, normal_n=nothing, wall_n=nothing, cross_n=nothing, energy_j_mm3=nothing
    )
    of_wheel = {Driver.DRAG, Driver.PRESS, Driver.WALL, Driver.CROSS}
    return {name: span for name, span in rig.inputs(wheel).items() if name not in of_wheel}


def _least_share(job: Milled, way: str) -> float:
    """Return the least cutting force over the greatest, at the thickest chip of a way."""
    one = tooth_force_n(job.cut, job.takes, thickest_chip_mm(job.cut, way))
    return one.low / one.high
