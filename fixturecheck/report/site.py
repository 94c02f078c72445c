"""Where a result is put together: a hidden folder beside the output that shows whether its owner still runs.

The folder holds `owner`, a file that is locked as long as the command runs, `new`, which is being written,
and `old`, the earlier result while the two are swapped. A lock goes with its process, however that ends; so
a folder whose lock is free was left by a command that was killed, and may be cleared away.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import stat
import tempfile
import time
from pathlib import Path
from typing import IO

from fixturecheck.errors import FixturecheckError

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
        message = f"no folder could be made in {target.parent}"
        raise FixturecheckError(message)

    def clear(self) -> None:
        """Remove the folder; an earlier result that has not been replaced goes back to its place."""
        _put_back(self._home, self.target)
        _remove_contents(self._home)
        self._owner.close()
        shutil.rmtree(self._home, ignore_errors=True)


def sweep(parent: Path) -> None:
    """Clear away what commands that were killed have left in a folder.

    Only what this program made for the same user is touched, and only when its owner no longer runs.
    """
    for home in sorted(parent.glob(f"{PREFIX}*")):
        with contextlib.suppress(OSError, ValueError):
            _sweep(home)


def _sweep(home: Path) -> None:
    told = home.lstat()
    if not stat.S_ISDIR(told.st_mode) or (hasattr(os, "getuid") and told.st_uid != os.getuid()):
        return
    if not (home / _OWNER).exists():
        # Killed before it could say whose it is; one that is being made now is younger.
        if time.time() - told.st_mtime > _YOUNG_S:
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
