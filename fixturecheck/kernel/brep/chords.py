"""Edges of a solid as chords: corners with the directions that the solid leaves them in, and ridges."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import CurveKind, Rim
from fixturecheck.kernel.brep.probe import crossed
from fixturecheck.kernel.brep.table import EdgeRow
from fixturecheck.kernel.brep.topology import xyz
from fixturecheck.numeric import off_line_mm

CHORDS_PER_TURN = 48
SMOOTH = 1e-4
"""Sine of the angle below which two faces count as running into each other smoothly."""
_FREE_CHORDS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What a walk round the edges of a solid gathers; lists run alike by point, and by chord.

    Parameters
    ----------
    points : dict
        Number of each point, by its place rounded to a nanometre.
    places : list of ndarray
    leaving : list of list of ndarray
        Directions in which edges leave each point.
    beside : list of dict
        Of each point and each face there, pairs: direction of an edge, and square to it into the face.
    meeting : list of dict
        Of each point, the outward normal of each face there.
    edges, leaves, edge_faces, edge_normals : list
        Of each chord that sticks out or is flush: ends, directions into its two faces, these, their normals.
    straight, free, bows_mm : list
        Of each chord: whether it is the whole of a straight edge, whether its edge is neither straight nor a
        circle, and how far the edge is from it in the middle.
    borders : dict
        Chords round each face.
    rims : list of Rim
    """

    points: dict[tuple[float, ...], int] = field(default_factory=dict)
    places: list[Floats] = field(default_factory=list)
    leaving: list[list[Floats]] = field(default_factory=list)
    beside: list[dict[int, list[tuple[Floats, Floats]]]] = field(default_factory=list)
    meeting: list[dict[int, Floats]] = field(default_factory=list)
    edges: list[tuple[Floats, Floats]] = field(default_factory=list)
    leaves: list[tuple[Floats, Floats]] = field(default_factory=list)
    edge_faces: list[tuple[int, int]] = field(default_factory=list)
    edge_normals: list[tuple[Floats, Floats]] = field(default_factory=list)
    straight: list[bool] = field(default_factory=list)
    borders: dict[int, list[tuple[Floats, Floats]]] = field(default_factory=dict)
    rims: list[Rim] = field(default_factory=list)
    free: list[bool] = field(default_factory=list)
    bows_mm: list[float] = field(default_factory=list)

    def point(self, place: Floats) -> int:
        """Return the number of a point, the same for the same place."""
        key = tuple(float(v) for v in np.round(place, 6) + 0.0)
        if key not in self.points:
            self.points[key] = len(self.places)
            self.places.append(place)
            self.leaving.append([])
            self.beside.append({})
            self.meeting.append({})
        return self.points[key]


def walk_edge(gathered: Gathered, row: EdgeRow) -> None:
    """Cut an edge with two sides into chords, and note points, chords, borders and rims."""
    cuts = np.linspace(*row.span, _chords(row) + 1)
    places = [xyz(row.curve.Value(u)) for u in cuts]
    sides = row.probe.sides
    numbers = (row.sides[0][1].number, row.sides[1][1].number)
    for i in range(len(cuts) - 1):
        start, end = places[i], places[i + 1]
        middle = 0.5 * (cuts[i] + cuts[i + 1])
        chord = end - start
        length = float(np.linalg.norm(chord))
        if length < 1e-9:
            continue
        for number in numbers:
            gathered.borders.setdefault(number, []).append((start, end))
        if row.is_seam:
            continue
        along = chord / length
        normals = [side.normal(middle) for side in sides]
        leaves = [side.into(n, along) for side, n in zip(sides, normals, strict=True)]
        tangents = _tangent(row, cuts[i]), _tangent(row, cuts[i + 1])
        if _note_chord(gathered, (start, end), tangents, normals, leaves, numbers):
            gathered.straight.append(len(cuts) == 2)
            gathered.free.append(row.kind not in {CurveKind.LINE, CurveKind.CIRCLE})
            gathered.bows_mm.append(float(off_line_mm(xyz(row.curve.Value(middle))[None], start, along)[0]))
    if not row.is_seam and row.kind == CurveKind.CIRCLE:
        _note_rim(gathered, row, numbers)


def _chords(row: EdgeRow) -> int:
    """Return how many chords a curve is cut into."""
    if row.kind == CurveKind.LINE:
        return 1
    if row.kind in {CurveKind.CIRCLE, CurveKind.ELLIPSE}:
        first, last = row.span
        return max(2, math.ceil((last - first) / (2 * np.pi) * CHORDS_PER_TURN))
    return _FREE_CHORDS


def _note_chord(
    gathered: Gathered,
    ends: tuple[Floats, Floats],
    tangents: tuple[Floats, Floats],
    normals: list[Floats],
    leaves: list[Floats],
    numbers: tuple[int, int],
) -> bool:
    """Note a chord's end points with their cones, and the chord itself where it sticks out or is flush."""
    for place, direction in ((ends[0], tangents[0]), (ends[1], -tangents[1])):
        point = gathered.point(place)
        gathered.leaving[point].append(direction)
        for number, leave in zip(numbers, leaves, strict=True):
            gathered.beside[point].setdefault(number, []).append((direction, leave))
        for number, normal in zip(numbers, normals, strict=True):
            gathered.meeting[point].setdefault(number, normal)
    sticks_out = float(leaves[1] @ normals[0]) <= SMOOTH
    if sticks_out:
        gathered.edges.append(ends)
        gathered.leaves.append((leaves[0], leaves[1]))
        gathered.edge_faces.append(numbers)
        gathered.edge_normals.append((normals[0], normals[1]))
    return sticks_out


def _tangent(row: EdgeRow, at: float) -> Floats:
    """Return the unit tangent of an edge; a chord's own direction would look into a hole it runs round."""
    vector = row.probe.derivative(float(at))
    return np.asarray(vector / max(float(np.linalg.norm(vector)), 1e-300))


def _note_rim(gathered: Gathered, row: EdgeRow, numbers: tuple[int, int]) -> None:
    """Note a circular edge that sticks out or is flush."""
    circle = row.circle
    if circle is None:
        return
    middle = 0.5 * (row.span[0] + row.span[1])
    radial = (xyz(row.curve.Value(middle)) - circle.centre) / circle.radius_mm
    tangent = crossed(circle.axis, radial)
    normals = [side.normal(middle) for side in row.probe.sides]
    into = [side.into(n, tangent) for side, n in zip(row.probe.sides, normals, strict=True)]
    leaves = [[float(leave @ radial), float(leave @ circle.axis)] for leave in into]
    other = leaves[1][0] * radial + leaves[1][1] * circle.axis
    if float(other @ normals[0]) <= SMOOTH:
        rim = Rim(
            centre_mm=circle.centre, axis=circle.axis, zero=circle.x_axis, radius_mm=circle.radius_mm,
            turn=row.span, leave=np.array(leaves), faces=numbers,
        )  # fmt: skip
        gathered.rims.append(rim)
