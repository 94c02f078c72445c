"""A calibrated chuck in a set-up: its sources, its range and its seat are what the field is solved with."""

from dataclasses import replace

import pytest

from fixturecheck import Holding
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.magnet.pull import magnet_of
from fixturecheck.magnet.rating import find_sources
from fixturecheck.setup.holding import CalibratedChuck, refuse_bad_holding
from tests.holding.test_rating import on_chuck
from tests.holding.test_vee import bar

CHUCK = CalibratedChuck(
    name="small chuck",
    poles=7,
    pole_pitch_mm=12.0,
    pole_size_mm=(8.0, 40.0, 9.6),
    pole_material="steel_1018",
    piece_finish="ground",
    source_gap_mm=(0.2, 0.8),
    source_mmf_low_a=(150.0, 420.0),
    source_mmf_high_a=(165.0, 450.0),
    seat_gap_um=(2.0, 8.0),
)


def calibrated(chuck=CHUCK):
    """The block of the rating tests, on a chuck that was measured."""
    return replace(on_chuck(), holding=Holding(magnet="full", calibrated=chuck))


def magnet(chuck, mesher):
    setup = calibrated(chuck)
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    return magnet_of(setup, contacts, mesher)


def test_the_sources_of_the_file_stand_behind_the_poles(mesher):
    stiff, soft = find_sources(calibrated(), mesher)
    assert (stiff.gap_mm, stiff.mmf_a, stiff.most_share) == (0.2, 150.0, pytest.approx(1.1))
    assert (soft.gap_mm, soft.mmf_a, soft.most_share) == (0.8, 420.0, pytest.approx(450 / 420))


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"poles": 9}, "poles 9 there, 7 here"),
        ({"pole_pitch_mm": 12.5}, "pole_pitch_mm 12.5 mm there, 12 mm here"),
        # A spacer of 3 in place of 4, and poles that are longer.
        ({"pole_size_mm": (9.0, 40.0, 9.6)}, "pole_size_mm 9 mm by 40 mm by 9.6 mm there"),
        ({"pole_size_mm": (8.0, 120.0, 9.6)}, "pole_size_mm 8 mm by 120 mm by 9.6 mm there"),
        ({"pole_material": "gray_iron"}, "pole_material gray_iron there"),
    ],
)
def test_a_file_of_another_chuck_is_not_taken(other, says, mesher):
    with pytest.raises(NotComputedError, match="another chuck than the one here") as told:
        find_sources(calibrated(replace(CHUCK, **other)), mesher)
    assert says in str(told.value)
    (key,) = other
    assert not [k for k in ("poles ", "pole_pitch", "pole_size", "pole_mat") if k in str(told.value)
                and not key.startswith(k.strip())]  # fmt: skip


def test_a_file_of_a_flat_chuck_is_not_taken_for_a_v_block(mesher):
    setup = replace(bar(nested=True), holding=Holding(magnet="full", calibrated=CHUCK))
    with pytest.raises(NotComputedError, match="no flat chuck with a row of like poles"):
        find_sources(setup, mesher)


def test_a_rated_pull_beside_the_file_is_refused():
    setup = calibrated()
    beside = replace(setup.holding, rated_pull_n_cm2=80.0)
    with pytest.raises(SetupError, match="calibrated chuck tells the magnet; leave out rated_pull_n_cm2"):
        refuse_bad_holding(replace(setup, holding=beside))


def test_the_range_of_the_file_is_in_the_range_of_the_pull(mesher):
    """The same block with one known source and seat of the file is pulled within the range of all."""
    low, high = (sum(getattr(f, end) for f in magnet(CHUCK, mesher).pulls(1.0).on("block_0"))
                 for end in ("weak_n", "strong_n"))  # fmt: skip
    for gap, mmf, seat in ((0.2, 158.0, 5.0),):
        known = replace(
            CHUCK,
            source_gap_mm=(gap, gap),
            source_mmf_low_a=(mmf, mmf),
            source_mmf_high_a=(mmf, mmf),
            seat_gap_um=(seat, seat),
        )
        pulls = magnet(known, mesher).pulls(1.0).on("block_0")
        assert low <= sum(f.weak_n for f in pulls) * 1.001
        assert sum(f.strong_n for f in pulls) <= high * 1.001
