"""Imports go one way, and each outside library is met in one place only.

ALLOWED is the map of the program: what a module at a place may import of ours, besides its own folder.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping

from tests.meta.source import ROOT, Import, Module, faults, imports_of, modules, own_imports_of

LEAVES = {
    "arrays", "cache", "compiled", "constants", "effort", "errors", "faceref", "fields", "files", "hull",
    "interval", "names", "numeric", "progress", "result", "stopping", "threads", "tolerances", "units",
}  # fmt: skip

GEOMETRY = LEAVES | {"kernel"}
STATED = GEOMETRY | {"angles", "drilling", "hardening", "shop", "setup"}
MECHANICS = {"rigid", "statics", "tolerancing"}
TOUCHED = STATED | {"contact"}
SETTLED = TOUCHED | MECHANICS | {"nesting"}
MADE = SETTLED | {"magnet", "machining"}
SOLVED = MADE | {"holding", "release", "hold", "relief", "dials"}
JUDGED = SOLVED | {"checks", "sizes"}

ALLOWED: Mapping[str, set[str]] = {
    # Leaves: the few nouns that all share.
    "arrays": set(),
    "cache": set(),
    "compiled": {"arrays"},
    "constants": set(),
    "errors": set(),
    "effort": {"errors"},
    "files": {"errors"},
    "stopping": set(),
    "threads": set(),
    "progress": set(),
    "fields": {"units"},
    "names": {"errors"},
    "units": {"errors"},
    "interval": {"arrays", "errors"},
    "hull": {"arrays"},
    "numeric": {"arrays"},
    "tolerances": {"fields"},
    "faceref": set(),
    "result": {"arrays", "errors", "faceref", "units"},
    # From solids up.
    "kernel": LEAVES,
    "shop": GEOMETRY | {"angles"},
    "placing": GEOMETRY | {"rigid"},
    "setup": GEOMETRY | {"angles", "drilling", "hardening", "shop", "rigid", "placing"},
    "contact": GEOMETRY,
    # Pure numbers.
    "rigid": LEAVES,
    "statics": LEAVES | {"rigid"},
    "tolerancing": LEAVES | {"rigid"},
    "angles": LEAVES,
    "drilling": LEAVES,
    "hardening": LEAVES,
    # Where solids and pure numbers meet.
    "nesting": TOUCHED | MECHANICS,
    "magnet": TOUCHED,
    "machining": STATED | MECHANICS | {"sizes"},
    "sizes": STATED,
    "holding": MADE,
    "release": MADE | {"holding"},
    "hold": MADE | {"holding", "release"},
    "relief": SETTLED,
    "dials": STATED | MECHANICS | {"machining"},
    "start": TOUCHED | {"wording"},
    "touching": SETTLED | {"wording"},
    # Results held together, and variants: no solids.
    "comparing": LEAVES,
    "study": LEAVES | {"checks", "setup"},
    # Judging.
    "checks": SOLVED | {"sizes", "wording"},
    "engine": JUDGED | {"wording"},
    "process": JUDGED | {"engine", "hardening", "wording"},
    # Showing: no geometry but in the modules of KERNEL_IN_REPORT.
    "wording": LEAVES | {"angles"},
    "report": LEAVES | {"comparing", "study", "process", "shop", "setup", "wording"},
    # Doors.
    "sheet": JUDGED | {"process", "report", "wording"},
    "schemas": {"errors", "files", "names", "process", "setup", "study"},
    "runs": JUDGED
    | {
        "comparing",
        "study",
        "engine",
        "process",
        "report",
        "schemas",
        "sheet",
        "start",
        "touching",
        "wording",
    },
    "commands": LEAVES
    | {"runs", "study", "checks", "process", "report", "schemas", "setup", "sheet", "shop", "wording"},
    "cli": LEAVES | {"commands"},
    "cq": JUDGED | {"engine", "report", "touching"},
    "testing": JUDGED | {"engine", "process"},
    "pytest_plugin": LEAVES | {"checks", "comparing", "process", "testing"},
    "__main__": {"cli"},
    "__init__": JUDGED | {"cq", "engine", "process", "report", "testing"},
}

PURE: Mapping[str, set[str]] = {
    "magnet.field": set(),
    "magnet.source_fit": {"magnet.field"},
    "machining.grinding": set(),
    "machining.milling": {"machining.grinding", "statics", "rigid"},
    "machining.bite": set(),
    "machining.boring": {"machining.milling"},
}
"""Pure numbers in rooms that also see solids: what they may import besides the leaves and their own place."""

KERNEL_IN_REPORT = {
    "report.write", "report.pictures.scene", "report.pictures.draw",
    "report.viewer.motions", "report.viewer.things", "report.job", "report.pictures.painter",
}  # fmt: skip
"""They turn shapes into files or triangles, or copy the process; the rest sees words and numbers."""

KERNEL_IN_COMMANDS = {"kernel.worker"}
"""The child process, which itself loads no kernel."""

ONLY_IN: Mapping[str, set[str]] = {
    "OCP": {"kernel", "cq"},
    "cadquery": {"kernel", "cq"},
    "netgen": {"kernel"},
    "vtk": {"report.pictures.render"},
    "vtkmodules": {"report.pictures.render"},
    "PIL": {"report"},
    "pint": {"units"},
    "pyamg": {"magnet.field.cycle"},
    "clarabel": {"statics", "tolerancing"},
    "numba": {"compiled"},
    "jinja2": {"report.markup"},
    "markupsafe": {"report"},
    "argparse": {"cli", "commands"},
    "typst": {"sheet.pages"},
}
"""Outside libraries with one home; a home is a folder or a module."""


def _outside(module: Module) -> Iterator[Import]:
    for item in imports_of(module):
        if item.target.split(".", 1)[0] in ONLY_IN:
            yield item


def _breaches(module: Module) -> Iterator[str]:
    allowed = ALLOWED[module.place]
    for name, item in own_imports_of(module):
        place = name.split(".", 1)[0]
        if place == module.place or place in allowed - {"kernel"}:
            continue
        if place == "kernel" and _may_see_kernel(module, name):
            continue
        yield f"{module.path.name}:{item.line} imports {name}"


def _may_see_kernel(module: Module, name: str) -> bool:
    if module.place == "commands":
        return name in KERNEL_IN_COMMANDS
    return "kernel" in ALLOWED[module.place] or module.name in KERNEL_IN_REPORT


def test_every_place_says_what_it_may_import() -> None:
    assert sorted({m.place for m in modules()} - set(ALLOWED)) == []


def test_imports_go_one_way() -> None:
    assert faults(_breaches) == {}


def _pure(module: Module) -> str | None:
    return next((p for p in PURE if module.name == p or module.name.startswith(f"{p}.")), None)


def test_pure_numbers_see_no_solids() -> None:
    """The field solver and the laws of cutting know neither the kernel nor the set-up."""
    assert faults(_impure, filter(_pure, modules())) == {}


def _impure(module: Module) -> set[str]:
    own = _pure(module) or ""
    allowed = LEAVES | PURE[own] | {own}
    seen = {name for name, _ in own_imports_of(module)}
    return {n for n in seen if not any(n == a or n.startswith(f"{a}.") for a in allowed)}


def test_outside_libraries_stay_at_home() -> None:
    assert faults(_away) == {}


def _away(module: Module) -> Iterator[str]:
    for item in _outside(module):
        homes = ONLY_IN[item.target.split(".", 1)[0]]
        if not {module.place, module.name} & homes:
            yield f"{module.path.name}:{item.line} imports {item.target}"


def test_table_has_one_direction() -> None:
    """No two places may import each other, directly or round a corner."""
    for place, allowed in ALLOWED.items():
        reached, fringe = set(), {*allowed}
        while fringe:
            step = fringe.pop()
            reached.add(step)
            fringe |= ALLOWED.get(step, set()) - reached
        assert place not in reached, f"{place} can reach itself"


def test_no_module_waits_for_itself() -> None:
    """Modules that import each other while loading depend on who is loaded first."""
    ahead = {m.name: {name for name, item in own_imports_of(m) if item.at_load} for m in modules()}
    done: set[str] = set()
    while ready := {name for name, needs in ahead.items() if name not in done and needs <= done}:
        done |= ready
    assert sorted(set(ahead) - done) == []


def test_no_star_and_no_relative_imports() -> None:
    wrong = [f"{m.name}:{i.line}" for m in modules() for i in imports_of(m) if i.target.endswith(".*")]
    assert wrong == []


def test_breaches_are_seen() -> None:
    """The reader sees imports at the top, in functions and for type checkers, and tells them apart."""
    text = (
        "import OCP.gp\n"
        "def f():\n    from fixturecheck.kernel import shapes\n"
        "if TYPE_CHECKING:\n    import vtk\n"
    )
    path = ROOT / "fixturecheck/statics/x.py"
    module = Module(name="statics.x", path=path, text=text, tree=ast.parse(text))
    seen = {(i.target, i.at_load) for i in imports_of(module)}
    assert {("OCP.gp", True), ("fixturecheck.kernel.shapes", False), ("vtk", False)} <= seen
    assert "x.py:3 imports kernel.shapes" in list(_breaches(module))
    assert {i.target for i in _outside(module)} == {"OCP.gp", "vtk"}
