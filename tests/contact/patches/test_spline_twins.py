"""Solids with spline faces and their analytic twins in the same scenes, over radii and angles from a seed.

Kind, length, place and least gap have to agree; a third answer, a closed form, stands beside both.
"""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.result.contact import Contact
from tests.contact.free_form import freeform
from tests.contact.staging import ball, contacts, pin, plate, put, vee

DRAWS = 2
rng = np.random.default_rng(20)


def pin_in_a_vee(lift_mm: float):
    """A pin of radius R in a V of 2 w stands R / sin w above its root; lifted by h, h sin w off a flank."""
    radius, angle = float(rng.uniform(1.0, 12.0)), float(rng.uniform(60.0, 120.0))
    half = math.radians(angle / 2)
    part = pin(radius, 30, (0, -15, radius / math.sin(half) + lift_mm), (0, 1, 0))
    return vee(60, angle), part, ("line", 2, 30.0, lift_mm * math.sin(half))


def ball_on_a_plate(lift_mm: float):
    radius = float(rng.uniform(0.8, 40.0))
    return plate(), ball(radius, (1, 2, radius + lift_mm)), ("point", 1, 0.0, lift_mm)


def cone_in_a_bore(lift_mm: float):
    """A cone whose side leans by w from its axis stands h sin w off the rim when lifted by h."""
    rim, half = float(rng.uniform(2.0, 8.0)), math.radians(float(rng.uniform(25.0, 65.0)))
    low, high = 0.6 * rim, 1.5 * rim
    cone = cq.Solid.makeCone(
        low, high, (high - low) / math.tan(half), pnt=cq.Vector(0, 0, (low - rim) / math.tan(half) + lift_mm)
    )
    bored = plate(40, 40, 30).faces(">Z").workplane().hole(2 * rim)
    return bored, cone, ("line", 1, math.tau * rim, lift_mm * math.sin(half))


def crossed_pins(lift_mm: float):
    low, top = float(rng.uniform(2.0, 8.0)), float(rng.uniform(2.0, 8.0))
    way = math.radians(float(rng.uniform(15.0, 90.0)))
    along = (math.cos(way), math.sin(way), 0)
    under = pin(low, 40, (-20, 0, -low), (1, 0, 0))
    over = pin(top, 40, (-20 * along[0], -20 * along[1], top + lift_mm), along)
    return under, over, ("point", 1, 0.0, lift_mm)


def ring_on_a_plate(lift_mm: float):
    small = float(rng.uniform(1.0, 4.0))
    large = small + float(rng.uniform(2.0, 9.0))
    return (
        plate(),
        cq.Solid.makeTorus(large, small, cq.Vector(0, 0, small + lift_mm)),
        ("line", 1, math.tau * large, lift_mm),
    )


SCENES = [pin_in_a_vee, ball_on_a_plate, cone_in_a_bore, crossed_pins, ring_on_a_plate]


def told(fixture, part, kinds) -> list[Contact]:
    return contacts(put("fixture", fixture), put("part", part), kinds=kinds)


@pytest.mark.parametrize("draw", range(DRAWS))
@pytest.mark.parametrize("scene", SCENES)
def test_twins_touch_alike(scene, draw):
    fixture, part, (kind, count, long_mm, _) = scene(0.0)
    exact, spline = (told(fixture, one, ("area", "line", "point")) for one in (part, freeform(part)))
    for found in (exact, spline):
        assert [c.kind for c in found] == [kind] * count
        assert [c.length_mm for c in found] == pytest.approx([long_mm] * count, rel=1e-5)
    for one, other in zip(exact, spline, strict=True):
        assert other.centroid == pytest.approx(one.centroid, abs=1e-3)
        assert other.error_um < 0.1


@pytest.mark.parametrize("lift_mm", [0.03])
@pytest.mark.parametrize("scene", SCENES)
def test_twins_stand_open_alike(scene, lift_mm):
    fixture, part, (_, _, _, least_mm) = scene(lift_mm)
    for one in (part, freeform(part)):
        near = told(fixture, one, ("near",))
        assert not told(fixture, one, ("area", "line", "point"))
        assert min(c.gap_min_um for c in near) == pytest.approx(1e3 * least_mm, abs=1e-3)
