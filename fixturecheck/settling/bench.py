"""The bodies of a set-up ready to be settled: features read once, poses as drawn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from fixturecheck.contact.candidates import Scene, Shapes
from fixturecheck.kernel.brep.features import Features, features_of
from fixturecheck.kernel.brep.topology import one_of_each
from fixturecheck.kernel.place import drawing_matrix, matrix_of
from fixturecheck.physics.rigid import Poses
from fixturecheck.setup.model import Body, Setup


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
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
    """

    setup: Setup
    bodies: tuple[Body, ...]
    features: tuple[Features, ...]
    drawn: Poses
    known: dict[tuple[Features, ...], Shapes] = field(default_factory=dict)

    def scene(self, loose: Iterable[int]) -> Scene:
        """Return the bodies ready to be looked at, with those that move."""
        moving = set(loose)
        if self.features not in self.known:
            self.known.clear()
            self.known[self.features] = Shapes(self.features)
        return Scene(self.known[self.features], [i in moving for i in range(len(self.bodies))])

    def index(self, name: str) -> int:
        """Return the number of a body."""
        self.setup.body(name)
        return next(i for i, b in enumerate(self.bodies) if b.name == name)


def bench_of(setup: Setup) -> Bench:
    """Read the features of every body of a set-up, each distinct solid once."""
    known: dict[tuple[int, bytes], Features] = {}
    features = []
    for body, first in zip(setup.bodies, one_of_each([b.solid for b in setup.bodies]), strict=True):
        # Features are told in the frame of the body, in which its skin may have been moved.
        one = first, drawing_matrix(body.solid).tobytes()
        if one not in known:
            known[one] = features_of(body.solid)
        features.append(known[one])
    return Bench(setup=setup, bodies=setup.bodies, features=tuple(features), drawn=drawn_poses(setup.bodies))


def drawn_poses(bodies: Iterable[Body]) -> Poses:
    """Return where bodies are drawn."""
    matrices = np.array([matrix_of(b.at) for b in bodies])
    return Poses(rotation=matrices[:, :3, :3].copy(), origin_mm=matrices[:, :3, 3].copy())
