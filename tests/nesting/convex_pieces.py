"""Solids cut into convex pieces, and MuJoCo's model of a gang of such parts in its fixture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import manifold3d
import numpy as np

from fixturecheck.rigid import Poses
from fixturecheck.setup.model import Body

TRIVIAL_MM3 = 1e-4
OPTIONS = 'iterations="200" tolerance="1e-12" ccd_tolerance="1e-10" ccd_iterations="200"'
"""As exact as its solver and its collision of meshes get; with the defaults a gang of meshes never rests."""


def convex_pieces(solid: Any, *, turn_rad: float = 0.8) -> list[np.ndarray]:
    """Cut a solid, its rounds as chords, along the planes of its inside edges until every piece is convex.

    Returns
    -------
    list of ndarray, shape (n, 3)
        Corners of each piece, mm.
    """
    places, triangles = solid.copy().tessellate(0.2, turn_rad)
    points = np.array([p.toTuple() for p in places])
    points, same = np.unique(np.round(points, 7), axis=0, return_inverse=True)
    corners = same.ravel()[np.array(triangles)]
    kept = [len(set(c)) == 3 for c in corners.tolist()]
    waiting = [manifold3d.Manifold(manifold3d.Mesh64(points, corners[kept].astype(np.uint64)))]
    done = []
    while waiting:
        for piece in waiting.pop().decompose():
            if piece.volume() < TRIVIAL_MM3:
                continue
            mesh = piece.to_mesh64()
            at = np.asarray(mesh.vert_properties)[:, :3]
            cuts = _inside_edges(at, np.asarray(mesh.tri_verts).astype(int))
            halves = None if _hollow_mm3(piece) < 1e-6 * piece.volume() else _best_cut(piece, cuts)
            if halves is None:
                done.append(at)
            else:
                waiting += halves
    return done


def _inside_edges(points: np.ndarray, corners: np.ndarray) -> list[tuple[float, np.ndarray, float]]:
    """Return the planes of both triangles at each edge that is an inside corner, deepest first."""
    a, b, c = (points[corners[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]
    edges: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for number, corner in enumerate(corners.tolist()):
        for k in range(3):
            p, q = sorted((corner[k], corner[(k + 1) % 3]))
            edges.setdefault((p, q), []).append((number, corner[(k + 2) % 3]))
    found = []
    for (p, _), sides in edges.items():
        if len(sides) == 2:
            (one, _), (two, other) = sides
            depth = float((points[other] - points[p]) @ normals[one])
            if depth > 1e-6 and np.linalg.norm(np.cross(normals[one], normals[two])) > 1e-4:
                found += [(depth, n, float(n @ points[p])) for n in (normals[one], normals[two])]
    return sorted(found, key=lambda cut: -cut[0])


def _best_cut(piece: Any, cuts: Sequence[tuple[float, np.ndarray, float]]) -> list[Any] | None:
    """Return the halves that leave the least hollow, out of the deepest cuts; None where none cuts."""
    tried = [piece.split_by_plane(normal.tolist(), offset) for _, normal, offset in cuts[:24]]
    real = [list(h) for h in tried if not any(one.is_empty() for one in h)]
    return min(real, key=lambda halves: sum(map(_hollow_mm3, halves)), default=None)


def _hollow_mm3(piece: Any) -> float:
    """Return how much larger the hull of a piece is than the piece."""
    points = np.asarray(piece.to_mesh64().vert_properties)[:, :3]
    return float(manifold3d.Manifold.hull_points(points).volume() - piece.volume())


def gang_model(
    bodies: Sequence[Body],
    start: Poses,
    gravity_m_s2: Sequence[float],
    timestep_s: float,
) -> Any:
    """Return MuJoCo's model of bodies: fixtures stand, parts start free at given poses; no friction.

    Contacts are as stiff as the time step allows: a time constant of two steps, critically damped.
    """
    import mujoco

    meshes, names, text = [], {}, []
    for number, body in enumerate(bodies):
        key = id(body.solid)
        if key not in names:
            pieces = convex_pieces(body.solid)
            names[key] = [f"m{number}_{k}" for k in range(len(pieces))]
            meshes += [
                f'<mesh name="{name}" vertex="{_numbers(piece)}"/>'
                for name, piece in zip(names[key], pieces, strict=True)
            ]
        geoms = "".join(f'<geom type="mesh" mesh="{name}"/>' for name in names[key])
        free = "<freejoint/>" if body.role == "part" else ""
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = start.rotation[number], start.origin_mm[number]
        axes = " ".join(f"{v:.12g}" for v in (*matrix[:3, 0], *matrix[:3, 1]))
        text.append(f'<body pos="{_numbers(matrix[:3, 3])}" xyaxes="{axes}">{free}{geoms}</body>')
    gravity = " ".join(f"{v:.9g}" for v in gravity_m_s2)
    return mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="{timestep_s}" gravity="{gravity}" integrator="implicitfast" {OPTIONS}/>'
        f'<default><geom condim="1" solref="{2 * timestep_s} 1" solimp="0.999 0.9999 0.00001"'
        f' density="7850"/></default><asset>{"".join(meshes)}</asset>'
        f"<worldbody>{''.join(text)}</worldbody></mujoco>"
    )


def _numbers(values: np.ndarray) -> str:
    """Return lengths in mm as text in m."""
    return " ".join(f"{v * 1e-3:.12g}" for v in np.ravel(values))
