"""How the bodies of an assembly stand to each other, and what each is free to do."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.result.rest import Freedom
from fixturecheck.result.shapes import Vector


class PairState(StrEnum):
    """How two bodies stand to each other."""

    OVERLAP = "overlap"
    TOUCH = "touch"
    CLEAR = "clear"


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyPair:
    """Two bodies that overlap, touch, or stand close to each other.

    Parameters
    ----------
    a, b : str
        The bodies.
    state : PairState
        How they stand to each other.
    area_mm2, length_mm : float
        Sums over the areas and lines where they touch.
    areas, lines, points : int
        How many of each there are.
    gap_mm : float or None
        Least distance of two bodies that clear; None where it could not be computed, and for other states.
    volume_mm3 : float
        What they share.
    depth_mm : float or None
        How deep the one reaches into the other; None where they do not overlap or it is not known.
    parting_mm, parting_way : float and Vector, or None
        The shortest straight move of `a` that takes it out of `b`; None where none was found.
    at_mm : Vector or None
        A place that shows it.
    unknown : str
        Why depth, move or gap is not known; empty where nothing is missing.
    """

    a: str
    b: str
    state: PairState
    area_mm2: float = 0.0
    length_mm: float = 0.0
    areas: int = 0
    lines: int = 0
    points: int = 0
    gap_mm: float | None = None
    volume_mm3: float = 0.0
    depth_mm: float | None = None
    parting_mm: float | None = None
    parting_way: Vector | None = None
    at_mm: Vector | None = None
    unknown: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyFree:
    """What a body is free to do while all others stay where they are, to first order.

    Parameters
    ----------
    body : str
        The body.
    called : str
        What the file or the assembly calls it.
    touches : int
        How many bodies it touches.
    keeps : tuple of Freedom
        Motions, either way, that keep all its contacts closed.
    leaves : tuple of Vector
        Directions in which it moves straight away from what it touches.
    shut_in : bool
        Whether no motion at all takes it away from what it touches.
    unknown : str
        Why this is not known; empty where it is.
    """

    body: str
    called: str
    touches: int
    keeps: tuple[Freedom, ...] = ()
    leaves: tuple[Vector, ...] = ()
    shut_in: bool = False
    unknown: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Touching:
    """How the bodies of an assembly stand to each other.

    Parameters
    ----------
    within_mm : float
        Pairs that clear by more than this are not listed.
    pairs : tuple of BodyPair
        Every other pair: what overlaps first, then what touches, then what clears.
    bodies : tuple of BodyFree
        Every body.
    """

    within_mm: float
    pairs: tuple[BodyPair, ...]
    bodies: tuple[BodyFree, ...]

    def in_state(self, state: PairState) -> tuple[BodyPair, ...]:
        """Return the pairs that stand to each other so."""
        return tuple(p for p in self.pairs if p.state is state)
