"""Two faces of which at least one is curved, where the surfaces touch in closed form.

Each function returns the patches of a pair of surfaces, an empty list where they cannot touch inside both
faces, or None where the pair has no closed form here and must be sampled. Where a cylinder comes near a
plane, or another cylinder, along its length, the strip within the near band has a closed form too. Edges and
corners of either face are looked at elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import RawPatch, drawn, raw_edge, raw_point
from fixturecheck.contact.patches.sampled import near_only
from fixturecheck.contact.placed import FacePair, PlaneFrame
from fixturecheck.kernel.boolean import clip_edge, common_faces
from fixturecheck.kernel.brep.primitives import Surface, SurfaceKind, normal_out, signed_distance
from fixturecheck.kernel.construct import circle, cylinder_patch, polygon_face, segment
from fixturecheck.kernel.measure import (
    area_mm2,
    centroid_of,
    edge_ends,
    edge_length_mm,
    edge_middle,
    is_straight,
    on_face,
)
from fixturecheck.kernel.place import shifted
from fixturecheck.kernel.shapes import Edge
from fixturecheck.numeric import last_inside
from fixturecheck.result.contact import ContactKind
from fixturecheck.tolerances import Tolerances

Found = list[RawPatch] | None
_STEPS = 65
"""Gauss points, or samples, across a strip."""


def curved(pair: FacePair, tolerances: Tolerances) -> Found:
    """Return the patches of a pair with at least one curved face, or None where it must be sampled.

    Parameters
    ----------
    pair : FacePair
        The two bodies and a face of each.
    tolerances : Tolerances
        The touch distance, the near band, and the angles up to which a face is parallel or leans and is near.

    Returns
    -------
    list of RawPatch or None
        None also for kinds of surface without a closed form here.
    """
    a, i, b, j = pair
    kinds = a.table.kinds[i], b.table.kinds[j]
    if kinds in _CLOSED:
        return _CLOSED[kinds](pair, tolerances)
    if (kinds[1], kinds[0]) in _CLOSED:
        found = _CLOSED[kinds[1], kinds[0]]((b, j, a, i), tolerances)
        return None if found is None else [raw.turned() for raw in found]
    return None


def _line(
    pair: FacePair, edge: Edge, normal: Callable[[Floats], Floats], shift: Floats, tolerances: Tolerances
) -> list[RawPatch]:
    """Return the parts of a curve of A's surface that lie on both faces; `shift` carries it onto B's."""
    a, i, b, j = pair
    found = []
    for mine in clip_edge(edge, [a.face(i)]):
        for part in clip_edge(shifted(mine, shift), [b.face(j)]):
            length = edge_length_mm(part)
            if length <= tolerances.touch_mm:
                continue
            middle = edge_middle(part)
            ends = edge_ends(part) if is_straight(part) else None
            found.append(raw_edge((i,), (j,), normal(middle), part, ends))
    return found


def _point(pair: FacePair, spot: Floats, normal: Floats, tolerances: Tolerances) -> list[RawPatch]:
    """Return a point of both surfaces, if it lies on both faces."""
    a, i, b, j = pair
    slack = 2 * tolerances.touch_mm
    if not (on_face(spot, a.face(i), slack) and on_face(spot, b.face(j), slack)):
        return []
    return [raw_point((i,), (j,), normal, spot)]


def _areas(pair: FacePair, tolerances: Tolerances) -> Found:
    """Return the common of two faces on one surface; None when the kernel sees none and sampling decides."""
    a, i, b, j = pair
    found = []
    for face in common_faces(a.face(i), b.face(j)):
        centre = np.array(centroid_of(face))
        raw = RawPatch(
            kind=ContactKind.AREA,
            a_faces=(i,),
            b_faces=(j,),
            normal=normal_out(a.surface(i), centre),
            centroid=centre,
            area_mm2=area_mm2(face),
            make=drawn(face),
        )
        found.append(raw)
    return found or None


def _cylinder_plane(pair: FacePair, tolerances: Tolerances) -> Found:
    a, i, b, j = pair
    surface, normal = a.surface(i), b.normals[j]
    tilt = abs(float(surface.axis @ normal))
    if surface.outward < 0 or tilt > math.sin(math.radians(tolerances.wedge_deg)):
        return []
    if tilt > math.radians(tolerances.parallel_deg):
        return near_only(pair, tolerances)  # it stands on the rim of an end, if at all
    gap = float(surface.origin @ normal - b.offsets[j]) - surface.radius_mm
    if not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    found = _strip_on_plane(pair, gap, tolerances)
    if abs(gap) <= tolerances.touch_mm:
        foot = surface.origin - surface.radius_mm * normal
        low, high = surface.heights_mm
        edge = segment(foot + low * surface.axis, foot + high * surface.axis)
        found += _line(pair, edge, lambda _: -normal, -gap * normal, tolerances)
    return found


def _cylinder_cylinder(pair: FacePair, tolerances: Tolerances) -> Found:
    a, i, b, j = pair
    one, two = a.surface(i), b.surface(j)
    if one.outward < 0 and two.outward < 0:
        return []
    cross = np.cross(one.axis, two.axis)
    if np.linalg.norm(cross) > math.radians(tolerances.parallel_deg):
        return _crossed(pair, cross, tolerances)
    apart = two.origin - one.origin
    apart = apart - (apart @ one.axis) * one.axis
    offset = float(np.linalg.norm(apart))
    if one.outward > 0 and two.outward > 0:
        gap, toward = offset - one.radius_mm - two.radius_mm, apart / max(offset, 1e-300)
    else:
        pin, hole = (one, two) if one.outward > 0 else (two, one)
        if offset <= 1e-3 * tolerances.touch_mm:
            return _coaxial(pair, pin, hole, tolerances)
        gap = hole.radius_mm - pin.radius_mm - offset
        toward = (-apart if one.outward > 0 else apart) / offset
    if not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    found = _strip_on_cylinder(pair, toward, tolerances)
    if abs(gap) <= tolerances.touch_mm:
        foot = one.origin + one.radius_mm * toward
        low, high = one.heights_mm
        edge = segment(foot + low * one.axis, foot + high * one.axis)
        step = one.outward * gap * toward
        found += _line(pair, edge, lambda _: one.outward * toward, step, tolerances)
    return found


def _coaxial(pair: FacePair, pin: Surface, hole: Surface, tolerances: Tolerances) -> Found:
    gap = hole.radius_mm - pin.radius_mm
    if not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    if pin.iso and hole.iso:
        return _strip_on_cylinder(pair, pin.x_axis, tolerances)
    return _areas(pair, tolerances) if abs(gap) <= tolerances.touch_mm else None


def _crossed(pair: FacePair, cross: Floats, tolerances: Tolerances) -> Found:
    """Pins whose axes cross touch at a point on the common perpendicular."""
    a, i, b, j = pair
    one, two = a.surface(i), b.surface(j)
    if one.outward < 0 or two.outward < 0:
        return None
    unit = cross / np.linalg.norm(cross)
    apart = float((two.origin - one.origin) @ unit)
    toward = unit if apart > 0 else -unit
    gap = abs(apart) - one.radius_mm - two.radius_mm
    if abs(gap) > tolerances.touch_mm:
        return near_only(pair, tolerances) if 0 < gap <= tolerances.near_mm else []
    # Where the common perpendicular meets axis one.
    along = np.cross(two.axis, cross) @ (two.origin - one.origin) / (cross @ cross)
    return _point(pair, one.origin + along * one.axis + one.radius_mm * toward, toward, tolerances)


def _sphere_plane(pair: FacePair, tolerances: Tolerances) -> Found:
    a, i, b, j = pair
    surface, normal = a.surface(i), b.normals[j]
    gap = float(surface.origin @ normal - b.offsets[j]) - surface.radius_mm
    if surface.outward < 0 or not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    if gap > tolerances.touch_mm:
        return near_only(pair, tolerances)
    return _point(pair, surface.origin - surface.radius_mm * normal, -normal, tolerances)


def _sphere_curved(pair: FacePair, tolerances: Tolerances) -> Found:
    """A ball on a surface: its centre is one radius from it, at the foot of the centre."""
    a, i, b, j = pair
    ball, other = a.surface(i), b.surface(j)
    if ball.outward < 0:
        if other.kind == SurfaceKind.SPHERE and other.outward > 0:
            found = _sphere_curved((b, j, a, i), tolerances)
            return None if found is None else [raw.turned() for raw in found]
        return None
    away = signed_distance(other, ball.origin[None])
    if away is None:
        return None
    gap = float(away[0]) - ball.radius_mm
    if not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    if gap > tolerances.touch_mm:
        return near_only(pair, tolerances)
    x = ball.origin - other.origin
    from_axis = float(np.linalg.norm(x - (x @ other.axis) * other.axis))
    if other.kind == SurfaceKind.SPHERE and np.linalg.norm(x) <= tolerances.touch_mm:
        return _areas(pair, tolerances)
    if (
        other.kind in {SurfaceKind.CYLINDER, SurfaceKind.CONE}
        and from_axis <= tolerances.touch_mm
        and other.outward < 0
    ):
        drop = ball.radius_mm * math.sin(other.half_angle_rad)
        ring = circle(
            ball.origin - drop * other.axis, other.axis, ball.radius_mm * math.cos(other.half_angle_rad)
        )
        return _line(pair, ring, lambda p: -normal_out(other, p), np.zeros(3), tolerances)
    normal = normal_out(other, ball.origin)
    return _point(pair, ball.origin - ball.radius_mm * normal, -normal, tolerances)


def _cone_plane(pair: FacePair, tolerances: Tolerances) -> Found:
    a, i, b, j = pair
    cone, normal = a.surface(i), b.normals[j]
    lean = float(normal @ cone.axis) - math.sin(cone.half_angle_rad)
    if cone.outward < 0 or abs(lean) > math.radians(tolerances.wedge_deg):
        return []
    gap = float(cone.origin @ normal - b.offsets[j])
    if abs(lean) > math.radians(tolerances.parallel_deg):
        return near_only(pair, tolerances)  # it stands on its tip or a rim, if at all
    if abs(gap) > tolerances.touch_mm:
        return near_only(pair, tolerances) if 0 < gap <= tolerances.near_mm else []
    radial = (math.sin(cone.half_angle_rad) * cone.axis - normal) / math.cos(cone.half_angle_rad)
    along = cone.axis + math.tan(cone.half_angle_rad) * radial
    low, high = cone.heights_mm
    edge = segment(cone.origin + low * along, cone.origin + high * along)
    return _line(pair, edge, lambda _: -normal, -gap * normal, tolerances)


def _cone_cone(pair: FacePair, tolerances: Tolerances) -> Found:
    a, i, b, j = pair
    one, two = a.surface(i), b.surface(j)
    parallel = math.radians(tolerances.parallel_deg)
    same = (
        one.outward * two.outward < 0
        and float(one.axis @ two.axis) > 0
        and abs(one.half_angle_rad - two.half_angle_rad) <= parallel
        and float(np.linalg.norm(np.cross(one.axis, two.axis))) <= parallel
    )
    if same and np.linalg.norm(one.origin - two.origin) * math.sin(one.half_angle_rad) <= tolerances.touch_mm:
        return _areas(pair, tolerances)
    return None


def _torus_plane(pair: FacePair, tolerances: Tolerances) -> Found:
    a, i, b, j = pair
    torus, normal = a.surface(i), b.normals[j]
    if torus.outward < 0:
        return []
    across = normal - (normal @ torus.axis) * torus.axis
    tilt = float(np.linalg.norm(across))
    centre_gap = float(torus.origin @ normal - b.offsets[j])
    gap = centre_gap - torus.radius_mm * tilt - torus.minor_radius_mm
    if not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    if gap > tolerances.touch_mm:
        return near_only(pair, tolerances)
    if tilt <= math.radians(tolerances.parallel_deg):
        ring = circle(torus.origin - torus.minor_radius_mm * normal, torus.axis, torus.radius_mm)
        return _line(pair, ring, lambda _: -normal, -gap * normal, tolerances)
    spot = torus.origin - torus.radius_mm * across / tilt - torus.minor_radius_mm * normal
    return _point(pair, spot, -normal, tolerances)


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


def _strip_on_plane(pair: FacePair, gap_mm: float, tolerances: Tolerances) -> list[RawPatch]:
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


def _flat_strip(pair: FacePair, part: Any, frame: PlaneFrame, line: tuple[Floats, Floats, float]) -> RawPatch:
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
    return RawPatch(
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


def _strip_on_cylinder(pair: FacePair, toward: Floats, tolerances: Tolerances) -> list[RawPatch]:
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

    def near(angle: float) -> bool:
        return bool(field(np.array([angle]))[0] <= near_mm)

    return last_inside(near, 0.0, math.pi, halvings=60)


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

    def within(angle: float) -> bool:
        return bool(_foot_inside(one, two, toward, np.array([angle]))[0])

    return last_inside(within, float(inside), float(outside), halvings=50)


def _round_strip(
    pair: FacePair,
    toward: Floats,
    arc: tuple[float, float],
    heights: tuple[float, float],
    field: Callable[[Floats], Floats],
    tolerances: Tolerances,
) -> RawPatch:
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
    return RawPatch(
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


_CLOSED: dict[tuple[SurfaceKind, SurfaceKind], Callable[[FacePair, Tolerances], Found]] = {
    (SurfaceKind.CYLINDER, SurfaceKind.PLANE): _cylinder_plane,
    (SurfaceKind.CYLINDER, SurfaceKind.CYLINDER): _cylinder_cylinder,
    (SurfaceKind.SPHERE, SurfaceKind.PLANE): _sphere_plane,
    (SurfaceKind.SPHERE, SurfaceKind.CYLINDER): _sphere_curved,
    (SurfaceKind.SPHERE, SurfaceKind.CONE): _sphere_curved,
    (SurfaceKind.SPHERE, SurfaceKind.SPHERE): _sphere_curved,
    (SurfaceKind.SPHERE, SurfaceKind.TORUS): _sphere_curved,
    (SurfaceKind.CONE, SurfaceKind.PLANE): _cone_plane,
    (SurfaceKind.CONE, SurfaceKind.CONE): _cone_cone,
    (SurfaceKind.TORUS, SurfaceKind.PLANE): _torus_plane,
}
