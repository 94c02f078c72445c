"""Where rigid bodies come to rest under steady pushes, with contacts that only push and nothing that sticks.

Each step is a convex programme: the loads pull every body along, a mass metric keeps the path unique, and no
candidate gap may close past zero. Bodies are then moved by exact rotations, candidates are found again at the
new poses, and the step is accepted when the load's potential plus a penalty on overlap went down. At rest the
multipliers are the contact forces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.result.rest import Ending
from fixturecheck.rigid import CandidateRows, Poses, moved
from fixturecheck.statics.contact_step import (
    FINEST_MM,
    LoadArrays,
    SteadyLoad,
    gentled,
    greatest_force,
    load_arrays,
    metric_of,
    programme,
)
from fixturecheck.statics.limit import HOLDS, unbalanced

Finder = Callable[[Poses, float, float, float], CandidateRows]
"""Given poses, a reach in mm, an angle slack in radians and a depth in mm: every candidate nearer than the
reach, and overlaps at least down to that depth."""


STRAIGHT = 1e-3
"""A move that turns nothing by more than this share of how far it goes is a straight one."""
REACH = 3.0
"""How far a look reaches, in steps as long as the last one; two bodies close by two. Where the next step goes
further it looks again: to look ahead for it costs several times as many rows between detailed parts."""
DEEP = 0.5
"""How deep an overlap is looked for where a close look follows a long move, as a share of the move."""
CLOSE_MM, CLOSE_RAD = 0.01, 1e-6
"""How far the last look reaches, and how much turning it allows for."""
LANDED = 0.25
"""A step is taken to have landed when contacts stopped it at this share of its length."""
SLIDES = 0.9
"""What goes as far as this share of the step before, which was taken to have landed, has not landed."""
GENTLE = 4.0
"""How many times its seating force a body is pushed with at first."""
CARRIED = 1e-3
"""Share of what seats a body that may be left unbalanced at a rest."""
CREEP = 8
"""Steps without the load coming nearer to balance after which friction is asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """When to stop.

    Parameters
    ----------
    step_mm : float
        Overlap allowed at the start, and how far ahead is looked at least while bodies still go far.
    approach_mm : float
        How far bodies are from where they will land; the first step is twice as long, later ones grow and
        shrink by what they find.
    closure_mm : float
        Overlap and last move allowed at rest.
    slack_mm : float
        Overlap that need not be opened: a part that fits its place without play touches both its ends.
    balance : float
        Unbalanced load allowed at rest, as a share of the load.
    grip : float
        Friction coefficient that is relied on only to stop endless creeping along seats that are a little
        out of level; far below any real one, so that nothing is held by it that a hand would not move.
    travel_mm : float
        A body that has gone further than this has left the set-up.
    steps : int
        Most steps taken, refused ones counted.
    """

    step_mm: float = 1.0
    approach_mm: float = 1.0
    closure_mm: float = 1e-6
    slack_mm: float = 1e-9
    balance: float = 1e-6
    grip: float = 0.02
    travel_mm: float = 100.0
    steps: int = 400


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settling:
    """What came of it.

    Parameters
    ----------
    ending : Ending
        How it ended.
    poses : Poses
        Last poses; the rest poses when `ending` is `REST`.
    rows : CandidateRows
        Candidates at those poses.
    force_n : ndarray
        Contact force of each row at rest.
    residual_mm : float
        Larger of the deepest overlap and the last move.
    balance : float
        Unbalanced share of the load.
    steps : int
        Steps tried.
    body : int
        The body an ending other than `REST` is about, -1 when it is about all.
    visited : tuple of Poses
        The start, and where the bodies stood after each step that was taken.
    """

    ending: Ending
    poses: Poses
    rows: CandidateRows
    force_n: Floats
    residual_mm: float
    balance: float
    steps: int
    body: int = -1
    visited: tuple[Poses, ...] = ()


def settle(loads: list[SteadyLoad], start: Poses, find: Finder, bounds: Bounds | None = None) -> Settling:
    """Let loose bodies go where their loads take them until contacts hold them.

    Parameters
    ----------
    loads : list of SteadyLoad
        One for each loose body; every other body stays.
    start : Poses
        Where all bodies start, without overlap.
    find : Finder
        Finds candidates at given poses.
    bounds : Bounds, optional
        When to stop.

    Returns
    -------
    Settling
        Always; an ending other than rest says why.

    Notes
    -----
    Where a part is pushed much harder than it is seated, it first settles under a push that is no more than
    `GENTLE` times as hard, and then, from there, under all of it: beside a push a hundred times the weight
    the weight would take thousands of steps to pull the part down.
    """
    bounds = bounds or Bounds()
    gentle = [gentled(one, GENTLE) for one in loads]
    if all(one is two for one, two in zip(gentle, loads, strict=True)):
        return _settled(loads, start, find, bounds)
    first = _settled(gentle, start, find, bounds)
    if first.ending is not Ending.REST:
        return _settled(loads, start, find, bounds)
    last = _settled(loads, first.poses, find, replace(bounds, approach_mm=CLOSE_MM / 2))
    return replace(last, steps=first.steps + last.steps, visited=first.visited + last.visited[1:])


def _settled(loads: list[SteadyLoad], start: Poses, find: Finder, bounds: Bounds) -> Settling:
    """Settle under loads as they are."""
    greatest = greatest_force(loads)
    if greatest == 0.0:
        rows = find(start, bounds.step_mm, 1e-6, 0.0)
        return Settling(
            ending=Ending.NO_PUSH,
            poses=start,
            rows=rows,
            force_n=np.zeros(len(rows.gap_mm)),
            residual_mm=0.0,
            balance=0.0,
            steps=0,
            body=loads[0].body if loads else -1,
        )
    return _Walk(load_arrays(loads, greatest), start, find, bounds).run()


class _Walk:
    """The loop, with what it remembers between steps."""

    def __init__(self, frame: LoadArrays, start: Poses, find: Finder, bounds: Bounds) -> None:
        self.frame, self.start, self.find, self.bounds = frame, start, find, bounds
        self.poses, self.centres = start, frame.centres(start)
        self.from_mm, self.acts_at = self.centres, frame.places(start)
        self.potential = 0.0
        self.visited = [start]
        self.step = 2.0 * bounds.approach_mm
        self.longest = max(bounds.step_mm, 0.5 * float(frame.size.min()))
        self.prospect = self.seen = bounds.approach_mm
        self.rows = self._look(start)
        self.force = np.zeros(len(self.rows.gap_mm))
        self.residual, self.balance = np.inf, np.inf
        self.past: list[float] = []
        self.landed_mm = np.inf
        self.crept, self.patience = False, 0
        scale = np.ones((len(frame.bodies), 6))
        scale[:, 3:] = frame.size[:, None]
        self.scale = scale

    def _look(self, poses: Poses, deep_mm: float = 0.0) -> CandidateRows:
        """Find candidates within what the next step is likely to close."""
        self.seen = self.prospect
        slack = min(0.2, 2 * self.prospect / float(self.frame.size.min())) + 1e-7
        return self.find(poses, REACH * self.prospect, slack, deep_mm)

    def _close_look(self, poses: Poses) -> CandidateRows:
        """Find what touches or all but touches, as a rest reports it."""
        self.seen = self.prospect
        return self.find(poses, CLOSE_MM, CLOSE_RAD, 0.0)

    def run(self) -> Settling:
        """Step until rest, a plain reason, or the last step allowed."""
        if _overlap(self.rows) > self.bounds.step_mm:
            return self._end(Ending.OVERLAPS, 0)
        for count in range(1, self.bounds.steps + 1):
            if self.prospect > 1.5 * self.seen or self.prospect < 0.2 * self.seen:
                self.rows = self._look(self.poses)
            try:
                solved = programme(
                    self.frame, self.poses, self.rows, self.step, slack_mm=self.bounds.slack_mm
                )
            except NotComputedError:
                self.step *= 0.4
                self.prospect *= 0.4
                continue
            if solved is None:
                # The rows that no move opens all at once are the answer.
                return self._end(Ending.JAMMED, count, force=np.zeros(len(self.rows.gap_mm)))
            if self._too_far(solved[0]):
                continue
            size = self._judge(*solved)
            if self._at_rest(size):
                rested = self._rested(count)
                if rested is not None:
                    return rested
            far = np.linalg.norm(self.centres - self.from_mm, axis=1)
            if far.max() > self.bounds.travel_mm:
                return self._gone(count, int(np.argmax(far)))
        return self._end(Ending.NOT_CONVERGED, self.bounds.steps)

    def _too_far(self, twists: Floats) -> bool:
        """Ask for less where a long step turns something, and look further where more could be met."""
        move = float(np.abs(twists * self.scale).max())
        if self.step > self.longest and not self._straight(twists, move):
            self.step = self.longest
            return True
        if 2.0 * move <= REACH * self.seen:
            return False
        self.prospect = move
        self.rows = self._look(self.poses)
        return True

    def _straight(self, twists: Floats, move: float) -> bool:
        """Tell whether no body turns in a move, so that the linear programme is exact for it."""
        turned = float(np.abs((twists * self.scale)[:, 3:]).max())
        return turned <= max(STRAIGHT * move, self.bounds.closure_mm)

    def _judge(self, twists: Floats, force: Floats) -> float:
        """Take the step if it helps, size the next, and return its share of the allowed step."""
        size = float(np.abs(twists * self.scale).max()) / self.step
        move = size * self.step
        ahead = min(move, self.step, max(self.bounds.step_mm, self.longest / 3.0))
        # Where contacts stopped a straight move rest is likely, so that a close look will do; if not, the
        # next step asks for more. Where that goes as far again, nothing stops it: a light push along a seat.
        # Overlaps are looked for deep: a row speaks only for what it is over.
        slides = size > self.bounds.grip and move >= SLIDES * self.landed_mm
        landed = size < LANDED and self._straight(twists, move) and not slides
        self.prospect = FINEST_MM if landed else max(ahead, FINEST_MM)
        poses = moved(self.poses, self.frame.bodies, self.centres, twists)
        rows = self._close_look(poses) if self._still(size) else self._look(poses, DEEP * move)
        old, new = _overlap(self.rows), _overlap(rows)
        penalty = 2.0 * max(1.0, float(force.sum()) / self.frame.unit_n)
        potential = self.frame.potential(poses, self.acts_at)
        rise = potential - self.potential
        clean = new <= max(0.1 * move, self._allowed()) or new <= 0.5 * old
        if not (clean and rise <= penalty * old + 1e-10) and move > self.bounds.closure_mm:
            self.step *= 0.4
            self.prospect *= 0.4
            return size
        self.poses, self.rows, self.force = poses, rows, force
        self.centres, self.potential = self.frame.centres(poses), potential
        self.landed_mm = move if landed or slides else np.inf
        self.visited.append(poses)
        self.residual, self.balance = new, size
        if new < 0.05 * self.step and (size > self.bounds.grip or self.patience < 0):
            straight = self._straight(twists, move)
            growth, most = (4.0, 4.0 * self.longest) if straight else (1.5, self.longest)
            self.step = min(growth * self.step, most)
        if landed:
            # What still goes on will hardly go further than what has landed; to look as far as the longest
            # step costs a hundred times as many rows between detailed parts.
            self.step = min(self.step, max(2.0 * self.bounds.approach_mm, move))
        self._watch(size)
        return size

    def _allowed(self) -> float:
        """Return the overlap allowed at rest, mm."""
        return max(self.bounds.closure_mm, self.bounds.slack_mm)

    def _still(self, size: float) -> bool:
        """Tell whether a step of this share of the one allowed counts as standing still."""
        return size <= self.bounds.balance and size * self.step <= self.bounds.closure_mm

    def _watch(self, size: float) -> None:
        """Notice a load that comes no nearer to balance, and close up before asking friction."""
        self.past.append(size)
        slow = len(self.past) > CREEP and size <= self.bounds.grip and size > 0.5 * self.past[-CREEP]
        if slow and self.patience == 0:
            self.step, self.prospect, self.patience = 10 * FINEST_MM, FINEST_MM, CREEP
        self.crept = slow and self.patience > 0
        if self.patience != 0:
            # Friction did not help: what creeps is a part going over, so let it go in long steps.
            self.patience = -5 * CREEP if self.patience == 1 else self.patience - int(np.sign(self.patience))

    def _at_rest(self, size: float) -> bool:
        """Tell whether nothing overlaps and nothing moves, or only creeps where friction would hold."""
        if self.residual > self._allowed() or self.seen > 20 * FINEST_MM:
            return False
        if self._still(size):
            return True
        return self.crept and self._gripped()

    def _gripped(self) -> bool:
        """Tell whether friction at the contacts holds the load without any motion."""
        rows, closure = self.rows, 10 * self.bounds.closure_mm
        load, frame = self.frame.wrench(self.poses), self.frame
        grip = self.bounds.grip
        left = unbalanced(rows, frame.bodies, self.centres, load, frame.size, mu=grip, closure_mm=closure)
        return left <= HOLDS

    def _gone(self, count: int, which: int) -> Settling:
        """Say whether the body that left slid along something or fell through nothing."""
        body = int(self.frame.bodies[which])
        touching = (self.rows.body_a == body) | (self.rows.body_b == body)
        held = bool(np.any(touching & (self.rows.gap_mm < 0.1 * self.step)))
        return self._end(Ending.SLIDES if held else Ending.FALLS, count, body)

    def _rested(self, count: int) -> Settling | None:
        """Return the rest with the force of each contact; None where a close look shows a move."""
        if not self._still(self.balance):
            self.rows = self._close_look(self.poses)
        try:
            solved = programme(
                self.frame, self.poses, self.rows, FINEST_MM, self.bounds.closure_mm, self.bounds.slack_mm
            )
        except NotComputedError:
            return self._end(Ending.NOT_CONVERGED, count)
        if solved is None:
            return self._end(Ending.NOT_CONVERGED, count)
        move = float(np.abs(solved[0] * self.scale).max())
        held = move <= self.bounds.closure_mm or (self.crept and self._gripped())
        if not held or not self._carried(*solved):
            return None
        return self._end(Ending.REST, count, force=solved[1])

    def _carried(self, twists: Floats, force: Floats) -> bool:
        """Tell whether contacts carry every body with friction left out, but for a share of what seats it.

        Where a body creeps the share is that of the friction relied on, of what seats it or presses on it
        from above and below; the push at a stop holds up no weight.
        """
        frame, rows = self.frame, self.rows
        metric = metric_of(frame.wrench(self.poses))
        left = np.linalg.norm(twists * self.scale, axis=1) / FINEST_MM * metric
        seat = frame.seat()
        share, pressed = CARRIED, np.zeros(len(seat))
        if self.crept:
            share = self.bounds.grip
            upright = force * np.abs(rows.normal[:, 2]) / frame.unit_n
            for side in (rows.body_a, rows.body_b):
                pressed += [float(upright[side == body].sum()) for body in frame.bodies]
        return bool(np.all(left <= share * np.maximum(seat, pressed) + 1e-9))

    def _end(self, ending: Ending, count: int, body: int = -1, force: Floats | None = None) -> Settling:
        """Pack the ending, with forces where it is a rest."""
        rows = self.rows if force is not None else self._close_look(self.poses)
        return Settling(
            ending=ending,
            poses=self.poses,
            rows=rows,
            force_n=np.zeros(len(rows.gap_mm)) if force is None else force,
            residual_mm=self.residual,
            balance=self.balance,
            steps=count,
            body=body,
            visited=tuple(self.visited),
        )


def _overlap(rows: CandidateRows) -> float:
    """Return the deepest overlap in mm."""
    return max(0.0, -float(rows.gap_mm.min(initial=0.0)))
