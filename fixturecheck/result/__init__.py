"""The result of a check: all that was found, which reports show and nothing computes again."""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib import import_module

from fixturecheck.result.contact import Contact, CutMade
from fixturecheck.result.dials import CutDials, DatumOffset
from fixturecheck.result.finding import Finding, Group, NotAsked, Verdict
from fixturecheck.result.grouping import identified
from fixturecheck.result.hardening import HardeningFound
from fixturecheck.result.hold import HoldFound
from fixturecheck.result.rest import Rest, Touching
from fixturecheck.result.shapes import BodyDrawn, NamedShape, StatedFact
from fixturecheck.units import SMALL_LENGTHS, shown_in


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A file the set-up was read from.

    Parameters
    ----------
    path : str
        From the set-up's folder.
    sha256 : str
        Its SHA-256, in hexadecimal.
    """

    path: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """A value that was used without being stated, or that is stated as a guess.

    Parameters
    ----------
    of : str
        What it belongs to: `machine`, `cut floor`, `equipment vee`; several are named in one text.
    key : str
        The key that would state it.
    value : float, str or bool
        What was used, a number in `unit`.
    hangs_on : str
        What depends on it.
    aside : bool
        Whether it is one of many of its sort that seldom matter: sizes of equipment, tolerances, seats.
    guessed : bool
        Whether the set-up states it, and lists it among its guesses.
    """

    of: str
    key: str
    value: float | str | bool
    unit: str
    hangs_on: str
    aside: bool = False
    guessed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """Everything a check found; reports compute nothing.

    Parameters
    ----------
    verdict : Verdict
        The worst of the findings'.
    name : str
        What the set-up is called.
    sources : tuple of Source
        The files that it was read from, the set-up's own first.
    findings : tuple of Finding
        Every answer, in the order of the checks; each is given its id here.
    contacts : tuple of Contact
        Every patch where bodies touch or nearly do, as drawn.
    cuts : tuple of CutMade
        Every cut as ground.
    dials : tuple of CutDials
        What the dials of each cut read; empty where the machine has none.
    offsets : tuple of DatumOffset
        What is set by an edge finder from a stop.
    shapes : tuple of NamedShape
        Bodies, patches and regions, for setup.step and the pictures.
    units, small_lengths : str
        `mm` or `inch`; and `as units` or `thou`, for lengths below a tenth of an inch.
    groups : tuple of Group
        Every finding once: like ones together, what follows from another under it.
    not_asked : tuple of NotAsked
        The questions that the verdict does not cover, in the order of the checks.
    assumed : tuple of Assumed
        What was used without being stated.
    rest, holding, hardening : Rest, HoldFound, HardeningFound or None
        None where the set-up does not state them.
    touching : Touching or None
        How the bodies stand to each other, where that alone was asked; None in the result of a check.
    stated : tuple of StatedFact
        Every value of the set-up; empty in a result that no set-up gave.
    bodies : tuple of BodyDrawn
        Every body with its faces, as drawn.
    setup : object
        The `Setup` that was checked, for the report to show; None in a result that no check made.
    """

    verdict: Verdict
    name: str
    units: str
    sources: tuple[Source, ...]
    findings: tuple[Finding, ...]
    contacts: tuple[Contact, ...]
    cuts: tuple[CutMade, ...]
    shapes: tuple[NamedShape, ...]
    dials: tuple[CutDials, ...] = ()
    offsets: tuple[DatumOffset, ...] = ()
    rest: Rest | None = None
    holding: HoldFound | None = None
    hardening: HardeningFound | None = None
    touching: Touching | None = None
    not_asked: tuple[NotAsked, ...] = ()
    groups: tuple[Group, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    small_lengths: str = SMALL_LENGTHS[0]
    stated: tuple[StatedFact, ...] = ()
    bodies: tuple[BodyDrawn, ...] = ()
    setup: object = field(default=None, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Give each finding an id that no other of the result has."""
        object.__setattr__(self, "findings", identified(self.findings))

    def _repr_html_(self) -> str:
        """Return what a notebook shows: verdict, tables and the 3-D view, in a frame of its own."""
        # Only a notebook asks; what shows results is built on results, and is loaded when it is needed.
        shown: str = import_module("fixturecheck.report.write").notebook_html(self)
        return shown

    @property
    def shown_in(self) -> str:
        """What reports write lengths in: `mm`, `inch`, or `thou` for inches and thousandths."""
        return shown_in(self.units, self.small_lengths)
