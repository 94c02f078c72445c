"""How the output folder comes to be, whole or not at all, and where it is put together.

Where a result is put together: a hidden folder beside the output that shows whether its owner still runs.
The folder holds `owner`, a file that is locked as long as the command runs, `new`, which is being written,
and `old`, the earlier result while the two are swapped. A lock goes with its process, however that ends; so
a folder whose lock is free was left by a command that was killed, and may be cleared away.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.stopping import unbroken

try:
    import fcntl
except ImportError:  # no such locks here: nothing is known of who still runs, and nothing is cleared away
    fcntl = None  # type: ignore[assignment]  # the module is missing on some systems

PREFIX = ".fixturecheck-"
_OWNER, _NEW, _OLD = "owner", "new", "old"
_TOOL = "fixturecheck"
_UNSAID = json.dumps({"tool": _TOOL})
_TRIES = 10
_YOUNG_S = 60.0


class Site:
    """A folder in which one command puts its result together.

    Parameters
    ----------
    home : Path
        The hidden folder.
    target : Path
        Where the result will go.
    owner : file
        The locked file that says that the command still runs.
    """

    def __init__(self, home: Path, target: Path, owner: IO[str]) -> None:
        self._home, self._owner = home, owner
        self.target = target
        self.new, self.old = home / _NEW, home / _OLD

    @classmethod
    def begun(cls, target: Path) -> Site:
        """Make and lock a folder beside `target`.

        Raises
        ------
        OSError
            It cannot be made.
        """
        for _ in range(_TRIES):
            home = Path(tempfile.mkdtemp(prefix=PREFIX, dir=target.parent))
            try:
                owner = (home / _OWNER).open("w", encoding="utf-8")
                if not _locked(owner) or not (home / _OWNER).exists():
                    owner.close()
                    continue
                owner.write(json.dumps({"tool": _TOOL, "target": target.name}))
                owner.flush()
                (home / _NEW).mkdir()
                (home / _OLD).mkdir()
            except FileNotFoundError:
                # Another command that sweeps came between making and locking.
                continue
            except OSError:
                shutil.rmtree(home, ignore_errors=True)
                raise
            return cls(home, target, owner)
        raise FixturecheckError(f"no folder could be made in {target.parent}")

    def clear(self) -> None:
        """Remove the folder; an earlier result that has not been replaced goes back to its place."""
        _put_back(self._home, self.target)
        _remove_contents(self._home)
        self._owner.close()
        shutil.rmtree(self._home, ignore_errors=True)


def sweep(parent: Path) -> None:
    """Clear away what commands that were killed have left in a folder.

    Only what this program made for the same user is touched, and only when its owner no longer runs.

    Parameters
    ----------
    parent : Path
        The folder in which outputs stand.
    """
    for home in sorted(parent.glob(f"{PREFIX}*")):
        with contextlib.suppress(OSError, ValueError):
            _sweep(home)


def _sweep(home: Path) -> None:
    status = home.lstat()
    if not stat.S_ISDIR(status.st_mode) or (hasattr(os, "getuid") and status.st_uid != os.getuid()):
        return
    if not (home / _OWNER).exists():
        # Killed before it could say whose it is; one that is being made now is younger.
        if time.time() - status.st_mtime > _YOUNG_S:
            home.rmdir()
        return
    with (home / _OWNER).open("r+", encoding="utf-8") as owner:
        if fcntl is None or not _locked(owner):
            return
        says = json.loads(owner.read() or _UNSAID)
        if not isinstance(says, dict) or says.get("tool") != _TOOL:
            return
        name = str(says.get("target", ""))
        if name and name == Path(name).name and name != "..":
            _put_back(home, home.parent / name)
        _remove_contents(home)
        shutil.rmtree(home, ignore_errors=True)


def _remove_contents(home: Path) -> None:
    """Remove all but the file that says whose the folder is, so that a second try knows it."""
    for name in (_NEW, _OLD):
        shutil.rmtree(home / name, ignore_errors=True)


def _put_back(home: Path, target: Path) -> None:
    """Return an earlier result to its place where nothing has taken it."""
    with contextlib.suppress(OSError):
        earlier = sorted((home / _OLD).iterdir(), key=lambda p: int(p.name))
        if earlier and not target.exists():
            earlier[-1].rename(target)


def _locked(owner: IO[str]) -> bool:
    """Lock a file, or tell that another process has it locked; true where there are no locks."""
    try:
        if fcntl is not None:
            fcntl.flock(owner, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


RESULT = "result.json"
STEP = "setup.step"
PAGE = "report.html"
STL = "stl"
PICTURES = "pictures"
COMPARED, COMPARED_PAGE = "comparison.json", "comparison.html"
RELIEFS, RELIEFS_TOLD, RELIEF_PAGE, PARTS = "reliefs.json", "reliefs.txt", "reliefs.html", "parts"

OPERATIONS = "operations"
"""Of a job: a folder with the result of each operation, by its number."""

_FILES = frozenset({RESULT, STEP, PAGE, RELIEFS, RELIEFS_TOLD, RELIEF_PAGE, COMPARED, COMPARED_PAGE})
_SWAPS = 20
_FOLDERS = {STL: ".stl", PICTURES: ".png", PARTS: ".step"}


def operation_results(folder: Path) -> dict[int, Path]:
    """Return the result.json of each operation of a job, by its number, in their order.

    Parameters
    ----------
    folder : Path
        What `check` wrote; of a set-up there are none.

    Returns
    -------
    dict of int to Path
        Ascending by number.
    """
    found = {int(file.parent.name): file for file in folder.glob(f"{OPERATIONS}/*/{RESULT}")}
    return dict(sorted(found.items()))


def check_usable(out: Path) -> None:
    """Refuse an output folder that could not be written, or that holds anything but an earlier result.

    Parameters
    ----------
    out : Path
        Where a result is to go; it need not exist.

    Raises
    ------
    SetupError
        The path is a file, a folder with other things in it, or lies where nothing can be written.
    """
    if out.exists() and not out.is_dir():
        raise SetupError(f"output folder {out} is a file; name a folder")
    foreign = _foreign(out)
    if foreign is not None:
        raise SetupError(
            f"output folder {out} holds {foreign}, which is not from an earlier check; name another folder"
        )


@contextmanager
def staged(out: Path) -> Iterator[Path]:
    """Give a temporary folder beside `out`; move it into place when the block ends well.

    When the block raises, `out` is as it was before. An earlier result in `out` is replaced whole; of two
    commands that write to the same `out` at once, the last to end leaves its result. What an earlier command
    left beside `out` when it was killed is cleared away first.

    Parameters
    ----------
    out : Path
        Where the result is to go; it and the folders above it need not exist.

    Yields
    ------
    Path
        The folder to write into.

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
            except (FileExistsError, NotADirectoryError) as trouble:
                raise SetupError(
                    f"output folder {out}: {trouble.filename} is a file; name a folder"
                ) from trouble
            except OSError as trouble:
                raise SetupError(f"output folder {out}: cannot write there ({trouble.strerror})") from trouble
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

    Parameters
    ----------
    folder : Path
        The folder that is being written.

    Yields
    ------
    Path
        It is removed when the block ends.
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

    Parameters
    ----------
    folder : Path
        The folder that is being written; files in it are named from there.

    Yields
    ------
    None
        Once, for the block.

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
        raise FixturecheckError(f"{what} could not be written: {trouble.strerror or trouble}") from trouble


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
        raise SetupError(f"output folder {out}: other commands keep writing there")
    except OSError as trouble:
        raise SetupError(f"output folder {out}: cannot be replaced ({trouble.strerror})") from trouble


def _foreign(out: Path) -> str | None:
    """Return the name of something in a folder that no check wrote, or None."""
    if not out.is_dir():
        return None
    try:
        entries = sorted(out.iterdir())
    except OSError as trouble:
        raise SetupError(f"output folder {out}: cannot be read ({trouble.strerror})") from trouble
    if entries and not any(_is_result(out / name) for name in (RESULT, RELIEFS, COMPARED)):
        return entries[0].name
    for entry in entries:
        if entry.name in _FILES and entry.is_file():
            continue
        if entry.name == OPERATIONS and entry.is_dir():
            within = next((f"{e.name}/{f}" for e in sorted(entry.iterdir()) if (f := _strange_in(e))), None)
            if within is not None:
                return f"{entry.name}/{within}"
            continue
        ending = _FOLDERS.get(entry.name)
        if ending is None or not entry.is_dir():
            return entry.name
        strange = next((e.name for e in sorted(entry.iterdir()) if e.suffix != ending), None)
        if strange is not None:
            return f"{entry.name}/{strange}"
    return None


def _strange_in(operation: Path) -> str | None:
    """Return the name of something in the folder of an operation that no check wrote, or None."""
    if not operation.is_dir() or not operation.name.isdecimal():
        return "."
    return _foreign(operation)


def _is_result(path: Path) -> bool:
    """Tell whether a file is a result.json of ours."""
    with contextlib.suppress(OSError, ValueError):
        result = json.loads(path.read_text(encoding="utf-8"))
        tool = result.get("tool") if isinstance(result, dict) else None
        return isinstance(tool, dict) and tool.get("name") == "fixturecheck"
    return False
