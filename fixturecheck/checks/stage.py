"""What every check is given, and which questions a set-up does not ask, so that no verdict covers them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from fixturecheck.checks import MODULES
from fixturecheck.contact.patch import ContactMap
from fixturecheck.dials.plan import Dialled
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Solid
from fixturecheck.machining.as_milled import MilledCut
from fixturecheck.machining.cut import GroundCut
from fixturecheck.nesting.answer import StagingAnswer
from fixturecheck.nesting.seating import face_place
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.dials import DatumOffset
from fixturecheck.result.finding import Finding, NotAsked, WhyNotAsked
from fixturecheck.result.hardening import HardeningFound
from fixturecheck.result.shapes import NamedShape, Vector
from fixturecheck.setup.model import Setup
from fixturecheck.setup.records import Rank

if TYPE_CHECKING:
    from fixturecheck.holding.model import Held

_HELD = frozenset({"hold", "crash", "release"})
_STAGED = frozenset({"rest", "location", "tolerance"})
_OF_THE_REST = frozenset({"location", "tolerance"})
_ANY_CUT = frozenset({"reach", "clear"})
_CUT = frozenset({"reach", "clear", "align", "limits", "dials"})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stage:
    """The set-up worked out as far as geometry goes; checks read it and change nothing.

    Parameters
    ----------
    placed : mapping of str to Solid
        Every body's solid in the machine's frame.
    contacts : ContactMap
        All patches at the drawn pose.
    cuts : tuple of GroundCut
        Each cut with its wheel sweep and the part as ground.
    milled : tuple of MilledCut
        Each run of an end mill with its sweeps and the parts as milled.
    dialled : tuple of Dialled
        The dials of each cut; empty where the machine has none.
    offsets : tuple of DatumOffset
        What is set by an edge finder.
    answered : StagingAnswer or None
        What staging came to; None where none is stated, or where it could not be run.
    held : Held or None
        How the parts hold; None where no holding is stated.
    hardened : HardeningFound or None
        What hardening does to the parts; None where none is stated.
    """

    setup: Setup
    placed: Mapping[str, Solid]
    contacts: ContactMap
    cuts: tuple[GroundCut, ...]
    milled: tuple[MilledCut, ...] = ()
    dialled: tuple[Dialled, ...] = ()
    offsets: tuple[DatumOffset, ...] = ()
    answered: StagingAnswer | None = None
    held: Held | None = None
    hardened: HardeningFound | None = None

    @property
    def worked(self) -> tuple[GroundCut | MilledCut, ...]:
        """Return every cut and run that was worked out."""
        return (*self.cuts, *self.milled)

    @property
    def top_mm(self) -> float:
        """How high over the table the work stands, as it is drawn."""
        return max(box_of(s)[5] for s in self.placed.values()) - self.setup.table_z_mm

    def shapes_under(self, body: str) -> tuple[NamedShape, ...]:
        """Return the patches that a body touches anything with."""
        return tuple(
            p.shape for p in self.contacts.patches if p.contact.kind != ContactKind.NEAR and body in p.bodies
        )

    def face_place(self, body: str, face: str) -> tuple[Vector, Vector]:
        """Return the centre and the outward normal of a named flat face where it stands.

        Parameters
        ----------
        body : str
            Name of the body.
        face : str
            One of its named faces; all its pieces are averaged by area.

        Returns
        -------
        (centre, normal) : tuple of Vector
            Machine's frame; the centre in mm, the normal of unit length.

        Raises
        ------
        NotComputedError
            The face is not flat, or its pieces do not lie in one plane.
        """
        return face_place(self.setup, self.placed, body, face)


def under_spindle(stage: Stage, tool: str, tool_mm: float, daylight_mm: float) -> tuple[float, str]:
    """Return what a tool needs under the raised spindle, mm, and a sentence of that and what is there.

    Parameters
    ----------
    stage : Stage
        What stands on the table.
    tool : str
        The tool with its verb, `the tool is`.
    tool_mm : float
        Length of the tool with its holder.
    daylight_mm : float
        What the raised spindle leaves.

    Returns
    -------
    tuple of (float, str)
        Work, tool and least clearance together.
    """
    write, top_mm = stage.setup.write, stage.top_mm
    says = f"The work stands {write.length(top_mm)} over the table and {tool} {write.length(tool_mm)} long; "
    says += f"the raised spindle leaves {write.length(daylight_mm, 'g')}."
    return top_mm + tool_mm + stage.setup.machine.least_clearance_mm, says


class Check(Protocol):
    """What every module of `checks` is: one question."""

    def check(self, stage: Stage) -> Iterator[Finding]:
        """Yield the findings of one question.

        Parameters
        ----------
        stage : Stage
            The set-up worked out as far as geometry goes.

        Yields
        ------
        Finding
        """
        ...


def not_asked(setup: Setup, *, left_out: Collection[str] = (), rests: bool = True) -> tuple[NotAsked, ...]:
    """Return the checks whose question is not asked, or not in full, in the order of the checks.

    `limits` is listed without a cut, since speed, travels and daylight are asked of a cut; flanges and guard
    are looked at all the same.

    Parameters
    ----------
    setup : Setup
        What it states says what can be asked.
    left_out : collection of str
        IDs of checks that the user asked to leave out.
    rests : bool
        Whether the parts came to rest where the set-up stages them; what asks about the rest waits for that.

    Returns
    -------
    tuple of NotAsked
    """
    found = []
    for check in MODULES:
        if check in left_out:
            found.append(NotAsked(check=check, reason=WhyNotAsked.LEFT_OUT))
        elif lacks := _lacks(setup, check):
            found.append(NotAsked(check=check, reason=WhyNotAsked.NOT_STATED, lacks=lacks))
        elif check in _OF_THE_REST and not rests:
            found.append(NotAsked(check=check, reason=WhyNotAsked.WAITS, lacks="a rest of the parts"))
    return tuple(found)


def _lacks(setup: Setup, check: str) -> str:
    """Return what a check's question needs and the set-up does not state; empty where it is asked."""
    if check in _HELD and setup.holding is None:
        return "[holding]"
    if check == "crash" and setup.holding and not setup.loads_parts:
        return "[[cut]], [[mill]] or [[drill]]"
    if check in _STAGED and setup.staging is None:
        return "[staging]"
    if check == "tolerance" and not any(w > 0 for b in setup.bodies for w in b.tolerance_mm.values()):
        return "tolerance_mm of any face"
    if check == "dials" and setup.transfers:
        return ""
    if check in _ANY_CUT and not (setup.cuts or setup.end_mills):
        return "[[cut]] or [[end_mill]]"
    if check in _CUT - _ANY_CUT and not setup.cuts:
        return "[[cut]]"
    if check == "dials" and setup.machine.downfeed is None:
        return "[machine.downfeed]"
    if check == "nest" and len(list(setup.parts())) > 1 and not any(s.rank == Rank.NEST for s in setup.seats):
        return "seat of rank nest"
    return ""
