"""How a result becomes result.json: the same input gives the same bytes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from typing import Any

from fixturecheck.report.hold_data import hold_dict
from fixturecheck.report.rest_data import rest_dict
from fixturecheck.report.rounding import rounded
from fixturecheck.result import Assumed, Contact, CutMade, Finding, Group, NotAsked, Result, Vector
from fixturecheck.units import Writing

__all__ = ["result_dict", "result_json", "rounded"]

_DIRECTION_DECIMALS = 9


def result_json(result: Result) -> bytes:
    """Return result.json of a result.

    Raises
    ------
    NotComputedError
        A number in the result is infinite or not a number.
    """
    text = json.dumps(result_dict(result), indent=1, ensure_ascii=False, allow_nan=False)
    return (text + "\n").encode()


def result_dict(result: Result) -> dict[str, Any]:
    """Return a result as plain values, sorted and rounded, in the shape of the JSON Schema.

    Findings come in the order in which the checks ran, then by subject; contacts by faces, kind and place.
    """
    ranks = {name: i for i, name in reversed(list(enumerate(f.check for f in result.findings)))}
    found = result.findings
    order = sorted(range(len(found)), key=lambda i: (ranks[found[i].check], found[i].subject, found[i].says))
    places = {old: new for new, old in enumerate(order)}
    contacts = [_contact(c) for c in result.contacts]
    contacts.sort(key=lambda c: (c["a"], c["b"], c["kind"], c["centroid"], c["normal"]))
    write = Writing(units=result.shown_in)
    return {
        "verdict": str(result.verdict),
        "tool": {
            "name": "fixturecheck",
            "version": version("fixturecheck"),
            "kernel": f"cadquery-ocp {version('cadquery-ocp')}",
        },
        "setup": {
            "name": result.name,
            "units": result.units,
            "sources": [
                {"path": s.path, "sha256": s.sha256} for s in sorted(result.sources, key=lambda s: s.path)
            ],
        },
        "findings": [_finding(found[i]) for i in order],
        "groups": _groups(result.groups, places),
        "contacts": contacts,
        "cuts": [_cut(c) for c in result.cuts],
        "rest": rest_dict(result.rest, write),
        "holding": hold_dict(result.holding, write),
        "not_asked": [_not_asked(n) for n in result.not_asked],
        "assumed": [_assumed(a) for a in result.assumed],
    }


def _groups(groups: Sequence[Group], places: Mapping[int, int]) -> list[dict[str, Any]]:
    """Return groups that name findings by their place in the list as written."""
    told: list[dict[str, Any]] = [
        {
            "lead": places[group.lead],
            "like": sorted(places[i] for i in group.like),
            "follows": _groups(group.follows, places),
        }
        for group in groups
    ]
    return sorted(told, key=lambda g: min(g["lead"], *g["like"], g["lead"]))


def _assumed(value: Assumed) -> dict[str, Any]:
    number = isinstance(value.value, int | float) and not isinstance(value.value, bool)
    return {
        "of": value.of,
        "key": value.key,
        "value": float(f"{value.value:.9g}") if number else value.value,
        "unit": value.unit,
        "hangs_on": value.hangs_on,
    }


def _not_asked(question: NotAsked) -> dict[str, str]:
    return {"check": question.check, "reason": str(question.reason), "lacks": question.lacks}


def _optional(value: float | None, unit: str, where: str) -> float | None:
    return None if value is None else rounded(value, unit, where)


def _vector(vector: Vector | None, unit: str, where: str) -> list[float] | None:
    if vector is None:
        return None
    if unit:
        return [rounded(v, unit, where) for v in vector]
    for v in vector:
        rounded(v, "mm", where)
    return [round(float(v), _DIRECTION_DECIMALS) + 0.0 for v in vector]


def _finding(finding: Finding) -> dict[str, Any]:
    where = f"{finding.check} of {finding.subject}"
    return {
        "check": finding.check,
        "verdict": str(finding.verdict),
        "subject": finding.subject,
        "kind": finding.kind,
        "about": list(finding.about),
        "cut": finding.cut,
        "value": _optional(finding.value, finding.unit, where),
        "unit": finding.unit,
        "limit": _optional(finding.limit, finding.unit, where),
        "margin": _optional(finding.margin, finding.unit, where),
        "says": finding.says,
        "remedy": finding.remedy,
        "source": finding.source,
        "shapes": sorted({s.name for s in finding.shapes}),
        "location_mm": _vector(finding.location_mm, "mm", where),
        "direction": _vector(finding.direction, "", where),
        "overruled": None if finding.overruled is None else str(finding.overruled),
    }


def _contact(contact: Contact) -> dict[str, Any]:
    where = f"contact {contact.a} to {contact.b}"
    return {
        "a": contact.a,
        "b": contact.b,
        "kind": contact.kind,
        "area_mm2": rounded(contact.area_mm2, "mm2", where),
        "length_mm": rounded(contact.length_mm, "mm", where),
        "gap_um": {
            "min": rounded(contact.gap_min_um, "um", where),
            "mean": rounded(contact.gap_mean_um, "um", where),
            "max": rounded(contact.gap_max_um, "um", where),
        },
        "normal": _vector(contact.normal, "", where),
        "centroid": _vector(contact.centroid, "mm", where),
        "error_um": rounded(contact.error_um, "um", where),
    }


def _cut(cut: CutMade) -> dict[str, Any]:
    where = f"cut {cut.name}"
    return {
        "name": cut.name,
        "removed_mm3": rounded(cut.removed_mm3, "mm3", where),
        "leftover_mm3": rounded(cut.leftover_mm3, "mm3", where),
        "gouge_mm3": rounded(cut.gouge_mm3, "mm3", where),
        "corner_radius_mm": _optional(cut.corner_radius_mm, "mm", where),
        "faces": [
            {"face": f.face, "share_made": rounded(f.share_made, "share", where)}
            for f in sorted(cut.faces, key=lambda f: f.face)
        ],
    }
