"""What is said of a hold in inches: forces in lbf, pressures in psi, torques in lbf in (NIST SP 811, B.8)."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fixturecheck import Clamp, Holding
from fixturecheck.hold import magnet_used
from fixturecheck.holding.remedies import tightened_amounts
from fixturecheck.magnet.rating import MagnetSource
from fixturecheck.result.release import (
    OffKind,
    OffWay,
)
from fixturecheck.result.remedy import (
    Remedy,
    RemedyKind,
)
from fixturecheck.statics import mechanism
from fixturecheck.statics.equilibrium import Rigid
from fixturecheck.units import METRIC, Writing
from fixturecheck.wording.hold import magnet_words, step_words, way_words
from fixturecheck.wording.motion import motion_words
from fixturecheck.wording.remedies import remedy_words
from tests.holding.rigs import strap
from tests.holding.test_clamps import TALL, on_table

INCH = Writing(units="inch")
LBF_N = 4.4482216152605


def tightened_words(holding):
    """One and a half times as hard, in inches, without what it then holds."""
    amounts = tightened_amounts(holding.clamps, 1.5)
    told = Remedy(
        kind=RemedyKind.CLAMPS, part="block", factor=3.0, at_least=False, change_ratio=1.5, amounts=amounts
    )
    return remedy_words(told, INCH).split(":")[0].replace("\u202f", " ")


def test_a_tightened_clamp_is_told_in_its_own_unit():
    by_force = on_table(strap("block", (0, 0, TALL), 100 * LBF_N))
    assert tightened_words(by_force.holding) == "Tighten strap to 150.0 lbf (stated 100)"
    screw = Clamp(name="screw", kind="vise", body="block", face="back", torque_nm=100 * LBF_N * 0.0254)
    assert tightened_words(Holding(clamps=(screw,))) == "Tighten screw to 150.0 lbf in (stated 100)"


def test_the_rated_pull_is_told_in_psi():
    psi_n_cm2 = LBF_N / 2.54**2
    setup = SimpleNamespace(holding=Holding(magnet="full", rated_pull_n_cm2=100 * psi_n_cm2), write=INCH)
    source = MagnetSource(mmf_a=1.0, gap_mm=0.1, piece="a bar")
    held = SimpleNamespace(pulls=SimpleNamespace(source=source, soft=None))
    assert "a rated 100 psi on a bar" in magnet_words(magnet_used(setup, held), setup.write)


@pytest.mark.parametrize(("write", "force"), [(Writing(), "2 to 4 N"), (INCH, "0.45 to 0.9 lbf")])
def test_a_way_off_is_told_with_its_force(write, force):
    """2 N and 4 N are 0.4496 and 0.8992 lbf."""
    way = OffWay(kind=OffKind.LIFT, along=(0.0, 0.0, 1.0), about_bottom=True, force_n=(2.0, 4.0))
    assert way_words(way, write) == f"lift straight up, {force}"
    told = step_words("block", way, hand_n=50.0, keeps=False, write=write)
    assert told == f"Lift block straight up: {force}, by hand"


def test_a_motion_is_told_where_its_axis_lies():
    body = Rigid(name="part", size_mm=10.0, at_mm=(0.0, 0.0, 10.0))
    # About a line along Y through X 25.4, Z 0: its point at (0, 0, 10) moves by omega x arm.
    turn = np.array([0.0, 1.0, 0.0])
    velocity = np.cross(turn, np.subtract(body.at_mm, (25.4, 0.0, 0.0)))
    (motion,) = mechanism.starting_motions((body,), np.array([[*velocity, *turn]]))
    assert motion_words(motion, METRIC).endswith("over a line along Y at X 25.4, Z 0.0 mm")
    assert motion_words(motion, INCH).endswith("over a line along Y at X 1.000, Z 0.000 in")
