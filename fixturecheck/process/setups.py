"""The set-up of an operation, its parts in the state that the operation finds or leaves them in."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import islice, product

from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import is_same
from fixturecheck.process.model import Job, PartFunction, PartState, SetupMaker
from fixturecheck.process.records import Operation, OperationKind
from fixturecheck.setup.hardening import Hardening
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.tools import Drilling

_MOST_TRIES = 60
"""Runs of a function of a script to learn which missing face it seats by."""


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
        message = f"the part has no face {', '.join(missing)} in this state"
        raise FacesMissingError(message, faces=missing)


def in_state(finished: Body, state: PartState, used: Collection[str] = ()) -> Body:
    """Return the job's part in one of its states as a body, with one name for each face.

    A zone is that of the finished face: one that still has stock on it has none yet.

    Parameters
    ----------
    finished : Body
        The finished part where it stands, with all that is stated of it.
    used : collection of str
        Names that are used; these come before others. Two lands that a slot parts later are one face
        before it, which then has two names.

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
            message = f"{other!r} and {name!r} of {body!r} are one face in this state; use one of the names"
            raise SetupError(message)
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
    later : iterable of str
        The faces; those that its parts do not have are left out.
    """
    setup = made.setup
    if setup is None or setup.hardening is None:
        return made
    there = {name for part in made.parts for name in setup.body(part).faces}
    kept = dict.fromkeys([*setup.hardening.not_marked, *(face for face in later if face in there)])
    return replace(made, setup=replace(setup, hardening=replace(setup.hardening, not_marked=tuple(kept))))


def setup_of(job: Job, operation: Operation, before: PartState, after: PartState) -> OperationSetup:
    """Make the set-up of an operation.

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
        message = (
            f"operation {operation.title!r} is tempered at {operation.temper_c:g} C, its set-up states "
            f"{stated.temper_c:g} C; state it once"
        )
        raise SetupError(message)
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
                message = f"the part has no face {', '.join(missing)} in this state"
                raise FacesMissingError(message, faces=missing) from trouble
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
