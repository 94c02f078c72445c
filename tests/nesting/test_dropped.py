"""Parts dropped any way up come to rest: touching and not overlapping, by the kernel's own measures."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.kernel.place import location_of
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.statics.rest import Bounds
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import settled_words

STEPPED = [(0, 0), (30, 0), (30, 10), (12, 10), (12, 25), (0, 25)]
PARTS = {
    "stepped": lambda: cq.Workplane("XZ").polyline(STEPPED).close().extrude(14).val(),
    "bored": lambda: (
        cq.Workplane().box(25, 25, 12).edges("|Z").chamfer(4).faces(">Z").workplane().hole(6).val()
    ),
    "rounded": lambda: cq.Workplane().box(40, 12, 8).edges("|Y").fillet(3.5).val(),
    "shaft": lambda: cq.Workplane().cylinder(24, 7).val(),
}


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("name", sorted(PARTS))
@pytest.mark.parametrize("where", ["table", "stop", "vee"])
def test_a_dropped_part_rests_on_what_is_there(shapes, name, where, seed):
    random = np.random.default_rng([seed, len(name), len(where)])
    solid = PARTS[name]()
    table = ("table", shapes.box(400, 400, 20, (0, 0, -20)))
    fixed = {
        "table": [table],
        "stop": [table, ("stop", shapes.box(10, 300, 30, (-40, 0, 0)))],
        "vee": [("vee", shapes.vee(90))],
    }[where]
    turn = cq.Vector(*random.normal(size=3)), float(random.uniform(0, 60))
    part = shapes.body("part", solid, "part", at=(*random.uniform(-3, 3, 2), 45), turn=turn)
    setup = shapes.setup(*[shapes.body(n, s) for n, s in fixed], part)
    staging = Staging(push={"part": Push(direction=(-1, 0, 0))} if where == "stop" else {})
    found = settle_setup(setup, staging, bounds=Bounds(travel_mm=400))
    assert found.rests, settled_words(found, METRIC)
    placed = solid.moved(location_of(found.poses["part"].matrix))
    for _, other in fixed:
        assert placed.intersect(other).Volume() < 1e-4
    # Balance: what presses on the part adds up to its weight, upward, but for the share said to be left.
    up = sum(c.force_n * c.normal[2] * (1 if c.a.startswith("part.") else -1) for c in found.carried)
    weight = solid.Volume() * 7.87e-6 * 9.80665
    assert up == pytest.approx(weight, rel=max(2 * found.balance, 1e-4))
    # Nothing presses it down: a stop's underside that is flush with the table is no contact.
    assert all(
        (c.normal[2] if c.a.startswith("part.") else -c.normal[2]) > -1e-6 for c in found.carried if c.force_n
    )
    assert min(placed.distance(other) for _, other in fixed) < 1e-6
