"""Where bodies might touch next: every point, edge and curved face of one that looks at another across a gap.

Features are read from each solid once, in its own frame; a look at a new pose is array arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.fits import FitStore
from fixturecheck.contact.rounds import Balls, Rounds, balls_of
from fixturecheck.kernel.features import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

RIM_MM = 1e-5
"""Points this close to the border of a face count as over it; nearer an edge has no own direction."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """One row for each place where two bodies might touch.

    Parameters
    ----------
    gap_mm : ndarray, shape (n,)
        Distance along the normal; negative where they overlap.
    normal : ndarray, shape (n, 3)
        Unit normal out of body b into body a, machine's frame.
    point_a_mm, point_b_mm : ndarray, shape (n, 3)
        The two places, machine's frame.
    body_a, body_b, face_a, face_b : ndarray, shape (n,)
        Bodies and faces by index.
    """

    gap_mm: Floats
    normal: Floats
    point_a_mm: Floats
    point_b_mm: Floats
    body_a: Ints
    body_b: Ints
    face_a: Ints
    face_b: Ints

    def where(self, keep: Mask | Ints) -> Candidates:
        """Return the rows chosen."""
        return Candidates(
            gap_mm=self.gap_mm[keep],
            normal=self.normal[keep],
            point_a_mm=self.point_a_mm[keep],
            point_b_mm=self.point_b_mm[keep],
            body_a=self.body_a[keep],
            body_b=self.body_b[keep],
            face_a=self.face_a[keep],
            face_b=self.face_b[keep],
        )


def joined(parts: Sequence[Candidates]) -> Candidates:
    """Return all rows of several sets."""
    if not parts:
        no, none = np.zeros(0), np.zeros(0, dtype=np.int64)
        flat = np.zeros((0, 3))
        return Candidates(
            gap_mm=no, normal=flat, point_a_mm=flat, point_b_mm=flat,
            body_a=none, body_b=none, face_a=none, face_b=none,
        )  # fmt: skip
    return Candidates(
        gap_mm=np.concatenate([p.gap_mm for p in parts]),
        normal=np.concatenate([p.normal for p in parts]),
        point_a_mm=np.concatenate([p.point_a_mm for p in parts]),
        point_b_mm=np.concatenate([p.point_b_mm for p in parts]),
        body_a=np.concatenate([p.body_a for p in parts]),
        body_b=np.concatenate([p.body_b for p in parts]),
        face_a=np.concatenate([p.face_a for p in parts]),
        face_b=np.concatenate([p.face_b for p in parts]),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """All features of all bodies at one pose, machine's frame; `*_body` says whose each is."""

    points: Floats
    cones: Floats
    point_body: Ints
    edges: Floats
    along: Floats
    length: Floats
    leaves: Floats
    edge_body: Ints
    planes: Floats
    plane_body: Ints


class Scene:
    """The features of several bodies, ready to be looked at in any pose.

    Parameters
    ----------
    features : sequence of Features
        One for each body.
    loose : sequence of bool
        Which bodies move; two that do not are never looked at.
    store : FitStore, optional
        What was found out about these solids before.
    """

    def __init__(
        self, features: Sequence[Features], loose: Sequence[bool], store: FitStore | None = None
    ) -> None:
        self.features = tuple(features)
        self.store = FitStore() if store is None else store
        first: dict[int, int] = {}
        self.kind = np.array([first.setdefault(id(f), len(first)) for f in self.features], dtype=np.int64)
        self.loose = np.array(loose, dtype=bool)
        self.point_from, self.points, self.point_body = _stack([f.points_mm for f in features])
        self.edge_from, self.edges, self.edge_body = _stack([f.edges_mm for f in features])
        self.plane_from, self.planes, self.plane_body = _stack([f.planes for f in features])
        self.cones = _widened([f.cones for f in features])
        self.point_faces = _widened([f.point_faces for f in features], fill=-1)
        self.point_normals = _widened([f.point_normals for f in features])
        self.leaves = np.concatenate([f.leaves for f in features])
        self.edge_faces = np.concatenate([f.edge_faces for f in features])
        self.edge_normals = np.concatenate([f.edge_normals for f in features])
        self.straight = np.concatenate([f.straight for f in features])
        self.round = Rounds(features)
        self.plane_faces = np.concatenate([f.plane_faces for f in features])
        outlines = [one for f in features for one in f.outlines]
        self.outline_from = np.cumsum([0, *(len(one) for one in outlines)])
        self.outlines = np.concatenate([*outlines, np.zeros((0, 2, 2))])
        self.outline_low = np.array([one.min(axis=(0, 1)) for one in outlines]).reshape(-1, 2)
        self.outline_high = np.array([one.max(axis=(0, 1)) for one in outlines]).reshape(-1, 2)
        own = [_own_box(f) for f in features]
        self.box_middle = np.array([0.5 * (low + high) for low, high in own])
        self.box_half = np.array([0.5 * (high - low) for low, high in own])
        self.balls = self.round.balls(len(own)) | self._flat_balls()
        self.listed: Any = None

    def _flat_balls(self) -> dict[str, Balls]:
        """Return balls round corners, edges and flat faces."""
        middle = 0.5 * (self.outline_low + self.outline_high)
        centre = self.planes[:, 0] + middle[:, :1] * self.planes[:, 2] + middle[:, 1:] * self.planes[:, 3]
        flat = 0.5 * np.linalg.norm(self.outline_high - self.outline_low, axis=1)
        long = 0.5 * np.linalg.norm(self.edges[:, 1] - self.edges[:, 0], axis=1)
        count = len(self.features)
        return {
            "corner": balls_of(self.points, np.zeros(len(self.points)), self.point_body, count),
            "edge": balls_of(self.edges.mean(axis=1), long, self.edge_body, count),
            "plane": balls_of(centre, flat, self.plane_body, count),
        }

    def world(self, rotation: Floats, origin: Floats) -> World:
        """Return every feature where it stands."""

        def place(local: Floats, body: Ints) -> Floats:
            shape = (-1,) + (1,) * (local.ndim - 2) + (3,)
            return turn(local, body) + origin[body].reshape(shape)

        def turn(local: Floats, body: Ints) -> Floats:
            flat = local.reshape(len(local), -1, 3)
            return np.asarray((flat @ np.swapaxes(rotation[body], 1, 2)).reshape(local.shape))

        edges = place(self.edges, self.edge_body)
        along = edges[:, 1] - edges[:, 0]
        length = np.linalg.norm(along, axis=1)
        planes = turn(self.planes, self.plane_body)
        planes[:, 0] += origin[self.plane_body]
        return World(
            points=place(self.points, self.point_body),
            cones=turn(self.cones, self.point_body),
            point_body=self.point_body,
            edges=edges,
            along=along / length[:, None],
            length=length,
            leaves=turn(self.leaves, self.edge_body),
            edge_body=self.edge_body,
            planes=planes,
            plane_body=self.plane_body,
        )

    def pairs(self, rotation: Floats, origin: Floats, reach_mm: float) -> Ints:
        """Return the pairs of bodies whose boxes come within reach, at least one of them loose."""
        low, high = self.boxes(rotation, origin)
        meet = np.all(low[:, None] <= high[None] + reach_mm, axis=2)
        meet &= meet.T & (self.loose[:, None] | self.loose[None])
        return np.argwhere(np.triu(meet, 1))

    def boxes(self, rotation: Floats, origin: Floats) -> tuple[Floats, Floats]:
        """Return the corners of a box round each body in the machine's frame."""
        centre = np.einsum("nij,nj->ni", rotation, self.box_middle) + origin
        spread = np.einsum("nij,nj->ni", np.abs(rotation), self.box_half)
        return centre - spread, centre + spread

    def facing(self, point: Ints, normal_out: Floats, rotation: Floats) -> Ints:
        """Return for each point the face that looks most along a direction given in the machine's frame."""
        local = np.einsum("nij,ni->nj", rotation[self.point_body[point]], normal_out)
        along = np.einsum("nkj,nj->nk", self.point_normals[point], local)
        along[self.point_faces[point] < 0] = -np.inf
        best = np.argmax(np.round(along, 9), axis=1)
        return np.asarray(self.point_faces[point, best])

    def facing_edge(self, edge: Ints, normal_out: Floats, rotation: Floats) -> Ints:
        """Return for each edge the one of its two faces that looks most along a direction."""
        local = np.einsum("nij,ni->nj", rotation[self.edge_body[edge]], normal_out)
        along = np.einsum("nkj,nj->nk", self.edge_normals[edge], local)
        return np.asarray(self.edge_faces[edge, np.argmax(np.round(along, 9), axis=1)])


def _stack(parts: list[Floats]) -> tuple[Ints, Floats, Ints]:
    """Return where each body's rows start, all rows, and whose each row is."""
    sizes = [len(p) for p in parts]
    body = np.repeat(np.arange(len(parts)), sizes)
    return np.cumsum([0, *sizes]), np.concatenate(parts), body


def _widened(parts: list[Any], fill: int = 0) -> Any:
    """Stack ragged second axes, padded."""
    widest = max(p.shape[1] for p in parts)
    out = np.full((sum(len(p) for p in parts), widest, *parts[0].shape[2:]), fill, dtype=parts[0].dtype)
    start = 0
    for p in parts:
        out[start : start + len(p), : p.shape[1]] = p
        start += len(p)
    return out


def _own_box(features: Features) -> tuple[Floats, Floats]:
    """Return a box round a body in its own frame, curved faces included."""
    corners = [features.points_mm]
    for one in features.rounds:
        fat = max(one.radius_a_mm, one.radius_b_mm) + one.skin_mm
        if one.kind in ("rod", "cone", "ball", "ring"):
            corners += [np.array([end - fat, end + fat]) for end in (one.a_mm, one.b_mm)]
    every = np.concatenate(corners)
    return every.min(axis=0), every.max(axis=0)
