"""One module, one question; the dict lists them in the order a toolmaker would ask.

Modules are loaded when they are run, so that naming them costs nothing.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Collection
from dataclasses import dataclass
from importlib.resources import files
from inspect import cleandoc

from fixturecheck.errors import SetupError
from fixturecheck.names import CHECKS, nearest

MODULES = {name: f"{__name__}.{name}" for name in CHECKS}


def chosen(only: Collection[str] | None = None, skip: Collection[str] = ()) -> frozenset[str]:
    """Return the checks that are asked: all, or those named, less those left out.

    Parameters
    ----------
    only : collection of str, optional
        The checks to ask; None asks all.
    skip : collection of str
        The checks to leave out.

    Returns
    -------
    frozenset of str
        Keys of `MODULES`.

    Raises
    ------
    SetupError
        A name is not that of a check, or nothing is left to ask.
    """
    named = dict.fromkeys((*(only or ()), *skip))
    wrong = [f"there is no check {name!r}; {nearest(name, MODULES)}" for name in named if name not in MODULES]
    if wrong:
        raise SetupError(*wrong)
    asked = frozenset(MODULES if only is None else only) - frozenset(skip)
    if not asked:
        raise SetupError("no check is left to ask")
    return asked


_SECTION = re.compile(r"(?:^|(?<=\s))(What|Why|Formulas?|Limits?|Remedy|Go|No-go): ")


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckDescription:
    """What a check says of itself.

    Parameters
    ----------
    title : str
        What its answers stand under in a report.
    question : str
        What it asks.
    before : str
        What it says before the first section; mostly empty.
    sections : tuple of (str, str)
        What, Why, Formula, Limits, Remedy, Go and No-go, each with its text.
    """

    title: str
    question: str
    before: str
    sections: tuple[tuple[str, str], ...]


def description_of(check: str) -> CheckDescription:
    """Return what a check says of itself.

    Parameters
    ----------
    check : str
        A key of `MODULES`.

    Returns
    -------
    CheckDescription
    """
    source = files("fixturecheck.checks").joinpath(f"{MODULES[check].rpartition('.')[2]}.py")
    module = ast.parse(source.read_text(encoding="utf-8"))
    first, _, rest = cleandoc(ast.get_docstring(module) or "").partition("\n")
    parts = _SECTION.split(" ".join(rest.split()))
    sections = zip(parts[1::2], parts[2::2], strict=True)
    return CheckDescription(
        title=_title(module),
        question=f"{first.rstrip('.')}?",
        before=parts[0].strip(),
        sections=tuple((name, text.strip()) for name, text in sections),
    )


def _title(module: ast.Module) -> str:
    """Return the value of the constant TITLE."""
    for line in module.body:
        if isinstance(line, ast.Assign) and any(
            isinstance(t, ast.Name) and t.id == "TITLE" for t in line.targets
        ):
            return str(ast.literal_eval(line.value))
    return ""
