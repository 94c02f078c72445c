"""How a result becomes result.json: rounded and ordered so that the same input gives the same bytes."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from importlib.metadata import version
from typing import Any

from fixturecheck.errors import NotComputedError
from fixturecheck.result import Assumed, Result
from fixturecheck.result.contact import Contact, CutMade
from fixturecheck.result.drawn import BodyDrawn
from fixturecheck.result.finding import Finding, Group, NotAsked
from fixturecheck.result.hardening import HardeningFound
from fixturecheck.result.hold import BodyMotion, HoldFound, HoldLoss, PartHeld
from fixturecheck.result.release import BodyLeaves
from fixturecheck.result.rest import Freedom, LoadedContact, Rest, SeatChance, TargetMoves
from fixturecheck.result.shapes import Vector
from fixturecheck.result.stored import SCHEMA_VERSION
from fixturecheck.result.touching import Touching
from fixturecheck.units import Writing
from fixturecheck.wording.hold import loss_words, magnet_words, past_words
from fixturecheck.wording.motion import (
    drawn_faces_words,
    freedom_words,
    lets_go_words,
    order_words,
    settled_draws_words,
)
from fixturecheck.wording.release import burr_words, first_words, pry_words, way_words
from fixturecheck.wording.remedies import remedy_words
from fixturecheck.wording.sentences import capitalised

_DIGITS = 9
_DECIMALS = {"mm": 6, "um": 3, "mm2": 4, "mm3": 6, "deg": 6, "m/s": 6, "share": 6}


def rounded(value: float, unit: str, where: str = "the result") -> float:
    """Round a number so that the kernel's last digits do not show; never returns -0.0.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        One of the units of a finding; others are rounded to six decimals.
    where : str
        What the number belongs to, for the message.

    Raises
    ------
    NotComputedError
        The value is infinite or not a number.
    """
    if not math.isfinite(value):
        message = f"a number in {where} came out as {value}"
        raise NotComputedError(message)
    if value == 0.0:
        return 0.0
    by_digits = _DIGITS - 1 - math.floor(math.log10(abs(value)))
    return round(float(value), min(_DECIMALS.get(unit, 6), by_digits)) + 0.0


_HOLD_DIGITS = 3
"""What a field solution on a mesh and ranges of friction are good for."""

_DRAWN = {"maps", "section"}
"""Thousands of points that only pictures need; what they add up to is in `faces`."""

_TOLD_OTHERWISE = {"failure", "over", "tips_over"}
"""Written as sentences and as the motions of the bodies."""


def hold_dict(hold: HoldFound | None, write: Writing) -> dict[str, Any] | None:
    """Return the hold as plain values, to three digits; None where it was not asked.

    Parameters
    ----------
    write : Writing
        How its sentences write quantities.

    Raises
    ------
    NotComputedError
        A number is infinite or not a number.
    """
    if hold is None:
        return None
    told = {f.name: getattr(hold, f.name) for f in fields(hold) if f.name not in _DRAWN}
    told["magnet"] = magnet_words(hold.magnet, write)
    told["leaving"] = tuple(_leaves(b, write) for b in hold.leaving)
    told["burrs"] = tuple(burr_words(b) for b in hold.burrs)
    told["before"] = capitalised(first_words(hold.before)) if hold.before else ""
    told["parts"] = tuple(_part(p, write) for p in hold.parts)
    plain: dict[str, Any] = _hold_value(told)
    return plain


def _part(part: PartHeld, write: Writing) -> dict[str, Any]:
    """Return one part's hold, with the sentences that its data is told in."""
    told = {f.name: getattr(part, f.name) for f in fields(part) if f.name not in _TOLD_OTHERWISE}
    return told | {
        "at_least": part.at_least,
        "says": lets_go_words(part.failure, write),
        "goes": part.goes,
        "motion_at_mm": part.motions[0].at_mm if part.motions else None,
        "outcome": str(part.outcome or ""),
        "losses": tuple(_loss(loss, write) for loss in part.losses),
        "moves": tuple(_motion(m) for m in part.motions),
        "past": past_words(part),
        "remedies": tuple(remedy_words(r, write) for r in part.remedies),
    }


def _leaves(body: BodyLeaves, write: Writing) -> dict[str, Any]:
    return {
        "body": body.body,
        "residual_n": body.residual_n,
        "ways": tuple(way_words(w, write) for w in body.ways),
        "pry": pry_words(body.pry, write) if body.pry else None,
        "demagnetise": body.demagnetise,
    }


def _loss(loss: HoldLoss, write: Writing) -> dict[str, Any]:
    says = lets_go_words(loss.failure, write) if loss.failure else loss.reason
    return {"lost": loss_words(loss.lost), "factor": loss.factor, "says": says}


def _motion(motion: BodyMotion) -> dict[str, Any]:
    return {
        "body": motion.body,
        "at_mm": motion.at_mm,
        "velocity": motion.velocity,
        "turn_rad_mm": motion.rotation_rad_mm,
    }


def _hold_value(value: Any) -> Any:
    if isinstance(value, float):
        return _rounded(value)
    if isinstance(value, tuple):
        return [_hold_value(v) for v in value]
    if isinstance(value, dict):
        return {name: _hold_value(v) for name, v in value.items()}
    if is_dataclass(value):
        return {f.name: _hold_value(getattr(value, f.name)) for f in fields(value)}
    return value


def _rounded(value: float) -> float:
    if not math.isfinite(value):
        message = f"a number of the hold came out as {value}"
        raise NotComputedError(message)
    # What is nothing but rounding is shown as nothing.
    return float(f"{value:.{_HOLD_DIGITS}g}") if abs(value) > 1e-6 else 0.0


def touching_dict(found: Touching | None) -> dict[str, Any] | None:
    """Return how bodies stand to each other as plain values, rounded; None where that alone was not asked.

    A motion that nothing ends has null for that end.

    Raises
    ------
    NotComputedError
        A number is infinite or not a number.
    """
    return None if found is None else _plain_record(found)


def hardening_dict(found: HardeningFound | None) -> dict[str, Any] | None:
    """Return what hardening does as plain values, rounded; None where none was stated.

    Raises
    ------
    NotComputedError
        A number is infinite or not a number.
    """
    return None if found is None else _plain_record(found)


def _plain_record(thing: Any) -> dict[str, Any]:
    return {f.name: _plain_value(getattr(thing, f.name), f.name) for f in fields(thing)}


def _plain_value(value: Any, name: str) -> Any:
    if isinstance(value, Freedom):
        ends = {k: v if math.isfinite(v) else None for k, v in (("low", value.low), ("high", value.high))}
        told = {"kind": value.kind, "axis": value.axis, "point_mm": value.point_mm, **ends}
        return {k: _plain_value(v, k) for k, v in told.items()}
    if isinstance(value, tuple):
        return [_plain_value(v, name) for v in value]
    if isinstance(value, float):
        unit = name.rsplit("_", 1)[-1]
        return rounded(value, unit if unit in _DECIMALS else "share", name)
    if is_dataclass(value):
        return _plain_record(value)
    return value if value is None or isinstance(value, bool | int) else str(value)


_UNITS = ("mm", "um", "deg")
_WHERE = "the rest of the parts"


_CARRIED = ("a", "b", "kind", "force_n", "intended")
"""What is written of faces that touch; places and normal are for pictures."""

_CLOSES = ("seat", "share_closed", "gap_p95_um", "gap_worst_um")
"""What is written of how often a seat closes."""


def rest_dict(rest: Rest | None, write: Writing) -> dict[str, Any] | None:
    """Return the rest as plain values, rounded; None where it was not asked.

    Parameters
    ----------
    write : Writing
        How its sentences write quantities.

    Raises
    ------
    NotComputedError
        A number is infinite or not a number.
    """
    return None if rest is None else _record(rest, write)


def _record(thing: Any, write: Writing) -> dict[str, Any]:
    told: dict[str, Any] = {}
    for field in fields(thing):
        value = getattr(thing, field.name)
        if field.name == "order_outcome":
            told["order_says"] = "" if value is None else order_words(value, write)
        elif field.name == "unsettled":
            told["checked_say"] = settled_draws_words(value)
        elif field.name == "varied":
            told["faces_say"] = drawn_faces_words(value, thing.leaning)
        elif field.name != "leaning":
            told[field.name] = _rest_value(value, field.name, write)
    return told


def _rest_value(value: Any, name: str, write: Writing) -> Any:
    """Return one field as JSON holds it; the unit is the end of its name."""
    if isinstance(value, TargetMoves):
        moves = {seat: rounded(v, "share", _WHERE) for seat, v in value.by_seat}
        return {"target": value.target, "um_per_um": moves, "located": value.located}
    if isinstance(value, LoadedContact | SeatChance):
        names = _CARRIED if isinstance(value, LoadedContact) else _CLOSES
        return {n: _rest_value(getattr(value, n), n, write) for n in names}
    if isinstance(value, Freedom):
        return f"{value.body} {freedom_words(value, write)}"
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        unit = name.rsplit("_", 1)[-1]
        return rounded(value, unit if unit in _UNITS else "share", _WHERE)
    if isinstance(value, tuple):
        return [_rest_value(v, name, write) for v in value]
    return _record(value, write)


_DIRECTION_DECIMALS = 9


def result_json(result: Result) -> bytes:
    """Return result.json of a result.

    Raises
    ------
    NotComputedError
        A number in the result is infinite or not a number.
    """
    return json_text(result_dict(result)).encode()


def json_text(data: Mapping[str, Any]) -> str:
    """Return plain values as the text of a JSON file, without numbers that are none."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def made_by() -> dict[str, str]:
    """Return what wrote a result: this program and the geometry kernel, with their versions."""
    return {
        "name": "fixturecheck",
        "version": version("fixturecheck"),
        "kernel": f"cadquery-ocp {version('cadquery-ocp')}",
    }


def result_dict(result: Result) -> dict[str, Any]:
    """Return a result as plain values, sorted and rounded, in the shape of the JSON Schema.

    Findings come in the order of the checks, then by `Finding.place`; contacts by faces, kind and place.
    """
    ranks = {name: i for i, name in reversed(list(enumerate(f.check for f in result.findings)))}
    found = result.findings
    order = sorted(range(len(found)), key=lambda i: (ranks[found[i].check], found[i].place))
    places = {old: new for new, old in enumerate(order)}
    contacts = [_contact(c) for c in result.contacts]
    contacts.sort(key=lambda c: (c["a"], c["b"], c["kind"], c["centroid"], c["normal"]))
    write = Writing(units=result.shown_in)
    first = result.sources[:1]
    others = sorted(result.sources[1:], key=lambda s: s.path)
    return {
        "schema": SCHEMA_VERSION,
        "verdict": str(result.verdict),
        "tool": made_by(),
        "setup": {
            "name": result.name,
            "file": first[0].path if first else "",
            "units": result.units,
            "sources": [{"path": s.path, "sha256": s.sha256} for s in (*first, *others)],
        },
        "findings": [finding_dict(found[i]) for i in order],
        "groups": _groups(result.groups, places),
        "contacts": contacts,
        "cuts": [_cut(c) for c in result.cuts],
        "dials": [_plain_record(d) for d in result.dials],
        "offsets": [_plain_record(o) for o in result.offsets],
        "rest": rest_dict(result.rest, write),
        "holding": hold_dict(result.holding, write),
        "hardening": hardening_dict(result.hardening),
        "touching": touching_dict(result.touching),
        "not_asked": [_not_asked(n) for n in result.not_asked],
        "assumed": [_assumed(a) for a in result.assumed],
        "stated": [
            {"of": s.of, "about": list(s.about), "key": s.key, "value": s.value} for s in result.stated
        ],
        "bodies": [_body(b) for b in result.bodies],
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
        "guessed": value.guessed,
    }


def _body(body: BodyDrawn) -> dict[str, Any]:
    where = f"body {body.name}"
    return {
        "name": body.name,
        "role": body.role,
        "volume_mm3": rounded(body.volume_mm3, "mm3", where),
        "centre_mm": _vector(body.centre_mm, "mm", where),
        "size_mm": _vector(body.size_mm, "mm", where),
        "at": [round(v, _DIRECTION_DECIMALS) + 0.0 for v in body.at],
        "faces": [
            {
                "name": f.name,
                "kind": f.kind,
                "area_mm2": rounded(f.area_mm2, "mm2", where),
                "centre_mm": _vector(f.centre_mm, "mm", where),
                "normal": _vector(f.normal, "", where),
            }
            for f in body.faces
        ],
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


def finding_dict(finding: Finding) -> dict[str, Any]:
    """Return a finding as plain values."""
    where = f"{finding.check} of {finding.subject}"
    origin = finding.origin
    return {
        "id": finding.id,
        "check": finding.check,
        "verdict": str(finding.verdict),
        "subject": finding.subject,
        "kind": finding.kind or "",
        "asks": finding.asks or "",
        "about": list(finding.about),
        "cut": finding.cut,
        "named": finding.named,
        "origin": None if origin is None else {"file": origin.file, "line": origin.line},
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
