"""The kernel's types as the rest of the program names them, and a solid placed in a set-up."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, TypeAlias

import cadquery as cq

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


def cq_shape(wrapped: Any) -> Shape:
    """Return the CadQuery shape around one of the kernel's own.

    Parameters
    ----------
    wrapped : TopoDS_Shape

    Returns
    -------
    Shape
    """
    return cq.Shape.cast(wrapped)
