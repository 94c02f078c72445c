"""Flat sheets that stand for the faces of a solid, for proofs of what is apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from OCP.BRep import BRep_Tool

from fixturecheck.arrays import Floats, Ints
from fixturecheck.kernel.brep.primitives import CurveKind, Surface, SurfaceKind
from fixturecheck.kernel.brep.table import BrepTable, EdgeRow, along_edges, derived, ends_of_edges

_STEPS = 8
"""Chords that stand for a round edge, and sheets that stand for a round face."""
_ROUND = {CurveKind.CIRCLE, CurveKind.ELLIPSE}
_RULED = {SurfaceKind.CYLINDER, SurfaceKind.CONE}

Chords = list[tuple[int, int]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheets:
    """Sheets by the chords of their borders; N nodes, C chords, S sheets, F faces.

    A flat face is one sheet. A cylinder or cone is some side by side round its axis, over all of its arc and
    height. Other faces have none, nor have flat ones with a free curve on their border.

    Parameters
    ----------
    of_face : ndarray of int, shape (F + 1,)
        Where the sheets of each face begin.
    normals, offsets : ndarray, shapes (S, 3) and (S,)
        Unit normal n of each sheet, and n.x of its plane, mm.
    bulges_mm : ndarray, shape (S,)
        How far the face may lie off the sheet.
    first : ndarray of int, shape (S + 1,)
        Where the chords of each sheet begin.
    nodes : ndarray, shape (N, 3)
        Where chords begin and end, mm; chords of a sheet that meet share a node.
    chords : ndarray of int, shape (C, 2)
        The nodes of each chord, sheet by sheet.
    slacks_mm : ndarray, shape (C,)
        How far the border of the face may lie off each chord.
    """

    of_face: Ints
    normals: Floats
    offsets: Floats
    bulges_mm: Floats
    first: Ints
    nodes: Floats
    chords: Ints
    slacks_mm: Floats


def sheets_of(
    table: BrepTable, normals: Floats, offsets: Floats, surfaces: Sequence[Surface | None]
) -> Sheets:
    """Return the sheets that stand for the faces of a solid.

    Parameters
    ----------
    table : BrepTable
        Of the solid.
    normals, offsets : ndarray, shapes (F, 3) and (F,)
        Unit normal n and n.x of each flat face, mm.
    surfaces : sequence of Surface or None
        The surface of each curved face.

    Returns
    -------
    Sheets
        In the frame of the solid.
    """
    nodes = [table.vertices]
    of_edge = _edge_chords(table, nodes)
    planes, bulges, of_face, first = list[tuple[float, ...]](), list[float](), [0], [0]
    chords, slacks = Chords(), list[float]()
    for row, numbers, surface in zip(table.faces, table.face_edges, surfaces, strict=True):
        around = numbers.tolist()
        # An edge that runs along both sides of a slit in its face bounds nothing.
        if row.kind == SurfaceKind.PLANE and len(row.edges) == len(around) and of_edge.keys() >= set(around):
            for e in around:
                more, slack = of_edge[e]
                chords += more
                slacks += [slack] * len(more)
            planes.append((*normals[row.number].tolist(), float(offsets[row.number])))
            bulges.append(0.0)
            first.append(len(chords))
        elif surface is not None and row.kind in _RULED:
            # The border of a face may lie off its surface by the tolerance that the kernel keeps for it.
            off_mm = max(BRep_Tool.Tolerance_s(table.edges[e].edge) for e in around)
            start = sum(map(len, nodes))
            points, sag_mm = _rulings(surface)
            nodes.append(points.reshape(-1, 3))
            planes += _planes(points)
            for k in range(start, start + 2 * _STEPS, 2):
                chords += [(k, k + 1), (k + 1, k + 3), (k + 3, k + 2), (k + 2, k)]
                slacks += [0.0] * 4
                bulges.append(sag_mm + off_mm)
                first.append(len(chords))
        of_face.append(len(planes))
    flat = np.array(planes).reshape(-1, 4)
    return Sheets(
        of_face=np.array(of_face), normals=flat[:, :3].copy(), offsets=flat[:, 3].copy(),
        bulges_mm=np.array(bulges), first=np.array(first), nodes=np.concatenate(nodes),
        chords=np.array(chords, dtype=np.int64).reshape(-1, 2), slacks_mm=np.array(slacks),
    )  # fmt: skip


def _edge_chords(table: BrepTable, nodes: list[Floats]) -> dict[int, tuple[Chords, float]]:
    """Return the chords of each straight or round edge between two vertices, and how far it may lie off them.

    Their nodes are vertices, which all edges that meet there share; others are added to the nodes.
    """
    found: dict[int, tuple[Chords, float]] = {}
    whole = np.flatnonzero((table.edge_vertices >= 0).all(axis=1)).tolist()
    corners = table.vertices[table.edge_vertices[whole]]
    off = np.linalg.norm(derived(table, ends_of_edges)[whole] - corners, axis=2).max(axis=1)
    round_ = [table.edges[e] for e in whole if table.edges[e].kind in _ROUND]
    nodes.append(along_edges(round_, _STEPS + 1)[:, 1:-1].reshape(-1, 3))
    count = len(table.vertices)
    for e, (start, end), off_mm in zip(whole, table.edge_vertices[whole].tolist(), off.tolist(), strict=True):
        row = table.edges[e]
        if row.kind == CurveKind.LINE:
            found[e] = [(start, end)], off_mm
        elif row.kind in _ROUND:
            run = [start, *range(count, count + _STEPS - 1), end]
            found[e] = list(pairwise(run)), off_mm + _sag_mm(_greatest_radius_mm(row), row.span)
            count += _STEPS - 1
    return found


def _sag_mm(radius_mm: float, span: tuple[float, float]) -> float:
    """Return how far steps of an arc lie off their chords: an eighth of step squared by the greatest bend."""
    return radius_mm * ((span[1] - span[0]) / _STEPS) ** 2 / 8


def _greatest_radius_mm(row: EdgeRow) -> float:
    """Return the radius of a circle, or the major one of an ellipse."""
    return float(row.curve.Ellipse().MajorRadius()) if row.circle is None else row.circle.radius_mm


def _rulings(surface: Surface) -> tuple[Floats, float]:
    """Return the ends of rulings of a cylinder or cone a step apart, (steps + 1, 2, 3), and its sag, mm."""
    heights = np.array(surface.heights_mm)
    radii = np.full(2, surface.radius_mm)
    if surface.kind == SurfaceKind.CONE:
        radii = heights * np.tan(surface.half_angle_rad)
    turned = np.linspace(*surface.arc_rad, _STEPS + 1)[:, None]
    out = np.cos(turned) * surface.x_axis + np.sin(turned) * surface.y_axis
    points = surface.origin + heights[:, None] * surface.axis + radii[:, None] * out[:, None]
    return points, _sag_mm(float(radii.max()), surface.arc_rad)


def _planes(points: Floats) -> Iterator[tuple[float, ...]]:
    """Yield unit normal and offset, four numbers, of the plane between each two rulings."""
    across = np.diff(points.sum(axis=1), axis=0)
    normals = np.cross(across, points[1:, 1] - points[1:, 0] + points[:-1, 1] - points[:-1, 0])
    normals = normals / np.linalg.norm(normals, axis=1)[:, None]
    offsets = np.einsum("ij,ij->i", normals, points[:-1].mean(axis=1))
    yield from map(tuple, np.column_stack([normals, offsets]).tolist())
