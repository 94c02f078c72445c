"""What a hold asks of whatever cuts a part, a grinding wheel or a milling cutter, and of a part it has freed.

A process says where the tool may stand and how it loads the part there. Its scene says what the tool takes of
a part that has let go. Factor, losses, failure path and remedies ask nothing else of wheel or cutter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from fixturecheck.holding.model import Borne, LoadCase
from fixturecheck.holding.rig import Rig
from fixturecheck.interval import Range
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.machining.bite import Bitten
from fixturecheck.result.hold import Tool
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.setup.model import Setup
from fixturecheck.statics.equilibrium import Load
from fixturecheck.statics.mechanism import Crash, StartingMotion

TRAVEL_MM = 2.0
"""How far a freed part is followed into the tool: by then it has been thrown or the wheel has broken."""
FAR_MM = 30.0
"""How far it is followed to whatever it runs into."""
NEAR_MM = 0.01
"""How close what moves and what stands have met."""
_ROUNDING_MM = 1e-6

Bite = Crash | Bitten
"""What the tool takes of a freed part, along its way."""


class CutLoads(Protocol):
    """One part under one cut: where the tool may stand, and what it does to the part there."""

    @property
    def setup(self) -> Setup:
        """The set-up as stated."""

    @property
    def placed(self) -> Mapping[str, Solid]:
        """Every body where it stands."""

    @property
    def part(self) -> str:
        """Name of the part."""

    @property
    def cut_name(self) -> str:
        """Name of the cut."""

    @property
    def tool(self) -> Tool:
        """What cuts."""

    @property
    def forces(self) -> Mapping[str, Range]:
        """Each force of the cut, low to high, N."""

    @property
    def heaviest(self) -> Mapping[str, float]:
        """The inputs of the cut at which its cases are sorted."""

    def inputs(self, case: LoadCase) -> Mapping[str, Range]:
        """Return what is not known well of the cut in a case."""

    def cases(self) -> tuple[LoadCase, ...]:
        """Return where the tool may stand to the part.

        Raises
        ------
        NotComputedError
            It meets the part nowhere.
        """

    def loads(self, case: LoadCase, values: Mapping[str, float]) -> tuple[Load, ...]:
        """Return what the tool does to the part in a case, at some values of the inputs.

        Parameters
        ----------
        case : LoadCase
            One of `cases`.
        values : mapping of str to float
            One for each of `inputs`.
        """

    def weakest(self, borne: Callable[[Mapping[str, float]], Borne]) -> Borne:
        """Return what is borne least of the ends of the inputs that count.

        Parameters
        ----------
        borne : callable
            Loads one case at some values of the inputs of the cut, up to the least factor that it came to
            at others.
        """


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lighter:
    """One number of a cut that may be made smaller, so that the tool pushes less.

    Parameters
    ----------
    kind : RemedyKind
        Which number it is.
    now_mm, least_mm, step_mm : float
        As stated, the least worth setting, and the step of the answer.
    at : callable
        The cut with another value of it.
    """

    kind: RemedyKind
    now_mm: float
    least_mm: float
    step_mm: float
    at: Callable[[float], CuttingProcess]


class CuttingProcess(CutLoads, Protocol):
    """One part under one cut: its loads, what becomes of it once it lets go, how it may be cut otherwise."""

    def scene(self, rig: Rig) -> FreedScene | None:
        """Return what stands there once the part has let go; None where the tool alone says what happens."""

    @property
    def floor_mm(self) -> float:
        """Height of the floor of the cut; the tool stands nowhere below it over the part."""

    def clears(self, shape: Shape) -> bool:
        """Say whether the tool keeps the machine's least clearance from a shape over its whole travel."""

    def counterpart(self, case: LoadCase) -> LoadCase:
        """Return the case of this cut that comes nearest to one of the cut that it was made lighter from."""

    def lighter(self) -> tuple[Lighter, ...]:
        """Return the numbers of the cut that may be made smaller."""

    def turned(self) -> Iterator[tuple[RemedyKind, tuple[str, str], CuttingProcess]]:
        """Yield the same cut taken another way: what is changed, how it is stated and how it then goes."""

    def alone_in(self, setup: Setup) -> Setup:
        """Return a set-up with this cut over this part and no other."""

    def moved_to(self, setup: Setup, placed: Mapping[str, Solid]) -> CuttingProcess:
        """Return the same cut over the same part held otherwise.

        Parameters
        ----------
        setup : Setup
            One that has the part in it.
        placed : mapping of str to Solid
            Every body of it where it stands.
        """


def stays_below(shape: Shape, process: CuttingProcess) -> bool:
    """Say whether a shape stays below the floor of a cut; what stands higher is not known to be clear.

    Parameters
    ----------
    shape : Shape
        Where it stands.
    process : CuttingProcess
        The cut; its machine states the least clearance.

    Returns
    -------
    bool
    """
    return box_of(shape)[5] <= process.floor_mm - process.setup.machine.least_clearance_mm + _ROUNDING_MM


class FreedScene(Protocol):
    """Everything that stands there while a cut is made, and what the tool takes of a part that has let go."""

    @property
    def process(self) -> CuttingProcess:
        """The cut."""

    @property
    def rig(self) -> Rig:
        """What holds the set-up."""

    @property
    def standing(self) -> Mapping[str, Shape]:
        """Every body, as the cut leaves it."""

    @property
    def stops_count(self) -> bool:
        """Whether what stands in the way of a part bounds the bite; else what it meets ends its slide."""

    def others(self, case: LoadCase) -> Mapping[str, Shape]:
        """Return what a freed part may run into in a case."""

    def stands_firm(self, name: str) -> bool:
        """Say whether a body stops what runs into it."""

    def bite(
        self,
        case: LoadCase,
        motions: Sequence[StartingMotion],
        stopped_mm: float | None = None,
        *,
        travel_mm: float,
    ) -> tuple[Bite, str | None]:
        """Return what the tool takes of the bodies that move, and the one bitten into; None for none.

        Parameters
        ----------
        motions : sequence of StartingMotion
            Of every body that moves, the part's own first.
        stopped_mm : float or None
            How far the part moves until something stands in its way.
        travel_mm : float
            How far it is followed where nothing does.
        """

    def drawn_in(self, case: LoadCase, motion: StartingMotion) -> bool:
        """Say whether a body moves the way it is fed, under the wheel or against the cutter.

        Parameters
        ----------
        case : LoadCase
            States the feed or the stroke.
        motion : StartingMotion
            How the body starts.
        """
