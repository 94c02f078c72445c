"""A cut worked out: its path, what moves along it, and the parts as it leaves them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.machining.wheel_path import PartTargets
from fixturecheck.result.contact import CutMade, FaceMade, Mover, WheelPath
from fixturecheck.result.shapes import NamedShape
from fixturecheck.setup.model import Cut

CUTS = frozenset({Mover.WHEEL, Mover.CUTTER})
"""What takes stock: whatever it takes of the parts of its cut is stock or a gouge, and no collision."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CornerMade:
    """The corner between floor and wall of one part.

    Parameters
    ----------
    radius_mm : float
        Radius that the ground part has there, measured on its faces; zero for a sharp one. Where the
        wheel's corner is not round, the larger side of what it left.
    drawn_mm : float
        Radius of the drawn corner; zero when it is sharp or relieved.
    left : Shape or None
        The stock that the wheel's own corner could not reach; None when it left nothing.
    undercut_mm : tuple of float
        How far an undercut keeps the floor off the wall, and the wall off the floor; zero without one.
    """

    radius_mm: float
    drawn_mm: float
    left: Shape | None
    undercut_mm: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartGround:
    """One part after one cut, all solids in the machine's frame; None where there is nothing.

    Parameters
    ----------
    target : Solid
        The part as drawn.
    stock : Solid
        The part before the cut.
    ground : Shape
        Stock less everything the wheel swept.
    leftover : Shape or None
        What should have gone and is still there.
    missed : Shape or None
        What of the leftover the wheel's corner does not account for.
    gouge : Shape or None
        What should have stayed and is gone.
    dug : Shape or None
        What of the gouge lies outside the drawn corner's fillet, which a sharper wheel takes away.
    corner : CornerMade or None
        The corner between floor and wall; None without a wall.
    faces : tuple of FaceMade
        Share of each target face that lies on the ground part's surface, within the touch tolerance.
    corner_shares : tuple of float
        Share of each target face that the wheel's own corner keeps it from.
    like : tuple of (str, float)
        The part that it is a copy of all through the sweep, and how far further along X it stands, mm; the
        part itself where there is none before it.
    """

    body: str
    target: Solid
    stock: Solid
    ground: Shape
    leftover: Shape | None
    missed: Shape | None
    gouge: Shape | None
    dug: Shape | None
    removed_mm3: float
    leftover_mm3: float
    gouge_mm3: float
    corner: CornerMade | None
    faces: tuple[FaceMade, ...]
    corner_shares: tuple[float, ...]
    like: tuple[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutDone:
    """A cut worked out, whatever made it.

    Parameters
    ----------
    movers : mapping of Mover to Shape
        What whatever moves sweeps; the first is what cuts.
    parts : tuple of PartGround
        The parts as it leaves them.
    made : CutMade
        The numbers.
    shapes : tuple of NamedShape
        What a report may show.
    """

    movers: Mapping[Mover, Shape]
    parts: tuple[PartGround, ...]
    made: CutMade
    shapes: tuple[NamedShape, ...] = ()

    @property
    def name(self) -> str:
        """What the cut is called."""
        return self.made.name


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroundCut(CutDone):
    """One cut of the wheel worked out: as stated, its targets, and the wheel's path."""

    cut: Cut
    targets: tuple[PartTargets, ...]
    path: WheelPath
