"""The report's section on hardening: how steels come out, temper curves, what becomes of sizes."""

from __future__ import annotations

from markupsafe import Markup

from fixturecheck.report.markup import Cell, Table, render, table_of
from fixturecheck.report.temper_chart import temper_chart
from fixturecheck.result import Result
from fixturecheck.result.hardening import HardeningFound, SizeChange
from fixturecheck.units import Writing
from fixturecheck.wording.hardening import spot_words, tempered_words
from fixturecheck.wording.sentences import sentence


def hardening_section(result: Result) -> Markup:
    """Return the section of a result whose set-up states a hardening."""
    found, write = result.hardening, Writing(units=result.shown_in)
    if found is None:
        return Markup("")
    return render(
        "hardening.html",
        steels=[
            {
                "says": sentence(f"{tempered_words(s)}. {s.process}: {s.says}; {s.surface}"),
                "chart": Markup(temper_chart(s)),  # noqa: S704 -- ours, with its texts escaped
            }
            for s in found.steels
        ],
        sizes=_sizes(found, write) if found.sizes else None,
        spots=[sentence(spot_words(s, write)) for s in found.spots],
        missing=[f"{of}: {why}" for of, why in found.missing],
    )


def _sizes(found: HardeningFound, write: Writing) -> Table:
    """Return the table of sizes with their change and what is left for it."""
    rows = [
        (
            Cell(lines=(size.face,), below=f"to {size.to}"),
            write.length(size.size_mm),
            Cell(
                lines=(_um(size.usual_mm, write),),
                below=f"{_um(size.low_mm, write)} to {_um(size.high_mm, write)}",
            ),
            write.gap(size.limit_mm * 1e3),
            _left(size, write),
        )
        for size in found.sizes
    ]
    return table_of(("face", "size", "change", "may change by", "left to grind off after"), rows, 1, 2, 3, 4)


def _um(change_mm: float, write: Writing) -> str:
    return f"{write.number(change_mm * 1e3, 'um', '+.3g')} {write.name('um')}"


def _left(size: SizeChange, write: Writing) -> Cell:
    need = write.length(size.needed_mm, ".2f", "up")
    if not size.sides:
        return Cell(lines=("none",), below=f"would need {need}")
    return Cell(lines=(write.length(size.left_mm, "g"),), below=f"needs {need}")
