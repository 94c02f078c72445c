"""A set-up read as text, so that mistakes are answered before the kernel loads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from fixturecheck.errors import Mistakes, SetupError, read_all
from fixturecheck.fields import shortened
from fixturecheck.names import CHECKS, SEVERITIES, allowed_name, nearest, one_of
from fixturecheck.setup.dials import Dials, Squaring, Transfer
from fixturecheck.setup.document import guesses, read_document, twins
from fixturecheck.setup.facts import BodyFacts, EquipmentFacts, body_facts, equipment_facts
from fixturecheck.setup.gangs import StatedPlacing, spread_out
from fixturecheck.setup.hardening import Hardening, refuse_bad_words
from fixturecheck.setup.holding import CalibratedChuck, Clamp, Holding, Milling
from fixturecheck.setup.reader import ALL, LISTS, Stated
from fixturecheck.setup.records import Cut, HeadEntry, Machine, OverRolls, Relieving, Seat
from fixturecheck.setup.staging import Staging
from fixturecheck.setup.tools import (
    Drilling,
    EndMilling,
    refuse_bad_words_of_drill,
    refuse_bad_words_of_end_mill,
)
from fixturecheck.shop.tables import Finish, Material, Own, among_ours, refuse_bad_own
from fixturecheck.shop.wheels import Guard, Wheel, check_wheel
from fixturecheck.tolerances import Tolerances

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

    Returns
    -------
    OwnShop
        With the tables as they were read.

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
    own = wrong.or_else(lambda: _own_stated(facts), Own())
    wheels = wrong.each(wrong.or_else(lambda: facts.tables("wheel"), []), _named_wheel)
    machine = wrong.or_else(lambda: _machine(facts), Machine())
    wrong.raise_any()
    return OwnShop(path=file, own=own, wheels=dict(wheels), machine=machine, tables=facts.values)


def _own_stated(facts: Stated, more: Own | None = None) -> Own:
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


def _with_shop(facts: Stated, shop: OwnShop) -> Stated:
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
    return name, _wheel(replace(entry, values=sizes))


MOST_HEAD = 200
"""Letters of the set-up's own name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedSetup:
    """What a set-up states, without its solids.

    Parameters
    ----------
    facts : Stated
        The tables that it was read from.
    own : Own
        Materials and finishes of the user's.
    equipment, bodies
        What becomes its bodies.
    rest : mapping of str to object
        What it states besides, by the fields of `Setup`.
    shop_file : Path or None
        The file of the shop that the set-up names.
    placings : tuple of StatedPlacing
        What is placed by its seats.
    """

    facts: Stated
    own: Own
    equipment: tuple[EquipmentFacts, ...]
    bodies: tuple[BodyFacts, ...]
    rest: Mapping[str, Any]
    shop_file: Path | None = None
    placings: tuple[StatedPlacing, ...] = ()


BodyReaders = Callable[[str], Sequence[Callable[[], BodyFacts]]]
"""Given the units of the set-up, returns what reads each body that is no equipment."""


def read_tables(
    facts: Stated,
    *,
    name: str,
    bodies: BodyReaders,
    more: Own | None = None,
    wrong: Mistakes,
    as_stated: Stated,
) -> StatedSetup:
    """Read the tables of a set-up.

    Parameters
    ----------
    facts : Stated
        The tables at the top.
    name : str
        What the set-up is called when it does not say.
    bodies : callable
        Given the units, returns what reads each body that is no equipment.
    more : Own, optional
        Materials and finishes of a file of the shop.
    wrong : Mistakes
        What was found wrong before; reported with the rest.
    as_stated : Stated
        The tables before gangs were spread out, which `guessed` speaks of.

    Returns
    -------
    StatedSetup
        Without the file of the shop and the placings.

    Raises
    ------
    SetupError
        Something stated cannot be used; every mistake that text shows is told, each with its place.
    """
    if "study" in facts.values:
        facts.fail("this is a study, not a set-up; `fixturecheck sweep` works it out", "study")
    with wrong.noted():
        facts.only(ALL)
    head = wrong.or_else(lambda: _head(facts), HeadEntry())
    own = wrong.or_else(lambda: _own_stated(facts, more), more or Own())
    with among_ours(own):
        pieces = {kind: wrong.or_else(partial(facts.tables, kind), []) for kind in LISTS if kind != "body"}
        before = len(wrong)
        equipment = wrong.each(pieces["equipment"], lambda e: equipment_facts(e, head.units))
        read = wrong.each(bodies(head.units), lambda one: one())
        all_read = len(wrong) == before
        rest = {
            "name": name if head.name is None else head.name,
            "units": head.units,
            "small_lengths": head.small_lengths,
            "seats": wrong.each(pieces["seat"], lambda s: s.record(Seat)),
            "cuts": wrong.each(pieces["cut"], _cut),
            "drills": wrong.each(pieces["drill"], _drill),
            "end_mills": wrong.each(pieces["end_mill"], _end_mill),
            "transfers": wrong.each(pieces["transfer"], lambda t: t.record(Transfer)),
            "over_rolls": wrong.each(pieces["over_rolls"], lambda o: o.record(OverRolls)),
            "squared": wrong.each(pieces["square"], lambda s: s.record(Squaring)),
            "guessed": wrong.or_else(lambda: guesses(as_stated, head.guessed), ()),
            **{field: wrong.or_else(partial(of, facts), None) for field, of in _SINGLE.items()},
        }
    for kind in ("equipment", "cut", "drill", "end_mill", "clamp", "mill", "transfer", "over_rolls"):
        _note_repeats(wrong, kind, ((e.values.get("name"), e) for e in pieces[kind]))
    _note_repeats(wrong, "body", ((b.name, b.entry) for b in read))
    if all_read:
        # Where a body could not be read, its name may be the one that is missed.
        _note_strangers(wrong, pieces, [b.name for b in read], [e.name for e in equipment])
    wrong.raise_any()
    return StatedSetup(facts=facts, own=own, equipment=equipment, bodies=read, rest=rest)


def _head(facts: Stated) -> HeadEntry:
    """Return the head, with a name that fits on one line of a report."""
    stated = facts.table("setup")
    head = stated.record(HeadEntry)
    name = head.name
    if name is not None and (not name.strip() or not name.isprintable() or len(name) > MOST_HEAD):
        stated.fail(f"name in [setup] must be at most {MOST_HEAD} printable characters on one line", "name")
    return head


def _cut(stated: Stated) -> Cut:
    return _named(stated, stated.record(Cut), "cut", "name")


def _drill(stated: Stated) -> Drilling:
    """Return a hole that a table states; its thread is known and its tool is short enough."""
    return _named(stated, stated.record(Drilling), "drill", refuse=refuse_bad_words_of_drill)


def _end_mill(stated: Stated) -> EndMilling:
    """Return a run of an end mill that a table states; its sizes make a cutter, its moves have places."""
    return _named(stated, stated.record(EndMilling), "end_mill", refuse=refuse_bad_words_of_end_mill)


_Named = TypeVar("_Named", Cut, Drilling, EndMilling)


def _named(
    stated: Stated,
    record: _Named,
    kind: str,
    key: str = "",
    refuse: Callable[[_Named], None] = lambda _: None,
) -> _Named:
    """Return what a table states once its name, and what else is asked of it, is allowed.

    Parameters
    ----------
    kind : str
        The table's kind, for the message.
    key : str
        The key that a wrong name is told of; empty for the table.
    refuse : callable
        Raises SetupError where what the table states does not go together.
    """
    try:
        allowed_name(record.name, f"{kind} {record.name!r}")
        refuse(record)
    except SetupError as reason:
        stated.fail(str(reason), *([key] if key else []))
    return record


def _severity(facts: Stated) -> dict[str, str]:
    """Return what the no-go of each check counts as."""
    stated = facts.table("severity")

    def level(check: str) -> str:
        if check not in CHECKS:
            stated.fail(f"severity of {check!r}: no check has this name; {nearest(check, CHECKS)}", check)
        word: str = stated.get(check, "text")
        try:
            one_of(word, SEVERITIES, f"severity of {check!r}")
        except SetupError as reason:
            stated.fail(str(reason), check)
        return word

    return dict(zip(stated.values, read_all(stated.values, level), strict=True))


def _note_repeats(wrong: Mistakes, kind: str, entries: Iterable[tuple[object, Stated]]) -> None:
    """Note every further entry of one name."""
    seen: set[str] = set()
    for name, entry in entries:
        if isinstance(name, str) and name in seen:
            with wrong.noted():
                entry.fail(f"{kind} {name!r} is stated more than once; each needs a name of its own", "name")
        if isinstance(name, str):
            seen.add(name)


def _note_strangers(
    wrong: Mistakes, pieces: Mapping[str, Sequence[Stated]], bodies: Sequence[str], equipment: Sequence[str]
) -> None:
    """Note bodies that seats and cuts name and that are not there; equipment's begin with its own name."""

    def refuse(entry: Stated, what: str, name: object) -> None:
        own = isinstance(name, str) and any(name.startswith(f"{e}_") for e in equipment)
        if isinstance(name, str) and name not in bodies and name not in equipment and not own:
            near = nearest(name, [*bodies, *equipment])
            entry.fail(f"{what}: no body is named {shortened(name)}; {near}")

    for entry in pieces["seat"]:
        on_what = f"seat of {entry.values.get('body')!r} on {entry.values.get('on')!r}"
        for key in ("body", "on"):
            with wrong.noted():
                refuse(entry, on_what, entry.values.get(key))
    for entry in pieces["cut"]:
        parts = entry.values.get("parts")
        for name in parts if isinstance(parts, list | tuple) else ():
            with wrong.noted():
                refuse(entry, f"cut {entry.values.get('name')!r}", name)


def _machine(facts: Stated) -> Machine:
    """Return the machine; `guard = false` takes its guard off."""
    stated = facts.table("machine")

    def guard() -> Guard | None:
        if stated.get("guard", "table or false") is False:
            return None
        return stated.table("guard", "[machine.guard]").record(Guard)

    return stated.record(Machine, readers={"guard": guard})


def _wheel(stated: Stated) -> Wheel:
    """Return the wheel that a table states, its sizes fitting its shape."""
    wheel = stated.record(Wheel)
    try:
        check_wheel(wheel)
    except SetupError as reason:
        stated.fail(str(reason))
    return wheel


def _holding(facts: Stated) -> Holding | None:
    """Return what `[holding]`, `[[clamp]]` and `[[mill]]` state; None where there is none of them."""
    if not {"holding", "clamp", "mill"} & set(facts.values):
        return None
    stated = facts.table("holding")
    wrong = Mistakes()
    besides = {
        "clamps": wrong.each(wrong.or_else(lambda: facts.tables("clamp"), []), lambda c: c.record(Clamp)),
        "milling": wrong.each(wrong.or_else(lambda: facts.tables("mill"), []), lambda m: m.record(Milling)),
    }

    def calibrated() -> CalibratedChuck:
        try:
            return chuck_file(stated.get("calibrated", "text"))
        except SetupError as reason:
            stated.fail("; ".join(reason.problems), "calibrated")

    readers = {"calibrated": calibrated}
    holding = wrong.or_else(lambda: stated.record(Holding, besides=besides, readers=readers), None)
    wrong.raise_any()
    return holding


def _hardening(facts: Stated) -> Hardening | None:
    """Return what `[hardening]` states, its steel and process being known; None without one."""
    if "hardening" not in facts.values:
        return None
    stated = facts.table("hardening")
    hardening = stated.record(Hardening)
    try:
        refuse_bad_words(hardening)
    except SetupError as reason:
        stated.fail(str(reason))
    return hardening


_SINGLE: Mapping[str, Callable[[Stated], Any]] = {
    "machine": _machine,
    "wheel": lambda facts: _wheel(facts.table("wheel")),
    "tolerances": lambda facts: facts.table("tolerances").record(Tolerances),
    "severity": _severity,
    "staging": lambda facts: facts.table("staging").record(Staging) if "staging" in facts.values else None,
    "relief": lambda facts: facts.table("relief").record(Relieving),
    "holding": _holding,
    "hardening": _hardening,
    "dials": lambda facts: facts.table("dials").record(Dials) if "dials" in facts.values else None,
}
"""By the field of a set-up, what reads the table of which there is one."""


def chuck_file(path: str | Path) -> CalibratedChuck:
    """Read a chuck file that `fixturecheck calibrate` wrote.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    CalibratedChuck
        With the path as it was given.

    Raises
    ------
    SetupError
        It cannot be read, or something in it is wrong, with its line.
    """
    file = Path(path)
    facts = read_document(file, {})
    facts.only(("chuck", "reading"))
    return facts.table("chuck").record(CalibratedChuck, besides={"path": str(file)})


def read_setup_text(path: Path, overrides: Mapping[str, str]) -> StatedSetup:
    """Read what a TOML file states; part files are not opened.

    Parameters
    ----------
    path : Path
        The file.
    overrides : mapping of str to str
        Values for dotted keys.

    Returns
    -------
    StatedSetup
        With gangs spread out, and with what is placed by its seats.

    Raises
    ------
    SetupError
        The file cannot be read or does not parse, or states something wrong: every mistake with its line.
    """
    return read_facts(read_document(path, overrides), path)


def read_facts(document: Stated, path: Path) -> StatedSetup:
    """Read the tables of a TOML file that has been parsed; part files are not opened.

    Parameters
    ----------
    document : Stated
        The tables at the top.
    path : Path
        The file that they stand in: files that they name are counted from its folder.

    Returns
    -------
    StatedSetup
        With gangs spread out, and with what is placed by its seats.

    Raises
    ------
    SetupError
        They state something wrong: every mistake with its line.
    """
    facts = _from_home(document, path.parent)
    named = facts.table("setup").get("shop", "text")
    shop = None if named is None else own_shop(path.parent / named)
    wrong = Mistakes()
    spread = spread_out(facts if shop is None else _with_shop(facts, shop), wrong)

    def bodies(units: str) -> Sequence[partial[BodyFacts]]:
        return [partial(body_facts, entry, units) for entry in spread.facts.tables("body")]

    more = None if shop is None else shop.own
    read = read_tables(spread.facts, name=path.stem, bodies=bodies, more=more, wrong=wrong, as_stated=facts)
    return replace(read, shop_file=None if shop is None else shop.path, placings=spread.placings)


def _from_home(facts: Stated, home: Path) -> Stated:
    """Return the tables with the chuck file that they name as seen from here, not from their folder."""
    holding = facts.values.get("holding")
    if not isinstance(holding, Mapping) or not isinstance(holding.get("calibrated"), str):
        return facts
    there = {**holding, "calibrated": str(home / holding["calibrated"])}
    return replace(facts, values={**facts.values, "holding": there})
