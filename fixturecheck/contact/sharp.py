"""Candidates between sharp features: corners over faces, edges across edges, corners beside either.

A row is kept only where both bodies could touch that way: the normal must lie in the cone of outward
directions of either feature, so a point on the rim of a face that looks the other way is no candidate.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import RIM_MM, Candidates, Scene, World
from fixturecheck.contact.listed import Listed, Ranked, listed, others, relisted

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


DEEP_MM = 1.5
AHEAD = 2.5
"""How much further than a look reaches pairs are listed, for the looks to come."""


class Look:
    """One look at a scene: the poses, the reach and how much slack directions get."""

    def __init__(self, scene: Scene, rotation: Floats, origin: Floats, reach_mm: float, slack: float) -> None:
        self.scene, self.rotation, self.origin = scene, rotation, origin
        self.reach, self.slack = reach_mm, slack
        self.pose = rotation, origin
        # Far behind a face is not in it but past the other side of a thin body.
        self.deep = -max(min(0.5 * reach_mm, DEEP_MM), 0.25 * reach_mm, 0.05)
        self.world: World = scene.world(rotation, origin)
        self.listed, self.asked = self._listed()

    def _listed(self) -> tuple[Listed, float]:
        """Return the scene's list of near pairs, made anew where it no longer serves, and how far to read."""
        scene, old = self.scene, self.scene.listed
        gone = np.inf if old is None else old.gone_mm(scene, *self.pose)
        asked = self.reach + 2.0 * gone
        if old is None or asked > old.reach_mm:
            scene.listed = listed(scene, self.world, *self.pose, AHEAD * self.reach + 0.05)
        elif gone <= max(self.reach, 0.02) and old.reach_mm <= 10 * self.reach + 1.0:
            return old, asked
        else:
            ahead = min(AHEAD * self.reach + 0.05, old.reach_mm - 2.0 * gone)
            scene.listed = relisted(scene, self.world, old, self.pose, ahead, gone)
        return scene.listed, self.reach

    def near(self, ranked: Ranked) -> tuple[Ints, Ints]:
        """Return the pairs of features that may be within reach."""
        return ranked.within(self.asked)

    def near_balls(self, first: str, second: str) -> tuple[Ints, Ints]:
        """Return the pairs of features of two kinds, told by balls round them, that may be within reach."""
        name, known = f"{first} {second}", self.listed.others
        if name not in known:
            balls = self.scene.balls[first], self.scene.balls[second]
            known[name] = others(self.scene, self.world, self.listed, *balls)
        return known[name].within(self.asked)

    def place(self, local: Floats, body: Ints) -> Floats:
        """Return points of bodies in the machine's frame."""
        return self.turn(local, body) + self.origin[body]

    def turn(self, local: Floats, body: Ints) -> Floats:
        """Return directions of bodies in the machine's frame."""
        return np.asarray(np.einsum("nij,nj->ni", self.rotation[body], local))

    def leaves_room(self, cones: Floats, direction: Floats) -> Mask:
        """Tell where no direction of a cone runs against `direction` by more than the slack."""
        return np.asarray(np.all(np.einsum("nkj,nj->nk", cones, direction) >= -self.slack, axis=1))


def corners_over_faces(look: Look) -> Candidates:
    """Return corners of one body over flat faces of another, across a gap along the face's normal."""
    scene, world = look.scene, look.world
    point, plane = look.near(look.listed.corner_face)
    arm = world.points[point] - world.planes[plane, 0]
    normal = world.planes[plane, 1]
    gap = np.einsum("ni,ni->n", arm, normal)
    keep = np.flatnonzero((gap <= look.reach) & (gap >= look.deep))
    point, plane, arm, normal, gap = point[keep], plane[keep], arm[keep], normal[keep], gap[keep]
    keep = np.flatnonzero(look.leaves_room(world.cones[point], normal))
    point, plane, arm, normal, gap = point[keep], plane[keep], arm[keep], normal[keep], gap[keep]
    flat = np.einsum("nkj,nj->nk", world.planes[plane, 2:4], arm)
    keep = np.flatnonzero(over(scene, plane, flat))
    point, plane, normal, gap = point[keep], plane[keep], normal[keep], gap[keep]
    return Candidates(
        gap_mm=gap,
        normal=normal,
        point_a_mm=world.points[point],
        point_b_mm=world.points[point] - gap[:, None] * normal,
        body_a=world.point_body[point],
        body_b=world.plane_body[plane],
        face_a=scene.facing(point, -normal, look.rotation),
        face_b=scene.plane_faces[plane],
    )


def over(scene: Scene, plane: Ints, flat: Floats) -> Mask:
    """Tell which points, in their planes' coordinates, lie over the face or on its border."""
    low, high = scene.outline_low[plane] - RIM_MM, scene.outline_high[plane] + RIM_MM
    over = np.all((flat >= low) & (flat <= high), axis=1)
    ask = np.flatnonzero(over)
    sizes = scene.outline_from[plane[ask] + 1] - scene.outline_from[plane[ask]]
    owner = np.repeat(np.arange(len(ask)), sizes)
    first = np.repeat(np.cumsum(sizes) - sizes, sizes)
    segment = scene.outlines[np.arange(len(owner)) - first + np.repeat(scene.outline_from[plane[ask]], sizes)]
    q = flat[ask][owner]
    start, end = segment[:, 0], segment[:, 1]
    along = end - start
    rises = (start[:, 1] > q[:, 1]) != (end[:, 1] > q[:, 1])
    rise = np.where(rises, along[:, 1], 1.0)
    crosses = rises & (q[:, 0] < start[:, 0] + along[:, 0] * (q[:, 1] - start[:, 1]) / rise)
    share = np.clip(np.einsum("ni,ni->n", q - start, along) / np.einsum("ni,ni->n", along, along), 0.0, 1.0)
    away = np.linalg.norm(q - start - share[:, None] * along, axis=1)
    count = np.bincount(owner, weights=crosses, minlength=len(ask))
    border = np.bincount(owner, weights=away <= RIM_MM, minlength=len(ask))
    over[ask] = (count % 2 == 1) | (border > 0)
    return np.asarray(over)


def edges_across(look: Look) -> Candidates:
    """Return edges of two bodies that cross, seen along their common normal."""
    scene, world = look.scene, look.world
    a, b = look.near(look.listed.edge_edge)
    u, v = world.along[a], world.along[b]
    cosine = np.einsum("ni,ni->n", u, v)
    square = 1.0 - cosine**2
    keep = np.flatnonzero(square > 1e-10)
    a, b, u, v, cosine, square = a[keep], b[keep], u[keep], v[keep], cosine[keep], square[keep]
    arm = world.edges[b, 0] - world.edges[a, 0]
    on_u, on_v = np.einsum("ni,ni->n", arm, u), np.einsum("ni,ni->n", arm, v)
    s = (on_u - cosine * on_v) / square
    t = (cosine * on_u - on_v) / square
    inner = (s > 1e-6) & (s < world.length[a] - 1e-6) & (t > 1e-6) & (t < world.length[b] - 1e-6)
    keep = np.flatnonzero(inner)
    a, b, u, v, s, t = a[keep], b[keep], u[keep], v[keep], s[keep], t[keep]
    normal = cross_rows(u, v)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    point_a = world.edges[a, 0] + s[:, None] * u
    point_b = world.edges[b, 0] + t[:, None] * v
    # Both ways round: the normal must leave b and enter a, which at most one sign does on sharp edges.
    a, b = np.tile(a, 2), np.tile(b, 2)
    normal = np.concatenate((normal, -normal))
    point_a, point_b = np.tile(point_a, (2, 1)), np.tile(point_b, (2, 1))
    gap = np.einsum("ni,ni->n", normal, point_a - point_b)
    keep = np.flatnonzero(
        (gap <= look.reach)
        & (gap >= look.deep)
        & look.leaves_room(world.leaves[a], normal)
        & look.leaves_room(world.leaves[b], -normal)
    )
    a, b, normal, gap = a[keep], b[keep], normal[keep], gap[keep]
    return Candidates(
        gap_mm=gap,
        normal=normal,
        point_a_mm=point_a[keep],
        point_b_mm=point_b[keep],
        body_a=world.edge_body[a],
        body_b=world.edge_body[b],
        face_a=scene.facing_edge(a, -normal, look.rotation),
        face_b=scene.facing_edge(b, normal, look.rotation),
    )


def corners_beside_edges(look: Look) -> Candidates:
    """Return corners that look past a face at the edge of another body, along the shortest way."""
    scene, world = look.scene, look.world
    point, edge = look.near(look.listed.corner_edge)
    arm = world.points[point] - world.edges[edge, 0]
    share = np.einsum("ni,ni->n", arm, world.along[edge])
    away = arm - share[:, None] * world.along[edge]
    gap = np.linalg.norm(away, axis=1)
    inner = (share > -1e-6) & (share < world.length[edge] + 1e-6)
    keep = np.flatnonzero(inner & (gap <= look.reach) & (gap > RIM_MM))
    point, edge, gap, away = point[keep], edge[keep], gap[keep], away[keep]
    normal = away / gap[:, None]
    fits = look.leaves_room(world.leaves[edge], -normal) & look.leaves_room(world.cones[point], normal)
    # An edge that is flush with its face has that face's normal only, and the face speaks for itself.
    keep = np.flatnonzero(fits)
    point, edge, gap, normal = point[keep], edge[keep], gap[keep], normal[keep]
    return Candidates(
        gap_mm=gap,
        normal=normal,
        point_a_mm=world.points[point],
        point_b_mm=world.points[point] - gap[:, None] * normal,
        body_a=world.point_body[point],
        body_b=world.edge_body[edge],
        face_a=scene.facing(point, -normal, look.rotation),
        face_b=scene.facing_edge(edge, normal, look.rotation),
    )


def corners_beside_corners(look: Look) -> Candidates:
    """Return corners that look at corners, along the straight line between them."""
    scene, world = look.scene, look.world
    a, b = look.near(look.listed.corner_corner)
    arm = world.points[a] - world.points[b]
    gap = np.linalg.norm(arm, axis=1)
    keep = np.flatnonzero((gap <= look.reach) & (gap > RIM_MM))
    a, b, gap = a[keep], b[keep], gap[keep]
    normal = arm[keep] / gap[:, None]
    fits = look.leaves_room(world.cones[a], normal) & look.leaves_room(world.cones[b], -normal)
    keep = np.flatnonzero(fits)
    a, b, gap, normal = a[keep], b[keep], gap[keep], normal[keep]
    return Candidates(
        gap_mm=gap,
        normal=normal,
        point_a_mm=world.points[a],
        point_b_mm=world.points[b],
        body_a=world.point_body[a],
        body_b=world.point_body[b],
        face_a=scene.facing(a, -normal, look.rotation),
        face_b=scene.facing(b, normal, look.rotation),
    )


def cross_rows(a: Floats, b: Floats) -> Floats:
    """Return row-wise cross products."""
    x = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    y = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    z = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return np.stack((x, y, z), axis=1)
