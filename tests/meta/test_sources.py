"""Every formula and table row says what it rests on, and every work that is cited is in docs/references.bib.

A work is cited by its key, `[@key]`, in a docstring or comment, or in the `source` of a table row. What was
remembered says `from memory`; a rule of the trade says `common practice, no source`; what is derived where it
stands says `closed form`.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from docs.make.pages import bibliography
from tests.meta.source import PACKAGE, ROOT, Module, is_pure, modules
from tests.meta.test_units import UNITS

CITED = re.compile(r"\[@([\w.:-]+)\]")
RESTS = re.compile(
    r"\[@\w+\]|from memory|common practice, no source|chosen here, no source|closed form", re.I
)

LAWS = {
    "magnet.field.bh": {"fit_law"},
    "magnet.field.solve": {"solve_flux"},
    "machining.grinding": {"pass_forces", "cut_loads"},
    "statics.hertz": {"line_contact", "point_contact"},
    "statics.limit": {"limit_factor", "friction_holds", "unbalanced"},
    "rigid.freedoms": {"located", "seat_rows", "sensitivity"},
    "tolerancing.zones": {"draw_errors"},
    "shop.wheels": {"speed_limit"},
}
"""Functions of the packages of pure numbers that state a law though their names end in no unit."""


WORDS_ALONE = {"wording"}
"""Rooms whose tables hold sentences and no numbers."""


def tables() -> list[tuple[str, str]]:
    """Each row of each table of the package that holds numbers: its file, its place, and its source."""
    found = []
    for path in sorted((ROOT / PACKAGE).rglob("*.toml")):
        if path.parent.name in WORDS_ALONE:
            continue
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        name = path.relative_to(ROOT / PACKAGE).as_posix()
        found += [(f"{name}: {place}", str(row.get("source", ""))) for place, row in _rows(document, "")]
    return found


def _rows(node: Mapping[str, Any], place: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield the tables that state a value of their own."""
    if place and not all(isinstance(v, dict) for v in node.values()):
        yield place, node
        return
    for name, inner in node.items():
        for number, row in enumerate(inner if isinstance(inner, list) else [inner], start=1):
            where = f"{place}.{name}".strip(".") + (f" {number}" if isinstance(inner, list) else "")
            yield from _rows(row, where)


@pytest.mark.parametrize(("place", "source"), tables(), ids=[place for place, _ in tables()])
def test_row_says_what_it_rests_on(place: str, source: str) -> None:
    assert RESTS.search(source), f"{place}: cite a key of docs/references.bib, or say from memory"


def citations() -> Iterator[tuple[str, str]]:
    """Yield each key that is cited in the package, its tests and the pages, and where."""
    paths = [
        p for folder in (PACKAGE, "tests") for p in (ROOT / folder).rglob("*") if p.suffix in {".py", ".toml"}
    ]
    for path in sorted(p for p in paths if p.name != "test_sources.py"):
        for key in CITED.findall(path.read_text(encoding="utf-8")):
            yield key, path.relative_to(ROOT).as_posix()


def test_every_key_that_is_cited_is_in_the_bibliography() -> None:
    known = bibliography()
    assert [(key, where) for key, where in citations() if key not in known] == []


def test_every_work_of_the_bibliography_is_cited() -> None:
    cited = {key for key, _ in citations()}
    assert sorted(set(bibliography()) - cited) == []


@pytest.mark.parametrize("key", bibliography())
def test_work_says_who_or_what_it_is(key: str) -> None:
    work = bibliography()[key]
    assert work.get("title")
    assert any(work.get(field) for field in ("author", "institution", "howpublished", "note"))


def laws(module: Module) -> Iterator[ast.FunctionDef]:
    """Yield the public functions of a module that return a physical quantity, by name or by LAWS."""
    for node in module.tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            words = node.name.split("_")
            ends = {"_".join(words[-k:]) for k in range(1, min(4, len(words)))}
            if ends & UNITS or node.name in LAWS.get(module.name, ()):
                yield node


PHYSICS = [m for m in modules() if is_pure(m) or m.name in LAWS]


def _rests(*told: str | None) -> bool:
    return RESTS.search(" ".join(" ".join(text or "" for text in told).split())) is not None


@pytest.mark.parametrize("module", PHYSICS, ids=lambda m: m.name)
def test_law_says_what_it_rests_on(module: Module) -> None:
    whole = ast.get_docstring(module.tree) or ""
    silent = [f.name for f in laws(module) if not _rests(whole, ast.get_docstring(f))]
    assert silent == [], "say in the docstring of the function or of the module what they rest on"


def test_functions_listed_as_laws_are_there() -> None:
    there = {m.name: {f.name for f in laws(m)} for m in PHYSICS}
    assert {m: names - there.get(m, set()) for m, names in LAWS.items() if names - there.get(m, set())} == {}
