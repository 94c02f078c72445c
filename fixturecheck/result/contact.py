"""Where bodies touch as drawn, and each cut as ground."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fixturecheck.faceref import FaceRef
from fixturecheck.result.shapes import Role, Vector


class Mover(StrEnum):
    """What moves along the path of a cut; wheel and cutter cut, the rest goes with them."""

    WHEEL = "wheel"
    FLANGE = "flange"
    GUARD = "guard"
    CUTTER = "cutter"
    SHANK = "shank"
    NUT = "nut"
    NOSE = "nose"


class ContactKind(StrEnum):
    """How two faces meet; `near` is a small gap."""

    AREA = "area"
    LINE = "line"
    POINT = "point"
    NEAR = "near"


class Sparks(StrEnum):
    """Which way the wheel's lowest point moves."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Where two faces touch, or look at each other across a small gap.

    Parameters
    ----------
    a, b : FaceRef
        Face on either side, in alphabetical order of bodies.
    kind : ContactKind
        How they meet.
    area_mm2, length_mm : float
        Size of the patch; zero where the kind has none.
    gap_min_um, gap_mean_um, gap_max_um : float
        Gap over the patch: least, mean and greatest.
    normal : Vector
        Unit normal out of `a` into `b`.
    centroid : Vector
        Centre of the patch in world coordinates, mm.
    error_um : float
        Bound on the gap where it was sampled; zero where the answer is exact.
    patch : str
        Name of the shape in a result that shows it; empty where there is none.
    """

    a: FaceRef
    b: FaceRef
    kind: ContactKind
    area_mm2: float
    length_mm: float
    gap_mean_um: float
    gap_max_um: float
    normal: Vector
    centroid: Vector
    error_um: float = 0.0
    gap_min_um: float = 0.0
    patch: str = ""

    @property
    def on_burr(self) -> bool:
        """Whether one of the two faces is a burr."""
        return self.a.is_burr or self.b.is_burr

    @property
    def role(self) -> Role:
        """What its patch shows in pictures: a burr, or how the faces meet."""
        return Role.BURR if self.on_burr else Role(self.kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceMade:
    """How much of one target face the wheel makes.

    Parameters
    ----------
    face : str
        `body.face`.
    share_made : float
        Part of its area, 0 to 1.
    """

    face: str
    share_made: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelPath:
    """Where the wheel goes in the last pass of a cut, machine's frame.

    Parameters
    ----------
    floor_z_mm : float
        Height of the wheel's lowest point.
    x_from_mm, x_to_mm : float
        Ends of the traverse of the spindle axis.
    y_from_mm, y_to_mm : float
        Ends of the cross feed of the wheel's front face (the face at the lower Y); equal for a plunge.
    wall_sign : int
        +1 when the wall lies on the wheel's +Y side, -1 on its -Y side, 0 without a wall.
    """

    floor_z_mm: float
    x_from_mm: float
    x_to_mm: float
    y_from_mm: float
    y_to_mm: float
    wall_sign: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CutMade:
    """One cut as ground.

    Parameters
    ----------
    name : str
        The cut.
    removed_mm3 : float
        What the wheel takes away.
    leftover_mm3, gouge_mm3 : float
        Stock that it leaves, and what it takes of the part as drawn.
    corner_radius_mm : float or None
        Radius that it leaves in the corner; None where the cut has none.
    faces : tuple of FaceMade
        How much of each target face is made.
    path : WheelPath or None
        Where the wheel goes; None for an end mill, and in a result that no check made.
    tip_mm : tuple of Vector
        Where the tip of an end mill goes, corner by corner, lifted clear between passes; empty for a wheel.
    """

    name: str
    removed_mm3: float
    leftover_mm3: float
    gouge_mm3: float
    corner_radius_mm: float | None
    faces: tuple[FaceMade, ...]
    path: WheelPath | None = None
    tip_mm: tuple[Vector, ...] = ()

    @property
    def milled(self) -> bool:
        """Whether an end mill made it."""
        return bool(self.tip_mm)
