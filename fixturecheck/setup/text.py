"""Reads a TOML set-up as far as text goes, so that a slip of the pen is answered before the kernel loads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from fixturecheck.mistakes import Mistakes
from fixturecheck.setup.document import read_document
from fixturecheck.setup.facts import FILE_KEYS, BodyFacts, PlaceFacts, body_facts, place_facts
from fixturecheck.setup.own import own_shop, with_shop
from fixturecheck.setup.stated import Stated
from fixturecheck.setup.tables import ALL
from fixturecheck.setup.told import Told, told_in


@dataclass(frozen=True, slots=True, kw_only=True)
class FileBody:
    """A body whose solid is in a file.

    Parameters
    ----------
    path : Path
        The file.
    which : str, int or None
        The solid meant in it: its name, or its number from 1.
    """

    facts: BodyFacts
    path: Path
    which: str | int | None
    place: PlaceFacts


def told_in_file(path: Path, overrides: Mapping[str, str]) -> Told:
    """Read what a TOML file states; part files are not opened.

    Parameters
    ----------
    path : Path
        The file.
    overrides : mapping of str to str
        Values for dotted keys.

    Raises
    ------
    SetupError
        The file cannot be read or does not parse, or states something wrong: every mistake with its line.
    """
    facts = _from_home(read_document(path, overrides), path.parent)

    def bodies(units: str) -> Sequence[partial[BodyFacts]]:
        return [partial(_file_body, entry, units) for entry in facts.tables("body")]

    named = facts.table("setup").get("shop", "text")
    if named is None:
        return told_in(facts, known=ALL, name=path.stem, bodies=bodies)
    shop = own_shop(path.parent / named)
    facts = with_shop(facts, shop)
    told = told_in(facts, known=ALL, name=path.stem, bodies=bodies, more=shop.own)
    return replace(told, shop_file=shop.path)


def _from_home(facts: Stated, home: Path) -> Stated:
    """Return the tables with the chuck file that they name as seen from here, not from their folder."""
    holding = facts.values.get("holding")
    if not isinstance(holding, Mapping) or not isinstance(holding.get("calibrated"), str):
        return facts
    there = {**holding, "calibrated": str(home / holding["calibrated"])}
    return replace(facts, values={**facts.values, "holding": there})


def files_of(told: Told, home: Path) -> list[FileBody]:
    """Return the bodies of a file with where their solids are; `home` is the set-up's folder."""
    return [
        FileBody(
            facts=facts,
            path=home / facts.entry.need("file", "text"),
            which=facts.entry.get("solid", "text or whole"),
            place=place_facts(facts.entry, told.units),
        )
        for facts in told.bodies
    ]


def _file_body(entry: Stated, units: str) -> BodyFacts:
    """Read a body of a file, with the file, the solid and the place that it states."""
    wrong = Mistakes()
    facts = wrong.or_else(lambda: body_facts(entry, units, besides=FILE_KEYS), None)
    with wrong.noted():
        entry.need("file", "text")
    with wrong.noted():
        entry.get("solid", "text or whole")
    with wrong.noted():
        place_facts(entry, units)
    wrong.raise_any()
    if facts is None:
        entry.fail(f"{entry.what} is not complete")
    return facts
