"""Two results from wherever they are, held together, into a folder.

Nothing heavy is imported at the top, so that the drawing process can be started first of all.
"""

from __future__ import annotations

import io
import os
import subprocess
import tarfile
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.comparing.model import (
    Comparison,
    FindingChange,
    Trend,
    baseline_of,
    baseline_text,
    no_longer_short,
    read_baseline,
    with_baseline,
)
from fixturecheck.comparing.whole import compared, of_operation, order_of, with_operations
from fixturecheck.errors import SetupError
from fixturecheck.files import SETUP_SUFFIXES
from fixturecheck.process.across import MODULES as ACROSS
from fixturecheck.progress import Progress, part_of
from fixturecheck.report.build_files import BuildResult
from fixturecheck.report.folder import (
    COMPARED,
    COMPARED_PAGE,
    PICTURES,
    RESULT,
    STEP,
    operation_results,
    scratch,
    written,
)
from fixturecheck.report.pictures.painter import Painter, painting
from fixturecheck.result.finding import Verdict
from fixturecheck.result.stored import (
    StoredResult,
    as_stored,
    called_in,
    read_job,
    read_stored,
    without_checks,
)
from fixturecheck.runs.check import ONE_THREAD, checked_into
from fixturecheck.runs.request import CheckRequest

if TYPE_CHECKING:
    from fixturecheck.kernel.shapes import Solid
    from fixturecheck.result.shapes import BodyDrawn


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
    after : str
        The later one, given in any of the same ways; never None.
    baseline : str or None
        A file of known shortfalls.
    folder : str
        An empty folder to write into.
    request : CheckRequest
        How a set-up is checked that is among the two, and how the comparison is shown.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    CompareAnswer

    Raises
    ------
    FixturecheckError
        A side cannot be read or checked, the two are of different set-ups, or nothing can be written.
    """
    # Operations of a job are checked in copies of this process, which a process with threads is not made of.
    os.environ.update(ONE_THREAD)
    with painting(request.pictures) as painter, scratch(Path(folder)):
        given = [given_result(before, request, part_of(progress, 0.05, 0.4))] if before is not None else []
        late = given_result(after, request, part_of(progress, 0.45, 0.8))
        early = given[0] if given else late
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GivenResult:
    """One side of a comparison as it was found.

    Parameters
    ----------
    stored : StoredResult
        What it tells, under the name that the user gave it.
    solids : mapping of str to Solid
        Its bodies in their own frames; empty where only numbers were kept.
    file : str
        The file or folder as seen from where the command runs, also of one that lies in a revision.
    """

    stored: StoredResult
    solids: Mapping[str, Solid]
    file: str


def given_result(spec: str, request: CheckRequest, progress: Progress) -> GivenResult:
    """Return what one argument names: a set-up that is checked, or a result that is read.

    Parameters
    ----------
    spec : str
        File of a set-up, result folder, result.json, or any of them in a revision as REV:path.
    request : CheckRequest
        How a set-up is checked.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    GivenResult

    Raises
    ------
    FixturecheckError
        It names neither, cannot be read, or cannot be checked.
    """
    path = Path(spec)
    revision, colon, inside = spec.partition(":")
    if path.exists() or not (colon and revision and inside):
        if path.is_dir() or path.suffix == ".json":
            return _stored(spec, path)
        if path.suffix.lower() in SETUP_SUFFIXES and path.exists():
            return _checked(spec, path, request, progress)
    else:
        with _revision(spec, revision, inside) as (there, file):
            if there.is_dir() or there.suffix == ".json":
                return replace(_stored(spec, there), file=file)
            return replace(_checked(spec, there, request, progress), file=file)
    raise SetupError(f"{spec} is no set-up, result folder, result.json or REV:path")


@contextmanager
def _revision(spec: str, revision: str, inside: str) -> Iterator[tuple[Path, str]]:
    """Give a file of a git revision, with all that lies beside it in a folder of its own, and its name."""
    top = Path(_git(spec, "rev-parse", "--show-toplevel").decode().strip())
    # As git has it: from the top of the repository, or with ./ from here.
    relative = (Path.cwd() / inside).resolve().relative_to(top) if inside.startswith("./") else Path(inside)
    packed = _git(spec, "-C", str(top), "archive", "--format=tar", revision)
    with tempfile.TemporaryDirectory() as home:
        with tarfile.open(fileobj=io.BytesIO(packed)) as tar:
            tar.extractall(home, filter="data")
        there = Path(home) / relative
        if not there.exists():
            raise SetupError(f"{spec}: revision {revision} has no {relative.as_posix()}")
        yield there, os.path.relpath(top / relative)


def _git(spec: str, *words: str) -> bytes:
    try:
        ran = subprocess.run(["git", *words], capture_output=True, check=False)  # noqa: S603, S607 -- git as installed
    except OSError as reason:
        raise SetupError(
            f"{spec}: git cannot be run ({reason.strerror}); give a file or a folder"
        ) from reason
    if ran.returncode:
        said = ran.stderr.decode(errors="replace").strip().splitlines() or ["git failed"]
        raise SetupError(f"{spec}: {said[-1]}")
    return ran.stdout


def _stored(spec: str, path: Path) -> GivenResult:
    """Read a result that was written before, with its solids where they lie beside it."""
    file = path / RESULT if path.is_dir() else path
    if not file.is_file():
        raise SetupError(f"{spec} holds no {RESULT}")
    operations = operation_results(file.parent)
    if file.name == RESULT and operations:
        return _job(spec, file, {number: _stored(spec, one) for number, one in operations.items()})
    kept = read_stored(file.read_bytes(), spec)
    step = file.with_name(STEP)
    solids = _solids_in(step, kept.bodies) if file.name == RESULT and step.is_file() else {}
    return GivenResult(stored=kept, solids=solids, file=spec)


def _job(spec: str, file: Path, operations: Mapping[int, GivenResult]) -> GivenResult:
    """Return a job as one result, in which each body, cut and finding says which operation it is of."""
    whole = read_job(file.read_bytes(), spec)
    results, solids = [], {}
    for number, one in operations.items():
        # What was found across operations stands in the job's own result.
        own = without_checks(one.stored, ACROSS)
        results.append(of_operation(number, own, whole.setups.get(number, "")))
        solids.update({called_in(number, name): solid for name, solid in one.solids.items()})
    return GivenResult(stored=with_operations(whole, results), solids=solids, file=spec)


def _solids_in(step: Path, bodies: tuple[BodyDrawn, ...]) -> Mapping[str, Solid]:
    """Return the bodies of a setup.step, each back in its own frame."""
    import numpy as np  # noqa: PLC0415 -- the painter starts first

    from fixturecheck.kernel.place import location_of, placed_at  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.kernel.step import read  # noqa: PLC0415 -- the painter starts first

    found: dict[str, Solid] = {}
    wanted = {b.name: b for b in bodies}
    for one in read(step).solids:
        name = next((n for n in (one.name, *one.aliases) if n in wanted and n not in found), None)
        if name is not None:
            matrix = np.vstack([np.array(wanted[name].at).reshape(3, 4), [0.0, 0.0, 0.0, 1.0]])
            found[name] = placed_at(one.solid, location_of(np.linalg.inv(matrix)))
    return found


def _checked(spec: str, path: Path, request: CheckRequest, progress: Progress) -> GivenResult:
    """Check a set-up, or a job with all its operations."""
    from fixturecheck.engine import check  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.process.load import load_any  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.process.model import Job  # noqa: PLC0415 -- the painter starts first

    progress(f"read {path.name}", 0.0)
    given = load_any(path, {})
    if isinstance(given, Job):
        with tempfile.TemporaryDirectory() as folder:
            shown = replace(request, pictures=False)
            checked_into(given, Path(folder), shown, None, progress=progress, tell=_unheard)
            return _stored(spec, Path(folder))
    solids = {b.name: b.solid for b in given.bodies}
    result = check(given, only=request.only, skip=request.skip, progress=progress)
    return GivenResult(stored=as_stored(result, spec), solids=solids, file=spec)


def _unheard(_lines: list[str]) -> None:
    """Report nothing: the findings of one side are reported with the comparison."""
