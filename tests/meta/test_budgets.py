"""Files, functions and suppressions stay small enough to read."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.meta.source import ROOT, Module, modules, repository_files

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

every_module = pytest.mark.parametrize("module", modules(), ids=lambda m: m.name)


@every_module
def test_module_fits_in_a_head(module: Module) -> None:
    assert len(_code_lines(module)) <= MOST_CODE_LINES
    assert ast.get_docstring(module.tree) or not module.text.strip(), "say which question the module answers"


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


@every_module
def test_functions_fit_on_a_page(module: Module) -> None:
    functions = [n for n in ast.walk(module.tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]
    long = {f.name: _lines(f) for f in functions if _lines(f) > MOST_FUNCTION_LINES}
    assert long == {}


def _lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstring, which may be as long as it needs."""
    body = function.body
    told = body[0] if ast.get_docstring(function) else None
    spent = (told.end_lineno or told.lineno) - told.lineno + 1 if told else 0
    return (function.end_lineno or function.lineno) - function.lineno + 1 - spent


@every_module
def test_classes_have_one_job(module: Module) -> None:
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ClassDef):
            public = [f.name for f in node.body if isinstance(f, ast.FunctionDef) and f.name[0] != "_"]
            assert len(public) <= MOST_METHODS, node.name


@every_module
def test_nothing_is_swallowed_asserted_or_printed(module: Module) -> None:
    assert list(_forbidden(module.tree)) == []


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


@every_module
def test_data_classes_are_frozen_slotted_and_by_keyword(module: Module) -> None:
    """A private one may be working memory; one that keeps what it has worked out cannot have slots."""
    wrong = []
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
            wrong += [f"{node.name} lacks {n}" for n in sorted(needed) if given and n not in given]
    assert wrong == []


@pytest.mark.parametrize(
    "path",
    [p for p in repository_files() if p.suffix == ".py"],
    ids=lambda p: str(p.relative_to(ROOT)),
)
def test_suppressions_say_what_and_why(path: Path) -> None:
    with tokenize.open(path) as lines:
        comments = [t for t in tokenize.generate_tokens(lines.readline) if t.type == tokenize.COMMENT]
    assert [fault for c in comments for fault in _faults(c.string, c.start[0])] == []


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
