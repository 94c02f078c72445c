"""Public functions say what they take, return and raise."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache

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


@cache
def said_by_protocols() -> frozenset[tuple[str, str]]:
    """The methods of protocols, by folder and how they are called: what implements one need not repeat it."""
    return frozenset(
        (module.name.rpartition(".")[0], called(method))
        for module in modules()
        for node in module.tree.body
        if isinstance(node, ast.ClassDef) and "Protocol" in map(ast.unparse, node.bases)
        for method in node.body
        if isinstance(method, ast.FunctionDef) and not list(lacking(method, ast.get_docstring(method) or ""))
    )


def called(function: ast.FunctionDef) -> str:
    """The name of a function, what it takes but for `self`, and what it returns."""
    takes = re.sub(r"^self(, )?", "", ast.unparse(function.args))
    return f"{function.name}({takes}) -> {ast.unparse(function.returns or ast.Constant(None))}"


def lacking(function: ast.FunctionDef, told: str) -> Iterator[str]:
    """Yield what a docstring leaves out."""
    given = function.args
    names = [a.arg for a in [*given.posonlyargs, *given.args, *given.kwonlyargs] if a.arg != "self"]
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
        if (module.name.rpartition(".")[0], called(function)) in said_by_protocols():
            continue
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


def test_a_check_is_known_by_its_protocol() -> None:
    assert ("checks", "check(stage: Stage) -> Iterator[Finding]") in said_by_protocols()
    assert ("checks", "check(stage: Stage) -> None") not in said_by_protocols()
