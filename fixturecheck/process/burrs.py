"""Which edges a cut leaves with a burr, which an operation meets unstoned, and how a part stands on them.

A cut leaves a burr on every sharp outside edge of the faces that it makes, beside both faces of the edge. It
stays until the edge is stoned, broken or cut away. One that a part stands on is drawn as a ridge along its
edge, as high as stated, and the part stands off until the ridges touch. Rest, hold and pull are then worked
out with that gap. Burrs along round edges of curved faces are not drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.faceref import BURR_ON, FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import distance, edge_length_mm, edge_middle, face_frame
from fixturecheck.kernel.place import composed, matrix_of, translation
from fixturecheck.kernel.shapes import Edge, Solid
from fixturecheck.kernel.stock import Ridge, RimEdge, found_again, rims, with_ridges
from fixturecheck.numeric import to_vector
from fixturecheck.process.model import BurrEdge, Job, PartState
from fixturecheck.process.records import CUTTING, Operation
from fixturecheck.process.setups import OperationSetup
from fixturecheck.setup.model import Body, Setup


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
    """Return the burrs that an operation leaves, each edge once.

    Parameters
    ----------
    operation : Operation
        One of the job's.
    after : PartState
        The part as it leaves the operation.

    Returns
    -------
    list of BurrEdge
        Empty where the operation does not cut or its burrs are stated as none.
    """
    if operation.kind not in CUTTING or operation.burr_mm <= 0.0:
        return []
    made = {i for name in operation.makes for i in after.faces.get(name, ())}
    names = _names_of(after)
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
    job : Job
        Its earlier operations leave and stone the burrs.
    operation : Operation
        The one that meets them.
    before : PartState
        The part as the operation finds it.
    faces : iterable of str
        The faces.

    Returns
    -------
    list of MetBurr
        Face by face, one for each edge with such a burr.
    """
    found: list[MetBurr] = []
    earlier = [o for o in job.operations if o.number < operation.number and o.kind in CUTTING]
    names = _names_of(before)
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


def _names_of(state: PartState) -> list[str]:
    """Return a name for every face of a state; empty for one that nobody named."""
    names = [""] * len(faces_of(state.solid))
    for name, indices in state.faces.items():
        for i in indices:
            names[i] = name
    return names


def with_burrs(made: OperationSetup, met: Iterable[MetBurr]) -> OperationSetup:
    """Return the set-up of an operation with the burrs whose height is stated drawn on its parts.

    Parameters
    ----------
    made : OperationSetup
        The set-up as it is without burrs.
    met : iterable of MetBurr
        Burrs beside the faces that it seats by.

    Returns
    -------
    OperationSetup
        `made` itself where it has no set-up or no such burr; else with `burred`.

    Raises
    ------
    KernelError
        A ridge cannot be joined to the part.
    """
    setup = made.setup
    drawn = [m for m in met if not m.burr.assumed]
    if setup is None or not drawn:
        return made
    ridged: dict[Solid, tuple[Body, int]] = {}
    bodies: dict[str, Body] = {}
    for name in made.parts:
        body = setup.body(name)
        if body.solid not in ridged:
            # Copies share their solid, and so its ridges.
            ridged[body.solid] = _ridged(body, drawn)
        one, _ = ridged[body.solid]
        bodies[name] = replace(body, solid=one.solid, faces=one.faces)
    seated = {ref.face for seat in setup.seats for ref in (seat.own, seat.other) if ref.body in bodies}
    heights = {
        face: max(m.burr.height_mm for m in drawn if m.burr.face == face)
        for face in {m.burr.face for m in drawn} & seated
    }
    moved = _moved(setup, made.parts, heights)
    for name, by in moved.items():
        body = bodies[name]
        bodies[name] = replace(body, at=composed(translation(to_vector(by)), body.at))
    missed = max((count for _, count in ridged.values()), default=0)
    why = f"{missed} of its {len(drawn)} edges with burrs could not be drawn" if missed else ""
    burred = replace(setup, bodies=tuple(bodies.get(b.name, b) for b in setup.bodies))
    return replace(made, burred=burred, not_burred=why)


def _ridged(body: Body, drawn: Sequence[MetBurr]) -> tuple[Body, int]:
    """Return a body with its burrs as ridges, and how many could not be drawn.

    The faces of the ridges are called `burr_on_FACE`.
    """
    mine = [m for m in drawn if m.burr.face in body.faces]
    ridges = [r for m in mine if (r := _ridge(body, m)) is not None]
    solid, missed = with_ridges(body.solid, ridges, f"burrs of {body.name}")
    faces = {name: _there(body, solid, own) for name, own in body.faces.items()}
    old = set(_there(body, solid, range(len(faces_of(body.solid)))))
    for i, face in enumerate(faces_of(solid)):
        if ridges and i not in old:
            nearest = min(ridges, key=lambda r: distance(face, r.edge)[0]).face
            name = BURR_ON + next(n for n, own in body.faces.items() if nearest in own)
            faces[name] = (*faces.get(name, ()), i)
    left_out = len(mine) - len(ridges) + len(missed)
    return replace(body, solid=solid, faces={n: f for n, f in faces.items() if f}), left_out


def _ridge(body: Body, met: MetBurr) -> Ridge | None:
    """Return the ridge of a burr on a body; None where the body has no such edge.

    The body may be drawn as the operation leaves it. Its edge is then the nearest between the same faces.
    """
    names = {i: name for name, own in body.faces.items() for i in own}
    near: list[tuple[float, RimEdge]] = []
    for rim in rims(body.solid, body.faces[met.burr.face]):
        others = {names.get(i, "") for i in rim.faces} - {met.burr.face}
        if rim.convex and others <= {met.burr.other}:
            off_mm = float(np.linalg.norm(edge_middle(rim.edge) - np.array(met.burr.middle_mm)))
            near.append((off_mm, rim))
    if not near:
        return None
    rim = min(near, key=lambda pair: pair[0])[1]
    face = next(i for i in rim.faces if names.get(i) == met.burr.face)
    return Ridge(edge=rim.edge, face=face, high_mm=met.burr.height_mm)


def _there(body: Body, solid: Solid, own: Iterable[int]) -> tuple[int, ...]:
    """Return where faces of a body are found on another solid."""
    found = found_again(body.solid, solid, dict.fromkeys(own, 0.0))
    return tuple(sorted({i for there in found.values() for i in there}))


def _moved(setup: Setup, parts: Sequence[str], heights: Mapping[str, float]) -> dict[str, Floats]:
    """Return how far each part stands off, mm: off each of its seats by the burrs there, along no other.

    Parts that nest push each other on, so that all are worked out together, by least squares.
    """
    place = {name: 3 * i for i, name in enumerate(parts)}
    rows, off = [], []
    for seat in setup.seats:
        ref = seat.own if seat.own.body in place else seat.other
        if ref.body not in place:
            continue
        row = np.zeros(3 * len(parts))
        normal = _normal(setup.body(ref.body), ref.face)
        for one, sign in ((ref, 1.0), (seat.other if ref == seat.own else seat.own, -1.0)):
            if one.body in place:
                row[place[one.body] : place[one.body] + 3] = sign * normal
        rows.append(row)
        off.append(-sum(_height(one, place, heights) for one in (seat.own, seat.other)))
    if not rows:
        return {}
    found = np.linalg.lstsq(np.array(rows), np.array(off), rcond=None)[0]
    return {name: found[i : i + 3] for name, i in place.items()}


def _height(ref: FaceRef, parts: Mapping[str, int], heights: Mapping[str, float]) -> float:
    return heights.get(ref.face, 0.0) if ref.body in parts else 0.0


def _normal(body: Body, face: str) -> Floats:
    """Return the outward normal of a named face where the body stands."""
    _, normal, _ = face_frame(faces_of(body.solid)[body.face_indices(face)[0]])
    return np.asarray(matrix_of(body.at)[:3, :3] @ normal)
