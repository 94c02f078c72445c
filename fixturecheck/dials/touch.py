"""Where the wheel can touch a face: on its flat, with nothing else in the way of wheel, flange or guard."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from fixturecheck.dials.room import Meeting, WheelPose, WheelRoom
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import clip_edge
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import segment
from fixturecheck.kernel.measure import box_of, edge_ends, edge_length_mm, flat_of, joined_box
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.shapes import Box, Face
from fixturecheck.machining.wheel_path import WheelRim
from fixturecheck.numeric import to_vector
from fixturecheck.result.dials import Side, TouchOff
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Setup

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
    """Return a named face where it stands."""
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
    room : WheelRoom
        Every body as it stands when the face is touched, with its stock.

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
    """Return where the wheel stands as it touches."""
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
