"""How deep one shape reaches into another, and how thick a wall or a leftover is."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cadquery as cq
import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import compound, vertex
from fixturecheck.kernel.measure import box_of, distance, normal_at
from fixturecheck.kernel.sample import inside_points, tessellated
from fixturecheck.kernel.shapes import Face, Shape, Solid


def thinner_mm(shape: Shape | None) -> float:
    """Return how thick a region is across Y or Z, the smaller; 0 for None, the thickest of several."""
    if shape is None:
        return 0.0
    sizes = [0.0]
    for solid in solids_of(shape):
        box = box_of(solid)
        sizes.append(min(box[4] - box[1], box[5] - box[2]))
    return max(sizes)


_MESH_MM, _MESH_RAD = 0.02, 0.3


_MOST_SPOTS = 600


def depth_mm(region: Shape, whole: Shape, left: Shape) -> float:
    """Return how deep a region taken out of a solid is: how far its surface has gone back, at the most.

    Taken both ways, since the width of a narrow slot or of a rib that is gone altogether is not its depth:
    from the new surface to the surface as it was, and from what is gone of that to what is left. Read at the
    corners, sides and middles of the triangles of the region's surface.

    Parameters
    ----------
    region : Shape
        What is taken.
    whole : Shape
        The solid as it was.
    left : Shape
        The solid without the region.
    """
    corners, triangles = tessellated(region, _MESH_MM, _MESH_RAD)
    faces = corners[triangles]
    spots = np.concatenate([corners, faces.mean(axis=1), *((faces + np.roll(faces, 1, axis=1)) / 2)])
    spots = np.unique(np.round(spots, 6), axis=0)
    spots = spots[:: math.ceil(len(spots) / _MOST_SPOTS)]
    shells = compound([shell for solid in solids_of(whole) for shell in solid.Shells()])
    deepest = 0.0
    for spot in spots:
        dot = cq.Vertex.makeVertex(*spot)
        deepest = max(deepest, dot.distance(shells), dot.distance(left))
    return deepest


def proud_mm(region: Shape | None, whole: Shape) -> float:
    """Return how far what stands on a solid stands off it at the most, read on triangles; 0 for None."""
    if region is None:
        return 0.0
    corners, triangles = tessellated(region, _MESH_MM, _MESH_RAD)
    spots = np.unique(np.round(np.concatenate([corners, corners[triangles].mean(axis=1)]), 6), axis=0)
    spots = spots[:: math.ceil(len(spots) / _MOST_SPOTS)]
    return max(float(cq.Vertex.makeVertex(*spot).distance(whole)) for spot in spots)


_REACH_SPOTS = 120


_CLOSE_MM = 1e-4


def reach_mm(zone: Shape, of: Solid, into: Solid) -> float | None:
    """Return how far the surface of one solid reaches into another, at the most.

    The deepest of the corners and middles of the triangles that bound what is shared is climbed from, on the
    surface, until steps of 0.1 um go no deeper.

    Parameters
    ----------
    zone : Shape
        What the two solids share.
    of, into : Solid
        Whose surface, and which solid it lies inside.

    Returns
    -------
    float or None
        The greatest distance found from the surface of `into`; None where the surface of `of` does not bound
        what is shared.
    """
    corners, triangles = tessellated(zone, _MESH_MM, _MESH_RAD)
    spots = np.concatenate([corners, corners[triangles].mean(axis=1)])
    spots = np.unique(np.round(spots, 6), axis=0)
    spots = spots[:: math.ceil(len(spots) / _REACH_SPOTS)]
    own, other = (compound(solid.Shells()) for solid in (of, into))
    best: tuple[float, Floats] | None = None
    for spot in spots:
        off_mm, there, _ = distance(own, vertex(spot))
        if off_mm <= _MESH_MM and (deep := distance(other, vertex(there))[0]) > (best or (0.0,))[0]:
            best = deep, there
    return None if best is None else _climbed_mm(own, other, *best)


def _climbed_mm(own: Shape, other: Shape, deep_mm: float, at: Floats) -> float:
    """Return the greatest depth near a place; a step shorter than the depth cannot leave the other solid."""
    step_mm = deep_mm / 2
    while step_mm > _CLOSE_MM:
        better = False
        for way in (*np.eye(3), *-np.eye(3)):
            _, there, _ = distance(own, vertex(at + step_mm * way))
            now_mm = distance(other, vertex(there))[0]
            if now_mm > deep_mm and np.linalg.norm(there - at) < deep_mm:
                deep_mm, at, better = now_mm, there, True
        step_mm = step_mm if better else step_mm / 2
    return deep_mm


_FAR_MM = 1e4


def wall_mm(solid: Solid, faces: Sequence[Face]) -> float:
    """Return the thinnest wall behind some faces of a solid, looking straight in from points on them."""
    look = _looking_through(solid)
    walls = [
        _through_mm(look, point, -normal_at(face, point))
        for face in faces
        for point in inside_points(face, 64)
    ]
    return min(walls, default=math.inf)


def through_mm(solid: Solid, point: Floats, into: Floats) -> float:
    """Return how far it is from a point straight through a solid, mm; inf where it does not come out."""
    return _through_mm(_looking_through(solid), point, into)


def chords(solid: Solid, points: Floats, along: Floats) -> list[Floats]:
    """Return where straight lines run inside a solid.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        A point of each line, mm.
    along : ndarray, shape (3,)
        Unit direction of all lines.

    Returns
    -------
    list of ndarray, shape (k, 2)
        For each line from where to where it is inside, mm from its point along the direction. Empty where it
        misses the solid, and where it only grazes it, so that no part is clearly inside.
    """
    look, way = _looking_through(solid), gp_Dir(*along.tolist())
    found = []
    for point in points:
        look.Perform(gp_Lin(gp_Pnt(*point.tolist()), way), -_FAR_MM, _FAR_MM)
        crossed = np.sort([look.WParameter(i + 1) for i in range(look.NbPnt())])
        found.append(crossed.reshape(-1, 2) if crossed.size % 2 == 0 else np.empty((0, 2)))
    return found


def _looking_through(solid: Solid) -> IntCurvesFace_ShapeIntersector:
    look = IntCurvesFace_ShapeIntersector()
    look.Load(solid.wrapped, 1e-7)
    return look


def _through_mm(look: IntCurvesFace_ShapeIntersector, point: Floats, into: Floats) -> float:
    look.Perform(gp_Lin(gp_Pnt(*point.tolist()), gp_Dir(*into.tolist())), 1e-4, _FAR_MM)
    return min((float(look.WParameter(i + 1)) for i in range(look.NbPnt())), default=math.inf)
