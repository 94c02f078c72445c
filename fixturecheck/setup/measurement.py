"""What was measured on a magnetic chuck, and reading the file that states it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.fields import allowed
from fixturecheck.setup.document import read_document
from fixturecheck.setup.facts import EquipmentFacts, equipment_facts
from fixturecheck.setup.reader import Stated
from fixturecheck.shop import tables
from fixturecheck.units import UNITS, Writing


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationHead:
    """What holds for all measurements.

    Parameters
    ----------
    name : str
        Which chuck it is.
    units : str
        `mm` or `inch`: of places, and of what is written.
    finish : str
        Finish of the faces that lie on the chuck.
    """

    name: str
    units: str = field(default="mm", metadata=allowed(words=UNITS))
    finish: str = "ground"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One reading of a scale.

    Parameters
    ----------
    name : str
        What it is called.
    piece_mm : tuple of float
        Size of the piece along X, along Y, and its height.
    at_mm : tuple of float
        Where the middle of the piece lies on the chuck, from the middle of its top; left out, half-way
        between the two poles next to the middle.
    material : str
        Steel of the piece; it needs a B-H curve.
    shim_mm : float or None
        Thickness of a shim without iron under the whole piece.
    pull_n : float or None
        What the scale showed when the piece came straight off, pulled up above its middle.
    slide_n : float or None
        What it showed when the piece began to slide, pulled level and low.
    friction : tuple of float
        Least and greatest friction of the piece on the chuck, or on the shim; a slide needs it.
    reading_n : float
        How far the reading may be off, either way.
    """

    name: str
    piece_mm: tuple[float, ...] = field(metadata=allowed(1.0, 1000.0, items=3))
    reading_n: float = field(metadata=allowed(0.0001, 1e5))
    at_mm: tuple[float, ...] = field(default=(), metadata=allowed(-2000.0, 2000.0, items=2))
    material: str = "steel_1018"
    shim_mm: float | None = field(default=None, metadata=allowed(0.001, 20.0))
    pull_n: float | None = field(default=None, metadata=allowed(0.01, 1e6))
    slide_n: float | None = field(default=None, metadata=allowed(0.01, 1e6))
    friction: tuple[float, ...] = field(default=(), metadata=allowed(0.02, 2.0, items=2))

    def __post_init__(self) -> None:
        """Refuse a measurement from which no pull follows.

        Raises
        ------
        SetupError
            Says what is missing or does not go together.
        """
        if len(self.piece_mm) != 3:
            raise SetupError(
                f"piece_mm: state three sizes, along X, along Y and height; got {list(self.piece_mm)}"
            )
        if len(self.at_mm) not in (0, 2):
            raise SetupError(f"at_mm: state two coordinates, along X and Y; got {list(self.at_mm)}")
        if (self.pull_n is None) == (self.slide_n is None):
            raise SetupError("state pull_n (straight off) or slide_n (level), one of the two")
        if self.slide_n is not None and not (
            len(self.friction) == 2 and self.friction[0] <= self.friction[1]
        ):
            raise SetupError(
                "slide_n needs the friction between which the piece slides, least and greatest, as "
                f"[0.15, 0.25]; got {list(self.friction)}"
            )
        if self.pull_n is not None and self.friction:
            raise SetupError("friction goes with slide_n; straight off there is none")
        if not tables.material(self.material).bh:
            raise SetupError(
                f"material {self.material!r} has no B-H curve; measure with a piece of steel_1018"
            )

    def force_n(self, weight_n: float) -> tuple[float, float]:
        """Return the magnet's pull on the piece, least and greatest.

        Parameters
        ----------
        weight_n : float
            Of the piece.
        """
        if self.pull_n is not None:
            low, high = self.pull_n - self.reading_n, self.pull_n + self.reading_n
        else:
            slide = self.slide_n or 0.0
            low = (slide - self.reading_n) / self.friction[1]
            high = (slide + self.reading_n) / self.friction[0]
        return max(low - weight_n, 0.0), high - weight_n


MEASURED: Mapping[str, type] = {"calibration": CalibrationHead, "measurement": Measurement}
"""The tables of a file of measurements, besides `[[equipment]]`."""

CHUCKS = ("flat_magnetic_chuck",)
"""Equipment that can be calibrated."""

MOST_MEASUREMENTS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What a file of measurements states."""

    head: CalibrationHead
    chuck: EquipmentFacts
    measurements: tuple[Measurement, ...]
    file: str

    @property
    def write(self) -> Writing:
        """How quantities are written."""
        return Writing(units=self.head.units)


def measured_in_file(path: Path) -> Measured:
    """Read a file of measurements.

    Parameters
    ----------
    path : Path
        A TOML file with `[calibration]`, one `[[equipment]]`, and `[[measurement]]`.

    Returns
    -------
    Measured
        With the one chuck that it states.

    Raises
    ------
    SetupError
        It cannot be read, or something in it is wrong: every mistake with its line.
    """
    facts = read_document(path, {})
    wrong = Mistakes()
    with wrong.noted():
        facts.only(("calibration", "equipment", "measurement"))
    head = wrong.or_else(lambda: _head(facts), None)
    units = head.units if head else "mm"
    chucks = wrong.each(
        wrong.or_else(lambda: facts.tables("equipment"), []), lambda entry: equipment_facts(entry, units)
    )
    rows = wrong.or_else(lambda: facts.tables("measurement"), [])
    measurements = wrong.each(rows, lambda row: row.record(Measurement))
    with wrong.noted():
        _refuse_bad_counts(facts, chucks, rows)
    wrong.raise_any()
    if head is None:
        facts.fail("[calibration] is not complete")
    return Measured(head=head, chuck=chucks[0], measurements=tuple(measurements), file=path.name)


def _head(facts: Stated) -> CalibrationHead:
    stated = facts.table("calibration")
    head = stated.record(CalibrationHead)
    try:
        tables.finish(head.finish)
    except SetupError as reason:
        stated.fail(str(reason), "finish")
    return head


def _refuse_bad_counts(facts: Stated, chucks: tuple[EquipmentFacts, ...], rows: list[Stated]) -> None:
    if len(facts.values.get("equipment", ())) != 1:
        facts.fail("state the chuck as one [[equipment]], as set-ups do")
    for chuck in chucks:
        if chuck.kind not in CHUCKS:
            chuck.entry.fail(
                f"equipment {chuck.kind!r} is not calibrated; only {', '.join(CHUCKS)} is", "kind"
            )
    if not 2 <= len(rows) <= MOST_MEASUREMENTS:
        facts.fail(
            f"state from 2 to {MOST_MEASUREMENTS} [[measurement]]; got {len(rows)}. One alone tells nothing "
            "of how the magnet gives way"
        )
    names = [row.values.get("name") for row in rows]
    for row, name in zip(rows, names, strict=True):
        if names.count(name) > 1:
            row.fail(f"measurement {name!r} is stated more than once; each needs a name of its own", "name")
