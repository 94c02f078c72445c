"""Surfaces and planes of placed bodies against closed forms: distances, normals, frames, supports."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixturecheck.contact.placed import PlaneFrame, place_bodies
from fixturecheck.kernel.brep.primitives import Surface, SurfaceKind, normal_out, signed_distance
from tests.contact.staging import anywhere, block, put

AXIS = np.array([0.0, 0.0, 1.0])
HALF = math.radians(30)


def surface(kind: SurfaceKind, **numbers: float) -> Surface:
    return Surface(kind=kind, origin=np.zeros(3), axis=AXIS, **numbers)


# Distances in a plane through the axis, by hand: (surface, point, distance outside, normal).
POINTS = {
    "cylinder": (surface(SurfaceKind.CYLINDER, radius_mm=5.0), (8, 0, 3), 3.0, (1, 0, 0)),
    "bore": (surface(SurfaceKind.CYLINDER, radius_mm=5.0, outward=-1), (3, 0, 3), 2.0, (-1, 0, 0)),
    "sphere": (surface(SurfaceKind.SPHERE, radius_mm=5.0), (6, 0, 8), 5.0, (0.6, 0, 0.8)),
    "torus": (
        surface(SurfaceKind.TORUS, radius_mm=10.0, minor_radius_mm=2.0), (13, 0, 4), 3.0, (0.6, 0, 0.8),
    ),
    "cone": (
        surface(SurfaceKind.CONE, half_angle_rad=HALF),
        (10 * math.sin(HALF) + 2 * math.cos(HALF), 0, 10 * math.cos(HALF) - 2 * math.sin(HALF)),
        2.0,
        (math.cos(HALF), 0, -math.sin(HALF)),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", POINTS)
def test_distance_and_normal_of_a_surface_are_the_closed_form(name):
    face, point, away, normal = POINTS[name]
    at = np.array(point, dtype=float)
    assert signed_distance(face, at[None]) == pytest.approx([away])
    assert normal_out(face, at) == pytest.approx(normal)


def test_a_surface_without_a_closed_form_has_no_distance_and_refuses_a_normal():
    face = surface(SurfaceKind.OTHER)
    assert signed_distance(face, np.zeros((1, 3))) is None
    with pytest.raises(ValueError, match="no closed form"):
        normal_out(face, np.ones(3))


@pytest.mark.parametrize("normal", [(1, 0, 0), (0, 1, 0), (0, 0, -1), (0.36, 0.48, 0.8)])
def test_points_of_a_plane_come_back_from_its_own_coordinates(normal):
    n = np.array(normal, dtype=float)
    frame = PlaneFrame(4.0 * n, n)
    points = frame.space(np.array([[0.0, 0], [3, 4], [-1, 2]]))
    assert points @ n == pytest.approx(4.0)
    assert np.linalg.norm(points[1] - points[0]) == pytest.approx(5.0)
    assert frame.space(frame.flat(points)) == pytest.approx(points)


def test_a_hole_takes_its_area_from_the_outline():
    flat = block(10, 10, 2).faces(">Z").workplane().hole(4)
    (body,) = place_bodies([put("plate", flat, anywhere())])
    areas = [body.outline(f)[1].area for f in range(len(body.face_names)) if body.face_names[f] == "top"]
    assert areas == pytest.approx([100 - math.pi * 4], rel=1e-4)
