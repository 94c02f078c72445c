"""One word, one meaning: names that are retired stay away, and a public class name is defined once."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator

from tests.meta.source import Module, faults, modules

# Names of classes, functions and modules that said little or meant several things, and what took their place.
RETIRED = {
    "Alike": "PairCache",
    "Answered": "StagingAnswer",
    "Ask": "Query",
    "BarredProbability": "BarredChance",
    "BarredOdds": "BarredChance",
    "Bench": "SettlingModel, TrialHold or MillingScene",
    "Book": "FoundRows",
    "Carried": "LoadedContact or CriticalRegion",
    "Landing": "FirstContact",
    "Look": "EdgeView",
    "Odds": "Chances",
    "PartLocated": "PartLocation",
    "PartRest": "RestPose",
    "PlaceScatter": "TargetSpread",
    "Probabilities": "Chances",
    "SeatAtRest": "SeatGap",
    "TargetMoved": "TargetMoves",
    "OrderTold": "OrderOutcome",
    "Raw": "RawPatch",
    "SeatOdds": "SeatChance",
    "SeatProbability": "SeatChance",
    "Sets": "CriticalRegions",
    "Skin": "FaceTriangles",
    "TargetOdds": "TargetSpread",
    "Told": "StatedSetup or ReliefShown",
    "Varies": "FaceVariation",
    "WrongOdds": "WrongChance",
    "WrongFaceProbability": "WrongChance",
    "Carrying": "LoadedContact",
    "alike": "pairs",
    "answered": "staging_answer",
    "bands": "clashes",
    "bench_of": "settling_model_of, trial_hold_of or milling_scene_of",
    "beneath": "lowest_of_section",
    "beyond": "boxes_apart",
    "cleared": "superseded",
    "cures": "remedies",
    "eased": "features_over_low_steps",
    "far": "balls_apart",
    "fluxtube": "air_gaps",
    "goes_on": "continues_seat",
    "grow": "perturbed",
    "growth_rows": "gap_sensitivity",
    "gutters": "concave tori and cones",
    "hollows": "concave cylinders and cones",
    "hoops": "swept circles",
    "implied": "redundant constraints",
    "land": "find_first_contact",
    "landings_of": "clashing_contacts",
    "leaves": "tangent and normal cones",
    "let_go": "settle_together",
    "lids": "supporting faces",
    "look": "query",
    "odds": "probabilities",
    "odds_of": "sampled_rest",
    "order_told": "order_of_placing",
    "over": "is_over_face",
    "sets_of": "critical_regions_of",
    "sharp": "vertices_edges",
    "spines": "capsules",
    "stands_to": "relative_place",
    "sunk": "penetration",
    "Touched": "CutEffect",
    "Tries": "TrialCuts",
    "worn_seats": "reduced_seats",
    "unseen_mm": "unseen_overlap_mm",
    "varies": "has_tolerances",
    "vary": "perturbed",
    "varying": "varying_faces",
}


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


def test_retired_names_stay_away() -> None:
    assert faults(_retired) == {}


def _retired(module: Module) -> Iterator[str]:
    named = [*definitions(module.tree), module.path.stem]
    return (f"{name} is now {RETIRED[name]}" for name in named if name in RETIRED)


def test_a_public_class_name_is_defined_once() -> None:
    assert twice({m.name: m.tree for m in modules()}) == {}


BY_DESIGN = {"add", "check", "main", "run"}
"""Functions that modules of one kind share: commands, checks, ways in, and runs from file to folder."""

MOST_SHARED = 13
"""How many other names of public functions are defined more than once; only ever lower it."""


def test_few_public_functions_share_a_name() -> None:
    """Where this fails, give what you added a name of its own."""
    homes: dict[str, list[str]] = defaultdict(list)
    for module in modules():
        for node in module.tree.body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                homes[node.name].append(module.name)
    shared = {n: m for n, m in homes.items() if len(m) > 1 and n not in BY_DESIGN}
    assert len(shared) <= MOST_SHARED, shared


def test_what_is_defined_twice_is_seen() -> None:
    one, other = ast.parse("class Rim: ...\nclass _Own: ..."), ast.parse("class Rim: ...\nclass _Own: ...")
    assert twice({"one": one, "other": other}) == {"Rim": ["one", "other"]}


def test_methods_and_nested_functions_count_as_names() -> None:
    tree = ast.parse("if True:\n    class Outer:\n        def method(self):\n            def inner(): ...")
    assert sorted(definitions(tree)) == ["Outer", "inner", "method"]
