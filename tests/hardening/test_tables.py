"""Tempers and size changes at the points that data sheets print, and the marks of a hardness test."""

from __future__ import annotations

import math

import pytest

from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.hardening.steels import (
    WITHOUT_TABLE,
    hardening_process,
    hardening_processes,
    hardening_steel,
    hardening_steels,
)
from fixturecheck.hardening.temper import (
    Change,
    Growth,
    Turn,
    change_along,
    growth_of,
    hardness_hrc,
    least_edge_mm,
    least_thickness_mm,
    mark_depth_mm,
    mark_width_mm,
    stock_to_leave_mm,
    temper_for,
    toughness_j,
    toughness_turns,
)
from fixturecheck.interval import Range
from fixturecheck.shop.tables import our_materials

A2, O1, D2, S7, H13 = (hardening_steel(f"tool_steel_{name}") for name in ("a2", "o1", "d2", "s7", "h13"))

# easterntoolsteel.com/data/a-2_1.htm and scribd 55094073: A2 from 1775 F and air; F, HRC, C-notch J.
A2_TEMPERS = [
    (300, 62, None), (400, 61, 42), (500, 60, 56), (600, 59, 50), (700, 58, 45), (800, 58, 42),
    (900, 58, 39), (1000, 57, 56), (1100, 51, None),
]  # fmt: skip
# easterntoolsteel.com/data/0-1_1.htm: O1 from 1475 F and oil.
O1_TEMPERS = [
    (300, 64, 19), (350, 63, 38), (400, 62, 41), (450, 61, 41), (500, 59, 41), (600, 56, 43), (700, 52, None),
    (800, 49, None), (900, 44, None), (1000, 40, None),
]  # fmt: skip


# easterntoolsteel.com/data/s7_1.htm and simplytoolsteel.com: S7 from 1775 F and air; F, HRC, C-notch J.
S7_TEMPERS = [
    (300, 59, 115), (400, 57, 169), (500, 55, 169), (600, 54, 155), (700, 53, 141), (800, 53, 141),
    (900, 52, 162), (1000, 51, 203), (1100, 47, 257),
]  # fmt: skip


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


@pytest.mark.parametrize(
    ("steel", "row"),
    [(steel, r) for steel, rows in ((A2, A2_TEMPERS), (O1, O1_TEMPERS), (S7, S7_TEMPERS)) for r in rows],
    ids=lambda v: str(v)[:20],
)
def test_tempers_at_the_points_of_the_sheets(steel, row):
    fahrenheit, hrc, joule = row
    at_c = min(max(celsius(fahrenheit), steel.hardness[0][0]), steel.hardness[-1][0])
    assert hardness_hrc(steel, at_c).middle == pytest.approx(hrc, abs=0.02)
    if joule is None:
        assert toughness_j(steel, celsius(fahrenheit)) is None
    else:
        in_table = min(max(celsius(fahrenheit), steel.toughness[0][0]), steel.toughness[-1][0])
        assert toughness_j(steel, in_table) == pytest.approx(joule, abs=0.1)


def test_as_quenched_hardness_and_d2():
    """As quenched 64 and 65 (the same sheets); D2 61 HRC at 400 F and 54 at 1000 F (sharpimpex.in)."""
    assert hardness_hrc(A2, None).middle == 64
    assert hardness_hrc(O1, None).middle == 65
    assert hardness_hrc(D2, 204.4).middle == pytest.approx(61, abs=0.05)
    assert hardness_hrc(D2, 537.8).middle == pytest.approx(54, abs=0.05)


def test_a2_is_toughest_at_500_f_and_has_its_trough_at_900_f():
    """The A2 sheet: 56 J at 500 F, 39 J at 900 F."""
    peak, trough = toughness_turns(A2)
    assert (peak.turn, trough.turn) == (Turn.PEAK, Turn.TROUGH)
    assert (peak.temper_c, trough.temper_c) == (
        pytest.approx(celsius(500)),
        pytest.approx(celsius(900), abs=0.1),
    )
    assert (peak.energy_j, trough.energy_j) == (56, 39)
    assert toughness_turns(D2) == ()


def test_temper_for_a_wanted_hardness_is_the_toughest_that_gives_it():
    """A2 is 58 HRC from 700 to 900 F, with 45 J at 700 and 39 at 900; 60 to 61 gives 400 to 500 F."""
    flat = temper_for(A2, Range(low=58, high=58))
    assert (flat.allowed_c[0].low, flat.allowed_c[0].high) == pytest.approx(
        (celsius(700), celsius(900)), abs=0.1
    )
    assert flat.temper_c == pytest.approx(celsius(700), abs=0.1)
    assert temper_for(A2, Range(low=60, high=61)).temper_c == pytest.approx(celsius(500), abs=0.1)
    # Two stretches: 57 to 57.5 lies on the fall from 58 at 900 F to 57 at 1000 F alone.
    assert temper_for(A2, Range(low=57, high=57.5)).temper_c == pytest.approx(celsius(1000), abs=0.1)
    # Without a table of toughness, the middle.
    assert temper_for(D2, Range(low=58, high=58)).temper_c == pytest.approx((371.1 + 482.2) / 2)


def test_what_no_temper_gives_names_the_nearest():
    with pytest.raises(NotComputedError, match="nearest is 51 HRC at 593 C"):
        temper_for(A2, Range(low=45, high=47))
    with pytest.raises(NotComputedError, match="from 148"):
        hardness_hrc(A2, 100.0)
    with pytest.raises(NotComputedError, match="up to a temper of 593"):
        growth_of(A2, 650.0)


def test_growth_of_the_data_sheets():
    """2.000 in of A2 becomes 2.002 in air, 2.000 in of O1 2.003 in oil (buffaloprecision.com data sheets)."""
    for steel, grown_in in ((A2, 2.002), (O1, 2.003)):
        change = growth_of(steel, None).along.times(2.0)
        assert 2.0 + change.usual == pytest.approx(grown_in, abs=1e-12)
        assert change.low < change.usual < change.high


def test_growth_changes_sign_where_the_sheets_say():
    """O1 expands slightly up to 400 F and contracts above (aobosteel.com); D2 contracts as quenched or
    tempered below 900 F and is back at its size at about 925 F (scribd 39510928)."""
    assert growth_of(O1, celsius(400)).along.usual > 0 > growth_of(O1, celsius(500)).along.usual
    for at_c in (None, celsius(400), celsius(850)):
        assert growth_of(D2, at_c).along.usual < 0
        assert growth_of(D2, at_c).across.usual < 0
    at_size = growth_of(D2, celsius(925))
    assert at_size.along.usual == pytest.approx(0.0, abs=1e-5)
    assert at_size.across.usual == pytest.approx(0.0, abs=1e-5)


def test_a_tempered_a2_part_grows_a_thousandth_or_less_as_a_rule():
    """Common practice, no source: a small vacuum-hardened part changes by about 0.001 of its size or less."""
    change = growth_of(A2, celsius(625)).along
    assert 0.0 <= change.usual <= 0.001
    assert change.high <= 0.0015


def test_strain_in_a_direction_is_that_of_a_stretched_plane():
    """Closed form n.E.n against planes moved by the map x -> (1 + E) x itself."""
    growth = Growth(
        along=Change(low=0.001, usual=0.001, high=0.001),
        across=Change(low=-0.0004, usual=-0.0004, high=-0.0004),
    )
    for angle_deg in (0.0, 30.0, 45.0, 71.0, 90.0):
        n = (math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg)), 0.0)
        # A plane n.x = d becomes (n / stretch).x' = d, whose distance is d / |n / stretch|.
        exact = 1.0 / math.hypot(n[0] / 1.001, n[1] / 0.9996) - 1.0
        assert change_along(growth, n, (1, 0, 0)).usual == pytest.approx(exact, abs=1e-6)
    wide = change_along(growth, (0, 0, 1), None)
    assert (wide.low, wide.high) == (-0.0004, 0.001)


def test_the_stock_left_for_growth_is_shared_by_the_sides_ground():
    """Half the growth on each of two sides, all of it on one, with distortion and clean-up on each."""
    change = Change(low=0.0, usual=0.02, high=0.03)
    assert stock_to_leave_mm(change, sides=2, distortion_mm=0.01, clean_up_mm=0.005) == pytest.approx(0.03)
    assert stock_to_leave_mm(change, sides=1, distortion_mm=0.01, clean_up_mm=0.005) == pytest.approx(0.045)


def test_marks_of_a_hardness_test():
    """ISO 6508-1, from memory: 60 HRC is 0.08 mm deep and asks 0.8 mm of steel; a mark is about half a mm
    wide."""
    assert mark_depth_mm(60.0) == pytest.approx(0.08)
    assert least_thickness_mm(60.0) == pytest.approx(0.8)
    assert least_thickness_mm(20.0) == pytest.approx(1.6)
    # 697 HV: 1471 N / (697 x 9.80665 / 0.9272 MPa) is 0.1995 mm2, a circle of 0.504 mm.
    assert mark_width_mm(60.0) == pytest.approx(0.504, abs=0.001)
    assert least_edge_mm(60.0) == pytest.approx(2.5 * mark_width_mm(60.0))


def test_tables_are_sound():
    for steel in hardening_steels().values():
        assert steel.name in our_materials()
        assert list(steel.hardness) == sorted(steel.hardness)
        for points in (steel.along, steel.across):
            assert [p[0] for p in points] == sorted(p[0] for p in points)
            assert all(low <= usual <= high for _, low, usual, high in points)
    quenches = {q for s in hardening_steels().values() for q in s.quenches}
    assert {p.quench for p in hardening_processes().values()} == quenches


def test_an_unknown_steel_or_process_names_the_nearest():
    with pytest.raises(SetupError, match="'tool_steel_a6' is not known; did you mean 'tool_steel_"):
        hardening_steel("tool_steel_a6")
    with pytest.raises(SetupError, match="did you mean 'vacuum_gas'"):
        hardening_process("vacum_gas")


def test_s7_grows_a_thousandth_on_air_quench_and_h13_is_known_by_hardness_alone():
    """buffaloprecision.com dss7ts: 0.001 in/in. H13: 53 HRC at 600 F, 52 and 53 at 1000 F on two sheets."""
    assert growth_of(S7, None).along.usual == pytest.approx(0.001)
    assert hardness_hrc(H13, celsius(600)).middle == pytest.approx(53.0, abs=0.05)
    tempered = hardness_hrc(H13, celsius(1000))
    assert tempered.low < 52.0
    assert tempered.high > 53.0
    with pytest.raises(NotComputedError, match="no table of the size change of tool_steel_h13"):
        growth_of(H13, 500.0)


def test_steels_without_a_table_are_materials_of_the_shop_and_of_no_table():
    assert set(WITHOUT_TABLE) <= set(our_materials())
    assert not set(WITHOUT_TABLE) & set(hardening_steels())
