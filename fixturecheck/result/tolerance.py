"""What tolerances do to the rest: how often seats close, what lands first, how far the work is out."""

from __future__ import annotations

from dataclasses import dataclass

from fixturecheck.faceref import FaceRef, on


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
        Gap that is left in one draw of twenty, and at most.
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
class TargetSpread:
    """How far a face that is cut is out within tolerances.

    Parameters
    ----------
    target : str
        `body.face` of the face.
    mean_um, sigma_um : float
        Mean and standard deviation over the draws.
    low_um, high_um : float
        The worst either way: over all zones where that is known, else over the draws.
    limit_um : float or None
        Half of the face's own zone.
    lean_p95_um, lean_worst_um : float
        How much one end is further out than the other, in one draw of twenty and at most.
    edges_um : tuple of float
        Borders of the classes of the histogram, one more than there are counts.
    counts : tuple of int
        Draws in each class, by the middle of the face.
    corner_counts : tuple of int
        Draws in each class, by the corner or middle that is furthest out; empty where there is no corner.
    """

    target: str
    mean_um: float
    sigma_um: float
    low_um: float
    high_um: float
    limit_um: float | None
    lean_p95_um: float
    lean_worst_um: float
    edges_um: tuple[float, ...]
    counts: tuple[int, ...]
    corner_counts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """What tolerances do to the rest.

    Parameters
    ----------
    draws, seed : int
        How many draws, and what they are repeated by.
    checked_um : float
        How far draws are from exact settlings.
    unsettled : int
        Draws settled exactly that did not come to rest.
    varied, leaning : int
        Faces that vary within their zones, and how many of them lean besides shifting.
    seats : tuple of SeatChance
        How often each seat closes.
    wrong : tuple of WrongChance
        What else carries, and how often.
    targets : tuple of TargetSpread
        How far each face that is cut is out.
    """

    draws: int
    seed: int
    checked_um: float
    unsettled: int
    varied: int
    leaning: int
    seats: tuple[SeatChance, ...]
    wrong: tuple[WrongChance, ...]
    targets: tuple[TargetSpread, ...]
