"""The picture of a set-up with its bodies numbered in the order in which they are set."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.painter import Painter
from fixturecheck.report.pictures.scene import BODIES, MeshedResult, overview, set_stage
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.result.shapes import Role
from fixturecheck.sheet.content import StagedBody

PICTURE = "staged.png"
_MOST_NAMED = 14
"""Bodies that carry their name beside their number; more carry the number alone."""


def staged_picture(
    result: Result, steps: Sequence[StagedBody], painter: Painter
) -> tuple[bytes | None, str | None]:
    """Return the PNG, and why there is none where it could not be drawn.

    Parameters
    ----------
    steps : sequence of StagedBody
        The order, each with the body that carries its number.
    painter : Painter
        A drawing process that has drawn nothing yet.
    """
    meshes = meshes_of(result)
    scene = _scene(set_stage(result, meshes), steps)
    with tempfile.TemporaryDirectory() as folder:
        drawn = painted(painter, Path(folder), [scene], (result.shapes, meshes))
        return drawn.read(Path(folder)).get(PICTURE), drawn.trouble


def _scene(stage: MeshedResult, steps: Sequence[StagedBody]) -> dict[str, Any]:
    """Return the whole set-up without the wheel, each body of the order with its number."""
    scene = overview(stage)
    kept = (*BODIES, Role.POLE)
    named = len(steps) <= _MOST_NAMED
    return {
        **scene,
        "file": PICTURE,
        "actors": [a for a in scene["actors"] if a["role"] in kept],
        "tags": [s.tag for s in steps],
        "labels": {s.tag: f"{s.number}  {s.name}" if named else f"{s.number}" for s in steps},
        "legend": [],
    }
