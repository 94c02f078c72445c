"""What a field of a data class may hold, beside the field, and which fields were stated when it was made."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, Field, dataclass, fields
from functools import wraps
from typing import Any, TypeVar

from fixturecheck.units import to_inch_key

_KEY = "allowed"
_MOST_LETTERS = 60
"""Letters of a value that a message shows at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowed:
    """What a key takes, and what the answer owes to it.

    Parameters
    ----------
    least, most : float
        Ends of the range of a number, or of every number in a list, in the key's unit; both may be stated.
    or_zero : bool
        Whether zero is allowed besides the range.
    words : tuple of str
        The words that a text may be; empty allows any.
    items : int
        How many entries a list may have.
    matters : str
        What depends on the value, for a default that is used without being stated; empty where nothing does.
    """

    least: float = -math.inf
    most: float = math.inf
    or_zero: bool = False
    words: tuple[str, ...] = ()
    items: int = 1000
    matters: str = ""

    def range_said(self, inch_of: str | None = None) -> str:
        """Return the range in words, `from 0.1 to 300` or `0, or from 0.1 to 300`; empty where there is none.

        Parameters
        ----------
        inch_of : str, optional
            The metric key; the range is then given in the unit of its inch key.
        """
        if math.isinf(self.least) and math.isinf(self.most):
            return ""
        ends = [_digits(_shown(v, inch_of)) for v in (self.least, self.most)]
        return f"{'0, or ' if self.or_zero else ''}from {ends[0]} to {ends[1]}"

    def flaw_of(self, value: object, *, inch_of: str | None = None) -> str | None:
        """Return why a value may not be stated, or None where it may.

        Parameters
        ----------
        value : object
            A number in the unit of the metric key, a word, or a list or table of these.
        inch_of : str, optional
            The metric key, where the value was stated in inch units: the reason is then given in those.
        """
        if self.words:
            return self._strange_word(value)
        if math.isinf(self.least) and math.isinf(self.most):
            return None
        for count, number in enumerate(_flat(value), start=1):
            if count > self.items:
                return f"holds more than {self.items} numbers"
            if isinstance(number, bool) or not isinstance(number, int | float):
                return f"{shortened(number)} is not a number"
            if isinstance(number, float) and not math.isfinite(number):
                return f"{number!r} is not finite; state a number"
            if not (self.least <= number <= self.most or (self.or_zero and number == 0)):
                got = number if abs(number) > 1e15 else _shown(number, inch_of)
                return f"must be {self.range_said(inch_of)}; got {shortened(got)}"
        return None

    def _strange_word(self, value: object) -> str | None:
        given = value.values() if isinstance(value, Mapping) else value
        for word in given if not isinstance(given, str) and isinstance(given, Iterable) else [given]:
            if word not in self.words:
                known = f"{', '.join(self.words[:-1])} or {self.words[-1]}"
                return f"{shortened(word)} is unknown; use {known}"
        return None


def allowed(
    least: float = -math.inf,
    most: float = math.inf,
    *,
    or_zero: bool = False,
    words: Iterable[str] = (),
    items: int = 1000,
    matters: str = "",
) -> Mapping[str, Allowed]:
    """Return the metadata of a field that say what may be stated under its key; see `Allowed`.

    Parameters
    ----------
    least : float
        Least number.
    most : float
        Greatest number.
    or_zero : bool
        Whether zero may be stated too, where it lies outside.
    words : iterable of str
        The words that may be stated.
    items : int
        How many entries a list may have.
    matters : str
        What depends on the value, for a default that is used without being stated.

    Returns
    -------
    mapping of str to Allowed
        For `dataclasses.field`.
    """
    what = Allowed(least=least, most=most, or_zero=or_zero, words=tuple(words), items=items, matters=matters)
    return {_KEY: what}


def allowed_in(field: Field[object]) -> Allowed | None:
    """Return what may be stated for a field of a data class, or None where anything may.

    Parameters
    ----------
    field : Field[object]
        The field.

    Returns
    -------
    Allowed or None
        What may be stated.
    """
    found: Allowed | None = field.metadata.get(_KEY)
    return found


def shortened(value: object) -> str:
    """Return a value as it is shown in a message: numbers in few digits, long texts cut short.

    Parameters
    ----------
    value : object
        The value.

    Returns
    -------
    str
        The text.
    """
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**15:
        return f"a number of {len(str(abs(value)))} digits" if abs(value) < 10**4000 else "a huge number"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:g}"
    text = repr(value)
    return text if len(text) <= _MOST_LETTERS else f"{text[: _MOST_LETTERS - 4]} ..."


def _flat(value: object) -> Iterator[object]:
    """Yield the leaves of a nest of lists, or of the values of a table."""
    if isinstance(value, Mapping):
        yield from _flat(tuple(value.values()))
    elif isinstance(value, Iterable) and not isinstance(value, str):
        for item in value:
            yield from _flat(item)
    else:
        yield value


def _shown(number: float, inch_of: str | None) -> float:
    return number if inch_of is None else to_inch_key(number, key=inch_of)


def _digits(number: float) -> str:
    if abs(number) >= 1e4:
        return f"{number:.0f}"
    return f"{number:.4g}" if abs(number) >= 1e-3 or not number else f"{number:.9f}".rstrip("0")


T = TypeVar("T")

HIDDEN: Mapping[str, bool] = {"hidden": True}
"""Metadata of a field that is bookkeeping and no key of a set-up."""

STATED = "stated"


def recorded(cls: type[T]) -> type[T]:
    """Let a data class with a field `stated` fill it with the names of the fields that were given.

    What `dataclasses.replace` hands over counts as stated where it was stated before, or differs from the
    default.

    Parameters
    ----------
    cls : type[T]
        The data class.

    Returns
    -------
    type[T]
        The same class.
    """
    plain: Any = cls.__init__
    defaults = {f.name: _default(f) for f in fields(cls)}  # type: ignore[arg-type]  # a data class, as said

    @wraps(plain)
    def record(self: T, **given: Any) -> None:
        before = given.pop(STATED, None)
        if before is None:
            stated = frozenset(given)
        else:
            stated = frozenset(before) | {n for n, value in given.items() if value != defaults[n]}
        plain(self, **given, stated=stated)

    cls.__init__ = record  # type: ignore[assignment]  # the same signature, with the names noted
    return cls


def own_fields(cls: Any) -> tuple[Field[Any], ...]:
    """Return the fields of a data class that are keys of a set-up.

    Parameters
    ----------
    cls : Any
        The data class, or one of its kind.

    Returns
    -------
    tuple
        In the order of the class.
    """
    return tuple(f for f in fields(cls) if not f.metadata.get("hidden"))


def _default(field: Field[Any]) -> Any:
    if field.default_factory is not MISSING:
        return field.default_factory()
    return field.default
