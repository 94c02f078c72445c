"""Which faces can the part stand on, which can then be ground, and how is it turned to the wheel."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.hull import convex_hull
from fixturecheck.start.part import PLANE_MM, SAME, Part, Plane, Round

LEAST_TILT = 0.05
"""Least distance of the weight from the border of what bears, as a share of its height, that counts as
standing: some three degrees of tilt (chosen here, no source)."""

BESIDE_WALL = 0.8
"""How much a floor beside a wall counts against one that the wheel runs off on all sides (chosen here)."""

ON_LINES = 0.5
"""How much a part that bears along lines counts against one that bears on areas (chosen here)."""

ON_RIM = 0.02
"""How much of what lies between the points that a part stands on counts (chosen here)."""

LEAST_FLOOR = 0.01
"""A level face of less than this share of the part's largest flat face is not proposed to be ground (chosen
here)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LowRim:
    """Faces of which only edges, crests or corners reach the plane that a part stands on.

    Parameters
    ----------
    offset_mm : float
        How far down that plane lies, in the part's frame.
    faces : tuple of int
        Indices into `faces_of(solid)`.
    """

    offset_mm: float
    faces: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stance:
    """One way to stand: what it stands on, and which way is down.

    Parameters
    ----------
    on : tuple of Plane, Round or LowRim
        One plane, or a rim, on a flat; two planes, or one round, in a V.
    down : ndarray, shape (3,)
        Unit direction in the part's frame.
    along : ndarray or None, shape (3,)
        The direction that has to lie along X; None where any may.
    bears_mm2 : float
        Area that it stands on; of a round, half of what it shows from below.
    steady_share : float
        Distance of the weight from the border of what bears over the height of the centre of mass; inf
        where a trough holds it.
    margin_mm, height_mm : float
        That distance and that height.
    """

    on: tuple[Plane | Round | LowRim, ...]
    down: Floats
    along: Floats | None
    bears_mm2: float
    steady_share: float
    margin_mm: float = math.inf
    height_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posed:
    """A part turned as it is ground.

    Parameters
    ----------
    turn : ndarray, shape (3, 3)
        From the part's frame to the machine's.
    floor : Plane
        What is ground.
    wall : Plane or None
        The face beside the floor that the side of the wheel runs along.
    wall_side : int
        +1 where the part rises above the floor on the side of +Y, -1 on that of -Y, 0 where nowhere.
    back : Plane, Round or None
        What reaches furthest toward +Y.
    ends : tuple of (Plane, Round or None)
        What reaches furthest toward -X and +X.
    worth_mm2 : float
        What it is ranked by, mm2: the geometric mean of what bears and what is ground, less where it stands
        badly (chosen here, no source).
    """

    stance: Stance
    turn: Floats
    floor: Plane
    wall: Plane | None
    wall_side: int
    back: Plane | Round | None
    ends: tuple[Plane | Round | None, Plane | Round | None]
    worth_mm2: float


def flat_stances(part: Part) -> Iterator[Stance]:
    """Yield the planes that a part can stand on: nothing reaches past them and the weight lies over them.

    Parameters
    ----------
    part : Part
        The part as drawn.

    Yields
    ------
    Stance
        On one plane each.
    """
    for plane in part.planes:
        if not plane.outer:
            continue
        stance = _steady(part, plane, plane.normal, plane.corners, plane.area_mm2)
        if stance is not None:
            yield stance


def gripped_stances(part: Part) -> Iterator[Stance]:
    """Yield the planes that a part can be set down on and gripped over, wherever its weight lies.

    Parameters
    ----------
    part : Part
        The part as drawn.

    Yields
    ------
    Stance
        On one plane each that all of the part lies behind.
    """
    for plane in part.planes:
        if plane.outer:
            yield Stance(
                on=(plane,), down=plane.normal, along=None, bears_mm2=plane.area_mm2, steady_share=math.inf
            )


def rim_stances(part: Part) -> Iterator[Stance]:
    """Yield how a part stands with a flat face up and nothing flat below: on a rim, or on corners.

    Parameters
    ----------
    part : Part
        The part as drawn.

    Yields
    ------
    Stance
        On a `LowRim` each.
    """
    hull = part.table.hull
    for plane in part.planes:
        down = -plane.normal
        reach = hull.reach(down[None, :])[:, 0]
        lowest = float(reach.max())
        low = np.flatnonzero(reach > lowest - PLANE_MM)
        points = np.vstack(
            [_lowest_of(hull.centres[k], hull.axes[k], float(hull.radii[k]), down) for k in low]
        )
        rim = LowRim(offset_mm=lowest, faces=tuple(dict.fromkeys(int(f) for f in hull.faces[low])))
        stance = _steady(part, rim, down, points, 0.0)
        if stance is not None:
            yield stance


def _lowest_of(centre: Floats, axis: Floats, radius_mm: float, down: Floats) -> Floats:
    """Return points of a circle that lie lowest: all round it where it lies level, else one; (n, 3)."""
    if abs(abs(float(axis @ down)) - 1.0) < SAME:
        angles = np.linspace(0.0, 2 * math.pi, 32, endpoint=False)[:, None]
        first, second = _basis(axis)
        return np.asarray(centre + radius_mm * (np.cos(angles) * first + np.sin(angles) * second))
    across = down - (axis @ down) * axis
    length = float(np.linalg.norm(across))
    return np.asarray([centre + (radius_mm / length) * across if length > SAME else centre])


def _steady(part: Part, on: Plane | LowRim, down: Floats, points: Floats, area_mm2: float) -> Stance | None:
    """Return the stance on a plane that touches at some points, if the weight lies well over them."""
    across = _basis(down)
    hull = convex_hull(points @ across.T)
    weight = shapely.Point(across @ part.centre)
    height = on.offset_mm - float(part.centre @ down)
    if hull.geom_type != "Polygon" or not hull.contains(weight):
        return None
    margin = float(hull.exterior.distance(weight))
    if margin < LEAST_TILT * height:
        return None
    return Stance(
        on=(on,), down=down, along=None, bears_mm2=area_mm2 or ON_RIM * float(hull.area),
        steady_share=margin / height, margin_mm=margin, height_mm=height,
    )  # fmt: skip


def vee_stances(part: Part, angle_deg: float) -> Iterator[Stance]:
    """Yield how a part can lie in a V: on two planes that meet at its angle, or on a round.

    Parameters
    ----------
    part : Part
        The part as drawn.
    angle_deg : float
        Included angle of the V.

    Yields
    ------
    Stance
        With the direction that has to lie along X.
    """
    outer = [p for p in part.planes if p.outer]
    between = -math.cos(math.radians(angle_deg))
    for i, a in enumerate(outer):
        for b in outer[i + 1 :]:
            if abs(float(a.normal @ b.normal) - between) < SAME:
                down, along = a.normal + b.normal, np.cross(a.normal, b.normal)
                yield Stance(
                    on=(a, b),
                    down=down / np.linalg.norm(down),
                    along=along / np.linalg.norm(along),
                    bears_mm2=a.area_mm2 + b.area_mm2,
                    steady_share=math.inf,
                )
    half = math.radians(angle_deg) / 2
    for one in part.rounds:
        for plane in part.planes:
            if abs(float(plane.normal @ one.axis)) < SAME and _lies_in(part, one, -plane.normal, half):
                length = one.span_mm[1] - one.span_mm[0]
                yield Stance(
                    on=(one,), down=-plane.normal, along=one.axis,
                    bears_mm2=ON_LINES * 2 * one.radius_mm * length, steady_share=math.inf,
                )  # fmt: skip


def _lies_in(part: Part, one: Round, down: Floats, half_rad: float) -> bool:
    """Say whether a part lies on both flanks with a round alone, its weight between the ends of the round."""
    if not one.span_mm[0] < float(part.centre @ one.axis) < one.span_mm[1]:
        return False
    side = np.cross(one.axis, down)
    flanks = [math.sin(half_rad) * down + sign * math.cos(half_rad) * side for sign in (-1.0, 1.0)]
    own = sorted(one.faces)
    for flank in flanks:
        reach = float(one.origin @ flank) + one.radius_mm
        far = ~np.isin(part.table.hull.faces, own)
        over = part.table.hull.reach(flank[None, :])[far, 0] - 2 * part.table.hull.balls[far]
        if over.max(initial=-np.inf) > reach + PLANE_MM or not _shows(part, one, flank):
            return False
    return True


def _shows(part: Part, one: Round, way: Floats) -> tuple[int, ...]:
    """Return the faces of a round that look some way along their length."""
    found = []
    for face in one.faces:
        surface = part.table.surfaces[face]
        if surface is None:
            continue
        angle = math.atan2(float(way @ surface.y_axis), float(way @ surface.x_axis))
        first, last = surface.arc_rad
        if (angle - first) % (2 * math.pi) <= last - first:
            found.append(face)
    return tuple(found)


def poses(part: Part, stance: Stance, floor: Plane | None, *, shut_in: bool = False) -> Iterator[Posed]:
    """Yield the ways to turn a part that stands, each with a face that can be ground.

    Parameters
    ----------
    part : Part
        The part as drawn.
    stance : Stance
        How it stands.
    floor : Plane or None
        The face to grind; any level one of some size where it is None.
    shut_in : bool
        Take level faces alone that the wheel cannot run over along X, since the part is in its way.

    Yields
    ------
    Posed
        One for each face and turn.
    """
    up = -stance.down
    wanted = (floor,) if floor is not None else _large(part)
    for plane in wanted:
        if np.linalg.norm(plane.normal - up) >= SAME:
            continue
        for turn in _turns(part, stance):
            open_sides = _open_sides(part, turn, plane)
            if (open_sides is None) == shut_in:
                yield _posed(part, stance, turn, plane, open_sides or (None, 0))


def _large(part: Part) -> tuple[Plane, ...]:
    """Return the planes of a part that are large enough to be worth grinding."""
    most = part.planes[0].area_mm2 if part.planes else 0.0
    return tuple(p for p in part.planes if p.area_mm2 >= LEAST_FLOOR * most)


def shut_in_mm(part: Part, posed: Posed) -> float:
    """Return how far a part that is turned stands up over the face that is ground, mm.

    Parameters
    ----------
    part : Part
        The part as drawn.
    posed : Posed
        How it is turned, and which face is ground.

    Returns
    -------
    float
        Zero where nothing stands above that face.
    """
    return max(float((part.points @ posed.turn[2]).max()) - posed.floor.offset_mm, 0.0)


def open_floors(part: Part, turn: Floats) -> Iterator[tuple[Plane, Plane | None, float]]:
    """Yield the faces of a part, turned as it stands, that lie level and open to the wheel along X.

    Parameters
    ----------
    part : Part
        The part as drawn.
    turn : ndarray, shape (3, 3)
        From the part's frame to the machine's.

    Returns
    -------
    iterator of tuple
        The face, the wall beside it or None, and what it is worth, mm2: its area, less beside a wall.
    """
    for plane in part.planes:
        if np.linalg.norm(turn @ plane.normal - (0.0, 0.0, 1.0)) < SAME:
            beside = _open_sides(part, turn, plane)
            if beside is not None:
                yield plane, beside[0], plane.area_mm2 * (BESIDE_WALL if beside[1] else 1.0)


def _turns(part: Part, stance: Stance) -> Iterator[Floats]:
    """Yield the rotations that put a stance down and a side of the part toward +Y."""
    up = -stance.down
    if stance.along is not None:
        for sign in (1.0, -1.0):
            x = sign * stance.along
            yield np.array([x, np.cross(up, x), up])
        return
    flat = [p.normal for p in part.planes if p.outer and abs(float(p.normal @ up)) < SAME] or [_basis(up)[0]]
    sides = [way for y in flat for way in (y, np.cross(up, y), -y, -np.cross(up, y))]
    seen: list[Floats] = []
    for y in sides:
        if all(np.linalg.norm(y - s) > SAME for s in seen):
            seen.append(y)
            yield np.array([np.cross(y, up), y, up])


def _open_sides(part: Part, turn: Floats, floor: Plane) -> tuple[Plane | None, int] | None:
    """Return the wall beside a floor that the wheel can run over along X, and the side that it is on.

    Returns
    -------
    tuple or None
        None for the wall and 0 where nothing of the part is higher; None where the part is in the way.
    """
    points, outline = part.points @ turn.T, floor.corners @ turn.T
    level = floor.offset_mm
    higher = points[points[:, 2] > level + PLANE_MM]
    if not higher.size:
        return None, 0
    low, high = float(outline[:, 1].min()), float(outline[:, 1].max())
    for side, border, beside in (
        (-1, low, float(higher[:, 1].max()) <= low + PLANE_MM),
        (1, high, float(higher[:, 1].min()) >= high - PLANE_MM),
    ):
        wall = _wall(part, turn, side, border, level) if beside else None
        if wall is not None:
            return wall, side
    return None


def _posed(part: Part, stance: Stance, turn: Floats, floor: Plane, beside: tuple[Plane | None, int]) -> Posed:
    """Return a part turned, with what it reaches furthest with and what that is worth."""
    wall, side = beside
    x, y = turn[0], turn[1]
    worth = math.sqrt(floor.area_mm2 * stance.bears_mm2) * min(1.0, stance.steady_share)
    return Posed(
        stance=stance,
        turn=turn,
        floor=floor,
        wall=wall,
        wall_side=side,
        back=_outer(part, y),
        ends=(_outer(part, -x), _outer(part, x)),
        worth_mm2=worth * (BESIDE_WALL if side else 1.0),
    )


def _wall(part: Part, turn: Floats, side: int, border_mm: float, level_mm: float) -> Plane | None:
    """Return the flat face that rises beside a floor and looks toward it; None where there is none."""
    found = []
    for plane in part.planes:
        normal = turn @ plane.normal
        if abs(normal[1] + side) > SAME:
            continue
        corners = plane.corners @ turn.T
        beside = side * (corners[0, 1] - border_mm) >= -PLANE_MM
        if beside and corners[:, 2].max() > level_mm + PLANE_MM:
            found.append((side * float(corners[0, 1]), -plane.area_mm2, plane))
    return min(found, key=lambda row: row[:2])[2] if found else None


def _outer(part: Part, way: Floats) -> Plane | Round | None:
    """Return what of a part reaches furthest some way, if it is a plane, or a round along a line."""
    plane = next((p for p in part.planes if p.outer and np.linalg.norm(p.normal - way) < SAME), None)
    if plane is not None:
        return plane
    furthest = float((part.points @ way).max())
    for one in part.rounds:
        reach = float(one.origin @ way) + one.radius_mm
        faces = _shows(part, one, way) if abs(float(one.axis @ way)) < SAME else ()
        if faces and reach >= furthest - PLANE_MM:
            return replace(one, faces=faces)
    return None


def best(found: list[Posed]) -> list[Posed]:
    """Return poses, the best first.

    What is within a hundredth counts as equal; then ends for stops, the long side along the traverse, the
    larger back, in a V the larger end against the push, and the way it is drawn decide, in this order.

    Parameters
    ----------
    found : list of Posed
        Poses of one part; left as they are.

    Returns
    -------
    list of Posed
        All of them.
    """
    most = max((p.worth_mm2 for p in found), default=0.0)

    def rank(posed: Posed) -> tuple[float, ...]:
        back = posed.back.area_mm2 if posed.back else 0.0
        ends = sum(isinstance(end, Plane) + (end is not None) for end in (*posed.ends, posed.back))
        pushed = posed.ends[1].area_mm2 if posed.ends[1] and posed.stance.along is not None else 0.0
        end_area = max((e.area_mm2 for e in posed.ends if e), default=0.0)
        return (
            -round(posed.worth_mm2 / most, 2),
            -ends,
            float(back < end_area - 1e-6),
            -round(pushed, 3),
            -round(float(posed.turn[2, 2]), 3),
            -round(float(np.trace(posed.turn)), 3),
        )

    return sorted(found, key=rank)


def _basis(normal: Floats) -> Floats:
    """Return two unit vectors across a direction, shape (2, 3), right-handed with it."""
    helper = np.eye(3)[int(np.argmin(np.abs(normal)))]
    first = np.cross(helper, normal)
    first /= np.linalg.norm(first)
    return np.array([first, np.cross(normal, first)])
