"""Materials, finishes, wheels and the machine of the user's own, from a set-up or from a file of the shop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.mistakes import Mistakes
from fixturecheck.setup.document import read_document, twins
from fixturecheck.setup.machine import machine_stated, wheel_stated
from fixturecheck.setup.records import Machine
from fixturecheck.setup.stated import Stated
from fixturecheck.setup.words import allowed_name
from fixturecheck.shop.nearest import nearest
from fixturecheck.shop.tables import Finish, Material, Own, among_ours, refuse_bad_own
from fixturecheck.shop.wheels import Wheel

SHOP_TABLES = ("material", "finish", "wheel", "machine")
"""What may stand in a file of the shop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnShop:
    """What a file of the shop states.

    Parameters
    ----------
    path : Path
        The file.
    own : Own
        Its materials and finishes; hand them to `Setup(own=...)`.
    wheels : mapping of str to Wheel
        Its wheels by their names.
    machine : Machine
        Its machine; what it does not state has the usual defaults.
    """

    path: Path
    own: Own
    wheels: Mapping[str, Wheel]
    machine: Machine
    tables: Mapping[str, Any] = field(default_factory=dict, repr=False)


def own_shop(path: str | Path) -> OwnShop:
    """Read a file of the shop.

    Parameters
    ----------
    path : str or Path
        A TOML file with `[[material]]`, `[[finish]]`, `[[wheel]]` and `[machine]`.

    Raises
    ------
    SetupError
        It cannot be read, or something in it is wrong: every mistake with its line.
    """
    file = Path(path)
    facts = read_document(file, {})
    wrong = Mistakes()
    with wrong.noted():
        facts.only(SHOP_TABLES)
    own = wrong.or_else(lambda: own_stated(facts), Own())
    wheels = wrong.each(wrong.or_else(lambda: facts.tables("wheel"), []), _named_wheel)
    machine = wrong.or_else(lambda: machine_stated(facts), Machine())
    wrong.raise_any()
    return OwnShop(path=file, own=own, wheels=dict(wheels), machine=machine, tables=facts.values)


def own_stated(facts: Stated, more: Own | None = None) -> Own:
    """Return the materials and finishes that tables state, and those of a file of the shop.

    Raises
    ------
    SetupError
        A row of them cannot be; all that is wrong is told.
    """
    wrong = Mistakes()
    own = Own(
        materials=wrong.each(facts.tables("material"), lambda row: row.record(Material)),
        finishes=wrong.each(facts.tables("finish"), lambda row: row.record(Finish)),
    )
    if more is not None:
        own = Own(materials=own.materials + more.materials, finishes=own.finishes + more.finishes)
    names = [("material", row.name) for row in own.materials] + [("finish", row.name) for row in own.finishes]
    for kind, name in names:
        try:
            allowed_name(name, f"{kind} {name!r}")
        except SetupError as reason:
            wrong.add(f"{facts.where((kind,))}: {reason}")
    try:
        with among_ours(own):
            refuse_bad_own(own)
    except SetupError as reason:
        for line in reason.problems:
            wrong.add(f"{facts.where(())}: {line}")
    wrong.raise_any()
    return own


def with_shop(facts: Stated, shop: OwnShop) -> Stated:
    """Return the tables of a set-up with the wheel that it names, and the machine, of the shop under its own.

    Raises
    ------
    SetupError
        The shop has no wheel of the name.
    """
    values = dict(facts.values)
    wheel = values.get("wheel")
    if isinstance(wheel, Mapping) and isinstance(wheel.get("name"), str):
        rows = {row["name"]: row for row in shop.tables.get("wheel", ())}
        if wheel["name"] not in rows:
            near = nearest(wheel["name"], rows)
            facts.table("wheel").fail(f"{shop.path.name} has no wheel {wheel['name']!r}; {near}", "name")
        merged = _under(rows[wheel["name"]], wheel)
        values["wheel"] = {key: value for key, value in merged.items() if key != "name"}
    machine = values.get("machine", {})
    if isinstance(machine, Mapping) and "machine" in shop.tables:
        values["machine"] = _under(shop.tables["machine"], machine)
    return replace(facts, values=values)


def _under(base: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table with another's values over it; a quantity in other units replaces its twin."""
    merged = dict(base)
    for key, value in over.items():
        for twin in twins(key):
            merged.pop(twin, None)
        both = isinstance(value, Mapping) and isinstance(merged.get(key), Mapping)
        merged[key] = _under(merged[key], value) if both else value
    return merged


def _named_wheel(entry: Stated) -> tuple[str, Wheel]:
    """Return a wheel of the shop with its name."""
    name: str = entry.need("name", "text")
    sizes = {key: value for key, value in entry.values.items() if key != "name"}
    return name, wheel_stated(replace(entry, values=sizes))
