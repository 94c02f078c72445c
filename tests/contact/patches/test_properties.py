"""What must hold whatever the set-up: rigid motion, order, size and opened gaps; agreement with the kernel.

The random poses are brought to touch by the kernel's own least distance: a body moved by the vector between
the closest points of two separate solids touches and cannot overlap.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

import cadquery as cq
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixturecheck.kernel.boolean import common_solid
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.measure import distance
from fixturecheck.kernel.shapes import Placed
from fixturecheck.tolerances import Tolerances
from tests.contact.staging import ball, block, found, pin, place, plate, put, vee

FEW = settings(max_examples=8)
LENGTHS = st.floats(-200, 200)
AXES = st.tuples(*3 * [st.floats(-1, 1)]).filter(lambda v: math.hypot(*v) > 0.1)
MOVES = st.builds(place, st.tuples(LENGTHS, LENGTHS, LENGTHS), AXES, st.floats(-180, 180))


def staged() -> list[Placed]:
    """A set-up with every kind of contact: areas, a line, a circle, points, near patches."""
    slotted = plate().faces(">Z").workplane().rect(8, 80).cutBlind(-3)
    return [
        put("chuck", slotted),
        put("block_1", block(20, 10, 12, (0, 0, 0)).edges("|Z").fillet(1)),
        put("block_2", block(20, 10, 12, (0, 10, 0))),
        put("block_3", block(20, 10, 12, (0.3, 20.02, 0))),
        put("pin", pin(4, 30, (30, -15, 4), (0, 1, 0))),
        put("ball", ball(5, (-30, 0, 5))),
        put("on_edge", block(8, 20, 8, (0, 0, -4)), place((-30, 25, 4 * math.sqrt(2)), (0, 1, 0), 45)),
    ]


def told(bodies: list[Placed], turn: cq.Location | None = None) -> list[tuple]:
    """Every patch as numbers, positions and normals carried back by a place."""
    rows = []
    back = turn.inverse if turn is not None else cq.Location()
    for patch in found(*bodies).patches:
        c = patch.contact
        spot = (back * place(c.centroid)).toTuple()[0]
        tip = (back * place(tuple(np.add(c.centroid, c.normal)))).toTuple()[0]
        numbers = (c.area_mm2, c.length_mm, c.gap_mean_um, c.gap_max_um, *spot, *np.subtract(tip, spot))
        rows.append((c.a, c.b, c.kind, numbers))
    return rows


def in_place(row: tuple) -> tuple:
    """Order by names and rounded place, which noise in the last digits does not upset."""
    return (*row[:3], *(round(v, 3) + 0.0 for v in row[3][4:]))


def same(first: list[tuple], second: list[tuple], *, close: float = 1e-6) -> None:
    assert [row[:3] for row in first] == [row[:3] for row in second]
    for one, other in zip(first, second, strict=True):
        assert one[3] == pytest.approx(other[3], rel=close, abs=close), one[:3]


STILL = told(staged())


def test_the_set_up_of_these_tests_has_every_kind_of_contact():
    assert {row[2] for row in STILL} == {"area", "line", "point", "near"}
    assert len(STILL) >= 10


@FEW
@given(move=MOVES)
def test_moving_the_whole_set_up_changes_nothing_but_places(move):
    moved = [replace(b, at=move * b.at) for b in staged()]
    same(sorted(told(moved, move), key=in_place), sorted(STILL, key=in_place), close=1e-5)


@FEW
@given(order=st.permutations(range(7)))
def test_order_of_bodies_changes_nothing(order):
    bodies = staged()
    assert told([bodies[k] for k in order]) == STILL


@FEW
@given(size=st.sampled_from([0.5, 2.0, 10.0]))
def test_scaling_scales(size):
    """Twice the size has twice the lengths and four times the areas; tolerances scale with it."""
    whole = Tolerances(
        touch_um=1.0 * size, near_mm=0.5 * size, overlap_mm3=1e-6 * size**3, sample_mm=0.5 * size
    )
    bodies = [replace(b, solid=b.solid.moved(b.at).scale(size), at=cq.Location()) for b in staged()]
    scaled = [p.contact for p in found(*bodies, tolerances=whole).patches]
    for contact, row in zip(scaled, STILL, strict=True):
        assert (contact.a, contact.b, contact.kind) == row[:3]
        area, length, gap = row[3][:3]
        assert contact.area_mm2 == pytest.approx(area * size**2, rel=1e-5)
        assert contact.length_mm == pytest.approx(length * size, rel=1e-6)
        assert contact.gap_mean_um == pytest.approx(gap * size, rel=1e-4, abs=1e-6)


@FEW
@given(gap_mm=st.floats(0.002, 0.4999), move=MOVES)
def test_a_gap_opened_by_g_is_reported_as_g(gap_mm, move):
    """On flat faces, on both flanks of a V (g sin a/2 each) and round a pin."""
    seat = put("vee", vee(60), move)
    bar = put(
        "bar", block(10, 50, 10, (0, 0, -5)), move * place((0, 0, 5 * math.sqrt(2) + gap_mm), (0, 1, 0), 45)
    )
    near = [p.contact for p in found(seat, bar).patches]
    assert [c.kind for c in near] == ["near", "near"]
    for contact in near:
        assert contact.gap_mean_um == pytest.approx(1e3 * gap_mm * math.sin(math.pi / 4), abs=1e-3)
        assert contact.gap_max_um == pytest.approx(1e3 * gap_mm * math.sin(math.pi / 4), abs=1e-3)


SHAPES = {
    "box": block(20, 12, 8, (0, 0, -4)),
    "pin": cq.Workplane(pin(6, 18)),
    "cone": cq.Workplane(cq.Solid.makeCone(7, 3, 12)),
    "tip": cq.Workplane(cq.Solid.makeCone(6, 0, 10)),
    "ball": cq.Workplane(ball(7)),
    "ring": cq.Workplane(cq.Solid.makeTorus(9, 3)),
    "rounded": block(20, 12, 8, (0, 0, -4)).edges().fillet(2),
    "bored": block(24, 24, 8, (0, 0, -4)).faces(">Z").workplane().hole(10),
    "sunk": block(24, 24, 8, (0, 0, -4)).faces(">Z").workplane().cskHole(6, 14, 90),
    "trough": block(24, 16, 10, (0, 0, -5)).cut(cq.Workplane(pin(6, 16, (0, -8, 5), (0, 1, 0)))),
}
TURNS = [
    ((0, 0, 1), 90),
    ((1, 0, 0), 90),
    ((1, 0, 0), 180),
    ((0, 1, 0), 45),
    ((0, 1, 0), 30),
    ((1, 0, 0), 45),
]


def brought_together(seed: int) -> tuple[Placed, Placed, np.ndarray, np.ndarray]:
    """Two random shapes that touch, a point where they do, and the unit way that the second came."""
    rng = random.Random(seed)  # noqa: S311  poses, no secrets
    first, second = (put(name, SHAPES[rng.choice(sorted(SHAPES))]) for name in ("a", "b"))
    turn = (
        rng.choice(TURNS)
        if rng.random() < 0.5
        else (tuple(rng.gauss(0, 1) for _ in range(3)), 360 * rng.random())
    )
    way = np.array([rng.gauss(0, 1) for _ in range(3)]) if rng.random() < 0.6 else np.array([0.0, 0.0, 1.0])
    way /= np.linalg.norm(way)
    at = place(tuple(40 * way)) * place(axis=turn[0], angle_deg=turn[1])
    for last in (False, True):
        gap_mm, on_first, on_second = distance(first.solid, second.solid.moved(at))
        step = on_first - on_second if last else -gap_mm * way
        at = place(tuple(step)) * at
    size = float(np.linalg.norm(step))
    return first, replace(second, at=at), on_first, step / size if size > 1e-6 else -way


@pytest.mark.parametrize("seed", range(24))
def test_contact_is_found_where_the_kernel_finds_no_distance(seed):
    first, second, spot, way = brought_together(seed)
    gap_mm, _, _ = distance(first.solid, second.solid.moved(second.at))
    assert gap_mm <= 1e-6
    assert common_solid(first.solid, second.solid.moved(second.at))[1] <= 1e-4
    contacts = found(first, second)
    touching = [p for p in contacts.patches if p.contact.kind != "near"]
    assert touching
    assert not contacts.overlaps
    off_mm = min(distance(vertex(spot), p.shape.geometry)[0] for p in touching)
    assert off_mm < 0.05, "some patch holds the point that the kernel found"
    for patch in touching:
        assert np.linalg.norm(patch.contact.normal) == pytest.approx(1, abs=1e-9)
    apart = replace(second, at=place(tuple(-0.003 * way)) * second.at)
    if distance(first.solid, second.solid.moved(apart.at))[0] > 0.0011:
        assert all(p.contact.kind == "near" for p in found(first, apart).patches)
