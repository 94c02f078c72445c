"""Files, functions and suppressions stay small enough to read."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.meta.source import ROOT, Module, faults, modules, repository_files

MOST_CODE_LINES = 400
MOST_FUNCTION_LINES = 60
MOST_METHODS = 15

NOQA = re.compile(r"#\s*noqa\b(?P<rest>.*)", re.IGNORECASE)
IGNORE = re.compile(r"#\s*type:\s*ignore(?P<rest>.*)")
CODES = re.compile(r"^:\s*[A-Z]+[0-9]+(\s*,\s*[A-Z]+[0-9]+)*(?P<why>.*)$")
IGNORE_CODES = re.compile(
    r"^\[[a-z-]+(\s*,\s*[a-z-]+)*\](?P<why>$|\s*#.*$)"
)  # mypy wants a comment of its own
REASON = re.compile(r"[A-Za-z]{2,}.*[A-Za-z]{2,}")


def test_modules_fit_in_a_head() -> None:
    long = (m for m in modules() if m.text.count("\n") > MOST_CODE_LINES)
    assert {m.name: n for m in long if (n := len(_code_lines(m))) > MOST_CODE_LINES} == {}


def test_modules_say_which_question_they_answer() -> None:
    assert [m.name for m in modules() if m.text.strip() and not ast.get_docstring(m.tree)] == []


def _code_lines(module: Module) -> set[int]:
    """Return the numbers of the lines that hold code: no blanks, comments, docstrings or imports."""
    marks = {
        tokenize.COMMENT,
        tokenize.NL,
        tokenize.NEWLINE,
        tokenize.INDENT,
        tokenize.DEDENT,
        tokenize.ENDMARKER,
    }
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(module.text).readline):
        if token.type not in marks:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(module.tree):
        text = (
            isinstance(node, ast.Expr)
            and isinstance(node.value, ast.Constant)
            and isinstance(node.value.value, str)
        )
        if text or isinstance(node, ast.Import | ast.ImportFrom):
            lines.difference_update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return lines


def _long(module: Module) -> Iterator[str]:
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and _lines(node) > MOST_FUNCTION_LINES:
            yield f"{node.name}: {_lines(node)} lines"


def test_functions_fit_on_a_page() -> None:
    assert faults(_long) == {}


def _lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstring, which may be as long as it needs."""
    body = function.body
    told = body[0] if ast.get_docstring(function) else None
    spent = (told.end_lineno or told.lineno) - told.lineno + 1 if told else 0
    return (function.end_lineno or function.lineno) - function.lineno + 1 - spent


def _crowded(module: Module) -> Iterator[str]:
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ClassDef):
            public = [f.name for f in node.body if isinstance(f, ast.FunctionDef) and f.name[0] != "_"]
            if len(public) > MOST_METHODS:
                yield f"{node.name}: {len(public)} public methods"


def test_classes_have_one_job() -> None:
    assert faults(_crowded) == {}


def test_nothing_is_swallowed_asserted_or_printed() -> None:
    assert faults(lambda module: _forbidden(module.tree)) == {}


def _forbidden(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Assert):
            yield f"line {node.lineno}: assert, which -O takes away"
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print":
            yield f"line {node.lineno}: print"
        elif isinstance(node, ast.ExceptHandler):
            named = ast.unparse(node.type) if node.type else ""
            if not named or re.search(r"\bBaseException\b", named):
                yield f"line {node.lineno}: except {named}"


def test_data_classes_are_frozen_slotted_and_by_keyword() -> None:
    """A private one may be working memory; one that keeps what it has worked out cannot have slots."""
    assert faults(_loose) == {}


def _loose(module: Module) -> Iterator[str]:
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            needed = {"frozen=True", "slots=True", "kw_only=True"}
            if any(
                "cached_property" in ast.unparse(m)
                for f in node.body
                for m in getattr(f, "decorator_list", [])
            ):
                needed.discard("slots=True")
            marks = [ast.unparse(m) for m in node.decorator_list]
            given = next((m for m in marks if re.match(r"(dataclasses\.)?dataclass\b", m)), None)
            yield from (f"{node.name} lacks {n}" for n in sorted(needed) if given and n not in given)


def test_suppressions_say_what_and_why() -> None:
    files = [p for p in repository_files() if p.suffix == ".py"]
    assert [f"{p.relative_to(ROOT)}, {what}" for p in files for what in _unreasoned(p)] == []


def _unreasoned(path: Path) -> Iterator[str]:
    text = path.read_text(encoding="utf-8")
    if not (NOQA.search(text) or IGNORE.search(text)):
        return
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            yield from _faults(token.string, token.start[0])


def _faults(comment: str, line: int) -> Iterator[str]:
    for pattern, codes in ((NOQA, CODES), (IGNORE, IGNORE_CODES)):
        for found in pattern.finditer(comment):
            coded = codes.match(found["rest"])
            if coded is None:
                yield f"line {line}: {comment} has no code, or no `#` before its reason"
            elif not REASON.search(coded["why"]):
                yield f"line {line}: {comment} has no reason"


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("# noqa", 1),
        ("# noqa: S603", 1),
        ("# noqa: S603, S607 -- our own module", 0),
        ("# type: ignore", 1),
        ("# type: ignore[misc]", 1),
        ("# type: ignore[misc] - the kernel has no types", 1),
        ("# type: ignore[misc]  # the kernel has no types", 0),
        ("# a plain word about noqa's", 0),
    ],
)
def test_suppressions_are_read_right(text: str, faults: int) -> None:
    assert len(list(_faults(text, 1))) == faults


SWALLOWS = """
try:
    print(1)
except:
    assert 0
try:
    pass
except (OSError, BaseException):
    pass
"""


def test_faults_are_seen() -> None:
    assert len(list(_forbidden(ast.parse(SWALLOWS)))) == 4
