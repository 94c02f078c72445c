"""Every number that may be stated has a range: its ends are taken, all else is refused in one line."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import MISSING, Field, fields
from functools import partial
from typing import Any

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.fields import Allowed, allowed_in
from fixturecheck.setup.facts import body_facts, equipment_facts, place_facts
from fixturecheck.setup.reader import BY_OTHER_KEYS, RECORDS, Stated, kind_of, types_of
from fixturecheck.setup.validate import refuse_bad_record
from fixturecheck.shop.catalogue import equipment, make
from fixturecheck.units import inch_key, to_inch_key

NUMBERS = {"number", "whole", "numbers"}
HUGE = int("9" * 60)
KIND = {f: kind_of(types_of(record)[f.name]) for record in RECORDS.values() for f in fields(record)}


def stated(table: str, values: dict[str, Any]) -> Stated:
    return Stated(what=f"[{table}]", values=values, path=(), where=lambda path: ".".join(map(str, path)))


def numeric() -> Iterator[tuple[str, Field[Any]]]:
    for table, record in RECORDS.items():
        for field in fields(record):
            own = field.name not in BY_OTHER_KEYS.get(table, ()) and not field.metadata.get("hidden")
            if own and KIND[field] in NUMBERS and table not in {"body", "equipment"}:
                yield table, field


KEYS = list(numeric())
every_key = pytest.mark.parametrize(("table", "field"), KEYS, ids=[f"{t}.{f.name}" for t, f in KEYS])


def shaped(field: Field[Any], value: Any) -> Any:
    """Return a number as the field takes it: alone, or as a list of the usual length."""
    if KIND[field] != "numbers":
        return value
    if "tuple[tuple[" in str(field.type):
        return [[value, value]]
    pair = field.name in {"mu", "source_gap_mm", "source_mmf_a"} or "Range" in str(field.type)
    return [value] * (2 if pair else 3)


def sample(field: Field[Any]) -> Any:
    """Return a value that the field takes."""
    rule, kind = allowed_in(field) or Allowed(), KIND[field]
    if rule.words:
        return rule.words[0]
    if kind in NUMBERS:
        return shaped(field, rule.least)
    return {"text": "x", "texts": ["x"], "flag": True}[kind]


def default(field: Field[Any]) -> Any:
    """Return what a field holds where nothing is stated."""
    if field.default is MISSING and field.default_factory is MISSING:
        return ()
    return field.default if field.default is not MISSING else field.default_factory()


def filled(table: str, field: Field[Any], value: Any, key: str = "") -> Stated:
    """Return a table with all that it needs and one value to try."""
    needed = {
        f.name: sample(f)
        for f in fields(RECORDS[table])
        if f.default is MISSING
        and f.default_factory is MISSING
        and f.name not in BY_OTHER_KEYS.get(table, ())
    }
    needed.pop(field.name, None)
    return stated(table, {**needed, key or field.name: shaped(field, value)})


def read(table: str, field: Field[Any], value: Any, key: str = "") -> Any:
    record = RECORDS[table]
    # Two tables of holding and three others are read elsewhere.
    besides = {f.name: default(f) for f in fields(record) if f.name in BY_OTHER_KEYS.get(table, ())}
    return filled(table, field, value, key).record(record, besides=besides)


def rule_of(field: Field[Any]) -> Allowed:
    rule = allowed_in(field)
    assert rule is not None, "a number without a range"
    assert math.isfinite(rule.least)
    assert math.isfinite(rule.most)
    return rule


@every_key
def test_both_ends_of_the_range_are_taken(table: str, field: Field[Any]) -> None:
    rule = rule_of(field)
    for end in (rule.least, rule.most, *([0] if rule.or_zero else [])):
        found = read(table, field, end)
        refuse_bad_record(found, table)


@every_key
@pytest.mark.parametrize("where", ["below", "above", "far below", "far above", "digits", "nan", "inf"])
def test_what_lies_outside_is_refused_with_the_key_the_value_and_the_range(
    table: str, field: Field[Any], where: str
) -> None:
    rule, whole = rule_of(field), KIND[field] == "whole"
    step = 1 if whole else 1e-9 * max(abs(rule.least), abs(rule.most))
    value = {
        "below": rule.least - step,
        "above": rule.most + step,
        "far below": -(10**15) if whole else -1e300,
        "far above": 10**15 if whole else 1e300,
        "digits": HUGE,
        "nan": math.nan,
        "inf": math.inf,
    }[where]
    if value == 0 and rule.or_zero:
        return
    with pytest.raises(SetupError) as caught:
        read(table, field, value)
    (line,) = caught.value.problems
    assert "\n" not in line
    assert field.name in line
    if where not in {"nan", "inf"}:
        assert rule.range_said() in line
        assert "got " in line
    assert len(line) < 200


@every_key
def test_a_range_holds_in_inch_units_too(table: str, field: Field[Any]) -> None:
    rule, key = rule_of(field), inch_key(field.name)
    if key is None or rule.most == 0.0:
        return
    assert read(table, field, 0.999 * to_inch_key(rule.most, key=field.name), key)
    with pytest.raises(SetupError) as caught:
        read(table, field, 1.001 * to_inch_key(rule.most, key=field.name), key)
    assert caught.value.problems[0].startswith(f"{key}: {key} in [{table}]: must be ")
    assert rule.range_said(field.name) in caught.value.problems[0]


@pytest.mark.parametrize("value", [1e300, -1e300, HUGE, math.nan, math.inf])
@pytest.mark.parametrize(
    "key", ["at", "rotate", "near", "tolerance_mm", "tolerance_in", "orientation_mm", "by face", "params"]
)
def test_numbers_of_bodies_and_equipment_are_refused_in_one_line(key: str, value: float) -> None:
    tables = {
        "at": {"at": [0, value, 0]},
        "rotate": {"rotate": ["x", value]},
        "near": {"faces": {"top": {"near": [value, 0, 0]}}},
        "by face": {"tolerance_mm": {"top": value}},
        "params": {"kind": "parallel", "name": "p", "params": {"height_in": value}},
    }
    entry = stated("body", tables.get(key, {key: value}))
    readers = {"params": equipment_facts, "at": place_facts, "rotate": place_facts}
    with pytest.raises(SetupError) as caught:
        readers.get(key, partial(body_facts, name="b"))(entry, "mm")
    (line,) = caught.value.problems
    assert len(line) < 250


SIZES = [
    (k, p) for k in equipment() for p in equipment()[k].params.values() if not isinstance(p.default, str)
]


@pytest.mark.parametrize(("kind", "param"), SIZES, ids=[f"{k}.{p.name}" for k, p in SIZES])
def test_equipment_at_the_ends_of_its_ranges_is_made_or_refused(kind: str, param: Any) -> None:
    for value in (param.allowed.least, param.allowed.most, *([0] if param.allowed.or_zero else [])):
        # What makes no solid together with the other sizes is refused; nothing else may be raised.
        with suppress(SetupError):
            assert make(kind, **{param.name: value})
    for value in (-1.0, 1e300, HUGE):
        with pytest.raises(SetupError, match=f"{kind}: {param.name}: must be "):
            make(kind, **{param.name: value})
