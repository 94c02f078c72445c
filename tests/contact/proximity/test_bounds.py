"""The bound on how deep faces reach into each other, against depths that are known in closed form."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.proximity.bounds import PlacedPieces, deepest_mm
from fixturecheck.kernel.brep.free_form import edge_pieces, face_pieces
from fixturecheck.kernel.brep.topology import faces_of
from tests.contact.free_form import egg, freeform, spline_rods
from tests.contact.staging import ball, pin, plate, vee

FINE_MM = 1e-4
DEPTHS_MM = [0.4, 0.05, 1e-3, 0.0, -0.01]


def deepest(a: cq.Shape, b: cq.Shape) -> float:
    """The greatest bound over all pairs of faces."""
    ours, theirs = (
        [PlacedPieces(face_pieces(f), np.eye(3), np.zeros(3)) for f in faces_of(s)] for s in (a, b)
    )
    return max(deepest_mm(one, other, fine_mm=FINE_MM, deep_mm=1.5) for one in ours for other in theirs)


def on_a_plate(down_mm: float):
    return freeform(ball(6, (0.3, 0.2, 6 - down_mm))), plate().val()


def in_a_vee(down_mm: float):
    high = (6 - down_mm) * math.sqrt(2)
    return freeform(pin(6, 50, (0, -25, high), (0, 1, 0))), vee(60).val()


def in_a_bore(down_mm: float):
    return freeform(pin(5.9, 8, (0.1 + down_mm, 0, -9))), plate().faces(">Z").workplane().hole(12).val()


def rods(down_mm: float):
    low, top = spline_rods(60.0)
    return low, top.translate(cq.Vector(0, 0, -down_mm))


def ring(down_mm: float):
    return freeform(cq.Solid.makeTorus(10, 3, cq.Vector(0, 0, 3 - down_mm))), plate().val()


def eggs():
    return egg().val(), egg().rotate((0, 0, 0), (1, 0, 0), 180).val()


@pytest.mark.parametrize("down_mm", DEPTHS_MM)
@pytest.mark.parametrize("scene", [on_a_plate, in_a_vee, in_a_bore, rods, ring])
def test_the_bound_holds_and_is_close(scene, down_mm):
    bound = deepest(*scene(down_mm))
    depth = max(down_mm, 0.0)
    assert bound >= depth - 1e-9
    assert bound <= max(1.1 * depth, depth + FINE_MM)


def test_two_spun_profiles_pole_to_pole():
    assert deepest(*eggs()) <= FINE_MM


def test_a_ball_through_a_hole_does_not_count_against_the_face_that_the_hole_is_in():
    """Its lowest place looks at the plate's plane from 1.2 mm below it, within the hole."""
    assert deepest(freeform(ball(5, (0, 0, 3.8))), plate().faces(">Z").workplane().hole(8).val()) <= FINE_MM


def test_an_edge_over_a_freeform_face():
    """The rim of a bore under a cone of 90 degrees: let down by d, the cone reaches d sin 45 past the rim."""
    rim = PlacedPieces(edge_pieces(cq.Edge.makeCircle(4, cq.Vector(0, 0, 0))), np.eye(3), np.zeros(3))
    cone = freeform(cq.Solid.makeCone(2, 8, 6, pnt=cq.Vector(0, 0, -2)))
    side = next(f for f in faces_of(cone) if abs(f.normalAt().z) < 0.9)
    for down_mm in (0.0, 0.01, 0.2):
        other = PlacedPieces(face_pieces(side), np.eye(3), np.array([0, 0, -down_mm]))
        bound = deepest_mm(rim, other, fine_mm=FINE_MM, deep_mm=1.5)
        depth = down_mm * math.sqrt(0.5)
        assert depth - 1e-9 <= bound <= max(1.1 * depth, FINE_MM)
