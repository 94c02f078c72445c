"""A round face and a flat one that come within the band only along a sliver."""

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.placed import place_bodies
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Placed
from fixturecheck.magnet.air_gaps import Band, gap_regions

RADIUS_MM, BAND_MM, LONG_MM = 2.0, 1.0, 20.0


def facing_sliver(angle_deg):
    """A quarter round over a plate that ends under it: only the last of its arc is within the band."""
    rod = cq.Workplane("XZ").circle(RADIUS_MM).extrude(LONG_MM / 2, both=True)
    near = RADIUS_MM * math.sin(math.radians(angle_deg))
    plate = cq.Workplane().box(20, LONG_MM, 5).translate((near - 10, 0, -RADIUS_MM - 2.5 - 0.2))
    right = cq.Workplane().box(10, 60, 10).translate((5, 0, 0))
    solids = {"rod": rod.intersect(right).val(), "plate": plate.val()}
    return place_bodies(
        [
            Placed(name=n, solid=s, face_names=tuple(f"f{i}" for i in range(len(faces_of(s)))))
            for n, s in solids.items()
        ]
    )


@pytest.mark.parametrize("angle_deg", [3.0, 10.0, 40.0])
def test_a_sliver_as_wide_as_the_plate_reaches_under_the_rod_gives_tubes(angle_deg):
    """Closed form: the arc over the plate is r times the angle, and its gap is at most g + r (1 - cos).

    Cells of 2 mm are coarse beside an arc of 0.1 mm, the middle of every one of which misses the plate.
    """
    bodies = facing_sliver(angle_deg)
    regions, _ = gap_regions(bodies, lambda i, j: Band(band_mm=BAND_MM))
    round_one = [r for r in regions if bodies[0].table.kinds[r.face_a] == "cylinder"]
    assert len(round_one) == 1
    field = round_one[0].sample(lambda a, b: np.full(len(a), 2.0), 1e3)
    arc_mm = RADIUS_MM * math.radians(angle_deg)
    assert field.weight_mm2.sum() == pytest.approx(arc_mm * LONG_MM, rel=0.03)
    assert field.gap_mm.max() <= 0.2 + RADIUS_MM * (1 - math.cos(math.radians(angle_deg))) + 1e-6
