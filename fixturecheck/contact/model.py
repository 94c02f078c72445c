"""What a contact map holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fixturecheck.kernel.shapes import Shape
from fixturecheck.result import Contact, NamedShape


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A contact with its geometry: faces for an area, edges for a line, a vertex for a point."""

    contact: Contact
    shape: NamedShape


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
            bodies = {patch.contact.a.split(".", 1)[0], patch.contact.b.split(".", 1)[0]}
            if bodies == {a, b}:
                yield patch
