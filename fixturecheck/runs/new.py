"""A first set-up from a drawn part or an assembly, written as TOML, and the page of its check.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fixturecheck.files import write_whole
from fixturecheck.progress import Progress, Tell, part_of
from fixturecheck.report.pictures.painter import painting
from fixturecheck.runs.check import check_into
from fixturecheck.runs.request import CheckAnswer, CheckRequest

_PROPOSED = 0.2
"""Share of the whole that is done once a set-up is proposed."""

Proposed = tuple[str, tuple[tuple[str, str], ...]]
"""A set-up as TOML, and each choice with its reason."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewAnswer:
    """A first set-up, checked: what the check came to, and each choice with its reason."""

    check: CheckAnswer
    because: tuple[tuple[str, str], ...]


def run(
    part: str,
    on: str | None,
    count: int,
    floor: str | None,
    out: str,
    folder: str,
    request: CheckRequest,
    *,
    progress: Progress,
    tell: Tell,
) -> NewAnswer:
    """Propose a set-up for a part, write it as TOML, check it and write its page.

    Parameters
    ----------
    part : str
        The STEP or BREP file.
    on, count, floor
        As in `fixturecheck.start.choose.propose`.
    out : str
        The TOML file to write.
    folder : str
        An empty folder for the result.
    request : CheckRequest
        How it is checked, and how the answer is shown.
    progress : callable
        Told what is being done, and the share done so far.
    tell : callable
        Told lines about what was found, as soon as it was.

    Returns
    -------
    NewAnswer

    Raises
    ------
    FixturecheckError
        The part cannot be set up, or something could not be computed or written.
    """

    def proposed() -> Proposed:
        from fixturecheck.start.choose import propose  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.start.part import read_part  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.start.write import first_setup_text  # noqa: PLC0415 -- the painter starts first

        found = propose(read_part(Path(part)), on=on, count=count, floor=floor)
        return first_setup_text(found, Path(out).parent), tuple((b.choice, b.reason) for b in found.because)

    return _written_and_checked(part, proposed, out, folder, request, progress, tell)


def run_from(
    assembly: str,
    part: str | None,
    floor: str | None,
    out: str,
    folder: str,
    request: CheckRequest,
    *,
    progress: Progress,
    tell: Tell,
) -> NewAnswer:
    """Take a set-up from an assembly, write it as TOML, check it and write its page.

    Parameters
    ----------
    assembly : str
        The STEP or BREP file.
    part, floor
        As in `fixturecheck.start.assembly.set_up_of`.
    out, folder
        As in `run`.
    request : CheckRequest
        How it is checked, and how the answer is shown.
    progress : callable
        Told what is being done, and the share done so far.
    tell : callable
        Told lines about what was found, as soon as it was.

    Returns
    -------
    NewAnswer

    Raises
    ------
    FixturecheckError
        The assembly shows no set-up, or something could not be computed or written.
    """

    def proposed() -> Proposed:
        from fixturecheck.start.assembly import set_up_of  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.start.write import assembly_text  # noqa: PLC0415 -- the painter starts first

        found = set_up_of(Path(assembly), part=part, floor=floor)
        return assembly_text(found, Path(out).parent), tuple((b.choice, b.reason) for b in found.because)

    return _written_and_checked(assembly, proposed, out, folder, request, progress, tell)


def _written_and_checked(
    drawn: str,
    propose: Callable[[], Proposed],
    out: str,
    folder: str,
    request: CheckRequest,
    progress: Progress,
    tell: Tell,
) -> NewAnswer:
    """Have a set-up proposed while the drawing process starts, write it with its schema, and check it."""
    with painting(request.pictures) as painter:
        progress("load the kernel", 0.02)
        from fixturecheck.kernel.step import reading_once  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.schemas import put_into  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.setup.schema import SETUP_FILE  # noqa: PLC0415 -- the painter starts first

        with reading_once():
            progress(f"read {Path(drawn).name}", 0.1)
            text, because = propose()
            put_into(Path(out).parent, [SETUP_FILE])
            write_whole(Path(out), text)
            answer = check_into(
                out, {}, folder, request, painter, progress=part_of(progress, _PROPOSED, 1.0), tell=tell
            )
    return NewAnswer(check=answer, because=because)
