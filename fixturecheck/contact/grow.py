"""How gaps change when faces of bodies are out: they shift along their normals, flat ones lean besides."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Candidates
from fixturecheck.contact.vary import Varies
from fixturecheck.kernel.brep.features import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NEAR_MM = 1e-5
"""Points of contact this close to a corner or an edge are at it."""


def growth_rows(
    rows: Candidates, features: tuple[Features, ...], rotation: Floats, origin: Floats,
    variables: Mapping[tuple[int, int], Varies],
) -> Floats:  # fmt: skip
    """Return how each gap changes with the errors of faces.

    Parameters
    ----------
    variables : mapping of (body, face) to Varies
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
