"""Through which tubes flux passes from face to face: points, lengths and areas of the gaps between bodies."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from fixturecheck.contact.broad import near_bodies, near_faces
from fixturecheck.contact.standing import Array, Frame, Standing
from fixturecheck.kernel.facets import Surface

_PARALLEL_RAD = 1e-7
# Beyond this opening two planes no longer look at each other enough for tubes bent into arcs.
_WIDEST_RAD = math.radians(95.0)
_AVERAGED_RAD = math.radians(1.0)
_FIRST_STRIP_MM = 0.004
_STRIP_GROWTH = 1.6
_MOST_CELLS = 40_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapField:
    """The tubes between two faces.

    Parameters
    ----------
    a, b : int
        The bodies, as indices.
    face_a, face_b : int
        Their faces.
    points_a_mm, points_b_mm : ndarray, shape (n, 3)
        Ends of each tube, in the machine's frame.
    gap_mm : ndarray, shape (n,)
        Length of each tube; zero where the drawn faces touch.
    weight_mm2 : ndarray, shape (n,)
        Area of each tube.
    normal : ndarray, shape (n, 3)
        Unit direction out of `a` into `b`, half-way between the two faces' normals.
    flat : bool
        Whether the two faces are planes that are parallel within a degree.
    fine_points_mm : ndarray, shape (m, 3)
        Points along a contact narrower than the mesh, around which the mesh must be finer.
    """

    a: int
    b: int
    face_a: int
    face_b: int
    points_a_mm: Array
    points_b_mm: Array
    gap_mm: Array
    weight_mm2: Array
    normal: Array
    flat: bool
    fine_points_mm: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """How gaps are sampled.

    Parameters
    ----------
    band_mm : float
        Longest tube.
    spacing_mm : float
        Distance of points on wide flat patches; a third of the mesh size.
    fine_mm : float
        Mesh size at narrow contacts; points there are a third of it apart.
    narrow_mm : float
        A contact narrower than this is narrow.
    """

    band_mm: float = 1.0
    spacing_mm: float = 0.9
    fine_mm: float = 0.5
    narrow_mm: float = 3.0


def gap_fields(
    bodies: Sequence[Standing], sampling: Callable[[int, int], Sampling | None]
) -> tuple[list[GapField], list[tuple[str, str]]]:
    """Find every pair of faces that look at each other and sample the tubes between them.

    Parameters
    ----------
    bodies : sequence of Standing
    sampling : callable
        How to sample the gaps of two bodies, by index; None leaves the pair out.

    Returns
    -------
    fields : list of GapField
    left_out : list of (str, str)
        Pairs of faces whose boxes meet but whose surfaces have no rule here: their flux, and so
        their hold, is not counted.
    """
    fields: list[GapField] = []
    left_out: list[tuple[str, str]] = []
    widest = max(
        (s.band_mm for i in range(len(bodies)) for j in range(i) if (s := sampling(j, i))), default=0.0
    )
    for i, j in sorted(near_bodies(bodies, widest)):
        how = sampling(i, j)
        if how is None:
            continue
        a, b = bodies[i], bodies[j]
        for f, g in sorted(zip(*map(np.ndarray.tolist, near_faces(a, b, how.band_mm)), strict=True)):
            kinds = {a.table.kinds[f], b.table.kinds[g]}
            if kinds == {"plane"}:
                fields += _planes(bodies, (i, f), (j, g), how)
            elif kinds <= {"plane", "cylinder"}:
                fields += _round(bodies, (i, f), (j, g), how)
            else:
                left_out.append((a.label([f]), b.label([g])))
    return fields, left_out


def face_points(body: Standing, face: int, spacing_mm: float) -> tuple[Array, Array]:
    """Return quadrature points (n, 3) and areas (n,) of a whole planar face."""
    frame = Frame(body.normals[face] * body.offsets[face], body.normals[face])
    flat, weight = _cells(frame.polygon(body.rings(face)), spacing_mm)
    return frame.space(flat), weight


def _planes(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Sampling
) -> Iterator[GapField]:
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    opening = math.atan2(float(np.linalg.norm(np.cross(n, m))), float(-n @ m))
    if opening > _WIDEST_RAD:
        return
    if opening < _PARALLEL_RAD:
        yield from _parallel(bodies, ours, theirs, how)
    else:
        yield from _wedge(bodies, ours, theirs, how, opening)


def _parallel(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Sampling
) -> Iterator[GapField]:
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n = a.normals[ours[1]]
    gap = float(-b.offsets[theirs[1]] - a.offsets[ours[1]])
    if not -0.01 <= gap <= how.band_mm:
        return
    frame = Frame(n * a.offsets[ours[1]], n)
    shared = _clean(shapely.intersection(frame.polygon(a.rings(ours[1])), frame.polygon(b.rings(theirs[1]))))
    if shared.area <= 0:
        return
    width = 2 * shared.area / shared.length
    narrow = width < how.narrow_mm / 2
    flat, weight = _cells(shared, min(how.fine_mm, width) / 3 if narrow else how.spacing_mm)
    points = frame.space(flat)
    yield GapField(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        points_a_mm=points,
        points_b_mm=points + gap * n,
        gap_mm=np.full(len(flat), max(gap, 0.0)),
        weight_mm2=weight,
        normal=np.tile(n, (len(flat), 1)),
        flat=True,
        fine_points_mm=frame.space(_along(shared, how.fine_mm)) if narrow else np.zeros((0, 3)),
    )


def _wedge(
    bodies: Sequence[Standing],
    ours: tuple[int, int],
    theirs: tuple[int, int],
    how: Sampling,
    opening: float,
) -> Iterator[GapField]:
    """Tubes bent into arcs about the line where the two planes meet.

    Turning one plane about that line onto the other keeps lengths, so the shared region is the
    intersection of two polygons in (along the line, distance from it) coordinates, exactly.
    """
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    line = np.cross(n, m)
    line /= np.linalg.norm(line)
    dots = np.array([a.offsets[ours[1]], b.offsets[theirs[1]], 0.0])
    origin = np.linalg.solve(np.array([n, m, line]), dots)
    # Along each plane, away from the line, to the side where each lies in front of the other.
    out_a, out_b = np.cross(n, line), np.cross(m, line)
    out_a *= np.sign(out_a @ m)
    out_b *= np.sign(out_b @ n)
    shapes = []
    for body, face, out in ((a, ours[1], out_a), (b, theirs[1], out_b)):
        rings = [np.stack([(r - origin) @ line, (r - origin) @ out], axis=1) for r in body.rings(face)]
        shapes.append(shapely.Polygon(rings[0], rings[1:]))
    reach = how.band_mm / opening
    shared = shapely.intersection(*shapes)
    low, _, high, _ = shared.bounds if shared.area > 0 else (0.0, 0.0, 0.0, 0.0)
    shared = _clean(shapely.intersection(shared, shapely.box(low, 0.0, high, reach)))
    if shared.area <= 0:
        return
    narrow = reach < how.narrow_mm or 4 * shared.area / shared.length < how.narrow_mm
    spacing = how.fine_mm / 3 if narrow else how.spacing_mm
    nearest = shared.bounds[1]
    flat, weight = _cells(shared, spacing, graded_from=nearest if nearest * opening < 0.05 else None)
    along, away = flat[:, :1] * line + origin, flat[:, 1:]
    direction = (n - m) / np.linalg.norm(n - m)
    yield GapField(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        points_a_mm=along + away * out_a,
        points_b_mm=along + away * out_b,
        gap_mm=flat[:, 1] * opening,
        weight_mm2=weight,
        normal=np.tile(direction, (len(flat), 1)),
        flat=opening < _AVERAGED_RAD,
        fine_points_mm=_line_points(shared, line, origin, out_a, how.fine_mm) if narrow else np.zeros((0, 3)),
    )


def _line_points(shared: Any, line: Array, origin: Array, out: Array, step_mm: float) -> Array:
    """Points along the side of a wedge nearest its line, where it is narrowest."""
    low, near, high, _ = shared.bounds
    s = np.linspace(low, high, max(2, math.ceil((high - low) / step_mm) + 1))
    return np.asarray(origin + s[:, None] * line + near * out)


def _round(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], how: Sampling
) -> Iterator[GapField]:
    """Tubes between a cylinder and a plane or another cylinder, sampled on the smaller pin."""
    pin, other = ours, theirs
    if _pin_rank(bodies, theirs) < _pin_rank(bodies, ours):
        pin, other = theirs, ours
    body, surface = bodies[pin[0]], bodies[pin[0]].surface(pin[1])
    chart = _Chart(body, pin[1], surface)
    points, normals, weight = chart.grid(chart.everywhere, surface.radius_mm / 12)
    gap, _, _ = _feet(bodies, other, points, normals)
    near = chart.box_around(points[gap <= how.band_mm], surface.radius_mm / 12)
    if near is None:
        return
    points, normals, weight = chart.grid(near, how.fine_mm / 3)
    gap, feet, across = _feet(bodies, other, points, normals)
    keep = (gap <= how.band_mm) & (gap >= -0.01)
    if not keep.any():
        return
    points, feet, gap = points[keep], feet[keep], np.maximum(gap[keep], 0.0)
    direction = normals[keep] - across[keep]
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    nearest = points[gap <= gap.min() + how.fine_mm**2 / (2 * surface.radius_mm)]
    swapped = pin != ours
    yield GapField(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        points_a_mm=feet if swapped else points,
        points_b_mm=points if swapped else feet,
        gap_mm=gap,
        weight_mm2=weight[keep],
        normal=-direction if swapped else direction,
        flat=False,
        fine_points_mm=nearest[:: max(1, len(nearest) // 400)],
    )


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
    """A cylinder's face unrolled: angle about its axis and height along it."""

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
        # Edges are sampled every eighth; a wider step than a quarter turn and a bit is where no face is.
        whole = steps[widest] < 0.35 * math.pi
        first = 0.0 if whole else float(turns[(widest + 1) % len(turns)])
        span = 2 * math.pi if whole else 2 * math.pi - float(steps[widest])
        self.everywhere = (first, first + span, float(height.min()), float(height.max()))

    def _unroll(self, points: Array) -> tuple[Array, Array]:
        x = points - self.surface.origin
        return np.arctan2(x @ self._v, x @ self._u), x @ self.surface.axis

    def holds(self, points: Array) -> Any:
        """Whether points of the cylinder lie on the face."""
        angle, height = self._unroll(points)
        first, last, low, high = self.everywhere
        turn = np.mod(angle - first, 2 * math.pi)
        return (turn <= last - first) & (height >= low) & (height <= high)

    def grid(self, box: tuple[float, float, float, float], spacing: float) -> tuple[Array, Array, Array]:
        """Points, outward normals and areas of cells that fill a box of angle and height."""
        first, last, low, high = box
        radius = self.surface.radius_mm
        spacing = max(spacing, math.sqrt(radius * (last - first) * (high - low) / _MOST_CELLS))
        across = max(4, math.ceil(radius * (last - first) / spacing))
        up = max(1, math.ceil((high - low) / spacing))
        angle = first + (np.arange(across) + 0.5) * (last - first) / across
        height = low + (np.arange(up) + 0.5) * (high - low) / up
        angle, height = (g.ravel() for g in np.meshgrid(angle, height, indexing="ij"))
        radial = np.cos(angle)[:, None] * self._u + np.sin(angle)[:, None] * self._v
        points = self.surface.origin + radius * radial + height[:, None] * self.surface.axis
        area = radius * (last - first) * (high - low) / (across * up)
        return points, self.surface.outward * radial, np.full(len(points), area)

    def box_around(self, points: Array, margin: float) -> tuple[float, float, float, float] | None:
        """Box of angle and height that holds points, with a margin, within the face."""
        if not len(points):
            return None
        first, last, low, high = self.everywhere
        angle, height = self._unroll(points)
        middle = math.atan2(float(np.sin(angle).mean()), float(np.cos(angle).mean()))
        turn = np.mod(angle - middle + math.pi, 2 * math.pi) - math.pi
        more = margin / self.surface.radius_mm
        a0, a1 = middle + turn.min() - more, middle + turn.max() + more
        if last - first < 2 * math.pi - 1e-9:
            shift = 2 * math.pi * math.ceil((first - a1) / (2 * math.pi))
            a0, a1 = max(a0 + shift, first), min(a1 + shift, last)
        return a0, a1, max(float(height.min()) - margin, low), min(float(height.max()) + margin, high)


def _clean(shape: Any) -> Any:
    """Keep the areas of an intersection, without the lines and points it may leave."""
    return shapely.union_all([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])


def _along(shape: Any, step_mm: float) -> Array:
    """Points along the outline of a region."""
    return np.asarray(shapely.get_coordinates(shapely.segmentize(shape.boundary, step_mm)))


def _cells(shape: Any, spacing: float, graded_from: float | None = None) -> tuple[Array, Array]:
    """Cut a region into cells no larger than a spacing: centroids (n, 2) and exact areas (n,).

    With `graded_from` the rows start thin at that ordinate and grow, for a gap that opens from there.
    """
    x0, y0, x1, y1 = shape.bounds
    spacing = max(spacing, math.sqrt((x1 - x0) * (y1 - y0) / _MOST_CELLS))
    xs = np.linspace(x0, x1, max(1, math.ceil((x1 - x0) / spacing)) + 1)
    ys = np.linspace(y0, y1, max(1, math.ceil((y1 - y0) / spacing)) + 1)
    if graded_from is not None:
        ys = np.unique(np.concatenate([_graded(y1 - y0, spacing) + y0, [y0, y1]]))
    left, low = (g.ravel() for g in np.meshgrid(xs[:-1], ys[:-1], indexing="ij"))
    right, high = (g.ravel() for g in np.meshgrid(xs[1:], ys[1:], indexing="ij"))
    shapely.prepare(shape)
    cells = shapely.intersection(shape, shapely.box(left, low, right, high))
    area = shapely.area(cells)
    keep = area > 1e-9 * area.max()
    return shapely.get_coordinates(shapely.centroid(cells[keep])), area[keep]


def _graded(length: float, spacing: float) -> Array:
    """Cuts from zero that grow from thin strips to the spacing, up to a length."""
    cuts, step, at = [0.0], _FIRST_STRIP_MM, 0.0
    while at + 1.5 * step < length:
        at += step
        cuts.append(at)
        step = min(step * _STRIP_GROWTH, spacing)
    return np.array([*cuts, length])
