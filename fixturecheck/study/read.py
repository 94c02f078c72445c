"""A study read from its file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fixturecheck.checks import chosen
from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.names import nearest
from fixturecheck.setup.document import read_document
from fixturecheck.setup.reader import Stated
from fixturecheck.study.model import ParameterValue, Study, StudyParameter, Take

MOST_VARIANTS = 100_000
_HEAD = ("name", "setups", "take", "count", "seed", "only", "skip", "strict")
_KEYS = ("name", "set", "sets", "values", "range", "steps", "nominal", "tolerance", "flip_within")


def read_study(path: Path) -> Study:
    """Read a study.

    Parameters
    ----------
    path : Path
        A TOML file with `[study]` and `[[parameter]]`; the set-ups that it names are counted from its folder.

    Raises
    ------
    SetupError
        It cannot be read, or something in it is wrong: every mistake with its line.
    """
    facts = read_document(path, {})
    wrong = Mistakes()
    with wrong.noted():
        facts.only(("study", "parameter"))
    head = facts.table("study")
    with wrong.noted():
        head.only(_HEAD)
    setups = wrong.or_else(lambda: _setups(head, path.parent), ())
    take = wrong.or_else(lambda: _take(head), Take.ALL)
    parameters = wrong.each(
        wrong.or_else(lambda: facts.tables("parameter"), []), lambda stated: _parameter(stated, take)
    )
    asked = wrong.or_else(lambda: _checks(head), (None, ()))
    numbers = wrong.or_else(lambda: _numbers(head), (64, 0))
    strict = wrong.or_else(lambda: head.get("strict", "flag", default=False), False)
    name = wrong.or_else(lambda: head.get("name", "text", default=path.stem), path.stem)
    wrong.raise_any()
    names = [p.name for p in parameters]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        facts.fail(f"two parameters are called {twice!r}; give each a name of its own", "parameter")
    if not parameters and len(setups) < 2:
        facts.fail("the study has no variants: state a [[parameter]], or several setups", "study")
    return Study(
        name=name,
        setups=setups,
        parameters=tuple(parameters),
        take=take,
        count=numbers[0],
        seed=numbers[1],
        only=asked[0],
        skip=asked[1],
        strict=strict,
    )


def _setups(head: Stated, home: Path) -> tuple[str, ...]:
    names: Sequence[str] = head.need("setups", "texts")
    if not names:
        head.fail("setups names no set-up", "setups")
    lost = next((n for n in names if not (home / n).is_file()), None)
    if lost is not None:
        head.fail(f"{lost} is not a file; give set-ups ending in .py or .toml", "setups")
    return tuple(str(home / name) for name in names)


def _take(head: Stated) -> Take:
    word: str = head.get("take", "text", default=str(Take.ALL))
    if word not in list(Take):
        head.fail(f"take = {word!r} is unknown; {nearest(word, list(Take))}", "take")
    return Take(word)


def _checks(head: Stated) -> tuple[tuple[str, ...] | None, tuple[str, ...]]:
    only = head.get("only", "texts")
    skip = tuple(head.get("skip", "texts", default=[]))
    try:
        chosen(only, skip)
    except SetupError as reason:
        head.several("", reason)
    return None if only is None else tuple(only), skip


def _numbers(head: Stated) -> tuple[int, int]:
    count: int = head.get("count", "whole", default=64)
    seed: int = head.get("seed", "whole", default=0)
    if not 1 <= count <= MOST_VARIANTS:
        head.fail(f"count must be from 1 to {MOST_VARIANTS}; got {count}", "count")
    if seed < 0:
        head.fail(f"seed must be 0 or more; got {seed}", "seed")
    return count, seed


def _parameter(stated: Stated, take: Take) -> StudyParameter:
    stated.only(_KEYS)
    one, several = stated.get("set", "text"), stated.get("sets", "texts")
    if (one is None) == (several is None):
        stated.fail(f"{stated.what} states set, or sets for what goes together; one of the two")
    sets = (one,) if one is not None else tuple(several)
    name = stated.get("name", "text", default=" + ".join(sets))
    ways = [key for key in ("values", "range", "nominal") if key in stated.values]
    if len(ways) != 1:
        stated.fail(f"{stated.what} states values, range or nominal with tolerance; one of the three")
    if ways == ["values"]:
        return StudyParameter(name=name, sets=sets, choices=_choices(stated, len(sets)))
    if len(sets) > 1:
        stated.fail(f"{stated.what} sets several, which go together by their values only", ways[0])
    if ways == ["range"]:
        return _range(stated, name, sets, take)
    return _spread(stated, name, sets, take)


def _choices(stated: Stated, width: int) -> tuple[tuple[ParameterValue, ...], ...]:
    rows: list[Any] = stated.need("values", "anything")
    if not isinstance(rows, list) or not rows:
        stated.fail("values must be a list with at least one value", "values")
    found = [tuple(row) if isinstance(row, list) else (row,) for row in rows]
    for row in found:
        if len(row) != width or not all(isinstance(v, int | float | str | bool) for v in row):
            each = "a value" if width == 1 else f"a list of {width} values"
            stated.fail(f"values of {stated.what} must each be {each}; got {list(row)}", "values")
    return tuple(found)


def _range(stated: Stated, name: str, sets: tuple[str, ...], take: Take) -> StudyParameter:
    ends = stated.need("range", "numbers")
    if len(ends) != 2 or not all(isinstance(v, int | float) and math.isfinite(v) for v in ends):
        stated.fail("range must be two numbers, [low, high]", "range")
    low, high = (float(v) for v in ends)
    if low >= high:
        stated.fail(f"range runs backwards: {low:g} is not below {high:g}", "range")
    steps: int = stated.get("steps", "whole", default=0)
    if take is Take.ALL and steps < 2:
        stated.fail(f"{stated.what} needs steps, 2 or more, where all combinations are taken", "steps")
    within = stated.get("flip_within", "number")
    if within is not None and not 0.0 < within < high - low:
        stated.fail("flip_within must be more than 0 and less than the range", "flip_within")
    return StudyParameter(name=name, sets=sets, ends=(low, high), steps=steps, flip_within=within)


def _spread(stated: Stated, name: str, sets: tuple[str, ...], take: Take) -> StudyParameter:
    nominal, tolerance = stated.need("nominal", "number"), stated.need("tolerance", "number")
    if take is Take.ALL:
        stated.fail(f"{stated.what} spreads within a tolerance: take a sample, sobol or latin", "nominal")
    if not tolerance > 0.0 or not math.isfinite(tolerance):
        stated.fail(f"tolerance must be more than 0; got {tolerance:g}", "tolerance")
    return StudyParameter(name=name, sets=sets, nominal=float(nominal), tolerance=float(tolerance))
