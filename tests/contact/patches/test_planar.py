"""Flat faces: areas by arithmetic on rectangles, circles and segments; gaps of parallel and tilted plates."""

from __future__ import annotations

import math

import pytest

from fixturecheck.contact.patches import contact_map as find
from fixturecheck.kernel import boolean
from tests.contact.staging import anywhere, block, contacts, found, only, pin, place, plate, put, vee

EXACT = 1e-9


def test_a_block_touches_a_plate_over_its_whole_foot():
    contact = only(put("plate", plate()), put("block", block(20, 10, 5)))
    assert (contact.a, contact.b, contact.kind) == ("block.bottom", "plate.top", "area")
    assert contact.area_mm2 == pytest.approx(20 * 10, rel=EXACT)
    assert contact.normal == pytest.approx((0, 0, -1), abs=1e-12)
    assert contact.centroid == pytest.approx((0, 0, 0), abs=1e-9)
    assert contact.gap_max_um == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("at", "area_mm2", "centroid"),
    [
        ((50, 0, 0), 10 * 10, (45, 0, 0)),  # half over one edge
        ((50, 40, 0), 10 * 5, (45, 37.5, 0)),  # a quarter, over a corner
        ((59.99, 0, 0), 0.01 * 10, (49.995, 0, 0)),  # a hundredth left
    ],
)
def test_block_that_hangs_over(at, area_mm2, centroid):
    contact = only(put("plate", plate()), put("block", block(20, 10, 5, at)))
    assert contact.area_mm2 == pytest.approx(area_mm2, rel=1e-8)
    assert contact.centroid == pytest.approx(centroid, abs=1e-9)


@pytest.mark.parametrize(
    ("drawn", "area_mm2"),
    [
        # Four corners lose r^2 (1 - pi/4) each.
        (block(20, 10, 5).edges("|Z").fillet(2), 20 * 10 - 4 * 2**2 * (1 - math.pi / 4)),
        # A fillet round the bottom takes its radius off every side.
        (block(20, 10, 5).faces("<Z").edges().fillet(1), (20 - 2) * (10 - 2)),
        (block(20, 10, 5).faces("<Z").edges().chamfer(1.5), (20 - 3) * (10 - 3)),
        (
            block(20, 10, 5).faces(">Z").workplane().pushPoints([(5, 0), (-5, 0)]).hole(3),
            20 * 10 - 2 * math.pi * 1.5**2,
        ),
        # A slot through the bottom leaves two lands.
        (block(20, 10, 5).faces("<Z").workplane().rect(6, 10).cutBlind(-2), (20 - 6) * 10),
    ],
    ids=["rounded corners", "rounded bottom", "chamfered bottom", "holes", "slot"],
)
@pytest.mark.parametrize("moved", [False, True])
def test_a_shaped_block_touches_a_plate_over_its_whole_foot(drawn, area_mm2, moved):
    at = anywhere() if moved else place()
    areas = contacts(put("plate", plate(), at), put("block", drawn, at))
    assert {c.kind for c in areas} == {"area"}
    assert sum(c.area_mm2 for c in areas) == pytest.approx(area_mm2, rel=EXACT)


def segment_mm2(radius_mm, away_mm):
    """Circle's segment beyond a chord (any geometry handbook)."""
    half = math.acos(away_mm / radius_mm)
    return radius_mm**2 * (half - math.sin(half) * math.cos(half))


def test_block_partly_over_a_hole():
    drilled = plate().faces(">Z").workplane().hole(8)
    contact = only(put("plate", drilled), put("block", block(20, 10, 5, (11, 0, 0))))
    assert contact.area_mm2 == pytest.approx(20 * 10 - segment_mm2(4, 1), rel=EXACT)


def test_block_over_a_whole_hole():
    drilled = plate().faces(">Z").workplane().hole(8)
    contact = only(put("plate", drilled), put("block", block(20, 20, 5)))
    assert contact.area_mm2 == pytest.approx(20 * 20 - math.pi * 4**2, rel=EXACT)


def test_two_round_faces_off_centre():
    """Lens of two circles: twice a segment of each (any geometry handbook)."""
    contact = only(put("a", pin(6, 5, (0, 0, -5))), put("b", pin(6, 5, (4, 0, 0))))
    assert contact.area_mm2 == pytest.approx(2 * segment_mm2(6, 2), rel=EXACT)


def test_square_bar_in_a_vee():
    side, length = 10, 50
    bar = block(side, length, side, (0, 0, -side / 2))
    seats = contacts(put("vee", vee(60)), put("bar", bar, place((0, 0, side / math.sqrt(2)), (0, 1, 0), 45)))
    assert [c.kind for c in seats] == ["area", "area"]
    for seat in seats:
        assert seat.area_mm2 == pytest.approx(side * length, rel=EXACT)
        assert abs(seat.normal[0]) == pytest.approx(math.sin(math.radians(45)), abs=1e-12)


@pytest.mark.parametrize("gap_mm", [0.0011, 0.05, 0.4999])
def test_parallel_gap_is_reported_as_it_is(gap_mm):
    contact = only(put("plate", plate()), put("block", block(20, 10, 5, (0, 0, gap_mm))), kinds=["near"])
    assert contact.area_mm2 == pytest.approx(200, rel=EXACT)
    assert contact.gap_mean_um == pytest.approx(1e3 * gap_mm, abs=1e-6)
    assert contact.gap_max_um == pytest.approx(1e3 * gap_mm, abs=1e-6)


def test_nothing_beyond_the_near_band():
    assert not found(put("plate", plate()), put("block", block(20, 10, 5, (0, 0, 0.501)))).patches


def test_touch_tolerance_decides_between_touching_and_near():
    apart = put("plate", plate()), put("block", block(20, 10, 5, (0, 0, 0.0009)))
    contact = only(*apart)
    assert contact.kind == "area"
    assert contact.gap_mean_um == pytest.approx(0.9, abs=1e-6)
    assert not contacts(put("plate", plate()), put("block", block(20, 10, 5, (0, 0, 0.0011))))


@pytest.mark.parametrize("tilt_deg", [0.5, 1.0, 1.4])
def test_tilted_plate_stands_on_its_edge_over_a_wedge(tilt_deg):
    length, width = 20, 10
    rise = length * math.sin(math.radians(tilt_deg))
    tilted = place((0, 0, rise / 2), (0, 1, 0), tilt_deg)
    bodies = put("plate", plate()), put("block", block(length, width, 5), tilted)
    line = only(*bodies)
    assert (line.kind, line.a, line.b) == ("line", "block.bottom+right", "plate.top")
    assert line.length_mm == pytest.approx(width, rel=EXACT)
    wedge = only(*bodies, kinds=["near"])
    # Seen square to the block the plate is s tan(t) away at distance s from the edge.
    most = length * math.tan(math.radians(tilt_deg))
    reach = length * min(1.0, 0.5 / most)
    assert wedge.area_mm2 == pytest.approx(reach * width, rel=1e-6)
    assert wedge.gap_mean_um == pytest.approx(1e3 * min(most, 0.5) / 2, rel=1e-6)
    assert wedge.gap_max_um == pytest.approx(1e3 * min(most, 0.5), rel=1e-6)


@pytest.mark.parametrize(
    ("first", "second", "area_mm2"),
    [
        (block(20, 10, 5, (0, 0, -5)), block(20, 10, 5), 200),  # all sides flush
        (block(40, 20, 5, (0, 0, -5)), block(20, 10, 5, (0, 5, 0)), 200),  # one side flush
        (block(20, 10, 5), block(20, 10, 5, (20, 0, 0)), 50),  # tops and bottoms flush
        (block(20, 10, 5), block(20, 10, 5, (20, 3, 0)), 35),  # tops flush, shifted along
        (block(20, 10, 5).edges("|Y").fillet(1), block(20, 10, 5, (20, 0, 0)), 10 * (5 - 2)),
    ],
    ids=["stacked", "stacked at one side", "side by side", "staggered", "rounded beside square"],
)
def test_flush_faces_add_no_lines_or_points(first, second, area_mm2):
    contact = only(put("a", first), put("b", second))
    assert (contact.kind, contact.area_mm2) == ("area", pytest.approx(area_mm2, rel=EXACT))


def test_neighbours_with_flush_tops_that_do_not_touch_have_no_contact():
    assert not found(put("a", block(20, 10, 5)), put("b", block(20, 10, 5, (20.6, 0, 0)))).patches


def test_block_in_an_inside_corner_touches_both_faces_and_nothing_more():
    corner = plate(40, 20, 5).union(block(10, 20, 10, (-15, 0, 0)))
    seats = contacts(put("corner", corner), put("block", block(20, 10, 5)))
    assert sorted((c.kind, round(c.area_mm2, 9)) for c in seats) == [("area", 50), ("area", 200)]


def test_gang_costs_no_booleans_and_looks_at_neighbours_once(monkeypatch):
    """The kernel is never asked where bodies lie face to face; neighbours alike are looked at once.

    Each pawl stands elsewhere on the chuck and is looked at there; between pawls one look serves all.
    """
    asked = []
    real = boolean.common

    def counted(a, b):
        asked.append((a, b))
        return real(a, b)

    monkeypatch.setattr(boolean, "common", counted)
    pairs = []
    between = find._between
    monkeypatch.setattr(find, "_between", lambda a, b, t: pairs.append((a, b)) or between(a, b, t))
    looks = {}
    pawl = block(6, 20, 10).edges("|X and >Z").chamfer(1)
    for count in (4, 8, 16):
        pairs.clear()
        gang = [put(f"pawl_{k:02d}", pawl, place((6.0 * k, 0, 0))) for k in range(count)]
        patches = found(put("chuck", plate(300, 40)), *gang).patches
        assert len(patches) == count + (count - 1)
        looks[count] = len(pairs)
    assert not asked
    assert looks == {count: count + 1 for count in looks}
