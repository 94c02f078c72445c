"""The part before and after each operation, and the set-up of an operation with its parts in that state.

The part before an operation is the part after it with the faces put back that the operation makes: a face
with stock is moved outward by it; holes, slots, pockets and steps are closed. Names of faces are carried from
the finished part backward, and from the blank forward, by where the faces are.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice, product

from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import split
from fixturecheck.kernel.brep.topology import faces_of, is_same
from fixturecheck.kernel.measure import box_of, is_flat, volume_mm3
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.stock import closed, found_again, grown, smooth_neighbours
from fixturecheck.process.model import Blank, Job, PartFunction, PartState, SetupMaker
from fixturecheck.process.records import Operation, OperationKind, left_on, makers_of
from fixturecheck.setup.hardening import Hardening
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.tools import Drilling

_MOST_TRIES = 60
"""Runs of a function of a script to learn which missing face it seats by."""
Faces = Mapping[str, tuple[int, ...]]
_STATE_IT = '`solid_before = "FILE.step"`'
_NOTHING_MM = 1e-9
_MOST_TOLD = 6
_SHORT_MM = 1e-4
_SHARE = 1e-6
"""How much of a volume may be missing where one solid should hold another."""


class FacesMissingError(SetupError):
    """A set-up seats by faces that the part does not have in its state.

    Parameters
    ----------
    faces : tuple of FaceRef
        Which body of the set-up, and which face of the part.
    """

    def __init__(self, *problems: str, faces: tuple[FaceRef, ...] = ()) -> None:
        super().__init__(*problems)
        self.faces = faces


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OperationSetup:
    """The set-up of an operation, or why there is none.

    Parameters
    ----------
    setup : Setup or None
        None where the operation states none, or where faces that it seats by are missing.
    burred : Setup or None
        The same with its parts on burrs that nobody stoned; None where there are none.
    not_burred : str
        Why burrs that are there could not be drawn; empty where they were.
    parts : tuple of str
        The bodies of it that are the job's part.
    missing : tuple of FaceRef
        Faces that it seats by and that the part does not have.
    """

    setup: Setup | None = None
    burred: Setup | None = None
    not_burred: str = ""
    parts: tuple[str, ...] = ()
    missing: tuple[FaceRef, ...] = ()


def refuse_missing(used: Iterable[FaceRef], states: Mapping[str, PartState]) -> None:
    """Refuse seats by faces that the part does not have in its state.

    Parameters
    ----------
    used : iterable of FaceRef
        Faces that a set-up seats by.
    states : mapping of str to PartState
        By the name of the body in the set-up, the part in its state.

    Raises
    ------
    FacesMissingError
        With the faces that the job knows, each once.
    """
    missing = tuple(
        dict.fromkeys(
            ref
            for ref in used
            if ref.body in states
            and ref.face not in states[ref.body].faces
            and ref.face in states[ref.body].known
        )
    )
    if missing:
        raise FacesMissingError(f"the part has no face {', '.join(missing)} in this state", faces=missing)


def in_state(finished: Body, state: PartState, used: Collection[str] = ()) -> Body:
    """Return the job's part in one of its states as a body, with one name for each face.

    A zone is that of the finished face: one that still has stock on it has none yet.

    Parameters
    ----------
    finished : Body
        The finished part where it stands, with all that is stated of it.
    state : PartState
        Its solid and its named faces are those of the body.
    used : collection of str
        Names that are used; these come before others. Two lands that a slot parts later are one face
        before it, which then has two names.

    Returns
    -------
    Body

    Raises
    ------
    SetupError
        Two of the names that are used mean one face.
    """
    faces = _one_name_each(finished.name, state.faces, used)
    known = {*faces, "*"}
    made = replace(
        finished,
        solid=state.solid,
        faces=faces,
        unclear={},
        **finished.stated_of_faces(known),
        no_function=finished.no_function & known,
    )
    if state.stock_mm and finished.tolerance_mm:
        at_size = [name for name in made.face_names() if name not in state.stock_mm]
        zones = {name: zone for name in at_size if (zone := made.zone_mm(name)) is not None}
        return replace(made, tolerance_mm=zones)
    return made


def _one_name_each(
    body: str, faces: Mapping[str, tuple[int, ...]], used: Collection[str]
) -> dict[str, tuple[int, ...]]:
    """Return names of faces without those whose face has a name already, the used ones first."""
    taken: dict[int, str] = {}
    found: dict[str, tuple[int, ...]] = {}
    for name in sorted(faces, key=lambda n: n not in used):
        other = next((taken[i] for i in faces[name] if i in taken), None)
        if other is None:
            found[name] = faces[name]
            taken |= dict.fromkeys(faces[name], name)
        elif name in used and other in used:
            raise SetupError(
                f"{other!r} and {name!r} of {body!r} are one face in this state; use one of the names"
            )
    return found


def used_faces(operation: Operation, made: OperationSetup) -> list[str]:
    """Return the faces of the part that an operation seats by, measures or measures from.

    Parameters
    ----------
    operation : Operation
        With what it measures.
    made : OperationSetup
        With its seats, where it has a set-up.

    Returns
    -------
    list of str
        Seats first; a name may come twice.
    """
    seats = [] if made.setup is None else made.setup.seats
    seated = [ref.face for seat in seats for ref in (seat.own, seat.other) if ref.body in made.parts]
    return [*seated, *(m.face for m in made.missing), *operation.measured_from, *operation.measures]


def kept_from_marks(made: OperationSetup, later: Iterable[str]) -> OperationSetup:
    """Return the set-up of a hardening whose test leaves out the faces that later operations use.

    Parameters
    ----------
    made : OperationSetup
        The set-up of the hardening.
    later : iterable of str
        The faces; those that its parts do not have are left out.

    Returns
    -------
    OperationSetup
        `made` itself where it has no set-up or states no hardening.
    """
    setup = made.setup
    if setup is None or setup.hardening is None:
        return made
    there = {name for part in made.parts for name in setup.body(part).faces}
    kept = dict.fromkeys([*setup.hardening.not_marked, *(face for face in later if face in there)])
    return replace(made, setup=replace(setup, hardening=replace(setup.hardening, not_marked=tuple(kept))))


def setup_of(job: Job, operation: Operation, before: PartState, after: PartState) -> OperationSetup:
    """Make the set-up of an operation.

    Parameters
    ----------
    job : Job
        The job.
    operation : Operation
        One of its operations.
    before, after : PartState
        The part before it and after it.

    Returns
    -------
    OperationSetup
        Empty where the operation has no set-up; with `missing` alone where that seats by faces that are not
        there.

    Raises
    ------
    SetupError
        It cannot be made.
    """
    make = job.makers.get(operation.number)
    if make is None:
        return OperationSetup()
    try:
        setup = make(job.part, before, after)
    except FacesMissingError as trouble:
        return OperationSetup(missing=trouble.faces)
    except SetupError as trouble:
        problems = (f"operation {operation.title!r}: {line}" for line in trouble.problems)
        raise SetupError(*problems) from trouble
    if operation.kind == OperationKind.HARDEN and setup.hardening is not None:
        setup = replace(setup, hardening=_hardening(operation, setup.hardening, after))
    parts = tuple(b.name for b in setup.bodies if any(is_same(b.solid, s.solid) for s in (before, after)))
    drills = tuple(_tapped_only(drill, before, parts) for drill in setup.drills)
    return OperationSetup(setup=replace(setup, drills=drills), parts=parts)


def _tapped_only(drill: Drilling, before: PartState, parts: Collection[str]) -> Drilling:
    """Return a tapped hole without its drill, where an operation before has drilled it."""
    if drill.thread is None or drill.hole not in before.faces or not set(drill.parts) <= set(parts):
        return drill
    return replace(drill, drilled=True, spot_deg=None, spot_mm=None, spot_stick_out_mm=None, seat_mm=None)


def _hardening(operation: Operation, stated: Hardening, after: PartState) -> Hardening:
    """Return how the parts are hardened, with the job's temper and growth, and the stock that is left then.

    Raises
    ------
    SetupError
        Job and set-up state different tempers.
    """
    if operation.temper_c is not None and stated.temper_c not in {None, operation.temper_c}:
        raise SetupError(
            f"operation {operation.title!r} is tempered at {operation.temper_c:g} C, its set-up states "
            f"{stated.temper_c:g} C; state it once"
        )
    share = stated.growth_share
    if share is None and operation.growth_share:
        share = (operation.growth_share[0], operation.growth_share[1])
    return replace(
        stated,
        temper_c=stated.temper_c if operation.temper_c is None else operation.temper_c,
        growth_share=share,
        leave_mm={**after.stock_mm, **stated.leave_mm},
    )


def by_function(function: PartFunction) -> SetupMaker:
    """Return what makes a set-up by a function of a script, given the part before and after the operation.

    The names that the function uses are not known before it has run. So where it does not find one, it is run
    again with that name on some face, only to learn whether it seats by it.

    Parameters
    ----------
    function : callable
        Makes the set-up of an operation, given the part before and after it as bodies.

    Returns
    -------
    callable
        Called with the finished part and its states before and after the operation; returns its `Setup`.

    Raises
    ------
    FacesMissingError
        From what is returned, where the function seats by faces that are not there in this state.
    """

    def make(part: Body, before: PartState, after: PartState) -> Setup:
        try:
            return function(in_state(part, before), in_state(part, after))
        except SetupError as trouble:
            second = {n for s in (before, after) for n in set(s.faces) - set(in_state(part, s).faces)}
            if second:
                try:
                    return function(in_state(part, before, second), in_state(part, after, second))
                except SetupError:
                    pass
            missing = _missing(function, part, before, after)
            if missing:
                raise FacesMissingError(
                    f"the part has no face {', '.join(missing)} in this state", faces=missing
                ) from trouble
            raise

    return make


def _missing(function: PartFunction, part: Body, before: PartState, after: PartState) -> tuple[FaceRef, ...]:
    """Return a face that a function seats by and that the part lacks in its state; empty without one."""
    lacking = sorted((before.known | after.known) - (set(before.faces) & set(after.faces)))
    least = min(before.face_count, after.face_count)
    for name, i in islice(product(lacking, range(least)), _MOST_TRIES):
        states = [in_state(part, _named_anywhere(s, name, i), (name,)) for s in (before, after)]
        try:
            setup = function(states[0], states[1])
        except SetupError:
            continue
        parts = {b.name for b in setup.bodies if any(is_same(b.solid, s.solid) for s in (before, after))}
        used = [ref for seat in setup.seats for ref in (seat.own, seat.other) if ref.body in parts]
        missing = tuple(dict.fromkeys(ref for ref in used if ref.face == name))
        if missing:
            return missing
    return ()


def _named_anywhere(state: PartState, name: str, i: int) -> PartState:
    """Return a state with a name that it lacks on one of its faces, in place of the names there."""
    if name in state.faces:
        return state
    others = {n: indices for n, indices in state.faces.items() if i not in indices}
    return replace(state, faces={name: (i,), **others})


def states_of(job: Job) -> tuple[PartState, ...]:
    """Return the part before the first operation, and after each.

    Parameters
    ----------
    job : Job
        Its operations are in the order of their numbers.

    Returns
    -------
    tuple of PartState
        One more than there are operations.

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
    raise SetupError(
        f"operation {operation.title!r}: {stuck} cannot be closed: the faces around do not meet when they "
        f"are extended; state its stock_mm where it is a face with stock, name the fillets and ends that "
        f"belong to it in `makes` too, or state the part before it: {_STATE_IT}"
    )


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
            raise SetupError(
                f"operation {operation.title!r}: {reason}; state the part before it: {_STATE_IT}"
            ) from reason
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
        raise NotComputedError(
            f"whether the blank holds the part could not be computed: {reason}"
        ) from reason
    missing_mm3 = parts.kept_mm3
    if missing_mm3 > _SHARE * volume_mm3(first):
        raise SetupError(
            f"the blank is smaller than the part with its stock: {job.write.volume(missing_mm3)} of it lie "
            f"outside{_short_sides(job, first, job.blank)}; state a larger blank, or less stock"
        )


def _short_sides(job: Job, first: Solid, blank: Blank) -> str:
    """Return by how much the box of a blank is short of that of the part, side by side."""
    needs, has = box_of(first), box_of(blank.solid)
    over = [(has[i] - needs[i], f"-{'XYZ'[i]}") for i in range(3)]
    over += [(needs[i + 3] - has[i + 3], f"+{'XYZ'[i]}") for i in range(3)]
    told = [f"{job.write.length(mm)} at {side}" for mm, side in over if mm > _SHORT_MM]
    return f", {' and '.join(told)}" if told else ""


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
        raise SetupError(
            f"no operation makes {few} of the part, and the blank has no face there; name it in the `makes` "
            f"of an operation, or state a blank that has it"
        )


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
        raise SetupError(
            f"operation {operation.title!r}: the part before it does not hold the part after it; "
            f"{job.write.volume(whole_mm3 - parts.taken_mm3)} are missing"
        )
    return replace(state, taken=parts.kept, taken_mm3=parts.kept_mm3)
