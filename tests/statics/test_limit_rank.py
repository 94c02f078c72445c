"""What sorts loads by how they are borne, against statics and against the whole analysis."""

import numpy as np
import pytest

from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem, Load, Rigid, write_equations
from fixturecheck.statics.limit import MOST, rank_factors
from fixturecheck.statics.loading import settle_held

MU, PRESS_N, HALF = 0.25, 800.0, (30.0, 20.0, 10.0)


def block(force_n, at_mm=(0.0, 0.0, 0.0), slick_side=0):
    """A block on four corners, pressed in the middle; those of one side along y may be without friction."""
    corners = [(a * HALF[0], b * HALF[1], -HALF[2]) for a in (-1, 1) for b in (-1, 1)]
    return EquilibriumProblem(
        bodies=(Rigid(name="block", at_mm=(0.0, 0.0, 0.0), size_mm=30.0),),
        contacts=tuple(
            ContactPoint(
                a="block", b="", at_mm=p, normal=(0.0, 0.0, -1.0), mu=0.0 if p[1] * slick_side > 0.0 else MU
            )
            for p in corners
        ),
        held=(Load(body="block", force_n=(0.0, 0.0, -PRESS_N), at_mm=(0.0, 0.0, HALF[2])),),
        cutting=(Load(body="block", force_n=force_n, at_mm=at_mm),),
    )


def ranks(loads):
    equations = [write_equations(block(*load)) for load in loads]
    rest, rests = settle_held(equations[0])
    assert rests
    return rank_factors(equations[0], rest.carried_n, [e.cutting_n for e in equations])


@pytest.mark.parametrize("angle_deg", [0, 30, 90, 200])
def test_a_level_push_low_down_is_borne_by_friction(angle_deg):
    """Statics: k F = mu P, whichever way it points, as long as no corner is relieved of its press."""
    a = np.radians(angle_deg)
    (found,) = ranks([((10.0 * np.cos(a), 10.0 * np.sin(a), 0.0), (0.0, 0.0, -HALF[2]))])
    assert found == pytest.approx(MU * PRESS_N / 10.0, rel=1e-5)


def test_a_corner_without_friction_pushes_and_grips_nothing():
    """Statics: in line with the two corners that grip, k F = mu P / 2."""
    (found,) = ranks([((10.0, 0.0, 0.0), (0.0, HALF[1], -HALF[2]), -1)])
    assert found == pytest.approx(MU * PRESS_N / 20.0, rel=1e-5)


def test_a_lift_is_borne_by_the_press_alone():
    (found,) = ranks([((0.0, 0.0, 10.0),)])
    assert found == pytest.approx(PRESS_N / 10.0, rel=1e-5)


def test_a_push_down_has_no_limit_and_says_so_by_the_most():
    (found,) = ranks([((0.0, 0.0, -1e-3),)])
    assert found == pytest.approx(MOST, rel=1e-4)


def test_loads_are_sorted_as_the_whole_analysis_sorts_them():
    """Drawn loads of one size: the least of the one is the least of the other, and they go together."""
    rng = np.random.default_rng(3)
    loads = []
    for _ in range(24):
        way = rng.normal(size=3)
        force = 100.0 * way / np.linalg.norm(way) * [1.0, 1.0, 0.5] + [0.0, 0.0, 20.0]
        loads.append((tuple(force), tuple(rng.uniform(-1, 1, 3) * HALF * np.array([1, 1, 0.2]))))
    quick = np.array(ranks(loads))
    whole = np.array([collapse(block(*load)).factor.low for load in loads])
    held = whole < 50.0
    assert held.sum() > 12
    least = whole[np.argsort(quick)[:4]].min()
    assert least == pytest.approx(whole.min(), rel=0.01)
    assert np.corrcoef(np.log(quick[held]), np.log(whole[held]))[0, 1] > 0.9
