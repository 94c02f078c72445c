"""What a number is in another unit, and how a sentence writes it; the one edge between inches and metric."""

from __future__ import annotations

import math
from collections.abc import Sequence
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

_PLAIN_ENDS = {
    "deg": "deg", "s": "s", "min": "min", "share": "share", "rpm": "rev/min", "mm3": "mm3", "c": "C",
    "hrc": "HRC",
}  # fmt: skip
"""Ends of keys whose unit is the same in inch set-ups."""

_DIGITS = 14
"""Digits kept by a conversion: enough for any shop, few enough that 0.008 in is 0.2032 mm and no more."""

UNITS = ("mm", "inch")
"""What a set-up may be stated and shown in."""

FREEDOM = "degrees of freedom"
"""Unit of a count of the ways in which a body may move, 6 at most."""

THOU = "thou"
"""Inches, with small lengths shown in thousandths of an inch."""

SMALL_LENGTHS = ("as units", THOU)
"""What lengths below a tenth of an inch may be shown in."""

INCH_MM = 25.4
_LBF_N = 4.4482216152605

IN_INCHES = {
    "mm": ("in", INCH_MM),
    "um": ("in", INCH_MM * 1e3),
    "mm2": ("in2", INCH_MM**2),
    "mm3": ("in3", INCH_MM**3),
    "m/s": ("sfpm", 0.3048 / 60),
    "m/min": ("ft/min", 0.3048),
    "mm/min": ("in/min", INCH_MM),
    "N": ("lbf", _LBF_N),
    "N m": ("lbf in", _LBF_N * INCH_MM * 1e-3),
    "N/cm2": ("psi", _LBF_N / (INCH_MM * 0.1) ** 2),
    "MPa": ("psi", _LBF_N / INCH_MM**2),
}
"""What an inch set-up shows for a unit of the results, and how many of that unit one of it is.

1 in = 25.4 mm, 1 ft = 0.3048 m and 1 lbf = 4.448 221 615 260 5 N exactly (NIST SP 811, appendix B.8); the
rest follows. A speed in m/s is a wheel's, in surface feet per minute.
"""

_DECIMALS = {"mm": 4, "um": 5}
"""Most decimals of an inch: a shop reads no less than ten-thousandths; gaps are written a step finer."""

_THOU_BELOW_MM = 2.54
"""Lengths below a tenth of an inch are small."""

LARGE_UM = 1000.0
"""Gaps from here on are written in mm."""
SPECS = {
    "mm": ".4g",
    "um": ".4g",
    "mm2": ".4g",
    "mm3": ".4g",
    "m/s": ".3g",
    "m/min": "g",
    "N": ".0f",
    "N m": "g",
    "N/cm2": ".4g",
}
"""How a quantity is written where nothing else is asked: one format for sentences, tables and pictures."""

_LEAST = {"mm": 1e-6, "um": 1e-3, "mm2": 1e-4, "mm3": 1e-6}
"""What is less than half of this is rounding of the kernel, and is written as zero."""

_NEXT_TO_NOTHING = 1e-7
_SAME_SHARE = 1e-9
_LEAST_SHARE = 1e-7
_LEAST_FACTOR = 0.005
_SAME_STEP = 1e-2
"""Share of the last decimal that is rounding, where a number is rounded to its safe side."""
_STATED_DECIMALS = 5
_STATED_DIGITS = 4
_GENERAL_DIGITS = 6
"""How much of a number is shown that the set-up states: of a length in inches, and of any other quantity."""


def shown_in(units: str, small_lengths: str) -> str:
    """Return what a `Writing` is made for: `mm`, `inch`, or `thou` where an inch set-up has small lengths so.

    Parameters
    ----------
    units : str
        One of `UNITS`.
    small_lengths : str
        One of `SMALL_LENGTHS`.

    Returns
    -------
    str
    """
    return THOU if units == "inch" and small_lengths == THOU else units


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


def in_units(value: float, unit: str, units: str) -> tuple[float, str]:
    """Return a number of the results as a set-up counts it, and its unit: in inches where it states inches.

    Parameters
    ----------
    value : float
        In `unit`, as results name it.
    unit : str
        As results name it; one that `IN_INCHES` does not hold is kept.
    units : str
        `mm`, `inch` or `thou`; the last two are inches.

    Returns
    -------
    (float, str)
        The same as given unless in inches; then rounded to 14 digits.
    """
    if units == "mm" or unit not in IN_INCHES:
        return value, unit
    name, size = IN_INCHES[unit]
    return float(f"{value / size:.{_DIGITS}g}"), name


def suffix_of(key: str) -> str | None:
    """Return the metric end of a key that has a counterpart in inch units, or None.

    Parameters
    ----------
    key : str
        With its unit at the end, as `stock_mm`.

    Returns
    -------
    str or None
        With its underscore: `_mm` of `stock_mm`.
    """
    return next((s for s in INCH_SUFFIX if key.endswith(s)), None)


def metric_unit(key: str) -> str:
    """Return the unit that the end of a metric key says: `mm` for `stock_mm`; empty where it says none.

    Parameters
    ----------
    key : str
        As set-ups and results name quantities.

    Returns
    -------
    str
    """
    suffix = suffix_of(key)
    if suffix is not None:
        return _ENDS[suffix][0]
    return next((unit for end, unit in _PLAIN_ENDS.items() if key == end or key.endswith(f"_{end}")), "")


def inch_key(key: str) -> str | None:
    """Return the key that states the same quantity in inch units: `stock_in` for `stock_mm`.

    Parameters
    ----------
    key : str
        In metric units.

    Returns
    -------
    str or None
        None where it has no counterpart in inch units.
    """
    suffix = suffix_of(key)
    return None if suffix is None else key.removesuffix(suffix) + INCH_SUFFIX[suffix]


def from_inch_key(value: float, *, key: str) -> float:
    """Convert a number stated under the inch key into the unit of the metric `key`.

    Parameters
    ----------
    value : float
        In the unit of the inch key.
    key : str
        A key in metric units; its end tells the unit. A number whose key has no such end is kept.

    Returns
    -------
    float
        In the unit of `key`.
    """
    suffix = suffix_of(key)
    if suffix is None:
        return value
    unit, _, inch_unit = _ENDS[suffix]
    return convert(value, unit=inch_unit, to=unit)


def to_inch_key(value: float, *, key: str) -> float:
    """Convert a number in the unit of the metric `key` into the unit of its inch key.

    Parameters
    ----------
    value : float
        In the unit of `key`.
    key : str
        A key in metric units; its end tells the unit. A number whose key has no such end is kept.

    Returns
    -------
    float
        In the unit of the inch key.
    """
    suffix = suffix_of(key)
    if suffix is None:
        return value
    unit, _, inch_unit = _ENDS[suffix]
    return convert(value, unit=unit, to=inch_unit)


SIGNS = {
    "um": "µm",
    "um/um": "µm/µm",
    "mm2": "mm²",
    "mm3": "mm³",
    "in2": "in²",
    "in3": "in³",
    "N/cm2": "N/cm²",
    "C": "°C",
    "arcsec": "″",
}
"""How a unit is written for people, where not as results name it; an angle has its sign by `angle_text`."""


def signed(unit: str) -> str:
    """Return a unit as it is written for people.

    Parameters
    ----------
    unit : str
        As results name it.

    Returns
    -------
    str
        `µm` for `um`; unchanged where it needs no sign.
    """
    return SIGNS.get(unit, unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """Writes quantities in sentences as the set-up states them: metric ones as they are, or in inches.

    Every sentence of a finding, remedy or reason takes its quantities from here. The format is the one that
    the metric number takes; in inches a number keeps as many digits as say the same. What was solved for and
    tried in mm is written `toward` the side on which it still holds, `up` or `down`, where inches round it.

    Parameters
    ----------
    units : str
        `mm`, `inch`, or `thou` for inches with small lengths in thousandths.
    """

    units: str = "mm"

    @property
    def _inches(self) -> bool:
        """Whether lengths are shown in inches."""
        return self.units != "mm"

    def name(self, unit: str) -> str:
        """Return what is shown for a unit of the results; one with no inch counterpart is kept."""
        if unit == "um" and self.units == THOU:
            return THOU
        return signed(IN_INCHES[unit][0] if self._converts(unit) else unit)

    @property
    def fine_steps(self) -> str:
        """What a careful feed is counted in, hundredths of a millimetre or tenths of a thousandth."""
        return "tenths of a thousandth" if self._inches else "hundredths"

    def steps(self, unit: str = "um") -> tuple[str, str]:
        """Return what a move for a move is counted in, one and more; the ratio is the same in any unit."""
        return ("thousandth", "thousandths") if self._inches else (signed(unit), signed(unit))

    def key(self, name: str) -> str:
        """Return the key that states a quantity: `stock_in` for `stock_mm` in inches."""
        return (inch_key(name) or name) if self._inches else name

    def number(self, value: float, unit: str, spec: str, toward: str = "") -> str:
        """Return the number alone, for lists and ranges whose unit is said once.

        Parameters
        ----------
        value : float
            In `unit`.
        unit : str
            A metric unit of the results; one with no inch counterpart is kept.
        spec : str
            Format of the metric number, such as `.4g`.
        toward : str
            The side to round to, `up` or `down`; empty rounds to the nearest.
        """
        if not math.isfinite(value):
            return format(value, spec)
        if not self._converts(unit):
            return _metric_number(value, unit, spec, toward)
        if unit == "um" and self.units == THOU:
            return _inch_number(value, unit, spec, toward, size=IN_INCHES["um"][1] * 1e-3)
        return _inch_number(value, unit, spec, toward)

    def _converts(self, unit: str) -> bool:
        return self._inches and unit in IN_INCHES

    def _said(self, value: float, unit: str, spec: str, toward: str = "") -> str:
        spec = spec or SPECS[unit]
        if unit == "mm" and self.units == THOU and 0.0 < abs(value) < _THOU_BELOW_MM:
            thou_mm = IN_INCHES["mm"][1] * 1e-3
            return f"{_inch_number(value, unit, spec, toward, size=thou_mm)} {THOU}"
        return f"{self.number(value, unit, spec, toward)} {self.name(unit)}"

    def quantity(self, value: float, unit: str) -> str:
        """Return a number with any unit of a finding, as its sentence writes it.

        Parameters
        ----------
        value : float
            In `unit`.
        unit : str
            A unit of a finding: one of length, area, volume, speed, force or pressure, `deg`, `share`, or any
            other, which is kept.
        """
        if unit == "share":
            return percent(value)
        if unit == "deg":
            return f"{_trimmed(f'{value:.3f}')}°"
        if unit == "x load":
            return f"{_factor(value)} {unit}"
        if unit == FREEDOM and value == 1.0:
            return f"1 {FREEDOM.replace('degrees', 'degree')}"
        if unit not in SPECS:
            name = "in/in" if unit == "um/um" and self._inches else signed(unit)
            return f"{_plain(value, _STATED_DIGITS, '')} {name}".strip()
        return self.gap(value) if unit == "um" else self._said(value, unit, SPECS[unit])

    def length(self, length_mm: float, spec: str = "", toward: str = "") -> str:
        """Return a length of mm with its unit.

        Parameters
        ----------
        length_mm : float
        spec : str
            Format of the metric number; empty takes the usual one of the unit.
        toward : str
            The side to round to, `up` or `down`; empty rounds to the nearest.
        """
        return self._said(length_mm, "mm", spec, toward)

    def gap(self, gap_um: float, spec: str = "") -> str:
        """Return a small length of um with its unit; one of a millimetre or more as a length of mm.

        Parameters
        ----------
        gap_um : float
        spec : str
            Format of the number in um; empty takes the usual one. A length of mm takes its own.
        """
        if abs(gap_um) >= LARGE_UM and math.isfinite(gap_um):
            return self.length(gap_um * 1e-3)
        return self._said(gap_um, "um", spec)

    def area(self, area_mm2: float, spec: str = "", toward: str = "") -> str:
        """Return an area of mm2 with its unit.

        Parameters
        ----------
        area_mm2 : float
        spec : str
            Format of the metric number; empty takes the usual one of the unit.
        toward : str
            The side to round to, `up` or `down`; empty rounds to the nearest.
        """
        return self._said(area_mm2, "mm2", spec, toward)

    def volume(self, volume_mm3: float, spec: str = "") -> str:
        """Return a volume of mm3 with its unit.

        Parameters
        ----------
        volume_mm3 : float
        spec : str
            Format of the metric number; empty takes the usual one of the unit.
        """
        return self._said(volume_mm3, "mm3", spec)

    def force(self, force_n: float, spec: str = "", toward: str = "") -> str:
        """Return a force of N with its unit.

        Parameters
        ----------
        force_n : float
        spec : str
            Format of the metric number; empty takes the usual one of the unit.
        toward : str
            The side to round to, `up` or `down`; empty rounds to the nearest.
        """
        return self._said(force_n, "N", spec, toward)

    def torque(self, torque_nm: float, spec: str = "", toward: str = "") -> str:
        """Return a torque of N m with its unit.

        Parameters
        ----------
        torque_nm : float
        spec : str
            Format of the metric number; empty takes the usual one of the unit.
        toward : str
            The side to round to, `up` or `down`; empty rounds to the nearest.
        """
        return self._said(torque_nm, "N m", spec, toward)

    def pressure(self, pressure_n_cm2: float, spec: str = "", toward: str = "") -> str:
        """Return a pressure or rated pull of N/cm2 with its unit.

        Parameters
        ----------
        pressure_n_cm2 : float
        spec : str
            Format of the metric number; empty takes the usual one of the unit.
        toward : str
            The side to round to, `up` or `down`; empty rounds to the nearest.
        """
        return self._said(pressure_n_cm2, "N/cm2", spec, toward)

    def speed(self, speed_m_s: float, spec: str = "") -> str:
        """Return a wheel's surface speed of m/s with its unit.

        Parameters
        ----------
        speed_m_s : float
        spec : str
            Format of the metric number; empty takes the usual one of the unit.
        """
        return self._said(speed_m_s, "m/s", spec)

    def table_speed(self, speed_m_min: float) -> str:
        """Return a table's speed of m/min with its unit."""
        return self._said(speed_m_min, "m/min", "")


def angle_text(angle_deg: float, spec: str = ".3g") -> str:
    """Return an angle of degrees with its sign.

    Parameters
    ----------
    angle_deg : float
    spec : str
        Format of the number.

    Returns
    -------
    str
    """
    return f"{angle_deg:{spec}}°"


def percent(share: float, limit_share: float | None = None) -> str:
    """Return a share, 0 to 1, in per cent, to a hundredth of one.

    One that misses its limit never reads as that, nor as none or all where it is neither.

    Parameters
    ----------
    share : float
    limit_share : float, optional
        What it is held against.

    Returns
    -------
    str
    """
    text = _percent(share)
    for never in (limit_share, 0.0, 1.0):
        if never is not None and abs(share - never) > _LEAST_SHARE:
            text = missed_text(text, _percent(never), share, never)
    return text


def _percent(share: float) -> str:
    return f"{_trimmed(f'{100.0 * share:.2f}')} %"


def axis_text(axis: Sequence[float]) -> str:
    """Return X, Y or Z for a machine's axis, else the direction to a thousandth.

    Parameters
    ----------
    axis : sequence of float
        Unit direction, three components.

    Returns
    -------
    str
        The same for either way along an axis of the machine.
    """
    parts = [round(float(v), 3) + 0.0 for v in axis]
    for name, value in zip("XYZ", parts, strict=True):
        if sum(map(abs, parts)) == abs(value) == 1.0:
            return name
    return "(" + ", ".join(f"{v:.3f}" for v in parts) + ")"


def factor_text(times: float, least_factor: float | None = None) -> str:
    """Return a factor on a load: three digits at most, none beyond a hundredth; `under 0.01` near zero.

    One that misses the least factor never reads as that.

    Parameters
    ----------
    times : float
    least_factor : float, optional
        What it is held against.

    Returns
    -------
    str
    """
    text = "under 0.01" if 0.0 < times < _LEAST_FACTOR else _factor(times)
    if least_factor is None or times >= least_factor:
        return text
    return missed_text(text, _factor(least_factor), times, least_factor)


def missed_text(text: str, limit_text: str, value: float, limit: float) -> str:
    """Return a number that misses its limit as it is written: never as what the limit reads.

    Parameters
    ----------
    text, limit_text : str
        How the number and its limit are written.
    value, limit : float
        The two, in one unit.

    Returns
    -------
    str
        The text, or `just under` or `just over` it.
    """
    if text != limit_text or math.isclose(value, limit, rel_tol=_SAME_SHARE):
        return text
    return f"just {'under' if value < limit else 'over'} {text}"


def _factor(times: float) -> str:
    decimals = min(2, max(0, 2 - math.floor(math.log10(max(abs(times), 1.0)))))
    return _trimmed(f"{times:.{decimals}f}")


METRIC = Writing()
"""How sentences are written where no set-up says otherwise."""


def _metric_number(value: float, unit: str, spec: str, toward: str) -> str:
    """Return a number as its format says, in digits and never in powers of ten."""
    sign = "+" if spec.startswith("+") else ""
    if abs(value) < 0.5 * _LEAST.get(unit, 0.0):
        value = 0.0
    if spec.endswith("f"):
        decimals = int(spec.lstrip("+")[1:-1])
        kept = _rounded(value, decimals, toward) if toward else round(value, decimals)
        return f"{kept + 0.0:{sign}.{decimals}f}"
    return _plain(value, int(spec.lstrip("+")[1:-1] or _GENERAL_DIGITS), sign, toward)


def _trimmed(text: str) -> str:
    """Return a number without zeros at its end, and zero without a sign."""
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def _inch_number(value: float, unit: str, spec: str, toward: str, size: float | None = None) -> str:
    """Return a number of a metric unit in inches, with digits that say as much as the metric format does.

    `size` is how many of the metric unit make one of what is written, where that is not the whole inch.
    """
    if abs(value) < 0.5 * _LEAST.get(unit, 0.0):
        value = 0.0
    in_thou = size is not None
    size = size or IN_INCHES[unit][1]
    number, sign = value / size, "+" if spec.startswith("+") else ""
    if spec == "g" and unit == "mm":
        # What was stated in inches comes back as it was stated.
        return _plain(round(number, _STATED_DECIMALS) or number, _DIGITS, sign)
    precision = int(spec.lstrip("+")[1:-1] or _STATED_DIGITS)
    if not spec.endswith("f"):
        return _plain(number, precision, sign, toward)
    decimals = max(precision + math.ceil(math.log10(size)), 0)
    if not in_thou:
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
    """Return a number to some significant digits, never in powers of ten; what is next to nothing is zero."""
    if abs(number) < _NEXT_TO_NOTHING:
        return f"{0.0:{sign}.0f}"
    decimals = max(digits - 1 - math.floor(math.log10(abs(number))), 0)
    rounded = _rounded(number, decimals, toward) if toward else float(f"{number:.{digits}g}")
    text = f"{rounded:{sign}.{min(decimals, 15)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@cache
def _registry() -> Any:
    """Make pint's registry on first use; a set-up in millimetres never pays for it."""
    from pint import UnitRegistry  # noqa: PLC0415 - loads in 0.3 s and only inch set-ups need it

    return UnitRegistry()
