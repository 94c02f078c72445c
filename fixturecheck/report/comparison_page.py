"""The page of a comparison: what got worse, what changed, and before and after side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.comparing.model import Comparison, FindingChange
from fixturecheck.report.comparison_text import (
    counts,
    headline,
    margins,
    numbers,
    solids_told,
    stated_words,
    verdicts,
    worth_telling,
)
from fixturecheck.report.markup import Cell, Picture, Table, picture_of, render, style, table_of
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.scene import BODIES, actor, camera, fit, legend_of
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit, up_for
from fixturecheck.result.shapes import NamedShape
from fixturecheck.units import Writing
from fixturecheck.wording.groups import asked

MOST_PAIRS = 6
SIDES = ("before", "after")


def pair_scenes(
    number: int,
    title: str,
    sides: Sequence[Sequence[NamedShape]],
    points_mm: Floats,
    *,
    pale: bool,
) -> list[dict[str, Any]]:
    """Return the scenes of one place before and after, both seen by one camera.

    Parameters
    ----------
    number : int
        Which pair of pictures it is, from 1.
    sides : sequence of two sequences of NamedShape
        What is drawn on either side.
    points_mm : ndarray, shape (n, 3)
        What the pictures have to hold.
    pale : bool
        Whether bodies are let through, so that what was added and removed shows in them.
    """
    eye = unit(FRONT_RIGHT)
    centre, height = fit(points_mm, eye)
    place = camera(centre, eye, up_for(eye), height)
    scenes = []
    for when, shapes in zip(SIDES, sides, strict=True):
        colours = body_colours(tuple(shapes))
        actors = [actor(s, colours, opacity_share=0.45 if pale and s.role in BODIES else 1.0) for s in shapes]
        scenes.append(
            {
                "file": f"{number:02d}_{when}.png",
                "actors": actors,
                "camera": place,
                "cut": False,
                "tags": [],
                "legend": legend_of(s.role for s in shapes),
                "frame": True,
                "whole": True,
                "title": f"{when}: {title}",
                "verdict": None,
            }
        )
    return scenes


def comparison_page(
    found: Comparison, pairs: Sequence[str], pictures: Mapping[str, bytes], why_missing: str | None
) -> str:
    """Return the page.

    Parameters
    ----------
    pairs : sequence of str
        The title of each pair of pictures, in the order of their numbers.
    pictures : mapping of str to bytes
        PNG files by name.
    why_missing : str or None
        Why there are no pictures, or not all.
    """
    rows = worth_telling(found)
    write = Writing(units=found.units)
    verdict = "no-go" if found.breaks else "unknown" if found.unknown else "go"
    return render(
        "comparison.html",
        title=f"{found.before} to {found.after}",
        style=style(),
        view=None,
        verdict=verdict,
        headline=headline(found),
        counts=counts(found),
        names=found.names,
        sides=[
            (when, called, name, str(verdict_of))
            for when, called, name, verdict_of in zip(
                SIDES,
                (found.before, found.after),
                found.names,
                (found.verdict_before, found.verdict_after),
                strict=True,
            )
        ],
        silent=found.no_longer_asked,
        findings=_findings(rows, found.units),
        says=[
            (c.told.subject, c.after.says) for c in rows if c.after is not None and (c.breaks or c.unknown)
        ],
        pairs=[(title, _pair(number, title, pictures)) for number, title in enumerate(pairs, start=1)],
        why_missing=why_missing,
        solids=solids_told(found, write),
        stated=[stated_words(s) for s in found.stated],
    )


def _findings(rows: Sequence[FindingChange], units: str) -> Table:
    told = []
    for c in rows:
        was, now, limit = numbers(c, units)
        margin_was, margin_now = margins(c, units)
        change = f"{c.change}, known" if c.known else str(c.change)
        told.append(
            (
                Cell(lines=(change,), strong=c.breaks or c.unknown),
                verdicts(c),
                asked(c.told),
                c.told.subject,
                was,
                now,
                limit,
                margin_was,
                margin_now,
            )
        )
    heads = (
        "became",
        "verdict",
        "check",
        "about",
        "before",
        "after",
        "limit",
        "margin before",
        "margin after",
    )
    return table_of(heads, told, 4, 5, 6, 7, 8)


def _pair(number: int, title: str, pictures: Mapping[str, bytes]) -> list[Picture]:
    files = [(f"{number:02d}_{when}.png", when) for when in SIDES]
    return [picture_of(pictures[file], f"{title}, {when}", when) for file, when in files if file in pictures]


def all_points(meshes: Sequence[Floats]) -> Floats:
    """Return the points of several meshes as one array; the origin where there are none."""
    return np.vstack(list(meshes)) if meshes else np.zeros((1, 3))
