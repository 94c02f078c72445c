"""Values that hold solids, as bytes: sent to another machine, and as keys of answers that a process keeps.

A process that checks one set-up after another, as one is edited, works out again what an edit has not
touched. Solids are compared by what is drawn, so that a script that is run again makes no difference.
"""

from __future__ import annotations

import hashlib
import io
import pickle
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any, TypeVar

import cadquery as cq
from OCP.BinTools import BinTools, BinTools_FormatVersion
from OCP.BRep import BRep_Builder
from OCP.TopoDS import TopoDS_Compound, TopoDS_Shape

from fixturecheck.errors import KernelError
from fixturecheck.kernel.shapes import cq_shape

_SHAPE, _PLACE = "shape", "place"
_FORM = BinTools_FormatVersion.BinTools_FormatVersion_CURRENT
T = TypeVar("T")
_MOST = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """A value with its solids apart.

    Parameters
    ----------
    value : bytes
        The pickled value, in which a solid is named by its hash.
    solids : mapping of str to bytes
        By hash: each solid once, as binary BREP without triangles.
    """

    value: bytes
    solids: Mapping[str, bytes]


def packed(value: object) -> Parcel:
    """Return a value as it can travel.

    Parameters
    ----------
    value : object
        Picklable but for the shapes in it.

    Returns
    -------
    Parcel
        No triangles are in it; the hashes are those of solids as drawn if it is made before they are used.
    """
    solids: dict[str, bytes] = {}

    class Packer(pickle.Pickler):
        def persistent_id(self, thing: Any) -> object:
            if isinstance(thing, cq.Location):
                return _PLACE, _written(_standing(thing))
            if not isinstance(thing, cq.Shape):
                return None
            written = _written(thing.wrapped)
            key = hashlib.sha256(written).hexdigest()
            solids[key] = written
            return _SHAPE, key

    stream = io.BytesIO()
    Packer(stream, pickle.HIGHEST_PROTOCOL).dump(value)
    return Parcel(value=stream.getvalue(), solids=solids)


def unpacked(parcel: Parcel) -> Any:
    """Return the value of a parcel; solids that were alike are copies of one.

    Parameters
    ----------
    parcel : Parcel

    Returns
    -------
    object

    Raises
    ------
    KernelError
        A solid did not arrive as it was sent.
    """
    for key, written in parcel.solids.items():
        if hashlib.sha256(written).hexdigest() != key:
            raise KernelError(f"a solid of {len(written)} bytes did not arrive as it was sent")
    shapes = {key: _read(written) for key, written in parcel.solids.items()}

    class Unpacker(pickle.Unpickler):
        def persistent_load(self, named: Any) -> object:
            kind, what = named
            return cq.Location(_read(what).Location()) if kind == _PLACE else cq_shape(shapes[what])

    return Unpacker(io.BytesIO(parcel.value)).load()


def _written(shape: TopoDS_Shape) -> bytes:
    stream = io.BytesIO()
    BinTools.Write_s(shape, stream, False, False, _FORM)
    return stream.getvalue()


def _read(written: bytes) -> TopoDS_Shape:
    shape = TopoDS_Shape()
    BinTools.Read_s(shape, io.BytesIO(written))
    return shape


def _standing(at: cq.Location) -> TopoDS_Shape:
    """Return nothing, standing at a place: the kernel writes the place to the last bit."""
    nothing = TopoDS_Compound()
    BRep_Builder().MakeCompound(nothing)
    return nothing.Located(at.wrapped)


class Memory:
    """Answers by what was asked; those that were not asked for longest are forgotten.

    Parameters
    ----------
    most : int
        How many are kept.
    """

    def __init__(self, most: int = _MOST) -> None:
        self._most = most
        self._answers: OrderedDict[str, object] = OrderedDict()

    def __contains__(self, key: str) -> bool:
        return key in self._answers

    @property
    def answers(self) -> Mapping[str, object]:
        """What is kept now, by what was asked."""
        return dict(self._answers)

    def keep(self, key: str, answer: object) -> None:
        """Keep an answer as the one asked for last.

        Parameters
        ----------
        key : str
            As `recalled` takes it.
        answer : object
            No copy of it is made.
        """
        self._answers[key] = answer
        self._answers.move_to_end(key)
        if len(self._answers) > self._most:
            self._answers.popitem(last=False)

    def recalled(self, key: str, work: Callable[[], T]) -> T:
        """Return what is kept under a key, or else what the work gives.

        Parameters
        ----------
        key : str
            Of the work and of all that its answer depends on, as `asked_of` gives it.
        work : callable
            Takes nothing; called only where nothing is kept. An error that it raises is not kept.

        Returns
        -------
        object
            What the work returned; no copy of it.
        """
        if key not in self._answers:
            self.keep(key, work())
        self._answers.move_to_end(key)
        return self._answers[key]  # type: ignore[return-value]  # kept under the key of the same work


_MEMORY: ContextVar[Memory | None] = ContextVar("memory", default=None)


@contextmanager
def remembering(memory: Memory) -> Iterator[None]:
    """Let answers be kept in a memory, and taken from it, meanwhile.

    Parameters
    ----------
    memory : Memory

    Yields
    ------
    None
    """
    token = _MEMORY.set(memory)
    try:
        yield
    finally:
        _MEMORY.reset(token)


def asked_of(what: str, given: object) -> str:
    """Return the key of a piece of work: empty where nothing is kept.

    Parameters
    ----------
    what : str
        Names the work.
    given : object
        All that its answer depends on: plain values and solids. The key is taken before anything works on the
        solids, since the kernel adds to them as it does.

    Returns
    -------
    str
    """
    return "" if _MEMORY.get() is None else f"{what} {key_of(given)}"


def recalled(key: str, work: Callable[[], T]) -> T:
    """Return what a piece of work gives, kept from an earlier time where answers are kept.

    Parameters
    ----------
    key : str
        As `asked_of` gave it.
    work : callable
        Takes nothing; an error that it raises is not kept.

    Returns
    -------
    object
        What `work` returned, now or earlier.
    """
    memory = _MEMORY.get()
    return work() if memory is None or not key else memory.recalled(key, work)


def is_kept(key: str) -> bool:
    """Tell whether an answer is kept under a key.

    Parameters
    ----------
    key : str
        As `asked_of` gave it.

    Returns
    -------
    bool
        False where nothing is kept.
    """
    memory = _MEMORY.get()
    return memory is not None and key in memory


def key_of(given: object) -> str:
    """Return what is the same for two values only if they are equal, their solids as drawn.

    Parameters
    ----------
    given : object
        Plain values and solids.

    Returns
    -------
    str
        256 bits in hexadecimal digits.
    """
    return hashlib.sha256(packed(given).value).hexdigest()
