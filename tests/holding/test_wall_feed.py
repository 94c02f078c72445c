"""The feed into a wall: what it makes of the force on the wall, by the table of grinding."""

from dataclasses import replace

import pytest

from fixturecheck import Cut, Seat, Setup, body, equipment
from fixturecheck.errors import SetupError
from fixturecheck.holding.wheel import abrasion_of, forces_of
from fixturecheck.kernel.boolean import cut as without
from fixturecheck.kernel.construct import box

DOWNFEED_MM, WALL_TALL_MM, TABLE_M_MIN = 0.005, 4.0, 12.0


def stepped(**more):
    part = body(
        "block",
        without(box((-30, -20, 0), (30, 20, 16)), box((-31, -21, 12), (31, 5, 17))),
        material="steel_1018",
        faces={"seat": "<Z", "floor": (0, -10, 12), "wall": (0, 5, 14)},
    )
    facts = {"wall": "wall", "wall_stock_mm": 0.05, "downfeed_mm": DOWNFEED_MM, **more}
    return Setup(
        name="step",
        bodies=(*equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=0.0), part),
        seats=(Seat(body="block", face="seat", on="chuck_plate", on_face="top"),),
        cuts=(Cut(name="step", parts=("block",), floor="floor", table_speed_m_min=TABLE_M_MIN, **facts),),
    )


def forces(**more):
    setup = stepped(**more)
    placed = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    return forces_of(setup, placed, setup.cuts[0], setup.body("block"))


def pushed_n(feed_mm, made, found, setup):
    """Push on the wall as the table says: energy, times the wall's own factor, times volume in a second
    over the speed of the rim, over the force ratio; low and high."""
    abrasion = abrasion_of(setup, setup.body("block"))
    volume_mm3_s = feed_mm * WALL_TALL_MM * TABLE_M_MIN * 1e3 / 60.0
    energy, blunt, ratio = found.energy_j_mm3, abrasion.wall_energy_factor, abrasion.force_ratio
    return (
        energy.low * blunt.low * volume_mm3_s / made.wheel_speed_m_s / ratio.high,
        energy.high * blunt.high * volume_mm3_s / made.wheel_speed_m_s / ratio.low,
    )


@pytest.mark.parametrize("feed_mm", [0.001, 0.002, 0.005, 0.02])
def test_the_push_on_the_wall_follows_its_feed(feed_mm):
    made, found = forces(wall_feed_mm=feed_mm)
    assert made.wall_depth_mm == feed_mm
    low, high = pushed_n(feed_mm, made, found, stepped())
    rubbing = abrasion_of(stepped(), stepped().body("block")).wall_share.high * found.normal_n.high
    assert found.wall_n.low == pytest.approx(low, rel=1e-9)
    # A wheel that runs along the wall rubs on it, however little it is fed.
    assert found.wall_n.high == pytest.approx(max(high, rubbing), rel=1e-9)


def test_a_tenth_of_the_feed_takes_a_tenth_of_the_force_and_leaves_the_floor_alone():
    (_, fine), (_, coarse) = (forces(wall_feed_mm=f) for f in (0.002, 0.02))
    assert coarse.wall_n.low == pytest.approx(10.0 * fine.wall_n.low, rel=1e-9)
    assert coarse.normal_n == fine.normal_n
    assert coarse.tangential_n.low - fine.tangential_n.low == pytest.approx(
        0.9 * (coarse.tangential_n.low - forces(wall=None, wall_stock_mm=0.0)[1].tangential_n.low), rel=1e-9
    )


@pytest.mark.parametrize(("left_mm", "taken_mm"), [(0.05, DOWNFEED_MM), (0.003, 0.003)])
def test_without_a_feed_the_wall_takes_the_downfeed_or_all_that_is_left(left_mm, taken_mm):
    made, found = forces(wall_stock_mm=left_mm)
    assert made.wall_depth_mm == taken_mm
    assert found == forces(wall_stock_mm=left_mm, wall_feed_mm=taken_mm)[1]


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        ({"wall_feed_mm": 0.0}, "wall_feed_mm: must be from 0.0001 to 20"),
        ({"wall_feed_mm": -0.001}, "wall_feed_mm: must be from 0.0001 to 20"),
        ({"wall_feed_mm": 0.06}, "more than the 0.05 mm left on the wall"),
        ({"wall_feed_mm": 0.002, "wall": None}, "stated without a wall"),
    ],
)
def test_a_feed_that_cannot_be_is_refused(stated, says):
    setup = stepped()
    with pytest.raises(SetupError, match=says):
        replace(setup, cuts=(replace(setup.cuts[0], **stated),))
