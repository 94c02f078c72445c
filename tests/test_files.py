"""Files written whole."""

from __future__ import annotations

import os
import sys
import threading

import pytest

from fixturecheck.errors import FixturecheckError
from fixturecheck.files import append_whole, write_whole


def test_a_file_is_replaced_and_a_link_stays_one(tmp_path):
    path, link = tmp_path / "a.txt", tmp_path / "link"
    write_whole(path, "one")
    link.symlink_to(path)
    write_whole(link, "two")
    assert link.is_symlink()
    assert path.read_text() == "two"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "link"]


def test_what_several_commands_add_to_a_file_stands_in_it_in_turn(tmp_path):
    """As the page of a job is made: https://docs.github.com, "Adding a job summary", appends with >>."""
    path = tmp_path / "summary.md"
    for text in ("one\n", "two", "three\n"):
        append_whole(path, text)
    assert path.read_text() == "one\ntwo\nthree\n"
    with pytest.raises(FixturecheckError, match="cannot be"):
        append_whole(tmp_path / "none" / "summary.md", "one")


@pytest.mark.skipif(sys.platform == "win32", reason="named pipes are files only elsewhere")
def test_a_pipe_is_written_to_and_not_replaced(tmp_path):
    """As `--summary /dev/stdout` is: whoever runs as root would else replace the device."""
    pipe, read = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: read.append(pipe.read_text()))
    reader.start()
    write_whole(pipe, "told")
    reader.join()
    assert read == ["told"]
    assert pipe.is_fifo()


def test_what_cannot_be_written_is_an_error_and_leaves_nothing(tmp_path):
    with pytest.raises(FixturecheckError, match="cannot be written"):
        write_whole(tmp_path, "a folder")
    with pytest.raises(FixturecheckError, match="cannot be written"):
        write_whole(tmp_path / "none" / "a.txt", "no folder")
    assert list(tmp_path.iterdir()) == []
