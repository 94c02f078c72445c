"""Finish and material from one and the same magnet: what tables of the trade say, and how far off it comes.

Finish, common practice, no source: lapped 100 %, ground 80-90, rough ground 60-70, planed 30-50.
Material against SAE 1020: cast iron 0.45 (a chuck maker's manual, DD15508M p. 4-3, manualsdir.com); ductile
iron about 0.6 (common practice, no source). B-H points from a public table, not bent to either.

No magnet gives both tables. Shares that came out, 25 mm block, 10 mm poles, seat of iron 2 um:

==============  ======  =====  ======  =======  =====
magnet          ground  rough  planed  ductile  gray
==============  ======  =====  ======  =======  =====
35 A, 0.002 mm    0.89   0.67    0.43     0.63   0.24
50 A, 0.016 mm    0.91   0.74    0.54     0.67   0.29
100 A, 0.064 mm   0.94   0.84    0.71     0.73   0.38
450 A, 0.48 mm    0.97   0.92    0.86     0.84   0.59
==============  ======  =====  ======  =======  =====

A magnet without a gap of its own leaves all to the seat and the iron, so finish and material both count
for much; behind a large gap neither does. The ladder of finishes wants the former, cast iron at 0.45 a
magnet between the last two. A mesh twice as fine moves the material shares by less than 0.004.
"""

import pytest

from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.field.bh import fit_law
from fixturecheck.magnet.field.gaps import seat_gap_um
from tests.magnet import fluxparts as parts

# Rz and flatness of the part in um, within the usual ranges by process; the pole face is ground.
FINISHES = {"lapped": (0.8, 0.5), "ground": (3.0, 8.0), "rough": (16.0, 12.0), "planed": (30.0, 20.0)}
IRONS = {"1020": parts.STEEL_1020, "ductile": parts.DUCTILE, "gray": parts.GRAY}


@pytest.fixture(scope="module")
def mesher():
    return TetMesher()


def shares(mmf_a, source_gap_mm, mesher):
    """Pull of each finish over lapped, and of each iron over 1020."""

    def pull(**more):
        poles = parts.bars(mmf_a=mmf_a, source_gap_mm=source_gap_mm)
        return -parts.hold({"part": parts.block(25, 25, 25)}, poles, mesher=mesher, **more)[2]

    finish = {
        name: pull(gap_um=seat_gap_um(rz_a_um=rz, flatness_a_um=flat, rz_b_um=1.5, flatness_b_um=1.0))
        for name, (rz, flat) in FINISHES.items()
    }
    iron = {name: pull(gap_um=2.0, law=fit_law(name, points)) for name, points in IRONS.items()}
    return {n: p / finish["lapped"] for n, p in finish.items()}, {
        n: p / iron["1020"] for n, p in iron.items()
    }


@pytest.mark.slow
def test_the_magnet_that_gives_the_ladder_of_finishes_has_cast_iron_too_low(mesher, record_property):
    """Gray iron comes 0.21 under the table, more than the 0.15 that the table could be trusted to."""
    finish, iron = shares(35.0, 0.002, mesher)
    record_property("finish", finish)
    record_property("iron", iron)
    record_property("gray_under_table", 0.45 - iron["gray"])
    assert 0.80 <= finish["ground"] <= 0.90
    assert 0.60 <= finish["rough"] <= 0.70
    assert 0.30 <= finish["planed"] <= 0.50
    assert 1 > iron["ductile"] > iron["gray"]
    assert iron["ductile"] == pytest.approx(0.60, abs=0.15)
    assert iron["gray"] < 0.45 - 0.15


@pytest.mark.slow
def test_a_magnet_that_has_cast_iron_right_makes_less_of_finish(mesher, record_property):
    """Order and cast iron within 0.15 of the table; every rung of the ladder lies above its band."""
    finish, iron = shares(100.0, 0.064, mesher)
    record_property("finish", finish)
    record_property("iron", iron)
    assert 1 > iron["ductile"] > iron["gray"]
    assert iron["gray"] == pytest.approx(0.45, abs=0.15)
    assert iron["ductile"] == pytest.approx(0.60, abs=0.15)
    assert 1 > finish["ground"] > finish["rough"] > finish["planed"]
    assert finish["ground"] > 0.90
    assert finish["rough"] > 0.70
    assert finish["planed"] > 0.50
