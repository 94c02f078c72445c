"""A better place on the same magnet, against the same part stated there and poles laid out by hand."""

from dataclasses import replace

import pytest

from fixturecheck import Cut, Holding, Seat, Setup, Wheel, body, equipment
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.hold import trial_hold_of
from fixturecheck.holding.more_pull import over_poles, pole_line, slides_mm
from fixturecheck.holding.remedies import lighter_cut
from fixturecheck.holding.rig import rig_of
from fixturecheck.holding.wheel import grinding_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.kernel.place import placed_at
from fixturecheck.machining.as_ground import grind
from fixturecheck.magnet.pull import magnet_of
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.setup.make import place
from fixturecheck.units import METRIC
from fixturecheck.wording.remedies import remedy_words


def poles(*from_to, wide=40.0):
    return [(low, -wide, -20.0, high, wide, 0.0) for low, high in from_to]


def test_a_row_has_a_seam_between_unlike_poles_only():
    row = pole_line(poles((-35, -15), (-10, 10), (15, 35), (40, 60)), ["n", "s", "s", "n"])
    assert row.axis == 0
    assert row.middles_mm == (-25.0, 0.0, 25.0, 50.0)
    assert row.seams_mm == (-12.5, 37.5)


def test_poles_along_x_are_a_row_along_y():
    row = pole_line([(-50, -20, -9, 50, -2, 0), (-50, 2, -9, 50, 20, 0)], ["n", "s"])
    assert (row.axis, row.seams_mm) == (1, (0.0,))


@pytest.mark.parametrize("kinds", [["n"], ["n", "n"]])
def test_like_poles_have_no_seam(kinds):
    assert pole_line(poles((-10, 10), (15, 35))[: len(kinds)], kinds) is None


@pytest.mark.parametrize(
    ("middle_mm", "slides"),
    [
        (0.0, (12.5,)),  # over a pole: to the seam toward plus, of two as near
        (12.5, (12.5,)),  # over a seam: to a pole
        (4.0, (8.5, -4.0)),
        (-12.0, (12.0,)),  # half a millimetre from the seam is there
    ],
)
def test_a_part_is_slid_to_the_nearest_seam_then_to_the_nearest_pole(middle_mm, slides):
    row = pole_line(poles((-35, -15), (-10, 10), (15, 35)), ["n", "s", "n"])
    assert slides_mm(row, middle_mm) == pytest.approx(slides)


LEAST = 1.8
POLE_MM, SEAM_MM = -12.5, 0.0
"""The middle of the second pole, 22.5 to 2.5 mm left of the plate's own, and the seam beside it."""


def on_chuck(x_mm, *, cross_feed_mm=1.0, side_rail_mm=0.0):
    """A block of 16 x 10 x 8 with its middle at `x_mm`, on a chuck of four poles 20 wide and 5 apart."""
    chuck = equipment(
        "flat_magnetic_chuck",
        name="chuck",
        length_mm=120.0,
        width_mm=60.0,
        back_rail_height_mm=0.0,
        side_rail_height_mm=side_rail_mm,
    )
    part = body(
        "bit",
        box((-8, -5, 0), (8, 5, 8)),
        faces={"floor": ">Z", "under": "<Z"},
        at=place(at=(x_mm, 0, 0)),
        finish="ground",
    )
    return Setup(
        name="a small block on a coarse chuck",
        bodies=(*chuck, part),
        seats=(Seat(body="bit", face="under", on="chuck_plate", on_face="top", rank="primary"),),
        cuts=(
            Cut(
                name="top",
                parts=("bit",),
                floor="floor",
                stock_mm=0.1,
                downfeed_mm=0.005,
                way="traverse",
                cross_feed_mm=cross_feed_mm,
            ),
        ),
        wheel=Wheel(diameter_mm=178.0, thickness_mm=13.0),
        holding=Holding(
            magnet="full", source_mmf_a=(700.0, 700.0), source_gap_mm=(0.25, 0.25), least_factor=LEAST
        ),
    )


def bench_of(setup, mesher, sources=None):
    placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    magnet = magnet_of(setup, contacts, mesher, sources=sources)
    process = grinding_of(setup, placed, grind(setup, setup.cuts[0]), setup.body("bit"))
    rig = rig_of(setup, placed, contacts, magnet.pulls(1.0))
    return trial_hold_of(process, rig, magnet=magnet, mesher=mesher, follow=False)


@pytest.fixture(scope="module")
def mesher():
    return TetMesher()


@pytest.fixture(scope="module")
def on_one_pole(mesher):
    return bench_of(on_chuck(POLE_MM), mesher)


def test_a_block_on_one_pole_is_slid_over_the_seam_and_holds_as_one_stated_there(on_one_pole, mesher):
    (found,) = over_poles(on_one_pole, lighter_cut)
    assert found.kind is RemedyKind.SLID
    assert found.amounts[0].to == pytest.approx(SEAM_MM - POLE_MM)
    by_hand = bench_of(on_chuck(SEAM_MM), mesher)
    # Meshes are the same and stand elsewhere: what is left is the residual of the field.
    assert found.factor == pytest.approx(by_hand.low, rel=1e-3)
    assert on_one_pole.low < 0.01 < LEAST < found.factor
    assert remedy_words(found, METRIC).startswith(
        "Slide bit, with all that stands on the magnet, 12.5 mm toward +X"
    )


def test_where_the_seam_alone_is_not_enough_a_lighter_cut_goes_with_it(mesher):
    heavy = bench_of(on_chuck(POLE_MM, cross_feed_mm=2.0), mesher)
    (found,) = over_poles(heavy, lighter_cut)
    assert found.also.kind is RemedyKind.DOWNFEED
    depth_mm = found.also.amounts[0].to
    setup = on_chuck(SEAM_MM, cross_feed_mm=2.0)
    setup = replace(setup, cuts=(replace(setup.cuts[0], downfeed_mm=depth_mm),))
    assert bench_of(setup, mesher).low == pytest.approx(found.factor, rel=2e-2)
    assert found.factor >= LEAST
    assert " and feed down " in remedy_words(found, METRIC)


def test_a_part_against_a_rail_across_the_row_stays(mesher):
    chuck = on_chuck(0.0, side_rail_mm=6.0)
    rail = box_of(placed_at(chuck.body("chuck_side_rail").solid, chuck.body("chuck_side_rail").at))
    against = bench_of(on_chuck(rail[3] + 8.0, side_rail_mm=6.0), mesher)
    assert list(over_poles(against, lighter_cut)) == []
