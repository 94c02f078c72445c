"""How thick a region or a wall is, and how deep a cut goes."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cadquery as cq
import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import box_of, normal_at
from fixturecheck.kernel.sample import inside_points, tessellated
from fixturecheck.kernel.shapes import Face, Shape, Solid


def thinner_mm(shape: Shape | None) -> float:
    """Return how thick a region is across Y or Z, the smaller; 0 for None, the thickest of several."""
    if shape is None:
        return 0.0
    sizes = [0.0]
    for solid in shape.Solids():
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
    shells = compound([shell for solid in whole.Solids() for shell in solid.Shells()])
    deepest = 0.0
    for spot in spots:
        dot = cq.Vertex.makeVertex(*spot)
        deepest = max(deepest, dot.distance(shells), dot.distance(left))
    return deepest


_FAR_MM = 1e4


def wall_mm(solid: Solid, faces: Sequence[Face]) -> float:
    """Return the thinnest wall behind some faces of a solid, looking straight in from points on them."""
    look = IntCurvesFace_ShapeIntersector()
    look.Load(solid.wrapped, 1e-7)
    thinnest = np.inf
    for face in faces:
        for point in inside_points(face)[:64]:
            into = -normal_at(face, point)
            look.Perform(gp_Lin(gp_Pnt(*point.tolist()), gp_Dir(*into.tolist())), 1e-4, _FAR_MM)
            ways = [look.WParameter(i + 1) for i in range(look.NbPnt())]
            thinnest = min([thinnest, *ways])
    return float(thinnest)
