"""Answers that are kept between runs, by everything that they depend on.

A function marked `cached` is a pure one: the same arguments give the same answer, byte for byte. Its key is
a digest of the arguments' values, of the function's name, of the whole source of the package and of the
versions of the libraries that compute, so that nothing kept outlives what made it. What is kept lies in one
SQLite file in the user's cache folder, which several processes may use at once, and which forgets what was
not used for longest once it is larger than `MOST_BYTES`. A file that cannot be read or written costs time and
never an answer: `trouble` then says why.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import sqlite3
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from functools import cache, singledispatch, wraps
from importlib.metadata import PackageNotFoundError, version
from operator import attrgetter
from pathlib import Path, PurePath
from typing import ParamSpec, TypeVar

import numpy as np
import platformdirs

FOLDER_VARIABLE = "FIXTURECHECK_CACHE"
"""Environment variable that names another folder; `off` keeps nothing."""
OFF = "off"

MOST_BYTES = 1_000_000_000
"""Size above which what was not used for longest is forgotten, down to nine tenths of it."""

_FILE = "answers.sqlite"
_WAITS_S = 10.0
_LEFT_SHARE = 0.9
_LIBRARIES = ("cadquery-ocp", "clarabel", "netgen-mesher", "numba", "numpy", "pyamg", "scipy", "shapely")
_PLAIN = frozenset((str, int, float, bool, type(None)))
_TABLE = (
    "create table if not exists answers (key text primary key, name text not null, value blob not null, "
    "digest blob not null, bytes integer not null, used real not null)"
)
# A size stands behind the value in its row: to add them up without it, half a second is spent on 400 MB.
_INDEX = "create index if not exists answers_by_use on answers (used, bytes)"
_SIZE = "select sum(bytes) from answers"

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What a cache holds.

    Parameters
    ----------
    folder : Path
        Where it lies.
    answers : mapping of str to (int, int)
        By function: how many answers, and their bytes.
    """

    folder: Path
    answers: Mapping[str, tuple[int, int]]


class Cache:
    """Answers in one folder.

    Parameters
    ----------
    folder : Path or None
        None keeps nothing.
    most_bytes : int
        Size above which it forgets.

    Attributes
    ----------
    trouble : str
        Why something could not be read or kept; empty where all could.
    """

    def __init__(self, folder: Path | None, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder
        self.trouble = ""
        self._most_bytes = most_bytes

    def get(self, key: str) -> bytes | None:
        """Return what is kept under a key; None where nothing whole is."""

        def read(base: sqlite3.Connection) -> bytes | None:
            row = base.execute("select value, digest from answers where key = ?", (key,)).fetchone()
            if row is None or _check(row[0]) != row[1]:
                return None
            base.execute("update answers set used = ? where key = ?", (time.time(), key))
            return bytes(row[0])

        return self._done(read)

    def put(self, key: str, name: str, value: bytes) -> None:
        """Keep something under a key, as an answer of the function of that name.

        Parameters
        ----------
        key : str
            `get` finds it by this; what was kept under it before is replaced.
        name : str
            The function by which answers are counted.
        value : bytes
            The answer as it is kept.
        """

        def write(base: sqlite3.Connection) -> None:
            row = (key, name, value, _check(value), len(value), time.time())
            base.execute("insert or replace into answers values (?, ?, ?, ?, ?, ?)", row)
            self._forget(base)

        self._done(write)

    def contents(self) -> Contents | None:
        """Return what is kept; None where nothing is kept, or it cannot be read."""

        def count(base: sqlite3.Connection) -> dict[str, tuple[int, int]]:
            rows = base.execute("select name, count(*), sum(bytes) from answers group by name")
            return {name: (count, size) for name, count, size in rows}

        found = self._done(count)
        return None if self.folder is None or found is None else Contents(folder=self.folder, answers=found)

    def clear(self) -> None:
        """Forget everything."""
        if self.folder is not None:
            for path in self.folder.glob(f"{_FILE}*"):
                path.unlink(missing_ok=True)

    def _done(self, work: Callable[[sqlite3.Connection], T]) -> T | None:
        """Do something with the file in one transaction; None where that fails, with the reason noted."""
        if self.folder is None:
            return None
        try:
            with closing(self._opened(self.folder)) as base, base:
                return work(base)
        except sqlite3.DatabaseError as reason:
            # What is no database any more is of no use; one that is busy, full or locked may be tomorrow.
            if not isinstance(reason, sqlite3.OperationalError):
                self.clear()
            self._noted(str(reason))
        except OSError as reason:
            self._noted(reason.strerror or str(reason))
        return None

    def _noted(self, reason: str) -> None:
        self.trouble = f"the cache in {self.folder} could not be used ({reason}); answers are computed anew"

    def _opened(self, folder: Path) -> sqlite3.Connection:
        """Return the file of answers; nobody else may write what will be loaded from a new folder."""
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        base = sqlite3.connect(folder / _FILE, timeout=_WAITS_S)
        try:
            base.execute("pragma journal_mode = wal")
            base.execute("pragma synchronous = off")
            base.execute(_TABLE)
            base.execute(_INDEX)
        except sqlite3.Error:
            base.close()
            raise
        return base

    def _forget(self, base: sqlite3.Connection) -> None:
        """Forget what was not used for longest, where there is too much."""
        size = base.execute(_SIZE).fetchone()[0] or 0
        if size <= self._most_bytes:
            return
        for key, its in base.execute("select key, bytes from answers order by used").fetchall():
            base.execute("delete from answers where key = ?", (key,))
            size -= its
            if size <= _LEFT_SHARE * self._most_bytes:
                return


def _check(value: bytes) -> bytes:
    """Return what tells a whole value from a damaged one."""
    return hashlib.blake2b(value, digest_size=16).digest()


def default_folder() -> Path | None:
    """Return where answers are kept unless something else is said; None where nothing is to be kept.

    Returns
    -------
    Path or None
    """
    stated = os.environ.get(FOLDER_VARIABLE, "")
    if stated == OFF:
        return None
    return Path(stated) if stated else Path(platformdirs.user_cache_dir("fixturecheck"))


@cache
def _of_folder(folder: Path | None) -> Cache:
    """Return the cache of a folder, one in each process."""
    return Cache(folder)


def current() -> Cache:
    """Return the cache that is used now.

    Returns
    -------
    Cache
        One for each folder in a process.
    """
    return _of_folder(default_folder())


def cached(function: Callable[P, T]) -> Callable[P, T]:
    """Keep the answers of a pure function between runs.

    Its arguments and what it returns are plain data: numbers, text, bytes, arrays, enums, and data classes,
    tuples, lists and mappings of them. An error it raises is not kept.

    Parameters
    ----------
    function : callable
        Known by its module and its qualified name.

    Returns
    -------
    callable
        Takes what `function` takes.
    """
    name = _name_of(function)

    @wraps(function)
    def recalled(*args: P.args, **kwargs: P.kwargs) -> T:
        kept = current()
        if kept.folder is None:
            return function(*args, **kwargs)
        key = digest(code_digest(), name, args, kwargs)
        found = kept.get(key)
        if found is not None:
            return pickle.loads(found)  # type: ignore[no-any-return]  # noqa: S301 -- from the user's own folder
        answer = function(*args, **kwargs)
        kept.put(key, name, pickle.dumps(answer, protocol=pickle.HIGHEST_PROTOCOL))
        return answer

    return recalled


def is_kept(function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> bool:
    """Tell whether an answer of a function that is marked `cached` is kept.

    Parameters
    ----------
    function : callable
        The one that the answer is of.
    *args, **kwargs : object
        What it would be called with.

    Returns
    -------
    bool
        False where nothing is kept.
    """
    kept = current()
    return (
        kept.folder is not None
        and kept.get(digest(code_digest(), _name_of(function), args, kwargs)) is not None
    )


def _name_of(function: Callable[P, T]) -> str:
    return f"{function.__module__}.{function.__qualname__}"


def digest(*things: object) -> str:
    """Return a digest of values, the same in every process and for every equal value.

    Parameters
    ----------
    *things : object
        Numbers, text, bytes, None, enums, arrays, and tuples, lists, mappings and data classes of such
        things. Of a data class the fields count that its constructor takes.

    Returns
    -------
    str
        256 bits in hexadecimal digits.

    Raises
    ------
    TypeError
        A thing is of another type, whose value is not known.
    """
    state = hashlib.blake2b(digest_size=32)
    _feed(things, state)
    return state.hexdigest()


@singledispatch
def _feed(thing: object, state: hashlib.blake2b) -> None:
    """Feed a value to a digest, with a mark of its type and its length."""
    if not is_dataclass(thing) or isinstance(thing, type):
        raise TypeError(f"{type(thing).__name__} has no digest")
    name, values_of = _fields_of(type(thing))
    state.update(name)
    _feed_each(values_of(thing), state)


@cache
def _fields_of(kind: type) -> tuple[bytes, Callable[[object], Sequence[object]]]:
    """Return the name of a data class, and what reads the fields that its constructor takes."""
    taken = tuple(one.name for one in fields(kind) if one.init)
    values_of = attrgetter(*taken) if len(taken) > 1 else lambda thing: [getattr(thing, n) for n in taken]
    return f"{kind.__module__}.{kind.__qualname__} {taken}\n".encode(), values_of


def _feed_each(things: Sequence[object], state: hashlib.blake2b) -> None:
    """Feed values one after another; plain ones and rows of them, which are most by far, as one text."""
    texts: list[str] = []
    for one in things:
        if type(one) in _PLAIN or (type(one) is tuple and _PLAIN.issuperset(map(type, one))):
            texts.append(repr(one))
            continue
        if texts:
            state.update("\n".join((*texts, "")).encode())
            texts.clear()
        _feed(one, state)
    if texts:
        state.update("\n".join((*texts, "")).encode())


@_feed.register(str | int | float | Enum | PurePath | None)
def _(thing: object, state: hashlib.blake2b) -> None:
    state.update(f"{type(thing).__qualname__} {thing!r}\n".encode())


@_feed.register(bytes)
def _(thing: bytes, state: hashlib.blake2b) -> None:
    state.update(b"bytes %d\n" % len(thing))
    state.update(thing)


@_feed.register(np.ndarray | np.generic)
def _(thing: np.ndarray | np.generic, state: hashlib.blake2b) -> None:
    array = np.ascontiguousarray(thing)
    if array.dtype.hasobject:
        raise TypeError("an array of objects has no digest")
    state.update(f"array {array.dtype.str} {np.shape(thing)}\n".encode())
    state.update(array.tobytes())


@_feed.register(tuple | list)
def _(thing: Sequence[object], state: hashlib.blake2b) -> None:
    state.update(b"row %d\n" % len(thing))
    _feed_each(thing, state)


@_feed.register(Mapping)
def _(thing: Mapping[object, object], state: hashlib.blake2b) -> None:
    state.update(b"map %d\n" % len(thing))
    for key in sorted(thing, key=digest):
        _feed(key, state)
        _feed(thing[key], state)


@cache
def code_digest() -> str:
    """Return a digest of what computes: the package's source, and the versions of libraries.

    Returns
    -------
    str
        128 bits in hexadecimal digits.
    """
    state = hashlib.blake2b(digest_size=16)
    here = Path(__file__).parent
    for path in sorted(p for p in here.rglob("*") if p.suffix in {".py", ".toml"}):
        state.update(str(path.relative_to(here)).encode() + b"\0" + path.read_bytes())
    for name in _LIBRARIES:
        state.update(f"{name} {_version(name)}".encode())
    return state.hexdigest()


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        # A library that came another way than by pip still has a version of its own.
        return "unknown"
