"""Pictures of a set-up with its bodies numbered in the order in which they are set: all of it, and close."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.painter import Painter
from fixturecheck.report.pictures.scene import MeshedResult, camera, fit, overview, set_stage
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit, up_for
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.result.shapes import BODIES, Role
from fixturecheck.sheet.content import StagedBody

WHOLE, NEAR = "staged.png", "near.png"
_MOST_NAMED = 14
"""Bodies that carry their name beside their number; more carry the number alone."""

_LETTERS_PX = 48
"""Letters of the axes: 11 points high in the picture on paper, as the text beside it."""

_ROUND_PARTS = 0.4
"""How much of the parts' longest side is shown round them in the close picture."""

_CLOSER = 0.75
"""The close picture is drawn where it shows less than this share of the height of the whole."""


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
    near = _near(stage)
    if near is None or near["height_mm"] > _CLOSER * scene["camera"]["height_mm"]:
        return [whole]
    return [
        whole,
        {**whole, "whole": True, "file": NEAR, "camera": near, "title": f"{scene['title']}, close"},
    ]


def _near(stage: MeshedResult) -> dict[str, Any] | None:
    """Return the camera that holds the parts and what stands just round them; None without parts."""
    parts = [s for s in stage.result.shapes if s.role is Role.PART]
    if not parts:
        return None
    points = np.vstack([stage.meshes[s.name].all_points_mm() for s in parts])
    everything = np.vstack(
        [stage.meshes[s.name].all_points_mm() for s in stage.result.shapes if s.role in BODIES]
    )
    margin_mm = _ROUND_PARTS * float(np.ptp(points, axis=0).max())
    low = np.maximum(points.min(axis=0) - margin_mm, everything.min(axis=0))
    high = np.minimum(points.max(axis=0) + margin_mm, everything.max(axis=0))
    ends = np.stack([low, high])
    corners = np.array([[ends[i, 0], ends[j, 1], ends[k, 2]] for i, j, k in product((0, 1), repeat=3)])
    eye = unit(FRONT_RIGHT)
    middle, height_mm = fit(corners, eye)
    return camera(middle, eye, up_for(eye), height_mm)
