"""Which edges of the ground faces carry a burr when the cut is done, and which of them lie on seats."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.access.model import GroundCut
from fixturecheck.kernel.brep.features import Features, features_of
from fixturecheck.kernel.place import matrix_of
from fixturecheck.setup.model import Body, Setup

Floats = NDArray[np.float64]

# An edge is left by the wheel where it looks this much along the traverse: 20 degrees off it.
_ACROSS = np.sin(np.radians(20.0))
_FLUSH = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Burr:
    """One edge between a ground face and its neighbour that the wheel runs out over.

    Parameters
    ----------
    edge : str
        `body.a+b`, the two faces that meet there.
    ends : tuple of str
        `+X`, `-X` or both: the ends at which the table carries it out from under the wheel.
    sparks : bool
        One of the ends is where the wheel's rim leaves the work, which is where the burr is heavier.
    seats : tuple of str
        Which of the two faces is a seat in the set-up.
    length_mm : float
        Of the edge.
    """

    edge: str
    ends: tuple[str, ...]
    sparks: bool
    seats: tuple[str, ...]
    length_mm: float

    @property
    def says(self) -> str:
        """The edge in words."""
        where = "both ends of the stroke" if len(self.ends) > 1 else f"the {self.ends[0]} end"
        heavy = ", where the sparks leave" if self.sparks and len(self.ends) == 1 else ""
        seat = f"; {' and '.join(self.seats)} is a seat" if self.seats else ""
        return f"{self.edge} at {where}{heavy}{seat}"


def burrs_of(setup: Setup, cuts: Sequence[GroundCut]) -> tuple[Burr, ...]:
    """Return the edges that the cuts leave a burr on, those on seats first.

    The table goes to and fro, so that the wheel leaves the work at both ends of the stroke. The rim always
    runs toward the side on which the sparks leave, and the burr there is the heavier: common practice, no
    source. Edges along the traverse are brushed and not counted.
    """
    found: dict[str, Burr] = {}
    for cut in cuts:
        for part in cut.cut.parts:
            for burr in _burrs(setup, setup.body(part), [f for f in (cut.cut.floor, cut.cut.wall) if f]):
                found.setdefault(burr.edge, burr)
    return tuple(sorted(found.values(), key=lambda b: (not b.seats, not b.sparks, b.edge)))


def _burrs(setup: Setup, body: Body, ground: Sequence[str]) -> Iterator[Burr]:
    features = features_of(body.solid)
    turn = matrix_of(body.at)[:3, :3]
    names = body.face_names()
    targets = {i for name in ground for i in body.face_indices(name)}
    seats = {s.face for s in setup.seats if s.body == body.name}
    seats |= {s.on_face for s in setup.seats if s.on == body.name}
    rim = "+X" if setup.machine.sparks == "right" else "-X"
    edges: dict[tuple[str, ...], tuple[set[str], float]] = {}
    for pair, outward, length in _sticking_out(features, targets, turn):
        if abs(outward[0]) >= _ACROSS:
            key = tuple(sorted({names[i] for i in pair}))
            ends, sum_mm = edges.get(key, (set(), 0.0))
            edges[key] = ends | {"+X" if outward[0] > 0 else "-X"}, sum_mm + length
    for key, (ends, sum_mm) in sorted(edges.items()):
        yield Burr(
            edge=f"{body.name}.{'+'.join(key)}",
            ends=tuple(sorted(ends)),
            sparks=rim in ends,
            seats=tuple(name for name in key if name in seats),
            length_mm=sum_mm,
        )


def _sticking_out(
    features: Features, targets: set[int], turn: Floats
) -> Iterator[tuple[tuple[int, int], Floats, float]]:
    """Yield the chords where a target ends at an outside edge: both faces, way out of the target, length."""
    lengths = np.linalg.norm(features.edges_mm[:, 1] - features.edges_mm[:, 0], axis=1)
    for row, (first, second) in enumerate(features.edge_faces.tolist()):
        mine = [side for side, face in enumerate((first, second)) if face in targets]
        if len(mine) != 1:
            continue
        normals = features.edge_normals[row]
        # Where the neighbour goes on flush there is no edge, and a face that rises beside it is a corner.
        falls = float(features.leaves[row, 1 - mine[0]] @ normals[mine[0]])
        if falls < -_FLUSH:
            yield (first, second), turn @ -features.leaves[row, mine[0]], float(lengths[row])
