"""The tables of materials and finishes: sources, physics that must hold, and unknown names."""

import itertools
import math
from dataclasses import replace

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.shop.tables import (
    Material,
    curve_contradictions,
    finish,
    finishes,
    flaws_of,
    material,
    materials,
    our_finishes,
    our_materials,
)

MU0_H_M = 4e-7 * math.pi
PURE_IRON_J_T = 2.16
"""Saturation polarisation of pure iron: end of the pure iron curve of a public magnetics table, 2.160 T."""


def largest_polarisation_t(points: tuple[tuple[float, float], ...]) -> float:
    return max(b - MU0_H_M * h for h, b in points)


@pytest.mark.parametrize("row", materials().values(), ids=materials())
def test_every_material_has_a_source_and_sane_numbers(row: Material) -> None:
    assert len(row.source) > 20
    assert row.says
    for low, high in (row.youngs_modulus_mpa, row.friction_on_steel):
        assert 0 < low < high
    assert 2000 < row.density_kg_m3 < 20000
    assert 0.15 < row.poisson < 0.4
    assert 4 < row.cte_um_m_k < 30
    assert row.friction_on_steel[1] < 1
    if row.coercivity_a_m:
        assert row.magnetic
        assert row.coercivity_a_m[0] < row.coercivity_a_m[1]


@pytest.mark.parametrize("row", [*materials().values(), *finishes().values()], ids=lambda row: row.name)
def test_ours_keep_the_rules_that_a_users_own_must_keep(row: Material) -> None:
    assert list(flaws_of(row)) == []


@pytest.mark.parametrize(
    "name", ["steel_4140", "tool_steel_h13", "tool_steel_m2", "silver_steel", "steel_52100"]
)
def test_steels_without_a_curve_say_between_which_they_lie(name: str) -> None:
    row = material(name)
    assert row.bh == ()
    weak, strong = (dict(material(n).bh) for n in row.between)
    # In the field of a chuck, some kA/m, the weaker carries less flux than the stronger.
    assert max(b for h, b in weak.items() if h < 5000) < min(b for h, b in strong.items() if 3000 < h < 5000)


# H13: a supplier's sheet (7.80 g/cm3, 215 GPa, 10.4); 4140: azom 9163 (7.85 g/cm3, 205 GPa, 0.29).
@pytest.mark.parametrize(
    ("name", "density", "youngs_mpa"), [("tool_steel_h13", 7800, 215e3), ("steel_4140", 7850, 205e3)]
)
def test_steels_that_were_added_against_their_sheets(name: str, density: float, youngs_mpa: float) -> None:
    row = material(name)
    assert row.density_kg_m3 == density
    assert row.youngs_modulus_mpa[0] <= youngs_mpa <= row.youngs_modulus_mpa[1]


CURVES = {name: row for name, row in materials().items() if row.bh}


@pytest.mark.parametrize("row", CURVES.values(), ids=CURVES)
def test_curves_rise_faster_than_air_and_saturate_below_pure_iron(row: Material) -> None:
    assert row.magnetic
    for (h0, b0), (h1, b1) in itertools.pairwise(row.bh):
        assert h1 > h0
        # B cannot rise more slowly than in air.
        assert b1 - b0 > 0.999 * MU0_H_M * (h1 - h0)
    assert largest_polarisation_t(row.bh) <= PURE_IRON_J_T


def test_the_lint_catches_the_tail_that_was_left_out() -> None:
    # The public table's 1020 reaches J = 2.182 T at 317 kA/m, above pure iron: the row stops before it.
    tail = (317e3, 2.182 + MU0_H_M * 317e3)
    assert largest_polarisation_t((*material("steel_1020").bh, tail)) > PURE_IRON_J_T
    assert material("steel_1020").bh[-1][0] < 20e3


# Highest polarisation of each curve, as worked out from the same public table elsewhere.
@pytest.mark.parametrize(
    ("name", "polarisation_t"),
    [
        ("steel_1010", 2.073),
        ("steel_1018", 2.030),
        ("ductile_iron", 1.66),
        ("stainless_455", 1.46),
    ],
)
def test_each_iron_saturates_where_its_source_says(name: str, polarisation_t: float) -> None:
    decimals = len(str(polarisation_t).split(".")[1])
    assert largest_polarisation_t(material(name).bh) == pytest.approx(polarisation_t, abs=0.6 * 10**-decimals)


def test_order_of_materials_by_flux_in_a_middling_field() -> None:
    # A magnetic chuck's manual ranks low-carbon steel over cast iron (O.S. Walker DD15508M p. 4-3).
    def flux_t(name: str) -> float:
        points = material(name).bh
        (h0, b0), (h1, b1) = next(p for p in itertools.pairwise(points) if p[0][0] <= 4000 <= p[1][0])
        return b0 + (b1 - b0) * (4000 - h0) / (h1 - h0)

    assert flux_t("steel_1018") > flux_t("ductile_iron") > flux_t("gray_iron")


@pytest.mark.parametrize("name", ["tool_steel_a2", "tool_steel_o1", "tool_steel_d2", "steel_52100"])
def test_hardened_tool_steel_is_semi_hard_and_must_be_demagnetised(name: str) -> None:
    # E-Magnetica.pl, "Coercivity": soft below 1 kA/m, semi-hard 1 to 100 kA/m.
    coercivity = material(name).coercivity_a_m
    assert coercivity is not None
    assert 1000 <= coercivity[0] < coercivity[1] < 100e3
    # No curve of the hardened steel was found, and none was made up.
    assert material(name).bh == ()


def test_what_a_magnet_does_not_hold() -> None:
    assert {n for n, row in materials().items() if not row.magnetic} == {
        "stainless_304", "brass", "aluminium", "carbide",
    }  # fmt: skip


# Mean expansion, um/(m K): theworldmaterial.com (A2), a steel maker's sheet (D2), azom 6214 (O1).
@pytest.mark.parametrize(
    ("name", "cte"), [("tool_steel_a2", 10.7), ("tool_steel_d2", 10.4), ("tool_steel_o1", 10.6)]
)
def test_each_material_expands_as_its_source_says(name: str, cte: float) -> None:
    assert material(name).cte_um_m_k == cte


def test_expansion_of_100_mm_by_5_kelvin() -> None:
    assert material("steel_1018").cte_um_m_k * 0.1 * 5 == pytest.approx(5.75, abs=1e-9)


def test_friction_of_steel_spans_the_slip_to_pull_ratio_of_a_chuck_manual() -> None:
    # SAV 244 manual p. 39: displacement force is 15-30 % of the pull, by surface quality.
    assert material("steel_1018").friction_on_steel == (0.15, 0.30)


def test_finishes_have_sources_and_get_rougher() -> None:
    rows = list(finishes().values())
    assert [r.name for r in rows[:3]] == ["lapped", "ground", "rough_ground"]
    for row in rows:
        assert row.source
        assert 0 < row.ra_um[0] < row.ra_um[1]
        # Common practice, no source: Rz is four to seven times Ra.
        assert row.rz_um == pytest.approx((4 * row.ra_um[0], 7 * row.ra_um[1]))
    means = [math.sqrt(r.ra_um[0] * r.ra_um[1]) for r in rows[:3]]
    assert means == sorted(means)


def test_unknown_names_are_answered_with_near_ones() -> None:
    with pytest.raises(SetupError, match=r"material 'steel_108' is not known; did you mean .*steel_1018"):
        material("steel_108")
    with pytest.raises(SetupError, match="finish 'lapd' is not known; did you mean 'lapped"):
        finish("lapd")
    with pytest.raises(SetupError, match=r"there are .*steel_52100"):
        material("q")


def test_tables_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        materials()["mine"] = material("brass")  # type: ignore[index]  # what must fail


@pytest.mark.parametrize("name", [m.name for m in our_materials().values() if m.bh and m.coercivity_a_m])
def test_every_curve_of_the_table_agrees_with_its_own_coercivity(name):
    row = our_materials()[name]
    assert not list(curve_contradictions(row, [row]))


def test_a_curve_that_has_its_knee_below_the_coercivity_is_no_weak_end():
    """455 stainless is nearly saturated at 1.4 kA/m; hardened tool steel may turn round at 9.71 kA/m only."""
    known = our_materials()
    (flaw,) = curve_contradictions(known["tool_steel_a2"], [known["stainless_455"], known["steel_1018"]])
    assert "1.37 T of its 1.46 T at 9710 A/m" in flaw
    assert not list(curve_contradictions(known["tool_steel_a2"], [known["gray_iron"], known["steel_1018"]]))
    own = replace(known["steel_52100"], name="own", between=("stainless_455", "steel_1018"))
    assert any("own may be weaker" in flaw for flaw in flaws_of(own))


def test_flatter_finishes_come_first():
    flat = [
        our_finishes()[n].flatness_um for n in ("lapped", "ground", "rough_ground", "planed", "as_forged")
    ]
    assert flat == sorted(flat)
