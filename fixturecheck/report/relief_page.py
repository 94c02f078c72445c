"""The page of a search for reliefs: each relief in words, with the part before and after side by side."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files

from fixturecheck.report import facts
from fixturecheck.wording.quantity import typeset_page


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One relief as the page tells it: what, its lines, and the files of its two pictures."""

    says: str
    lines: tuple[str, ...]
    before: str
    after: str


def relief_page(
    name: str,
    reliefs: Sequence[Told],
    refused: Sequence[tuple[str, Sequence[str]]],
    pictures: Mapping[str, bytes],
    missing: Sequence[str] = (),
) -> str:
    """Return the page.

    Parameters
    ----------
    refused : sequence of (sentence, reasons)
        Clashes that no relief cures.
    pictures : mapping of str to bytes
        PNG files by name.
    missing : sequence of str
        What could not be computed, and why.
    """
    style = files("fixturecheck.report").joinpath("report.css").read_text(encoding="utf-8")
    body = "\n".join(_relief(r, pictures) for r in reliefs)
    left = "\n".join(_refused(says, why) for says, why in refused)
    if missing:
        lines = "".join(f"<li>{escape(w)}</li>" for w in missing)
        left += f"<section><h2>What could not be computed</h2>\n<ul>{lines}</ul></section>"
    nothing = (
        "" if reliefs or refused or missing else "<p>Nothing is in the way: there is nothing to relieve.</p>"
    )
    told = typeset_page(f"{nothing}{body}\n{left}")
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Reliefs: {escape(name)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>Reliefs: {escape(name)}</h1>\n{told}\n{facts.AT_THE_MACHINE}\n</main>\n"
        "</body>\n</html>\n"
    )


def _relief(told: Told, pictures: Mapping[str, bytes]) -> str:
    shown = [(told.before, "before"), (told.after, "after")]
    drawn = "".join(_picture(pictures[f], f"{told.says}, {when}", when) for f, when in shown if f in pictures)
    lines = "".join(f"<li>{escape(line)}</li>" for line in told.lines)
    side = 'style="display:grid;grid-template-columns:repeat(auto-fit,minmax(280px,1fr));gap:10px"'
    return f"<section><h2>{escape(told.says)}</h2>\n<div {side}>{drawn}</div>\n<ul>{lines}</ul></section>"


def _refused(says: str, why: Sequence[str]) -> str:
    lines = "".join(f"<li>{escape(w)}</li>" for w in why)
    return f"<section><h2>No relief cures it</h2>\n<p>{escape(says)}</p>\n<ul>{lines}</ul></section>"


def _picture(png: bytes, alternative: str, caption: str) -> str:
    data = base64.b64encode(png).decode("ascii")
    return (
        f'<figure><img src="data:image/png;base64,{data}" width="1200" height="900" style="width:100%" '
        f'alt="{escape(alternative)}"><figcaption>{escape(caption)}</figcaption></figure>'
    )
