"""The room that wheel, flange and guard take where they stand and as they are raised, and what is in it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point, box, union_all
from shapely.geometry.base import BaseGeometry

from fixturecheck.errors import NotComputedError
from fixturecheck.hull import convex_hull
from fixturecheck.kernel.boolean import Apart, apart
from fixturecheck.kernel.measure import box_gap_mm, box_of, loose_box
from fixturecheck.kernel.place import placed_at, rotation, shifted
from fixturecheck.kernel.sample import tessellated
from fixturecheck.kernel.shapes import Box, Shape
from fixturecheck.machining.clearance import too_near
from fixturecheck.machining.cut import OF_WHEEL
from fixturecheck.machining.wheel_path import WheelRim, sweep_of
from fixturecheck.result.contact import Mover, WheelPath
from fixturecheck.setup.model import Machine


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelPose:
    """Where the wheel stands: its axis along X, its front face along Y, its lowest point, mm."""

    x_mm: float
    y_front_mm: float
    low_z_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meeting:
    """A mover and a body that it comes too near to."""

    mover: Mover
    body: str
    apart: Apart


Movers = Mapping[Mover, Shape]
"""The space of each mover."""

_LEAST_STEP_MM = 0.01
_EACH_WAY = 25
_ABOVE_MM = 1e-4
_COARSE_MM, _COARSE_RAD = 0.05, 0.2
_SAME_MM = 1e-6


class WheelRoom:
    """Wheel, flange and guard of a machine among bodies that stand still.

    Parameters
    ----------
    bodies : mapping of str to Shape
        Every body as it stands.
    rise_mm : float
        How far the wheel is raised from its lowest place at most.
    overlap_mm3 : float
        A common volume of more is a collision.
    """

    def __init__(
        self,
        machine: Machine,
        rim: WheelRim,
        bodies: Mapping[str, Shape],
        *,
        rise_mm: float,
        overlap_mm3: float,
    ) -> None:
        self._machine, self._rim, self._bodies = machine, rim, bodies
        self._overlap_mm3 = overlap_mm3
        self._boxes: dict[str, Box] = {name: box_of(shape) for name, shape in bodies.items()}
        still = {mover: sweep_of(mover, machine, rim, self._path(0.0)) for mover in OF_WHEEL}
        self._still: Movers = {mover: shape for mover, shape in still.items() if shape is not None}
        self._low_mm = {Mover.WHEEL: 0.0, Mover.FLANGE: rim.radius_mm - machine.flange.diameter_mm / 2}
        if Mover.GUARD in self._still:
            self._low_mm[Mover.GUARD] = box_of(self._still[Mover.GUARD])[2] + rim.radius_mm
        # A disc sweeps along Z what it sweeps along X, turned by a right angle about its axis. Raised further
        # than it has to be it meets nothing more, since everything stands lower than the wheel is lifted to.
        along = {m: sweep_of(m, machine, rim, self._path(rise_mm)) for m in (Mover.WHEEL, Mover.FLANGE)}
        up = rotation((0.0, 1.0, 0.0), -90.0)
        self._raised: Movers = {m: placed_at(shape, up) for m, shape in along.items() if shape is not None}

    def _path(self, to_x_mm: float, y_mm: tuple[float, float] = (0.0, 0.0)) -> WheelPath:
        """Return a path of the axis through the origin."""
        return WheelPath(
            floor_z_mm=-self._rim.radius_mm,
            x_from_mm=0.0,
            x_to_mm=to_x_mm,
            y_from_mm=y_mm[0],
            y_to_mm=y_mm[1],
            wall_sign=0,
        )

    def _there(self, movers: Movers, pose: WheelPose) -> Movers:
        by = (pose.x_mm, pose.y_front_mm, pose.low_z_mm + self._rim.radius_mm)
        return {mover: shifted(shape, by) for mover, shape in movers.items()}

    def at(self, pose: WheelPose) -> Movers:
        """Return the space of each mover where the wheel stands."""
        return self._there(self._still, pose)

    def free_places(
        self, area_mm: tuple[float, float, float, float], low_z_mm: float
    ) -> Iterator[tuple[float, float]]:
        """Yield places of the wheel's axis along X and its front face along Y at which no body bars it.

        Every triangle of a body that stands above the wheel's lowest point bars a region: itself, widened by
        the wheel's thickness toward the front and by half the chord of the wheel at its height either way
        along X. What is left of the area falls into pieces; each gives a place inside, and a grid of them.

        Parameters
        ----------
        area_mm : tuple of float
            Least X and Y, greatest X and Y that are asked; a line where both Y are the same.
        low_z_mm : float
            Height of the wheel's lowest point.

        References
        ----------
        Half the chord of a disc of radius R at a height h is sqrt(h (2 R - h)), closed form.
        """
        x0, y0, x1, y1 = area_mm
        area = LineString([(x0, y0), (x1, y0)]) if y1 - y0 < _SAME_MM else box(x0, y0, x1, y1)
        free = area.difference(self._barred(low_z_mm))
        pieces = [p for p in getattr(free, "geoms", [free]) if not p.is_empty]
        middle = Point((x0 + x1) / 2, (y0 + y1) / 2)
        grid = [Point(x, y) for x in np.linspace(x0, x1, _EACH_WAY) for y in np.linspace(y0, y1, _EACH_WAY)]
        inside = [p.representative_point() for p in pieces] + [p for p in grid if free.contains(p)]
        for place in sorted(inside, key=lambda p: (round(p.distance(middle), 6), p.x, p.y)):
            yield float(place.x), float(place.y)

    def _barred(self, low_z_mm: float) -> BaseGeometry:
        """Return where the wheel cannot stand at a height, by axis and front face."""
        radius_mm, thick_mm = self._rim.radius_mm, self._rim.thickness_mm
        regions: list[BaseGeometry] = []
        for name, body in self._bodies.items():
            if self._boxes[name][5] <= low_z_mm + _SAME_MM:
                continue
            places, corners = tessellated(body, _COARSE_MM, _COARSE_RAD)
            triangles = places[corners]
            tall = triangles[triangles[:, :, 2].max(axis=1) > low_z_mm + _ABOVE_MM]
            high = np.minimum(tall[:, :, 2].max(axis=1) - low_z_mm, radius_mm)
            half = np.sqrt(high * (2.0 * radius_mm - high))
            by_x = half[:, None, None] * np.array([-1.0, 1.0])[None, :, None]
            by_y = np.array([-thick_mm, 0.0])[None, None, :]
            sums_x = tall[:, :, 0][:, :, None, None] + (by_x + 0.0 * by_y)[:, None]
            sums_y = tall[:, :, 1][:, :, None, None] + (0.0 * by_x + by_y)[:, None]
            points = np.stack([sums_x, sums_y], axis=-1).reshape(len(tall), -1, 2)
            regions += list(convex_hull(points))
        return union_all(regions)

    def raised(self, pose: WheelPose) -> Movers:
        """Return the space of wheel and flange as they are raised straight up from a pose."""
        return self._there(self._raised, pose)

    def across(self, pose: WheelPose, by_mm: float) -> Movers:
        """Return the space of wheel and flange as they are fed across from a pose."""
        path = self._path(0.0, (min(by_mm, 0.0), max(by_mm, 0.0)))
        swept = {m: sweep_of(m, self._machine, self._rim, path) for m in (Mover.WHEEL, Mover.FLANGE)}
        return self._there({m: shape for m, shape in swept.items() if shape is not None}, pose)

    def hits(self, movers: Movers, pose: WheelPose) -> Iterator[Meeting]:
        """Yield every mover and body that share a volume.

        Parameters
        ----------
        pose : WheelPose
            The lowest place of the movers.

        Raises
        ------
        NotComputedError
            The kernel could not tell.
        """
        for mover, shape in movers.items():
            low_mm = pose.low_z_mm + self._low_mm[mover]
            for name, body in self._bodies.items():
                if self._boxes[name][5] <= low_mm + _SAME_MM:
                    continue
                how = apart(shape, body, f"the {mover} and {name}", within_mm=0.0)
                if how is not None and how.common_mm3 > self._overlap_mm3:
                    yield Meeting(mover=mover, body=name, apart=how)

    def too_near(self, movers: Movers, pose: WheelPose, touched: Collection[str]) -> Iterator[Meeting]:
        """Yield every mover and body that come nearer than is to be kept clear.

        Parameters
        ----------
        pose : WheelPose
            The lowest place of the movers.
        touched : collection of str
            Bodies that the wheel may touch, but not run into.

        Raises
        ------
        NotComputedError
            The kernel could not tell.
        """
        least_mm = self._machine.least_clearance_mm
        for mover, shape in movers.items():
            low_mm = pose.low_z_mm + self._low_mm[mover]
            for name, body in self._bodies.items():
                may = mover is Mover.WHEEL and name in touched
                if self._boxes[name][5] <= low_mm + (_SAME_MM if may else -least_mm):
                    continue
                how = apart(shape, body, f"the {mover} and {name}", within_mm=least_mm)
                if how is None:
                    continue
                if how.common_mm3 > self._overlap_mm3 or (not may and too_near(how.distance_mm, least_mm)):
                    yield Meeting(mover=mover, body=name, apart=how)

    def guard_meets(self, pose: WheelPose, by_mm: float) -> Iterator[Meeting]:
        """Yield the bodies that the guard comes too near to on its way straight up from a pose.

        It is moved up by as much as it has room for, time and again: within its distance from a body it
        cannot hit it. Where it comes too near, the body is in its way.

        Raises
        ------
        NotComputedError
            The kernel could not tell.
        """
        hood = self.at(pose).get(Mover.GUARD)
        if hood is None:
            return
        low_mm = pose.low_z_mm + self._low_mm[Mover.GUARD]
        least_mm = self._machine.least_clearance_mm
        for name, body in self._bodies.items():
            gone_mm = 0.0
            while self._boxes[name][5] > low_mm + gone_mm - least_mm and gone_mm <= by_mm:
                there = shifted(hood, (0.0, 0.0, gone_mm))
                how = apart(there, body, f"the guard and {name}")
                if how is None:
                    message = f"the distance between the guard and {name} is not known"
                    raise NotComputedError(message)
                if too_near(how.distance_mm, least_mm):
                    yield Meeting(mover=Mover.GUARD, body=name, apart=how)
                    break
                if box_gap_mm(loose_box(there), loose_box(body)) > by_mm - gone_mm:
                    break
                gone_mm += max(how.distance_mm - least_mm, _LEAST_STEP_MM)
