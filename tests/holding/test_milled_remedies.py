"""What brings the factor of a milled part back, each kind against a closed form of a block.

Straight flutes do not lift, so forces lie level; Kienzle's law (1952, from memory): a force goes with the
depth and with the feed to the power of 1 - mc, 0.74 at the end of the table that counts.
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from fixturecheck import Clamp, Holding, Machine, Milling, Setup, body
from fixturecheck.hold import trial_hold_of
from fixturecheck.holding.cutter import DEPTH_STEP_MM, FEED_STEP_MM, WIDTH_STEP_MM
from fixturecheck.holding.more_pull import larger_seat, more_magnet
from fixturecheck.holding.remedies import (
    CLAMP_STEP,
    STEP_MM,
    between_jaws,
    cut_another_way,
    dried,
    fastened,
    lighter_cut,
    stopped,
    tighter_clamps,
)
from fixturecheck.kernel.construct import box
from fixturecheck.magnet.pull import Pulls
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.units import METRIC
from fixturecheck.wording.remedies import remedy_words
from tests.holding.rigs import magnet_pull, milled, strap

pytestmark = pytest.mark.slow

LEAST, GRAVITY = 3.0, 9.80665
HALF, WIDE = 30.0, 20.0
RAILS = tuple((f"rail_{i}", box((-60, y, 0), (60, y + 15, 7))) for i, y in enumerate((WIDE, -WIDE - 15)))


def set_up(press_n=0.0, *others, half=HALF, tall=8.0, magnet="off", blocking=(), held=None, **mill):
    """A block on a plate, a strap on its middle pressing half of its screw's force."""
    facts = {
        "cutter_mm": 10.0,
        "teeth": 2,
        "deep_mm": 1.0,
        "wide_mm": 3.0,
        "feed_mm_tooth": 0.05,
        "way": "conventional",
        "helix_deg": 0.0,
    }
    pressed = strap("part", (0, 0, tall), 2.0 * max(press_n, 1.0))
    holding = {"coolant": False, "mu": (0.2, 0.2), **(held or {})}
    return Setup(
        name="block under a cutter",
        bodies=(
            body("plate", box((-150, -100, -10), (150, 100, 0)), role="fixture", pole="n"),
            *(body(name, solid, role="fixture") for name, solid in others),
            body("part", box((-half, -WIDE, 0), (half, WIDE, tall)), faces={"floor": ">Z"}),
        ),
        machine=Machine(table_z_mm=-10.0),
        holding=Holding(
            **holding,
            magnet=magnet,
            clamps=(pressed,) if press_n else (),
            blocking=blocking,
            milling=(Milling(name="mill", parts=("part",), face="floor", **{**facts, **mill}),),
        ),
    )


def on_bench(setup, pulls=None, magnet=None):
    here = milled(setup)
    return trial_hold_of(here.process, replace(here.rig, pulls=pulls), magnet=magnet, follow=False)


def factor(setup):
    return on_bench(setup).part.factors.factor.low


PRESS_N = 8000.0


@pytest.fixture(scope="module")
def sliding():
    """A flat block that slides under its tooth: friction on what presses, no lever to speak of."""
    bench = on_bench(set_up(PRESS_N))
    assert 1.2 < bench.part.factors.factor.low < 2.5
    return bench


def test_depth_and_feed_are_those_of_the_law_of_kienzle(sliding):
    held = sliding.part.factors.factor.low
    found = {r.kind: r for r in lighter_cut(sliding)}
    for kind, wanted_mm, step_mm in (
        (RemedyKind.DEPTH, held / LEAST, DEPTH_STEP_MM),
        (RemedyKind.FEED, 0.05 * (held / LEAST) ** (1.0 / 0.74), FEED_STEP_MM),
    ):
        (amount,) = found[kind].amounts
        # The lever of a shallower tooth is a trifle shorter.
        assert wanted_mm - step_mm - 1e-9 < amount.to <= 1.03 * wanted_mm
        assert found[kind].factor >= LEAST
    (width,) = found[RemedyKind.WIDTH].amounts
    # Tried anew as a set-up of its own: it holds, and a step wider it does not.
    for wide_mm, enough in ((width.to, True), (width.to + WIDTH_STEP_MM, False)):
        assert (factor(set_up(PRESS_N, wide_mm=wide_mm)) >= LEAST) is enough
    assert "wide at a time instead of 3" in remedy_words(found[RemedyKind.WIDTH], METRIC)


def test_a_clamp_is_tightened_as_the_sliding_block_asks(sliding):
    """The factor goes with what presses: strap and weight."""
    weight_n = 7870e-9 * 2 * HALF * 2 * WIDE * 8.0 * GRAVITY
    wanted = (LEAST / sliding.part.factors.factor.low * (PRESS_N + weight_n) - weight_n) / PRESS_N
    (remedy,) = tighter_clamps(sliding)
    assert 0.99 * wanted <= remedy.change_ratio <= wanted + 1.1 * CLAMP_STEP


def test_a_stop_is_as_tall_as_the_tipping_block_asks():
    """Between rails and without friction it goes ahead, and tips over the top edge of what stops it.

    3 F (T + d / 2 - h) = N b about that edge: the tooth pushes at half its depth above the floor.
    """
    half, tall, press_n = 12.0, 40.0, 2600.0
    rails = tuple((f"rail_{i}", box((-60, y, 0), (60, y + 15, 38))) for i, y in enumerate((WIDE, -WIDE - 15)))
    frictionless = {"mu": (0.0, 0.0)}
    bench = on_bench(set_up(press_n, *rails, half=half, tall=tall, held=frictionless))
    assert bench.part.factors.factor.low == pytest.approx(0.0, abs=1e-6)
    (remedy,) = stopped(bench)
    push_n = max(sum(t.force_n[0] for t in case.teeth) for case in bench.process.cases())
    held_n = press_n + 7870e-9 * 2 * half * 2 * WIDE * tall * GRAVITY
    wanted_mm = tall + 0.5 - held_n * half / (LEAST * push_n)
    assert 2.0 < wanted_mm < tall - 5.0
    assert wanted_mm - 0.01 <= remedy.stop.tall_mm <= wanted_mm + STEP_MM + 0.01
    assert (remedy.stop.axis, remedy.stop.sign) == (0, 1)
    assert remedy.stop.tall_mm + remedy.stop.below_mm == pytest.approx(tall)
    assert "below the cutter" in remedy_words(remedy, METRIC)


def test_a_block_so_low_that_only_the_cutter_could_stand_above_is_not_told():
    bench = on_bench(
        set_up(100.0, *((n, box((-60, y, 0), (60, y + 15, 2))) for n, y in (("a", WIDE),)), tall=2.8)
    )
    assert list(stopped(bench)) == []


@pytest.mark.parametrize(
    ("way", "wide_mm", "stop_x", "kind", "names"),
    [
        ("climb", 0.5, HALF, RemedyKind.WAY, ("climb", "conventional")),
        ("conventional", 3.0, -HALF - 20.0, RemedyKind.DIRECTION, ("+X", "-X")),
    ],
)
def test_a_cut_is_turned_so_that_it_pushes_onto_the_stop(way, wide_mm, stop_x, kind, names):
    """Between rails, a thin cut that climbs draws back, and any that runs against its feed pushes ahead."""
    stop = ("stop", box((stop_x, -15, 0), (stop_x + 20.0, 15, 7.5)))
    slick = {"mu": (0.02, 0.02)}
    bench = on_bench(set_up(3000.0, *RAILS, stop, way=way, wide_mm=wide_mm, held=slick))
    assert bench.part.factors.factor.low < 1.0
    found = {r.kind: r for r in cut_another_way(bench)}
    assert found[kind].names == names
    turned = {"way": "conventional", "feed": (1.0 if names[1] != "-X" else -1.0, 0.0, 0.0)}
    again = factor(set_up(3000.0, *RAILS, stop, wide_mm=wide_mm, held=slick, **turned))
    assert again == pytest.approx(found[kind].factor, rel=1e-6)


def test_a_loose_stop_is_fastened():
    """Loose it slides along with the block that is pushed onto it; fastened it takes the push."""
    stop = ("stop", box((HALF, -15, 0), (HALF + 20.0, 15, 7.5)))
    bench = on_bench(set_up(3000.0, *RAILS, stop, blocking=("stop",), held={"mu": (0.02, 0.02)}))
    (remedy,) = fastened(bench)
    assert remedy.names == ("stop",)
    again = factor(set_up(3000.0, *RAILS, stop, held={"mu": (0.02, 0.02)}))
    assert again == pytest.approx(remedy.factor, rel=1e-6)


def test_dry_it_holds_half_as_much_again():
    """Film 0.10 to 0.20 by the table, ground steel 0.15 to 0.30: the low ends count."""
    bench = on_bench(set_up(24000.0, held={"mu": (), "coolant": True, "friction": "ground_steel"}))
    wet = bench.part.factors.factor.low
    assert 2.0 < wet < LEAST
    (remedy,) = dried(bench)
    assert remedy.factor == pytest.approx(1.5 * wet, rel=0.02)
    assert [(a.now, a.to) for a in remedy.amounts] == [(0.1, 0.15), (0.2, 0.3)]


def pulled(size_n, area_mm2=400.0):
    return Pulls(faces=(magnet_pull("part.face_5", "plate.face_6", size_n, area_mm2),))


def test_a_low_block_on_a_chuck_is_switched_on_or_seated_wider():
    """Pull as a strap of the same force; the area that is needed goes with the pull that is."""
    held = factor(set_up(PRESS_N))
    off = on_bench(set_up(), magnet=SimpleNamespace(pulls=lambda _: pulled(4.0 * PRESS_N)))
    (switched,) = more_magnet(off)
    assert switched.kind is RemedyKind.SWITCHED_ON
    assert switched.factor == pytest.approx(4.0 * held, rel=0.02)
    (seated,) = larger_seat(on_bench(set_up(magnet="full"), pulls=pulled(PRESS_N)))
    (area,) = seated.amounts
    assert 0.99 * LEAST / held <= area.to / area.now <= LEAST / held + 0.06
    # All of its foot on the magnet already: there is no larger seat.
    whole = pulled(PRESS_N, area_mm2=4.0 * HALF * WIDE)
    assert list(larger_seat(on_bench(set_up(magnet="full"), pulls=whole))) == []


def test_what_nothing_holds_is_held_between_jaws_and_what_is_in_a_vise_is_not():
    bench = on_bench(set_up(tall=30.0, held={"mu": ()}, deep_mm=0.3, wide_mm=1.0, feed_mm_tooth=0.02))
    (remedy,) = between_jaws(bench)
    assert remedy.kind is RemedyKind.VISE
    assert remedy.factor >= LEAST
    jaw = Clamp(name="screw", kind="vise", body="plate", face="face_1", force_n=1.0)
    stated = replace(bench.setup, holding=replace(bench.setup.holding, clamps=(jaw,)))
    inside = replace(bench, process=replace(bench.process, setup=stated))
    assert list(between_jaws(inside)) == []


def test_a_tower_is_never_told_a_stop_above_its_cut():
    """Tall and narrow under a strap: whatever is told stays below the cutter and within its span."""
    bench = on_bench(set_up(12000.0, half=10.0, tall=60.0))
    for remedy in stopped(bench):
        assert 0.0 < remedy.stop.tall_mm <= 60.0 - bench.setup.machine.least_clearance_mm
        assert remedy.factor >= LEAST
    assert math.isfinite(bench.part.factors.factor.low)
