"""What a cure is tried on: one part under one cut with what holds it, and the search for the least change."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.factor import CEILING, Bearing, Rig, every_case, factors_of
from fixturecheck.holding.failure_path import GrindingScene
from fixturecheck.holding.model import LoadCase, PartHold
from fixturecheck.interval import Range
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.kernel.shapes import Solid
from fixturecheck.magnet.pull import FacePull, Magnet
from fixturecheck.statics.collapse import collapse, least_that_reaches

_ROUNDS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """A change that was tried in the full analysis and reaches the least factor.

    Parameters
    ----------
    says : str
        The change, in words that a toolmaker can act on.
    change_ratio : float
        How large it is: what is needed over what there is, one or more. The smallest is told first.
    factor : float
        Times the cutting load that the part then holds.
    """

    says: str
    change_ratio: float
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corner:
    """A case and where each input stands between its low (0) and its high end (1)."""

    case: LoadCase
    shares: Mapping[str, float]

    def factor(self, rig: Rig, bearing: Bearing) -> float:
        """Return the factor of a changed set-up at this corner."""
        inputs = rig.inputs(bearing.forces)
        values = {n: _at(span, self.shares.get(n, 0.0)) for n, span in inputs.items()}
        problem = rig.holding(values, (bearing.load(self.case, values),))
        return collapse(problem, ceiling=CEILING).factor.low


def holds_words(factor: float) -> str:
    """Say what a cured part holds."""
    if factor >= CEILING:
        return f"holds at least {CEILING:.0f} times the cutting load"
    return f"holds {factor:.1f} times the cutting load"


def _at(span: Range, share: float) -> float:
    return span.low + share * (span.high - span.low)


def _share(span: Range, value: float) -> float:
    return (value - span.low) / (span.high - span.low) if span.high > span.low else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialHold:
    """One part under one cut, ready to be changed.

    Parameters
    ----------
    scene : GrindingScene
        What stands there, and the cut.
    placed : mapping of str to Solid
    contacts : ContactMap
    rig : Rig
        What holds it, as stated.
    bearing : Bearing
        What it has to bear, as stated.
    part : PartHold
        What was found.
    least_factor : float
        What every cure has to reach.
    magnet : Magnet or None
        To be solved again.
    mesher : TetMesher
        With the meshes made so far.
    """

    scene: GrindingScene
    placed: Mapping[str, Solid]
    contacts: ContactMap
    rig: Rig
    bearing: Bearing
    part: PartHold
    least_factor: float
    magnet: Magnet | None
    mesher: TetMesher

    def first_corner(self) -> Corner:
        """Return where the set-up as stated is weakest."""
        inputs = self.rig.inputs(self.bearing.forces)
        values = self.part.factors.worst_inputs
        return Corner(case=self.part.case, shares={n: _share(s, values[n]) for n, s in inputs.items()})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Changed:
    """A set-up with a change in it."""

    rig: Rig
    bearing: Bearing

    def weakest(self) -> tuple[float, Corner]:
        """Put it through the full analysis: every case, then the ranges of the weakest."""
        borne = every_case(self.rig, self.bearing)
        found = factors_of(self.rig, self.bearing, borne[0])
        inputs = self.rig.inputs(self.bearing.forces)
        shares = {n: _share(s, found.worst_inputs[n]) for n, s in inputs.items()}
        return found.factor.low, Corner(case=borne[0].case, shares=shares)


@dataclass(slots=True, kw_only=True, eq=False, frozen=True)
class Search:
    """Looks for the least number of steps of a change that reaches the factor.

    Parameters
    ----------
    change : callable
        The set-up with so much of the change in it; None where it cannot be made.
    corners : list of Corner
        Where the set-up, as stated or changed, was found weakest: what is tried first at every step.
    """

    change: Callable[[float], Changed | None]
    corners: list[Corner] = field(default_factory=list)

    def least(
        self, target_factor: float, *, now: float, most: float, step: float
    ) -> tuple[float, float] | None:
        """Return the value, on the grid of steps, and its factor; None where the most does not reach it.

        `most` may lie below `now`. Corners known are cheap and are searched by halving; the value found is
        then put through the full analysis, which either confirms it or gives a weaker corner to search with.
        """
        sign = math.copysign(1.0, most - now)
        steps = math.floor(abs(most - now) / step + 1e-9)
        if steps < 1:
            return None
        first = 0
        for _ in range(_ROUNDS):
            count = self._quick(target_factor, now, sign * step, first, steps)
            if count is None:
                return None
            value = now + sign * step * count
            made = self.change(value)
            if made is None:
                return None
            factor, corner = made.weakest()
            if factor >= target_factor:
                return value, factor
            self.corners.append(corner)
            first = count
        return None

    def _quick(self, target: float, now: float, step: float, first: int, last: int) -> int | None:
        """Return the least count of steps that reaches the target at every corner known."""

        def factor(count: float) -> float:
            made = self.change(now + step * math.ceil(count - 1e-9))
            return min(c.factor(made.rig, made.bearing) for c in self.corners) if made else 0.0

        if first >= last:
            return None
        found = least_that_reaches(factor, target, now=first, most=last, share=0.5 / (last - first))
        return None if found is None else max(math.ceil(found - 1e-9), first + 1)


def scaled_pull(rig: Rig, ratio: float, pulled: Callable[[FacePull], bool]) -> Rig:
    """Return the rig with the pull of some of its faces so many times as strong.

    Raises
    ------
    NotComputedError
        There is no such pull.
    """
    if rig.pulls is None or not any(pulled(f) for f in rig.pulls.faces):
        message = "no magnet pulls here"
        raise NotComputedError(message)
    faces = tuple(
        replace(f, weak_n=ratio * f.weak_n, strong_n=ratio * f.strong_n) if pulled(f) else f
        for f in rig.pulls.faces
    )
    return replace(rig, pulls=replace(rig.pulls, faces=faces))


def any_of(remedies: Iterable[str]) -> str | None:
    """Return remedies of which any one will do, each as a sentence; None where there is none."""
    return " Or: ".join(f"{r.rstrip('.')}." for r in remedies) or None
