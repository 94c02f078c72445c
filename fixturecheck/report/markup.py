"""Templates of the pages, and the pieces that they are filled with.

Whatever a template prints is escaped, so that a name with markup in it shows as text.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

MOST_ROWS = 300
"""Rows of a table at most, so that a page stays readable."""

MOST_OPEN = 12
"""Rows of contacts or faces at most that stand open; more are folded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A cell of a table that is more than its text.

    Parameters
    ----------
    lines : tuple of str
        What stands in it, one below the other.
    below : str
        What stands small below that.
    strong, unbroken : bool
        Whether its lines stand out, and whether they are kept in one piece.
    """

    lines: tuple[str, ...]
    below: str = ""
    strong: bool = False
    unbroken: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table.

    Parameters
    ----------
    heads : tuple of str
        Heads of its columns; empty where it has none.
    rows : tuple of rows
        Each a cell for each column.
    numbers : frozenset of int
        Columns that are set to the right.
    stops : tuple of str
        Stop of the 3-D view for each row; empty where rows are no stops.
    left_out : int
        Rows beyond those that a page has room for.
    """

    heads: tuple[str, ...]
    rows: tuple[Sequence[str | Cell], ...]
    numbers: frozenset[int] = frozenset()
    stops: tuple[str, ...] = ()
    left_out: int = 0


def table_of(
    heads: Sequence[str], rows: Sequence[Sequence[str | Cell]], *numbers: int, stops: Sequence[str] = ()
) -> Table:
    """Return a table, cut where it is too long for a page; `numbers` are the columns set to the right.

    Parameters
    ----------
    heads : sequence of str
        One for each column.
    rows : sequence of sequence of str or Cell
        A cell for each column; rows past `MOST_ROWS` are only counted.
    *numbers : int
        Columns, from 0, that are set to the right.
    stops : sequence of str
        Stop of the 3-D view for each row; empty where rows are no stops.

    Returns
    -------
    Table
        What was cut off is counted in its `left_out`.
    """
    return Table(
        heads=tuple(heads),
        rows=tuple(rows[:MOST_ROWS]),
        numbers=frozenset(numbers),
        stops=tuple(stops[:MOST_ROWS]),
        left_out=max(len(rows) - MOST_ROWS, 0),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture with the words under it, and those for who does not see it."""

    data: str
    alternative: str
    caption: str


def picture_of(png: bytes, alternative: str, caption: str) -> Picture:
    """Return a PNG picture that stands in the page itself.

    Parameters
    ----------
    png : bytes
        The file.
    alternative : str
        Words for who does not see it.
    caption : str
        Words under it.

    Returns
    -------
    Picture
        Its data is the file in base64.
    """
    return Picture(data=base64.b64encode(png).decode("ascii"), alternative=alternative, caption=caption)


def render(template: str, **values: Any) -> Markup:
    """Return a template filled with values.

    Parameters
    ----------
    template : str
        File name of the template.
    **values : object
        What the template prints, by the names that it uses.

    Returns
    -------
    Markup
        HTML.
    """
    return Markup(_templates().get_template(template).render(values))  # noqa: S704 -- escaped by the template


def style() -> Markup:
    """Return the style sheet of the pages.

    Returns
    -------
    Markup
        CSS.
    """
    return Markup(files("fixturecheck.report").joinpath("report.css").read_text(encoding="utf-8"))  # noqa: S704 -- ours


def render_page(template: str, *, title: str, view: object = None, **values: Any) -> Markup:
    """Return a whole page: a template with the style sheet of all pages.

    Parameters
    ----------
    template : str
        File name of the template.
    title : str
        Title of the page.
    view : object
        The 3-D view that stands in it; None leaves it out.
    **values : object
        What the template prints besides, by the names that it uses.

    Returns
    -------
    Markup
        HTML.
    """
    return render(template, title=title, style=style(), view=view, **values)


def svg(
    title: str, size: tuple[float, float], pieces: Iterable[str], *, font_px: int = 12, name: str = ""
) -> str:
    """Return a chart as SVG that is at most as wide as it is drawn.

    Parameters
    ----------
    title : str
        What it shows, for who does not see it; it is escaped here.
    size : (float, float)
        Width and height, px.
    pieces : iterable of str
        What is drawn, with its own texts escaped.
    font_px : int
        Size of the texts that state none.
    name : str
        Its class, by which the page finds it; empty for none.

    Returns
    -------
    str
        SVG.
    """
    wide, high = size
    called = f' class="{name}"' if name else ""
    return (
        f'<svg viewBox="0 0 {wide:.0f} {high:.0f}" role="img" aria-label="{escape(title)}"{called} '
        f'style="width:100%;max-width:{wide:.0f}px;height:auto" font-size="{font_px}" text-anchor="middle">'
        f"{''.join(pieces)}</svg>"
    )


def round_step(least: float) -> float:
    """Return the next of 1, 2 or 5 times a power of ten, as an axis is marked.

    Parameters
    ----------
    least : float
        What the step must reach, in the unit of the axis.

    Returns
    -------
    float
        In the same unit.
    """
    power = 10.0 ** math.floor(math.log10(max(least, 1e-12)))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= least * (1 - 1e-9))


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("fixturecheck.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
