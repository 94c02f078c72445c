"""By what factor contacts hold a load, as a range over all starts and over the ranges of all inputs.

The factor multiplies the cutting load; weight, magnet and clamps stay as they are. Real friction does not
dilate, so what the contacts carry at collapse can depend on how they came to rest. The analysis therefore
starts from different rests and with different fits, keeps the range of factors, and its lower end counts. No
start is left out, whatever the others give: only a rest that is the same as another is not followed twice.

The factor has a range, since inputs are not known well. Each of them is moved to its low and its high end
with the others in the middle (a tornado); the ends that lower the factor are then put together, and so are
the ends that raise it. Where the middle lies beyond the ceiling no input would show there, so the others stay
at a corner that is known to be weak. More friction or a harder clamp does not always hold better, so a few
drawn combinations are tried as well and may widen the range.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.cache import cached
from fixturecheck.effort import COLLAPSE, spend
from fixturecheck.errors import NotComputedError
from fixturecheck.interval import Range
from fixturecheck.result.hold import LetsGo
from fixturecheck.statics.equilibrium import Equations, EquilibriumProblem, uneven_fits, write_equations
from fixturecheck.statics.limit import limit_factor, unpushed_share
from fixturecheck.statics.loading import BALANCED, LOOSE, LoadPath, PathEnd, State, load_path, settle_held
from fixturecheck.statics.mechanism import StartingMotion, starting_motions

CEILING = 100.0
# Shear below this share of what the contacts carry is rounding: such a rest needs no friction.
NO_SHEAR = 1e-6
# A factor that is nothing: without friction, or under its own weight alone, a path creeps on in its own
# rounding and drag where the bound is zero or next to it.
NOTHING = 5e-3


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
    ended : PathEnd or None
        How the decisive path ended; None where the set-up does not rest.
    motions : tuple of StartingMotion
        What moves, the fastest first; empty when nothing does.
    carried_n : ndarray, shape (contacts, 3)
        Contact forces at collapse: normal and two in the plane.
    """

    factor: Range
    bound_factor: float
    at_least: bool
    rests: bool
    ended: PathEnd | None
    motions: tuple[StartingMotion, ...]
    carried_n: Floats

    @property
    def failure(self) -> LetsGo:
        """How it lets go, without the forces."""
        return LetsGo(
            rests=self.rests,
            factor=self.factor.low,
            at_least=self.at_least,
            broke_off=self.ended is PathEnd.BROKE_OFF,
            motions=self.motions,
        )

    @property
    def goes(self) -> str | None:
        """Name of the body that goes first, None where nothing moves."""
        return self.motions[0].body if self.motions else None


def collapse(holding: EquilibriumProblem, *, ceiling: float = CEILING, enough: float = math.inf) -> Collapse:
    """Load a holding until it lets go.

    Parameters
    ----------
    holding : EquilibriumProblem
        Bodies, contact points and loads.
    ceiling : float
        Factor beyond which nobody needs to know more.
    enough : float
        The same, where another holding is known to let go there. A factor below it is the very same as
        without it; one above may be any above.

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
    return _collapse(holding, ceiling, enough)


@cached
def _collapse(holding: EquilibriumProblem, ceiling: float, enough: float) -> Collapse:
    equations = write_equations(holding)
    bound = limit_factor(equations)
    found: list[tuple[LoadPath, State]] = []
    for start in _starts(holding, equations):
        if not start.must_rest and not (_sheared(found[0][1]) and _may_rest_slick(start.resting)):
            continue
        try:
            rest, rests = settle_held(start.resting)
            if rests:
                path = load_path(start.loading, rest, ceiling=ceiling, enough=enough)
                found.append((path, rest))
        except NotComputedError as reason:
            raise NotComputedError(f"{reason} ({start.name})") from reason
        if not rests and start.must_rest:
            return _no_rest(holding, equations, rest, bound)
    path, _ = min(found, key=lambda pair: pair[0].factor)
    factors = [candidate.factor for candidate, _ in found]
    if max(factors) > bound * (1.0 + 1e-3) + max(_blur(equations), NOTHING):
        raise NotComputedError(
            f"collapse: a factor of {max(factors):.4g} lies above its upper bound {bound:.4g}"
        )
    factors = [min(f, bound, ceiling) for f in factors]
    factor = Range(low=min(factors), high=max(factors))
    at_least = path.ended is PathEnd.CEILING
    moving = () if at_least else _motion_at_end(holding, equations, path)
    return Collapse(
        factor=factor,
        bound_factor=bound,
        at_least=at_least,
        rests=True,
        ended=path.ended,
        motions=moving,
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
            equations, normal_n_mm=uneven * equations.normal_n_mm, shear_n_mm=uneven * equations.shear_n_mm
        )
        yield _Start(name=name, resting=stiff, loading=stiff)


def _sheared(rest: State) -> bool:
    """Say whether friction carries some of a rest; where it does not, tapping the parts changes nothing."""
    shear, normal = np.abs(rest.carried_n[:, 1:]), rest.carried_n[:, 0]
    return float(shear.max(initial=0.0)) > NO_SHEAR * float(normal.max(initial=0.0))


def _may_rest_slick(equations: Equations) -> bool:
    """Say whether contacts without friction may carry the held loads, which is known without any search."""
    return unpushed_share(equations) <= 2.0 * BALANCED


def _motion_at_end(
    holding: EquilibriumProblem, equations: Equations, path: LoadPath
) -> tuple[StartingMotion, ...]:
    """Motion over the last step of the path."""
    before, after = path.steps[-2].state, path.steps[-1].state
    return starting_motions(holding.bodies, equations.twists @ (after.freedoms_mm - before.freedoms_mm))


def _no_rest(holding: EquilibriumProblem, equations: Equations, state: State, bound: float) -> Collapse:
    """Answer for a set-up that does not even rest."""
    moving = starting_motions(holding.bodies, equations.twists @ state.freedoms_mm)
    return Collapse(
        factor=Range.exactly(0.0),
        bound_factor=bound,
        at_least=False,
        rests=False,
        ended=None,
        motions=moving,
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
        Combinations drawn besides the tornado and its two ends, alike each time.

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
    for values in _together(swings, around) + _drawn(inputs, draws if len(swings) > 1 else 0):
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


def _drawn(inputs: Mapping[str, Range], draws: int) -> list[dict[str, float]]:
    """Combinations of ends, drawn with a fixed seed."""
    picks = np.random.default_rng(1).integers(0, 2, size=(draws, len(inputs)))
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
