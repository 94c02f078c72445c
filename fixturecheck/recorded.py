"""Remembers which fields of a data class were stated when it was made, and which took their defaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, Field, fields
from functools import wraps
from typing import Any, TypeVar

T = TypeVar("T")

HIDDEN: Mapping[str, bool] = {"hidden": True}
"""Metadata of a field that is bookkeeping and no key of a set-up."""

STATED = "stated"


def recorded(cls: type[T]) -> type[T]:
    """Let a data class with a field `stated` fill it with the names of the fields that were given.

    What `dataclasses.replace` hands over counts as stated where it was stated before, or differs from the
    default.
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
    """Return the fields of a data class that are keys of a set-up."""
    return tuple(f for f in fields(cls) if not f.metadata.get("hidden"))


def _default(field: Field[Any]) -> Any:
    if field.default_factory is not MISSING:
        return field.default_factory()
    return field.default
