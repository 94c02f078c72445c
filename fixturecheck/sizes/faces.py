"""The flat and round faces of a part as numbers: what its sizes are measured between, and read over rolls."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.interval import Range
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.table import brep_tables, derived, planes_of, surfaces_of
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import cylinder
from fixturecheck.kernel.measure import extent_along, flat_of, volume_mm3
from fixturecheck.kernel.place import matrix_of
from fixturecheck.kernel.shapes import Face
from fixturecheck.numeric import to_vector
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import OverRolls

_LEVEL_MM = 1e-3
PARALLEL = 1e-9
"""Cosine short of one up to which two directions are the same."""


WHOLE_DEG = 359.0
"""Round faces that together go at least so far round are a hole, not a groove or a fillet."""
_PARALLEL = 1e-9
_CLEAR_MM = 0.002
"""A roll is taken so much smaller when it is asked whether it runs into the part: it touches two faces."""
_OVERLAP_MM3 = 1e-6
_STEP_MM = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatFace:
    """A flat face.

    Parameters
    ----------
    index : int
        Its number in the solid.
    name : str
    normal : ndarray, shape (3,)
        Outward, unit length.
    at_mm : float
        Distance of its plane from the origin along the normal.
    """

    index: int
    name: str
    normal: Floats
    at_mm: float

    def opposite(self, other: FlatFace) -> bool:
        """Whether another face looks the other way."""
        return float(self.normal @ other.normal) < PARALLEL - 1.0

    def parallel(self, other: FlatFace) -> bool:
        """Whether the planes are parallel, whichever way the faces look."""
        return abs(float(self.normal @ other.normal)) > 1.0 - PARALLEL

    def apart_mm(self, other: FlatFace) -> float:
        """Return the distance of two parallel planes."""
        return abs(self.at_mm - float(np.sign(self.normal @ other.normal)) * other.at_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundFace:
    """A cylindrical face.

    Parameters
    ----------
    index : int
        Its number in the solid.
    name : str
    origin, axis : ndarray, shape (3,)
        A point of its axis, and its direction.
    radius_mm : float
    hollow : bool
        Whether the part lies outside it, as round a hole.
    around_deg : float
        How far it goes round, 360 for a whole cylinder.
    """

    index: int
    name: str
    origin: Floats
    axis: Floats
    radius_mm: float
    hollow: bool
    around_deg: float


def outer_round(bore: RoundFace, others: Iterable[RoundFace]) -> RoundFace | None:
    """Return the outer round face that a bore shares its axis with; None where there is none.

    Parameters
    ----------
    bore : RoundFace
    others : iterable of RoundFace
        Of the same body.

    Returns
    -------
    RoundFace or None
    """
    for face in others:
        apart = face.origin - bore.origin
        off_mm = float(np.linalg.norm(apart - (apart @ bore.axis) * bore.axis))
        if not face.hollow and off_mm < _LEVEL_MM and abs(float(face.axis @ bore.axis)) > 1 - 1e-9:
            return face
    return None


def flat_faces(body: Body) -> tuple[FlatFace, ...]:
    """Return the flat faces of a body in the kernel's order.

    Parameters
    ----------
    body : Body
        As drawn.

    Returns
    -------
    tuple of FlatFace
        In the part's own frame.
    """
    table, names = brep_tables([body.solid])[0], body.face_names()
    normals, at_mm = planes_of(table.faces)
    return tuple(
        FlatFace(
            index=row.number,
            name=names[row.number],
            normal=normals[row.number],
            at_mm=float(at_mm[row.number]),
        )
        for row in table.faces
        if row.kind == SurfaceKind.PLANE
    )


def round_faces(body: Body) -> tuple[RoundFace, ...]:
    """Return the cylindrical faces of a body in the kernel's order.

    Parameters
    ----------
    body : Body
        As drawn.

    Returns
    -------
    tuple of RoundFace
        In the part's own frame; outer ones and hollow ones.
    """
    table, names = brep_tables([body.solid])[0], body.face_names()
    found = []
    for row, surface in zip(table.faces, derived(table, surfaces_of), strict=True):
        if surface is not None and row.kind == SurfaceKind.CYLINDER:
            found.append(
                RoundFace(
                    index=row.number,
                    name=names[row.number],
                    origin=surface.origin,
                    axis=surface.axis,
                    radius_mm=surface.radius_mm,
                    hollow=surface.outward < 0,
                    around_deg=float(np.degrees(surface.arc_rad[1] - surface.arc_rad[0])),
                )
            )
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hole:
    """A round hole or bore: every hollow cylinder of one axis and radius that goes all the way round.

    Parameters
    ----------
    names : tuple of str
        Names of its faces; a file may draw it as two halves.
    face : RoundFace
        One of them.
    """

    names: tuple[str, ...]
    face: RoundFace


def holes_of(body: Body) -> tuple[Hole, ...]:
    """Return the round holes of a body.

    Parameters
    ----------
    body : Body
        As drawn.

    Returns
    -------
    tuple of Hole
        One for each axis and radius whose faces together go all the way round.
    """
    pieces: dict[tuple[float, ...], list[RoundFace]] = {}
    for face in round_faces(body):
        if face.hollow:
            pieces.setdefault(_line_of(face), []).append(face)
    return tuple(
        Hole(names=tuple(dict.fromkeys(f.name for f in own)), face=own[0])
        for own in pieces.values()
        if sum(f.around_deg for f in own) >= WHOLE_DEG
    )


def _line_of(face: RoundFace) -> tuple[float, ...]:
    """Return numbers that faces of one axis and radius share."""
    axis = face.axis * float(np.sign(face.axis[int(np.argmax(np.abs(face.axis)))]))
    foot = face.origin - float(face.origin @ axis) * axis
    return tuple((np.round(np.concatenate([axis, foot, [face.radius_mm]]), 5) + 0.0).tolist())


def furthest_opposite(face: FlatFace, others: Sequence[FlatFace]) -> FlatFace | None:
    """Return the face on the other side of the part furthest from one; None where none is parallel.

    Parameters
    ----------
    face : FlatFace
        The face that is measured from.
    others : sequence of FlatFace
        Flat faces of the same part.

    Returns
    -------
    FlatFace or None
        Never one that it looks at, as over a slot.
    """
    behind = [o for o in others if face.opposite(o) and face.at_mm + o.at_mm > 0.0]
    return max(behind, key=face.apart_mm, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class RollTouch:
    """Where a roll touches one of its faces.

    Parameters
    ----------
    face : FaceRef
    inside_mm : float
        How far the line of touch lies inside the face, from the nearer of its edges along the roll; negative
        beside the face.
    rolls_mm : Range
        Diameters whose line of touch lies on the face.
    moves_mm : float
        How far the line of touch moves for each mm of diameter, mm.
    at_mm : Vector
        The middle of that line, in the machine's frame.
    normal : Vector
        The way the face looks there.
    """

    face: FaceRef
    inside_mm: float
    rolls_mm: Range
    moves_mm: float
    at_mm: Vector
    normal: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class RolledSize:
    """What is read over rolls.

    Parameters
    ----------
    stated : OverRolls
    reading_mm : float
        As drawn: over both rolls, between them, or from a face to the far side of one.
    between : bool
        Whether it is read between the rolls.
    off_mm : float or None
        How far the reading may go either way within the zones of the faces; None where none has a zone.
    exact : tuple of str
        Faces without a zone, which are taken as drawn.
    unsure_um : float
        How far it may be off by the rolls.
    touches : tuple of RollTouch
        Two for each roll.
    overlap_mm3 : tuple of float
        How much of each roll lies in the part.
    """

    stated: OverRolls
    reading_mm: float
    between: bool
    off_mm: float | None
    exact: tuple[str, ...]
    unsure_um: float
    touches: tuple[RollTouch, ...]
    overlap_mm3: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Plane:
    name: str
    face: Face
    normal: Floats
    at_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Vee:
    """Two faces that a roll lies on.

    Parameters
    ----------
    planes : tuple of _Plane
    axis : ndarray, shape (3,)
        Along the roll, unit length.
    along_mm : tuple of float
        Where both faces lie along it.
    """

    planes: tuple[_Plane, _Plane]
    axis: Floats
    along_mm: tuple[float, float]

    @property
    def system(self) -> Floats:
        """The matrix whose inverse takes heights over both faces and a place along the roll to a point."""
        return np.array([self.planes[0].normal, self.planes[1].normal, self.axis])

    def middle(self, radius_mm: float) -> Floats:
        """Return the middle of a roll that touches both faces."""
        heights = [p.at_mm + radius_mm for p in self.planes]
        return np.asarray(np.linalg.solve(self.system, [*heights, sum(self.along_mm) / 2]))

    @property
    def into_air(self) -> Floats:
        """The way from the corner to the roll."""
        return np.asarray(np.linalg.solve(self.system, [1.0, 1.0, 0.0]))


def rolled_sizes(setup: Setup) -> Iterator[RolledSize | tuple[OverRolls, NotComputedError]]:
    """Yield what is read over the rolls of each statement; what cannot be worked out comes with the reason.

    Parameters
    ----------
    setup : Setup

    Yields
    ------
    RolledSize or tuple
        In the order stated.
    """
    for one in setup.over_rolls:
        try:
            yield _rolled_size(setup.body(one.part), one)
        except NotComputedError as reason:
            yield one, reason


def _rolled_size(body: Body, one: OverRolls) -> RolledSize:
    """Return where rolls lie on a part and what is read over them.

    Raises
    ------
    NotComputedError
        A face is not flat, two do not make a corner, or what is measured does not run along the rolls.

    Notes
    -----
    Closed form: the middle of a roll of radius r solves n1.c = d1 + r, n2.c = d2 + r. A face that moves by w
    along its normal moves the middle by the column of that system's inverse, and the reading by what of it
    lies along the reading. The line of touch lies r / tan(a / 2) from the corner of faces with an angle a of
    air between them.
    """
    vees = [_vee(body, faces) for faces in one.lies_on]
    base = None if one.to is None else _plane(body, one.to)
    reading = _Reading(vees=vees, base=base, name=one.name)
    radius_mm = one.roll_mm / 2
    moves = reading.moves(radius_mm)
    zones = {name: body.zone_mm(name) for name in moves}
    known = [abs(moves[name]) * zone / 2 for name, zone in zones.items() if zone is not None]
    step_mm = reading.at(radius_mm + _STEP_MM) - reading.at(radius_mm)
    return RolledSize(
        stated=one,
        reading_mm=reading.at(radius_mm),
        between=reading.between,
        off_mm=sum(known) if known else None,
        exact=tuple(name for name, zone in zones.items() if zone is None),
        unsure_um=abs(step_mm) / _STEP_MM * one.roll_error_um / 2,
        touches=tuple(t for v in vees for t in _touches(body, v, radius_mm)),
        overlap_mm3=tuple(_overlap_mm3(body, v, radius_mm) for v in vees),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Reading:
    """What an anvil on either side reads: over two rolls, between them, or from a face to one."""

    vees: list[_Vee]
    base: _Plane | None
    name: str

    def __post_init__(self) -> None:
        axis = self.vees[0].axis
        others = [v.axis for v in self.vees[1:]]
        if any(np.linalg.norm(np.cross(axis, o)) > _PARALLEL for o in others):
            raise NotComputedError(
                f"the rolls of {self.name} do not lie parallel, so what is read changes along them"
            )
        if self.base is not None and abs(float(self.base.normal @ axis)) > _PARALLEL:
            raise NotComputedError(
                f"the roll of {self.name} does not lie along {self.base.name}, which it is measured from"
            )

    @property
    def between(self) -> bool:
        """Whether the rolls lie in the part, their free sides toward each other."""
        if self.base is not None:
            return False
        first, second = self.vees
        across = self._across(0.0)
        return float(first.into_air @ across) > _PARALLEL and float(second.into_air @ across) < -_PARALLEL

    def _across(self, radius_mm: float) -> Floats:
        """Return the way from the first roll to the second, square to both, with its length."""
        first, second = self.vees
        way = second.middle(radius_mm) - first.middle(radius_mm)
        return np.asarray(way - (way @ first.axis) * first.axis)

    def at(self, radius_mm: float) -> float:
        """Return the reading with rolls of a radius, mm."""
        if self.base is not None:
            height_mm = self._height(self.base, radius_mm)
            if self._faces_it(self.base, height_mm):
                return abs(height_mm + radius_mm)
            return radius_mm - height_mm
        apart = float(np.linalg.norm(self._across(radius_mm)))
        return apart - 2 * radius_mm if self.between else apart + 2 * radius_mm

    def _height(self, base: _Plane, radius_mm: float) -> float:
        """Return how far the middle of the roll lies before a face; negative behind it."""
        return float(base.normal @ self.vees[0].middle(radius_mm)) - base.at_mm

    def _faces_it(self, base: _Plane, height_mm: float) -> bool:
        """Whether the side of the roll that is read lies the way the face looks."""
        return height_mm >= 0.0 or float(self.vees[0].into_air @ base.normal) > _PARALLEL

    def moves(self, radius_mm: float) -> dict[str, float]:
        """Return by how much the reading changes as each face moves out of the material, mm a mm."""
        found: dict[str, float] = {}
        if self.base is not None:
            height_mm = self._height(self.base, radius_mm)
            faces = self._faces_it(self.base, height_mm)
            sign = math.copysign(1.0, height_mm + radius_mm) if faces else -1.0
            ways = [(self.vees[0], sign * self.base.normal)]
            found[self.base.name] = -sign
        else:
            unit = self._across(radius_mm)
            unit = unit / np.linalg.norm(unit)
            ways = [(self.vees[0], -unit), (self.vees[1], unit)]
        for vee, way in ways:
            inverse = np.linalg.inv(vee.system)
            for column, plane in enumerate(vee.planes):
                found[plane.name] = found.get(plane.name, 0.0) + float(way @ inverse[:, column])
        return found


def _plane(body: Body, name: str) -> _Plane:
    """Return a flat face of a part, in its own frame; one of several pieces is the largest in one plane."""
    faces = [faces_of(body.solid)[i] for i in body.face_indices(name)]
    flats = [(f, flat) for f in faces if (flat := flat_of(f)) is not None]
    if len(flats) != 1 or len(faces) != 1:
        raise NotComputedError(f"{body.name}.{name} is not one flat face, so no roll is set on it")
    face, (point, normal) = flats[0]
    out = np.asarray(normal)
    return _Plane(name=name, face=face, normal=out, at_mm=float(out @ np.asarray(point)))


def _vee(body: Body, faces: tuple[str, ...]) -> _Vee:
    """Return the corner of two faces."""
    first, second = (_plane(body, name) for name in faces)
    axis = np.cross(first.normal, second.normal)
    if np.linalg.norm(axis) < _PARALLEL:
        raise NotComputedError(
            f"{body.name}.{first.name} and {second.name} are parallel: no roll lies on both"
        )
    axis = axis / np.linalg.norm(axis)
    # One way for rolls on either side, whichever face is named first.
    axis = axis * float(np.sign(axis[int(np.argmax(np.abs(axis)))]))
    spans = [extent_along(p.face, axis) for p in (first, second)]
    along = max(s[0] for s in spans), min(s[1] for s in spans)
    if along[0] >= along[1]:
        raise NotComputedError(
            f"{body.name}.{first.name} and {second.name} do not lie beside each other: no roll lies on both"
        )
    return _Vee(planes=(first, second), axis=axis, along_mm=along)


def _touches(body: Body, vee: _Vee, radius_mm: float) -> Iterator[RollTouch]:
    """Yield where a roll touches both faces."""
    corner, middle = vee.middle(0.0), vee.middle(radius_mm)
    stands = matrix_of(body.at)
    for plane in vee.planes:
        foot = middle - radius_mm * plane.normal
        away = foot - corner
        each_mm = float(np.linalg.norm(away)) / radius_mm
        low, high = (v - float(corner @ away) / np.linalg.norm(away) for v in _span(plane, away))
        at = each_mm * radius_mm
        yield RollTouch(
            face=FaceRef.of(body.name, plane.name),
            inside_mm=float(min(at - low, high - at)),
            rolls_mm=Range(low=max(2 * float(low) / each_mm, 0.0), high=max(2 * float(high) / each_mm, 0.0)),
            moves_mm=each_mm / 2,
            at_mm=to_vector(stands[:3, :3] @ foot + stands[:3, 3]),
            normal=to_vector(stands[:3, :3] @ plane.normal),
        )


def _span(plane: _Plane, away: Floats) -> tuple[float, float]:
    return extent_along(plane.face, away / np.linalg.norm(away))


def _overlap_mm3(body: Body, vee: _Vee, radius_mm: float) -> float:
    """Return how much of a roll lies in the part, but for what it touches."""
    middle, (low, high) = vee.middle(radius_mm), vee.along_mm
    half = 0.5 * (high - low) * vee.axis
    roll = cylinder(radius_mm - _CLEAR_MM, to_vector(middle - half), to_vector(middle + half))
    shared = common(roll, body.solid)
    found = 0.0 if shared is None else volume_mm3(shared)
    return found if found > _OVERLAP_MM3 else 0.0
