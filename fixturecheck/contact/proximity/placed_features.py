"""The features of several bodies as arrays, each kind in the order of bodies, and where they stand.

`first` (bodies + 1,) of each kind says where each body's features start; `middle_mm` (n, 3) and `ball_mm`
(n,) are a ball round each feature, by which far ones are passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import compiled
from fixturecheck.kernel.brep.features import Features
from fixturecheck.kernel.brep.primitives import Rim, SurfaceKind, SweptPrimitive

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
    is_ball: Bools
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


def _swept_circles_of(features: Sequence[Features]) -> SweptCircles:
    """Gather circular edges, convex tori and spheres, each in its body's own frame."""
    every: list[tuple[int, Rim | SweptPrimitive]] = []
    for i, one in enumerate(features):
        every += [(i, rim) for rim in one.rims]
        every += [(i, r) for r in one.swept if r.is_tube and r.sign > 0]
    return _circles(every, len(features))


def _concave_tori_of(features: Sequence[Features]) -> SweptCircles:
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


def _capsules_of(features: Sequence[Features]) -> Capsules:
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


def _concave_cones_of(features: Sequence[Features]) -> Cones:
    """Gather concave cylinders and cones, each in its body's own frame."""
    every = [(i, r) for i, f in enumerate(features) for r in f.swept if r.sign < 0 and not r.is_tube]
    return _cones(features, every)


def _convex_cones_of(features: Sequence[Features]) -> Cones:
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


class Corners(NamedTuple):
    """Corners and sampled points, with the faces that meet there; second axes are padded.

    `tangent_cones` (n, k, 3) are the directions in which the body leaves each, `faces` (n, f) and `normals`
    (n, f, 3) the faces that meet there and their outward normals.
    """

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    tangent_cones: Floats
    faces: Ints
    normals: Floats


class Edges(NamedTuple):
    """Straight edges and chords: `ends_mm` (n, 2, 3), unit `along`, `face_tangents` and `normals` (n, 2, 3).

    `low_mm` and `high_mm` (n, 3) are the box round each.
    """

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    ends_mm: Floats
    low_mm: Floats
    high_mm: Floats
    along: Floats
    long_mm: Floats
    face_tangents: Floats
    faces: Ints
    normals: Floats
    straight: Bools


class Planes(NamedTuple):
    """Flat faces: `frame` (n, 4, 3) is a point, the normal and two directions; borders in those two.

    `border` (s, 2, 2) holds the segments of all borders, those of face i from `border_first[i]`; `low` and
    `high` (n, 2) the box round each border.
    """

    first: Ints
    middle_mm: Floats
    ball_mm: Floats
    frame: Floats
    face: Ints
    low: Floats
    high: Floats
    border_first: Ints
    border: Floats


class Bodies(NamedTuple):
    """All features of all bodies; in the bodies' own frames, or in the machine's once they stand."""

    corners: Corners
    edges: Edges
    planes: Planes
    circles: SweptCircles
    capsules: Capsules
    concave_cones: Cones
    concave_tori: SweptCircles
    convex_cones: Cones


def bodies_of(features: Sequence[Features]) -> Bodies:
    """Return the features of bodies, each in its own frame.

    Parameters
    ----------
    features : sequence of Features
        One for each body, by its number.

    Returns
    -------
    Bodies
    """
    return Bodies(
        corners=_corners(features),
        edges=_edges(features),
        planes=_planes(features),
        circles=_swept_circles_of(features),
        capsules=_capsules_of(features),
        concave_cones=_concave_cones_of(features),
        concave_tori=_concave_tori_of(features),
        convex_cones=_convex_cones_of(features),
    )


def _first_rows(features: Sequence[Features], of: Callable[[Features], Sequence[object] | Floats]) -> Ints:
    return np.cumsum([0, *(len(of(f)) for f in features)])


def _corners(features: Sequence[Features]) -> Corners:
    points = np.concatenate([f.points_mm for f in features])
    return Corners(
        first=_first_rows(features, lambda f: f.points_mm),
        middle_mm=points,
        ball_mm=np.zeros(len(points)),
        tangent_cones=_widened([f.tangent_cones for f in features]),
        faces=_widened([f.point_faces for f in features], fill=-1),
        normals=_widened([f.point_normals for f in features]),
    )


def _edges(features: Sequence[Features]) -> Edges:
    ends = np.concatenate([f.edges_mm for f in features])
    along = ends[:, 1] - ends[:, 0]
    long = np.linalg.norm(along, axis=1)
    return Edges(
        first=_first_rows(features, lambda f: f.edges_mm),
        middle_mm=ends.mean(axis=1),
        ball_mm=0.5 * long,
        ends_mm=ends,
        low_mm=np.minimum(ends[:, 0], ends[:, 1]),
        high_mm=np.maximum(ends[:, 0], ends[:, 1]),
        along=along / long[:, None],
        long_mm=long,
        face_tangents=np.concatenate([f.face_tangents for f in features]),
        faces=np.concatenate([f.edge_faces for f in features]),
        normals=np.concatenate([f.edge_normals for f in features]),
        straight=np.concatenate([f.straight for f in features]),
    )


def _planes(features: Sequence[Features]) -> Planes:
    frame = np.concatenate([f.planes for f in features])
    borders = [one for f in features for one in f.outlines]
    low = np.array([one.min(axis=(0, 1)) for one in borders]).reshape(-1, 2)
    high = np.array([one.max(axis=(0, 1)) for one in borders]).reshape(-1, 2)
    middle = 0.5 * (low + high)
    return Planes(
        first=_first_rows(features, lambda f: f.planes),
        middle_mm=frame[:, 0] + middle[:, :1] * frame[:, 2] + middle[:, 1:] * frame[:, 3],
        ball_mm=0.5 * np.linalg.norm(high - low, axis=1),
        frame=frame,
        face=np.concatenate([f.plane_faces for f in features]),
        low=low,
        high=high,
        border_first=np.cumsum([0, *(len(one) for one in borders)]),
        border=np.concatenate([*borders, np.zeros((0, 2, 2))]),
    )


def _widened(parts: list[Any], fill: int = 0) -> Any:
    """Stack ragged second axes, padded."""
    widest = max(p.shape[1] for p in parts)
    out = np.full((sum(len(p) for p in parts), widest, *parts[0].shape[2:]), fill, dtype=parts[0].dtype)
    start = 0
    for p in parts:
        out[start : start + len(p), : p.shape[1]] = p
        start += len(p)
    return out


_POINTS = frozenset({"middle_mm", "a_mm", "b_mm", "ends_mm"})
_DIRECTIONS = frozenset({"axis", "zero", "along", "tangent_cones", "face_tangents", "normals"})
"""Columns that turn and shift with their body, and columns that only turn."""


class _Column(NamedTuple):
    """Where a column of vectors stands among all rows: kind and field by number, its rows, shape."""

    kind: int
    field: int
    rows: slice
    shape: tuple[int, ...]


class PlacedFeatures:
    """The features of bodies, ready to be placed: all their vectors in one array, which is turned at once.

    Parameters
    ----------
    own : Bodies
        Each body's features in its own frame.
    """

    def __init__(self, own: Bodies) -> None:
        columns: list[_Column] = []
        rows: list[Floats] = []
        bodies: list[Ints] = []
        shifted: list[Bools] = []

        kinds: tuple[Any, ...] = tuple(own)

        def add(kind: int, name: str, local: Floats, first: Ints, points: Bools) -> None:
            start, each = sum(len(r) for r in rows), int(np.prod(local.shape[1:-1]))
            rows.append(local.reshape(-1, 3))
            field = kinds[kind]._fields.index(name)
            columns.append(_Column(kind, field, slice(start, start + len(rows[-1])), local.shape))
            bodies.append(np.repeat(np.arange(len(first) - 1), np.diff(first) * each))
            shifted.append(
                np.tile(points, len(local)) if len(points) == each else np.repeat(points, len(rows[-1]))
            )

        for number, kind in enumerate(kinds):
            for name in kind._fields:
                if name in _POINTS | _DIRECTIONS:
                    add(number, name, getattr(kind, name), kind.first, np.array([name in _POINTS]))
        # A plane's frame is a point, a normal and two directions.
        planes = Bodies._fields.index("planes")
        add(planes, "frame", own.planes.frame, own.planes.first, np.array([True, False, False, False]))
        self._rows: Floats = np.concatenate(rows)
        self._bodies: Ints = np.concatenate(bodies)
        self._shifted: Bools = np.concatenate(shifted)

        # One room for all poses: a query at a pose is over before the next begins.
        self._out: Floats = np.empty_like(self._rows)
        there = [list(kind) for kind in kinds]
        for one in columns:
            there[one.kind][one.field] = self._out[one.rows].reshape(one.shape)
        edges = there[Bodies._fields.index("edges")]
        for name in ("low_mm", "high_mm"):
            edges[Edges._fields.index(name)] = np.empty_like(own.edges.low_mm)
        self._there = Bodies(*(type(kind)(*by) for kind, by in zip(kinds, there, strict=True)))

    def at(self, rotation: Floats, origin_mm: Floats) -> Bodies:
        """Return every feature where it stands at poses (n, 3, 3) and (n, 3), until the next call.

        Parameters
        ----------
        rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
            Poses of all bodies.

        Returns
        -------
        Bodies
            In the machine's frame; the next call writes into the same arrays.
        """
        _pose_rows(self._rows, self._bodies, self._shifted, rotation, origin_mm, self._out)
        edges = self._there.edges
        _span_ends(edges.ends_mm, edges.low_mm, edges.high_mm)
        return self._there


@compiled
def _pose_rows(
    rows: Floats, bodies: Ints, shifted: Bools, rotation: Floats, origin_mm: Floats, out: Floats
) -> None:
    """Turn vectors (n, 3) with their bodies, and shift those that are points, into `out` (n, 3)."""
    for i in range(len(rows)):
        r, o = rotation[bodies[i]], origin_mm[bodies[i]]
        x, y, z = rows[i, 0], rows[i, 1], rows[i, 2]
        for axis in range(3):
            by = o[axis] if shifted[i] else 0.0
            out[i, axis] = r[axis, 0] * x + r[axis, 1] * y + r[axis, 2] * z + by


@compiled
def _span_ends(ends_mm: Floats, low_mm: Floats, high_mm: Floats) -> None:
    """Fill in the corners (n, 3) of a box round each pair of ends (n, 2, 3)."""
    for i in range(len(ends_mm)):
        for axis in range(3):
            low_mm[i, axis] = min(ends_mm[i, 0, axis], ends_mm[i, 1, axis])
            high_mm[i, axis] = max(ends_mm[i, 0, axis], ends_mm[i, 1, axis])
