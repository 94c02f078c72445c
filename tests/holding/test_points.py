"""Pull on a body is a load at its centre, whether it touches there, stands off, or touches elsewhere."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fixturecheck import Clamp, Setup
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.faceref import FaceRef
from fixturecheck.holding.bearing import Spot, spots
from fixturecheck.holding.clamping import Friction, Pressed
from fixturecheck.holding.factor import pull_on
from fixturecheck.holding.remedies import with_fixed
from fixturecheck.holding.rig import Rig
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import box, prism
from fixturecheck.magnet.field.gaps import GapPatch
from fixturecheck.magnet.pull import FacePull, Magnet, Pulls
from fixturecheck.magnet.rating import MagnetSource
from fixturecheck.result.hold import Driver
from fixturecheck.setup.model import Body
from fixturecheck.statics.clamps import ClampForce
from fixturecheck.statics.collapse import collapse, without
from fixturecheck.statics.equilibrium import Load, Rigid

LONG_MM, PULL_N = 40.0, 100.0


def spot(points, b=""):
    points = np.array(points, dtype=float)
    return Spot(
        a="bar",
        b=b,
        faces=frozenset({FaceRef("bar.bottom"), FaceRef("table.top")}),
        normal=np.array([0.0, 0.0, -1.0]),
        points_mm=points,
        shares=np.full(len(points), 1.0 / len(points)),
        stiffness_n_mm=1e6,
        label="bar on table",
    )


def pull(at, *, on="bar.bottom", by="table.top", toward=(0.0, 0.0, -1.0), size_n=PULL_N):
    at = np.array(at, dtype=float)
    return FacePull(
        a=FaceRef(on), b=FaceRef(by), weak_n=size_n, strong_n=size_n, weak_at_mm=at, strong_at_mm=at,
        toward=np.array(toward), area_mm2=1.0, flux_density_t=0.0, low_share=0.9, high_share=1.1,
        points_mm=at[None], pressure_n_mm2=np.ones(1),
    )  # fmt: skip


def rig(spots, faces, *others):
    return Rig(
        bodies=(Rigid(name="bar", at_mm=(0.0, 0.0, 5.0)), *others),
        spots=tuple(spots),
        held=(),
        clamps=(),
        pulls=Pulls(faces=tuple(faces)),
        friction=Friction(general=Range.exactly(0.2), by_body={}, by_material={}),
        wet=False,
    )


FOUR = [(x, y, 0.0) for x in (-20.0, 20.0) for y in (-10.0, 10.0)]


@pytest.mark.parametrize("y", [0.0, 5.0, 9.99, 10.0])
def test_a_bar_tips_about_its_edge_by_the_lever_of_the_pull(y, compared):
    """Statics: lifted at its middle height by F at y = -10, about the edge at y = 10 the pull has 10 - y."""
    held = rig([spot(FOUR)], [pull((0.0, y, 0.0))])
    lift = Load(body="bar", force_n=(0.0, 0.0, 1.0), at_mm=(0.0, -10.0, 5.0))
    found = collapse(held.holding({Driver.FRICTION: 0.2}, (lift,)), ceiling=1e3)
    tips = PULL_N * (10.0 - y) / 20.0
    assert found.factor.low == pytest.approx(tips, rel=1e-3, abs=0.02)
    if y == 5.0:
        compared("pulled bar tips about its edge", expected=tips, got=found.factor.low)


def test_a_pull_beside_the_line_that_a_bar_touches_on_turns_it_over():
    """No force on the line balances a pull 1 mm beside it; one on the line itself rests."""
    line = [(x, 0.0, 0.0) for x in (-20.0, 0.0, 20.0)]
    push = (Load(body="bar", force_n=(1.0, 0.0, 0.0), at_mm=(0.0, 0.0, 0.0)),)
    beside = rig([spot(line)], [pull((0.0, 1.0, 0.0))]).holding({Driver.FRICTION: 0.2}, push)
    assert not collapse(beside).rests
    on = rig([spot(line)], [pull((5.0, 0.0, 0.0))]).holding({Driver.FRICTION: 0.2}, push)
    assert collapse(on, ceiling=1e3).factor.low == pytest.approx(0.2 * PULL_N, rel=1e-3)


def test_a_body_that_touches_nothing_is_pulled_all_the_same():
    loads = rig([], [pull((0.0, 0.0, 0.0))]).holding({Driver.FRICTION: 0.2}, ()).held
    assert [(x.body, x.force_n) for x in loads] == [("bar", (0.0, 0.0, -PULL_N))]


def test_the_pull_of_a_block_goes_with_the_block():
    """Two pulls on the bar, one across the gap to a loose block; without the block only the other is left."""
    block = Rigid(name="block", at_mm=(30.0, 0.0, 5.0))
    faces = [
        pull((0.0, 0.0, 0.0)),
        pull((20.5, 0.0, 5.0), on="bar.right", by="block.left", toward=(1.0, 0.0, 0.0), size_n=10.0),
    ]
    whole = rig([spot(FOUR)], faces, block).holding({Driver.FRICTION: 0.2}, ())
    assert sorted((x.body, x.force_n) for x in whole.held) == [
        ("bar", (0.0, 0.0, -PULL_N)),
        ("bar", (10.0, 0.0, 0.0)),
        ("block", (-10.0, 0.0, 0.0)),
    ]
    assert [(x.body, x.force_n) for x in without(whole, "block").held] == [("bar", (0.0, 0.0, -PULL_N))]


def test_a_name_for_two_faces_is_two_spots_that_look_their_own_way():
    """A block in a corner, whose floor and wall go by one name, and so do the two sides that touch them."""
    corner = prism([(0, 0), (40, 0), (40, 10), (10, 10), (10, 40), (0, 40)], from_x_mm=-20.0, to_x_mm=20.0)
    faces = {"outer": [i for i, f in enumerate(faces_of(block_solid())) if low(f)]}
    inner = [i for i, f in enumerate(faces_of(corner)) if abs(max(f.Center().y, f.Center().z) - 25) < 1e-6]
    setup = Setup(
        name="corner",
        bodies=(
            Body(name="bar", solid=block_solid(), role="part", material="steel_1018", faces=faces),
            Body(name="angle", solid=corner, role="fixture", faces={"inner": inner}),
        ),
    )
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    found = spots(contacts, ("bar",))
    assert {x.label for x in found} == {"bar.outer on angle.inner"} or {x.label for x in found} == {
        "angle.inner on bar.outer"
    }
    assert sorted(tuple(np.round(x.normal).astype(int)) for x in found) == [(0, -1, 0), (0, 0, -1)]


def block_solid():
    return box((-10, 10, 10), (10, 30, 30))


def low(face):
    normal = face.normalAt()
    return normal.y < -0.9 or normal.z < -0.9


def test_pieces_of_one_name_keep_their_own_pull():
    """Two feet under one name on one pole: each is pulled at its own place, weak end and strong end."""

    def patch(x, size_n):
        return SimpleNamespace(
            name="bar.feet on pole.top", a="bar", b="pole",
            pull_n=size_n, force_n=np.array([0.0, 0.0, -size_n]), centre_mm=np.array([x, 0.0, 0.0]),
            area_mm2=100.0, flux_density_mean_t=0.5,
            pressure_n_mm2=np.full(4, size_n / 100.0),
        )  # fmt: skip

    def gap(x):
        points = np.array([(x + a, b, 0.0) for a in (-5.0, 5.0) for b in (-5.0, 5.0)])
        return GapPatch(
            name="bar.feet on pole.top", a="bar", b="pole", points_a_mm=points, points_b_mm=points,
            gap_mm=np.full(4, 0.004), weight_mm2=np.full(4, 25.0), normal=np.tile([0.0, 0.0, -1.0], (4, 1)),
        )  # fmt: skip

    def model(*sizes):
        patches = [patch(x, n) for x, n in zip((-20.0, 20.0), sizes, strict=True)]
        solved = SimpleNamespace(patches=patches, loose=(), unknowns=1, potential_a={})
        return SimpleNamespace(
            gaps=(gap(-20.0), gap(20.0)), sources=(), left_out=(), solve=lambda *_, **__: solved
        )

    magnet = Magnet(
        weak=model(30.0, 50.0),
        strong=model(40.0, 60.0),
        source=MagnetSource(mmf_a=1.0, gap_mm=0.02),
        notes=(),
    )
    pulls = magnet.pulls(1.0)
    assert [(f.weak_n, f.strong_n, f.weak_at_mm[0], f.points_mm[:, 0].mean()) for f in pulls.faces] == [
        (30.0, 40.0, -20.0, -20.0),
        (50.0, 60.0, 20.0, 20.0),
    ]
    held = rig([spot(FOUR)], pulls.faces).holding({Driver.FRICTION: 0.2}, ())
    assert sum(x.force_n[2] for x in held.held) == pytest.approx(-0.5 * (30 + 40 + 50 + 60))


def test_a_fastened_block_takes_its_clamp_with_it():
    block = Rigid(name="block", at_mm=(30.0, 0.0, 5.0))
    screw = Clamp(name="screw", kind="strap", body="block", force_n=100.0)
    force = ClampForce(force_n=Range.exactly(100.0), direction=(0.0, 0.0, -1.0), at_mm=(30.0, 0.0, 10.0))
    whole = replace(rig([spot(FOUR)], [], block), clamps=(Pressed(clamp=screw, force=force),))
    assert [x.body for x in whole.holding({Driver.FRICTION: 0.2}, ()).held] == ["block"]
    assert not with_fixed(whole, ("block",)).holding({Driver.FRICTION: 0.2}, ()).held


def test_a_pull_is_counted_once():
    held = rig([spot(FOUR)], [pull((0.0, 0.0, 0.0))]).holding({Driver.FRICTION: 0.2}, ())
    assert sum(c.pull_n for c in held.contacts) == 0.0
    assert sum(x.force_n[2] for x in held.held) == -PULL_N


def test_the_pull_that_is_told_presses_the_part_onto_its_seats():
    """Two blocks beside draw it sideways, 300 N each: 500 N press it down, and no more."""
    down = pull((0.0, 0.0, 0.0))
    sides = [
        replace(down, toward=np.array([x, 0.0, 0.0]), weak_n=300.0, strong_n=300.0, number=n)
        for n, x in ((1, -1.0), (2, 1.0))
    ]
    alone = pull_on(rig([spot(FOUR)], [down]), "bar")
    assert pull_on(rig([spot(FOUR)], [down, *sides]), "bar") == alone
    assert alone.low > 0.0
