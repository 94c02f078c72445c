"""Two results from wherever they are, held together, into a folder.

Nothing heavy is imported at the top, so that the drawing process can be started first of all.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

from fixturecheck.comparing.baseline import (
    baseline_of,
    baseline_text,
    no_longer_short,
    read_baseline,
    with_baseline,
)
from fixturecheck.comparing.model import Comparison, FindingChange, Trend
from fixturecheck.comparing.whole import compared, order_of
from fixturecheck.progress import Progress, part_of
from fixturecheck.report.build_files import BuildResult
from fixturecheck.report.folder import COMPARED, COMPARED_PAGE, PICTURES, scratch, written
from fixturecheck.report.pictures.painter import Painter, painting
from fixturecheck.result.finding import Verdict
from fixturecheck.runs.check import ONE_THREAD
from fixturecheck.runs.given import GivenResult, given_result
from fixturecheck.runs.request import CheckRequest


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareAnswer:
    """What a comparison comes to, for the command.

    Parameters
    ----------
    breaks, unknown : bool
        Whether anything got worse than its limit, or can no longer be computed.
    text : str
        For the terminal.
    baseline : str
        The file of known shortfalls of the result after.
    short : int
        How many these are.
    result : BuildResult
        The result after, with all let stand that got no worse than its limit.
    trouble : str or None
        Why pictures are missing.
    """

    breaks: bool
    unknown: bool
    text: str
    baseline: str
    short: int
    result: BuildResult
    trouble: str | None


def run(
    before: str | None,
    after: str,
    baseline: str | None,
    folder: str,
    request: CheckRequest,
    *,
    progress: Progress,
) -> CompareAnswer:
    """Find both results, hold them together, and write a page and the same as data.

    Parameters
    ----------
    before : str or None
        A set-up, a folder, a result.json or `REV:path`; None holds the other against the baseline alone.
    baseline : str or None
        A file of known shortfalls.
    folder : str
        An empty folder to write into.
    request : CheckRequest
        How a set-up is checked that is among the two, and how the comparison is shown.

    Raises
    ------
    FixturecheckError
        A side cannot be read or checked, the two are of different set-ups, or nothing can be written.
    """
    # Operations of a job are checked in copies of this process, which a process with threads is not made of.
    os.environ.update(ONE_THREAD)
    with painting(request.pictures) as painter, scratch(Path(folder)):
        late = given_result(after, request, part_of(progress, 0.45, 0.8))
        early = late if before is None else given_result(before, request, part_of(progress, 0.05, 0.4))
        progress("compare", 0.85)
        found = compared(early.stored, late.stored)
        if before is None:
            found = _alone(found)
        known = None
        if baseline is not None:
            text = Path(baseline).read_bytes()
            known = read_baseline(text, baseline, setup=late.stored.name, file=late.stored.file)
        elif before is None:
            # Nothing is held against what is only written down.
            known = baseline_of(late.stored.name, late.stored.file, late.stored.findings)
        if known is not None:
            marked = with_baseline(found.findings, known)
            found = replace(
                found,
                findings=tuple(sorted(marked, key=order_of)),
                no_longer_short=no_longer_short(known, late.stored.findings),
            )
        return _written(found, early, late, Path(folder), painter, request.width)


def _alone(found: Comparison) -> Comparison:
    """Return the findings of one result as if all of them were new."""
    new = (FindingChange(change=Trend.NEW, before=None, after=c.after) for c in found.findings)
    rows = sorted((c for c in new if c.finding.verdict is not Verdict.GO), key=order_of)
    return replace(found, before="the baseline", findings=tuple(rows))


def _written(
    found: Comparison,
    early: GivenResult,
    late: GivenResult,
    folder: Path,
    painter: Painter | None,
    width: int,
) -> CompareAnswer:
    """Work out what was added and removed, write everything, and return the answer."""
    # The painter starts first.
    from fixturecheck.report.comparison import comparison_dict, comparison_page, comparison_text  # noqa: PLC0415 -- as above
    from fixturecheck.report.json import json_text  # noqa: PLC0415 -- as above
    from fixturecheck.runs.compared_solids import changed_regions, draw_changes  # noqa: PLC0415 -- the painter starts first

    regions = [changed_regions(change, early, late) for change in found.solids]
    found = replace(found, solids=tuple(r.change for r in regions))
    with written(folder):
        titles, drawn = draw_changes(regions, early, late, folder, painter)
        page = comparison_page(found, titles, drawn.read(folder / PICTURES), drawn.trouble)
        (folder / COMPARED_PAGE).write_text(page, encoding="utf-8")
        (folder / COMPARED).write_text(json_text(comparison_dict(found)), encoding="utf-8")
    known = baseline_of(late.stored.name, late.stored.file, late.stored.findings)
    return CompareAnswer(
        breaks=found.breaks,
        unknown=found.unknown,
        text=comparison_text(found, width=width),
        baseline=baseline_text(known),
        short=len(known.known),
        result=_for_a_build(found, late),
        trouble=drawn.trouble if painter is not None and (early.solids or late.solids) else None,
    )


def _for_a_build(found: Comparison, late: GivenResult) -> BuildResult:
    """Return the later result for a build server; what got no worse than its limit is accepted."""
    urgent = {c.finding.id for c in found.findings if c.breaks or c.unknown}
    short = {f.id for f in late.stored.findings if f.verdict is not Verdict.GO}
    return BuildResult(stored=late.stored, file=late.file, known=frozenset(short - urgent))
