"""What set-ups are tried with: values for each key of a schema, and the message of one that is refused."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import Field
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.fields import Allowed, allowed_in
from fixturecheck.setup.load import load
from fixturecheck.setup.reader import types_of
from fixturecheck.units import inch_key, to_inch_key

POOL: tuple[Any, ...] = (
    7, -1, 2.5, 4.0, "x", "", True, ["x"], ["x", 1], [1, 2], [1, 2, 3], [[1, 2], [3, 4]], {"a": 1},
    {"a": "x"}, [{"a": 1}], math.inf,
)  # fmt: skip
"""One value of every kind; most are wrong for most keys."""


def refused(path: Path, overrides: dict[str, str] | None = None) -> str:
    """What a set-up's file is refused for, in one line."""
    with pytest.raises(SetupError) as caught:
        load(path, overrides or {})
    message = str(caught.value)
    assert "\n" not in message
    return message


def tried(record: type, field: Field[Any], *, inches: bool = False) -> Iterator[tuple[str, Any]]:
    """Keys and values to try for a field: the pool, words, both sides of its ends, a typo; and in inches."""
    rule = allowed_in(field)
    yield f"{field.name}x", 1
    yield from ((field.name, value) for value in POOL)
    for word in rule.words if rule else ():
        yield from ((field.name, v) for v in (str(word), f"{word}x", [str(word)]))
    if rule is None or math.isinf(rule.least):
        return
    hint = types_of(record)[field.name]
    step = 1 if int in (hint, *get_args(hint)) else 1e-6 * (rule.most - rule.least)
    for number in (rule.least - step, rule.least, rule.most, rule.most + step):
        yield field.name, _shaped(number, hint, rule.items)
    inch = inch_key(field.name) if inches else None
    if inch is not None:
        for share in (0.999, 1.001):
            yield inch, _shaped(share * to_inch_key(rule.most, key=field.name), hint, rule.items)


def _shaped(value: float, hint: Any, items: int) -> Any:
    """A number as a field takes it: alone, or in a list of the length of its type."""
    args = get_args(hint)
    if get_origin(hint) is not tuple:
        return value
    if get_origin(args[0]) is tuple:
        return [[value] * len(get_args(args[0]))]
    return [value] * (len(args) if args[-1] is not Ellipsis else items if items < Allowed().items else 1)
