"""Two faces of which at least one is curved, where the surfaces touch in closed form.

Each function returns the patches it found, an empty list when the surfaces cannot touch inside both
faces, or None when the pair has no closed form here and must be sampled. Edges and corners of either
face are looked at elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import Raw
from fixturecheck.contact.patches.sampled import near_only
from fixturecheck.contact.patches.strips import CurvedPair, against_cylinder, against_plane
from fixturecheck.contact.placed import normal_out, signed_distance
from fixturecheck.kernel.boolean import clip_edge, common_faces
from fixturecheck.kernel.brep.primitives import Surface
from fixturecheck.kernel.construct import circle, segment, vertex
from fixturecheck.kernel.measure import (
    area_mm2,
    centroid_of,
    edge_centre,
    edge_ends,
    edge_length_mm,
    edge_middle,
    is_straight,
    on_face,
)
from fixturecheck.kernel.place import shifted
from fixturecheck.kernel.shapes import Edge, Shape
from fixturecheck.result.contact import ContactKind
from fixturecheck.tolerances import Tolerances

Found = list[Raw] | None
_REACH_MM = 1e4


def curved(pair: CurvedPair, tolerances: Tolerances) -> Found:
    """Return the patches of a pair with at least one curved face, or None where it must be sampled."""
    a, i, b, j = pair
    kinds = a.table.kinds[i], b.table.kinds[j]
    if kinds in _CLOSED:
        return _CLOSED[kinds](pair, tolerances)
    if (kinds[1], kinds[0]) in _CLOSED:
        found = _CLOSED[kinds[1], kinds[0]]((b, j, a, i), tolerances)
        return None if found is None else [raw.turned() for raw in found]
    return None


def _same(shape: Shape) -> Shape:
    return shape


def _line(
    pair: CurvedPair, edge: Edge, normal: Callable[[Floats], Floats], shift: Floats, tolerances: Tolerances
) -> list[Raw]:
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
            raw = Raw(
                kind=ContactKind.LINE,
                a_faces=(i,),
                b_faces=(j,),
                normal=normal(middle),
                centroid=edge_centre(part),
                length_mm=length,
                make=partial(_same, part),
                ends=ends,
            )
            found.append(raw)
    return found


def _point(pair: CurvedPair, spot: Floats, normal: Floats, tolerances: Tolerances) -> list[Raw]:
    """Return a point of both surfaces, if it lies on both faces."""
    a, i, b, j = pair
    slack = 2 * tolerances.touch_mm
    if not (on_face(spot, a.face(i), slack) and on_face(spot, b.face(j), slack)):
        return []
    raw = Raw(
        kind=ContactKind.POINT, a_faces=(i,), b_faces=(j,), normal=normal, centroid=spot,
        make=partial(vertex, spot), ends=(spot, spot),
    )  # fmt: skip
    return [raw]


def _areas(pair: CurvedPair, tolerances: Tolerances) -> Found:
    """Return the common of two faces on one surface; None when the kernel sees none and sampling decides."""
    a, i, b, j = pair
    found = []
    for face in common_faces(a.face(i), b.face(j)):
        centre = np.array(centroid_of(face))
        raw = Raw(
            kind=ContactKind.AREA,
            a_faces=(i,),
            b_faces=(j,),
            normal=normal_out(a.surface(i), centre),
            centroid=centre,
            area_mm2=area_mm2(face),
            gap_max_mm=0.0,
            make=partial(_same, face),
        )
        found.append(raw)
    return found or None


def _cylinder_plane(pair: CurvedPair, tolerances: Tolerances) -> Found:
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
    found = against_plane(pair, gap, tolerances)
    if abs(gap) <= tolerances.touch_mm:
        foot = surface.origin - surface.radius_mm * normal
        low, high = surface.heights_mm
        edge = segment(foot + low * surface.axis, foot + high * surface.axis)
        found += _line(pair, edge, lambda _: -normal, -gap * normal, tolerances)
    return found


def _cylinder_cylinder(pair: CurvedPair, tolerances: Tolerances) -> Found:
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
    found = against_cylinder(pair, toward, tolerances)
    if abs(gap) <= tolerances.touch_mm:
        foot = one.origin + one.radius_mm * toward
        low, high = one.heights_mm
        edge = segment(foot + low * one.axis, foot + high * one.axis)
        step = one.outward * gap * toward
        found += _line(pair, edge, lambda _: one.outward * toward, step, tolerances)
    return found


def _coaxial(pair: CurvedPair, pin: Surface, hole: Surface, tolerances: Tolerances) -> Found:
    gap = hole.radius_mm - pin.radius_mm
    if not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    if pin.iso and hole.iso:
        return against_cylinder(pair, pin.x_axis, tolerances)
    return _areas(pair, tolerances) if abs(gap) <= tolerances.touch_mm else None


def _crossed(pair: CurvedPair, cross: Floats, tolerances: Tolerances) -> Found:
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


def _sphere_plane(pair: CurvedPair, tolerances: Tolerances) -> Found:
    a, i, b, j = pair
    surface, normal = a.surface(i), b.normals[j]
    gap = float(surface.origin @ normal - b.offsets[j]) - surface.radius_mm
    if surface.outward < 0 or not -tolerances.touch_mm <= gap <= tolerances.near_mm:
        return []
    if gap > tolerances.touch_mm:
        return near_only(pair, tolerances)
    return _point(pair, surface.origin - surface.radius_mm * normal, -normal, tolerances)


def _sphere_curved(pair: CurvedPair, tolerances: Tolerances) -> Found:
    """A ball on a surface: its centre is one radius from it, at the foot of the centre."""
    a, i, b, j = pair
    ball, other = a.surface(i), b.surface(j)
    if ball.outward < 0:
        if other.kind == "sphere" and other.outward > 0:
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
    if other.kind == "sphere" and np.linalg.norm(x) <= tolerances.touch_mm:
        return _areas(pair, tolerances)
    if other.kind in {"cylinder", "cone"} and from_axis <= tolerances.touch_mm and other.outward < 0:
        drop = ball.radius_mm * math.sin(other.half_angle_rad)
        ring = circle(
            ball.origin - drop * other.axis, other.axis, ball.radius_mm * math.cos(other.half_angle_rad)
        )
        return _line(pair, ring, lambda p: -normal_out(other, p), np.zeros(3), tolerances)
    normal = normal_out(other, ball.origin)
    return _point(pair, ball.origin - ball.radius_mm * normal, -normal, tolerances)


def _cone_plane(pair: CurvedPair, tolerances: Tolerances) -> Found:
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


def _cone_cone(pair: CurvedPair, tolerances: Tolerances) -> Found:
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


def _torus_plane(pair: CurvedPair, tolerances: Tolerances) -> Found:
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


_CLOSED: dict[tuple[str, str], Callable[[CurvedPair, Tolerances], Found]] = {
    ("cylinder", "plane"): _cylinder_plane,
    ("cylinder", "cylinder"): _cylinder_cylinder,
    ("sphere", "plane"): _sphere_plane,
    ("sphere", "cylinder"): _sphere_curved,
    ("sphere", "cone"): _sphere_curved,
    ("sphere", "sphere"): _sphere_curved,
    ("sphere", "torus"): _sphere_curved,
    ("cone", "plane"): _cone_plane,
    ("cone", "cone"): _cone_cone,
    ("torus", "plane"): _torus_plane,
}
