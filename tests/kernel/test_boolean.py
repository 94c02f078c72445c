"""Common volume of solids that only just graze each other."""

import math
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.boolean import clipped, common_solid, shared_mm3, split
from fixturecheck.kernel.depth import depth_mm
from fixturecheck.kernel.place import transformed


def test_a_link_that_grazes_the_wheel_with_the_end_of_its_flat_shares_nothing_to_speak_of():
    """A bar of 60 x 6 x 24 with corners of 4 mm, tilted by 2e-6 about its long bottom edge under a wheel of
    178 mm that is tangent where flat and corner meet. By the chord of a circle no more than 2 sqrt(2 r t)
    long, t = 6 x 2e-6 deep and 6 wide is shared."""
    plain = cq.Workplane("XY").box(60, 6, 24, centered=(True, True, False)).edges("|Y").fillet(4.0)
    bar = plain.val().moved(cq.Location((0, 0, 3)))
    tilt, foot = 2e-6, np.array([0.0, -3.0, 3.0])
    turn = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    wheel = clipped(
        cq.Solid.makeCylinder(89.0, 12.6, cq.Vector(26, -6.3, 116), cq.Vector(0, 1, 0)),
        (-33, -6, 0, 33, 6, 30),
        "the wheel",
    )
    deep_mm = 6 * tilt
    most_mm3 = 2 * np.sqrt(2 * 89.0 * deep_mm) * deep_mm * 6
    for aside in (0.002, -0.002):
        moved = transformed(bar, turn, foot - turn @ foot + np.array([aside, 0.0, 0.0]))
        assert 0.0 <= shared_mm3(moved, wheel, "bar and wheel") <= most_mm3


def test_what_neither_vouches_for_is_not_known(monkeypatch):
    box = cq.Solid.makeBox(1, 1, 1)
    half = cq.Solid.makeBox(1, 1, 0.5)
    monkeypatch.setattr("fixturecheck.kernel.boolean._split", lambda *_: (half, cq.Compound.makeCompound([])))
    with pytest.raises(NotComputedError, match="gave parts of"):
        shared_mm3(box, box.moved(cq.Location((0.5, 0, 0))), "two boxes")


def test_boxes_share_their_corner():
    box = cq.Solid.makeBox(2, 2, 2)
    assert shared_mm3(box, box.moved(cq.Location((1, 1, 1))), "two boxes") == pytest.approx(1.0, rel=1e-9)


def prism(*outline: tuple[float, float]) -> cq.Workplane:
    """A prism 20 mm long along X over an outline in (y, z)."""
    return cq.Workplane("YZ").polyline(outline).close().extrude(20)


BLOCK = ((0, 0), (30, 0), (30, 12), (12, 12), (6, 6), (0, 6))
"""A bar with a flank at 45 degrees from (6, 6) to (12, 12)."""

TAKEN = {
    # A layer 0.5 mm thick across Y on the flank lies 0.5 / sqrt 2 under it.
    "layer on a flank": (((6, 6), (12, 12), (12.5, 12), (6.5, 6)), 0.5 / math.sqrt(2)),
    "layer on a floor": (((0, 6), (6, 6), (6, 5.98), (0, 5.98)), 0.02),
    # A slot is as deep as it goes, and a rib that is gone has lost its whole height.
    "narrow slot": (((20, 12), (21, 12), (21, 6), (20, 6)), 6.0),
    "corner": (((30, 12), (28, 12), (28, 9), (30, 9)), 2.0),
}


@pytest.mark.parametrize("name", TAKEN)
def test_depth_of_what_is_taken_is_how_far_the_skin_goes_back(name):
    outline, deep_mm = TAKEN[name]
    solid, region = prism(*BLOCK), prism(*outline)
    left = solid.cut(region)
    found = depth_mm(solid.intersect(region).val(), solid.val(), left.val())
    assert found == pytest.approx(deep_mm, rel=1e-6)


def test_a_rib_that_is_gone_has_lost_its_height():
    solid = prism((0, 0), (30, 0), (30, 10), (16, 10), (16, 15), (14, 15), (14, 10), (0, 10))
    rib = prism((14, 10), (16, 10), (16, 15), (14, 15))
    assert depth_mm(rib.val(), solid.val(), solid.cut(rib).val()) == pytest.approx(5.0, rel=1e-6)


def test_the_corner_of_a_turned_part_in_a_dressed_wheel_adds_up():
    """A block with a bore and bevelled edges, turned off its seat, bites into the corner of a wheel.

    The kernel's plain integral is 4 parts in a million off on the wheel's trimmed round faces, as the one
    that refines itself shows. Both solids are stored as the kernel wrote them. What is taken is found by two
    routes: from the wheel and from the part.
    """
    folder = Path(__file__).parents[1] / "data" / "grazed"
    wheel, part = (cq.Shape.importBrep(str(folder / f"{name}.brep")) for name in ("wheel", "part"))
    ways = [split(wheel, part, "wheel by part"), split(part, wheel, "part by wheel")]
    assert ways[0].taken_mm3 == pytest.approx(ways[1].taken_mm3, rel=1e-6)
    assert 0.0 < ways[0].taken_mm3 < 0.1
    for whole, found in zip((wheel, part), ways, strict=True):
        assert found.kept_mm3 + found.taken_mm3 == pytest.approx(whole.Volume(), rel=1e-5)


def test_what_two_solids_share_is_the_same_each_time_it_is_asked():
    """The kernel widens the tolerances of what it is given unless it is told not to."""
    low = cq.Workplane().box(20, 12, 20).union(cq.Workplane().box(30, 12, 5).translate((15, 0, -12.5)))
    low = low.edges(cq.NearestToPointSelector((10, 0, -10))).fillet(1.0).val()
    leg_mm = 0.8 - 0.045
    edged = cq.Workplane().box(20, 12, 15, centered=(False, True, False)).edges("<X and <Z").chamfer(leg_mm)
    edged = edged.val().moved(cq.Location((10, 0, -9.8)))
    asked = [common_solid(low, edged)[1] for _ in range(3)]
    assert asked == [asked[0]] * 3
    assert asked[0] > 1e-4
