"""How the shop's solids are built: prisms, boxes, cylinders, solids of revolution, and cuts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import wraps
from typing import ParamSpec

import cadquery as cq

from fixturecheck.errors import KernelError
from fixturecheck.kernel.shapes import Solid
from fixturecheck.result import Vector

_P = ParamSpec("_P")

Point2 = tuple[float, float]

Segment = tuple[str, Point2, Point2] | tuple[str, Point2, Point2, Point2]
"""`("line", start, end)` or `("arc", start, middle, end)`."""


def _sound(build: Callable[_P, Solid]) -> Callable[_P, Solid]:
    """Wrap a building function: kernel errors become ours, and what comes out is one valid solid."""

    @wraps(build)
    def checked(*args: _P.args, **kwargs: _P.kwargs) -> Solid:
        try:
            solid = build(*args, **kwargs)
            valid = solid.isValid() and solid.Volume() > 0
        except Exception as reason:  # the kernel's exceptions share no base class
            message = f"the kernel could not build a {build.__name__}: {reason}"
            raise KernelError(message) from reason
        if not valid:
            message = f"the kernel built a {build.__name__} that is not a valid solid"
            raise KernelError(message)
        return solid

    return checked


@_sound
def box(low: Vector, high: Vector) -> Solid:
    """Return the box between two opposite corners, mm."""
    size = [b - a for a, b in zip(low, high, strict=True)]
    return cq.Solid.makeBox(*size, cq.Vector(*low))


@_sound
def prism(outline: Sequence[Point2], *, from_x_mm: float, to_x_mm: float) -> Solid:
    """Return the prism of a closed polygon.

    Parameters
    ----------
    outline : sequence of (float, float)
        Corners (y, z) in mm, in order; the last is joined to the first.
    from_x_mm, to_x_mm : float
        Ends of the prism.
    """
    wire = cq.Wire.makePolygon([cq.Vector(from_x_mm, y, z) for y, z in outline], close=True)
    return cq.Solid.extrudeLinear(wire, [], cq.Vector(to_x_mm - from_x_mm, 0, 0))


@_sound
def cylinder(radius_mm: float, start: Vector, end: Vector) -> Solid:
    """Return the cylinder about the line from start to end."""
    axis = cq.Vector(*end) - cq.Vector(*start)
    return cq.Solid.makeCylinder(radius_mm, axis.Length, cq.Vector(*start), axis)


@_sound
def cut(solid: Solid, *tools: Solid) -> Solid:
    """Return what is left of a solid, in one piece, after others are taken from it."""
    return _one(solid.cut(*tools))


@_sound
def fuse(solid: Solid, *others: Solid) -> Solid:
    """Return several solids as one, with faces that lie in one surface joined."""
    return _one(solid.fuse(*others).clean())


@_sound
def chamfer(solid: Solid, size_mm: float) -> Solid:
    """Return a convex solid with every edge broken by a 45 degree chamfer; unchanged when the size is 0."""
    return _one(solid.chamfer(size_mm, None, solid.Edges())) if size_mm > 0 else solid


def bevelled(corners: Sequence[Point2], size_mm: float, at: Sequence[int]) -> list[Point2]:
    """Return a polygon with the numbered corners cut off, `size_mm` back along both their sides."""
    out: list[Point2] = []
    for i, corner in enumerate(corners):
        if i not in at or size_mm == 0:
            out.append(corner)
            continue
        for other in (corners[i - 1], corners[(i + 1) % len(corners)]):
            share = size_mm / math.dist(corner, other)
            out.append(
                (corner[0] + share * (other[0] - corner[0]), corner[1] + share * (other[1] - corner[1]))
            )
    return out


def _one(shape: cq.Shape) -> Solid:
    """Return the one solid in a result."""
    solids = shape.Solids()
    if len(solids) != 1:
        message = f"{len(solids)} solids came out where one was meant"
        raise ValueError(message)
    return solids[0]
