"""Refuses numbers that are none, or that no size, speed or share can have."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any

from fixturecheck.errors import SetupError

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup

_MAY_BE_ZERO = frozenset(
    {
        "stock_mm",
        "overtravel_mm",
        "least_clearance_mm",
        "corner_radius_mm",
        "radial_gap_mm",
        "side_gap_mm",
        "min_share",
        "mu",
        "spread_share",
        "helix_deg",
    }
)
"""Besides every field whose own default is zero."""

_ANY_SIGN = frozenset({"table_z_mm", "dressed_profile_mm", "at_mm", "inward", "feed"})
_AT_MOST = {
    "min_share": 1.0,
    "trifle_share": 1.0,
    "residual_share": 1.0,
    "spread_share": 0.9,
    "opening_deg": 360.0,
}


def refuse_bad_numbers(setup: Setup) -> None:
    """Raise for the first number in a set-up that is none, or has a sign or size that it cannot have.

    Raises
    ------
    SetupError
        Names what the number belongs to, the field and the value.
    """
    for where, record in _records(setup):
        if not is_dataclass(record):
            message = (
                f"{where}: a {type(record).__name__} was given where the set-up needs its own kind of object"
            )
            raise SetupError(message)
        for field in fields(record):
            value = getattr(record, field.name)
            if "float" in str(field.type) and value is not None:
                may_be_zero = field.default == 0.0 or field.name in _MAY_BE_ZERO
                _refuse(value, field.name, f"{where}, {field.name}", may_be_zero=may_be_zero)
    for body in setup.bodies:
        for face, tolerance_mm in body.tolerance_mm.items():
            _refuse(tolerance_mm, "tolerance_mm", f"body {body.name!r}, tolerance_mm of {face!r}")
        if not all(math.isfinite(v) for column in body.at.toTuple() for v in column):
            message = f"body {body.name!r}, at: its place is not made of finite numbers"
            raise SetupError(message)


def _records(setup: Setup) -> Iterator[tuple[str, Any]]:
    """Yield every record with numbers in it, and what to call it."""
    yield "machine", setup.machine
    yield "wheel", setup.wheel
    yield "tolerances", setup.tolerances
    for seat in setup.seats:
        yield f"seat of {seat.body!r}", seat
    for cut in setup.cuts:
        yield f"cut {cut.name!r}", cut
    if is_dataclass(setup.holding):
        yield "holding", setup.holding
        for clamp in getattr(setup.holding, "clamps", ()):
            yield f"clamp {getattr(clamp, 'name', clamp)!r}", clamp
        for mill in getattr(setup.holding, "milling", ()):
            yield f"mill {getattr(mill, 'name', mill)!r}", mill
    if is_dataclass(setup.machine):
        yield "flange", setup.machine.flange
        if setup.machine.guard is not None:
            yield "guard", setup.machine.guard


def _refuse(value: object, name: str, where: str, *, may_be_zero: bool = False) -> None:
    """Raise when a value, or one of a nest of them, is not a number that the field can have."""
    for number in _flat(value):
        if isinstance(number, bool) or not isinstance(number, int | float):
            message = f"{where}: {number!r} is not a number"
            raise SetupError(message)
        if not math.isfinite(number):
            message = f"{where}: {number!r} is not finite; state a number"
            raise SetupError(message)
        if name in _ANY_SIGN:
            continue
        if number < 0.0 or (number == 0.0 and not may_be_zero):
            least = "zero or more" if may_be_zero else "more than zero"
            message = f"{where}: must be {least}; got {number:g}"
            raise SetupError(message)
        if number > _AT_MOST.get(name, math.inf):
            message = f"{where}: must be at most {_AT_MOST[name]:g}; got {number:g}"
            raise SetupError(message)


def _flat(value: object) -> Iterator[object]:
    """Yield the leaves of a nest of lists and tuples."""
    if isinstance(value, Iterable) and not isinstance(value, str):
        for item in value:
            yield from _flat(item)
    else:
        yield value
