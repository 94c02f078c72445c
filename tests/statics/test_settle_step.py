"""The programme of one settling step: its answer's own conditions, and what is said where there is none."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import minimize

from fixturecheck.errors import NotComputedError
from fixturecheck.statics import contact_step as step
from fixturecheck.statics.contact_step import optimality, solve_quadratic


def problem(seed, unknowns=12, rows=40):
    random = np.random.default_rng(seed)
    slope = random.normal(size=(rows, unknowns))
    return random.uniform(0.2, 2, unknowns), random.normal(size=unknowns), slope, random.uniform(0, 1, rows)


@pytest.mark.parametrize("seed", range(6))
def test_the_answer_is_that_of_another_general_solver(seed):
    metric, load, slope, room = problem(seed)
    move, multiplier = solve_quadratic(metric, load, slope, room)
    other = minimize(
        lambda x: 0.5 * x @ (metric * x) - load @ x,
        np.zeros(len(load)),
        jac=lambda x: metric * x - load,
        constraints={"type": "ineq", "fun": lambda x: room + slope @ x, "jac": lambda _: slope},
        method="SLSQP",
        options={"ftol": 1e-15, "maxiter": 500},
    )
    assert move == pytest.approx(other.x, abs=1e-6)
    assert optimality(metric, load, slope, room, move, multiplier) < 1e-9
    assert (multiplier >= 0).all()


def test_the_conditions_tell_a_wrong_answer_from_a_right_one():
    # Minimise x^2/2 - x with x <= 1/4: x = 1/4, and the multiplier 3/4 makes up the load.
    metric, load, slope, room = np.ones(1), np.ones(1), -np.ones((1, 1)), np.array([0.25])
    right = np.array([0.25]), np.array([0.75])
    assert optimality(metric, load, slope, room, *right) == 0.0
    assert optimality(metric, load, slope, room, np.array([0.5]), np.array([0.5])) == 0.25
    assert optimality(metric, load, slope, room, np.zeros(1), np.zeros(1)) == 1.0
    assert optimality(metric, load, slope, room, np.zeros(1), np.ones(1)) == 0.25


def test_two_walls_that_cross_leave_no_move():
    slope = np.array([[1.0], [-1.0]])
    assert solve_quadratic(np.ones(1), np.zeros(1), slope, np.array([-1.0, -1.0])) is None


@pytest.mark.parametrize(
    "status", ["MaxIterations", "NumericalError", "AlmostPrimalInfeasible", "DualInfeasible"]
)
def test_a_solver_that_stops_short_is_not_believed(monkeypatch, status):
    answer = SimpleNamespace(status=status, x=[0.9], z=[0.9])
    monkeypatch.setattr(step.clarabel, "DefaultSolver", lambda *_: SimpleNamespace(solve=lambda: answer))
    with pytest.raises(NotComputedError, match=status):
        solve_quadratic(np.ones(1), np.ones(1), -np.ones((1, 1)), np.array([0.25]))


def test_a_solver_that_is_almost_there_is_believed_when_the_answer_fits(monkeypatch):
    answer = SimpleNamespace(status="AlmostSolved", x=[0.25], z=[0.75])
    monkeypatch.setattr(step.clarabel, "DefaultSolver", lambda *_: SimpleNamespace(solve=lambda: answer))
    move, multiplier = solve_quadratic(np.ones(1), np.ones(1), -np.ones((1, 1)), np.array([0.25]))
    assert (move[0], multiplier[0]) == (0.25, 0.75)
