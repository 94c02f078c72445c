"""The pose of a body whose seats are all flat on flat: turned by closed form, shifted by a linear system."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.placing.mates import Mate, cross_product

_LEAN = 1e-10
"""Parts of a unit normal that are rounding only; what leans more is solved in the general way."""
_NEW = 1e-6


def flat_pose(mates: Sequence[Mate], turn: Floats, off_mm: float) -> tuple[Floats, Floats] | None:
    """Return the rotation and the shift that put flat faces on flat faces, where these locate the body.

    The first normal takes two turns, the next that is not parallel the third; the offsets along three
    independent normals give the shift, in their order.

    Parameters
    ----------
    mates : sequence of Mate
        The seats, in order.
    turn : ndarray, shape (3, 3)
        The body's rotation as it is drawn.
    off_mm : float
        How far a seat that takes no freedom may miss.

    Returns
    -------
    turn : ndarray, shape (3, 3)
        The rotation.
    shift : ndarray, shape (3,)
        Where the body's origin goes, mm.

    Notes
    -----
    None where a face is not flat, or the seats leave a freedom or contradict.
    """
    if len(mates) < 3 or any(m.own.kind != m.other.kind or m.own.kind != SurfaceKind.PLANE for m in mates):
        return None
    wanted = -np.array([m.other.direction for m in mates])
    own = np.array([m.own.direction for m in mates])
    found = _turned(own, wanted, turn)
    if found is None or np.abs(own @ found.T - wanted).max() > _LEAN:
        return None
    shift = np.zeros(3)
    taken = np.zeros((0, 3))
    for mate in mates:
        normal = mate.other.direction
        missing = float(normal @ (found @ mate.own.point_mm + shift - mate.other.point_mm)) - mate.gap_mm
        new = normal - taken.T @ (taken @ normal)
        size = float(np.linalg.norm(new))
        if size > _NEW:
            shift = shift - new * (missing / size**2)
            taken = np.vstack((taken, new / size))
        elif abs(missing) > off_mm:
            return None
    return (found, shift) if len(taken) == 3 else None


def _turned(own: Floats, wanted: Floats, turn: Floats) -> Floats | None:
    """Return the rotation that takes two normals of a body to where they should look."""
    first = least_turn(turn @ own[0], wanted[0]) @ turn
    for mine, goal in zip(own[1:], wanted[1:], strict=True):
        axis = wanted[0]
        now = first @ mine
        flat, there = now - axis * (axis @ now), goal - axis * (axis @ goal)
        if min(np.linalg.norm(flat), np.linalg.norm(there)) > _NEW:
            angle = float(np.arctan2(axis @ cross_product(flat, there), flat @ there))
            return np.asarray(Rotation.from_rotvec(axis * angle).as_matrix() @ first)
    return None


def least_turn(own: Floats, wanted: Floats) -> Floats:
    """Return the rotation that takes one unit direction to another the shortest way, half a turn about X.

    Parameters
    ----------
    own, wanted : ndarray, shape (3,)
        Unit directions.

    Returns
    -------
    ndarray, shape (3, 3)
        The rotation; half a turn is about Y where the direction is along X.
    """
    axis = cross_product(own, wanted)
    sine, cosine = float(np.linalg.norm(axis)), float(own @ wanted)
    if sine > 1e-9:
        return np.asarray(Rotation.from_rotvec(axis * (np.arctan2(sine, cosine) / sine)).as_matrix())
    return np.eye(3) if cosine > 0.0 else Rotation.from_rotvec(square_near_x(own) * np.pi).as_matrix()


def square_near_x(direction: Floats) -> Floats:
    """Return a unit direction square to another, nearest to X, or to Y where that one lies along X.

    Parameters
    ----------
    direction : ndarray, shape (3,)
        A unit direction.

    Returns
    -------
    ndarray, shape (3,)
        A unit direction.
    """
    axis = np.eye(3)[0] if abs(direction[0]) < 0.9 else np.eye(3)[1]
    flat = axis - direction * (axis @ direction)
    return np.asarray(flat / np.linalg.norm(flat))
