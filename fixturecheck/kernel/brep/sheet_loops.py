"""The arrays of flat sheets that stand for faces: nodes, chords from one to another, and planes."""

from __future__ import annotations

import math

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import along, compiled, cross, dot, length, minus, row, times

STEPS = 8
"""Chords that stand for a round edge, and sheets that stand for a round face."""

Edges = tuple[Floats, Ints, Floats, Ints, Floats]
"""Vertices (V, 3), those at both ends of each edge (E, 2), points along each edge (E, 9, 3), how many chords
stand for it (E,), 0 for none, and how far it may lie off them (E,)."""
Faces = tuple[Floats, Floats, Ints, Ints, Ints]
"""Unit normal (F, 3) and offset (F,) of each flat face, how many sheets stand for each (F,), the edges of all
faces one after another, and where those of each begin."""
Ruled = tuple[Floats, Floats, Floats, Floats]
"""Origin, axis and both directions across it of each cylinder or cone (R, 4, 3), its heights (R, 2), its
radii there (R, 2), and first and last angle and how far the face may lie off its sheets (R, 3)."""
Made = tuple[Ints, Floats, Floats, Floats, Ints, Floats, Ints, Floats]
"""The fields of `Sheets` as they stand there."""


@compiled
def sheet_arrays(edges: Edges, faces: Faces, ruled: Ruled) -> Made:
    """Return the arrays of all sheets, face by face.

    Parameters
    ----------
    edges : Edges
    faces : Faces
        One sheet stands for a flat face whose edges all have chords; `STEPS` stand for one of `ruled`, in
        its order.
    ruled : Ruled

    Returns
    -------
    tuple of ndarray
        The fields of `Sheets`.
    """
    steps, (_, _, counts, around, first_edge) = edges[3], faces
    nodes, inner, n_nodes = _edge_nodes(edges, 2 * (STEPS + 1) * len(ruled[0]))
    n_chords = 0
    for f in range(len(counts)):
        n_chords += 4 * counts[f]
        for k in range(first_edge[f], first_edge[f + 1]):
            n_chords += steps[around[k]]
    of_face, first = np.zeros(len(counts) + 1, dtype=np.int64), np.zeros(counts.sum() + 1, dtype=np.int64)
    planes, bulges = np.empty((counts.sum(), 4)), np.zeros(counts.sum())
    chords, slacks = np.empty((n_chords, 2), dtype=np.int64), np.zeros(n_chords)
    sheet, chord, turned = 0, 0, 0
    for f in range(len(counts)):
        if counts[f] == 1:
            chord = _border(edges, inner, around[first_edge[f] : first_edge[f + 1]], chords, slacks, chord)
            planes[sheet, :3], planes[sheet, 3] = faces[0][f], faces[1][f]
            sheet += 1
            first[sheet] = chord
        elif counts[f] > 1:
            _rulings(ruled, turned, nodes[n_nodes : n_nodes + 2 * (STEPS + 1)])
            for k in range(n_nodes, n_nodes + 2 * STEPS, 2):
                for start, end in ((k, k + 1), (k + 1, k + 3), (k + 3, k + 2), (k + 2, k)):
                    chords[chord, 0], chords[chord, 1] = start, end
                    chord += 1
                _plane(nodes, k, planes[sheet])
                bulges[sheet] = ruled[3][turned, 2]
                sheet += 1
                first[sheet] = chord
            n_nodes += 2 * (STEPS + 1)
            turned += 1
        of_face[f + 1] = sheet
    return (
        of_face, planes[:, :3].copy(), planes[:, 3].copy(), bulges, first, nodes[:n_nodes],
        chords[:chord], slacks[:chord],
    )  # fmt: skip


@compiled
def _edge_nodes(edges: Edges, more: int) -> tuple[Floats, Ints, int]:
    """Return the vertices and the points within round edges, with room for more; where each edge's begin."""
    vertices, _, samples, steps, _ = edges
    found, inner = np.empty((len(vertices) + STEPS * len(steps) + more, 3)), np.full(len(steps), -1)
    found[: len(vertices)] = vertices
    count = len(vertices)
    for e in range(len(steps)):
        if steps[e] > 1:
            inner[e] = count
            for k in range(1, steps[e]):
                found[count] = samples[e, k]
                count += 1
    return found, inner, count


@compiled
def _border(edges: Edges, inner: Ints, around: Ints, chords: Ints, slacks: Floats, count: int) -> int:
    """Add the chords of the edges round a flat face, with how far it lies off them; return their count."""
    _, ends, _, steps, off_mm = edges
    for e in around:
        slack = off_mm[e] + _off_ends(edges, e)
        for step in range(steps[e]):
            chords[count, 0] = ends[e, 0] if step == 0 else inner[e] + step - 1
            chords[count, 1] = ends[e, 1] if step == steps[e] - 1 else inner[e] + step
            slacks[count] = slack
            count += 1
    return count


@compiled
def _off_ends(edges: Edges, e: int) -> float:
    """Return how far the ends of an edge lie off its vertices, at most."""
    vertices, ends, samples, _, _ = edges
    start = minus(row(samples[e], 0), row(vertices, ends[e, 0]))
    end = minus(row(samples[e], samples.shape[1] - 1), row(vertices, ends[e, 1]))
    return max(length(start), length(end))


@compiled
def _rulings(ruled: Ruled, r: int, found: Floats) -> None:
    """Fill in both ends of each ruling of a cylinder or cone, a step apart, (18, 3)."""
    frames, heights, radii, arcs = ruled
    origin, axis = row(frames[r], 0), row(frames[r], 1)
    x_axis, y_axis = row(frames[r], 2), row(frames[r], 3)
    for k in range(STEPS + 1):
        angle = arcs[r, 0] + k * ((arcs[r, 1] - arcs[r, 0]) / STEPS)
        out = along(times(math.cos(angle), x_axis), math.sin(angle), y_axis)
        for end in range(2):
            point = along(along(origin, heights[r, end], axis), radii[r, end], out)
            for i in range(3):
                found[2 * k + end, i] = point[i]


@compiled
def _plane(nodes: Floats, k: int, found: Floats) -> None:
    """Fill in the plane, a unit normal and an offset, of the sheet between a ruling and the one after it."""
    low, high, next_low, next_high = row(nodes, k), row(nodes, k + 1), row(nodes, k + 2), row(nodes, k + 3)
    across = along(minus(next_low, low), 1.0, minus(next_high, high))
    normal = cross(across, along(minus(high, low), 1.0, minus(next_high, next_low)))
    normal = times(1.0 / length(normal), normal)
    for i in range(3):
        found[i] = normal[i]
    found[3] = 0.5 * (dot(normal, low) + dot(normal, high))
