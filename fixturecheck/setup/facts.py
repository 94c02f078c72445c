"""Records of a set-up out of its tables of facts: bodies, equipment, places, machine, staging and holding."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.fields import Allowed, shortened
from fixturecheck.names import MOST_NAME, NAME, allowed_name
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.chuck_file import chuck_file
from fixturecheck.setup.entries import (
    LEAN_MM,
    MOST_SELECTOR,
    MOST_TURNS,
    PLACE_MM,
    POLES,
    ROLES,
    TURN_DEG,
    ZONE_MM,
    BodyEntry,
    EquipmentEntry,
)
from fixturecheck.setup.holding import CalibratedChuck, Clamp, Holding, Milling
from fixturecheck.setup.reader import Stated, with_inches
from fixturecheck.setup.records import Machine, Relieving
from fixturecheck.setup.staging import PULL_N, Press, Push, Staging
from fixturecheck.shop import tables
from fixturecheck.shop.catalogue import checked
from fixturecheck.shop.wheels import Flange, Guard, Wheel, check_wheel
from fixturecheck.units import convert, from_inch_key, inch_key

Turn = tuple[str | Sequence[float], float]
"""An axis, `x`, `y`, `z` or a vector, and an angle in degrees, right-handed."""

AXES: Mapping[str, Vector] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}


def point(values: object, what: str, rule: Allowed = PLACE_MM) -> Vector:
    """Return three finite numbers in their range, or say what is wrong with them.

    Parameters
    ----------
    values : object
        What was stated.
    what : str
        What it is called in the message.

    Raises
    ------
    SetupError
        There are not three, one is not finite, or one is out of range.
    """
    numbers = list(values) if isinstance(values, Sequence) and not isinstance(values, str) else []
    if len(numbers) != 3 or not all(map(_is_number, numbers)):
        message = f"{what} must be three finite numbers; got {shortened(values)}"
        raise SetupError(message)
    for number in numbers:
        flaw = rule.flaw_of(number)
        if flaw:
            message = f"{what}: {flaw}"
            raise SetupError(message)
    return float(numbers[0]), float(numbers[1]), float(numbers[2])


def turns(values: object) -> tuple[tuple[Vector, float], ...]:
    """Return turns as axis and angle in degrees, in their order.

    Raises
    ------
    SetupError
        There are too many, an axis is unknown or has no length, or an angle is none.
    """
    if not isinstance(values, list | tuple):
        message = "rotate must be a list of turns, like [['z', 90]]"
        raise SetupError(message)
    if len(values) > MOST_TURNS:
        message = f"rotate holds {len(values)} turns; state at most {MOST_TURNS}"
        raise SetupError(message)
    return tuple(_turn(turn) for turn in values)


def _turn(turn: object) -> tuple[Vector, float]:
    """Return the axis and the angle of one stated turn."""
    if not isinstance(turn, list | tuple) or len(turn) != 2:
        message = f"a turn is an axis and an angle in degrees, like ('z', 90); got {shortened(turn)}"
        raise SetupError(message)
    axis, angle_deg = turn
    if isinstance(axis, str):
        if axis.lower() not in AXES:
            message = f"axis {shortened(axis)} is unknown; use x, y, z or a vector"
            raise SetupError(message)
        direction = AXES[axis.lower()]
    else:
        direction = point(axis, "an axis")
    if math.hypot(*direction) == 0.0:
        message = "an axis of rotation must have a length; got (0, 0, 0)"
        raise SetupError(message)
    if not _is_number(angle_deg):
        message = f"an angle must be a finite number of degrees; got {shortened(angle_deg)}"
        raise SetupError(message)
    flaw = TURN_DEG.flaw_of(angle_deg)
    if flaw:
        message = f"an angle: {flaw}"
        raise SetupError(message)
    return direction, float(angle_deg)


def _is_number(value: object) -> bool:
    """Say whether a value is a finite number, however large; True and False are none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return isinstance(value, int) or math.isfinite(value)


PLACING_KEYS = ("seats", "along_mm", "turn_deg", "count", "against", "pitch", "pitch_mm")
FILE_KEYS = ("name", "file", "solid", "at", "rotate", *PLACING_KEYS)
BODY_KEYS = tuple(f.name for f in fields(BodyEntry) if f.name not in FILE_KEYS)
"""What may be stated about a body whose solid and place come from a file, and about any body."""

_EQUIPMENT_KEYS = tuple(f.name for f in fields(EquipmentEntry))
_FORMS = "{step = 'NAME'}, {select = '>Z'}, {near = [x, y, z]} or a list of these"
_KINDS = ("step", "select", "near", "tag")
_MOST_REFERENCES = 500

Tags = Callable[[str], Any]
"""Finds the faces of a tag, where there are tags."""

Turns = tuple[tuple[Vector, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceFacts:
    """Where something stands: turns about the machine's axes, then a move, mm."""

    at: Vector
    rotate: Turns


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentFacts:
    """A piece of equipment as stated; its parameters in metric units."""

    entry: Stated
    kind: str
    name: str
    params: Mapping[str, Any]
    place: PlaceFacts
    fastened: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyFacts:
    """A body as stated, without its solid.

    Parameters
    ----------
    entry : Stated
        The table that it was read from.
    stated : mapping of str to object
        What was stated, as `fixturecheck.body` takes it; what was left out is not in it.
    """

    entry: Stated
    name: str
    stated: Mapping[str, Any]


def place_facts(entry: Stated, units: str) -> PlaceFacts:
    """Return the place that `at` and `rotate` state.

    Raises
    ------
    SetupError
        A number is out of range, or a turn is none.
    """
    at = _lengths(entry, "at", units) if "at" in entry.values else (0.0, 0.0, 0.0)
    rotate = entry.get("rotate", "anything", [])
    # One turn may be stated without the outer brackets: rotate = ["z", 90].
    single = isinstance(rotate, list | tuple) and bool(rotate) and isinstance(rotate[0], str)
    try:
        return PlaceFacts(at=at, rotate=turns([rotate] if single else rotate))
    except SetupError as reason:
        told = str(reason)
        entry.fail(told if told.startswith("rotate") else f"{entry.what}: {reason}", "rotate")


def equipment_facts(entry: Stated, units: str) -> EquipmentFacts:
    """Return what is stated about a piece of equipment; lengths may be stated under inch keys.

    Raises
    ------
    SetupError
        A key, the kind, a parameter or a value is not known or not allowed; all of them are told.
    """
    wrong = Mistakes()
    with wrong.noted():
        entry.only(_EQUIPMENT_KEYS)
    kind = name = place = None
    params: dict[str, Any] = {}
    with wrong.noted():
        kind = entry.need("kind", "text")
    with wrong.noted():
        name = _name_of(entry)
    fastened = wrong.or_else(lambda: entry.get("fastened", "flag", default=False), otherwise=False)
    with wrong.noted():
        place = place_facts(entry, units)
    if kind is not None:
        with wrong.noted():
            params = _params(entry, kind)
    wrong.raise_any()
    if kind is None or name is None or place is None:
        entry.fail(f"{entry.what} is not complete")
    return EquipmentFacts(entry=entry, kind=kind, name=name, params=params, place=place, fastened=fastened)


def _params(entry: Stated, kind: str) -> dict[str, Any]:
    """Return the parameters of a kind of equipment in metric units."""
    called = f"equipment {shortened(entry.values.get('name'))}"
    try:
        checked(kind, {})
    except SetupError as reason:
        entry.fail(f"{called}: {reason}", "kind")
    stated = entry.table("params", f"params of {entry.what}")
    wrong = Mistakes()
    params: dict[str, Any] = {}
    for key in stated.values:
        metric = _metric_key(key) or key
        with wrong.noted():
            params[metric] = stated.number(metric, "anything")
            try:
                checked(kind, {metric: params[metric]})
            except SetupError as reason:
                stated.fail(f"{called}: {reason}", key)
    wrong.raise_any()
    return params


def _metric_key(key: str) -> str | None:
    """Return the metric key that an inch key stands for, or None when it is no inch key."""
    for suffix in ("_mm", "_um", "_m_min", "_m_s"):
        inch_suffix = str(inch_key(suffix))
        if key.endswith(inch_suffix):
            return key.removesuffix(inch_suffix) + suffix
    return None


def body_facts(
    entry: Stated,
    units: str,
    *,
    name: str | None = None,
    besides: Iterable[str] = (),
    tags: Tags | None = None,
) -> BodyFacts:
    """Return what is stated about a body besides its solid and its place.

    Parameters
    ----------
    name : str, optional
        What it is called where the table does not say.
    besides : iterable of str
        Keys that are read elsewhere.
    tags : callable, optional
        Finds the faces of a tag; without it there are none.

    Raises
    ------
    SetupError
        A key or a value is not known or not allowed; all of them are told.
    """
    wrong = Mistakes()
    with wrong.noted():
        entry.only([*with_inches(BODY_KEYS), *besides])
    if name is None:
        with wrong.noted():
            name = _name_of(entry)
    stated: dict[str, Any] = {}
    for key, read in _readers(entry, name or "?", units, tags).items():
        if key in entry.values or inch_key(key) in entry.values:
            with wrong.noted():
                stated[key] = read()
    wrong.raise_any()
    return BodyFacts(entry=entry, name=name or "", stated=stated)


def _readers(entry: Stated, name: str, units: str, tags: Tags | None) -> dict[str, Callable[[], Any]]:
    """Return what reads each key of a body."""
    return {
        "role": lambda: _word(entry, "role", ROLES),
        "material": lambda: _from_table(entry, name, "material", tables.material),
        "faces": lambda: _faces(entry, name, units, tags),
        "finish": lambda: _finishes(entry, name),
        "tolerance_mm": lambda: _lengths_by_face(entry, "tolerance_mm", ZONE_MM),
        "orientation_mm": lambda: _lengths_by_face(entry, "orientation_mm", LEAN_MM),
        "no_function": lambda: entry.get("no_function", "texts"),
        "pole": lambda: _word(entry, "pole", POLES),
        "group": lambda: entry.get("group", "text"),
        "fastened": lambda: entry.get("fastened", "flag"),
    }


def _name_of(entry: Stated) -> str:
    """Return the name of an entry, which becomes part of file names."""
    name: str = entry.need("name", "text")
    try:
        allowed_name(name, f"{entry.what}, name")
    except SetupError as reason:
        entry.fail(str(reason), "name")
    return name


def _word(entry: Stated, key: str, words: tuple[str, ...]) -> str:
    value: str = entry.get(key, "text")
    entry.within(Allowed(words=words), key)
    return value


def _from_table(entry: Stated, name: str, key: str, look_up: Callable[[str], object]) -> str:
    """Return a name that one of the shop's tables has."""
    value: str = entry.get(key, "text")
    try:
        look_up(value)
    except SetupError as reason:
        entry.fail(f"body {name!r}: {reason}", key)
    return value


def _finishes(entry: Stated, name: str) -> Any:
    value = _by_face(entry, "finish", "text")
    for finish in value.values() if isinstance(value, Mapping) else [value]:
        try:
            tables.finish(finish)
        except SetupError as reason:
            entry.fail(f"body {name!r}: {reason}", "finish")
    return value


def _faces(entry: Stated, name: str, units: str, tags: Tags | None) -> dict[str, Any]:
    """Return the references to faces, each as `fixturecheck.body` takes it."""
    faces = entry.table("faces", f"the faces of body {name!r}")
    wrong = Mistakes()
    found = {}
    for face, value in faces.values.items():
        with wrong.noted():
            if not NAME.fullmatch(face) or len(face) > MOST_NAME:
                faces.fail(f"face {shortened(face)} in {faces.what}: {_NAMES}", face)
            found[face] = _reference(faces, face, value, units, tags)
    wrong.raise_any()
    return found


_NAMES = f"a name is made of at most {MOST_NAME} letters a to z, digits, _ and -, without blanks or dots"


def _reference(
    faces: Stated, face: str, value: object, units: str, tags: Tags | None, depth: int = 0
) -> object:
    """Turn a stated reference to faces into one that `fixturecheck.body` takes."""
    if isinstance(value, str):
        if len(value) > MOST_SELECTOR:
            faces.fail(
                f"{face} in {faces.what} has {len(value)} letters; at most {MOST_SELECTOR} are read", face
            )
        return value
    if isinstance(value, list | tuple):
        if depth > 1 or len(value) > _MOST_REFERENCES:
            faces.fail(f"{face} in {faces.what}: state one list of at most {_MOST_REFERENCES} faces", face)
        return [_reference(faces, face, v, units, tags, depth + 1) for v in value]
    if not isinstance(value, Mapping):
        if tags is not None:
            return value
        faces.fail(f"{face} in {faces.what} must be {_FORMS}; got {shortened(value)}", face)
    if len(value) != 1 or next(iter(value)) not in _KINDS:
        keys = shortened(", ".join(map(str, value))).strip("'")
        faces.fail(f"{face} in {faces.what} must be {_FORMS}; got the keys {keys}", face)
    stated = Stated(what=f"face {face!r}", values=value, path=(*faces.path, face), where=faces.where)
    if "near" in value:
        return _lengths(stated, "near", units)
    if "tag" in value:
        return _tagged(faces, face, stated.get("tag", "text"), tags)
    text = stated.get("select", "text") if "select" in value else "step:" + stated.get("step", "text")
    return _reference(faces, face, text, units, tags)


def _tagged(faces: Stated, face: str, tag: str, tags: Tags | None) -> object:
    """Return the faces of a tag."""
    if tags is None:
        faces.fail(f"{face} in {faces.what}: a file has no tags; use step, select or near", face)
    try:
        return tags(tag)
    except SetupError as reason:
        faces.fail(f"{face} in {faces.what}: {reason}", face)


def _lengths(stated: Stated, key: str, units: str) -> Vector:
    """Return three lengths in mm that were stated in the units of the set-up."""
    values = stated.get(key, "numbers")
    try:
        x, y, z = point(values, f"{key} in {stated.what}")
    except SetupError as reason:
        stated.fail(str(reason), key)
    unit = "in" if units == "inch" else "mm"
    return convert(x, unit=unit, to="mm"), convert(y, unit=unit, to="mm"), convert(z, unit=unit, to="mm")


def _by_face(entry: Stated, key: str, kind: str) -> Any:
    """Return one value for all faces, or a table of them by face."""
    value = entry.get(key, f"{kind} or table")
    if not isinstance(value, Mapping):
        return value
    table = entry.table(key, f"{key} of {entry.what}")
    return {face: table.get(face, kind) for face in value}


def _lengths_by_face(entry: Stated, key: str, rule: Allowed) -> Any:
    """Return a length, or lengths by face, in mm; `key` may be stated in inches."""
    inches = inch_key(key) or key
    stated = inches if inches in entry.values else key
    if stated == inches and key in entry.values:
        entry.fail(f"{entry.what} states both {key} and {inches}; keep one", inches)
    value = _by_face(entry, stated, "number")
    for number in value.values() if isinstance(value, Mapping) else [value]:
        metric = from_inch_key(number, key=key) if stated == inches and abs(number) < 1e9 else number
        flaw = rule.flaw_of(metric, inch_of=key if stated == inches else None)
        if flaw:
            entry.fail(f"{stated} in {entry.what}: {flaw}", stated)
    if stated == key:
        return value
    if isinstance(value, Mapping):
        return {face: from_inch_key(v, key=key) for face, v in value.items()}
    return from_inch_key(value, key=key)


def machine_stated(facts: Stated) -> Machine:
    """Return the machine with its flange and guard; `guard = false` takes the guard off.

    Raises
    ------
    SetupError
        Something stated of them is wrong.
    """
    stated = facts.table("machine")
    wrong = Mistakes()
    guard: Guard | None = None
    with wrong.noted():
        if stated.get("guard", "table or false", {}) is not False:
            guard = stated.table("guard", "[machine.guard]").record(Guard)
    flange = wrong.or_else(lambda: stated.table("flange", "[machine.flange]").record(Flange), Flange())
    machine = wrong.or_else(
        lambda: stated.record(Machine, besides={"flange": flange, "guard": guard}), Machine()
    )
    wrong.raise_any()
    return machine


def wheel_stated(stated: Stated) -> Wheel:
    """Return the wheel that a table states, its sizes fitting its shape.

    Raises
    ------
    SetupError
        A size is wrong, or they make no wheel.
    """
    wheel = stated.record(Wheel)
    try:
        check_wheel(wheel)
    except SetupError as reason:
        stated.fail(str(reason))
    return wheel


def staging_stated(facts: Stated) -> Staging | None:
    """Return the staging that `[staging]` states; None where there is no such table."""
    if "staging" not in facts.values:
        return None
    stated = facts.table("staging")
    wrong = Mistakes()
    pushes: dict[str, Push] = {}
    with wrong.noted():
        by_part = stated.table("push", "push in [staging]")
        for name in by_part.values:
            with wrong.noted():
                pushes[name] = by_part.table(name, f"push of {name!r} in [staging]").record(Push)
    pulls = wrong.or_else(lambda: _pulls(stated), {})
    presses = wrong.each(wrong.or_else(lambda: stated.tables("press"), []), lambda p: p.record(Press))
    besides = {"push": pushes, "pull_n": pulls, "press": presses}
    staging = wrong.or_else(lambda: stated.record(Staging, besides=besides), None)
    wrong.raise_any()
    return staging


def _pulls(stated: Stated) -> dict[str, float]:
    """Return the pull on each part; one number is that of all."""
    key = "pull_lbf" if "pull_lbf" in stated.values else "pull_n"
    if key == "pull_lbf" and "pull_n" in stated.values:
        stated.fail(f"{stated.what} states both pull_n and pull_lbf; keep one", key)
    value: Any = stated.get(key, "number or table", {})
    if isinstance(value, int | float):
        pulls = {"*": float(value)}
    else:
        table = stated.table(key, f"{key} in [staging]")
        pulls = {name: float(table.get(name, "number")) for name in table.values}
    for pull in pulls.values():
        metric = pull if key == "pull_n" else from_inch_key(min(pull, 1e300), key="pull_n")
        flaw = PULL_N.flaw_of(metric, inch_of=None if key == "pull_n" else "pull_n")
        if flaw:
            stated.fail(f"{key} in {stated.what}: {flaw}", key)
    if key == "pull_n":
        return pulls
    return {name: from_inch_key(pull, key="pull_n") for name, pull in pulls.items()}


def relief_stated(facts: Stated) -> Relieving:
    """Return what `[relief]` asks."""
    return facts.table("relief").record(Relieving)


def holding_stated(facts: Stated) -> Holding | None:
    """Return the holding that `[holding]`, `[[clamp]]` and `[[mill]]` state; None where there is none."""
    if not {"holding", "clamp", "mill"} & set(facts.values):
        return None
    stated = facts.table("holding")
    wrong = Mistakes()
    grinds_as = wrong.or_else(lambda: _texts(stated, "grinds_as"), {})
    between = wrong.or_else(lambda: _curves(stated), {})
    clamps = wrong.each(wrong.or_else(lambda: facts.tables("clamp"), []), lambda c: c.record(Clamp))
    milling = wrong.each(wrong.or_else(lambda: facts.tables("mill"), []), lambda m: m.record(Milling))
    calibrated = wrong.or_else(lambda: _calibrated(stated), None)
    besides: dict[str, Any] = {
        "clamps": clamps,
        "milling": milling,
        "grinds_as": grinds_as,
        "curves_between": between,
    }
    besides["calibrated"] = calibrated
    holding = wrong.or_else(lambda: stated.record(Holding, besides=besides), None)
    wrong.raise_any()
    return holding


def _calibrated(stated: Stated) -> CalibratedChuck | None:
    path = stated.get("calibrated", "text")
    if path is None:
        return None
    try:
        return chuck_file(path)
    except SetupError as reason:
        stated.fail("; ".join(reason.problems), "calibrated")


def _texts(stated: Stated, key: str) -> dict[str, str]:
    table = stated.table(key, f"{key} in [holding]")
    return {name: table.get(name, "text") for name in table.values}


def _curves(stated: Stated) -> dict[str, tuple[str, ...]]:
    table = stated.table("curves_between", "curves_between in [holding]")
    return {name: tuple(table.get(name, "texts")) for name in table.values}
