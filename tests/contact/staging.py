"""Solids placed where a test needs them, and the contacts between them by kind."""

from __future__ import annotations

import math
from collections.abc import Iterable

import cadquery as cq
import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.contact.proximity.candidates import Candidates, ProximityScene
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.kernel.brep.features import features_of
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Placed
from fixturecheck.result.contact import Contact
from fixturecheck.tolerances import Tolerances

ANY_WAY = ((1.0, 2.0, 3.0), 77.0, (12.0, -7.0, 3.0))
"""An axis, an angle in degrees and a shift that line up with nothing."""


def place(at=(0.0, 0.0, 0.0), axis=(0.0, 0.0, 1.0), angle_deg=0.0) -> cq.Location:
    return cq.Location(cq.Vector(*at), cq.Vector(*axis), angle_deg)


def anywhere() -> cq.Location:
    axis, angle_deg, at = ANY_WAY
    return place(at, axis, angle_deg)


def corner_with_fillet(radius_mm: float) -> cq.Workplane:
    """Floor at z = 0, wall at x = 0, and a fillet between them."""
    drawn = block(60, 20, 10, (0, 0, -10)).union(block(20, 20, 30, (-10, 0, 0)))
    return drawn.edges(cq.NearestToPointSelector((0, 0, 0))).fillet(radius_mm)


def put(name: str, drawn: cq.Workplane | cq.Shape, at: cq.Location | None = None) -> Placed:
    """Name a drawn solid and its faces: a flat face by the axis it looks along, any other by its kind."""
    shape = drawn.val() if isinstance(drawn, cq.Workplane) else drawn
    solid = shape if isinstance(shape, cq.Solid) else shape.Solids()[0]
    names = tuple(_name(face) for face in faces_of(solid))
    return Placed(name=name, solid=solid, face_names=names, at=at or cq.Location())


AXES = {"right": (1, 0, 0), "left": (-1, 0, 0), "back": (0, 1, 0), "front": (0, -1, 0), "top": (0, 0, 1), "bottom": (0, 0, -1)}  # fmt: skip  # noqa: E501  a table


def _name(face: cq.Face) -> str:
    kind = face.geomType().lower()
    if kind != "plane":
        return kind
    normal = face.normalAt().toTuple()
    return next((n for n, axis in AXES.items() if np.allclose(normal, axis, atol=1e-9)), "slope")


def block(x: float, y: float, z: float, at=(0.0, 0.0, 0.0)) -> cq.Workplane:
    """A block whose bottom face is centred on `at`."""
    return cq.Workplane().box(x, y, z, centered=(True, True, False)).translate(at)


def plate(x: float = 100.0, y: float = 80.0, z: float = 10.0) -> cq.Workplane:
    """A plate whose top is z = 0."""
    return block(x, y, z, (0.0, 0.0, -z))


def pin(radius_mm: float, length_mm: float, at=(0.0, 0.0, 0.0), along=(0.0, 0.0, 1.0)) -> cq.Solid:
    return cq.Solid.makeCylinder(radius_mm, length_mm, cq.Vector(*at), cq.Vector(*along))


def ball(radius_mm: float, at=(0.0, 0.0, 0.0)) -> cq.Solid:
    return cq.Solid.makeSphere(radius_mm, cq.Vector(*at), angleDegrees1=-90)


def vee(length_mm: float, angle_deg: float = 90.0, half_mm: float = 20.0) -> cq.Workplane:
    """A V along y with its root on the y axis."""
    top = half_mm / math.tan(math.radians(angle_deg / 2))
    outline = [(-30, -30), (30, -30), (30, top), (half_mm, top), (0, 0), (-half_mm, top), (-30, top)]
    return cq.Workplane("XZ").polyline(outline).close().extrude(length_mm / 2, both=True)


def found(*bodies: Placed, tolerances: Tolerances | None = None) -> ContactMap:
    return find_contacts(list(bodies), tolerances or Tolerances())


def near(
    one: cq.Solid,
    other: cq.Solid,
    at=(0.0, 0.0, 0.0),
    turn=(0.0, 0.0, 0.0),
    reach_mm: float = 3.0,
    slack_rad: float = 1e-6,
) -> Candidates:
    """Candidates between a solid that stays where it is drawn and one that is turned, then shifted."""
    scene = ProximityScene([features_of(one), features_of(other)], [False, True])
    rotation = np.array([np.eye(3), Rotation.from_rotvec(turn).as_matrix()])
    return find_candidates(scene, rotation, np.array([[0.0, 0, 0], at]), reach_mm, slack_rad)


def contacts(*bodies: Placed, kinds: Iterable[str] = ("area", "line", "point")) -> list[Contact]:
    """Everything of the kinds asked for; by default all that touches."""
    return [p.contact for p in found(*bodies).patches if p.contact.kind in kinds]


def only(*bodies: Placed, kinds: Iterable[str] = ("area", "line", "point")) -> Contact:
    """The one contact of those kinds."""
    every = contacts(*bodies, kinds=kinds)
    if len(every) != 1:
        raise AssertionError([f"{c.kind} {c.a} | {c.b}" for c in every])
    return every[0]
