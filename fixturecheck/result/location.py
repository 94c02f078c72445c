"""How seats locate a part: which freedom each takes, and how a target moves as they vary."""

from __future__ import annotations

from dataclasses import dataclass

from fixturecheck.faceref import FaceRef
from fixturecheck.result.tolerance import CriticalPlace


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatRole:
    """What one seat adds to those stated before it.

    Parameters
    ----------
    name : str
        The seat.
    takes : int
        Freedoms it takes that those before it left: 3 for a primary, 2 secondary, 1 tertiary.
    wants : int
        Freedoms it would take alone.
    fights : tuple of str
        Seats before it that already hold what it would take: in practice only some of them can touch.
    """

    name: str
    takes: int
    wants: int
    fights: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatTakes:
    """How one seat of a part locates it.

    Parameters
    ----------
    own, other : FaceRef
        The part's face, and the one that it lies on.
    rank : str
        The rank that the set-up gives the seat.
    role : SeatRole
        What it adds to the seats before it.
    """

    own: FaceRef
    other: FaceRef
    rank: str
    role: SeatRole


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetMoves:
    """How a face that is cut moves along its normal.

    Parameters
    ----------
    place : CriticalPlace
        The face's middle and its normal.
    by_seat : tuple of (str, float)
        By seat, um for each um that the seat is out; `um_per_um` in result.json.
    free_mm : float
        How far the face moves along its normal for each mm that the part moves in the freedom the seats
        leave; zero where the seats locate it.
    """

    place: CriticalPlace
    by_seat: tuple[tuple[str, float], ...]
    free_mm: float = 0.0

    @property
    def located(self) -> bool:
        """Whether it cannot move without a seat moving."""
        return self.free_mm == 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLocation:
    """How the closed seats of one part locate it.

    Parameters
    ----------
    body : str
        The part.
    rank : int
        Freedoms that the seats take together, of 6.
    seats : tuple of SeatTakes
        What each takes, in the order stated.
    targets : tuple of TargetMoves
        How each face that is cut moves.
    closing : tuple of (FaceRef, FaceRef)
        Stops that only close the part in and locate nothing: the part's face, and the stop's.
    """

    body: str
    rank: int
    seats: tuple[SeatTakes, ...]
    targets: tuple[TargetMoves, ...]
    closing: tuple[tuple[FaceRef, FaceRef], ...] = ()
