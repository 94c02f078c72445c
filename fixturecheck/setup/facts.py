"""Bodies and equipment as their tables state them: names, places, tolerances and references to faces."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fixturecheck.errors import Mistakes, SetupError, read_all
from fixturecheck.fields import shortened
from fixturecheck.names import MOST_NAME, NAME, allowed_name
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.reader import Stated
from fixturecheck.setup.records import (
    MOST_SELECTOR,
    MOST_TURNS,
    PLACE_MM,
    TURN_DEG,
    BodyEntry,
    EquipmentEntry,
)
from fixturecheck.shop import tables
from fixturecheck.shop.catalogue import checked_params, equipment
from fixturecheck.units import convert, inch_key

Turn = tuple[str | Sequence[float], float]
"""An axis, `x`, `y`, `z` or a vector, and an angle in degrees, right-handed."""

AXES: Mapping[str, Vector] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}


def point(values: object, what: str) -> Vector:
    """Return three finite numbers in their range, or say what is wrong with them.

    Parameters
    ----------
    values : object
        What was stated.
    what : str
        What it is called in the message.

    Returns
    -------
    Vector
        In the unit in which they were stated.

    Raises
    ------
    SetupError
        There are not three, one is not finite, or one is out of range.
    """
    numbers = list(values) if isinstance(values, Sequence) and not isinstance(values, str) else []
    if len(numbers) != 3 or not all(map(_is_number, numbers)):
        raise SetupError(f"{what} must be three finite numbers; got {shortened(values)}")
    for number in numbers:
        flaw = PLACE_MM.flaw_of(number)
        if flaw:
            raise SetupError(f"{what}: {flaw}")
    return float(numbers[0]), float(numbers[1]), float(numbers[2])


def turns(values: object, *, what: str = "") -> tuple[tuple[Vector, float], ...]:
    """Return turns as axis and angle in degrees, in their order.

    Parameters
    ----------
    values : object
        A list of pairs: an axis, `x`, `y`, `z` or a vector, and an angle in degrees.
    what : str
        What to call in a message whatever one of the turns belongs to.

    Returns
    -------
    tuple of (Vector, float)
        An axis that was stated as a vector keeps its length.

    Raises
    ------
    SetupError
        There are too many, an axis is unknown or has no length, or an angle is none.
    """
    if not isinstance(values, list | tuple):
        raise SetupError("rotate must be a list of turns, like [['z', 90]]")
    if len(values) > MOST_TURNS:
        raise SetupError(f"rotate holds {len(values)} turns; state at most {MOST_TURNS}")
    try:
        return tuple(_turn(turn) for turn in values)
    except SetupError as reason:
        raise SetupError(f"{what}: {reason}" if what else str(reason)) from reason


def _turn(turn: object) -> tuple[Vector, float]:
    """Return the axis and the angle of one stated turn."""
    if not isinstance(turn, list | tuple) or len(turn) != 2:
        raise SetupError(f"a turn is an axis and an angle in degrees, like ('z', 90); got {shortened(turn)}")
    axis, angle_deg = turn
    if isinstance(axis, str):
        if axis.lower() not in AXES:
            raise SetupError(f"axis {shortened(axis)} is unknown; use x, y, z or a vector")
        direction = AXES[axis.lower()]
    else:
        direction = point(axis, "an axis")
    if math.hypot(*direction) == 0.0:
        raise SetupError("an axis of rotation must have a length; got (0, 0, 0)")
    if not _is_number(angle_deg):
        raise SetupError(f"an angle must be a finite number of degrees; got {shortened(angle_deg)}")
    flaw = TURN_DEG.flaw_of(angle_deg)
    if flaw:
        raise SetupError(f"an angle: {flaw}")
    return direction, float(angle_deg)


def _is_number(value: object) -> bool:
    """Say whether a value is a finite number, however large; True and False are none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return isinstance(value, int) or math.isfinite(value)


GANG_KEYS = ("count", "against", "pitch", "pitch_mm")
FREE_KEYS = ("along_mm", "turn_deg")
PLACING_KEYS = ("seats", *GANG_KEYS, *FREE_KEYS)
FILE_KEYS = ("name", "file", "state", "solid", "at", "rotate", *PLACING_KEYS)
"""Keys of a gang, of freedoms that seats leave, of placing by seats, and of what only a file states."""

_FORMS = "{step = 'NAME'}, {select = '>Z'}, {near = [x, y, z]} or a list of these"
_KINDS = ("step", "select", "near", "tag")
MOST_REFERENCES = 500

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
    file, solid : str, str or int, optional
        The file that holds its solid, and which of several in there, where its table names one.
    state : str or None
        Whether the part `before` or `after` an operation of a job is meant; None outside a job.
    place : PlaceFacts, optional
        Where it stands, where its table says so.
    """

    entry: Stated
    name: str
    stated: Mapping[str, Any]
    file: str | None = None
    solid: str | int | None = None
    place: PlaceFacts | None = None
    state: str | None = None


def place_facts(entry: Stated, units: str) -> PlaceFacts:
    """Return the place that `at` and `rotate` state.

    Parameters
    ----------
    entry : Stated
        A table that may state `at` and `rotate`; without them it stands at the origin, not turned.
    units : str
        `inch`, or the unit is the millimetre.

    Returns
    -------
    PlaceFacts
        In mm and degrees.

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
        return PlaceFacts(at=at, rotate=turns([rotate] if single else rotate, what=entry.what))
    except SetupError as reason:
        entry.fail(str(reason), "rotate")


def equipment_facts(entry: Stated, units: str) -> EquipmentFacts:
    """Return what is stated about a piece of equipment; lengths may be stated under inch keys.

    Parameters
    ----------
    entry : Stated
        One `[[equipment]]` table.
    units : str
        Those of its `at`: `inch`, or the unit is the millimetre.

    Returns
    -------
    EquipmentFacts
        Without the parameters that are not stated.

    Raises
    ------
    SetupError
        A key, the kind, a parameter or a value is not known or not allowed; all of them are told.
    """
    wrong = Mistakes()
    place = wrong.or_else(lambda: place_facts(entry, units), None)
    readers = {
        "name": lambda: _name_of(entry),
        "at": lambda: None,
        "rotate": lambda: None,
        "kind": lambda: _kind(entry),
        "params": lambda: _params(entry),
    }
    given = wrong.or_else(lambda: entry.fields(EquipmentEntry, readers=readers), None)
    wrong.raise_any()
    if given is None or place is None:
        entry.fail(f"{entry.what} is not complete")
    return EquipmentFacts(
        entry=entry,
        kind=given["kind"],
        name=given["name"],
        params=given.get("params", {}),
        place=place,
        fastened=given.get("fastened", False),
    )


def _kind(entry: Stated) -> str:
    """Return a kind of equipment that the shop has."""
    kind: str = entry.get("kind", "text")
    try:
        checked_params(kind, {})
    except SetupError as reason:
        entry.fail(f"equipment {shortened(entry.values.get('name'))}: {reason}", "kind")
    return kind


def _params(entry: Stated) -> dict[str, Any]:
    """Return the parameters of a kind of equipment in metric units; none where the kind is not known."""
    kind = entry.values.get("kind")
    if not isinstance(kind, str) or kind not in equipment():
        return {}
    stated = entry.table("params", f"params of {entry.what}")
    metric = {_metric_key(key) or key: key for key in stated.values}

    def value_of(name: str) -> Any:
        value = stated.number(name, "anything")
        try:
            checked_params(kind, {name: value})
        except SetupError as reason:
            stated.fail(f"equipment {shortened(entry.values.get('name'))}: {reason}", metric[name])
        return value

    return dict(zip(metric, read_all(metric, value_of), strict=True))


def _metric_key(key: str) -> str | None:
    """Return the metric key that an inch key stands for, or None when it is no inch key."""
    for suffix in ("_mm", "_um", "_m_min", "_m_s"):
        inch_suffix = str(inch_key(suffix))
        if key.endswith(inch_suffix):
            return key.removesuffix(inch_suffix) + suffix
    return None


def body_facts(entry: Stated, units: str, *, name: str | None = None, tags: Tags | None = None) -> BodyFacts:
    """Return what is stated about a body, without opening its file.

    Parameters
    ----------
    entry : Stated
        The table that states the body.
    units : str
        Those of its place and of points on its faces: `inch`, or the unit is the millimetre.
    name : str, optional
        What a body is called whose solid and place do not come from a table; without it the table states
        name, file and place.
    tags : callable, optional
        Finds the faces of a tag; without it there are none.

    Returns
    -------
    BodyFacts
        Without file and place where `name` is given.

    Raises
    ------
    SetupError
        A key or a value is not known or not allowed; all of them are told.
    """
    called = str(entry.values.get("name", "?")) if name is None else name
    readers = {
        "name": lambda: _name_of(entry),
        "at": lambda: None,
        "rotate": lambda: None,
        "material": lambda: _material(entry, called),
        "faces": lambda: _faces(entry, called, units, tags),
        "finish": lambda: _finishes(entry, called),
    }
    if name is not None:
        return BodyFacts(
            entry=entry, name=name, stated=entry.fields(BodyEntry, without=FILE_KEYS, readers=readers)
        )
    wrong = Mistakes()
    given = wrong.or_else(lambda: entry.fields(BodyEntry, readers=readers), {})
    place = wrong.or_else(lambda: place_facts(entry, units), None)
    wrong.raise_any()
    return BodyFacts(
        entry=entry,
        name=given["name"],
        stated={key: value for key, value in given.items() if key not in FILE_KEYS},
        file=given["file"],
        solid=given.get("solid"),
        place=place,
        state=given.get("state"),
    )


def _name_of(entry: Stated) -> str:
    """Return the name of an entry, which becomes part of file names."""
    name: str = entry.need("name", "text")
    try:
        allowed_name(name, f"{entry.what}, name")
    except SetupError as reason:
        entry.fail(str(reason), "name")
    return name


def _material(entry: Stated, name: str) -> str:
    """Return a material that the shop's table has."""
    value: str = entry.get("material", "text")
    try:
        tables.material(value)
    except SetupError as reason:
        entry.fail(f"body {name!r}: {reason}", "material")
    return value


def _finishes(entry: Stated, name: str) -> Any:
    """Return one finish for all faces, or finishes by face."""
    value = entry.get("finish", "text or table")
    table = entry.table("finish", f"finish of {entry.what}") if isinstance(value, Mapping) else None
    for finish in [table.get(face, "text") for face in table.values] if table else [value]:
        try:
            tables.finish(finish)
        except SetupError as reason:
            entry.fail(f"body {name!r}: {reason}", "finish")
    return value


def _faces(entry: Stated, name: str, units: str, tags: Tags | None) -> dict[str, Any]:
    """Return the references to faces, each as `fixturecheck.body` takes it."""
    faces = entry.table("faces", f"the faces of body {name!r}")

    def reference(face: str) -> object:
        if not NAME.fullmatch(face) or len(face) > MOST_NAME:
            faces.fail(f"face {shortened(face)} in {faces.what}: {_NAMES}", face)
        return _reference(faces, face, faces.values[face], units, tags)

    return dict(zip(faces.values, read_all(faces.values, reference), strict=True))


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
        if depth > 1 or len(value) > MOST_REFERENCES:
            faces.fail(f"{face} in {faces.what}: state one list of at most {MOST_REFERENCES} faces", face)
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
