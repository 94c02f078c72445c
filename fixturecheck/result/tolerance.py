"""What parts do within tolerances: which seats stay open, what lands in error, where targets come to lie."""

from __future__ import annotations

from dataclasses import dataclass

from fixturecheck.faceref import FaceRef, on
from fixturecheck.result.shapes import Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatChance:
    """How often one seat closes within tolerances, and what it leaves open.

    Parameters
    ----------
    own, other : FaceRef
        The part's face, and the one that it lies on.
    share_closed : float
        Part of the draws in which it closes, 0 to 1.
    gap_p95_um, gap_worst_um : float
        Gap that is left in one draw of twenty, and at most; infinite where the faces are nowhere near each
        other at rest.
    of_zones : bool
        Whether that is the worst of all zones, or of the draws alone.
    """

    own: FaceRef
    other: FaceRef
    share_closed: float
    gap_p95_um: float
    gap_worst_um: float
    of_zones: bool = False

    @property
    def seat(self) -> str:
        """The seat, as `body.face on body.face`."""
        return on(self.own, self.other)


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongChance:
    """How often two faces carry that no seat states.

    Parameters
    ----------
    a, b : FaceRef
        `body.face` on either side.
    share_lands : float
        Part of the draws in which they carry, 0 to 1.
    """

    a: FaceRef
    b: FaceRef
    share_lands: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BarredChance:
    """How often two faces meet and keep the parts from going in.

    Parameters
    ----------
    a, b : FaceRef
        The faces.
    share : float
        Part of the draws, 0 to 1.
    """

    a: FaceRef
    b: FaceRef
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CriticalPlace:
    """A place of the work whose error matters, drawn in the machine's frame.

    Parameters
    ----------
    name : str
        What it is called in findings: `cut/body.face` for the middle of a face.
    body : str
        The part that it is on.
    at_mm : Vector
        Where it is drawn.
    direction : Vector
        The direction in which its error counts, of any length.
    cut : str
        The cut that makes the face; empty for a place alone.
    face : str or None
        The face that it is the middle of, whose corners matter too where it is flat; None is the place alone.
    """

    name: str
    body: str
    at_mm: Vector
    direction: Vector
    cut: str = ""
    face: str | None = None

    @property
    def ref(self) -> FaceRef:
        """The face that it is the middle of; the body where it is a place alone."""
        return FaceRef.of(self.body, *([self.face] if self.face else []))


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetSpread:
    """How far a place of the work is out within tolerances, along its direction.

    Parameters
    ----------
    place : CriticalPlace
        The place: for a face that is cut, its middle.
    mean_um, sigma_um : float
        Mean and standard deviation of the middle over the draws.
    low_um, high_um : float
        The worst either way, of the middle and every corner: over all zones where `of_zones`, else the
        furthest that was found.
    of_zones : bool
        Whether that is proven for all zones.
    corners : int
        How many corners were looked at besides the middle.
    limit_um : float or None
        Half of the face's own zone; None where it states none.
    share_beyond : float
        Part of the draws in which the middle or a corner is beyond the limit, 0 to 1; 0 without a limit.
    lean_p95_um, lean_worst_um : float
        How much one end is further out than the other, in one draw of twenty and at most.
    share_by_face, lean_by_face : tuple of (str, float)
        Each face's share of the variance, and what of it comes by leaning, where the variance is greatest.
    edges_um : tuple of float
        Borders of the classes of the histogram, one more than there are counts.
    counts : tuple of int
        Draws in each class, by the middle of the face.
    corner_counts : tuple of int
        Draws in each class, by the corner or middle that is furthest out; empty where there is no corner.
    """

    place: CriticalPlace
    mean_um: float
    sigma_um: float
    low_um: float
    high_um: float
    of_zones: bool
    corners: int
    limit_um: float | None
    share_beyond: float
    lean_p95_um: float
    lean_worst_um: float
    share_by_face: tuple[tuple[str, float], ...]
    lean_by_face: tuple[tuple[str, float], ...]
    edges_um: tuple[float, ...]
    counts: tuple[int, ...]
    corner_counts: tuple[int, ...] = ()

    @property
    def worst_um(self) -> float:
        """The furthest either way, as a distance."""
        return max(abs(self.low_um), abs(self.high_um))


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """What tolerances do to the rest.

    Parameters
    ----------
    draws, seed : int
        How many draws, and the seed that repeats them.
    checked_um : float
        Greatest difference between the linear answer and an exact settling of the worst draws.
    unsettled : int
        Draws settled exactly that did not come to rest.
    faces : tuple of FaceRef
        The faces that vary within their zones.
    leaning : int
        How many of them lean besides shifting.
    seats : tuple of SeatChance
        How often each seat closes.
    wrong : tuple of WrongChance
        Which other faces carry, and how often.
    targets : tuple of TargetSpread
        How far each face that is cut is out.
    contradict : bool
        Whether the seats contradict each other somewhere in the zones, though in no draw.
    closed_in : tuple of str
        Fixtures that are set against the parts last, which no draw keeps from their place.
    barred : tuple of BarredChance
        What keeps the parts from going in at all, the most frequent first; all other answers are of the
        draws in which they go in.
    """

    draws: int
    seed: int
    checked_um: float
    unsettled: int
    faces: tuple[FaceRef, ...]
    leaning: int
    seats: tuple[SeatChance, ...]
    wrong: tuple[WrongChance, ...]
    targets: tuple[TargetSpread, ...]
    contradict: bool = False
    closed_in: tuple[str, ...] = ()
    barred: tuple[BarredChance, ...] = ()
