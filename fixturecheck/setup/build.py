"""Makes a set-up of what its tables state: the solids are read, made and placed here."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from fixturecheck.errors import SetupError
from fixturecheck.kernel.shapes import Location
from fixturecheck.mistakes import Mistakes
from fixturecheck.result import Source
from fixturecheck.setup.facts import BodyFacts, EquipmentFacts, PlaceFacts
from fixturecheck.setup.make import body, equipment, place
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.stated import Stated
from fixturecheck.setup.told import Told
from fixturecheck.shop.tables import among_ours


def build_setup(
    told: Told,
    *,
    bodies: Iterable[Callable[[], Body]],
    sources: Callable[[Sequence[Body]], tuple[Source, ...]] = lambda _bodies: (),
) -> Setup:
    """Make a set-up of what its tables state.

    Parameters
    ----------
    told : Told
        What they state.
    bodies : iterable of callable
        Each makes one of the bodies that are no equipment.
    sources : callable, optional
        Lists the files that it was read from, given all bodies.

    Raises
    ------
    SetupError
        A solid cannot be read or made, or something stated does not fit it; with the place of each.
    """
    with among_ours(told.own):
        return _made(told, bodies, sources)


def _made(
    told: Told,
    bodies: Iterable[Callable[[], Body]],
    sources: Callable[[Sequence[Body]], tuple[Source, ...]],
) -> Setup:
    """Make the set-up, the user's materials being known."""
    wrong = Mistakes()
    made = [one for piece in wrong.each(told.equipment, _equipment) for one in piece]
    everything = (*made, *wrong.each(bodies, lambda make: make()))
    wrong.raise_any()
    try:
        return Setup(
            name=told.name,
            units=told.units,
            small_lengths=told.small_lengths,
            bodies=everything,
            sources=sources(everything),
            seats=told.seats,
            cuts=told.cuts,
            machine=told.machine,
            wheel=told.wheel,
            tolerances=told.tolerances,
            severity=told.severity,
            staging=told.staging,
            relief=told.relief,
            holding=told.holding,
            own=told.own,
        )
    except SetupError as reason:
        for line in reason.problems:
            wrong.add(f"{_where_said(told.facts, line)}: {line}")
        wrong.raise_any()
        raise


def body_of(facts: BodyFacts, drawn: object, at: Location, **more: Any) -> Body:
    """Make one body of its facts, its solid and its place.

    Parameters
    ----------
    drawn : object
        The solid, or the file that holds it.
    **more
        What `fixturecheck.body` takes besides.

    Raises
    ------
    SetupError
        The solid or a face is not found.
    """
    try:
        return body(facts.name, drawn, at=at, **facts.stated, **more)
    except SetupError as reason:
        facts.entry.several("", reason)


def located(place_stated: PlaceFacts) -> Location:
    """Return the place that was stated, as the kernel has it."""
    return place(at=place_stated.at, rotate=place_stated.rotate)


def _equipment(facts: EquipmentFacts) -> tuple[Body, ...]:
    """Make a piece of equipment."""
    try:
        return equipment(
            facts.kind, name=facts.name, at=located(facts.place), fastened=facts.fastened, **facts.params
        )
    except SetupError as reason:
        facts.entry.several("", reason)


_SAID = re.compile(
    r"(?:(body|cut|equipment|clamp|mill) '([^']*)'|seat of '([^']*)' on '([^']*)'"
    r"|(machine|wheel|flange|guard|staging|relief|holding))"
)


def _where_said(facts: Stated, message: str) -> str:
    """Say where the entry stands that a message about the whole set-up begins with."""
    said = _SAID.match(message)
    if not said:
        return facts.where(facts.path)
    kind, name, on_body, on, single = said.groups()
    if single:
        return facts.where(("machine", single) if single in {"flange", "guard"} else (single,))
    wanted = {"name": name} if kind else {"body": on_body, "on": on}
    entries: Any = facts.values.get(kind or "seat", ())
    for n, entry in enumerate(entries if isinstance(entries, list | tuple) else ()):
        if all(entry.get(k) == v for k, v in wanted.items()):
            return facts.where((kind or "seat", n))
    return facts.where(facts.path)
