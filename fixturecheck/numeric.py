"""Small numeric tools that all share: plain vectors, directions square to one, where a condition ends."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from functools import cache
from typing import Any, TypeVar

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints

Record = TypeVar("Record", bound=Any)

UP: Floats = np.array([0.0, 0.0, 1.0])
"""Away from the table, in the machine's frame."""


def to_vector(values: Iterable[float]) -> tuple[float, float, float]:
    """Return three numbers of any kind as plain floats, without negative zeros.

    Parameters
    ----------
    values : iterable of float, shape (3,)
        The numbers.

    Returns
    -------
    tuple
        The same as floats.
    """
    x, y, z = (float(v) + 0.0 for v in values)
    return x, y, z


def scaled(vector: Sequence[float], factor: float) -> tuple[float, float, float]:
    """Return a vector times a factor.

    Parameters
    ----------
    vector : sequence of float, shape (3,)
    factor : float

    Returns
    -------
    tuple
        In the unit of the vector.
    """
    return vector[0] * factor, vector[1] * factor, vector[2] * factor


def crossed(a: Floats, b: Floats) -> Floats:
    """Return the cross product of two vectors; numpy's own takes ten times as long for a single one.

    Parameters
    ----------
    a, b : ndarray, shape (3,)

    Returns
    -------
    ndarray, shape (3,)
    """
    (ax, ay, az), (bx, by, bz) = a.tolist(), b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])


def circle_through(
    a: Sequence[float], b: Sequence[float], c: Sequence[float], *, flat_mm2: float = 0.0
) -> tuple[float, float, float] | None:
    """Return the circle through three points of a plane.

    Parameters
    ----------
    a, b, c : sequence of float, shape (2,)
        The points.
    flat_mm2 : float
        Four times the area of the triangle at or below which they count as on one line.

    Returns
    -------
    tuple of float or None
        Both coordinates of its centre, and its radius; None where the points lie on one line.
    """
    (bx, by), (cx, cy) = ((p[0] - a[0], p[1] - a[1]) for p in (b, c))
    d = 2 * (bx * cy - by * cx)
    if abs(d) <= flat_mm2:
        return None
    x = (cy * (bx * bx + by * by) - by * (cx * cx + cy * cy)) / d
    y = (bx * (cx * cx + cy * cy) - cx * (bx * bx + by * by)) / d
    return x + a[0], y + a[1], math.hypot(x, y)


def square_to(normal: Floats) -> Floats:
    """Return two unit directions square to a vector and to each other.

    Parameters
    ----------
    normal : ndarray, shape (3,)
        A unit vector.

    Returns
    -------
    ndarray, shape (2, 3)
        The first is square to the axis of the frame that the vector has least of, so both lie along axes
        where the vector does.
    """
    least = np.eye(3)[int(np.argmin(np.round(np.abs(normal), 9)))]
    first = np.cross(normal, least)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(normal, first)])


def off_line_mm(points: Floats, start: Floats, direction: Floats) -> Floats:
    """Return the distances of points (n, 3) from the line through `start` along a unit direction, (n,).

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Places, mm.
    start : ndarray, shape (3,)
        A point of the line, mm.
    direction : ndarray, shape (3,)
        Unit vector along it.

    Returns
    -------
    ndarray, shape (n,)
        Distances, mm.
    """
    arm = points - start
    return np.asarray(np.linalg.norm(arm - (arm @ direction)[:, None] * direction, axis=1))


def last_inside(
    holds: Callable[[float], bool], inside: float, outside: float, *, apart: float = 0.0, halvings: int = 100
) -> float:
    """Return where a condition ends, by bisection.

    Parameters
    ----------
    holds : callable
        Whether the condition holds at a place.
    inside, outside : float
        A place at which it holds, and one at which it does not.
    apart : float
        The two places are brought as near to each other as this.
    halvings : int
        How often the range is halved at most.

    Returns
    -------
    float
        The last place at which it was seen to hold.
    """
    for _ in range(halvings):
        if abs(outside - inside) <= apart:
            break
        middle = 0.5 * (inside + outside)
        if holds(middle):
            inside = middle
        else:
            outside = middle
    return inside


def some_rows(table: Record, chosen: Bools | Ints) -> Record:
    """Return a dataclass of arrays of equally many rows, with the chosen rows only.

    Parameters
    ----------
    table : Record
        A record of arrays with one row for each thing.
    chosen : Bools or Ints, shape (m,)
        Which rows: a mark for each, or their numbers.

    Returns
    -------
    Record
        The same record with those rows.
    """
    kind: Any = type(table)
    found: Record = kind(**{name: getattr(table, name)[chosen] for name in _names_of(kind)})
    return found


def all_rows(tables: Sequence[Record]) -> Record:
    """Return one dataclass of arrays with the rows of several, of which there is at least one.

    Parameters
    ----------
    tables : sequence of Record
        Records of arrays of the same kind.

    Returns
    -------
    Record
        One record with all their rows, in order.
    """
    kind: Any = type(tables[0])
    found: Record = kind(**{n: np.concatenate([getattr(t, n) for t in tables]) for n in _names_of(kind)})
    return found


@cache
def _names_of(kind: type) -> tuple[str, ...]:
    """Return the names of the arrays of a dataclass."""
    return tuple(f.name for f in fields(kind))
