"""How a result becomes result.json: rounded and ordered so that the same input gives the same bytes."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import fields, is_dataclass
from importlib.metadata import version
from typing import Any

from fixturecheck.errors import NotComputedError
from fixturecheck.result import Assumed, Result
from fixturecheck.result.contact import Contact, CutMade
from fixturecheck.result.finding import Finding, Group, NotAsked
from fixturecheck.result.hold import BodyMotion, CutCase, HoldFound, HoldLoss, KeptFixture, PartHeld, PullNote
from fixturecheck.result.release import BodyLeaves, Burr, OffWay, PryAt
from fixturecheck.result.remedy import Remedy, RemedyUnknown
from fixturecheck.result.rest import (
    Freedom,
    LoadedContact,
    PartLocation,
    Rest,
    SeatGap,
    SeatTakes,
    TargetMoves,
)
from fixturecheck.result.shapes import BodyDrawn, Vector
from fixturecheck.result.stored import SCHEMA_VERSION
from fixturecheck.result.tolerance import Chances, SeatChance, TargetSpread
from fixturecheck.units import Writing
from fixturecheck.wording.hold import (
    burr_words,
    case_words,
    first_words,
    kept_words,
    loss_words,
    magnet_words,
    note_words,
    past_words,
    pry_words,
    way_words,
)
from fixturecheck.wording.motion import (
    drawn_faces_words,
    freedom_words,
    lets_go_words,
    order_words,
    settled_draws_words,
    settled_words,
)
from fixturecheck.wording.remedies import remedy_words
from fixturecheck.wording.sentences import capitalised

_DIGITS = 9
_DECIMALS = {"mm": 6, "um": 3, "mm2": 4, "mm3": 6, "deg": 6, "m/s": 6, "share": 6}


def json_number(value: float, unit: str, where: str = "the result") -> float:
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

_NO_MORE = 1e-6
"""A number of the hold below this is nothing but rounding."""

Record = dict[str, Any]
"""A record with the names of its keys in JSON; values of any kind."""


class _Plain:
    """Turns records into plain values: a table for a data class, a list for a tuple, rounded numbers.

    Parameters
    ----------
    told : mapping of type to callable
        How a record of a type is written that is not written field by field: as a `Record`, or as a sentence.
    number : callable
        Rounds a number; it is given the name of the field, whose end is the unit.
    """

    def __init__(
        self, writers: Mapping[type, Callable[[Any], Any]], number: Callable[[float, str], float]
    ) -> None:
        self._writers, self._number = writers, number

    def __call__(self, value: Any, name: str = "") -> Any:
        """Return a value as JSON holds it."""
        tell = next((tell for kind, tell in self._writers.items() if isinstance(value, kind)), None)
        if tell is not None:
            value = tell(value)
        elif is_dataclass(value) and not isinstance(value, type):
            value = _record(value)
        if isinstance(value, float):
            return self._number(value, name)
        if isinstance(value, tuple):
            return [self(v, name) for v in value]
        if isinstance(value, dict):
            return {key: self(v, key) for key, v in value.items()}
        return value if value is None or isinstance(value, bool | int) else str(value)


def _record(thing: Any, without: Collection[str] = (), **instead: Any) -> Record:
    """Return the fields of a record by their names, some left out, some with another value."""
    kept = {f.name: getattr(thing, f.name) for f in fields(thing) if f.name not in without}
    return kept | instead


def _by_unit(value: float, name: str) -> float:
    """Round a number by the unit at the end of its field's name."""
    unit = name.rsplit("_", 1)[-1] if name.isidentifier() else ""
    return json_number(value, unit if unit in _DECIMALS else "share", name or "the result")


def _to_three_digits(value: float, name: str) -> float:
    """Round a number of the hold; what is nothing but rounding is shown as nothing."""
    if not math.isfinite(value):
        message = f"a number of the hold, {name}, came out as {value}"
        raise NotComputedError(message)
    return float(f"{value:.{_HOLD_DIGITS}g}") if abs(value) > _NO_MORE else 0.0


def _hold_writer(write: Writing) -> _Plain:
    """Return what writes a hold; pictures alone need maps and section, which are thousands of points."""
    return _Plain(
        {
            HoldFound: lambda hold: _record(
                hold,
                without=("maps", "section"),
                magnet=magnet_words(hold.magnet, write),
                before=capitalised(first_words(hold.before)) if hold.before else "",
            ),
            PullNote: lambda note: note_words(note, write),
            RemedyUnknown: lambda note: note_words(note, write),
            KeptFixture: lambda kept: (kept.body, kept_words(kept)),
            Burr: burr_words,
            BodyLeaves: lambda body: {
                "body": body.body,
                "residual_n": body.residual_n,
                "ways": body.ways,
                "pry": body.pry,
                "demagnetise": body.demagnetise,
            },
            OffWay: lambda way: way_words(way, write),
            PryAt: lambda pry: pry_words(pry, write),
            PartHeld: lambda part: _part_held(part, write),
            CutCase: lambda case: case_words(case, write),
            HoldLoss: lambda loss: {
                "lost": loss_words(loss.lost),
                "factor": loss.factor,
                "says": lets_go_words(loss.failure, write) if loss.failure else loss.reason,
            },
            Remedy: lambda remedy: remedy_words(remedy, write),
            BodyMotion: lambda motion: {
                "body": motion.body,
                "at_mm": motion.at_mm,
                "velocity": motion.velocity,
                "turn_rad_mm": motion.rotation_rad_mm,
            },
        },
        _to_three_digits,
    )


def _part_held(part: PartHeld, write: Writing) -> Record:
    """Return one part's hold, with the sentences made of its data."""
    return _record(
        part,
        without=("failure", "over", "tips_over"),
        at_least=part.at_least,
        says=lets_go_words(part.failure, write),
        goes=part.goes,
        motion_at_mm=part.motions[0].at_mm if part.motions else None,
        outcome=str(part.outcome or ""),
        moves=part.motions,
        past=past_words(part),
    )


def _rest_writer(write: Writing) -> _Plain:
    """Return what writes the rest; where faces touch, and how, is for pictures."""
    return _Plain(
        {
            Rest: lambda rest: _rest(rest, write),
            SeatGap: lambda gap: {
                "seat": gap.name,
                "gap_min_um": _if_finite(gap.gap_min_um),
                "gap_max_um": _if_finite(gap.gap_max_um),
                "closed": gap.closed,
                "force_n": gap.force_n,
            },
            Chances: lambda chances: {
                "draws": chances.draws,
                "seed": chances.seed,
                "checked_um": chances.checked_um,
                "checked_say": settled_draws_words(chances.unsettled),
                "faces_say": drawn_faces_words(len(chances.faces), chances.leaning),
                "seats": chances.seats,
                "wrong": chances.wrong,
                "targets": chances.targets,
            },
            TargetSpread: lambda spread: (
                {"target": spread.place.name}
                | _record(
                    spread,
                    without=("place", "of_zones", "corners", "share_beyond", "share_by_face", "lean_by_face"),
                )
            ),
            SeatTakes: lambda seat: {
                "seat": seat.role.name,
                "rank": seat.rank,
                "takes": seat.role.takes,
                "wants": seat.role.wants,
                "fights": seat.role.fights,
            },
            PartLocation: lambda part: _record(part, without=("closing",)),
            TargetMoves: lambda moves: {
                "target": moves.place.name,
                "um_per_um": dict(moves.by_seat),
                "located": moves.located,
            },
            LoadedContact: lambda contact: _record(contact, without=("normal", "points_mm")),
            SeatChance: lambda chance: {
                "seat": chance.seat,
                "share_closed": chance.share_closed,
                "gap_p95_um": _if_finite(chance.gap_p95_um),
                "gap_worst_um": _if_finite(chance.gap_worst_um),
            },
            Freedom: lambda freedom: f"{freedom.body} {freedom_words(freedom, write)}",
        },
        _by_unit,
    )


def _rest(rest: Rest, write: Writing) -> Record:
    """Return where the parts rest, each with its seats and what it is free to do."""
    settled = rest.settled
    return {
        "ending": settled.ending,
        "says": settled_words(settled, write),
        "order": rest.order,
        "residual_um": _if_finite(settled.residual_um),
        "steps": settled.steps,
        "error_um": settled.error_um,
        "order_says": order_words(rest.order_outcome, write) if rest.order_outcome else "",
        "parts": tuple(
            {
                "body": pose.body,
                "shift_mm": pose.shift_mm,
                "turn_deg": pose.turn_deg,
                "seats": rest.seats_of(pose.body),
                "free": rest.freedoms_of(pose.body),
            }
            for pose in rest.poses
        ),
        "carried": settled.carried,
        "location": rest.location,
        "chances": rest.chances,
        "ways_in": rest.ways_in,
    }


def _if_finite(number: float) -> float | None:
    """Return a number, or None for infinity, which stands for a number that does not exist."""
    return number if math.isfinite(number) else None


_AS_FOUND = _Plain(
    {
        Freedom: lambda freedom: {
            "kind": freedom.kind,
            "axis": freedom.axis,
            "point_mm": freedom.point_mm,
            "low": _if_finite(freedom.low),
            "high": _if_finite(freedom.high),
        }
    },
    _by_unit,
)
"""Writes a record field by field; a motion that nothing ends has null for that end."""

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
    """Return plain values as the text of a JSON file; nan and infinity are refused."""
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
        "dials": _AS_FOUND(result.dials),
        "offsets": _AS_FOUND(result.offsets),
        "rest": _rest_writer(write)(result.rest),
        "holding": _hold_writer(write)(result.holding),
        "hardening": _AS_FOUND(result.hardening),
        "touching": _AS_FOUND(result.touching),
        "not_asked": [_not_asked(n) for n in result.not_asked],
        "assumed": [_assumed(a) for a in result.assumed],
        "stated": [
            {"of": s.of, "about": list(s.about), "key": s.key, "value": s.value} for s in result.stated
        ],
        "bodies": [_body(b) for b in result.bodies],
    }


def _groups(groups: Sequence[Group], places: Mapping[int, int]) -> list[dict[str, Any]]:
    """Return groups that name findings by their place in the list as written."""
    written: list[dict[str, Any]] = [
        {
            "lead": places[group.lead],
            "like": sorted(places[i] for i in group.like),
            "follows": _groups(group.follows, places),
        }
        for group in groups
    ]
    return sorted(written, key=lambda g: min(g["lead"], *g["like"], g["lead"]))


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
        "volume_mm3": json_number(body.volume_mm3, "mm3", where),
        "centre_mm": _vector(body.centre_mm, "mm", where),
        "size_mm": _vector(body.size_mm, "mm", where),
        "at": [round(v, _DIRECTION_DECIMALS) + 0.0 for v in body.at],
        "faces": [
            {
                "name": f.name,
                "kind": f.kind,
                "area_mm2": json_number(f.area_mm2, "mm2", where),
                "centre_mm": _vector(f.centre_mm, "mm", where),
                "normal": _vector(f.normal, "", where),
            }
            for f in body.faces
        ],
    }


def _not_asked(question: NotAsked) -> dict[str, str]:
    return {"check": question.check, "reason": str(question.reason), "lacks": question.lacks}


def _optional(value: float | None, unit: str, where: str) -> float | None:
    return None if value is None else json_number(value, unit, where)


def _vector(vector: Vector | None, unit: str, where: str) -> list[float] | None:
    if vector is None:
        return None
    if unit:
        return [json_number(v, unit, where) for v in vector]
    for v in vector:
        json_number(v, "mm", where)
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
        "area_mm2": json_number(contact.area_mm2, "mm2", where),
        "length_mm": json_number(contact.length_mm, "mm", where),
        "gap_um": {
            "min": json_number(contact.gap_min_um, "um", where),
            "mean": json_number(contact.gap_mean_um, "um", where),
            "max": json_number(contact.gap_max_um, "um", where),
        },
        "normal": _vector(contact.normal, "", where),
        "centroid": _vector(contact.centroid, "mm", where),
        "error_um": json_number(contact.error_um, "um", where),
    }


def _cut(cut: CutMade) -> dict[str, Any]:
    where = f"cut {cut.name}"
    return {
        "name": cut.name,
        "removed_mm3": json_number(cut.removed_mm3, "mm3", where),
        "leftover_mm3": json_number(cut.leftover_mm3, "mm3", where),
        "gouge_mm3": json_number(cut.gouge_mm3, "mm3", where),
        "corner_radius_mm": _optional(cut.corner_radius_mm, "mm", where),
        "faces": [
            {"face": f.face, "share_made": json_number(f.share_made, "share", where)}
            for f in sorted(cut.faces, key=lambda f: f.face)
        ],
    }
