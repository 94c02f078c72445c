"""How a part comes from the hand to its rest, against boxes whose meeting is plain arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fixturecheck.nesting.answer import staging_answer
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging

SIZE = np.array([20.0, 14.0, 10.0])
ALONG = {"*": Push(direction=(-1, 0, 0))}


def blocks(shapes, boxes, starts, order=()):
    """Blocks on a table that are pushed against a stop at x = 0, among boxes given as (low, high)."""
    boxes = {"table": ((-60, -60, -20), (120, 60, 0)), "stop": ((-20, -10, 0), (0, 10, 8)), **boxes}
    fixtures = []
    for name, (low, high) in boxes.items():
        size, middle = np.subtract(high, low), np.add(low, high) / 2
        at = (middle[0], middle[1], low[2])
        fixtures.append(shapes.body(name, shapes.box(*size, at), top=">Z", side=">X"))
    parts = [
        shapes.body(f"block_{n}", shapes.box(*SIZE, (x + SIZE[0] / 2, 0, 0)), "part", base="<Z", near="<X")
        for n, x in enumerate(starts)
    ]
    seats = [Seat(body=p.name, face="base", on="table", on_face="top") for p in parts]
    seats.append(Seat(body="block_0", face="near", on="stop", on_face="side", rank="stop"))
    setup = shapes.setup(*fixtures, *parts, seats=tuple(seats))
    setup = replace(setup, staging=Staging(push=ALONG, order=order))
    rest = staging_answer(setup, ("rest",))
    return {name: (np.array(low, float), np.array(high, float)) for name, (low, high) in boxes.items()}, rest


def deepest_mm(boxes, low):
    """How deep a block with that low corner stands in any of the boxes: the least overlap of the axes."""
    depths = [np.min(np.minimum(low + SIZE, high) - np.maximum(low, start)) for start, high in boxes.values()]
    return max(0.0, *depths)


ROOF = {"roof": ((-5, -30, 12), (60, 30, 20))}
SIDES = {
    "behind": ((24, -30, 0), (30, 30, 12)),
    "left": ((-5, 8, 0), (60, 12, 12)),
    "right": ((-5, -12, 0), (60, -8, 12)),
}


@pytest.mark.parametrize(
    ("around", "comes"), [({}, "from above"), (ROOF, "from a side"), (ROOF | SIDES, "no way")]
)
def test_a_block_comes_by_a_way_that_is_clear_and_then_slides_to_its_stop(shapes, around, comes):
    boxes, found = blocks(shapes, around, [3.0])
    (way,) = found.ways_in
    assert found.settled.rests
    assert way.visited[-1].shift_mm == pytest.approx((-3.0, 0.0, 0.0), abs=1e-6)
    assert [v.step for v in way.visited] == sorted({v.step for v in way.visited})
    corners = [np.array([3.0, -SIZE[1] / 2, 0.0]) + v.shift_mm for v in way.visited]
    # A step may go too deep by a tenth of its own length before the next one opens it.
    assert all(deepest_mm(boxes, c) <= 0.5 for c in corners)
    if comes == "no way":
        assert way.from_mm is None
        return
    assert (way.from_mm[2] > 0) == (comes == "from above")
    assert (
        max(deepest_mm(boxes, corners[0] + s * np.array(way.from_mm)) for s in np.linspace(0, 1, 200)) < 1e-3
    )


def test_in_turn_each_comes_when_those_before_it_lie_still(shapes):
    _, found = blocks(shapes, {}, [0.5, 22.0], ("block_0", "block_1"))
    first, second = found.ways_in
    assert (first.body, second.body) == ("block_0", "block_1")
    assert first.visited[-1].step < second.visited[0].step
    assert second.visited[-1].shift_mm == pytest.approx((-2.0, 0.0, 0.0), abs=1e-6)


def test_together_they_settle_at_the_same_steps(shapes):
    _, found = blocks(shapes, {}, [0.5, 22.0])
    first, second = found.ways_in
    assert (first.body, second.body) == ("block_0", "block_1")
    assert first.visited[0].step == second.visited[0].step == 0
    assert second.visited[-1].shift_mm == pytest.approx((-2.0, 0.0, 0.0), abs=1e-6)
