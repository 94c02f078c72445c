"""What a result says of a set-up: values stated, the file and line of each table or call, every body."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.fields import own_fields
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.topology import faces_of, once_per_drawing, one_of_each
from fixturecheck.kernel.measure import area_mm2, box_of, centroid_of, mass_of, normal_in_middle, surface_kind
from fixturecheck.kernel.place import drawing_matrix, matrix_of
from fixturecheck.kernel.shapes import Solid
from fixturecheck.numeric import to_vector
from fixturecheck.result.finding import Finding, Origin
from fixturecheck.result.shapes import BodyDrawn, FaceDrawn, StatedFact, StatedValue
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.reader import KeyPath, Stated, TextSpot

_DIGITS = 9
_OF_A_BODY = (
    "role", "material", "finish", "tolerance_mm", "orientation_mm", "no_function", "pole", "group",
    "fastened",
)  # fmt: skip
_SINGLE = ("machine", "wheel", "staging", "holding", "tolerances", "relief", "severity")
Measured = tuple[float, tuple[float, ...], tuple[float, ...], tuple[tuple[Any, ...], ...]]
_NAMED = ("body", "equipment", "cut", "drill", "end_mill", "clamp", "mill")
_SINGLE_ORIGINS = ("setup", "machine", "wheel", "staging", "holding", "hardening", "tolerances")
_TABLES: Mapping[str, tuple[str, ...]] = {
    "rest": ("staging",),
    "location": ("staging",),
    "tolerance": ("staging",),
    "hold": ("holding",),
    "crash": ("holding",),
    "release": ("holding",),
    "hardening": ("hardening",),
    "limits": ("machine", "wheel"),
}
"""By check, the tables that ask its question, for a finding about the whole set-up."""
_OF_A_CUT = frozenset({"reach", "clear", "align", "limits", "describe", "mill"})
"""Checks whose findings are led to the cut first, not to the part."""


def facts_of(setup: Setup) -> tuple[StatedFact, ...]:
    """Return every value that a set-up states or takes by default, each once.

    Parameters
    ----------
    setup : Setup
        As validated, with its defaults.

    Returns
    -------
    tuple of StatedFact
        Each value in the unit of its key.
    """
    return tuple(_facts(setup))


def _facts(setup: Setup) -> Iterator[StatedFact]:
    yield StatedFact(of="setup", about=(), key="units", value=setup.units)
    for body in setup.bodies:
        about = (body.name,)
        matrix = np.asarray(matrix_of(body.at), dtype=np.float64)
        at = tuple((np.round(matrix[:3, 3], _DIGITS) + 0.0).tolist())
        yield StatedFact(of="body", about=about, key="at_mm", value=_value(at))
        turn = tuple((np.round(matrix[:3, :3].ravel(), _DIGITS) + 0.0).tolist())
        yield StatedFact(of="body", about=about, key="turn", value=_value(turn))
        for name in _OF_A_BODY:
            yield from _flat("body", about, name, getattr(body, name))
    for seat in setup.seats:
        sides = (str(seat.own), str(seat.other))
        yield from _flat("seat", sides, "", seat, left=("body", "face", "on", "on_face"))
    for cut in setup.cuts:
        yield from _flat("cut", (cut.name,), "", cut, left=("name",))
    for name in _SINGLE:
        value = getattr(setup, name)
        if value is not None:
            yield from _flat(name, (), "", value)


def _flat(
    of: str, about: tuple[str, ...], key: str, value: Any, left: tuple[str, ...] = ()
) -> Iterator[StatedFact]:
    """Yield the values in a record, a table or a list of records, named by dots; one value as it is."""

    def inner(name: str) -> str:
        return f"{key}.{name}" if key else name

    if is_dataclass(value) and not isinstance(value, type):
        keys = [f.name for f in own_fields(type(value))] or [f.name for f in fields(value)]
        for name in keys:
            # Where a file lies on this machine is no fact of the set-up.
            if name not in {*left, "stated", "path"}:
                yield from _flat(of, about, inner(name), getattr(value, name))
    elif isinstance(value, Mapping):
        for name, one in value.items():
            yield from _flat(of, about, inner(str(name)), one)
    elif isinstance(value, tuple | list) and any(map(is_dataclass, value)):
        for number, one in enumerate(value, start=1):
            called = getattr(one, "name", None) or getattr(one, "part", None) or number
            yield from _flat(of, about, inner(str(called)), one, left=("name",))
    else:
        yield StatedFact(of=of, about=about, key=key, value=_value(value))


def _value(value: Any) -> StatedValue:
    if isinstance(value, bool) or value is None:
        return value
    # A script may state a whole number of millimetres where a file states 2.0.
    if isinstance(value, int | float):
        return float(f"{value:.{_DIGITS}g}") + 0.0
    if isinstance(value, frozenset | set):
        return tuple(sorted(map(str, value)))
    if isinstance(value, Iterable) and not isinstance(value, str):
        return tuple(_value(v) for v in value)
    return str(value)


def bodies_drawn(setup: Setup) -> tuple[BodyDrawn, ...]:
    """Return every body with its volume, its place and its faces; copies of a part are measured once.

    Parameters
    ----------
    setup : Setup
        Its bodies where they stand.

    Returns
    -------
    tuple of BodyDrawn
        In the set-up's order.
    """
    first = one_of_each([b.solid for b in setup.bodies])
    measured: dict[tuple[int, bytes], Measured] = {}
    found = []
    for body, i in zip(setup.bodies, first, strict=True):
        # Copies may be drawn in other places of their own frames.
        key = i, drawing_matrix(body.solid).tobytes()
        if key not in measured:
            measured[key] = _measured(body.solid)
        found.append(_drawn(body, *measured[key]))
    return tuple(found)


@once_per_drawing(256)
def _measured(solid: Solid) -> Measured:
    volume, centre = mass_of(solid)
    box = box_of(solid)
    faces = []
    for face in faces_of(solid):
        kind = str(surface_kind(face))
        normal = normal_in_middle(face) if kind == SurfaceKind.PLANE else None
        faces.append((kind, area_mm2(face), centroid_of(face), normal))
    return volume, centre, tuple(box[k + 3] - box[k] for k in range(3)), tuple(faces)


def _drawn(
    body: Body,
    volume_mm3: float,
    centre: tuple[float, ...],
    size: tuple[float, ...],
    faces: tuple[tuple[Any, ...], ...],
) -> BodyDrawn:
    matrix = np.asarray(matrix_of(body.at), dtype=np.float64)
    named = zip(body.face_names(), faces, strict=True)
    return BodyDrawn(
        name=body.name,
        role=str(body.role),
        volume_mm3=volume_mm3,
        centre_mm=to_vector(matrix[:3, :3] @ np.array(centre) + matrix[:3, 3]),
        size_mm=to_vector(np.array(size)),
        at=tuple(matrix[:3].ravel().tolist()),
        faces=tuple(
            FaceDrawn(name=name, kind=kind, area_mm2=area, centre_mm=middle, normal=normal)
            for name, (kind, area, middle, normal) in named
        ),
    )


def origins_of_tables(facts: Stated) -> dict[tuple[str, ...], Origin]:
    """Return where the tables of a set-up stand; empty where they are in no file.

    Parameters
    ----------
    facts : Stated
        The tables at the top, as they were read.

    Returns
    -------
    dict of tuple of str to Origin
        By kind and name, as `cut` and `top`; a seat by `seat` and its two faces; the whole by `()`.
    """
    found = dict(_at((), facts, ()))
    for kind in _NAMED:
        for entry in _entries(facts, kind):
            found |= _at((kind, str(entry.values.get("name"))), facts, entry.path)
    for entry in _entries(facts, "seat"):
        own, other = (
            FaceRef.of(str(entry.values.get(body)), str(entry.values.get(face)))
            for body, face in (("body", "face"), ("on", "on_face"))
        )
        found |= _at(("seat", own, other), facts, entry.path)
    for name in _SINGLE_ORIGINS:
        if name in facts.values:
            found |= _at((name,), facts, (name,))
    return found


def _entries(facts: Stated, kind: str) -> list[Stated]:
    try:
        return facts.tables(kind)
    except SetupError:  # it is refused where it is read
        return []


def _at(key: tuple[str, ...], facts: Stated, path: KeyPath) -> dict[tuple[str, ...], Origin]:
    spot = facts.where(path)
    return {key: Origin(file=spot.file, line=spot.line)} if isinstance(spot, TextSpot) else {}


def origin_of(setup: Setup, finding: Finding) -> Origin | None:
    """Return where what a finding is about is stated: the nearest that a file states; None without a file.

    Parameters
    ----------
    setup : Setup
        The set-up, with its origins.
    finding : Finding
        What is to be traced.

    Returns
    -------
    Origin or None
        None where no file states any of it.
    """
    return next((setup.origins[key] for key in _keys(setup, finding) if key in setup.origins), None)


def _keys(setup: Setup, finding: Finding) -> Iterator[tuple[str, ...]]:
    """Yield what a finding is about, the nearest first."""
    if finding.named:
        yield "clamp", finding.named
    kinds = ("cut", "drill", "end_mill", "mill")
    of_cut = [(kind, finding.cut) for kind in kinds] if finding.cut else []
    if finding.check in _OF_A_CUT:
        yield from of_cut
    if len(finding.about) > 1:
        own, other = finding.about[:2]
        yield "seat", own, other
        yield "seat", other, own
    names = [FaceRef(one).body for one in (*finding.about, finding.subject)]
    groups = {b.name: b.group for b in setup.bodies}
    for name in names:
        yield "body", name
        if groups.get(name):
            yield "equipment", str(groups[name])
    yield from of_cut
    yield from ((table,) for table in _TABLES.get(finding.check, ()))
    yield ()


def origins_in_script(setup: Setup, files: Iterable[tuple[str, Path]]) -> dict[tuple[str, ...], Origin]:
    """Return where a set-up's bodies, equipment, cuts, clamps and seats stand in a script.

    A thing stands where a call of its kind is given its name: `Cut(name="top")`. Else any call that is given
    the name makes it, else the name is mentioned; the first of several.

    Parameters
    ----------
    setup : Setup
        What the script made.
    files : iterable of (str, Path)
        The script, then the modules that it imported: how each is called, and where it is.

    Returns
    -------
    dict of tuple of str to Origin
        Keys as of `origins_of_tables`; what is mentioned nowhere is left out.
    """
    files = list(files)
    holding = setup.holding
    named: list[tuple[str, Iterable[Any]]] = [
        ("body", setup.bodies), ("cut", setup.cuts), ("drill", setup.drills), ("end_mill", setup.end_mills)
    ]  # fmt: skip
    if holding is not None:
        named += [("clamp", holding.clamps), ("mill", holding.milling)]
    wanted = {(kind, thing.name) for kind, things in named for thing in things}
    wanted |= {("equipment", b.group) for b in setup.bodies if b.group}
    found: dict[tuple[str, ...], Origin] = {(): Origin(file=files[0][0])} if files else {}
    mentions: list[tuple[int, str, _Mention]] = []
    for number, (called, path) in enumerate(files):
        texts, seats = _read(path.read_bytes())
        mentions += [(number, called, text) for text in texts]
        for key, line in seats:
            found.setdefault(key, Origin(file=called, line=line))
    for kind, name in wanted:
        of_it = [m for m in mentions if m[2].names.fullmatch(name)]
        if of_it:
            _, called, text = min(of_it, key=lambda m: (m[2].rank(kind), m[0], m[2].line))
            found[kind, name] = Origin(file=called, line=text.line)
    return found


def operations_in_script(files: Iterable[tuple[str, Path]]) -> dict[str, str]:
    """Return where a script states a job, and each operation whose number is written out.

    Parameters
    ----------
    files : iterable of (str, Path)
        The script, then the modules that it imported: how each is called, and where it is.

    Returns
    -------
    dict of str to TextSpot
        By `job`, the script; by the number of an operation, the call that states it, and each of its keys.
    """
    found: dict[str, str] = {}
    for called, path in files:
        found.setdefault("job", TextSpot(called))
        for node in ast.walk(ast.parse(path.read_bytes())):
            if isinstance(node, ast.Call) and _called(node) == "Operation":
                keys = {word.arg: word.value for word in node.keywords}
                number = keys.get("number")
                if isinstance(number, ast.Constant) and isinstance(number.value, int):
                    found.setdefault(f"{number.value}", TextSpot(called, number.lineno))
                    for key, value in keys.items():
                        found.setdefault(f"{number.value}.{key}", TextSpot(called, value.lineno))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mention:
    """A text in a script: what it reads, and the call that it names something to."""

    names: re.Pattern[str]
    exact: bool
    call: str | None
    line: int

    def rank(self, kind: str) -> int:
        """Return how far it is from making a thing of a kind; 0 makes it."""
        if self.call is None:
            return 4 + (not self.exact)
        made = kind.replace("_", "") in self.call.replace("_", "").lower()
        return (0 if made else 2) + (not self.exact)


@lru_cache(maxsize=64)
def _read(script: bytes) -> tuple[tuple[_Mention, ...], tuple[tuple[tuple[str, ...], int], ...]]:
    """Return the texts of a script, and its seats; a script is edited less often than it is run."""
    tree = ast.parse(script)
    return tuple(_mentions(tree)), tuple(_seats(tree))


def _mentions(tree: ast.AST) -> Iterator[_Mention]:
    """Yield the texts of a script; what a text is put together with counts as anything."""
    given: dict[ast.AST, str] = {}
    inside: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            named = [word.value for word in node.keywords if word.arg == "name"]
            given |= dict.fromkeys(named or node.args[:1], _called(node))
        elif isinstance(node, ast.JoinedStr):
            inside |= set(node.values)
    for node in ast.walk(tree):
        parts = [] if node in inside else _parts(node)
        if any(parts):
            yield _Mention(
                names=re.compile("".join(".+" if part is None else re.escape(part) for part in parts)),
                exact=None not in parts,
                call=given.get(node),
                line=getattr(node, "lineno", 1),
            )


def _parts(node: ast.AST) -> list[str | None]:
    """Return the pieces of a text, None for what is put in; none of what is no text."""
    pieces = node.values if isinstance(node, ast.JoinedStr) else [node]
    texts = [p.value if isinstance(p, ast.Constant) and isinstance(p.value, str) else None for p in pieces]
    return texts if isinstance(node, ast.JoinedStr) or any(texts) else []


def _called(call: ast.Call) -> str:
    """Return the last name of what is called: `Cut` of `fixturecheck.Cut(...)`."""
    function = call.func
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""


def _seats(tree: ast.AST) -> Iterator[tuple[tuple[str, ...], int]]:
    """Yield the seats of a script whose faces are written out, each with its line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _called(node) == "Seat":
            said = {w.arg: w.value.value for w in node.keywords if isinstance(w.value, ast.Constant)}
            if {"body", "face", "on", "on_face"} <= said.keys():
                own, other = (str(said["body"]), str(said["face"])), (str(said["on"]), str(said["on_face"]))
                yield ("seat", FaceRef.of(*own), FaceRef.of(*other)), node.lineno
