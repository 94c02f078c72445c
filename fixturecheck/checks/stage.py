"""What every check is given: the set-up, where everything stands, what touches and what the wheel did."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixturecheck.contact.patch import ContactMap
from fixturecheck.dials.plan import Dialled
from fixturecheck.kernel.shapes import Solid
from fixturecheck.machining.as_milled import MilledCut
from fixturecheck.machining.cut import GroundCut
from fixturecheck.nesting.answer import StagingAnswer
from fixturecheck.nesting.seating import face_place
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.dials import DatumOffset
from fixturecheck.result.hardening import HardeningFound
from fixturecheck.result.shapes import NamedShape, Vector
from fixturecheck.setup.model import Setup

if TYPE_CHECKING:
    from fixturecheck.holding.model import Held


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stage:
    """The set-up worked out as far as geometry goes; checks read it and change nothing.

    Parameters
    ----------
    placed : mapping of str to Solid
        Every body's solid in the machine's frame.
    contacts : ContactMap
        All patches at the drawn pose.
    cuts : tuple of GroundCut
        Each cut with its wheel sweep and the part as ground.
    milled : tuple of MilledCut
        Each run of an end mill with its sweeps and the parts as milled.
    dialled : tuple of Dialled
        The dials of each cut; empty where the machine has none.
    offsets : tuple of DatumOffset
        What is set by an edge finder.
    answered : StagingAnswer or None
        What staging came to; None where none is stated, or where it could not be run.
    held : Held or None
        How the parts hold; None where no holding is stated.
    hardened : HardeningFound or None
        What hardening does to the parts; None where none is stated.
    """

    setup: Setup
    placed: Mapping[str, Solid]
    contacts: ContactMap
    cuts: tuple[GroundCut, ...]
    milled: tuple[MilledCut, ...] = ()
    dialled: tuple[Dialled, ...] = ()
    offsets: tuple[DatumOffset, ...] = ()
    answered: StagingAnswer | None = None
    held: Held | None = None
    hardened: HardeningFound | None = None

    @property
    def worked(self) -> tuple[GroundCut | MilledCut, ...]:
        """Return every cut and run that was worked out."""
        return (*self.cuts, *self.milled)

    def shapes_under(self, body: str) -> tuple[NamedShape, ...]:
        """Return the patches that a body touches anything with."""
        return tuple(
            p.shape for p in self.contacts.patches if p.contact.kind != ContactKind.NEAR and body in p.bodies
        )

    def face_place(self, body: str, face: str) -> tuple[Vector, Vector]:
        """Return the centre and the outward normal of a named flat face where it stands.

        Raises
        ------
        NotComputedError
            The face is not flat, or its pieces do not lie in one plane.
        """
        return face_place(self.setup, self.placed, body, face)
