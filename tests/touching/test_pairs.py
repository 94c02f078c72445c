"""Bodies without a set-up: what touches, clears and overlaps, against closed forms and manifold3d."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Verdict
from fixturecheck.result.rest import PairState
from tests.touching.blocks import ball, box, found, look, lying_rod, pair, rod


def test_a_stack_of_blocks_touches_over_the_smaller_faces() -> None:
    """By hand: 20 x 20, 10 x 10 and, half over the edge, 10 x 5."""
    result = look(
        low=box(40, 40, 10),
        middle=box(20, 20, 10, (0, 0, 10)),
        top=box(10, 10, 5, (0, 0, 20)),
        beside=box(10, 10, 5, (20, 0, 10)),
    )
    areas = {(p.a, p.b): p.area_mm2 for p in found(result).in_state(PairState.TOUCH)}
    assert areas == pytest.approx(
        {("low", "middle"): 400.0, ("middle", "top"): 100.0, ("low", "beside"): 50.0}, rel=1e-9
    )
    assert result.verdict is Verdict.GO


def test_a_rod_on_a_plane_touches_along_its_length() -> None:
    one = pair(look(table=box(40, 40, 10), rod=lying_rod(8, 30, (0, 0, 18))), "table", "rod")
    assert (one.state, one.areas, one.lines, one.points) == (PairState.TOUCH, 0, 1, 0)
    assert one.length_mm == pytest.approx(30.0, abs=1e-9)


def test_a_ball_on_a_plane_touches_at_a_point() -> None:
    one = pair(look(table=box(40, 40, 10), ball=ball(8, (3, -2, 18))), "table", "ball")
    assert (one.state, one.areas, one.lines, one.points) == (PairState.TOUCH, 0, 0, 1)
    assert one.at_mm == pytest.approx((3, -2, 10), abs=1e-6)


def test_a_pin_in_its_bore_touches_all_round() -> None:
    """2 pi R h."""
    plate = box(40, 40, 10).faces(">Z").workplane().hole(10)
    one = pair(look(plate=plate, pin=rod(5, 30)), "plate", "pin")
    assert one.area_mm2 == pytest.approx(2 * math.pi * 5 * 10, rel=1e-9)


@pytest.mark.parametrize(
    ("body", "gap_mm"),
    [
        (box(5, 5, 5, (0, 0, 10.2)), 0.2),
        (ball(8, (0, 0, 18.3)), 0.3),
        # Corner across from corner: beside the plate in x and y, above it in z.
        (box(10, 10, 5, (25.1, 25.2, 10.2)), 0.3),
        # An edge beside a face, which look at each other further off.
        (box(10, 10, 5, (0, 25.25, 9.0)), 0.25),
    ],
)
def test_the_least_gap_of_two_bodies_is_their_distance_by_hand(body: cq.Workplane, gap_mm: float) -> None:
    """By hand: along an axis, or the root of three squares: 0.1, 0.2, 0.2."""
    one = pair(look(plate=box(40, 40, 10), body=body), "plate", "body")
    assert one.state is PairState.CLEAR
    assert one.gap_mm == pytest.approx(gap_mm, abs=1e-9)


def test_what_clears_by_more_is_not_told() -> None:
    drawn = {"plate": box(40, 40, 10), "body": box(5, 5, 5, (0, 0, 10.2))}
    assert len(found(look(0.3, **drawn)).pairs) == 1
    assert found(look(0.1, **drawn)).pairs == ()


def test_a_sunken_ball_shares_a_cap() -> None:
    """Cap of height h: pi h^2 (3 R - h) / 3; it reaches h deep, and h upward takes it out."""
    result = look(plate=box(40, 40, 10), ball=ball(8, (0, 0, 17.5)))
    one = pair(result, "plate", "ball")
    assert one.state is PairState.OVERLAP
    assert one.volume_mm3 == pytest.approx(math.pi * 0.5**2 * (3 * 8 - 0.5) / 3, rel=1e-6)
    assert one.depth_mm == pytest.approx(0.5, abs=1e-5)
    assert one.parting_mm == pytest.approx(0.5, abs=2e-4)
    assert (one.a, one.parting_way) == ("ball", pytest.approx((0, 0, 1)))
    assert result.verdict is Verdict.NO_GO


def test_a_press_fit_is_as_deep_as_its_interference_though_it_is_far_to_drive_out() -> None:
    """Tube between 5.01 and 5, 10 long: pi (5.01^2 - 5^2) 10."""
    plate = box(40, 40, 10).faces(">Z").workplane().hole(10)
    result = look(plate=plate, pin=rod(5.01, 30))
    one = pair(result, "plate", "pin")
    assert one.volume_mm3 == pytest.approx(math.pi * (5.01**2 - 25) * 10, rel=1e-6)
    assert one.depth_mm == pytest.approx(0.01, abs=1e-6)
    assert one.parting_mm == pytest.approx(10.0, abs=2e-4)
    (finding,) = (f for f in result.findings if f.verdict is Verdict.NO_GO)
    assert finding.remedy is not None
    assert finding.remedy.startswith("Take 0.01 mm off one of them where they share space.")


def test_a_body_inside_another_is_an_overlap() -> None:
    one = pair(look(outer=box(20, 20, 20), inner=box(4, 4, 4, (0, 0, 8))), "outer", "inner")
    assert one.state is PairState.OVERLAP
    assert one.volume_mm3 == pytest.approx(64.0, rel=1e-9)
    # Of its surface, x, y = +-2 lies 8 from the outer sides, and z = 8 and 12 lies 8 from bottom and top.
    assert one.depth_mm == pytest.approx(8.0, abs=1e-6)


@settings(max_examples=4)
@given(
    turn=st.tuples(*[st.floats(-40, 40)] * 3),
    at=st.tuples(st.floats(6, 9), st.floats(-3, 3), st.floats(-3, 3)),
)
def test_overlap_of_turned_boxes_against_manifold3d(
    turn: tuple[float, float, float], at: tuple[float, float, float]
) -> None:
    """Both libraries compute the same common of two flat-sided bodies."""
    place = cq.Location(at) * cq.Location((0, 0, 0), (1, 0, 0), turn[0])
    place = place * cq.Location((0, 0, 0), (0, 1, 0), turn[1]) * cq.Location((0, 0, 0), (0, 0, 1), turn[2])
    one, other = cq.Workplane().box(12, 10, 8).val(), cq.Workplane().box(9, 11, 7).val()
    result = look(one=one, other=other.moved(place))
    matrix = np.eye(4)
    trsf = place.wrapped.Transformation()
    matrix[:3] = [[trsf.Value(i, j) for j in range(1, 5)] for i in range(1, 4)]
    shared = trimesh.boolean.intersection(
        [trimesh.creation.box((12, 10, 8)), trimesh.creation.box((9, 11, 7), matrix)], engine="manifold"
    )
    volume_mm3 = 0.0 if shared.is_empty else float(shared.volume)
    if volume_mm3 < 1e-3:
        return
    told = pair(result, "one", "other")
    assert told.state is PairState.OVERLAP
    assert told.volume_mm3 == pytest.approx(volume_mm3, rel=1e-5)
    assert told.depth_mm is not None
    assert told.parting_mm is None or told.depth_mm <= told.parting_mm + 1e-3


def test_every_contact_of_the_map_is_in_the_result() -> None:
    result = look(low=box(40, 40, 10), high=box(20, 20, 10, (0, 0, 10)))
    (contact,) = result.contacts
    assert (contact.kind, contact.area_mm2) == (ContactKind.AREA, pytest.approx(400.0))
    assert {s.name for s in result.shapes} == {"low", "high", contact.patch}
