"""The page of a search for reliefs: each in words, with pictures of before and after."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.report import statements as facts
from fixturecheck.report.markup import Picture, picture_of, render_page
from fixturecheck.report.order import OVERVIEW
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.scene import actor, camera, fit, legend_of
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit, up_for
from fixturecheck.result.shapes import NamedShape

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
    title = f"Reliefs: {name}"
    return render_page(
        "reliefs.html",
        title=title,
        reliefs=[{"says": r.says, "lines": r.lines, "pictures": _pictures(r, pictures)} for r in reliefs],
        refused=refused,
        missing=missing,
        machine=facts.AT_THE_MACHINE,
    )


def _pictures(relief: ReliefShown, pictures: Mapping[str, bytes]) -> list[Picture]:
    shown = [(relief.before, "before"), (relief.after, "after")]
    return [picture_of(pictures[f], f"{relief.says}, {when}", when) for f, when in shown if f in pictures]
