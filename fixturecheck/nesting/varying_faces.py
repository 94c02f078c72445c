"""Which faces vary within tolerances, and the zone of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixturecheck.contact.proximity.perturbed import FaceVariation
from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.features import Features
from fixturecheck.nesting.model import SettlingModel
from fixturecheck.setup.model import Body
from fixturecheck.tolerancing.zones import Zone, centre_of_zone, corners_of_zone


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Varying:
    """The faces that vary, as (body, face), and the zone of each in the same order; the names of all faces.

    `names` are `body.face`, by body and face.
    """

    faces: dict[tuple[int, int], FaceVariation]
    zones: tuple[Zone, ...]
    names: tuple[tuple[FaceRef, ...], ...]

    def widest_mm(self) -> float:
        """Return the width of the widest zone."""
        return 2.0 * max(z.half_mm for z in self.zones)

    def steepest(self) -> float:
        """Return the most that any face leans, mm over mm."""
        steep = 0.0
        for one, zone in zip(self.faces.values(), self.zones, strict=True):
            if zone.columns > 1:
                # The face is no narrower than twice its half extent along the shorter of its two ways.
                narrow_mm = 2.0 / float(np.linalg.norm(one.ways, axis=1).max())
                steep = max(steep, min(2.0 * zone.half_mm, zone.lean_mm) / narrow_mm)
        return steep


def varying_faces(model: SettlingModel) -> Varying:
    """Return which faces vary, and how.

    Raises
    ------
    SetupError
        None varies, a tolerance is negative or not finite, or zones reach through a body.
    """
    faces: dict[tuple[int, int], FaceVariation] = {}
    zones: list[Zone] = []
    column = 0
    names = [body.face_names() for body in model.bodies]
    for number, body in enumerate(model.bodies):
        for face, (width_mm, lean_mm) in _widths_mm(body, names[number]).items():
            varies, zone = _zone(model.features[number], face, (width_mm, lean_mm), column)
            faces[number, face] = varies
            zones.append(zone)
            column += zone.columns
    if not zones:
        message = f"set-up {model.setup.name!r} states no tolerance on any face; nothing can vary"
        raise SetupError(message)
    full = tuple(
        tuple(FaceRef.of(b.name, n) for n in own) for b, own in zip(model.bodies, names, strict=True)
    )
    found = Varying(faces=faces, zones=tuple(zones), names=full)
    for features, body in zip(model.features, model.bodies, strict=True):
        # Two zones could meet inside the body.
        if 2.0 * found.widest_mm() >= features.size_mm:
            widest = model.setup.write.length(found.widest_mm(), "g")
            message = f"tolerances reach through {body.name}: the widest zone is {widest}"
            raise SetupError(message)
    return found


def _widths_mm(body: Body, names: list[str]) -> dict[int, tuple[float, float]]:
    """Return the width of each face's zone, of those that have one, and how much of it the face may lean."""
    if not body.tolerance_mm:
        return {}
    found = {}
    for face, name in enumerate(names):
        width_mm = body.zone_mm(name) or 0.0
        if not np.isfinite(width_mm) or width_mm < 0:
            message = f"tolerance of {body.name}.{name} must be zero or more, got {width_mm}"
            raise SetupError(message)
        if width_mm > 0:
            found[face] = width_mm, body.orientation_mm.get(name, body.orientation_mm.get("*", np.inf))
    return found


def _zone(
    features: Features, face: int, wide_mm: tuple[float, float], column: int
) -> tuple[FaceVariation, Zone]:
    """Return how a face varies and its zone; a curved face only shifts, which is its radius."""
    half_mm, lean_mm = 0.5 * wide_mm[0], wide_mm[1]
    flat = np.flatnonzero(features.plane_faces == face)
    if len(flat) == 0 or lean_mm == 0.0:
        still = FaceVariation(column=column, middle_mm=np.zeros(3), ways=np.zeros((0, 3)))
        return still, Zone(half_mm=half_mm, corners=np.zeros((0, 2)))
    origin, _, x, y = features.planes[flat[0]]
    corners = corners_of_zone(features.outlines[flat[0]].reshape(-1, 2))
    middle = centre_of_zone(corners)
    corners = corners - middle
    scale = np.abs(corners).max(axis=0)
    return (
        FaceVariation(
            column=column,
            middle_mm=origin + middle[0] * x + middle[1] * y,
            ways=np.array([x, y]) / scale[:, None],
        ),
        Zone(half_mm=half_mm, corners=corners / scale, lean_mm=lean_mm),
    )
