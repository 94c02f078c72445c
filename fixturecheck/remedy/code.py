"""The one line of CadQuery code that makes a relief."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.milled import BoxCut
from fixturecheck.contact.relief import EdgeCut, step_box
from fixturecheck.kernel.brep.topology import edges_of
from fixturecheck.kernel.measure import centroid_of
from fixturecheck.kernel.select import nearest_edge
from fixturecheck.kernel.shapes import Solid
from fixturecheck.result import Vector

Array = NDArray[np.float64]
_DECIMALS = 4


def middle_of(solid: Solid, edge: int) -> Vector:
    """Return the middle of an edge, rounded to what a line of code shows."""
    x, y, z = centroid_of(edges_of(solid)[edge])
    return round(x, _DECIMALS) + 0.0, round(y, _DECIMALS) + 0.0, round(z, _DECIMALS) + 0.0


def line_for(solid: Solid, cut: EdgeCut | BoxCut, name: str = "part") -> str:
    """Return the line that makes a cut on a part held in a variable as a `cadquery.Workplane`."""
    if isinstance(cut, BoxCut):
        return _box_line(cut.corner, cut.axes, cut.sizes_mm, name)
    if cut.kind == "undercut":
        return _box_line(*step_box(solid, cut), name)
    point = middle_of(solid, cut.edge)
    if nearest_edge(solid, point) != cut.edge:
        # Two edges share a middle; the nearest-point selector cannot tell them apart, the number can.
        picked = f"{name}.newObject([{name}.val().Edges()[{cut.edge}]])"
    else:
        picked = f"{name}.edges(cq.selectors.NearestToPointSelector({_tuple(point)}))"
    return f"{name} = {picked}.{cut.kind}({cut.size_mm[0]:.2f})"


def _box_line(corner: Array, axes: Array, sizes: tuple[float, float, float], name: str) -> str:
    """Return the line that mills a box away."""
    # The box is told in a right-handed plane; a left-handed corner starts at its far end.
    right = float(np.linalg.det(axes)) > 0
    origin = corner if right else corner + axes[2] * sizes[2]
    normal = axes[2] if right else -axes[2]
    plane = f"cq.Plane({_tuple(origin)}, {_tuple(axes[0])}, {_tuple(normal)})"
    box = ", ".join(f"{v:.6g}" for v in sizes)
    return f"{name} = {name}.cut(cq.Workplane({plane}).box({box}, centered=False))"


def _tuple(values: Iterable[float]) -> str:
    return "(" + ", ".join(f"{round(float(v), 9) + 0.0:.11g}" for v in values) + ")"
