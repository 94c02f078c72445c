"""The skin of a solid as triangles that share their corners: coarse, to tell what stands in what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.kernel.shapes import Solid

CHORD_MM = 0.05
"""Furthest that the triangles lie off a curved face."""
_TURN_DEG = 30.0
_SAME_MM = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceTriangulation:
    """Triangles of a solid in its own frame.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Corners, each once.
    triangles, edges : ndarray of int, shape (t, 3) and (e, 2)
        Numbers of corners.
    triangle_face : ndarray of int, shape (t,)
        Index of the face each belongs to, in the order of `faces_of`.
    """

    points_mm: Floats
    triangles: Ints
    triangle_face: Ints
    edges: Ints


def surface_triangulation(solid: Solid) -> SurfaceTriangulation:
    """Return the skin of a solid.

    Raises
    ------
    KernelError
        The kernel could not triangulate it.
    """
    mesh = Tessellator(deflection_mm=CHORD_MM, angle_deg=_TURN_DEG).mesh(solid)
    _, first, number = np.unique(
        np.round(mesh.points_mm / _SAME_MM).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    triangles = number.ravel()[mesh.triangles]
    sides = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    edges = np.unique(sides, axis=0)
    return SurfaceTriangulation(
        points_mm=mesh.points_mm[first],
        triangles=triangles.astype(np.int64),
        triangle_face=mesh.face_of,
        edges=edges.astype(np.int64),
    )
