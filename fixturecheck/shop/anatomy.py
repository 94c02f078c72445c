"""Where the bodies and faces of a piece of equipment are, in its own frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, box_of, centroid_of, face_frame
from fixturecheck.result.shapes import Vector
from fixturecheck.shop.catalogue import Value, make
from fixturecheck.shop.piece import Piece


@dataclass(frozen=True, slots=True, kw_only=True)
class FacePlace:
    """One face: its name, middle, area, and the way it looks out of the solid; None where it is curved."""

    name: str
    middle: Vector
    looks: Vector | None
    area_mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyPlace:
    """One body of a piece of equipment.

    Parameters
    ----------
    suffix : str
        What follows the equipment's name; empty where it is one body.
    pole : str or None
        `n` or `s` where a magnet's pole is.
    poles : int
        Pole pieces set in it.
    low, high : Vector
        Opposite corners of its box, mm.
    """

    suffix: str
    material: str
    pole: str | None
    poles: int
    low: Vector
    high: Vector
    faces: tuple[FacePlace, ...]


def anatomy(kind: str, params: Mapping[str, Value] | None = None) -> tuple[BodyPlace, ...]:
    """Return the bodies of a kind of equipment with the places of their faces.

    Raises
    ------
    SetupError
        The equipment or a parameter is not known.
    """
    return tuple(_body(piece) for piece in make(kind, **(params or {})))


def _body(piece: Piece) -> BodyPlace:
    box = box_of(piece.solid)
    return BodyPlace(
        suffix=piece.suffix,
        material=piece.material,
        pole=piece.pole,
        poles=len(piece.poles),
        low=(box[0], box[1], box[2]),
        high=(box[3], box[4], box[5]),
        faces=tuple(_faces(piece)),
    )


def _faces(piece: Piece) -> list[FacePlace]:
    solid_faces = faces_of(piece.solid)
    found = []
    for name, indices in piece.faces.items():
        for i in indices:
            face = solid_faces[i]
            _, normal, flat = face_frame(face)
            found.append(
                FacePlace(
                    name=name,
                    middle=centroid_of(face),
                    looks=(float(normal[0]), float(normal[1]), float(normal[2])) if flat else None,
                    area_mm2=area_mm2(face),
                )
            )
    return found
