"""Flat sheets that stand for the faces of a solid, for proofs of what is apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from OCP.BRep import BRep_Tool

from fixturecheck.arrays import Floats, Ints
from fixturecheck.kernel.brep.primitives import CurveKind, Surface, SurfaceKind
from fixturecheck.kernel.brep.sheet_loops import STEPS, Ruled, sheet_arrays
from fixturecheck.kernel.brep.table import BrepTable, EdgeRow, derived, edge_samples

_ROUND = {CurveKind.CIRCLE, CurveKind.ELLIPSE}
_RULED = {SurfaceKind.CYLINDER, SurfaceKind.CONE}


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
    samples = derived(table, edge_samples)
    steps, slacks = list[int](), list[float]()
    for edge, ends in zip(table.edges, table.edge_vertices.tolist(), strict=True):
        # A free curve has no chords, nor has an edge without two vertices.
        count = 0
        if min(ends) >= 0:
            count = 1 if edge.kind is CurveKind.LINE else STEPS if edge.kind in _ROUND else 0
        steps.append(count)
        slacks.append(_sag_mm(_greatest_radius_mm(edge), edge.span) if count > 1 else 0.0)
    counts, ruled = list[int](), list[tuple[Surface, float]]()
    for row, numbers, surface in zip(table.faces, table.face_edges, surfaces, strict=True):
        around = numbers.tolist()
        count = 0
        # An edge that runs along both sides of a slit in its face bounds nothing.
        if row.kind is SurfaceKind.PLANE and len(row.edges) == len(around) and all(steps[e] for e in around):
            count = 1
        elif surface is not None and row.kind in _RULED:
            # The border of a face may lie off its surface by the tolerance that the kernel keeps for it.
            ruled.append((surface, max(BRep_Tool.Tolerance_s(table.edges[e].edge) for e in around)))
            count = STEPS
        counts.append(count)
    edges = table.vertices, table.edge_vertices, samples, np.array(steps), np.array(slacks)
    faces = normals, offsets, np.array(counts), *table.edges_of_faces
    of_face, normals, offsets, bulges_mm, first, nodes, chords, slacks_mm = sheet_arrays(
        edges, faces, _ruled(ruled)
    )
    return Sheets(
        of_face=of_face, normals=normals, offsets=offsets, bulges_mm=bulges_mm, first=first, nodes=nodes,
        chords=chords, slacks_mm=slacks_mm,
    )  # fmt: skip


def _sag_mm(radius_mm: float, span: tuple[float, float]) -> float:
    """Return how far steps of an arc lie off their chords: an eighth of step squared by the greatest bend."""
    return radius_mm * ((span[1] - span[0]) / STEPS) ** 2 / 8


def _greatest_radius_mm(row: EdgeRow) -> float:
    """Return the radius of a circle, or the major one of an ellipse."""
    return float(row.curve.Ellipse().MajorRadius()) if row.circle is None else row.circle.radius_mm


def _ruled(surfaces: Sequence[tuple[Surface, float]]) -> Ruled:
    """Return cylinders and cones as arrays, each given with how far its face may lie off it."""
    count = len(surfaces)
    frames, heights, radii = np.empty((count, 4, 3)), np.empty((count, 2)), np.empty((count, 2))
    arcs = np.empty((count, 3))
    for k, (surface, off_mm) in enumerate(surfaces):
        frames[k] = surface.origin, surface.axis, surface.x_axis, surface.y_axis
        heights[k], radii[k] = surface.heights_mm, _end_radii(surface)
        arcs[k] = *surface.arc_rad, _sag_mm(max(_end_radii(surface)), surface.arc_rad) + off_mm
    return frames, heights, radii, arcs


def _end_radii(surface: Surface) -> tuple[float, float]:
    """Return the radii of a cylinder or cone at its two ends."""
    if surface.kind is SurfaceKind.CYLINDER:
        return surface.radius_mm, surface.radius_mm
    slope = math.tan(surface.half_angle_rad)
    return surface.heights_mm[0] * slope, surface.heights_mm[1] * slope
