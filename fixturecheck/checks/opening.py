"""How far a seat that does not touch stands open, which way it would close, and what to move."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely

from fixturecheck.checks.stage import Stage
from fixturecheck.contact.parting import toward
from fixturecheck.contact.standing import Array, Frame, Standing, stand
from fixturecheck.kernel.measure import distance
from fixturecheck.kernel.shapes import to_vector
from fixturecheck.result import Vector
from fixturecheck.setup.loose import is_loose
from fixturecheck.setup.model import Seat

_UPRIGHT = math.sin(math.radians(45.0))
_LEAST_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opening:
    """How two faces that should meet stand to each other.

    Parameters
    ----------
    gap_mm : float
        Least distance of the two faces; of flat ones that are parallel, along the normal, and negative where
        the one has passed the other.
    at_mm : Vector
        Where on the part's face they are nearest.
    normal : ndarray, shape (3,), or None
        Outward normal of the part's face; None where it is curved.
    beside_mm : float
        How far the one lies beside the other, across the normal; zero where they look at each other.
    turned_deg : float
        Angle of the flat faces to each other; 180 where they look the same way, zero for curved ones.
    """

    gap_mm: float
    at_mm: Vector
    normal: Array | None = field(repr=False)
    beside_mm: float = 0.0
    turned_deg: float = 0.0


def opening_of(stage: Stage, seat: Seat) -> Opening:
    """Measure how a seat stands open."""
    one, other = stand([stage.setup.body(n).placed() for n in (seat.body, seat.on)])
    mine, theirs = _numbers(one, seat.face), _numbers(other, seat.on_face)
    nearest = (distance(one.face(i), other.face(j)) for i in mine for j in theirs)
    gap_mm, on_mine, _ = min(nearest, key=lambda found: found[0])
    at_mm = to_vector(on_mine)
    i, j = mine[0], theirs[0]
    if np.isnan(one.offsets[i]) or np.isnan(other.offsets[j]):
        return Opening(gap_mm=gap_mm, at_mm=at_mm, normal=None)
    normal = one.normals[i]
    cosine = float(np.clip(-normal @ other.normals[j], -1.0, 1.0))
    turned_deg = math.degrees(math.acos(cosine))
    if turned_deg > stage.setup.tolerances.parallel_deg:
        return Opening(gap_mm=gap_mm, at_mm=at_mm, normal=normal, turned_deg=turned_deg)
    frame = Frame(normal * one.offsets[i], normal)
    outlines = [
        shapely.union_all([frame.polygon(body.rings(f)) for f in faces if not np.isnan(body.offsets[f])])
        for body, faces in ((one, mine), (other, theirs))
    ]
    along_mm = float(-other.offsets[j] - one.offsets[i])
    beside_mm = float(shapely.distance(*outlines))
    return Opening(gap_mm=along_mm, at_mm=at_mm, normal=normal, beside_mm=beside_mm)


def _numbers(body: Standing, face: str) -> list[int]:
    return [k for k, name in enumerate(body.face_names) if name == face]


def closing(stage: Stage, seat: Seat, opening: Opening) -> str:
    """Say what closes a seat that stands open: the loose block comes up to the part, else the part goes.

    A block under a part does not: it would leave what it stands on.
    """
    write, normal = stage.setup.write, opening.normal
    if normal is None:
        return f"Bring {seat.body} {write.length(opening.gap_mm)} closer, or find what holds it off."
    if opening.turned_deg > stage.setup.tolerances.wedge_deg:
        return "State the two faces that are meant to meet, or turn the part so that these do."
    if opening.turned_deg > stage.setup.tolerances.parallel_deg:
        return (
            f"Turn {seat.body} by {opening.turned_deg:.3g} deg so that the faces lie flat: "
            f"look for a burr or a chip under it."
        )
    if opening.beside_mm > _LEAST_MM:
        return "Place the part so that the two faces lie over each other, or state the faces that do."
    block = is_loose(stage.setup, seat.on) and abs(float(normal[2])) < _UPRIGHT
    who, way = (seat.on, -normal) if block else (seat.body, normal)
    way = way if opening.gap_mm > 0.0 else -way
    return f"Move {who} {write.length(abs(opening.gap_mm))} {toward(way)}, or find what holds it off."
