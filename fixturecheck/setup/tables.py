"""Which tables a set-up may have, and the data class whose fields are the keys of each."""

from __future__ import annotations

from collections.abc import Mapping

from fixturecheck.setup.entries import BodyEntry, BodySeat, EquipmentEntry, HeadEntry
from fixturecheck.setup.holding import Clamp, Holding, Milling
from fixturecheck.setup.measurement import CalibrationHead, Measurement
from fixturecheck.setup.records import Cut, Machine, Relieving, Seat
from fixturecheck.setup.staging import Press, Push, Staging
from fixturecheck.shop.tables import Finish, Material
from fixturecheck.shop.wheels import Flange, Guard, Wheel
from fixturecheck.tolerances import Tolerances

RECORDS: Mapping[str, type] = {
    "setup": HeadEntry,
    "machine": Machine,
    "machine.flange": Flange,
    "machine.guard": Guard,
    "wheel": Wheel,
    "equipment": EquipmentEntry,
    "body": BodyEntry,
    "body.seats": BodySeat,
    "seat": Seat,
    "cut": Cut,
    "staging": Staging,
    "staging.push": Push,
    "staging.press": Press,
    "holding": Holding,
    "clamp": Clamp,
    "mill": Milling,
    "relief": Relieving,
    "tolerances": Tolerances,
    "material": Material,
    "finish": Finish,
}
"""The tables in the order in which somebody writes them; a dot leads to a table within a table."""

MEASURED: Mapping[str, type] = {"calibration": CalibrationHead, "measurement": Measurement}
"""The tables of a file of measurements, besides `[[equipment]]`."""

BY_OTHER_KEYS = {
    "machine": ("flange", "guard"),
    "body": ("seats",),
    "staging": ("push", "press"),
    "holding": ("clamps", "milling"),
}
"""Fields that are stated as tables of their own."""

SINGLE = (
    "setup", "machine", "wheel", "tolerances", "severity", "staging", "relief", "holding",
    "flange", "guard", "push", "faces", "params", "grinds_as", "curves_between",
)  # fmt: skip
"""Tables that there is one of, at the top or in another; the rest are lists, written `[[cut]]`."""

LISTS = ("equipment", "body", "seat", "cut", "clamp", "mill", "material", "finish")

ALL = ("setup", "machine", "wheel", "tolerances", "severity", "staging", "relief", "holding", *LISTS)
"""What may stand at the top of a set-up."""
