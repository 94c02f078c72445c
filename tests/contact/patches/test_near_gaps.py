"""The least gap of bodies that look at each other with no face, by elementary geometry."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

from fixturecheck.kernel.shapes import Placed
from tests.contact.staging import anywhere, block, contacts, only, pin, place, plate, put, vee


def on_edge(lift_mm: float, turn_deg: float, *, top: bool) -> Placed:
    """A square bar 8 x 8 x 40 on one of its long edges, or hung from it, turned about the vertical."""
    bar = cq.Workplane("XZ").rect(8, 8).extrude(20, both=True).rotate((0, 0, 0), (0, 1, 0), 45)
    rise = 4 * math.sqrt(2)
    bar = bar.translate((0, 0, lift_mm + rise if top else -rise)).rotate((0, 0, 0), (0, 0, 1), turn_deg)
    return put("over" if top else "under", bar)


@pytest.mark.parametrize("turn_deg", [20.0, 75.0])
def test_skew_edges_have_a_near_gap(turn_deg):
    near = only(on_edge(0.037, turn_deg, top=True), on_edge(0.0, 0.0, top=False), kinds=["near"])
    assert (near.gap_min_um, near.gap_mean_um, near.gap_max_um) == pytest.approx((37.0,) * 3, abs=1e-6)
    assert abs(near.normal[2]) == pytest.approx(1.0)
    assert near.centroid == pytest.approx((0, 0, 0.0185), abs=1e-9)
    assert (near.a, near.b) == ("over.slope", "under.slope")


def test_edges_further_apart_than_the_near_band_have_none():
    assert not contacts(on_edge(0.51, 20.0, top=True), on_edge(0.0, 0.0, top=False), kinds=["near"])


def test_a_leaning_block_has_the_gap_of_its_lowest_edge():
    at = place((0, 0, 0.1), (0, 1, 0), 30.0)
    leaning = put("block", block(20, 10, 5).translate((-10, 0, 0)), at)
    near = only(put("plate", plate()), leaning, kinds=["near"])
    assert near.gap_min_um == pytest.approx(100.0, abs=1e-6)
    assert near.b == "plate.top"


@pytest.mark.parametrize("radius_mm", [2.0, 9.3, 400.0])
@pytest.mark.parametrize("lift_mm", [0.0005, 0.037, 0.4])
def test_a_lifted_pin_has_the_gap_that_it_was_lifted_by(radius_mm, lift_mm):
    over = pin(radius_mm, 50, (0, -25, radius_mm + lift_mm), (0, 1, 0))
    near = only(put("plate", plate()), put("pin", over), kinds=["near"])
    assert near.gap_min_um == pytest.approx(1e3 * lift_mm, abs=1e-6)
    assert near.gap_mean_um > near.gap_min_um


def test_a_lifted_pin_in_a_vee_has_the_gap_of_its_flanks():
    """Lifted by h, it stands off both flanks of a right-angled V by h / sqrt 2."""
    lift, radius = 0.05, 6.0
    over = pin(radius, 50, (0, -25, radius * math.sqrt(2) + lift), (0, 1, 0))
    where = anywhere()
    strips = contacts(put("vee", vee(60), where), put("pin", over, where), kinds=["near"])
    assert [c.gap_min_um for c in strips] == pytest.approx([1e3 * lift / math.sqrt(2)] * 2, abs=1e-6)


def test_a_pin_in_a_wider_bore_has_the_gap_on_its_low_side():
    bored = block(40, 40, 20, (0, 0, -10)).faces(">Z").workplane().hole(12.4)
    near = only(put("bored", bored), put("pin", pin(6, 16, (0.15, 0, -8))), kinds=["near"])
    assert near.gap_min_um == pytest.approx(50.0, abs=1e-6)
