"""The walls behind a face: sizes of slotted blocks by their drawing."""

from __future__ import annotations

import cadquery as cq
import pytest

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.depth import walls_behind


def slotted(bevel_mm: float) -> cq.Solid:
    """A block 30 x 30 x 30 with a wall 3 mm thick and 20 mm high in front, its upper edge bevelled inside."""
    work = cq.Workplane().box(30, 30, 30, centered=False)
    work = work.cut(cq.Workplane().box(30, 27, 20, centered=False).translate((0, 3, 10)))
    if bevel_mm:
        work = work.edges(cq.selectors.NearestToPointSelector((15, 3, 30))).chamfer(bevel_mm)
    return work.val()


def front(solid: cq.Solid) -> cq.Face:
    return next(f for f in faces_of(solid) if f.normalAt().y < -0.99)


def test_a_plain_wall_is_one_and_has_its_foot_below():
    (wall,) = walls_behind(solid := slotted(0.0), front(solid))
    assert wall.thick_mm == pytest.approx(3.0, abs=1e-6)
    assert (wall.high_mm, wall.long_mm) == (pytest.approx(20.0, abs=0.02), pytest.approx(30.0))
    assert not wall.both_ends


def test_a_bevel_at_the_free_edge_does_not_hide_the_wall_below_it():
    """The bevel leaves an edge of 0.2 mm: thinner pieces up there, and the wall of 3 mm held by its foot."""
    walls = walls_behind(solid := slotted(2.8), front(solid))
    tall = max(walls, key=lambda w: w.high_mm)
    assert tall.high_mm == pytest.approx(20.0, abs=0.05)
    assert (tall.rows_mm[0], tall.rows_mm[-1]) == (pytest.approx(3.0), pytest.approx(0.914, abs=1e-3))
    assert not tall.both_ends
