"""Edges that matter when a part comes off: which carry a burr, and where a pry blade reaches."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.features import Features, features_of
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of, extent_along
from fixturecheck.kernel.place import location_of, matrix_of, placed_at
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.machining.cut import GroundCut
from fixturecheck.release.motions import UP, Room, TouchingFaces, support_edges
from fixturecheck.result.release import Burr
from fixturecheck.setup.model import Body, Setup

# An edge is left by the wheel where it looks this much along the traverse: 20 degrees off it.
_ACROSS = np.sin(np.radians(20.0))
_FLUSH = 1e-3


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
        falls = float(features.face_tangents[row, 1 - mine[0]] @ normals[mine[0]])
        if falls < -_FLUSH:
            yield (first, second), turn @ -features.face_tangents[row, mine[0]], float(lengths[row])


# A soft blade as used on small work: common practice, no source.
BLADE_WIDE_MM, BLADE_THICK_MM, BLADE_LONG_MM = 10.0, 2.0, 25.0

_CLEAR_MM = 0.02
_ALONG = (0.0, 0.25, -0.25, 0.45, -0.45)
_LEVEL_MM = 0.01
_START_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pry:
    """A place where the blade reaches the edge.

    Parameters
    ----------
    at_mm : ndarray, shape (3,)
        On the bottom edge.
    out : ndarray, shape (3,)
        Level direction away from the body.
    under_mm : float
        How far the body reaches out over the edge that it lies on: a chamfer or a ledge that the blade
        gets under; zero for a square edge.
    """

    at_mm: Floats
    out: Floats
    under_mm: float


def pries(body: str, touches: Sequence[TouchingFaces], room: Room, gone: frozenset[str]) -> tuple[Pry, ...]:
    """Return the bottom edges of a body that a blade reaches, one place for each.

    The blade lies flat and square to the edge, on the level that the body lies on. What does not lie on one
    level, as a bar in a V, has no edge to get under from beside.
    """
    here = [t for t in touches if t.other_body not in gone]
    heights = np.concatenate([t.points_mm[:, 2] for t in here if t.supports] or [np.zeros(0)])
    if not len(heights) or np.ptp(heights) > _LEVEL_MM:
        return ()
    found = []
    for middle, out in support_edges(here):
        pry = next(_reached(body, middle, out, here, room, gone), None)
        if pry is not None:
            found.append(pry)
    return tuple(found)


def _reached(
    body: str, middle: Floats, out: Floats, here: Sequence[TouchingFaces], room: Room, gone: Iterable[str]
) -> Iterator[Pry]:
    """Yield the places along one edge where the blade fits, the middle first."""
    along = np.cross(UP, out)
    spans = [extent_along(s, along) for t in here if t.supports for s in t.shapes]
    low, high = min(s[0] for s in spans), max(s[1] for s in spans)
    for share in _ALONG:
        at = middle + ((0.5 + share) * (high - low) + low - float(middle @ along)) * along
        beyond = _outside(room.solid(body), at, out, along)
        if beyond is None:
            continue
        root = at + beyond * out
        blade = _blade(root, out, along)
        if room.takes(blade, gone):
            yield Pry(at_mm=root, out=out, under_mm=beyond if beyond > _START_MM else 0.0)


def _outside(solid: Solid, at: Floats, out: Floats, along: Floats) -> float | None:
    """Return how far the body reaches past the edge over the blade's width; None where it has none there."""
    reach = np.array(box_of(solid))
    size = float(np.linalg.norm(reach[3:] - reach[:3]))
    slab = _slab(at - size * out, out, along, size * 2)
    piece: Shape = common(solid, slab)
    if not solids_of(piece):
        return None
    return max(0.0, extent_along(piece, out)[1] - float(at @ out))


def _blade(root: Floats, out: Floats, along: Floats) -> Solid:
    return _slab(root + _CLEAR_MM * out, out, along, BLADE_LONG_MM)


def _slab(root: Floats, out: Floats, along: Floats, long_mm: float) -> Solid:
    """Return a bar as wide and thick as the blade that starts at a place and lies just over its level."""
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = out, along, UP, root
    low = (0.0, -BLADE_WIDE_MM / 2, _CLEAR_MM)
    return placed_at(box(low, (long_mm, BLADE_WIDE_MM / 2, BLADE_THICK_MM)), location_of(matrix))
