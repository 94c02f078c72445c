"""The page of a search for reliefs: each in words, with pictures of before and after."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.report import statements as facts
from fixturecheck.report.markup import Picture, picture_of, render_page
from fixturecheck.report.order import OVERVIEW
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.scene import actor, camera, fitted, legend_of, scene_base
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit
from fixturecheck.result.finding import Verdict
from fixturecheck.result.relief import ReliefOutcome
from fixturecheck.result.shapes import NamedShape
from fixturecheck.units import Writing
from fixturecheck.wording.relief import (
    ReliefLine,
    clash_words,
    gives_words,
    refused_lines,
    relief_lines,
    relief_words,
    unknown_words,
)

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
    """Return the scene of the whole set-up, which the close-ups show small in their corner.

    Parameters
    ----------
    name : str
        Title of the picture.
    shapes : sequence of NamedShape
        What is drawn.
    points_mm : ndarray, shape (n, 3)
        Points that have to be in the picture.

    Returns
    -------
    dict
        A scene, as `scene_base` begins it.
    """
    colours = body_colours(tuple(shapes))
    return {
        **scene_base(OVERVIEW, name),
        "actors": [actor(s, colours) for s in shapes],
        "camera": fitted(points_mm),
        "legend": legend_of(s.role for s in shapes),
    }


def relief_scenes(
    across: Across, sides: Sequence[tuple[str, Sequence[NamedShape]]], meshes: Collection[str], units: str
) -> list[dict[str, Any]]:
    """Return one scene for each side: (file, shapes to draw), all from the same place.

    Parameters
    ----------
    across : Across
        Where the relief is looked at.
    sides : sequence of (str, sequence of NamedShape)
        File and shapes of each picture: the first is before the relief, the others after it.
    meshes : collection of str
        Names of the shapes that have a mesh; others are not drawn.
    units : str
        Units of the report: `mm`, `inch` or `thou`.

    Returns
    -------
    list of dict
        Scenes, as `scene_base` begins them; all are cut open.
    """
    eye = unit(across.along)
    eye = eye if float(eye @ np.array(FRONT_RIGHT)) > 0 else -eye
    place = camera(across.at_mm, eye, max(_TIMES * across.size_mm, _LEAST_MM))
    scenes = []
    for k, (file, shapes) in enumerate(sides):
        drawn = [s for s in shapes if s.name in meshes]
        scenes.append(
            {
                **scene_base(
                    file, f"{'after' if k else 'before'}: {across.says}", Verdict.GO if k else Verdict.NO_GO
                ),
                "actors": [actor(s, body_colours(tuple(drawn))) for s in drawn],
                "camera": place,
                "cut": True,
                "spot": across.clash_at_mm.tolist(),
                "ring_mm": across.ring_mm,
                "arrow": None,
                "callout": [across.says] if k else [across.before],
                "legend": legend_of(s.role for s in drawn),
                "units": units,
            }
        )
    return scenes


_LABELS = {
    ReliefLine.TOUCHES: "takes material from ",
    ReliefLine.CODE: "code: ",
    ReliefLine.MIND: "",
    ReliefLine.OR: "or: ",
    ReliefLine.LESS: "less would do ",
    ReliefLine.NOT: "does not hold: ",
    ReliefLine.TRIED: "",
}
"""How a line begins on the page, where not by its label."""


def picture_files(number: int) -> tuple[str, str]:
    """Return the names of the pictures of a relief, before and after; the first relief is number one.

    Parameters
    ----------
    number : int
        Number of the relief, from 1.

    Returns
    -------
    (str, str)
        File names, without their folder.
    """
    return f"{number:02d}_before.png", f"{number:02d}_after.png"


def relief_page(name: str, found: ReliefOutcome, pictures: Mapping[str, bytes], write: Writing) -> str:
    """Return the page of a set-up's reliefs.

    Parameters
    ----------
    name : str
        What the set-up is called.
    found : ReliefOutcome
        The reliefs, those that were refused and what could not be computed.
    pictures : mapping of str to bytes
        PNG files by name.
    write : Writing
        Writes the quantities in the units of the report.

    Returns
    -------
    str
        HTML.
    """
    return render_page(
        "reliefs.html",
        title=f"Reliefs: {name}",
        reliefs=[
            {
                "says": relief_words(r.cut, write),
                "lines": _lines(relief_lines(r, write), write),
                "pictures": _pictures(relief_words(r.cut, write), n, pictures),
            }
            for n, r in enumerate(found.reliefs, start=1)
        ],
        refused=[
            (f"{clash_words(r.clash)}: {gives_words(r)}.", _lines(refused_lines(r, write), write))
            for r in found.refused
        ],
        missing=unknown_words(found),
        machine=facts.AT_THE_MACHINE,
    )


def _lines(told: Iterable[tuple[ReliefLine, str]], write: Writing) -> list[str]:
    """Return what is said about a relief, each line as the page begins it."""
    labels = _LABELS if write.units == "mm" else _LABELS | {ReliefLine.CODE: "code, in mm: "}
    return [f"{labels.get(line, f'{line} ')}{text}" for line, text in told]


def _pictures(says: str, number: int, pictures: Mapping[str, bytes]) -> list[Picture]:
    shown = zip(picture_files(number), ("before", "after"), strict=True)
    return [picture_of(pictures[f], f"{says}, {when}", when) for f, when in shown if f in pictures]
