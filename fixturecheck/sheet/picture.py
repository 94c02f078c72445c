"""Pictures of a set-up with its bodies numbered in the order in which they are set: all of it, and close."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.painter import Painter
from fixturecheck.report.pictures.scene import MeshedResult, overview, set_stage
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.result.shapes import BODIES, Role
from fixturecheck.sheet.content import StagedBody

WHOLE, NEAR = "staged.png", "near.png"
_MOST_NAMED = 14
"""Bodies that carry their name beside their number; more carry the number alone."""

_LETTERS_PX = 48
"""Letters of the axes: 11 points high in the picture on paper, as the text beside it."""


def staged_pictures(
    result: Result, steps: Sequence[StagedBody], painter: Painter
) -> tuple[Mapping[str, bytes], str | None]:
    """Draw the set-up.

    Parameters
    ----------
    result : Result
        Whose bodies are drawn.
    steps : sequence of StagedBody
        The order, each with the body that carries its number.
    painter : Painter
        A drawing process that has drawn nothing yet.

    Returns
    -------
    (mapping of str to bytes, str or None)
        PNG files by name, the whole first, and why some are missing where they could not be drawn.
    """
    meshes = meshes_of(result)
    scenes = staged_scenes(set_stage(result, meshes), steps)
    with tempfile.TemporaryDirectory() as folder:
        drawn = painted(painter, Path(folder), scenes, (result.shapes, meshes))
        found = drawn.read(Path(folder))
    return {s["file"]: found[s["file"]] for s in scenes if s["file"] in found}, drawn.trouble


def staged_scenes(stage: MeshedResult, steps: Sequence[StagedBody]) -> list[dict[str, Any]]:
    """Return the scenes of the set-up without its wheel, each body with its number.

    Parameters
    ----------
    stage : MeshedResult
        The result with its meshes.
    steps : sequence of StagedBody
        The order, each with the body that carries its number.

    Returns
    -------
    list of dict
        The whole, and the parts close where that shows more.
    """
    scene = overview(stage)
    kept = (*BODIES, Role.POLE)
    named = len(steps) <= _MOST_NAMED
    whole = {
        **scene,
        "file": WHOLE,
        "actors": [a for a in scene["actors"] if a["role"] in kept],
        "tags": [s.tag for s in steps],
        "labels": {s.tag: f"{s.number}  {s.name}" if named else f"{s.number}" for s in steps},
        "legend": [],
        "letters_px": _LETTERS_PX,
    }
    near = whole.pop("close")
    if near is None:
        return [whole]
    return [
        whole,
        {**whole, "whole": True, "file": NEAR, "camera": near, "title": f"{scene['title']}, close"},
    ]
