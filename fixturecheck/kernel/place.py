"""Where a shape stands: rigid motions as matrices, and shapes after a motion."""

from __future__ import annotations

from dataclasses import replace

import cadquery as cq
import numpy as np
from OCP.gp import gp_Trsf
from OCP.TopLoc import TopLoc_Location

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Face, Location, Placed, Shape, Solid
from fixturecheck.result.shapes import Vector


def matrix_of(location: cq.Location) -> Floats:
    """Return a location as a 4 x 4 matrix, mm.

    Parameters
    ----------
    location : Location

    Returns
    -------
    ndarray, shape (4, 4)
    """
    return matrix_of_wrapped(location.wrapped)


def matrix_of_wrapped(location: TopLoc_Location) -> Floats:
    """Return one of the kernel's own locations as a 4 x 4 matrix, mm.

    Parameters
    ----------
    location : TopLoc_Location

    Returns
    -------
    ndarray, shape (4, 4)
    """
    trsf = location.Transformation()
    out = np.eye(4)
    for i in range(3):
        for j in range(4):
            out[i, j] = trsf.Value(i + 1, j + 1)
    return out


def location_of(matrix: Floats) -> cq.Location:
    """Return the location of a rigid matrix, (3, 4) or (4, 4).

    Parameters
    ----------
    matrix : ndarray, shape (3, 4) or (4, 4)
        Its last column in mm.

    Returns
    -------
    Location
    """
    trsf = gp_Trsf()
    trsf.SetValues(*(float(v) for v in np.asarray(matrix)[:3].ravel()))
    return cq.Location(TopLoc_Location(trsf))


def world_faces(placed: Placed) -> list[Face]:
    """Return a placed solid's faces in the machine's frame, in the order of `faces_of`.

    Parameters
    ----------
    placed : Placed

    Returns
    -------
    list of Face
    """
    return faces_of(placed.solid.moved(placed.at))


def moved_by(placed: Placed, by: Floats) -> Placed:
    """Return a placed solid moved by a vector, mm.

    Parameters
    ----------
    placed : Placed
    by : ndarray, shape (3,)
        In the frame that it is placed in.

    Returns
    -------
    Placed
        The same solid at another place.
    """
    return replace(placed, at=cq.Location(cq.Vector(*by)) * placed.at)


def transformed(shape: Shape, turn: Floats, shift: Floats) -> Shape:
    """Return the shape after x -> turn x + shift, for a rotation matrix (3, 3) and a vector (3,), mm.

    Parameters
    ----------
    shape : Shape
        Where it stands.
    turn : ndarray, shape (3, 3)
        Rotation matrix.
    shift : ndarray, shape (3,)
        mm.

    Returns
    -------
    Shape
    """
    return shape.moved(location_of(np.column_stack([turn, shift])))


def shifted(shape: Shape, by: Vector | Floats) -> Shape:
    """Return the shape moved by a vector, mm.

    Parameters
    ----------
    shape : Shape
        Where it stands.
    by : Vector or ndarray, shape (3,)
        mm.

    Returns
    -------
    Shape
    """
    return shape.moved(cq.Location(cq.Vector(*by)))


def transform_of(placed: Placed) -> tuple[Floats, Floats]:
    """Return turn (3, 3) and shift (3,) from the topology's frame to the machine's.

    Parameters
    ----------
    placed : Placed

    Returns
    -------
    turn : ndarray, shape (3, 3)
    shift : ndarray, shape (3,)
        In mm.
    """
    matrix = matrix_of(placed.at * placed.solid.location())
    return matrix[:3, :3], matrix[:3, 3]


def placed_at(shape: Shape, at: Location) -> Shape:
    """Return a shape moved by a location: out of the frame it is drawn in, into the one around it.

    Parameters
    ----------
    shape : Shape
        In the frame it is drawn in.
    at : Location
        Of that frame in the one around it.

    Returns
    -------
    Shape
    """
    return shape.moved(at)


def taken_apart(solid: Solid) -> tuple[Solid, Location]:
    """Return a solid in the frame it was drawn in, and the location that takes it to where it stands.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    drawn : Solid
    at : Location
    """
    return solid.located(cq.Location()), solid.location()


def drawing_matrix(solid: Solid) -> Floats:
    """Return the 4 x 4 matrix by which a solid itself is moved away from its topology, mm.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    ndarray, shape (4, 4)
    """
    return matrix_of(solid.location())


def translation(by: Vector = (0.0, 0.0, 0.0)) -> Location:
    """Return the location that moves by a vector, mm, and turns nothing.

    Parameters
    ----------
    by : tuple of float, length 3

    Returns
    -------
    Location
    """
    return cq.Location(cq.Vector(*by))


def rotation(axis: Vector, angle_deg: float) -> Location:
    """Return the location that turns about an axis through the origin.

    Parameters
    ----------
    axis : Vector
        Direction of the axis; of any length.
    angle_deg : float
        Right-handed about the axis.

    Returns
    -------
    Location
    """
    return cq.Location((0.0, 0.0, 0.0), axis, angle_deg)


def composed(outer: Location, inner: Location) -> Location:
    """Return the location that moves by the inner one first and then by the outer one.

    Parameters
    ----------
    outer, inner : Location
        The inner one is within the frame of the outer one.

    Returns
    -------
    Location
    """
    return outer * inner


def is_finite(location: Location) -> bool:
    """Say whether every number of a location is finite.

    Parameters
    ----------
    location : Location

    Returns
    -------
    bool
    """
    return bool(np.isfinite(matrix_of(location)).all())
