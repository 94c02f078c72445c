"""How deep bodies may still stand in each other unseen where they rest.

Where a face is free-form, all places where two bodies could be deepest in each other are bounded
(`contact/proven`). Curved edges stand as chords against other edges and simple round faces; where those
come near, the chord's distance from its arc bounds what is not seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Scene
from fixturecheck.contact.proven import Side, deepest_mm
from fixturecheck.kernel.brep.features import Features
from fixturecheck.kernel.brep.free_form import Target
from fixturecheck.kernel.brep.primitives import CurveKind, SurfaceKind, SweptPrimitive
from fixturecheck.physics.rigid import Poses

Floats = NDArray[np.float64]
NEAR_MM = 0.02
"""Features further apart than this where the parts rest are no cause of an error there."""
FINE_MM, DEEP_MM = 1e-4, 1.5


def unseen_mm(scene: Scene, poses: Poses) -> float:
    """Return a bound on how deep bodies of a scene stand in each other beyond what settling sees."""
    low, high = scene.boxes(poses.rotation, poses.origin_mm)
    worst = 0.0
    for one, other in scene.pairs(low, high, NEAR_MM).tolist():
        for a, b in ((one, other), (other, one)):
            turn = poses.rotation[b].T @ poses.rotation[a]
            shift = poses.rotation[b].T @ (poses.origin_mm[a] - poses.origin_mm[b])
            pair = scene.features[a], scene.features[b]
            worst = max(
                [worst, _chords_mm(*pair, turn, shift), *_smooth_mm(*pair, turn, shift, first=a == one)]
            )
    return worst


def _smooth_mm(a: Features, b: Features, turn: Floats, shift: Floats, *, first: bool) -> Iterator[float]:
    """Yield bounds for free-form faces of a, and for edges of a where either body has free-form faces."""
    if not (a.smooth or b.smooth):
        return
    targets, freeform = b.targets(), {one.face for one in b.smooth}
    for one in a.smooth:
        points = one.points @ turn.T + shift
        side = None
        for target in _near(points.reshape(-1, 3), one.reach_mm, targets):
            if target.face in freeform and not first:
                continue  # told from the other body's side
            side = side or Side(a.targets()[one.face].pieces(), turn, shift)
            yield deepest_mm(side, _standing(target), fine_mm=FINE_MM, deep_mm=DEEP_MM)
    for curve in a.curves():
        points = curve.points @ turn.T + shift
        slack = 0.5 * float(np.linalg.norm(np.diff(points, axis=0), axis=1).max())
        side = None
        for target in _near(points, slack, targets):
            # Straight edges and circles over flat faces, and straight edges over all simple ones, are exact.
            simple = target.face not in freeform
            if simple and (
                curve.kind == CurveKind.LINE or target.plane is None or curve.kind == CurveKind.CIRCLE
            ):
                continue
            side = side or Side(curve.pieces(), turn, shift)
            yield deepest_mm(side, _standing(target), fine_mm=FINE_MM, deep_mm=DEEP_MM)


def _standing(target: Target) -> Side:
    return Side(target.pieces(), np.eye(3), np.zeros(3))


def _near(points: Floats, slack_mm: float, targets: tuple[Target, ...]) -> Iterator[Target]:
    """Yield the faces whose boxes come near points (n, 3) and what lies within a distance of them."""
    low, high = points.min(axis=0) - slack_mm - NEAR_MM, points.max(axis=0) + slack_mm + NEAR_MM
    for target in targets:
        if np.all(target.low_mm <= high) and np.all(target.high_mm >= low):
            yield target


def _chords_mm(a: Features, b: Features, turn: Floats, shift: Floats) -> float:
    """Return the greatest bow of the chords of a that come near an edge or a simple curved face of b."""
    bent = ~a.straight
    if not bent.any():
        return 0.0
    ends, bows = a.edges_mm[bent] @ turn.T + shift, a.bows_mm[bent]
    slack = bows[:, None] + NEAR_MM
    low, high = ends.min(axis=1) - slack, ends.max(axis=1) + slack
    near = _meet(low, high, b.edges_mm.min(axis=1), b.edges_mm.max(axis=1))
    for one in b.swept:
        near |= np.abs(_off(one, ends.mean(axis=1))) <= slack[:, 0]
    if not (a.smooth or b.smooth):
        # Ellipses and splines are followed over flat faces only where a free-form face is about.
        near |= a.free[bent] & _meet(low, high, b.box_mm[:1], b.box_mm[1:])
    return float(bows[near].max(initial=0.0))


def _meet(low: Floats, high: Floats, other_low: Floats, other_high: Floats) -> NDArray[np.bool_]:
    """Return which boxes (n, 3) meet any of the others (m, 3)."""
    meet = np.all(low[:, None] <= other_high[None], axis=2) & np.all(high[:, None] >= other_low[None], axis=2)
    return np.asarray(meet.any(axis=1))


def _off(one: SweptPrimitive, points: Floats) -> Floats:
    """Return how far points (n, 3) are from a curved face's surface, carried on beyond its borders."""
    arm = points - one.a_mm
    height = arm @ one.axis
    radius = np.linalg.norm(arm - height[:, None] * one.axis, axis=1)
    if one.kind == SurfaceKind.SPHERE:
        return np.asarray(np.linalg.norm(arm, axis=1) - one.tube_mm)
    if one.kind == SurfaceKind.TORUS:
        return np.asarray(np.hypot(radius - one.radius_a_mm, height) - one.tube_mm)
    long = float((one.b_mm - one.a_mm) @ one.axis)
    taper = (one.radius_b_mm - one.radius_a_mm) / (long or 1.0)
    return np.asarray((radius - one.radius_a_mm - taper * height) / math.hypot(1.0, taper))
