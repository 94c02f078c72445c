"""The rows of a study on disk, a line each, so that a study that was stopped goes on where it was."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from fixturecheck.cache import code_digest
from fixturecheck.result import Source
from fixturecheck.result.finding import Verdict
from fixturecheck.study.model import QuestionMargin, Study, StudyFound, Variant, VariantRow
from fixturecheck.units import in_units

ROWS, TABLE, PAGE, DATA = "rows.jsonl", "table.csv", "study.html", "study.json"


def variant_key(study: Study, variant: Variant) -> str:
    """Return what a row is found again by: the variant, what is asked of it, and what computes it.

    The set-up counts by its place in the study's folder, so that a folder may be moved.

    Parameters
    ----------
    study : Study
        Which checks are asked, and its folder.
    variant : Variant
        One of its variants.

    Returns
    -------
    str
        24 hexadecimal digits.
    """
    parts = [
        study.named(variant.setup),
        sorted(variant.overrides.items()),
        study.only,
        study.skip,
        code_digest(),
    ]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:24]


def row_line(study: Study, row: VariantRow) -> str:
    """Return a row as a line of the file, its set-up told from the study's folder.

    Parameters
    ----------
    study : Study
        The study, whose folder paths are told from.
    row : VariantRow
        One of its rows.

    Returns
    -------
    str
        JSON, with the end of the line.
    """
    data = asdict(row)
    data["variant"]["setup"] = study.named(row.variant.setup)
    return json.dumps(data, ensure_ascii=False) + "\n"


def read_rows(study: Study, path: Path) -> dict[str, VariantRow]:
    """Return the rows of a file by their keys, the last of several; empty without the file.

    A line that was not written to its end, since the program was killed, is left out, and so is a row whose
    set-up is not in the study, or has changed since: its files have other checksums. A row whose files are
    not known could not be read or checked, and is tried again.

    Parameters
    ----------
    study : Study
        The study that goes on.
    path : Path
        The file of its rows, which may not be there.

    Returns
    -------
    dict of str to VariantRow
    """
    if not path.is_file():
        return {}
    setups = {study.named(setup): setup for setup in study.setups}
    rows: dict[str, VariantRow] = {}
    # A killed program may have stopped within a sign.
    for line in path.read_text(encoding="utf-8", errors="replace").split("\n"):
        try:
            row = _row(json.loads(line), setups)
        except (ValueError, KeyError, TypeError):
            continue
        rows[row.key] = row
    known: dict[Path, str] = {}
    return {key: row for key, row in rows.items() if _holds(row, known)}


def ends_torn(path: Path) -> bool:
    """Tell whether the last line of a file was not written to its end.

    Parameters
    ----------
    path : Path
        A file, which may not be there.

    Returns
    -------
    bool
    """
    text = path.read_bytes() if path.is_file() else b""
    return bool(text) and not text.endswith(b"\n")


def _row(data: Mapping[str, Any], setups: Mapping[str, str]) -> VariantRow:
    values = dict(data)
    variant = Variant(**values["variant"])
    values["variant"] = replace(variant, setup=setups[variant.setup])
    values["verdict"] = Verdict(values["verdict"])
    values["margins"] = tuple(QuestionMargin(**m) for m in values["margins"])
    values["sources"] = tuple(Source(**s) for s in values["sources"])
    return VariantRow(**values)


def _holds(row: VariantRow, known: dict[Path, str]) -> bool:
    home = Path(row.variant.setup).parent
    for source in row.sources:
        path = home / source.path
        if path not in known:
            known[path] = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        if known[path] != source.sha256:
            return False
    return bool(row.sources)


def table_csv(found: StudyFound) -> str:
    """Return the table of a study as CSV: a row for each variant, a column for each parameter and margin.

    Numbers are in the unit of their set-up: the column `unit` names that of what decides, and the head of a
    column of margins its own.

    Parameters
    ----------
    found : StudyFound
        All rows and flips.

    Returns
    -------
    str
    """
    names = [p.name for p in found.study.parameters]
    telling = found.telling
    spare = [dict(_in_own_unit(row)) for row in found.rows]
    margins = sorted({head for one in spare for head in one})
    fixed = (
        "verdict",
        "passes",
        "driver",
        "operation",
        "value",
        "unit",
        "limit",
        "margin",
        "least_share",
        "least_of",
        "looked_for_flip",
    )
    heads = ["setup", *names, *fixed, "says", *margins]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    for row, own_margins in zip(found.rows, spare, strict=True):
        least = row.least(telling)
        own = [row.variant.values.get(name) for name in names]
        figures = [
            row.driver,
            row.operation,
            _counted(row, row.value),
            in_units(0.0, row.unit, row.units)[1],
            _counted(row, row.limit),
            _counted(row, row.margin),
            None if least is None else least.share,
            "" if least is None else least.question,
            row.flip,
            row.says,
        ]
        writer.writerow(
            [
                found.study.named(row.variant.setup),
                *own,
                str(row.verdict),
                found.study.passes(row.verdict),
                *figures,
                *(own_margins.get(head) for head in margins),
            ]
        )
    return text.getvalue()


def _counted(row: VariantRow, value: float | None) -> float | None:
    """Return a number of what decides in the unit of the set-up."""
    return None if value is None else in_units(value, row.unit, row.units)[0]


def _in_own_unit(row: VariantRow) -> Iterator[tuple[str, float]]:
    """Yield the head of each column of margins that a row fills, with its number there."""
    for margin in row.margins:
        least, unit = in_units(margin.least, margin.unit, row.units)
        yield f"margin {margin.question} {unit}".rstrip(), least


def study_dict(found: StudyFound) -> dict[str, Any]:
    """Return what a study found as plain values, its rows apart: those are in the table.

    Parameters
    ----------
    found : StudyFound
        All rows and flips.

    Returns
    -------
    dict of str to object
        Ready to be written as JSON.
    """
    best = found.best
    least = None if best is None else best.least(found.telling)
    return {
        "tool": {"name": "fixturecheck"},
        "study": found.study.name,
        "counts": counts_of(found.sampled),
        "best": None if best is None else _best(found.study, best, least),
        "flips": [
            {
                "setup": found.study.named(f.setup),
                "parameter": f.parameter,
                "upward": f.upward,
                "passes_at": f.passes_at,
                "fails_at": f.fails_at,
                "verdict": str(f.verdict),
                "passes_as": str(f.passes_as),
                "driver": f.driver,
                "operation": f.operation,
                "says": f.says,
            }
            for f in found.flips
        ],
    }


def _best(study: Study, best: VariantRow, least: QuestionMargin | None) -> dict[str, Any]:
    return {
        "setup": study.named(best.variant.setup),
        "values": dict(best.variant.values),
        "least_share": None if least is None else least.share,
        "least_of": None if least is None else least.question,
    }


def counts_of(rows: Iterable[VariantRow]) -> dict[str, int]:
    """Return how many rows there are of each verdict, where there are any.

    Parameters
    ----------
    rows : iterable of VariantRow
        The rows that are counted.

    Returns
    -------
    dict of str to int
        In the order of `Verdict`.
    """
    verdicts = [row.verdict for row in rows]
    return {str(v): verdicts.count(v) for v in Verdict if v in verdicts}
