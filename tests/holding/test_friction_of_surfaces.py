"""Friction of a contact is that of the slipperier surface: Coulomb's law, F = mu N, in closed form."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fixturecheck.checks import hold
from fixturecheck.checks.doubts import suspicions
from fixturecheck.hold import hold_found
from fixturecheck.shop import tables
from fixturecheck.shop.tables import Material, Own
from fixturecheck.wording.hold import friction_words
from tests.holding.rigs import let_go, rigged, unfollowed
from tests.holding.test_film import SCREW_N, H, L, W, strapped

G_M_S2 = 9.80665


def of_material(material, **holding):
    setup = strapped(**holding)
    table, part = setup.bodies
    return replace(setup, bodies=(table, replace(part, material=material)))


def held_n(setup, share=0.0):
    """Return the level push at the foot under which the block slides, friction at a share of its range."""
    rig = rigged(setup)
    mu = rig.mu.low + share * (rig.mu.high - rig.mu.low)
    return let_go(rig, "block", (1.0, 0.0, 0.0), (0.0, 0.0, 0.5), mu=mu).factor.low


def pressed_n(material):
    return tables.material(material).density_kg_m3 * 1e-9 * L * W * H * G_M_S2 + SCREW_N / 2


@pytest.mark.parametrize(
    ("material", "low", "high"),
    [
        # The table's own rows: carbide 0.10 to 0.60, brass 0.19 to 0.51, aluminium 0.35 to 0.61, each
        # on steel; steel on steel 0.15 to 0.30 (Gieck).
        ("carbide", 0.10, 0.30),
        ("brass", 0.15, 0.30),
        ("aluminium", 0.15, 0.30),
    ],
)
def test_a_contact_has_the_lower_of_both_surfaces(material, low, high):
    setup = of_material(material, friction="ground_steel", coolant=False)
    normal_n = pressed_n(material)
    assert held_n(setup) == pytest.approx(low * normal_n, rel=1e-3)
    assert held_n(setup, 1.0) == pytest.approx(high * normal_n, rel=1e-3)


def test_two_surfaces_of_cast_iron_are_no_rougher_than_iron_on_steel():
    setup = of_material("gray_iron", friction="cast_iron_on_steel", coolant=False)
    # Gray iron on the steel table: the table's row of steel, 0.15, is the lower.
    assert held_n(setup) == pytest.approx(0.15 * pressed_n("gray_iron"), rel=1e-3)


def test_a_material_of_ones_own_counts_and_what_is_stated_for_the_set_up_overrules_it():
    slick = Material(
        name="ptfe_faced",
        density_kg_m3=7870.0,
        youngs_modulus_mpa=(190e3, 210e3),
        poisson=0.29,
        cte_um_m_k=11.5,
        magnetic=False,
        friction_on_steel=(0.04, 0.08),
        source="invented for this test",
    )
    with tables.among_ours(Own(materials=(slick,))):
        setup = of_material("ptfe_faced", friction="ground_steel")
        assert held_n(setup) == pytest.approx(0.04 * pressed_n("ptfe_faced"), rel=1e-3)
        stated = of_material("ptfe_faced", mu=(0.12, 0.20), coolant=False)
        assert held_n(stated) == pytest.approx(0.12 * pressed_n("ptfe_faced"), rel=1e-3)
        # It is said that the material's own row has less.
        (doubt,) = (d for d in suspicions(stated) if "Friction" in d.says)
        assert "0.04" in doubt.says
        assert "0.12" in doubt.says


def test_what_is_reported_names_the_slippery_material():
    setup = of_material("carbide", friction="ground_steel", coolant=False, grinds_as={"block": "hard_steel"})
    stage = unfollowed(setup)
    used = hold_found(setup, stage.held).friction
    assert used.mu == (0.15, 0.30)
    assert used.by_material == {"carbide": (0.10, 0.30)}
    assert "0.1 to 0.3 on carbide" in friction_words(used)
    steel = of_material("steel_1018", friction="ground_steel", coolant=False)
    (carbide, *_), (plain, *_) = hold.check(stage), hold.check(unfollowed(steel))
    # Carbide is heavier, by 3 N; the strap presses with 500 N, so the factor follows friction.
    assert carbide.value < 0.8 * plain.value
