"""What tolerances come to: how often seats close, what lands on what, how far places of the work are out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fixturecheck.arrays import Floats
from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Vector
from fixturecheck.result.tolerance import WrongChance

SURE = 0.9973
"""The share of draws within three standard deviations of a normal spread: what counts as sure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CriticalPlace:
    """A place of the work whose error matters, drawn in the machine's frame.

    Parameters
    ----------
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatProbability:
    """How often one seat closes: `share_closed` of the draws, and the gap left, um.

    Parameters
    ----------
    gap_worst_um : float
        Over all zones where `of_zones`, else over the draws alone.
    """

    body: str
    face: str
    on: str
    on_face: str
    share_closed: float
    gap_p95_um: float
    gap_worst_um: float
    of_zones: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarredProbability:
    """How often the parts do not go in because two faces meet: `share` of the draws."""

    a: str
    b: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaceScatter:
    """Error of one target, um: its middle in all draws, and how far out any corner of it is.

    Parameters
    ----------
    cut, face
        The cut and the face that it makes; both empty for a place alone.
    mean_um, sigma_um, draws_um
        Of the middle.
    out_um : ndarray, shape (draws,)
        How far out the middle or the corner is, whichever is furthest out.
    corners : int
        How many corners were looked at.
    worst_um : (float, float)
        Least and greatest of the middle and all corners, over all zones where `of_zones`, else the furthest
        that was found.
    lean_p95_um, lean_worst_um : float
        How much one end of the target is further out than the other: in one draw of twenty, and at most.
    share_by_face, lean_by_face : mapping of str to float
        Each face's share of the variance where that is greatest, and what of it is by leaning.
    """

    name: str
    cut: str
    face: FaceRef
    mean_um: float
    sigma_um: float
    draws_um: Floats
    out_um: Floats
    corners: int
    worst_um: tuple[float, float]
    of_zones: bool
    lean_p95_um: float
    lean_worst_um: float
    share_by_face: Mapping[str, float]
    lean_by_face: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Probabilities:
    """What tolerances came to.

    Parameters
    ----------
    faces : tuple of str
        The faces that vary, `body.face`.
    leaning : int
        How many of them lean besides shifting.
    move : ndarray, shape (draws, 6 * bodies)
        Shift in mm and turn in radians of each loose body from its nominal rest.
    bases : int
        Different sets of contacts that carried.
    checked_um : float
        Greatest difference between the linear answer and an exact settling of the worst draws.
    unsettled : int
        Of the draws tried so, those that did not come to rest exactly.
    closed_in : tuple of str
        Fixtures that are taken as set up against the parts last, which no draw keeps from their place.
    barred : tuple of BarredProbability
        What keeps the parts from going in at all, the most frequent first; all other answers are of the
        draws in which they do.
    contradict : bool
        Whether somewhere in the zones, though in no draw, the seats contradict each other.
    """

    draws: int
    seed: int
    faces: tuple[str, ...]
    leaning: int
    seats: tuple[SeatProbability, ...]
    wrong: tuple[WrongChance, ...]
    targets: tuple[PlaceScatter, ...]
    move: Floats
    bases: int
    checked_um: float
    unsettled: int
    contradict: bool
    closed_in: tuple[str, ...] = ()
    barred: tuple[BarredProbability, ...] = ()

    def checked_say(self) -> str:
        """Say which draws were settled exactly; nothing more where all of them came to rest."""
        if self.unsettled == 0:
            return "those furthest out"
        return f"those furthest out, less {self.unsettled} that did not come to rest on their own"

    def faces_say(self) -> str:
        """Say how faces were drawn within their zones."""
        if self.leaning == 0:
            return "faces shift within their zones and do not lean"
        rest, every = len(self.faces) - self.leaning, len(self.faces)
        still = f"; {rest} of the {every} faces (curved, or held in orientation) shift only" if rest else ""
        return (
            "flat faces shift and lean within their profile zones, the shift of the middle, and then the "
            f"lean in what it leaves, normal with three standard deviations to the edge{still}"
        )
