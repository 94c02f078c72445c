"""A body whose faces are out: which way its corners and edges go, and its features when they have gone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Candidates
from fixturecheck.contact.sharp import RIM_MM
from fixturecheck.kernel.features import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def growth_rows(
    rows: Candidates, features: tuple[Features, ...], rotation: Floats, origin: Floats,
    variables: Mapping[tuple[int, int], int],
) -> Floats:  # fmt: skip
    """Return how each gap changes when faces move outward along their normals.

    Parameters
    ----------
    variables : mapping of (body, face) to column
        The faces that may be out.

    Returns
    -------
    ndarray, shape (n, k)
        mm per mm.
    """
    out = np.zeros((len(rows.gap_mm), len(variables)))
    sides = (
        (rows.body_a, rows.face_a, rows.point_a_mm, 1.0),
        (rows.body_b, rows.face_b, rows.point_b_mm, -1.0),
    )
    for bodies, faces, points, sign in sides:
        for i in range(len(out)):
            body = int(bodies[i])
            local = rotation[body].T @ (points[i] - origin[body])
            outward = -sign * (rotation[body].T @ rows.normal[i])
            meeting, normals = _meeting(features[body], local, int(faces[i]), outward)
            # The gap opens by n . dx of the point of a and closes by that of b.
            shares = outward @ np.linalg.pinv(normals, rcond=1e-6)
            for face, share in zip(meeting, shares, strict=True):
                column = variables.get((body, int(face)))
                if column is not None:
                    out[i, column] -= share
    return out


def _meeting(features: Features, local: Floats, face: int, outward: Floats) -> tuple[Ints, Floats]:
    """Return the faces whose planes fix a point of contact, and their normals."""
    at = np.linalg.norm(features.points_mm - local, axis=1)
    if len(at) and at.min() < RIM_MM:
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
    if len(away) and away.min() < RIM_MM:
        edge = int(np.argmin(away))
        faces, normals = features.edge_faces[edge], features.edge_normals[edge]
        if face in faces and float(normals[faces == face][0] @ outward) < 1 - 1e-9:
            return faces, normals
    return np.array([face]), outward[None]


def grown(features: Features, error_mm: Mapping[int, float]) -> Features:
    """Return a body's features with faces moved outward by their errors.

    Flat faces shift, corners go to where their faces now meet, cylinders and balls change radius.
    """
    if not error_mm:
        return features
    shift = np.zeros_like(features.points_mm)
    for i, (faces, normals) in enumerate(zip(features.point_faces, features.point_normals, strict=True)):
        real = faces >= 0
        errors = np.array([error_mm.get(int(f), 0.0) for f in faces[real]])
        if np.any(errors):
            shift[i] = np.linalg.pinv(normals[real], rcond=1e-6) @ errors
    planes = features.planes.copy()
    outlines = []
    for i, face in enumerate(features.plane_faces):
        planes[i, 0] += planes[i, 1] * error_mm.get(int(face), 0.0)
        outlines.append(_outline(features, shift, i))
    rounds = tuple(
        replace(
            one,
            radius_a_mm=one.radius_a_mm + _radial(one.kind) * error_mm.get(one.face, 0.0),
            radius_b_mm=one.radius_b_mm + _radial(one.kind) * error_mm.get(one.face, 0.0),
            skin_mm=one.skin_mm + _swept(one.kind) * error_mm.get(one.face, 0.0),
        )
        for one in features.rounds
    )
    return replace(
        features,
        points_mm=features.points_mm + shift,
        edges_mm=features.edges_mm + _at_points(features, shift, features.edges_mm),
        planes=planes,
        outlines=tuple(outlines),
        rounds=rounds,
    )


def _radial(kind: str) -> float:
    """Return how a radius changes when the face moves outward of the solid."""
    return {"rod": 1.0, "bore": -1.0}.get(kind, 0.0)


def _swept(kind: str) -> float:
    """Return how a ball's radius changes when the face moves outward of the solid."""
    return {"ball": 1.0, "ring": 1.0}.get(kind, 0.0)


def _at_points(features: Features, shift: Floats, places: Floats) -> Floats:
    """Return the shift of the corner nearest each place."""
    flat = places.reshape(-1, 3)
    nearest = np.argmin(np.linalg.norm(flat[:, None] - features.points_mm[None], axis=2), axis=1)
    return np.asarray(shift[nearest].reshape(places.shape))


def _outline(features: Features, shift: Floats, plane: int) -> Floats:
    """Return the border of a flat face after its corners have moved."""
    origin, _, x, y = features.planes[plane]
    outline = features.outlines[plane]
    places = origin + outline[..., :1] * x + outline[..., 1:] * y
    moved = _at_points(features, shift, places)
    return np.asarray(outline + np.stack((moved @ x, moved @ y), axis=-1))
