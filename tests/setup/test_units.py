"""Units at the edge: exact factors from NIST SP 811, appendix B.8."""

from __future__ import annotations

import subprocess
import sys

import pint
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.setup.reader import Stated
from fixturecheck.setup.staging import Staging
from fixturecheck.units import IN_INCHES, Writing, convert, from_inch_key, inch_key


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
def test_units_convert_by_their_exact_factors(value: float, unit: str, to: str, expected: float) -> None:
    assert convert(value, unit=unit, to=to) == pytest.approx(expected, rel=1e-13)


@pytest.mark.parametrize(("value", "expected"), [(0.008, 0.2032), (0.0001, 0.00254), (7, 177.8)])
def test_inches_come_out_as_the_decimal_that_a_toolmaker_would_write(value: float, expected: float) -> None:
    assert convert(value, unit="in", to="mm") == expected


def test_a_metric_key_has_its_inch_twin_and_comes_back_from_it() -> None:
    assert inch_key("stock_mm") == "stock_in"
    assert inch_key("table_speed_m_min") == "table_speed_ft_min"
    assert inch_key("rpm") is None
    assert from_inch_key(1.0, key="stock_mm") == 25.4
    assert from_inch_key(100.0, key="touch_um") == pytest.approx(2.54)
    assert inch_key("force_n") == "force_lbf"
    assert inch_key("feed_mm_tooth") == "feed_in_tooth"
    # 1 lbf = 4.4482216152605 N exactly; kept to 14 digits.
    assert from_inch_key(10.0, key="force_n") == pytest.approx(44.482216152605, rel=1e-13)
    assert from_inch_key(100.0, key="torque_nm") == pytest.approx(11.298482902762, rel=1e-13)
    assert from_inch_key(100.0, key="rated_pull_n_cm2") == pytest.approx(68.94757293168, rel=1e-13)


def test_millimetres_never_load_pint() -> None:
    code = (
        "import sys; from fixturecheck.units import Writing, convert;"
        "convert(1.0, unit='mm', to='mm'); Writing().length(1.0);"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        # 0.4 mm / 25.4 = 0.015748 in, and so on by hand.
        (lambda w: w.length(0.4, ".3f"), "0.0157 in"),
        (lambda w: w.length(0.8, ".2f"), "0.0315 in"),
        (lambda w: w.length(0.0123, ".4f"), "0.00048 in"),
        (lambda w: w.length(177.8, "g"), "7 in"),
        (lambda w: w.length(0.2032, "g"), "0.008 in"),
        (lambda w: w.length(1e-5, ".3g"), "0.000000394 in"),
        (lambda w: w.length(0.0, "g"), "0 in"),
        (lambda w: w.gap(2.54, ".1f"), "0.00010 in"),
        (lambda w: w.gap(0.1, ".1f"), "0.0000039 in"),
        (lambda w: w.gap(0.04, ".1f"), "0.00000 in"),
        (lambda w: w.number(-2.54, "um", "+.1f"), "-0.00010"),
        (lambda w: w.force(4.4482216152605, ".1f"), "1.00 lbf"),
        (lambda w: w.torque(8.0, "g"), "70.81 lbf in"),
        (lambda w: w.pressure(100.0, "g"), "145 psi"),
        (lambda w: w.speed(33.02, ".3g"), "6500 sfpm"),
        (lambda w: w.area(645.16, ".4g"), "1 in²"),
        (lambda w: w.volume(16387.064, ".4g"), "1 in³"),
        (lambda w: w.name("deg"), "deg"),
    ],
)
def test_a_sentence_in_inches_keeps_the_digits_that_say_as_much(said, expected: str) -> None:
    assert said(Writing(units="inch")) == expected


@pytest.mark.parametrize("spec", [".3f", ".2f", "+.1f", ".4g", ".3g", "g"])
@pytest.mark.parametrize("value", [0.0, 0.0123, 1.0, 177.8])
def test_a_metric_sentence_is_formatted_as_python_does(value: float, spec: str) -> None:
    assert Writing().length(value, spec) == f"{value:{spec}} mm"


def test_sizes_agree_with_pint() -> None:
    registry = pint.UnitRegistry()
    pint_of = {
        "mm": ("mm", "inch"), "um": ("um", "inch"), "mm2": ("mm**2", "inch**2"), "mm3": ("mm**3", "inch**3"),
        "m/s": ("m/s", "foot/minute"), "m/min": ("m/min", "foot/minute"), "mm/min": ("mm/min", "inch/minute"),
        "N": ("N", "force_pound"), "N m": ("N*m", "force_pound*inch"),
        "N/cm2": ("N/cm**2", "force_pound/inch**2"), "MPa": ("MPa", "force_pound/inch**2"),
    }  # fmt: skip
    assert set(pint_of) == set(IN_INCHES)
    for unit, (metric, inch) in pint_of.items():
        assert IN_INCHES[unit][1] == pytest.approx(
            registry.Quantity(1.0, inch).to(metric).magnitude, rel=1e-12
        )


@pytest.mark.parametrize(
    ("length_mm", "spec", "toward", "expected"),
    [
        # 0.88 mm are 0.034646 in, 0.87 mm are 0.034252 in, 12.7 mm are 0.5 in.
        (0.88, ".2f", "", "0.0346 in"),
        (0.88, ".2f", "up", "0.0347 in"),
        (0.87, ".2f", "", "0.0343 in"),
        (0.87, ".2f", "down", "0.0342 in"),
        (12.7, ".2f", "up", "0.5000 in"),
        (12.7, ".2f", "down", "0.5000 in"),
        (0.5, ".3g", "down", "0.0196 in"),
    ],
)
def test_what_was_tried_is_told_on_its_safe_side(
    length_mm: float, spec: str, toward: str, expected: str
) -> None:
    assert Writing(units="inch").length(length_mm, spec, toward) == expected
    assert Writing().length(length_mm, spec, toward) == f"{length_mm:{spec}} mm"


def staged(staging: dict[str, object]) -> Staging | None:
    facts = Stated(what="it", values={"staging": staging}, path=(), where=lambda _path: "here")
    return facts.table("staging").record(Staging)


@pytest.mark.parametrize("pull", [10, {"part": 10.0}])
def test_pulls_and_pushes_may_be_stated_in_pounds(pull: object) -> None:
    stated = staged({"pull_lbf": pull, "push": {"part": {"direction": [1, 0, 0], "force_lbf": 2}}})
    assert stated is not None
    assert list(stated.pull_n.values()) == pytest.approx([44.482216152605], rel=1e-13)
    assert stated.push["part"].force_n == pytest.approx(8.896443230521, rel=1e-13)


def test_a_pull_is_stated_once() -> None:
    with pytest.raises(SetupError, match="states both pull_n and pull_lbf; keep one"):
        staged({"pull_lbf": 1, "pull_n": 1})


def test_numbers_are_never_in_powers_of_ten_and_noise_is_zero():
    write = Writing()
    assert write.volume(620.0, ".2g") == "620 mm³"
    assert write.volume(1234567.0) == "1235000 mm³"
    assert write.gap(3e-9) == "0 µm"
    assert write.length(0.00004, ".2g") == "0.00004 mm"
    assert write.length(-1e-12, ".3f") == "0.000 mm"
    assert write.length(12345.6, ".3g") == "12300 mm"


def test_a_change_is_rounded_to_its_safe_side_in_mm_as_well():
    write = Writing()
    assert write.length(10.0312, ".1f", "up") == "10.1 mm"
    assert write.length(10.0912, ".1f", "down") == "10.0 mm"
    # What the solver leaves in the last digits is no reason for another step.
    assert write.length(10.000001, ".2f", "up") == "10.00 mm"


def test_lengths_below_a_tenth_of_an_inch_are_written_in_thou():
    """25.4 um are one thousandth of an inch; from a tenth of an inch on lengths are in inches."""
    write = Writing(units="thou")
    assert write.gap(25.4) == "1 thou"
    assert write.length(0.4, ".3f") == "15.75 thou"
    assert write.length(-0.0127) == "-0.5 thou"
    assert write.length(2.53) == "99.61 thou"
    assert write.length(2.54) == "0.1 in"
    assert write.length(0.0) == "0 in"
    assert write.area(645.16) == "1 in²"
    assert (write.name("um"), write.name("mm")) == ("thou", "in")
    assert write.number(50.8, "um", ".1f") == "2.000"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.2517, "share", "25.17 %"),
        (1.0, "share", "100 %"),
        (1.0, "degrees of freedom", "1 degree of freedom"),
        (5.0, "degrees of freedom", "5 degrees of freedom"),
        (150.0, "deg", "150°"),
        (3.0219, "x load", "3.02 x load"),
        (0.70711, "um/um", "0.7071 µm/µm"),
    ],
)
def test_any_quantity_of_a_finding(value: float, unit: str, text: str) -> None:
    assert Writing().quantity(value, unit) == text
