"""What stands behind the poles: rated on a piece of any size, on poles of any size, stiff or soft."""

from dataclasses import replace

import numpy as np
import pytest

from fixturecheck import Holding, Seat, Setup, body, equipment, place
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Placed
from fixturecheck.magnet.circuit import Fineness, Iron, magnet_model
from fixturecheck.magnet.field.bh import law_between
from fixturecheck.magnet.iron import as_iron, curves, felt
from fixturecheck.magnet.pull import behind_soft, magnet_of
from fixturecheck.magnet.rating import (
    MagnetSource,
    PieceOnPoles,
    find_sources,
    piece_on,
    pole_of,
    rating_gap_um,
)
from fixturecheck.magnet.remanence import residual_pulls, steepest
from fixturecheck.setup.holding import refuse_bad_holding

pytestmark = pytest.mark.slow

RATED_N_CM2 = 80.0


def on_chuck(scale=1.0, *, count=1, **holding):
    """Blocks of 24 x 12 x 12 in a row along poles of 8 x 40, 12 apart, all by a scale."""
    size = {"length_mm": 110.0, "width_mm": 60.0, "pole_pitch_mm": 12.0, "spacer_mm": 4.0, "plate_mm": 9.6}
    size |= {"frame_mm": 10.0}
    chuck = equipment(
        "flat_magnetic_chuck",
        name="chuck",
        back_rail_height_mm=0.0,
        **{key: scale * value for key, value in size.items()},
    )
    block = box((-12 * scale, -6 * scale, 0), (12 * scale, 6 * scale, 12 * scale))
    parts = [
        body(
            f"block_{i}",
            block,
            at=(0, 12 * scale * (i - (count - 1) / 2), 0),
            material="steel_1018",
            finish="ground",
            faces={"seat": "<Z"},
        )
        for i in range(count)
    ]
    return Setup(
        name="blocks on the chuck",
        bodies=(*chuck, *parts),
        seats=tuple(Seat(body=p.name, face="seat", on="chuck_plate", on_face="top") for p in parts),
        holding=Holding(**{"magnet": "full", "rated_pull_n_cm2": RATED_N_CM2, **holding}),
    )


@pytest.fixture(scope="module")
def sources(mesher):
    return find_sources(on_chuck(), mesher)


def test_fine_poles_reach_what_chucks_are_rated(sources):
    """Poles 8 mm wide between spacers of 4 mm: 80 N/cm2 is what chucks of any pitch are sold with."""
    stiff, soft = sources
    assert (stiff.gap_mm, soft.gap_mm) == pytest.approx((0.00064 * 12, 0.12 * 12))
    assert 0.0 < stiff.mmf_a < soft.mmf_a


def test_a_part_on_parallels_is_held_by_the_chuck_below_them():
    """The rated pull acts on the chuck's own top, whatever lies on it."""
    plain = on_chuck()
    bar = box((-20, -3, 0), (20, 3, 5))
    bars = [
        body(n, bar, at=(0, y, 0), role="fixture", finish="ground", faces={"top": ">Z"})
        for n, y in (("front", -3), ("back", 3))
    ]
    raised = replace(plain.bodies[-1], at=place(at=(0, 0, 5)))
    on_bars = replace(
        plain,
        bodies=(*plain.bodies[:-1], *bars, raised),
        seats=tuple(Seat(body="block_0", face="seat", on=n, on_face="top") for n in ("front", "back")),
    )
    one, other = piece_on(plain), piece_on(on_bars)
    assert (other.area_mm2, other.says) == (one.area_mm2, one.says)
    assert box_of(other.placed.solid) == pytest.approx(box_of(one.placed.solid))


def test_a_part_that_lies_on_no_v_has_no_piece_to_rate_it_on():
    vee = equipment("magnetic_v_block", name="vee")
    part = body("block", box((-5, -5, 40), (5, 5, 50)), material="steel_1018", finish="ground")
    setup = Setup(name="above a V", bodies=(*vee, part), holding=Holding(magnet="full"))
    with pytest.raises(NotComputedError, match="no seat lies on a flat face of a pole"):
        piece_on(setup)


def test_both_sources_give_the_rated_pull(sources, mesher):
    """On a block of four distances between poles or as far as they reach, put together by hand."""
    setup = on_chuck()
    # Of seven poles one is in the middle; the piece lies between it and the next, to either side alike.
    solid = box((-18, -20, 0), (30, 20, 19.2))
    piece = Placed(name="piece", solid=solid, face_names=tuple(f"face_{n}" for n in range(6)))
    near = felt([(np.array([-18, -20, 0]), np.array([30, 20, 19]))], setup.poles())
    poles = [p for b in setup.poles() if (p := as_iron(setup, b, near)) is not None]
    for source in sources:
        irons = [Iron(placed=piece, law=law_between(*curves(setup, "steel_1018", "piece"), 0.5))]
        irons += [Iron(placed=p.placed, law=p.weak, pole=pole_of(p, source)) for p in poles]
        model = magnet_model(
            irons,
            seat_gap_um=lambda _a, _b: rating_gap_um("lapped"),
            fineness=Fineness(size_mm=2.0),
            mesher=mesher,
        )
        pull_n = -float(model.solve().body("piece").force_n[2])
        assert pull_n / (48.0 * 40.0) * 100.0 == pytest.approx(RATED_N_CM2, rel=0.03)


def test_everything_twice_as_large_is_pulled_four_times_as_hard(sources, mesher):
    """Similarity: the same flux density over four times the area; the magnet's force goes with the length."""
    twice = find_sources(on_chuck(2.0), mesher)
    for small, large in zip(sources, twice, strict=True):
        # The gap under the rating piece is that of its finish and does not grow.
        assert large.mmf_a == pytest.approx(2.0 * small.mmf_a, rel=0.05)
    pull = {}
    for scale, source in ((1.0, sources[1]), (2.0, twice[1])):
        setup = on_chuck(scale)
        size = (24.0 * scale, 12.0 * scale, 12.0 * scale)
        piece = PieceOnPoles(setup, piece_on(setup, size), material="steel_1018", mesher=mesher)
        pull[scale] = piece.pull_n(source, seat_gap_um=4.0 * scale)
    assert pull[2.0] == pytest.approx(4.0 * pull[1.0], rel=0.03)


def test_the_low_end_lies_below_what_any_source_between_gives(mesher):
    """A small piece that is stated draws flux from all the length of a pole; three blocks share it."""
    setup = on_chuck(count=3, rating_piece_mm=(24.0, 12.0, 12.0))
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    magnet = magnet_of(setup, contacts, mesher)
    low = {f.number: f.weak_n for f in magnet.pulls(1.0).faces}
    piece = PieceOnPoles(setup, piece_on(setup, (24.0, 12.0, 12.0)), material="steel_1018", mesher=mesher)
    rated_n = RATED_N_CM2 * piece.piece.area_mm2 / 100.0
    between = None
    for mmf_a in (120.0, 160.0, 220.0):
        source = MagnetSource(mmf_a=mmf_a, gap_mm=0.15)
        if piece.pull_n(source, seat_gap_um=rating_gap_um("lapped")) > rated_n:
            between = source
            break
    assert between is not None
    solved = behind_soft(magnet.weak, between).solve()
    for number, patch in enumerate(solved.patches):
        if patch.pull_n > 5.0:
            assert low[number] < patch.pull_n
    stiff = magnet.weak.solve()
    assert sum(low.values()) < 0.8 * sum(p.pull_n for p in stiff.patches)


def test_a_source_that_is_stated_is_taken_as_it_is(mesher):
    setup = on_chuck(source_gap_mm=(0.3, 5.0), source_mmf_a=(250.0, 3640.0))
    found = find_sources(setup, mesher)
    assert found == (MagnetSource(mmf_a=250.0, gap_mm=0.3), MagnetSource(mmf_a=3640.0, gap_mm=5.0))
    known = on_chuck(source_gap_mm=(0.3, 0.3), source_mmf_a=(250.0, 250.0))
    assert find_sources(known, mesher) == (MagnetSource(mmf_a=250.0, gap_mm=0.3),)


def test_a_stated_piece_is_the_one_that_is_rated():
    piece = piece_on(on_chuck(), (30.0, 20.0, 25.0))
    assert piece.area_mm2 == pytest.approx(600.0)
    assert piece.says == "a block of 30 by 20 by 25 mm"


@pytest.mark.parametrize(
    ("stated", "says"),
    [
        ({"source_gap_mm": (0.5,)}, "stiffest and the softest"),
        ({"source_gap_mm": (2.0, 0.5)}, "stiffest and the softest"),
        ({"source_mmf_a": (100.0, 200.0)}, "one for each of the two source_gap_mm"),
        ({"source_gap_mm": (0.1, 0.2), "source_mmf_a": (100.0,)}, "one for each of the two"),
        ({"source_gap_mm": (0.1, 0.2), "shim_mm": 0.1, "shim_pull_n_cm2": 20.0}, "not both"),
        ({"rating_piece_mm": (100.0, 100.0)}, "state three sizes"),
        ({"rating_finish": "shiny"}, "rating_finish"),
    ],
)
def test_a_source_that_makes_no_sense_is_refused(stated, says):
    with pytest.raises(SetupError, match=says):
        refuse_bad_holding(on_chuck(**stated))


@pytest.fixture(scope="module")
def magnet(sources, mesher):
    """One block, with the two sources that its magnet may have, not rated again."""
    known = {"source_gap_mm": [s.gap_mm for s in sources], "source_mmf_a": [s.mmf_a for s in sources]}
    setup = on_chuck(**known)
    return magnet_of(setup, find_contacts([b.placed() for b in setup.bodies], setup.tolerances), mesher)


def strong_n(pulls):
    return {f.number: f.strong_n for f in pulls.faces}


def test_the_high_end_of_the_residual_pull_is_the_greatest_of_both_sources(magnet):
    """With the magnet off the stiff source pulls a lone block harder, with it on the soft one.

    Linear iron as permeable as the curve at its best: each source solved by itself.
    """
    share = Holding().residual_share
    high = strong_n(residual_pulls(magnet, share))
    easy = replace(
        magnet.strong,
        bodies=tuple(replace(b, law=steepest(b.law)) for b in magnet.strong.bodies),
        gaps=tuple(replace(g, film=None) for g in magnet.strong.gaps),
    )
    stiff, soft = (m.solve(share).patches for m in (easy, behind_soft(easy, magnet.soft)))
    assert sum(p.pull_n for p in stiff) > 1.3 * sum(p.pull_n for p in soft)
    for number, each in enumerate(zip(stiff, soft, strict=True)):
        greatest = max(p.pull_n for p in each)
        if greatest > 0.1:
            assert high[number] == pytest.approx(greatest, rel=1e-3)
