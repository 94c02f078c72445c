"""A study in words, for the terminal and on its page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.etree import ElementTree as ET

from markupsafe import Markup

from fixturecheck.report.build_files import xml_text
from fixturecheck.report.markup import Cell, Table, render, style, table_of
from fixturecheck.report.study_map import parallel_plot, region_map
from fixturecheck.result.finding import Verdict
from fixturecheck.study.model import Flip, ParameterValue, StudyFound, VariantRow
from fixturecheck.wording.quantity import shown

_MOST_UNKNOWN = 5


def study_text(found: StudyFound) -> str:
    """Return what a study found, for the terminal."""
    lines = [found.study.name, counts_words(found), "", best_words(found)]
    lines += [flip_words(f) for f in found.flips]
    unknown = [r for r in found.sampled if r.verdict is Verdict.UNKNOWN and r.says]
    lines += [f"unknown at {values_words(r)}: {r.says}" for r in unknown[:_MOST_UNKNOWN]]
    lines += [f"and {len(unknown) - _MOST_UNKNOWN} more unknown"] if len(unknown) > _MOST_UNKNOWN else []
    return "\n".join(lines).replace("\u202f", " ")


def study_junit(found: StudyFound) -> str:
    """Return JUnit XML: a case for each variant, which fails where it does not pass."""
    root = ET.Element("testsuites")
    suite = ET.SubElement(root, "testsuite", name=xml_text(found.study.name))
    came = []
    for row in found.sampled:
        case = ET.SubElement(
            suite,
            "testcase",
            name=xml_text(values_words(row)),
            classname=xml_text(row.variant.setup),
            time="0",
        )
        if not found.study.passes(row.verdict):
            came.append("error" if row.verdict is Verdict.UNKNOWN else "failure")
            kind, says = str(row.verdict), xml_text(row.says)
            ET.SubElement(case, came[-1], type=kind, message=says).text = xml_text(row.driver)
    counts = {"tests": len(found.sampled), "failures": came.count("failure"), "errors": came.count("error")}
    for key, count in counts.items():
        suite.set(key, str(count))
    ET.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'


def counts_words(found: StudyFound) -> str:
    """Return how many variants there are, and what they came to."""
    told = [r.verdict for r in found.sampled]
    counts = ", ".join(f"{told.count(v)} {v}" for v in Verdict if v in told)
    return f"{len(told)} variants: {counts}"


def best_words(found: StudyFound) -> str:
    """Return the variant with the greatest least margin."""
    best = found.best
    if best is None:
        return "No variant passes."
    margin = "" if best.least_share is None else f": its least margin is {best.least_share:.3g} of the limit"
    return f"Best: {values_words(best)}{margin}."


def values_words(row: VariantRow) -> str:
    """Return the values of a variant."""
    return (
        ", ".join(f"{name} = {_told(value)}" for name, value in row.variant.values.items())
        or row.variant.setup
    )


def _told(value: ParameterValue) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def flip_words(flip: Flip) -> str:
    """Return how far a parameter can go."""
    way = "up" if flip.upward else "down"
    if flip.fails_at is None:
        return f"{flip.parameter} can go {way} to {flip.passes_at:.6g}, the end of its range."
    by = f", by {flip.driver}" if flip.driver else ""
    there = f"at {flip.fails_at:.6g} it is {flip.verdict}{by}"
    return f"{flip.parameter} can go {way} to {flip.passes_at:.6g}: {there}."


def study_page(found: StudyFound) -> str:
    """Return the page of a study."""
    rows = found.sampled
    return render(
        "study.html",
        title=found.study.name,
        style=style(),
        view=None,
        counts=counts_words(found),
        best=best_words(found),
        verdict="go" if found.best is not None else "no-go",
        flips=[flip_words(f) for f in found.flips],
        maps=list(_maps(found)),
        table=_table(found, rows),
        apart="All rows, and those that were looked at for flips, are in table.csv.",
    )


def _maps(found: StudyFound) -> Iterator[tuple[str, Markup]]:
    for setup in found.study.setups:
        rows = [r for r in found.sampled if r.variant.setup == setup]
        for drawn in (region_map(found.study, rows, found.best), parallel_plot(found.study, rows)):
            if drawn:
                yield setup, Markup(drawn)  # noqa: S704 -- names in it are escaped where it is drawn


def _table(found: StudyFound, rows: Sequence[VariantRow]) -> Table:
    names = [p.name for p in found.study.parameters]
    several = len(found.study.setups) > 1
    heads = (
        *(("set-up",) if several else ()),
        *names,
        "verdict",
        "decides",
        "found",
        "limit",
        "least margin",
    )
    told = [
        (
            *((row.variant.setup,) if several else ()),
            *(_told(row.variant.values[n]) for n in names),
            Cell(lines=(str(row.verdict),), strong=not found.study.passes(row.verdict)),
            row.driver or row.says,
            "" if row.value is None else shown(row.value, row.unit),
            "" if row.limit is None else shown(row.limit, row.unit),
            "" if row.least_share is None else f"{row.least_share:.3g}",
        )
        for row in rows
    ]
    return table_of(heads, told)
