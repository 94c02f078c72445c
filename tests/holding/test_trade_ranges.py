"""What the trade says of finish and material lies in the ranges that are taken where nothing is stated.

A range runs over the shipped finish, flatness and curve, the error of the method, and the stiffest and the
softest source that a magnet may have, each rated alike. Shares of the full hold by finish, common practice,
no source: lapped 100 %, ground 80 to 90, rough ground 60 to 70, planed 30 to 50; ductile iron about 60 % of
low-carbon steel. Against SAE 1020: cast iron 0.45, SAE 1095 0.70, stainless 416 0.50 (O.S. Walker DD15508M
p. 4-3, manualsdir.com/manuals/365936). A piece of 50 x 40 x 40 mm on poles of 20 mm, rated on one of 100 x
100 x 40 mm.
"""

import pytest

from fixturecheck import Holding, Seat, Setup, body, equipment
from fixturecheck.holding.piece import PieceOnPoles, piece_on
from fixturecheck.holding.pull import FACE_ERROR_SHARE
from fixturecheck.holding.rating import find_sources, rating_gap_um
from fixturecheck.kernel.construct import box
from fixturecheck.physics.seat_gap import seat_gap_um
from fixturecheck.shop.tables import finish

SIZE_MM = (50.0, 40.0, 40.0)


def on_chuck():
    chuck = equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=0.0)
    part = body("block", box((-25, -20, 0), (25, 20, 40)), faces={"seat": "<Z"}, material="steel_1018")
    seat = Seat(body="block", face="seat", on="chuck_plate", on_face="top")
    holding = Holding(magnet="full", rated_pull_n_cm2=80.0)
    return Setup(name="piece", bodies=(*chuck, part), seats=(seat,), holding=holding)


@pytest.fixture(scope="module")
def sources(mesher):
    return find_sources(on_chuck(), mesher)


@pytest.fixture(scope="module")
def pull(sources, mesher):
    """Pull on the piece of a steel from the weak end (0) to the strong (1), behind either source."""
    setup, made = on_chuck(), {}

    def pulled(material, share, gap_um):
        key = material, share
        if key not in made:
            made[key] = PieceOnPoles(
                setup, piece_on(setup, SIZE_MM), material=material, mesher=mesher, share=share
            )
        return [made[key].pull_n(source, seat_gap_um=gap_um) for source in sources]

    return pulled


def finish_gap_um(name, end):
    """Gap under a face of a finish on a ground pole, at the narrow end (0) or the wide end (1)."""
    one, pole = finish(name), finish("ground")
    return seat_gap_um(
        rz_a_um=one.rz_um[end],
        rz_b_um=pole.rz_um[end],
        flatness_a_um=one.flatness_um[end],
        flatness_b_um=pole.flatness_um[end],
    )


@pytest.mark.parametrize(("name", "share"), [("ground", 0.85), ("rough_ground", 0.65), ("planed", 0.40)])
def test_the_share_that_a_finish_leaves(pull, name, share, record_property):
    """The middle of each band, against a lapped face of middling steel behind the same source."""
    full = pull("steel_1018", 0.5, rating_gap_um("lapped"))
    low_end = pull("steel_1018", 0.0, finish_gap_um(name, 1))
    shares = [(1.0 - FACE_ERROR_SHARE) * p / whole for p, whole in zip(low_end, full, strict=True)]
    shares += [
        p / whole for p, whole in zip(pull("steel_1018", 0.5, finish_gap_um(name, 0)), full, strict=True)
    ]
    record_property("share", (min(shares), max(shares)))
    assert 0.7 * share < min(shares) <= share <= max(shares)


@pytest.mark.parametrize(
    ("name", "share"),
    [("ductile_iron", 0.60), ("gray_iron", 0.45), ("stainless_416", 0.50), ("silver_steel", 0.70)],
)
def test_the_share_that_a_material_leaves(pull, name, share, record_property):
    """Silver steel is of the class of SAE 1095."""
    gap_um = rating_gap_um("lapped")
    full = pull("steel_1020", 0.5, gap_um)
    shares = [
        pulled / whole
        for end in (0.0, 1.0)
        for pulled, whole in zip(pull(name, end, gap_um), full, strict=True)
    ]
    record_property("share", (min(shares), max(shares)))
    assert min(shares) <= share <= max(shares)
    assert min(shares) > 0.35 * share
