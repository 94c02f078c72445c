"""The page of a search for reliefs: each in words, with pictures of before and after."""

from __future__ import annotations

import base64
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.report import statements as facts
from fixturecheck.report.order import OVERVIEW
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.scene import actor, camera, fit, legend_of
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit, up_for
from fixturecheck.result.shapes import NamedShape
from fixturecheck.wording.quantity import typeset_page

_TIMES = 12.0
_LEAST_MM = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Across:
    """Where a relief is looked at: its middle, the way it runs, its size, and its words after and before.

    `clash_at_mm` and `ring_mm` are the middle of the clash and the radius of the ring round it.
    """

    at_mm: Floats
    clash_at_mm: Floats
    ring_mm: float
    along: Floats
    size_mm: float
    says: str
    before: str = "in the way"


def whole_scene(name: str, shapes: Sequence[NamedShape], points_mm: Floats) -> dict[str, Any]:
    """Return the scene of the whole set-up, which the close-ups show small in their corner."""
    eye = unit(FRONT_RIGHT)
    centre, height = fit(points_mm, eye)
    colours = body_colours(tuple(shapes))
    return {
        "file": OVERVIEW,
        "actors": [actor(s, colours) for s in shapes],
        "camera": camera(centre, eye, up_for(eye), height),
        "cut": False,
        "tags": [],
        "legend": legend_of(s.role for s in shapes),
        "frame": True,
        "title": name,
        "verdict": None,
    }


def relief_scenes(
    across: Across, sides: Sequence[tuple[str, Sequence[NamedShape]]], meshes: Collection[str], units: str
) -> list[dict[str, Any]]:
    """Return one scene for each side: (file, shapes to draw), all from the same place."""
    eye = unit(across.along)
    eye = eye if float(eye @ np.array(FRONT_RIGHT)) > 0 else -eye
    place = camera(across.at_mm, eye, up_for(eye), max(_TIMES * across.size_mm, _LEAST_MM))
    scenes = []
    for k, (file, shapes) in enumerate(sides):
        drawn = [s for s in shapes if s.name in meshes]
        scenes.append(
            {
                "file": file,
                "actors": [actor(s, body_colours(tuple(drawn))) for s in drawn],
                "camera": place,
                "cut": True,
                "tags": [],
                "spot": across.clash_at_mm.tolist(),
                "ring_mm": across.ring_mm,
                "arrow": None,
                "title": f"{'after' if k else 'before'}: {across.says}",
                "verdict": "go" if k else "no-go",
                "callout": [across.says] if k else [across.before],
                "legend": legend_of(s.role for s in drawn),
                "units": units,
            }
        )
    return scenes


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliefShown:
    """One relief as the page tells it: what, its lines, and the files of its two pictures."""

    says: str
    lines: tuple[str, ...]
    before: str
    after: str


def relief_page(
    name: str,
    reliefs: Sequence[ReliefShown],
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


def _relief(told: ReliefShown, pictures: Mapping[str, bytes]) -> str:
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
