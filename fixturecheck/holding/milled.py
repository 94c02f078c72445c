"""By what factor each part holds against a milling cut: the teeth in the cut, loaded to collapse."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.holding.factor import CEILING, DRAG, PRESS, WALL, Change, Rig, losses_of, pull_on
from fixturecheck.holding.loads import target_faces
from fixturecheck.holding.model import Borne, LoadCase, Lost, MilledHold
from fixturecheck.kernel.clip import extent_along
from fixturecheck.kernel.shapes import Solid, box_of, to_vector
from fixturecheck.physics.collapse import collapse
from fixturecheck.physics.collapse_range import factor_range
from fixturecheck.physics.equilibrium import Holding, Load, write_equations
from fixturecheck.physics.equilibrium_path import settle_held
from fixturecheck.physics.grinding import Forces
from fixturecheck.physics.limit_rank import rank_factors
from fixturecheck.physics.milling import Mill, Shearing, shearing, tooth_force_n
from fixturecheck.physics.milling_turn import (
    WAYS,
    Turned,
    engaged_rad,
    laws,
    one_turn,
    strip_mm,
    thickest_chip_mm,
)
from fixturecheck.physics.ranges import Range
from fixturecheck.result import Vector
from fixturecheck.setup.holding import Milling
from fixturecheck.setup.model import Setup

SIZE = "size of the cutting force"
_LOADED = 8
_ANGLES = 7
_SAME_MM = 1e-6
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
    def ways(self) -> tuple[str, ...]:
        """Every way in which the cutter may stand to what it cuts; of those that are the same, one."""
        stated = WAYS if self.mill.way == "any" else (self.mill.way,)
        seen = {tuple(round(y / _SAME_MM) for y in strip_mm(self.cut, way)): way for way in stated}
        return tuple(seen.values())

    @property
    def axes(self) -> tuple[Vector, Vector]:
        """Level unit vectors along the feed and to the left of it."""
        x, y = self.mill.feed[0], self.mill.feed[1]
        level = math.hypot(x, y)
        return (x / level, y / level, 0.0), (-y / level, x / level, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """The cutter at one place and angle, and a figure that sorts it among the others.

    Parameters
    ----------
    case : LoadCase
        Place and way.
    group : tuple of int
        Way, strip and place: neighbours differ by no more than the cutter's turn.
    problem : Holding
        With what holds at its low end and the cutting force at its high end.
    rank_factor : float
        About the factor, for sorting only.
    """

    case: LoadCase
    group: tuple[int, int, int]
    problem: Holding
    rank_factor: float

    def borne(self, values: Mapping[str, float]) -> Borne:
        """Load it until it lets go."""
        return Borne(case=self.case, values=values, collapse=collapse(self.problem, ceiling=CEILING))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loaded:
    """Every trial, the lowest rank first, and those that were loaded to collapse, the least borne first."""

    values: Mapping[str, float]
    trials: tuple[Trial, ...]
    borne: tuple[Borne, ...]

    @property
    def worst(self) -> Trial:
        """The trial that is borne least."""
        return next(t for t in self.trials if t.case is self.borne[0].case)


def loaded(job: Milled, *, change: Change = lambda whole: whole) -> Loaded:
    """Load a part by the cutter at every place and angle; those that it seems to bear least, to collapse.

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
    values = {**{name: span.low for name, span in _inputs(job.rig).items()}, SIZE: 1.0}
    held = job.rig.holding(values, ())
    trials = [(case, group, change(replace(held, cutting=loads))) for case, group, loads in _stands(job)]
    if not trials:
        message = f"{job.part}: no place was found at which a tooth of the cutter meets it"
        raise NotComputedError(message)
    ranked = [
        Trial(case=case, group=group, problem=problem, rank_factor=rank)
        for (case, group, problem), rank in zip(trials, _ranks([t[2] for t in trials]), strict=True)
    ]
    ranked.sort(key=lambda t: (t.rank_factor, t.case.label, t.case.at_mm))
    borne = [t.borne(values) for t in ranked[:_LOADED]]
    borne.sort(key=lambda b: b.collapse.factor.low)
    return Loaded(values=values, trials=tuple(ranked), borne=tuple(borne))


def _ranks(problems: Sequence[Holding]) -> list[float]:
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

    def build(values: Mapping[str, float]) -> Holding:
        scaled = (replace(c, force_n=to_vector(values[SIZE] * f for f in c.force_n)) for c in cutting)
        return rig.holding(values, tuple(scaled))

    share = {way: _least_share(job, way) for way in job.ways}
    spans = {**_inputs(rig), SIZE: Range(low=share[way_of(job, known.case)], high=1.0)}
    most_n, way = max((t.cutting_n, way) for way in job.ways for t in _angles(job, way))
    return MilledHold(
        part=part,
        cut=job.mill.name,
        cutting_n=Range(low=most_n * share[way], high=most_n),
        case=known.case,
        factors=factor_range(
            build, spans, known=(known.collapse, known.values), ceiling=CEILING, draws=2
        ),
        load_n=to_vector(sum(c.force_n[i] for c in cutting) for i in range(3)),
        pull_n=pull_on(rig, part),
    )  # fmt: skip


def milled_losses(job: Milled, loose: Sequence[str]) -> tuple[Lost, ...]:
    """Take away one loose block at a time, or wet every contact; the lowest factor first."""
    return losses_of(loose, lambda change: loaded(job, change=change).borne)


def _inputs(rig: Rig) -> dict[str, Range]:
    """Return what is not known well of the hold; there is no wheel."""
    nothing = Range.exactly(0.0)
    wheel = Forces(tangential_n=nothing, normal_n=nothing, wall_n=nothing, energy_j_mm3=nothing)
    return {name: span for name, span in rig.inputs(wheel).items() if name not in {DRAG, PRESS, WALL}}


def _least_share(job: Milled, way: str) -> float:
    """Return the least cutting force over the greatest, at the thickest chip of a way."""
    one = tooth_force_n(job.cut, job.takes, thickest_chip_mm(job.cut, way))
    return one.low / one.high


def _angles(job: Milled, way: str) -> Iterator[Turned]:
    """Yield the cutter over a turn, with every pair of ends of radial and axial force."""
    for law in laws(job.takes):
        yield from one_turn(job.cut, law, way, steps=_ANGLES)


def _stands(job: Milled) -> Iterator[tuple[LoadCase, tuple[int, int, int], tuple[Load, ...]]]:
    """Yield every place and angle of the cutter, its group, and the loads of its teeth on the part."""
    along, left = (np.array(v) for v in job.axes)
    face = target_faces(job.setup, job.placed, job.part, job.mill.face)
    span, across = extent_along(face, along), extent_along(face, left)
    z = box_of(face)[5]
    for w, way in enumerate(job.ways):
        turned = list(_angles(job, way))
        for (s, middle), (p, where, ahead) in itertools.product(
            enumerate(_strips(job, across)), _places(job, way, span)
        ):
            low, high = strip_mm(job.cut, way)
            axis = ahead * along + (middle - 0.5 * (low + high)) * left + np.array([0.0, 0.0, z])
            for angle in turned:
                teeth = []
                for tooth in angle.teeth:
                    x, y, up = tooth.at_mm
                    if not _over(ahead + x, span) or not _over(float(axis @ left) + y, across):
                        continue
                    at = to_vector(axis + x * along + y * left + np.array([0.0, 0.0, up]))
                    fx, fy, fz = tooth.force_n
                    force = to_vector(fx * along + fy * left + np.array([0.0, 0.0, fz]))
                    teeth.append(Load(body=job.part, force_n=force, at_mm=at, label="cut"))
                if teeth:
                    yield _case(job, way, where, to_vector(axis), teeth), (w, s, p), tuple(teeth)


def _case(job: Milled, way: str, where: str, axis_mm: Vector, teeth: Sequence[Load]) -> LoadCase:
    """Return the case of some teeth; it is placed at the one that pushes hardest."""
    whole = math.hypot(*(sum(t.force_n[i] for t in teeth) for i in range(3)))
    hardest = max(teeth, key=lambda t: math.hypot(*t.force_n))
    how = way_words(way)
    return LoadCase(
        label=f"milling force of {job.setup.write.force(whole)}, {how}, cutter {where}",
        stroke=how,
        at_mm=hardest.at_mm,
        axis_mm=axis_mm,
    )


def way_of(job: Milled, case: LoadCase) -> str:
    """Return how the cutter stands in a case to what it cuts, as the set-up states it."""
    return next(w for w in job.ways if case.stroke == way_words(w))


def way_words(way: str) -> str:
    """Return a way of the cutter in words."""
    return {"climb": "climb milling", "conventional": "conventional milling", "centred": "cutter centred"}[
        way
    ]


def _over(place_mm: float, span: tuple[float, float]) -> bool:
    return span[0] - _SAME_MM <= place_mm <= span[1] + _SAME_MM


def _strips(job: Milled, across: tuple[float, float]) -> tuple[float, ...]:
    """Return the middles of what is cut at a time: both edges of the face, and between them."""
    low, high = across[0] + 0.5 * job.mill.wide_mm, across[1] - 0.5 * job.mill.wide_mm
    middle = 0.5 * (across[0] + across[1])
    return (middle,) if high - low < _SAME_MM else (low, middle, high)


def _places(job: Milled, way: str, span: tuple[float, float]) -> list[tuple[int, str, float]]:
    """Return where the axis stands along the feed: where teeth meet either end of the face, and between.

    The foremost tooth meets an end earlier than the one farthest aside.
    """
    low, high = engaged_rad(job.cut, way)
    radius = 0.5 * job.mill.cutter_mm
    aside = radius * min(math.cos(low), math.cos(high))
    foremost = radius * (1.0 if low <= 0.0 <= high else max(math.cos(low), math.cos(high)))
    feed = job.mill.feed
    first, between, last = _ENDS[0 if abs(feed[0]) >= abs(feed[1]) else 1]
    if feed[0 if abs(feed[0]) >= abs(feed[1]) else 1] < 0.0:
        first, last = last, first
    places = [
        (first, span[0] - foremost),
        (first, span[0] - aside),
        (between, 0.5 * (span[0] + span[1]) - foremost),
        (last, span[1] - foremost),
        (last, span[1] - aside),
    ]
    return [(i, where, ahead) for i, (where, ahead) in enumerate(places)]
