"""What is kept between runs is what would be computed anew, and is never kept too long."""

from __future__ import annotations

import copy
import os
import pickle
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixturecheck import cache
from fixturecheck.cache import FOLDER_VARIABLE, Cache, cached, current, digest
from fixturecheck.statics import collapse as loads
from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem, Load, Rigid
from tests.doors import command


class Side(StrEnum):
    LEFT = "left"


@dataclass(frozen=True, kw_only=True)
class Piece:
    length_mm: float
    name: str = "gib"
    _found: dict = field(init=False, default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Other:
    length_mm: float
    name: str = "gib"


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Each test has a cache of its own."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "kept"))
    return tmp_path / "kept"


calls: list[float] = []


@cached
def doubled(number: float) -> float:
    calls.append(number)
    if number < 0:
        raise ValueError("negative")
    return 2.0 * number


@pytest.fixture(autouse=True)
def _no_calls():
    calls.clear()


UNLIKE = [
    1, 1.0, True, "1", None, "None", b"1", (1,), ((1,),), ["1"], (), {}, {"a": 1}, {"a": 1.0}, {1: "a"},
    ("ab", "c"), ("a", "bc"), ("a", "b", "c"), "a\nb", ("a\n'b'",), ("a", "b"), float("inf"), -0.0, 0.0,
    np.float64(2.0), np.array([1.0]), np.array([[1.0]]), np.array([1]), np.array([1], dtype=np.int32),
    np.array([1.0, 2.0]), Side.LEFT, "left", Piece(length_mm=1.0), Other(length_mm=1.0),
    Piece(length_mm=1.0, name="rail"), Piece(length_mm=float("nan")),
]  # fmt: skip


def test_values_that_differ_in_value_or_type_have_different_digests():
    assert len({digest(one) for one in UNLIKE}) == len(UNLIKE)


PLAIN = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text() | st.binary()
NESTED = st.recursive(
    PLAIN, lambda inner: st.tuples(inner, inner) | st.dictionaries(st.text(), inner, max_size=3), max_leaves=8
)


@given(NESTED, NESTED)
def test_two_values_have_one_digest_just_when_they_are_written_alike(a, b):
    """The text of plain nested values, `repr`, is the other way to tell them apart."""

    def text(thing):
        if isinstance(thing, dict):
            return "{" + ",".join(sorted(f"{text(k)}:{text(v)}" for k, v in thing.items())) + "}"
        return "(" + ",".join(map(text, thing)) + ")" if isinstance(thing, tuple) else repr(thing)

    assert (digest(a) == digest(b)) == (text(a) == text(b))


def test_a_digest_is_the_same_in_another_process_and_for_a_copy():
    thing = (Piece(length_mm=0.1), {"b": np.arange(6.0).reshape(2, 3), "a": Side.LEFT})
    assert digest(thing) == digest(copy.deepcopy(thing))
    code = "from fixturecheck.cache import digest; print(digest(('a', 0.1, b'x', {'k': None})))"
    seeds = {
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert seeds == {f"{digest(('a', 0.1, b'x', {'k': None}))}\n"}


def test_what_a_data_class_found_out_meanwhile_does_not_count():
    piece = Piece(length_mm=2.0)
    before = digest(piece)
    piece._found["area"] = 3.0
    assert digest(piece) == before


@pytest.mark.parametrize("thing", [object(), len, np.array([object()]), {1.0: {2}}, Piece])
def test_what_has_no_known_value_is_refused(thing):
    with pytest.raises(TypeError, match="has no digest"):
        digest(thing)


def test_an_answer_is_worked_out_once_for_each_argument():
    assert [doubled(1.5), doubled(1.5), doubled(2.5), doubled(number=1.5)] == [3.0, 3.0, 5.0, 3.0]
    assert calls == [1.5, 2.5, 1.5]  # how an argument is handed over counts, too


def test_an_error_is_not_kept():
    for _ in range(2):
        with pytest.raises(ValueError, match="negative"):
            doubled(-1.0)
    assert calls == [-1.0, -1.0]


def test_another_version_computes_anew(monkeypatch):
    doubled(1.5)
    monkeypatch.setattr(cache, "code_digest", lambda: "another version")
    doubled(1.5)
    monkeypatch.undo()
    assert calls == [1.5, 1.5]


def test_any_change_of_the_source_is_another_version(tmp_path, monkeypatch):
    (tmp_path / "room").mkdir()
    for name in ("cache.py", "room/steel.toml"):
        (tmp_path / name).write_text("a = 1\n")
    monkeypatch.setattr(cache, "__file__", str(tmp_path / "cache.py"))
    made_by = cache.code_digest.__wrapped__
    first = made_by()
    (tmp_path / "room/steel.toml").write_text("a = 2\n")
    assert made_by() != first


def test_nothing_is_kept_where_that_is_off(monkeypatch, folder):
    monkeypatch.setenv(FOLDER_VARIABLE, cache.OFF)
    doubled(1.5)
    doubled(1.5)
    assert calls == [1.5, 1.5]
    assert not folder.exists()


def answers(folder):
    return sqlite3.connect(folder / "answers.sqlite")


def test_a_damaged_answer_is_computed_anew(folder):
    doubled(1.5)
    with answers(folder) as base:
        base.execute("update answers set value = ?", (pickle.dumps(99.0),))
    assert doubled(1.5) == 3.0
    assert calls == [1.5, 1.5]
    assert doubled(1.5) == 3.0
    assert calls == [1.5, 1.5]


def test_a_file_that_is_no_database_is_replaced(folder):
    folder.mkdir()
    (folder / "answers.sqlite").write_bytes(b"not a database, only text" * 100)
    assert doubled(1.5) == 3.0
    assert "file is not a database" in current().trouble
    assert doubled(1.5) == doubled(1.5) == 3.0
    assert len(calls) <= 2


def test_a_folder_that_cannot_be_used_costs_no_answer(folder):
    folder.write_text("a file stands where the folder would be")
    assert doubled(1.5) == 3.0
    assert "could not be used" in current().trouble
    assert "computed anew" in current().trouble


def test_a_full_disk_costs_no_answer(folder, monkeypatch):
    """SQLite says of a database of as many pages as it may have that the disk is full."""
    opened = Cache._opened

    def small(self, folder):
        base = opened(self, folder)
        base.execute("pragma max_page_count = 8")
        return base

    monkeypatch.setattr(Cache, "_opened", small)
    kept = Cache(folder)
    kept.put("large", "test", bytes(100_000))
    assert "full" in kept.trouble
    assert kept.get("large") is None
    kept.put("small", "test", b"fits")
    assert kept.get("small") == b"fits"


def test_what_was_not_used_for_longest_is_forgotten_first(folder):
    kept = Cache(folder, most_bytes=10_000)
    for key in "abcdefghij":
        kept.put(key, "test", bytes(1000))
    assert kept.get("a") is not None
    kept.put("k", "test", bytes(1000))
    assert kept.get("b") is None
    assert kept.get("a") is not None
    assert kept.get("k") is not None
    assert sum(size for _, size in kept.contents().answers.values()) <= 10_000


def test_what_it_holds_is_added_up_without_reading_the_values(folder):
    """A value stands before its size in a row; reading them all cost half a second a call for 400 MB."""
    doubled(1.5)
    with closing(sqlite3.connect(folder / "answers.sqlite")) as base:
        plan = base.execute(f"explain query plan {cache._SIZE}").fetchall()
    assert "COVERING INDEX" in plan[0][-1]


WRITES = """
import sys
from pathlib import Path
from fixturecheck.cache import Cache
kept, start = Cache(Path(sys.argv[1])), int(sys.argv[2])
for i in range(start, start + 60):
    kept.put(f"{i}", "test", b"%d" % i)
assert kept.trouble == ""
"""


def test_processes_write_at_once_and_nothing_is_lost(folder):
    both = [subprocess.Popen([sys.executable, "-c", WRITES, str(folder), start]) for start in ("0", "60")]
    assert [one.wait() for one in both] == [0, 0]
    kept = Cache(folder)
    assert [kept.get(f"{i}") for i in range(120)] == [b"%d" % i for i in range(120)]


def block_on_table(weight_n, push_n):
    """A block 40 mm square and 30 mm tall on its four corners, pushed 10 mm above the table."""
    return EquilibriumProblem(
        bodies=(Rigid(name="part", at_mm=(0.0, 0.0, 15.0), size_mm=20.0),),
        contacts=tuple(
            ContactPoint(a="part", at_mm=(x, y, 0.0), normal=(0.0, 0.0, -1.0), mu=0.15)
            for x in (-20.0, 20.0)
            for y in (-20.0, 20.0)
        ),
        held=(Load(body="part", force_n=(0.0, 0.0, -weight_n), at_mm=(0.0, 0.0, 15.0)),),
        cutting=(Load(body="part", force_n=(push_n, 0.0, 0.0), at_mm=(0.0, 0.0, 10.0)),),
    )


def test_collapse_recalled_is_collapse_computed_to_the_byte(monkeypatch):
    """Sixty loads on a block: fresh without a cache, fresh with one, and recalled."""
    draw = np.random.default_rng(3)
    problems = [block_on_table(*draw.uniform(1.0, 50.0, 2)) for _ in range(60)]

    def all_found():
        return [pickle.dumps(loads.collapse(one)) for one in problems]

    first, recalled = all_found(), all_found()
    monkeypatch.setattr(loads, "write_equations", None)  # nothing is computed any more
    assert all_found() == first == recalled
    monkeypatch.undo()
    monkeypatch.setenv(FOLDER_VARIABLE, cache.OFF)
    assert all_found() == first


def test_a_problem_that_differs_a_little_is_another(folder):
    one, other = block_on_table(10.0, 5.0), block_on_table(10.0, 5.0 + 1e-12)
    loads.collapse(one)
    loads.collapse(other)
    with answers(folder) as base:
        assert base.execute("select count(*) from answers").fetchone() == (2,)


def test_the_command_shows_what_is_kept_and_forgets_it(folder):
    doubled(1.5)
    shown = command("cache")
    assert shown.returncode == 0
    assert str(folder) in shown.stdout
    assert "tests.test_cache.doubled" in shown.stdout
    assert command("cache", "--clear").returncode == 0
    assert "doubled" not in command("cache").stdout


def test_the_command_says_that_nothing_is_kept(monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, cache.OFF)
    assert command("cache").stdout == "nothing is kept: FIXTURECHECK_CACHE is off\n"


def test_a_folder_that_cannot_be_used_is_one_line(tmp_path, monkeypatch):
    taken = tmp_path / "file"
    taken.write_text("")
    monkeypatch.setenv(FOLDER_VARIABLE, str(taken))
    ran = command("cache")
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)
    assert f"the cache in {taken} could not be used" in ran.stderr
    assert "FIXTURECHECK_CACHE names another folder" in ran.stderr


def test_a_cache_that_cannot_be_cleared_is_one_line(folder):
    (folder / "answers.sqlite").mkdir(parents=True)
    ran = command("cache", "--clear")
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)
    assert f"the cache in {folder} could not be cleared" in ran.stderr
