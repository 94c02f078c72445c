"""What only tests use is no part of the program: its own code, scripts or pages use every public name."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from tests.meta.source import PACKAGE, ROOT, Module, modules

CALLED_BY_LIBRARIES = re.compile(r"pytest_\w+|visit_\w+|runtest|reportinfo|writable")
WORD = re.compile(r"[A-Za-z_]\w*")


def public_names(tree: ast.Module) -> Iterator[tuple[ast.stmt, str]]:
    """Yield what a module defines at its top and in its classes, with where it stands."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node, node.name
        if isinstance(node, ast.ClassDef):
            yield from ((m, m.name) for m in node.body if isinstance(m, ast.FunctionDef))
        for target in node.targets if isinstance(node, ast.Assign) else ():
            if isinstance(target, ast.Name):
                yield node, target.id


def words_in(tree: ast.Module) -> Iterator[str]:
    """Yield every name that code reads, but for what a function or class says of itself."""
    for top in tree.body:
        own = getattr(top, "name", None)
        for node in ast.walk(top):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load) and node.id != own:
                yield node.id
            elif isinstance(node, ast.Attribute):
                yield node.attr
            elif isinstance(node, ast.ImportFrom):
                yield from (a.name for a in node.names)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) and len(node.value) < 80:
                yield from WORD.findall(node.value)


def used_words() -> set[str]:
    """Every name that the program, its scripts, models, pages and templates mention."""
    found = {w for m in modules() for w in words_in(m.tree)}
    for folder in ("scripts", "docs", "models"):
        for path in (ROOT / folder).rglob("*.py"):
            found.update(words_in(ast.parse(path.read_text("utf-8"))))
    pages = [*(ROOT / "docs").rglob("*.md"), ROOT / "README.md", *(ROOT / PACKAGE).rglob("*.html")]
    for path in [*pages, ROOT / PACKAGE / "__init__.pyi"]:
        found.update(WORD.findall(path.read_text("utf-8")))
    return found


def unused(among: tuple[Module, ...], words: set[str]) -> list[str]:
    return [
        f"{m.name}:{node.lineno} {name}"
        for m in among
        for node, name in public_names(m.tree)
        if not name.startswith("_") and name not in words and not CALLED_BY_LIBRARIES.fullmatch(name)
    ]


def test_nothing_public_is_used_by_tests_alone() -> None:
    words = used_words()
    assert unused(modules(), words) == []
    # The rule is alive: a name that is nowhere read is found.
    (one,) = [m for m in modules() if m.name == "cache"]
    assert any(found.endswith(" cached") for found in unused((one,), words - {"cached"}))
