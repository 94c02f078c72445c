"""What a contact map holds."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import edges_of
from fixturecheck.kernel.measure import is_straight
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.sample import edge_points
from fixturecheck.kernel.shapes import Shape, to_vector
from fixturecheck.result import Contact, ContactKind, NamedShape, Role


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """A contact with its geometry: faces for an area, edges for a line, a vertex for a point.

    Parameters
    ----------
    number : int
        Counts the patches of one kind between the same two faces, from one.
    bodies : tuple of str
        The two bodies.
    make : callable
        Builds the geometry, which is only wanted for pictures, files and the magnet.
    """

    contact: Contact
    number: int
    bodies: tuple[str, str]
    make: Callable[[], Shape] = field(repr=False)

    @property
    def name(self) -> str:
        """Unique in the map."""
        stem = f"{self.contact.kind} {self.contact.a} | {self.contact.b}"
        return stem if self.number == 1 else f"{stem} #{self.number}"

    @cached_property
    def shape(self) -> NamedShape:
        """The geometry under the patch's name, built when first asked for."""
        role = Role(self.contact.kind)
        return NamedShape(name=self.name, role=role, geometry=self.make(), bodies=self.bodies)

    def carried_to(
        self, names: Mapping[str, str], turn: NDArray[np.float64], shift: NDArray[np.float64]
    ) -> Patch:
        """Return the same patch between two other bodies that stand to each other as these do.

        Parameters
        ----------
        names : mapping of str to str
            Each body's name to that of its copy.
        turn, shift : ndarray, shape (3, 3) and (3,)
            What carries these bodies to the copies, mm.
        """
        old, sides = self.contact, [self.contact.a, self.contact.b]
        bodies = [names[b] for b in self.bodies]
        sides = [FaceRef.of(new, *side.faces) for new, side in zip(bodies, sides, strict=True)]
        normal = turn @ np.array(old.normal)
        if bodies[0] > bodies[1]:  # the map tells the name that comes first as the first
            bodies, sides, normal = bodies[::-1], sides[::-1], -normal
        centroid = turn @ np.array(old.centroid) + shift
        return Patch(
            contact=replace(
                old, a=sides[0], b=sides[1], normal=to_vector(normal), centroid=to_vector(centroid)
            ),
            number=self.number,
            bodies=(bodies[0], bodies[1]),
            make=lambda: transformed(self.make(), turn, shift),
        )

    def outline_mm(self) -> NDArray[np.float64]:
        """Return points along the patch's outline, shape (n, 3): the ends of edges, more of round ones."""
        if self.contact.kind == ContactKind.POINT:
            return np.array([self.contact.centroid])
        edges = edges_of(cast("Shape", self.shape.geometry))
        return np.vstack([edge_points(e, 2 if is_straight(e) else 9) for e in edges])


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
