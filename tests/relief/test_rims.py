"""Chamfers and fillets round a rim, against the section across it, and by settling."""

from __future__ import annotations

import math
from dataclasses import replace

import cadquery as cq
import pytest

from fixturecheck import relieve
from fixturecheck.contact.placed import place_bodies
from fixturecheck.kernel.sample import surface_points
from fixturecheck.nesting.settle import settle_setup
from fixturecheck.relief.clashes import clashes_of
from fixturecheck.relief.edge_cuts import cut_solid, edges_at, is_rim, smallest_cut
from fixturecheck.relief.search import redrawn, with_body
from tests.relief.nests import plug_setup, volume_by_its_line_mm3


def test_a_plug_is_chamfered_round_by_what_the_burr_leaves_it():
    burr, slack = 2.0, 0.5
    # The conical burr leaves the bottom at its leg from the socket's wall: leg less the slack must go.
    setup = plug_setup(burr, slack_mm=slack, burr=True, kinds=("chamfer",))
    found = relieve(setup)
    (relief,) = found.reliefs
    assert relief.cut.kind == "chamfer"
    assert relief.cut.size_mm[0] == pytest.approx(burr - slack, abs=0.0101)
    assert relief.cut.size_mm[0] >= burr - slack - 1e-6
    settled = settle_setup(found.setup, setup.staging)
    assert settled.rests
    assert settled.seats[0].gap_max_um <= setup.tolerances.touch_um


def test_nine_tenths_of_the_chamfer_round_a_rim_still_overlaps():
    setup = plug_setup(2.0, slack_mm=0.5, burr=True)
    plug = setup.body("plug")
    (clash,) = clashes_of(setup)
    here = place_bodies([plug.placed()])[0]
    (rim,) = edges_at(here, clash.zone, plug.no_function, setup.tolerances.touch_mm)
    cut = smallest_cut(here, rim, "chamfer", clash.zone, surface_points(clash.zone), 0.0)
    for share, left in ((1.0, 0), (0.9, 1)):
        small = replace(cut, size_mm=tuple(share * v for v in cut.size_mm))
        changed = with_body(setup, {"plug": redrawn(plug, cut_solid(plug.solid, small))})
        assert len(clashes_of(changed)) == left


def test_a_plug_over_a_fillet_is_cleared_as_on_a_straight_edge():
    # Same section as beside a straight edge: the fillet of R is met at the bottom at R from the wall.
    setup = plug_setup(1.0, slack_mm=0.2, kinds=("chamfer",), clearance_mm=0.05)
    (clash,) = clashes_of(setup)
    here = place_bodies([setup.body("plug").placed()])[0]
    (rim,) = edges_at(here, clash.zone, frozenset({"side"}), setup.tolerances.touch_mm)
    bare = smallest_cut(here, rim, "chamfer", clash.zone, surface_points(clash.zone), 0.0)
    wide = smallest_cut(here, rim, "chamfer", clash.zone, surface_points(clash.zone), 0.05)
    assert bare.size_mm[0] == pytest.approx(0.8, abs=0.0101)
    assert wide.size_mm[0] == pytest.approx(0.8 + 0.05 * math.sqrt(2), abs=0.0101)


def test_the_line_of_code_rounds_the_rim():
    (relief,) = relieve(plug_setup(0.8, burr=True, kinds=("fillet",))).reliefs
    # A circle in the corner that just misses the line s + t = 0.6: R (2 - sqrt 2) = 0.6.
    assert relief.cut.size_mm[0] == pytest.approx(0.6 / (2 - math.sqrt(2)), abs=0.0101)
    assert volume_by_its_line_mm3(relief) == pytest.approx(relief.solid.Volume(), abs=1e-6)


def test_mouths_of_holes_are_rims_and_their_bottoms_are_not():
    block = cq.Workplane().box(40, 40, 20).faces(">Z").workplane().hole(10, 8)
    here = place_bodies(
        [replace(plug_setup(1.0).body("plug").placed(), solid=block.val(), face_names=("f",) * 8)]
    )[0]
    found = {
        round(float(here.edge_samples[e][0, 2]), 6): is_rim(here, e)
        for e in range(len(here.table.straight))
        if not here.table.straight[e]
    }
    assert found == {10.0: True, 2.0: False}
