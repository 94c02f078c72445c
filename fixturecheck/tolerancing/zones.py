"""What one face may do within its profile zone: shift, and lean where it is flat; drawn, and at its worst.

A flat face within a zone of half width h is any plane d(x) = s + g.x whose deviation stays within h at every
corner of the face's outline (profile of a surface, ISO 1101 [@iso1101] and ASME Y14.5 [@asmey145], from
memory: all of the surface lies between two limits). An orientation tolerance t (parallelism, squareness,
angularity) adds that d changes by no more than t over the outline. Both are linear in (s, g), so the allowed
set is a polytope; its vertices and sides follow from the outline alone.

How a face lies within its zone is chosen here, no source: the shift of its middle as if it did not lean
(normal, three standard deviations to the edge), then the lean within what this shift leaves: which way is
even over it, how much of it is normal as well, three standard deviations to its edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.spatial import ConvexHull

from fixturecheck.arrays import Bools, Floats, Ints

MOST_SIDES = 32
"""Outlines with more corners keep those furthest in so many directions; a disc's zone gets 0.6 % wider."""
_ALIKE = 1e-9


class Distribution(StrEnum):
    """How faces are drawn within their zones."""

    NORMAL = "normal"
    UNIFORM = "uniform"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zone:
    """What one face may do.

    Parameters
    ----------
    half_mm : float
        Half of the profile zone.
    corners : ndarray, shape (n, 2)
        Corners of the outline's convex hull about its middle, in units in which slopes count as mm; empty for
        a face that only shifts.
    lean_mm : float
        How much the face may lean over its outline; as much as the zone lets it by default.
    """

    half_mm: float
    corners: Floats
    lean_mm: float = np.inf

    @property
    def columns(self) -> int:
        """How many numbers say where the face is: its shift, and two slopes where it leans."""
        return 3 if len(self.corners) and self.lean_mm > 0.0 else 1


def corners_of_zone(outline: Floats) -> Floats:
    """Return the corners of the convex hull of points, in order; at most `MOST_SIDES`.

    Parameters
    ----------
    outline : ndarray, shape (n, 2)
        Points of an outline.

    Returns
    -------
    ndarray, shape (k, 2)
        The corners.

    Notes
    -----
    Of a rounder outline the corners furthest in evenly spread directions are kept. The hull is Qhull's, as in
    `vertices`: of points that all but coincide, as differences do, it keeps one. What is drawn of a zone
    depends on which corner comes first.
    """
    corners = outline[ConvexHull(outline).vertices]
    if len(corners) > MOST_SIDES:
        turns = np.linspace(0.0, 2.0 * np.pi, MOST_SIDES, endpoint=False)
        ways = np.stack((np.cos(turns), np.sin(turns)))
        corners = corners[np.unique(np.argmax(corners @ ways, axis=0))]
    return np.asarray(corners)


def centre_of_zone(corners: Floats) -> Floats:
    """Return the middle of the area of a convex polygon.

    Parameters
    ----------
    corners : ndarray, shape (n, 2)
        Its corners, in order.

    Returns
    -------
    ndarray, shape (2,)
        Its centroid.
    """
    ahead = np.roll(corners, -1, axis=0)
    twice = corners[:, 0] * ahead[:, 1] - corners[:, 1] * ahead[:, 0]
    return np.asarray(((corners + ahead) * twice[:, None]).sum(axis=0) / (3.0 * twice.sum()))


def _starts_of(zones: Sequence[Zone]) -> Ints:
    """Return where each face's columns start, and how many there are in all.

    Parameters
    ----------
    zones : sequence of Zone
        One for each face.

    Returns
    -------
    ndarray of int, shape (faces + 1,)
        Starts, and the count last.
    """
    return np.cumsum([0, *(z.columns for z in zones)])


def draw_errors(
    zones: Sequence[Zone],
    count: int,
    seed: int,
    spread: Distribution = Distribution.NORMAL,
    leaning: Bools | None = None,
) -> Floats:
    """Return errors of faces within their zones, drawn at random.

    Parameters
    ----------
    zones : sequence of Zone
        One for each face.
    count, seed : int
        How many draws, and what they are repeated by.
    spread : Distribution
        `NORMAL` takes three standard deviations to the edge, of the zone for the shift and of what the shift
        leaves for the lean, and draws again what falls outside; `UNIFORM` is even over either.
    leaning : ndarray of bool, shape (faces,), optional
        Faces whose lean is drawn; that of others stays zero. Each face has draws of its own, so what is
        drawn of one does not depend on this.

    Returns
    -------
    ndarray, shape (count, columns)
        Shift, and two slopes for a face that leans, in mm.
    """
    random = np.random.default_rng(seed)
    half = np.array([z.half_mm for z in zones])
    if spread == Distribution.UNIFORM:
        shift = random.uniform(-1.0, 1.0, (count, len(half))) * half
    else:
        shift = _cut_normal((count, len(half)), random) * half
    start, own = _starts_of(zones), np.random.SeedSequence(seed).spawn(len(zones))
    errors = np.zeros((count, int(start[-1])))
    errors[:, start[:-1]] = shift
    for i, zone in enumerate(zones):
        if zone.columns > 1 and (leaning is None or leaning[i]):
            random = np.random.default_rng(own[i])
            share = None if spread == Distribution.UNIFORM else np.abs(_cut_normal((count,), random))
            errors[:, start[i] + 1 : start[i + 1]] = _leans(zone, shift[:, i], share, random)
    return errors


def _cut_normal(shape: tuple[int, ...], random: np.random.Generator) -> Floats:
    """Return normal numbers cut at one, which is three standard deviations."""
    unit = random.standard_normal(shape)
    while np.any(outside := np.abs(unit) > 3.0):
        unit[outside] = random.standard_normal(int(outside.sum()))
    return np.asarray(unit / 3.0)


def _fullness(zone: Zone, shift: Floats, slopes: Floats) -> Floats:
    """Return how much of the lean that each shift leaves slopes (n, 2) take, one at the edge."""
    height = slopes @ zone.corners.T
    high, low = height.max(axis=1), height.min(axis=1)
    room = np.maximum(zone.half_mm - shift, 1e-300), np.maximum(zone.half_mm + shift, 1e-300)
    full = np.maximum(high / room[0], -low / room[1])
    return np.asarray(np.maximum(full, (high - low) / zone.lean_mm) if _limited(zone) else full)


def _leans(zone: Zone, shift: Floats, share: Floats | None, random: np.random.Generator) -> Floats:
    """Return slopes (n, 2), even over what is left beside each shift or, of that, a share the same way."""
    room = np.where(shift < 0, -1.0, 1.0) * (zone.half_mm - np.abs(shift))
    wide = _polar(zone.corners)
    if not _limited(zone) and _symmetric(zone.corners):
        # What a shift leaves is then the same polygon, only smaller.
        out = np.sqrt(random.random(len(shift))) if share is None else share
        return _rim(wide, len(shift), random) * (out * room)[:, None]
    slopes = _filling(zone, shift, room, random)
    if share is not None:
        slopes *= (share / np.maximum(_fullness(zone, shift, slopes), 1e-12))[:, None]
    return slopes


def _filling(zone: Zone, shift: Floats, room: Floats, random: np.random.Generator) -> Floats:
    """Return slopes (n, 2), even over what is left beside each shift, by rejection sampling."""
    wide, narrow, least = _polar(zone.corners), np.zeros((0, 2)), np.inf
    if _limited(zone):
        narrow = _polar(differences(zone.corners)) * zone.lean_mm
        least = _area(narrow)
    out = np.zeros((len(shift), 2))
    left = np.arange(len(shift))
    while len(left):
        small = room[left] ** 2 * _area(wide) <= least
        trial = np.zeros((len(left), 2))
        trial[small] = _even(wide, int(small.sum()), random) * room[left[small], None]
        trial[~small] = _even(narrow, int((~small).sum()), random) if len(narrow) else trial[~small]
        fits = _fullness(zone, shift[left], trial) <= 1.0 + _ALIKE
        out[left[fits]] = trial[fits]
        left = left[~fits]
    return out


def _limited(zone: Zone) -> bool:
    """Tell whether the lean is held closer than the zone holds it."""
    return zone.lean_mm < 2.0 * zone.half_mm


def _even(polygon: Floats, count: int, random: np.random.Generator) -> Floats:
    """Return points (count, 2) even over a convex polygon that holds the origin."""
    return _rim(polygon, count, random) * np.sqrt(random.random(count))[:, None]


def _rim(polygon: Floats, count: int, random: np.random.Generator) -> Floats:
    """Return points (count, 2) on the border of a polygon, each side as often as an even draw is under it."""
    along = np.roll(polygon, -1, axis=0) - polygon
    under = np.cumsum(np.abs(polygon[:, 0] * along[:, 1] - polygon[:, 1] * along[:, 0]))
    place = random.random(count) * under[-1]
    which = np.searchsorted(under[:-1], place)
    share = (place - np.concatenate(([0.0], under))[which]) / np.diff(under, prepend=0.0)[which]
    return np.asarray(polygon[which] + share[:, None] * along[which])


def _area(polygon: Floats) -> float:
    ahead = np.roll(polygon, -1, axis=0)
    return 0.5 * float(np.abs((polygon[:, 0] * ahead[:, 1] - polygon[:, 1] * ahead[:, 0]).sum()))


def _polar(corners: Floats) -> Floats:
    """Return the corners, in order, of the slopes g with g.x <= 1 over a polygon that holds the origin."""
    ahead = np.roll(corners, -1, axis=0)
    across = corners[:, 0] * ahead[:, 1] - corners[:, 1] * ahead[:, 0]
    return np.stack((ahead[:, 1] - corners[:, 1], corners[:, 0] - ahead[:, 0]), axis=1) / across[:, None]


def differences(corners: Floats) -> Floats:
    """Return the corners of all differences of two points of a polygon.

    Parameters
    ----------
    corners : ndarray, shape (n, 2)
        Its corners.

    Returns
    -------
    ndarray, shape (k, 2)
        Corners of the polygon of differences.
    """
    return corners_of_zone((corners[:, None] - corners[None]).reshape(-1, 2))


def _symmetric(corners: Floats) -> bool:
    """Tell whether a polygon looks the same from either side of its middle."""
    apart = np.abs(corners[:, None] + corners[None]).max(axis=2).min(axis=1)
    return bool(apart.max() < 1e-7 * np.abs(corners).max())


def sides(zone: Zone) -> tuple[Floats, Floats]:
    """Return a zone as linear limits: rows @ error <= limit.

    Parameters
    ----------
    zone : Zone
        What one face may do.

    Returns
    -------
    rows : ndarray, shape (n, columns)
        One side of the polytope each.
    limits : ndarray, shape (n,)
        In mm.
    """
    if zone.columns == 1:
        return np.array([[1.0], [-1.0]]), np.full(2, zone.half_mm)
    ones = np.ones((len(zone.corners), 1))
    rows = np.hstack((ones, zone.corners))
    rows, limits = np.vstack((rows, -rows)), np.full(2 * len(rows), zone.half_mm)
    if _limited(zone):
        across = differences(zone.corners)
        rows = np.vstack((rows, np.hstack((np.zeros((len(across), 1)), across))))
        limits = np.concatenate((limits, np.full(len(across), zone.lean_mm)))
    return rows, limits


def vertices(zone: Zone) -> Floats:
    """Return the vertices of a zone: what a worst case is one of.

    Parameters
    ----------
    zone : Zone
        What one face may do.

    Returns
    -------
    ndarray, shape (n, columns)
        Errors, mm.
    """
    if zone.columns == 1:
        return np.array([[zone.half_mm], [-zone.half_mm]])
    if not _limited(zone) and _symmetric(zone.corners):
        # A face that looks the same from either side of its middle shifts at most, or leans at most.
        slopes = _polar(zone.corners) * zone.half_mm
        leans = np.hstack((np.zeros((len(slopes), 1)), slopes))
        return np.vstack(([[zone.half_mm, 0.0, 0.0], [-zone.half_mm, 0.0, 0.0]], leans))
    rows, limits = sides(zone)
    # Sides of the hull of the rows are the vertices of what the rows leave (polar duality).
    facets = ConvexHull(rows / limits[:, None]).equations
    found = -facets[:, :3] / facets[:, 3:]
    _, first = np.unique(np.round(found / zone.half_mm, 7), axis=0, return_index=True)
    return np.asarray(found[np.sort(first)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Box:
    """All zones of a set-up together: their columns, sides and vertices."""

    zones: tuple[Zone, ...]
    start: Ints
    corners: tuple[Floats, ...]

    def furthest(self, rows: Floats) -> tuple[Floats, Floats]:
        """Return the most that each row (n, columns) comes to over all zones, and where, (n, columns).

        Faces that a row does not depend on are left where they are drawn.
        """
        most, where = np.zeros(len(rows)), np.zeros(rows.shape)
        for i, corners in enumerate(self.corners):
            own = slice(int(self.start[i]), int(self.start[i + 1]))
            along = rows[:, own] @ corners.T
            best, moves = np.argmax(along, axis=1), np.abs(rows[:, own]).max(axis=1) > _ALIKE
            most += along[np.arange(len(rows)), best]
            where[:, own] = np.where(moves[:, None], corners[best], 0.0)
        return most, where


def box_around(zones: Sequence[Zone]) -> Box:
    """Return all zones together.

    Parameters
    ----------
    zones : sequence of Zone
        One for each face.

    Returns
    -------
    Box
        Their columns, sides and vertices.
    """
    return Box(zones=tuple(zones), start=_starts_of(zones), corners=tuple(vertices(z) for z in zones))
