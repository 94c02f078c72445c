"""Where an end mill goes over a part: its profile, and its passes worked out from level faces and walls."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NoReturn

import numpy as np
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from fixturecheck.arrays import Point2, Segment
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.measure import box_of, edge_ends, normal_in_middle
from fixturecheck.kernel.outline import Arc, Line, Piece, Ring, outlines_of, section_of
from fixturecheck.kernel.shapes import Solid
from fixturecheck.machining.swept_area import (
    AreaBounds,
    area_of,
    merged,
    outlines,
    points_of,
    polygons_in,
    swept_polygon,
    turned_round,
)
from fixturecheck.numeric import circle_through
from fixturecheck.setup.model import Body
from fixturecheck.setup.tools import OVER_FACE, CutterMove, EndMilling, MillMove

_BESIDE_MM = 1e-4
"""How far above or below a level at which a part changes it is cut to see what stands there."""
_SAME_MM = 1e-6
_MOST_LEVELS = 64
"""Each costs two sections; more is a free-form part, whose walls sections do not show."""
_MOST_ROUNDS = 400
_NEAR_END_MM = 5e-3
_STEP_OF_POINT = 0.1
_MEETS_MM = 1e-3
"""Chords of round walls lie off them by less."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutterPass:
    """One level pass of a cutter, with the way down to it, or a plunge.

    Parameters
    ----------
    path : tuple of Piece
        Where its axis goes; of a plunge, a line without length.
    z_mm : float
        Height of its tip.
    plunges : bool
        Whether it comes straight down.
    round : int
        Which round of a pocket it is, 0 beside the walls.
    step_mm : float
        From one round of the pocket to the next; zero where it is no pocket.
    from_z_mm : float or None
        Where the tip begins that goes down evenly along the path and then over it once more; None goes level.
    drop_mm : float
        How far down it goes in going over the path once; zero where it goes level.
    """

    path: tuple[Piece, ...]
    z_mm: float
    plunges: bool = False
    round: int = 0
    step_mm: float = 0.0
    from_z_mm: float | None = None
    drop_mm: float = 0.0

    @property
    def long_mm(self) -> float:
        """How long the path is."""
        arcs = (p.radius_mm * abs(p.turn_rad) for p in self.path if isinstance(p, Arc))
        return sum(arcs) + sum(math.dist(p.start, p.end) for p in self.path if isinstance(p, Line))

    @property
    def lead_deg(self) -> float:
        """How steeply it goes down."""
        return math.degrees(math.atan2(self.drop_mm, self.long_mm))

    @property
    def highest_mm(self) -> float:
        """How high the tip is at least while it goes over the path the first time."""
        return self.z_mm if self.from_z_mm is None else self.from_z_mm - self.drop_mm


def cutter_outline(run: EndMilling) -> tuple[Segment, ...]:
    """Return the radius of a cutter over the height above its tip, from its end to the top of its flutes.

    Parameters
    ----------
    run : EndMilling
        The run as stated.

    Returns
    -------
    tuple[Segment, ...]
        Lines and arcs of (height, radius), mm, from the tip up.
    """
    radius, corner, top = 0.5 * run.diameter_mm, run.corner_radius_mm, run.flute_mm
    tilt = math.radians(run.taper_deg)
    if corner <= 0.0:
        end = radius + top * math.tan(tilt)
        return (("line", (0.0, radius), (top, end)),)
    low = (0.0, radius - corner)
    # The corner runs smoothly into the side.
    turn = math.pi / 2 - tilt

    def at(angle: float) -> tuple[float, float]:
        return corner * (1 - math.cos(angle)), radius - corner + corner * math.sin(angle)

    meets = at(turn)
    found: list[Segment] = [("arc", low, at(0.5 * turn), meets)]
    if top > meets[0] + _SAME_MM:
        found.append(("line", meets, (top, meets[1] + (top - meets[0]) * math.tan(tilt))))
    return tuple(found)


def radius_at_mm(run: EndMilling, above_mm: float) -> float:
    """Return the radius of a cutter at a height above its tip.

    Parameters
    ----------
    run : EndMilling
        Diameter, corner radius and taper of the cutter.
    above_mm : float
        Height above the tip; below the tip it counts as zero.

    Returns
    -------
    float
        At the tip that of the flat end.

    References
    ----------
    The corner is an arc to which the tapered side is tangent, closed form.
    """
    radius, corner, tilt = 0.5 * run.diameter_mm, run.corner_radius_mm, math.radians(run.taper_deg)
    above = max(above_mm, 0.0)
    meets = corner * (1 - math.sin(tilt))
    if above < meets:
        return radius - corner + math.sqrt(corner * corner - (corner - above) ** 2)
    side = radius - corner + corner * math.cos(tilt)
    return side + (above - meets) * math.tan(tilt)


def largest_radius_mm(run: EndMilling) -> float:
    """Return the radius of a cutter at the top of its flutes.

    Parameters
    ----------
    run : EndMilling
        Diameter, corner radius, taper and length of flute of the cutter.

    Returns
    -------
    float
        mm.
    """
    return radius_at_mm(run, run.flute_mm)


def flat_radius_mm(run: EndMilling) -> float:
    """Return the radius of the flat end of a cutter; zero for a ball.

    Parameters
    ----------
    run : EndMilling
        Diameter and corner radius of the cutter.

    Returns
    -------
    float
        mm.
    """
    return 0.5 * run.diameter_mm - run.corner_radius_mm


def _step_of(run: EndMilling, move: MillMove) -> float:
    """Return the step from one round of a pocket to the next, mm: as stated, or what the cutter bears."""
    if move.step_mm is not None:
        return move.step_mm
    flat_mm = flat_radius_mm(run)
    return flat_mm if flat_mm > 0.0 else _STEP_OF_POINT * run.diameter_mm


def passes_of(run: EndMilling, body: Body, solid: Solid) -> tuple[CutterPass, ...]:
    """Return where the cutter goes over one part, in the machine's frame.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    body : Body
        The part.
    solid : Solid
        The part where it stands.

    Returns
    -------
    tuple[CutterPass, ...]
        In the order of the moves, and of a pocket from the walls inward.

    Raises
    ------
    NotComputedError
        A face that a move goes over is not level, or the cutter does not go in between its walls.
    """
    found: list[CutterPass] = []
    for move in run.moves:
        if move.kind in OVER_FACE:
            found += _Over(run, move, body, solid).passes()
        else:
            found.append(_stated(move))
            if found[-1].drop_mm > run.flute_mm:
                raise NotComputedError(
                    f"a {move.kind} goes {found[-1].drop_mm:g} mm down at once, more than the "
                    f"{run.flute_mm:g} mm of its flutes, so what it leaves is not worked out; go down in "
                    "several"
                )
    return tuple(found)


def _stated(move: MillMove) -> CutterPass:
    """Return a move whose points are stated."""
    points, z_mm = move.at_mm, move.z_mm if move.z_mm is not None else 0.0
    if move.kind == CutterMove.PLUNGE:
        return CutterPass(path=(Line(start=points[0], end=points[0]),), z_mm=z_mm, plunges=True)
    if move.kind == CutterMove.ARC:
        return CutterPass(path=(_arc_through(*points),), z_mm=z_mm)
    if move.kind == CutterMove.HELIX and move.radius_mm is not None and move.pitch_mm is not None:
        round_ = Arc(centre=points[0], radius_mm=move.radius_mm, from_rad=0.0, turn_rad=2.0 * math.pi)
        return CutterPass(path=(round_,), z_mm=z_mm, from_z_mm=move.from_z_mm, drop_mm=move.pitch_mm)
    path = tuple(Line(start=a, end=b) for a, b in pairwise(points))
    if move.kind == CutterMove.RAMP and move.from_z_mm is not None:
        return CutterPass(path=path, z_mm=z_mm, from_z_mm=move.from_z_mm, drop_mm=move.from_z_mm - z_mm)
    return CutterPass(path=path, z_mm=z_mm)


def _arc_through(a: Point2, b: Point2, c: Point2) -> Piece:
    """Return the arc from the first of three points through the second to the third."""
    found = circle_through(a, b, c, flat_mm2=_SAME_MM)
    if found is None:
        return Line(start=a, end=c)
    x, y, radius_mm = found
    start, middle, end = (math.atan2(p[1] - y, p[0] - x) for p in (a, b, c))
    ahead, part = ((e - start) % (2 * math.pi) for e in (end, middle))
    turn = ahead if part <= ahead else ahead - 2 * math.pi
    return Arc(centre=(x, y), radius_mm=radius_mm, from_rad=start, turn_rad=turn)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walls:
    """What of a part the axis of a cutter must keep away from, at one height.

    Parameters
    ----------
    area : shapely geometry
        The part as cut at that height.
    pieces : tuple of Piece
        Its outlines.
    keep_mm : float
        How far the axis keeps away from it.
    """

    area: BaseGeometry
    pieces: tuple[Piece, ...]
    keep_mm: float


def walls_of(run: EndMilling, solid: Solid, z_mm: float, leave_mm: float = 0.0) -> tuple[Walls, ...]:
    """Return the walls of a part that a cutter keeps away from while its tip is at a height.

    The part is cut on either side of every level at which it has a corner. Of what lies right over the floor
    the upper end counts: a fillet there is narrower than a cutter that can make it.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    solid : Solid
        The part where it stands.
    z_mm : float
        Height of the tip.
    leave_mm : float
        What is left on the walls besides.

    Returns
    -------
    tuple[Walls, ...]
        From low to high, each once.
    """
    found, before_mm = [], 0.0
    for height, area, pieces in _sections_above(solid, z_mm):
        # What is cut right below a level stands down to the level before it.
        down_mm = before_mm if height - before_mm > 3 * _BESIDE_MM else height
        keep_mm = max(_kept_radius_mm(run, h) for h in (down_mm, height))
        found.append(Walls(area=area, pieces=pieces, keep_mm=keep_mm + leave_mm))
        before_mm = height
    return tuple(_unlike(found))


def _kept_radius_mm(run: EndMilling, above_mm: float) -> float:
    """Return how far the axis keeps away from what stands at a height above the tip: there may be a neck."""
    neck_mm = run.neck_radius_mm
    return radius_at_mm(run, above_mm) if neck_mm is None or above_mm < run.flute_mm - _SAME_MM else neck_mm


def stands_over(solid: Solid, z_mm: float, head_mm: float, floor: BaseGeometry) -> BaseGeometry | None:
    """Return what of a part stands right over the flutes of a cutter whose tip is on a floor.

    Parameters
    ----------
    solid : Solid
        The part where it stands.
    z_mm : float
        Height of the tip.
    head_mm : float
        Height of the flutes.
    floor : shapely geometry
        What the cutter goes over.

    Returns
    -------
    shapely geometry or None
        Seen from above. None where that is nothing of the floor. Under it stood the stock of a T-slot; beside
        it is the slot that was there.
    """
    area = merged([area_of(rings) for rings in section_of(solid, z_mm + head_mm + _BESIDE_MM)])
    return area if area.intersection(floor).area > _SAME_MM else None


def comes_down(run: EndMilling, solid: Solid, one: CutterPass) -> bool:
    """Say whether the flutes of a cutter come straight down to either end of a pass.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    solid : Solid
        The part where it stands.
    one : CutterPass
        Where it goes.

    Returns
    -------
    bool
        Where a part stands over its way, as over a T-slot, the cutter comes in from an end that is open.
    """
    return any(_is_open(run, solid, one.z_mm, end) for end in (one.path[0].start, one.path[-1].end))


def _is_open(run: EndMilling, solid: Solid, z_mm: float, end: Point2) -> bool:
    disc = Point(end).buffer(largest_radius_mm(run) - _MEETS_MM)
    return not any(area.intersects(disc) for _, area, _ in _sections_above(solid, z_mm))


@lru_cache(maxsize=64)
def _sections_above(solid: Solid, z_mm: float) -> tuple[tuple[float, BaseGeometry, tuple[Piece, ...]], ...]:
    """Return the sections of a part on either side of its levels above a height, and how high each is.

    Raises
    ------
    NotComputedError
        There are too many: walls above those that were cut would be passed over.
    """
    found = []
    above = sorted({round(float(p[2]) - z_mm, 6) for e in edges_of(solid) for p in edge_ends(e)})
    levels = [h for h in above if h > 2 * _BESIDE_MM]
    if len(levels) > _MOST_LEVELS:
        raise NotComputedError(
            f"the part has corners at {len(levels)} heights above the floor, more than {_MOST_LEVELS}"
        )
    for level in levels:
        for height in (level - _BESIDE_MM, level + _BESIDE_MM):
            rings = section_of(solid, z_mm + height)
            if rings:
                area = merged([area_of(area) for area in rings])
                found.append((height, area, tuple(p for a in rings for ring in a for p in ring)))
    return tuple(found)


def _unlike(walls: Sequence[Walls]) -> Iterator[Walls]:
    """Yield walls, each once where those above keep the axis as far from the same area."""
    for i, one in enumerate(walls):
        rest = (other for other in walls[i + 1 :] if other.keep_mm >= one.keep_mm - _SAME_MM)
        if not any(other.pieces == one.pieces for other in rest):
            yield one


class _Over:
    """The passes of one move over a level face of a part."""

    def __init__(self, run: EndMilling, move: MillMove, body: Body, solid: Solid) -> None:
        self._run, self._move, self._body, self._solid = run, move, body, solid
        name = move.face or ""
        faces = [faces_of(solid)[i] for i in body.face_indices(name)]
        self._rings = self._level(faces, f"{body.name}.{name}")
        self._floor = merged([area_of(rings) for rings in self._rings])
        self._z_mm = box_of(faces[0])[2] if move.z_mm is None else move.z_mm
        self._walls = walls_of(run, solid, self._z_mm, move.leave_mm)

    def _level(self, faces: Sequence[object], what: str) -> list[tuple[Ring, ...]]:
        """Return the rings of faces that lie at one height and look up."""
        for face in faces:
            box = box_of(face)
            if box[5] - box[2] > _SAME_MM:
                raise NotComputedError(
                    f"{what} is not level, so a {self._move.kind} over it is not worked out"
                )
        return [outlines_of(face) for face in faces]

    def passes(self) -> list[CutterPass]:
        """Return the passes over the face.

        Raises
        ------
        NotComputedError
            The cutter does not go in between the walls.
        """
        if self._move.kind == CutterMove.POCKET:
            return self._pocket()
        return self._slot() if self._move.kind == CutterMove.SLOT else self._contour()

    def _free(self, within: BaseGeometry) -> BaseGeometry:
        """Return where the axis may stand: within an area, away from the walls."""
        taken = [wall.area.buffer(wall.keep_mm, quad_segs=48) for wall in self._walls]
        return within.difference(merged(taken)) if taken else within

    def _bounds(self) -> list[AreaBounds]:
        return [AreaBounds.offsets(wall.pieces, wall.keep_mm) for wall in self._walls]

    @property
    def _keep_mm(self) -> float:
        return max((wall.keep_mm for wall in self._walls), default=0.5 * self._run.diameter_mm)

    def _pocket(self) -> list[CutterPass]:
        """Go round beside the walls first, then by steps toward the middle."""
        step_mm = _step_of(self._run, self._move)
        floor = [p for rings in self._rings for ring in rings for p in ring]
        free = self._free(self._floor)
        if not polygons_in(free):
            raise NotComputedError(self._too_wide())
        bounds = AreaBounds.joined([AreaBounds.offsets(floor, 0.0), *self._bounds()])
        found: list[CutterPass] = []
        areas = outlines(free, bounds, self._keep_mm)
        for rounds in range(_MOST_ROUNDS):
            # Counterclockwise beside the outer walls, clockwise round an island: the wall is on the right.
            rings = [turned_round(r, n == 0) for area in areas for n, r in enumerate(area)]
            found += [CutterPass(path=r, z_mm=self._z_mm, round=rounds, step_mm=step_mm) for r in rings]
            within = merged([area_of(area) for area in areas])
            # Round ends leave a rib in the middle where the last round is further from it than half a step.
            steps = (step_mm,) if self._run.corner_radius_mm <= 0.0 else (step_mm, 0.5 * step_mm)
            inward = [(by, _with_width(within.buffer(-by, quad_segs=48))) for by in steps]
            by_mm, inner = next(((by, left) for by, left in inward if not left.is_empty), (0.0, None))
            if inner is None:
                return found
            areas = outlines(inner, AreaBounds.offsets([p for r in rings for p in r], by_mm), by_mm)
        raise NotComputedError(
            f"a step of {step_mm:g} mm makes more than {_MOST_ROUNDS} rounds of the pocket"
        )

    def _too_wide(self) -> str:
        where = f"{self._body.name}.{self._move.face}"
        wide = f"a cutter of {self._run.diameter_mm:g} mm"
        for wall in self._walls:
            taken = wall.area.buffer(wall.keep_mm - 1e-3)
            if polygons_in(self._floor.difference(taken)):
                return f"{wide} is just as wide as the pocket at {where}; state a slot"
        return f"{wide} does not go in between the walls at {where}"

    def _slot(self) -> list[CutterPass]:
        """Go once along the middle of the face, up to what closes an end and out of one that is open."""
        box = np.array(self._floor.minimum_rotated_rectangle.exterior.coords)
        sides = np.diff(box, axis=0)[:2]
        longer = int(np.linalg.norm(sides[1]) > np.linalg.norm(sides[0]))
        way = sides[longer] / np.linalg.norm(sides[longer])
        half = 0.5 * float(np.linalg.norm(sides[longer])) + self._run.diameter_mm
        middle = box[:4].mean(axis=0)
        line = LineString([middle - half * way, middle + half * way])
        taken = merged([w.area.buffer(w.keep_mm - 1e-3, quad_segs=48) for w in self._walls])
        free = line.difference(taken)
        parts = list(free.geoms) if hasattr(free, "geoms") else [free]
        # Beyond the face there is room for any cutter.
        within = [p for p in parts if p.intersection(self._floor).length > _SAME_MM]
        along = max(within, key=lambda p: p.length, default=None)
        if along is None:
            self._refuse_slot(line.intersection(self._floor))
        ends = [self._ends_at(np.array(along.coords[i]), middle, way) for i in (0, -1)]
        if not _is_open(self._run, self._solid, self._z_mm, ends[0]):
            ends.reverse()
        return [CutterPass(path=(Line(start=ends[0], end=ends[1]),), z_mm=self._z_mm)]

    def _refuse_slot(self, middle: BaseGeometry) -> NoReturn:
        """Say what does not go along the middle of a face: the flutes, or a neck above them."""
        where, wide = f"{self._body.name}.{self._move.face}", f"a cutter of {self._run.diameter_mm:g} mm"
        neck_mm, flute_mm = self._run.neck_radius_mm, self._run.flute_mm
        message = f"{wide} does not go along the middle of {where}, a wall is nearer; state a contour"
        high = [(h, 2.0 * middle.distance(a)) for h, a, _ in _sections_above(self._solid, self._z_mm)]
        above = [room for h, room in high if h >= flute_mm - _SAME_MM]
        lips = [h for h, room in high if room < self._run.diameter_mm - _MEETS_MM]
        if neck_mm is not None and above and min(above) < 2.0 * neck_mm - _MEETS_MM:
            message = (
                f"the neck of {2.0 * neck_mm:g} mm above {wide} does not go along {where}: between what "
                f"stands over its flutes there are {min(above):g} mm"
            )
        elif neck_mm is not None and lips and lips[0] < flute_mm:
            message = (
                f"{wide} does not go along {where}: its flutes are {flute_mm:g} mm high, and "
                f"{max(lips[0] - _BESIDE_MM, 0.0):g} mm above the tip the part is narrower"
            )
        raise NotComputedError(message)

    def _ends_at(self, rough: np.ndarray, middle: np.ndarray, way: np.ndarray) -> Point2:
        """Return where the axis is as far from a wall as it must be, next to a rough place on the line."""
        at = float((rough - middle) @ way)
        found = [t for wall in self._walls for t in _kept(wall, middle, way) if abs(t - at) < _NEAR_END_MM]
        best = min(found, key=lambda t: abs(t - at), default=at)
        x, y = (middle + best * way).tolist()
        return x, y

    def _contour(self) -> list[CutterPass]:
        """Go along the walls that stand beside the face, past both ends of each."""
        radius = 0.5 * self._run.diameter_mm
        wide = self._floor.buffer(radius, quad_segs=48)
        floor = [p for rings in self._rings for ring in rings for p in ring]
        bounds = AreaBounds.joined([AreaBounds.offsets(floor, radius), *self._bounds()])
        found = []
        for area in outlines(self._free(wide), bounds, max(radius, self._keep_mm)):
            for ring in area:
                beside = [self._beside_wall(piece) for piece in ring]
                found += [CutterPass(path=path, z_mm=self._z_mm) for path in _along(ring, beside)]
        if not found:
            raise NotComputedError(
                f"no wall stands beside {self._body.name}.{self._move.face}, so there is no contour"
            )
        return found

    def _beside_wall(self, piece: Piece) -> bool:
        """Tell whether the cutter just meets a wall along the middle of a piece."""
        line = LineString(points_of((piece,)))
        # An arc leads smoothly into what follows it: near its ends that is as near to the wall.
        inner = substring(line, 0.25, 0.75, normalized=True)
        return any(inner.distance(wall.area) < wall.keep_mm + _MEETS_MM for wall in self._walls)


def _with_width(shape: BaseGeometry) -> BaseGeometry:
    """Return the areas of a shape that are more than the crumbs left where two rounds all but meet."""
    return merged([p for p in polygons_in(shape) if not p.buffer(-_MEETS_MM).is_empty])


def _along(ring: Ring, wanted: Sequence[bool]) -> Iterator[tuple[Piece, ...]]:
    """Yield the runs of a ring's pieces that are wanted."""
    if all(wanted):
        yield ring
        return
    count = len(ring)
    start = next(i for i in range(count) if not wanted[i])
    run: list[Piece] = []
    for i in range(start, start + count + 1):
        if wanted[i % count]:
            run.append(ring[i % count])
        elif run:
            yield tuple(run)
            run = []


def _kept(wall: Walls, middle: np.ndarray, way: np.ndarray) -> Iterator[float]:
    """Yield where on a line the axis is exactly as far from a piece of a wall as it must be."""
    keep = wall.keep_mm
    for piece in wall.pieces:
        if isinstance(piece, Line):
            a, b = np.array(piece.start), np.array(piece.end)
            along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-12)
            normal = np.array([-along[1], along[0]])
            slope = float(way @ normal)
            if abs(slope) > 1e-9:
                yield from ((float((a - middle) @ normal) + s * keep) / slope for s in (-1, 1))
            rounds = [(a, keep), (b, keep)]
        else:
            rounds = [(np.array(piece.centre), abs(piece.radius_mm + s * keep)) for s in (-1, 1)]
            rounds += [(np.array(p), keep) for p in (piece.start, piece.end)]
        for centre, radius in rounds:
            foot = float((centre - middle) @ way)
            off = float(np.linalg.norm(centre - middle - foot * way))
            if off <= radius + _SAME_MM:
                half = math.sqrt(max(radius * radius - off * off, 0.0))
                yield from (foot - half, foot + half)


@dataclass(frozen=True, slots=True, kw_only=True)
class TightCorner:
    """A corner between two walls that a cutter goes along.

    Parameters
    ----------
    at_mm : tuple of float
        Where it is, X and Y.
    radius_mm : float
        As drawn; zero where it is sharp.
    angle_rad : float
        Between the walls, on the open side.
    keep_mm : float
        Radius of the cutter at that height.
    """

    at_mm: Point2
    radius_mm: float
    angle_rad: float
    keep_mm: float


_LOOK_MM = 0.02
_FLAT_RAD = math.radians(3.0)


def inside_corners(walls: Sequence[Walls], passes: Sequence[CutterPass]) -> tuple[TightCorner, ...]:
    """Return the inside corners beside some passes: rounds that the part lies outside of, and sharp ones.

    Parameters
    ----------
    walls : sequence of Walls
        What the axis keeps away from.
    passes : sequence of Pass
        Where the cutter goes.

    Returns
    -------
    tuple[TightCorner, ...]
        In no order; one may be named by several heights.
    """
    lines = [p.path for p in passes if not p.plunges]
    if not lines:
        return ()
    found = []
    for wall in walls:
        near = swept_polygon(lines, 1.5 * wall.keep_mm + 1e-3)
        for place, radius, angle in _inside(wall):
            if near.contains(Point(place)):
                found.append(
                    TightCorner(at_mm=place, radius_mm=radius, angle_rad=angle, keep_mm=wall.keep_mm)
                )
    return tuple(found)


def _inside(wall: Walls) -> Iterator[tuple[Point2, float, float]]:
    """Yield place, radius and angle of the inside corners of an outline."""
    ends: dict[tuple[float, float], list[Piece]] = {}
    for piece in wall.pieces:
        for end in (piece.start, piece.end):
            ends.setdefault((round(end[0], 6), round(end[1], 6)), []).append(piece)
        if isinstance(piece, Arc) and piece.radius_mm > _LOOK_MM:
            x, y = piece.at(0.5)
            share = _LOOK_MM / piece.radius_mm
            toward = (x + share * (piece.centre[0] - x), y + share * (piece.centre[1] - y))
            if not wall.area.contains(Point(toward)):
                yield (x, y), piece.radius_mm, math.pi - abs(piece.turn_rad)
    for place, pieces in ends.items():
        if len(pieces) != 2:
            continue
        disc = Point(place).buffer(_LOOK_MM, quad_segs=32)
        angle = 2.0 * math.pi * (1.0 - disc.intersection(wall.area).area / disc.area)
        if angle < math.pi - _FLAT_RAD:
            yield place, 0.0, angle


def under_itself_mm2(body: Body, solid: Solid, name: str) -> float | None:
    """Return how much of a level face lies under its part; None where it is not level or looks down.

    Parameters
    ----------
    body : Body
        The part whose named faces are meant.
    solid : Solid
        The part where it stands, its faces in the order of the body's.
    name : str
        Name of the face.

    Returns
    -------
    float or None
        Zero where nothing of the part stands over the face.
    """
    faces = [faces_of(solid)[i] for i in body.face_indices(name)]
    total = 0.0
    for face in faces:
        box = box_of(face)
        if box[5] - box[2] > _SAME_MM or normal_in_middle(face)[2] < 0.5:
            return None
        floor = area_of(outlines_of(face))
        above = [area for _, area, _ in _sections_above(solid, box[2])]
        total += merged(above).intersection(floor.buffer(-_BESIDE_MM)).area
    return total
