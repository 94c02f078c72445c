"""Turns tables of facts into a set-up, whether they come from TOML or from the nodes of an assembly."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.kernel.shapes import Location
from fixturecheck.kernel.step_read import PartFile
from fixturecheck.result import Source
from fixturecheck.setup.held import holding_stated
from fixturecheck.setup.make import body, equipment, place
from fixturecheck.setup.model import Body, Cut, Machine, Seat, Setup
from fixturecheck.setup.staged import relief_stated, staging_stated
from fixturecheck.setup.stated import Stated, with_inches
from fixturecheck.shop.wheels import Flange, Guard, Wheel
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import UNITS, convert, from_inch_key, inch_key

SETUP_TABLES = (
    "setup", "machine", "wheel", "tolerances", "severity", "equipment", "seat", "cut", "staging", "relief",
    "holding", "clamp", "mill",
)  # fmt: skip
"""What may be stated about a set-up besides its bodies."""

BODY_KEYS = {
    "role": "text",
    "material": "text",
    "faces": "table",
    "finish": "text or table",
    "tolerance_mm": "number or table",
    "orientation_mm": "number or table",
    "no_function": "texts",
    "pole": "text",
    "group": "text",
    "fastened": "flag",
}
"""What may be stated about a body besides its name, its solid and its place."""

_FILE_KEYS = {"name": "text", "file": "text", "solid": "text or whole", "at": "numbers", "rotate": "anything"}

_EQUIPMENT_KEYS = ("kind", "name", "at", "rotate", "fastened", "params")

Tags = Callable[[str], Any]
"""Finds the faces of a tag, where there are tags."""


def build_setup(
    facts: Stated,
    *,
    bodies: Callable[[str], Iterable[Body]],
    name: str,
    sources: Callable[[Sequence[Body]], tuple[Source, ...]] = lambda _bodies: (),
) -> Setup:
    """Build a set-up from its tables.

    Parameters
    ----------
    facts : Stated
        The tables of `SETUP_TABLES`; whoever calls has refused other keys.
    bodies : callable
        Makes the bodies that are no equipment, given the units of the set-up.
    name : str
        What the set-up is called when it does not say.
    sources : callable, optional
        Lists the files that it was read from, given all bodies.

    Raises
    ------
    SetupError
        Something stated is wrong; the message says where it stands.
    """
    head = facts.table("setup")
    head.only(("name", "units"))
    units = head.get("units", "text", "mm")
    if units not in UNITS:
        head.fail(f"units {units!r} is unknown; use {' or '.join(UNITS)}", "units")
    everything: list[Body] = []
    for entry in facts.tables("equipment"):
        everything += _equipment(entry, units)
    everything += bodies(units)
    parts: dict[str, Any] = {
        "seats": tuple(s.record(Seat) for s in facts.tables("seat")),
        "cuts": tuple(c.record(Cut) for c in facts.tables("cut")),
        "machine": _machine(facts),
        "wheel": facts.table("wheel").record(Wheel),
        "tolerances": facts.table("tolerances").record(Tolerances),
        "severity": _texts(facts.table("severity")),
        "staging": staging_stated(facts),
        "relief": relief_stated(facts),
        "holding": holding_stated(facts),
    }
    try:
        return Setup(
            name=head.get("name", "text", name),
            units=units,
            bodies=tuple(everything),
            sources=sources(everything),
            **parts,
        )
    except SetupError as reason:
        message = f"{_where_said(facts, str(reason))}: {reason}"
        raise SetupError(message) from reason


def body_from_file(entry: Stated, units: str, read_part: Callable[[str], PartFile]) -> Body:
    """Build one body whose solid is in a file of its own."""
    entry.only([*with_inches(BODY_KEYS), *_FILE_KEYS])
    name = entry.need("name", "text")
    file = entry.need("file", "text")
    try:
        part = read_part(file)
    except SetupError as reason:
        entry.fail(f"body {name!r}: {reason}", "file")
    which = entry.get("solid", "text or whole")
    return body_stated(entry, units, name=name, drawn=part, at=placed(entry, units), which=which)


def body_stated(
    entry: Stated,
    units: str,
    *,
    name: str,
    drawn: object,
    at: Location,
    which: str | int | None = None,
    tags: Tags | None = None,
    besides: Mapping[str, tuple[int, ...]] | None = None,
) -> Body:
    """Build one body from its facts, its solid and its place.

    Parameters
    ----------
    drawn : object
        The solid, or the file that holds it.
    tags : callable, optional
        Finds the faces of a tag.
    besides : mapping, optional
        Faces that already have names, used where the facts name no others.
    """
    faces = entry.table("faces", f"the faces of body {name!r}")
    refs = {face: _reference(faces, face, units, tags) for face in faces.values}
    try:
        return body(
            name,
            drawn,
            at=at,
            role=entry.get("role", "text", "part"),
            material=entry.get("material", "text", "steel_1018"),
            faces=refs,
            finish=_by_face(entry, "finish", "text"),
            tolerance_mm=_lengths_by_face(entry, "tolerance_mm"),
            orientation_mm=_lengths_by_face(entry, "orientation_mm"),
            no_function=entry.get("no_function", "texts", ()),
            pole=entry.get("pole", "text"),
            group=entry.get("group", "text"),
            fastened=entry.get("fastened", "flag", default=False),
            which=which,
            named=besides,
        )
    except SetupError as reason:
        entry.fail(str(reason))


def placed(entry: Stated, units: str) -> Location:
    """Return the place that `at` and `rotate` state."""
    at = _lengths(entry, "at", units) if "at" in entry.values else (0.0, 0.0, 0.0)
    rotate = entry.get("rotate", "anything", [])
    if not isinstance(rotate, list | tuple):
        entry.fail("rotate must be a list of turns, like [['z', 90]]", "rotate")
    # One turn may be stated without the outer brackets: rotate = ["z", 90].
    turns: Any = [rotate] if rotate and isinstance(rotate[0], str) else rotate
    try:
        return place(at=at, rotate=turns)
    except SetupError as reason:
        entry.fail(f"{entry.what}: {reason}", "rotate" if turns else "at")


def _equipment(entry: Stated, units: str) -> tuple[Body, ...]:
    """Build a piece of equipment; lengths in its parameters may be stated under inch keys."""
    entry.only(_EQUIPMENT_KEYS)
    stated = entry.table("params", f"params of {entry.what}")
    params: dict[str, Any] = {}
    for key, value in stated.values.items():
        metric = _metric_key(key)
        if metric is None:
            params[key] = value
        elif metric in stated.values:
            stated.fail(f"{stated.what} state both {metric} and {key}; keep one", key)
        else:
            params[metric] = from_inch_key(stated.get(key, "number"), key=metric)
    kind, name = entry.need("kind", "text"), entry.need("name", "text")
    at = placed(entry, units)
    fastened = entry.get("fastened", "flag", default=False)
    try:
        return equipment(kind, name=name, at=at, fastened=fastened, **params)
    except SetupError as reason:
        entry.fail(str(reason))


def _metric_key(key: str) -> str | None:
    """Return the metric key that an inch key stands for, or None when it is no inch key."""
    for suffix in ("_mm", "_um", "_m_min", "_m_s"):
        inch_suffix = str(inch_key(suffix))
        if key.endswith(inch_suffix):
            return key.removesuffix(inch_suffix) + suffix
    return None


def _machine(facts: Stated) -> Machine:
    """Build the machine with its flange and guard; `guard = false` takes the guard off."""
    stated = facts.table("machine")
    guard: Guard | None = None
    if stated.get("guard", "table or false", {}) is not False:
        guard = stated.table("guard", "[machine.guard]").record(Guard)
    flange = stated.table("flange", "[machine.flange]").record(Flange)
    return stated.record(Machine, besides={"flange": flange, "guard": guard})


def _reference(faces: Stated, face: str, units: str, tags: Tags | None) -> object:
    """Turn a stated reference to faces into one that `body` takes."""
    return _one_reference(faces, face, faces.values[face], units, tags)


def _one_reference(faces: Stated, face: str, value: object, units: str, tags: Tags | None) -> object:
    if isinstance(value, str):
        return value
    if isinstance(value, list | tuple):
        return [_one_reference(faces, face, v, units, tags) for v in value]
    if not isinstance(value, Mapping):
        if tags is not None:
            return value
        faces.fail(f"{face} in {faces.what} must be {_FORMS}; got {value!r}", face)
    if len(value) != 1 or next(iter(value)) not in {"step", "select", "near", "tag"}:
        faces.fail(
            f"{face} in {faces.what} must be {_FORMS}; got the keys {', '.join(map(str, value))}", face
        )
    stated = Stated(what=f"face {face!r}", values=value, path=(*faces.path, face), where=faces.where)
    if "near" in value:
        return _lengths(stated, "near", units)
    if "tag" in value:
        tag = stated.get("tag", "text")
        if tags is None:
            faces.fail(f"{face} in {faces.what}: a file has no tags; use step, select or near", face)
        try:
            return tags(tag)
        except SetupError as reason:
            faces.fail(f"{face} in {faces.what}: {reason}", face)
    return stated.get("select", "text") if "select" in value else "step:" + stated.get("step", "text")


_FORMS = "{step = 'NAME'}, {select = '>Z'}, {near = [x, y, z]} or a list of these"


def _lengths(stated: Stated, key: str, units: str) -> tuple[float, ...]:
    """Return three lengths in mm that were stated in the units of the set-up."""
    values = stated.get(key, "numbers")
    flat = [v for v in values if isinstance(v, int | float)]
    if len(values) != 3 or len(flat) != 3 or not all(math.isfinite(v) for v in flat):
        stated.fail(f"{key} in {stated.what} must be three finite numbers; got {values!r}", key)
    unit = "in" if units == "inch" else "mm"
    return tuple(convert(float(v), unit=unit, to="mm") for v in flat)


def _by_face(entry: Stated, key: str, kind: str) -> Any:
    """Return one value for all faces, or a table of them by face."""
    value = entry.get(key, f"{kind} or table")
    if not isinstance(value, Mapping):
        return value
    table = entry.table(key, f"{key} of {entry.what}")
    return {face: table.get(face, kind) for face in value}


def _lengths_by_face(entry: Stated, key: str) -> Any:
    """Return a length, or lengths by face, in mm; `key` may be stated in inches."""
    inches = inch_key(key) or key
    if inches not in entry.values:
        return _by_face(entry, key, "number")
    if key in entry.values:
        entry.fail(f"{entry.what} states both {key} and {inches}; keep one", inches)
    value = _by_face(entry, inches, "number")
    if isinstance(value, Mapping):
        return {face: from_inch_key(v, key=key) for face, v in value.items()}
    return from_inch_key(value, key=key)


def _texts(stated: Stated) -> dict[str, str]:
    return {key: stated.get(key, "text") for key in stated.values}


_SAID = re.compile(
    r"(?:(body|cut|equipment|clamp|mill) '([^']*)'|seat of '([^']*)' on '([^']*)'"
    r"|(machine|wheel|flange|guard|staging|relief|holding))"
)


def _where_said(facts: Stated, message: str) -> str:
    """Say where the entry stands that a message about the whole set-up begins with."""
    said = _SAID.match(message)
    if not said:
        return facts.where(facts.path)
    kind, name, on_body, on, single = said.groups()
    if single:
        return facts.where(("machine", single) if single in {"flange", "guard"} else (single,))
    wanted = {"name": name} if kind else {"body": on_body, "on": on}
    entries: Any = facts.values.get(kind or "seat", ())
    for n, entry in enumerate(entries if isinstance(entries, list | tuple) else ()):
        if all(entry.get(k) == v for k, v in wanted.items()):
            return facts.where((kind or "seat", n))
    return facts.where(facts.path)
