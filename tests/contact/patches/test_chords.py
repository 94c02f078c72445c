"""Arcs that stand as chords: where outlines meet, and what lies beyond, by closed forms and shapely."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from fixturecheck.contact.patches.chords import beyond_chords, following, with_corners


def disc(x, y, radius, chords=24):
    """Return the outline of a circle by its chords."""
    turned = np.linspace(0, 2 * math.pi, chords, endpoint=False)
    points = np.column_stack([x + radius * np.cos(turned), y + radius * np.sin(turned)])
    return points, *one_ring(chords), np.tile([x, y, radius], (chords, 1))


def straight(corners):
    """Return the outline of a polygon with straight sides."""
    return np.array(corners, dtype=float), *one_ring(len(corners)), np.full((len(corners), 3), math.nan)


def one_ring(sides):
    first = np.array([0, sides])
    return following(first), first


def closed(*rings):
    """Return rings one after another, each ending where it begins, and where each begins."""
    first = np.cumsum([0, *(len(ring) + 1 for ring in rings)])
    return np.concatenate([np.vstack([ring, ring[:1]]) for ring in rings]), first


SQUARE = straight([(-4, -4), (4, -4), (4, 4), (-4, 4)])


def test_the_side_after_the_last_of_a_ring_is_its_first():
    assert following(np.array([0, 3, 7])).tolist() == [1, 2, 0, 4, 5, 6, 3]


@pytest.mark.parametrize("chords", [3, 24])
def test_a_disc_of_chords_has_the_area_and_the_centre_of_the_circle(chords):
    outline = disc(2.0, -1.0, 3.0, chords)
    whole, more_mm2, x_mm3, y_mm3 = beyond_chords(*closed(outline[0]), outline, SQUARE)
    polygon = shapely.Polygon(outline[0])
    assert whole
    assert polygon.area + more_mm2 == pytest.approx(math.pi * 9)
    moment = polygon.area * np.array(polygon.centroid.coords[0]) + [x_mm3, y_mm3]
    assert moment / (math.pi * 9) == pytest.approx([2.0, -1.0])


@pytest.mark.parametrize("way", [1, -1])
def test_a_round_hole_takes_what_lies_beyond_its_chords(way):
    """Whichever way the hole runs round."""
    hole = disc(0.0, 0.0, 3.0)
    corners, first = closed(SQUARE[0], hole[0][::way])
    whole, more_mm2, *_ = beyond_chords(corners, first, SQUARE, hole)
    area = shapely.Polygon(SQUARE[0], [hole[0]]).area
    assert whole
    assert area + more_mm2 == pytest.approx(64 - math.pi * 9)


def test_part_of_a_chord_has_no_area_of_its_own():
    outline = disc(0.0, 0.0, 3.0)
    cut = outline[0].copy()
    cut[0] = 0.5 * (cut[0] + cut[1])
    assert not beyond_chords(*closed(cut), outline, SQUARE)[0]


def test_corners_are_put_where_an_arc_meets_lines():
    """A circle of radius 5 meets the sides of a square of 8 where x or y is 4 and the other 3."""
    steep, _, round_ = with_corners(SQUARE, disc(0.0, 0.0, 5.0))
    assert steep
    added = {tuple(np.round(point, 9)) for point in round_[0].tolist() if max(map(abs, point)) < 4 + 1e-9}
    expected = {(x, y) for a in (4, -4) for b in (3, -3) for x, y in ((a, b), (b, a))}
    assert expected <= added
    assert np.hypot(*round_[0].T) == pytest.approx(5.0)


def test_a_line_that_grazes_an_arc_is_not_steep_enough_for_its_chords():
    grazed = straight([(-4, -6), (4, -6), (4, 2.9999), (-4, 2.9999)])
    assert not with_corners(disc(0.0, 0.0, 3.0), grazed)[0]


@pytest.mark.parametrize("seed", [0, 1, 3, 4, 5])
def test_what_two_discs_share_is_what_shapely_says_of_finer_chords(seed):
    random = np.random.default_rng(seed)
    (x, y), radius = random.uniform(-3, 3, size=2), random.uniform(2.0, 4.0)
    steep, ours, theirs = with_corners(disc(0.0, 0.0, 4.0), disc(x, y, radius))
    assert steep
    shared = shapely.intersection(shapely.Polygon(ours[0]), shapely.Polygon(theirs[0]))
    corners = shapely.get_coordinates(shared)
    whole, more_mm2, *_ = beyond_chords(corners, np.array([0, len(corners)]), ours, theirs)
    fine = [shapely.Point(*at).buffer(r, quad_segs=2000) for at, r in (((0, 0), 4.0), ((x, y), radius))]
    assert whole
    assert shared.area + more_mm2 == pytest.approx(shapely.intersection(*fine).area, rel=1e-6)


def test_of_many_discs_those_in_reach_alone_get_corners():
    """Six discs of radius 1 in a row, of which the square cuts the second in half and holds the first."""
    discs = [disc(3.0 * k, 0.0, 1.0, 24) for k in range(6)]
    first = np.arange(7) * 24
    row = (
        np.concatenate([one[0] for one in discs]),
        following(first),
        first,
        np.concatenate([one[3] for one in discs]),
    )
    square = straight([(-2, -2), (3.05, -2), (3.05, 2), (-2, 2)])
    steep, cornered, plain = with_corners(row, square)
    assert steep
    # The two places where the side cuts the second disc; its own corners stand 0.05 mm and more from there.
    assert np.diff(cornered[2]).tolist() == [24, 26, 24, 24, 24, 24]
    assert plain[0].tolist() == square[0].tolist()
    shared = shapely.intersection(shapely.Polygon(cornered[0][24:50]), shapely.Polygon(plain[0]))
    whole, more_mm2, *_ = beyond_chords(*closed(shapely.get_coordinates(shared)[:-1]), cornered, plain)
    # Half a disc and a strip of 0.05 mm beside its middle: h sqrt(1 - h^2) + asin(h).
    strip = 0.05 * math.sqrt(1 - 0.05**2) + math.asin(0.05)
    assert whole
    assert shared.area + more_mm2 == pytest.approx(math.pi / 2 + strip, abs=1e-9)
