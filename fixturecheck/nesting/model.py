"""What settling works on, bodies ready to move, and the draws within tolerances that come with its answer."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.proximity.candidates import ProximityScene, Shapes
from fixturecheck.kernel.brep.features import Features, features_of
from fixturecheck.kernel.brep.topology import one_of_each
from fixturecheck.kernel.place import drawing_matrix, matrix_of
from fixturecheck.result.tolerance import Chances
from fixturecheck.rigid.motion import Poses
from fixturecheck.setup.model import Body, Setup
from fixturecheck.statics.rest import Settling

SURE = 0.9973
"""The share of draws within three standard deviations of a normal spread: what counts as sure."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SettlingModel:
    """The bodies of a set-up as features, with poses as drawn; made once and settled as often as wanted.

    Parameters
    ----------
    bodies : tuple of Body
        In the set-up's order; indices below refer to it.
    features : tuple of Features
        What of each can touch, in its own frame.
    drawn : Poses
        Poses as drawn.
    known : dict
        What was made of the features for the settlings before.
    rests : dict
        Where bodies came to rest, by the features and a digest of all else that was asked.
    """

    setup: Setup
    bodies: tuple[Body, ...]
    features: tuple[Features, ...]
    drawn: Poses
    known: dict[tuple[Features, ...], Shapes] = field(default_factory=dict)
    rests: dict[tuple[tuple[Features, ...], str], Settling] = field(default_factory=dict)

    def scene(self, loose: Iterable[int]) -> ProximityScene:
        """Return the bodies ready to be looked at, with those that move."""
        moving = set(loose)
        if self.features not in self.known:
            self.known.clear()
            self.known[self.features] = Shapes(self.features)
        return ProximityScene(self.known[self.features], [i in moving for i in range(len(self.bodies))])

    def index(self, name: str) -> int:
        """Return the number of a body."""
        self.setup.body(name)
        return next(i for i, b in enumerate(self.bodies) if b.name == name)


def settling_model_of(setup: Setup) -> SettlingModel:
    """Read the features of every body of a set-up, each distinct solid once."""
    known: dict[tuple[int, bytes], Features] = {}
    features = []
    for body, first in zip(setup.bodies, one_of_each([b.solid for b in setup.bodies]), strict=True):
        # Features are in the frame of the body, in which its solid may itself have been moved.
        one = first, drawing_matrix(body.solid).tobytes()
        if one not in known:
            known[one] = features_of(body.solid)
        features.append(known[one])
    return SettlingModel(
        setup=setup, bodies=setup.bodies, features=tuple(features), drawn=_drawn_poses(setup.bodies)
    )


def _drawn_poses(bodies: Iterable[Body]) -> Poses:
    """Return where bodies are drawn."""
    matrices = np.array([matrix_of(b.at) for b in bodies])
    return Poses(rotation=matrices[:, :3, :3].copy(), origin_mm=matrices[:, :3, 3].copy())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampledRest:
    """What tolerances do to the rest, with the draws that it was counted in.

    Parameters
    ----------
    chances : Chances
        The answer.
    move : ndarray, shape (draws, 6 * bodies)
        Shift in mm and turn in radians of each loose body from its nominal rest.
    bases : int
        Different sets of contacts that carried.
    draws_um : mapping of str to ndarray, shape (draws,)
        By target: the error of its middle.
    out_um : mapping of str to ndarray, shape (draws,)
        By target: how far out its middle or the corner is, whichever is furthest out.
    """

    chances: Chances
    move: Floats
    bases: int
    draws_um: Mapping[str, Floats]
    out_um: Mapping[str, Floats]
