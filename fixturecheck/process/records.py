"""The tables of a job as data classes, without the kernel, and whether its operations keep an order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise
from typing import TypeVar

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.units import UNITS

BURR_MM = 0.02
"""Height of a burr where none is stated: chosen here, no source; answers say so."""
N = TypeVar("N", int, str)


class OperationKind(StrEnum):
    """What is done in an operation."""

    GRIND = "grind"
    MILL = "mill"
    DRILL = "drill"
    TAP = "tap"
    HARDEN = "harden"
    DEBURR = "deburr"
    STONE = "stone"
    MEASURE = "measure"


CUTTING = frozenset({OperationKind.GRIND, OperationKind.MILL, OperationKind.DRILL, OperationKind.TAP})
"""What leaves burrs."""


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One step of the job.

    Parameters
    ----------
    number : int
        Its number on the route; operations are done in the order of their numbers.
    name : str
        What it is called.
    kind : str
        `grind`, `mill`, `drill`, `tap`, `harden`, `deburr`, `stone` or `measure`.
    makes : tuple of str
        Faces of the finished part that it makes.
    stock_mm : mapping of str to float
        What it takes off each of them, by face; `*` is the rest. Faces without stock are cut from the solid:
        holes, slots, pockets, steps.
    leave_mm : mapping of str to float
        What it leaves on each of them for a later operation.
    measured_from : tuple of str
        Faces that what it makes is measured from.
    measures : tuple of str
        Faces that are measured in it.
    stones : tuple of tuple of str
        What is stoned in it, or before it where it is no stoning: a face with all its edges, or the edge
        between two faces.
    burr_mm : float
        Height of the burr that it leaves.
    needs : tuple of int
        Operations that have to be done before it.
    growth_share : tuple of float
        Of hardening: by which share of its size the part grows, low and high; negative where it shrinks.
    temper_c : float or None
        Of hardening: the tempering temperature, for the growth of the table; None is not tempered.
    demagnetises : bool
        Whether the parts are demagnetised and wiped at its end.
    carbide : bool
        Whether its drill, tap or cutter is carbide made for hard steel; else it is high-speed steel.
    setup : str or None
        The set-up that it stands in, a TOML file counted from the job's folder.
    solid_before : str or None
        A STEP file with the part as it is before the operation, where that cannot be worked out.
    """

    number: int = field(metadata=allowed(0, 99999))
    name: str
    kind: str = field(metadata=allowed(words=OperationKind))
    makes: tuple[str, ...] = ()
    stock_mm: Mapping[str, float] = field(default_factory=dict, metadata=allowed(1e-4, 1000.0, or_zero=True))
    leave_mm: Mapping[str, float] = field(default_factory=dict, metadata=allowed(1e-4, 1000.0, or_zero=True))
    measured_from: tuple[str, ...] = ()
    measures: tuple[str, ...] = ()
    stones: tuple[tuple[str, ...], ...] = ()
    burr_mm: float = field(default=BURR_MM, metadata=allowed(1e-4, 5.0, or_zero=True))
    needs: tuple[int, ...] = ()
    growth_share: tuple[float, ...] = field(default=(), metadata=allowed(-0.02, 0.02, items=2))
    temper_c: float | None = field(default=None, metadata=allowed(20.0, 800.0))
    demagnetises: bool = False
    carbide: bool = False
    setup: str | None = None
    solid_before: str | None = None
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    def __post_init__(self) -> None:
        """Refuse a text where faces are listed, which would be read letter by letter.

        Raises
        ------
        SetupError
            Names the key, and the list that is meant.
        """
        for key in ("makes", "measured_from", "measures", "stones"):
            stated: object = getattr(self, key)
            if isinstance(stated, str):
                meant = [[stated]] if key == "stones" else [stated]
                raise SetupError(
                    f"operation {self.title!r}, {key}: state a list, like {meant}; got {stated!r}"
                )
        for pair in self.stones:
            entry: object = pair
            if isinstance(entry, str):
                raise SetupError(
                    f"operation {self.title!r}, stones: each entry lists one face, or the two beside "
                    f"an edge, like {[[entry]]}; got {entry!r}"
                )

    def stock_of(self, face: str) -> float | None:
        """Return what the operation takes off a face that it makes; None where it cuts it from the solid."""
        return self.stock_mm.get(face, self.stock_mm.get("*"))

    def leave_of(self, face: str) -> float:
        """Return what the operation leaves on a face that it makes."""
        return self.leave_mm.get(face, self.leave_mm.get("*", 0.0))

    @property
    def title(self) -> str:
        """Its number and name, as reports call it."""
        return f"{self.number} {self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobEntry:
    """The job as a whole.

    Parameters
    ----------
    name : str
        What it is called; the file's name where it is left out.
    count : int
        How many parts are made.
    units : str
        What reports show, and what `near` and places are stated in.
    """

    name: str | None = None
    count: int = field(default=1, metadata=allowed(1, 100000))
    units: str = field(default="mm", metadata=allowed(words=UNITS))


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankEntry:
    """What the part is made from: a file, or a block by its size.

    Parameters
    ----------
    file : str or None
        A STEP or BREP file in the part's frame, counted from the job's folder.
    size_mm : tuple of float
        Size of a block along X, Y and Z of the part's frame.
    low_mm : tuple of float
        Its corner of least X, Y and Z in the part's frame.
    faces : table
        Names of its faces, as of a body: for seats on faces that are cut away later.
    """

    file: str | None = None
    size_mm: tuple[float, ...] = field(default=(), metadata=allowed(0.01, 10000.0, items=3))
    low_mm: tuple[float, ...] = field(default=(), metadata=allowed(-10000.0, 10000.0, items=3))
    faces: Mapping[str, object] = field(default_factory=dict)


def makers_of(operations: Sequence[Operation]) -> dict[str, tuple[Operation, ...]]:
    """Return by face the operations that make it, in their order; a tap works in a hole that is there.

    Parameters
    ----------
    operations : sequence of Operation
        In any order.

    Returns
    -------
    dict of str to tuple of Operation
    """
    found: dict[str, tuple[Operation, ...]] = {}
    for operation in sorted(operations, key=lambda o: o.number):
        if operation.kind != OperationKind.TAP:
            for face in operation.makes:
                found[face] = (*found.get(face, ()), operation)
    return found


def refuse_bad_order(operations: Sequence[Operation], where: Mapping[int, str]) -> None:
    """Refuse operations that cannot be done as stated.

    Parameters
    ----------
    operations : sequence of Operation
        In any order.
    where : mapping of int to str
        By number, where an operation stands.

    Raises
    ------
    SetupError
        A number stands twice, an operation needs one that is not there or comes later, operations or datums
        run in a circle, or a face is made twice; all of them are told.
    """
    wrong = Mistakes()
    numbers = [o.number for o in operations]
    for number in sorted({n for n in numbers if numbers.count(n) > 1}):
        wrong.add(f"{where.get(number, '')}: operation number {number} is stated more than once".lstrip(": "))
    by_number = {o.number: o for o in operations}
    needs = {o.number: [n for n in o.needs if n in by_number] for o in operations}
    cycle = _cycle(needs)
    if cycle:
        path = " needs ".join(str(n) for n in cycle)
        wrong.add(_at(where, cycle[0], f"operations run in a circle: {path}"))
    for operation in operations:
        for number in operation.needs:
            if number not in by_number:
                reason = f"operation {operation.title!r} needs operation {number}, which is not there"
                wrong.add(_at(where, operation.number, reason))
            elif number >= operation.number and not cycle:
                reason = f"operation {operation.title!r} needs operation {number}, which comes after it"
                wrong.add(_at(where, operation.number, reason))
    _note_datum_cycles(operations, where, wrong)
    _note_made_twice(operations, where, wrong)
    wrong.raise_any()


def _at(where: Mapping[int, str], number: int, reason: str) -> str:
    return f"{where[number]}: {reason}" if number in where else reason


def _cycle(graph: Mapping[N, Sequence[N]]) -> list[N]:
    """Return the members of a cycle, the first one again at the end; empty where there is none."""
    done: set[N] = set()
    for start in graph:
        way: list[N] = []
        if _walk(graph, start, way, done):
            return way[way.index(way[-1]) :]
    return []


def _walk(graph: Mapping[N, Sequence[N]], at: N, way: list[N], done: set[N]) -> bool:
    """Follow a graph from one place; true where the way comes back to itself, which then ends it."""
    if at in way:
        way.append(at)
        return True
    if at in done:
        return False
    way.append(at)
    for then in graph.get(at, ()):
        if _walk(graph, then, way, done):
            return True
    way.pop()
    done.add(at)
    return False


def _note_datum_cycles(operations: Sequence[Operation], where: Mapping[int, str], wrong: Mistakes) -> None:
    """Note faces that are brought to size from each other; what is roughed may be measured from either."""
    last = {face: makers[-1] for face, makers in makers_of(operations).items()}
    cycle = _cycle({face: [f for f in o.measured_from if f != face] for face, o in last.items()})
    if cycle:
        path = ", which is measured from ".join(str(face) for face in cycle)
        number = last[cycle[0]].number
        wrong.add(_at(where, number, f"faces are measured from each other in a circle: {path}"))


def _note_made_twice(operations: Sequence[Operation], where: Mapping[int, str], wrong: Mistakes) -> None:
    """Note faces that are made again though nothing was left on them."""
    for face, makers in makers_of(operations).items():
        for first, then in pairwise(makers):
            if first.leave_of(face) <= 0.0 or then.stock_of(face) is None:
                reason = (
                    f"{face!r} is made twice, in operations {first.title!r} and {then.title!r}; state what "
                    f"the first leaves (leave_mm) and what the second takes off (stock_mm), or make it once"
                )
                wrong.add(_at(where, then.number, reason))


def left_on(face: str, makers: Sequence[Operation]) -> list[float]:
    """Return the stock that is left on a face after each of its operations, mm.

    What the first leaves is as stated; each later one takes its stock off that. Below zero is air.

    Parameters
    ----------
    face : str
        Its name.
    makers : sequence of Operation
        Those that make it, in their order; at least one.

    Returns
    -------
    list of float
        mm, one for each of them.
    """
    left = [makers[0].leave_of(face)]
    for then in makers[1:]:
        left.append(left[-1] - (then.stock_of(face) or 0.0))
    return left
