"""How rigid bodies move: poses, small exact moves, and what a contact does to six freedoms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats, Ints
from fixturecheck.compiled import compiled, cross, minus, row, times


class CandidateRows(Protocol):
    """Places where two bodies might touch: one row each, bodies by index.

    `gap_mm` (n,), `normal` (n, 3) out of body b into body a, `point_a_mm` and `point_b_mm` (n, 3) in the
    machine's frame, `body_a` and `body_b` (n,), and `face_a` and `face_b` (n,) by their bodies' own index.
    """

    @property
    def gap_mm(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def normal(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def point_a_mm(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def point_b_mm(self) -> Floats: ...  # noqa: D102 - described on the class
    @property
    def body_a(self) -> Ints: ...  # noqa: D102 - described on the class
    @property
    def body_b(self) -> Ints: ...  # noqa: D102 - described on the class
    @property
    def face_a(self) -> Ints: ...  # noqa: D102 - described on the class
    @property
    def face_b(self) -> Ints: ...  # noqa: D102 - described on the class


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Poses:
    """Where bodies stand: `rotation` (n, 3, 3) and `origin_mm` (n, 3); x = rotation @ local + origin."""

    rotation: Floats
    origin_mm: Floats

    @classmethod
    def drawn(cls, count: int) -> Poses:
        """Return poses that leave every body where its own frame is."""
        return cls(rotation=np.tile(np.eye(3), (count, 1, 1)), origin_mm=np.zeros((count, 3)))

    def apply(self, body: Any, local_mm: Floats) -> Floats:
        """Return points of bodies `body` (n,) or int, given in their own frames (n, 3), in the machine's."""
        turned = np.einsum("...ij,...j->...i", self.rotation[body], local_mm)
        return np.asarray(turned + self.origin_mm[body])

    def turn(self, body: Any, local: Floats) -> Floats:
        """Return directions of bodies in the machine's frame."""
        return np.asarray(np.einsum("...ij,...j->...i", self.rotation[body], local))

    def matrix(self, body: int) -> Floats:
        """Return one pose as a 4 x 4 matrix."""
        out = np.eye(4)
        out[:3, :3] = self.rotation[body]
        out[:3, 3] = self.origin_mm[body]
        return out


def moved(poses: Poses, bodies: Ints, centres_mm: Floats, twists: Floats) -> Poses:
    """Return the poses after each of some bodies turns exactly about its centre and shifts.

    Parameters
    ----------
    poses : Poses
        Where all bodies stand.
    bodies : ndarray of int, shape (n,)
        Those that move.
    centres_mm : ndarray, shape (n, 3)
        Where each turn is about, in the machine's frame.
    twists : ndarray, shape (n, 6)
        Shift in mm, then turn in radians.

    Returns
    -------
    Poses
        Where all bodies stand then.
    """
    turns = Rotation.from_rotvec(twists[:, 3:]).as_matrix()
    rotation, origin = poses.rotation.copy(), poses.origin_mm.copy()
    rotation[bodies] = tidy(turns @ rotation[bodies])
    arm = origin[bodies] - centres_mm
    origin[bodies] = centres_mm + np.einsum("nij,nj->ni", turns, arm) + twists[:, :3]
    return Poses(rotation=rotation, origin_mm=origin)


def tidy(rotation: Floats) -> Floats:
    """Return rotations brought back to orthogonal after many products, by one Newton step.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
        Rotations with rounding errors.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        The same, orthogonal to rounding.
    """
    gram = np.swapaxes(rotation, -1, -2) @ rotation
    return np.asarray(rotation @ (1.5 * np.eye(3) - 0.5 * gram))


def slopes(
    rows: CandidateRows, bodies: Ints, centres_mm: Floats, sizes_mm: Floats | None = None
) -> tuple[Ints, Floats]:
    """Return how each gap changes with the twists of its two bodies.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.
    centres_mm : ndarray, shape (n, 3)
        Their centres, in the machine's frame.
    sizes_mm : ndarray, shape (n,), optional
        Lengths at which turns are measured as mm; without them they are radians.

    Returns
    -------
    column : ndarray, shape (m, 2)
        Which of `bodies` each side is; -1 where that side does not move.
    slope : ndarray, shape (m, 2, 6)
        Normal, then (point - centre) x normal, for a; the same with the other sign for b; zero where it
        does not move.
    """
    where = np.full(int(max(rows.body_a.max(initial=0), rows.body_b.max(initial=0), bodies.max())) + 1, -1)
    where[bodies] = np.arange(len(bodies))
    column = np.stack((where[rows.body_a], where[rows.body_b]), axis=1)
    laid = np.ascontiguousarray  # the loop is compiled for arrays that are laid out so
    points = laid(rows.point_a_mm), laid(rows.point_b_mm)
    sizes = np.ones(len(bodies)) if sizes_mm is None else sizes_mm
    return column, laid_slopes(column, points, laid(rows.normal), laid(centres_mm), sizes)


@compiled
def laid_slopes(
    column: Ints, points_mm: tuple[Floats, Floats], normals: Floats, centres_mm: Floats, sizes_mm: Floats
) -> Floats:
    """Return how each gap changes with the twists of its two bodies, of arrays that are laid out for a loop.

    Parameters
    ----------
    column : ndarray of int, shape (m, 2)
        Which of the loose bodies each side is; -1 where that side does not move.
    points_mm : tuple of ndarray, shape (m, 3)
        The places on a, and those on b.
    normals : ndarray, shape (m, 3)
        Unit normals out of b into a.
    centres_mm : ndarray, shape (n, 3)
        Centres of the loose bodies, in the machine's frame.
    sizes_mm : ndarray, shape (n,)
        Lengths at which turns are measured as mm.

    Returns
    -------
    ndarray, shape (m, 2, 6)
        As `slopes` gives it.
    """
    slope = np.zeros((len(column), 2, 6))
    for i in range(len(column)):
        for side in range(2):
            body = column[i, side]
            if body < 0:
                continue
            normal = times(1.0 - 2.0 * side, row(normals, i))
            turn = cross(minus(row(points_mm[side], i), row(centres_mm, body)), normal)
            for axis in range(3):
                slope[i, side, axis] = normal[axis]
                slope[i, side, 3 + axis] = turn[axis] / sizes_mm[body]
    return slope


def jacobian(rows: CandidateRows, bodies: Ints, centres_mm: Floats) -> Floats:
    """Return how each gap changes with the twists of the loose bodies.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.
    centres_mm : ndarray, shape (n, 3)
        Their centres, in the machine's frame.

    Returns
    -------
    ndarray, shape (m, 6 n)
        Columns per body: normal, then (point - centre) x normal.
    """
    column, slope = slopes(rows, bodies, centres_mm)
    out = np.zeros((len(column), len(bodies), 6))
    for side in (0, 1):
        loose = np.flatnonzero(column[:, side] >= 0)
        out[loose, column[loose, side]] += slope[loose, side]
    return out.reshape(len(column), 6 * len(bodies))


def cross_products(a: Floats, b: Floats) -> Floats:
    """Return the cross products of rows; several times faster than numpy's on small arrays.

    Parameters
    ----------
    a, b : ndarray, shape (..., 3)
        Vectors.

    Returns
    -------
    ndarray, shape (..., 3)
        a x b.
    """
    return np.stack(
        (
            a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1],
            a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2],
            a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0],
        ),
        axis=-1,
    )
