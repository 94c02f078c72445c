"""Two flat faces that look at each other: their shared area, gap, and the most they could share."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np
import shapely
from shapely.affinity import translate

from fixturecheck.arrays import Floats, Ints
from fixturecheck.contact.patch import RawPatch, drawn
from fixturecheck.contact.patches.facing import facing
from fixturecheck.contact.patches.round_outlines import shared_areas
from fixturecheck.contact.placed import FacePair, PlaneFrame, Standing, sine_between
from fixturecheck.errors import KernelError
from fixturecheck.kernel.boolean import common_faces
from fixturecheck.kernel.brep.face_table import CHORD_MM
from fixturecheck.kernel.construct import polygon_face
from fixturecheck.kernel.measure import area_mm2, centroid_of
from fixturecheck.kernel.place import shifted
from fixturecheck.kernel.shapes import Face, Shape
from fixturecheck.numeric import last_inside
from fixturecheck.result.contact import ContactKind
from fixturecheck.tolerances import Tolerances

_FAR_MM = 1e6
# Chords of round outlines stay within this of the arc; polygons closer than that decide nothing.
_OUTLINE_MM = 2e-3
_POLYGON = int(shapely.GeometryType.POLYGON)


def flat_contacts(a: Standing, b: Standing, pairs: Ints, tolerances: Tolerances) -> Iterator[RawPatch]:
    """Yield area and near patches between the flat faces among candidate pairs, (n, 2).

    Parameters
    ----------
    a, b : Standing
        The two bodies.
    pairs : ndarray of int, shape (n, 2)
        A face of `a` and one of `b`, flat or curved.
    tolerances : Tolerances
        The touch distance, the near band, and the angles up to which faces face each other and are level.

    Yields
    ------
    RawPatch
    """
    angles_rad = math.radians(tolerances.wedge_deg), math.radians(tolerances.parallel_deg)
    range_mm = -tolerances.touch_mm, tolerances.near_mm
    found, level = facing(pairs, a.planes, b.planes, angles_rad, range_mm)
    for (i, j), is_level in zip(found.tolist(), level.tolist(), strict=True):
        if is_level and not (a.table.exact[i] and b.table.exact[j]):
            yield from _rounded((a, i, b, j), tolerances.touch_mm)
        else:
            yield from _straight((a, i, b, j), tolerances)


def _straight(pair: FacePair, tolerances: Tolerances) -> Iterator[RawPatch]:
    """Patches between two faces whose edges are straight, or that are not level."""
    a, i, b, j = pair
    frame, ours = a.outline(i)
    shared = shapely.intersection(ours, frame.polygon(b.rings(j)))
    wide = _wide_polygons(shared, tolerances.touch_mm)
    frayed = len(wide) < shapely.get_num_geometries(shared)
    for polygon in wide:
        gaps = _gaps(polygon, frame, pair)
        if gaps.max() <= tolerances.touch_mm:
            yield _from_polygon(ContactKind.AREA, polygon, frame, pair, gaps, frayed=frayed)
        else:
            for part in _clipped(polygon, frame, pair, tolerances.near_mm):
                part_gaps = gaps if part is polygon else _gaps(part, frame, pair)
                yield _from_polygon(ContactKind.NEAR, part, frame, pair, part_gaps)


def _rounded(pair: FacePair, touch_mm: float) -> Iterator[RawPatch]:
    """Patches between two level faces of which one has an edge that is not straight."""
    a, i, b, j = pair
    frame, ours = a.outline(i)
    known = shared_areas(pair)
    if known is not None:
        areas, frayed = known
        wide = [area for area in areas if _is_wide(area.polygon, touch_mm)]
        frayed = frayed or len(wide) < len(areas)
        polygons = [area.polygon for area in wide]
    else:
        outlines = ours, frame.polygon(b.rings(j))
        shared = shapely.intersection(*outlines)
        polygons = _wide_polygons(shared, touch_mm)
        frayed = len(polygons) < shapely.get_num_geometries(shared)
    if not polygons:
        return
    gaps = _gaps(polygons[0], frame, pair)
    kind = ContactKind.AREA if gaps.max() <= touch_mm else ContactKind.NEAR
    if known is not None:
        for area in wide:
            centre, make = frame.space(area.centre), partial(_shared_face, pair, frame, area.polygon)
            own = gaps if area is wide[0] else _gaps(area.polygon, frame, pair)
            yield _raw(kind, pair, frame, area.polygon, centre, area.area_mm2, make, own, frayed=frayed)
        return
    whole = _with_rounds(kind, polygons[0], frame, pair, outlines, gaps) if len(polygons) == 1 else None
    for raw in [whole] if whole else _from_faces(kind, polygons, frame, pair):
        yield replace(raw, frayed=True) if frayed else raw


def _gap(points: Floats, a: Standing, i: int, b: Standing, j: int) -> Floats:
    """Distance from points of plane i along its normal to plane j."""
    return np.asarray((b.offsets[j] - points @ b.normals[j]) / (b.normals[j] @ a.normals[i]))


def _gaps(shape: Any, frame: PlaneFrame, pair: FacePair) -> Floats:
    """How far plane j is from the corners of a shape in plane i, either way."""
    return np.abs(_gap(frame.space(shapely.get_coordinates(shape)), *pair))


def _wide_polygons(shape: Any, width_mm: float) -> list[Any]:
    """Polygons of an intersection that are more than a line: wider than the touch tolerance."""
    parts = [shape] if shapely.get_type_id(shape) == _POLYGON else shapely.get_parts(shape)
    return [p for p in parts if shapely.get_type_id(p) == _POLYGON and _is_wide(p, width_mm)]


def _is_wide(polygon: Any, width_mm: float) -> bool:
    return bool(2 * polygon.area > width_mm * polygon.length)


def _clipped(polygon: Any, frame: PlaneFrame, pair: FacePair, near_mm: float) -> list[Any]:
    """Parts of a polygon where the gap is between zero and the near band; the gap is linear in the plane."""
    probes = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    at = _gap(frame.space(probes), *pair)
    slope, base = np.array([at[1] - at[0], at[2] - at[0]]), float(at[0])
    steep = float(np.linalg.norm(slope))
    if steep < 1e-12:
        return [polygon] if 0.0 <= base <= near_mm else []
    along = slope / steep
    across = np.array([-along[1], along[0]])
    low, high = -base / steep, (near_mm - base) / steep
    corners = ((low, -_FAR_MM), (high, -_FAR_MM), (high, _FAR_MM), (low, _FAR_MM))
    band = [along * s + across * t for s, t in corners]
    return _wide_polygons(shapely.intersection(polygon, shapely.Polygon(band)), 1e-6)


def _from_polygon(
    kind: ContactKind, polygon: Any, frame: PlaneFrame, pair: FacePair, gaps: Floats, *, frayed: bool = False
) -> RawPatch:
    """Patch whose outline is exactly the polygon."""
    centre = frame.space(shapely.get_coordinates(polygon.centroid))[0]
    area, make = float(polygon.area), partial(_polygon_face, frame, polygon)
    return _raw(kind, pair, frame, polygon, centre, area, make, gaps, frayed=frayed)


def _polygon_face(frame: PlaneFrame, polygon: Any) -> Shape:
    rings = (polygon.exterior, *polygon.interiors)
    return polygon_face([frame.space(shapely.get_coordinates(ring)[:-1]) for ring in rings])


def _with_rounds(
    kind: ContactKind,
    polygon: Any,
    frame: PlaneFrame,
    pair: FacePair,
    outlines: tuple[Any, Any],
    gaps: Floats,
) -> RawPatch | None:
    """Patch whose round edges lie well inside or well outside the other face, or None where they do not.

    What lies between a round edge and its chords then counts wholly or not at all: the exact area is that
    of the polygon and, where they are inside, the face's own less its polygon's.
    """
    a, i, b, j = pair
    area = float(polygon.area)
    moment = area * frame.space(shapely.get_coordinates(polygon.centroid))[0]
    for body, face, own, other in ((a, i, *outlines), (b, j, *outlines[::-1])):
        if body.table.exact[face]:
            continue
        inside = _rounds_inside(body, face, frame, other)
        if inside is None:
            return None
        if inside:
            own_mm2, own_centre = body.table.rows[face].size
            middle = body.points(own_centre[None])[0]
            middle = middle - ((middle - frame.origin) @ frame.normal) * frame.normal
            own_middle = frame.space(shapely.get_coordinates(own.centroid))[0]
            area += own_mm2 - float(own.area)
            moment += own_mm2 * middle - float(own.area) * own_middle
    make = partial(_shared_face, pair, frame, polygon)
    return _raw(kind, pair, frame, polygon, moment / area, area, make, gaps)


def _rounds_inside(body: Standing, face: int, frame: PlaneFrame, other: Any) -> bool | None:
    """Whether all round edges of a face lie well inside another outline; None where some come near it."""
    edges = body.table.face_edges[face]
    edges = edges[~body.table.straight[edges]]
    spots = shapely.points(frame.flat(body.edge_samples[edges].reshape(-1, 3)))
    margin = _OUTLINE_MM + float(body.table.bulges_mm[edges].max())
    if shapely.distance(other.boundary, spots).min() <= margin:
        return None
    inside = shapely.contains(other, spots)
    return bool(inside[0]) if inside.all() or not inside.any() else None


def _shared_face(pair: FacePair, frame: PlaneFrame, polygon: Any) -> Shape:
    """The kernel's common of two parallel faces, on A's plane: the piece that a polygon stands for."""
    a, i, b, j = pair
    faces = _common_of(pair, frame, polygon)
    if not faces:
        raise KernelError(f"the kernel finds no face that {a.label((i,))} and {b.label((j,))} share")
    middle = frame.space(shapely.get_coordinates(polygon.centroid))[0]
    return min(faces, key=lambda face: float(np.linalg.norm(np.array(centroid_of(face)) - middle)))


def _common_of(pair: FacePair, frame: PlaneFrame, polygon: Any) -> list[Face]:
    """The kernel's common of two parallel faces, after B's is brought onto A's plane."""
    a, i, b, j = pair
    gap = float(_gap(frame.space(shapely.get_coordinates(polygon.centroid)), *pair)[0])
    return common_faces(a.face(i), shifted(b.face(j), -gap * frame.normal))


def _from_faces(kind: ContactKind, wide: list[Any], frame: PlaneFrame, pair: FacePair) -> Iterator[RawPatch]:
    """Patches between parallel faces with edges that are neither straight nor round: the kernel's common."""
    shared = shapely.MultiPolygon(wide)
    faces = _common_of(pair, frame, shared)
    if not faces:
        # A tilt below `parallel_deg` can still keep the kernel from seeing one plane; the outlines decide.
        for polygon in shared.geoms:
            yield _from_polygon(kind, polygon, frame, pair, _gaps(polygon, frame, pair))
        return
    gaps = _gaps(shared, frame, pair)
    for face in faces:
        centre = np.array(centroid_of(face))
        yield _raw(kind, pair, frame, shared, centre, area_mm2(face), drawn(face), gaps)


def _raw(
    kind: ContactKind,
    pair: FacePair,
    frame: PlaneFrame,
    polygon: Any,
    centre: Floats,
    area: float,
    make: Any,
    gaps: Floats,
    *,
    frayed: bool = False,
) -> RawPatch:
    """Fill in names and gap, given at the corners; the mean of a linear gap is its value at the centroid."""
    a, i, b, j = pair
    # Round edges stand as chords, and past one the gap goes on growing with the tilt.
    chorded = kind is ContactKind.NEAR and not (a.table.exact[i] and b.table.exact[j])
    return RawPatch(
        kind=kind,
        a_faces=(i,),
        b_faces=(j,),
        normal=a.normals[i],
        centroid=centre,
        make=make,
        area_mm2=area,
        gap_min_mm=float(gaps.min()),
        gap_mean_mm=abs(float(_gap(centre[None], *pair)[0])),
        gap_max_mm=float(gaps.max()),
        error_mm=CHORD_MM * sine_between(a.normals[i], b.normals[j]) if chorded else 0.0,
        flat=(frame, polygon) if kind == ContactKind.AREA else None,
        frayed=frayed,
    )


_HALVINGS = 30
_FINER = 12
_FIRST_STEP = 0.25
_BARRED_MM = 1e-9
_LEAST_MM2 = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatPair:
    """The outlines of two faces in one plane.

    Parameters
    ----------
    frame : PlaneFrame
        The plane's own coordinates.
    moving, still : shapely geometry
        The outlines in it, mm.
    barred : ndarray, shape (n, 2)
        Directions in the plane toward which the moving one cannot go: other faces stand there.
    """

    frame: PlaneFrame
    moving: Any = field(repr=False)
    still: Any = field(repr=False)
    barred: Floats = field(default_factory=lambda: np.empty((0, 2)), repr=False)

    def may_go(self, by: Floats) -> bool:
        """Say whether nothing bars a shift (2,) of the moving outline."""
        return bool(np.all(self.barred @ by <= _BARRED_MM))

    def shared_mm2(self, by: Floats) -> float:
        """Return the area the two share when the moving one is shifted by (2,) in the plane."""
        return float(shapely.intersection(translate(self.moving, *by), self.still).area)

    def apart(self, by: Floats) -> bool:
        """Say whether no part of the one lies over the other after a shift, though edges may meet.

        Parameters
        ----------
        by : ndarray, shape (2,)
            The shift of the moving outline, mm.

        Returns
        -------
        bool
            True where they share no area.
        """
        return self.shared_mm2(by) <= _LEAST_MM2

    def most_shared(self) -> tuple[float, Floats]:
        """Return the most that the two can share without turning, mm2, and the shift (2,) that does it.

        Sides and middles are lined up in the directions of the smaller outline, and the best of these places
        is improved by ever smaller steps. For two rectangles with parallel sides that is exact: the product
        of their smaller widths. For others it is what was found, never more than there is.
        """
        directions = _directions(min(self.moving, self.still, key=lambda p: float(p.area)))
        lined_up = _line_ups(self.moving, self.still, directions)
        places = [np.zeros(2), *(place for place in lined_up if self.may_go(place))]
        found = [self.shared_mm2(place) for place in places]
        best = int(np.argmax(np.round(found, 9)))
        area, place = found[best], places[best]
        step = _FIRST_STEP * float(np.sqrt(min(self.moving.area, self.still.area)))
        for _ in range(_FINER):
            tried = [place + sign * step * direction for direction in directions for sign in (1.0, -1.0)]
            areas = [self.shared_mm2(at) if self.may_go(at) else 0.0 for at in tried]
            k = int(np.argmax(areas))
            if areas[k] > area * (1 + 1e-9):
                area, place = areas[k], tried[k]
            else:
                step *= 0.5
        return area, place

    def least_slide(self, wanted_mm2: float, best: Floats) -> Floats | None:
        """Return the shortest shift (2,) found after which the two share an area; None where none does.

        Looked for along the directions of the smaller outline and toward the place of the greatest share.

        Parameters
        ----------
        wanted_mm2 : float
            The area that the two are to share.
        best : ndarray, shape (2,)
            The shift to the place of the greatest share, as `most_shared` returns it, mm.
            Its length is how far is looked either way; where it is zero, 1 mm.
        """
        directions = _directions(min(self.moving, self.still, key=lambda p: float(p.area)))
        lines = [directions[0], -directions[0], directions[1], -directions[1], best]
        reach = float(np.linalg.norm(best)) or 1.0
        found = []
        for line in lines:
            size = float(np.linalg.norm(line))
            if size <= 0.0 or not self.may_go(line / size):
                continue
            length = self._least_along(line / size, reach, wanted_mm2)
            if length is not None:
                found.append(length * line / size)
        return min(found, key=lambda by: float(np.round(np.linalg.norm(by), 6)), default=None)

    def _least_along(self, direction: Floats, reach_mm: float, wanted_mm2: float) -> float | None:
        """Return how far along a direction the wanted area is first met; None where it is not."""
        ends = np.linspace(0.0, reach_mm, 9)[1:]
        enough = wanted_mm2 * (1 - 1e-9)
        first = next((k for k, s in enumerate(ends) if self.shared_mm2(s * direction) >= enough), None)
        if first is None:
            return None
        low, high = (0.0 if first == 0 else float(ends[first - 1])), float(ends[first])
        return last_inside(
            lambda by: self.shared_mm2(by * direction) >= enough, high, low, halvings=_HALVINGS
        )


def _directions(outline: Any) -> Floats:
    """Return the two directions (2, 2) of the narrowest rectangle round an outline."""
    corners = np.array(shapely.minimum_rotated_rectangle(outline).exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    one = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    one = one / np.linalg.norm(one)
    return np.array((one, (-one[1], one[0])))


def _line_ups(moving: Any, still: Any, directions: Floats) -> Iterator[Floats]:
    """Yield the shifts that line up sides and middles in both directions."""
    at = [np.asarray(shapely.get_coordinates(p)) @ directions.T for p in (moving, still)]
    (low, high), (to_low, to_high) = ((p.min(axis=0), p.max(axis=0)) for p in at)
    steps = np.stack((to_low - low, to_high - high, 0.5 * (to_low + to_high - low - high), np.zeros(2)))
    for i, j in product(range(4), repeat=2):
        yield steps[i, 0] * directions[0] + steps[j, 1] * directions[1]
