"""Reads what the tables of a set-up state, as far as text goes, and tells all that is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from fixturecheck.allowed import shortened
from fixturecheck.errors import SetupError
from fixturecheck.mistakes import Mistakes
from fixturecheck.setup.entries import HeadEntry
from fixturecheck.setup.facts import BodyFacts, EquipmentFacts, equipment_facts
from fixturecheck.setup.held import holding_stated
from fixturecheck.setup.holding import Holding
from fixturecheck.setup.machine import machine_stated, wheel_stated
from fixturecheck.setup.own import own_stated
from fixturecheck.setup.records import Cut, Machine, Seat
from fixturecheck.setup.relieving import Relieving
from fixturecheck.setup.staged import relief_stated, staging_stated
from fixturecheck.setup.staging import Staging
from fixturecheck.setup.stated import Stated
from fixturecheck.setup.tables import LISTS
from fixturecheck.setup.words import CHECKS, SEVERITIES, allowed_name, one_of
from fixturecheck.shop.nearest import nearest
from fixturecheck.shop.tables import Own, among_ours
from fixturecheck.shop.wheels import Wheel
from fixturecheck.tolerances import Tolerances

MOST_HEAD = 200
"""Letters of the set-up's own name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a set-up states, without its solids; the fields are those of `Setup`.

    Parameters
    ----------
    facts : Stated
        The tables that it was read from.
    own : Own
        Materials and finishes of the user's.
    shop_file : Path or None
        The file of the shop that the set-up names.
    """

    facts: Stated
    own: Own
    name: str
    units: str
    small_lengths: str
    equipment: tuple[EquipmentFacts, ...]
    bodies: tuple[BodyFacts, ...]
    seats: tuple[Seat, ...]
    cuts: tuple[Cut, ...]
    machine: Machine
    wheel: Wheel
    tolerances: Tolerances
    severity: dict[str, str]
    staging: Staging | None
    relief: Relieving
    holding: Holding | None
    shop_file: Path | None = None


def told_in(
    facts: Stated,
    *,
    known: Iterable[str],
    name: str,
    bodies: Callable[[str], Sequence[Callable[[], BodyFacts]]],
    more: Own | None = None,
) -> Told:
    """Read the tables of a set-up.

    Parameters
    ----------
    facts : Stated
        The tables at the top.
    known : iterable of str
        The tables that may stand there.
    name : str
        What the set-up is called when it does not say.
    bodies : callable
        Given the units, returns what reads each body that is no equipment.
    more : Own, optional
        Materials and finishes of a file of the shop.

    Raises
    ------
    SetupError
        Something stated cannot be used; every mistake that text shows is told, each with its place.
    """
    wrong = Mistakes()
    with wrong.noted():
        facts.only(known)
    head = wrong.or_else(lambda: _head(facts), HeadEntry())
    own = wrong.or_else(lambda: own_stated(facts, more), more or Own())
    with among_ours(own):
        return _told(facts, wrong, head, own, name=name, bodies=bodies)


def _told(
    facts: Stated,
    wrong: Mistakes,
    head: HeadEntry,
    own: Own,
    *,
    name: str,
    bodies: Callable[[str], Sequence[Callable[[], BodyFacts]]],
) -> Told:
    """Read the tables below the head, the user's materials and finishes being known."""
    pieces = {kind: wrong.or_else(partial(facts.tables, kind), []) for kind in LISTS if kind != "body"}
    before = len(wrong)
    equipment = wrong.each(pieces["equipment"], lambda e: equipment_facts(e, head.units))
    read = wrong.each(bodies(head.units), lambda one: one())
    all_read = len(wrong) == before
    seats = wrong.each(pieces["seat"], lambda s: s.record(Seat))
    cuts = wrong.each(pieces["cut"], _cut)
    parts: dict[str, Any] = {
        "machine": wrong.or_else(lambda: machine_stated(facts), Machine()),
        "wheel": wrong.or_else(lambda: wheel_stated(facts.table("wheel")), Wheel()),
        "tolerances": wrong.or_else(lambda: facts.table("tolerances").record(Tolerances), Tolerances()),
        "severity": wrong.or_else(lambda: _severity(facts), {}),
        "staging": wrong.or_else(lambda: staging_stated(facts), None),
        "relief": wrong.or_else(lambda: relief_stated(facts), Relieving()),
        "holding": wrong.or_else(lambda: holding_stated(facts), None),
    }
    for kind in ("equipment", "cut", "clamp", "mill"):
        _note_repeats(wrong, kind, ((e.values.get("name"), e) for e in pieces[kind]))
    _note_repeats(wrong, "body", ((b.name, b.entry) for b in read))
    if all_read:
        # Where a body could not be read, its name may be the one that is missed.
        _note_strangers(wrong, pieces, [b.name for b in read], [e.name for e in equipment])
    wrong.raise_any()
    return Told(
        facts=facts,
        own=own,
        name=name if head.name is None else head.name,
        units=head.units,
        small_lengths=head.small_lengths,
        equipment=equipment,
        bodies=read,
        seats=seats,
        cuts=cuts,
        **parts,
    )


def _head(facts: Stated) -> HeadEntry:
    """Return the head, with a name that fits on one line of a report."""
    stated = facts.table("setup")
    head = stated.record(HeadEntry)
    name = head.name
    if name is not None and (not name.strip() or not name.isprintable() or len(name) > MOST_HEAD):
        stated.fail(f"name in [setup] must be at most {MOST_HEAD} printable characters on one line", "name")
    return head


def _cut(stated: Stated) -> Cut:
    cut = stated.record(Cut)
    try:
        allowed_name(cut.name, f"cut {cut.name!r}")
    except SetupError as reason:
        stated.fail(str(reason), "name")
    return cut


def _severity(facts: Stated) -> dict[str, str]:
    """Return what the no-go of each check counts as."""
    stated = facts.table("severity")
    wrong = Mistakes()
    levels: dict[str, str] = {}
    for check in stated.values:
        with wrong.noted():
            if check not in CHECKS:
                stated.fail(f"severity of {check!r}: no check has this name; {nearest(check, CHECKS)}", check)
            levels[check] = stated.get(check, "text")
            try:
                one_of(levels[check], SEVERITIES, f"severity of {check!r}")
            except SetupError as reason:
                stated.fail(str(reason), check)
    wrong.raise_any()
    return levels


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
