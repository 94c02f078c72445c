"""The part before and after each operation, worked out backward from the finished part.

The part before an operation is the part after it with the faces put back that the operation makes: a face
with stock is moved outward by it; holes, slots, pockets and steps are closed. Names of faces are carried from
the finished part backward, and from the blank forward, by where the faces are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace

from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.kernel.boolean import split
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import is_flat, volume_mm3
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.stock import closed, found_again, grown, smooth_neighbours
from fixturecheck.process.model import Job, PartState
from fixturecheck.process.order import left_on, makers_of
from fixturecheck.process.records import Operation, OperationKind

Faces = Mapping[str, tuple[int, ...]]

_STATE_IT = '`solid_before = "FILE.step"`'
_NOTHING_MM = 1e-9
_MOST_TOLD = 6
_SHARE = 1e-6
"""How much of a volume may be missing where one solid should hold another."""


def states_of(job: Job) -> tuple[PartState, ...]:
    """Return the part before the first operation, and after each.

    Raises
    ------
    SetupError
        Faces cannot be put back, and how to state the solid; the blank does not hold the part; or a face is
        neither made nor on the blank.
    NotComputedError
        What an operation takes does not add up with what it leaves.
    """
    last, named_last, stock_last = _at_end(job)
    solids, faces, stocks = [last], [named_last], [stock_last]
    for operation in reversed(job.operations):
        with _stated(job, str(operation.number)):
            solid, named, stock = _put_back(job, operation, solids[0], faces[0], stocks[0])
        solids.insert(0, solid)
        faces.insert(0, named)
        stocks.insert(0, stock)
    with _stated(job, "blank"):
        _refuse_small_blank(job, solids[0])
    with _stated(job, "part"):
        _refuse_never_made(job, solids[0])
    with_blank = _carried_forward(job, solids, faces)
    found = [_state(job, None, None, solids[0], with_blank[0], stocks[0])]
    for i, operation in enumerate(job.operations):
        with _stated(job, str(operation.number)):
            found.append(_state(job, operation, solids[i], solids[i + 1], with_blank[i + 1], stocks[i + 1]))
    return tuple(found)


@contextmanager
def _stated(job: Job, table: str) -> Iterator[None]:
    """Have every problem that ends the block say where in the job's file its table stands."""
    try:
        yield
    except SetupError as wrong:
        where = f"{job.where[table]}: " if table in job.where else ""
        raise SetupError(*(where + problem for problem in wrong.problems)) from wrong


def _at_end(job: Job) -> tuple[Solid, Faces, dict[str, float]]:
    """Return the part after its last operation: the finished part with what is left on its faces."""
    solid = job.part.solid
    faces: Faces = job.part.faces
    stock = dict.fromkeys(faces, 0.0)
    for name, makers in makers_of(job.operations).items():
        left_mm = left_on(name, makers)[-1]
        if left_mm > _NOTHING_MM:
            with _stated(job, str(makers[-1].number)):
                solid, faces = _grown_part(makers[-1], solid, faces, name, left_mm)
            stock[name] = left_mm
    return solid, faces, stock


def _put_back(
    job: Job, operation: Operation, solid: Solid, faces: Faces, stock: Mapping[str, float]
) -> tuple[Solid, Faces, dict[str, float]]:
    """Return the part before an operation, given it afterwards."""
    stated = job.stated_solids.get(operation.number)
    # A tap finds its hole there: threads are not drawn.
    makes = () if operation.kind == OperationKind.TAP else operation.makes
    left = {name: stock.get(name, 0.0) for name in faces}
    moved: dict[str, float] = {}
    if stated is not None:
        moved = {name: by for name in makes if (by := operation.stock_of(name)) is not None}
        before, named = stated, _found(solid, stated, faces, moved)
    else:
        before, named = _closed_part(operation, solid, faces, makes)
        for name in makes:
            by_mm = operation.stock_of(name)
            if by_mm is not None and by_mm > 0.0:
                before, named = _grown_part(operation, before, named, name, by_mm)
                moved[name] = by_mm
    return before, named, {n: left.get(n, 0.0) + moved.get(n, 0.0) for n in named}


def _closed_part(
    operation: Operation, solid: Solid, faces: Faces, makes: tuple[str, ...]
) -> tuple[Solid, Faces]:
    """Close what an operation cuts from the solid, with the rounds between."""
    from_solid = [name for name in makes if operation.stock_of(name) is None]
    wanted = {i for name in from_solid for i in faces.get(name, ())}
    if not wanted:
        return solid, faces
    named = {i for indices in faces.values() for i in indices}
    all_faces = faces_of(solid)
    rounds = {i for i in smooth_neighbours(solid, wanted) if i not in named and not is_flat(all_faces[i])}
    what = f"operation {operation.title!r}: {', '.join(from_solid)}"
    stuck = ", ".join(from_solid)
    for tried in dict.fromkeys((frozenset(wanted | rounds), frozenset(wanted))):
        try:
            before = closed(solid, sorted(tried), what)
        except KernelError:
            continue
        # The kernel closes what it can and says nothing of the rest.
        there = found_again(solid, before, dict.fromkeys(wanted, 0.0))
        still = [name for name in from_solid if any(there[i] for i in faces.get(name, ()))]
        if still:
            stuck = ", ".join(still)
            continue
        return before, _found(solid, before, {n: f for n, f in faces.items() if n not in from_solid}, {})
    message = (
        f"operation {operation.title!r}: {stuck} cannot be closed: the faces around do not meet when they "
        f"are extended; state its stock_mm where it is a face with stock, name the fillets and ends that "
        f"belong to it in `makes` too, or state the part before it: {_STATE_IT}"
    )
    raise SetupError(message)


def _grown_part(
    operation: Operation, solid: Solid, faces: Faces, name: str, by_mm: float
) -> tuple[Solid, Faces]:
    """Move a face outward by its stock."""
    before, named, pieces = solid, dict(faces), len(faces.get(name, ()))
    for k in range(pieces):
        indices = named[name]
        what = f"{name} of operation {operation.title!r}"
        try:
            made = grown(before, indices[min(k, len(indices) - 1)], by_mm, what)
        except KernelError as reason:
            message = f"operation {operation.title!r}: {reason}; state the part before it: {_STATE_IT}"
            raise SetupError(message) from reason
        named = dict(_found(before, made, named, {name: by_mm} if pieces == 1 else {}))
        before = made
    return before, named


def _found(old: Solid, new: Solid, faces: Faces, moved: Mapping[str, float]) -> Faces:
    """Return the names of faces on a changed solid; names of faces that are gone are left out."""
    by = {i: moved.get(name, 0.0) for name, indices in faces.items() for i in indices}
    there = found_again(old, new, by)
    found = {name: tuple(sorted({j for i in indices for j in there[i]})) for name, indices in faces.items()}
    return {name: indices for name, indices in found.items() if indices}


def _refuse_small_blank(job: Job, first: Solid) -> None:
    """Refuse a blank that does not hold all that is cut from it.

    Raises
    ------
    SetupError
        It does not.
    """
    if job.blank is None:
        return
    try:
        parts = split(first, job.blank.solid, "the part before its first operation by the blank")
    except NotComputedError as reason:
        message = f"whether the blank holds the part could not be computed: {reason}"
        raise NotComputedError(message) from reason
    missing_mm3 = parts.kept_mm3
    if missing_mm3 > _SHARE * volume_mm3(first):
        message = (
            f"the blank is smaller than the part with its stock: {job.write.volume(missing_mm3)} of it lie "
            f"outside; state a larger blank, or less stock"
        )
        raise SetupError(message)


def _refuse_never_made(job: Job, first: Solid) -> None:
    """Refuse faces of the finished part that no operation makes and that the blank does not have.

    Raises
    ------
    SetupError
        There are some; without a blank it is not known.
    """
    if job.blank is None:
        return
    made = makers_of(job.operations)
    names = job.part.face_names()
    own = [i for i, name in enumerate(names) if name not in made]
    # Rounds without a name are closed with what they belong to, and are no longer there.
    there = found_again(job.part.solid, first, dict.fromkeys(own, 0.0))
    starts = {j for indices in there.values() for j in indices}
    on_blank = found_again(first, job.blank.solid, dict.fromkeys(starts, 0.0))
    lost = [names[i] for i in own if there[i] and not any(on_blank[j] for j in there[i])]
    if lost:
        more = f" and {len(lost) - _MOST_TOLD} more" if len(lost) > _MOST_TOLD else ""
        few = ", ".join(lost[:_MOST_TOLD]) + more
        message = (
            f"no operation makes {few} of the part, and the blank has no face there; name it in the `makes` "
            f"of an operation, or state a blank that has it"
        )
        raise SetupError(message)


def _carried_forward(job: Job, solids: list[Solid], faces: list[Faces]) -> list[Faces]:
    """Return the names in each state with those of the blank, as long as its faces are there."""
    named: Faces = {}
    if job.blank is not None and job.blank.faces:
        named = _found(job.blank.solid, solids[0], job.blank.faces, {})
    found: list[Faces] = []
    for i, solid in enumerate(solids):
        named = _found(solids[i - 1], solid, named, {}) if i else named
        own = {n: indices for n, indices in named.items() if n not in faces[i]}
        found.append({**own, **faces[i]})
    return found


def _state(
    job: Job,
    operation: Operation | None,
    before: Solid | None,
    solid: Solid,
    faces: Faces,
    stock: Mapping[str, float],
) -> PartState:
    """Return one state, its volumes checked: what stays and what is taken make the whole."""
    whole_mm3 = volume_mm3(solid)
    state = PartState(
        after=None if operation is None else operation.number,
        solid=solid,
        faces=faces,
        stock_mm={name: by for name, by in stock.items() if by > 0.0},
        volume_mm3=whole_mm3,
        known=frozenset({*job.part.faces, *(job.blank.faces if job.blank is not None else {})}),
        face_count=len(faces_of(solid)),
    )
    if operation is None or before is None or before is solid:
        return state
    parts = split(before, solid, f"the part before operation {operation.title!r} by the part after it")
    if abs(parts.taken_mm3 - whole_mm3) > _SHARE * whole_mm3:
        message = (
            f"operation {operation.title!r}: the part before it does not hold the part after it; "
            f"{job.write.volume(whole_mm3 - parts.taken_mm3)} are missing"
        )
        raise SetupError(message)
    return replace(state, taken=parts.kept, taken_mm3=parts.kept_mm3)
