"""What settling works on and returns: bodies ready to move, poses at rest, probabilities in tolerance."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.proximity.candidates import ProximityScene, Shapes
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.features import Features, features_of
from fixturecheck.kernel.brep.topology import one_of_each
from fixturecheck.kernel.place import drawing_matrix, matrix_of
from fixturecheck.result.rest import Freedom, LoadedContact, SeatChance, WrongChance
from fixturecheck.result.shapes import Vector
from fixturecheck.rigid.motion import Poses
from fixturecheck.setup.model import Body, Seat, Setup
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.statics.rest import Ending

__all__ = [
    "LoadedContact", "Push", "RestPose", "SeatAtRest", "Settled", "Staging",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestPose:
    """Where one body rests.

    Parameters
    ----------
    body : str
        Which body.
    matrix : ndarray, shape (4, 4)
        Its frame in the machine's at rest; replaces `Body.at`.
    shift_mm : Vector
        How far its centre is from where it was drawn.
    turn_deg : Vector
        Axis times angle from drawn to rest.
    """

    body: str
    matrix: Floats
    shift_mm: Vector
    turn_deg: Vector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatAtRest:
    """One intended seat at rest.

    Parameters
    ----------
    gap_min_um, gap_max_um : float
        Gap over the part of the faces that look at each other; infinite where they no longer do.
    closed : bool
        Whether they touch anywhere.
    force_n : float
        Force that the seat carries.
    """

    seat: Seat
    gap_min_um: float
    gap_max_um: float
    closed: bool
    force_n: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled:
    """Where everything rests, or why it does not.

    Parameters
    ----------
    ending : Ending
        `REST`, or what happened instead.
    says : str
        One sentence.
    poses : mapping of str to RestPose
        By loose body; where the body was last when the ending is not `REST`.
    carried : tuple of LoadedContact
        Faces that touch at rest.
    seats : tuple of SeatAtRest
        Every intended seat of a loose body.
    freedoms : tuple of Freedom
        Motions left.
    residual_um : float
        Deepest overlap left.
    balance : float
        Share of the load that contacts do not balance: what friction must hold.
    steps : int
        Steps taken.
    error_um : float
        Bound on how deep bodies may overlap where they rest, beyond the residual overlap; zero where
        all that is near is exact.
    """

    ending: Ending
    says: str
    poses: Mapping[str, RestPose]
    carried: tuple[LoadedContact, ...]
    seats: tuple[SeatAtRest, ...]
    freedoms: tuple[Freedom, ...]
    residual_um: float
    balance: float
    steps: int
    error_um: float = 0.0

    @property
    def rests(self) -> bool:
        """True where a rest pose was found."""
        return self.ending is Ending.REST

    def unintended(self) -> tuple[LoadedContact, ...]:
        """Return the touching faces that no seat asks for and that carry force."""
        return tuple(c for c in self.carried if not c.intended and c.force_n > 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SettlingModel:
    """The bodies of a set-up as features, with poses as drawn; made once and settled as often as wanted.

    Parameters
    ----------
    bodies : tuple of Body
        In the set-up's order; indices below refer to it.
    features : tuple of Features
        What of each can touch, in its own frame.
    drawn : Poses
        Poses as drawn.
    known : dict
        What was made of the features for the settlings before.
    """

    setup: Setup
    bodies: tuple[Body, ...]
    features: tuple[Features, ...]
    drawn: Poses
    known: dict[tuple[Features, ...], Shapes] = field(default_factory=dict)

    def scene(self, loose: Iterable[int]) -> ProximityScene:
        """Return the bodies ready to be looked at, with those that move."""
        moving = set(loose)
        if self.features not in self.known:
            self.known.clear()
            self.known[self.features] = Shapes(self.features)
        return ProximityScene(self.known[self.features], [i in moving for i in range(len(self.bodies))])

    def index(self, name: str) -> int:
        """Return the number of a body."""
        self.setup.body(name)
        return next(i for i, b in enumerate(self.bodies) if b.name == name)


def settling_model_of(setup: Setup) -> SettlingModel:
    """Read the features of every body of a set-up, each distinct solid once."""
    known: dict[tuple[int, bytes], Features] = {}
    features = []
    for body, first in zip(setup.bodies, one_of_each([b.solid for b in setup.bodies]), strict=True):
        # Features are in the frame of the body, in which its solid may itself have been moved.
        one = first, drawing_matrix(body.solid).tobytes()
        if one not in known:
            known[one] = features_of(body.solid)
        features.append(known[one])
    return SettlingModel(
        setup=setup, bodies=setup.bodies, features=tuple(features), drawn=drawn_poses(setup.bodies)
    )


def drawn_poses(bodies: Iterable[Body]) -> Poses:
    """Return where bodies are drawn."""
    matrices = np.array([matrix_of(b.at) for b in bodies])
    return Poses(rotation=matrices[:, :3, :3].copy(), origin_mm=matrices[:, :3, 3].copy())


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
    """What tolerances do to the rest.

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
    seats: tuple[SeatChance, ...]
    wrong: tuple[WrongChance, ...]
    targets: tuple[PlaceScatter, ...]
    move: Floats
    bases: int
    checked_um: float
    unsettled: int
    contradict: bool
    closed_in: tuple[str, ...] = ()
    barred: tuple[BarredProbability, ...] = ()
