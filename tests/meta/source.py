"""The package as text: its modules, what each imports, and the files of the repository."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "fixturecheck"


@dataclass(frozen=True, slots=True, kw_only=True)
class Module:
    """One source file of the package."""

    name: str
    """Dotted, without the package: `contact.patches.contact_map`; `__init__` for the package itself."""
    path: Path
    text: str
    tree: ast.Module

    @property
    def place(self) -> str:
        """The folder it is in, or its own name where it lies at the top."""
        return self.name.split(".", 1)[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Import:
    """One name that a module imports, absolute and dotted."""

    target: str
    line: int
    at_load: bool
    """Whether it runs when the module is loaded: neither inside a function nor for type checkers only."""


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the package, by name."""
    found = []
    for path in sorted((ROOT / PACKAGE).rglob("*.py")):
        parts = path.relative_to(ROOT / PACKAGE).with_suffix("").parts
        if parts[-1] == "__init__" and len(parts) > 1:
            parts = parts[:-1]
        text = path.read_text(encoding="utf-8")
        found.append(Module(name=".".join(parts), path=path, text=text, tree=ast.parse(text, str(path))))
    return tuple(found)


def faults(
    seen: Callable[[Module], Iterable[str]], among: Iterable[Module] | None = None
) -> dict[str, list[str]]:
    """Return what a rule finds wrong, by module; modules without a fault are left out.

    One test asks all modules: a test for each would cost more to set up than the rule takes to read.
    """
    found = {m.name: list(seen(m)) for m in (modules() if among is None else among)}
    return {name: wrong for name, wrong in found.items() if wrong}


PURE_PLACES = ("rigid", "statics", "tolerancing", "angles", "drilling", "hardening")
PURE_MODULES = (
    "magnet.field",
    "magnet.source_fit",
    "machining.grinding",
    "machining.milling",
    "machining.bite",
    "machining.boring",
    "interval",
)


def is_pure(module: Module) -> bool:
    """Whether a module is mechanics or a law in pure numbers: no solids, no set-up."""
    return module.place in PURE_PLACES or module.name.startswith(PURE_MODULES)


@cache
def imports_of(module: Module) -> tuple[Import, ...]:
    """Return what a module imports, wherever in it the statement stands."""
    return tuple(_imports(module.tree, at_load=True, package=_package_of(module)))


def _package_of(module: Module) -> list[str]:
    """The dotted package that relative imports start from."""
    return [PACKAGE, *module.path.relative_to(ROOT / PACKAGE).parent.parts]


def _imports(node: ast.AST, *, at_load: bool, package: list[str]) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import):
            for alias in child.names:
                yield Import(target=alias.name, line=child.lineno, at_load=at_load)
        elif isinstance(child, ast.ImportFrom):
            stem = package[: len(package) - child.level + 1] if child.level else []
            base = ".".join([*stem, *([child.module] if child.module else [])])
            yield Import(target=base, line=child.lineno, at_load=at_load)
            for alias in child.names:
                yield Import(target=f"{base}.{alias.name}", line=child.lineno, at_load=at_load)
        else:
            later = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
            later = later or (isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test))
            yield from _imports(child, at_load=at_load and not later, package=package)


def own_imports_of(module: Module) -> Iterator[tuple[str, Import]]:
    """Yield (name of the module imported, import) for each module of ours that a module imports."""
    known = {m.name for m in modules()}
    for item in imports_of(module):
        if item.target == PACKAGE:
            continue
        inner = item.target.removeprefix(f"{PACKAGE}.")
        if inner != item.target and inner in known:
            yield inner, item


@cache
def repository_files() -> tuple[Path, ...]:
    """Every file that git keeps, or would keep; without git, every file outside caches and builds."""
    asked = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    try:
        listed = subprocess.run(asked, cwd=ROOT, capture_output=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        left_out = {".git", ".venv", "build", "dist", "out", "__pycache__"}
        every = (p for p in ROOT.rglob("*") if p.is_file())
        return tuple(sorted(p for p in every if not left_out & {*p.relative_to(ROOT).parts} and _kept(p)))
    names = (n for n in listed.stdout.decode().split("\0") if n)
    return tuple(sorted(p for p in (ROOT / n for n in names) if p.is_file()))


def _kept(path: Path) -> bool:
    return not any(p.endswith(("_cache", ".egg-info")) for p in path.relative_to(ROOT).parts)
