"""A body's features with its flat faces carried on past their inside edges, for bodies that vary a little.

What is free beside an inside edge lies before both of the faces that meet in it, so either may be carried on
behind the other without forbidding anything. Where a face is a few um out, its border on the other runs on by
as much and more, and meets corners that were beside it as drawn.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.kernel.brep.features import Features

Floats = NDArray[np.float64]
_SAME_MM = 1e-6
_LEVEL = 1e-6


def widened(features: Features, by_mm: float) -> Features:
    """Return features whose flat faces go on by a length past inside edges, as far as the face beside goes.

    Parameters
    ----------
    by_mm : float
        How far, seen along the normal of the face that is carried on.
    """
    areas = [_area(one) for one in features.outlines]
    outlines = list(features.outlines)
    for plane, (start, end), beside in _inside(features):
        if areas[plane] is None or areas[beside] is None:
            continue
        strip = shapely.buffer(shapely.LineString((start, end)), by_mm, cap_style="flat")
        strip = shapely.intersection(strip, _seen(features, beside, plane, areas[beside]))
        areas[plane] = shapely.union(areas[plane], strip)
        outlines[plane] = _border(areas[plane])
    return replace(features, outlines=tuple(outlines))


def _inside(features: Features) -> Iterator[tuple[int, Floats, int]]:
    """Yield flat faces with their straight inside edges, in their own directions, and the faces beside."""
    out = {
        (_key(ends.mean(axis=0)), int(face))
        for ends, faces in zip(features.edges_mm, features.edge_faces, strict=True)
        for face in faces
    }
    sides: dict[tuple[int, ...], list[tuple[int, Floats]]] = {}
    for plane, outline in enumerate(features.outlines):
        origin, _, u, v = features.planes[plane]
        middles = outline.mean(axis=1)
        for middle, segment in zip(origin + middles[:, :1] * u + middles[:, 1:] * v, outline, strict=True):
            if (_key(middle), int(features.plane_faces[plane])) not in out:
                sides.setdefault(_key(middle), []).append((plane, segment))
    for pair in (p for p in sides.values() if len(p) == 2):
        (one, _), (two, _) = pair
        if abs(float(features.planes[one, 1] @ features.planes[two, 1])) < 1.0 - _LEVEL:
            yield one, pair[0][1], two
            yield two, pair[1][1], one


def _key(place: Floats) -> tuple[int, ...]:
    return tuple(np.round(place / _SAME_MM).astype(int).tolist())


def _area(outline: Floats) -> Any:
    """Return a flat face in its own directions, holes left out; None where its border does not close."""
    rings = shapely.get_parts(shapely.polygonize(shapely.linestrings(np.round(outline, 9))))
    area = shapely.Polygon()
    for ring in sorted(rings, key=lambda r: -r.area):
        # A hole's inside is a ring as well, within the ring round it.
        area = shapely.symmetric_difference(area, shapely.Polygon(ring.exterior))
    return None if area.is_empty else area


def _seen(features: Features, beside: int, plane: int, area: Any) -> Any:
    """Return one flat face as seen along the normal of another, in that one's directions."""
    origin, _, u, v = features.planes[beside]
    start, _, x, y = features.planes[plane]

    def drop(flat: Floats) -> Floats:
        places = origin + flat[:, :1] * u + flat[:, 1:] * v - start
        return np.stack((places @ x, places @ y), axis=-1)

    return shapely.buffer(shapely.transform(area, drop), 0.0)


def _border(area: Any) -> Floats:
    """Return the segments of the borders of an area."""
    rings = shapely.get_parts(shapely.boundary(area))
    points = [shapely.get_coordinates(ring) for ring in rings]
    return np.concatenate([np.stack((p[:-1], p[1:]), axis=1) for p in points])
