"""What a number is in another unit, and how a sentence writes it; the one edge between inches and metric."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

_PINT = {
    "mm": "mm",
    "um": "micrometer",
    "in": "inch",
    "uin": "microinch",
    "mm2": "mm**2",
    "in2": "inch**2",
    "mm3": "mm**3",
    "in3": "inch**3",
    "m/min": "meter/minute",
    "m/s": "meter/second",
    "ft/min": "foot/minute",
    "N": "newton",
    "lbf": "force_pound",
    "N m": "newton*meter",
    "lbf in": "force_pound*inch",
    "N/cm2": "newton/centimeter**2",
    "psi": "force_pound/inch**2",
}

_ENDS = {
    "_mm": ("mm", "_in", "in"),
    "_um": ("um", "_uin", "uin"),
    "_mm_tooth": ("mm", "_in_tooth", "in"),
    "_m_min": ("m/min", "_ft_min", "ft/min"),
    "_m_s": ("m/s", "_ft_min", "ft/min"),
    "_n": ("N", "_lbf", "lbf"),
    "_nm": ("N m", "_lbf_in", "lbf in"),
    "_n_cm2": ("N/cm2", "_psi", "psi"),
}
"""End of a key in metric units with its unit; the end that states the same in inch units, and that unit."""

INCH_SUFFIX = {metric: inch for metric, (_, inch, _) in _ENDS.items()}
"""End of a key in metric units, and the end that states the same quantity in inch units."""

_PLAIN_ENDS = {"deg": "deg", "share": "share", "rpm": "rev/min", "mm3": "mm3"}
"""Ends of keys whose unit is the same in inch set-ups."""

_DIGITS = 14
"""Digits kept by a conversion: enough for any shop, few enough that 0.008 in is 0.2032 mm and no more."""

UNITS = ("mm", "inch")
"""What a set-up may be stated and shown in."""

_INCH_MM = 25.4
_LBF_N = 4.4482216152605

IN_INCHES = {
    "mm": ("in", _INCH_MM),
    "um": ("in", _INCH_MM * 1e3),
    "mm2": ("in2", _INCH_MM**2),
    "mm3": ("in3", _INCH_MM**3),
    "m/s": ("sfpm", 0.3048 / 60),
    "m/min": ("ft/min", 0.3048),
    "mm/min": ("in/min", _INCH_MM),
    "N": ("lbf", _LBF_N),
    "N m": ("lbf in", _LBF_N * _INCH_MM * 1e-3),
    "N/cm2": ("psi", _LBF_N / (_INCH_MM * 0.1) ** 2),
    "MPa": ("psi", _LBF_N / _INCH_MM**2),
}
"""What an inch set-up shows for a unit of the results, and how many of that unit one of it is.

1 in = 25.4 mm, 1 ft = 0.3048 m and 1 lbf = 4.448 221 615 260 5 N exactly (NIST SP 811, appendix B.8); the
rest follows. A speed in m/s is a wheel's, in surface feet per minute.
"""

_DECIMALS = {"mm": 4, "um": 5}
"""Most decimals of an inch: ten-thousandths are the least that a shop reads; gaps are told a step finer."""

_NEXT_TO_NOTHING = 1e-7
_SAME_STEP = 1e-6
_STATED_DECIMALS = 5
_STATED_DIGITS = 4
"""How much of a number is shown that the set-up states: of a length in inches, and of any other quantity."""


def convert(value: float, *, unit: str, to: str) -> float:
    """Convert a number between two units of one kind.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    unit, to : str
        mm, um, in, uin, mm2, in2, mm3, in3, m/min, m/s, ft/min, N, lbf, N m, lbf in, N/cm2 or psi.

    Returns
    -------
    float
        The number in `to`, rounded to 14 digits; unchanged when the units are the same.

    References
    ----------
    .. [1] 1 in = 25.4 mm exactly (ISO 80000-3; NIST SP 811, B.8).
    """
    if unit == to:
        return value
    converted = _registry().Quantity(value, _PINT[unit]).to(_PINT[to]).magnitude
    return float(f"{converted:.{_DIGITS}g}")


def suffix_of(key: str) -> str | None:
    """Return the metric end of a key that has a counterpart in inch units, or None."""
    return next((s for s in INCH_SUFFIX if key.endswith(s)), None)


def metric_unit(key: str) -> str:
    """Return the unit that the end of a metric key says: `mm` for `stock_mm`; empty where it says none."""
    suffix = suffix_of(key)
    if suffix is not None:
        return _ENDS[suffix][0]
    return next((unit for end, unit in _PLAIN_ENDS.items() if key == end or key.endswith(f"_{end}")), "")


def inch_key(key: str) -> str | None:
    """Return the key that states the same quantity in inch units: `stock_in` for `stock_mm`."""
    suffix = suffix_of(key)
    return None if suffix is None else key.removesuffix(suffix) + INCH_SUFFIX[suffix]


def from_inch_key(value: float, *, key: str) -> float:
    """Convert a number stated under the inch key into the unit of the metric `key`."""
    suffix = suffix_of(key)
    if suffix is None:
        return value
    unit, _, inch_unit = _ENDS[suffix]
    return convert(value, unit=inch_unit, to=unit)


def to_inch_key(value: float, *, key: str) -> float:
    """Convert a number in the unit of the metric `key` into the unit of its inch key."""
    suffix = suffix_of(key)
    if suffix is None:
        return value
    unit, _, inch_unit = _ENDS[suffix]
    return convert(value, unit=unit, to=inch_unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """Writes quantities in sentences as the set-up states them: metric ones as they are, or in inches.

    Every sentence of a finding, remedy or reason takes its quantities from here. The format is the one that
    the metric number takes; in inches a number keeps as many digits as say the same. What was solved for and
    tried in mm is told `toward` the side on which it still holds, `up` or `down`, where inches round it.

    Parameters
    ----------
    units : str
        `mm` or `inch`.
    """

    units: str = "mm"

    def name(self, unit: str) -> str:
        """Return what is shown for a unit of the results; one with no inch counterpart is kept."""
        return IN_INCHES[unit][0] if self._converts(unit) else unit

    @property
    def fine_steps(self) -> str:
        """What a careful feed is counted in, hundredths of a millimetre or tenths of a thousandth."""
        return "tenths of a thousandth" if self.units == "inch" else "hundredths"

    def steps(self, unit: str = "um") -> tuple[str, str]:
        """Return what a move for a move is counted in, one and more; the ratio is the same in any unit."""
        return ("thousandth", "thousandths") if self.units == "inch" else (unit, unit)

    def key(self, name: str) -> str:
        """Return the key that states a quantity: `stock_in` for `stock_mm` in inches."""
        return (inch_key(name) or name) if self.units == "inch" else name

    def number(self, value: float, unit: str, spec: str, toward: str = "") -> str:
        """Return the number alone, for lists and ranges whose unit is said once."""
        if not self._converts(unit):
            return format(value, spec)
        return _inch_number(value, unit, spec, toward)

    def _converts(self, unit: str) -> bool:
        return self.units == "inch" and unit in IN_INCHES

    def _said(self, value: float, unit: str, spec: str, toward: str = "") -> str:
        return f"{self.number(value, unit, spec, toward)} {self.name(unit)}"

    def length(self, length_mm: float, spec: str = ".4g", toward: str = "") -> str:
        """Return a length of mm with its unit."""
        return self._said(length_mm, "mm", spec, toward)

    def gap(self, gap_um: float, spec: str = ".3g") -> str:
        """Return a small length of um with its unit."""
        return self._said(gap_um, "um", spec)

    def area(self, area_mm2: float, spec: str = ".4g", toward: str = "") -> str:
        """Return an area of mm2 with its unit."""
        return self._said(area_mm2, "mm2", spec, toward)

    def volume(self, volume_mm3: float, spec: str = ".4g") -> str:
        """Return a volume of mm3 with its unit."""
        return self._said(volume_mm3, "mm3", spec)

    def force(self, force_n: float, spec: str = ".0f", toward: str = "") -> str:
        """Return a force of N with its unit."""
        return self._said(force_n, "N", spec, toward)

    def torque(self, torque_nm: float, spec: str = "g", toward: str = "") -> str:
        """Return a torque of N m with its unit."""
        return self._said(torque_nm, "N m", spec, toward)

    def pressure(self, pressure_n_cm2: float, spec: str = "g", toward: str = "") -> str:
        """Return a pressure or rated pull of N/cm2 with its unit."""
        return self._said(pressure_n_cm2, "N/cm2", spec, toward)

    def speed(self, speed_m_s: float, spec: str = ".3g") -> str:
        """Return a wheel's surface speed of m/s with its unit."""
        return self._said(speed_m_s, "m/s", spec)

    def table_speed(self, speed_m_min: float, spec: str = "g") -> str:
        """Return a table's speed of m/min with its unit."""
        return self._said(speed_m_min, "m/min", spec)


METRIC = Writing()
"""How sentences are written where no set-up says otherwise."""


def _inch_number(value: float, unit: str, spec: str, toward: str) -> str:
    """Return a number of a metric unit in inches, with digits that say as much as the metric format does."""
    size = IN_INCHES[unit][1]
    number, sign = value / size, "+" if spec.startswith("+") else ""
    if spec == "g" and unit == "mm":
        # What was stated in inches comes back as it was stated.
        return _plain(round(number, _STATED_DECIMALS) or number, _DIGITS, sign)
    precision = int(spec.lstrip("+")[1:-1] or _STATED_DIGITS)
    if not spec.endswith("f"):
        return _plain(number, precision, sign, toward)
    decimals = max(precision + math.ceil(math.log10(size)), 0)
    decimals = min(decimals, max(_DECIMALS.get(unit, decimals), precision + 1))
    # What the metric format shows as zero is zero here, too.
    if abs(number) < 10.0**-decimals and float(format(value, spec)):
        return _plain(number, 2, sign, toward)
    kept = (_rounded(number, decimals, toward) if toward else round(number, decimals)) + 0.0
    return f"{kept:{sign}.{decimals}f}"


def _rounded(number: float, decimals: int, toward: str) -> float:
    """Return a number on the next of its last decimals, up or down."""
    steps = number * 10.0**decimals
    whole = math.ceil(steps - _SAME_STEP) if toward == "up" else math.floor(steps + _SAME_STEP)
    return whole / 10.0**decimals


def _plain(number: float, digits: int, sign: str, toward: str = "") -> str:
    """Return a number to some significant digits, in powers of ten only where it is next to nothing."""
    if number == 0:
        return f"{0.0:{sign}.0f}"
    if abs(number) < _NEXT_TO_NOTHING:
        return f"{number:{sign}.{min(digits, 2)}g}"
    decimals = max(digits - 1 - math.floor(math.log10(abs(number))), 0)
    rounded = _rounded(number, decimals, toward) if toward else float(f"{number:.{digits}g}")
    text = f"{rounded:{sign}.{min(decimals, 15)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@cache
def _registry() -> Any:
    """Make pint's registry on first use; a set-up in millimetres never pays for it."""
    from pint import UnitRegistry  # noqa: PLC0415 - loads in 0.3 s and only inch set-ups need it

    return UnitRegistry()
