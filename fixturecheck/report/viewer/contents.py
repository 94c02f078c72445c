"""What the 3-D view of a result shows, put together from its shapes, stops and motions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.pictures.draw import Drawing
from fixturecheck.report.pictures.figures import Figure
from fixturecheck.report.viewer.motions import motions_of
from fixturecheck.report.viewer.stops import PARTS, WHOLE, stops_of
from fixturecheck.report.viewer.things import LAYERS, figure_thing, gap_scale, things_of
from fixturecheck.report.viewer.view import Store, ViewerMarkup, view_with
from fixturecheck.result import Result
from fixturecheck.result.finding import Verdict
from fixturecheck.result.shapes import Role
from fixturecheck.setup.model import Setup

_FIGURE_LAYERS = {"figure pull": "pull", "figure flux": "flux"}


def view_of(result: Result, setup: Setup, meshes: Mapping[str, Mesh], drawing: Drawing) -> ViewerMarkup:
    """Return the 3-D view of a result.

    Raises
    ------
    ValueError
        A number that would be drawn is not finite.
    """
    return view_with(packed_view(result, setup, meshes, drawing))


def packed_view(result: Result, setup: Setup, meshes: Mapping[str, Mesh], drawing: Drawing) -> str:
    """Return all that the view shows, as text of ASCII letters."""
    store = Store()
    things = things_of(result, setup, meshes, store)
    things += [_figure(f, drawing, store) for several in drawing.figures.values() for f in several]
    places = {thing["name"]: i for i, thing in enumerate(things)}
    bodies = [s.name for s in result.shapes if s.role in (Role.PART, Role.FIXTURE)]
    points = np.vstack([meshes[n].all_points_mm() for n in bodies] or [np.zeros((1, 3))])
    used = {t["layer"] for t in things}
    stops = stops_of(drawing, places)
    ids = {stop["id"] for stop in stops}
    return store.packed(
        {
            "name": result.name,
            "verdict": str(result.verdict),
            "first": "1" if result.verdict is Verdict.NO_GO else next(s for s in (PARTS, WHOLE) if s in ids),
            "box": [points.min(axis=0).round(4).tolist(), points.max(axis=0).round(4).tolist()],
            "layers": [[key, words] for key, words in LAYERS.items() if key in used],
            "things": things,
            "stops": stops,
            "motions": motions_of(drawing, places),
            "gaps": gap_scale(result),
        }
    )


def _figure(figure: Figure, drawing: Drawing, store: Store) -> dict[str, Any]:
    """Return a figure of the pictures as a thing; how opaque it is stands in the scene that shows it."""
    opacity = next(
        (a["opacity"] for scene in drawing.general for a in scene["actors"] if a["mesh"] == figure.name), 1.0
    )
    return figure_thing(figure, _FIGURE_LAYERS.get(figure.name, "moved"), opacity, store)
