"""The flat and round faces of a part as numbers, in its own frame: what its sizes are measured between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.table import brep_tables, derived, planes_of, surfaces_of
from fixturecheck.setup.model import Body

_LEVEL_MM = 1e-3
PARALLEL = 1e-9
"""Cosine short of one up to which two directions are the same."""


WHOLE_DEG = 359.0
"""Round faces that together go at least so far round are a hole, not a groove or a fillet."""


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
    """Return the flat faces of a body in the kernel's order."""
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
    """Return the cylindrical faces of a body in the kernel's order."""
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
    """Return the round holes of a body."""
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
    """Return the face on the other side of the part furthest from one; None where none is parallel."""
    behind = [o for o in others if face.opposite(o) and face.at_mm + o.at_mm > 0.0]
    return max(behind, key=face.apart_mm, default=None)
