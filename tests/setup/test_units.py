"""Units at the edge: exact factors from NIST SP 811, appendix B.8."""

from __future__ import annotations

import subprocess
import sys

import pytest

from fixturecheck.units import convert, from_inch_key, inch_key, shown


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (1.0, "in", "mm", 25.4),
        (0.008, "in", "mm", 0.2032),
        (0.1, "in", "mm", 2.54),
        (25.4, "mm", "in", 1.0),
        (1.0, "in2", "mm2", 645.16),
        (1.0, "in3", "mm3", 16387.064),
        (1.0, "um", "uin", 1e6 / 25400),
        (1.0, "ft/min", "m/min", 0.3048),
        (6500.0, "ft/min", "m/s", 33.02),
    ],
)
def test_factors(value: float, unit: str, to: str, expected: float) -> None:
    assert convert(value, unit=unit, to=to) == pytest.approx(expected, rel=1e-13)


@pytest.mark.parametrize(("value", "expected"), [(0.008, 0.2032), (0.0001, 0.00254), (7, 177.8)])
def test_inches_come_out_as_the_decimal_that_a_toolmaker_would_write(value: float, expected: float) -> None:
    assert convert(value, unit="in", to="mm") == expected


def test_keys() -> None:
    assert inch_key("stock_mm") == "stock_in"
    assert inch_key("table_speed_m_min") == "table_speed_ft_min"
    assert inch_key("rpm") is None
    assert from_inch_key(1.0, key="stock_mm") == 25.4
    assert from_inch_key(100.0, key="touch_um") == pytest.approx(2.54)


def test_what_is_shown() -> None:
    assert shown(25.4, unit="mm", units="inch") == (1.0, "in")
    assert shown(25.4, unit="mm", units="mm") == (25.4, "mm")
    assert shown(30.0, unit="deg", units="inch") == (30.0, "deg")
    assert shown(0.5, unit="share", units="inch") == (0.5, "share")


def test_millimetres_never_load_pint() -> None:
    code = (
        "import sys; from fixturecheck.units import convert, shown;"
        "convert(1.0, unit='mm', to='mm'); shown(1.0, unit='mm', units='mm');"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
