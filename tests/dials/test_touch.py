"""Where a wheel can touch off on a long face with bars across it: the free places, worked out by hand."""

from __future__ import annotations

import math

import cadquery as cq

from fixturecheck import Cut, Machine, Seat, Setup, Wheel, body, check, equipment, place
from fixturecheck.result.finding import Kind, Verdict
from fixturecheck.setup.dials import Handwheel

LONG, RADIUS, HIGH, HALF = 400.0, 89.0, 5.0, 5.0
CHORD = math.sqrt(HIGH * (2 * RADIUS - HIGH))
"""Half the chord of the wheel 5 mm above its lowest point: 29.4 mm, closed form."""


def barred(*at_mm: float):
    """Return what asks for the dials of a bar of 400 by 12 mm with bars of 10 mm across it, 5 mm high."""
    solid = cq.Workplane("XY").box(LONG, 12, 20, centered=(True, True, False))
    bar = body("bar", solid, faces={"top": (0, 0, 20), "under": (0, 0, 0)}, at=place(at=(0, 40, 0)))
    across = cq.Workplane("XY").box(2 * HALF, 60, HIGH, centered=(True, True, False))
    posts = [
        body(f"post_{i}", across, role="fixture", at=place(at=(x, 40, 20.2))) for i, x in enumerate(at_mm)
    ]
    return Setup(
        name="barred",
        bodies=(*equipment("flat_magnetic_chuck", name="chuck", length_mm=450.0), bar, *posts),
        seats=(Seat(body="bar", face="under", on="chuck_plate", on_face="top"),),
        cuts=(Cut(name="top", parts=("bar",), floor="top", stock_mm=0.2, way="traverse"),),
        machine=Machine(
            table_z_mm=-20.0, downfeed=Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down")
        ),
        wheel=Wheel(diameter_mm=2 * RADIUS, thickness_mm=13.0, corner_radius_mm=0.2),
    )


def touched(setup):
    result = check(setup, only={"dials"})
    (found,) = [f for f in result.findings if f.kind is Kind.TOUCH_FACE]
    return found


TRIED = [LONG * (share - 0.5) for share in (0.05, 0.25, 0.5, 0.75, 0.95)]


def test_a_free_place_between_what_is_tried_first_is_found() -> None:
    """Bars stand at all five shares of the length tried first; between two of them 31 mm stay free."""
    found = touched(barred(*TRIED))
    assert found.verdict is Verdict.GO
    x_mm = found.location_mm[0]
    assert min(abs(x_mm - at) for at in TRIED) >= HALF + CHORD - 1e-6


def test_a_strip_that_is_narrower_than_any_grid_is_found_and_none_is_told() -> None:
    """Bars 2 (5 + 29.4) + 0.5 mm apart leave half a millimetre; 2 (5 + 29.4) - 0.5 leave nothing."""
    for more_mm, verdict in ((0.5, Verdict.GO), (-0.5, Verdict.NO_GO)):
        step = 2 * (HALF + CHORD) + more_mm
        places = [(i - 3.0) * step + 3.0 for i in range(7)]
        found = touched(barred(*places))
        assert found.verdict is verdict
        if verdict is Verdict.GO:
            assert min(abs(found.location_mm[0] - at) for at in places) >= HALF + CHORD - 1e-6
