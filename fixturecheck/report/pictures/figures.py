"""Colours by meaning, and what pictures show besides shapes: squares and flat arrows as arrays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats, Ints
from fixturecheck.numeric import square_to
from fixturecheck.result.finding import Verdict
from fixturecheck.result.shapes import NamedShape, Role

Rgb = tuple[int, int, int]

_SIDES = 48
"""Of a drawn cylinder."""
_NEAR_MM = 0.3
"""Triangles no farther than this from a place do not hide it."""

PARTS: tuple[Rgb, ...] = ((222, 196, 146), (205, 174, 118), (236, 214, 172), (190, 158, 104))
"""Neighbouring parts of a gang take these in turn, so that a seam between them shows."""

FIXTURES: tuple[Rgb, ...] = ((166, 180, 192), (140, 157, 172), (190, 201, 210), (124, 143, 160))

ROLES: dict[Role, Rgb] = {
    Role.PART: PARTS[0],
    Role.FIXTURE: FIXTURES[0],
    Role.POLE: (112, 128, 144),
    Role.WHEEL: (178, 116, 96),
    Role.CUTTER: (150, 104, 132),
    Role.TRAVEL: (134, 142, 86),
    Role.AREA: (38, 132, 110),
    Role.LINE: (28, 96, 168),
    Role.POINT: (92, 60, 160),
    Role.NEAR: (120, 176, 204),
    Role.OVERLAP: (196, 30, 58),
    Role.COLLISION: (214, 48, 38),
    Role.LEFTOVER: (230, 140, 20),
    Role.GOUGE: (170, 20, 110),
    Role.GROUND: (232, 224, 204),
    Role.REST: (64, 128, 168),
    Role.BURR: (176, 24, 44),
    Role.TAKEN: (134, 142, 86),
    Role.ADDED: (24, 120, 90),
    Role.REMOVED: (186, 40, 60),
    Role.MOVED: (226, 150, 30),
}

WORDS: dict[Role, str] = {
    Role.PART: "part",
    Role.FIXTURE: "holds the part",
    Role.POLE: "magnet pole",
    Role.WHEEL: "wheel",
    Role.CUTTER: "cutting tool",
    Role.TRAVEL: "room that the travel takes",
    Role.AREA: "touches over an area",
    Role.LINE: "touches along a line",
    Role.POINT: "touches at a point",
    Role.NEAR: "small gap",
    Role.OVERLAP: "bodies overlap",
    Role.COLLISION: "collision",
    Role.LEFTOVER: "stock left over",
    Role.GOUGE: "gouge",
    Role.GROUND: "part as cut",
    Role.REST: "part at rest",
    Role.BURR: "burr to stone",
    Role.TAKEN: "just cut away",
    Role.ADDED: "added since",
    Role.REMOVED: "removed since",
    Role.MOVED: "face that moved, or is new",
}


VERDICTS: dict[Verdict, Rgb] = {
    Verdict.GO: (24, 110, 82),
    Verdict.CAUTION: (150, 92, 0),
    Verdict.NO_GO: (176, 24, 44),
    Verdict.UNKNOWN: (84, 84, 108),
}


def body_colours(shapes: tuple[NamedShape, ...]) -> dict[str, Rgb]:
    """Return a colour for every shape: parts and fixtures take theirs in turn, the rest by role.

    Parameters
    ----------
    shapes : tuple of NamedShape
        In the order in which bodies take their turns.

    Returns
    -------
    dict of str to Rgb
        By the name of the shape.
    """
    colours: dict[str, Rgb] = {}
    turns = {Role.PART: 0, Role.FIXTURE: 0}
    for shape in shapes:
        if shape.role in turns:
            palette = PARTS if shape.role is Role.PART else FIXTURES
            colours[shape.name] = palette[turns[shape.role] % len(palette)]
            turns[shape.role] += 1
        else:
            colours[shape.name] = ROLES[shape.role]
    return colours


_STEPS = np.array(
    [[253, 240, 190], [250, 196, 110], [236, 130, 74], [196, 62, 88], [128, 26, 108], [58, 8, 84]],
    dtype=np.float64,
)
"""From little to much: lightness falls all the way, so it reads without telling hues, and in grey."""

_SHAFT_SHARE, _HEAD_SHARE, _BARB_SHARE = 0.075, 0.42, 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Figure:
    """Triangles with a colour each, and lines.

    Parameters
    ----------
    name : str
        Unique in a job; no shape's name.
    points_mm, triangles : ndarray, shapes (n, 3) and (m, 3)
    rgb : ndarray of int, shape (m, 3)
        Colour of each triangle.
    lines_mm : tuple of ndarray, each of shape (k, 3)
    """

    name: str
    points_mm: Floats
    triangles: Ints
    rgb: Ints
    lines_mm: tuple[Floats, ...] = ()

    def arrays(self) -> dict[str, npt.NDArray[Any]]:
        """Return the figure as the drawing process reads it."""
        none = np.zeros((0, 3))
        return mesh_arrays(self.name, self.points_mm, self.triangles, self.lines_mm, none) | {
            f"{self.name}/rgb": self.rgb
        }

    def actor(self, *, layer: int, opacity_share: float = 1.0, lit: bool = False) -> dict[str, Any]:
        """Return the figure as an actor of a scene: lit to show its shape, or flat in its true colours.

        Parameters
        ----------
        layer : int
            Of two surfaces in one place the one in the higher layer is seen.
        opacity_share : float
            0 is clear, 1 opaque.
        lit : bool
            Whether it is lit; else it is flat in its true colours.
        """
        return {
            "mesh": self.name,
            "role": "figure",
            "rgb": [28, 34, 42],
            "opacity": opacity_share,
            "solid": True,
            "figure": "lit" if lit else "flat",
            "layer": layer,
        }


def mesh_arrays(
    name: str, points_mm: Floats, triangles: Ints, lines_mm: Sequence[Floats], dots_mm: Floats
) -> dict[str, npt.NDArray[Any]]:
    """Return what is drawn of a shape as the drawing process reads it, keyed by its name and kind.

    Parameters
    ----------
    name : str
        The shape or figure.
    points_mm : ndarray, shape (n, 3)
        Corners of the triangles.
    triangles : ndarray, shape (m, 3)
        Places in `points_mm`.
    lines_mm : sequence of ndarray, shape (k, 3)
        One array for each polyline.
    dots_mm : ndarray, shape (d, 3)
        Points that are drawn as dots.

    Returns
    -------
    dict of str to ndarray
        Lines end to end, with the size of each.
    """
    return {
        f"{name}/points": points_mm,
        f"{name}/triangles": triangles,
        f"{name}/lines": np.vstack([np.zeros((0, 3)), *lines_mm]),
        f"{name}/line_sizes": np.array([len(line) for line in lines_mm], dtype=np.int64),
        f"{name}/dots": dots_mm,
    }


def round_below(value: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is no more than a value.

    Parameters
    ----------
    value : float
        More than zero.

    Returns
    -------
    float
        A length for a scale, or a magnification.
    """
    power = 10.0 ** math.floor(math.log10(value))
    return max(power * m for m in (1.0, 2.0, 5.0) if power * m <= value)


def shaded(shares: Floats) -> Ints:
    """Return the colours of shares of a scale, 0 to 1, shape (n, 3).

    Parameters
    ----------
    shares : ndarray, shape (n,)
        Places on the scale; those outside take the colour of its end.

    Returns
    -------
    ndarray of int, shape (n, 3)
        Red, green and blue, 0 to 255.
    """
    at = np.clip(shares, 0.0, 1.0) * (len(_STEPS) - 1)
    channels = [np.interp(at, np.arange(len(_STEPS)), _STEPS[:, k]) for k in range(3)]
    return np.asarray(np.round(np.stack(channels, axis=1)), dtype=np.int64)


def squares(middles_mm: Floats, areas_mm2: Floats, normal: Floats) -> tuple[Floats, Ints]:
    """Return two triangles for each middle, a square of its area across the normal.

    Parameters
    ----------
    middles_mm : ndarray, shape (n, 3)
        Middle of each square.
    areas_mm2 : ndarray, shape (n,)
        Area of each; the sides drawn are 2 % longer than it asks for.
    normal : ndarray, shape (3,)
        Direction that all squares lie across.

    Returns
    -------
    (ndarray, shape (4 n, 3), ndarray of int, shape (2 n, 3))
        Corners in mm, and the triangles by number of corner.
    """
    u, v = square_to(normal)
    half = 0.51 * np.sqrt(areas_mm2)[:, None]
    corners = np.stack(
        [middles_mm + half * (a * u + b * v) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))], axis=1
    )
    triangles = _copied(((0, 1, 2), (0, 2, 3)), len(middles_mm), 4)
    return corners.reshape(-1, 3), triangles


def flat_arrows(middles_mm: Floats, ways_mm: Floats, normal: Floats) -> tuple[Floats, Ints]:
    """Return three triangles for each arrow, which lies across the normal, its middle at its place.

    Parameters
    ----------
    middles_mm : ndarray, shape (n, 3)
        Middle of each arrow.
    ways_mm : ndarray, shape (n, 3)
        From tail to tip.
    normal : ndarray, shape (3,)
        Direction that all arrows lie across, length 1.

    Returns
    -------
    (ndarray, shape (7 n, 3), ndarray of int, shape (3 n, 3))
        Corners in mm, and the triangles by number of corner.
    """
    length = np.linalg.norm(ways_mm, axis=1, keepdims=True)
    along = ways_mm / np.maximum(length, 1e-30)
    side = np.cross(normal, along)
    tail, tip = middles_mm - 0.5 * ways_mm, middles_mm + 0.5 * ways_mm
    neck = tip - _HEAD_SHARE * ways_mm
    thin, wide = _SHAFT_SHARE * length * side, _BARB_SHARE * length * side
    corners = np.stack(
        [tail - thin, tail + thin, neck + thin, neck - thin, neck - wide, tip, neck + wide], axis=1
    )
    triangles = _copied(((0, 1, 2), (0, 2, 3), (4, 5, 6)), len(middles_mm), 7)
    return corners.reshape(-1, 3), triangles


def cylinder_triangles(low_mm: Floats, radius_mm: float, tall_mm: float) -> tuple[Floats, Ints]:
    """Return the triangles of an upright cylinder: its side and its lower end.

    Parameters
    ----------
    low_mm : ndarray, shape (3,)
        Middle of the lower end.
    radius_mm, tall_mm : float
        Radius, and height along Z.

    Returns
    -------
    (ndarray, shape (n, 3), ndarray of int, shape (m, 3))
        Points in mm, and the triangles by number of point.
    """
    angles = np.arange(_SIDES) * 2.0 * np.pi / _SIDES
    ring = radius_mm * np.stack([np.cos(angles), np.sin(angles), np.zeros(_SIDES)], axis=1)
    points = np.vstack([low_mm + ring, low_mm + ring + [0.0, 0.0, tall_mm], [low_mm]])
    here, there = np.arange(_SIDES), (np.arange(_SIDES) + 1) % _SIDES
    side = [
        np.stack(t, axis=1) for t in ((here, there, here + _SIDES), (there, there + _SIDES, here + _SIDES))
    ]
    end = np.stack([there, here, np.full(_SIDES, 2 * _SIDES)], axis=1)
    return points, np.vstack([*side, end]).astype(np.int64)


def turned_and_shifted(points_mm: Floats, about_mm: Floats, turn_rad: Floats, shift_mm: Floats) -> Floats:
    """Return points turned by a rotation vector about a point, then shifted.

    Parameters
    ----------
    points_mm : ndarray, shape (n, 3)
        Points to move.
    about_mm : ndarray, shape (3,)
        Point that the axis of the turn goes through.
    turn_rad : ndarray, shape (3,)
        Rotation vector: along the axis, as long as the angle.
    shift_mm : ndarray, shape (3,)
        Added after the turn.

    Returns
    -------
    ndarray, shape (n, 3)
        mm.

    References
    ----------
    Rodrigues' rotation formula.
    """
    arms = Rotation.from_rotvec(turn_rad).apply(points_mm - about_mm)
    return np.asarray(about_mm + arms + shift_mm)


def is_hidden(corners_mm: Floats, place_mm: Floats, eye: Floats) -> bool:
    """Tell whether a triangle stands between a place and the eye; what lies at the place does not count.

    Parameters
    ----------
    corners_mm : ndarray, shape (n, 3, 3)
        The corners of each triangle.
    place_mm : ndarray, shape (3,)
        What is to be seen.
    eye : ndarray, shape (3,)
        From the place toward the viewer, length 1.

    Returns
    -------
    bool
        Triangles within `_NEAR_MM` of the place do not hide it.

    References
    ----------
    .. [1] Moeller and Trumbore, Fast, minimum storage ray/triangle intersection [@moeller1997], from memory.
    """
    first, side, other = corners_mm[:, 0], corners_mm[:, 1], corners_mm[:, 2]
    one, two = side - first, other - first
    across = np.cross(eye, two)
    size = (one * across).sum(axis=1)
    meets = np.abs(size) > 1e-12
    scale = 1.0 / np.where(meets, size, 1.0)
    arm = place_mm - first
    u = (arm * across).sum(axis=1) * scale
    turned = np.cross(arm, one)
    v = (turned @ eye) * scale
    distance = (two * turned).sum(axis=1) * scale
    return bool((meets & (u >= 0) & (v >= 0) & (u + v <= 1) & (distance > _NEAR_MM)).any())


def all_arrays(figures: Sequence[Figure]) -> dict[str, Any]:
    """Return the arrays of several figures together.

    Parameters
    ----------
    figures : sequence of Figure
        Figures of different names.

    Returns
    -------
    dict of str to ndarray
        As `Figure.arrays` keys them.
    """
    return {name: values for figure in figures for name, values in figure.arrays().items()}


def _copied(pattern: tuple[tuple[int, int, int], ...], count: int, corners: int) -> Ints:
    """Return the triangles of many like pieces: the first of all, then the second of all, and so on."""
    start = corners * np.arange(count, dtype=np.int64)[:, None]
    return np.vstack([start + np.array(triangle, dtype=np.int64) for triangle in pattern])
