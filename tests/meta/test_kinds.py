"""A kind is an enum: what has one is compared with its members, not with their text."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from tests.meta.source import faults, modules

NAMED_BY_USERS = {"face", "key", "name", "of", "shelf", "stem", "suffix"}
"""Attributes that hold names or keys, or words of the command line, which are text."""
CHECKS = {"check"}
"""Attributes that hold the name of a check, a key of `checks.MODULES`."""


def _members() -> set[str]:
    """The text of every member of every enum of the package."""
    return {
        line.value.value
        for module in modules()
        for node in ast.walk(module.tree)
        if isinstance(node, ast.ClassDef) and any(ast.unparse(base) == "StrEnum" for base in node.bases)
        for line in node.body
        if isinstance(line, ast.Assign)
        and isinstance(line.value, ast.Constant)
        and isinstance(line.value.value, str)
    }


def _texts(node: ast.expr) -> Iterator[str]:
    """Yield the texts that one side of a comparison states, alone or in a set, list or tuple."""
    inner = node.elts if isinstance(node, ast.Set | ast.List | ast.Tuple) else [node]
    for one in inner:
        if isinstance(one, ast.Constant) and isinstance(one.value, str):
            yield one.value


def compared_as_text(tree: ast.AST, members: set[str]) -> Iterator[str]:
    """Yield each comparison of an attribute with the text of a member of an enum."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Compare):
            continue
        sides = [node.left, *node.comparators]
        if isinstance(node.ops[0], ast.In | ast.NotIn):
            # What is looked for in a mapping or a list is a key.
            sides = sides if isinstance(node.left, ast.Attribute) else []
        held = [s for s in sides if isinstance(s, ast.Attribute) and s.attr not in NAMED_BY_USERS | CHECKS]
        if held and any(text in members for side in sides for text in _texts(side)):
            yield f"line {node.lineno}: {ast.unparse(node)}"


def test_attributes_are_not_compared_with_the_text_of_a_member() -> None:
    members = _members()
    assert {"part", "stop", "rest", "traverse"} <= members
    # The search sees what it is for, and leaves names alone.
    seen = (
        "a = [body.role != 'part', seat.rank in {'stop', 'nest'}, face.name == 'part', b.role == Role.PART]"
    )
    assert len(list(compared_as_text(ast.parse(seen), members))) == 2
    assert faults(lambda m: compared_as_text(m.tree, members), modules()) == {}
