"""A clash with its solids, and a search's answer with the changed set-up."""

from __future__ import annotations

from dataclasses import dataclass, field

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.result.relief import ClashFaces, ReliefOutcome
from fixturecheck.setup.model import Setup


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clash:
    """One place where two bodies are in each other's way when every seat is closed.

    Parameters
    ----------
    a, b : str
        The bodies.
    faces_a, faces_b : tuple of str
        Names of the faces of each that bound it.
    zone : Shape
        What both would fill, machine's frame, at the intended pose.
    volume_mm3 : float
        Size of the zone.
    zone_b : Shape or None
        For faces that only land within tolerances: what of `b` lies within reach of `a`; `zone` is then
        what of `a` lies within reach of `b`. None where the bodies overlap.
    share_lands : float
        In how many draws they land; one where they overlap as drawn.
    """

    a: str
    b: str
    faces_a: tuple[str, ...]
    faces_b: tuple[str, ...]
    zone: Shape = field(repr=False)
    volume_mm3: float
    zone_b: Shape | None = field(repr=False, default=None)
    share_lands: float = 1.0

    @property
    def lands(self) -> bool:
        """True where the bodies are clear as drawn and only tolerances bring them together."""
        return self.zone_b is not None

    def zone_of(self, body: str) -> Shape:
        """Return what must be taken from one of the bodies."""
        return self.zone_b if self.zone_b is not None and body == self.b else self.zone

    @property
    def between(self) -> ClashFaces:
        """The faces on either side, and whether only tolerances bring them together."""
        a, b = FaceRef.of(self.a, *self.faces_a), FaceRef.of(self.b, *self.faces_b)
        return ClashFaces(a=a, b=b, lands=self.lands)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reliefs(ReliefOutcome):
    """What a search for reliefs came to, and the set-up with them.

    Parameters
    ----------
    setup : Setup
        The set-up with every relief made; the one given where there is none.
    """

    setup: Setup

    @property
    def solids(self) -> dict[str, Solid]:
        """The new solid of every body that was changed, in its own frame."""
        return {name: self.setup.body(name).solid for r in self.reliefs for name in r.cut.bodies}
