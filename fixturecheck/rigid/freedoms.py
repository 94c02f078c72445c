"""What motions contacts leave a body, how they are named, and whether contacts close it in altogether."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.result.rest import FreedomKind

SAME = 1e-6
"""Singular values below this share of the greatest are zero; lengths are scaled by the body's size."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FreeMotion:
    """A motion that contacts leave.

    Parameters
    ----------
    kind : FreedomKind
        How the body moves.
    axis : ndarray, shape (3,)
        Unit direction of the slide or of the axis.
    point_mm : ndarray, shape (3,)
        A point of the axis; the body's centre for a slide.
    twist : ndarray, shape (6,)
        Shift in mm and turn in radians about the centre, for one mm of slide or one radian of turn.
    """

    kind: FreedomKind
    axis: Floats
    point_mm: Floats
    twist: Floats


def rank_of(rows: Floats) -> int:
    """Return the rank of constraint rows.

    Parameters
    ----------
    rows : ndarray, shape (n, 6)
        Rows whose lengths are already scaled by the body's size.

    Returns
    -------
    int
        Independent rows, 0 to 6.
    """
    if len(rows) == 0:
        return 0
    values = np.linalg.svd(rows, compute_uv=False)
    return int(np.sum(values > SAME * values[0])) if values[0] > 0 else 0


def null_space(rows: Floats) -> Floats:
    """Return the motions that leave every row's gap as it is.

    Parameters
    ----------
    rows : ndarray, shape (n, d)
        How each gap changes with d motions.

    Returns
    -------
    ndarray, shape (d, k)
        An orthonormal basis, one motion a column.
    """
    columns = rows.shape[1]
    if len(rows) == 0:
        return np.eye(columns)
    _, values, vectors = np.linalg.svd(rows, full_matrices=len(rows) < columns)
    rank = int(np.sum(values > SAME * max(values[0], 1e-300)))
    return np.asarray(vectors[rank:].T)


def motions(rows: Floats, centre_mm: Floats, size_mm: float) -> tuple[FreeMotion, ...]:
    """Name the two-way motions left by contacts that all stay closed.

    Parameters
    ----------
    rows : ndarray, shape (n, 6)
        How each gap changes with shift (mm) and turn (rad) about the centre.
    centre_mm : ndarray, shape (3,)
        Centre the turns are about.
    size_mm : float
        Length that makes turns comparable to shifts.

    Returns
    -------
    tuple of FreeMotion
        One for each freedom left, slides first.
    """
    scaled = rows.copy()
    scaled[:, 3:] /= size_mm
    free = null_space(scaled)
    slides = _slides(free)
    free[3:] /= size_mm
    found = [
        FreeMotion(
            kind=FreedomKind.SLIDES, axis=v, point_mm=centre_mm, twist=np.concatenate((v, np.zeros(3)))
        )
        for v in slides
    ]
    for twist in _turns(free, slides, size_mm):
        turn = twist[3:]
        point = centre_mm + np.cross(turn, twist[:3])
        pitch = float(turn @ twist[:3])
        kind = FreedomKind.TURNS if abs(pitch) < 1e-6 * size_mm else FreedomKind.SCREWS
        found.append(FreeMotion(kind=kind, axis=turn, point_mm=point, twist=twist))
    return tuple(found)


def _slides(free: Floats) -> list[Floats]:
    """Return a basis of the pure shifts in an orthonormal basis of motions, machine's axes first."""
    if free.shape[1] == 0:
        return []
    _, values, vectors = np.linalg.svd(free[3:], full_matrices=True)
    turning = int(np.sum(values > SAME))
    return _along_axes(free[:3] @ vectors[turning:].T)


def _turns(free: Floats, slides: list[Floats], size_mm: float) -> list[Floats]:
    """Return one twist of unit turn for each independent direction of turning, freed of slides."""
    out = []
    for axis in _along_axes(free[3:] * size_mm):
        amounts, *_ = np.linalg.lstsq(free[3:] * size_mm, axis * size_mm, rcond=SAME)
        twist = free @ amounts
        for slide in slides:
            twist[:3] -= slide * float(slide @ twist[:3])
        out.append(twist)
    return out


def _along_axes(block: Floats) -> list[Floats]:
    """Return an orthonormal basis of a column space in three dimensions, machine's axes first.

    Columns are of size one or zero up to rounding, so what is small is nothing.
    """
    if block.shape[1] == 0:
        return []
    vectors, values, _ = np.linalg.svd(block, full_matrices=False)
    space = vectors[:, values > SAME]
    found: list[Floats] = []
    while len(found) < space.shape[1]:
        rest = space @ space.T - sum((np.outer(v, v) for v in found), np.zeros((3, 3)))
        best = int(np.argmax(np.round(np.diag(rest), 9)))
        found.append(rest[:, best] / np.linalg.norm(rest[:, best]))
    return found
