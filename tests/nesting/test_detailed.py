"""Parts with many small faces settle in a time that goes with what is near, not with all that there is."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.nesting import model as bench
from fixturecheck.nesting import settle as run
from fixturecheck.nesting import settle as starts
from fixturecheck.nesting.model import settling_model_of
from fixturecheck.result.rest import Ending
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.statics.rest import Bounds

PUSHED = Staging(push={"*": Push(direction=(-1, 0.5, 0))})


def plate():
    """Return a plate 60 x 40 x 16 mm with counterbored holes and filleted pockets."""
    block = cq.Workplane().box(60, 40, 16).edges("|Z").fillet(3)
    bored = block.faces(">Z").workplane().pushPoints([(-24, 15), (24, 15), (-24, -15), (24, -15)])
    pocket = cq.Workplane().box(20, 18, 8).edges("|Z").fillet(3).faces("<Z").edges().fillet(1.5)
    bored = bored.cboreHole(2.5, 4.0, 2.0)
    return bored.cut(pocket.translate((-13, 0, 8))).cut(pocket.translate((13, 0, 8))).val().Solids()[0]


@pytest.fixture(scope="module")
def row():
    """Return two plates against a stop and a rail, drawn where they rest."""
    fixtures = {
        "table": cq.Workplane().box(400, 200, 20).translate((100, 0, -10)),
        "stop": cq.Workplane().box(10, 100, 20).translate((-5, 0, 10)),
        "rail": cq.Workplane().box(400, 10, 20).translate((100, 25, 10)),
    }
    bodies = [Body(name=n, solid=w.val(), role="fixture") for n, w in fixtures.items()]
    drawn = plate()
    places = [cq.Location(cq.Vector(30 + 60 * i, 0, 8)) for i in range(2)]
    bodies += [Body(name=f"plate_{i}", solid=drawn, at=at) for i, at in enumerate(places)]
    return settling_model_of(Setup(name="plates", bodies=tuple(bodies)))


def test_a_plate_that_lands_after_another_is_not_looked_for_as_far_as_the_longest_step(row, monkeypatch):
    counted = []

    def counting(scene, *question):
        rows = find_candidates(scene, *question)
        counted.append(len(rows.gap_mm))
        return rows

    monkeypatch.setattr(starts, "find_candidates", counting)
    loads = run.loads_of(row, PUSHED, run.loose_of(row, PUSHED))
    raw = starts.rest_from_apart(row, loads, run.ranks_of(row, PUSHED, loads), PUSHED.approach_mm, Bounds())
    assert raw.ending is Ending.REST
    # Closed form: flat ends against a flat stop, flat sides against a flat rail, flat bottoms on a table.
    assert raw.poses.origin_mm == pytest.approx(row.drawn.origin_mm, abs=1e-6)
    assert np.all(raw.residual_mm <= 1e-6)
    # At rest 2 plates touch with some 1200 rows; a look 40 mm around finds thirty times as many.
    assert max(counted) < 8000, counted


def test_copies_are_read_once_and_a_solid_moved_within_its_frame_is_no_copy(
    monkeypatch,
):
    read = []
    plain = bench.features_of
    monkeypatch.setattr(bench, "features_of", lambda solid: read.append(solid) or plain(solid))
    block = cq.Workplane().box(10, 10, 10).val()
    shifted = block.moved(cq.Location(cq.Vector(5, 0, 0)))
    bodies = [Body(name=f"b{i}", solid=s) for i, s in enumerate((block.copy(), block.copy(), shifted))]
    features = settling_model_of(Setup(name="copies", bodies=tuple(bodies))).features
    assert len(read) == 2
    assert features[0] is features[1]
    assert features[2].centre_mm == pytest.approx([5, 0, 0], abs=1e-9)
