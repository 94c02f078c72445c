"""Reads the machine and the wheel from their tables."""

from __future__ import annotations

from fixturecheck.errors import SetupError
from fixturecheck.mistakes import Mistakes
from fixturecheck.setup.records import Machine
from fixturecheck.setup.stated import Stated
from fixturecheck.shop.wheels import Flange, Guard, Wheel, check_wheel


def machine_stated(facts: Stated) -> Machine:
    """Return the machine with its flange and guard; `guard = false` takes the guard off.

    Raises
    ------
    SetupError
        Something stated of them is wrong.
    """
    stated = facts.table("machine")
    wrong = Mistakes()
    guard: Guard | None = None
    with wrong.noted():
        if stated.get("guard", "table or false", {}) is not False:
            guard = stated.table("guard", "[machine.guard]").record(Guard)
    flange = wrong.or_else(lambda: stated.table("flange", "[machine.flange]").record(Flange), Flange())
    machine = wrong.or_else(
        lambda: stated.record(Machine, besides={"flange": flange, "guard": guard}), Machine()
    )
    wrong.raise_any()
    return machine


def wheel_stated(stated: Stated) -> Wheel:
    """Return the wheel that a table states, its sizes fitting its shape.

    Raises
    ------
    SetupError
        A size is wrong, or they make no wheel.
    """
    wheel = stated.record(Wheel)
    try:
        check_wheel(wheel)
    except SetupError as reason:
        stated.fail(str(reason))
    return wheel
