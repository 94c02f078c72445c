"""What a disc sweeps along level paths: closed forms, and points held against their distance to the path."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely

from fixturecheck.kernel.construct import box
from fixturecheck.kernel.outline import Arc, Line, outline_area_mm2, outlines_of, prism_of, section_of
from fixturecheck.machining.swept_area import area_of, swept_outlines, turned_round


def rectangle(x0: float, y0: float, x1: float, y1: float) -> tuple[Line, ...]:
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return tuple(Line(start=corners[i], end=corners[(i + 1) % 4]) for i in range(4))


def test_a_slot_with_round_ends():
    """L d + pi r^2, closed form."""
    ((ring,),) = swept_outlines([(Line(start=(3.0, 1.0), end=(33.0, 41.0)),)], 4.0)
    assert outline_area_mm2([ring]) == pytest.approx(50.0 * 8.0 + math.pi * 16.0, rel=1e-12)
    assert prism_of([ring], 2.0, 9.0).Volume() == pytest.approx(7.0 * outline_area_mm2([ring]), rel=1e-12)


def test_a_point_sweeps_the_disc():
    ((ring,),) = swept_outlines([(Line(start=(5.0, 5.0), end=(5.0, 5.0)),)], 4.0)
    assert outline_area_mm2([ring]) == pytest.approx(math.pi * 16.0, rel=1e-12)


def test_an_arc_sweeps_part_of_a_ring():
    """Half a ring between R - r and R + r with two half discs, closed form."""
    ((ring,),) = swept_outlines(
        [(Arc(centre=(1.0, 2.0), radius_mm=20.0, from_rad=0.4, turn_rad=math.pi),)], 3.0
    )
    assert outline_area_mm2([ring]) == pytest.approx(math.pi * 20.0 * 6.0 + math.pi * 9.0, rel=1e-12)


def test_round_a_rectangle_an_island_stays():
    ((outer, island),) = swept_outlines([rectangle(0.0, 0.0, 30.0, 20.0)], 4.0)
    assert outline_area_mm2([outer]) == pytest.approx(30 * 20 + 2 * 4 * 50 + math.pi * 16, rel=1e-12)
    assert outline_area_mm2([island]) == pytest.approx(22.0 * 12.0, rel=1e-12)


def test_passes_further_apart_than_the_cutter_is_wide_leave_a_strip():
    paths = [(Line(start=(0.0, y), end=(30.0, y)),) for y in (0.0, 8.5)]
    areas = swept_outlines(paths, 4.0)
    assert len(areas) == 2


def test_any_path_against_points_by_their_distance():
    """A point is swept where it lies within the radius of the path: its distance, piece by piece."""
    rng = np.random.default_rng(7)
    points = rng.uniform(-20.0, 20.0, (9, 2)).round(2)
    lines = [Line(start=tuple(a), end=tuple(b)) for a, b in pairwise(points.tolist())]
    arc = Arc(centre=(points[-1][0] + 6.0, points[-1][1]), radius_mm=6.0, from_rad=math.pi, turn_rad=-2.0)
    path = (*lines, arc)
    areas = [area_of(area) for area in swept_outlines([path], 2.5)]
    tried = rng.uniform(-25.0, 25.0, (3000, 2))
    near = np.full(len(tried), np.inf)
    for piece in lines:
        a, b = np.array(piece.start), np.array(piece.end)
        share = np.clip((tried - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
        near = np.minimum(near, np.linalg.norm(tried - a - share[:, None] * (b - a), axis=1))
    for angle in np.linspace(arc.from_rad, arc.from_rad + arc.turn_rad, 400):
        at = np.array(arc.centre) + arc.radius_mm * np.array([np.cos(angle), np.sin(angle)])
        near = np.minimum(near, np.linalg.norm(tried - at, axis=1))
    clear = np.abs(near - 2.5) > 1e-3
    inside = shapely.contains_xy(shapely.union_all(areas), *tried.T)
    assert (inside == (near < 2.5))[clear].all()
    assert 300 < inside.sum() < 2700


def test_an_outline_read_off_a_face_and_a_section():
    block = box((0.0, 0.0, 0.0), (40.0, 20.0, 24.0))
    top = next(f for f in block.Faces() if f.normalAt().z > 0.5)
    ((ring,),) = section_of(block, 7.0)
    for found in (outlines_of(top)[0], ring):
        assert area_of([found]).area == pytest.approx(800.0, rel=1e-12)
    assert section_of(block, 25.0) == ()


def test_a_ring_turned_round_runs_the_other_way():
    ring = rectangle(0.0, 0.0, 30.0, 20.0)
    assert turned_round(ring, counterclockwise=True) == ring
    back = turned_round(ring, counterclockwise=False)
    assert back[0].start == ring[-1].end
    assert outline_area_mm2([back]) == pytest.approx(600.0)
