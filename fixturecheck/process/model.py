"""The whole job as stated and as found: part, blank, operations in order, the part's states, and verdicts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fixturecheck.fields import allowed
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.process.records import Operation
from fixturecheck.result import Result, Source
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Setup
from fixturecheck.units import UNITS, Writing

PartFunction = Callable[[Body, Body], Setup]
"""Of a script: makes the set-up of an operation, given the part before and after it."""

SetupMaker = Callable[[Body, "PartState", "PartState"], Setup]
"""Makes the set-up of an operation, given the finished part and its states before and after the operation."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blank:
    """What the part is made from.

    Parameters
    ----------
    solid : Solid
        In the part's frame.
    faces : mapping of str to tuple of int
        Its named faces, as indices into its faces.
    """

    solid: Solid
    faces: Mapping[str, tuple[int, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """One part from its blank to finished.

    Parameters
    ----------
    name : str
        What it is called.
    part : Body
        The finished part with its named faces.
    blank : Blank or None
        What it is made from; None takes what the first operation starts from.
    operations : tuple of Operation
        In the order of their numbers.
    makers : mapping of int to callable
        By the operation's number, what makes its set-up of the part before and after it.
    stated_solids : mapping of int to Solid
        By the operation's number, the part before it, where that is stated.
    count : int
        How many parts are made.
    units : str
        `mm` or `inch`: what reports show.
    sources : tuple of Source
        The files that it was read from.
    where : mapping of str to str
        File and line of `job`, `part` and `blank`, of each operation by its number, and of its keys as
        `30.stones`; of a script its file, and operations that are written out. A `TextSpot` where in a file.
    """

    name: str
    part: Body
    operations: tuple[Operation, ...]
    blank: Blank | None = None
    makers: Mapping[int, SetupMaker] = field(default_factory=dict)
    stated_solids: Mapping[int, Solid] = field(default_factory=dict)
    count: int = field(default=1, metadata=allowed(1, 100000))
    units: str = field(default="mm", metadata=allowed(words=UNITS))
    sources: tuple[Source, ...] = ()
    where: Mapping[str, str] = field(default_factory=dict, repr=False)

    @property
    def write(self) -> Writing:
        """What writes the quantities of its sentences, in its units."""
        return Writing(units=self.units)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartState:
    """The part between two operations.

    Parameters
    ----------
    after : int or None
        Number of the operation that it comes out of; None before the first one.
    solid : Solid
        The part.
    faces : mapping of str to tuple of int
        Faces of the finished part and of the blank that are there, as indices into its faces.
    stock_mm : mapping of str to float
        What is still to come off a face, by name; faces without are at their size.
    known : frozenset of str
        All names of the finished part and of the blank, whether or not their faces are there.
    face_count : int
        How many faces it has.
    volume_mm3 : float
        Its volume.
    taken : Shape or None
        What the operation took off; None before the first, and where it took nothing.
    taken_mm3 : float
        Volume of that.
    """

    after: int | None
    solid: Solid
    faces: Mapping[str, tuple[int, ...]]
    stock_mm: Mapping[str, float]
    volume_mm3: float
    known: frozenset[str]
    face_count: int
    taken: Shape | None = None
    taken_mm3: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BurrEdge:
    """An edge that a cut leaves beside a face.

    Parameters
    ----------
    face : str
        The face that the burr stands on.
    other : str
        The face on the other side of the edge.
    made_in : int
        Number of the operation that leaves it.
    height_mm : float
        How high it stands.
    assumed : bool
        Whether that height was not stated.
    length_mm : float
        Length of the edge.
    middle_mm : Vector
        Middle of the edge in the part's frame.
    """

    face: str
    other: str
    made_in: int
    height_mm: float
    assumed: bool
    length_mm: float
    middle_mm: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyOff:
    """How one body of an operation comes off.

    Parameters
    ----------
    body : str
        The body.
    says : str
        What is done to it, in one sentence.
    by_hand : bool
        Whether fingers do.
    pry_at : str
        Where a pry reaches it; empty where none is needed or none reaches.
    demagnetise : bool
        Whether its steel keeps magnetism, so that it is demagnetised before it is lifted.
    not_slid : tuple of str
        Faces that it must not be slid on, since one that is finished would rub, `body.face`.
    rubs : tuple of str
        Faces that rub whichever way it comes off, `body.face`.
    """

    body: str
    says: str
    by_hand: bool
    pry_at: str = ""
    demagnetise: bool = False
    not_slid: tuple[str, ...] = ()
    rubs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OperationFound:
    """One operation as found.

    Parameters
    ----------
    operation : Operation
        As stated.
    before, after : PartState
        The part before and after it.
    verdict : Verdict or None
        The worst of its own check's and of what looks across operations; None where nothing was asked about
        it, which is no pass.
    result : Result or None
        What its set-up's check found; None where it has no set-up, or was not checked.
    not_checked : str
        Why its set-up was not checked; empty where it was, or where there is none.
    findings : tuple of Finding
        What looking across operations found about it.
    burrs : tuple of BurrEdge
        Edges that it leaves.
    to_stone : tuple of BurrEdge
        Edges that have to be stoned before it.
    comes_off : tuple of BodyOff
        How its bodies come off, the first one first.
    """

    operation: Operation
    before: PartState
    after: PartState
    verdict: Verdict | None
    result: Result | None = None
    not_checked: str = ""
    findings: tuple[Finding, ...] = ()
    burrs: tuple[BurrEdge, ...] = ()
    to_stone: tuple[BurrEdge, ...] = ()
    comes_off: tuple[BodyOff, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JobResult:
    """The job as found.

    Parameters
    ----------
    job : Job
        As stated.
    verdict : Verdict
        The worst of all.
    states : tuple of PartState
        The part before the first operation and after each.
    operations : tuple of OperationFound
        In their order.
    findings : tuple of Finding
        What looking across operations found about the job as a whole.
    """

    job: Job
    verdict: Verdict
    states: tuple[PartState, ...]
    operations: tuple[OperationFound, ...]
    findings: tuple[Finding, ...] = ()
