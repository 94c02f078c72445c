"""One variant of a study, checked in a process of its own."""

from __future__ import annotations

from fixturecheck.errors import FixturecheckError
from fixturecheck.study.model import Variant, VariantRow
from fixturecheck.study.outcome import row_of, unknown_row

Task = tuple[str, Variant, tuple[str, ...] | None, tuple[str, ...]]
"""A key, a variant, the checks to ask, and those to leave out."""


def check_variant(task: Task) -> VariantRow:
    """Return what a variant comes to; one that cannot be checked is unknown, with the reason."""
    # In a new process the kernel is loaded by the first variant, not by naming this function.
    from fixturecheck.engine import check  # noqa: PLC0415 -- as above
    from fixturecheck.setup.load import load  # noqa: PLC0415 -- as above

    key, variant, only, skip = task
    try:
        return row_of(key, variant, check(load(variant.setup, variant.overrides), only=only, skip=skip))
    except FixturecheckError as trouble:
        return unknown_row(key, variant, str(trouble))
