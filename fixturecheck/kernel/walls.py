"""How thick a solid is straight behind a flat face, place by place, and the wall that stands there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

from fixturecheck.arrays import Floats
from fixturecheck.kernel.measure import extent_along, face_frame
from fixturecheck.kernel.shapes import Face, Shape, Solid
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


_SAME_MM = 1e-3
_AS_THIN = 1.5
"""Places behind a face count as one wall up to so many times its least thickness."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A wall behind a face.

    Parameters
    ----------
    thick_mm : float
        Where it is thinnest.
    high_mm, long_mm : float
        Its height above what holds it, and its length.
    both_ends : bool
        Whether it is held at both ends of its height.
    pressed_mm : tuple of float
        From where to where above its foot what presses the face bears on it.
    share : float
        Of what is pressed of the face, how much bears on it.
    """

    thick_mm: float
    high_mm: float
    long_mm: float
    both_ends: bool = False
    pressed_mm: tuple[float, float] = (0.0, 0.0)
    share: float = 1.0


def wall_behind(solid: Solid, face: Face, pressed: Shape | None = None) -> Wall | None:
    """Return the thinnest wall that is pressed behind a flat face; None where the part is solid there.

    A wall is held where the face goes on over thicker material. Where it is held along two ways it bends
    along the shorter. Where it is held nowhere along the face, as where that ends at its foot, the foot is
    taken at the far end from what is pressed.

    Parameters
    ----------
    solid : Solid
        The part.
    face : Face
        One of its flat faces.
    pressed : Shape or None
        What of the face is pressed, of which the box along the face counts; None is all of it.

    Returns
    -------
    Wall or None
        mm.
    """
    _, normal, _ = face_frame(face)
    low, high = extent_along(solid, normal)
    behind, axes = material_behind(solid, face), square_to(normal)
    thin = behind.thick_mm < high - low - _SAME_MM
    under = np.ones(len(thin), dtype=bool)
    if pressed is not None:
        ends = np.array([extent_along(pressed, axis) for axis in axes])
        inside = (behind.places_mm >= ends[:, 0]) & (behind.places_mm <= ends[:, 1])
        under = np.asarray(inside.all(axis=1))
    if not (thin & under).any():
        return None
    thick_mm = float(behind.thick_mm[thin & under].min())
    own = thin & (behind.thick_mm < _AS_THIN * thick_mm)
    step, places = behind.step_mm, behind.places_mm
    starts, sizes = places[own].min(axis=0) - 0.5 * step, np.ptp(places[own], axis=0) + step
    # Whether the face goes on beyond each end of the wall: low and high along either way.
    goes_on = np.array(
        [
            [bool((places[:, i] < starts[i]).any()), bool((places[:, i] > starts[i] + sizes[i]).any())]
            for i in range(2)
        ]
    )
    ways = [i for i in range(2) if goes_on[i].any()]
    if len(ways) == 2 and goes_on[0].all() != goes_on[1].all():
        # Between two feet it bends far less than away from one.
        ways = [i for i in ways if goes_on[i].all() and sizes[i] <= 2.0 * sizes[1 - i]] or ways
    across = min(ways, key=lambda i: float(sizes[i]), default=int(np.argmax(sizes)))
    mine = places[own & under, across]
    first, last = float(mine.min() - 0.5 * step[across]), float(mine.max() + 0.5 * step[across])
    from_mm, high_mm = float(starts[across]), float(sizes[across])
    above = (first - from_mm, last - from_mm)
    foot_low = bool(goes_on[across][0]) if goes_on[across].any() else sum(above) >= high_mm
    return Wall(
        thick_mm=thick_mm,
        high_mm=high_mm,
        long_mm=float(sizes[1 - across]),
        both_ends=bool(goes_on[across].all()),
        pressed_mm=above if foot_low else (high_mm - above[1], high_mm - above[0]),
        share=float((own & under).sum() / under.sum()),
    )
