"""One check of what is watched, in a process that stays warm, and what it changes against the last one."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fixturecheck.errors import SetupError
from fixturecheck.progress import Progress, Tell, part_of
from fixturecheck.report.folder import RESULT, operation_results, scratch
from fixturecheck.report.pictures.painter import Painter
from fixturecheck.result import Source
from fixturecheck.runs.check import checked_into, painting_of
from fixturecheck.runs.request import CheckAnswer, CheckRequest

if TYPE_CHECKING:
    from fixturecheck.kernel.recall import Memory
    from fixturecheck.kernel.standby import Standby
    from fixturecheck.process.model import Job
    from fixturecheck.setup.model import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchAnswer:
    """What a check came to, and what it changes against the last one.

    Parameters
    ----------
    check : CheckAnswer
    changes : str
        For the terminal; empty where there is nothing to hold it against.
    sources : tuple of Source
        The files that it was read from.
    """

    check: CheckAnswer
    changes: str
    sources: tuple[Source, ...]


class _Kept:
    """What this process keeps between checks: its memory, its copy, the last answer with its key."""

    memory: Memory | None = None
    standby: Standby | None = None
    key = ""
    answer: CheckAnswer | None = None


def run(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    request: CheckRequest,
    before: str | None,
    *,
    progress: Progress,
    tell: Tell,
) -> WatchAnswer:
    """Check a set-up or a job as `fixturecheck check` does, and hold the result against an earlier one.

    What an edit has not touched is not worked out again, and where nothing has changed the earlier result is
    the new one.

    Parameters
    ----------
    setup_path : str
        File of a set-up or of a job.
    overrides : mapping of str to str
        Parameters of the set-up that are given another value.
    folder : str
        An empty folder to write into.
    request : CheckRequest
        How it is checked, and how the answer is shown.
    before : str or None
        The folder of the earlier result.
    progress : callable
        Told what is being done, and the share done so far.
    tell : callable
        Told lines about what was found, as soon as it was.

    Returns
    -------
    WatchAnswer
        Its changes are empty where there is no earlier result.

    Raises
    ------
    FixturecheckError
        The set-up is wrong, the kernel failed, or the result could not be written.
    """
    with painting_of(Path(setup_path), request) as painter, scratch(Path(folder)):
        from fixturecheck.process.load import load_any  # noqa: PLC0415 -- the painter starts first

        progress(f"read {Path(setup_path).name}", 0.02)
        given = load_any(setup_path, overrides)
        answer = _answer(given, Path(folder), request, before, painter, progress=progress, tell=tell)
    changes = "" if before is None else _changes(Path(before), Path(folder), request.width)
    return WatchAnswer(check=answer, changes=changes, sources=given.sources)


def _answer(
    given: Setup | Job,
    folder: Path,
    request: CheckRequest,
    before: str | None,
    painter: Painter | None,
    *,
    progress: Progress,
    tell: Tell,
) -> CheckAnswer:
    """Check what was read and write everything, or give the last answer again where nothing has changed."""
    from fixturecheck.kernel.recall import Memory, key_of, remembering  # noqa: PLC0415 -- the painter first
    from fixturecheck.kernel.standby import Standby, standing_by  # noqa: PLC0415 -- the painter first
    from fixturecheck.process.model import Job  # noqa: PLC0415 -- the painter first

    # A job holds functions, which make its set-ups; what they make depends on the files that it is read from.
    key = key_of((given.sources if isinstance(given, Job) else given, request))
    if before is not None and key == _Kept.key and _Kept.answer is not None:
        shutil.copytree(before, folder, dirs_exist_ok=True)
        return _Kept.answer
    _Kept.memory, _Kept.standby = _Kept.memory or Memory(), _Kept.standby or Standby()
    with remembering(_Kept.memory), standing_by(_Kept.standby):
        rest = part_of(progress, 0.1, 1.0)
        answer = checked_into(given, folder, request, painter, progress=rest, tell=tell)
    _Kept.key, _Kept.answer = key, answer
    return answer


def _changes(before: Path, folder: Path, width: int) -> str:
    """Return what changed between two folders, of a set-up or of a job and each operation of it.

    Empty where the one has no part of the other, so that nothing can be held against anything.
    """
    from fixturecheck.comparing.model import Renames  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.comparing.whole import compared, findings_compared  # noqa: PLC0415 -- as above
    from fixturecheck.report.comparison import comparison_text  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.result.stored import read_job, read_stored  # noqa: PLC0415 -- the painter starts first

    found = []
    operations = operation_results(folder)
    try:
        if operations:
            old, new = (read_job((home / RESULT).read_bytes(), "") for home in (before, folder))
            found.append(("across the operations", findings_compared(old, new, Renames())))
        several = [(f"operation {number}", late) for number, late in operations.items()]
        for name, late in several or [("", folder / RESULT)]:
            early = before / late.relative_to(folder)
            if early.is_file():
                sides = [read_stored(file.read_bytes(), "") for file in (early, late)]
                found.append((name, compared(*sides)))
    except SetupError:
        return ""
    same = [name for name, one in found if one.unchanged]
    texts = [
        ": ".join(filter(None, [name, comparison_text(one, width=width, titled=False)]))
        for name, one in found
        if not one.unchanged
    ]
    if same:
        texts.append(": ".join(filter(None, [", ".join(same), "nothing changed"])))
    return "\n\n".join(texts)
