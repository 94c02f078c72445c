"""How far a pushed body travels, and what it lands on: the circle equation and plain subtraction."""

from __future__ import annotations

import math
import re

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.patches import approach as closing
from fixturecheck.contact.patches.approach import find_first_contact
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import NotComputedError
from fixturecheck.relief.edge_cuts import relieve_edge
from fixturecheck.tolerances import Tolerances
from tests.contact.staging import anywhere, ball, block, corner_with_fillet, pin, place, plate, put

CLOSE_MM = 1e-4
LEFT = np.array([-1.0, 0.0, 0.0])


def early_mm(radius_mm: float, height_mm: float) -> float:
    """How far off the wall a fillet is at a height above the floor."""
    return radius_mm - math.sqrt(radius_mm**2 - (radius_mm - height_mm) ** 2)


@pytest.mark.parametrize("gap_mm", [0.0, 0.123, 1.7])
@pytest.mark.parametrize("moved", [False, True])
def test_block_lands_on_a_stop_after_its_gap(gap_mm, moved):
    at = anywhere() if moved else place()
    push = np.array((at * place((-1, 0, 0))).toTuple()[0]) - np.array(at.toTuple()[0])
    stop = put("stop", block(10, 20, 30, (-5, 0, -5)), at)
    landing = find_first_contact(
        put("part", block(20, 12, 5, (10 + gap_mm, 0, 0)), at), stop, push, 2.0, Tolerances()
    )
    assert landing.travel_mm == pytest.approx(gap_mm, abs=CLOSE_MM)
    (patch,) = landing.patches
    assert (patch.contact.a, patch.contact.b, patch.contact.kind) == ("part.left", "stop.right", "area")
    assert patch.contact.area_mm2 == pytest.approx(12 * 5, rel=1e-9)


def test_sliding_along_the_floor_is_no_landing():
    bed = plate().union(block(10, 80, 10, (-45, 0, 0)))
    landing = find_first_contact(
        put("part", block(20, 12, 5, (-28.5, 0, 0))), put("bed", bed), LEFT, 2.0, Tolerances()
    )
    assert landing.travel_mm == pytest.approx(1.5, abs=CLOSE_MM)
    assert [p.contact.b for p in landing.patches] == ["part.left"] or [
        p.contact.a for p in landing.patches
    ] == ["bed.right"]


@pytest.mark.parametrize(("radius_mm", "height_mm"), [(3.0, 1.0), (3.0, 0.2), (1.5, 0.3), (0.5, 0.2)])
def test_corner_lands_on_the_fillet_before_the_face_meets_the_wall(radius_mm, height_mm):
    part = put("part", block(20, 12, 8, (10, 0, height_mm)))
    wall = put("corner", corner_with_fillet(radius_mm))
    landing = find_first_contact(part, wall, LEFT, 2 * radius_mm, Tolerances())
    assert -landing.travel_mm == pytest.approx(early_mm(radius_mm, height_mm), abs=CLOSE_MM)
    (first,) = landing.patches
    assert (first.contact.kind, first.contact.b) == ("line", "part.bottom+left")


@pytest.mark.parametrize("radius_mm", [0.5, 3.0])
def test_corner_on_the_floor_lands_where_the_fillet_begins(radius_mm):
    """There the fillet rises from nothing, so the place is known no better than to a rise of 0.05 um."""
    part, wall = put("part", block(20, 12, 8, (10, 0, 0))), put("corner", corner_with_fillet(radius_mm))
    landing = find_first_contact(part, wall, LEFT, 2 * radius_mm, Tolerances())
    late_mm = radius_mm + landing.travel_mm
    assert late_mm >= -CLOSE_MM
    assert radius_mm - math.sqrt(radius_mm**2 - late_mm**2) < 5e-5


def test_part_above_the_fillet_meets_the_wall():
    landing = find_first_contact(
        put("part", block(20, 12, 8, (10.25, 0, 3.0))),
        put("corner", corner_with_fillet(3.0)),
        LEFT,
        2.0,
        Tolerances(),
    )
    assert landing.travel_mm == pytest.approx(0.25, abs=CLOSE_MM)
    assert landing.patches[0].contact.kind == "area"


def test_pin_lands_in_a_vee_along_its_middle():
    """R / sin(a/2) from the root of the V to the middle of the pin (any metrology handbook)."""
    flanks = (
        cq.Workplane("XZ").polyline([(-30, -30), (30, -30), (30, 30), (0, 0), (-30, 30)]).close().extrude(40)
    )
    high = 6 / math.sin(math.radians(45))
    part = put("pin", pin(6, 30, (0, -35, high + 0.4), (0, 1, 0)))
    landing = find_first_contact(part, put("vee", flanks), np.array([0, 0, -1.0]), 2.0, Tolerances())
    assert landing.travel_mm == pytest.approx(0.4, abs=CLOSE_MM)
    assert [p.contact.kind for p in landing.patches] == ["line", "line"]


def test_ball_lands_on_a_ball():
    """Centres 11 mm apart and 3 mm aside: the push ends where sqrt(121 - 9) is left between them."""
    landing = find_first_contact(put("a", ball(5, (12, 3, 0))), put("b", ball(6)), LEFT, 4.0, Tolerances())
    assert landing.travel_mm == pytest.approx(12 - math.sqrt(11**2 - 3**2), abs=CLOSE_MM)


@pytest.mark.parametrize(
    ("at", "says"), [((13.0, 0, 0), "does not land on stop within 2 mm"), ((5.0, 0, 0), "in the way of stop")]
)
def test_landing_that_cannot_be_found_is_said(at, says):
    part, stop = put("part", block(20, 12, 5, at)), put("stop", block(10, 20, 30, (-5, 0, -5)))
    with pytest.raises(NotComputedError, match=re.escape(says)):
        find_first_contact(part, stop, LEFT, 2.0, Tolerances())


@pytest.mark.parametrize(("radius_mm", "height_mm"), [(3.0, 1.0), (1.5, 0.3), (2.0, 0.5)])
def test_chamfer_that_opens_the_nest(radius_mm, height_mm):
    """The leg is the most that the fillet reaches past the corner along 45 degrees, from the circle equation.

    The arc's end at the wall is r - h above the corner, its other end r - sqrt(r^2 - (r - h)^2) beside it;
    the arc bulges away from the chamfer between them, so one of the ends decides: r - h.
    """
    part = put("part", block(20, 12, 8, (10, 0, height_mm)))
    wall = put("corner", corner_with_fillet(radius_mm))
    (overlap,) = find_contacts([part, wall], Tolerances()).overlaps
    relief = relieve_edge(part, wall, overlap.common, frozenset({"bottom"}), Tolerances())
    assert relief is not None
    leg_mm = radius_mm - height_mm
    assert leg_mm - 1e-9 <= relief.leg_mm <= leg_mm + 0.0101
    assert relief.edge == "part.bottom+left"
    assert relief.area_mm2 == pytest.approx(12 * (8 - relief.leg_mm), rel=1e-6)


def test_what_is_shared_tells_how_far_too_far_so_few_booleans_are_asked(monkeypatch):
    asked = []
    plain = closing.overlap

    def counted(*question):
        asked.append(found := plain(*question))
        return found

    monkeypatch.setattr(closing, "overlap", counted)
    radius_mm, height_mm = 3.0, 1.0
    part = put("part", block(20, 12, 8, (10, 0, height_mm)))
    landing = find_first_contact(part, put("corner", corner_with_fillet(radius_mm)), LEFT, 6.0, Tolerances())
    # Circle equation, as above; halving 0.75 mm down to 1e-5 mm alone takes 17 booleans.
    assert landing.travel_mm == pytest.approx(-early_mm(radius_mm, height_mm), abs=CLOSE_MM)
    assert len(asked) <= 9 + 2 + 5
