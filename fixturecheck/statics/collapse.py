"""By what factor contacts hold a load, as a range over all starts, and which body then goes which way.

The factor multiplies the cutting load; weight, magnet and clamps stay as they are. Real friction does not
dilate, so what the contacts carry at collapse can depend on how they came to rest. The analysis therefore
starts from different rests and with different fits, keeps the range of factors, and its lower end counts. No
start is left out, whatever the others give: only a rest that is the same as another is not followed twice.

The factor has a range, since inputs are not known well. Each of them is moved to its low and its high end
with the others in the middle (a tornado); the ends that lower the factor are then put together, and so are
the ends that raise it. Where the middle lies beyond the ceiling no input would show there, so the others stay
at a corner that is known to be weak. More friction or a harder clamp does not always hold better, so a few
drawn combinations are tried as well and may widen the range.

At collapse a body moves with a twist. Followed as a screw it either runs into the wheel or away from it. How
much of it the wheel then takes comes from the solids and is only read here. Where that grows it digs in, and
no factor makes the set-up safe enough to ignore it.

The smallest change that brings the factor back is searched for. Every answer is found by trying the change
in the full analysis, and the change returned has been tried itself and reaches the target; where the end of
what can be had does not reach it, the answer is None.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.cache import cached
from fixturecheck.effort import COLLAPSE, spend
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.interval import Range
from fixturecheck.numeric import to_vector
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import BodyMotion, LetsGo, MotionKind, Outcome
from fixturecheck.statics.equilibrium import (
    Equations,
    EquilibriumProblem,
    Rigid,
    Vector,
    uneven_fits,
    write_equations,
)
from fixturecheck.statics.limit import limit_factor
from fixturecheck.statics.loading import LOOSE, LoadPath, State, load_path, settle_held

# Share of the fastest body's speed below which a body counts as standing still (its springs still give).
STANDS = 0.02
# Turning speed at the body's half size, over its speed, below which it slides and above which it turns.
SLIDES_BELOW, TURNS_ABOVE = 0.15, 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class StartingMotion(BodyMotion):
    """How one body starts to move, and where that leads."""

    def velocity_at(self, point_mm: Vector) -> Vector:
        """Return the velocity of a point that moves with the body, mm per mm."""
        arm = np.subtract(point_mm, self.at_mm)
        return to_vector(np.array(self.velocity) + np.cross(self.rotation_rad_mm, arm))

    def pose_after(self, moved_mm: float) -> tuple[Floats, Floats]:
        """Return where the motion leads if it goes on as it starts: x -> turn @ x + shift.

        The exact screw of the twist, so a body that tips keeps its shape and its axis; exponential of a
        twist as in Murray, Li, Sastry, A Mathematical Introduction to Robotic Manipulation, 2.36 (from
        memory).
        """
        angle = moved_mm * np.array(self.rotation_rad_mm)
        turn = Rotation.from_rotvec(angle).as_matrix()
        size = float(np.linalg.norm(angle))
        skew = np.cross(np.eye(3), angle)
        # (1 - cos) / size^2 and (size - sin) / size^3, with their series where those lose digits.
        first = 0.5 * np.sinc(size / (2.0 * np.pi)) ** 2
        second = (size - np.sin(size)) / size**3 if size > 1e-3 else 1.0 / 6.0 - size**2 / 120.0
        along = (np.eye(3) + first * skew + second * skew @ skew) @ (moved_mm * np.array(self.velocity))
        at = np.array(self.at_mm)
        return turn, at + along - turn @ at


def motions(bodies: tuple[Rigid, ...], twists: Floats) -> tuple[StartingMotion, ...]:
    """Return the motion of every body that moves, the fastest first.

    Parameters
    ----------
    bodies : tuple of Rigid
        The bodies.
    twists : ndarray, shape (bodies, 6)
        Velocity of each reference point and rotation, in any common scale.

    Returns
    -------
    tuple of StartingMotion
        Velocities are shares of the fastest body's; empty where nothing moves.
    """
    sizes = np.array([body.size_mm for body in bodies])
    speeds = np.linalg.norm(twists[:, :3], axis=1) + np.linalg.norm(twists[:, 3:], axis=1) * sizes
    fastest = float(speeds.max(initial=0.0))
    if fastest <= 0.0:
        return ()
    order = [i for i in np.argsort(-speeds, kind="stable") if speeds[i] > STANDS * fastest]
    return tuple(_describe(bodies[i], twists[i] / fastest) for i in order)


def _describe(body: Rigid, twist: Floats) -> StartingMotion:
    """Sort one twist into a kind."""
    velocity, rotation = twist[:3], twist[3:]
    speed, turning = float(np.linalg.norm(velocity)), float(np.linalg.norm(rotation)) * body.size_mm
    axis_mm: Vector | None = None
    axis: Vector | None = None
    if turning <= SLIDES_BELOW * speed:
        kind = _straight(velocity / speed)
    else:
        unit = rotation / np.linalg.norm(rotation)
        foot = np.array(body.at_mm) + np.cross(rotation, velocity) / float(rotation @ rotation)
        axis_mm, axis = to_vector(foot), to_vector(unit)
        upright = abs(unit[2]) > 0.8
        if turning >= TURNS_ABOVE * speed:
            kind = MotionKind.TURNS if upright else MotionKind.TIPS
        else:
            kind = MotionKind.SLIDES_AND_TURNS if upright else MotionKind.SLIDES_AND_TIPS
    return StartingMotion(
        body=body.name,
        kind=kind,
        velocity=to_vector(velocity),
        rotation_rad_mm=to_vector(rotation),
        at_mm=body.at_mm,
        axis_mm=axis_mm,
        axis=axis,
    )


def _straight(unit: Floats) -> MotionKind:
    """Name a motion without turning."""
    if unit[2] > 0.7:
        return MotionKind.LIFTS
    return MotionKind.DROPS if unit[2] < -0.7 else MotionKind.SLIDES


CEILING = 100.0
# Shear below this share of what the contacts carry is rounding: such a rest needs no friction.
NO_SHEAR = 1e-6
# A factor that is nothing: without friction a path creeps on in its own rounding, and the bound is zero.
NOTHING = 2e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Collapse:
    """What a holding does under a growing cut.

    Parameters
    ----------
    factor : Range
        Factor on the cutting load at collapse over all starts; the low end counts. Zero where the held loads
        alone already push a body off, however its faces fit.
    bound_factor : float
        Upper bound from limit analysis; infinite where friction would lock at any load.
    at_least : bool
        The analysis stopped at its ceiling: the factor is at least this.
    rests : bool
        Whether the set-up rests under weight, magnet and clamps before the cut.
    ended : str
        How the decisive path ended, as in `LoadPath`, or `no rest`.
    motions : tuple of StartingMotion
        What moves, the fastest first; empty when nothing does.
    rest_n, carried_n : ndarray, shape (contacts, 3)
        Contact forces before the cut and at collapse: normal and two in the plane.
    """

    factor: Range
    bound_factor: float
    at_least: bool
    rests: bool
    ended: str
    motions: tuple[StartingMotion, ...]
    rest_n: Floats
    carried_n: Floats

    @property
    def failure(self) -> LetsGo:
        """How it lets go, without the forces."""
        return LetsGo(
            rests=self.rests,
            factor=self.factor.low,
            at_least=self.at_least,
            broke_off=self.ended == "broke off",
            motions=self.motions,
        )

    @property
    def goes(self) -> str | None:
        """Name of the body that goes first, None where nothing moves."""
        return self.motions[0].body if self.motions else None


def collapse(holding: EquilibriumProblem, *, ceiling: float = CEILING) -> Collapse:
    """Load a holding until it lets go.

    Parameters
    ----------
    holding : EquilibriumProblem
        Bodies, contact points and loads.
    ceiling : float
        Factor beyond which nobody needs to know more.

    Returns
    -------
    Collapse
        Factor, motion and contact forces.

    Raises
    ------
    SetupError
        The holding cannot be computed with.
    NotComputedError
        A start gave no answer, so that the low end is not known, or an answer broke the upper bound.
    """
    spend(COLLAPSE)
    return _collapse(holding, ceiling)


@cached
def _collapse(holding: EquilibriumProblem, ceiling: float) -> Collapse:
    equations = write_equations(holding)
    bound = limit_factor(equations)
    found: list[tuple[LoadPath, State]] = []
    for start in _starts(holding, equations):
        if not start.must_rest and not _sheared(found[0][1]):
            continue
        try:
            rest, rests = settle_held(start.resting)
            if rests:
                found.append((load_path(start.loading, rest, ceiling=ceiling), rest))
        except NotComputedError as reason:
            message = f"{reason} ({start.name})"
            raise NotComputedError(message) from reason
        if not rests and start.must_rest:
            return _no_rest(holding, equations, rest, bound)
    path, weakest = min(found, key=lambda pair: pair[0].factor)
    factors = [candidate.factor for candidate, _ in found]
    if max(factors) > bound * (1.0 + 1e-3) + max(_blur(equations), NOTHING):
        message = f"collapse: a factor of {max(factors):.4g} lies above its upper bound {bound:.4g}"
        raise NotComputedError(message)
    factors = [min(f, bound, ceiling) for f in factors]
    factor = Range(low=min(factors), high=max(factors))
    at_least = path.ended == "ceiling"
    moving = () if at_least else _motion_at_end(holding, equations, path)
    return Collapse(
        factor=factor,
        bound_factor=bound,
        at_least=at_least,
        rests=True,
        ended=path.ended,
        motions=moving,
        rest_n=weakest.carried_n,
        carried_n=path.steps[-1].state.carried_n,
    )


def _blur(equations: Equations) -> float:
    """Factor that is lost in the accuracy of equilibrium: a small share of the held loads over the cut."""
    return 3.0 * LOOSE * float(np.linalg.norm(equations.held_n) / np.linalg.norm(equations.cutting_n))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Start:
    """One way in which the contacts may have come to rest.

    Parameters
    ----------
    name : str
        In words.
    resting, loading : Equations
        How the contacts answer before the cut, and under it.
    must_rest : bool
        Whether a set-up that does not rest so does not rest at all. Without friction it need not.
    """

    name: str
    resting: Equations
    loading: Equations
    must_rest: bool = True


def _starts(holding: EquilibriumProblem, equations: Equations) -> Iterator[_Start]:
    """Yield every start: faces that fit evenly, the same tapped until no shear is left, uneven fits."""
    yield _Start(name="faces that fit evenly", resting=equations, loading=equations)
    slick = replace(equations, mu=np.zeros_like(equations.mu))
    yield _Start(name="tapped down", resting=slick, loading=equations, must_rest=False)
    for name, uneven in zip(("crowned faces", "hollow faces"), uneven_fits(holding), strict=True):
        stiff = replace(
            equations,
            normal_n_mm=uneven * equations.normal_n_mm,
            shear_n_mm=uneven * equations.shear_n_mm,
        )
        yield _Start(name=name, resting=stiff, loading=stiff)


def _sheared(rest: State) -> bool:
    """Say whether friction carries some of a rest; where it does not, tapping the parts changes nothing."""
    shear, normal = np.abs(rest.carried_n[:, 1:]), rest.carried_n[:, 0]
    return float(shear.max(initial=0.0)) > NO_SHEAR * float(normal.max(initial=0.0))


def _motion_at_end(
    holding: EquilibriumProblem, equations: Equations, path: LoadPath
) -> tuple[StartingMotion, ...]:
    """Motion over the last step of the path."""
    before, after = path.steps[-2].state, path.steps[-1].state
    return motions(holding.bodies, equations.twists @ (after.freedoms_mm - before.freedoms_mm))


def _no_rest(holding: EquilibriumProblem, equations: Equations, state: State, bound: float) -> Collapse:
    """Answer for a set-up that does not even rest."""
    moving = motions(holding.bodies, equations.twists @ state.freedoms_mm)
    return Collapse(
        factor=Range.exactly(0.0),
        bound_factor=bound,
        at_least=False,
        rests=False,
        ended="no rest",
        motions=moving,
        rest_n=np.zeros_like(state.carried_n),
        carried_n=np.zeros_like(state.carried_n),
    )


Build = Callable[[Mapping[str, float]], EquilibriumProblem]


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """What one input does to the factor, the others in the middle, or weak where that is beyond the ceiling.

    Parameters
    ----------
    name : str
        The input.
    input_range : Range
        Its low and high end, in its own unit.
    factor_at_low, factor_at_high : float
        Factor with it at either end.
    """

    name: str
    input_range: Range
    factor_at_low: float
    factor_at_high: float

    @property
    def size(self) -> float:
        """How far it moves the factor."""
        return abs(self.factor_at_high - self.factor_at_low)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FactorRange:
    """The factor over the ranges of all inputs.

    Parameters
    ----------
    factor : Range
        Least and greatest factor found; the low end drives the verdict.
    middle : Collapse
        With every input in the middle.
    worst : Collapse
        Where the least factor was found.
    worst_inputs : mapping of str to float
        The inputs there.
    swings : tuple of Swing
        Largest first.
    runs : int
        Analyses made.
    """

    factor: Range
    middle: Collapse
    worst: Collapse
    worst_inputs: Mapping[str, float]
    swings: tuple[Swing, ...]
    runs: int

    @property
    def driver(self) -> str | None:
        """Name of the input that moves the factor most; None where none does."""
        return self.swings[0].name if self.swings and self.swings[0].size > 0.0 else None


def factor_range(
    build: Build,
    inputs: Mapping[str, Range],
    *,
    known: tuple[Collapse, Mapping[str, float]] | None = None,
    ceiling: float = CEILING,
    draws: int = 4,
    seed: int = 1,
) -> FactorRange:
    """Return the factor over ranges of inputs.

    Parameters
    ----------
    build : callable
        Makes the holding from a value for each input.
    inputs : mapping of str to Range
        What is not known well: friction, pull, clamp force, cutting force.
    known : tuple of (Collapse, mapping of str to float), or None
        A corner that is expected to be weak and what was found there; it counts as tried.
    ceiling : float
        Factor beyond which nobody needs to know more.
    draws : int
        Combinations drawn besides the tornado and its two ends.
    seed : int
        Seed of the draws, so that the same set-up gives the same range.

    Returns
    -------
    FactorRange
        Range, worst case and tornado.

    Raises
    ------
    SetupError
        A holding cannot be computed with.
    NotComputedError
        An analysis gave no answer.
    """
    middle_inputs = {name: span.middle for name, span in inputs.items()}
    middle = collapse(build(middle_inputs), ceiling=ceiling)
    tried: list[tuple[Collapse, Mapping[str, float]]] = [(middle, middle_inputs)]
    around = known[1] if known and middle.at_least else middle_inputs

    def low_end(values: Mapping[str, float]) -> float:
        found = collapse(build(values), ceiling=ceiling)
        tried.append((found, values))
        return found.factor.low

    swings = []
    for name, span in inputs.items():
        if span.low < span.high:
            low, high = (low_end({**around, name: end}) for end in span.ends)
            swings.append(Swing(name=name, input_range=span, factor_at_low=low, factor_at_high=high))
    for values in _together(swings, around) + _drawn(inputs, draws if len(swings) > 1 else 0, seed):
        low_end(values)
    # Of equals the corner that is known.
    tried = [*([known] if known else []), *tried]
    worst, worst_inputs = min(tried, key=lambda pair: pair[0].factor.low)
    return FactorRange(
        factor=Range(low=worst.factor.low, high=max(found.factor.high for found, _ in tried)),
        middle=middle,
        worst=worst,
        worst_inputs=worst_inputs,
        swings=tuple(sorted(swings, key=lambda s: (-s.size, s.name))),
        runs=len(tried),
    )


def _together(swings: list[Swing], around: Mapping[str, float]) -> list[dict[str, float]]:
    """Every input at the end that lowers the factor, then at the end that raises it."""
    if len(swings) < 2:
        return []
    worst, best = dict(around), dict(around)
    for swing in swings:
        low, high = swing.input_range.low, swing.input_range.high
        rises = swing.factor_at_high >= swing.factor_at_low
        worst[swing.name], best[swing.name] = (low, high) if rises else (high, low)
    return [worst, best]


def _drawn(inputs: Mapping[str, Range], draws: int, seed: int) -> list[dict[str, float]]:
    """Combinations of ends, drawn with a fixed seed."""
    picks = np.random.default_rng(seed).integers(0, 2, size=(draws, len(inputs)))
    return [
        {name: (span.low, span.high)[pick] for (name, span), pick in zip(inputs.items(), row, strict=True)}
        for row in picks
    ]


def without(holding: EquilibriumProblem, name: str) -> EquilibriumProblem:
    """Return the holding without a body and what it does, or without the contacts of that label.

    Parameters
    ----------
    holding : EquilibriumProblem
        The set-up as numbers.
    name : str
        A body, or the label of contacts.

    Returns
    -------
    EquilibriumProblem
        What is left.
    """
    return EquilibriumProblem(
        bodies=tuple(b for b in holding.bodies if b.name != name),
        contacts=tuple(c for c in holding.contacts if name not in {c.a, c.b, c.label}),
        held=tuple(load for load in holding.held if name not in {load.body, load.by}),
        cutting=tuple(load for load in holding.cutting if name not in {load.body, load.by}),
    )


def filmed(holding: EquilibriumProblem, film_mu: float) -> EquilibriumProblem:
    """Return the holding with a film on every contact; one that is slicker already stays as it is.

    Parameters
    ----------
    holding : EquilibriumProblem
        The set-up as numbers.
    film_mu : float
        Friction of the film.

    Returns
    -------
    EquilibriumProblem
        The same with the lesser friction at each contact.
    """
    return replace(holding, contacts=tuple(replace(c, mu=min(c.mu, film_mu)) for c in holding.contacts))


Factor = Callable[[float], float]


def least_that_reaches(
    factor: Factor, target: float, *, now: float, most: float, share: float = 1e-3
) -> float | None:
    """Return the smallest increase of an input that brings the factor to its target.

    Parameters
    ----------
    factor : callable
        Factor at a value of the input; meant to rise with it.
    target : float
        Factor wanted.
    now, most : float
        Value as it is, and the most that can be had.
    share : float
        Accuracy, as a share of the span.

    Returns
    -------
    float or None
        The value, itself tried and found to reach the target; `now` where it does already; None where
        `most` does not.

    Raises
    ------
    SetupError
        The ends are not finite or the wrong way round.
    """
    if not (math.isfinite(now) and math.isfinite(most) and now < most and math.isfinite(target)):
        message = f"remedy: from {now} to {most} for a factor of {target} is no span to look in"
        raise SetupError(message)
    span, fails, reaches = most - now, now, most
    if factor(fails) >= target:
        return fails
    if factor(reaches) < target:
        return None
    while reaches - fails > share * span:
        between = 0.5 * (fails + reaches)
        if factor(between) >= target:
            reaches = between
        else:
            fails = between
    return reaches


SAFE_FACTOR = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Crash:
    """The overlap along the motion.

    Parameters
    ----------
    outcome : Outcome
        What happens over the whole travel looked at; digging in anywhere counts as digging in.
    moved_mm : tuple of float
        How far the fastest point has moved.
    overlap_mm3 : tuple of float
        Common volume with the wheel there.
    first_mm : float or None
        Travel after which the overlap first exceeds that at the start; None where it never does.
    """

    outcome: Outcome
    moved_mm: tuple[float, ...]
    overlap_mm3: tuple[float, ...]
    first_mm: float | None


def follow_overlap(
    overlap_mm3: Callable[[float], float],
    *,
    travel_mm: float = 2.0,
    noise_mm3: float = 1e-6,
    samples: int = 9,
) -> Crash:
    """Move the body along its failure and read whether the wheel takes more of it.

    Parameters
    ----------
    overlap_mm3 : callable
        Common volume of body and wheel after the fastest point has moved this far, mm.
    travel_mm : float
        How far to look. Samples are spaced geometrically, since the first hundredth matters most.
    noise_mm3 : float
        Change of volume that counts as none.
    samples : int
        Number of samples besides the start.

    Returns
    -------
    Crash
        Outcome and samples.

    Raises
    ------
    SetupError
        Travel or samples make no sense.
    NotComputedError
        An overlap is negative or not finite.
    """
    if not travel_mm > 0.0 or samples < 2:
        message = f"crash: travel {travel_mm} mm, {samples} samples; state a travel above zero, two samples"
        raise SetupError(message)
    moved = (0.0, *(float(t) for t in travel_mm * np.geomspace(1e-3, 1.0, samples)))
    overlaps = tuple(float(overlap_mm3(t)) for t in moved)
    for t, volume in zip(moved, overlaps, strict=True):
        if not (np.isfinite(volume) and volume >= -noise_mm3):
            message = f"crash: the overlap after {t:.4f} mm came out as {volume} mm³"
            raise NotComputedError(message)
    start = overlaps[0]
    grown = [t for t, volume in zip(moved, overlaps, strict=True) if volume > start + noise_mm3]
    shrinks = overlaps[-1] < start - noise_mm3
    outcome = Outcome.FALLS_AWAY if shrinks else Outcome.STAYS
    return Crash(
        outcome=Outcome.DIGS_IN if grown else outcome,
        moved_mm=moved,
        overlap_mm3=overlaps,
        first_mm=grown[0] if grown else None,
    )


def crash_verdict(
    outcome: Outcome, factor: float, *, hold_factor: float, safe_factor: float = SAFE_FACTOR
) -> Verdict:
    """Judge a factor together with where the body goes.

    Parameters
    ----------
    outcome : Outcome
        What the freed body does.
    factor : float
        Low end of the factor at collapse.
    hold_factor : float
        Factor that every set-up must reach.
    safe_factor : float
        Factor below which digging in is a no-go; above it, it stays a caution.

    Returns
    -------
    Verdict
        Digging in: no-go below `safe_factor`, else caution. Otherwise no-go below one (it lets go under the
        cut itself), caution below `hold_factor`, else go.
    """
    if not np.isfinite(factor):
        return Verdict.UNKNOWN
    if outcome is Outcome.DIGS_IN:
        return Verdict.NO_GO if factor < max(safe_factor, hold_factor) else Verdict.CAUTION
    if factor < 1.0:
        return Verdict.NO_GO
    return Verdict.CAUTION if factor < hold_factor else Verdict.GO
