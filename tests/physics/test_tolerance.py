"""Many draws at once against closed forms: a linear stack, and a programme solved one draw at a time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.tolerance import Linear, corners, draw_errors, linear_extremes, solve_draws


def stack(count=4):
    """Blocks on one another in one dimension: each gap opens with the block above and closes with faces."""
    slope = np.eye(count) - np.eye(count, k=-1)
    growth = np.zeros((count, 2 * count))
    for i in range(count):
        growth[i, 2 * i] = growth[i, 2 * i + 1] = -1.0
    return Linear(gap_mm=np.zeros(count), slope=slope, growth=growth, load=-np.ones(count))


def test_a_linear_stack_has_the_root_sum_square_spread_and_the_worst_case_sum():
    half = np.array([0.01, 0.02, 0.005, 0.03, 0.01, 0.01, 0.02, 0.015])
    drawn = solve_draws(stack(), draw_errors(half, 40_000, 7, "uniform"))
    top = drawn.move[:, -1]
    # Even spread over plus and minus h has variance h^2/3; independent variances add.
    sigma = np.sqrt(np.sum(half**2) / 3)
    assert top.mean() == pytest.approx(0.0, abs=4 * sigma / np.sqrt(40_000))
    assert top.std() == pytest.approx(sigma, rel=0.02)
    assert drawn.bases == 1
    worst = solve_draws(stack(), corners(half)).move[:, -1]
    assert worst.max() == pytest.approx(half.sum(), abs=1e-12)
    assert worst.min() == pytest.approx(-half.sum(), abs=1e-12)


def test_draws_stay_in_their_zones_and_repeat_with_the_seed():
    half = np.array([0.01, 0.03])
    one = draw_errors(half, 5000, 5)
    assert np.all(np.abs(one) <= half)
    assert np.array_equal(one, draw_errors(half, 5000, 5))
    assert not np.array_equal(one, draw_errors(half, 5000, 6))
    # Normal cut at three sigma: variance factor 1 - 2*3*phi(3)/(2*Phi(3)-1) = 0.97334.
    assert one.var(axis=0) == pytest.approx((half / 3) ** 2 * 0.97334, rel=0.06)


def test_each_draw_is_the_optimum_of_its_own_programme():
    random = np.random.default_rng(11)
    rows, columns, faces = 14, 3, 6
    slope = random.normal(size=(rows, columns))
    # All rows open along one way out, so every draw has a rest; the first three hold the load.
    out = np.linalg.solve(slope[:columns], np.ones(columns))
    slope *= np.sign(slope @ out)[:, None]
    load = -slope[:columns].sum(axis=0)
    gap = np.concatenate((np.zeros(columns), random.uniform(0.0, 0.02, rows - columns)))
    problem = Linear(gap_mm=gap, slope=slope, growth=random.normal(size=(rows, faces)), load=load)
    errors = draw_errors(np.full(faces, 0.02), 300, 1)
    drawn = solve_draws(problem, errors)
    assert drawn.bases > 3
    assert drawn.gap_mm.min() > -1e-7
    for i in range(0, 300, 7):
        room = gap + problem.growth @ errors[i]
        alone = linprog(-load, A_ub=-slope, b_ub=room, bounds=[(None, None)] * columns)
        assert load @ drawn.move[i] == pytest.approx(-alone.fun, abs=1e-8)


def test_seats_that_contradict_each_other_are_said_to():
    # Two walls facing each other with a part between them that grows wider than the gap.
    problem = Linear(
        gap_mm=np.array([0.0, 0.001]),
        slope=np.array([[1.0], [-1.0]]),
        growth=np.array([[-1.0], [-1.0]]),
        load=np.array([-1.0]),
    )
    with pytest.raises(NotComputedError, match="contradict"):
        solve_draws(problem, np.array([[0.01]]))


def test_the_linear_extreme_is_the_worst_corner_and_needs_no_corner_with_many_faces():
    half = np.array([0.01, 0.02, 0.005, 0.03, 0.01, 0.01, 0.02, 0.015])
    corner = solve_draws(stack(), corners(half)).move
    assert linear_extremes(stack(), half, np.eye(4)) == pytest.approx(np.abs(corner).max(axis=0), abs=1e-12)
    # Forty faces: by hand, the top of a stack is out by the sum of all half zones under it.
    many = np.linspace(0.001, 0.02, 40)
    assert corners(many) is None
    found = linear_extremes(stack(20), many, np.eye(20))
    assert found == pytest.approx(np.cumsum(many)[1::2], abs=1e-12)


def test_a_stop_that_carries_only_at_a_corner_of_the_zones_makes_the_sum_no_bound():
    # A part on a table under its weight, with a second foot 5 um higher that lands when errors pass it.
    problem = Linear(
        gap_mm=np.array([0.0, 0.005]),
        slope=np.array([[1.0], [1.0]]),
        growth=np.array([[-1.0, 0.0], [0.0, -1.0]]),
        load=np.array([-1.0]),
    )
    seen = np.ones((1, 1))
    assert linear_extremes(problem, np.array([0.002, 0.002]), seen) == pytest.approx([0.002])
    assert linear_extremes(problem, np.array([0.004, 0.004]), seen) is None
