"""What hardening does to the parts: their sizes, their hardness, and where it may be tested."""

from __future__ import annotations

from dataclasses import dataclass

from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Vector

DIAMETER, ITS_AXIS, FAR_SIDE = "diameter", "its axis", "the far side"
"""What a size is measured to where that is no face of the part."""

Curve = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeChange:
    """What hardening does to one size of a part.

    Parameters
    ----------
    face : FaceRef
        The face whose place it sets.
    to : str
        What it is measured to: a face of the part, `diameter`, `its axis`, or `the far side`.
    size_mm : float
    low_mm, usual_mm, high_mm : float
        Change of the size, positive where it grows.
    limit_mm : float
        How far it may change either way.
    stated : bool
        Whether the size is stated itself; else it follows from the tolerance of its face.
    sides : int
        How many of its faces are ground after hardening.
    left_mm : float
        The least stock that is left on these.
    needed_mm : float
        What each of these needs; of a size that is finished before, what one face would need.
    bends_low_mm, bends_high_mm : float
        How far a flat face that is finished before may bend or twist; zero of any other.
    at_mm, direction : Vector
        Middle of the face and the way it looks, in the machine's frame.
    """

    face: FaceRef
    to: str
    size_mm: float
    low_mm: float
    usual_mm: float
    high_mm: float
    limit_mm: float
    stated: bool
    sides: int
    left_mm: float
    needed_mm: float
    bends_low_mm: float
    bends_high_mm: float
    at_mm: Vector
    direction: Vector

    @property
    def most_mm(self) -> float:
        """The greatest change either way."""
        return max(abs(self.low_mm), abs(self.high_mm))

    def off_mm(self, bends_mm: float) -> float:
        """Return how far its face may then lie off where it belongs, bent evenly about its middle."""
        return self.most_mm + 0.5 * bends_mm

    @property
    def aim_mm(self) -> float:
        """How much less the size is made beforehand so that the middle of the change brings it right."""
        return 0.5 * (self.low_mm + self.high_mm)

    @property
    def unsure_mm(self) -> float:
        """How far the change may lie from its middle, either way."""
        return 0.5 * (self.high_mm - self.low_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelTempered:
    """How a steel comes out of its hardening.

    Parameters
    ----------
    steel, process : str
    parts : tuple of str
        The parts that are made of it.
    says, surface : str
        What the process is, and what the surface is like afterwards.
    temper_c : float or None
        As stated, or as it gives the wanted hardness; None as quenched.
    stated : bool
        Whether that temper is stated.
    hardness_hrc : tuple of float
        Least and greatest hardness there; empty where it is not known.
    energy_j : float or None
        Impact energy there.
    wanted_hrc : tuple of float
        Least and greatest that is wanted; empty where nothing is.
    best_c : float or None
        The toughest temper that gives the wanted hardness.
    best_j : float or None
        Impact energy there.
    allowed_c : tuple of (float, float)
        Tempers that give the wanted hardness.
    curve_hrc, curve_j : tuple of (float, float)
        Points of the tables: temper, C, with hardness, HRC, and impact energy, J.
    spread_hrc : float
        How far hardness may lie off the curve.
    turns : tuple of (str, float, float)
        Peaks and troughs of toughness: which, temper, C, energy, J.
    hardens : bool
        Whether the process quenches in what this steel hardens in.
    quenches : tuple of str
        What it hardens in.
    missing : str
        Why hardness or temper is not known; empty where it is.
    source : str
    """

    steel: str
    process: str
    parts: tuple[str, ...]
    says: str
    surface: str
    temper_c: float | None
    stated: bool
    hardness_hrc: tuple[float, ...]
    energy_j: float | None
    wanted_hrc: tuple[float, ...]
    best_c: float | None
    best_j: float | None
    allowed_c: Curve
    curve_hrc: Curve
    curve_j: Curve
    spread_hrc: float
    turns: tuple[tuple[str, float, float], ...]
    hardens: bool
    quenches: tuple[str, ...]
    missing: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HardnessSpot:
    """Where a part without function there may be tested for hardness, or how far the best place falls short.

    Parameters
    ----------
    part : str
    face : str
        The face that is marked; empty where the part has none without function.
    at_mm, direction : Vector or None
        The middle of the mark and the way the face looks, in the machine's frame.
    thickness_mm, least_thickness_mm : float
        What is there and what the standard asks.
    edge_mm, least_edge_mm : float
        From the middle of the mark to the nearest edge.
    rests : bool
        Whether a flat face right behind it lies on the anvil.
    """

    part: str
    face: str
    at_mm: Vector | None
    direction: Vector | None
    thickness_mm: float
    least_thickness_mm: float
    edge_mm: float
    least_edge_mm: float
    rests: bool

    @property
    def good(self) -> bool:
        """Whether it may be tested there."""
        return (
            bool(self.face)
            and self.rests
            and self.thickness_mm >= self.least_thickness_mm
            and self.edge_mm >= self.least_edge_mm
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoiltFace:
    """A face with a tolerance that keeps the surface of the furnace.

    Parameters
    ----------
    face : FaceRef
    low_mm, high_mm : float
        How deep the spoilt surface on it is.
    limit_mm : float
        How far the face may be off either way.
    """

    face: FaceRef
    low_mm: float
    high_mm: float
    limit_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HardeningFound:
    """All that hardening does to the parts.

    Parameters
    ----------
    steels : tuple of SteelTempered
    sizes : tuple of SizeChange
    spots : tuple of HardnessSpot
        One for each part.
    skins : tuple of SpoiltFace
        Faces with a tolerance that are finished before, and whose surface is spoilt.
    holes : tuple of FaceRef
        Round faces of holes that blasting would spoil and that are not plugged.
    missing : tuple of (str, str)
        What could not be worked out: of what, and why.
    """

    steels: tuple[SteelTempered, ...]
    sizes: tuple[SizeChange, ...]
    spots: tuple[HardnessSpot, ...]
    skins: tuple[SpoiltFace, ...]
    holes: tuple[FaceRef, ...]
    missing: tuple[tuple[str, str], ...]
