"""How the rest of the parts becomes a part of result.json."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from fixturecheck.report.rounding import rounded
from fixturecheck.result import Freedom, Rest, TargetMoves
from fixturecheck.units import Writing
from fixturecheck.wording.motion import freedom_words

_UNITS = ("mm", "um", "deg")
_WHERE = "the rest of the parts"


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
    return {f.name: _value(getattr(thing, f.name), f.name, write) for f in fields(thing)}


def _value(value: Any, name: str, write: Writing) -> Any:
    """Return one field as JSON holds it; the unit is the end of its name."""
    if isinstance(value, TargetMoves):
        moves = {seat: rounded(v, "share", _WHERE) for seat, v in value.by_seat}
        return {"target": value.target, "um_per_um": moves, "located": value.located}
    if isinstance(value, Freedom):
        return f"{value.body} {freedom_words(value, write)}"
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        unit = name.rsplit("_", 1)[-1]
        return rounded(value, unit if unit in _UNITS else "share", _WHERE)
    if isinstance(value, tuple):
        return [_value(v, name, write) for v in value]
    return _record(value, write)
