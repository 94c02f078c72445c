"""What settling works on: bodies ready to move, faces that vary within tolerances, and draws of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.proximity.candidates import ProximityScene, Shapes
from fixturecheck.contact.proximity.perturbed import FaceVariation
from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.features import Features, features_of
from fixturecheck.kernel.brep.topology import one_of_each
from fixturecheck.kernel.place import drawing_matrix, matrix_of
from fixturecheck.result.tolerance import Chances
from fixturecheck.rigid import Poses
from fixturecheck.setup.model import Body, Setup
from fixturecheck.statics.rest import Settling
from fixturecheck.tolerancing.zones import Zone, centre_of_zone, corners_of_zone

SURE = 0.9973
"""The share of draws within three standard deviations of a normal spread: what counts as sure."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SettlingModel:
    """The bodies of a set-up as features, with poses as drawn; made once and settled as often as wanted.

    Parameters
    ----------
    bodies : tuple of Body
        In the set-up's order; indices below refer to it.
    features : tuple of Features
        What of each can touch, in its own frame.
    drawn : Poses
        Poses as drawn.
    known : dict
        What was made of the features for the settlings before.
    rests : dict
        Where bodies came to rest, by the features and a digest of all else that was asked.
    """

    setup: Setup
    bodies: tuple[Body, ...]
    features: tuple[Features, ...]
    drawn: Poses
    known: dict[tuple[Features, ...], Shapes] = field(default_factory=dict)
    rests: dict[tuple[tuple[Features, ...], str], Settling] = field(default_factory=dict)

    def scene(self, loose: Iterable[int]) -> ProximityScene:
        """Return the bodies ready to be looked at, with those that move."""
        moving = set(loose)
        if self.features not in self.known:
            self.known.clear()
            self.known[self.features] = Shapes(self.features)
        return ProximityScene(self.known[self.features], [i in moving for i in range(len(self.bodies))])

    def index(self, name: str) -> int:
        """Return the number of a body."""
        self.setup.body(name)
        return next(i for i, b in enumerate(self.bodies) if b.name == name)


def settling_model_of(setup: Setup) -> SettlingModel:
    """Read the features of every body of a set-up, each distinct solid once.

    Parameters
    ----------
    setup : Setup
        All its bodies are read, fixtures too.

    Returns
    -------
    SettlingModel
    """
    known: dict[tuple[int, bytes], Features] = {}
    features = []
    for body, first in zip(setup.bodies, one_of_each([b.solid for b in setup.bodies]), strict=True):
        # Features are in the frame of the body, in which its solid may itself have been moved.
        one = first, drawing_matrix(body.solid).tobytes()
        if one not in known:
            known[one] = features_of(body.solid)
        features.append(known[one])
    return SettlingModel(
        setup=setup, bodies=setup.bodies, features=tuple(features), drawn=_drawn_poses(setup.bodies)
    )


def _drawn_poses(bodies: Iterable[Body]) -> Poses:
    """Return where bodies are drawn."""
    matrices = np.array([matrix_of(b.at) for b in bodies])
    return Poses(rotation=matrices[:, :3, :3].copy(), origin_mm=matrices[:, :3, 3].copy())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampledRest:
    """What tolerances do to the rest, with the draws that it was counted in.

    Parameters
    ----------
    chances : Chances
        The answer.
    move : ndarray, shape (draws, 6 * bodies)
        Shift in mm and turn in radians of each loose body from its nominal rest.
    bases : int
        Different sets of contacts that carried.
    draws_um : mapping of str to ndarray, shape (draws,)
        By target: the error of its middle.
    out_um : mapping of str to ndarray, shape (draws,)
        By target: how far out its middle or the corner is, whichever is furthest out.
    """

    chances: Chances
    move: Floats
    bases: int
    draws_um: Mapping[str, Floats]
    out_um: Mapping[str, Floats]


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

    Parameters
    ----------
    model : SettlingModel
        The bodies, with the tolerances of their faces.

    Returns
    -------
    Varying

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
        raise SetupError(f"set-up {model.setup.name!r} states no tolerance on any face; nothing can vary")
    full = tuple(
        tuple(FaceRef.of(b.name, n) for n in own) for b, own in zip(model.bodies, names, strict=True)
    )
    found = Varying(faces=faces, zones=tuple(zones), names=full)
    for features, body in zip(model.features, model.bodies, strict=True):
        # Two zones could meet inside the body.
        if 2.0 * found.widest_mm() >= features.size_mm:
            widest = model.setup.write.length(found.widest_mm(), "g")
            raise SetupError(f"tolerances reach through {body.name}: the widest zone is {widest}")
    return found


def _widths_mm(body: Body, names: list[str]) -> dict[int, tuple[float, float]]:
    """Return the width of each face's zone, of those that have one, and how much of it the face may lean."""
    if not body.tolerance_mm:
        return {}
    found = {}
    for face, name in enumerate(names):
        width_mm = body.zone_mm(name) or 0.0
        if not np.isfinite(width_mm) or width_mm < 0:
            raise SetupError(f"tolerance of {body.name}.{name} must be zero or more, got {width_mm}")
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
