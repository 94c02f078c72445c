"""What moves with the wheel in a cut, and the space it takes up on the way."""

from __future__ import annotations

from dataclasses import dataclass

from fixturecheck.access.model import WheelPath
from fixturecheck.access.wheel import Rim
from fixturecheck.kernel.boolean import joined
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.kernel.sweep import Hood, Travel, swept_disc, swept_hood, swept_outline
from fixturecheck.setup.model import Machine


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sweeps:
    """Swept solids of the wheel, of both flanges and of the guard; None where there is no guard."""

    wheel: Solid
    flange: Shape
    guard: Shape | None


def travel_of(path: WheelPath, rim: Rim) -> Travel:
    """Return the travel of the spindle axis in the last pass."""
    return Travel(
        x_from_mm=path.x_from_mm,
        x_to_mm=path.x_to_mm,
        y_from_mm=path.y_from_mm,
        y_to_mm=path.y_to_mm,
        axis_z_mm=path.floor_z_mm + rim.radius_mm,
    )


def sweeps_of(machine: Machine, rim: Rim, path: WheelPath) -> Sweeps:
    """Return the swept solids of one path."""
    travel = travel_of(path, rim)
    return Sweeps(
        wheel=swept_outline(rim.outline, travel),
        flange=_flanges(machine, rim, travel),
        guard=_hood(machine, rim, travel),
    )


def sweep_of(mover: str, machine: Machine, rim: Rim, path: WheelPath) -> Shape | None:
    """Return the swept solid of `wheel`, `flange` or `guard` alone; None without a guard."""
    travel = travel_of(path, rim)
    if mover == "wheel":
        return swept_outline(rim.outline, travel)
    return _flanges(machine, rim, travel) if mover == "flange" else _hood(machine, rim, travel)


def wheel_at(rim: Rim, path: WheelPath) -> Solid:
    """Return the wheel itself where the last pass ends."""
    z_mm = path.floor_z_mm + rim.radius_mm
    x_mm, y_mm = path.x_to_mm, path.y_from_mm if path.wall_sign < 0 else path.y_to_mm
    still = Travel(x_from_mm=x_mm, x_to_mm=x_mm, y_from_mm=y_mm, y_to_mm=y_mm, axis_z_mm=z_mm)
    return swept_outline(rim.outline, still)


def _flanges(machine: Machine, rim: Rim, travel: Travel) -> Shape:
    """Sweep both flanges; a cross feed longer than the wheel is thick makes them meet."""
    radius_mm, thick_mm = machine.flange.diameter_mm / 2, machine.flange.thickness_mm
    front = swept_disc(radius_mm, rim.clamp_front_mm - thick_mm, rim.clamp_front_mm, travel)
    rear = swept_disc(radius_mm, rim.clamp_rear_mm, rim.clamp_rear_mm + thick_mm, travel)
    return joined([front, rear], "the flanges' sweeps")


def _hood(machine: Machine, rim: Rim, travel: Travel) -> Shape | None:
    guard = machine.guard
    if guard is None:
        return None
    inner_mm = rim.radius_mm + guard.radial_gap_mm
    hood = Hood(
        opening_deg=guard.opening_deg,
        inner_mm=inner_mm,
        outer_mm=inner_mm + guard.wall_mm,
        y0_mm=-guard.side_gap_mm,
        y1_mm=rim.thickness_mm + guard.side_gap_mm,
        wall_mm=guard.wall_mm,
    )
    return swept_hood(hood, travel)
