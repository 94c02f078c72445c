"""One table of facts as somebody stated it: reads its keys, and says where a wrong one stands."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, dataclass, fields
from typing import Any, NoReturn, TypeVar

from fixturecheck.errors import SetupError
from fixturecheck.shop.nearest import nearest
from fixturecheck.units import from_inch_key, inch_key

Path = tuple[str | int, ...]
"""Where a value stands in the whole: names of tables and keys, numbers of entries from 0."""

Where = Callable[[Path], str]
"""Says where that is for somebody to look: a file and line, a node, an option."""

T = TypeVar("T")

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
    "table or false": "a table or false",
    "anything": "any value",
}


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
    path: Path
    where: Where

    def fail(self, reason: str, key: str | int | None = None) -> NoReturn:
        """Refuse the table, or one of its keys, saying where it stands.

        Raises
        ------
        SetupError
            Always.
        """
        path = self.path if key is None else (*self.path, key)
        message = f"{self.where(path)}: {reason}"
        raise SetupError(message)

    def only(self, known: Iterable[str]) -> None:
        """Refuse keys that mean nothing, with the nearest one that does."""
        allowed = set(known)
        for key in self.values:
            if key not in allowed:
                self.fail(f"unknown key {key!r} in {self.what}; {nearest(str(key), allowed)}", key)

    def get(self, key: str, kind: str, default: Any = None) -> Any:
        """Return the value of a key, of that kind, or the default where it is left out."""
        if key not in self.values:
            return default
        value = self.values[key]
        if not is_kind(value, kind):
            got = f"{type(value).__name__} {value!r}"
            self.fail(f"{key} in {self.what} must be {_WORDS[kind]}; got {got}", key)
        return value

    def need(self, key: str, kind: str) -> Any:
        """Return the value of a key that may not be left out."""
        if key not in self.values:
            self.fail(f"{self.what} lacks the key {key!r}")
        return self.get(key, kind)

    def table(self, key: str, what: str | None = None) -> Stated:
        """Return the table under a key; an empty one where it is left out."""
        values = self.get(key, "table", {})
        return Stated(what=what or f"[{key}]", values=values, path=(*self.path, key), where=self.where)

    def tables(self, key: str) -> list[Stated]:
        """Return the tables of a list of them, each called by its name where it has one."""
        entries = self.get(key, "tables", [])
        return [
            Stated(
                what=f"[[{key}]] {e['name']!r}" if "name" in e else f"[[{key}]] number {n}",
                values=e,
                path=(*self.path, key, n - 1),
                where=self.where,
            )
            for n, e in enumerate(entries, start=1)
        ]

    def number(self, key: str, kind: str = "number", default: Any = None) -> Any:
        """Return a quantity stated under its metric key, or converted from its inch key."""
        inch = inch_key(key)
        if inch is None or inch not in self.values:
            return self.get(key, kind, default)
        if key in self.values:
            self.fail(f"{self.what} states both {key} and {inch}; keep one", inch)
        return _converted(self.get(inch, kind), key)

    def record(self, cls: type[T], *, besides: Mapping[str, Any] | None = None) -> T:
        """Return the dataclass that the table states, its keys being the names of the fields.

        Parameters
        ----------
        besides : mapping, optional
            Fields that were read in another way; their keys are allowed and passed over.
        """
        given = dict(besides or {})
        kinds = {f.name: _kind(str(f.type)) for f in _fields(cls) if f.name not in given}
        self.only(with_inches([*kinds, *given]))
        for name, kind in kinds.items():
            value = self.number(name, kind, _MISSING)
            if value is not _MISSING:
                given[name] = _frozen(value)
        try:
            return cls(**given)
        except SetupError as reason:
            self.fail(f"{self.what}: {reason}")
        except TypeError:
            missing = [n for n in kinds if n not in given and _required(cls, n)]
            self.fail(
                f"{self.what} lacks the key {missing[0]!r}" if missing else f"{self.what} is not complete"
            )


_MISSING: Any = object()


def with_inches(keys: Iterable[str]) -> list[str]:
    """Return keys and, for quantities, the keys that state them in inch units."""
    names = list(keys)
    return names + [inch for inch in map(inch_key, names) if inch is not None]


def is_kind(value: object, kind: str) -> bool:
    """Say whether a value is of a kind that a key asks for; True and False are no numbers."""
    if " or " in kind:
        return any(is_kind(value, k) for k in kind.split(" or "))
    if kind == "anything":
        return True
    if kind == "false":
        return value is False
    if kind in {"number", "whole"}:
        wanted = (int, float) if kind == "number" else (int,)
        return isinstance(value, wanted) and not isinstance(value, bool)
    if kind in {"texts", "numbers", "tables"}:
        item = {"texts": "text", "numbers": "number", "tables": "table"}[kind]
        nested = kind == "numbers"
        return isinstance(value, list | tuple) and all(
            is_kind(v, item) or (nested and is_kind(v, kind)) for v in value
        )
    return isinstance(value, {"text": str, "flag": bool, "table": Mapping}[kind])


def _kind(annotation: str) -> str:
    """Return the kind of value that a field's annotation asks for."""
    plain = annotation.removesuffix(" | None")
    simple = {"str": "text", "float": "number", "int": "whole", "bool": "flag", "tuple[str, ...]": "texts"}
    if plain.startswith("tuple[") and "float" in plain:
        return "numbers"
    return simple.get(plain, "anything")


def _required(cls: type[Any], name: str) -> bool:
    """Say whether a field has no default."""
    return any(f.name == name and f.default is MISSING and f.default_factory is MISSING for f in _fields(cls))


def _fields(cls: Any) -> tuple[Field[Any], ...]:
    return fields(cls)


def _converted(value: Any, key: str) -> Any:
    """Convert a number, or every number in a nest of lists, from the inch key's unit."""
    if isinstance(value, list | tuple):
        return [_converted(v, key) for v in value]
    return from_inch_key(value, key=key)


def _frozen(value: Any) -> Any:
    """Turn lists into tuples, all the way down."""
    return tuple(_frozen(v) for v in value) if isinstance(value, list | tuple) else value
