"""What is stated about staging, and what settling answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fixturecheck.physics.settle import Ending
from fixturecheck.result import Vector
from fixturecheck.setup.model import Seat

Floats = NDArray[np.float64]

STEEL_N_MM3 = 7.85e-6 * 9.80665
"""Weight of a cubic millimetre of steel, from memory: 7850 kg/m3."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Push:
    """How a part is pushed while it is staged.

    Parameters
    ----------
    direction : Vector
        Which way, machine's frame; any length.
    force_n : float or None
        How hard; None is a light hand, a quarter of what seats the part, so that it does not lift it.
    at_mm : Vector or None
        Where, in the body's own frame; None is its centre.
    """

    direction: Vector
    force_n: float | None = None
    at_mm: Vector | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Staging:
    """How parts are put in place.

    Parameters
    ----------
    push : mapping of str to Push
        The hand's push on each part; `*` is every part not named. A part without one only has its weight.
    order : tuple of str
        Parts in the order they are placed and pushed, each staying where it came to rest; empty is all
        together.
    loose : tuple of str
        Bodies that move; empty is every part.
    weight : bool
        Whether weight acts, along -Z.
    pull_n : mapping of str to float
        A trifle of magnet, square to the primary seat (else along -Z), by part; `*` for the rest.
    approach_mm : float
        How far parts start from where they are drawn, against their loads.
    """

    push: Mapping[str, Push] = field(default_factory=dict)
    order: tuple[str, ...] = ()
    loose: tuple[str, ...] = ()
    weight: bool = True
    pull_n: Mapping[str, float] = field(default_factory=dict)
    approach_mm: float = 2.0


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
class Carried:
    """Two faces that touch at rest.

    Parameters
    ----------
    a, b : str
        `body.face` on either side.
    kind : str
        `area`, `line` or `point`, by how the touching places lie.
    force_n : float
        Force across; zero where they touch and nothing presses.
    normal : Vector
        Mean direction out of `b` into `a`.
    points_mm : tuple of Vector
        The touching places.
    intended : bool
        Whether a seat of the set-up says so.
    """

    a: str
    b: str
    kind: str
    force_n: float
    normal: Vector
    points_mm: tuple[Vector, ...]
    intended: bool


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
class FreedomLeft:
    """A motion that the contacts leave a body.

    Parameters
    ----------
    kind : str
        `slides`, `turns`, `screws` or `rocks`.
    axis, point_mm : Vector
        Direction, and a point of the axis.
    low, high : float
        How far it goes either way before something else is met: mm for a slide, degrees otherwise;
        infinite where nothing is met within what was looked at.
    says : str
        The same in words.
    """

    body: str
    kind: str
    axis: Vector
    point_mm: Vector
    low: float
    high: float
    says: str


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
    carried : tuple of Carried
        Faces that touch at rest.
    seats : tuple of SeatAtRest
        Every intended seat of a loose body.
    freedoms : tuple of FreedomLeft
        Motions left.
    residual_um : float
        Deepest overlap left.
    balance : float
        Share of the load that contacts do not balance: what friction must hold.
    steps : int
        Steps taken.
    error_um : float
        Bound on the gap from curved edges that were cut into chords; zero on flat-faced bodies.
    """

    ending: Ending
    says: str
    poses: Mapping[str, RestPose]
    carried: tuple[Carried, ...]
    seats: tuple[SeatAtRest, ...]
    freedoms: tuple[FreedomLeft, ...]
    residual_um: float
    balance: float
    steps: int
    error_um: float = 0.0

    @property
    def rests(self) -> bool:
        """True where a rest pose was found."""
        return self.ending is Ending.REST

    def unintended(self) -> tuple[Carried, ...]:
        """Return the touching faces that no seat asks for and that carry force."""
        return tuple(c for c in self.carried if not c.intended and c.force_n > 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrderTold:
    """Whether the rest depends on how the parts were staged.

    Parameters
    ----------
    spread_um : float
        Greatest distance between rests at any corner of any part, along motions that contacts do not leave
        free.
    tried : tuple of str
        The stagings compared.
    says : str
        One sentence.
    """

    spread_um: float
    tried: tuple[str, ...]
    says: str
    fits: bool = field(default=True)
