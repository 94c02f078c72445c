"""Where what a set-up states stands in its files: the line of each table, or of a name in a script."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.result.finding import Finding, Origin
from fixturecheck.setup.model import Setup
from fixturecheck.setup.reader import KeyPath, Stated, TextSpot

Origins = Mapping[tuple[str, ...], Origin]
"""By what is stated: `("body", NAME)`, `("seat", OWN, OTHER)`, `("holding",)`; `()` is the file."""

_NAMED = ("body", "equipment", "cut", "drill", "end_mill", "clamp", "mill")
_SINGLE = ("setup", "machine", "wheel", "staging", "holding", "hardening", "tolerances")

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


def origins_of_tables(facts: Stated) -> dict[tuple[str, ...], Origin]:
    """Return where the tables of a set-up stand; empty where they are in no file.

    Parameters
    ----------
    facts : Stated
        The tables at the top, as they were read.
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
    for name in _SINGLE:
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


def origins_in_script(setup: Setup, files: Iterable[tuple[str, Path]]) -> dict[tuple[str, ...], Origin]:
    """Return where the names of a set-up's bodies, equipment, cuts and clamps first stand in a script.

    Parameters
    ----------
    files : iterable of (str, Path)
        The script, then the modules that it imported: how each is called, and where it is.
    """
    files = list(files)
    holding = setup.holding
    wanted: dict[str, tuple[str, ...]] = {}
    named: list[tuple[str, Iterable[Any]]] = [("body", setup.bodies), ("cut", setup.cuts)]
    if holding is not None:
        named += [("clamp", holding.clamps), ("mill", holding.milling)]
    for kind, things in named:
        wanted |= {thing.name: (kind, thing.name) for thing in things}
    wanted |= {b.group: ("equipment", b.group) for b in setup.bodies if b.group}
    found: dict[tuple[str, ...], Origin] = {(): Origin(file=files[0][0])} if files else {}
    for called, path in files:
        for text, line in _texts(path):
            if text in wanted:
                found.setdefault(wanted[text], Origin(file=called, line=line))
    return found


def _texts(path: Path) -> Iterator[tuple[str, int]]:
    """Yield each text in quotes of a script with its line, from the top."""
    tree = ast.parse(path.read_bytes())
    texts = [
        (node.value, node.lineno)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    yield from sorted(texts, key=lambda found: found[1])


def origin_of(setup: Setup, finding: Finding) -> Origin | None:
    """Return where what a finding is about is stated: the nearest that a file states; None without a file."""
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
