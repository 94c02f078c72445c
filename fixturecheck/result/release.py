"""How bodies come off after a cut: what is done first, the ways off, what the steel keeps, and burrs."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Vector


class OffKind(StrEnum):
    """How a body comes off."""

    LIFT = "lift"
    TIP = "tip"
    SLIDE = "slide"


@dataclass(frozen=True, slots=True, kw_only=True)
class OffWay:
    """One way in which a body comes off.

    Parameters
    ----------
    kind : OffKind
        How it goes.
    along : Vector
        Unit direction of a lift or slide; level direction toward which a tip topples.
    about_bottom : bool
        A tip turns about an edge of the body's own level bottom.
    force_n : (float, float) or None
        What it takes, low to high; None where the residual pull is not known.
    rubs : tuple of (FaceRef, FaceRef)
        Pairs of faces that rub though one of them is finished.
    """

    kind: OffKind
    along: Vector
    about_bottom: bool
    force_n: tuple[float, float] | None
    rubs: tuple[tuple[FaceRef, FaceRef], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PryAt:
    """Where a tool gets under an edge.

    Parameters
    ----------
    under_mm : float
        How far it gets under a lip; zero at a square edge.
    at_mm : Vector
        The place.
    """

    under_mm: float
    at_mm: Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelKeeps:
    """What magnetism a steel keeps.

    Parameters
    ----------
    kept, soft_too : str, bool
        The class of the steel, and whether its low end is soft.
    coercivity_a_m : (float, float)
        Low and high.
    path_mm : float
        Length of the flux path in it, from pole to pole.
    mmf_a : float
        What it drives over that path, at most.
    magnet_mmf_a : float or None
        What the magnet drives; None where that is not known.
    field_t, chips_t : float
        Flux density that it may show off the magnet, and that at which round chips hang on.
    """

    kept: str
    soft_too: bool
    coercivity_a_m: tuple[float, float]
    path_mm: float
    mmf_a: float
    magnet_mmf_a: float | None
    field_t: float
    chips_t: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstSteps:
    """What is done before the first body is touched.

    Parameters
    ----------
    grinds, mills, drills : bool
        What has to be clear of the work: the wheel, the cutter, the drill.
    magnet_off, demagnetise : bool
        Whether a magnet is switched off, and its demagnetising cycle run.
    opened, loosened : tuple of str
        Vises and clamps.
    """

    grinds: bool
    mills: bool
    magnet_off: bool
    demagnetise: bool
    opened: tuple[str, ...] = ()
    loosened: tuple[str, ...] = ()
    drills: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Burr:
    """One edge between a ground face and its neighbour that the wheel runs out over.

    Parameters
    ----------
    edge : str
        `body.a+b`, the two faces that meet there.
    ends : tuple of str
        `+X`, `-X` or both: the ends at which the table carries it out from under the wheel.
    sparks : bool
        One of the ends is where the wheel's rim leaves the work, which is where the burr is heavier.
    seats : tuple of str
        Which of the two faces is a seat in the set-up.
    length_mm : float
        Of the edge.
    """

    edge: str
    ends: tuple[str, ...]
    sparks: bool
    seats: tuple[str, ...]
    length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ComesOff:
    """The motion in which a body comes off, as it was tried on the solids; for reports to show.

    Parameters
    ----------
    at_mm : Vector
        A point of the body; one of the line that it tips about where it tips.
    velocity : Vector
        Of that point, mm for each mm of the body's fastest point.
    rotation_rad_mm : Vector
        Rotation for each mm of the fastest point.
    travel_mm : float
        How far the fastest point was followed.
    """

    at_mm: Vector
    velocity: Vector
    rotation_rad_mm: Vector
    travel_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyLeaves:
    """How one body comes off after the cut.

    Parameters
    ----------
    body : str
        Its name.
    residual_n : (float, float) or None
        What still draws it with the magnet off, low to high, N; None where it is not known.
    ways : tuple of OffWay
        Which way it can lift or tip without sliding on a ground face, the easiest first; where none can,
        which way it comes off all the same; empty where it comes off no way.
    pry : PryAt or None
        Where a tool gets under an edge.
    by_hand : bool or None
        Whether fingers do it.
    at_mm, direction : Vector or None
        Where the first way starts, and which way it goes.
    keeps : SteelKeeps or None
        What magnetism its steel keeps; None where that is none to speak of, or is not known.
    keeps_unknown : str
        Why that is not known; empty where it is.
    motion : ComesOff or None
        The first of the ways; None where it comes off no way.
    not_slid : tuple of FaceRef
        Faces that it lies on and that sliding would rub, one of the two finished; the first way spares them.
    """

    body: str
    residual_n: tuple[float, float] | None
    ways: tuple[OffWay, ...]
    pry: PryAt | None
    by_hand: bool | None = None
    at_mm: Vector | None = None
    direction: Vector | None = None
    keeps: SteelKeeps | None = None
    keeps_unknown: str = ""
    motion: ComesOff | None = None
    not_slid: tuple[FaceRef, ...] = ()

    @property
    def demagnetise(self) -> bool:
        """Whether its steel keeps some magnetism."""
        return self.keeps is not None
