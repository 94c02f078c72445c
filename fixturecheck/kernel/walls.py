"""How thick a solid is straight behind a flat face, place by place, and the wall that stands there."""

from __future__ import annotations

from collections.abc import Sequence
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
    ends_mm : ndarray, shape (n,)
        Where it ends there, against the normal of the face.
    step_mm : ndarray, shape (2,)
        Distance from one place to the next.
    """

    places_mm: Floats
    thick_mm: Floats
    ends_mm: Floats
    step_mm: Floats


class _Look:
    """Looks straight into a solid from places on one of its flat faces."""

    def __init__(self, solid: Solid, face: Face, backing: Sequence[Shape] = ()) -> None:
        middle, self.normal, _ = face_frame(face)
        self.axes = square_to(self.normal)
        self._level_mm = float(middle @ self.normal)
        self._look = IntCurvesFace_ShapeIntersector()
        self._look.Load(solid.wrapped, 1e-7)
        frame = [*self.axes, -self.normal]
        self.backing = [np.array([extent_along(shape, way) for way in frame]) for shape in backing]

    def thick_mm(self, place: Floats) -> float | None:
        """Return how far in the material goes before it ends; None where the face has a hole."""
        start = place @ self.axes + (self._level_mm + _OFF_MM) * self.normal
        line = gp_Lin(gp_Pnt(*start.tolist()), gp_Dir(*(-self.normal).tolist()))
        self._look.Perform(line, 0.0, _FAR_MM)
        ways = sorted(self._look.WParameter(i + 1) for i in range(self._look.NbPnt()))
        if len(ways) < 2 or abs(ways[0] - _OFF_MM) > 0.5 * _OFF_MM:
            return None
        return float(ways[1] - ways[0])

    def end_mm(self, thick_mm: Floats) -> Floats:
        """Return where material of a thickness ends, against the normal."""
        return thick_mm - self._level_mm

    def is_backed(self, place: Floats, thick_mm: float) -> bool:
        """Tell whether material of a thickness ends at something that bears on it."""
        end = np.array([*place, thick_mm - self._level_mm])
        return any(
            bool(((end >= box[:, 0] - _SAME_MM) & (end <= box[:, 1] + _SAME_MM)).all())
            for box in self.backing
        )


def _behind(look: _Look, face: Face) -> Behind:
    """Return how thick a solid is straight behind a flat face, on a grid of 21 by 21 over it."""
    ends = np.array([extent_along(face, axis) for axis in look.axes])
    step = (ends[:, 1] - ends[:, 0]) / _COUNT
    grid = [ends[i, 0] + step[i] * (np.arange(_COUNT) + 0.5) for i in range(2)]
    places = np.array([(u, v) for u in grid[0] for v in grid[1]])
    thick = [look.thick_mm(place) for place in places]
    found = np.array([t is not None for t in thick])
    deep = np.array([t for t in thick if t is not None])
    return Behind(places_mm=places[found], thick_mm=deep, ends_mm=look.end_mm(deep), step_mm=step)


_SAME_MM = 1e-3
_AS_THIN = 1.5
"""Places are looked at as one wall up to so many times the least thickness, and again so many."""
_HALVINGS = 7
"""How often the step of the grid is halved to find where a wall ends."""
_NO_MM = 1e-6
_SPREAD_BETWEEN = 0.36
"""Of its height, how much more of a wall between two feet bends on either side of what is pressed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A wall behind a face.

    Parameters
    ----------
    thick_mm : float
        Where it is thinnest.
    rows_mm : tuple of float
        How thick equal rows of it are that lie along its foot, the first at the foot: as stiff as each row.
    high_mm, long_mm : float
        Its height above what holds it, and its length: no more of that than bends where it is pressed.
    both_ends : bool
        Whether it is held at both ends of its height.
    pressed_mm : tuple of float
        From where to where above its foot what presses the face bears on it.
    share : float
        Of what is pressed of the face, how much bears on it.
    """

    thick_mm: float
    rows_mm: tuple[float, ...]
    high_mm: float
    long_mm: float
    both_ends: bool = False
    pressed_mm: tuple[float, float] = (0.0, 0.0)
    share: float = 1.0


def walls_behind(
    solid: Solid, face: Face, pressed: Shape | None = None, backing: Sequence[Shape] = ()
) -> tuple[Wall, ...]:
    """Return the walls that are pressed behind a flat face, the thinnest first; none where the part is solid.

    A wall is what hangs together behind the face and is thinner than a limit, which grows from nearly as thin
    as the thinnest place to all but the depth of the part: of a wall that grows thicker toward its foot the
    largest bends most. It is held where the face goes on over thicker material. Where it is held along two
    ways it bends along the shorter. Where it is held nowhere along the face, as where that ends at its foot,
    the foot is taken at the far end from what is pressed. Pressed over less than its length, no more of it
    bends than that and its height on either side.

    Parameters
    ----------
    solid : Solid
        The part.
    face : Face
        One of its flat faces.
    pressed : Shape or None
        What of the face is pressed, of which the box along the face counts; None is all of it.
    backing : sequence of Shape
        What bears on the part from behind: material that ends there is no wall. Where some lies behind the
        face, all that does not end at it may bend.

    Returns
    -------
    tuple of Wall
        mm.

    References
    ----------
    Length that bends on either side of a force, so that a strip of it bends as much as the plate: a long
    cantilever plate, 0.168 P a^2 / D at its edge, Jaramillo; a long plate between two feet,
    0.00725 P a^2 / D, Timoshenko; both from memory.
    """
    look = _Look(solid, face, backing)
    low, high = extent_along(solid, look.normal)
    behind = _behind(look, face)
    backed, deep_mm = _backed(behind, look), high - low
    # Where what bears from behind lies elsewhere, the part as a whole is taken to be held.
    left = ~backed if backed.any() else behind.thick_mm < deep_mm - _SAME_MM
    under = np.ones(len(left), dtype=bool)
    if pressed is not None:
        under = _inside(behind, np.array([extent_along(pressed, axis) for axis in look.axes]))
    walls: dict[bytes, Wall] = {}
    if (left & under).any():
        limit_mm = float(behind.thick_mm[left & under].min())
        while limit_mm <= deep_mm:
            limit_mm *= _AS_THIN
            for own in _pieces(behind, left & (behind.thick_mm < limit_mm)):
                if (own & under).any() and own.tobytes() not in walls:
                    walls[own.tobytes()] = _Region(look, behind, own, under, limit_mm, left).wall()
    return tuple(walls.values())


def _inside(behind: Behind, ends: Floats) -> Bools:
    """Return which places lie in a box along the face, (2, 2); of one between them the nearest."""
    beside = np.maximum(ends[:, 0] - behind.places_mm, behind.places_mm - ends[:, 1])
    off = (np.clip(beside, 0.0, None) / behind.step_mm).max(axis=1)
    return np.asarray(off <= min(float(off.min()), 0.5) + _NO_MM)


def _backed(behind: Behind, look: _Look) -> Bools:
    """Return behind which places the material ends at something that bears on it."""
    found = np.zeros(len(behind.thick_mm), dtype=bool)
    for box in look.backing:
        there = (behind.ends_mm >= box[2, 0] - _SAME_MM) & (behind.ends_mm <= box[2, 1] + _SAME_MM)
        found |= there & _inside(behind, box[:2])
    return found


def _pieces(behind: Behind, chosen: Bools) -> list[Bools]:
    """Return the pieces of chosen places that hang together, side by side on their grid."""
    cells = _cells(behind)
    grid = np.zeros(cells.max(axis=0) + 1, dtype=bool)
    grid[tuple(cells[chosen].T)] = True
    numbers, count = label(grid)
    own = numbers[tuple(cells.T)]
    return [chosen & (own == i + 1) for i in range(count)]


def _cells(behind: Behind) -> Ints:
    """Return where places stand on their grid, (n, 2)."""
    cells: Ints = np.rint((behind.places_mm - behind.places_mm.min(axis=0)) / behind.step_mm).astype(np.int64)
    return cells


class _Region:
    """Places behind a face that hang together and are thinner than a limit, as a wall.

    Of them those `under` what presses take the push; those not `left` are as deep as the part, or backed.
    """

    def __init__(
        self, look: _Look, behind: Behind, own: Bools, under: Bools, limit_mm: float, left: Bools
    ) -> None:
        self._look, self._behind, self._own, self._under = look, behind, own, under
        self._firm = ~left | (behind.thick_mm >= limit_mm)
        self._limit_mm = limit_mm

    def wall(self) -> Wall:
        """Return it."""
        behind, own = self._behind, self._own
        step, mine, cells = behind.step_mm, behind.places_mm[own], _cells(behind)[own]
        low, high = mine.min(axis=0) - 0.5 * step, mine.max(axis=0) + 0.5 * step
        # How far it goes on average along either way: a piece with arms is no taller than most of it.
        sizes = np.array([step[i] * len(mine) / len(np.unique(cells[:, 1 - i])) for i in range(2)])
        firm = behind.places_mm[self._firm]
        goes_on = np.array([[(firm[:, i] < low[i]).any(), (firm[:, i] > high[i]).any()] for i in range(2)])
        across = self._across(goes_on, sizes)
        foot_low, foot_high = goes_on[across]
        pressed = behind.places_mm[own & self._under]
        from_mm, to_mm = pressed.min(axis=0) - 0.5 * step, pressed.max(axis=0) + 0.5 * step
        if not goes_on[across].any():
            foot_low = from_mm[across] + to_mm[across] - 2.0 * low[across] >= high[across] - low[across]
        extra = self._beyond(across)
        tall = float(sizes[across] + extra.sum())
        above = np.array([from_mm[across] - low[across], to_mm[across] - low[across]]) + extra[0]
        if not foot_low:
            above = tall - above[::-1]
        above = np.clip(above, 0.0, tall)
        along = 1 - across
        spread = tall * (_SPREAD_BETWEEN if foot_low and foot_high else 1.0)
        ends = max(low[along], from_mm[along] - spread), min(high[along], to_mm[along] + spread)
        return Wall(
            thick_mm=float(behind.thick_mm[own].min()),
            rows_mm=self._rows(across, foot_low, sizes[across] / step[across]),
            high_mm=tall,
            long_mm=float(min(sizes[along], ends[1] - ends[0])),
            both_ends=bool(foot_low and foot_high),
            pressed_mm=(float(above[0]), float(above[1])) if above[1] > above[0] else (0.0, tall),
            share=float((own & self._under).sum() / self._under.sum()),
        )

    def _across(self, goes_on: Bools, sizes: Floats) -> int:
        """Return along which way of the face its height lies."""
        ways = [i for i in range(2) if goes_on[i].any()]
        if len(ways) == 2 and goes_on[0].all() != goes_on[1].all():
            # Between two feet it bends far less than away from one.
            ways = [i for i in ways if goes_on[i].all() and sizes[i] <= 2.0 * sizes[1 - i]] or ways
        return min(ways, key=lambda i: float(sizes[i]), default=int(np.argmax(sizes)))

    def _rows(self, across: int, foot_low: bool, count: float) -> tuple[float, ...]:
        """Return how thick its rows are, those of each column counted from its own foot."""
        cells, thick = _cells(self._behind)[self._own], self._behind.thick_mm[self._own]
        found: list[list[float]] = [[] for _ in range(max(round(count), 1))]
        for column in np.unique(cells[:, 1 - across]):
            here = cells[:, 1 - across] == column
            order = np.argsort(cells[here, across] * (1 if foot_low else -1))
            for row, t in zip(found, thick[here][order], strict=False):
                row.append(float(t) ** 3)
        return tuple(float(np.mean(row)) ** (1 / 3) for row in found if row)

    def _beyond(self, across: int) -> Floats:
        """Return how far it goes on beyond its low and its high end, by its middle column, mm."""
        behind, cells = self._behind, _cells(self._behind)
        columns = cells[self._own][:, 1 - across]
        middle = np.sort(columns)[len(columns) // 2]
        here = self._own & (cells[:, 1 - across] == middle)
        ends = behind.places_mm[here]
        found = np.zeros(2)
        for side, sign in ((0, -1.0), (1, 1.0)):
            place = ends[np.argmin(-sign * ends[:, across])].copy()
            inside, outside = 0.0, float(behind.step_mm[across])
            for _ in range(_HALVINGS):
                tried = place.copy()
                tried[across] += sign * 0.5 * (inside + outside)
                thick = self._look.thick_mm(tried)
                half = 0.5 * (inside + outside)
                thin = thick is not None and thick < self._limit_mm
                is_wall = thin and not self._look.is_backed(tried, thick or 0.0)
                inside, outside = (half, outside) if is_wall else (inside, half)
            found[side] = inside - 0.5 * behind.step_mm[across]
        return found
