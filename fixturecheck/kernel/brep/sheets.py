"""Flat sheets that stand for the faces of a solid, for proofs of what is apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from OCP.BRep import BRep_Tool

from fixturecheck.arrays import Floats, Ints
from fixturecheck.kernel.brep.primitives import CurveKind, Surface, SurfaceKind
from fixturecheck.kernel.brep.table import SAMPLES, BrepTable, EdgeRow, derived, edge_samples

_STEPS = SAMPLES - 1
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
    ruled = [surface for surface in surfaces if surface is not None and surface.kind in _RULED]
    start = sum(map(len, nodes))
    turned = iter(_between_rulings(ruled, nodes))
    flat = np.column_stack([normals, offsets]).tolist()
    planes, bulges, of_face, first = list[list[float]](), list[float](), [0], [0]
    chords, slacks = Chords(), list[float]()
    for row, numbers, surface in zip(table.faces, table.face_edges, surfaces, strict=True):
        around = numbers.tolist()
        # An edge that runs along both sides of a slit in its face bounds nothing.
        if (
            row.kind is SurfaceKind.PLANE
            and len(row.edges) == len(around)
            and all(e in of_edge for e in around)
        ):
            for e in around:
                more, slack = of_edge[e]
                chords += more
                slacks += [slack] * len(more)
            planes.append(flat[row.number])
            bulges.append(0.0)
            first.append(len(chords))
        elif surface is not None and row.kind in _RULED:
            # The border of a face may lie off its surface by the tolerance that the kernel keeps for it.
            off_mm = max(BRep_Tool.Tolerance_s(table.edges[e].edge) for e in around)
            own, sag_mm = next(turned)
            planes += own
            first += range(len(chords) + 4, len(chords) + 4 * _STEPS + 1, 4)
            chords += [(start + k, start + n) for k, n in _AROUND]
            start += 2 * (_STEPS + 1)
            slacks += [0.0] * (4 * _STEPS)
            bulges += [sag_mm + off_mm] * _STEPS
        of_face.append(len(planes))
    given = np.array(planes).reshape(-1, 4)
    return Sheets(
        of_face=np.array(of_face), normals=given[:, :3].copy(), offsets=given[:, 3].copy(),
        bulges_mm=np.array(bulges), first=np.array(first), nodes=np.concatenate(nodes),
        chords=np.array(chords, dtype=np.int64).reshape(-1, 2), slacks_mm=np.array(slacks),
    )  # fmt: skip


def _edge_chords(table: BrepTable, nodes: list[Floats]) -> dict[int, tuple[Chords, float]]:
    """Return the chords of each straight or round edge between two vertices, and how far it may lie off them.

    Their nodes are vertices, which all edges that meet there share; others are added to the nodes.
    """
    found: dict[int, tuple[Chords, float]] = {}
    whole = np.flatnonzero((table.edge_vertices >= 0).all(axis=1)).tolist()
    corners, samples = table.vertices[table.edge_vertices[whole]], derived(table, edge_samples)
    off = np.linalg.norm(samples[whole][:, [0, -1]] - corners, axis=2).max(axis=1)
    round_ = [e for e in whole if table.edges[e].kind in _ROUND]
    nodes.append(samples[round_, 1:-1].reshape(-1, 3))
    count = len(table.vertices)
    for e, (start, end), off_mm in zip(whole, table.edge_vertices[whole].tolist(), off.tolist(), strict=True):
        row = table.edges[e]
        if row.kind is CurveKind.LINE:
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


_AROUND = [
    side for k in range(0, 2 * _STEPS, 2) for side in ((k, k + 1), (k + 1, k + 3), (k + 3, k + 2), (k + 2, k))
]
"""The borders of sheets between rulings that follow one another, whose ends are numbered in order."""


def _between_rulings(
    surfaces: Sequence[Surface], nodes: list[Floats]
) -> list[tuple[list[list[float]], float]]:
    """Return the planes of the sheets between rulings of each cylinder or cone, and how far it is off them.

    A plane is a unit normal and an offset, four numbers.

    Both ends of its rulings, a step apart, are added to the nodes.
    """
    if not surfaces:
        return []
    heights = np.array([surface.heights_mm for surface in surfaces])
    first, last = np.array([surface.arc_rad for surface in surfaces]).T
    radii = np.array([_end_radii(surface) for surface in surfaces])
    origins, axes, x_axes, y_axes = np.array(
        [(s.origin, s.axis, s.x_axis, s.y_axis) for s in surfaces]
    ).transpose(1, 0, 2)[:, :, None]
    turned = np.linspace(first, last, _STEPS + 1, axis=1)[..., None]
    out = np.cos(turned) * x_axes + np.sin(turned) * y_axes
    along = (origins + heights[..., None] * axes)[:, None]
    points = along + radii[:, None, :, None] * out[:, :, None]  # (surface, ruling, end, 3)
    nodes.append(points.reshape(-1, 3))
    across = np.diff(points.sum(axis=2), axis=1)
    ways = points[:, :, 1] - points[:, :, 0]
    normals = np.cross(across, ways[:, 1:] + ways[:, :-1])
    normals = normals / np.linalg.norm(normals, axis=2)[..., None]
    offsets = np.einsum("ijk,ijk->ij", normals, points[:, :-1].mean(axis=2))
    planes = np.concatenate([normals, offsets[..., None]], axis=2).tolist()
    sags = [_sag_mm(max(ends), s.arc_rad) for ends, s in zip(radii.tolist(), surfaces, strict=True)]
    return list(zip(planes, sags, strict=True))


def _end_radii(surface: Surface) -> tuple[float, float]:
    """Return the radii of a cylinder or cone at its two ends."""
    if surface.kind is SurfaceKind.CYLINDER:
        return surface.radius_mm, surface.radius_mm
    slope = math.tan(surface.half_angle_rad)
    return surface.heights_mm[0] * slope, surface.heights_mm[1] * slope
