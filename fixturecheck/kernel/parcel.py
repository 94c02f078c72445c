"""Values that hold solids, as bytes that another machine can read."""

from __future__ import annotations

import hashlib
import io
import pickle
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cadquery as cq
from OCP.BinTools import BinTools, BinTools_FormatVersion
from OCP.BRep import BRep_Builder
from OCP.TopoDS import TopoDS_Compound, TopoDS_Shape

from fixturecheck.errors import KernelError
from fixturecheck.kernel.shapes import cq_shape

_SHAPE, _PLACE = "shape", "place"
_FORM = BinTools_FormatVersion.BinTools_FormatVersion_CURRENT


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

    Raises
    ------
    KernelError
        A solid did not arrive as it was sent.
    """
    for key, written in parcel.solids.items():
        if hashlib.sha256(written).hexdigest() != key:
            message = f"a solid of {len(written)} bytes did not arrive as it was sent"
            raise KernelError(message)
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
