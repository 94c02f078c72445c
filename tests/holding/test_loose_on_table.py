"""Blocks on the bare table are not bolted to it: weight and friction by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.holding.factor import loose_blocks
from fixturecheck.setup.holding import Holding
from fixturecheck.setup.make import equipment
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import weight_n
from tests.holding.blocks import fixture, part
from tests.holding.rigs import let_go, rigged, strap

MU = 0.2
BASE = fixture("base", (-60, -60, -20), (30, 60, 0))
"""Ends flush with the part, whose weight stands on it; it is what is bolted to the table."""


def weight(x_mm, y_mm, z_mm):
    return weight_n("steel_1018", x_mm * y_mm * z_mm)


def bench(*bodies, clamps=(), blocking=None):
    held = Holding(magnet="off", coolant=False, mu=(MU, MU), clamps=clamps, blocking=blocking)
    return Setup(name="bench", bodies=bodies, holding=held)


def pushed(setup, force_n=(100.0, 0.0, 0.0), at_mm=(0.0, 0.0, 0.5)):
    """Times a push low on the part that it holds."""
    return let_go(rigged(setup), "block", force_n, at_mm, mu=MU).factor.low


def stop(low=(30, -20, -20), high=(60, 20, 10), **given):
    return fixture("stop", low, high, **given)


def test_a_wrong_go_by_a_stop_that_only_its_weight_keeps_on_the_table():
    """What slides: the part on its base and the stop on the table; the stop bolted, it held for ever."""
    by_hand = MU * (weight(60, 40, 15) + weight(30, 40, 30)) / 100.0
    assert pushed(bench(part(), BASE, stop())) == pytest.approx(by_hand, rel=0.01)
    assert pushed(bench(part(), BASE, replace(stop(), fastened=True))) > 1e3


def test_a_stop_behind_the_part_bears_nothing_and_takes_nothing_away():
    """Pushed away from it, the part holds what it holds alone, by its own friction."""
    away = (-100.0, 0.0, 0.0)
    alone = pushed(bench(part(), BASE), away)
    assert alone == pytest.approx(MU * weight(60, 40, 15) / 100.0, rel=0.01)
    assert pushed(bench(part(), BASE, stop()), away) == pytest.approx(alone, rel=1e-3)
    held = bench(part(), BASE, stop())
    assert loose_blocks(held, rigged(held)) == ("stop",)


def test_a_strap_holds_a_stop_on_the_table_by_the_friction_of_its_force():
    """Half of 2000 N in the screw presses the stop; nothing rubs below the strap itself."""
    by_hand = MU * (weight(60, 40, 15) + weight(30, 40, 30) + 1000.0) / 100.0
    assert pushed(bench(part(), BASE, stop(), clamps=(strap("stop", (45, 0, 10), 2000.0),))) == pytest.approx(
        by_hand, rel=0.01
    )


def test_a_block_of_the_shop_is_loose_and_so_is_a_part_on_the_bare_table():
    """Nothing else is drawn: part and block rub on the table alone."""
    block = equipment("blocking_block", name="stop", at=(50, 0, 0), length_mm=40, width_mm=25, height_mm=16)
    setup = bench(part(), *block)
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    assert len(contacts.patches) == 1
    own = weight_n(block[0].material, 40 * 25 * 16)
    by_hand = MU * (weight(60, 40, 15) + own) / 100.0
    assert pushed(setup) == pytest.approx(by_hand, rel=0.01)


def test_what_parts_stand_on_is_the_fixture_that_is_bolted_down():
    """A ledge that carries the part and stops it is one body, and stays."""
    ledge = fixture("ledge", (-60, -60, -20), (60, 60, 0))
    wall = fixture("wall", (30, -20, 0), (60, 20, 10))
    whole = ledge.solid.fuse(wall.solid)
    assert pushed(bench(part(), replace(ledge, solid=whole))) > 1e3
