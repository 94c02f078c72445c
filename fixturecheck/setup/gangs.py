"""Bodies that state their seats themselves, and gangs in one entry, as tables of one part each.

A `[[body]]` with `count` becomes that many bodies, `NAME_1`, `NAME_2` and so on. Its `seats` become
`[[seat]]` tables of each; wherever the gang's name stands for parts, as in a cut, all of them are meant. What
only says where a body stands (`along_mm`, `turn_deg`, `pitch_mm`, a seat with a gap) is handed on beside the
tables.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.fields import Allowed
from fixturecheck.names import MOST_NAME, allowed_name
from fixturecheck.setup.facts import FREE_KEYS, GANG_KEYS, PLACING_KEYS
from fixturecheck.setup.reader import KeyPath, Stated
from fixturecheck.setup.records import MOST_COUNT, PITCHES, BodySeat, Rank, Seat
from fixturecheck.units import inch_key

_IN_TURN = ("primary", "secondary", "tertiary")
_ALONG_MM = Allowed(least=-10_000.0, most=10_000.0, items=3)
_TURN_DEG = Allowed(least=-360.0, most=360.0)
_PITCH_MM = Allowed(least=0.01, most=10_000.0)
_SEAT_KEYS = ("face", "on", "on_face", "rank", "min_share")


@dataclass(frozen=True, slots=True, kw_only=True)
class InRow:
    """Where one of a gang stands: a distance further than the one before, or where its nest face lands on it.

    Parameters
    ----------
    gang : str
        Name of the gang.
    number : int
        Which one it is, from 1.
    before : str or None
        The one before it; None for the first.
    pitch_mm : float or None
        How much further it stands; None where its nest face says so.
    """

    gang: str
    number: int
    before: str | None
    pitch_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """A body, or a piece of equipment, that is placed by its seats, and what is stated of it besides.

    Parameters
    ----------
    name : str
        Name of the body, or of the equipment.
    along_mm : tuple of float or None
        How far its first seat is from the middle of what it lies on, along each slide that the seats leave.
    turn_deg : float or None
        How far it is turned in what the seats leave.
    only : tuple of BodySeat
        Seats that only say where it stands: those with a gap, and all of equipment.
    row : InRow or None
        Its place in a gang.
    """

    name: str
    along_mm: tuple[float, ...] | None = None
    turn_deg: float | None = None
    only: tuple[BodySeat, ...] = ()
    row: InRow | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedPlacing(Placing):
    """The same, with the table that says so."""

    entry: Stated


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadTables:
    """The tables with every gang spread out, and what is placed by its seats."""

    facts: Stated
    placings: tuple[StatedPlacing, ...]


def spread_out(facts: Stated, wrong: Mistakes) -> SpreadTables:
    """Return the tables of a set-up with one table for each body, and what is placed by its seats.

    Parameters
    ----------
    facts : Stated
        The tables at the top, as stated.
    wrong : Mistakes
        Takes what is wrong with the keys that are read here.

    Returns
    -------
    SpreadTables
        The tables as they are where nothing is a gang or is placed by seats.
    """
    return _Spreading(facts, wrong).done()


def _own_seats(entry: Stated) -> list[tuple[BodySeat, KeyPath]]:
    """Return the seats that stand in the entry itself; those without a rank have it by their order."""
    found: list[tuple[BodySeat, KeyPath]] = []
    in_turn = iter(_IN_TURN)
    for stated in entry.tables("seats"):
        named = replace(stated, what=f"{_ordinal(len(found))} of the seats of {entry.what}")
        seat = named.record(BodySeat)
        if seat.rank is None:
            seat = replace(seat, rank=next(in_turn, "tertiary"))
        if seat.on is None and (seat.rank != Rank.NEST or "count" not in entry.values):
            named.fail(f"{named.what} lacks the key 'on'; only a nest of a gang is on the one before")
        found.append((seat, stated.path))
    return found


def placing_of_node(entry: Stated, name: str, wrong: Mistakes) -> tuple[Stated, StatedPlacing | None]:
    """Return what a body of an assembly states without its placing, and how its seats place it.

    Parameters
    ----------
    entry : Stated
        What the body states; its solid is drawn, and so is how it is turned before it is placed.
    name : str
        Of the body.
    wrong : Mistakes
        Takes what is wrong with the keys that are read here.

    Returns
    -------
    tuple
        The placing is None where it states no seats; those that touch are in `StatedPlacing.only`, too.
    """
    if not _metric_keys(entry) & {"seats", *FREE_KEYS}:
        return entry, None
    bare = replace(entry, values={k: v for k, v in entry.values.items() if _metric(k) not in _OF_NODES})

    def placing() -> StatedPlacing:
        seats = [seat for seat, _ in _own_seats(entry)]
        if not seats:
            entry.fail(f"{entry.what} states no seats that along_mm or turn_deg could add to")
        return replace(StatedPlacing(entry=entry, name=name, only=tuple(seats)), **_free(entry))

    return bare, wrong.or_else(placing, None)


_OF_NODES = ("seats", *FREE_KEYS)
"""What a body of an assembly may state of its placing; a gang is drawn there one by one."""


def seat_table(body: str, seat: BodySeat) -> dict[str, Any]:
    """Return a seat that stands with its body as a `[[seat]]` table of its own.

    Parameters
    ----------
    body : str
        Name of the body that the seat stands with.
    seat : BodySeat
        The seat.

    Returns
    -------
    dict
        The keys that it states, with `body`, `on` and `rank` always.
    """
    stated = {key: getattr(seat, key) for key in _SEAT_KEYS if key in seat.stated or key == "on"}
    return {"body": body, **stated, "rank": seat.rank}


class _Spreading:
    """Works through the bodies of a set-up, and puts its lists together anew."""

    def __init__(self, facts: Stated, wrong: Mistakes) -> None:
        self.facts, self.wrong = facts, wrong
        self.bodies: list[tuple[Mapping[str, Any], KeyPath]] = []
        self.seats: list[tuple[Mapping[str, Any], KeyPath]] = []
        self.equipment: list[Mapping[str, Any]] = []
        self.placings: list[StatedPlacing] = []
        self.gangs: dict[str, tuple[str, ...]] = {}

    def done(self) -> SpreadTables:
        tables = {kind: self._tables(kind) for kind in ("equipment", "body", "seat")}
        apart = _by_body(tables["seat"])
        if not any(_is_placed(e, apart) for kind in ("equipment", "body") for e in tables[kind]):
            return SpreadTables(facts=self.facts, placings=())
        for entry in tables["equipment"]:
            self._equipment(entry)
        gang_names = [e.values.get("name") for e in tables["body"] if set(GANG_KEYS) & _metric_keys(e)]
        for entry in tables["body"]:
            self._body(entry, apart)
        for entry in tables["seat"]:
            if entry.values.get("body") not in gang_names:
                self.seats.append((entry.values, entry.path))
        values = dict(self.facts.values)
        for name, rows in (("body", self.bodies), ("seat", self.seats)):
            if rows:
                values[name] = [v for v, _ in rows]
        if self.equipment:
            values["equipment"] = self.equipment
        self._name_all(values)
        facts = replace(self.facts, values=values, where=self._where)
        return SpreadTables(facts=facts, placings=tuple(self.placings))

    def _tables(self, kind: str) -> list[Stated]:
        # What is no list of tables is refused where the tables are read.
        try:
            return self.facts.tables(kind)
        except SetupError:
            return []

    def _where(self, path: KeyPath) -> str:
        """Say where a path of the spread tables stands in what was stated."""
        rows = {"body": self.bodies, "seat": self.seats}.get(str(path[0]), []) if path else []
        if len(path) > 1 and isinstance(path[1], int) and path[1] < len(rows):
            return self.facts.where((*rows[path[1]][1], *path[2:]))
        return self.facts.where(path)

    def _equipment(self, entry: Stated) -> None:
        """Take the keys of placing out of a piece of equipment."""
        self.equipment.append(_without_placing(entry))
        if not _metric_keys(entry) & {"seats", *FREE_KEYS}:
            return
        with self.wrong.noted():
            _refuse_place(entry)
            seats = [seat for seat, _ in _own_seats(entry)]
            if not seats:
                entry.fail(f"{entry.what} states no seats that along_mm or turn_deg could add to")
            placing = StatedPlacing(entry=entry, name=str(entry.values.get("name")), only=tuple(seats))
            self.placings.append(replace(placing, **_free(entry)))

    def _body(self, entry: Stated, apart: Mapping[object, list[Stated]]) -> None:
        """Add the bodies and the seats of one entry."""
        before = len(self.bodies)
        if _is_placed(entry, apart):
            with self.wrong.noted():
                self._place(entry, apart)
        if len(self.bodies) == before:
            # It stands where it is stated, or something is wrong with it and the rest is read all the same.
            self.bodies.append((_without_placing(entry), entry.path))

    def _place(self, entry: Stated, apart: Mapping[object, list[Stated]]) -> None:
        """Add a body, or the bodies of a gang, each with its seats and where it is placed."""
        keys = _metric_keys(entry)
        if keys & set(PLACING_KEYS):
            _refuse_place(entry)
        names = gang = self._names(entry) if set(GANG_KEYS) & keys else ()
        own = _own_seats(entry)
        elsewhere = apart.get(entry.need("name", "text"), [])
        if gang:
            own += [(s, e.path) for e in elsewhere if (s := self._apart(e)) is not None]
        else:
            names = (entry.need("name", "text"),)
        if not own and (gang or not elsewhere):
            entry.fail(f"{entry.what} states no seats to be placed by; state seats, or at")
        pitch = _pitch(entry)
        nests = _nests(entry, own) if gang else ()
        if len(gang) > 1 and pitch is None and not nests:
            entry.fail(
                f"{entry.what}: say where each next one stands: against = the face of the one before that it "
                "lands on, or pitch_mm"
            )
        free = _free(entry)
        self.gangs |= {str(entry.values["name"]): tuple(gang)} if gang else {}
        for number, name in enumerate(names):
            before = names[number - 1] if number else None
            self.bodies.append(({**_without_placing(entry), "name": name}, entry.path))
            mine = [(s, p) for s, p in own if _counts(s, number)]
            mine += [(replace(s, on=before), p) for s, p in nests if before is not None and pitch is None]
            self.seats += [(seat_table(name, s), p) for s, p in mine if s.gap_mm == 0.0]
            row = InRow(gang=str(entry.values["name"]), number=number + 1, before=before, pitch_mm=pitch)
            placing = StatedPlacing(
                entry=entry,
                name=name,
                only=tuple(s for s, _ in mine if s.gap_mm != 0.0),
                row=row if gang else None,
            )
            stated = free if before is None else {k: v for k, v in free.items() if k != "along_mm"}
            self.placings.append(replace(placing, **stated))

    def _names(self, entry: Stated) -> tuple[str, ...]:
        """Return the names of the parts of a gang."""
        name: str = entry.need("name", "text")
        allowed_name(name, f"{entry.what}, name", MOST_NAME - 4)
        count: int = entry.need("count", "whole")
        entry.within(Allowed(least=1, most=MOST_COUNT), "count")
        return tuple(f"{name}_{n + 1}" for n in range(count))

    def _apart(self, entry: Stated) -> BodySeat | None:
        """Return a seat of a gang from a table of its own; one on the gang itself is on the one before."""
        seat: Seat | None = self.wrong.or_else(lambda: entry.record(Seat), None)
        if seat is None:
            return None
        on = None if seat.on == seat.body else seat.on
        return BodySeat(face=seat.face, on=on, on_face=seat.on_face, rank=seat.rank, min_share=seat.min_share)

    def _name_all(self, values: dict[str, Any]) -> None:
        """Put the names of all its parts where the name of a gang stands for them."""
        for kind in ("cut", "drill", "end_mill", "mill"):
            entries = values.get(kind)
            if isinstance(entries, list):
                values[kind] = [self._all_in(e, "parts") if isinstance(e, Mapping) else e for e in entries]
        staging = values.get("staging")
        if isinstance(staging, Mapping):
            staging = self._all_in(self._all_in(staging, "order"), "loose")
            for key in ("push", "pull_n", "pull_lbf"):
                staging = self._keys_in(staging, key)
            press = staging.get("press")
            if isinstance(press, list):
                staging = {**staging, "press": [row for one in press for row in self._pressed(one)]}
            values["staging"] = staging
        holding = values.get("holding")
        if isinstance(holding, Mapping):
            values["holding"] = self._keys_in(holding, "grinds_as")

    def _all_in(self, table: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        names = table.get(key)
        if not isinstance(names, list | tuple):
            return table
        return {**table, key: [one for n in names for one in (self._gang(n) or (n,))]}

    def _keys_in(self, table: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        by_name = table.get(key)
        if not isinstance(by_name, Mapping):
            return table
        return {**table, key: {one: v for n, v in by_name.items() for one in (self._gang(n) or (n,))}}

    def _pressed(self, press: Any) -> Iterator[Any]:
        names = self._gang(press.get("part")) if isinstance(press, Mapping) else ()
        yield from [{**press, "part": name} for name in names] or [press]

    def _gang(self, name: object) -> tuple[str, ...]:
        return self.gangs.get(name, ()) if isinstance(name, str) else ()


def _by_body(seats: Sequence[Stated]) -> dict[object, list[Stated]]:
    found: dict[object, list[Stated]] = {}
    for entry in seats:
        name = entry.values.get("body")
        if isinstance(name, str):
            found.setdefault(name, []).append(entry)
    return found


def _is_placed(entry: Stated, apart: Mapping[object, list[Stated]]) -> bool:
    """Tell whether an entry is placed by seats: it states some, or a body has some and no place."""
    if _metric_keys(entry) & set(PLACING_KEYS):
        return True
    name = entry.values.get("name")
    equipment = "kind" in entry.values
    return not equipment and "at" not in entry.values and isinstance(name, str) and name in apart


def _refuse_place(entry: Stated) -> None:
    if "at" in entry.values:
        keys = ", ".join(k for k in PLACING_KEYS if k in _metric_keys(entry))
        entry.fail(f"{entry.what} states at, and {keys} to be placed by its seats; keep one", "at")


def _metric(key: object) -> object:
    """Return the metric key that an inch key of placing stands for; any other key as it is."""
    return _INCH.get(key, key) if isinstance(key, str) else key


_INCH = {inch: key for key in PLACING_KEYS if (inch := inch_key(key)) is not None}


def _without_placing(entry: Stated) -> dict[str, Any]:
    return {k: v for k, v in entry.values.items() if _metric(k) not in PLACING_KEYS}


def _metric_keys(entry: Stated) -> set[object]:
    return {_metric(key) for key in entry.values}


def _ordinal(before: int) -> str:
    return f"number {before + 1}"


def _free(entry: Stated) -> dict[str, Any]:
    """Return what is stated about freedoms that the seats leave."""
    found: dict[str, Any] = {}
    along = entry.number("along_mm", "number or numbers")
    if along is not None:
        entry.within(_ALONG_MM, "along_mm")
        values = along if isinstance(along, list | tuple) else [along]
        if not 1 <= len(values) <= 3 or any(isinstance(v, list | tuple) for v in values):
            entry.fail(f"along_mm in {entry.what} must be a number, or one for each slide", "along_mm")
        found["along_mm"] = tuple(float(v) for v in values)
    turn = entry.get("turn_deg", "number")
    if turn is not None:
        entry.within(_TURN_DEG, "turn_deg")
        found["turn_deg"] = float(turn)
    return found


def _pitch(entry: Stated) -> float | None:
    """Return the pitch of a gang, or None where a nest says it."""
    word = entry.get("pitch", "text")
    pitch = entry.number("pitch_mm", "number")
    if word is not None:
        entry.within(Allowed(words=PITCHES), "pitch")
    if pitch is None:
        return None
    entry.within(_PITCH_MM, "pitch_mm")
    if word is not None or "against" in entry.values:
        other = "pitch" if word is not None else "against"
        entry.fail(f"{entry.what} states both pitch_mm and {other}; keep one", "pitch_mm")
    return float(pitch)


def _counts(seat: BodySeat, number: int) -> bool:
    """Tell whether a seat of a gang is one of its part of that number, from 0: stops hold the first only."""
    return seat.on is not None and (seat.rank != Rank.STOP or number == 0)


def _nests(entry: Stated, own: Sequence[tuple[BodySeat, KeyPath]]) -> tuple[tuple[BodySeat, KeyPath], ...]:
    """Return the seats of each next part of a gang on the one before."""
    stated = tuple((s, p) for s, p in own if s.on is None)
    face = entry.get("against", "text")
    if face is None:
        if not stated and entry.values.get("pitch") is not None:
            entry.fail(f"{entry.what}: pitch = 'nest' needs against, or {_NEST}", "pitch")
        return stated
    if stated:
        entry.fail(f"{entry.what} states against and a seat of rank nest; keep one", "against")
    stops = [(s, p) for s, p in own if s.rank == Rank.STOP and s.on is not None]
    if not stops:
        entry.fail(
            f"{entry.what}: against needs a seat of rank stop; or state, in place of against, {_NEST}",
            "against",
        )
    seat, path = stops[0]
    return ((BodySeat(face=seat.face, on=None, on_face=face, rank="nest"), path),)


_NEST = (
    "a seat like { face = 'back', on_face = 'front', rank = 'nest' }, "
    "the back of each next one on the front of the one before"
)


RANK_ORDER: Mapping[str, int] = {rank: n for n, rank in enumerate(Rank)}
"""In which order seats are met."""
