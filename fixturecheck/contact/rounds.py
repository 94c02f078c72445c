"""Curved faces and round edges of several bodies as arrays: swept circles, capsules and cones, by sign."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fixturecheck.kernel.brep.features import Features
from fixturecheck.kernel.brep.primitives import Rim, SurfaceKind, SweptPrimitive

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
_SAME_MM = 1e-6


class SweptCircles(NamedTuple):
    """Circles swept by a ball: edges of cylinders (no ball), tori, and spheres (no circle).

    All have one sign: convex ones stand on things, concave ones, such as the fillet round the bottom of a
    bore, take things in. `middle_mm` is the centre, `ball_mm` the radius of a ball round it all, `tube_mm`
    that of the ball that is swept; `leave` (n, 2, 2) holds the radial and axial parts of the directions into
    the two faces of a sharp circle and zeros where the surface itself is round; `face` (n, 2) the faces.
    """

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    axis: Floats
    zero: Floats
    radius_mm: Floats
    tube_mm: Floats
    turn_rad: Floats
    tilt_rad: Floats
    leave: Floats
    face: Ints


class Capsules(NamedTuple):
    """Segments (or points) with a radius: convex cylinders and spheres."""

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    a_mm: Floats
    b_mm: Floats
    axis: Floats
    zero: Floats
    radius_mm: Floats
    turn_rad: Floats
    tilt_rad: Floats
    is_ball: Mask
    face: Ints


class Cones(NamedTuple):
    """Concave cylinders and cones, or convex cones: a radius at `a_mm` and another at `b_mm`.

    `past_mm` (n, 2) is how far past either end the concave cone beside it goes on, where the two make an
    inside edge: what is free there lies inside this one's surface carried on as well.
    """

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    a_mm: Floats
    b_mm: Floats
    axis: Floats
    zero: Floats
    radius_a_mm: Floats
    radius_b_mm: Floats
    past_mm: Floats
    turn_rad: Floats
    face: Ints


def swept_circles_of(features: Sequence[Features]) -> SweptCircles:
    """Gather circular edges, convex tori and spheres, each in its body's own frame."""
    every: list[tuple[int, Rim | SweptPrimitive]] = []
    for i, one in enumerate(features):
        every += [(i, rim) for rim in one.rims]
        every += [(i, r) for r in one.swept if r.is_tube and r.sign > 0]
    return _circles(every, len(features))


def concave_tori_of(features: Sequence[Features]) -> SweptCircles:
    """Gather concave tori and spheres, each in its body's own frame."""
    every = [(i, r) for i, f in enumerate(features) for r in f.swept if r.is_tube and r.sign < 0]
    return _circles(every, len(features))


def _circles(every: Sequence[tuple[int, Rim | SweptPrimitive]], bodies: int) -> SweptCircles:
    radius = np.array([r.radius_mm if isinstance(r, Rim) else r.radius_a_mm for _, r in every], dtype=float)
    tube = np.array([0.0 if isinstance(r, Rim) else r.tube_mm for _, r in every], dtype=float)
    whole = (-np.inf, np.inf)
    smooth = np.zeros((2, 2))
    return SweptCircles(
        first=_first([i for i, _ in every], bodies),
        middle_mm=_rows([r.centre_mm if isinstance(r, Rim) else r.a_mm for _, r in every]),
        ball_mm=radius + tube,
        axis=_rows([r.axis for _, r in every]),
        zero=_rows([r.zero for _, r in every]),
        radius_mm=radius,
        tube_mm=tube,
        turn_rad=_spans([r.turn for _, r in every]),
        tilt_rad=_spans([whole if isinstance(r, Rim) else r.tilt for _, r in every]),
        leave=np.array(
            [np.asarray(r.leave) if isinstance(r, Rim) else smooth for _, r in every], dtype=float
        ).reshape(-1, 2, 2),
        face=np.array(
            [r.faces if isinstance(r, Rim) else (r.face, r.face) for _, r in every], dtype=np.int64
        ).reshape(-1, 2),
    )


def capsules_of(features: Sequence[Features]) -> Capsules:
    """Gather convex cylinders and spheres, each in its body's own frame."""
    thick = {SurfaceKind.CYLINDER, SurfaceKind.SPHERE}
    every = [(i, r) for i, f in enumerate(features) for r in f.swept if r.sign > 0 and r.kind in thick]
    a, b = _rows([r.a_mm for _, r in every]), _rows([r.b_mm for _, r in every])
    radius = np.array([r.radius_a_mm + r.tube_mm for _, r in every], dtype=float)
    return Capsules(
        first=_first([i for i, _ in every], len(features)),
        middle_mm=0.5 * (a + b),
        ball_mm=0.5 * np.linalg.norm(b - a, axis=1) + radius,
        a_mm=a,
        b_mm=b,
        axis=_rows([r.axis for _, r in every]),
        zero=_rows([r.zero for _, r in every]),
        radius_mm=radius,
        turn_rad=_spans([r.turn for _, r in every]),
        tilt_rad=_spans([r.tilt for _, r in every]),
        is_ball=np.array([r.kind == SurfaceKind.SPHERE for _, r in every], dtype=bool),
        face=np.array([r.face for _, r in every], dtype=np.int64),
    )


def concave_cones_of(features: Sequence[Features]) -> Cones:
    """Gather concave cylinders and cones, each in its body's own frame."""
    every = [(i, r) for i, f in enumerate(features) for r in f.swept if r.sign < 0 and not r.is_tube]
    return _cones(features, every)


def convex_cones_of(features: Sequence[Features]) -> Cones:
    """Gather convex cones, each in its body's own frame."""
    cone = SurfaceKind.CONE
    every = [(i, r) for i, f in enumerate(features) for r in f.swept if r.sign > 0 and r.kind == cone]
    return _cones(features, every)


def _cones(features: Sequence[Features], every: Sequence[tuple[int, SweptPrimitive]]) -> Cones:
    a, b = _rows([r.a_mm for _, r in every]), _rows([r.b_mm for _, r in every])
    radius_a = np.array([r.radius_a_mm for _, r in every], dtype=float)
    radius_b = np.array([r.radius_b_mm for _, r in every], dtype=float)
    return Cones(
        first=_first([i for i, _ in every], len(features)),
        middle_mm=0.5 * (a + b),
        ball_mm=0.5 * np.linalg.norm(b - a, axis=1) + np.maximum(radius_a, radius_b),
        a_mm=a,
        b_mm=b,
        axis=_rows([r.axis for _, r in every]),
        zero=_rows([r.zero for _, r in every]),
        radius_a_mm=radius_a,
        radius_b_mm=radius_b,
        past_mm=np.array([_past_mm(features[i], r) for i, r in every], dtype=float).reshape(-1, 2),
        turn_rad=_spans([r.turn for _, r in every]),
        face=np.array([r.face for _, r in every], dtype=np.int64),
    )


def _past_mm(features: Features, one: SweptPrimitive) -> tuple[float, float]:
    """Return how far past either end of a concave cone the next goes on, where they make an inside edge."""

    def past(centre: Floats, radius_mm: float) -> float:
        # Edges that stick out, or where faces run on smoothly, are rims; an inside edge is none.
        if any(_same(rim.centre_mm, centre) and _close(rim.radius_mm, radius_mm) for rim in features.rims):
            return 0.0
        beside = [
            float(np.linalg.norm(r.b_mm - r.a_mm))
            for r in features.swept
            if r.sign < 0
            and not r.is_tube
            and r.face != one.face
            and any(
                _same(end, centre) and _close(wide, radius_mm)
                for end, wide in ((r.a_mm, r.radius_a_mm), (r.b_mm, r.radius_b_mm))
            )
        ]
        return max(beside, default=0.0)

    return past(one.a_mm, one.radius_a_mm), past(one.b_mm, one.radius_b_mm)


def _same(one: Floats, other: Floats) -> bool:
    return float(np.abs(one - other).max()) < _SAME_MM


def _close(one: float, other: float) -> bool:
    return abs(one - other) < _SAME_MM


def _first(bodies: list[int], count: int) -> Ints:
    """Return where each body's features start, of features in the order of bodies."""
    return np.searchsorted(np.array(bodies, dtype=np.int64), np.arange(count + 1)).astype(np.int64)


def _rows(vectors: Sequence[Floats]) -> Floats:
    """Return vectors as rows."""
    return np.array(vectors, dtype=float).reshape(-1, 3)


def _spans(spans: Sequence[object]) -> Floats:
    """Return first and last angles as rows."""
    return np.array(spans, dtype=float).reshape(-1, 2)
