"""Which faces look at each other across a gap that carries flux, and the tubes that carry it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.contact_map import near_bodies
from fixturecheck.contact.patches.separation import near_faces
from fixturecheck.contact.placed import PlaneFrame, Standing
from fixturecheck.kernel.brep.primitives import Surface, SurfaceKind

_FIRST_STRIP_MM = 0.004
_STRIP_GROWTH = 0.6
_MOST_CELLS = 60_000
_HALVINGS = 4
# Cells at the rim of a round face's gap count whole or not at all, so few of its area may lie in them.
_RIM_HALVINGS, _RIM_SHARE = 5, 0.04
TOUCH_MM = 0.01
"""Drawn faces closer than this are taken to touch."""

LocalSize = Callable[[Floats, Floats], Floats]
"""Largest cell allowed at points (n, 3) of one face and (n, 3) of the other, mm, shape (n,)."""

Tubes = tuple[Floats, Floats, Floats, Floats]
"""Ends on either face, length (inf where there is no tube) and direction."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapField:
    """The tubes between two faces.

    Parameters
    ----------
    points_a_mm, points_b_mm : ndarray, shape (n, 3)
        Ends of each tube, in the machine's frame.
    gap_mm : ndarray, shape (n,)
        Length of each tube; zero where the drawn faces touch.
    weight_mm2 : ndarray, shape (n,)
        Area of each tube.
    normal : ndarray, shape (n, 3)
        Unit direction out of `a` into `b`, half-way between the two faces' normals.
    """

    points_a_mm: Floats
    points_b_mm: Floats
    gap_mm: Floats
    weight_mm2: Floats
    normal: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapRegion:
    """Two faces that look at each other within the band, not yet cut into tubes.

    Parameters
    ----------
    a, b : int
        The bodies, as indices.
    face_a, face_b : int
        Their faces.
    flat : bool
        Whether the two faces are planes that are parallel within a degree.
    seated : bool
        Whether they are parallel, touch, and are wider than narrow.
    fine_points_mm : ndarray, shape (m, 3)
        Points along a contact narrower than the mesh, around which the mesh must be finer.
    shape : object
        The region as a polygon, or None where `box` holds it all.
    box : tuple of float
        Bounds of the region in its own two coordinates, mm.
    tubes : callable
        From coordinates (n, 2) to tubes.
    opening : bool
        Whether the gap opens from zero along the second coordinate, which then needs thin first strips.
    arched : bool
        Whether its tubes are arcs through open air, from one pole to the next.
    """

    a: int
    b: int
    face_a: int
    face_b: int
    flat: bool
    seated: bool
    fine_points_mm: Floats
    shape: Any
    box: tuple[float, float, float, float]
    tubes: Callable[[Floats], Tubes]
    opening: bool = False
    arched: bool = False

    @property
    def most_mm2(self) -> float:
        """Its area; of a round face's that of the box that holds it."""
        low_u, low_v, high_u, high_v = self.box
        return (high_u - low_u) * (high_v - low_v) if self.shape is None else float(self.shape.area)

    def sample(self, local_size: LocalSize, spacing_mm: float) -> GapField:
        """Cut the region into tubes no wider than the local size, with exact areas where it is flat.

        Cells are halved until they fit: points sparser than the surface triangles under them would
        leave triangles that carry nothing.

        Parameters
        ----------
        local_size : callable
            Largest width of a tube by its two ends; see `LocalSize`.
        spacing_mm : float
            Largest width wherever it stands.
        """
        low = np.array([self.box[:2]])
        high = np.array([self.box[2:]])
        done: list[tuple[Floats, Floats]] = []
        count = 0
        while len(low):
            centre = (low + high) / 2
            starts, ends, _, _ = self.tubes(centre)
            most = np.minimum(local_size(starts, ends), spacing_mm)[:, None].repeat(2, axis=1)
            if self.opening:
                strip = np.maximum(_FIRST_STRIP_MM, _STRIP_GROWTH * centre[:, 1])
                most[:, 1] = np.minimum(most[:, 1], strip)
            pieces = np.ceil((high - low) / most - 1e-9).astype(int)
            # Many at once where the cell is far too large, but no more than the sizes at its centre tell.
            pieces = np.clip(pieces, 1, 8 if not done else 3)
            fits = (pieces == 1).all(axis=1)
            done.append((low[fits], high[fits]))
            count += int(fits.sum())
            low, high = _divide(low[~fits], high[~fits], pieces[~fits])
            if count + len(low) > _MOST_CELLS:
                done.append((low, high))
                break
        low, high = (np.vstack(parts) for parts in zip(*done, strict=True))
        field = self._field(low, high)
        for _ in range(_HALVINGS):
            if len(field.gap_mm):
                break
            # What lies within the band may be a sliver that the middles of all cells miss.
            low, high = _divide(low, high, np.full(low.shape, 2))
            field = self._field(low, high)
        return field

    def _to_the_rim(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Halve cells that the rim of the region crosses until little of its area lies in them."""
        for _ in range(_RIM_HALVINGS):
            corners = np.stack(
                [low, np.c_[high[:, 0], low[:, 1]], high, np.c_[low[:, 0], high[:, 1]]], axis=1
            )
            inside = np.isfinite(self.tubes(corners.reshape(-1, 2))[2]).reshape(-1, 4)
            crossed = inside.any(axis=1) & ~inside.all(axis=1)
            area = np.prod(high - low, axis=1)
            if area[crossed].sum() <= _RIM_SHARE * area[inside.any(axis=1)].sum():
                break
            halves = _divide(low[crossed], high[crossed], np.full((int(crossed.sum()), 2), 2))
            low, high = np.vstack([low[~crossed], halves[0]]), np.vstack([high[~crossed], halves[1]])
        return low, high

    def _field(self, low: Floats, high: Floats) -> GapField:
        if self.shape is None:
            low, high = self._to_the_rim(low, high)
            at, area = (low + high) / 2, np.prod(high - low, axis=1)
        else:
            cells = shapely.intersection(self.shape, shapely.box(*low.T, *high.T))
            area = shapely.area(cells)
            keep = area > 1e-9 * area.max()
            at, area = shapely.get_coordinates(shapely.centroid(cells[keep])), area[keep]
        starts, ends, gap, direction = self.tubes(at)
        keep = np.isfinite(gap)
        return GapField(
            points_a_mm=starts[keep],
            points_b_mm=ends[keep],
            gap_mm=np.maximum(gap[keep], 0.0),
            weight_mm2=area[keep],
            normal=direction[keep],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Which gaps count.

    Parameters
    ----------
    band_mm : float
        Longest tube between faces whose gap opens: wedges, and round faces.
    flat_mm : float
        Longest tube between flat faces that are parallel within a degree, if that is more: such a face pulls
        over its whole area, whatever else of the body touches.
    fine_mm : float
        Mesh size at narrow contacts.
    narrow_mm : float
        A contact narrower than this is narrow.
    """

    band_mm: float = 1.0
    flat_mm: float = 0.0
    fine_mm: float = 0.5
    narrow_mm: float = 3.0

    @property
    def widest_mm(self) -> float:
        """The longest tube of either kind."""
        return max(self.band_mm, self.flat_mm)


def _divide(low: Floats, high: Floats, pieces: Any) -> tuple[Floats, Floats]:
    """Cut each cell into its own number of pieces both ways."""
    lows, highs = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for nx, ny in np.unique(pieces, axis=0) if len(pieces) else []:
        of = (pieces == (nx, ny)).all(axis=1)
        step = (high[of] - low[of]) / (nx, ny)
        for ix in range(nx):
            for iy in range(ny):
                lows.append(low[of] + step * (ix, iy))
                highs.append(low[of] + step * (ix + 1, iy + 1))
    return np.vstack(lows), np.vstack(highs)


def _round_region(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band
) -> Iterator[GapRegion]:
    """Yield the gap between a cylinder and a plane or another cylinder, if they come within the band.

    Parameters
    ----------
    bodies : sequence of Standing
        All iron bodies where they stand.
    ours, theirs : tuple of (int, int)
        A body and one of its faces, on either side; one of the two is a cylinder.
    how : Band
        How far apart faces are looked at, and how fine.

    Yields
    ------
    GapRegion
        The gap as tubes of flux; none where the faces stay further apart than the band.
    """
    pin, other = ours, theirs
    if _pin_rank(bodies, theirs) < _pin_rank(bodies, ours):
        pin, other = theirs, ours
    chart = _Chart(bodies[pin[0]], pin[1], bodies[pin[0]].surface(pin[1]))
    radius = chart.surface.radius_mm
    swapped = pin != ours

    def tubes(at: Floats) -> Tubes:
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


def _grid(box: tuple[float, float, float, float], spacing: float) -> Floats:
    """Centres of equal cells that fill a box, shape (n, 2)."""
    axes = []
    for low, high in ((box[0], box[2]), (box[1], box[3])):
        count = max(2, math.ceil((high - low) / spacing))
        axes.append(low + (np.arange(count) + 0.5) * (high - low) / count)
    u, v = np.meshgrid(*axes, indexing="ij")
    return np.stack([u.ravel(), v.ravel()], axis=1)


def _pin_rank(bodies: Sequence[Standing], face: tuple[int, int]) -> tuple[int, float]:
    """Sort key: pins before holes before planes, the smaller first."""
    if bodies[face[0]].table.kinds[face[1]] == SurfaceKind.PLANE:
        return (2, 0.0)
    surface = bodies[face[0]].surface(face[1])
    return (0 if surface.outward > 0 else 1, surface.radius_mm)


def _feet(
    bodies: Sequence[Standing], face: tuple[int, int], points: Floats, normals: Floats
) -> tuple[Floats, Floats, Floats]:
    """Gap (inf where the face is not there or looks away), foot and face normal under each point."""
    body, index = bodies[face[0]], face[1]
    if body.table.kinds[index] == SurfaceKind.PLANE:
        m = body.normals[index]
        gap = points @ m - body.offsets[index]
        feet = points - gap[:, None] * m
        frame = PlaneFrame(m * body.offsets[index], m)
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

    def _unroll(self, points: Floats) -> tuple[Floats, Floats]:
        x = points - self.surface.origin
        return np.arctan2(x @ self._v, x @ self._u), x @ self.surface.axis

    def holds(self, points: Floats) -> Any:
        """Whether points of the cylinder lie on the face."""
        angle, height = self._unroll(points)
        turn = np.mod(angle - self._first, 2 * math.pi)
        return (turn <= self._span) & (height >= self._low) & (height <= self._high)

    def place(self, at: Floats) -> tuple[Floats, Floats]:
        """Return points and outward normals, each (n, 3), at (arc, height)."""
        angle = at[:, 0] / self.surface.radius_mm
        radial = np.cos(angle)[:, None] * self._u + np.sin(angle)[:, None] * self._v
        points = self.surface.origin + self.surface.radius_mm * radial + at[:, 1:] * self.surface.axis
        return points, self.surface.outward * radial

    def within(self, at: Floats, margin: float) -> tuple[float, float, float, float]:
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


PARALLEL_RAD = 1e-7
# Beyond this opening two planes no longer look at each other enough for tubes bent into arcs.
WIDEST_RAD = math.radians(60.0)
_FLAT_RAD = math.radians(1.0)


def gap_regions(
    bodies: Sequence[Standing], band: Callable[[int, int], Band | None]
) -> tuple[list[GapRegion], list[tuple[str, str]]]:
    """Find every pair of faces that look at each other across a gap that carries flux.

    Parameters
    ----------
    bodies : sequence of Standing
    band : callable
        Which gaps count between two bodies, by index; None leaves the pair out.

    Returns
    -------
    regions : list of GapRegion
    left_out : list of (str, str)
        Pairs of faces whose boxes meet but whose surfaces have no rule here: their flux, and so
        their hold, is not counted.
    """
    regions: list[GapRegion] = []
    left_out: list[tuple[str, str]] = []
    pairs = [(i, j) for i in range(len(bodies)) for j in range(i + 1, len(bodies))]
    widest = max((how.widest_mm for i, j in pairs if (how := band(i, j))), default=0.0)
    for i, j in sorted(near_bodies(bodies, widest)):
        how = band(i, j)
        if how is None:
            continue
        a, b = bodies[i], bodies[j]
        found: list[GapRegion] = []
        for f, g in near_faces(a, b, how.widest_mm).tolist():
            kinds = {a.table.kinds[f], b.table.kinds[g]}
            if kinds == {"plane"}:
                found += _planes(bodies, (i, f), (j, g), how)
            elif kinds <= {"plane", "cylinder"}:
                found += _round_region(bodies, (i, f), (j, g), how)
            elif _within(a, f, b, g, how.band_mm):
                left_out.append((a.label([f]), b.label([g])))
        regions += _without_fringe(found)
    return regions, left_out


def _within(a: Standing, f: int, b: Standing, g: int, reach_mm: float) -> bool:
    """Whether the boxes of two faces come within reach of each other."""
    apart = np.maximum(a.lows[f] - b.highs[g], b.lows[g] - a.highs[f])
    return bool((apart <= reach_mm).all())


def _without_fringe(found: list[GapRegion]) -> list[GapRegion]:
    """Leave out wedges beside a wide seat: fringe of a per cent or two that would cost most of the mesh."""
    ours = {r.face_a for r in found if r.seated}
    theirs = {r.face_b for r in found if r.seated}
    return [r for r in found if r.flat or not r.opening or not (r.face_a in ours or r.face_b in theirs)]


def _planes(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band
) -> Iterator[GapRegion]:
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    opening = math.atan2(float(np.linalg.norm(np.cross(n, m))), float(-n @ m))
    if opening > WIDEST_RAD:
        return
    if opening < PARALLEL_RAD:
        yield from _parallel(bodies, ours, theirs, how)
    else:
        yield from _wedge(bodies, ours, theirs, how, opening)


def _parallel(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band
) -> Iterator[GapRegion]:
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n = a.normals[ours[1]]
    gap = float(-b.offsets[theirs[1]] - a.offsets[ours[1]])
    if not -TOUCH_MM <= gap <= how.widest_mm:
        return
    frame = PlaneFrame(n * a.offsets[ours[1]], n)
    shared = clean(shapely.intersection(frame.polygon(a.rings(ours[1])), frame.polygon(b.rings(theirs[1]))))
    if shared.area <= 0:
        return
    narrow = 2 * shared.area / shared.length < how.narrow_mm / 2

    def tubes(at: Floats) -> Tubes:
        points = frame.space(at)
        return points, points + gap * n, np.full(len(at), max(gap, 0.0)), np.tile(n, (len(at), 1))

    yield GapRegion(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        flat=True,
        seated=gap <= TOUCH_MM and not narrow,
        fine_points_mm=frame.space(_along(shared, how.fine_mm)) if narrow else np.zeros((0, 3)),
        shape=shared,
        box=shared.bounds,
        tubes=tubes,
    )


def _wedge(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Band, opening: float
) -> Iterator[GapRegion]:
    """Tubes bent into arcs about the line where the two planes meet.

    Turning one plane about that line onto the other keeps lengths, so the shared region is the
    intersection of two polygons in (along the line, distance from it) coordinates, exactly.
    """
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    hinge = hinge_of((a, ours[1]), (b, theirs[1]))
    shared = hinge.shared((a, ours[1]), (b, theirs[1]))
    reach = (how.widest_mm if opening < _FLAT_RAD else how.band_mm) / opening
    low, _, high, _ = shared.bounds if shared.area > 0 else (0.0, 0.0, 0.0, 0.0)
    shared = clean(shapely.intersection(shared, shapely.box(low, 0.0, high, reach)))
    if shared.area <= 0:
        return
    narrow = reach < how.narrow_mm or 2 * shared.area / shared.length < how.narrow_mm / 2
    near = _line_points(shared, hinge, how.fine_mm) if narrow else np.zeros((0, 3))
    yield GapRegion(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        flat=opening < _FLAT_RAD,
        seated=False,
        fine_points_mm=near,
        shape=shared,
        box=shared.bounds,
        tubes=hinge.tubes(opening, (n - m) / np.linalg.norm(n - m)),
        opening=True,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hinge:
    """The line about which flux bends in arcs from one flat face to another.

    A point of either face has two coordinates: along the line, and away from it within the face.

    Parameters
    ----------
    origin, line : ndarray, shape (3,)
        A point of the line, mm, and its unit direction.
    out_a, out_b : ndarray, shape (3,)
        Unit directions away from the line, within either face.
    """

    origin: Floats
    line: Floats
    out_a: Floats
    out_b: Floats

    def shared(self, ours: tuple[Standing, int], theirs: tuple[Standing, int]) -> Any:
        """Return what the outlines of two faces share when one is turned onto the other about the line.

        Parameters
        ----------
        ours, theirs : tuple of Standing and int
            A body and the number of its face.

        Returns
        -------
        shapely geometry
            In the coordinates of the hinge, mm.
        """
        shapes = []
        for (body, face), out in ((ours, self.out_a), (theirs, self.out_b)):
            off = [r - self.origin for r in body.rings(face)]
            rings = [np.stack([r @ self.line, r @ out], axis=1) for r in off]
            shapes.append(shapely.Polygon(rings[0], rings[1:]))
        return shapely.intersection(*shapes)

    def tubes(self, opening_rad: float, direction: Floats) -> Callable[[Floats], Tubes]:
        """Return the arcs that start at points of the shared outline.

        Parameters
        ----------
        opening_rad : float
            Angle that the arcs turn through.
        direction : ndarray, shape (3,)
            Unit direction that the flux has in the middle of an arc.
        """

        def tubes(at: Floats) -> Tubes:
            along, away = at[:, :1] * self.line + self.origin, at[:, 1:]
            ends = along + away * self.out_a, along + away * self.out_b
            return *ends, at[:, 1] * opening_rad, np.tile(direction, (len(at), 1))

        return tubes


def hinge_of(ours: tuple[Standing, int], theirs: tuple[Standing, int]) -> Hinge:
    """Return the line where the planes of two flat faces meet.

    Parameters
    ----------
    ours, theirs : tuple of Standing and int
        A body and the number of its face; the two faces are not parallel.

    Returns
    -------
    Hinge
    """
    (a, f), (b, g) = ours, theirs
    n, m = a.normals[f], b.normals[g]
    line = np.cross(n, m)
    line /= np.linalg.norm(line)
    origin = np.linalg.solve(np.array([n, m, line]), np.array([a.offsets[f], b.offsets[g], 0.0]))
    # Along each plane, away from the line, to the side where each lies in front of the other.
    out_a, out_b = np.cross(n, line), np.cross(m, line)
    return Hinge(origin=origin, line=line, out_a=out_a * np.sign(out_a @ m), out_b=out_b * np.sign(out_b @ n))


def _line_points(shared: Any, hinge: Hinge, step_mm: float) -> Floats:
    """Points along the side of a wedge nearest its line, where it is narrowest."""
    low, near, high, _ = shared.bounds
    s = np.linspace(low, high, max(2, math.ceil((high - low) / step_mm) + 1))
    return np.asarray(hinge.origin + s[:, None] * hinge.line + near * hinge.out_a)


def clean(shape: Any) -> Any:
    """Keep the areas of an intersection, without the lines and points it may leave.

    Parameters
    ----------
    shape : shapely geometry
        What an operation on polygons left.

    Returns
    -------
    shapely geometry
        Its polygons.
    """
    return shapely.union_all([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])


def _along(shape: Any, step_mm: float) -> Floats:
    """Points along the outline of a region."""
    return np.asarray(shapely.get_coordinates(shapely.segmentize(shape.boundary, step_mm)))
