"""Parts that start deep in what is fixed, on round faces as on flat ones: told, and not let through."""

from __future__ import annotations

import cadquery as cq
import pytest

from fixturecheck.nesting import settle as run
from fixturecheck.nesting import settle as starts
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.result.rest import Ending
from fixturecheck.setup.staging import Staging
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import settled_words

FLIPPED = cq.Vector(1, 0, 0), 180
LYING = cq.Vector(0, 1, 0), 90
TALL = 2000.0
"""Higher than a part is ever backed off, so that it starts within."""


def fixed(shapes):
    return {
        "plate": shapes.box(60, 60, TALL, (0, 0, -TALL / 2)),
        "pillar": cq.Solid.makeCylinder(30, TALL, cq.Vector(0, 0, -TALL / 2)),
    }


PARTS = {
    "ball": lambda: cq.Workplane().sphere(5).val(),
    "roller": lambda: cq.Workplane("XZ", origin=(0, 40, 0)).circle(5).extrude(80).val(),
    "ring": lambda: cq.Solid.makeTorus(12, 4),
    "centre": lambda: cq.Workplane("YZ").polyline([(0, 0), (8, 16), (0, 16)]).close()
    .revolve(360, (0, 0), (0, 1)).val(),
}  # fmt: skip
REACH = {"ball": 5, "roller": 5, "ring": 16, "centre": 0}
"""From a part's middle, or a centre's tip, to the side that stands in what is fixed."""


@pytest.mark.parametrize("deep", [1.5, 4.0])
@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("on", ["plate", "pillar"])
def test_a_part_that_starts_in_the_side_of_a_fixture_is_told(shapes, on, part, deep):
    body = shapes.body("part", PARTS[part](), "part", at=(30 + REACH[part] - deep, 0, 0),
                       turn=LYING if part == "centre" else None)  # fmt: skip
    found = settle_setup(shapes.setup(shapes.body(on, fixed(shapes)[on]), body), Staging())
    assert found.ending is Ending.OVERLAPS
    assert settled_words(found, METRIC) == (
        f"the parts have no room to start from: {' and '.join(sorted(('part', on)))} overlap even well back "
        "from where they are drawn"
    )
    assert deep - 0.1 < found.residual_um * 1e-3 < deep + 0.1


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("on", ["plate", "pillar"])
def test_beside_the_fixture_it_falls_past(shapes, on, part):
    body = shapes.body("part", PARTS[part](), "part", at=(30 + REACH[part] + 0.1, 0, 0),
                       turn=LYING if part == "centre" else None)  # fmt: skip
    found = settle_setup(shapes.setup(shapes.body(on, fixed(shapes)[on]), body), Staging())
    assert found.ending in (Ending.FALLS, Ending.SLIDES)


def test_a_ball_deep_in_the_top_of_a_plate_is_lifted_out_and_lies_on_it(shapes):
    # Drawn 8 mm in: it starts 10 mm higher, is let go, and rests on the top.
    plate = shapes.body("plate", shapes.box(200, 200, 20, (0, 0, -20)))
    ball = shapes.body("part", PARTS["ball"](), "part", at=(1, 2, -3))
    found = settle_setup(shapes.setup(plate, ball), Staging())
    assert found.rests
    assert found.poses["part"].matrix[2, 3] == pytest.approx(5.0, abs=1e-6)


def test_a_small_block_drawn_wholly_in_a_large_one_is_told(shapes):
    large = shapes.body("large", shapes.box(100, 100, TALL, (0, 0, -TALL / 2)))
    small = shapes.body("part", shapes.box(6, 6, 6), "part")
    found = settle_setup(shapes.setup(large, small), Staging())
    assert found.ending is Ending.OVERLAPS
    assert "large and part overlap" in settled_words(found, METRIC)


def test_a_rest_within_something_is_not_believed(shapes, monkeypatch):
    # As if a long step had passed over the pin, of which no candidate is found here.
    table = shapes.body("table", shapes.box(60, 60, 20, (0, 0, -20)))
    pin = shapes.body("pin", shapes.box(8, 8, 6))
    block = shapes.body("part", shapes.box(30, 30, 20), "part", at=(0, 0, 0))
    look = starts.find_candidates

    def without_pin(*asked):
        rows = look(*asked)
        return rows.where((rows.body_a != 1) & (rows.body_b != 1))

    monkeypatch.setattr(starts, "find_candidates", without_pin)
    found = run.settle_setup(shapes.setup(table, pin, block), Staging(approach_mm=8.0))
    assert found.ending is Ending.NOT_CONVERGED
    assert found.residual_um == pytest.approx(6000, rel=0.01)
    assert "overlap" in settled_words(found, METRIC)
