"""How deep one shape reaches into another, and how thick a wall or a leftover is, place by place."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cadquery as cq
import numpy as np
from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector
from scipy.ndimage import label

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import compound, vertex
from fixturecheck.kernel.measure import box_of, distance, extent_along, face_frame, normal_at
from fixturecheck.kernel.sample import inside_points, tessellated
from fixturecheck.kernel.shapes import Face, Shape, Solid
from fixturecheck.numeric import square_to

_COUNT = 21
_OFF_MM = 0.01
_FAR_MM = 1e4
_SAME_MM = 1e-3
_AS_THIN = 1.5
"""By what factor the thickness up to which places count as one wall grows from one try to the next."""
_HALVINGS = 7
"""How often the step of the grid is halved to find where a wall ends."""
_NO_MM = 1e-6
_SPREAD_BETWEEN = 0.36
"""Of its height, how much more of a wall between two feet bends on either side of what is pressed."""
_MESH_MM, _MESH_RAD = 0.02, 0.3
_MOST_SPOTS = 600
_REACH_SPOTS = 120
_CLOSE_MM = 1e-4


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


def is_hollow_along(solid: Solid, at_mm: Sequence[float], way: Sequence[float]) -> bool:
    """Tell whether a straight line into a solid from a place on it leaves it and comes into it again.

    Parameters
    ----------
    solid : Solid
    at_mm : sequence of float, shape (3,)
        Where it goes in.
    way : sequence of float, shape (3,)
        Unit vector into the solid.

    Returns
    -------
    bool
    """
    look, out = IntCurvesFace_ShapeIntersector(), np.array(at_mm) - _OFF_MM * np.array(way)
    look.Load(solid.wrapped, 1e-7)
    look.Perform(gp_Lin(gp_Pnt(*out.tolist()), gp_Dir(*way)), 0.0, _FAR_MM)
    ways = sorted(look.WParameter(i + 1) for i in range(look.NbPnt()))
    # One that meets an edge of two faces does so once.
    return 1 + int((np.diff(ways) > _OFF_MM).sum()) > 2


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
    borne_mm2 : float
        What is solid beside it and bears the same push, as an area that the push is spread over evenly where
        it goes in as far as at the wall; zero where not all of that bears.
    deep_mm : float
        How deep the part is behind the face.
    """

    thick_mm: float
    rows_mm: tuple[float, ...]
    high_mm: float
    long_mm: float
    both_ends: bool = False
    pressed_mm: tuple[float, float] = (0.0, 0.0)
    share: float = 1.0
    borne_mm2: float = 0.0
    deep_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatPush:
    """Something stiff and flat that presses.

    Parameters
    ----------
    way : ndarray, shape (3,)
        A way in its face, unit length.
    at_mm : float
        How far along that its push is.
    lean_per_mm : float
        How much its pressure grows along that, as a share of the mean.
    """

    way: Floats
    at_mm: float
    lean_per_mm: float


def walls_behind(
    solid: Solid,
    face: Face,
    pressed: Shape | None = None,
    backing: Sequence[Shape] = (),
    jaw: FlatPush | None = None,
) -> tuple[Wall, ...]:
    """Return the walls that are pressed behind a flat face, the thinnest first; none where the part is solid.

    A wall is what hangs together behind the face and is thinner than a limit, which grows from nearly as thin
    as the thinnest place to all but the depth of the part: of a wall that grows thicker toward its foot the
    largest bends most. It is held where the face goes on over thicker material. Where it is held along two
    ways it bends along the shorter, place by place. Where it is held nowhere along the face, as where that
    ends at its foot, the foot is taken at the far end from what is pressed. Pressed over less than its
    length, no more of it bends than that and its height on either side.

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
    jaw : FlatPush or None
        What presses, where that is stiff and flat; None for what presses on a place.

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
    walls: dict[bytes, list[Wall]] = {}
    if (left & under).any():
        limit_mm = float(behind.thick_mm[left & under].min())
        while limit_mm <= deep_mm:
            limit_mm *= _AS_THIN
            for own in _pieces(behind, left & (behind.thick_mm < limit_mm)):
                if (own & under).any() and own.tobytes() not in walls:
                    solid_mm2 = _borne_mm2(behind, look, own & under, under & ~left, jaw)
                    walls[own.tobytes()] = [
                        replace(wall, borne_mm2=solid_mm2, deep_mm=deep_mm)
                        for wall in _Region(look, behind, own, under, limit_mm, left).walls()
                    ]
    return tuple(wall for found in walls.values() for wall in found)


def _borne_mm2(behind: Behind, look: _Look, wall: Bools, bears: Bools, jaw: FlatPush | None) -> float:
    """Return the area that a push on the solid beside a wall is spread over, as seen where it goes in most.

    Zero where the push passes beside what is solid.
    """
    if jaw is None or not bears.any():
        return 0.0
    way = look.axes @ jaw.way
    along, half = behind.places_mm @ way, 0.5 * float(np.abs(way) @ behind.step_mm)
    solid = along[bears]
    if not solid.min() - half <= jaw.at_mm <= solid.max() + half:
        return 0.0
    most = float((1.0 + jaw.lean_per_mm * (along[wall] - solid.mean())).max())
    return float(bears.sum() * behind.step_mm.prod()) / max(most, _NO_MM)


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Run:
    """Places of a region side by side along one way of the face, from one end to the other.

    `own` are the numbers of its places; `feet` say whether thicker material goes on at its low and high end.
    """

    way: int
    own: Ints
    feet: tuple[bool, bool]


class _Region:
    """Places behind a face that hang together and are thinner than a limit, as strips that bend.

    Of them those `under` what presses take the push; those not `left` are as deep as the part, or backed.
    """

    def __init__(
        self, look: _Look, behind: Behind, own: Bools, under: Bools, limit_mm: float, left: Bools
    ) -> None:
        self._look, self._behind, self._own, self._under = look, behind, own, under
        self._firm = ~left | (behind.thick_mm >= limit_mm)
        self._limit_mm = limit_mm
        self._cells = _cells(behind)

    def walls(self) -> Iterator[Wall]:
        """Yield it as walls, one for each way and side that strips of it are held at."""
        pressed = self._own & self._under
        chosen: dict[tuple[int, bool, bool], list[_Run]] = {}
        taken: dict[tuple[int, bool, bool], int] = {}
        runs = [run for way in range(2) for run in self._runs(way)]
        of_place = {way: {int(n): run for run in runs if run.way == way for n in run.own} for way in range(2)}
        for place in np.flatnonzero(pressed):
            run = self._held_best(of_place[0][int(place)], of_place[1][int(place)])
            if run is None:
                continue
            key = (run.way, *run.feet)
            taken[key] = taken.get(key, 0) + 1
            if not any(run is one for one in chosen.setdefault(key, [])):
                chosen[key].append(run)
        if not chosen:
            yield self._hanging([run for run in runs if self._under[run.own].any()])
            return
        # Places that nothing holds on either way hang on those beside them.
        each = float(pressed.sum()) / sum(taken.values()) / float(self._under.sum())
        for key, own in chosen.items():
            yield self._strip(own, own[0].feet, taken[key] * each)

    def _held_best(self, a: _Run, b: _Run) -> _Run | None:
        """Return the run through a place that holds it best; None where neither is held at an end."""
        held = [run for run in (a, b) if any(run.feet)]
        between = [run for run in held if all(run.feet)]
        if len(held) == 2 and len(between) == 1:
            other = b if between[0] is a else a
            # Between two feet it bends far less than away from one.
            return between[0] if self._long_mm(between[0]) <= 2.0 * self._long_mm(other) else other
        return min(held, key=self._long_mm, default=None)

    def _long_mm(self, run: _Run) -> float:
        return len(run.own) * float(self._behind.step_mm[run.way])

    def _runs(self, way: int) -> Iterator[_Run]:
        """Yield its runs along one way of the face."""
        cells = self._cells
        number = np.full(cells.max(axis=0) + 3, -1)
        number[tuple((cells + 1).T)] = np.arange(len(cells))
        lines = number if way == 1 else number.T
        for line in lines:
            is_own = (line >= 0) & self._own[line]
            edges = np.flatnonzero(np.diff(is_own.astype(int)))
            for start, end in zip(edges[::2] + 1, edges[1::2] + 1, strict=True):
                low, high = (
                    bool(beyond >= 0 and self._firm[beyond]) for beyond in (line[start - 1], line[end])
                )
                yield _Run(way=way, own=line[start:end], feet=(low, high))

    def _hanging(self, runs: list[_Run]) -> Wall:
        """Return it where it is held nowhere along the face: by its far end from what is pressed."""
        longest = max(runs, key=self._long_mm)
        runs = [run for run in runs if run.way == longest.way]
        along = self._behind.places_mm[self._own][:, longest.way]
        here = self._behind.places_mm[self._own & self._under][:, longest.way]
        low = float(here.min() + here.max()) >= float(along.min() + along.max())
        return self._strip(runs, (low, not low), float((self._own & self._under).sum() / self._under.sum()))

    def _strip(self, runs: Sequence[_Run], feet: tuple[bool, bool], share: float) -> Wall:
        """Return runs that are held alike as a wall."""
        behind, way = self._behind, runs[0].way
        step, aside = float(behind.step_mm[way]), float(behind.step_mm[1 - way])
        # Of runs of unlike length the mean one counts.
        count = round(float(np.mean([len(run.own) for run in runs])))
        from_foot = [run.own if feet[0] else run.own[::-1] for run in runs]
        rows: list[list[float]] = [[] for _ in range(max(count, 1))]
        for own in from_foot:
            for row, thick in zip(rows, behind.thick_mm[own], strict=False):
                row.append(float(thick) ** 3)
        at = [np.flatnonzero(self._under[own]) for own in from_foot]
        first, last = min(int(a.min()) for a in at if len(a)), max(int(a.max()) for a in at if len(a))
        beyond = self._beyond(sorted(runs, key=lambda run: len(run.own))[len(runs) // 2])
        tall = count * step + float(beyond.sum())
        extra = float(beyond[0] if feet[0] else beyond[1])
        # Rows are counted from the foot, and the push reaches to the foot or the edge where the rows do.
        low = 0.0 if first == 0 else first * step + extra
        high = tall if last >= count - 1 else (last + 1) * step + extra
        spread = tall * (_SPREAD_BETWEEN if all(feet) else 1.0)
        return Wall(
            thick_mm=float(min(behind.thick_mm[run.own].min() for run in runs)),
            rows_mm=tuple(float(np.mean(row)) ** (1 / 3) for row in rows if row),
            high_mm=tall,
            long_mm=len(runs) * aside + self._beside_mm(runs, spread),
            both_ends=all(feet),
            pressed_mm=(min(low, high - 0.5 * step), high),
            share=share,
        )

    def _beside_mm(self, runs: Sequence[_Run], spread_mm: float) -> float:
        """Return how much more of a region bends on either side of its pressed runs, at most so far."""
        aside = 1 - runs[0].way
        ends = self._behind.places_mm[self._own][:, aside]
        here = self._behind.places_mm[np.concatenate([run.own for run in runs])][:, aside]
        return float(min(here.min() - ends.min(), spread_mm) + min(ends.max() - here.max(), spread_mm))

    def _beyond(self, run: _Run) -> Floats:
        """Return how far a run goes on beyond its outermost places' cells at its low and high end, mm."""
        step = float(self._behind.step_mm[run.way])
        found = np.zeros(2)
        for side, (sign, number) in enumerate(((-1.0, run.own[0]), (1.0, run.own[-1]))):
            inside, outside = 0.0, step
            for _ in range(_HALVINGS):
                half = 0.5 * (inside + outside)
                tried = self._behind.places_mm[number].copy()
                tried[run.way] += sign * half
                thick = self._look.thick_mm(tried)
                thin = thick is not None and thick < self._limit_mm
                is_wall = thin and not self._look.is_backed(tried, thick or 0.0)
                inside, outside = (half, outside) if is_wall else (inside, half)
            found[side] = inside - 0.5 * step
        return found


def thinner_mm(shape: Shape | None) -> float:
    """Return how thick a region is across Y or Z, the smaller; 0 for None, the thickest of several.

    Parameters
    ----------
    shape : Shape or None
        The region; each of its solids is measured by its box.

    Returns
    -------
    float
    """
    if shape is None:
        return 0.0
    sizes = [0.0]
    for solid in solids_of(shape):
        box = box_of(solid)
        sizes.append(min(box[4] - box[1], box[5] - box[2]))
    return max(sizes)


def depth_mm(region: Shape, whole: Shape, left: Shape) -> float:
    """Return how deep a region taken out of a solid is: how far its surface has gone back, at the most.

    Taken both ways, since the width of a narrow slot or of a rib that is gone altogether is not its depth:
    from the new surface to the surface as it was, and from what is gone of that to what is left. Read at the
    corners, sides and middles of the triangles of the region's surface.

    Parameters
    ----------
    region : Shape
        What is taken.
    whole : Shape
        The solid as it was.
    left : Shape
        The solid without the region.

    Returns
    -------
    float
        mm.
    """
    corners, triangles = tessellated(region, _MESH_MM, _MESH_RAD)
    faces = corners[triangles]
    spots = np.concatenate([corners, faces.mean(axis=1), *((faces + np.roll(faces, 1, axis=1)) / 2)])
    spots = np.unique(np.round(spots, 6), axis=0)
    spots = spots[:: math.ceil(len(spots) / _MOST_SPOTS)]
    shells = compound([shell for solid in solids_of(whole) for shell in solid.Shells()])
    deepest = 0.0
    for spot in spots:
        dot = cq.Vertex.makeVertex(*spot)
        deepest = max(deepest, dot.distance(shells), dot.distance(left))
    return deepest


def proud_mm(region: Shape | None, whole: Shape) -> float:
    """Return how far what stands on a solid stands off it at the most, read on triangles; 0 for None.

    Parameters
    ----------
    region : Shape or None
        What stands on the solid.
    whole : Shape
        The solid that it stands on.

    Returns
    -------
    float
        mm.
    """
    if region is None:
        return 0.0
    corners, triangles = tessellated(region, _MESH_MM, _MESH_RAD)
    spots = np.unique(np.round(np.concatenate([corners, corners[triangles].mean(axis=1)]), 6), axis=0)
    spots = spots[:: math.ceil(len(spots) / _MOST_SPOTS)]
    return max(float(cq.Vertex.makeVertex(*spot).distance(whole)) for spot in spots)


def reach_mm(zone: Shape, of: Solid, into: Solid) -> float | None:
    """Return how far the surface of one solid reaches into another, at the most.

    The deepest of the corners and middles of the triangles that bound what is shared is climbed from, on the
    surface, until steps of 0.1 um go no deeper.

    Parameters
    ----------
    zone : Shape
        What the two solids share.
    of, into : Solid
        Whose surface, and which solid it lies inside.

    Returns
    -------
    float or None
        The greatest distance found from the surface of `into`; None where the surface of `of` does not bound
        what is shared.
    """
    corners, triangles = tessellated(zone, _MESH_MM, _MESH_RAD)
    spots = np.concatenate([corners, corners[triangles].mean(axis=1)])
    spots = np.unique(np.round(spots, 6), axis=0)
    spots = spots[:: math.ceil(len(spots) / _REACH_SPOTS)]
    own, other = (compound(solid.Shells()) for solid in (of, into))
    best: tuple[float, Floats] | None = None
    for spot in spots:
        off_mm, there, _ = distance(own, vertex(spot))
        if off_mm <= _MESH_MM and (deep := distance(other, vertex(there))[0]) > (best or (0.0,))[0]:
            best = deep, there
    return None if best is None else _climbed_mm(own, other, *best)


def _climbed_mm(own: Shape, other: Shape, deep_mm: float, at: Floats) -> float:
    """Return the greatest depth near a place; a step shorter than the depth cannot leave the other solid."""
    step_mm = deep_mm / 2
    while step_mm > _CLOSE_MM:
        better = False
        for way in (*np.eye(3), *-np.eye(3)):
            _, there, _ = distance(own, vertex(at + step_mm * way))
            now_mm = distance(other, vertex(there))[0]
            if now_mm > deep_mm and np.linalg.norm(there - at) < deep_mm:
                deep_mm, at, better = now_mm, there, True
        step_mm = step_mm if better else step_mm / 2
    return deep_mm


def wall_mm(solid: Solid, faces: Sequence[Face]) -> float:
    """Return the thinnest wall behind some faces of a solid, looking straight in from points on them.

    Parameters
    ----------
    solid : Solid
    faces : sequence of Face
        Of the solid, where it stands; each is read at up to 64 points.

    Returns
    -------
    float
        mm; inf where no line comes out, as for no faces.

    Raises
    ------
    KernelError
        A face has no normal at one of the points.
    """
    look = _looking_through(solid)
    walls = [
        _through_mm(look, point, -normal_at(face, point))
        for face in faces
        for point in inside_points(face, 64)
    ]
    return min(walls, default=math.inf)


def through_mm(solid: Solid, point: Floats, into: Floats) -> float:
    """Return how far it is from a point straight through a solid, mm; inf where it does not come out.

    Parameters
    ----------
    solid : Solid
    point : ndarray, shape (3,)
        Where the line goes in, mm; what lies within 0.1 um of it does not count.
    into : ndarray, shape (3,)
        Direction of the line; of any length.

    Returns
    -------
    float
        To the first place where the line meets the surface again.
    """
    return _through_mm(_looking_through(solid), point, into)


def chords(solid: Solid, points: Floats, along: Floats) -> list[Floats]:
    """Return where straight lines run inside a solid.

    Parameters
    ----------
    solid : Solid
    points : ndarray, shape (n, 3)
        A point of each line, mm.
    along : ndarray, shape (3,)
        Unit direction of all lines.

    Returns
    -------
    list of ndarray, shape (k, 2)
        For each line from where to where it is inside, mm from its point along the direction. Empty where it
        misses the solid, and where it only grazes it, so that no part is clearly inside.
    """
    look, way = _looking_through(solid), gp_Dir(*along.tolist())
    found = []
    for point in points:
        look.Perform(gp_Lin(gp_Pnt(*point.tolist()), way), -_FAR_MM, _FAR_MM)
        crossed = np.sort([look.WParameter(i + 1) for i in range(look.NbPnt())])
        found.append(crossed.reshape(-1, 2) if crossed.size % 2 == 0 else np.empty((0, 2)))
    return found


def _looking_through(solid: Solid) -> IntCurvesFace_ShapeIntersector:
    look = IntCurvesFace_ShapeIntersector()
    look.Load(solid.wrapped, 1e-7)
    return look


def _through_mm(look: IntCurvesFace_ShapeIntersector, point: Floats, into: Floats) -> float:
    look.Perform(gp_Lin(gp_Pnt(*point.tolist()), gp_Dir(*into.tolist())), 1e-4, _FAR_MM)
    return min((float(look.WParameter(i + 1)) for i in range(look.NbPnt())), default=math.inf)
