"""Solids and set-ups that the settling tests share."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.setup.model import Body, Setup


class Shapes:
    """Makers of plain solids and bodies."""

    @staticmethod
    def table_and_stop():
        """A table with its top at Z 0, and a stop whose face stands at X 0."""
        table = Shapes.body("table", Shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
        return table, Shapes.body("stop", Shapes.box(10, 100, 20, (-5, 0, 0)), face=">X")

    @staticmethod
    def box(x, y, z, at=(0, 0, 0)):
        """A box with the middle of its bottom at a place."""
        return cq.Workplane().box(x, y, z).translate((at[0], at[1], at[2] + z / 2)).val()

    @staticmethod
    def vee(angle_deg, wide=60.0, long=80.0):
        """A V-block whose flanks meet in a line along Y through the origin."""
        high = wide / math.tan(math.radians(angle_deg / 2))
        outline = [
            (-wide - 10, -20), (wide + 10, -20), (wide + 10, high), (wide, high),
            (0, 0), (-wide, high), (-wide - 10, high),
        ]  # fmt: skip
        return cq.Workplane("XZ").polyline(outline).close().extrude(long / 2, both=True).val()

    @staticmethod
    def body(name, solid, role="fixture", at=(0, 0, 0), turn=None, **selectors):
        """A body with faces named by selectors."""
        stated = ("tolerance_mm", "orientation_mm", "no_function")
        extra = {k: selectors.pop(k) for k in stated if k in selectors}
        every = faces_of(solid)
        named = {}
        for face, selector in selectors.items():
            chosen = cq.Workplane(solid).faces(selector).vals()
            named[face] = tuple(i for i, f in enumerate(every) if any(f.isSame(c) for c in chosen))
        place = cq.Location(cq.Vector(*at), *(turn or (cq.Vector(0, 0, 1), 0)))
        return Body(name=name, solid=solid, role=role, at=place, faces=named, **extra)

    @staticmethod
    def setup(*bodies, seats=()):
        """A set-up of bodies."""
        return Setup(name="trial", bodies=bodies, seats=tuple(seats))

    @staticmethod
    def turned(pose):
        """The rest's rotation vector in radians."""
        return np.radians(pose.turn_deg)


@pytest.fixture
def shapes():
    return Shapes
