"""Whether operations can be done in their order: numbers, what needs what, and who makes each face."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TypeVar

from fixturecheck.errors import Mistakes
from fixturecheck.process.records import Operation, OperationKind

N = TypeVar("N", int, str)


def makers_of(operations: Sequence[Operation]) -> dict[str, tuple[Operation, ...]]:
    """Return by face the operations that make it, in their order; a tap works in a hole that is there."""
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
    """
    left = [makers[0].leave_of(face)]
    for then in makers[1:]:
        left.append(left[-1] - (then.stock_of(face) or 0.0))
    return left
