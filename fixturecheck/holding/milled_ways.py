"""Where a milled part goes once it has let go: away from the cutter or into it, and what stops it.

The part follows the motion that it starts with, the cutter standing where it did. Of what it may bite into,
two things are carried along: the stock in front of the teeth, which must not come nearer to the axis, and
every face of the bodies that move, none of which may come into the cutter. The part is drawn finished, so its
face touches the end of the cutter at the start.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.holding.loads import target_faces
from fixturecheck.holding.milled import Loaded, Trial
from fixturecheck.holding.milled_cutter import Cutter, Floats, cutter_at, points_of, points_on
from fixturecheck.holding.milled_stands import Milled, way_of
from fixturecheck.holding.model import Borne, LoadCase, MilledHold, Way, Ways
from fixturecheck.holding.ways import FAR_MM, TRAVEL_MM, by_harm, first_met
from fixturecheck.kernel.build import box
from fixturecheck.kernel.clip import on_face
from fixturecheck.kernel.regions import loose_box
from fixturecheck.kernel.shapes import Box, Face, Shape, Solid
from fixturecheck.physics.collapse import Collapse
from fixturecheck.physics.collapse_motion import Motion
from fixturecheck.physics.milling_bite import GIVE_MM, Bite, Bitten, Chip, follow_bite
from fixturecheck.physics.milling_turn import engaged_rad, thickest_chip_mm

THE_TABLE = "the table"
_ARC = 25
_UNDER_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
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


def bench_of(job: Milled) -> Bench:
    """Return what stands there, with the table below all of it where it is stated to lie there."""
    others: dict[str, Shape] = dict(job.placed)
    boxes = [loose_box(s) for s in job.placed.values()]
    table_z = job.setup.machine.table_z_mm
    if min(b[2] for b in boxes) >= table_z - 0.01:
        others[THE_TABLE] = _table(boxes, table_z)
    moving = {b.name for b in job.rig.bodies}
    return Bench(
        job=job, others=others, surfaces={n: points_on(s) for n, s in job.placed.items() if n in moving}
    )


def milled_ways(job: Milled, part: MilledHold, found: Loaded, least_factor: float) -> Ways:
    """Follow a part where it is borne least, and wherever the cutter stands while its factor is too low.

    The case borne least comes first; once one digs in, those that are borne better change no verdict and are
    not followed. Of neighbours, which differ by the cutter's turn only, the one borne least speaks for all.

    Parameters
    ----------
    part : MilledHold
        How it holds; its losses are followed too.
    found : Loaded
        Every place and angle.
    least_factor : float
        Factor that the set-up states.
    """
    bench = bench_of(job)
    worst = [(part.case, part.factors.worst)]
    groups: dict[tuple[int, int, int], Trial] = {}
    for trial in found.trials:
        groups.setdefault(trial.stand.group, trial)
    ways = _followed(bench, worst, "")
    ways = _more(bench, ways, found.borne, least_factor)
    done = {b.case.label for b in found.borne}
    for trial in groups.values():
        if any(w.digs_in for w in ways) or trial.rank_factor >= _MARGIN * least_factor:
            break
        if trial.stand.case.label not in done:
            ways = _more(bench, ways, (trial.borne(found.values),), least_factor)
    lost: list[Way] = []
    for loss in part.losses:
        cases = [(b.case, b.collapse) for b in loss.borne if b.collapse.factor.low < least_factor]
        lost += sorted(_followed(bench, cases, loss.lost), key=by_harm)[:1]
    return Ways(found=tuple(sorted(ways, key=by_harm)), lost=tuple(sorted(lost, key=by_harm)))


_MARGIN = 1.1
"""How far what sorts the loads may be off the factor, with some to spare."""


def _more(bench: Bench, ways: list[Way], borne: Sequence[Borne], least_factor: float) -> list[Way]:
    """Follow more cases below the least, unless one dug in already."""
    if any(w.digs_in for w in ways):
        return ways
    cases = [(b.case, b.collapse) for b in borne if b.collapse.factor.low < least_factor]
    return ways + _followed(bench, cases, "")


def _followed(bench: Bench, cases: Sequence[tuple[LoadCase, Collapse]], lost: str) -> list[Way]:
    """Follow cases one after the other, down to the first that digs in."""
    ways: list[Way] = []
    for case, collapse in cases:
        way = follow(bench, case, collapse, lost)
        ways += [way] if way is not None else []
        if way is not None and way.digs_in:
            break
    return ways


def follow(bench: Bench, case: LoadCase, found: Collapse, lost: str = "") -> Way | None:
    """Follow one collapse; None where it stopped at the ceiling and nothing goes."""
    if not found.motions:
        return None
    part = bench.job.part
    mine = next((m for m in found.motions if m.body == part), found.motions[0])
    way = Way(case=case, factor=found.factor.low, lost=lost, motion=mine, crash=None)
    try:
        others = {n: s for n, s in bench.others.items() if n not in {m.body for m in found.motions}}
        hits, after_mm = first_met(bench.job.placed[mine.body], mine, others)
        bitten, bites = follow_into(bench, case, found.motions, after_mm)
        if bitten.first_mm is None and mine.kind == "slides":
            bitten, bites = _further_on(bench, case, mine, after_mm, bitten)
    except (NotComputedError, KernelError) as reason:
        return replace(way, reason=str(reason))
    along, _ = bench.job.axes
    return replace(
        way,
        crash=bitten,
        bites=bites,
        drawn_in=float(np.dot(mine.velocity_at(case.at_mm), along)) < -0.5,
        hits=hits,
        hits_after_mm=after_mm,
    )


def _further_on(
    bench: Bench, case: LoadCase, motion: Motion, stopped_after_mm: float | None, near: Bitten
) -> tuple[Bitten, str | None]:
    """Follow a slide on, level as it lies: a shoulder of its own may meet the cutter."""
    vx, vy, _ = motion.velocity
    if math.hypot(vx, vy) == 0.0:
        return near, None
    level = replace(motion, velocity=(vx, vy, 0.0), rotation_rad_mm=(0.0, 0.0, 0.0))
    far, bites = follow_into(bench, case, (level,), stopped_after_mm, travel_mm=FAR_MM)
    return (far, bites) if far.first_mm is not None else (near, None)


def follow_into(
    bench: Bench,
    case: LoadCase,
    motions: Sequence[Motion],
    stopped_after_mm: float | None,
    *,
    travel_mm: float = TRAVEL_MM,
) -> tuple[Bitten, str | None]:
    """Return what becomes of the bite, and the body that is bitten into, None where none is.

    Parameters
    ----------
    motions : sequence of Motion
        Of every body that moves.
    stopped_after_mm : float or None
        How far the part moves until something stands in its way.
    travel_mm : float
        How far it is followed where nothing does.
    """
    job, cutter = bench.job, bench.cutter_at(case)
    stock, under = stock_points(job, case, cutter)
    far_mm = travel_mm if stopped_after_mm is None else stopped_after_mm
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
            thick_mm=thickest_chip_mm(job.cut, way_of(job, case)),
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

    Raises
    ------
    NotComputedError
        Neither is there: the cutter stands off the face.
    """
    pieces = target_faces(job.setup, job.placed, job.part, job.mill.face).Faces()
    low, high = engaged_rad(job.cut, way_of(job, case))
    along, left = (np.array(v) for v in job.axes)

    def rim(angles: Floats) -> Floats:
        level = np.outer(np.cos(angles), along) + np.outer(np.sin(angles), left)
        points = cutter.axis_mm + cutter.radius_mm * level
        return points[[_on(pieces, p) for p in points]]

    front = rim(np.linspace(low, high, _ARC))
    tooth = np.array(case.at_mm) * [1.0, 1.0, 0.0] + [0.0, 0.0, cutter.axis_mm[2]]
    front = np.concatenate([front, tooth[None, :]])
    around = rim(np.linspace(0.0, 2.0 * math.pi, 2 * _ARC, endpoint=False))
    face = np.concatenate([points_of(f) for f in pieces])
    under = face[cutter.behind_mm(face) > 0.0]
    up = np.array([0.0, 0.0, job.mill.deep_mm])
    stock = np.concatenate([front, front + 0.5 * up, front + up])
    return stock, np.concatenate([around, under])


def _after(motion: Motion, points: Floats, moved_mm: float) -> Floats:
    turn, shift = motion.pose_after(moved_mm)
    return points @ turn.T + shift


def _on(pieces: Sequence[Face], point: Floats) -> bool:
    return any(on_face(point, piece, _UNDER_MM) for piece in pieces)


def _table(boxes: Sequence[Box], top_mm: float) -> Solid:
    """Return the table below everything, wide enough for whatever falls on it."""
    low = [min(b[i] for b in boxes) - 2.0 * FAR_MM for i in range(2)]
    high = [max(b[i + 3] for b in boxes) + 2.0 * FAR_MM for i in range(2)]
    return box((low[0], low[1], top_mm - FAR_MM), (high[0], high[1], top_mm))
