"""How near two bodies come by edges and corners, where no two of their faces look at each other."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Standing
from fixturecheck.kernel.brep.topology import is_same, shape_kind
from fixturecheck.kernel.construct import segment
from fixturecheck.kernel.measure import Nearest, centroid_of, nearest_features
from fixturecheck.kernel.shapes import Shape
from fixturecheck.result import ContactKind
from fixturecheck.tolerances import Tolerances


def beside(a: Standing, b: Standing, tolerances: Tolerances) -> list[Raw]:
    """Return the least gap between two bodies as a near patch without area, once for each pair of features.

    Empty where they touch, overlap, or come no nearer than the near band.
    """
    apart = np.maximum(a.low - b.high, b.low - a.high)
    if float(np.linalg.norm(np.maximum(apart, 0.0))) > tolerances.near_mm:
        return []
    nearest = nearest_features(a.solid(), b.solid(), tolerances.near_mm)
    if not nearest or nearest[0][0] <= tolerances.touch_mm:
        return []
    groups: list[tuple[set[int], set[int], list[Nearest]]] = []
    for one in nearest:
        ours, theirs = set(_faces_at(a, one[3])), set(_faces_at(b, one[4]))
        for group in groups:
            if group[0] & ours and group[1] & theirs:
                # Both ends of an edge that runs alongside: the faces that they share are those of the edge.
                group[0].intersection_update(ours)
                group[1].intersection_update(theirs)
                group[2].append(one)
                break
        else:
            groups.append((ours, theirs, [one]))
    return [_near(tuple(sorted(ours)), tuple(sorted(theirs)), ways) for ours, theirs, ways in groups]


def _near(a_faces: tuple[int, ...], b_faces: tuple[int, ...], ways: Sequence[Nearest]) -> Raw:
    """Return a near patch of the shortest ways between two features, as many as the kernel found."""
    gap = ways[0][0]
    starts, ends = (np.array([way[k] for way in ways]) for k in (1, 2))
    return Raw(
        kind=ContactKind.NEAR, a_faces=a_faces, b_faces=b_faces, normal=(ends[0] - starts[0]) / gap,
        centroid=(starts.mean(axis=0) + ends.mean(axis=0)) / 2,
        gap_min_mm=gap, gap_mean_mm=gap, gap_max_mm=gap, make=partial(segment, starts[0], ends[0]),
    )  # fmt: skip


def _faces_at(body: Standing, feature: Shape) -> tuple[int, ...]:
    """Return the faces that meet in a face, edge or corner of a body."""
    kind = shape_kind(feature)
    if kind == "face":
        return (next(i for i in range(len(body.table.kinds)) if is_same(body.face(i), feature)),)
    if kind == "edge":
        edges = body.table.edge_faces
        return edges[next(i for i in range(len(edges)) if is_same(body.edge(i), feature))]
    spot = np.array(centroid_of(feature))
    return body.table.vertex_faces[int(np.argmin(np.linalg.norm(body.vertices() - spot, axis=1)))]
