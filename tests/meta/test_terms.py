"""One word, one meaning: names that are retired stay away, and a public class name is defined once."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.meta.source import ROOT

PACKAGE = ROOT / "fixturecheck"

# Names of classes, functions and modules that said little or meant several things, and what took their place.
RETIRED = {
    "Alike": "PairCache",
    "Bench": "SettlingModel, TrialHold or MillingScene",
    "bench_of": "settling_model_of, trial_hold_of or milling_scene_of",
    "Carried": "LoadedContact or CriticalRegion",
    "Look": "EdgeView",
    "Skin": "FaceTriangles",
    "Told": "StatedSetup or ReliefShown",
}


@cache
def _modules() -> dict[Path, ast.Module]:
    return {p: ast.parse(p.read_text(encoding="utf-8")) for p in sorted(PACKAGE.rglob("*.py"))}


def definitions(tree: ast.Module) -> Iterator[str]:
    """Yield the names of classes, functions and methods that a module defines."""
    kinds = (ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    return (node.name for node in ast.walk(tree) if isinstance(node, kinds))


def twice(trees: dict[str, ast.Module]) -> dict[str, list[str]]:
    """Return the public class names that are defined more than once, with the modules that define them."""
    homes: dict[str, list[str]] = defaultdict(list)
    for home, tree in trees.items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes[node.name].append(home)
    return {name: places for name, places in homes.items() if len(places) > 1}


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_retired_names_stay_away(path: Path) -> None:
    named = [*definitions(_modules()[path]), path.stem]
    assert {name: RETIRED[name] for name in named if name in RETIRED} == {}


def test_a_public_class_name_is_defined_once() -> None:
    assert twice({str(p.relative_to(ROOT)): tree for p, tree in _modules().items()}) == {}


def test_what_is_defined_twice_is_seen() -> None:
    one, other = ast.parse("class Rim: ...\nclass _Own: ..."), ast.parse("class Rim: ...\nclass _Own: ...")
    assert twice({"one": one, "other": other}) == {"Rim": ["one", "other"]}


def test_methods_and_nested_functions_count_as_names() -> None:
    tree = ast.parse("if True:\n    class Outer:\n        def method(self):\n            def inner(): ...")
    assert sorted(definitions(tree)) == ["Outer", "inner", "method"]
