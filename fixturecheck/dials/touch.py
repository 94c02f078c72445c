"""Where the wheel can touch a face, and the room that wheel, flange and guard take there and when raised."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from shapely import LineString, Point, box, union_all
from shapely.geometry.base import BaseGeometry

from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hull import convex_hull
from fixturecheck.kernel.boolean import Apart, apart, clip_edge
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import segment
from fixturecheck.kernel.measure import (
    box_gap_mm,
    box_of,
    edge_ends,
    edge_length_mm,
    flat_of,
    joined_box,
    loose_box,
)
from fixturecheck.kernel.place import placed_at, rotation, shifted
from fixturecheck.kernel.sample import inside_points, tessellated
from fixturecheck.kernel.shapes import Box, Face, Shape
from fixturecheck.machining.clearance import too_near
from fixturecheck.machining.wheel_path import WheelRim, sweeps_of
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import Mover, WheelPath
from fixturecheck.result.dials import Side, TouchOff
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Machine, Setup

Movers = Mapping[Mover, Shape]
"""The space of each mover."""
_DISCS = (Mover.WHEEL, Mover.FLANGE)
_LEAST_STEP_MM = 0.01
_EACH_WAY = 25
_ABOVE_MM = 1e-4
_COARSE_MM, _COARSE_RAD = 0.05, 0.2
LEAST_MM = 1.0
"""Least width of a face under the wheel for a touch that is seen: common practice, no source."""
BITE_MM = 2.0
"""How far the wheel's side reaches down a flank to touch it: common practice, no source."""
_SQUARE = 1e-6
"""A normal this near to an axis is along it."""
_PLACES = (0.5, 0.25, 0.75, 0.05, 0.95)
"""Shares of a face's length at which a touch is tried, the middle first."""
_MOST_TRIED = 12
_BESIDE_MM = (1.0, 4.0)
"""How far off an end of the face the wheel's side is tried, where a wall may stand."""
_SAME_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelPose:
    """Where the wheel stands: its axis along X, its front face along Y, its lowest point, mm."""

    x_mm: float
    y_front_mm: float
    low_z_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meeting:
    """A mover and a body that it comes too near to."""

    mover: Mover
    body: str
    apart: Apart


class WheelRoom:
    """Wheel, flange and guard of a machine among bodies that stand still.

    Parameters
    ----------
    bodies : mapping of str to Shape
        Every body as it stands.
    rise_mm : float
        How far the wheel is raised from its lowest place at most.
    overlap_mm3 : float
        A common volume of more is a collision.
    """

    def __init__(
        self,
        machine: Machine,
        rim: WheelRim,
        bodies: Mapping[str, Shape],
        *,
        rise_mm: float,
        overlap_mm3: float,
    ) -> None:
        self._machine, self._rim, self._bodies = machine, rim, bodies
        self._overlap_mm3 = overlap_mm3
        self._boxes: dict[str, Box] = {name: box_of(shape) for name, shape in bodies.items()}
        self._still: Movers = sweeps_of(machine, rim, self._path(0.0))
        self._low_mm = {Mover.WHEEL: 0.0, Mover.FLANGE: rim.radius_mm - machine.flange.diameter_mm / 2}
        if Mover.GUARD in self._still:
            self._low_mm[Mover.GUARD] = box_of(self._still[Mover.GUARD])[2] + rim.radius_mm
        # A disc sweeps along Z what it sweeps along X, turned by a right angle about its axis. Raised further
        # than it has to be it meets nothing more, since everything stands lower than the wheel is lifted to.
        along = sweeps_of(machine, rim, self._path(rise_mm), _DISCS)
        up = rotation((0.0, 1.0, 0.0), -90.0)
        self._raised: Movers = {m: placed_at(shape, up) for m, shape in along.items()}

    def _path(self, to_x_mm: float, y_mm: tuple[float, float] = (0.0, 0.0)) -> WheelPath:
        """Return a path of the axis through the origin."""
        return WheelPath(
            floor_z_mm=-self._rim.radius_mm,
            x_from_mm=0.0,
            x_to_mm=to_x_mm,
            y_from_mm=y_mm[0],
            y_to_mm=y_mm[1],
            wall_sign=0,
        )

    def _there(self, movers: Movers, pose: WheelPose) -> Movers:
        by = (pose.x_mm, pose.y_front_mm, pose.low_z_mm + self._rim.radius_mm)
        return {mover: shifted(shape, by) for mover, shape in movers.items()}

    def at(self, pose: WheelPose) -> Movers:
        """Return the space of each mover where the wheel stands."""
        return self._there(self._still, pose)

    def free_places(
        self, area_mm: tuple[float, float, float, float], low_z_mm: float
    ) -> Iterator[tuple[float, float]]:
        """Yield places of the wheel's axis along X and its front face along Y at which no body bars it.

        Every triangle of a body that stands above the wheel's lowest point bars a region: itself, widened by
        the wheel's thickness toward the front and by half the chord of the wheel at its height either way
        along X. What is left of the area falls into pieces; each gives a place inside, and a grid of them.

        Parameters
        ----------
        area_mm : tuple of float
            Least X and Y, greatest X and Y that are asked; a line where both Y are the same.
        low_z_mm : float
            Height of the wheel's lowest point.

        References
        ----------
        Half the chord of a disc of radius R at a height h is sqrt(h (2 R - h)), closed form.
        """
        x0, y0, x1, y1 = area_mm
        area = LineString([(x0, y0), (x1, y0)]) if y1 - y0 < _SAME_MM else box(x0, y0, x1, y1)
        free = area.difference(self._barred(low_z_mm))
        pieces = [p for p in getattr(free, "geoms", [free]) if not p.is_empty]
        middle = Point((x0 + x1) / 2, (y0 + y1) / 2)
        grid = [Point(x, y) for x in np.linspace(x0, x1, _EACH_WAY) for y in np.linspace(y0, y1, _EACH_WAY)]
        inside = [p.representative_point() for p in pieces] + [p for p in grid if free.contains(p)]
        for place in sorted(inside, key=lambda p: (round(p.distance(middle), 6), p.x, p.y)):
            yield float(place.x), float(place.y)

    def _barred(self, low_z_mm: float) -> BaseGeometry:
        """Return where the wheel cannot stand at a height, by axis and front face."""
        radius_mm, thick_mm = self._rim.radius_mm, self._rim.thickness_mm
        regions: list[BaseGeometry] = []
        for name, body in self._bodies.items():
            if self._boxes[name][5] <= low_z_mm + _SAME_MM:
                continue
            places, corners = tessellated(body, _COARSE_MM, _COARSE_RAD)
            triangles = places[corners]
            tall = triangles[triangles[:, :, 2].max(axis=1) > low_z_mm + _ABOVE_MM]
            high = np.minimum(tall[:, :, 2].max(axis=1) - low_z_mm, radius_mm)
            half = np.sqrt(high * (2.0 * radius_mm - high))
            by_x = half[:, None, None] * np.array([-1.0, 1.0])[None, :, None]
            by_y = np.array([-thick_mm, 0.0])[None, None, :]
            sums_x = tall[:, :, 0][:, :, None, None] + (by_x + 0.0 * by_y)[:, None]
            sums_y = tall[:, :, 1][:, :, None, None] + (0.0 * by_x + by_y)[:, None]
            points = np.stack([sums_x, sums_y], axis=-1).reshape(len(tall), -1, 2)
            regions += list(convex_hull(points))
        return union_all(regions)

    def raised(self, pose: WheelPose) -> Movers:
        """Return the space of wheel and flange as they are raised straight up from a pose."""
        return self._there(self._raised, pose)

    def across(self, pose: WheelPose, by_mm: float) -> Movers:
        """Return the space of wheel and flange as they are fed across from a pose.

        Parameters
        ----------
        pose : WheelPose
            Where the wheel starts.
        by_mm : float
            Travel along Y, of either sign.
        """
        path = self._path(0.0, (min(by_mm, 0.0), max(by_mm, 0.0)))
        return self._there(sweeps_of(self._machine, self._rim, path, _DISCS), pose)

    def hits(self, movers: Movers, pose: WheelPose) -> Iterator[Meeting]:
        """Yield every mover and body that share a volume.

        Parameters
        ----------
        pose : WheelPose
            The lowest place of the movers.

        Raises
        ------
        NotComputedError
            The kernel could not tell.
        """
        for mover, shape in movers.items():
            low_mm = pose.low_z_mm + self._low_mm[mover]
            for name, body in self._bodies.items():
                if self._boxes[name][5] <= low_mm + _SAME_MM:
                    continue
                how = apart(shape, body, f"the {mover} and {name}", within_mm=0.0)
                if how is not None and how.common_mm3 > self._overlap_mm3:
                    yield Meeting(mover=mover, body=name, apart=how)

    def too_near(self, movers: Movers, pose: WheelPose, touched: Collection[str]) -> Iterator[Meeting]:
        """Yield every mover and body that come nearer than is to be kept clear.

        Parameters
        ----------
        pose : WheelPose
            The lowest place of the movers.
        touched : collection of str
            Bodies that the wheel may touch, but not run into.

        Raises
        ------
        NotComputedError
            The kernel could not tell.
        """
        least_mm = self._machine.least_clearance_mm
        for mover, shape in movers.items():
            low_mm = pose.low_z_mm + self._low_mm[mover]
            for name, body in self._bodies.items():
                may = mover is Mover.WHEEL and name in touched
                if self._boxes[name][5] <= low_mm + (_SAME_MM if may else -least_mm):
                    continue
                how = apart(shape, body, f"the {mover} and {name}", within_mm=least_mm)
                if how is None:
                    continue
                if how.common_mm3 > self._overlap_mm3 or (not may and too_near(how.distance_mm, least_mm)):
                    yield Meeting(mover=mover, body=name, apart=how)

    def guard_meets(self, pose: WheelPose, by_mm: float) -> Iterator[Meeting]:
        """Yield the bodies that the guard comes too near to on its way straight up from a pose.

        It is moved up by as much as it has room for, time and again: within its distance from a body it
        cannot hit it. Where it comes too near, the body is in its way.

        Parameters
        ----------
        pose : WheelPose
            Where the wheel starts.
        by_mm : float
            How far it is raised.

        Raises
        ------
        NotComputedError
            The kernel could not tell.
        """
        hood = self.at(pose).get(Mover.GUARD)
        if hood is None:
            return
        low_mm = pose.low_z_mm + self._low_mm[Mover.GUARD]
        least_mm = self._machine.least_clearance_mm
        for name, body in self._bodies.items():
            gone_mm = 0.0
            while self._boxes[name][5] > low_mm + gone_mm - least_mm and gone_mm <= by_mm:
                there = shifted(hood, (0.0, 0.0, gone_mm))
                how = apart(there, body, f"the guard and {name}")
                if how is None:
                    raise NotComputedError(f"the distance between the guard and {name} is not known")
                if too_near(how.distance_mm, least_mm):
                    yield Meeting(mover=Mover.GUARD, body=name, apart=how)
                    break
                if box_gap_mm(loose_box(there), loose_box(body)) > by_mm - gone_mm:
                    break
                gone_mm += max(how.distance_mm - least_mm, _LEAST_STEP_MM)


class WhyNot(StrEnum):
    """Why a face cannot be touched."""

    NOT_FLAT = "not flat"
    LOOKS_AWAY = "looks away"
    LEANS = "leans"
    NARROW = "narrow"
    BLOCKED = "blocked"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoTouch:
    """A face that cannot be touched.

    Parameters
    ----------
    why : WhyNot
        The reason.
    at_mm : Vector
        A place on the face.
    size_mm : float
        For a face that leans, how far it rises over the width of the wheel; for a narrow one, the width that
        the wheel's flat meets at most.
    meeting : Meeting or None
        What was in the way.
    """

    face: FaceRef
    side: Side
    why: WhyNot
    at_mm: Vector
    size_mm: float = 0.0
    meeting: Meeting | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TouchFace:
    """A face to be touched, where it stands.

    Parameters
    ----------
    faces : tuple of Face
        Its faces, as drawn.
    stock_mm : float
        What still stands on it.
    box : Box
        Their common box, as drawn.
    """

    name: FaceRef
    faces: tuple[Face, ...]
    stock_mm: float
    box: Box


def touched(setup: Setup, name: FaceRef, stock_mm: float) -> TouchFace:
    """Return a named face where it stands.

    Parameters
    ----------
    setup : Setup
        Holds the body.
    name : FaceRef
        The face, which may be of several pieces.
    stock_mm : float
        What still stands on it.

    Returns
    -------
    TouchFace
        As drawn, with the stock told beside it.
    """
    body = setup.body(name.body)
    standing = faces_of(placed_at(body.solid, body.at))
    faces = tuple(standing[i] for i in body.face_indices(name.face))
    return TouchFace(name=name, faces=faces, stock_mm=stock_mm, box=joined_box([box_of(f) for f in faces]))


def touch_off(rim: WheelRim, face: TouchFace, side: Side, room: WheelRoom) -> TouchOff | NoTouch:
    """Return where the wheel touches a face with its rim or its side, or why it cannot.

    Places are tried along and across the face, from its middle; the first counts where nothing else is in
    the way, among those at one X the one where most of the wheel's flat lies on the face. Where none of them
    will do, the places that no body bars are worked out and tried.

    Parameters
    ----------
    rim : WheelRim
        The wheel as it meets the work.
    face : TouchFace
        What is touched.
    side : Side
        Whether the rim touches its top or the wheel's side its flank.
    room : WheelRoom
        Every body as it stands when the face is touched, with its stock.

    Returns
    -------
    TouchOff or NoTouch
        The place, or the reason with what is in the way.

    Raises
    ------
    NotComputedError
        The kernel could not tell what is in the way.
    """
    where = _place_on(face)
    flats = [flat_of(f) for f in face.faces]
    if not all(flats):
        return NoTouch(face=face.name, side=side, why=WhyNot.NOT_FLAT, at_mm=where)
    normals = [flat[1] for flat in flats if flat]
    axis = 2 if side is Side.TOP else 1
    away = any(n[2] < 0.5 for n in normals) if axis == 2 else any(abs(n[1]) < 0.5 for n in normals)
    if away:
        return NoTouch(face=face.name, side=side, why=WhyNot.LOOKS_AWAY, at_mm=where)
    if any(math.hypot(*(v for k, v in enumerate(n) if k != axis)) > _SQUARE for n in normals):
        rise_mm = face.box[axis + 3] - face.box[axis]
        return NoTouch(face=face.name, side=side, why=WhyNot.LEANS, at_mm=where, size_mm=rise_mm)
    tries = list(_tops(rim, face) if side is Side.TOP else _flanks(rim, face, normals[0][1]))
    # At the middle of the face first; there, where most of the wheel lies on it.
    middle = (face.box[0] + face.box[3]) / 2
    tries.sort(key=lambda t: (round(abs(t.at_mm[0] - middle), 6), -round(t.contact_mm, 6), t.over_edge))
    best_mm = max((t.contact_mm for t in tries), default=0.0)
    flat_mm = rim.flat_mm if side is Side.TOP else LEAST_MM
    if best_mm < min(LEAST_MM, flat_mm) - _SAME_MM or not tries:
        return NoTouch(face=face.name, side=side, why=WhyNot.NARROW, at_mm=where, size_mm=best_mm)
    least_mm = min(LEAST_MM, best_mm)
    found = _free([t for t in tries[:_MOST_TRIED] if t.contact_mm >= least_mm], room)
    if isinstance(found, TouchOff):
        return found
    more = _searched(rim, face, side, normals[0][1], room)
    elsewhere = _free([t for t in more if t.contact_mm >= least_mm], room)
    return elsewhere if isinstance(elsewhere, TouchOff) else found or _blocked(tries[0], None)


def _searched(
    rim: WheelRim, face: TouchFace, side: Side, normal_y: float, room: WheelRoom
) -> Iterator[TouchOff]:
    """Yield places on a face that no body bars, nearest to its middle first.

    Where the wheel's axis and front face can stand is a region of X and Y; what is barred there is taken out
    of it, and each piece that is left is tried.
    """
    x0, y0, z_mm, x1, y1, _ = face.box
    if side is Side.TOP:
        reach_mm = rim.flat_mm - min(LEAST_MM, rim.flat_mm)
        low, high = y0 - reach_mm - rim.flat_from_mm, y1 - rim.flat_mm + reach_mm - rim.flat_from_mm
        for x_mm, front_mm in room.free_places(
            (x0, min(low, high), x1, max(low, high)), z_mm + face.stock_mm
        ):
            yield _top_at(rim, face, x_mm, front_mm + rim.flat_from_mm)
        return
    first = next((t for t in _flanks(rim, face, normal_y)), None)
    if first is not None:
        line = (x0, first.y_front_mm, x1, first.y_front_mm)
        for x_mm, _ in room.free_places(line, first.low_z_mm):
            yield from _flank_at(rim, face, normal_y, x_mm)


def _free(tries: Sequence[TouchOff], room: WheelRoom) -> TouchOff | NoTouch | None:
    """Return the first place at which nothing is in the way; else what is, at the first; None of none."""
    blocked: Meeting | None = None
    for touch in tries:
        hit = next(room.hits(room.at(pose_of(touch)), pose_of(touch)), None)
        if hit is None:
            return touch
        blocked = blocked or hit
    return _blocked(tries[0], blocked) if tries else None


def _blocked(first: TouchOff, meeting: Meeting | None) -> NoTouch:
    return NoTouch(face=first.face, side=first.side, why=WhyNot.BLOCKED, at_mm=first.at_mm, meeting=meeting)


def pose_of(touch: TouchOff) -> WheelPose:
    """Return where the wheel stands as it touches.

    Parameters
    ----------
    touch : TouchOff
        Where it touches.

    Returns
    -------
    WheelPose
        At the moment of touch.
    """
    return WheelPose(x_mm=touch.at_mm[0], y_front_mm=touch.y_front_mm, low_z_mm=touch.low_z_mm)


def _place_on(face: TouchFace) -> Vector:
    """Return a place on a face, near the middle of its box, which on a round lies beside it."""
    box = np.array(face.box)
    points = np.concatenate([inside_points(f) for f in face.faces])
    away = np.linalg.norm(points - (box[:3] + box[3:]) / 2, axis=1)
    return to_vector(points[int(np.argmin(away))])


def _tops(rim: WheelRim, face: TouchFace) -> Iterator[TouchOff]:
    """Yield places at which the rim comes down on a level face, with how much of its flat lies on it."""
    x0, y0, _, x1, y1, _ = face.box
    flat_mm, middle = rim.flat_mm, (y0 + y1) / 2
    low = {middle - flat_mm / 2, y0, y1 - flat_mm}
    for off_mm in _BESIDE_MM:
        low |= {y0 + off_mm + rim.flat_from_mm, y1 - off_mm - rim.thickness_mm + rim.flat_from_mm}
    for share in _PLACES:
        x_mm = x0 + share * (x1 - x0)
        for at_y in sorted(low, key=lambda v: abs(v + flat_mm / 2 - middle)):
            yield _top_at(rim, face, x_mm, at_y)


def _top_at(rim: WheelRim, face: TouchFace, x_mm: float, at_y: float) -> TouchOff:
    """Return a touch of the rim on a level face, its axis at an X and its flat from a Y on."""
    _, y0, z_mm, _, y1, _ = face.box
    flat_mm = rim.flat_mm
    on_mm = _on_face_mm((x_mm, at_y, z_mm), (x_mm, at_y + flat_mm, z_mm), face.faces)
    return TouchOff(
        face=face.name,
        side=Side.TOP,
        at_mm=(x_mm, at_y + flat_mm / 2, z_mm + face.stock_mm),
        low_z_mm=z_mm + face.stock_mm,
        y_front_mm=at_y - rim.flat_from_mm,
        contact_mm=on_mm,
        wheel_mm=flat_mm,
        over_edge=on_mm < flat_mm - _SAME_MM or at_y <= y0 + _SAME_MM or at_y + flat_mm >= y1 - _SAME_MM,
        stock_mm=face.stock_mm,
    )


def _flanks(rim: WheelRim, face: TouchFace, normal_y: float) -> Iterator[TouchOff]:
    """Yield places at which the wheel's side comes up to an upright face, with how far it reaches down it."""
    x0, x1 = face.box[0], face.box[3]
    for share in _PLACES:
        yield from _flank_at(rim, face, normal_y, x0 + share * (x1 - x0))


def _flank_at(rim: WheelRim, face: TouchFace, normal_y: float, x_mm: float) -> Iterator[TouchOff]:
    """Yield the touch of the wheel's side on an upright face at an X, if the face is there."""
    _, y_mm, z0, _, _, z1 = face.box
    outward = 1.0 if normal_y > 0 else -1.0
    # Looking toward +Y it meets the wheel's front side; the rear side otherwise.
    side_r_mm = rim.outline[0][1][1] if outward > 0 else rim.outline[-1][-1][1]
    plane_y = y_mm + outward * face.stock_mm
    upright = segment(np.array((x_mm, y_mm, z0)), np.array((x_mm, y_mm, z1)))
    pieces = [edge_ends(e) for f in face.faces for e in clip_edge(upright, [f])]
    if not pieces:
        return
    ends = max(([float(a[2]), float(b[2])] for a, b in pieces), key=max)
    top_mm, tall_mm = max(ends), max(ends) - min(ends)
    reach_mm = min(BITE_MM, tall_mm)
    yield TouchOff(
        face=face.name,
        side=Side.SIDE,
        at_mm=(x_mm, plane_y, top_mm - reach_mm / 2),
        low_z_mm=top_mm - reach_mm + side_r_mm - rim.radius_mm,
        y_front_mm=plane_y if outward > 0 else plane_y - rim.thickness_mm,
        contact_mm=reach_mm,
        wheel_mm=reach_mm,
        over_edge=True,
        stock_mm=face.stock_mm,
    )


def _on_face_mm(start: Vector, end: Vector, faces: Sequence[Face]) -> float:
    """Return how much of a line lies on faces; of a line without length, nothing."""
    if math.dist(start, end) <= _SAME_MM:
        return 0.0
    edge = segment(np.array(start), np.array(end))
    return sum(edge_length_mm(e) for f in faces for e in clip_edge(edge, [f]))
