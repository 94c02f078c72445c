"""How the output folder comes to be: whole, or not at all."""

from __future__ import annotations

import contextlib
import errno
import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.report.site import Site, sweep
from fixturecheck.stopping import unbroken

RESULT = "result.json"
STEP = "setup.step"
PAGE = "report.html"
STL = "stl"
PICTURES = "pictures"
RELIEFS, RELIEFS_TOLD, RELIEF_PAGE, PARTS = "reliefs.json", "reliefs.txt", "reliefs.html", "parts"

_FILES = frozenset({RESULT, STEP, PAGE, RELIEFS, RELIEFS_TOLD, RELIEF_PAGE})
_SWAPS = 20
_FOLDERS = {STL: ".stl", PICTURES: ".png", PARTS: ".step"}


def check_usable(out: Path) -> None:
    """Refuse an output folder that could not be written, or that holds anything but an earlier result.

    Raises
    ------
    SetupError
        The path is a file, a folder with other things in it, or lies where nothing can be written.
    """
    if out.exists() and not out.is_dir():
        message = f"output folder {out} is a file; name a folder"
        raise SetupError(message)
    foreign = _foreign(out)
    if foreign is not None:
        message = (
            f"output folder {out} holds {foreign}, which is not from an earlier check; name another folder"
        )
        raise SetupError(message)


@contextmanager
def staged(out: Path) -> Iterator[Path]:
    """Give a temporary folder beside `out`; move it into place when the block ends well.

    When the block raises, `out` is as it was before. An earlier result in `out` is replaced whole; of two
    commands that write to the same `out` at once, the last to end leaves its result. What an earlier command
    left beside `out` when it was killed is cleared away first.

    Raises
    ------
    SetupError
        The folder cannot be made or moved, or `out` must not be replaced.
    """
    check_usable(out)
    target = out.resolve()
    site: Site | None = None
    made: list[Path] = []
    moved = False
    try:
        with unbroken():
            try:
                made = _make_parents(target.parent)
                sweep(target.parent)
                site = Site.begun(target)
            except OSError as trouble:
                message = f"output folder {out}: cannot write there ({trouble.strerror})"
                raise SetupError(message) from trouble
        yield site.new
        with unbroken():
            _move_into_place(site, out)
            moved = True
    finally:
        with unbroken():
            if site is not None:
                site.clear()
            for folder in [] if moved else made:
                with contextlib.suppress(OSError):
                    folder.rmdir()


@contextmanager
def scratch(folder: Path) -> Iterator[Path]:
    """Give a folder for files that are needed for a while; all temporary files of this process go there.

    It lies in the folder that is being written, so that it goes with it when the process is killed.
    """
    before = tempfile.tempdir
    with tempfile.TemporaryDirectory(prefix=".scratch-", dir=folder) as home:
        tempfile.tempdir = home
        try:
            yield Path(home)
        finally:
            tempfile.tempdir = before


@contextmanager
def written(folder: Path) -> Iterator[None]:
    """Turn what the system says of a full or broken disk into one sentence.

    Raises
    ------
    FixturecheckError
        Something in the block could not be read or written.
    """
    try:
        yield
    except OSError as trouble:
        path = Path(str(trouble.filename)) if trouble.filename else folder
        what = (
            path.relative_to(folder).as_posix()
            if path != folder and path.is_relative_to(folder)
            else "the result"
        )
        message = f"{what} could not be written: {trouble.strerror or trouble}"
        raise FixturecheckError(message) from trouble


def _make_parents(folder: Path) -> list[Path]:
    """Make a folder and those above it; return the ones that were made, the deepest first."""
    missing = [f for f in (folder, *folder.parents) if not f.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return missing


def _move_into_place(site: Site, out: Path) -> None:
    """Swap the new folder in; if that fails the earlier one comes back."""
    try:
        for _ in range(_SWAPS):
            check_usable(out)
            if site.target.exists():
                site.target.rename(site.old / str(len(list(site.old.iterdir()))))
            try:
                site.new.rename(site.target)
            except OSError as trouble:
                # Another command has put its result there meanwhile: that one is the earlier now.
                if trouble.errno not in {errno.ENOTEMPTY, errno.EEXIST}:
                    raise
            else:
                return
        message = f"output folder {out}: other commands keep writing there"
        raise SetupError(message)
    except OSError as trouble:
        message = f"output folder {out}: cannot be replaced ({trouble.strerror})"
        raise SetupError(message) from trouble


def _foreign(out: Path) -> str | None:
    """Return the name of something in a folder that no check wrote, or None."""
    if not out.is_dir():
        return None
    try:
        entries = sorted(out.iterdir())
    except OSError as trouble:
        message = f"output folder {out}: cannot be read ({trouble.strerror})"
        raise SetupError(message) from trouble
    if entries and not (_is_result(out / RESULT) or _is_result(out / RELIEFS)):
        return entries[0].name
    for entry in entries:
        if entry.name in _FILES and entry.is_file():
            continue
        ending = _FOLDERS.get(entry.name)
        if ending is None or not entry.is_dir():
            return entry.name
        strange = next((e.name for e in sorted(entry.iterdir()) if e.suffix != ending), None)
        if strange is not None:
            return f"{entry.name}/{strange}"
    return None


def _is_result(path: Path) -> bool:
    """Tell whether a file is a result.json of ours."""
    with contextlib.suppress(OSError, ValueError):
        result = json.loads(path.read_text(encoding="utf-8"))
        tool = result.get("tool") if isinstance(result, dict) else None
        return isinstance(tool, dict) and tool.get("name") == "fixturecheck"
    return False
