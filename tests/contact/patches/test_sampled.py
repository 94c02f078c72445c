"""Surfaces without a closed form: sampled gaps and the error that is said, against exact distances.

Free-form solids stand in for known ones: a plane or cylinder turned into B-splines has the answers of the
plane or cylinder. gmsh's t20_data.step is a part of B-splines alone (ships with the gmsh wheel).
"""

from __future__ import annotations

import math
from importlib.metadata import files
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import distance
from fixturecheck.kernel.sample import face_window, grid_on_face
from fixturecheck.kernel.step import read
from fixturecheck.tolerances import Tolerances
from tests.contact.free_form import egg, elliptic_bar, freeform, spline_rods
from tests.contact.staging import ball, block, contacts, found, only, pin, place, plate, put, vee

NEAR_MM = Tolerances().near_mm


def test_freeform_surfaces_are_not_read_as_planes_or_cylinders():
    kinds = {f.geomType() for f in freeform(pin(5, 10)).Faces()}
    assert kinds == {"BSPLINE"}


def test_a_free_form_block_touches_a_plate_over_its_foot():
    bodies = put("plate", plate()), put("block", freeform(block(20, 10, 5)))
    areas = contacts(*bodies, kinds=["area"])
    assert sum(c.area_mm2 for c in areas) == pytest.approx(20 * 10, rel=0.02)
    assert all(c.gap_max_um <= 1 for c in areas)
    assert not found(*bodies).overlaps


@pytest.mark.parametrize("gap_mm", [0.01, 0.2])
def test_a_free_form_block_over_a_plate_has_the_gap_it_was_lifted_by(gap_mm):
    bodies = put("plate", plate()), put("block", freeform(block(20, 10, 5, (0, 0, gap_mm))))
    near = only(*bodies, kinds=["near", "area", "line", "point"])
    assert near.kind == "near"
    assert near.gap_mean_um == pytest.approx(1e3 * gap_mm, abs=1e-6)
    assert near.area_mm2 == pytest.approx(200, rel=0.02)
    assert near.error_um < 1e-3, "two parallel planes leave nothing to err about"


def test_freeform_ball_on_plate_is_one_point():
    (point,) = contacts(put("plate", plate()), put("ball", freeform(ball(5, (1, 2, 5)))))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((1, 2, 0), abs=1e-3)


def lofted() -> cq.Solid:
    return cq.Workplane().ellipse(12, 7).workplane(offset=6).ellipse(9, 9).workplane(offset=6).ellipse(
        5, 8
    ).loft().val()  # fmt: skip


def barrel_on_side() -> tuple:
    """A lofted foot lying near the plate on its free-form side."""
    solid = lofted().moved(place(axis=(1, 0, 0), angle_deg=-80))
    return solid.moved(place((0, 0, 0.03 - solid.BoundingBox(1e-6).zmin)))


def over_the_plate(points: np.ndarray) -> np.ndarray:
    return points[:, 2]


def over_the_pin(points: np.ndarray) -> np.ndarray:
    """A pin of radius 8 along X whose top is z = 0."""
    return np.hypot(points[:, 1], points[:, 2] + 8) - 8


SCENES = {
    "lofted side over plate": lambda: (plate().val(), barrel_on_side(), over_the_plate),
    "free ball over plate": lambda: (plate().val(), freeform(ball(6, (0, 0, 6.05))), over_the_plate),
    "free pin over a turned pin": lambda: (
        pin(8, 40, (-20, 0, -8), (1, 0, 0)),
        freeform(pin(6, 40, (-19, -6, 6.02), (math.cos(0.3), math.sin(0.3), 0))),
        over_the_pin,
    ),
    "ball over plate": lambda: (plate().val(), ball(6, (0, 0, 6.05)), over_the_plate),
    "ring over plate": lambda: (
        plate().val(),
        cq.Solid.makeTorus(10, 3, cq.Vector(0, 0, 3.1)),
        over_the_plate,
    ),
}


@pytest.mark.parametrize("scene", SCENES)
def test_error_bounds_the_gap_between_the_samples(scene):
    """Closed forms of the gap at a hundred thousand other points of the sampled face."""
    a, b, height = SCENES[scene]()
    patches = [p for p in found(put("a", a), put("b", b)).patches if p.contact.kind == "near"]
    assert patches
    for patch in patches:
        contact = patch.contact
        assert 0 < contact.error_um < 5
        # The patch is a window of the parameters of B's face, which is the less simple one in every scene.
        (face,) = faces_of(patch.shape.geometry)
        grid = grid_on_face(face, face_window(face), 1e-3, 100_000)
        gaps = height(grid.points)
        inside = (gaps <= NEAR_MM) & (gaps >= 0)
        mean_um = 1e3 * float(np.average(gaps[inside], weights=grid.weights[inside]))
        assert contact.gap_mean_um == pytest.approx(mean_um, abs=contact.error_um)
        assert contact.gap_max_um + contact.error_um >= 1e3 * float(gaps[inside].max()) - 1
        assert contact.gap_max_um <= 1e3 * NEAR_MM


def test_finer_samples_say_a_smaller_error():
    bodies = put("plate", plate()), put("ball", freeform(ball(6, (0, 0, 6.05))))
    errors = []
    for sample_mm in (2.0, 1.0, 0.5):
        near = found(*bodies, tolerances=Tolerances(sample_mm=sample_mm)).patches
        errors.append(max(p.contact.error_um for p in near))
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < errors[0] / 2


def test_part_of_bsplines_alone_on_a_plate():
    """Stood 0.1 mm above a plate: the mean gap on its flat bottom is 0.1 mm, the rest rises from there."""
    (drawn,) = [f for f in files("gmsh") or () if f.match("tutorials/t20_data.step")]
    solid = read(Path(str(drawn.locate()))).solids[0].solid
    box = solid.BoundingBox(1e-4)
    stood = solid.moved(place((-box.center.x, -box.center.y, 0.1 - box.zmin)))
    exact_mm = distance(plate().val(), stood)[0]
    bodies = put("plate", plate()), put("part", stood)
    near = contacts(*bodies, kinds=["near"])
    assert not contacts(*bodies)
    assert near
    assert exact_mm == pytest.approx(0.1, abs=0.02)
    for contact in near:
        assert contact.gap_mean_um + contact.error_um >= 1e3 * exact_mm - 1e-3
        assert contact.gap_max_um <= 500


def round_foot(radius_mm: float) -> cq.Solid:
    ball_ = cq.Workplane().sphere(radius_mm).translate((0, 0, radius_mm))
    return freeform(block(20, 20, 10).intersect(ball_))


POINTS = {
    "block on a round foot": lambda: (plate(), round_foot(3000.0)),
    "rods that cross at 3 degrees": lambda: spline_rods(3.0),
    "rods that cross at 60 degrees": lambda: spline_rods(60.0),
    "egg": lambda: (plate(), egg()),
    "egg on its twin": lambda: (egg().rotate((0, 0, 0), (1, 0, 0), 180), egg()),
}


@pytest.mark.parametrize("scene", POINTS)
def test_freeform_faces_that_curve_apart_touch_at_a_point(scene):
    a, b = POINTS[scene]()
    point = only(put("a", a), put("b", b))
    assert point.kind == "point"
    assert point.centroid == pytest.approx((0, 0, 0), abs=1e-4)
    assert abs(point.normal[2]) == pytest.approx(1.0)


LINES = {
    "pin on a plate": lambda: (plate(), freeform(pin(6, 50, (0, -25, 6), (0, 1, 0))), 50.0),
    "pin on a spline plate": lambda: (freeform(plate()), freeform(pin(2, 50, (0, -25, 2), (0, 1, 0))), 50.0),
    "pin over the end of a plate": lambda: (plate(), freeform(pin(6, 50, (0, 20, 6), (0, 1, 0))), 20.0),
    "elliptic bar on a plate": lambda: (plate(), elliptic_bar(), 40.0),
    "ring on a plate": lambda: (
        plate(),
        freeform(cq.Solid.makeTorus(10, 3, cq.Vector(0, 0, 3))),
        math.tau * 10,
    ),
    "pin in a wider bore": lambda: (
        plate().faces(">Z").workplane().hole(12),
        freeform(pin(5.5, 8, (0.5, 0, -9))),
        8.0,
    ),
}


@pytest.mark.parametrize("scene", LINES)
def test_freeform_faces_that_run_together_touch_along_a_line(scene):
    a, b, long_mm = LINES[scene]()
    line = only(put("a", a), put("b", b))
    assert line.kind == "line"
    assert line.length_mm == pytest.approx(long_mm, rel=1e-6)
    assert line.error_um < 0.01


def test_freeform_pin_in_a_vee_touches_along_two_lines():
    radius = 6.0
    stood = freeform(pin(radius, 50, (0, -25, radius * math.sqrt(2)), (0, 1, 0)))
    lines = contacts(put("vee", vee(60)), put("pin", stood))
    assert [(c.kind, round(c.length_mm, 6)) for c in lines] == [("line", 50.0)] * 2
    for line in lines:
        assert math.hypot(line.centroid[0], line.centroid[2]) == pytest.approx(radius, rel=1e-6)


def test_freeform_pin_in_a_bore_of_its_size_is_an_area():
    bored = plate().faces(">Z").workplane().hole(12)
    area = only(put("plate", bored), put("pin", freeform(pin(6, 8, (0, 0, -9)))))
    assert area.kind == "area"
    assert area.area_mm2 == pytest.approx(math.tau * 6 * 8, rel=1e-3)


@pytest.mark.parametrize("lift_mm", [0.01, 0.3])
def test_least_gap_under_a_freeform_ball_is_exact(lift_mm):
    near = only(
        put("plate", plate()), put("ball", freeform(ball(6, (0.3, 0.2, 6 + lift_mm)))), kinds=["near"]
    )
    assert near.gap_min_um == pytest.approx(1e3 * lift_mm, abs=1e-3)


def ball_over_plate() -> tuple[cq.Solid, float, float]:
    """A cap of a ball: its area is 2 pi R h and its heights are spread evenly (Archimedes)."""
    lift, radius = 0.05, 6.0
    return (
        freeform(ball(radius, (0.3, 0.2, radius + lift))),
        math.tau * radius * (NEAR_MM - lift),
        (NEAR_MM + lift) / 2,
    )


def ring_over_plate() -> tuple[cq.Solid, float, float]:
    """The band of a torus within phi of its lowest circle: 4 pi R r phi, the mean of r (1 - cos) over it."""
    lift, large, small = 0.1, 10.0, 3.0
    phi = math.acos(1 - (NEAR_MM - lift) / small)
    ring = freeform(cq.Solid.makeTorus(large, small, cq.Vector(0, 0, small + lift)))
    return ring, 2 * math.tau * large * small * phi, lift + small * (1 - math.sin(phi) / phi)


@pytest.mark.parametrize("scene", [ball_over_plate, ring_over_plate])
def test_mean_gap_and_area_within_the_near_band_are_known_closely(scene):
    solid, area_mm2, mean_mm = scene()
    near = only(put("plate", plate()), put("part", solid), kinds=["near"])
    assert near.error_um < 5.0
    assert near.gap_mean_um == pytest.approx(1e3 * mean_mm, abs=near.error_um)
    assert near.gap_max_um == pytest.approx(1e3 * NEAR_MM, abs=near.error_um)
    assert near.area_mm2 == pytest.approx(area_mm2, rel=1e-3)
