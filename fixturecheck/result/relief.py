"""Reliefs that were found, and why others do not do: what a search for reliefs answers."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.result.rest import Settled
from fixturecheck.result.shapes import Vector


class ReliefKind(StrEnum):
    """A cut without function that lets parts nest."""

    CHAMFER = "chamfer"
    FILLET = "fillet"
    UNDERCUT = "undercut"
    GROOVE = "groove"
    SETBACK = "setback"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClashFaces:
    """The faces at which two bodies are in each other's way.

    Parameters
    ----------
    a, b : FaceRef
        Every face of either body at the clash.
    lands : bool
        Whether the bodies are clear as drawn and only tolerances bring them together.
    """

    a: FaceRef
    b: FaceRef
    lands: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliefCut:
    """A relief's kind, size and place.

    Parameters
    ----------
    bodies : tuple of str
        The bodies that it changes: every copy of the drawing, or the one on which it was tried in vain.
    kind : ReliefKind
        What is cut.
    faces : tuple of str
        The faces beside the edge or corner that is cut, or the one face that is set back.
    size_mm : tuple of float
        Leg twice, radius twice, the two sizes of a step or a groove, or how far a face is set back, twice.
    slope_deg : float
        Angle of a chamfer to either face: 45 on a square edge, and of no meaning for other kinds.
    leg_mm, leg_before_mm : float or None
        Leg of a chamfer after and before, where the face that is set back is one; None for anything else.
    """

    bodies: tuple[str, ...]
    kind: ReliefKind
    faces: tuple[str, ...]
    size_mm: tuple[float, float]
    slope_deg: float = 45.0
    leg_mm: float | None = None
    leg_before_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GrooveDetail:
    """What the shop must know of a groove besides its size.

    Parameters
    ----------
    behind_mm : tuple of float
        How far it goes behind the wall and behind the floor.
    along_bisector : bool
        Whether it runs along the bisector of floor and wall. Its size is then width and depth below its
        mouth.
    tool_radius_mm : float or None
        The largest corner radius of a tool that makes it; None where any will do.
    """

    behind_mm: tuple[float, float]
    along_bisector: bool
    tool_radius_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NotMade:
    """The cut cannot be made on the solid, for the kernel's reason."""

    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NotClear:
    """The clash is still there after the cut, or the air asked for is not."""


class FaceUse(StrEnum):
    """Why a face may not become smaller."""

    GROUND = "ground"
    SEAT = "seat"
    FUNCTION = "function"


@dataclass(frozen=True, slots=True, kw_only=True)
class TakesFrom:
    """The cut takes from a face that may not become smaller, or all of one that is a seat.

    Parameters
    ----------
    face : str
        The face of the body that is cut.
    use : FaceUse
        What the face is for; `function` where it is only not marked without function.
    cut : str
        The grinding cut that makes it; empty for other uses.
    """

    face: str
    use: FaceUse
    cut: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinWall:
    """The cut leaves a wall thinner than the set-up allows."""

    wall_mm: float
    least_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatReduced:
    """The cut leaves a seat with too small a share of its face, 0 to 1."""

    face: FaceRef
    on: FaceRef
    share: float
    least_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StillClashes:
    """The two bodies still overlap after the cut."""

    clash: ClashFaces


@dataclass(frozen=True, slots=True, kw_only=True)
class StillLands:
    """Two faces that no seat states still meet after the cut.

    Parameters
    ----------
    a, b : FaceRef
        The faces.
    share : float or None
        In which share of draws within tolerances they do; None where they do as drawn.
    """

    a: FaceRef
    b: FaceRef
    share: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StillOpen:
    """A seat is still open once the parts have settled after the cut."""

    face: FaceRef
    on: str
    gap_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NoRest:
    """The parts do not come to rest after the cut."""

    settled: Settled


Objection = (
    NotMade | NotClear | TakesFrom | ThinWall | SeatReduced | StillClashes | StillLands | StillOpen | NoRest
)
"""Why a cut that was tried does not do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A cut that was tried and does not do.

    Parameters
    ----------
    cut : ReliefCut
        The cut.
    against : tuple of Objection
        Why it does not do.
    more : int
        How many more of its kind do not do either.
    """

    cut: ReliefCut
    against: tuple[Objection, ...]
    more: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class NoCut:
    """A body on which there was nothing to try.

    Parameters
    ----------
    body : str
        The body.
    kinds : tuple of ReliefKind
        What was looked for beside its faces without function; empty where it has no such face.
    """

    body: str
    kinds: tuple[ReliefKind, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class IfMarked:
    """A relief that would do if some more faces were marked as having no function.

    Parameters
    ----------
    faces : tuple of FaceRef
        The faces to mark.
    cut : ReliefCut
        The relief.
    """

    faces: tuple[FaceRef, ...]
    cut: ReliefCut


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relief:
    """One relief that was made, and holds when checked again.

    Parameters
    ----------
    on : str
        The body at the clash.
    cut : ReliefCut
        What is cut, and where.
    clears : ClashFaces
        The clash that it clears.
    clear_mm : float
        Air that was asked: wanted clearance and what tolerances take.
    wall_mm : float
        Thinnest wall behind the relief.
    touches : tuple of str
        Faces that became smaller.
    at_mm : Vector
        Middle of the relief in the part's own frame.
    along : Vector
        The direction it runs there.
    removed_mm3 : float
        The material that it takes.
    by_hand : bool
        Whether a stone or a file makes it.
    clash_at_mm : Vector
        Middle of the clash, in the frame of the part `on`.
    clash_size_mm : float
        Size of the clash seen along the relief.
    line : str
        The line of CadQuery code that makes it, for a part in a variable `part`.
    before, solid : object
        The part before and after, kernel solids in its own frame.
    groove : GrooveDetail or None
        What else there is to know of a groove.
    share_lands : float
        In which share of draws within tolerances the faces met before; one where they overlap as drawn.
    instead : tuple of ReliefCut
        Other reliefs that hold as well.
    rejected : tuple of Rejected
        What does not hold and why, once for each kind.
    if_marked : IfMarked or None
        A lesser relief that would do if more faces were marked; None where there is none.
    """

    on: str
    cut: ReliefCut
    clears: ClashFaces
    clear_mm: float
    wall_mm: float
    touches: tuple[str, ...]
    at_mm: Vector
    along: Vector
    removed_mm3: float
    by_hand: bool
    clash_at_mm: Vector
    clash_size_mm: float
    line: str
    before: object = field(repr=False)
    solid: object = field(repr=False)
    groove: GrooveDetail | None = None
    share_lands: float = 1.0
    instead: tuple[ReliefCut, ...] = ()
    rejected: tuple[Rejected, ...] = ()
    if_marked: IfMarked | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A clash that no relief cures.

    Parameters
    ----------
    clash : ClashFaces
        The clash.
    why : tuple of NoCut or Rejected
        The bodies on which there was nothing to try, and what does not hold, once for each kind.
    must_give : tuple of FaceRef
        The faces one of which would have to give: those that are neither seats nor ground, or all of them.
    all_used : bool
        Whether each of those is a seat or is ground.
    if_marked : IfMarked or None
        A relief that would do if more faces were marked; None where none would help.
    """

    clash: ClashFaces
    why: tuple[NoCut | Rejected, ...]
    must_give: tuple[FaceRef, ...]
    all_used: bool
    if_marked: IfMarked | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReliefOutcome:
    """What a search for reliefs came to.

    Parameters
    ----------
    reliefs : tuple of Relief
        In the order they were made.
    refused : tuple of Refused
        Clashes left.
    rest_before, rest_after : Settled or None
        Where the parts rest before and after; None where no staging is stated.
    landings_unknown : str
        Why it could not be computed what lands first within tolerances; empty where it was computed or not
        asked.
    """

    reliefs: tuple[Relief, ...]
    refused: tuple[Refused, ...]
    rest_before: Settled | None = None
    rest_after: Settled | None = None
    landings_unknown: str = ""

    @property
    def cured(self) -> bool:
        """True where nothing is left in the way and nothing is unknown."""
        return not self.refused and not self.landings_unknown
