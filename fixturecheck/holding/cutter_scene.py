"""What a milling cutter takes of a part that has let go, and what else stands there.

A freed part follows the motion that it starts with, the cutter standing where it did. Of what it may bite
into, two things are carried along: the stock in front of the teeth, which must not come nearer to the axis,
and every face of the bodies that move, none of which may come into the cutter. The part is drawn finished, so
its face touches the end of the cutter at the start.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.bearing import THE_TABLE
from fixturecheck.holding.cutter_places import Cutter, axes_of, cut_of, cutter_at, taken
from fixturecheck.holding.model import LoadCase
from fixturecheck.holding.process import FAR_MM, NEAR_MM, TRAVEL_MM, CuttingProcess
from fixturecheck.holding.rig import Rig
from fixturecheck.holding.wheel import target_faces
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import all_on_face, loose_box
from fixturecheck.kernel.shapes import Box, Shape, Solid
from fixturecheck.machining.bite import GIVE_MM, Bite, Bitten, Chip, follow_bite
from fixturecheck.machining.milling import engaged_rad, thickest_chip_mm
from fixturecheck.result.hold import CutterWay
from fixturecheck.setup.holding import Milling
from fixturecheck.statics.mechanism import StartingMotion

_ARC = 25
_RINGS = (1.0, 0.75, 0.5, 0.25, 0.0)
_UNDER_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutterScene:
    """Everything that stands there while one face is milled, and points all over what may move.

    Parameters
    ----------
    process : CuttingProcess
    mill : Milling
        The cut as stated.
    rig : Rig
    standing : mapping of str to Shape
        Every body.
    surfaces : mapping of str to ndarray, shape (n, 3)
        Points on the faces, edges and corners of each body that can move.
    """

    process: CuttingProcess
    mill: Milling
    rig: Rig
    standing: Mapping[str, Shape]
    surfaces: Mapping[str, Floats]
    stops_count: bool = True

    def others(self, _case: LoadCase) -> Mapping[str, Shape]:
        """Return what a freed part may run into: every body, and the table."""
        boxes = [loose_box(s) for s in self.standing.values()]
        top_mm = min(self.process.setup.table_z_mm, *(b[2] for b in boxes))
        return {**self.standing, THE_TABLE: _table(boxes, top_mm)}

    def stands_firm(self, name: str) -> bool:
        """Say whether a body stops what runs into it: loose blocks and other parts are pushed along."""
        rigid = next((b for b in self.rig.bodies if b.name == name), None)
        return rigid is None or rigid.slides_along is not None

    def cutter_at(self, case: LoadCase) -> Cutter:
        """Return the cutter where a case puts it.

        Raises
        ------
        NotComputedError
            The case does not state its axis.
        """
        if case.axis_mm is None:
            message = f"where the cutter stands in {self.process.cut_name} is not said"
            raise NotComputedError(message)
        return cutter_at(case.axis_mm, self.mill.cutter_mm)

    def drawn_in(self, case: LoadCase, motion: StartingMotion) -> bool:
        """Say whether a body moves against the feed."""
        along, _ = axes_of(case.feed or self.mill.feed)
        return float(np.dot(motion.velocity_at(case.at_mm), along)) < -0.5

    def bite(
        self,
        case: LoadCase,
        motions: Sequence[StartingMotion],
        stopped_mm: float | None = None,
        *,
        travel_mm: float = TRAVEL_MM,
    ) -> tuple[Bitten, str | None]:
        """Return what becomes of the bite, and the body that is bitten into; None where it bites into none.

        Parameters
        ----------
        motions : sequence of StartingMotion
            Of every body that moves.
        stopped_mm : float or None
            How far the part moves until something stands in its way.
        travel_mm : float
            How far it is followed where nothing does.
        """
        job, cutter = self.process, self.cutter_at(case)
        stock, under = self.stock_points(case, cutter)
        # What stops it is reported once they have all but met.
        far_mm = travel_mm if stopped_mm is None else stopped_mm + NEAR_MM
        deepest: dict[str, float] = {}

        def bite(moved_mm: float) -> Bite:
            closer, rise = [], []
            for motion in motions:
                points = _after(motion, self.surfaces[motion.body], moved_mm)
                start = cutter.deep_mm(self.surfaces[motion.body])
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
                thick_mm=thickest_chip_mm(cut_of(self.mill), CutterWay(case.stroke)),
                deep_mm=self.mill.deep_mm,
                exponent=taken(self.mill).exponent.low,
            ),
            travel_mm=far_mm,
            stopped=stopped_mm is not None,
            give_mm=GIVE_MM * max(1.0, far_mm / TRAVEL_MM),
        )
        if bitten.first_mm is None:
            return bitten, None
        return bitten, max(deepest, key=lambda n: (deepest[n], n == job.part))

    def stock_points(self, case: LoadCase, cutter: Cutter) -> tuple[Floats, Floats]:
        """Return points of the stock in front of the teeth, and of the finished face under the cutter.

        The stock lies on the face that is milled, as high as the cut is deep.
        """
        job = self.process
        pieces = faces_of(target_faces(job.setup, job.placed, job.part, self.mill.face))
        low, high = engaged_rad(cut_of(self.mill), CutterWay(case.stroke))
        along, left = (np.array(v) for v in axes_of(case.feed or self.mill.feed))
        over = np.array([0.0, 0.0, cutter.axis_mm[2] - job.floor_mm])

        def ring(angles: Floats, radius_mm: float) -> Floats:
            level = np.outer(np.cos(angles), along) + np.outer(np.sin(angles), left)
            points = cutter.axis_mm + radius_mm * level
            return points[np.any([all_on_face(points - over, one, _UNDER_MM) for one in pieces], axis=0)]

        tooth = np.array([case.at_mm[0], case.at_mm[1], cutter.axis_mm[2]])
        front = np.concatenate([ring(np.linspace(low, high, _ARC), cutter.radius_mm), tooth[None, :]])
        around = np.linspace(0.0, 2.0 * math.pi, 2 * _ARC, endpoint=False)
        under = [ring(around, share * cutter.radius_mm) for share in _RINGS]
        up = np.array([0.0, 0.0, self.mill.deep_mm])
        stock = np.concatenate([front, front + 0.5 * up, front + up])
        return stock, np.concatenate([*under, front])


def _closer(cutter: Cutter, front: Floats) -> float:
    """Return how far points that stood in front of the teeth have come behind them; sunk is away."""
    above = cutter.above_mm(front)
    return float(np.where(above >= -_UNDER_MM, cutter.behind_mm(front), above).max())


def _after(motion: StartingMotion, points: Floats, moved_mm: float) -> Floats:
    turn, shift = motion.pose_after(moved_mm)
    return points @ turn.T + shift


def _table(boxes: Sequence[Box], top_mm: float) -> Solid:
    """Return the table below everything, wide enough for whatever falls on it."""
    low = [min(b[i] for b in boxes) - 2.0 * FAR_MM for i in range(2)]
    high = [max(b[i + 3] for b in boxes) + 2.0 * FAR_MM for i in range(2)]
    return box((low[0], low[1], top_mm - FAR_MM), (high[0], high[1], top_mm))
