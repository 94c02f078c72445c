"""What a remedy is tried on, one part under one cut with what holds it; the search for the least change."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.holding.factor import CEILING, factors_of, load_cases
from fixturecheck.holding.model import LoadCase, PartHold
from fixturecheck.holding.process import CuttingProcess
from fixturecheck.holding.rig import Rig
from fixturecheck.interval import Range
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.pull import FacePull, Magnet
from fixturecheck.result.remedy import Remedy, RemedyKind
from fixturecheck.setup.model import Setup
from fixturecheck.statics.collapse import collapse

_ROUNDS = 10
_PICKED, _FAR_SHARE = 6, 0.85
"""Cases that are loaded first to refuse a change, and how much less than enough then refuses it: coarse cells
may err low."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corner:
    """A case and where each input stands between its low (0) and its high end (1)."""

    case: LoadCase
    shares: Mapping[str, float]


def _share(span: Range, value: float) -> float:
    return (value - span.low) / (span.high - span.low) if span.high > span.low else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialHold:
    """One part under one cut, ready to be changed.

    Parameters
    ----------
    process : CuttingProcess
        What it has to bear, as stated.
    rig : Rig
        What holds it, as stated.
    part : PartHold
        What was found.
    least_factor : float
        What every remedy has to reach.
    magnet : Magnet or None
        To be solved again.
    mesher : TetMesher
        With the meshes made so far.
    """

    process: CuttingProcess
    rig: Rig
    part: PartHold
    least_factor: float
    magnet: Magnet | None
    mesher: TetMesher

    @property
    def setup(self) -> Setup:
        """The set-up as stated."""
        return self.process.setup

    @property
    def low(self) -> float:
        """The factor as stated, low end."""
        return self.part.factors.factor.low

    def first_corner(self) -> Corner:
        """Return where the set-up as stated is weakest."""
        return _corner(self.rig, self.process, self.part.case, self.part.factors.worst_inputs)

    def changed(self, *, rig: Rig | None = None, process: CuttingProcess | None = None) -> Changed:
        """Return the set-up with something else to hold it, or something else to bear.

        Parameters
        ----------
        rig : Rig, optional
            What holds it instead.
        process : CuttingProcess, optional
            What it has to bear instead.
        """
        return Changed(rig=rig or self.rig, process=process or self.process)

    def least(
        self, change: Callable[[float], Changed | None], *, now: float, most: float, step: float
    ) -> tuple[float, float] | None:
        """Return the least of a change that reaches the factor, and the factor; see `Search.least`.

        Parameters
        ----------
        change : callable
            The set-up with so much of the change in it; None where it cannot be made.
        now : float
            The changed quantity as stated, in its own unit.
        most : float
            The farthest value that is tried; it may lie below `now`.
        step : float
            Step of the answer, above zero.
        """
        search = Search(change=change, corners=[self.first_corner()])
        return search.least(self.least_factor, now=now, most=most, step=step)

    def remedy(self, kind: RemedyKind, factor: float, change_ratio: float, **more: Any) -> Remedy:
        """Return a remedy of this part.

        Parameters
        ----------
        kind : RemedyKind
            What is changed.
        factor : float
            What the part then holds; at `CEILING` or above it is told as at least that.
        change_ratio : float
            What is needed over what there is, one or more.
        **more
            Further fields of `Remedy`.
        """
        return Remedy(
            kind=kind,
            part=self.part.part,
            factor=factor,
            at_least=factor >= CEILING,
            change_ratio=change_ratio,
            **more,
        )


def _corner(rig: Rig, process: CuttingProcess, case: LoadCase, values: Mapping[str, float]) -> Corner:
    inputs = rig.inputs(process.inputs(case))
    return Corner(case=case, shares={n: _share(s, values[n]) for n, s in inputs.items()})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Changed:
    """A set-up with a change in it."""

    rig: Rig
    process: CuttingProcess

    def weakest(self, target_factor: float = 0.0) -> tuple[float, Corner]:
        """Put it through the full analysis: every case, then the ranges of the weakest.

        Parameters
        ----------
        target_factor : float
            The first case that is borne less is returned, and what it holds there: the others are left out.
        """
        known = load_cases(self.rig, self.process, target_factor=target_factor).borne[0]
        if known.low_factor < target_factor:
            return known.low_factor, _corner(self.rig, self.process, known.case, known.values)
        found, _ = factors_of(self.rig, self.process, known)
        return found.factor.low, _corner(self.rig, self.process, known.case, found.worst_inputs)

    def factor(self, target_factor: float = 0.0) -> float:
        """Return the factor that it holds, by the full analysis.

        Parameters
        ----------
        target_factor : float
            Where one case picked from all is borne far less than this, its factor is returned and the others
            are left out.
        """
        cases = self.process.cases()
        for case in cases[:: max(1, len(cases) // _PICKED)] if target_factor > 0.0 else ():
            low = self.at(case, {}, target_factor=target_factor)
            if low < _FAR_SHARE * target_factor:
                return low
        return self.weakest(target_factor)[0]

    def at_corner(self, corner: Corner, *, target_factor: float) -> float:
        """Return the factor at a corner of the set-up that it was changed from, the target at most.

        Parameters
        ----------
        corner : Corner
            A case, and how far each input lies between its ends.
        target_factor : float
            Load factor at which the search ends.
        """
        return self.at(self.process.counterpart(corner.case), corner.shares, target_factor=target_factor)

    def at(self, case: LoadCase, shares: Mapping[str, float], *, target_factor: float) -> float:
        """Return the factor of one case, each input so far between its low (0) and its high end (1).

        An input that is not named is where the part holds least: what holds low, the cut at its heaviest.
        It is loaded no further than to what is enough.

        Parameters
        ----------
        case : LoadCase
            A case of this set-up's cut.
        shares : mapping of str to float
            Inputs by name, 0 to 1; names that are no input here are not read.
        target_factor : float
            Load factor at which the search ends.

        Returns
        -------
        float
            The low end of the factor.
        """
        inputs = self.rig.inputs(self.process.inputs(case))
        heavy = self.process.heaviest
        values = {
            n: span.at(shares[n]) if n in shares else heavy.get(n, span.low) for n, span in inputs.items()
        }
        problem = self.rig.holding(values, self.process.loads(case, values))
        return collapse(problem, ceiling=min(target_factor, CEILING)).factor.low


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

        Parameters
        ----------
        target_factor : float
            The factor that is to be reached.
        now : float
            The changed quantity as stated, in its own unit.
        most : float
            The farthest value that is tried.
        step : float
            Distance from one value to the next, above zero.

        Returns
        -------
        tuple of float, or None
            None also where the change cannot be made, or where too many weaker corners turn up.
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
            factor, corner = made.weakest(target_factor)
            if factor >= target_factor:
                return value, factor
            self.corners.append(corner)
            first = count
        return None

    def _quick(self, target: float, now: float, step: float, first: int, last: int) -> int | None:
        """Return the least count of steps that reaches the target at every corner known."""

        def factor(count: float) -> float:
            made = self.change(now + step * math.ceil(count - 1e-9))
            if made is None:
                return 0.0
            # What refused the last is tried first, and the first that refuses is enough.
            for corner in reversed(self.corners):
                found = made.at_corner(corner, target_factor=target)
                if found < target:
                    return found
            return target if self.corners else 0.0

        if first >= last:
            return None
        found = least_that_reaches(factor, target, now=first, most=last, share=0.5 / (last - first))
        return None if found is None else max(math.ceil(found - 1e-9), first + 1)


def scaled_pull(rig: Rig, ratio: float, pulled: Callable[[FacePull], bool]) -> Rig:
    """Return the rig with the pull of some of its faces so many times as strong.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    ratio : float
        How many times as strong.
    pulled : callable
        Tells of the pull on a face whether it is changed.

    Returns
    -------
    Rig
        The rest as it was.

    Raises
    ------
    NotComputedError
        There is no such pull.
    """
    if rig.pulls is None or not any(pulled(f) for f in rig.pulls.faces):
        raise NotComputedError("no magnet pulls here")
    faces = tuple(
        replace(f, weak_n=ratio * f.weak_n, strong_n=ratio * f.strong_n) if pulled(f) else f
        for f in rig.pulls.faces
    )
    return replace(rig, pulls=replace(rig.pulls, faces=faces))


def least_that_reaches(
    factor: Callable[[float], float], target: float, *, now: float, most: float, share: float = 1e-3
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
        raise SetupError(f"remedy: from {now} to {most} for a factor of {target} is no span to look in")
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
