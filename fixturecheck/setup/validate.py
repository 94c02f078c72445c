"""Refuses a set-up that cannot be checked: its numbers, words, names and references."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from fixturecheck.errors import Mistakes, Problem, SetupError, about
from fixturecheck.fields import allowed_in, shortened
from fixturecheck.kernel.brep.topology import faces_of, one_of_each
from fixturecheck.kernel.measure import box_of, face_frame, is_flat, surface_kind
from fixturecheck.kernel.place import is_finite, placed_at
from fixturecheck.kernel.script import flaw_of
from fixturecheck.names import BY_PLACE, CHECKS, MOST_NAME, SEVERITIES, allowed_name, nearest, one_of
from fixturecheck.result.relief import ReliefKind
from fixturecheck.setup.dials import refuse_bad_dials
from fixturecheck.setup.hardening import refuse_bad_hardening
from fixturecheck.setup.holding import refuse_bad_holding
from fixturecheck.setup.records import LEAN_MM, ZONE_MM, BodyRole, PoleSign, refuse_bad_rolls
from fixturecheck.setup.staging import refuse_bad_staging
from fixturecheck.setup.tools import refuse_bad_drills, refuse_bad_end_mills
from fixturecheck.shop import tables
from fixturecheck.shop.wheels import check_wheel
from fixturecheck.units import SMALL_LENGTHS, THOU, UNITS, Writing

if TYPE_CHECKING:
    from fixturecheck.setup.model import Body, Cut, Seat, Setup


def _refuse_bad_numbers(setup: Setup) -> None:
    """Raise for the first number or word in a set-up that its key does not take.

    Raises
    ------
    SetupError
        Names what the value belongs to, the field, the value and what may stand there.
    """
    for key, where, record in _records(setup):
        with about(*key):
            if not is_dataclass(record):
                kind = type(record).__name__
                raise SetupError(f"{where}: a {kind} was given where the set-up needs its own kind of object")
            refuse_bad_record(record, where)
    for body in setup.bodies:
        with about("body", body.name):
            _refuse_bad_numbers_of_body(body)


def refuse_bad_record(record: Any, where: str) -> None:
    """Raise for the first field of a data class whose value is out of its range or none of its words.

    Parameters
    ----------
    record : object
        A data class whose fields say what they take.
    where : str
        What the record is called in the message.

    Raises
    ------
    SetupError
        Names the field, the value and what may stand there.
    """
    for field in fields(record):
        value, rule = getattr(record, field.name), allowed_in(field)
        if rule is None or (value is None and field.default is None):
            continue
        if str(field.type) == "bool":
            flaw = None if isinstance(value, bool) else f"must be true or false; got {shortened(value)}"
        else:
            flaw = rule.flaw_of(value)
        if str(field.type) == "int" and not isinstance(value, int):
            flaw = f"must be a whole number; got {shortened(value)}"
        if flaw:
            raise SetupError(f"{where}, {field.name}: {flaw}")


def _refuse_bad_numbers_of_body(body: Body) -> None:
    """Refuse tolerances and a place that are no numbers, or out of all proportion."""
    for name, rule, by_face in (
        ("tolerance_mm", ZONE_MM, body.tolerance_mm),
        ("orientation_mm", LEAN_MM, body.orientation_mm),
    ):
        for face, value in by_face.items():
            flaw = rule.flaw_of(value)
            if flaw:
                raise SetupError(f"body {body.name!r}, {name} of {face!r}: {flaw}")
    if not is_finite(body.at):
        raise SetupError(f"body {body.name!r}, at: its place is not made of finite numbers")


_Record = tuple[tuple[str, ...], str, Any]
"""What a record is, as in `Problem.about`; what to call it; and the record."""


def _records(setup: Setup) -> Iterator[_Record]:
    """Yield every record with fields of its own."""
    for name in ("machine", "wheel", "tolerances"):
        yield (name,), name, getattr(setup, name)
    for seat in setup.seats:
        yield ("seat", seat.body, seat.on), f"seat of {seat.body!r} on {seat.on!r}", seat
    for cut in setup.cuts:
        yield ("cut", cut.name), f"cut {cut.name!r}", cut
    yield from _of_machine(setup)
    yield ("relief",), "relief", setup.relief
    if setup.dials is not None:
        yield ("dials",), "dials", setup.dials
    for transfer in setup.transfers:
        yield ("transfer", transfer.name), f"transfer {transfer.name!r}", transfer
    for one in setup.over_rolls:
        yield ("over_rolls", one.name), f"over_rolls {one.name!r}", one
    for square in setup.squared:
        yield (), "square", square
    yield from _drilled_and_hardened(setup)
    yield from _held_and_staged(setup)


def _of_machine(setup: Setup) -> Iterator[_Record]:
    """Yield the records that stand in that of the machine."""
    if is_dataclass(setup.machine):
        yield ("machine", "flange"), "flange", setup.machine.flange
        if setup.machine.guard is not None:
            yield ("machine", "guard"), "guard", setup.machine.guard
        for name in ("downfeed", "cross_feed"):
            if getattr(setup.machine, name) is not None:
                yield ("machine",), f"machine, {name}", getattr(setup.machine, name)


def _drilled_and_hardened(setup: Setup) -> Iterator[_Record]:
    """Yield the records of holes, of runs of end mills, and of how the parts are hardened."""
    for drill in setup.drills:
        yield ("drill", drill.name), f"drill {drill.name!r}", drill
    for run in setup.end_mills:
        yield ("end_mill", run.name), f"end_mill {run.name!r}", run
        for move in run.moves:
            yield ("end_mill", run.name), f"end_mill {run.name!r}, {move.kind}", move
    if setup.hardening is not None:
        yield ("hardening",), "hardening", setup.hardening
        for size in setup.hardening.sizes:
            yield ("hardening",), f"hardening, size of {size.part!r}", size


def _held_and_staged(setup: Setup) -> Iterator[_Record]:
    """Yield the records of what holds the parts, and of how they are put in place."""
    if setup.holding is not None:
        yield ("holding",), "holding", setup.holding
        for kind, several in (("clamp", "clamps"), ("mill", "milling")):
            for one in getattr(setup.holding, several, ()):
                name = getattr(one, "name", one)
                yield (kind, str(name)), f"{kind} {name!r}", one
    if setup.staging is not None:
        yield ("staging",), "staging", setup.staging
        pushes = getattr(setup.staging, "push", {})
        for name, push in pushes.items():
            yield ("staging",), f"staging, push of {name!r}", push
        for press in getattr(setup.staging, "press", ()):
            yield ("staging",), f"staging, press on {getattr(press, 'part', press)!r}", press


T = TypeVar("T")


MOST_MM = 50_000.0
"""A body larger than this was not meant so, and its checks would take for ever."""

MOST_MADE = 2 * MOST_NAME
"""Letters of a name once equipment and remedies have added theirs to a stated one."""

TABLE_MM = 0.01
"""How far equipment may reach below a stated table: heights are stated in hundredths."""


def all_of(values: object, kind: type[T], what: str) -> tuple[T, ...]:
    """Return a tuple of what was stated as a list or tuple of one kind of thing.

    Parameters
    ----------
    values : object
        What was stated.
    kind : type
        What each entry has to be.
    what : str
        What it is called in a message.

    Returns
    -------
    tuple of kind
        In the order stated.

    Raises
    ------
    SetupError
        It is no list, or something else is in it.
    """
    if not isinstance(values, list | tuple):
        raise SetupError(f"{what} must be a list or tuple; got {type(values).__name__}")
    for value in values:
        if not isinstance(value, kind):
            message = f"{what} must hold {kind.__name__} objects only; got {type(value).__name__}"
            several = "; what gives several is unpacked: *equipment(...)" if isinstance(value, tuple) else ""
            raise SetupError(message + several)
    return tuple(values)


def refuse_bad(setup: Setup) -> None:
    """Raise for what in a set-up cannot be checked: every seat, cut and other thing that is wrong is told.

    Parameters
    ----------
    setup : Setup
        Each of its lists holds things of its kind; the rest is as stated.

    Raises
    ------
    SetupError
        Says what, and what to do.
    """
    if not isinstance(setup.name, str) or not setup.name.strip() or not setup.name.isprintable():
        raise SetupError(f"a set-up needs a name of printable characters on one line; got {setup.name!r}")
    one_of(setup.units, UNITS, "set-up, units")
    one_of(setup.small_lengths, SMALL_LENGTHS, "set-up, small_lengths")
    if setup.small_lengths == THOU and setup.units != "inch":
        raise SetupError(
            'set-up, small_lengths: thou are thousandths of an inch; state units = "inch" as well'
        )
    _refuse_bad_numbers(setup)
    # What is said of bodies presupposes that each is sound and named once.
    _refuse_bad_bodies(setup)
    wrong = Mistakes()
    for table, refuse in _REFUSALS:
        with wrong.noted(), about(*table):
            refuse(setup)
    wrong.raise_any()


def _refuse_bad_seats(setup: Setup) -> None:
    wrong = Mistakes()
    for seat in setup.seats:
        with wrong.noted(), about("seat", seat.body, seat.on):
            _refuse_bad_seat(setup, seat)
    wrong.raise_any()


def _refuse_bad_cuts(setup: Setup) -> None:
    _refuse_repeats((c.name for c in setup.cuts), "cut")
    wrong = Mistakes()
    for cut in setup.cuts:
        with wrong.noted(), about("cut", cut.name):
            _refuse_bad_cut(setup, cut)
    wrong.raise_any()


def _refuse_bad_wheel(setup: Setup) -> None:
    check_wheel(setup.wheel)
    if setup.machine.flange.diameter_mm >= setup.wheel.diameter_mm:
        flange, wheel = (
            setup.write.length(d, "g") for d in (setup.machine.flange.diameter_mm, setup.wheel.diameter_mm)
        )
        message = (
            f"flange: its diameter of {flange} must be less than the wheel's {wheel}; "
            "state the flange that carries this wheel"
        )
        raise SetupError(Problem(message, ("machine", "flange")))


def _refuse_bad_hold(setup: Setup) -> None:
    refuse_bad_holding(setup)
    for mill in setup.holding.milling if setup.holding else ():
        with about("mill", mill.name):
            for part in mill.parts:
                _refuse_leaning(setup.body(part), mill.face, f"mill {mill.name!r}")


def _refuse_leaning(body: Body, face: str, where: str) -> None:
    """Refuse a milled face that does not lie level, looking up, where the body stands."""
    standing = faces_of(placed_at(body.solid, body.at))
    for i in body.face_indices(face):
        _, normal, flat = face_frame(standing[i])
        if not flat or normal[2] < 1.0 - 1e-6:
            raise SetupError(
                f"{where}: {body.name}.{face} is not a level face that looks up; name the face to mill"
            )


def _refuse_bad_relieving(setup: Setup) -> None:
    if not setup.relief.kinds:
        *others, last = ReliefKind
        raise SetupError(f"relief, kinds: use {', '.join(others)} or {last}; got none")


def _refuse_bad_severity(setup: Setup) -> None:
    for check, level in setup.severity.items():
        if check not in CHECKS:
            raise SetupError(f"severity of {check!r}: no check has this name; {nearest(check, CHECKS)}")
        one_of(level, SEVERITIES, f"severity of {check!r}")


def _refuse_below_table(setup: Setup) -> None:
    """Refuse equipment that reaches below the table where its height is stated."""
    stated_mm = setup.machine.table_z_mm
    for body in setup.bodies if stated_mm is not None else ():
        low_mm = box_of(placed_at(body.solid, body.at))[2]
        if body.role == BodyRole.FIXTURE and stated_mm is not None and low_mm < stated_mm - TABLE_MM:
            low, table = (setup.write.length(z) for z in (low_mm, stated_mm))
            raise SetupError(
                f"machine, {setup.write.key('table_z_mm')}: {body.name} reaches down to z = {low}, below the "
                f"table at {table}; state the height of the table, or leave it out: it is then the lowest "
                "point of what stands there"
            )


def _refuse_bad_bodies(setup: Setup) -> None:
    """Names, roles, tables and solids of all bodies."""
    _refuse_repeats((b.name for b in setup.bodies), "body")
    flaws: dict[int, str | None] = {}
    for body, i in zip(setup.bodies, one_of_each([b.solid for b in setup.bodies]), strict=True):
        if i not in flaws:
            flaws[i] = flaw_of(body.solid)
            box = box_of(body.solid)
            if flaws[i] is None and max(box[3] - box[0], box[4] - box[1], box[5] - box[2]) > MOST_MM:
                size = setup.write.length(max(box[3] - box[0], box[4] - box[1], box[5] - box[2]), ".0f")
                flaws[i] = f"is {size} over its longest side; was it drawn or exported in other units?"
        with about("body", body.name):
            if flaws[i]:
                raise SetupError(f"body {body.name!r} {flaws[i]}")
            _refuse_bad_body(body)
    if not any(b.role == BodyRole.PART for b in setup.bodies):
        raise SetupError(
            "the set-up has no part: give at least one body the role 'part', or let "
            "`fixturecheck new PART.step` propose a set-up"
        )


def _refuse_bad_body(body: Body) -> None:
    """One body's role, materials and face names."""
    where = f"body {body.name!r}"
    one_of(body.role, tuple(BodyRole), f"{where}, role")
    fastened: object = body.fastened
    if not isinstance(fastened, bool):
        raise SetupError(f"{where}, fastened: must be true or false; got {fastened!r}")
    if fastened and body.role == BodyRole.PART:
        raise SetupError(
            f"{where}: a part is held by what it stands on and by clamps; only a fixture is fastened"
        )
    if body.pole is not None:
        one_of(body.pole, tuple(PoleSign), f"{where}, pole")
    for pole in body.poles:
        one_of(pole.pole, tuple(PoleSign), f"{where}, pole {pole.name!r}")
    _from_table(tables.material, body.material, where)
    _refuse_bad_faces(body)
    for what, names in (
        ("finish", body.finish),
        ("tolerance_mm", body.tolerance_mm),
        ("orientation_mm", body.orientation_mm),
        ("no_function", body.no_function),
    ):
        for face in names:
            if face != "*" or what == "no_function":
                face_of(body, face, f"{where}, {what}")
    for finish in body.finish.values():
        _from_table(tables.finish, finish, where)
    for face, lean_mm in body.orientation_mm.items():
        _refuse_bad_lean(body, face, lean_mm)


def _refuse_bad_lean(body: Body, face: str, lean_mm: float) -> None:
    """Refuse an orientation tolerance that holds nothing closer than the zone around it."""
    where = f"body {body.name!r}, orientation_mm of {face!r}"
    zone_mm = body.zone_mm(face)
    if face == "*" and body.tolerance_mm:
        return
    if zone_mm is None:
        raise SetupError(f"{where}: it has no tolerance_mm within which it could lean; state that too")
    if lean_mm > zone_mm:
        raise SetupError(f"{where}: must be at most its tolerance_mm of {zone_mm:g}; got {lean_mm:g}")


def _refuse_bad_faces(body: Body) -> None:
    """Refuse a face with two names or one that is not allowed, and numbers of no face."""
    owner: dict[int, str] = {}
    count = len(faces_of(body.solid))
    for face, indices in body.faces.items():
        where = f"body {body.name!r}, face {face!r}"
        allowed_name(face, where)
        if BY_PLACE.fullmatch(face):
            raise SetupError(
                f"{where}: names like face_3 are kept for faces that nobody named; call it what it does"
            )
        if not indices or not all(0 <= i < count for i in indices):
            raise SetupError(
                f"{where}: {tuple(indices)} are not numbers of the solid's {count} faces, from 0"
            )
        for i in indices:
            if owner.setdefault(i, face) != face:
                raise SetupError(
                    f"body {body.name!r}: faces {owner[i]!r} and {face!r} are the same face; give it one name"
                )


def _refuse_bad_seat(setup: Setup, seat: Seat) -> None:
    where = f"seat of {seat.body!r} on {seat.on!r}"
    if seat.body == seat.on:
        raise SetupError(f"{where}: a body cannot seat on itself; name the body that it lies on")
    face_of(_body_of(setup, seat.body, where), seat.face, where)
    face_of(_body_of(setup, seat.on, where), seat.on_face, where)


def _refuse_bad_cut(setup: Setup, cut: Cut) -> None:
    where = f"cut {cut.name!r}"
    allowed_name(cut.name, where)
    if not isinstance(cut.parts, list | tuple) or not cut.parts:
        raise SetupError(f"{where}: parts must be a list of part names; got {cut.parts!r}")
    _refuse_repeats(cut.parts, f"{where}, part", "cut", cut.name)
    if cut.stock_mm == 0.0 and cut.wall_stock_mm == 0.0:
        raise SetupError(f"{where}: there is nothing to grind; state stock_mm or wall_stock_mm above zero")
    if cut.wall is not None and cut.feed_shift_mm != 0.0:
        raise SetupError(
            f"{where}: a wall sets where the wheel runs along Y; leave {setup.write.key('feed_shift_mm')} out"
        )
    if cut.wall_feed_mm is not None:
        _refuse_bad_wall_feed(cut, cut.wall_feed_mm, where, setup.write)
    for name in cut.parts:
        body = _body_of(setup, name, where)
        if body.role != BodyRole.PART:
            raise SetupError(f"{where}: {name!r} is not ground, its role is {body.role!r}; name parts only")
        for face in (cut.floor, cut.wall):
            if face is not None:
                _refuse_curved(body, face, where)


def _refuse_bad_wall_feed(cut: Cut, feed_mm: float, where: str, write: Writing) -> None:
    if cut.wall is None:
        raise SetupError(f"{where}: wall_feed_mm is stated without a wall; name the wall, or leave it out")
    if feed_mm > cut.wall_stock_mm:
        feed, left = write.number(feed_mm, "mm", "g"), write.length(cut.wall_stock_mm, "g")
        raise SetupError(
            f"{where}: {write.key('wall_feed_mm')} {feed} is more than the {left} left on the wall; "
            f"state {write.key('wall_stock_mm')}, or a smaller feed"
        )


def _refuse_curved(body: Body, face: str, where: str) -> None:
    """Refuse a target face that no straight pass of a wheel makes."""
    solid_faces = faces_of(body.solid)
    for i in face_of(body, face, where):
        if not is_flat(solid_faces[i]):
            kind = surface_kind(solid_faces[i])
            message = f"{where}: face {body.name}.{face} is a {kind}, not a plane; "
            message += "name the flat face to grind"
            raise SetupError(message)


def _body_of(setup: Setup, name: str, where: str) -> Body:
    for body in setup.bodies:
        if body.name == name:
            return body
    raise SetupError(f"{where}: no body is named {name!r}; {nearest(name, (b.name for b in setup.bodies))}")


def face_of(body: Body, name: str, where: str) -> tuple[int, ...]:
    """Return a named face's indices; faces that nobody named go by `face_<n>`.

    Parameters
    ----------
    body : Body
        The body whose face is named.
    name : str
        Name of the face.
    where : str
        Begins a message: where the name is stated.

    Returns
    -------
    tuple of int
        Indices into `faces_of(solid)`; never empty.

    Raises
    ------
    SetupError
        The body has no such face, or it is not clear which one the name means.
    """
    if name in body.unclear:
        raise SetupError(f"{where}: {body.why_unclear(name)}")
    indices = body.face_indices(str(name))
    if indices:
        return indices
    raise SetupError(f"{where}: body {body.name!r} has no face {name!r}; {nearest(name, body.faces)}")


def _refuse_repeats(names: Iterable[str], what: str, *key: str) -> None:
    """Each name once, and each an allowed one; `key` is what they belong to, where they name no entries."""
    counts = Counter(names)
    for name, count in counts.items():
        with about(*(key or (what, name))):
            allowed_name(name, f"{what} {name!r}", MOST_MADE)
            if count > 1:
                raise SetupError(f"{what} {name!r} is stated {count} times; each needs a name of its own")


def _from_table(look_up: Callable[[str], object], name: str, where: str) -> None:
    """Look a name up in one of the shop's tables, which know their nearest names."""
    try:
        look_up(name)
    except SetupError as reason:
        raise SetupError(f"{where}: {reason}") from reason


_REFUSALS: tuple[tuple[tuple[str, ...], Callable[[Setup], None]], ...] = (
    ((), _refuse_bad_seats),
    ((), _refuse_bad_cuts),
    (("wheel",), _refuse_bad_wheel),
    (("machine",), _refuse_below_table),
    (("staging",), refuse_bad_staging),
    (("holding",), _refuse_bad_hold),
    ((), refuse_bad_drills),
    ((), refuse_bad_end_mills),
    (("hardening",), refuse_bad_hardening),
    (("dials",), refuse_bad_dials),
    ((), refuse_bad_rolls),
    (("relief",), _refuse_bad_relieving),
    ((), _refuse_bad_severity),
)
"""By the table that it is about, what refuses things that are wrong in themselves or among each other."""
