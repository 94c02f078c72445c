"""What a toolmaker knows about magnets must come out of the field: nothing here has a switch of its own."""

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.field.gaps import seat_gap_um, strength_for_pull
from fixturecheck.units import METRIC
from tests.magnet import fluxparts as parts

MESHER = TetMesher()
BLOCK = parts.block(25, 25, 25)


def down(parts_, poles, **more):
    return -parts.hold(parts_, poles, mesher=MESHER, **more)[2]


@pytest.mark.slow
def test_a_part_thinner_than_the_poles_are_wide_loses_hold_and_fine_poles_give_it_back():
    pull = {t: down({"part": parts.block(25, 25, t)}, parts.bars()) for t in (3, 6, 12, 25)}
    assert pull[3] < 0.35 * pull[25]
    assert pull[3] < pull[6] < pull[12]
    assert pull[12] > 0.9 * pull[25]
    fine = down({"part": parts.block(25, 25, 3)}, parts.bars(count=6, iron_mm=4.0, spacer_mm=1.0))
    assert fine > 1.5 * pull[3]


@pytest.mark.slow
def test_a_part_must_bridge_two_poles():
    """Along one pole the flux has no way back; across the seam it has."""
    bar = parts.block(8, 30, 8)
    across = down({"part": bar}, parts.bars())
    alone = down({"part": parts.block(8, 30, 8, at=(6.5, 0, 0))}, parts.bars())
    assert alone < 0.05 * across


@pytest.mark.slow
def test_gaps_cost_hold_smoothly():
    """A shim, or a burr under one end, costs hold by its height, and a burr moves the centre of pull."""
    seated = down({"part": BLOCK}, parts.bars())
    shimmed = down({"part": BLOCK.translate(cq.Vector(0, 0, 0.1))}, parts.bars())
    # With perfect iron flux goes as one over 5 um of seat, 64 um behind the poles and 100 um of shim; iron
    # takes some force at the seat that the shim gives back.
    assert (69.0 / 169.0) ** 2 < shimmed / seated < 0.30
    pulls, centres = [seated], [0.0]
    for burr_mm in (0.005, 0.05):
        angle = math.degrees(math.asin(burr_mm / 25))
        tipped = cq.Workplane(BLOCK).rotate((-12.5, 0, 0), (-12.5, 1, 0), -angle).val()
        solution = parts.model({"part": tipped}, parts.bars(), mesher=MESHER).solve()
        force = np.array([p.pull_n for p in solution.patches])
        centre = np.array([p.centre_mm[0] for p in solution.patches])
        pulls.append(-solution.body("part").force_n[2])
        centres.append(float(force @ centre / force.sum()))
    assert pulls[0] > pulls[1] > pulls[2]
    # A mean gap of 2.5 um more, of 69 um, by the same sum.
    assert (69.0 / 71.5) ** 2 < pulls[1] / pulls[0] < 1.0
    assert centres[2] < centres[1] < 0.0


@pytest.mark.slow
def test_trifle_and_off_hold_less_than_full():
    model = parts.model({"part": BLOCK}, parts.bars(), mesher=MESHER)
    full, trifle, off = (-model.solve(s).body("part").force_n[2] for s in (1.0, 0.3, 0.03))
    assert full > trifle > off > 0
    # A tenth of the magnet pulls a hundredth, and less: iron conducts worst in the weakest fields.
    assert 0.003 < off / trifle < 0.01


@pytest.mark.slow
def test_a_lifted_flank_of_the_vee_keeps_what_its_gap_lets_through():
    nested, lifted = (
        np.linalg.norm(parts.hold({"part": parts.nested_bar(lift_mm=x)}, parts.vee(), mesher=MESHER))
        for x in (0.0, 0.2)
    )
    # A plane field with air gives 311 N of 579 N (test_reference_vee).
    assert lifted / nested == pytest.approx(311.0 / 579.0, rel=0.12)


@pytest.mark.slow
def test_a_part_on_its_edges_in_the_vee_has_next_to_no_hold():
    """Common practice, no source: it is still drawn down a little."""
    land = 0.1 / math.sqrt(2)
    edge = (
        cq.Workplane().box(12, 30, 12).edges("|Y and <Z").chamfer(land).translate((0, 0, 12 - land / 2)).val()
    )
    nested = parts.hold({"part": parts.nested_bar()}, parts.vee(), mesher=MESHER)
    on_edge = parts.hold({"part": edge}, parts.vee(), mesher=MESHER)
    assert on_edge[2] < 0
    assert np.linalg.norm(on_edge) < 0.12 * np.linalg.norm(nested)


def test_seat_gap_adds_halves_of_both_faces():
    assert seat_gap_um(rz_a_um=3.0, rz_b_um=1.0, flatness_a_um=4.0, flatness_b_um=2.0) == pytest.approx(5.0)
    with pytest.raises(SetupError, match="negative"):
        seat_gap_um(rz_a_um=-1.0, rz_b_um=1.0)


def test_a_rating_that_no_iron_can_meet_is_refused():
    assert strength_for_pull(lambda s: 100 * s**2, wanted_n=225.0, write=METRIC) == pytest.approx(
        1.5, rel=5e-3
    )
    with pytest.raises(NotComputedError, match="saturates first, at about 100 N, 44% of it"):
        strength_for_pull(lambda s: 100 * math.tanh(s), wanted_n=225.0, write=METRIC)


def test_a_sliver_that_comes_with_a_small_move_is_counted_on_the_meshes_of_before():
    """Where chamfers come to face each other by a hair, no element is asked for by them."""
    mesher = TetMesher()
    block = cq.Workplane(parts.block(20, 20, 8)).edges("|Z or >Z").chamfer(0.5).val()

    def beside(along_mm):
        places = {"left": (-10, 0, 0), "right": (10, along_mm, 0)}
        solids = {name: block.moved(cq.Location(at)) for name, at in places.items()}
        return parts.model(solids, parts.bars(count=3), mesher=mesher)

    flush = beside(0.0)
    made = mesher.meshed
    moved = beside(0.3)
    assert len(moved.gaps) > len(flush.gaps)
    assert mesher.meshed == made
