"""A first set-up from a drawn part and the page of its check, as the command line runs it.

Nothing heavy is imported here, so that the drawing process can be started first of all.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fixturecheck.report.pictures.painter import painting
from fixturecheck.runs.check import check_into

Progress = Callable[[str, float], None]
Tell = Callable[[list[str]], None]


def run(
    part: str,
    on: str | None,
    count: int,
    floor: str | None,
    out: str,
    folder: str,
    pictures: bool,
    width: int,
    colour: bool = False,
    *,
    progress: Progress,
    tell: Tell,
) -> tuple[str, str, str | None, tuple[tuple[str, str], ...]]:
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
    pictures : bool
        Whether to draw.
    width : int
        Columns of the terminal.
    colour : bool
        Whether the table is coloured.

    Returns
    -------
    tuple
        Verdict, table and what is wrong with pictures, as of a check; and each choice with its reason.

    Raises
    ------
    FixturecheckError
        The part cannot be set up, or something could not be computed or written.
    """
    with painting(pictures) as painter:
        progress("load the kernel", 0.02)
        from fixturecheck.start.choose import propose  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.start.part import read_part  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.start.write import setup_text  # noqa: PLC0415 -- the painter starts first

        progress(f"read {Path(part).name}", 0.1)
        found = propose(read_part(Path(part)), on=on, count=count, floor=floor)
        _write(setup_text(found, Path(out).parent), out)
        because = tuple((b.choice, b.reason) for b in found.because)
        answer = check_into(out, {}, folder, painter, None, (), width, colour, progress=progress, tell=tell)
        return (*answer, because)


def run_from(
    assembly: str,
    part: str | None,
    floor: str | None,
    out: str,
    folder: str,
    pictures: bool,
    width: int,
    colour: bool = False,
    *,
    progress: Progress,
    tell: Tell,
) -> tuple[str, str, str | None, tuple[tuple[str, str], ...]]:
    """Take a set-up from an assembly, write it as TOML, check it and write its page.

    Parameters
    ----------
    assembly : str
        The STEP or BREP file.
    part, floor
        As in `fixturecheck.start.assembly.set_up_of`.
    out, folder, pictures, width, colour
        As in `run`.

    Returns
    -------
    tuple
        As of `run`.

    Raises
    ------
    FixturecheckError
        The assembly shows no set-up, or something could not be computed or written.
    """
    with painting(pictures) as painter:
        progress("load the kernel", 0.02)
        from fixturecheck.start.assembly import set_up_of  # noqa: PLC0415 -- the painter starts first
        from fixturecheck.start.write import assembly_text  # noqa: PLC0415 -- the painter starts first

        progress(f"read {Path(assembly).name}", 0.1)
        found = set_up_of(Path(assembly), part=part, floor=floor)
        _write(assembly_text(found, Path(out).parent), out)
        because = tuple((b.choice, b.reason) for b in found.because)
        answer = check_into(out, {}, folder, painter, None, (), width, colour, progress=progress, tell=tell)
        return (*answer, because)


def _write(text: str, out: str) -> None:
    """Write a set-up, and the schema that it names beside it."""
    from fixturecheck.setup.schema import SETUP_FILE, put_into  # noqa: PLC0415 -- the painter starts first

    put_into(Path(out).parent, [SETUP_FILE])
    kept = Path(out).with_name(f".{Path(out).name}.new")
    kept.write_text(text, encoding="utf-8")
    kept.replace(out)
