"""Refuses numbers and words in the records of a set-up that their keys do not take."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any

from fixturecheck.allowed import allowed_in, shortened
from fixturecheck.errors import SetupError
from fixturecheck.kernel.place import is_finite
from fixturecheck.setup.entries import LEAN_MM, ZONE_MM

if TYPE_CHECKING:
    from fixturecheck.setup.model import Body, Setup


def refuse_bad_numbers(setup: Setup) -> None:
    """Raise for the first number or word in a set-up that its key does not take.

    Raises
    ------
    SetupError
        Names what the value belongs to, the field, the value and what may stand there.
    """
    for where, record in _records(setup):
        if not is_dataclass(record):
            message = (
                f"{where}: a {type(record).__name__} was given where the set-up needs its own kind of object"
            )
            raise SetupError(message)
        refuse_bad_record(record, where)
    for body in setup.bodies:
        _refuse_bad_body(body)


def refuse_bad_record(record: Any, where: str) -> None:
    """Raise for the first field of a data class whose value is out of its range or none of its words.

    Parameters
    ----------
    record : object
        A data class whose fields say what they take.
    where : str
        What the record is called in the message.

    Raises
    ------
    SetupError
        Names the field, the value and what may stand there.
    """
    for field in fields(record):
        value, rule = getattr(record, field.name), allowed_in(field)
        if rule is None or (value is None and field.default is None):
            continue
        if str(field.type) == "bool":
            flaw = None if isinstance(value, bool) else f"must be true or false; got {shortened(value)}"
        else:
            flaw = rule.flaw_of(value)
        if str(field.type) == "int" and not isinstance(value, int):
            flaw = f"must be a whole number; got {shortened(value)}"
        if flaw:
            message = f"{where}, {field.name}: {flaw}"
            raise SetupError(message)


def _refuse_bad_body(body: Body) -> None:
    """Refuse tolerances and a place that are no numbers, or out of all proportion."""
    for name, rule, by_face in (
        ("tolerance_mm", ZONE_MM, body.tolerance_mm),
        ("orientation_mm", LEAN_MM, body.orientation_mm),
    ):
        for face, value in by_face.items():
            flaw = rule.flaw_of(value)
            if flaw:
                message = f"body {body.name!r}, {name} of {face!r}: {flaw}"
                raise SetupError(message)
    if not is_finite(body.at):
        message = f"body {body.name!r}, at: its place is not made of finite numbers"
        raise SetupError(message)


def _records(setup: Setup) -> Iterator[tuple[str, Any]]:
    """Yield every record with fields of its own, and what to call it."""
    yield "machine", setup.machine
    yield "wheel", setup.wheel
    yield "tolerances", setup.tolerances
    for seat in setup.seats:
        yield f"seat of {seat.body!r} on {seat.on!r}", seat
    for cut in setup.cuts:
        yield f"cut {cut.name!r}", cut
    if is_dataclass(setup.machine):
        yield "flange", setup.machine.flange
        if setup.machine.guard is not None:
            yield "guard", setup.machine.guard
    yield "relief", setup.relief
    yield from _held_and_staged(setup)


def _held_and_staged(setup: Setup) -> Iterator[tuple[str, Any]]:
    """Yield the records of what holds the parts, and of how they are put in place."""
    if setup.holding is not None:
        yield "holding", setup.holding
        for clamp in getattr(setup.holding, "clamps", ()):
            yield f"clamp {getattr(clamp, 'name', clamp)!r}", clamp
        for mill in getattr(setup.holding, "milling", ()):
            yield f"mill {getattr(mill, 'name', mill)!r}", mill
    if setup.staging is not None:
        yield "staging", setup.staging
        pushes = getattr(setup.staging, "push", {})
        for name, push in pushes.items():
            yield f"staging, push of {name!r}", push
        for press in getattr(setup.staging, "press", ()):
            yield f"staging, press on {getattr(press, 'part', press)!r}", press
