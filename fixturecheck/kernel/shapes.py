"""What a solid is to the rest of the program: its faces in order, its size, where it stands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import cadquery as cq
from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopTools import TopTools_IndexedMapOfShape

from fixturecheck.kernel.order import order_by_place

Shape: TypeAlias = cq.Shape
Solid: TypeAlias = cq.Solid
Face: TypeAlias = cq.Face
Edge: TypeAlias = cq.Edge
Location: TypeAlias = cq.Location

Box = tuple[float, float, float, float, float, float]
"""xmin, ymin, zmin, xmax, ymax, zmax in mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """A solid with a name, standing somewhere, with a name for each face in the order of `faces_of`."""

    name: str
    solid: Solid
    face_names: tuple[str, ...]
    at: Location = field(default_factory=Location)


def faces_of(solid: Solid) -> list[Face]:
    """Return the faces of a solid in the kernel's own order, each once.

    The order belongs to the solid's topology, so it is the same in every placed copy.
    """
    return [cq.Face(f) for f in _mapped(solid, TopAbs_ShapeEnum.TopAbs_FACE)]


def edges_of(solid: Solid) -> list[Edge]:
    """Return the edges of a solid in the kernel's own order, each once."""
    return [cq.Edge(e) for e in _mapped(solid, TopAbs_ShapeEnum.TopAbs_EDGE)]


def _mapped(shape: Shape, what: Any) -> list[Any]:
    index = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape.wrapped, what, index)
    return [index.FindKey(i + 1) for i in range(index.Extent())]


def to_vector(values: Iterable[float]) -> tuple[float, float, float]:
    """Return three numbers of any kind as plain floats."""
    x, y, z = (float(v) for v in values)
    return x, y, z


def cq_shape(wrapped: Any) -> Shape:
    """Return the CadQuery shape around one of the kernel's own."""
    return cq.Shape.cast(wrapped)


def canonical_order(solid: Solid) -> list[int]:
    """Return face indices sorted by where the faces are, not by how the file happened to list them.

    A STEP round trip may list the faces in another order; numbers given by this order survive it.
    """
    return order_by_place(faces_of(solid))


def box_of(shape: Shape) -> Box:
    """Return the tight axis-aligned box of a shape, without the kernel's safety margin, in mm."""
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape.wrapped, box, False, False)
    box.SetGap(0.0)
    return box.Get()  # type: ignore[no-any-return]  # six floats; the kernel has no types


def volume_mm3(shape: Shape) -> float:
    """Return the volume of a shape; zero for None and for empty compounds."""
    return mass_of(shape)[0] if shape is not None else 0.0


def mass_of(shape: Shape) -> tuple[float, tuple[float, float, float]]:
    """Return the volume of solids (mm3) and its centre (mm).

    The kernel's own rule for free-form faces is off by up to 1 % of the volume (a cylinder as a B-spline), so
    they are integrated until the answer is sure; faces of a simple kind have exact rules.
    """
    found = GProp_GProps()
    if {face.geomType() for face in shape.Faces()} <= _SIMPLE:
        BRepGProp.VolumeProperties_s(shape.wrapped, found)
    else:
        BRepGProp.VolumeProperties_s(shape.wrapped, found, _SURE, True, False)
    centre = found.CentreOfMass()
    return float(found.Mass()), (centre.X(), centre.Y(), centre.Z())


_SIMPLE = {"PLANE", "CYLINDER", "CONE", "SPHERE", "TORUS"}
_SURE = 1e-9
"""Share of the volume to which free-form faces are integrated."""


def compound(shapes: Sequence[Shape]) -> Shape:
    """Return one compound of several shapes."""
    return cq.Compound.makeCompound(list(shapes))
