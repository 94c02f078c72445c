"""How the output folder comes to be: whole, or not at all."""

from __future__ import annotations

import contextlib
import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fixturecheck.errors import SetupError

RESULT = "result.json"
STEP = "setup.step"
PAGE = "report.html"
STL = "stl"
PICTURES = "pictures"
RELIEFS, RELIEFS_TOLD, RELIEF_PAGE, PARTS = "reliefs.json", "reliefs.txt", "reliefs.html", "parts"

_FILES = frozenset({RESULT, STEP, PAGE, RELIEFS, RELIEFS_TOLD, RELIEF_PAGE})
_FOLDERS = {STL: ".stl", PICTURES: ".png", PARTS: ".step"}


def check_usable(out: Path) -> None:
    """Refuse an output folder that could not be written, or that holds anything but an earlier result.

    Raises
    ------
    SetupError
        The path is a file, a folder with other things in it, or lies where nothing can be written.
    """
    if out.exists() and not out.is_dir():
        message = f"--out {out} is a file; name a folder"
        raise SetupError(message)
    foreign = _foreign(out)
    if foreign is not None:
        message = f"--out {out} holds {foreign}, which is not from an earlier check; name another folder"
        raise SetupError(message)


@contextmanager
def staged(out: Path) -> Iterator[Path]:
    """Give a temporary folder beside `out`; move it into place when the block ends well.

    When the block raises, `out` is as it was before. An earlier result in `out` is replaced whole.

    Raises
    ------
    SetupError
        The folder cannot be made or moved, or `out` must not be replaced.
    """
    check_usable(out)
    target = out.resolve()
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as trouble:
        message = f"--out {out}: cannot write there ({trouble.strerror})"
        raise SetupError(message) from trouble
    try:
        yield folder
        folder.chmod(0o755)
        _move_into_place(folder, target, out)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _move_into_place(folder: Path, target: Path, out: Path) -> None:
    """Swap the new folder in; if that fails the old one comes back."""
    check_usable(out)
    old = None
    try:
        if target.exists():
            old = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent)) / "old"
            target.rename(old)
        folder.rename(target)
    except OSError as trouble:
        if old is not None and old.exists() and not target.exists():
            with contextlib.suppress(OSError):
                old.rename(target)
        message = f"--out {out}: cannot be replaced ({trouble.strerror})"
        raise SetupError(message) from trouble
    finally:
        if old is not None:
            shutil.rmtree(old.parent, ignore_errors=True)


def _foreign(out: Path) -> str | None:
    """Return the name of something in a folder that no check wrote, or None."""
    if not out.is_dir():
        return None
    try:
        entries = sorted(out.iterdir())
    except OSError as trouble:
        message = f"--out {out}: cannot be read ({trouble.strerror})"
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
