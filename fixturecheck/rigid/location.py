"""How seats locate a body: rank, order, what is redundant, and how an error at a seat moves the work.

Each seat point is a row [n, (p - o) x n]: how far the body would leave it for a unit shift or turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.rigid.freedoms import rank_of
from fixturecheck.rigid.motion import cross_products


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatPoints:
    """One seat as points that support the body.

    Parameters
    ----------
    name : str
        What it is called.
    points_mm : ndarray, shape (n, 3)
        Points of contact.
    normal : ndarray, shape (n, 3)
        Unit directions from the support into the body.
    """

    name: str
    points_mm: Floats
    normal: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatRole:
    """What one seat adds.

    Parameters
    ----------
    name : str
        The seat.
    takes : int
        Freedoms it takes that those before it left: 3 for a primary, 2 secondary, 1 tertiary.
    wants : int
        Freedoms it would take alone.
    fights : tuple of str
        Seats before it that already hold what it would take: in practice only some of them can touch.
    """

    name: str
    takes: int
    wants: int
    fights: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """How the seats together locate the body: `rank` of 6, and what each adds in the order stated."""

    rank: int
    roles: tuple[SeatRole, ...]


def seat_rows(points_mm: Floats, normal: Floats, about_mm: Floats) -> Floats:
    """Return the locating rows of points with normals: normal, then (point - about) x normal.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Seat points.
    normal : ndarray, shape (n, 3)
        Unit directions from the support into the body.
    about_mm : ndarray, shape (3,)
        Point that turns are taken about.

    Returns
    -------
    ndarray, shape (n, 6)
        How far the body leaves each point for a unit shift (mm) or turn (rad).

    References
    ----------
    Asada and By, Kinematic analysis of workpart fixturing [@asada1985], from memory.
    """
    return np.hstack((normal, cross_products(points_mm - about_mm, normal)))


def located(seats: Sequence[SeatPoints], size_mm: float) -> Located:
    """Return the rank of the seats together and what each adds, in the order stated.

    Parameters
    ----------
    seats : sequence of SeatPoints
        Primary first.
    size_mm : float
        Length that makes turns comparable to shifts.

    Returns
    -------
    Located
        Rank of 6, and the role of each seat.

    References
    ----------
    Ranks of the rows of Asada and By [@asada1985], from memory.
    """
    about = np.mean(np.concatenate([s.points_mm for s in seats]), axis=0) if seats else np.zeros(3)
    before: list[tuple[str, Floats]] = []
    roles = []
    for seat in seats:
        rows = seat_rows(seat.points_mm, seat.normal, about)
        rows[:, 3:] /= size_mm
        held = np.concatenate([r for _, r in before]) if before else np.zeros((0, 6))
        takes = rank_of(np.concatenate((held, rows))) - rank_of(held)
        wants = rank_of(rows)
        fights = _fights(before, rows) if takes < wants else ()
        roles.append(SeatRole(name=seat.name, takes=takes, wants=wants, fights=fights))
        before.append((seat.name, rows))
    every = np.concatenate([r for _, r in before]) if before else np.zeros((0, 6))
    return Located(rank=rank_of(every), roles=tuple(roles))


def _fights(before: list[tuple[str, Floats]], rows: Floats) -> tuple[str, ...]:
    """Return the seats without which the new one would take all it wants, or all of them if none alone."""
    guilty = []
    for name, own in before:
        others = [r for n, r in before if n != name]
        rest = np.concatenate(others) if others else np.zeros((0, 6))
        everything = np.concatenate((rest, own))
        without = rank_of(np.concatenate((rest, rows))) - rank_of(rest)
        with_it = rank_of(np.concatenate((everything, rows))) - rank_of(everything)
        if without > with_it:
            guilty.append(name)
    return tuple(guilty) or tuple(name for name, _ in before)


def sensitivity(rows: Floats, about_mm: Floats, target_mm: Floats, direction: Floats) -> Floats:
    """Return how a point of the work moves along a direction per unit error of each seat point.

    Parameters
    ----------
    rows : ndarray, shape (n, 6)
        Locating rows; more than six, or fewer, give the least-squares move.
    about_mm, target_mm : ndarray, shape (3,)
        The point turns are taken about, and the point of the work.
    direction : ndarray, shape (3,)
        Unit direction in which the work is measured.

    Returns
    -------
    ndarray, shape (n,)
        um per um.

    References
    ----------
    Cai, Hu and Yuan, A variational method of robust fixture configuration design [@cai1997], from memory: the
    linear relation rows @ twist = error, solved by least squares.
    """
    seen = np.concatenate((direction, np.cross(target_mm - about_mm, direction)))
    return np.asarray(seen @ np.linalg.pinv(rows, rcond=1e-9))
