"""How thick a solid is straight behind a flat face, place by place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

from fixturecheck.arrays import Floats
from fixturecheck.kernel.measure import extent_along, face_frame
from fixturecheck.kernel.shapes import Face, Solid
from fixturecheck.numeric import square_to

_COUNT = 21
_OFF_MM = 0.01
_FAR_MM = 1e4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Behind:
    """The material behind a flat face.

    Parameters
    ----------
    places_mm : ndarray, shape (n, 2)
        Places on the face, along two directions in it that are square to each other.
    thick_mm : ndarray, shape (n,)
        How far in the material goes there before it ends for the first time.
    step_mm : ndarray, shape (2,)
        Distance from one place to the next.
    """

    places_mm: Floats
    thick_mm: Floats
    step_mm: Floats


def material_behind(solid: Solid, face: Face) -> Behind:
    """Return how thick a solid is straight behind a flat face, on a grid of 21 by 21 over it.

    Parameters
    ----------
    face : Face
        One of the solid's faces.
    """
    middle, normal, _ = face_frame(face)
    axes = square_to(normal)
    ends = np.array([extent_along(face, axis) for axis in axes])
    step = (ends[:, 1] - ends[:, 0]) / _COUNT
    grid = [ends[i, 0] + step[i] * (np.arange(_COUNT) + 0.5) for i in range(2)]
    look = IntCurvesFace_ShapeIntersector()
    look.Load(solid.wrapped, 1e-7)
    places, thick = [], []
    for u in grid[0]:
        for v in grid[1]:
            start = u * axes[0] + v * axes[1] + (float(middle @ normal) + _OFF_MM) * normal
            look.Perform(gp_Lin(gp_Pnt(*start.tolist()), gp_Dir(*(-normal).tolist())), 0.0, _FAR_MM)
            ways = sorted(look.WParameter(i + 1) for i in range(look.NbPnt()))
            if len(ways) > 1 and abs(ways[0] - _OFF_MM) < 0.5 * _OFF_MM:
                places.append((u, v))
                thick.append(ways[1] - ways[0])
    return Behind(places_mm=np.array(places).reshape(-1, 2), thick_mm=np.array(thick), step_mm=step)
