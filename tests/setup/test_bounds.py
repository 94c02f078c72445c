"""What would take for ever, or all memory, is refused as text before any work is done."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.select import by_selector
from fixturecheck.setup.text import read_setup_text

HEAD = '[[body]]\nname = "b"\nfile = "b.step"\n'
EQUIPMENT = '[[equipment]]\nkind = "parallel"\nname = "p{}"\n'
DEEP = "[" * 10_000 + "]" * 10_000
MANY = {
    "equipment": (
        "".join(EQUIPMENT.format(n) for n in range(2000)),
        "the file holds 2000 [[equipment]]; at most",
    ),
    "profile": (
        f"[wheel]\ndressed_profile_mm = {[[0, 89]] * 20_000}",
        "dressed_profile_mm in [wheel]: holds more",
    ),
    "turns": (f"{HEAD}rotate = {[['z', 1]] * 1_000_000}", "a set-up of more than 4000000 is not read"),
    "fewer turns": (f"{HEAD}rotate = {[['z', 1]] * 100}", "rotate holds 100 turns; state at most 50"),
    "teeth": (
        '[[mill]]\nname = "m"\nteeth = 10000',
        "teeth in [[mill]] 'm': must be from 1 to 100; got 10000",
    ),
    "nested": (f"{HEAD}rotate = {DEEP}", "nests lists or tables too deep"),
    "digits": (f"[staging]\nseed = {'9' * 5000}", "holds a number that cannot be read"),
    "a long name": (HEAD.replace('"b"', f'"{"n" * 300}"'), "a name has at most 60 letters"),
    "a long face": (f"{HEAD}faces = {{ {'f' * 300} = '>Z' }}", "a name is made of at most 60 letters"),
    "a long head": (f'[setup]\nname = "{"n" * 300}"', "name in [setup] must be at most 200 printable"),
    "a deep selector": (
        f"{HEAD}faces = {{ a = '{'(' * 5000}>Z{')' * 5000}' }}",
        "has 10002 letters; at most 300",
    ),
    "a deep reference": (
        f"{HEAD}faces = {{ a = {'[' * 50}'>Z'{']' * 50} }}",
        "state one list of at most 500 faces",
    ),
}


@pytest.mark.parametrize("what", MANY)
def test_too_much_is_refused_as_text(what: str, tmp_path: Path) -> None:
    text, message = MANY[what]
    path = tmp_path / "many.toml"
    path.write_text(text)
    with pytest.raises(SetupError) as caught:
        read_setup_text(path, {})
    line = next(line for line in caught.value.problems if message in line)
    assert len(line) < 400


def test_a_set_up_that_is_no_regular_file(tmp_path: Path) -> None:
    path = tmp_path / "pipe.toml"
    os.mkfifo(path)
    with pytest.raises(SetupError, match=r"pipe\.toml is no regular file"):
        read_setup_text(path, {})


def test_a_selector_of_a_script_is_bounded_too() -> None:
    block = box((0.0, 0.0, 0.0), (1.0, 2.0, 3.0))
    with pytest.raises(SetupError, match="a selector of 102 letters with 50 brackets is not read"):
        by_selector(block, "(" * 50 + ">Z" + ")" * 50)
    assert by_selector(block, "((((>Z or <Z))))")
