"""Many draws at once against closed forms: a linear stack, and a programme solved one draw at a time."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from fixturecheck.errors import NotComputedError
from fixturecheck.tolerancing.linear_rest import Linear, solve_draws
from fixturecheck.tolerancing.zones import draw_errors
from tests.tolerancing.zoned import corners_of, shifting, stack


def test_a_linear_stack_has_the_root_sum_square_spread_and_the_worst_case_sum():
    half = np.array([0.01, 0.02, 0.005, 0.03, 0.01, 0.01, 0.02, 0.015])
    drawn = solve_draws(stack(), draw_errors(shifting(half), 40_000, 7, "uniform"))
    top = drawn.move[:, -1]
    # Even spread over plus and minus h has variance h^2/3; independent variances add.
    sigma = np.sqrt(np.sum(half**2) / 3)
    assert top.mean() == pytest.approx(0.0, abs=4 * sigma / np.sqrt(40_000))
    assert top.std() == pytest.approx(sigma, rel=0.02)
    assert drawn.bases == 1
    worst = solve_draws(stack(), corners_of(shifting(half))).move[:, -1]
    assert worst.max() == pytest.approx(half.sum(), abs=1e-12)
    assert worst.min() == pytest.approx(-half.sum(), abs=1e-12)


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
    errors = draw_errors(shifting(np.full(faces, 0.02)), 300, 1)
    drawn = solve_draws(problem, errors)
    assert drawn.bases > 3
    assert drawn.gap_mm.min() > -1e-7
    for i in range(0, 300, 7):
        room = gap + problem.growth @ errors[i]
        alone = linprog(-load, A_ub=-slope, b_ub=room, bounds=[(None, None)] * columns)
        assert load @ drawn.move[i] == pytest.approx(-alone.fun, abs=1e-8)
        forces = -np.asarray(alone.ineqlin.marginals)
        assert drawn.carries[i].tolist() == (forces > 1e-6 * forces.max()).tolist()


def test_a_row_of_bodies_each_on_many_feet_needs_no_set_of_contacts_twice():
    # Nine tables on four feet each, side by side: 2^9 ways to stand, each draw the optimum of its own table.
    random = np.random.default_rng(5)
    feet = np.array([[1.0, 1, 1], [1, -1, 1], [1, 1, -1], [1, -1, -1]])
    slope = np.kron(np.eye(9), feet)
    load = np.kron(random.uniform(0.5, 1.5, 9), [-1.0, -0.1, 0.2])
    problem = Linear(gap_mm=np.zeros(36), slope=slope, growth=np.eye(36), load=load)
    errors = draw_errors(shifting(np.full(36, 0.01)), 2000, 3)
    drawn = solve_draws(problem, errors)
    assert drawn.bases > 400
    for i in range(0, 2000, 200):
        alone = linprog(-load, A_ub=-slope, b_ub=errors[i], bounds=[(None, None)] * 27)
        assert load @ drawn.move[i] == pytest.approx(-alone.fun, abs=1e-8)


def test_what_no_contact_stops_has_no_rest():
    problem = Linear(
        gap_mm=np.zeros(1),
        slope=np.array([[1.0, 0.0]]),
        growth=np.array([[-1.0]]),
        load=np.array([-1.0, 0.5]),
    )
    with pytest.raises(NotComputedError, match="does not stop the parts"):
        solve_draws(problem, np.array([[0.01]]))


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
