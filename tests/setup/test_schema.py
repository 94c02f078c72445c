"""The JSON Schema of a set-up refuses what the reader refuses, and nothing else.

The judge is jsonschema, a general library.
"""

from __future__ import annotations

import copy
import re
import tomllib
from dataclasses import MISSING
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.fields import own_fields
from fixturecheck.schemas import SCHEMAS, shipped
from fixturecheck.setup.reader import BY_OTHER_KEYS, RECORDS, Stated
from fixturecheck.setup.schema import setup_schema
from fixturecheck.setup.text import read_facts
from fixturecheck.shop.catalogue import equipment
from fixturecheck.units import inch_key, to_inch_key
from tests.docs.fences import PAGES, Fence, fences
from tests.setup.values import POOL, tried

ROOT = Path(__file__).parents[2]
SETUPS = sorted(p for p in ROOT.glob("models/*/*.toml") if not p.stem.startswith("job"))
"""A job is a file of its own, and gives its set-ups the part."""

VALIDATOR = jsonschema.Draft7Validator(setup_schema())


@pytest.mark.parametrize("path", SETUPS, ids=lambda p: p.stem)
def test_every_set_up_of_the_models_is_taken_and_names_its_schema(path: Path) -> None:
    text = path.read_text()
    assert [e.message for e in VALIDATOR.iter_errors(tomllib.loads(text))] == []
    named = text.splitlines()[0].removeprefix("#:schema ")
    assert (path.parent / named).resolve() == shipped()


WHOLE = """
[setup]
name = "all tables"
[machine]
rpm = 2900
[machine.flange]
diameter_mm = 80
[machine.guard]
opening_deg = 140
[wheel]
diameter_mm = 175
[tolerances]
touch_um = 1
[severity]
limits = "caution"
[staging]
order = ["part"]
pull_n = { part = 3 }
[staging.push.part]
direction = [1, 0, 0]
[[staging.press]]
part = "part"
at_mm = [0, 0, 1]
force_n = [0, 0, -5]
[relief]
clearance_mm = 0.1
[dials]
mark_mm = 0.002
[machine.downfeed]
graduation_mm = 0.01
counts_up = "down"
[machine.cross_feed]
graduation_mm = 0.02
counts_up = "in"
[holding]
magnet = "full"
[[clamp]]
name = "strap"
kind = "strap"
body = "part"
[[mill]]
name = "top"
parts = ["part"]
face = "floor"
cutter_mm = 10
teeth = 4
deep_mm = 1
wide_mm = 5
feed_mm_tooth = 0.05
[[transfer]]
name = "hole"
stop = "part"
toward = "+x"
target = "part.floor"
finder_mm = 10
[[square]]
body = "part"
runout_mm = 0.01
over_mm = 100
[[material]]
name = "bar"
density_kg_m3 = 7800
youngs_modulus_mpa = [200e3, 210e3]
poisson = 0.29
cte_um_m_k = 11.5
magnetic = false
friction_on_steel = [0.15, 0.30]
source = "the maker's sheet"
[[finish]]
name = "honed"
ra_um = [0.05, 0.2]
rz_um = [0.3, 1.2]
source = "measured on three pieces"
[[equipment]]
kind = "magnetic_v_block"
name = "vee"
[[body]]
name = "part"
file = "part.step"
[[body]]
name = "held"
file = "part.step"
seats = [{ face = "a", on = "vee_left", on_face = "left_flank" }]
[[seat]]
body = "part"
face = "seat"
on = "vee_left"
on_face = "land"
[[cut]]
name = "top"
parts = ["part"]
floor = "floor"
[[drill]]
name = "cross"
parts = ["part"]
hole = "bore"
flute_mm = 40
stick_out_mm = 60
thread = "M6"
[[end_mill]]
name = "pocket"
parts = ["part"]
makes = ["floor"]
diameter_mm = 8
flute_mm = 20
stick_out_mm = 30
[[end_mill.moves]]
kind = "pocket"
face = "floor"
[hardening]
process = "vacuum_gas"
[[hardening.sizes]]
part = "part"
face = "bore"
tolerance_mm = 0.02
"""

BASE = tomllib.loads(WHOLE)
LISTED = (
    "equipment", "body", "seat", "cut", "drill", "end_mill", "clamp", "mill", "transfer", "square",
    "material", "finish",
)  # fmt: skip
PLACES: dict[str, tuple[str | int, ...]] = {
    **{name: (name, 0) if name in LISTED else (name,) for name in RECORDS if "." not in name},
    "machine.flange": ("machine", "flange"),
    "machine.guard": ("machine", "guard"),
    "machine.downfeed": ("machine", "downfeed"),
    "machine.cross_feed": ("machine", "cross_feed"),
    "staging.push": ("staging", "push", "part"),
    "staging.press": ("staging", "press", 0),
    "body.seats": ("body", 1, "seats", 0),
    "hardening.sizes": ("hardening", "sizes", 0),
    "end_mill.moves": ("end_mill", 0, "moves", 0),
}
TRIED = [table for table, place in PLACES.items() if place[0] in BASE]
"""Where a table of each kind stands in the document above."""

BESIDE = dict.fromkeys(("seat", "body", "body.seats", "cut"), ("equipment", "body"))
"""Tables that name bodies, and what those stand in."""

READER_KNOWS = re.compile(
    "does not belong to this shape|must be smaller than|dressed profile must|no body is named|is not known|"
    "cannot be read|no regular file|which is not stated|not magnetic, and with|between must name|"
    "must be a positive number of mm|states no seats|the raised spindle leaves|stated without a thread|"
    "stated without spot_deg|"
    "end_mill 'pocket': "
)
"""What no schema knows: what a name names, what a file holds, and which sizes and tables go together."""


def reader_says(document: dict[str, Any]) -> str:
    """What the reader refuses a document for; empty where it takes it."""
    facts = Stated(what="the file", values=document, path=(), where=lambda path: ".".join(map(str, path)))
    try:
        read_facts(facts, ROOT / "none.toml")
    except SetupError as reason:
        return "; ".join(reason.problems)
    return ""


def changed(table: str, key: str, value: Any, *, without: str = "") -> dict[str, Any]:
    """The document above, cut down to one table and the bodies, with another value for one key."""
    document = copy.deepcopy({top: BASE[top] for top in (str(PLACES[table][0]), *BESIDE.get(table, ()))})
    at: Any = document
    for step in PLACES[table]:
        at = at[step]
    at.pop(without, None)
    at[key] = value
    return document


def test_reader_and_schema_take_the_document_that_is_changed() -> None:
    assert reader_says(BASE) == ""
    assert VALIDATOR.is_valid(BASE)


@pytest.mark.parametrize("table", TRIED)
def test_reader_and_schema_refuse_the_same(table: str) -> None:
    """No false alarm in the editor, and no mistake of key, kind, word or range that it lets pass."""
    refused = taken = 0
    for field in own_fields(RECORDS[table]):
        if field.name in BY_OTHER_KEYS.get(table, ()) and f"{table}.{field.name}" not in RECORDS:
            continue
        for key, value in tried(RECORDS[table], field, inches=True):
            document = changed(table, key, value, without="" if key == field.name else field.name)
            says, taken_by_schema = reader_says(document), VALIDATOR.is_valid(document)
            refused, taken = refused + bool(says), taken + (not says)
            if says and not taken_by_schema:
                continue
            assert taken_by_schema, f"{table}.{key} = {value!r}: the schema refuses what the reader takes"
            assert not says or READER_KNOWS.search(says), (
                f"{table}.{key} = {value!r} passes the schema: {says}"
            )
    assert refused > 5
    assert taken > 0


@pytest.mark.parametrize("table", TRIED)
def test_a_key_that_must_be_stated_is_missed_by_both(table: str) -> None:
    for field in own_fields(RECORDS[table]):
        if field.default is MISSING and field.default_factory is MISSING:
            document = changed(table, "of_no_meaning", 1, without=field.name)
            at: Any = document
            for step in PLACES[table]:
                at = at[step]
            del at["of_no_meaning"]
            assert reader_says(document)
            assert not VALIDATOR.is_valid(document)


@pytest.mark.parametrize(
    ("table", "more"),
    [
        ("cut", {"stock_mm": 0.1, "stock_in": 0.004}),
        ("body", {"at": [0, 0, 0], "seats": BASE["body"][1]["seats"]}),
        ("body", {"against": "nest"}),
        ("body", {"count": 2, "pitch_mm": 5, "against": "nest", "seats": BASE["body"][1]["seats"]}),
        ("equipment", {"along_in": 2}),
        ("equipment", {"at": [0, 0, 0], "turn_deg": 5}),
        ("equipment", {"params": {"length_mm": 80, "length_in": 3}}),
        ("wheel", {"name": "white_46"}),
        ("severity", {"hold": "no go"}),
        ("severity", {"holt": "go"}),
    ],
)
def test_keys_that_do_not_go_together_are_refused_by_both(table: str, more: dict[str, Any]) -> None:
    document = copy.deepcopy(BASE)
    at = document[table]
    (at[0] if isinstance(at, list) else at).update(more)
    assert reader_says(document)
    assert not VALIDATOR.is_valid(document)


@pytest.mark.parametrize("kind", equipment())
def test_sizes_of_equipment_are_refused_by_both(kind: str) -> None:
    for param in equipment()[kind].params.values():
        values: list[tuple[str, Any]] = [(f"{param.name}x", 1), *((param.name, v) for v in POOL)]
        if not isinstance(param.default, str):
            ends = (param.allowed.least, param.allowed.most)
            values += [(param.name, v) for v in (0, *ends, ends[0] - 1, ends[1] + 1)]
        inch = inch_key(param.name)
        if inch is not None:
            values += [
                (inch, to_inch_key(param.allowed.most, key=param.name) * share) for share in (0.99, 1.01)
            ]
        for key, value in values:
            entry = {"kind": kind, "name": "one", "params": {key: value}}
            says, taken = reader_says({"equipment": [entry]}), VALIDATOR.is_valid({"equipment": [entry]})
            assert taken == (not says) or "is not known" in says, f"{kind} {key} = {value!r}: {says}, {taken}"


FACES: tuple[Any, ...] = (
    "<X", "x" * 301, {"near": [1, 2, 3]}, {"near": [1, 2]}, {"near": [1, 2, 20_000]}, {"near": "x"},
    {"select": ">Z"}, {"select": 3}, {"step": "FLOOR"}, {"step": "x" * 296}, {"tag": "t"},
    {"nearest": [1, 2, 3]}, {"near": [1, 2, 3], "select": ">Z"}, {}, 7, True,
    ["<X", {"near": [0, 0, 0]}], [["<X"]], [[["<X"]]], [7],
)  # fmt: skip


@pytest.mark.parametrize("value", FACES, ids=range(len(FACES)))
def test_references_to_faces_are_refused_by_both(value: Any) -> None:
    document = changed("body", "faces", {"top": value})
    assert VALIDATOR.is_valid(document) == (not reader_says(document))
    assert not VALIDATOR.is_valid(changed("body", "faces", {"a.b": "<X"}))


PLACED: tuple[tuple[str, Any], ...] = (
    ("at", [0, 0]), ("at", [0, 0, 10_001]), ("at", ["x", 0, 0]), ("at", [0, 0, 1]), ("rotate", [["x", 90]]),
    ("rotate", ["X", 90]), ("rotate", ["w", 90]), ("rotate", [["x"]]), ("rotate", [[[0, 0, 1], 90]]),
    ("rotate", [["x", 40_000]]), ("rotate", []), ("rotate", "x"), ("rotate", [["x", 90]] * 51),
)  # fmt: skip


@pytest.mark.parametrize(("key", "value"), PLACED)
@pytest.mark.parametrize("table", ["body", "equipment"])
def test_places_and_turns_are_refused_by_both(table: str, key: str, value: Any) -> None:
    document = changed(table, key, value)
    assert VALIDATOR.is_valid(document) == (not reader_says(document))


OTHERS = {"tool", "job", "study"}
"""Tables of files that are no set-ups: of a Python project, of a job and of a study."""
TOML_OF_PAGES = [
    pytest.param(f, id=f"{p}-{n}")
    for p in PAGES
    for n, f in enumerate(fences(p))
    if f.language == "toml" and not OTHERS & set(tomllib.loads(f.text))
]


@pytest.mark.parametrize("fence", TOML_OF_PAGES)
def test_every_toml_of_the_pages_is_taken(fence: Fence) -> None:
    """Blocks with a file's name are whole files; the others are parts of one, and may lack what is needed."""
    stated = tomllib.loads(fence.text)
    name = (
        "measurements.schema.json"
        if {"calibration", "measurement"} & set(stated)
        else "shop.schema.json"
        if isinstance(stated.get("wheel"), list)
        else "setup.schema.json"
    )
    flaws = list(jsonschema.Draft7Validator(SCHEMAS[name]()).iter_errors(stated))
    if fence.title == "slips.toml":
        assert {next(iter(e.absolute_path)) for e in flaws} == {"wheel", "cut"}
        return
    if not fence.title:
        flaws = [e for e in flaws if e.validator not in {"required", "minItems"}]
    assert [e.message for e in flaws] == []
