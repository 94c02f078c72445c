"""The tables of a set-up: which there are, the data class of each, and which of them has a key."""

from __future__ import annotations

from collections.abc import Mapping

from fixturecheck.fields import own_fields
from fixturecheck.setup.dials import Dials, Handwheel, Squaring, Transfer
from fixturecheck.setup.hardening import FunctionalSize, Hardening
from fixturecheck.setup.holding import Clamp, Holding, Milling
from fixturecheck.setup.records import (
    BodyEntry,
    BodySeat,
    Cut,
    EquipmentEntry,
    HeadEntry,
    Machine,
    OverRolls,
    Relieving,
    Seat,
)
from fixturecheck.setup.staging import Press, Push, Staging
from fixturecheck.setup.tools import Drilling, EndMilling, MillMove
from fixturecheck.shop.tables import Finish, Material
from fixturecheck.shop.wheels import Flange, Guard, Wheel
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import inch_key

RECORDS: Mapping[str, type] = {
    "setup": HeadEntry,
    "machine": Machine,
    "machine.flange": Flange,
    "machine.guard": Guard,
    "machine.downfeed": Handwheel,
    "machine.cross_feed": Handwheel,
    "wheel": Wheel,
    "equipment": EquipmentEntry,
    "body": BodyEntry,
    "body.seats": BodySeat,
    "seat": Seat,
    "cut": Cut,
    "drill": Drilling,
    "end_mill": EndMilling,
    "end_mill.moves": MillMove,
    "staging": Staging,
    "staging.push": Push,
    "staging.press": Press,
    "holding": Holding,
    "clamp": Clamp,
    "mill": Milling,
    "hardening": Hardening,
    "hardening.sizes": FunctionalSize,
    "relief": Relieving,
    "dials": Dials,
    "transfer": Transfer,
    "square": Squaring,
    "over_rolls": OverRolls,
    "tolerances": Tolerances,
    "material": Material,
    "finish": Finish,
}
"""The tables in the order in which somebody writes them; a dot leads to a table within a table."""

BY_OTHER_KEYS = {
    "machine": ("flange", "guard", "downfeed", "cross_feed"),
    "body": ("seats",),
    "staging": ("push", "press"),
    "holding": ("clamps", "milling"),
    "hardening": ("sizes",),
    "end_mill": ("moves",),
}
"""Fields that are stated as tables of their own."""

SINGLE = (
    "setup", "machine", "wheel", "tolerances", "severity", "staging", "relief", "holding", "dials",
    "hardening", "leave_mm", "downfeed", "cross_feed", "flange", "guard", "push", "faces", "params",
    "grinds_as", "curves_between",
)  # fmt: skip
"""Tables that there is one of, at the top or in another; the rest are lists, written `[[cut]]`."""

LISTS = (
    "equipment", "body", "seat", "cut", "drill", "end_mill", "clamp", "mill", "transfer", "square",
    "over_rolls", "material", "finish",
)  # fmt: skip

ALL = (
    "setup",
    "machine",
    "wheel",
    "tolerances",
    "severity",
    "staging",
    "relief",
    "holding",
    "hardening",
    "dials",
    *LISTS,
)
"""What may stand at the top of a set-up."""


def is_single(table: str) -> bool:
    """Tell whether there is one table of a name, at the top or in another: `[wheel]`, not `[[cut]]`.

    Parameters
    ----------
    table : str
        As in `RECORDS`.

    Returns
    -------
    bool
        False of a list.
    """
    return table in {*SINGLE, *(f"{home}.{inner}" for home in BY_OTHER_KEYS for inner in SINGLE)}


def homes_of(key: str) -> list[str]:
    """Return the tables that have a key, in metric units or in inches, in their order.

    Parameters
    ----------
    key : str
        The key.

    Returns
    -------
    list of str
        As in `RECORDS`.
    """
    return [
        table
        for table, record in RECORDS.items()
        if any(key in {field.name, inch_key(field.name)} for field in own_fields(record))
    ]


_MOST_HOMES = 3
"""A key of more tables than these says nothing about where it was meant."""


def home_words(key: str) -> str:
    """Return which tables a key belongs to, in words; empty where there is none or where there are many.

    Parameters
    ----------
    key : str
        The key.

    Returns
    -------
    str
        `rpm is a key of [machine]`.
    """
    homes = [f"[{one}]" if is_single(one) else f"[[{one}]]" for one in homes_of(key)]
    if not 0 < len(homes) <= _MOST_HOMES:
        return ""
    *others, last = homes
    before = ", ".join(others)
    return f"{key} is a key of {before}{' and ' if before else ''}{last}"
