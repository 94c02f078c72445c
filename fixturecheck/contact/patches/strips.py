"""The strip where a cylinder comes near a plane or another cylinder along it, in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import Raw
from fixturecheck.contact.placed import PlaneFrame, Standing
from fixturecheck.kernel.brep.primitives import Surface
from fixturecheck.kernel.construct import cylinder_patch, polygon_face
from fixturecheck.result.contact import ContactKind
from fixturecheck.tolerances import Tolerances

CurvedPair = tuple[Standing, int, Standing, int]
_STEPS = 65


def _arcs(surface: Surface, middle: Floats, half_rad: float) -> list[tuple[float, float]]:
    """Angles about the axis, measured from direction `middle`, that a face shares with +-half_rad."""
    zero = math.atan2(float(middle @ surface.y_axis), float(middle @ surface.x_axis))
    first, last = surface.arc_rad[0] - zero, surface.arc_rad[1] - zero
    if last - first >= 2 * math.pi - 1e-9:
        return [(-half_rad, half_rad)]
    found: list[tuple[float, float]] = []
    for turn in range(-3, 4):
        low = max(first + 2 * math.pi * turn, -half_rad)
        high = min(last + 2 * math.pi * turn, half_rad)
        if high - low > 1e-12:
            found.append((low, high))
    return _joined(found)


def _joined(arcs: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Join two runs that meet across the back of the cylinder, where a full turn begins and ends."""
    if len(arcs) > 1 and arcs[0][0] <= -math.pi + 1e-12 and arcs[-1][1] >= math.pi - 1e-12:
        return [*arcs[1:-1], (arcs[-1][0], arcs[0][1] + 2 * math.pi)]
    return arcs


def _handed(surface: Surface, middle: Floats) -> Floats:
    """Direction across the axis, a quarter turn of the face's own angle past `middle`."""
    sign = 1.0 if np.cross(surface.x_axis, surface.y_axis) @ surface.axis > 0 else -1.0
    return np.asarray(sign * np.cross(surface.axis, middle))


def against_plane(pair: CurvedPair, gap_mm: float, tolerances: Tolerances) -> list[Raw]:
    """Return near patches between a pin and a plane parallel to its axis, laid out on the plane.

    The gap at distance y from the line of closest approach is gap + R - sqrt(R^2 - y^2).
    """
    a, i, b, j = pair
    surface, normal = a.surface(i), b.normals[j]
    radius = surface.radius_mm
    rise = min(tolerances.near_mm - gap_mm, radius)
    half = math.acos(max(1.0 - rise / radius, -1.0))
    across = _handed(surface, -normal)
    foot = surface.origin - (radius + gap_mm) * normal
    frame = PlaneFrame(normal * b.offsets[j], normal)
    outline = frame.polygon(b.rings(j))
    found = []
    for low, high in _arcs(surface, -normal, half):
        wide = radius * math.sin(low), radius * math.sin(high)
        corners = [
            foot + h * surface.axis + y * across
            for h, y in zip(np.repeat(surface.heights_mm, 2), (*wide, *wide[::-1]), strict=True)
        ]
        strip = shapely.Polygon(frame.flat(np.array(corners)))
        for part in shapely.get_parts(shapely.intersection(strip, outline)):
            if part.geom_type != "Polygon" or part.area <= 1e-9:
                continue
            found.append(_flat_strip(pair, part, frame, (foot, across, gap_mm)))
    return found


def _flat_strip(pair: CurvedPair, part: Any, frame: PlaneFrame, line: tuple[Floats, Floats, float]) -> Raw:
    """One piece of a strip on the plane; the mean gap is integrated over slices along the axis."""
    a, i, b, j = pair
    foot, across, gap_mm = line
    radius = a.surface(i).radius_mm
    ring = frame.space(shapely.get_coordinates(part.exterior)[:-1])
    rings = [ring, *(frame.space(shapely.get_coordinates(r)[:-1]) for r in part.interiors)]
    y = (ring - foot) @ across
    nodes, weights = np.polynomial.legendre.leggauss(_STEPS)
    mids = (y.max() + y.min()) / 2 + nodes * (y.max() - y.min()) / 2
    chords = np.array([_chord(part, frame, foot + m * across, a.surface(i).axis) for m in mids])
    gaps = gap_mm + radius - np.sqrt(np.maximum(radius**2 - mids**2, 0.0))
    mean = float((weights * chords * gaps).sum() / (weights * chords).sum())
    nearest = 0.0 if y.min() <= 0.0 <= y.max() else float(np.abs(y).min())
    least, edge_gap = (
        gap_mm + radius - math.sqrt(max(radius**2 - away**2, 0.0))
        for away in (nearest, float(np.abs(y).max()))
    )
    return Raw(
        kind=ContactKind.NEAR,
        a_faces=(i,),
        b_faces=(j,),
        normal=-b.normals[j],
        centroid=frame.space(shapely.get_coordinates(part.centroid))[0],
        area_mm2=float(part.area),
        gap_min_mm=max(least, 0.0),
        gap_mean_mm=mean,
        gap_max_mm=edge_gap,
        make=partial(polygon_face, rings),
    )


def _chord(part: object, frame: PlaneFrame, point: Floats, axis: Floats) -> float:
    """Length of a polygon along the axis through a point."""
    far = 1e5
    line = shapely.LineString(frame.flat(np.stack([point - far * axis, point + far * axis])))
    return float(shapely.intersection(part, line).length)


def against_cylinder(pair: CurvedPair, toward: Floats, tolerances: Tolerances) -> list[Raw]:
    """Return area and near patches between two parallel cylinders, laid out on A's cylinder.

    Parameters
    ----------
    toward : ndarray, shape (3,)
        Unit direction from A's axis to the line of closest approach.
    """
    a, i, b, j = pair
    one, two = a.surface(i), b.surface(j)
    shift = float((two.origin - one.origin) @ one.axis)
    ends = sorted(shift + math.copysign(1.0, float(one.axis @ two.axis)) * h for h in two.heights_mm)
    low, high = max(one.heights_mm[0], ends[0]), min(one.heights_mm[1], ends[1])
    if high - low <= 1e-9:
        return []
    field = partial(_gap_at, one, two, toward)
    half = _half_angle(field, tolerances.near_mm)
    found = []
    for first, last in _arcs(one, toward, half):
        for start, stop in _shared(one, two, toward, (first, last)):
            found.append(_round_strip(pair, toward, (start, stop), (low, high), field, tolerances))
    return found


def _gap_at(one: Surface, two: Surface, toward: Floats, angles: Floats) -> Floats:
    """Gap from cylinder one, along its own normal, to cylinder two, at angles from `toward`."""
    across = _handed(one, toward)
    out = np.cos(angles)[:, None] * toward + np.sin(angles)[:, None] * across
    apart = two.origin - one.origin
    apart = apart - (apart @ one.axis) * one.axis
    # Radius from axis two at distance t along the normal: |R1 n + s t n - apart| = R2, the nearer root.
    x = one.radius_mm * out - apart
    along = one.outward * np.einsum("ij,ij->i", x, out)
    inside = along**2 - np.einsum("ij,ij->i", x, x) + two.radius_mm**2
    root = np.sqrt(np.maximum(inside, 0.0))
    reach = -along - root if two.outward > 0 else -along + root
    # A pin lies behind where its middle does: the ray runs away from it.
    missed = (inside < 0) | ((along >= 0) & (two.outward > 0))
    return np.where(missed, np.inf, reach)


def _half_angle(field: Callable[[Floats], Floats], near_mm: float) -> float:
    """Greatest angle up to which the gap stays within the near band; the gap grows away from the middle."""
    if field(np.array([math.pi]))[0] <= near_mm:
        return math.pi
    low, high = 0.0, math.pi
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if field(np.array([middle]))[0] <= near_mm else (low, middle)
    return low


def _shared(
    one: Surface, two: Surface, toward: Floats, arc: tuple[float, float]
) -> list[tuple[float, float]]:
    """Part of an arc of cylinder one whose feet on cylinder two lie within face two's own arc.

    Exact for coaxial cylinders; else the ends are found by bisection on the foot's angle.
    """
    if two.arc_rad[1] - two.arc_rad[0] >= 2 * math.pi - 1e-9:
        return [arc]
    angles = np.linspace(*arc, 257)
    inside = _foot_inside(one, two, toward, angles)
    found, start = [], None
    for k, yes in enumerate(inside):
        if yes and start is None:
            start = angles[0] if k == 0 else _edge_angle(one, two, toward, angles[k - 1], angles[k])
        if not yes and start is not None:
            found.append((float(start), _edge_angle(one, two, toward, angles[k], angles[k - 1])))
            start = None
    if start is not None:
        found.append((float(start), float(angles[-1])))
    return _joined([(s, e) for s, e in found if e - s > 1e-9])


def _foot_inside(one: Surface, two: Surface, toward: Floats, angles: Floats) -> Floats:
    across = _handed(one, toward)
    out = np.cos(angles)[:, None] * toward + np.sin(angles)[:, None] * across
    spots = one.origin + (one.radius_mm + one.outward * _gap_at(one, two, toward, angles))[:, None] * out
    x = spots - two.origin
    turn = np.arctan2(x @ two.y_axis, x @ two.x_axis)
    past = (turn - two.arc_rad[0]) % (2 * math.pi)
    span = two.arc_rad[1] - two.arc_rad[0]
    return np.asarray((past <= span + 1e-9) | (past >= 2 * math.pi - 1e-9))


def _edge_angle(one: Surface, two: Surface, toward: Floats, outside: float, inside: float) -> float:
    """Angle at which the foot leaves face two, between one outside and one inside it."""
    for _ in range(50):
        middle = (outside + inside) / 2
        if _foot_inside(one, two, toward, np.array([middle]))[0]:
            inside = middle
        else:
            outside = middle
    return float(inside)


def _round_strip(
    pair: CurvedPair,
    toward: Floats,
    arc: tuple[float, float],
    heights: tuple[float, float],
    field: Callable[[Floats], Floats],
    tolerances: Tolerances,
) -> Raw:
    """One piece of cylinder A with the gap over it."""
    a, i, _, j = pair
    one = a.surface(i)
    across = _handed(one, toward)
    start = math.cos(arc[0]) * toward + math.sin(arc[0]) * across
    middle = math.cos(sum(arc) / 2) * toward + math.sin(sum(arc) / 2) * across
    gaps = field(np.linspace(*arc, _STEPS))
    # The gap grows away from the line of closest approach.
    least = field(np.array([0.0]))[0] if arc[0] <= 0.0 <= arc[1] else gaps.min()
    kind = ContactKind.AREA if np.abs(gaps).max() <= tolerances.touch_mm else ContactKind.NEAR
    gaps = np.abs(gaps) if kind == ContactKind.AREA else np.maximum(gaps, 0.0)
    half = (arc[1] - arc[0]) / 2
    axis = one.axis if across @ np.cross(one.axis, toward) > 0 else -one.axis
    bottom = heights[0] if axis @ one.axis > 0 else heights[1]
    height = heights[1] - heights[0]
    base = one.origin + bottom * one.axis
    return Raw(
        kind=kind,
        a_faces=(i,),
        b_faces=(j,),
        normal=one.outward * middle,
        centroid=one.origin + sum(heights) / 2 * one.axis + one.radius_mm * np.sinc(half / math.pi) * middle,
        area_mm2=one.radius_mm * (arc[1] - arc[0]) * height,
        gap_min_mm=abs(float(least)) if kind == ContactKind.AREA else max(float(least), 0.0),
        gap_mean_mm=float(np.trapezoid(gaps) / (_STEPS - 1)),
        gap_max_mm=float(gaps.max()),
        make=partial(cylinder_patch, base, one.radius_mm * start, axis, arc[1] - arc[0], height),
    )
