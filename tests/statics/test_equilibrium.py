"""Equilibrium of contact points: statics with closed forms, and what must hold for every set-up."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from fixturecheck.errors import SetupError
from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import (
    ContactPoint,
    EquilibriumProblem,
    Load,
    Rigid,
    contact_frames,
    write_equations,
)
from fixturecheck.statics.limit import limit_factor
from fixturecheck.statics.loading import assemble, load_path, settle_held
from fixturecheck.statics.loading_loops import StepArrays, answer, summed_forces
from tests.statics.seated import block, patch

NOWHERE = (0.0, 0.0, 0.0)


def gang(seed):
    """A row of magnet-held blocks with random sizes, pulls, stiffnesses and loads, perhaps with stops."""
    rng = np.random.default_rng(seed)
    count, mu = int(rng.integers(1, 4)), rng.uniform(0.1, 0.4)
    bodies, contacts, held, edge, last = [], [], [], 0.0, None
    for i in range(count):
        w, d, h = rng.uniform(15, 40), rng.uniform(15, 50), rng.uniform(15, 50)
        name, middle = f"part_{i}", (edge + w / 2, 0.0, h / 2)
        bodies.append(Rigid(name=name, at_mm=middle, size_mm=max(w, d, h) / 2))
        stiff = 10 ** rng.uniform(4.5, 5.5)
        seat = (edge + w / 2, 0.0, 0.0)
        contacts += patch(
            name,
            "",
            seat,
            (0, 0, -1),
            (w / 2, 0, 0),
            (0, d / 2, 0),
            mu,
            pull=rng.uniform(50, 600),
            stiffness=stiff,
        )
        if last:
            low, deep = min(h, last[2]), min(d, last[1])
            contacts += patch(
                last[0], name, (edge, 0, low / 2), (1, 0, 0), (0, deep / 2, 0), (0, 0, low / 2), mu
            )
        held.append(Load(body=name, force_n=(0, 0, -rng.uniform(1, 8)), at_mm=middle))
        edge, last = edge + w, (name, d, h)
    if rng.random() < 0.5:
        contacts += patch(last[0], "", (edge, 0, 5), (1, 0, 0), (0, 5, 0), (0, 0, 5), mu)
    push = tuple(np.add(rng.normal(size=3), (1.5, 0, -0.5)))
    top = (bodies[0].at_mm[0], rng.uniform(-3, 3), 2 * bodies[0].at_mm[2])
    return EquilibriumProblem(
        bodies=tuple(bodies),
        contacts=tuple(contacts),
        held=tuple(held),
        cutting=(Load(body="part_0", force_n=push, at_mm=top),),
    )


def moved(holding, turn, shift):
    def place(point):
        return tuple(turn.apply(point) + shift)

    def aim(direction):
        return tuple(turn.apply(direction))

    def load(l):
        return replace(l, force_n=aim(l.force_n), at_mm=place(l.at_mm), moment_nmm=aim(l.moment_nmm))

    return EquilibriumProblem(
        bodies=tuple(replace(b, at_mm=place(b.at_mm)) for b in holding.bodies),
        contacts=tuple(replace(c, at_mm=place(c.at_mm), normal=aim(c.normal)) for c in holding.contacts),
        held=tuple(load(l) for l in holding.held),
        cutting=tuple(load(l) for l in holding.cutting),
    )


@pytest.mark.parametrize("angle", [60.0, 90.0, 120.0])
def test_flank_load_of_a_vee(angle):
    """Each flank carries P / (2 sin(a/2)) without friction: statics."""
    half = math.radians(angle / 2)
    contacts = tuple(
        ContactPoint(
            a="bar",
            at_mm=(x, s * 20 * math.cos(half), 0),
            normal=(0, s * math.cos(half), -math.sin(half)),
            mu=0,
        )
        for s in (-1, 1)
        for x in (-30, 30)
    )
    bar = EquilibriumProblem(
        bodies=(Rigid(name="bar", at_mm=NOWHERE),),
        contacts=contacts,
        held=(Load(body="bar", force_n=(0, 0, -1000.0), at_mm=NOWHERE),),
        cutting=(Load(body="bar", force_n=(0, 0, 1.0), at_mm=NOWHERE),),
    )
    rest, rests = settle_held(write_equations(bar))
    assert rests
    flanks = rest.carried_n[:, 0].reshape(2, 2).sum(axis=1)
    assert flanks == pytest.approx([1000 / (2 * math.sin(half))] * 2, rel=1e-6)
    assert collapse(bar, ceiling=2000).factor.low == pytest.approx(1000, rel=1e-4)


def ladder(angle_deg, wall_mu):
    """A ladder 2 m long; its load to grow is its own weight."""
    foot, top = (
        NOWHERE,
        (2000 * math.cos(math.radians(angle_deg)), 0.0, 2000 * math.sin(math.radians(angle_deg))),
    )
    middle = tuple(np.array(top) / 2)
    # Two points side by side at either end keep it from rolling over.
    contacts = [
        ContactPoint(a="ladder", at_mm=(p[0], y, p[2]), normal=n, mu=mu)
        for p, n, mu in ((foot, (0, 0, -1), 0.3), (top, (1, 0, 0), wall_mu))
        for y in (-200.0, 200.0)
    ]
    weight = Load(body="ladder", force_n=(0, 0, -100.0), at_mm=middle)
    return EquilibriumProblem(
        bodies=(Rigid(name="ladder", at_mm=middle, size_mm=1000),),
        contacts=tuple(contacts),
        held=(weight,),
        cutting=(weight,),
    )


def test_ladder_at_a_smooth_wall():
    """tan = 1/(2 mu): 59.036 degrees for 0.3, any statics text, from memory."""
    assert settle_held(write_equations(ladder(59.036 + 0.02, 0.0)))[1]
    assert not settle_held(write_equations(ladder(59.036 - 0.02, 0.0)))[1]


def test_ladder_at_a_rough_wall():
    """tan = (1 - mu1 mu2)/(2 mu1): 56.602 degrees, the best that friction can do."""
    for angle, stands in ((56.602 - 0.01, False), (56.602 + 0.01, True)):
        best = replace(write_equations(ladder(angle, 0.3)), held_n=np.zeros(6))
        assert (limit_factor(best) > 1.0) is stands
        assert not (settle_held(write_equations(ladder(angle, 0.3)))[1] and not stands)
    assert settle_held(write_equations(ladder(59.0, 0.3)))[1]


def wedge(angle_deg, lower_mu, upper_mu):
    """A wedge between a fixed plate and one that is guided and pressed down."""
    tilt = math.radians(angle_deg)
    upper = (math.sin(tilt), 0.0, math.cos(tilt))
    along = (5 * math.cos(tilt), 0, -5 * math.sin(tilt))
    plate = Rigid(name="plate", at_mm=(0, 0, 12), slides_along=(0, 0, 1))
    return EquilibriumProblem(
        bodies=(Rigid(name="wedge", at_mm=(0, 0, 5)), plate),
        contacts=(
            *patch("wedge", "", NOWHERE, (0, 0, -1), (20, 0, 0), (0, 20, 0), lower_mu),
            *patch("wedge", "plate", (0, 0, 10), upper, along, (0, 20, 0), upper_mu),
        ),
        held=(Load(body="plate", force_n=(0, 0, -100), at_mm=(0, 0, 12)),),
        cutting=(Load(body="wedge", force_n=(1, 0, 0), at_mm=(0, 0, 5)),),
    )


@pytest.mark.parametrize(("lower_mu", "limit"), [(0.15, 2 * 8.5308), (0.0, 8.5308)])
def test_a_wedge_locks_up_to_its_angle_of_friction_and_is_squeezed_out_beyond(lower_mu, limit):
    """2 atan(mu) with friction on both faces, atan(mu) on one: Hibbeler, Meriam, from memory."""
    assert settle_held(write_equations(wedge(limit - 0.05, lower_mu, 0.15)))[1]
    answer = collapse(wedge(limit + 0.05, lower_mu, 0.15))
    assert not answer.rests
    assert answer.goes == "wedge"
    # It is squeezed out toward its thick end.
    assert answer.motions[0].velocity[0] < -0.5


def grip(offset):
    """Two points 50 mm apart, mu 0.2, offset along the jaws; loads in the plane only."""
    return tuple(
        ContactPoint(a="bar", at_mm=(x, y, 0.0), normal=(math.copysign(1, x), 0, 0), mu=0.2)
        for x, y in ((-25.0, 0.0), (25.0, offset))
    )


@pytest.mark.parametrize(("offset", "closed"), [(0.0, True), (9.9, True), (10.1, False), (15.0, False)])
def test_two_points_grip_while_their_line_lies_in_both_friction_cones(offset, closed):
    """Closed if the line between the points lies in both cones: offset <= mu w. Nguyen 1988, from memory."""
    loads = (
        [((s, 0, 0), 0) for s in (1, -1)]
        + [((0, s, 0), 0) for s in (1, -1)]
        + [((0, 0, 0), s) for s in (1, -1)]
    )
    factors = []
    for force, moment in loads:
        push = Load(body="bar", force_n=force, at_mm=(0, offset / 2, 0), moment_nmm=(0, 0, 20.0 * moment))
        bar = EquilibriumProblem(
            bodies=(Rigid(name="bar", at_mm=(0, offset / 2, 0)),),
            contacts=grip(offset),
            held=(),
            cutting=(push,),
        )
        factors.append(limit_factor(write_equations(bar)))
    assert all(math.isinf(f) for f in factors) is closed


def test_three_hard_points_with_friction_close_in_space():
    """Three hard-finger contacts in non-marginal equilibrium are closed: Nguyen."""
    rim = [(math.cos(a), math.sin(a), 0.0) for a in (0, 2 * math.pi / 3, 4 * math.pi / 3)]
    contacts = tuple(ContactPoint(a="disc", at_mm=tuple(20 * np.array(n)), normal=n, mu=0.4) for n in rim)
    two = contacts[:2]
    for direction in np.vstack([np.eye(6), -np.eye(6)]):
        push = Load(
            body="disc", force_n=tuple(direction[:3]), at_mm=NOWHERE, moment_nmm=tuple(10 * direction[3:])
        )
        disc = EquilibriumProblem(
            bodies=(Rigid(name="disc", at_mm=NOWHERE),), contacts=contacts, held=(), cutting=(push,)
        )
        assert math.isinf(limit_factor(write_equations(disc)))
    spin = Load(body="disc", force_n=NOWHERE, at_mm=NOWHERE, moment_nmm=tuple(np.subtract(rim[0], rim[1])))
    loose = EquilibriumProblem(
        bodies=(Rigid(name="disc", at_mm=NOWHERE),), contacts=two, held=(), cutting=(spin,)
    )
    assert limit_factor(write_equations(loose)) < 1e-6


def between_walls(preload):
    bar = Rigid(name="bar", at_mm=NOWHERE)
    jaw = Rigid(name="jaw", at_mm=(0, 20, 0), slides_along=(0, 1, 0))
    contacts = (
        *patch("bar", "", (0, -10, 0), (0, -1, 0), (30, 0, 0), (0, 0, 10), 0.2),
        *patch("bar", "jaw", (0, 10, 0), (0, 1, 0), (30, 0, 0), (0, 0, 10), 0.2),
    )
    held = (Load(body="jaw", force_n=(0, -preload, 0), at_mm=(0, 20, 0)),) if preload else ()
    return EquilibriumProblem(
        bodies=(bar, jaw),
        contacts=contacts,
        held=held,
        cutting=(Load(body="bar", force_n=(1, 0, 0), at_mm=NOWHERE),),
    )


def test_no_credit_for_wedging_without_load():
    """Nothing across the bar: it slides at once. 50 N across it: at 2 mu 50 N; statics."""
    assert collapse(between_walls(0.0)).factor.low == pytest.approx(0.0, abs=1e-4)
    pressed = collapse(between_walls(50.0))
    assert pressed.factor.low == pytest.approx(2 * 0.2 * 50, rel=1e-5)
    assert [m.body for m in pressed.motions] == ["bar"]
    # Between two rigid walls friction could lock at any load: the bound knows no history.
    fixed = replace(between_walls(0.0), bodies=(Rigid(name="bar", at_mm=NOWHERE),))
    walls = tuple(replace(c, b="") for c in fixed.contacts)
    locked = collapse(replace(fixed, contacts=walls))
    assert math.isinf(locked.bound_factor)
    assert locked.factor.low == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("seed", range(8))
def test_contacts_balance_the_loads_and_stay_in_their_cones(seed):
    equations = write_equations(gang(seed))
    rest, _ = settle_held(equations)
    path = load_path(equations, rest, ceiling=300.0)
    for step in path.steps:
        carried = step.state.carried_n
        off = (
            np.einsum("nij,ni->j", equations.approach, carried)
            - equations.held_n
            - step.factor * equations.cutting_n
        )
        assert np.abs(off).max() < 1e-4 * max(np.abs(carried).max(), 1.0)
        assert carried[:, 0].min() >= 0.0
        assert np.all(
            np.hypot(carried[:, 1], carried[:, 2]) <= equations.mu * carried[:, 0] * (1 + 1e-9) + 1e-9
        )


@pytest.mark.parametrize("seed", range(8))
def test_what_stands_still_feels_all_loads(seed):
    """Action is reaction: the ground carries weight plus cut; pulls and inner contacts cancel."""
    holding = gang(seed)
    answer = collapse(holding, ceiling=300.0)
    frames = contact_frames(np.array([c.normal for c in holding.contacts], dtype=float))
    on_ground = np.array([not c.b for c in holding.contacts])
    pulls = np.array([c.pull_n for c in holding.contacts])
    carried = answer.carried_n - np.column_stack([pulls, 0 * pulls, 0 * pulls])
    total = np.einsum("nij,ni->j", frames[on_ground], carried[on_ground])
    factor = np.linalg.norm(total - sum(np.array(l.force_n) for l in holding.held)) / np.linalg.norm(
        holding.cutting[0].force_n
    )
    expected = sum(np.array(l.force_n) for l in holding.held) + factor * np.array(holding.cutting[0].force_n)
    assert total == pytest.approx(expected, abs=1e-3 * np.abs(answer.carried_n).max())


@settings(max_examples=12)
@given(st.integers(0, 10_000), st.integers(0, 1000))
def test_moving_everything_changes_nothing(seed, turn_seed):
    holding = gang(seed)
    turn = Rotation.random(rng=np.random.default_rng(turn_seed))
    here, there = (
        collapse(h, ceiling=300.0) for h in (holding, moved(holding, turn, np.array([100.0, -50.0, 7.0])))
    )
    assert there.factor.low == pytest.approx(here.factor.low, rel=2e-3)
    assert there.bound_factor == pytest.approx(here.bound_factor, rel=1e-4)
    assert there.goes == here.goes


@settings(max_examples=12)
@given(st.integers(0, 10_000))
def test_never_above_the_upper_bound_and_order_does_not_matter(seed):
    holding = gang(seed)
    here = collapse(holding, ceiling=1e4)
    assert here.factor.high <= here.bound_factor * (1 + 1e-3)
    turned = EquilibriumProblem(
        bodies=holding.bodies[::-1],
        contacts=holding.contacts[::-1],
        held=holding.held[::-1],
        cutting=holding.cutting,
    )
    there = collapse(turned, ceiling=1e4)
    assert there.factor.low == pytest.approx(here.factor.low, rel=2e-3)
    assert there.goes == here.goes


@pytest.mark.parametrize("seed", range(4))
def test_forces_scale(seed):
    """All forces ten times: the same factor. Cut alone ten times: a tenth of it."""
    holding = gang(seed)
    here = collapse(holding, ceiling=1e6).factor.low

    def times(loads, k):
        return tuple(replace(l, force_n=tuple(k * f for f in l.force_n)) for l in loads)

    contacts = tuple(replace(c, pull_n=10 * c.pull_n) for c in holding.contacts)
    all_ten = replace(
        holding, contacts=contacts, held=times(holding.held, 10), cutting=times(holding.cutting, 10)
    )
    assert collapse(all_ten, ceiling=1e6).factor.low == pytest.approx(here, rel=1e-4)
    cut_ten = replace(holding, cutting=times(holding.cutting, 10))
    assert collapse(cut_ten, ceiling=1e6).factor.low == pytest.approx(here / 10, rel=1e-3)


@pytest.mark.parametrize("seed", range(4))
def test_more_friction_never_loosens_the_bound(seed):
    holding = gang(seed)
    bounds = [
        limit_factor(
            write_equations(replace(holding, contacts=tuple(replace(c, mu=mu) for c in holding.contacts)))
        )
        for mu in (0.0, 0.1, 0.2, 0.4, 0.8)
    ]
    assert all(b >= a * (1 - 1e-6) for a, b in itertools.pairwise(bounds))


def test_stiffness_does_not_change_a_plain_slide():
    soft, hard = (
        replace(block(mu=0.2), contacts=tuple(replace(c, stiffness_n_mm=k) for c in block(mu=0.2).contacts))
        for k in (1e3, 1e7)
    )
    assert collapse(soft, ceiling=1e3).factor.low == pytest.approx(102.0, rel=1e-4)
    assert collapse(hard, ceiling=1e3).factor.low == pytest.approx(102.0, rel=1e-4)


def test_many_points_or_few_give_the_same_slide_and_tip():
    for mu in (0.2, 0.6):
        few, many = (collapse(block(mu=mu, points=n), ceiling=1e3).factor.low for n in (2, 8))
        assert many == pytest.approx(few, rel=1e-4)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"bodies": ()}, "no body"),
        (
            {"bodies": (Rigid(name="part", at_mm=NOWHERE), Rigid(name="part", at_mm=NOWHERE))},
            "name of its own",
        ),
        ({"bodies": (Rigid(name="part", at_mm=NOWHERE, size_mm=0.0),)}, "size_mm"),
        ({"bodies": (Rigid(name="part", at_mm=NOWHERE, slides_along=NOWHERE),)}, "no direction"),
        ({"cutting": ()}, "cutting load is zero"),
        ({"cutting": (Load(body="part", force_n=NOWHERE, at_mm=NOWHERE),)}, "cutting load is zero"),
        ({"held": (Load(body="other", force_n=(1, 0, 0), at_mm=NOWHERE, label="clamp"),)}, "clamp"),
        ({"held": (Load(body="part", force_n=(math.nan, 0, 0), at_mm=NOWHERE),)}, "not finite"),
        ({"contacts": (ContactPoint(a="part", at_mm=NOWHERE, normal=(0, 0, 1), mu=-0.1),)}, "friction -0.1"),
        ({"contacts": (ContactPoint(a="part", at_mm=NOWHERE, normal=NOWHERE, mu=0.1),)}, "normal"),
        (
            {"contacts": (ContactPoint(a="part", b="ghost", at_mm=NOWHERE, normal=(0, 0, 1), mu=0.1),)},
            "ghost",
        ),
    ],
)
def test_bad_holdings_are_refused(change, says):
    with pytest.raises(SetupError, match=says):
        write_equations(replace(block(mu=0.2), **change))


@pytest.mark.parametrize("seed", range(4))
def test_the_outermost_points_of_a_face_carry_all_that_the_face_can(seed):
    """A force between points is the same as shares of it at them: the bound over all points is the same."""
    rng = np.random.default_rng(seed)
    holding = gang(seed)
    more = []
    for c, d in itertools.pairwise(holding.contacts):
        if (c.a, c.b, c.normal) == (d.a, d.b, d.normal):
            at = np.array(c.at_mm) + rng.uniform(0.1, 0.9) * (np.array(d.at_mm) - np.array(c.at_mm))
            more.append(replace(c, at_mm=tuple(at)))
    # A point off the plane of its like and one that is slicker both stay.
    odd = replace(holding.contacts[0], at_mm=(0.3, 0.2, 0.5))
    slick = replace(holding.contacts[0], at_mm=(0.3, 0.2, 0.0), mu=0.01)
    equations = write_equations(replace(holding, contacts=(*holding.contacts, *more, odd, slick)))
    whole = replace(equations, outer=np.arange(len(equations.mu)))
    count = len(holding.contacts)
    assert {count + len(more), count + len(more) + 1} <= set(equations.outer)
    assert len(equations.outer) < len(whole.outer)
    assert limit_factor(equations) == pytest.approx(limit_factor(whole), rel=1e-5)


@pytest.mark.parametrize("seed", range(4))
def test_contact_stiffness_is_the_derivative_of_what_contacts_carry(seed):
    """Central differences of the forces on all freedoms, some points lifted, stuck and sliding."""
    rng = np.random.default_rng(seed)
    equations = write_equations(gang(seed))
    n, m = len(equations.mu), len(equations.held_n)
    before_mm, before_n = rng.normal(size=m) * 1e-3, np.abs(rng.normal(size=(n, 3))) * [100.0, 5.0, 5.0]
    at = before_mm + rng.normal(size=m) * 1e-3

    def forces(freedoms):
        carried, local, total = np.empty((n, 3)), np.empty((n, 3, 3)), np.zeros(m)
        contacts = (
            equations.freedom,
            equations.parts,
            equations.mu,
            equations.normal_n_mm,
            equations.shear_n_mm,
        )
        step = StepArrays(*contacts, before_mm, before_n, np.zeros(m), np.zeros(m), 0.0, 1.0)
        answer(step, freedoms, np.empty(0), carried, local)
        summed_forces(equations.freedom, equations.parts, carried, total)
        assert total == pytest.approx(np.einsum("nij,ni->j", equations.approach, carried), abs=1e-9)
        return total, carried, local

    _, carried, local = forces(at)
    assert carried[:, 0].min() == 0.0 < carried[:, 0].max()
    step = 1e-9
    ways = np.eye(m) * step
    slopes = np.array([(forces(at + w)[0] - forces(at - w)[0]) / (2 * step) for w in ways]).T
    assert assemble(equations, local) == pytest.approx(slopes, abs=1e-4 * np.abs(slopes).max())
