"""Public functions say what they take, return and raise."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from tests.meta.source import Module, faults, modules

ENTRY = re.compile(r"^(\*{0,2}\w+(?:, \*{0,2}\w+)*)(?: : .*)?$", re.MULTILINE)


def public_functions(module: Module) -> Iterator[tuple[ast.FunctionDef, str]]:
    """Yield each public function that stands at the top of a module, with its docstring."""
    for node in module.tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node, ast.get_docstring(node) or ""


def section(told: str, title: str) -> str:
    """The text under a heading of a docstring, empty where there is none."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\w+\n-{{3,}}|\Z)", told, re.MULTILINE | re.DOTALL)
    return found.group(1) if found else ""


def lacking(function: ast.FunctionDef, told: str) -> Iterator[str]:
    """Yield what a docstring leaves out."""
    given = function.args
    names = [a.arg for a in [*given.posonlyargs, *given.args, *given.kwonlyargs]]
    said = {n for entry in ENTRY.findall(section(told, "Parameters")) for n in entry.split(", ")}
    yield from (f"{function.name}: parameter {n}" for n in names if n not in said)
    returns = "None" if function.returns is None else ast.unparse(function.returns)
    if returns != "None" and not (section(told, "Returns") or section(told, "Yields")):
        yield f"{function.name}: what it returns"
    if any(isinstance(n, ast.Raise) and n.exc for n in ast.walk(function)) and not section(told, "Raises"):
        yield f"{function.name}: what it raises"


def test_public_functions_say_what_they_take_return_and_raise() -> None:
    assert faults(_unsaid, modules()) == {}


def _unsaid(module: Module) -> Iterator[str]:
    for function, told in public_functions(module):
        # Words are all that a function of `wording` returns, and its first line says which.
        words = module.place == "wording" and ast.unparse(function.returns or ast.Constant(None)) == "str"
        yield from (w for w in lacking(function, told) if not (words and w.endswith(": what it returns")))


def test_what_is_left_out_is_seen() -> None:
    text = (
        'def f(a: float, *, b: int) -> float:\n    """Say.\n\n    Parameters\n    ----------\n    a : float\n'
        '        It.\n    """\n    raise ValueError(a)\n'
    )
    (function,) = ast.parse(text).body
    assert isinstance(function, ast.FunctionDef)
    seen = list(lacking(function, ast.get_docstring(function) or ""))
    assert seen == ["f: parameter b", "f: what it returns", "f: what it raises"]
