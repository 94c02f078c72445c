"""What a contact map holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

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
