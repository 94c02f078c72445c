"""What is drawn of a solved magnet: the pull over each pair of faces, and the flux in a plane."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, uniform_filter
from scipy.spatial import cKDTree

from fixturecheck.arrays import Floats
from fixturecheck.magnet.field.elements import IronBody, flux_density_t, mean_square_t2, outline_mm
from fixturecheck.magnet.pull import FacePull, Pulls, counted
from fixturecheck.numeric import square_to, to_vector
from fixturecheck.result.hold import FluxSection, PullMap
from fixturecheck.result.shapes import Vector

_PITCHES = 3.5
"""Width of the window, in distances between poles."""
_SIZES = 3.0
"""Most of it, in sizes of the part."""

_HIGH_SHARE = 0.62
_ARROWS = 36
_CELLS = 700
"""Squares that a face is drawn with."""

_FINEST_MM = 0.1
_FLAT_MM = 0.02


def maps_of(pulls: Pulls | None) -> tuple[PullMap, ...]:
    """Return the pull over every pair of faces.

    Parameters
    ----------
    pulls : Pulls or None
        The magnet; None where none pulls.

    Returns
    -------
    tuple of PullMap
        Empty without a field.
    """
    if pulls is None or pulls.model is None:
        return ()
    gaps = counted(pulls.model, pulls.solved)
    return tuple(_map(f, gaps[f.number].weight_mm2) for f in pulls.faces)


def _map(face: FacePull, area_mm2: Floats) -> PullMap:
    """Return one map, on squares of one size where the face is wide enough for them."""
    normal = _square_to(face)
    found = _squared(face, area_mm2, normal)
    points, areas, pull = found if found is not None else (face.points_mm, area_mm2, face.pressure_n_mm2)
    return PullMap(
        a=face.a,
        b=face.b,
        toward=to_vector(normal),
        points_mm=tuple(to_vector(p) for p in points),
        area_mm2=tuple(areas.tolist()),
        pull_n_cm2=tuple((100.0 * pull).tolist()),
    )


def _square_to(face: FacePull) -> Floats:
    """Return the direction square to a flat face; where faces lean, the pull is not square to either."""
    _, size, axes = np.linalg.svd(face.points_mm - face.points_mm.mean(axis=0), full_matrices=False)
    if len(size) < 3 or size[1] < 1e-3 * size[0] or np.ptp(face.points_mm @ axes[2]) > _FLAT_MM:
        return face.toward
    return np.asarray(axes[2] if float(axes[2] @ face.toward) > 0 else -axes[2])


def _squared(face: FacePull, area_mm2: Floats, normal: Floats) -> tuple[Floats, Floats, Floats] | None:
    """Average the tubes of a face over squares and their neighbours; None where it is too narrow or bent.

    Tubes are as fine as the mesh under them and of every shape; squares of one size read more easily.
    """
    u, v = square_to(normal)
    flat = face.points_mm @ np.array([u, v]).T
    narrow = float(np.ptp(flat, axis=0).min())
    size = max(_FINEST_MM, min(float(np.sqrt(area_mm2.sum() / _CELLS)), narrow / 4.0))
    height = face.points_mm @ normal
    if narrow < 4.0 * _FINEST_MM or np.ptp(height) > _FLAT_MM:
        return None
    low, count, middles = _grid(flat, size)
    apart, nearest = cKDTree(flat).query(middles)
    near = apart <= 0.75 * np.maximum(np.sqrt(area_mm2[nearest]), size)
    # Long tubes leave notches between them.
    inside = binary_closing(np.pad(near.reshape(count), 3), iterations=2)[3:-3, 3:-3].ravel()
    cell = np.minimum(np.floor((flat - low) / size).astype(int), count - 1)
    number = cell[:, 0] * count[1] + cell[:, 1]
    # With the squares around: a line of hard pull is less than a square wide.
    weight, force = (
        uniform_filter(
            np.bincount(number, each, minlength=len(middles)).reshape(count), 3, mode="constant"
        ).ravel()
        for each in (area_mm2, area_mm2 * face.pressure_n_mm2)
    )
    # A square with no tube near takes what its neighbour has on average, not one tube's own pull.
    met = np.flatnonzero(weight > 1e-9)
    pull = (force[met] / weight[met])[cKDTree(middles[met]).query(middles)[1]]
    points = float(height.mean()) * normal + middles[inside] @ np.array([u, v])
    # Squares at the rim reach beyond the face: all count for less, so that the map adds up to the pull.
    whole_n, drawn_n = float(area_mm2 @ face.pressure_n_mm2), float(pull[inside].sum())
    square_mm2 = whole_n / drawn_n if drawn_n else size**2
    return points, np.full(int(inside.sum()), square_mm2), pull[inside]


def _grid(flat: Floats, size: float) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Return corner, counts and middles of squares that cover points, half a square beyond the outermost."""
    low = flat.min(axis=0) - 0.5 * size
    count = np.ceil((flat.max(axis=0) + 0.5 * size - low) / size - 1e-9).astype(np.int64)
    grid = np.stack(np.meshgrid(*(np.arange(n) + 0.5 for n in count), indexing="ij"), axis=-1).reshape(-1, 2)
    return low, count, low + size * grid


def flux_section(pulls: Pulls | None, about: str | None = None) -> FluxSection | None:
    """Return the flux in the plane that most of it flows in, through a body; None without a field.

    Parameters
    ----------
    pulls : Pulls or None
        The magnet; None where none pulls.
    about : str or None
        The body; None takes one that is pulled.

    Returns
    -------
    FluxSection or None
        None also where no pair of faces is pulled together.
    """
    if pulls is None or pulls.model is None or pulls.solved is None or not pulls.faces:
        return None
    potential = pulls.solved.potential_a
    irons = [b for b in pulls.model.bodies if b.name in potential]
    poles = {s.body: "N" if s.mmf_a > 0 else "S" for s in pulls.model.sources}
    flow = np.sum([mean_square_t2(b, potential[b.name]) for b in irons], axis=0)
    normal = np.eye(3)[int(np.argmin(flow))]
    about = about or pulls.faces[0].a.body
    at = _middle(pulls, about, poles)
    half = _half_width_mm(irons, about, poles, normal)
    window = _window(irons, half, at, normal)
    points = window.reshape(-1, 3)
    density = np.full(points.shape, np.nan)
    for body in irons:
        found = flux_density_t(body, potential[body.name], points)
        density = np.where(np.isnan(found), density, found)
    inside = ~np.isnan(density[:, 0])
    return FluxSection(
        normal=to_vector(normal),
        at_mm=to_vector(points.mean(axis=0)),
        wide_mm=float(np.ptp(window, axis=(0, 1)).max()),
        spacing_mm=2.0 * half / _ARROWS,
        points_mm=tuple(to_vector(p) for p in points[inside]),
        flux_density_t=tuple(to_vector(b) for b in density[inside]),
        outlines=tuple((b.name, _pieces(b, normal, at)) for b in irons),
        poles=_pole_marks(irons, poles, normal, at),
    )


def _middle(pulls: Pulls, about: str, poles: dict[str, str]) -> Floats:
    """Return the centre of pull between the poles and a body."""
    faces = pulls.on(about) or pulls.faces
    on_poles = [f for f in faces if not poles.keys().isdisjoint(f.bodies)]
    chosen = on_poles or list(faces)
    weight = np.array([max(f.weak_n, 1e-9) for f in chosen])
    return np.asarray(weight @ np.array([f.weak_at_mm for f in chosen]) / weight.sum())


def _half_width_mm(irons: Sequence[IronBody], about: str, poles: dict[str, str], normal: Floats) -> float:
    """Return half the width of the window: a few poles, or less where the body is small beside them."""
    middles = np.array([b.points_mm.mean(axis=0) for b in irons if b.name in poles])
    apart = [float(np.linalg.norm(a - b)) for i, a in enumerate(middles) for b in middles[:i]]
    sizes = [np.ptp(b.points_mm, axis=0)[np.abs(normal) < 0.5].max() for b in irons if b.name == about]
    return 0.5 * min([_PITCHES * min(apart, default=25.0), *(_SIZES * float(s) for s in sizes)])


def _window(irons: Sequence[IronBody], half_mm: float, at: Floats, normal: Floats) -> Floats:
    """Return a grid of points in the plane, shape (rows, columns, 3), no larger than the iron."""
    axis = int(np.argmax(np.abs(normal)))
    across, up = [(1, 2), (0, 2), (0, 1)][axis]
    every = np.vstack([b.points_mm for b in irons])
    low, high = every.min(axis=0), every.max(axis=0)
    step = 2.0 * half_mm / _ARROWS
    lines = []
    for k, reach in ((across, half_mm), (up, half_mm * _HIGH_SHARE)):
        start, end = max(at[k] - reach, low[k]), min(at[k] + reach, high[k])
        count = max(1, int(np.floor((end - start) / step)))
        lines.append(start + (np.arange(count) + 0.5) * (end - start) / count)
    grid = np.tile(at, (len(lines[1]), len(lines[0]), 1))
    grid[..., across], grid[..., up] = np.meshgrid(lines[0], lines[1])
    return grid


def _pieces(body: IronBody, normal: Floats, at: Floats) -> tuple[tuple[Vector, Vector], ...]:
    return tuple((to_vector(a), to_vector(b)) for a, b in outline_mm(body, normal, at))


def _pole_marks(
    irons: Sequence[IronBody], poles: dict[str, str], normal: Floats, at: Floats
) -> tuple[tuple[str, Vector], ...]:
    """Return the letter of each pole that the plane cuts, and the middle of the cut."""
    marks = []
    for body in irons:
        if body.name in poles:
            pieces = outline_mm(body, normal, at).reshape(-1, 3)
            if len(pieces):
                middle = 0.5 * (pieces.min(axis=0) + pieces.max(axis=0))
                marks.append((poles[body.name], to_vector(middle)))
    return tuple(marks)
