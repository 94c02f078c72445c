"""Gaps between a round face and a flat or another round one, in the pin's unrolled coordinates."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from fixturecheck.contact.fluxtube import TOUCH_MM, Band, GapRegion, Tubes
from fixturecheck.contact.standing import Array, Frame, Standing
from fixturecheck.kernel.brep.primitives import Surface


def round_region(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band
) -> Iterator[GapRegion]:
    """Yield the gap between a cylinder and a plane or another cylinder, if they come within the band."""
    pin, other = ours, theirs
    if _pin_rank(bodies, theirs) < _pin_rank(bodies, ours):
        pin, other = theirs, ours
    chart = _Chart(bodies[pin[0]], pin[1], bodies[pin[0]].surface(pin[1]))
    radius = chart.surface.radius_mm
    swapped = pin != ours

    def tubes(at: Array) -> Tubes:
        points, normals = chart.place(at)
        gap, feet, across = _feet(bodies, other, points, normals)
        gap = np.where((gap <= how.band_mm) & (gap >= -TOUCH_MM), gap, np.inf)
        direction = normals - across
        direction /= np.maximum(np.linalg.norm(direction, axis=1, keepdims=True), 1e-12)
        return (feet, points, gap, -direction) if swapped else (points, feet, gap, direction)

    coarse = _grid(chart.box, radius / 16)
    _, _, gap, _ = tubes(coarse)
    near = np.isfinite(gap)
    if not near.any():
        return
    box = chart.within(coarse[near], radius / 12)
    fine = _grid(box, how.fine_mm)
    starts, _, gap, _ = tubes(fine)
    if not np.isfinite(gap).any():
        return
    close = gap <= gap.min() + how.fine_mm**2 / (2 * radius)
    yield GapRegion(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        flat=False,
        seated=False,
        fine_points_mm=starts[close],
        shape=None,
        box=box,
        tubes=tubes,
    )


def _grid(box: tuple[float, float, float, float], spacing: float) -> Array:
    """Centres of equal cells that fill a box, shape (n, 2)."""
    axes = []
    for low, high in ((box[0], box[2]), (box[1], box[3])):
        count = max(2, math.ceil((high - low) / spacing))
        axes.append(low + (np.arange(count) + 0.5) * (high - low) / count)
    u, v = np.meshgrid(*axes, indexing="ij")
    return np.stack([u.ravel(), v.ravel()], axis=1)


def _pin_rank(bodies: Sequence[Standing], face: tuple[int, int]) -> tuple[int, float]:
    """Sort key: pins before holes before planes, the smaller first."""
    if bodies[face[0]].table.kinds[face[1]] == "plane":
        return (2, 0.0)
    surface = bodies[face[0]].surface(face[1])
    return (0 if surface.outward > 0 else 1, surface.radius_mm)


def _feet(
    bodies: Sequence[Standing], face: tuple[int, int], points: Array, normals: Array
) -> tuple[Array, Array, Array]:
    """Gap (inf where the face is not there or looks away), foot and face normal under each point."""
    body, index = bodies[face[0]], face[1]
    if body.table.kinds[index] == "plane":
        m = body.normals[index]
        gap = points @ m - body.offsets[index]
        feet = points - gap[:, None] * m
        frame = Frame(m * body.offsets[index], m)
        flat = frame.flat(feet)
        inside = shapely.contains_xy(frame.polygon(body.rings(index)), flat[:, 0], flat[:, 1])
        across = np.tile(m, (len(points), 1))
    else:
        surface = body.surface(index)
        chart = _Chart(body, index, surface)
        from_axis = points - surface.origin
        from_axis -= (from_axis @ surface.axis)[:, None] * surface.axis
        distance = np.maximum(np.linalg.norm(from_axis, axis=1), 1e-12)
        across = surface.outward * from_axis / distance[:, None]
        gap = surface.outward * (distance - surface.radius_mm)
        feet = points - gap[:, None] * across
        inside = chart.holds(feet)
    facing = np.einsum("ij,ij->i", normals, across) < -0.3
    return np.where(inside & facing, gap, np.inf), feet, across


class _Chart:
    """A cylinder's face unrolled: arc about its axis and height along it, both in mm."""

    def __init__(self, body: Standing, face: int, surface: Surface) -> None:
        self.surface = surface
        self._u = np.cross(surface.axis, np.eye(3)[int(np.argmin(np.abs(surface.axis)))])
        self._u /= np.linalg.norm(self._u)
        self._v = np.cross(surface.axis, self._u)
        samples = body.points(body.table.samples[body.table.face_edges[face]].reshape(-1, 3))
        angle, height = self._unroll(samples)
        turns = np.sort(np.mod(angle, 2 * math.pi))
        steps = np.diff(np.append(turns, turns[0] + 2 * math.pi))
        widest = int(np.argmax(steps))
        # Edges are sampled every eighth; a wider step than a sixth of a turn is where no face is.
        self._whole = bool(steps[widest] < 0.35 * math.pi)
        self._first = 0.0 if self._whole else float(turns[(widest + 1) % len(turns)])
        self._span = 2 * math.pi if self._whole else 2 * math.pi - float(steps[widest])
        self._low, self._high = float(height.min()), float(height.max())
        radius = surface.radius_mm
        self.box = (radius * self._first, self._low, radius * (self._first + self._span), self._high)

    def _unroll(self, points: Array) -> tuple[Array, Array]:
        x = points - self.surface.origin
        return np.arctan2(x @ self._v, x @ self._u), x @ self.surface.axis

    def holds(self, points: Array) -> Any:
        """Whether points of the cylinder lie on the face."""
        angle, height = self._unroll(points)
        turn = np.mod(angle - self._first, 2 * math.pi)
        return (turn <= self._span) & (height >= self._low) & (height <= self._high)

    def place(self, at: Array) -> tuple[Array, Array]:
        """Return points and outward normals, each (n, 3), at (arc, height)."""
        angle = at[:, 0] / self.surface.radius_mm
        radial = np.cos(angle)[:, None] * self._u + np.sin(angle)[:, None] * self._v
        points = self.surface.origin + self.surface.radius_mm * radial + at[:, 1:] * self.surface.axis
        return points, self.surface.outward * radial

    def within(self, at: Array, margin: float) -> tuple[float, float, float, float]:
        """Box of arc and height around points of it, with a margin, no larger than the face."""
        radius = self.surface.radius_mm
        angle = np.sort(np.mod(at[:, 0] / radius - self._first, 2 * math.pi))
        first, span = self._first, self._span
        if self._whole:
            # Start the turn in the widest empty stretch, so that a band across the seam stays one.
            steps = np.diff(np.append(angle, angle[0] + 2 * math.pi))
            start = int((np.argmax(steps) + 1) % len(angle))
            first += float(angle[start])
            last = first + 2 * math.pi - float(steps.max())
            arc = first - margin / radius, min(last + margin / radius, first - margin / radius + 2 * math.pi)
        else:
            arc = (
                max(first + float(angle[0]) - margin / radius, first),
                min(first + float(angle[-1]) + margin / radius, first + span),
            )
        low, high = float(at[:, 1].min()) - margin, float(at[:, 1].max()) + margin
        return radius * arc[0], max(low, self._low), radius * arc[1], min(high, self._high)
