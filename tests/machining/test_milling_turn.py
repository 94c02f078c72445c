"""Which way the teeth push, against mean forces in closed form and what handbooks say of climb milling.

With a force in proportion to the chip (no exponent) the integrals over a turn are closed: Altintas,
Manufacturing Automation, 2nd ed., chapter 2, mean milling forces (from memory; integrated anew here). His X
is the feed of the cutter over the work, and his forces are those on the cutter: the part bears the opposite.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from fixturecheck.interval import Range
from fixturecheck.machining import milling
from fixturecheck.result.hold import CutterWay

DEEP, FEED, TEETH, CUTTER = 2.0, 0.05, 4, 10.0
PLAIN = milling.Law(force_n_mm2=2000.0, exponent=0.0, radial_ratio=0.4, axial_ratio=0.25)


def mean_force_n(made, law, way):
    """Mean force on the part over a turn, from angles close together (trapezoids)."""
    turned = milling.one_turn(made, law, way, steps=4001)
    (low, high), pitch = milling.engaged_rad(made, way), 2 * math.pi / made.teeth
    # A tooth that only just comes in takes no chip; the next one is then a pitch on, where all comes again.
    behind = np.array([(high - s.teeth[0].angle_rad + 1e-9) % pitch for s in turned])
    force = np.array([np.sum([tooth.force_n for tooth in s.teeth], axis=0) for s in turned])
    if high - low > pitch + 1e-9:
        behind, force = np.append(behind, pitch), np.vstack([force, force[np.argmin(behind)]])
    order = np.argsort(behind)
    return tuple(float(v) for v in np.trapezoid(force[order], behind[order], axis=0) / pitch)


def cut(wide_mm, **more):
    facts = {"cutter_mm": CUTTER, "teeth": TEETH, "deep_mm": DEEP, "wide_mm": wide_mm, "feed_mm_tooth": FEED}
    return milling.Mill(**{**facts, **more})


@pytest.mark.parametrize("way", list(CutterWay))
def test_a_full_slot_pushes_the_part_ahead_by_the_radial_and_aside_by_the_cutting_force(way, compared):
    """Slot: mean Fx = -N a c Krc / 4, Fy = +N a c Ktc / 4, Fz = +N a c Kac / pi, on the cutter (Altintas)."""
    unit = TEETH * DEEP * FEED * 2000.0
    wanted = (unit * 0.4 / 4, -unit / 4, unit * 0.25 / math.pi)
    found = mean_force_n(cut(CUTTER), PLAIN, way)
    assert found == pytest.approx(wanted, rel=1e-5)
    compared("mean force across a slot", expected=-wanted[1], got=-found[1])


@pytest.mark.parametrize("radial", [0.0, 0.3, 0.6, 2 / math.pi, 0.7, 1.0])
def test_half_the_cutter_climbing_draws_the_part_in_until_the_radial_force_outweighs_it(radial):
    """Mean over -90 to 0 deg: Fx = N a c / (2 pi) (-Kt / 2 + Kr pi / 4), Fy = -(Kt pi / 4 + Kr / 2)."""
    law = replace(PLAIN, radial_ratio=radial)
    unit = TEETH * DEEP * FEED * 2000.0 / (2 * math.pi)
    along, left, _ = mean_force_n(cut(CUTTER / 2), law, CutterWay.CLIMB)
    assert along == pytest.approx(unit * (-0.5 + radial * math.pi / 4), rel=1e-4, abs=1e-4 * unit)
    assert left == pytest.approx(-unit * (math.pi / 4 + radial / 2), rel=1e-4)
    assert (along < -1e-4 * unit) is (radial < 2 / math.pi - 1e-6)


def test_climb_milling_draws_in_and_conventional_milling_pushes_ahead():
    """A tool maker's guidelines (sandvik.coromant.com, milling, cutter position): down-milling pulls the part
    into the cutter, which the fixture must bear, and feeds it more than meant; up-milling does not."""
    for wide in (0.5, 1.0, 2.0, 3.0):
        climb = mean_force_n(cut(wide), PLAIN, CutterWay.CLIMB)
        against = mean_force_n(cut(wide), PLAIN, CutterWay.CONVENTIONAL)
        assert climb[0] < 0.0 < against[0]
        # The cutting force along the feed changes its sign with the side, the radial one does not.
        sharp = replace(PLAIN, radial_ratio=0.0)
        both = [
            mean[0] - mean_force_n(cut(wide), sharp, way)[0]
            for way, mean in ((CutterWay.CLIMB, climb), (CutterWay.CONVENTIONAL, against))
        ]
        assert climb[0] + against[0] == pytest.approx(sum(both), rel=1e-6)
        assert both[0] == pytest.approx(both[1], rel=1e-6)


def test_a_centred_cut_with_no_radial_force_pushes_straight_aside():
    """Symmetry: what comes in as conventional leaves as climb."""
    along, left, _ = mean_force_n(cut(3.0), replace(PLAIN, radial_ratio=0.0), CutterWay.CENTRED)
    assert along == pytest.approx(0.0, abs=1e-9)
    assert left < 0.0


@pytest.mark.parametrize("angle_deg", [-80, -45, -10, 0, 30, 75])
@pytest.mark.parametrize("radial", [0.0, 0.3, 0.8])
def test_one_tooth_pushes_along_its_way_and_outward(angle_deg, radial):
    """Geometry: the resultant leans atan(Kr / Kt) outward from the tooth's own way, which is square to the
    radius and clockwise; its size is the law of Kienzle's times sqrt(1 + Kr^2)."""
    one = replace(cut(CUTTER), teeth=1)
    law = replace(PLAIN, radial_ratio=radial, exponent=0.2, axial_ratio=0.0)
    angle = math.radians(angle_deg)
    (found,) = [
        s
        for s in milling.one_turn(one, law, CutterWay.CENTRED, steps=37)
        if abs(s.teeth[0].angle_rad - angle) < 1e-9
    ]
    x, y, z = found.force_n
    chip = FEED * math.cos(angle)
    size = 2000.0 * chip**-0.2 * chip * DEEP
    assert math.hypot(x, y) == pytest.approx(size * math.hypot(1.0, radial), rel=1e-9)
    assert z == 0.0
    wanted = angle - math.pi / 2 + math.atan(radial)
    assert math.remainder(math.atan2(y, x) - wanted, 2 * math.pi) == pytest.approx(0.0, abs=1e-9)
    place = found.teeth[0].at_mm
    assert place == pytest.approx((5 * math.cos(angle), 5 * math.sin(angle), DEEP / 2))


def test_flutes_pull_up_and_only_as_far_as_stated():
    """A right-hand cutter with right-hand flutes draws the part up (any text on end mills)."""
    for way in list(CutterWay):
        for turned in milling.one_turn(cut(4.0), PLAIN, way):
            assert turned.force_n[2] == pytest.approx(0.25 * turned.cutting_n)


@pytest.mark.parametrize(("teeth", "most"), [(1, 1), (2, 1), (3, 2), (4, 2), (6, 3)])
def test_as_many_teeth_are_in_a_slot_as_fit_into_half_a_turn(teeth, most):
    """A tooth that stands just at either end takes no chip: geometry."""
    turned = milling.one_turn(replace(cut(CUTTER), teeth=teeth), PLAIN, CutterWay.CLIMB, steps=25)
    assert max(len(s.teeth) for s in turned) == most


def test_spiral_flutes_even_out_the_force_and_leave_its_mean():
    """The mean goes with the metal cut, not with when: the helix moves a piece of a tooth in time only."""
    straight, spiral = cut(2.0, deep_mm=8.0), cut(2.0, deep_mm=8.0, helix_deg=40.0)
    rows = [milling.one_turn(c, PLAIN, CutterWay.CLIMB, steps=1201) for c in (straight, spiral)]
    peaks = [max(s.cutting_n for s in row) for row in rows]
    assert peaks[1] < 0.8 * peaks[0]
    low, high = milling.engaged_rad(straight, CutterWay.CLIMB)
    pitch = 2 * math.pi / TEETH
    spans = [min(pitch, high - low + 8.0 * math.tan(math.radians(h)) / 5.0) for h in (0.0, 40.0)]
    means = [
        np.sum([s.force_n for s in row], axis=0) / 1201 * span / pitch
        for row, span in zip(rows, spans, strict=True)
    ]
    assert means[0] == pytest.approx(mean_force_n(straight, PLAIN, CutterWay.CLIMB), rel=0.01)
    assert means[1] == pytest.approx(means[0], rel=0.02)


def test_a_thicker_a_deeper_and_a_wider_cut_push_no_less():
    law = replace(PLAIN, exponent=0.26)

    def peak(**more):
        return max(
            s.cutting_n
            for s in milling.one_turn(cut(more.pop("wide_mm", 2.0), **more), law, CutterWay.CLIMB, steps=61)
        )

    for name, values in (
        ("feed_mm_tooth", (0.02, 0.05, 0.1)),
        ("deep_mm", (0.5, 1.0, 3.0)),
        ("wide_mm", (0.5, 2.0, 5.0, 8.0)),
        ("teeth", (1, 2, 4, 8)),
    ):
        peaks = [peak(**{name: v}) for v in values]
        assert peaks == sorted(peaks)


def test_the_worst_ends_are_taken_of_what_is_square_to_the_cutting_force():
    steel = milling.shearing("c45")
    found = milling.laws(steel)
    assert {(x.radial_ratio, x.axial_ratio) for x in found} == {
        (r, a) for r in (0.3, 0.8) for a in (0.0, 0.5)
    }
    one = milling.tooth_force_n(cut(CUTTER, teeth=1), steel)
    peak = max(
        s.cutting_n for s in milling.one_turn(cut(CUTTER, teeth=1), found[0], CutterWay.CLIMB, steps=61)
    )
    assert peak == pytest.approx(one.high, rel=1e-9)
    assert len(milling.laws(replace(steel, axial_ratio=Range.exactly(0.2)))) == 2


@pytest.mark.parametrize(
    ("way", "wide"), [(CutterWay.CLIMB, CUTTER), (CutterWay.CLIMB, 3.0), (CutterWay.CONVENTIONAL, 8.0)]
)
@pytest.mark.parametrize("deep_mm", [1.0, 5.0])
def test_a_ball_is_a_stack_of_thin_square_cutters(way, wide, deep_mm):
    """Each of its own radius, its chip thinned and its edge lengthened by the sine of the slope there.

    What is square to the edge is turned down by the cosine. A strip beside the axis misses the lowest discs.
    """
    law, ball = replace(PLAIN, exponent=0.25), cut(wide, deep_mm=deep_mm, corner_mm=CUTTER / 2, teeth=1)
    low, high = milling.strip_mm(ball, way)
    turned = milling.one_turn(ball, law, way, steps=5)
    for one in turned[1:-1]:
        angle, count = one.teeth[0].angle_rad, 4000
        cutting, torque, square_up = 0.0, 0.0, 0.0
        for up_mm in (np.arange(count) + 0.5) * deep_mm / count:
            radius = math.sqrt(25.0 - (5.0 - up_mm) ** 2)
            sine = radius / 5.0
            if low <= radius * math.sin(angle) <= high:
                chip = FEED * sine * math.cos(angle)
                part = milling.specific_force_n_mm2(2000.0, chip, 0.25) * chip * deep_mm / count / sine
                cutting += part
                torque += part * radius
                square_up += part * (0.25 - 0.4 * math.sqrt(1.0 - sine**2))
        (tooth,) = one.teeth
        assert tooth.cutting_n == pytest.approx(cutting, rel=0.05)
        assert tooth.force_n[2] == pytest.approx(square_up, rel=0.05, abs=0.03 * cutting)
        arm = math.hypot(*tooth.at_mm[:2])
        assert tooth.cutting_n * arm == pytest.approx(torque, rel=0.05)
