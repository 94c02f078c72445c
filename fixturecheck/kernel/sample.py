"""Points on faces and edges of shapes, and their triangles."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.gp import gp_Pnt, gp_Pnt2d, gp_Vec
from OCP.TopAbs import TopAbs_Orientation, TopAbs_State

from fixturecheck.arrays import Floats, Ints
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.measure import distance, edge_ends, is_flat, is_straight
from fixturecheck.kernel.shapes import Face, Shape, Solid

_FINE_MM, _FINE_RAD = 0.05, 0.2
"""How far triangles may lie off a curved face or a round edge, and turn from one to the next."""
_POINTS_MM, _POINTS_RAD = 1e-3, 0.05
_ON_EDGE = 25
_SPACING_MM, _MOST_POINTS = 1.0, 2500


def edge_points(edge: Shape, count: int) -> Floats:
    """Return points (count, 3) along an edge, ends included.

    Parameters
    ----------
    edge : Shape
        An edge.
    count : int
        At least 2.

    Returns
    -------
    ndarray, shape (count, 3)
        mm, evenly spaced by length.
    """
    curve = cq.Edge(edge.wrapped)
    return np.array([curve.positionAt(t).toTuple() for t in np.linspace(0.0, 1.0, count)])


def triangles_of(shape: Shape) -> Floats:
    """Return triangles (n, 3, 3) that make up the faces of a shape; round ones are chords.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    ndarray, shape (n, 3, 3)
        In mm.
    """
    places, corners = tessellated(shape, _FINE_MM, _FINE_RAD)
    return np.asarray(places[corners])


def tessellated(shape: Shape, within_mm: float, turn_rad: float) -> tuple[Floats, Ints]:
    """Return the corners (n, 3) of triangles over the faces of a shape, mm, and their numbers (k, 3).

    Parameters
    ----------
    shape : Shape
    within_mm, turn_rad : float
        How far triangles may lie off a curved face, and turn from one to the next.

    Returns
    -------
    places : ndarray, shape (n, 3)
    corners : ndarray of int, shape (k, 3)
    """
    vertices, corners = shape.tessellate(within_mm, turn_rad)
    places = np.array([v.toTuple() for v in vertices]).reshape(-1, 3)
    return places, np.array(corners, dtype=np.int64).reshape(-1, 3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Points on a face at the middles of cells that are even in its parameters; n points.

    Parameters
    ----------
    points, normals : ndarray, shape (n, 3)
        With the outward unit normal at each; zero where the surface has none.
    weights : ndarray, shape (n,)
        Area that each point stands for, mm2.
    reach : ndarray, shape (n,)
        Distance from each point to the corners of its cell, mm, to first order.
    parameters : ndarray, shape (n, 2)
        u and v of each point.
    cells : ndarray of int, shape (n, 2)
        Column and row of each cell.
    step : ndarray, shape (2,)
        Size of a cell in u and v.
    counts : tuple of int
        Columns and rows of the window, whether they hold points or not.
    along : ndarray, shape (n, 2, 3)
        Way across each cell in u and in v, mm, to first order.
    """

    points: Floats
    normals: Floats
    weights: Floats
    reach: Floats
    parameters: Floats
    cells: NDArray[np.int64]
    step: Floats
    counts: tuple[int, int]
    along: Floats

    def only(self, chosen: NDArray[np.bool_]) -> Grid:
        """Return the chosen points."""
        return replace(
            self,
            points=self.points[chosen],
            normals=self.normals[chosen],
            weights=self.weights[chosen],
            reach=self.reach[chosen],
            parameters=self.parameters[chosen],
            cells=self.cells[chosen],
            along=self.along[chosen],
        )


def face_window(face: Face) -> tuple[Floats, Floats]:
    """Return the least and greatest parameters (u, v) of a face.

    Parameters
    ----------
    face : Face

    Returns
    -------
    least, greatest : ndarray, shape (2,)
    """
    u0, u1, v0, v1 = face._uvBounds()  # noqa: SLF001  CadQuery has no public name for it
    return np.array([u0, v0]), np.array([u1, v1])


def grid_on_face(
    face: Face, window: tuple[Floats, Floats], spacing_mm: float, most: int, fewest: int = 2
) -> Grid:
    """Lay out points on a face, inside its outline and inside a window of its parameters.

    Parameters
    ----------
    face : Face
    window : tuple of ndarray
        Least and greatest (u, v).
    spacing_mm : float
        Wanted spacing; widened so that no more than `most` points are laid out.
    most : int
        How many cells may be laid over the window; `fewest` goes before it.
    fewest : int
        At least so many points either way.

    Returns
    -------
    Grid
    """
    surface = BRepAdaptor_Surface(face.wrapped, True)
    (u0, v0), (u1, v1) = window
    inside = BRepTopAdaptor_FClass2d(face.wrapped, 1e-9)
    flip = -1.0 if face.wrapped.Orientation() == TopAbs_Orientation.TopAbs_REVERSED else 1.0
    point, du, dv = gp_Pnt(), gp_Vec(), gp_Vec()
    surface.D1((u0 + u1) / 2, (v0 + v1) / 2, point, du, dv)
    sides = (du, u1 - u0), (dv, v1 - v0)
    counts = [max(fewest, math.ceil(d.Magnitude() * s / spacing_mm)) for d, s in sides]
    shrink = max(1.0, math.sqrt(counts[0] * counts[1] / most))
    nu, nv = (max(fewest, int(c / shrink)) for c in counts)
    step = np.array([(u1 - u0) / nu, (v1 - v0) / nv])
    rows = []
    for k in range(nu * nv):
        u, v = u0 + (k % nu + 0.5) * step[0], v0 + (k // nu + 0.5) * step[1]
        if inside.Perform(gp_Pnt2d(u, v)) == TopAbs_State.TopAbs_IN:
            surface.D1(u, v, point, du, dv)
            rows.append((*point.Coord(), *du.Coord(), *dv.Coord(), u, v, k % nu, k // nu))
    table = np.array(rows).reshape(-1, 13)
    along_u, along_v = table[:, 3:6] * step[0], table[:, 6:9] * step[1]
    across = np.cross(along_u, along_v)
    size = np.linalg.norm(across, axis=1)
    diagonals = np.stack([along_u + along_v, along_u - along_v])
    return Grid(
        points=table[:, :3],
        normals=flip * across / np.where(size > 0, size, 1.0)[:, None],
        weights=size,
        reach=np.linalg.norm(diagonals, axis=2).max(axis=0) / 2,
        parameters=table[:, 9:11],
        cells=table[:, 11:].astype(np.int64),
        step=step,
        counts=(nu, nv),
        along=np.stack([along_u, along_v], axis=1),
    )


def surface_points(shape: Shape, between: int = 0) -> Floats:
    """Return points of a shape's faces, (n, 3): its corners, and closely spaced ones where it is round.

    Parameters
    ----------
    shape : Shape
    between : int
        How many more to set along every straight edge, where a flat or ruled face has no points else.

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    places = [tessellated(shape, _POINTS_MM, _POINTS_RAD)[0]]
    share = np.linspace(0.0, 1.0, between + 2)[1:-1, None]
    for edge in edges_of(shape) if between else ():
        if is_straight(edge):
            start, end = edge_ends(edge)
            places.append((1.0 - share) * start + share * end)
    return np.concatenate(places)


def inside_points(face: Face, most: int | None = None) -> Floats:
    """Return points well inside a face, (n, 3), the one of the largest piece first.

    Parameters
    ----------
    face : Face
    most : int, optional
        How many at most; one for every piece where it is left out.

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    places, triangles = tessellated(face, 0.01, 0.2)
    corners = places[triangles]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    middles = corners[np.argsort(-area, kind="stable")[:most]].mean(axis=1)
    if is_flat(face):
        return np.asarray(middles)
    return np.array([distance(cq.Vertex.makeVertex(*m.tolist()), face)[2] for m in middles])


def rim_points(shape: Shape) -> Floats:
    """Return points all along the edges of a face or solid, corners among them.

    Parameters
    ----------
    shape : Shape

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    return np.concatenate([edge_points(e, _ON_EDGE) for e in edges_of(shape)])


def points_all_over(solid: Solid) -> Floats:
    """Return points on every face and edge of a solid, about a millimetre apart, with its corners.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    ndarray, shape (n, 3)
        mm.
    """
    faces = []
    for face in faces_of(solid):
        grid = grid_on_face(face, face_window(face), _SPACING_MM, _MOST_POINTS).points
        faces += [grid, rim_points(face)]
    return np.concatenate([*faces, rim_points(solid)])
