"""What is known of a hold: loads, factors with their ranges, where a part goes, what would cure it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.holding.bearing import Spot
from fixturecheck.interval import Range
from fixturecheck.machining.bite import Bitten
from fixturecheck.magnet.pull import Pulls
from fixturecheck.result.hold import AxialStroke, CutCase, CutterWay, KeptFixture, Loss, Outcome, Stroke, Tool
from fixturecheck.result.release import BodyLeaves, Burr, FirstSteps
from fixturecheck.result.remedy import Remedy, RemedyUnknown
from fixturecheck.result.shapes import Vector
from fixturecheck.statics.collapse import Collapse, FactorRange
from fixturecheck.statics.equilibrium import EquilibriumProblem, Load
from fixturecheck.statics.mechanism import Crash, StartingMotion


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadCase:
    """One place and stroke of the cut at which a part is looked at.

    Parameters
    ----------
    of_cut : CutCase
        The stroke, and what the case is known by.
    at_mm : Vector
        The wheel's lowest point; of a milling cut, where the tooth that pushes hardest meets the part; of a
        tool that goes down its own axis, a point on that.
    axis_mm : Vector or None
        The lower end of the axis of a milling cutter; None for a wheel.
    group : tuple of int
        Cases of one group differ by no more than the cutter's turn: way, strip, place and ends of what is
        square to the cutting force. A case of the wheel is a group of its own.
    feed : Vector or None
        Level direction in which the axis of a milling cutter goes; None for a wheel.
    teeth : tuple of Load
        What the teeth of a cutter do to the part there at their greatest force; empty for a wheel.
    midway : bool
        The wheel stands midway between the edges of the floor, where its drag turns the part least. It counts
        only for a part between two walls: turned by the drag, it jams between them and holds all the more.
    """

    of_cut: CutCase
    at_mm: Vector
    axis_mm: Vector | None = None
    group: tuple[int, ...] = ()
    feed: Vector | None = None
    teeth: tuple[Load, ...] = ()
    midway: bool = False

    @property
    def stroke(self) -> Stroke | CutterWay | AxialStroke:
        """What the tool does."""
        return self.of_cut.stroke


Change = Callable[[EquilibriumProblem], EquilibriumProblem]
"""What is lost of a holding."""


def nothing_lost(whole: EquilibriumProblem) -> EquilibriumProblem:
    """Return a holding as it is.

    Parameters
    ----------
    whole : EquilibriumProblem
        As stated.

    Returns
    -------
    EquilibriumProblem
        The same.
    """
    return whole


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Borne:
    """One case loaded until it lets go, at one corner of the inputs.

    Parameters
    ----------
    problem : EquilibriumProblem
        What was loaded.
    change : callable
        What is lost of the holding as stated.
    spots : tuple of Spot
        What is touched, as it was cut up for this; empty where that is as coarse as at first.
    settled : bool
        Whether smaller cells no longer change the factor.
    """

    case: LoadCase
    values: Mapping[str, float]
    problem: EquilibriumProblem
    collapse: Collapse
    change: Change = nothing_lost
    spots: tuple[Spot, ...] = ()
    settled: bool = False

    @property
    def low_factor(self) -> float:
        """The least factor of all starts."""
        return self.collapse.factor.low


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lost:
    """What is left when one thing is lost.

    Parameters
    ----------
    lost : Loss
        What is lost.
    borne : tuple of Borne
        Every case without it, the one borne least first; empty where it could not be computed.
    reason : str
        Why not.
    """

    lost: Loss
    borne: tuple[Borne, ...]
    reason: str = ""

    @property
    def collapse(self) -> Collapse | None:
        """The case that is borne least."""
        return self.borne[0].collapse if self.borne else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Way:
    """Where a part goes if it lets go in one case.

    Parameters
    ----------
    case : LoadCase
        Stroke and place of the wheel.
    factor : float
        Times the cutting load at which it lets go there.
    lost : Loss or None
        What is lost besides; None for the set-up as stated.
    motion : StartingMotion or None
        How the body that goes first starts to move; None where no motion was found, and then no crash either.
    crash : Crash, Bitten or None
        What wheel or cutter takes of it; None where it could not be followed.
    bites : str or None
        The body that is bitten into; None where it bites into none.
    drawn_in : bool
        It moves the way it is fed, under the wheel or against the cutter.
    hits : str or None
        The first thing that the part runs into; None where it meets nothing.
    hits_after_mm : float or None
        How far it has moved by then.
    reason : str
        Why `crash` is None.
    over : tuple of str
        What a part had come up against, one after the other, before it went this way past it.
    """

    case: LoadCase
    factor: float
    lost: Loss | None
    motion: StartingMotion | None
    crash: Crash | Bitten | None
    bites: str | None = None
    drawn_in: bool = False
    hits: str | None = None
    hits_after_mm: float | None = None
    reason: str = ""
    over: tuple[str, ...] = ()

    @property
    def digs_in(self) -> bool:
        """Whether wheel or cutter bites into it, and nothing stops it."""
        return self.crash is not None and self.crash.outcome is Outcome.DIGS_IN

    @property
    def goes(self) -> str | None:
        """The body that is followed; None where no motion was found."""
        return self.motion.body if self.motion else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ways:
    """What happens once a part has let go.

    Parameters
    ----------
    found : tuple of Way
        As the set-up is stated, for every case looked at: those that dig in first, then those that could
        not be followed, the lowest factor first among each.
    lost : tuple of Way
        The way that counts with one thing lost, for each.
    """

    found: tuple[Way, ...]
    lost: tuple[Way, ...] = ()

    @property
    def worst(self) -> Way | None:
        """The way that counts; None where nothing lets go."""
        return self.found[0] if self.found else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """What a cut pushes a part against the moving jaw of a vise.

    Parameters
    ----------
    jaw : str
        The jaw.
    push_n : float
        The most over every place of the cut, against the way that the jaw pushes.
    grip_n : float
        The least that the jaw pushes.
    """

    jaw: str
    push_n: float
    grip_n: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartHold:
    """How one part holds in one cut.

    Parameters
    ----------
    part, cut : str
        Their names.
    tool : Tool
        What cuts it.
    forces : mapping of str to Range
        Each force of the cut, low to high.
    borne : Borne
        The case that it bears least, where the factor is least.
    factors : FactorRange
        Times the cutting load, with what drives it.
    load_n : Vector
        The cutting force of that case at its worst end.
    pull_n : Range
        Pull of the magnet on the part.
    losses : tuple of Lost
        What is left when one thing is lost, the worst first.
    ways : Ways or None
        Where it goes; None where that was not asked.
    remedies : tuple of Remedy
        Changes that were tried and reach the factor, the smallest first.
    cut_short : bool
        Whether the search for them ended before all had been tried.
    pushed_off_by : tuple of str
        Clamps that push it off its seat before the cut begins.
    opened : tuple of Opened
        What the cut pushes against each vise that grips it.
    """

    part: str
    cut: str
    tool: Tool
    forces: Mapping[str, Range]
    borne: Borne
    factors: FactorRange
    load_n: Vector
    pull_n: Range
    losses: tuple[Lost, ...] = ()
    ways: Ways | None = None
    remedies: tuple[Remedy, ...] = ()
    cut_short: bool = False
    pushed_off_by: tuple[str, ...] = ()
    opened: tuple[Opened, ...] = ()

    @property
    def case(self) -> LoadCase:
        """Stroke and place that it bears least."""
        return self.borne.case

    @property
    def down_its_axis(self) -> bool:
        """Whether the tool goes down its own axis: drills, taps or plunges."""
        return isinstance(self.case.stroke, AxialStroke)


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """How the set-up comes apart.

    Parameters
    ----------
    order : tuple of BodyLeaves
        Bodies in the order in which they come away.
    burrs : tuple of Burr
        Edges that the cuts made, to be stoned.
    before : FirstSteps
        What comes before the first body is touched.
    reason : str
        Why the residual pull, or all of it, is not known; empty where it is.
    """

    order: tuple[BodyLeaves, ...]
    burrs: tuple[Burr, ...]
    before: FirstSteps
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartInCut:
    """One part in one cut: a hold that is asked for.

    Parameters
    ----------
    part, cut : str
        Their names.
    """

    part: str
    cut: str

    @property
    def subject(self) -> str:
        """What findings about it are listed under."""
        return f"{self.part} in {self.cut}"


class Whole(StrEnum):
    """What the hold of every part rests on."""

    HOLDING = "holding"
    MAGNET = "magnet"

    @property
    def subject(self) -> str:
        """What findings about it are listed under."""
        return self.value


Asked = PartInCut | Whole
"""What is worked out of a hold."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """All that was found of a set-up's hold.

    Parameters
    ----------
    parts : tuple of PartHold
        One for each part of each cut that could be computed.
    pulls : Pulls or None
        The magnet as stated; None where it could not be computed.
    release : Release or None
        How it comes apart.
    missing : mapping of PartInCut or Whole to str
        Why it could not be computed.
    notes : tuple of RemedyUnknown
        What was assumed, in words.
    kept : tuple of KeptFixture
        Fixtures of which no loss was looked at, and why.
    left_out : tuple of str
        Fixtures that stand on nothing.
    """

    parts: tuple[PartHold, ...]
    pulls: Pulls | None
    release: Release | None
    missing: Mapping[Asked, str]
    notes: tuple[RemedyUnknown, ...] = ()
    kept: tuple[KeptFixture, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def unknown(self) -> tuple[tuple[Asked, str], ...]:
        """What could not be computed and why, by subject."""
        return tuple(sorted(self.missing.items(), key=lambda one: one[0].subject))
