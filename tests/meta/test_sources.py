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

from docs.make.pages import bibliography
from tests.meta.source import PACKAGE, ROOT, Module, faults, is_pure, modules
from tests.meta.test_units import UNITS

CITED = re.compile(r"\[@([\w.:-]+)\]")
RESTS = re.compile(
    r"\[@\w+\]|from memory|common practice, no source|chosen here, no source|closed form", re.I
)

LAWS = {
    "magnet.field.bh": {"fit_law"},
    "magnet.field.solve": {"solve_flux"},
    "machining.grinding": {"pass_forces", "cut_loads"},
    "statics.stiffness": {"line_contact", "point_contact"},
    "statics.limit": {"limit_factor", "unbalanced"},
    "rigid": {"located", "seat_rows", "sensitivity"},
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


def test_rows_say_what_they_rest_on() -> None:
    """Where this fails, cite a key of docs/references.bib, or say from memory."""
    assert len(tables()) > 50
    assert [place for place, source in tables() if not RESTS.search(source)] == []


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


def test_works_say_who_or_what_they_are() -> None:
    makers = ("author", "institution", "howpublished", "note")
    works = bibliography().items()
    assert [k for k, w in works if not (w.get("title") and any(map(w.get, makers)))] == []


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


def test_laws_say_what_they_rest_on() -> None:
    """Where this fails, say it in the docstring of the function or of the module."""
    assert faults(_baseless, PHYSICS) == {}


def _baseless(module: Module) -> Iterator[str]:
    whole = ast.get_docstring(module.tree) or ""
    return (f.name for f in laws(module) if not _rests(whole, ast.get_docstring(f)))


def test_functions_listed_as_laws_are_there() -> None:
    there = {m.name: {f.name for f in laws(m)} for m in PHYSICS}
    assert {m: names - there.get(m, set()) for m, names in LAWS.items() if names - there.get(m, set())} == {}
