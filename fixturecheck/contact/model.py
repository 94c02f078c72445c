"""What a contact map holds."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray

from fixturecheck.kernel.clip import edge_points
from fixturecheck.kernel.shapes import Shape
from fixturecheck.result import Contact, NamedShape, Role


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """A contact with its geometry: faces for an area, edges for a line, a vertex for a point.

    Parameters
    ----------
    name : str
        Unique in the map.
    bodies : tuple of str
        The two bodies.
    make : callable
        Builds the geometry, which is only wanted for pictures, files and the magnet.
    """

    contact: Contact
    name: str
    bodies: tuple[str, str]
    make: Callable[[], Shape] = field(repr=False)

    @cached_property
    def shape(self) -> NamedShape:
        """The geometry under the patch's name, built when first asked for."""
        role = Role(self.contact.kind)
        return NamedShape(name=self.name, role=role, geometry=self.make(), bodies=self.bodies)

    def outline_mm(self) -> NDArray[np.float64]:
        """Return points along the patch's outline, shape (n, 3): the ends of edges, more of round ones."""
        if self.contact.kind == "point":
            return np.array([self.contact.centroid])
        edges = cast("Shape", self.shape.geometry).Edges()
        return np.vstack([edge_points(e, 2 if e.geomType() == "LINE" else 9) for e in edges])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Overlap:
    """Two bodies that occupy the same space: the common solid and its volume."""

    a: str
    b: str
    volume_mm3: float
    common: Shape
    shape: NamedShape


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ContactMap:
    """All patches of a set-up at one pose, and what interpenetrates."""

    patches: tuple[Patch, ...]
    overlaps: tuple[Overlap, ...]

    def between(self, a: str, b: str) -> Iterator[Patch]:
        """Yield the patches between two bodies, whichever way round."""
        for patch in self.patches:
            if set(patch.bodies) == {a, b}:
                yield patch

    def without(self, names: Collection[str]) -> ContactMap:
        """Return the map without what some bodies touch or share."""
        return ContactMap(
            patches=tuple(p for p in self.patches if not set(p.bodies) & set(names)),
            overlaps=tuple(o for o in self.overlaps if not {o.a, o.b} & set(names)),
        )
