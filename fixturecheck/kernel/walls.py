"""How thick a solid is straight behind a flat face, place by place, and the wall that stands there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector
from scipy.ndimage import label

from fixturecheck.arrays import Bools, Floats, Ints
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


def _cells(behind: Behind, chosen: Bools) -> Ints:
    """Return where chosen places stand on their grid, (n, 2)."""
    near = (behind.places_mm - behind.places_mm.min(axis=0)) / behind.step_mm
    cells: Ints = np.rint(near[chosen]).astype(np.int64)
    return cells


def _one_piece(behind: Behind, chosen: Bools, start: int) -> Bools:
    """Return which chosen places hang together with one of them, side by side on their grid."""
    cells = _cells(behind, np.ones(len(chosen), dtype=bool))
    grid = np.zeros(cells.max(axis=0) + 1, dtype=bool)
    grid[tuple(cells[chosen].T)] = True
    pieces, _ = label(grid)
    numbers = pieces[tuple(cells.T)]
    return np.asarray(chosen & (numbers == numbers[start]))


def walls_behind(solid: Solid, face: Face, pressed: Shape | None = None) -> tuple[Wall, ...]:
    """Return the walls that are pressed behind a flat face, the thinnest first; none where the part is solid.

    A wall is what hangs together behind the face and is nearly as thin as its thinnest place. It is held
    where the face goes on over thicker material. Where it is held along two ways it bends along the shorter.
    Where it is held nowhere along the face, as where that ends at its foot, the foot is taken at the far end
    from what is pressed.

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
    tuple of Wall
        mm.
    """
    _, normal, _ = face_frame(face)
    low, high = extent_along(solid, normal)
    behind, axes = material_behind(solid, face), square_to(normal)
    left = behind.thick_mm < high - low - _SAME_MM
    under = np.ones(len(left), dtype=bool)
    if pressed is not None:
        ends = np.array([extent_along(pressed, axis) for axis in axes])
        inside = (behind.places_mm >= ends[:, 0]) & (behind.places_mm <= ends[:, 1])
        under = np.asarray(inside.all(axis=1))
    walls = []
    while (left & under).any():
        thinnest = int(np.argmin(np.where(left & under, behind.thick_mm, np.inf)))
        as_thin = left & (behind.thick_mm < _AS_THIN * behind.thick_mm[thinnest])
        own = _one_piece(behind, as_thin, thinnest)
        walls.append(_wall(behind, own, under, float(behind.thick_mm[thinnest])))
        left = left & ~own
    return tuple(walls)


def _wall(behind: Behind, own: Bools, under: Bools, thick_mm: float) -> Wall:
    """Return the wall over some places behind a face, of which those `under` what presses take the push."""
    step, mine = behind.step_mm, behind.places_mm[own]
    starts, ends = mine.min(axis=0) - 0.5 * step, mine.max(axis=0) + 0.5 * step
    # How far it goes on average along either way: a piece with arms is no taller than most of it.
    sizes = np.array([step[i] * len(mine) / len(np.unique(_cells(behind, own)[:, 1 - i])) for i in range(2)])
    # Whether thicker material goes on beyond each end of the wall: low and high along either way.
    places = behind.places_mm[behind.thick_mm >= thick_mm]
    goes_on = np.array([[(places[:, i] < starts[i]).any(), (places[:, i] > ends[i]).any()] for i in range(2)])
    ways = [i for i in range(2) if goes_on[i].any()]
    if len(ways) == 2 and goes_on[0].all() != goes_on[1].all():
        # Between two feet it bends far less than away from one.
        ways = [i for i in ways if goes_on[i].all() and sizes[i] <= 2.0 * sizes[1 - i]] or ways
    across = min(ways, key=lambda i: float(sizes[i]), default=int(np.argmax(sizes)))
    pressed = behind.places_mm[own & under, across]
    high_mm = float(sizes[across])
    above = (
        np.array([pressed.min() - 0.5 * step[across], pressed.max() + 0.5 * step[across]]) - starts[across]
    )
    foot_low = bool(goes_on[across][0]) if goes_on[across].any() else float(above.sum()) >= high_mm
    if not foot_low:
        above = ends[across] - starts[across] - above[::-1]
    low, high = np.clip(above, 0.0, high_mm)
    return Wall(
        thick_mm=thick_mm,
        high_mm=high_mm,
        long_mm=float(sizes[1 - across]),
        both_ends=bool(goes_on[across].all()),
        pressed_mm=(float(low), float(high)) if high > low else (0.0, high_mm),
        share=float((own & under).sum() / under.sum()),
    )
