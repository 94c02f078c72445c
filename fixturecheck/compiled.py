"""Compiles inner loops, and the vectors they are written with.

A compiled loop is kept on disk from one run to the next. What it calls may stand in another file, so what is
kept counts only as long as none of the files with such loops has changed.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import numba
from numba.core import caching

from fixturecheck.arrays import Floats

Vector = tuple[float, float, float]
Loop = TypeVar("Loop", bound=Callable[..., object])

LOOPS = (
    "compiled",
    "constants",
    "rigid",
    "statics/contact_step",
    "statics/loading_loops",
    "contact/proximity/candidates",
    "contact/patches/apart",
    "contact/patches/chords",
    "contact/patches/edges_by_planes",
    "contact/patches/facing",
    "contact/patches/hulls",
    "contact/proximity/placed_features",
    "contact/proximity/vertices_edges",
    "contact/proximity/curved",
    "contact/proximity/query",
    "contact/proximity/cones",
    "contact/proximity/penetration",
    "kernel/brep/sheet_loops",
    "kernel/brep/supporting",
    "kernel/mesh/triangles",
    "magnet/field/iron_loops",
    "magnet/field/sweep_loops",
)
"""The modules that hold compiled loops, or the tuples of arrays and the constants that go into them."""


def compiled(function: Loop) -> Loop:
    """Return a function compiled when it is first called, and kept on disk where that can be written.

    Parameters
    ----------
    function : callable
        Takes and returns what the compiler knows: numbers, arrays and tuples of them.

    Returns
    -------
    callable
    """
    made: Any = numba.njit(error_model="numpy", nogil=True)(function)
    try:
        made.enable_caching()
    except RuntimeError:  # nowhere to write: it is compiled in every run
        pass
    else:
        # By itself the compiler asks only whether the loop's own file has changed.
        kept = made._cache  # noqa: SLF001 -- there is no other way in
        base = f"{kept._impl.filename_base}-{_stamp()[:16]}"  # noqa: SLF001 -- as above
        files: Any = caching.IndexDataCacheFile
        kept._cache_file = files(kept.cache_path, base, _stamp())  # noqa: SLF001 -- as above
    loop: Loop = made
    return loop


@cache
def _stamp() -> str:
    """Return a digest of all files with compiled loops."""
    here = Path(__file__).parent
    texts = (path.read_bytes() for name in LOOPS if (path := here / f"{name}.py").exists())
    return hashlib.sha256(b"".join(texts)).hexdigest()


def loops_kept() -> bool:
    """Tell whether loops of this version were compiled before, and kept on this machine.

    Returns
    -------
    bool
    """
    kept: Any = dot
    file = getattr(kept._cache, "_cache_file", None)  # noqa: SLF001 -- as above
    return file is not None and Path(file._index_path).is_file()  # noqa: SLF001 -- as above


@compiled
def row(rows: Floats, i: int) -> Vector:
    """Return a row (n, 3) as a vector.

    Parameters
    ----------
    rows : ndarray, shape (n, 3)
    i : int
        Which row.

    Returns
    -------
    Vector
    """
    return rows[i, 0], rows[i, 1], rows[i, 2]


@compiled
def cell(cells: Floats, i: int, k: int) -> Vector:
    """Return one vector of (n, k, 3).

    Parameters
    ----------
    cells : ndarray, shape (n, k, 3)
    i, k : int
        Which vector, by the first and the second axis.

    Returns
    -------
    Vector
    """
    return cells[i, k, 0], cells[i, k, 1], cells[i, k, 2]


@compiled
def dot(a: Vector, b: Vector) -> float:
    """Return the inner product.

    Parameters
    ----------
    a, b : Vector

    Returns
    -------
    float
    """
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@compiled
def minus(a: Vector, b: Vector) -> Vector:
    """Return a - b.

    Parameters
    ----------
    a, b : Vector

    Returns
    -------
    Vector
    """
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@compiled
def along(a: Vector, share: float, b: Vector) -> Vector:
    """Return a + share b.

    Parameters
    ----------
    a : Vector
        Where it starts.
    share : float
        How many times `b` is added.
    b : Vector

    Returns
    -------
    Vector
    """
    return a[0] + share * b[0], a[1] + share * b[1], a[2] + share * b[2]


@compiled
def times(share: float, a: Vector) -> Vector:
    """Return share a.

    Parameters
    ----------
    share : float
        A factor of any size and sign.
    a : Vector

    Returns
    -------
    Vector
    """
    return share * a[0], share * a[1], share * a[2]


@compiled
def cross(a: Vector, b: Vector) -> Vector:
    """Return the cross product.

    Parameters
    ----------
    a, b : Vector

    Returns
    -------
    Vector
    """
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@compiled
def length(a: Vector) -> float:
    """Return the length.

    Parameters
    ----------
    a : tuple of float, length 3

    Returns
    -------
    float
        In the unit of `a`.
    """
    return math.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])
