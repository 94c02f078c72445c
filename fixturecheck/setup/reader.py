"""The tables of a set-up, the data class of each, and reading one: its keys, and where a wrong one stands."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, dataclass, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, NoReturn, TypeVar, get_args, get_origin, get_type_hints

from fixturecheck.errors import Mistakes, SetupError, read_all
from fixturecheck.fields import Allowed, allowed_in, own_fields, shortened
from fixturecheck.names import nearest
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
from fixturecheck.units import from_inch_key, inch_key

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
_MOST_HOMES = 3
"""A key of more tables than these says nothing about where it was meant."""
KeyPath = tuple[str | int, ...]
"""Where a value stands in the whole: names of tables and keys, numbers of entries from 0."""
Where = Callable[[KeyPath], str]
"""Says where that is for somebody to look: a file and line, a node, an option."""
T = TypeVar("T")
MOST_ENTRIES = 1000
"""Entries of one kind that a set-up may have."""
_WORDS = {
    "text": "text in quotes",
    "number": "a number",
    "whole": "a whole number",
    "flag": "true or false",
    "texts": "a list of texts",
    "numbers": "a list of numbers, or of lists of them",
    "table": "a table",
    "tables": "a list of tables",
    "text or table": "text in quotes or a table",
    "text or whole": "text in quotes or a whole number",
    "number or table": "a number or a table",
    "number or numbers": "a number or a list of numbers",
    "table or false": "a table or false",
    "anything": "any value",
}
_GOT = {str: "text", int: "number", float: "number", list: "list", dict: "table"}
_LARGE = 1e300
_COUNTS = {2: "two numbers", 3: "three numbers"}


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


class TextSpot(str):
    """A file and a line as a message says them, that also knows them as data.

    Parameters
    ----------
    file : str
        The file.
    line : int or None
        From 1; None for the whole file.
    """

    __slots__ = ("file", "line")

    file: str
    line: int | None

    def __new__(cls, file: str, line: int | None = None) -> TextSpot:
        """Return the text `FILE, line N`, or the file alone."""
        self = super().__new__(cls, file if line is None else f"{file}, line {line}")
        self.file, self.line = file, line
        return self


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A table of facts: what it is called, what it says, and where it stands.

    Parameters
    ----------
    what : str
        What to call it in a message: `[[cut]] 'floor'`.
    values : mapping
        Its keys and values.
    path : Path
        Where it stands in the whole.
    where : Where
        Says where a path stands.
    """

    what: str
    values: Mapping[str, Any]
    path: KeyPath
    where: Where

    def fail(self, reason: str, key: str | int | None = None) -> NoReturn:
        """Refuse the table, or one of its keys, saying where it stands.

        Parameters
        ----------
        reason : str
            What is wrong.
        key : str or int, optional
            The key, or the number of an entry, that is refused; the whole table where it is left out.

        Raises
        ------
        SetupError
            Always.
        """
        path = self.path if key is None else (*self.path, key)
        raise SetupError(f"{self.where(path)}: {reason}")

    def several(self, what: str, reason: SetupError) -> NoReturn:
        """Refuse the table for all that a reason says, each line with its place and what it is about.

        Parameters
        ----------
        what : str
            Put before each line of the reason.
        reason : SetupError
            With one problem or several.

        Raises
        ------
        SetupError
            Always.
        """
        wrong = Mistakes()
        for line in reason.problems:
            wrong.add(f"{self.where(self.path)}: {what}{line}")
        wrong.raise_any()
        raise reason

    def only(self, known: Iterable[str]) -> None:
        """Refuse keys that mean nothing, each with the nearest one that does."""
        allowed = set(known)
        wrong = Mistakes()
        for key in self.values:
            if key not in allowed:
                with wrong.noted():
                    near = home_words(str(key)) or nearest(str(key), allowed)
                    self.fail(f"unknown key {shortened(key)} in {self.what}; {near}", key)
        wrong.raise_any()

    def get(self, key: str, kind: str, default: Any = None) -> Any:
        """Return the value of a key, of that kind, or the default where it is left out.

        Parameters
        ----------
        key : str
            Name of the key.
        kind : str
            What it takes: `text`, `number`, `whole`, `flag`, `texts`, `numbers`, `table`, `tables`, `false`,
            two of these with `or` between, or `anything`.
        default : object
            Returned as it is where the key is left out.

        Returns
        -------
        object
            A whole number that was stated as 3.0 comes as an integer.

        Raises
        ------
        SetupError
            The value is of another kind.
        """
        if key not in self.values:
            return default
        value = self.values[key]
        if not _is_kind(value, kind):
            got = f"{_GOT.get(type(value), '')} {shortened(value)}".strip()
            self.fail(f"{key} in {self.what} must be {_WORDS[kind]}; got {got}", key)
        return int(value) if "whole" in kind and isinstance(value, float) else value

    def need(self, key: str, kind: str) -> Any:
        """Return the value of a key that may not be left out.

        Parameters
        ----------
        key : str
            Name of the key.
        kind : str
            As for `get`.

        Raises
        ------
        SetupError
            It is left out, or its value is of another kind.
        """
        if key not in self.values:
            self.fail(f"{self.what} lacks the key {key!r}")
        return self.get(key, kind)

    def table(self, key: str, what: str | None = None) -> Stated:
        """Return the table under a key; an empty one where it is left out.

        Parameters
        ----------
        key : str
            Name of the key.
        what : str, optional
            What to call the table in messages; `[key]` where it is left out.

        Raises
        ------
        SetupError
            The value is no table.
        """
        values = self.get(key, "table", {})
        return Stated(what=what or f"[{key}]", values=values, path=(*self.path, key), where=self.where)

    def tables(self, key: str) -> list[Stated]:
        """Return the tables of a list of them, each called by its name where it has one."""
        entries = self.get(key, "tables", [])
        if len(entries) > MOST_ENTRIES:
            self.fail(f"{self.what} holds {len(entries)} [[{key}]]; at most {MOST_ENTRIES} are checked", key)
        return [
            Stated(
                what=f"[[{key}]] {shortened(e['name'])}" if "name" in e else f"[[{key}]] number {n}",
                values=e,
                path=(*self.path, key, n - 1),
                where=self.where,
            )
            for n, e in enumerate(entries, start=1)
        ]

    def number(self, key: str, kind: str = "number", default: Any = None) -> Any:
        """Return a quantity stated under its metric key, or converted from its inch key.

        Parameters
        ----------
        key : str
            The metric key.
        kind : str
            As for `get`.
        default : object
            Returned as it is where neither key is stated.

        Returns
        -------
        object
            In the unit of the metric key.

        Raises
        ------
        SetupError
            Both keys are stated, or the value is of another kind.
        """
        inch = inch_key(key)
        if inch is None or inch not in self.values:
            return self.get(key, kind, default)
        if key in self.values:
            self.fail(f"{self.what} states both {key} and {inch}; keep one", inch)
        return from_inches(self.get(inch, kind), key)

    def within(self, rule: Allowed, key: str) -> None:
        """Refuse the value of a metric key, or of its inch key, where the rule does not allow it.

        Parameters
        ----------
        rule : Allowed
            What the key takes, in the unit of the metric key.
        key : str
            The metric key.

        Raises
        ------
        SetupError
            The rule does not allow the value; with the limits in the unit that was stated.
        """
        inch = inch_key(key)
        in_inches = inch is not None and inch in self.values
        stated = inch if inch is not None and in_inches else key
        flaw = rule.flaw_of(self.number(key, "anything"), inch_of=key if in_inches else None)
        if flaw:
            self.fail(f"{stated} in {self.what}: {flaw}", stated)

    def record(
        self,
        cls: type[T],
        *,
        besides: Mapping[str, Any] | None = None,
        readers: Mapping[str, Callable[[], Any]] | None = None,
    ) -> T:
        """Return the dataclass that the table states, its keys being the names of the fields.

        Parameters
        ----------
        cls : type
            A data class. A field that holds another data class is a table below this one, a tuple of them a
            list of tables, and a mapping a table of values by name.
        besides : mapping, optional
            Fields that were read elsewhere; they are no keys of this table.
        readers : mapping, optional
            By field, what reads it where its type does not say how.

        Raises
        ------
        SetupError
            A key is unknown or missing, or its value is of another kind or out of its range; all of them
            are told.
        """
        given = self.fields(cls, without=besides or (), readers=readers or {})
        try:
            return cls(**given, **(besides or {}))
        except SetupError as reason:
            self.fail(f"{self.what}: {reason}")

    def fields(
        self, cls: type, *, without: Iterable[str] = (), readers: Mapping[str, Callable[[], Any]]
    ) -> dict[str, Any]:
        """Return the fields of a data class that the table states; see `record`.

        Parameters
        ----------
        cls : type
            A data class.
        without : iterable of str
            Fields that are no keys of this table.
        readers : mapping of str to callable
            By field, what reads it where its type does not say how.

        Returns
        -------
        dict of str to object
            The fields that are stated; those with a default may be missing.

        Raises
        ------
        SetupError
            As for `record`.
        """
        types, left = types_of(cls), set(without)
        own = [f for f in own_fields(cls) if f.name not in left]
        wrong = Mistakes()
        with wrong.noted():
            self.only(_with_inches(f.name for f in own))
        given: dict[str, Any] = {}
        for field in own:
            with wrong.noted():
                if field.name in self.values or inch_key(field.name) in self.values:
                    read = readers.get(field.name)
                    given[field.name] = read() if read else self._of_field(field, types[field.name])
                elif field.default is MISSING and field.default_factory is MISSING:
                    self.fail(f"{self.what} lacks the key {field.name!r}")
        wrong.raise_any()
        return given

    def _of_field(self, field: Field[Any], hint: Any) -> Any:
        """Return the value that is stated for a field of a type."""
        name, kind, item = field.name, kind_of(hint), _item_of(hint)
        record: type[Any] | None = item if is_dataclass(item) and isinstance(item, type) else None
        if record is not None and kind == "tables":
            return read_all(self.tables(name), lambda row: row.record(record))
        if record is not None and get_origin(hint) is not Mapping:
            return self.table(name, f"{self.what[:-1]}.{name}]").record(record)
        value = self.number(name, kind)
        self._shaped(value, hint, name)
        if isinstance(value, Mapping):
            stated = name if name in self.values else str(inch_key(name))
            table = self.table(stated, f"{stated} of {self.what}")
            if record is not None:
                whats = {key: f"{name} of {key!r} in {self.what}" for key in value}
                rows = read_all(value, lambda key: table.table(key, whats[key]).record(record))
                return dict(zip(value, rows, strict=True))
            read_all(value, lambda key: table.get(key, kind_of(item)))
        rule = allowed_in(field)
        if rule is not None:
            self.within(rule, name)
        # One number for all names stands for the rest, as "*" does in a table.
        by_name = get_origin(hint) is Mapping and not isinstance(value, Mapping)
        return {"*": float(value)} if by_name else _frozen(value)

    def _shaped(self, value: Any, hint: Any, name: str) -> None:
        """Refuse a list of numbers that is longer, shorter or nested otherwise than its type says."""
        wanted = _shape_said(hint)
        if wanted and isinstance(value, list | tuple) and not _has_shape(value, hint):
            stated = name if name in self.values else str(inch_key(name))
            got = shortened(self.values[stated])
            self.fail(f"{stated} in {self.what} must be {wanted}; got {got}", stated)


def _shape_said(hint: Any) -> str:
    """Return in words which numbers a tuple of them holds; empty for any other type."""
    args = get_args(hint) if get_origin(hint) is tuple else ()
    if not args or (args[0] not in {float, int} and get_origin(args[0]) is not tuple):
        return ""
    if get_origin(args[0]) is tuple:
        return f"a list of lists of {_COUNTS[len(get_args(args[0]))]}"
    return "a list of numbers" if args[-1] is Ellipsis else _COUNTS[len(args)]


def _has_shape(value: Any, hint: Any) -> bool:
    """Tell whether a nest of lists of numbers is as a type says."""
    args = get_args(hint)
    if get_origin(hint) is not tuple:
        return not isinstance(value, list | tuple)
    if not isinstance(value, list | tuple):
        return False
    if args[-1] is Ellipsis:
        return all(_has_shape(v, args[0]) for v in value)
    return len(value) == len(args) and all(map(_has_shape, value, args))


def _with_inches(keys: Iterable[str]) -> list[str]:
    """Return keys and, for quantities, the keys that state them in inch units."""
    names = list(keys)
    return names + [inch for inch in map(inch_key, names) if inch is not None]


def _is_kind(value: object, kind: str) -> bool:
    """Say whether a value is of a kind that a key asks for; True and False are no numbers."""
    if " or " in kind:
        return any(_is_kind(value, k) for k in kind.split(" or "))
    if kind == "anything":
        return True
    if kind == "false":
        return value is False
    if kind in {"number", "whole"}:
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False
        # A whole number may be written 4.0, as schemas of TOML have it.
        return kind == "number" or isinstance(value, int) or value.is_integer()
    if kind in {"texts", "numbers", "tables"}:
        item = {"texts": "text", "numbers": "number", "tables": "table"}[kind]
        nested = kind == "numbers"
        return isinstance(value, list | tuple) and all(
            _is_kind(v, item) or (nested and _is_kind(v, kind)) for v in value
        )
    return isinstance(value, {"text": str, "flag": bool, "table": Mapping}[kind])


@cache
def types_of(cls: type) -> Mapping[str, Any]:
    """Return the type of each field of a data class, without None where that is allowed besides.

    Parameters
    ----------
    cls : type
        A data class.

    Returns
    -------
    mapping of str to type
        By the name of the field.
    """
    return {name: _without_none(hint) for name, hint in get_type_hints(cls).items()}


def _without_none(hint: Any) -> Any:
    """Return a union without None; anything else as it is."""
    members = [m for m in get_args(hint) if m is not NoneType] if get_origin(hint) is UnionType else []
    return members[0] if len(members) == 1 else hint


def _item_of(hint: Any) -> Any:
    """Return what each entry of a list or a table by name is, or the type itself."""
    for member in get_args(hint) if get_origin(hint) is UnionType else (hint,):
        if get_origin(member) is Mapping:
            return get_args(member)[1]
    return get_args(hint)[0] if get_origin(hint) is tuple else hint


def kind_of(hint: Any) -> str:
    """Return the kind of value that a field of a type asks for.

    A mapping is a table of values by name. A table of numbers may also be one number, for all names.

    Parameters
    ----------
    hint : type
        As `types_of` gives it.

    Returns
    -------
    str
        As `Stated.get` takes it.
    """
    origin, args = get_origin(hint), get_args(hint)
    if origin is UnionType:
        kinds = [k for member in args if member is not NoneType for k in kind_of(member).split(" or ")]
        return " or ".join(dict.fromkeys(kinds))
    if origin is Mapping:
        return "number or table" if args[1] is float else "table"
    if origin is tuple:
        return "tables" if is_dataclass(args[0]) else "texts" if args[0] is str else "numbers"
    if is_dataclass(hint):
        return "table"
    return {str: "text", float: "number", int: "whole", bool: "flag"}.get(hint, "anything")


def from_inches(value: Any, key: str) -> Any:
    """Convert a number, or every number in a nest of lists and tables, from the inch key's unit.

    Parameters
    ----------
    value : object
        As stated under the inch key; what is no number is kept.
    key : str
        The metric key.

    Returns
    -------
    object
        Built alike, its numbers in the unit of `key`.
    """
    if isinstance(value, list | tuple):
        return [from_inches(v, key) for v in value]
    if isinstance(value, Mapping):
        return {name: from_inches(v, key) for name, v in value.items()}
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    if abs(value) > _LARGE:
        # Out of every range; kept as a number that the range check can tell.
        return math.copysign(_LARGE, value)
    return from_inch_key(value, key=key)


def _frozen(value: Any) -> Any:
    """Turn lists into tuples, all the way down, in tables too."""
    if isinstance(value, Mapping):
        return {name: _frozen(v) for name, v in value.items()}
    return tuple(_frozen(v) for v in value) if isinstance(value, list | tuple) else value
