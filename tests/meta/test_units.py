"""Every public number says its unit in its name, or is on the list of those that have none."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from tests.meta.source import Module, faults, modules

UNITS = {
    # length, area, volume, second moment of area
    "mm", "um", "m", "in", "mm2", "um2", "mm3", "mm4", "per_mm", "mm_tooth",
    # angle, time, turns
    "deg", "arcsec", "rad", "s", "ms", "min", "rpm", "per_s",
    # speed and rates
    "m_s", "mm_s", "m_min", "mm_min", "mm3_s", "mm3_mm_s", "rad_s",
    # force, moment, stress, stiffness, work, power, mass
    "n", "nmm", "nm", "mpa", "gpa", "n_mm", "n_mm2", "n_cm2", "n_mm3",
    "j", "j_mm3", "w", "g", "kg", "kg_m3", "g_cm3",
    # magnetism
    "t", "a", "a_m", "a_mm", "wb", "h_m",
    # temperature
    "c", "k", "per_k",
    # hardness
    "hrc",
}  # fmt: skip
"""Endings of names. Derived units are written as their parts: `n_mm2` is newton per square millimetre."""

WITHOUT = {
    "share": "part of a whole, 0 to 1",
    "mu": "coefficient of friction",
    "grip": "coefficient of friction",
    "factor": "ratio of two loads",
    "ceiling": "load factor at which a search ends",
    "enough": "load factor at which another load is known to be worse",
    "ratio": "ratio of two like quantities",
    "poisson": "Poisson's ratio",
    "exponent": "of a power law",
    "mu_r": "relative permeability",
    "strength": "share of a magnet's full strength",
    "balance": "what is out of balance as a share of the load",
    "residual": "what is out of balance as a share of the load",
    "parameter": "of a curve, as the kernel counts it",
    "score": "compares views of one spot only",
    "slack": "sine of an angle",
    "pitches": "length in pitches of a thread",
    "rpm": "quantity and unit in one word",
}
"""Names, or words that names begin or end with, that are plain numbers, and what each one is."""

BESIDE = {
    "comparing.model:KnownShortfall": {"margin"},
    "fields:Allowed": {"least", "most"},
    "fields:allowed": {"least", "most"},
    "result.finding:Finding": {"value", "limit", "margin"},
    "result.finding:not_computed": {"value"},
    "result.finding:judge": {"value", "at_least", "at_most", "within", "rounding"},
    "result.finding:meets": {"value", "at_least", "at_most", "within", "rounding"},
    "result.finding:margin_of": {"value", "at_least", "at_most", "within"},
    "result.rest:Freedom": {"low", "high"},
    "hardening.temper:Change": {"low", "usual", "high"},
    "interval:Range": {"low", "high"},
    "interval:Range.exactly": {"value"},
    "interval:Range.holds": {"value"},
    "numeric:last_inside": {"inside", "outside", "apart"},
    "study.model:StudyParameter": {"nominal", "tolerance", "flip_within"},
    "study.model:ParameterEntry": {"nominal", "tolerance", "flip_within"},
    "study.model:VariantRow": {"value", "limit", "margin"},
    "study.model:QuestionMargin": {"least"},
    "study.model:Flip": {"passes_at", "fails_at"},
    "holding.remedy_search:least_that_reaches": {"target", "now", "most"},
    "holding.remedy_search:Search.least": {"now", "most", "step"},
    "holding.remedy_search:TrialHold.least": {"now", "most", "step"},
    "result.remedy:Amount": {"now", "to"},
    "report.json:json_number": {"value"},
    "report.pictures.figures:round_below": {"value"},
    "report.markup:round_step": {"least"},
    "wording.sentences:shown": {"value"},
    "wording.sentences:sized": {"value"},
    "wording.hold:digits": {"value"},
    "wording.hold:amount": {"value"},
    "wording.sentences:shown_plain": {"value"},
    "report.pictures.ink:around": {"x", "y", "width", "height"},
    "report.pictures.ink:Board.take": {"margin"},
    "report.pictures.ink:Board.find": {"x", "y", "width", "height", "least"},
    "units:convert": {"value"},
    "units:in_units": {"value"},
    "units:factor_text": {"times"},
    "units:missed_text": {"value", "limit"},
    "units:to_inch_key": {"value"},
    "units:from_inch_key": {"value"},
    "units:Writing.number": {"value"},
    "units:Writing.quantity": {"value"},
}
"""Numbers of any quantity, whose unit stands in a field or parameter beside them, and places in a picture."""


def _floats(module: Module) -> Iterator[tuple[str, str, int]]:
    """Yield (owner, name, line) of each public field and parameter that is a float."""
    for node in module.tree.body:
        if isinstance(node, ast.ClassDef) and _public(node.name):
            yield from _fields(node)
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and (_public(inner.name) or inner.name == "__init__"):
                    yield from _parameters(inner, f"{node.name}.{inner.name}")
        elif isinstance(node, ast.FunctionDef) and _public(node.name):
            yield from _parameters(node, node.name)


def _public(name: str) -> bool:
    return not name.startswith("_")


def _fields(node: ast.ClassDef) -> Iterator[tuple[str, str, int]]:
    for field in node.body:
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
            name = field.target.id
            if _public(name) and _is_float(field.annotation):
                yield node.name, name, field.lineno


def _parameters(node: ast.FunctionDef, owner: str) -> Iterator[tuple[str, str, int]]:
    for given in [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]:
        if given.annotation is not None and _is_float(given.annotation):
            yield owner, given.arg, given.lineno


def _is_float(annotation: ast.expr) -> bool:
    """Whether a type is float or float or None; containers of floats name their unit in words."""
    text = annotation.value if isinstance(annotation, ast.Constant) else ast.unparse(annotation)
    return {part.strip() for part in str(text).split("|")} - {"None"} == {"float"}


def _says_unit(name: str) -> bool:
    words = name.split("_")
    # A unit needs a quantity before it: `t` alone is a name, `field_t` says tesla.
    ends = ["_".join(words[-k:]) for k in range(1, min(4, len(words)))]
    starts = ["_".join(words[:k]) for k in range(1, len(words) + 1)]
    return any(e in UNITS for e in ends) or any(w in WITHOUT for w in [*ends, *starts])


def _silent(module: Module) -> Iterator[str]:
    for owner, name, line in _floats(module):
        if not _says_unit(name) and name not in BESIDE.get(f"{module.name}:{owner}", ()):
            yield f"{owner}.{name}, line {line}"


def test_numbers_say_their_unit() -> None:
    assert faults(_silent) == {}


def test_lists_name_what_is_there() -> None:
    """What is excused must exist, or the list hides the next of that name."""
    there = {(f"{m.name}:{owner}", name) for m in modules() for owner, name, _ in _floats(m)}
    excused = {(owner, name) for owner, names in BESIDE.items() for name in names}
    assert sorted(excused - there) == []


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("gap_mm", True),
        ("moment_nmm", True),
        ("pressure_n_mm2", True),
        ("mu_static", True),
        ("mu", True),
        ("gap", False),
        ("t", False),
        ("mm", False),
        ("mm_gap", False),
        ("length_inches", False),
    ],
)
def test_units_are_read_right(name: str, said: bool) -> None:
    assert _says_unit(name) is said
