"""The planes that a profile zone lets a flat face be: vertices, sides, and the moments of what is drawn."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.stats import truncnorm

from fixturecheck.tolerancing.zones import (
    Zone,
    box_around,
    centre_of_zone,
    corners_of_zone,
    draw_errors,
    sides,
    vertices,
)
from tests.tolerancing.zoned import SQUARE, shifting

LOPSIDED = np.array([[0.0, 0.0], [3.0, 0.2], [2.5, 2.0], [0.4, 1.1]])


def lopsided(**more) -> Zone:
    corners = LOPSIDED - centre_of_zone(LOPSIDED)
    return Zone(half_mm=0.01, corners=corners / np.abs(corners).max(axis=0), **more)


ZONES = {
    "square": Zone(half_mm=0.01, corners=SQUARE),
    "square, held closer": Zone(half_mm=0.01, corners=SQUARE, lean_mm=0.006),
    "lopsided": lopsided(),
    "lopsided, held closer": lopsided(lean_mm=0.006),
}


def test_a_rectangle_shifts_by_half_its_zone_or_leans_over_all_of_it():
    # |s + a x + b y| <= h at the corners (+-1, +-1) is |s| + |a| + |b| <= h: an octahedron.
    found = {tuple(np.round(v / 0.01, 9)) for v in vertices(ZONES["square"])}
    assert found == {(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)}


@pytest.mark.parametrize("name", ZONES)
def test_vertices_and_sides_are_one_polytope(name):
    zone = ZONES[name]
    rows, limits = sides(zone)
    points = vertices(zone)
    assert np.all(points @ rows.T <= limits + 1e-12)
    # Each vertex is on three sides or more; along any way nothing of the polytope is further out.
    assert np.all(np.sum(points @ rows.T > limits - 1e-9, axis=1) >= 3)
    for way in np.random.default_rng(2).normal(size=(40, 3)):
        best = linprog(-way, A_ub=rows, b_ub=limits, bounds=[(None, None)] * 3)
        assert (points @ way).max() == pytest.approx(-best.fun, rel=1e-6)
        most, where = box_around([zone]).furthest(way[None])
        assert most[0] == pytest.approx(-best.fun, rel=1e-6)
        assert where[0] @ way == pytest.approx(most[0], rel=1e-9)


@pytest.mark.parametrize("name", ZONES)
def test_every_draw_is_inside_its_zone_and_some_come_near_each_side(name):
    zone = ZONES[name]
    errors = draw_errors([zone], 40_000, 4, "uniform")
    rows, limits = sides(zone)
    share = errors @ rows.T / limits
    assert share.max() <= 1 + 1e-9
    assert share.max(axis=0).min() > 0.9


def test_a_lean_that_is_not_allowed_leaves_the_shift():
    zone = Zone(half_mm=0.01, corners=SQUARE, lean_mm=0.0)
    assert zone.columns == 1
    assert np.array_equal(draw_errors([zone], 50, 3), draw_errors(shifting(np.array([0.01])), 50, 3))


def test_shifts_stay_in_their_zones_and_repeat_with_the_seed():
    half = np.array([0.01, 0.03])
    one = draw_errors(shifting(half), 5000, 5)
    assert np.all(np.abs(one) <= half)
    assert np.array_equal(one, draw_errors(shifting(half), 5000, 5))
    assert not np.array_equal(one, draw_errors(shifting(half), 5000, 6))
    # Normal cut at three sigma: variance factor 1 - 2*3*phi(3)/(2*Phi(3)-1) = 0.97334.
    assert one.var(axis=0) == pytest.approx((half / 3) ** 2 * 0.97334, rel=0.06)


@pytest.mark.parametrize("spread", ["normal", "uniform"])
def test_the_lean_of_a_rectangle_fills_what_its_shift_leaves_as_stated(spread):
    half = 0.01
    errors = draw_errors([Zone(half_mm=half, corners=SQUARE)], 60_000, 8, spread)
    shift, slope = errors[:, 0], errors[:, 1:]
    room = half - np.abs(shift)
    share = np.abs(slope).sum(axis=1) / room
    z = truncnorm(-3, 3)
    if spread == "uniform":
        # Even over |a| + |b| <= r, (|a| + |b|) / r has the distribution function u^2; r/h is even too.
        assert np.quantile(share, [0.1, 0.5, 0.9]) == pytest.approx(np.sqrt([0.1, 0.5, 0.9]), abs=0.01)
        left, full = 1 / 3, 1 / 2
    else:
        # r/h = 1 - |z|/3 with z normal cut at 3: E = 1 - (2/3) E|z| + E z^2 / 9; the share is |z|/3 as well.
        assert np.quantile(share, [0.2, 0.8]) == pytest.approx(z.ppf([0.6, 0.9]) / 3, abs=0.01)
        mean_abs = 2 * (1 - math.exp(-4.5)) / math.sqrt(2 * math.pi) / math.erf(3 / math.sqrt(2))
        left, full = 1 - 2 / 3 * mean_abs + z.var() / 9, z.var() / 9
    # At the edge |a| + |b| = r each slope is even over +-r: a third of r^2.
    assert slope.var(axis=0) == pytest.approx(half**2 * left * full / 3, rel=0.03)
    # Nothing ties slopes to the shift's sign or to each other.
    assert np.corrcoef(errors.T)[np.triu_indices(3, 1)] == pytest.approx(0.0, abs=0.015)


def test_the_lean_of_a_lopsided_face_is_even_too():
    zone = lopsided()
    errors = draw_errors([zone], 60_000, 9, "uniform")
    rows, limits = sides(zone)
    # Where the shift is near nothing, draws lie evenly over the slopes that the sides leave: halves of a cut
    # through any point are in proportion to their areas, counted on a grid.
    near = errors[np.abs(errors[:, 0]) < 0.0004, 1:]
    grid = np.stack(np.meshgrid(*[np.linspace(-0.05, 0.05, 401)] * 2), axis=-1).reshape(-1, 2)
    inside = grid[np.all(grid @ rows[:, 1:].T <= limits, axis=1)]
    for way in np.random.default_rng(1).normal(size=(8, 2)):
        assert np.mean(near @ way > 0.002) == pytest.approx(np.mean(inside @ way > 0.002), abs=0.04)


def test_a_round_outline_keeps_enough_corners():
    turns = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    corners = corners_of_zone(np.stack((np.cos(turns), np.sin(turns)), axis=1))
    zone = Zone(half_mm=1.0, corners=corners)
    # A disc's slopes are bounded by |g| <= h / radius; few corners leave 0.6 % more at most.
    steep = np.linalg.norm(vertices(zone)[:, 1:], axis=1)
    assert 1.0 <= steep.max() <= 1.0065
