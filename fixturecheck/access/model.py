"""What a cut is once it has been ground."""

from __future__ import annotations

from dataclasses import dataclass, field

from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.result import CutMade, NamedShape
from fixturecheck.setup.model import Cut


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WheelPath:
    """Where the wheel goes in one cut, in the machine's frame, mm.

    Parameters
    ----------
    floor_z_mm : float
        Height of the wheel's lowest point in the last pass.
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartGround:
    """One part after one cut, all solids in the machine's frame; None where there is nothing."""

    body: str
    stock: Solid
    ground: Shape
    leftover: Shape | None
    gouge: Shape | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroundCut:
    """One cut worked out: path, swept volumes, the parts as ground, and the numbers."""

    cut: Cut
    path: WheelPath
    wheel_sweep: Shape
    flange_sweep: Shape
    guard_sweep: Shape | None
    parts: tuple[PartGround, ...]
    made: CutMade
    shapes: tuple[NamedShape, ...] = field(default=())
