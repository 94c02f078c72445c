"""A bar in a V-block rests under its pull and lets go as statics says, however its faces fit."""

import math

import numpy as np
import pytest

from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem, Load, Rigid, write_equations
from fixturecheck.statics.loading import rest_at_bounds

SIDE, LONG, WEIGHT_N = 10.0, 24.0, 0.2
CASES = [
    (angle, mu, pull) for angle in (60.0, 90.0, 120.0) for mu in (0.1, 0.2, 0.3) for pull in ((4, 4), (4, 3))
]


def vee(angle_deg, mu, *, pulls=(0.0, 0.0), held=(), cutting, upright):
    """A bar along X in a V: upright on the two edges of its foot, or with a face on each flank."""
    half = math.radians(angle_deg / 2)
    up_flank = (0.5,) if upright else (0.5, 1.5, 2.5, 3.5)
    contacts = []
    for sign, pull in zip((-1, 1), pulls, strict=True):
        for share in up_flank:
            out = sign * (SIDE / 2 if upright else SIDE / 4 * share * math.sin(half))
            rise = 0.0 if upright else SIDE / 4 * share * math.cos(half)
            contacts += [
                ContactPoint(
                    a="bar",
                    at_mm=(x, out, rise),
                    normal=(0.0, sign * math.cos(half), -math.sin(half)),
                    mu=mu,
                    pull_n=pull / 6 / len(up_flank),
                    label=f"flank {sign}",
                )
                for x in np.linspace(-10, 10, 6)
            ]
    middle = meet(angle_deg) if upright else (0.0, 0.0, SIDE / 2 / math.cos(half))
    weight = Load(body="bar", force_n=(0, 0, -WEIGHT_N), at_mm=middle)
    return EquilibriumProblem(
        bodies=(Rigid(name="bar", at_mm=middle, size_mm=12.0),),
        contacts=tuple(contacts),
        held=(weight, *held),
        cutting=(cutting,),
    )


def meet(angle_deg):
    """Where the normals of the two edges of the foot meet."""
    return (0.0, 0.0, SIDE / 2 * math.tan(math.radians(angle_deg / 2)))


def greatest_roll_nmm(angle_deg, mu, down_n):
    """Moment that turns a body about the point where both normals meet: both edges slip, statics.

    The shaft in a V-groove of the textbooks: mu W R / (sin(a/2) (1 + mu^2)) (from memory).
    """
    half = math.radians(angle_deg / 2)
    return mu * down_n * SIDE / 2 / math.cos(half) / (math.sin(half) * (1 + mu**2))


@pytest.mark.parametrize(("angle", "mu", "pulls"), CASES)
@pytest.mark.parametrize("upright", [True, False])
def test_along_the_vee_it_slides_at_friction_times_what_the_flanks_carry(angle, mu, pulls, upright):
    """Each flank carries its pull and W / (2 sin(a/2)); friction that slides along carries nothing across.

    The push goes through the middle of the friction, so that it does not turn the bar.
    """
    half = math.radians(angle / 2)
    left, right = (pull + WEIGHT_N / (2 * math.sin(half)) for pull in pulls)
    out, rise = (SIDE / 2, 0.0) if upright else (SIDE / 2 * math.sin(half), SIDE / 2 * math.cos(half))
    push = Load(body="bar", force_n=(1, 0, 0), at_mm=(0, out * (right - left) / (left + right), rise))
    found = collapse(vee(angle, mu, pulls=pulls, cutting=push, upright=upright))
    assert found.rests
    assert found.factor.low == pytest.approx(mu * (left + right), rel=1e-4)
    assert found.factor.high <= found.bound_factor * (1 + 1e-6)


@pytest.mark.parametrize(("angle", "mu", "pulls"), [case for case in CASES if case[2] == (4, 4)])
@pytest.mark.parametrize("upright", [True, False])
def test_out_of_the_vee_it_comes_at_weight_and_pull_whatever_the_friction(angle, mu, pulls, upright):
    """Friction of a flank that carries nothing is nothing: 2 P sin(a/2) + W."""
    lift = Load(body="bar", force_n=(0, 0, 1), at_mm=meet(angle))
    found = collapse(vee(angle, mu, pulls=pulls, cutting=lift, upright=upright))
    expected = 2 * pulls[0] * math.sin(math.radians(angle / 2)) + WEIGHT_N
    assert found.factor.low == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("angle", [60.0, 75.0, 90.0, 120.0])
@pytest.mark.parametrize("mu", [0.1, 0.2, 0.3])
@pytest.mark.parametrize("share", [-0.5, 1e-3, 0.1, 0.9])
def test_upright_it_rests_until_both_edges_slip(angle, mu, share):
    """What rolls the bar is a moment of its held loads; the cut brings what is left of the greatest."""
    down_n = 20.0
    most = greatest_roll_nmm(angle, mu, down_n + WEIGHT_N)
    held = (Load(body="bar", force_n=(0, 0, -down_n), at_mm=meet(angle), moment_nmm=(share * most, 0, 0)),)
    roll = Load(body="bar", force_n=(0, 0, 0), at_mm=meet(angle), moment_nmm=(1, 0, 0))
    found = collapse(vee(angle, mu, held=held, cutting=roll, upright=True), ceiling=1e3)
    assert found.rests
    assert found.factor.low == pytest.approx((1 - share) * most, rel=2e-4)
    assert found.factor.high == pytest.approx((1 - share) * most, rel=2e-4)


@pytest.mark.parametrize("angle", [60.0, 90.0, 120.0])
@pytest.mark.parametrize("mu", [0.1, 0.2, 0.3])
def test_upright_it_rolls_off_where_both_edges_slip(angle, mu):
    down_n = 20.0
    more = 1.02 * greatest_roll_nmm(angle, mu, down_n + WEIGHT_N)
    held = (Load(body="bar", force_n=(0, 0, -down_n), at_mm=meet(angle), moment_nmm=(more, 0, 0)),)
    push = Load(body="bar", force_n=(1, 0, 0), at_mm=meet(angle))
    found = collapse(vee(angle, mu, held=held, cutting=push, upright=True))
    assert not found.rests
    assert found.factor.low == 0.0


@pytest.mark.parametrize("seed", range(20))
def test_upright_with_uneven_pulls_it_rests_however_it_fits(seed):
    """The pulls press each edge on its flank, so that one rest is plain: N = P, and friction none."""
    rng = np.random.default_rng(seed)
    angle, mu = float(rng.uniform(60, 120)), float(rng.uniform(0.1, 0.3))
    pulls = tuple(float(p) for p in rng.uniform(1, 10, size=2))
    push = Load(body="bar", force_n=(0, 1, 0), at_mm=(0, 0, SIDE))
    found = collapse(vee(angle, mu, pulls=pulls, cutting=push, upright=True))
    assert found.rests
    assert 0.0 < found.factor.low <= found.factor.high <= found.bound_factor * (1 + 1e-6)


def test_forces_of_least_energy_answer_as_springs_do():
    """A contact with more friction than shear sticks: its motion is its force over its stiffness."""
    push = Load(body="bar", force_n=(1, 0, 0), at_mm=(0, 0, 0))
    holding = vee(90.0, 0.2, pulls=(4, 3), cutting=push, upright=True)
    equations = write_equations(holding)
    rest = rest_at_bounds(equations, np.full(len(equations.mu), 100.0))
    moved = equations.approach @ rest.freedoms_mm
    springs = np.stack([equations.normal_n_mm, equations.shear_n_mm, equations.shear_n_mm], axis=1)
    assert rest.carried_n == pytest.approx(springs * moved, abs=1e-5)
    assert rest.carried_n.reshape(-1) @ equations.approach.reshape(-1, 6) == pytest.approx(
        equations.held_n, abs=1e-6
    )
