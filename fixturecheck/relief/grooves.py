"""The smallest groove into an inside corner after which another body has its room there.

An inside corner is where a floor and a wall would meet if nothing stood between them.

In a square corner s runs along the floor away from the wall, and t up the wall away from the floor. What
stands in the corner, a fillet or a burr, and what of the other body comes there have the coordinates s and t.

Where the wall is not square to the floor, the smallest groove runs along the bisector. There x runs along the
bisector from where floor and wall would meet, and y square to it, toward the wall. With half the angle a the
floor is y = -x tan a and the wall y = x tan a. A groove of half width h breaks out of both at x = h / tan a.
A fillet of radius r, which leaves them at r / tan a along either, asks for h = r cos a, and for a sharp edge
to go all the way in for a bottom at x = 0: the fillet stands r (1 / sin a - 1) before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.placed import Standing
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.topology import edges_of
from fixturecheck.kernel.construct import extruded_polygon, oriented_box
from fixturecheck.kernel.measure import (
    centroid_of,
    edge_ends,
    extent_along,
    is_inside,
    is_straight,
    is_within,
    volume_mm3,
)
from fixturecheck.kernel.place import matrix_of, shifted
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.result.relief import ReliefKind

STEP_MM = 0.01
"""Sizes of cuts are whole steps of this."""
OVER_MM = 1.0
"""How far a cut runs out where nothing stands."""
LEAST_MM = 1e-6
SQUARE = 1e-6
_FLATTEST = math.sin(math.radians(10.0))
"""Sine of the angle between faces below which they make no corner."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoxCut:
    """A box that is milled away; all places are in the part's own frame.

    Parameters
    ----------
    kind : ReliefKind
        `groove` or `setback`.
    faces : tuple of str
        The floor and the wall of a groove, or the face that is set back.
    size_mm : tuple of float
        Of a groove along floor and wall, from where they would meet; of one along the bisector how wide it is
        and how deep from its mouth; of a face set back, how far, twice.
    behind_mm : tuple of float
        How far a groove goes behind wall and floor; zero twice for a face set back.
    half_rad : float or None
        Half the angle between floor and wall where a groove runs along the bisector, whose box then starts at
        its bottom with the first axis across and the second up the bisector; else None.
    corner : ndarray, shape (3,)
        Where the box starts.
    axes : ndarray, shape (3, 3)
        Directions of its sides as rows.
    sizes_mm : tuple of float
        Lengths of its sides.
    at_mm, along : ndarray, shape (3,)
        The middle of what is relieved, and a direction to look along.
    guard : Shape or None
        What of the other body must stay clear of the part, machine's frame.
    round_about : frozenset of int
        The faces beside one that is set back: they end sooner.
    """

    kind: ReliefKind
    faces: tuple[str, ...]
    size_mm: tuple[float, float]
    behind_mm: tuple[float, float] = (0.0, 0.0)
    corner: Floats = field(repr=False)
    axes: Floats = field(repr=False)
    sizes_mm: tuple[float, float, float]
    at_mm: Floats = field(repr=False)
    along: Floats = field(repr=False)
    guard: Shape | None = field(repr=False, default=None)
    half_rad: float | None = None
    round_about: frozenset[int] = frozenset()

    def sized(self, size_mm: tuple[float, float]) -> BoxCut:
        """Return the same cut with other sizes."""
        one, two = (new - old for new, old in zip(size_mm, self.size_mm, strict=True))
        x, y, z = self.sizes_mm
        if self.half_rad is not None:
            corner = self.corner - 0.5 * one * self.axes[0] - two * self.axes[1]
            return replace(self, size_mm=size_mm, sizes_mm=(x + one, y + two, z), corner=corner)
        grown = (x + one, y + two, z) if self.kind == ReliefKind.GROOVE else (x + one, y, z)
        return replace(self, size_mm=size_mm, sizes_mm=grown)

    def grown(self, by_mm: float) -> BoxCut:
        """Return the same cut, larger by a length."""
        one, two = self.size_mm
        return self.sized((one + by_mm, two + by_mm))

    def tool_mm(self, clear_mm: float) -> float | None:
        """Return the largest corner radius of a tool that still leaves a sharp corner clear in a groove.

        A corner of radius R at d behind both faces leaves its arc sqrt 2 (R - d) away from the centre; a
        sharp edge where the faces would meet is clear by c where sqrt 2 (R - d) <= R - c. Along the bisector
        the flank of that edge, c off it, must leave the groove's side above the round: it does so at
        (d - c) / sin a from the bottom, for a side d behind its face at the bottom and half the angle a.
        """
        one, two = self.behind_mm
        if self.half_rad is not None:
            most = min(0.5 * self.size_mm[0], (min(one, two) - clear_mm) / math.sin(self.half_rad))
            return most if most > 0.0 else None
        if self.kind != ReliefKind.GROOVE or one != two or one <= 0.0:
            return None
        root = math.sqrt(2.0)
        return (root * one - clear_mm) * (root + 1.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InsideCorner:
    """Where a floor and a wall would meet, in the machine's frame, and how far what stands there reaches.

    Parameters
    ----------
    floor, wall : int
        The two faces.
    start : ndarray, shape (3,)
        One end of the line in which they would meet.
    axes : ndarray, shape (3, 3)
        Along the floor off the wall, up the wall off the floor, along the line; the first two square to each
        other only where floor and wall are.
    reach_mm : tuple of float
        How far what stands there reaches along floor and wall.
    length_mm : float
    """

    floor: int
    wall: int
    start: Floats
    axes: Floats
    reach_mm: tuple[float, float]
    length_mm: float

    @property
    def is_square(self) -> bool:
        """Whether the wall is square to the floor."""
        return abs(float(self.axes[0] @ self.axes[1])) <= SQUARE

    def room(self) -> Solid:
        """Return the room between floor and wall in which something stands."""
        floor, wall = (reach * way for reach, way in zip(self.reach_mm, self.axes[:2], strict=True))
        ring = self.start + np.stack((np.zeros(3), floor, floor + wall, wall))
        return extruded_polygon(ring, self.length_mm * self.axes[2])


def corners_at(
    here: Standing, zone: Shape, allowed: frozenset[str], touch_mm: float
) -> Iterator[InsideCorner]:
    """Yield inside corners in which a face without function stands that bounds a clash.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    zone : Shape
        The clash, machine's frame.
    allowed : frozenset of str
        Names of the faces without function.
    touch_mm : float
        How near to the clash a face must be, mm.

    Yields
    ------
    InsideCorner
        Each corner once.
    """
    near = [
        f
        for f, name in enumerate(here.face_names)
        if name in allowed and is_within(here.face(f), zone, touch_mm)
    ]
    seen: set[tuple[int, int]] = set()
    for members in [{f} for f in near] + ([set(near)] if len(near) > 1 else []):
        borders = list(_borders(here, members))
        for one, two in product(borders, borders):
            corner = _corner(here, one, two)
            if corner is not None and (key := (corner.floor, corner.wall)) not in seen:
                seen |= {key, key[::-1]}
                yield corner


def _borders(here: Standing, members: set[int]) -> Iterator[tuple[int, int]]:
    """Yield straight edges between the members and flat faces that are none, with that face."""
    for e in np.flatnonzero(here.table.straight):
        faces = here.table.edge_faces[e]
        for face, other in (faces, faces[::-1]) if len(faces) == 2 else ():
            if face not in members and other in members and here.table.kinds[face] == SurfaceKind.PLANE:
                yield int(e), face


def _corner(here: Standing, one: tuple[int, int], two: tuple[int, int]) -> InsideCorner | None:
    """Return the inside corner between the flat faces beside two edges, where there is one."""
    (edge_f, floor), (edge_w, wall) = one, two
    up, out = here.normals[floor], here.normals[wall]
    line = np.cross(out, up)
    sine = float(np.linalg.norm(line))
    if floor == wall or sine < _FLATTEST:
        return None
    line = line / sine
    ways = np.stack((np.cross(up, line), np.cross(line, out)))
    on_floor, on_wall = here.edge_samples[edge_f], here.edge_samples[edge_w]
    if max(float(np.ptp(p @ v)) for p in (on_floor, on_wall) for v in (up, out)) > LEAST_MM:
        return None
    s = (float(on_floor[0] @ out) - float(here.offsets[wall])) / sine
    t = (float(on_wall[0] @ up) - float(here.offsets[floor])) / sine
    into = [
        float(here.inward[e][list(here.table.edge_faces[e]).index(f)] @ way)
        for (e, f), way in zip((one, two), ways, strict=True)
    ]
    if min(s, t) <= LEAST_MM or min(into) <= 0.0:
        return None
    ends = np.concatenate((on_floor, on_wall)) @ line
    low, high = float(ends.min()), float(ends.max())
    planes = np.array([here.offsets[floor], here.offsets[wall], low])
    start = np.linalg.solve(np.stack((up, out, line)), planes)
    return InsideCorner(
        floor=floor, wall=wall, start=start, axes=np.vstack((ways, line)), reach_mm=(s, t),
        length_mm=high - low,
    )  # fmt: skip


def groove(here: Standing, corner: InsideCorner, other: Solid, clear_mm: float) -> BoxCut | None:
    """Return the smallest groove after which another body has its room in an inside corner.

    Where the wall is not square to the floor it runs along the bisector.

    Parameters
    ----------
    here : Standing
        The body with the corner, where it stands.
    corner : InsideCorner
        The corner.
    other : Solid
        The other body where it is meant to be, machine's frame.
    clear_mm : float
        How much nearer it may come to floor and wall, and how clear its edges must stand.

    Returns
    -------
    BoxCut or None
        None where the other body does not come into the corner, or not into what stands in one that is not
        square.
    """
    met = _met_in(here, corner, other, clear_mm)
    if met is None:
        return None
    if not corner.is_square:
        return _slanted_groove(here, corner, met, clear_mm) if met[2] else None
    there, _, overs = met
    floor, wall, _ = corner.axes
    zero = (float(corner.start @ floor), float(corner.start @ wall))
    nearest = [extent_along(there, v)[0] - z for v, z in zip((floor, wall), zero, strict=True)]
    needed = [low + clear_mm for low in nearest]
    for over in overs:
        reach = [extent_along(over, v)[1] - z for v, z in zip((floor, wall), zero, strict=True)]
        needed = [max(a, b) for a, b in zip(needed, reach, strict=True)]
    one, two = (up_to(n, most) for n, most in zip(needed, corner.reach_mm, strict=True))
    behind_wall, behind_floor = (_behind(low, clear_mm) for low in nearest)
    return _groove_box(here, corner, (one, two), (behind_wall, behind_floor), there)


_Met = tuple[Shape, Shape, list[Shape]]


def _met_in(here: Standing, corner: InsideCorner, other: Solid, clear_mm: float) -> _Met | None:
    """Return what of another body comes into a corner, what stands there, and where the two overlap.

    The body is taken as it is meant to be, and nearer by `clear_mm` to floor, to wall and to both. None where
    nothing of it comes into the corner.
    """
    there = common(other, corner.room())
    if volume_mm3(there) <= 0.0:
        return None
    stands, (floor, wall, _) = common(here.solid, corner.room()), corner.axes
    # Along the floor a body comes nearer to the wall only, by the sine of the angle between them.
    step = -clear_mm / float(np.linalg.norm(np.cross(floor, wall)))
    nearer = product((0.0, step), repeat=2) if clear_mm > 0.0 else [(0.0, 0.0)]
    overs = [common(stands, shifted(other, one * floor + two * wall)) for one, two in nearer]
    return there, stands, [over for over in overs if volume_mm3(over) > 0.0]


def up_to(needed_mm: float, most_mm: float) -> float:
    """Round up to a hundredth, but never past what stands in the corner, where that is enough.

    Parameters
    ----------
    needed_mm : float
        The size that is needed.
    most_mm : float
        The size of what stands in the corner.

    Returns
    -------
    float
        The size, mm.
    """
    up = rounded_up(needed_mm)
    return min(up, most_mm) if needed_mm <= most_mm + 1e-9 else up


def rounded_up(value_mm: float) -> float:
    """Return a size rounded up to a hundredth, at least one.

    Parameters
    ----------
    value_mm : float
        The size that is needed.

    Returns
    -------
    float
        The size, mm.
    """
    return max(1, math.ceil(value_mm / STEP_MM - 1e-6)) * STEP_MM


def _behind(nearest_mm: float, clear_mm: float) -> float:
    """Return how far a groove goes behind a face that the other body comes within the clearance of."""
    return 0.0 if nearest_mm - clear_mm > LEAST_MM else rounded_up(clear_mm - nearest_mm)


def _groove_box(
    here: Standing, corner: InsideCorner, size: tuple[float, float], behind: tuple[float, float], there: Shape
) -> BoxCut:
    """Return the groove of given sizes, run out at both ends where nothing stands in the way."""
    floor, wall, line = corner.axes
    before, after = _run_out(here, corner)
    start = corner.start - behind[0] * floor - behind[1] * wall - before * line
    turn, place = to_part(here)
    return BoxCut(
        kind=ReliefKind.GROOVE,
        faces=_faces_beside(here, corner),
        size_mm=size,
        behind_mm=behind,
        corner=turn @ (start - place),
        axes=corner.axes @ turn.T,
        sizes_mm=(size[0] + behind[0], size[1] + behind[1], corner.length_mm + before + after),
        at_mm=turn @ (corner.start + 0.5 * corner.length_mm * line - place),
        along=turn @ line,
        guard=_deepest_edge(there, corner),
    )


def _faces_beside(here: Standing, corner: InsideCorner) -> tuple[str, str]:
    """Return the names of the floor and the wall of a corner."""
    return here.face_names[corner.floor], here.face_names[corner.wall]


def _run_out(here: Standing, corner: InsideCorner) -> tuple[float, float]:
    """Return how far a groove may run out before and past a corner, mm: not where something stands."""
    solid, (floor, wall, line) = here.solid, corner.axes
    inside = corner.start - LEAST_MM * 10 * (floor + wall)
    before = 0.0 if is_inside(solid, inside - 0.5 * OVER_MM * line) else OVER_MM
    after = 0.0 if is_inside(solid, inside + (corner.length_mm + 0.5 * OVER_MM) * line) else OVER_MM
    return before, after


def _deepest_edge(there: Shape, corner: InsideCorner) -> Shape | None:
    """Return the straight edge of a body that runs along a corner deepest in it, if any."""

    def depth(edge: Shape) -> float:
        middle = np.array(centroid_of(edge)) - corner.start
        return float(middle @ (corner.axes[0] + corner.axes[1]))

    sharp = [e for e in edges_of(there) if is_straight(e) and _runs_along(e, corner)]
    return min(sharp, key=depth, default=None)


def _runs_along(edge: Shape, corner: InsideCorner) -> bool:
    points = np.array(edge_ends(edge))
    across = points @ corner.axes[:2].T
    return bool(np.ptp(across, axis=0).max() <= LEAST_MM)


def to_part(here: Standing) -> tuple[Floats, Floats]:
    """Return the rotation out of the machine's frame into the part's, and where the part's frame stands.

    Parameters
    ----------
    here : Standing
        The body where it stands.

    Returns
    -------
    tuple
        Rotation, shape (3, 3), and place, shape (3,), mm.
    """
    matrix = matrix_of(here.placed.at)
    return matrix[:3, :3].T, matrix[:3, 3]


_AIR_MM = 2e-3
"""Least air below an edge that goes all the way in, so that it never bears on the bottom."""


def _slanted_groove(here: Standing, corner: InsideCorner, met: _Met, clear_mm: float) -> BoxCut:
    """Return the smallest groove along the bisector of a corner, of what meets there."""
    there, stands, overs = met
    ways = _corner_frame(corner)
    zero = ways[:2] @ corner.start
    half = _half_rad(corner)
    sides, bottom = [np.full(2, clear_mm)], np.inf
    for over in overs:
        low, high = (v - zero[0] for v in extent_along(over, ways[0]))
        sides.append(np.array([-low, high]))
        bottom = min(bottom, extent_along(over, ways[1])[0] - float(zero[1]))
    # Pressed as near as it may come to both faces at once, an edge lies deeper by this along the bisector.
    deepest = extent_along(there, ways[1])[0] - float(zero[1]) - clear_mm / math.sin(half)
    bottom = min(bottom, deepest) if deepest < 0.0 else bottom
    most = math.sin(half) * np.array(corner.reach_mm)
    to_floor, to_wall = (up_to(n, m) for n, m in zip(np.max(sides, axis=0).tolist(), most, strict=True))
    return _box(here, corner, (to_floor, to_wall, bottom), (stands, there))


def _corner_frame(corner: InsideCorner) -> Floats:
    """Return the unit directions across a corner toward the wall, up its bisector and along it, as rows."""
    floor, wall, line = corner.axes
    across, up = wall - floor, wall + floor
    return np.stack((across / np.linalg.norm(across), up / np.linalg.norm(up), line))


def _half_rad(corner: InsideCorner) -> float:
    return 0.5 * math.acos(float(np.clip(corner.axes[0] @ corner.axes[1], -1.0, 1.0)))


def _box(
    here: Standing, corner: InsideCorner, at: tuple[float, float, float], shapes: tuple[Shape, Shape]
) -> BoxCut:
    """Return the groove between two sides, from its bottom to where nothing stands any more."""
    to_floor, to_wall, bottom = at
    stands, there = shapes
    ways, half = _corner_frame(corner), _half_rad(corner)
    mouth = max(to_floor, to_wall) / math.tan(half)
    depth = rounded_up(mouth - bottom + _AIR_MM)
    bottom = mouth - depth
    top = max(mouth, extent_along(stands, ways[1])[1] - float(ways[1] @ corner.start))
    before, after = _run_out(here, corner)
    start = corner.start - to_floor * ways[0] + bottom * ways[1] - before * ways[2]
    wide, long = to_floor + to_wall, corner.length_mm + before + after
    above = start + (top - bottom + LEAST_MM) * ways[1]
    free = volume_mm3(common(here.solid, oriented_box(above, ways, (wide, OVER_MM, long)))) <= 0.0
    turn, place = to_part(here)
    wall, floor = (max(0.0, y * math.cos(half) - bottom * math.sin(half)) for y in (to_wall, to_floor))
    return BoxCut(
        kind=ReliefKind.GROOVE,
        faces=_faces_beside(here, corner),
        size_mm=(wide, depth),
        behind_mm=(wall, floor),
        corner=turn @ (start - place),
        axes=ways @ turn.T,
        sizes_mm=(wide, top - bottom + (OVER_MM if free else LEAST_MM), long),
        at_mm=turn @ (corner.start + 0.5 * corner.length_mm * ways[2] - place),
        along=turn @ ways[2],
        guard=_deepest_edge(there, corner),
        half_rad=half,
    )
