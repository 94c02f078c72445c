"""What was measured on a chuck: the file that `fixturecheck calibrate` reads."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.setup.document import read_document
from fixturecheck.setup.facts import EquipmentFacts, equipment_facts
from fixturecheck.setup.measurement import CalibrationHead, Measurement
from fixturecheck.setup.reader import Stated
from fixturecheck.shop import tables
from fixturecheck.units import Writing

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
