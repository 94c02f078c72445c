"""Volume and centre of solids against closed forms, whatever their faces are written as."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

from fixturecheck.kernel.measure import mass_of, volume_mm3
from tests.contact.test_sampled import freeform

SOLIDS = {
    "ball": (cq.Solid.makeSphere(7, angleDegrees1=-90), 4 / 3 * math.pi * 7**3, (0, 0, 0)),
    "pin": (cq.Solid.makeCylinder(5, 10), math.pi * 250, (0, 0, 5)),
    # A cone's centre lies a quarter of its height above its base.
    "cone": (cq.Solid.makeCone(6, 0, 8), math.pi * 36 * 8 / 3, (0, 0, 2)),
    "ring": (cq.Solid.makeTorus(10, 3), 2 * math.pi**2 * 90, (0, 0, 0)),
}


@pytest.mark.parametrize("name", SOLIDS)
@pytest.mark.parametrize("drawn", [lambda s: s, freeform], ids=["simple", "splines"])
def test_volume_and_centre(name, drawn):
    solid, volume, centre = SOLIDS[name]
    found, at = mass_of(drawn(solid))
    assert found == pytest.approx(volume, rel=1e-6)
    assert at == pytest.approx(centre, abs=1e-5)
    assert volume_mm3(drawn(solid)) == found


def test_nothing_has_no_volume():
    assert volume_mm3(None) == 0.0
