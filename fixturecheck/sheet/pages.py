"""The sheets set as a PDF, and the same as a page."""

from __future__ import annotations

import base64
import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.metadata import version
from importlib.resources import files
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.report.markup import render
from fixturecheck.sheet.content import Sheet

_MOST_PAGES = 2
"""Pages that a sheet may take; one that takes more is set closer."""

PAPERS = {"a4": "a4", "letter": "us-letter"}
"""The papers by their names, as the typesetter calls them."""


def refuse_without_typesetter() -> None:
    """Raise where no PDF can be set.

    Raises
    ------
    SetupError
        The typesetter is not installed; says how to install it.
    """
    if find_spec("typst") is None:
        raise SetupError(
            "no PDF can be set: typst is not installed; pip install 'fixturecheck[sheet]', or --no-pdf"
        )


def sheet_pdf(sheets: Sequence[Sheet], pictures: Mapping[str, bytes], *, paper: str) -> bytes:
    """Return the sheets as one PDF; the same input gives the same bytes.

    A sheet that would take more than two pages is set closer.

    Parameters
    ----------
    sheets : sequence of Sheet
        Each begins on a page of its own.
    pictures : mapping of str to bytes
        PNG files by name.
    paper : str
        A name of `PAPERS`.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    NotComputedError
        The typesetter failed.
    """
    import typst  # noqa: PLC0415 -- only what sets a PDF needs it

    source = files("fixturecheck.sheet").joinpath("sheet.typ").read_bytes()
    data = {"version": version("fixturecheck"), "paper": PAPERS[paper]}
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        for name, png in pictures.items():
            (home / name).write_bytes(png)
        (home / "sheet.typ").write_bytes(source)
        # Only the fonts that the typesetter brings, so that every machine sets the same.
        compiler = typst.Compiler(home / "sheet.typ", root=home, ignore_system_fonts=True)
        try:
            close = [False] * len(sheets)
            for _ in range(2):
                told = [{**asdict(s), "close": tight} for s, tight in zip(sheets, close, strict=True)]
                (home / "sheet.json").write_text(json.dumps({**data, "sheets": told}), encoding="utf-8")
                # The last one is where the document ends.
                starts = json.loads(compiler.query("<begins>", field="value"))
                close = [end - begin > _MOST_PAGES for begin, end in pairwise(starts)]
                if not any(close):
                    break
            pdf = compiler.compile(format="pdf", timestamp=0)
        except RuntimeError as reason:
            raise NotComputedError(f"the sheet could not be set: {reason}") from reason
    if not isinstance(pdf, bytes):
        raise NotComputedError("the typesetter returned no PDF")
    return pdf


def sheet_page(sheets: Sequence[Sheet], pictures: Mapping[str, bytes], *, paper: str) -> str:
    """Return the sheets as one page of HTML that needs no other file, and prints like the PDF.

    Parameters
    ----------
    sheets : sequence of Sheet
        One below the other; in print each begins on a page of its own.
    pictures : mapping of str to bytes
        PNG files by name.
    paper : str
        A name of `PAPERS`.

    Returns
    -------
    str
        The page.
    """
    drawn = {name: base64.b64encode(png).decode("ascii") for name, png in pictures.items()}
    return render("sheet.html", sheets=sheets, pictures=drawn, paper=paper, version=version("fixturecheck"))
