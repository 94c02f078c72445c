"""Free-form solids that stand in for known shapes: splines of simple solids, an egg, an elliptic bar."""

from __future__ import annotations

import math

import cadquery as cq
from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

from tests.contact.staging import pin


def freeform(drawn: cq.Workplane | cq.Solid) -> cq.Solid:
    """The same solid with every surface and edge a B-spline."""
    shape = drawn.val() if isinstance(drawn, cq.Workplane) else drawn
    return cq.Shape.cast(BRepBuilderAPI_NurbsConvert(shape.wrapped, True).Shape()).Solids()[0]


def spline_rods(cross_deg: float) -> tuple[cq.Solid, cq.Solid]:
    """Two rods as splines, one lying across the other; they touch at the origin."""
    way = math.radians(cross_deg)
    low = pin(5, 60, (-30, 0, -5), (1, 0, 0))
    top = pin(4, 60, (-30 * math.cos(way), -30 * math.sin(way), 4), (math.cos(way), math.sin(way), 0))
    return freeform(low), freeform(top)


def egg() -> cq.Workplane:
    """A body of revolution whose lowest place is its pole, at the origin."""
    outline = cq.Workplane("XZ").spline(
        [(0, 0), (4, 0.9), (6, 5), (3, 9.5), (0, 10)], tangents=[(1, 0), (-1, 0)]
    )
    return outline.close().revolve(360, (0, 0), (0, 1))


def elliptic_bar() -> cq.Workplane:
    """A bar 40 mm along Y whose section is an ellipse that stands on the plate."""
    return cq.Workplane("XZ").ellipse(8, 5).extrude(-40).translate((0, -20, 5))
