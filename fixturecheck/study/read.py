"""A study read from its file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from fixturecheck.checks import chosen
from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.setup.document import read_document
from fixturecheck.setup.reader import Stated
from fixturecheck.study.model import ParameterEntry, ParameterValue, Study, StudyEntry, StudyParameter, Take


def read_study(path: Path) -> Study:
    """Read a study.

    Parameters
    ----------
    path : Path
        A TOML file with `[study]` and `[[parameter]]`; the set-ups that it names are counted from its folder.

    Returns
    -------
    Study

    Raises
    ------
    SetupError
        It cannot be read, or something in it is wrong: every mistake with its line.
    """
    return study_of(read_document(path, {}), path)


def study_of(facts: Stated, path: Path) -> Study:
    """Return the study that the tables of its file state.

    Parameters
    ----------
    facts : Stated
        The tables of the file.
    path : Path
        The file; set-ups are counted from its folder.

    Returns
    -------
    Study

    Raises
    ------
    SetupError
        As for `read_study`.
    """
    if "study" not in facts.values:
        facts.fail('the study has no [study]; name the set-ups in it, as setups = ["clamp.toml"]')
    wrong = Mistakes()
    with wrong.noted():
        facts.only(("study", "parameter"))
    head = facts.table("study")
    readers = {"setups": lambda: _setups(head, path.parent)}
    entry = wrong.or_else(lambda: head.record(StudyEntry, readers=readers), None)
    take = Take.ALL if entry is None else Take(entry.take)
    rows = wrong.or_else(lambda: facts.tables("parameter"), [])
    parameters = wrong.each(rows, lambda stated: _parameter(stated, take))
    wrong.raise_any()
    if entry is None:
        head.fail("it cannot be read")
    try:
        chosen(entry.only, entry.skip)
    except SetupError as reason:
        head.several("", reason)
    names = [p.name for p in parameters]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        facts.fail(f"two parameters are called {twice!r}; give each a name of its own", "parameter")
    if not parameters and len(entry.setups) < 2:
        facts.fail("the study has no variants: state a [[parameter]], or several setups", "study")
    return Study(
        name=entry.name or path.stem,
        setups=entry.setups,
        parameters=tuple(parameters),
        take=take,
        count=entry.count,
        seed=entry.seed,
        only=entry.only,
        skip=entry.skip,
        strict=entry.strict,
        home=str(path.parent),
    )


def _setups(head: Stated, home: Path) -> tuple[str, ...]:
    names: Sequence[str] = head.need("setups", "texts")
    if not names:
        head.fail("setups names no set-up", "setups")
    lost = next((n for n in names if not (home / n).is_file()), None)
    if lost is not None:
        head.fail(f"{lost} is not a file; give set-ups or jobs ending in .py or .toml", "setups")
    paths = [(home / name).resolve() for name in names]
    twice = next((n for n, path in zip(names, paths, strict=True) if paths.count(path) > 1), None)
    if twice is not None:
        head.fail(f"setups names {twice} twice", "setups")
    return tuple(str(home / name) for name in names)


def _parameter(stated: Stated, take: Take) -> StudyParameter:
    entry = stated.record(ParameterEntry, readers={"values": lambda: stated.get("values", "anything")})
    if (entry.set is None) == (entry.sets is None):
        stated.fail(f"{stated.what} states set, or sets for what goes together; one of the two")
    sets = entry.sets if entry.sets is not None else (str(entry.set),)
    name = " + ".join(sets) if entry.name is None else entry.name
    at = stated.where((*stated.path, "set" if entry.sets is None else "sets"))
    return replace(_varied(stated, entry, name, sets, take), stated_at=at)


def _varied(
    stated: Stated, entry: ParameterEntry, name: str, sets: tuple[str, ...], take: Take
) -> StudyParameter:
    """Return a parameter by the one way in which its values are stated."""
    ways = [key for key in ("values", "range", "nominal") if key in stated.values]
    if len(ways) != 1:
        stated.fail(f"{stated.what} states values, range or nominal with tolerance; one of the three")
    if ways == ["values"]:
        return StudyParameter(name=name, sets=sets, choices=_choices(stated, len(sets)))
    if len(sets) > 1:
        stated.fail(f"{stated.what} sets several, which go together by their values only", ways[0])
    if ways == ["range"]:
        return _range(stated, entry, name, sets, take)
    return _spread(stated, entry, name, sets, take)


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


def _range(
    stated: Stated, entry: ParameterEntry, name: str, sets: tuple[str, ...], take: Take
) -> StudyParameter:
    if entry.range is None or not all(map(math.isfinite, entry.range)):
        stated.fail("range must be two numbers, [low, high]", "range")
    low, high = map(float, entry.range)
    if low >= high:
        stated.fail(f"range runs backwards: {low:g} is not below {high:g}", "range")
    if take is Take.ALL and entry.steps < 2:
        stated.fail(f"{stated.what} needs steps, 2 or more, where all combinations are taken", "steps")
    within = entry.flip_within
    if within is not None and not 0.0 < within < high - low:
        stated.fail("flip_within must be more than 0 and less than the range", "flip_within")
    return StudyParameter(name=name, sets=sets, ends=(low, high), steps=entry.steps, flip_within=within)


def _spread(
    stated: Stated, entry: ParameterEntry, name: str, sets: tuple[str, ...], take: Take
) -> StudyParameter:
    nominal, tolerance = entry.nominal, entry.tolerance
    if take is Take.ALL:
        stated.fail(f"{stated.what} spreads within a tolerance: take a sample, sobol or latin", "nominal")
    if nominal is None or tolerance is None:
        stated.fail(f"{stated.what} lacks the key 'tolerance'")
    if not tolerance > 0.0 or not math.isfinite(tolerance) or not math.isfinite(nominal):
        stated.fail(f"tolerance must be more than 0; got {tolerance:g}", "tolerance")
    return StudyParameter(name=name, sets=sets, nominal=float(nominal), tolerance=float(tolerance))
