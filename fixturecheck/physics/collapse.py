"""Does it hold, by what factor, and if it lets go, which body goes and how.

The factor multiplies the cutting load; weight, magnet and clamps stay as they are. Real friction does not
dilate, so what the contacts carry at collapse can depend on how they came to rest. The analysis therefore
starts from different rests and with different fits, keeps the range of factors, and its lower end counts. No
start is left out, whatever the others give: only a rest that is the same as another is not followed twice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.effort import COLLAPSE, spend
from fixturecheck.errors import NotComputedError
from fixturecheck.hold_result import LetsGo
from fixturecheck.physics.collapse_motion import Motion, motions
from fixturecheck.physics.equilibrium import Equations, FloatArray, Holding, write_equations
from fixturecheck.physics.equilibrium_patch import uneven_fits
from fixturecheck.physics.equilibrium_path import LoadPath, load_path, settle_held
from fixturecheck.physics.equilibrium_solve import LOOSE, State
from fixturecheck.physics.limit_load import limit_factor
from fixturecheck.physics.ranges import Range

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
    motions : tuple of Motion
        What moves, the fastest first; empty when nothing does.
    rest_n, carried_n : ndarray, shape (contacts, 3)
        Contact forces before the cut and at collapse: normal and two in the plane.
    """

    factor: Range
    bound_factor: float
    at_least: bool
    rests: bool
    ended: str
    motions: tuple[Motion, ...]
    rest_n: FloatArray
    carried_n: FloatArray

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


def collapse(holding: Holding, *, ceiling: float = CEILING) -> Collapse:
    """Load a holding until it lets go.

    Parameters
    ----------
    holding : Holding
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


def _starts(holding: Holding, equations: Equations) -> Iterator[_Start]:
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


def _motion_at_end(holding: Holding, equations: Equations, path: LoadPath) -> tuple[Motion, ...]:
    """Motion over the last step of the path."""
    before, after = path.steps[-2].state, path.steps[-1].state
    return motions(holding.bodies, equations.twists @ (after.freedoms_mm - before.freedoms_mm))


def _no_rest(holding: Holding, equations: Equations, state: State, bound: float) -> Collapse:
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
