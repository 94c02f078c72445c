"""How parts come from the hand to their rest: a clear straight way, then the poses that settling visited."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.nesting.model import SettlingModel
from fixturecheck.nesting.outcome import rest_pose
from fixturecheck.nesting.settle import (
    AWAY_MM,
    directions_out,
    loads_of,
    loose_of,
    moved_back,
    obstacles,
    ranks_of,
)
from fixturecheck.numeric import to_vector
from fixturecheck.result.rest import VisitedPose, WayIn
from fixturecheck.rigid.motion import Poses
from fixturecheck.setup.staging import Staging
from fixturecheck.statics.contact_step import SteadyLoad

MOST_PARTS = 16
"""Parts of which the way in is looked for: more are not followed by an eye (chosen here)."""

MOST_POSES = 24
"""Poses kept of one way; of more, evenly spread ones (chosen here)."""

_OFF_SHARE, _OF_LONGEST = 1.1, 0.3
"""How far off a hand lets go: in middle extents of the part, or at least in longest ones (chosen here)."""

_STIRS = 1e-9
"""What a pose differs by, mm or as a cosine, to count as another."""


def ways_in(model: SettlingModel, staging: Staging, visited: Sequence[Poses]) -> tuple[WayIn, ...]:
    """Return how the first parts come to their rest, in the order in which they come.

    Where parts are let go together, each is brought to where settling starts while those that come later are
    not there yet.

    Parameters
    ----------
    visited : sequence of Poses
        Where all bodies stood, from the start to the rest; bodies still to come are far off.
    """
    loose = loose_of(model, staging)
    loads = {one.body: one for one in loads_of(model, staging, loose)}
    ranks = ranks_of(model, staging, list(loads.values()))
    turn = sorted(loose, key=lambda body: ranks.get(body, len(ranks)))
    found = []
    for k, body in enumerate(turn[:MOST_PARTS]):
        steps = _steps_of(visited, body)
        if not steps:
            continue
        there = moved_back(visited[steps[0]], dict.fromkeys(turn[k + 1 :], np.full(3, AWAY_MM)))
        one = WayIn(
            body=model.bodies[body].name,
            from_mm=_from_mm(model, loads.get(body), body, there),
            visited=tuple(_visited(model, visited, body, _spread(steps))),
        )
        found.append(one)
    return tuple(found)


def _steps_of(visited: Sequence[Poses], body: int) -> list[int]:
    """Return the numbers of the poses before and after each move of a body, once it has come.

    A body that does not move has the one pose in which it comes.
    """
    come = [n for n, poses in enumerate(visited) if np.abs(poses.origin_mm[body]).max() < 0.5 * AWAY_MM]
    steps: list[int] = []
    for n in come[:-1]:
        before, poses = visited[n], visited[n + 1]
        gone = np.abs(poses.origin_mm[body] - before.origin_mm[body]).max()
        turned = np.abs(poses.rotation[body] - before.rotation[body]).max()
        if max(gone, turned) > _STIRS:
            steps += [n, n + 1] if not steps or steps[-1] != n else [n + 1]
    return steps or come[:1]


def _spread(steps: Sequence[int]) -> Sequence[int]:
    if len(steps) <= MOST_POSES:
        return steps
    return [steps[round(i)] for i in np.linspace(0, len(steps) - 1, MOST_POSES)]


def _visited(
    model: SettlingModel, visited: Sequence[Poses], body: int, steps: Sequence[int]
) -> Iterator[VisitedPose]:
    for n in steps:
        pose = rest_pose(model, visited[n], body)
        yield VisitedPose(step=n, shift_mm=pose.shift_mm, turn_deg=pose.turn_deg)


def _from_mm(
    model: SettlingModel, load: SteadyLoad | None, body: int, there: Poses
) -> tuple[float, float, float] | None:
    """Return from how far off a part can be brought straight to a pose; None where all ways are barred."""
    extents = np.sort(np.ptp(np.array(model.features[body].box_mm), axis=0))
    far = _OFF_SHARE * max(float(extents[1]), _OF_LONGEST * float(extents[2]))
    nothing: Floats = np.zeros((0, 3))
    for direction in directions_out([] if load is None else [load], nothing):
        if not len(obstacles(model, [body], there, {body: far * direction}).gap_mm):
            return to_vector(far * direction)
    return None
