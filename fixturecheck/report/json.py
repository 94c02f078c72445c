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
from fixturecheck.result.finding import Finding, Group
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

    Returns
    -------
    float
        In `unit`.

    Raises
    ------
    NotComputedError
        The value is infinite or not a number.
    """
    if not math.isfinite(value):
        raise NotComputedError(f"a number in {where} came out as {value}")
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
    writers : mapping of type to callable
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
    return json_number(value, _unit_of(name), name or "the result")


def _unit_of(name: str) -> str:
    return name.rsplit("_", 1)[-1] if name.isidentifier() else ""


def _to_three_digits(value: float, name: str) -> float:
    """Round a number of the hold; what is nothing but rounding is shown as nothing."""
    if not math.isfinite(value):
        raise NotComputedError(f"a number of the hold, {name}, came out as {value}")
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

_DIRECTIONS = {"normal", "direction", "at"}
_DIRECTION_DECIMALS = 9


def as_plain(thing: Any, where: str = "the result") -> dict[str, Any]:
    """Return what was drawn or found as plain values, rounded.

    Parameters
    ----------
    thing : Finding, Contact, CutMade, BodyDrawn or another data class
        Written field by field, but for the first three.
    where : str
        What it is, for the message about a number that is none.

    Returns
    -------
    dict
        A key for each field.

    Raises
    ------
    NotComputedError
        A number in it is infinite or not a number.
    """

    def number(value: float, name: str) -> float:
        rounded = json_number(value, _unit_of(name), where)
        return round(float(value), _DIRECTION_DECIMALS) + 0.0 if name in _DIRECTIONS else rounded

    return dict(_Plain({Finding: _finding, Contact: _contact, CutMade: _cut}, number)(thing))


def _finding(finding: Finding) -> Record:
    """Return a finding; its own numbers are in its unit."""
    where = f"{finding.check} of {finding.subject}"
    own = {name: getattr(finding, name) for name in ("value", "limit", "margin")}
    own = {k: None if v is None else json_number(v, finding.unit, where) for k, v in own.items()}
    shapes = tuple(sorted({s.name for s in finding.shapes}))
    return _record(finding, kind=finding.kind or "", asks=finding.asks or "", shapes=shapes) | own


def _contact(contact: Contact) -> Record:
    ends = {"min": contact.gap_min_um, "mean": contact.gap_mean_um, "max": contact.gap_max_um}
    where = f"contact {contact.a} to {contact.b}"
    return {
        "a": contact.a,
        "b": contact.b,
        "kind": contact.kind,
        "area_mm2": contact.area_mm2,
        "length_mm": contact.length_mm,
        "gap_um": {end: json_number(gap_um, "um", where) for end, gap_um in ends.items()},
        "normal": contact.normal,
        "centroid": contact.centroid,
        "error_um": contact.error_um,
    }


def _cut(cut: CutMade) -> Record:
    return _record(cut, without=("path", "tip_mm"), faces=tuple(sorted(cut.faces, key=lambda f: f.face)))


def result_json(result: Result) -> bytes:
    """Return result.json of a result.

    Parameters
    ----------
    result : Result
        What was found.

    Returns
    -------
    bytes
        JSON in UTF-8.

    Raises
    ------
    NotComputedError
        A number in the result is infinite or not a number.
    """
    return json_text(result_dict(result)).encode()


def json_text(data: Mapping[str, Any]) -> str:
    """Return plain values as the text of a JSON file; nan and infinity are refused.

    Parameters
    ----------
    data : mapping
        Values that JSON can hold.

    Returns
    -------
    str
        Ended by a line break.

    Raises
    ------
    ValueError
        A number is infinite or not a number.
    """
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def made_by() -> dict[str, str]:
    """Return what wrote a result: this program and the geometry kernel, with their versions.

    Returns
    -------
    dict of str to str
        `name`, `version` and `kernel`.
    """
    return {
        "name": "fixturecheck",
        "version": version("fixturecheck"),
        "kernel": f"cadquery-ocp {version('cadquery-ocp')}",
    }


def result_dict(result: Result) -> dict[str, Any]:
    """Return a result as plain values, sorted and rounded, in the shape of the JSON Schema.

    Findings come in the order of the checks, then by `Finding.place`; contacts by faces, kind and place.

    Parameters
    ----------
    result : Result
        What was found.

    Returns
    -------
    dict
        Values that JSON can hold.

    Raises
    ------
    NotComputedError
        A number in the result is infinite or not a number.
    """
    ranks = {name: i for i, name in reversed(list(enumerate(f.check for f in result.findings)))}
    found = result.findings
    order = sorted(range(len(found)), key=lambda i: (ranks[found[i].check], found[i].place))
    places = {old: new for new, old in enumerate(order)}
    contacts = [as_plain(c, f"contact {c.a} to {c.b}") for c in result.contacts]
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
            "sources": [as_plain(s) for s in (*first, *others)],
        },
        "findings": [finding_dict(found[i]) for i in order],
        "groups": _groups(result.groups, places),
        "contacts": contacts,
        "cuts": [as_plain(c, f"cut {c.name}") for c in result.cuts],
        "dials": _AS_FOUND(result.dials),
        "offsets": _AS_FOUND(result.offsets),
        "rest": _rest_writer(write)(result.rest),
        "holding": _hold_writer(write)(result.holding),
        "hardening": _AS_FOUND(result.hardening),
        "touching": _AS_FOUND(result.touching),
        "not_asked": [as_plain(n) for n in result.not_asked],
        "assumed": [_assumed(a) for a in result.assumed],
        "stated": [_record(s, about=list(s.about)) for s in result.stated],
        "bodies": [as_plain(b, f"body {b.name}") for b in result.bodies],
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


def _assumed(value: Assumed) -> Record:
    number = isinstance(value.value, int | float) and not isinstance(value.value, bool)
    stated = float(f"{value.value:.9g}") if number else value.value
    return _record(value, without=("aside",), value=stated)


def finding_dict(finding: Finding) -> Record:
    """Return a finding as plain values.

    Parameters
    ----------
    finding : Finding
        A finding of a set-up or of a job.

    Returns
    -------
    dict
        Values that JSON can hold.

    Raises
    ------
    NotComputedError
        A number of the finding is infinite or not a number.
    """
    return as_plain(finding, f"{finding.check} of {finding.subject}")
