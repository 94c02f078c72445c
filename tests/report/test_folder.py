"""The output folder: whole or not at all, and never over somebody's files."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path

import pytest

from fixturecheck.errors import FixturecheckError, SetupError
from fixturecheck.report.folder import check_usable, scratch, staged, written
from fixturecheck.report.json import result_json
from tests.report.staged import result


def write(folder: Path, mark: str = "new") -> None:
    (folder / "result.json").write_bytes(result_json(result()))
    (folder / "report.html").write_text(mark)
    (folder / "stl").mkdir()
    (folder / "stl" / "gib_1.stl").write_text(mark)


def left_beside(out: Path) -> list[str]:
    return sorted(p.name for p in out.parent.iterdir() if p != out)


def test_moved_into_place_when_it_ends_well(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "er" / "out"
    with staged(out) as folder:
        write(folder)
        assert not out.exists()
        assert folder.stat().st_dev == out.parent.stat().st_dev
        assert folder.is_relative_to(out.parent)
    assert (out / "report.html").read_text() == "new"
    assert left_beside(out) == []


def test_nothing_stays_when_it_raises(tmp_path: Path) -> None:
    out = tmp_path / "out"

    def half_done() -> None:
        with staged(out) as folder:
            write(folder)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half_done()
    assert list(tmp_path.iterdir()) == []


def test_an_earlier_result_is_replaced_whole(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with staged(out) as folder:
        write(folder, "old")
        (folder / "stl" / "gone.stl").write_text("old")
    with staged(out) as folder:
        write(folder)
    assert sorted(p.name for p in (out / "stl").iterdir()) == ["gib_1.stl"]
    assert (out / "report.html").read_text() == "new"
    assert left_beside(out) == []


def test_an_earlier_result_survives_a_failure(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with staged(out) as folder:
        write(folder, "old")
    with pytest.raises(RuntimeError), staged(out):
        raise RuntimeError
    assert (out / "report.html").read_text() == "old"


@pytest.mark.parametrize("name", ["drawing.step", "stl/notes.txt", "pictures"])
def test_foreign_things_are_never_replaced(tmp_path: Path, name: str) -> None:
    """A file of somebody's own inside an earlier result keeps the whole folder."""
    out = tmp_path / "out"
    with staged(out) as folder:
        write(folder, "old")
    (out / name).write_text("mine")
    with pytest.raises(SetupError, match="not from an earlier check"), staged(out):
        pass
    assert (out / name).read_text() == "mine"


def test_a_folder_of_other_things_is_refused(tmp_path: Path) -> None:
    (tmp_path / "result.json").write_text('{"tool": {"name": "other"}}')
    with pytest.raises(SetupError, match=r"holds result\.json"):
        check_usable(tmp_path)


def test_an_empty_folder_is_used(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    with staged(out) as folder:
        write(folder)
    assert (out / "report.html").exists()


def test_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(SetupError, match="is a file"):
        check_usable(tmp_path / "out")


def test_below_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(SetupError, match="is a file; name a folder"), staged(tmp_path / "file" / "out"):
        pass


def test_a_locked_folder_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tmp_path.chmod(0o500)
    if os.geteuid() == 0:
        # Root may write anywhere, so the system's answer is given for it.
        monkeypatch.setattr(Path, "mkdir", _refused)
    try:
        with pytest.raises(SetupError, match="cannot write there"), staged(tmp_path / "out"):
            pass
    finally:
        tmp_path.chmod(0o700)


def _refused(path: Path, *_args: object, **_kwargs: object) -> None:
    raise PermissionError(13, "Permission denied", str(path))


def test_of_two_at_once_the_last_to_end_leaves_its_result(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with staged(out) as slow:
        write(slow, "slow")
        with staged(out) as quick:
            write(quick, "quick")
        assert (out / "report.html").read_text() == "quick"
    assert (out / "report.html").read_text() == "slow"
    assert left_beside(out) == []


def test_a_result_that_comes_between_the_renames_is_replaced_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other command puts its result there after the earlier one has been set aside."""
    out = tmp_path / "out"
    with staged(out) as folder:
        write(folder, "old")
    renames = Path.rename
    came: list[Path] = []

    def rename(self: Path, target: Path) -> Path:
        made = renames(self, target)
        if self == out and not came:
            came.append(out)
            out.mkdir()
            write(out, "between")
        return made

    with staged(out) as folder:
        write(folder)
        monkeypatch.setattr(Path, "rename", rename)
    assert came
    assert (out / "report.html").read_text() == "new"
    assert left_beside(out) == []


def test_parents_that_were_made_go_with_a_failure(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), staged(tmp_path / "deep" / "er" / "out"):
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_said_in_one_sentence(tmp_path: Path) -> None:
    full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(tmp_path / "stl" / "gib.stl"))
    with (
        pytest.raises(FixturecheckError, match=r"stl/gib\.stl could not be written: No space left"),
        written(tmp_path),
    ):
        raise full


def test_temporary_files_lie_in_the_folder_that_goes(tmp_path: Path) -> None:
    before = tempfile.gettempdir()
    with scratch(tmp_path) as home:
        with tempfile.NamedTemporaryFile() as made:
            assert Path(made.name).is_relative_to(home)
        assert home.is_relative_to(tmp_path)
    assert tempfile.gettempdir() == before
    assert list(tmp_path.iterdir()) == []
