"""Nothing outside `kernel/` asks a kernel's object for anything: it calls the functions that stand there.

A solid is an opaque thing to the rest of the program. `cq` is a door for what users drew, and is let off.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache

import cadquery as cq
import pytest

from tests.meta.source import faults, modules

LET_OFF = {"kernel", "cq"}

CLASSES = (
    *(cq.Shape, cq.Solid, cq.Compound, cq.Face, cq.Edge, cq.Wire, cq.Vertex),
    *(cq.Vector, cq.Location, cq.BoundBox, cq.Workplane),
)

ALSO_OURS = {
    *("move", "moved", "location", "located", "copy", "cut", "distance", "split"),
    *("add", "clean", "scale", "remove"),
}
"""Names that methods of the kernel's objects share with ours, or with arrays, sets and polygons."""

HOLDERS = {"solid", "solids", "shape", "geometry", "edge", "common", "at"}
"""Variables and fields that hold a kernel object; the shared names are not asked of these either."""

MAKERS = {"Shape", "Solid", "Face", "Edge", "Location"}
"""Types of the kernel's that others may name, and may not call."""


@cache
def _asked_of_the_kernel() -> frozenset[str]:
    """Return the names that only a kernel object has: camel case, and `wrapped`, `val`, `vals`, `fuse`."""
    names = {name for one in CLASSES for name in dir(one) if not name.startswith("_")}
    camel = {name for name in names if name != name.lower() or name in {"wrapped", "val", "vals", "fuse"}}
    return frozenset(camel - ALSO_OURS)


def _breaches(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            shared = node.attr in ALSO_OURS - {"copy"} and _last_name(node.value) in HOLDERS
            if node.attr in _asked_of_the_kernel() or shared:
                yield f"{node.lineno}: {ast.unparse(node)}"
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in MAKERS:
            yield f"{node.lineno}: {ast.unparse(node)}"


def _last_name(node: ast.expr) -> str:
    """Return what an expression is called: `b.solid` and `solid[0]` are both `solid`."""
    while isinstance(node, ast.Subscript | ast.Call):
        node = node.value if isinstance(node, ast.Subscript) else node.func
    return node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", "")


def test_kernel_objects_are_asked_in_the_kernel_only() -> None:
    fenced = (m for m in modules() if m.place not in LET_OFF)
    assert faults(lambda module: _breaches(module.tree), fenced) == {}


@pytest.mark.parametrize(
    "text",
    [
        *("face.normalAt()", "shape.Solids()[0]", "body.solid.moved(at)", "p.wrapped", "f.Center().x"),
        *("solids[0].located(at)", "Location((0, 0, 1))", "one.geomType() == 'PLANE'", "tool.val()"),
    ],
)
def test_a_question_to_a_kernel_object_is_seen(text: str) -> None:
    assert list(_breaches(ast.parse(text)))


@pytest.mark.parametrize(
    "text", ["surface.moved(turn, shift)", "found.located", "normals.copy()", "np.dot(a, b)"]
)
def test_what_is_not_the_kernels_is_let_pass(text: str) -> None:
    assert not list(_breaches(ast.parse(text)))
