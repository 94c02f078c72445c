"""Which edges a cut leaves with a burr, and which of these an operation meets unstoned.

A cut leaves a burr on every sharp outside edge of the faces that it makes, beside both faces of the edge. It
stays until the edge is stoned, broken or cut away.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import edge_length_mm, edge_middle
from fixturecheck.kernel.shapes import Edge
from fixturecheck.kernel.stock import RimEdge, rims
from fixturecheck.numeric import to_vector
from fixturecheck.process.model import BurrEdge, Job, PartState
from fixturecheck.process.records import CUTTING, Operation


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetBurr:
    """A burr that an operation meets: the edge in the part's frame, as it is before the operation."""

    burr: BurrEdge
    edge: Edge


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BurrsOf:
    """The burrs that an operation leaves, and those that it meets where it seats or measures."""

    leaves: tuple[BurrEdge, ...] = ()
    meets: tuple[MetBurr, ...] = ()


def burrs_left(operation: Operation, after: PartState) -> list[BurrEdge]:
    """Return the burrs that an operation leaves, each edge once."""
    if operation.kind not in CUTTING or operation.burr_mm <= 0.0:
        return []
    made = {i for name in operation.makes for i in after.faces.get(name, ())}
    names = names_of(after)
    found = []
    for rim in rims(after.solid, made):
        if rim.convex and not rim.smooth:
            own, other = sorted(rim.faces, key=lambda i: i not in made)
            found.append(_burr(operation, rim, names[own], names[other]))
    return found


def burrs_met(job: Job, operation: Operation, before: PartState, faces: Iterable[str]) -> list[MetBurr]:
    """Return the unstoned burrs beside faces that an operation seats on or measures from.

    Parameters
    ----------
    before : PartState
        The part as the operation finds it.
    faces : iterable of str
        The faces.
    """
    found: list[MetBurr] = []
    earlier = [o for o in job.operations if o.number < operation.number and o.kind in CUTTING]
    names = names_of(before)
    for face in dict.fromkeys(faces):
        indices = set(before.faces.get(face, ()))
        for rim in rims(before.solid, indices):
            if not rim.convex or rim.smooth:
                continue
            both = {names[i] for i in rim.faces}
            makers = [o for o in earlier if both & set(o.makes) and o.burr_mm > 0.0]
            if not makers or _stoned(job, makers[-1], operation, both):
                continue
            other = next((names[i] for i in rim.faces if i not in indices), face)
            found.append(MetBurr(burr=_burr(makers[-1], rim, face, other), edge=rim.edge))
    return found


def _stoned(job: Job, maker: Operation, operation: Operation, both: set[str]) -> bool:
    """Tell whether the edge between two faces is stoned after a cut and before an operation."""
    between = [o for o in job.operations if maker.number < o.number <= operation.number]
    return any(both >= set(pair) for o in between for pair in o.stones)


def _burr(operation: Operation, rim: RimEdge, face: str, other: str) -> BurrEdge:
    return BurrEdge(
        face=face,
        other=other,
        made_in=operation.number,
        height_mm=operation.burr_mm,
        assumed="burr_mm" not in operation.stated,
        length_mm=edge_length_mm(rim.edge),
        middle_mm=to_vector(edge_middle(rim.edge)),
    )


def names_of(state: PartState) -> list[str]:
    """Return a name for every face of a state; empty for one that nobody named."""
    names = [""] * len(faces_of(state.solid))
    for name, indices in state.faces.items():
        for i in indices:
            names[i] = name
    return names
