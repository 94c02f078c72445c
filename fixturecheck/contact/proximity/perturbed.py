"""Features of a body whose faces are out of place within tolerances, and how gaps change with those errors.

Flat faces are extended past their inside edges. What is free beside an inside edge lies in front of both
faces that meet in it, so either may be extended behind the other without forbidding anything. Where a face is
a few um out, its border on the other moves by as much and more, and meets corners that were beside it as
drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fixturecheck.arrays import Floats, Ints
from fixturecheck.contact.proximity.candidates import Candidates
from fixturecheck.kernel.brep.features import Features
from fixturecheck.kernel.brep.primitives import Rim, SweptPrimitive


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceVariation:
    """Which errors a face has, and what they do along it.

    Parameters
    ----------
    column : int
        Where its errors stand among all errors: its shift, then its slopes.
    middle_mm : ndarray, shape (3,)
        Where the shift is that of the face, in the body's frame.
    ways : ndarray, shape (0 or 2, 3)
        Directions in the face that it leans along, each as long as one mm of error turns into slope there;
        none for a face that only shifts.
    """

    column: int
    middle_mm: Floats
    ways: Floats

    def shares(self, local_mm: Floats) -> Floats:
        """Return how far a place of the face goes outward with each of its errors, mm per mm."""
        return np.concatenate(([1.0], self.ways @ (local_mm - self.middle_mm)))

    def columns(self) -> slice:
        """Return where its errors stand."""
        return slice(self.column, self.column + 1 + len(self.ways))

    def error(self, errors_mm: Floats) -> FaceShift:
        """Return where the face is for one draw of all errors."""
        own = errors_mm[self.columns()]
        return FaceShift(shift_mm=float(own[0]), lean=own[1:] @ self.ways, middle_mm=self.middle_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceShift:
    """Where a face is instead of where it is drawn.

    Parameters
    ----------
    shift_mm : float
        How far outward its middle is.
    lean : ndarray, shape (3,)
        How much further outward for each mm along the face.
    """

    shift_mm: float
    lean: Floats
    middle_mm: Floats

    def at_mm(self, places_mm: Floats) -> Floats:
        """Return how far outward places (..., 3) of the face are."""
        return np.asarray(self.shift_mm + (places_mm - self.middle_mm) @ self.lean)

    def normal(self, normal: Floats) -> Floats:
        """Return the outward normal of the face as it is, from that drawn."""
        turned = normal - self.lean
        return np.asarray(turned / np.linalg.norm(turned))


Errors = Mapping[int, FaceShift]
_IN_FACE = 1e-9
_SMOOTH, _SMOOTH_CURVED = 0.02, 0.1
"""Faces that run into each other smoothly fix no corner: flat ones to a degree, curved ones to a chord."""


def perturbed_features(features: Features, errors: Errors) -> Features:
    """Return a body's features with faces where their errors put them.

    Flat faces shift and lean, corners go to where their faces now meet, edges and directions follow;
    cylinders, cones, balls and tori change radius.

    Parameters
    ----------
    features : Features
        As drawn.
    errors : mapping of int to FaceShift
        By a face's number; faces without one stay as drawn.

    Returns
    -------
    Features
        Those given where there are no errors.
    """
    if not errors:
        return features
    flat = {int(f): features.planes[i, 1] for i, f in enumerate(features.plane_faces)}
    turned = {f: errors[f].normal(n) if f in errors else n for f, n in flat.items()}
    points = features.points_mm + _shifts(features, errors, turned)
    corners, shift = _Corners(features), points - features.points_mm
    edges = features.edges_mm + corners.at(shift, features.edges_mm)
    edge_normals = _turned(features.edge_faces, features.edge_normals, turned)
    planes = np.array([_plane(features, i, errors) for i in range(len(features.planes))]).reshape(-1, 4, 3)
    return replace(
        features,
        points_mm=points,
        tangent_cones=_cones(features, errors, turned) * _reversed(features, points)[:, :, None],
        point_normals=_turned(features.point_faces, features.point_normals, turned),
        edges_mm=edges,
        face_tangents=_tangent_cones(features, edges, edge_normals),
        edge_normals=edge_normals,
        planes=planes,
        outlines=tuple(_outline(features, corners, shift, i, planes[i]) for i in range(len(planes))),
        swept=tuple(
            replace(
                one,
                radius_a_mm=one.radius_a_mm + _radial(one) * _shift(errors, one.face),
                radius_b_mm=one.radius_b_mm + _radial(one) * _shift(errors, one.face),
                tube_mm=one.tube_mm + _swept(one) * _shift(errors, one.face),
            )
            for one in features.swept
        ),
        rims=tuple(_rim(features, one, errors, turned) for one in features.rims),
    )


def _shift(errors: Errors, face: int) -> float:
    return errors[face].shift_mm if face in errors else 0.0


def _shifts(features: Features, errors: Errors, turned: Mapping[int, Floats]) -> Floats:
    """Return where each corner goes: to where its faces, as they are, meet."""
    faces, drawn = features.point_faces, features.point_normals
    real, now = faces >= 0, _turned(faces, drawn, turned)
    out = np.zeros(faces.shape)
    for face, error in errors.items():
        corner, place = np.nonzero(faces == face)
        out[corner, place] = error.at_mm(features.points_mm[corner])
    far = np.einsum("nki,nki->nk", now, drawn) * out
    count = real.sum(axis=1)
    moves = np.isin(faces, list(errors)).any(axis=1)
    curved = np.asarray((real & ~np.isin(faces, list(turned))).any(axis=1))
    shift = np.zeros_like(features.points_mm)
    first = np.argsort(~real, axis=1, kind="stable")
    for faces_met in range(1, min(3, faces.shape[1]) + 1):
        for smooth, which in ((_SMOOTH, ~curved), (_SMOOTH_CURVED, curved)):
            some = np.flatnonzero(moves & which & (count == faces_met))
            if len(some):
                own = some[:, None], first[some, :faces_met]
                meet = np.linalg.pinv(now[own], rcond=smooth)
                shift[some] = np.einsum("nik,nk->ni", meet, far[own])
    sizes = {
        int(f): float(np.prod(np.ptp(o.reshape(-1, 2), axis=0)))
        for f, o in zip(features.plane_faces, features.outlines, strict=True)
    }
    for i in np.flatnonzero(moves & (count > 3)):
        places = sorted(np.flatnonzero(real[i]), key=lambda k: -sizes.get(int(faces[i, k]), 0.0))
        smooth = _SMOOTH_CURVED if curved[i] else _SMOOTH
        decide = np.array(places)[_deciding(now[i, places], smooth)]
        shift[i] = np.linalg.pinv(now[i, decide], rcond=smooth) @ far[i, decide]
    return shift


def _deciding(normals: Floats, smooth: float) -> list[int]:
    """Return which faces fix a corner: of more than three, which can no longer meet in one, the first."""
    chosen: list[int] = []
    for i in range(len(normals)):
        if len(normals) <= 3 or np.linalg.svd(normals[[*chosen, i]], compute_uv=False)[-1] > smooth:
            chosen.append(i)
        if len(chosen) == 3:
            break
    return chosen


def _turned(faces: Ints, normals: Floats, turned: Mapping[int, Floats]) -> Floats:
    """Return normals (n, k, 3) of faces (n, k) as they are; those of curved faces stay."""
    out = normals.copy()
    for face, normal in turned.items():
        out[faces == face] = normal
    return out


def _cones(features: Features, errors: Errors, turned: Mapping[int, Floats]) -> Floats:
    """Return the directions in which the solid leaves each corner, each still in the faces it lay in."""
    out = features.tangent_cones.copy()
    for i in np.flatnonzero(np.isin(features.point_faces, list(errors)).any(axis=1)):
        faces = features.point_faces[i]
        own = [(features.point_normals[i, k], turned.get(int(f))) for k, f in enumerate(faces) if f >= 0]
        for k, way in enumerate(features.tangent_cones[i]):
            now = [new for old, new in own if new is not None and abs(float(old @ way)) < _IN_FACE]
            if now and np.any(way):
                rows = np.array(now)
                within = way - np.linalg.pinv(rows, rcond=_SMOOTH) @ (rows @ way)
                out[i, k] = within / np.linalg.norm(within)
    return out


def _reversed(features: Features, points: Floats) -> Floats:
    """Return -1 for each direction from a corner that now runs the other way, else 1.

    A step lower than the tolerances may become one the other way: its short edges turn round.
    """
    ends, along = _ends(features)
    now = points[ends[:, 1]] - points[ends[:, 0]]
    turned = np.einsum("ni,ni->n", along, now) < 0.0
    return np.where(_runs_along(features, ends[turned], along[turned]), -1.0, 1.0)


def features_over_low_steps(features: Features, low_mm: float) -> Features:
    """Return features whose corners in and on a step no higher than `low_mm` may both touch.

    Which of the two stands out depends on errors that the step is lower than.

    Parameters
    ----------
    features : Features
        As drawn.
    low_mm : float
        Edges no longer than this are such steps.

    Returns
    -------
    Features
        Those given where there is no such step.
    """
    ends, along = _ends(features)
    short = np.linalg.norm(along, axis=1) <= low_mm
    if not np.any(short):
        return features
    runs = _runs_along(features, ends[short], along[short])
    return replace(features, tangent_cones=np.where(runs[:, :, None], 0.0, features.tangent_cones))


def _ends(features: Features) -> tuple[Ints, Floats]:
    """Return the two corners of each edge, and the way from one to the other."""
    ends = _Corners(features).nearest(features.edges_mm.reshape(-1, 3)).reshape(-1, 2)
    return ends, features.edges_mm[:, 1] - features.edges_mm[:, 0]


def _runs_along(features: Features, ends: Ints, along: Floats) -> NDArray[np.bool_]:
    """Tell which directions from corners run along some edges."""
    out = np.zeros(features.tangent_cones.shape[:2], dtype=bool)
    for corners, way in zip(ends, along / np.linalg.norm(along, axis=1)[:, None], strict=True):
        for corner, sign in zip(corners, (1.0, -1.0), strict=True):
            out[corner] |= features.tangent_cones[corner] @ way * sign > 1.0 - _IN_FACE
    return out


def _tangent_cones(features: Features, edges: Floats, normals: Floats) -> Floats:
    """Return the directions into the two faces of each edge, square to it."""
    along = edges[:, 1] - edges[:, 0]
    across = np.cross(normals, along[:, None])
    length = np.maximum(np.linalg.norm(across, axis=2, keepdims=True), 1e-300)
    same = np.sign(np.einsum("nki,nki->nk", across, features.face_tangents))[:, :, None]
    flat = np.isin(features.edge_faces, features.plane_faces)[:, :, None]
    return np.where(flat, across / length * same, features.face_tangents)


def _plane(features: Features, plane: int, errors: Errors) -> Floats:
    """Return point, normal and two directions of a flat face as it is."""
    origin, normal, x, _ = features.planes[plane]
    error = errors.get(int(features.plane_faces[plane]))
    if error is None:
        return np.asarray(features.planes[plane])
    now = error.normal(normal)
    along = x - now * float(x @ now)
    along /= np.linalg.norm(along)
    return np.array([origin + normal * error.at_mm(origin), now, along, np.cross(now, along)])


def _rim(features: Features, rim: Rim, errors: Errors, turned: Mapping[int, Floats]) -> Rim:
    """Return a circular edge as it is: in its flat face, with the radius of its curved one."""
    out = rim
    for face in rim.faces:
        error, normal = errors.get(face), turned.get(face)
        if error is None:
            continue
        if normal is None:
            swept = [one for one in features.swept if one.face == face]
            out = replace(out, radius_mm=out.radius_mm + sum(_radial(r) for r in swept) * error.shift_mm)
            continue
        drawn = features.planes[list(features.plane_faces).index(face), 1]
        same = float(drawn @ rim.axis)
        if abs(abs(same) - 1.0) < _IN_FACE:
            axis = normal * np.sign(same)
            zero = rim.zero - axis * float(rim.zero @ axis)
            out = replace(
                out, centre_mm=rim.centre_mm + drawn * error.at_mm(rim.centre_mm), axis=axis,
                zero=zero / np.linalg.norm(zero),
            )  # fmt: skip
    return out


def _radial(one: SweptPrimitive) -> float:
    """Return how a radius changes when the face moves outward of the solid."""
    if one.is_tube:
        return 0.0
    long_mm = max(float(np.linalg.norm(one.b_mm - one.a_mm)), 1e-12)
    return one.sign * float(np.hypot(1.0, (one.radius_b_mm - one.radius_a_mm) / long_mm))


def _swept(one: SweptPrimitive) -> float:
    """Return how the swept ball's radius changes when the face moves outward of the solid."""
    return float(one.sign) if one.is_tube else 0.0


class _Corners:
    """Finds the corner of a body that is nearest to a place; of several at one place the first."""

    def __init__(self, features: Features) -> None:
        points, first = np.unique(features.points_mm, axis=0, return_index=True)
        self._first, self._tree = first, cKDTree(points)

    def nearest(self, places: Floats) -> Ints:
        """Return the corner nearest each place (n, 3)."""
        return np.asarray(self._first[self._tree.query(places)[1]])

    def at(self, shift: Floats, places: Floats) -> Floats:
        """Return the shift (n, 3) of the corner nearest each place, of any number of axes."""
        return np.asarray(shift[self.nearest(places.reshape(-1, 3))].reshape(places.shape))


def _outline(features: Features, corners: _Corners, shift: Floats, plane: int, now: Floats) -> Floats:
    """Return the border of a flat face, in its directions as they are, after its corners have moved."""
    origin, _, x, y = features.planes[plane]
    outline = features.outlines[plane]
    places = origin + outline[..., :1] * x + outline[..., 1:] * y
    moved = places + corners.at(shift, places) - now[0]
    return np.stack((moved @ now[2], moved @ now[3]), axis=-1)


NEAR_MM = 1e-5
"""Points of contact this close to a corner or an edge are at it."""


def gap_sensitivity(
    rows: Candidates, features: tuple[Features, ...], rotation: Floats, origin: Floats,
    variables: Mapping[tuple[int, int], FaceVariation],
) -> Floats:  # fmt: skip
    """Return how each gap changes with the errors of faces.

    Parameters
    ----------
    rows : Candidates
        The gaps, with where they are on either body.
    features : tuple of Features
        Of each body, in its own frame.
    rotation, origin : ndarray, shape (b, 3, 3) and (b, 3)
        Poses of all bodies; origins in mm.
    variables : mapping of (body, face) to FaceVariation
        The faces that may be out.

    Returns
    -------
    ndarray, shape (n, k)
        mm per mm.
    """
    out = np.zeros((len(rows.gap_mm), sum(1 + len(v.ways) for v in variables.values())))
    bodies_out = {body for body, _ in variables}
    sides = (
        (rows.body_a, rows.face_a, rows.point_a_mm, 1.0),
        (rows.body_b, rows.face_b, rows.point_b_mm, -1.0),
    )
    for bodies, faces, points, sign in sides:
        for i in range(len(out)):
            body = int(bodies[i])
            if body not in bodies_out:
                continue
            local = rotation[body].T @ (points[i] - origin[body])
            outward = -sign * (rotation[body].T @ rows.normal[i])
            meeting, normals = _meeting(features[body], local, int(faces[i]), outward)
            # The gap opens by n . dx of the point of a and closes by that of b.
            shares = outward @ np.linalg.pinv(normals, rcond=1e-6)
            for face, share in zip(meeting, shares, strict=True):
                varies = variables.get((body, int(face)))
                if varies is not None:
                    out[i, varies.columns()] -= share * varies.shares(local)
    return out


def _meeting(features: Features, local: Floats, face: int, outward: Floats) -> tuple[Ints, Floats]:
    """Return the faces whose planes fix a point of contact, and their normals."""
    at = np.linalg.norm(features.points_mm - local, axis=1)
    if len(at) and at.min() < NEAR_MM:
        point = int(np.argmin(at))
        real = features.point_faces[point] >= 0
        faces, normals = features.point_faces[point][real], features.point_normals[point][real]
        if face in faces:
            # A face that lies square on its mate is the only one whose error counts.
            own = normals[faces == face][0]
            if float(own @ outward) > 1 - 1e-9:
                return np.array([face]), own[None]
            return faces, normals
    start, end = features.edges_mm[:, 0], features.edges_mm[:, 1]
    along = end - start
    square = np.maximum(np.einsum("ni,ni->n", along, along), 1e-30)
    share = np.clip(np.einsum("ni,ni->n", local - start, along) / square, 0, 1)
    away = np.linalg.norm(local - start - share[:, None] * along, axis=1)
    if len(away) and away.min() < NEAR_MM:
        edge = int(np.argmin(away))
        faces, normals = features.edge_faces[edge], features.edge_normals[edge]
        if face in faces and float(normals[faces == face][0] @ outward) < 1 - 1e-9:
            return faces, normals
    return np.array([face]), outward[None]


_SAME_MM = 1e-6
_LEVEL = 1e-6


def extended_to_walls(features: Features, by_mm: float) -> Features:
    """Return features whose flat faces go on by a length past inside edges, as far as the face beside goes.

    Parameters
    ----------
    features : Features
        Of one body.
    by_mm : float
        How far, seen along the normal of the face that is carried on.

    Returns
    -------
    Features
        The same but for the outlines of flat faces.
    """
    areas = [features.face_polygon(plane) for plane in range(len(features.outlines))]
    outlines = list(features.outlines)
    for plane, (start, end), beside in _inside(features):
        if areas[plane].is_empty or areas[beside].is_empty:
            continue
        strip = shapely.buffer(shapely.LineString((start, end)), by_mm, cap_style="flat")
        strip = shapely.intersection(strip, _seen(features, beside, plane, areas[beside]))
        areas[plane] = shapely.union(areas[plane], strip)
        outlines[plane] = _border(areas[plane])
    return replace(features, outlines=tuple(outlines))


def _inside(features: Features) -> Iterator[tuple[int, Floats, int]]:
    """Yield flat faces with their straight inside edges, in their own directions, and the faces beside."""
    out = {
        (_key(ends.mean(axis=0)), int(face))
        for ends, faces in zip(features.edges_mm, features.edge_faces, strict=True)
        for face in faces
    }
    sides: dict[tuple[int, ...], list[tuple[int, Floats]]] = {}
    for plane, outline in enumerate(features.outlines):
        origin, _, u, v = features.planes[plane]
        middles = outline.mean(axis=1)
        for middle, segment in zip(origin + middles[:, :1] * u + middles[:, 1:] * v, outline, strict=True):
            if (_key(middle), int(features.plane_faces[plane])) not in out:
                sides.setdefault(_key(middle), []).append((plane, segment))
    for pair in (p for p in sides.values() if len(p) == 2):
        (one, _), (two, _) = pair
        if abs(float(features.planes[one, 1] @ features.planes[two, 1])) < 1.0 - _LEVEL:
            yield one, pair[0][1], two
            yield two, pair[1][1], one


def _key(place: Floats) -> tuple[int, ...]:
    return tuple(np.round(place / _SAME_MM).astype(int).tolist())


def _seen(features: Features, beside: int, plane: int, area: Any) -> Any:
    """Return one flat face as seen along the normal of another, in that one's directions."""
    origin, _, u, v = features.planes[beside]
    start, _, x, y = features.planes[plane]

    def drop(flat: Floats) -> Floats:
        places = origin + flat[:, :1] * u + flat[:, 1:] * v - start
        return np.stack((places @ x, places @ y), axis=-1)

    return shapely.buffer(shapely.transform(area, drop), 0.0)


def _border(area: Any) -> Floats:
    """Return the segments of the borders of an area."""
    rings = shapely.get_parts(shapely.boundary(area))
    points = [shapely.get_coordinates(ring) for ring in rings]
    return np.concatenate([np.stack((p[:-1], p[1:]), axis=1) for p in points])
