"""From which side a spot is looked at, and how much of the surroundings a close-up shows.

From which side a spot is looked at, so that what matters is seen edge-on and nothing stands before it.
Every candidate side is tried on a coarse grid of sight lines around the spot. Where no side shows the
spot, the bodies are cut by a plane through it and the section is looked at instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.result.finding import Finding

FRONT_RIGHT: tuple[float, float, float] = (0.52, -0.74, 0.43)
"""Where the operator stands: before the machine, a little to the right, looking down on the table."""

_GRID = (13, 9)
_CUT_COST = 0.15
_IN_SIGHT = 0.5
_AT_THE_SPOT = 0.02
"""What counts as the spot: what lies before it by less than this share of the picture's height."""
_NOTHING = -1
_OFF_ENDS = 0.03
_LEVEL = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Triangles:
    """The triangles of a scene: corners, shape (m, 3, 3), and for each the number of its shape."""

    corners_mm: Floats
    owner: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """A camera without perspective.

    Parameters
    ----------
    eye : ndarray, shape (3,)
        Unit vector from the spot to the camera.
    cut : bool
        Whether everything before the spot is cut away.
    score : float
        How well the spot is seen; only comparable within one spot.
    """

    eye: Floats
    cut: bool
    score: float


def unit(vector: Iterable[float]) -> Floats:
    """Return a vector of length one; a zero vector comes back as it is.

    Parameters
    ----------
    vector : iterable of float
        In any unit.

    Returns
    -------
    ndarray, shape (n,)
        Without unit.
    """
    array = np.asarray(list(vector), dtype=np.float64)
    length = float(np.linalg.norm(array))
    return array / length if length > 0 else array


def up_for(eye: Floats) -> Floats:
    """Return the upward direction of a picture: Z, or Y when looked at from above.

    Parameters
    ----------
    eye : ndarray, shape (3,)
        From the picture toward the viewer, length 1.

    Returns
    -------
    ndarray, shape (3,)
        Square to `eye`, length 1.
    """
    straight = np.array([0.0, 0.0, 1.0]) if abs(eye[2]) < 0.95 else np.array([0.0, 1.0, 0.0])
    return unit(straight - eye * (straight @ eye))


def picture_axes(eye: Floats) -> Floats:
    """Return the axes of a picture: to the right, up, and toward the eye.

    Parameters
    ----------
    eye : ndarray, shape (3,)
        From the picture toward the viewer, length 1.

    Returns
    -------
    ndarray, shape (3, 3)
        One axis a row.
    """
    up = up_for(eye)
    return np.stack([np.cross(up, eye), up, eye])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Projection:
    """Where a point in space falls in a picture without perspective."""

    target: Floats
    right: Floats
    up: Floats
    eye: Floats
    pixels_per_mm: float
    width: int
    height: int

    @classmethod
    def of(cls, camera: dict[str, Any], width: int, height: int) -> Projection:
        """Return the projection of a camera onto a picture of a size in pixels.

        Parameters
        ----------
        camera : mapping
            `target`, `eye`, `up` and `height_mm`, as `scene.camera` makes it.
        width, height : int
            Size of the picture in pixels.
        """
        eye, up = np.array(camera["eye"]), np.array(camera["up"])
        return cls(
            target=np.array(camera["target"]),
            right=np.cross(up, eye),
            up=up,
            eye=eye,
            pixels_per_mm=height / camera["height_mm"],
            width=width,
            height=height,
        )

    def point(self, place: Floats) -> tuple[float, float]:
        """Return the pixel of a point."""
        x, y = self.arrow(place - self.target)
        return self.width / 2 + x * self.pixels_per_mm, self.height / 2 + y * self.pixels_per_mm

    def arrow(self, vector: Floats) -> tuple[float, float]:
        """Return how a unit vector lies in the picture: x to the right, y down."""
        return float(vector @ self.right), -float(vector @ self.up)


def side_view(direction: Floats) -> View:
    """Return the section in which a move along a direction is seen from the operator's side, level.

    Parameters
    ----------
    direction : ndarray, shape (3,)
        The way of the move, length 1.

    Returns
    -------
    View
        Its score is zero.
    """
    flat = np.cross(direction, [0.0, 0.0, 1.0])
    across = flat if float(np.linalg.norm(flat)) > _LEVEL else np.array([0.0, -1.0, 0.0])
    eye = unit(across if float(across @ np.array(FRONT_RIGHT)) > 0 else -across)
    return View(eye=eye, cut=True, score=0.0)


def off_the_ends(spot: Floats, eye: Floats, points: Floats) -> Floats:
    """Return a spot moved along the line of sight until a section at it is off the ends of all points (n, 3).

    Cut at an end face, a part at rest and its ghost would fill one plane, and neither is seen clearly.

    Parameters
    ----------
    spot : ndarray, shape (3,)
        Where the section is, mm.
    eye : ndarray, shape (3,)
        Unit vector toward the viewer.
    points : ndarray, shape (n, 3)
        Points of what is cut, mm.

    Returns
    -------
    ndarray, shape (3,)
        mm.
    """
    depth = points @ eye
    low, high = float(depth.min()), float(depth.max())
    margin = _OFF_ENDS * (high - low)
    at = float(spot @ eye)
    return np.asarray(spot + eye * (float(np.clip(at, low + margin, high - margin)) - at))


def choose_view(
    triangles: Triangles,
    *,
    spot_mm: Floats,
    direction: Floats | None,
    section_direction: Floats | None,
    long_axis: Floats | None,
    height_mm: float,
    region_mm: float,
    bodies: frozenset[int],
    regions: frozenset[int],
) -> View:
    """Return the view that shows the bodies and regions at a spot best.

    Parameters
    ----------
    triangles : Triangles
        Everything that could stand in the way.
    spot_mm : ndarray, shape (3,)
        Middle of the picture.
    direction : ndarray or None
        What must be seen from the side: the way a gap opens or a body has to move.
    section_direction : ndarray or None
        The same where the bodies are cut open.
    long_axis : ndarray or None
        The axis along which what is to be seen runs, where it is long and thin; its end shows its form.
    height_mm : float
        Height of the picture.
    region_mm : float
        Size of the regions, from the spot outward.
    bodies, regions : frozenset of int
        Numbers of the bodies that meet at the spot, and of the regions that must be seen there.

    Returns
    -------
    View
        Of all that were tried, the one with the highest score.
    """
    wanted = _Wanted(
        spot_mm=spot_mm,
        height_mm=height_mm,
        reach_mm=region_mm,
        long_axis=long_axis,
        bodies=bodies,
        regions=regions,
    )
    alone = _only(triangles, regions)
    views = [(eye, False) for eye in _sides(direction, long_axis)]
    views += [(eye, True) for eye in _section_sides(section_direction, long_axis)]
    judged = [_judged(triangles, alone, wanted, eye, cut=cut) for eye, cut in views]
    return max(judged, key=lambda view: view.score)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Wanted:
    """What a view is asked to show."""

    spot_mm: Floats
    height_mm: float
    reach_mm: float
    long_axis: Floats | None
    bodies: frozenset[int]
    regions: frozenset[int]


def _only(triangles: Triangles, numbers: frozenset[int]) -> Triangles:
    kept = np.isin(triangles.owner, sorted(numbers))
    return Triangles(corners_mm=triangles.corners_mm[kept], owner=triangles.owner[kept])


def _sides(direction: Floats | None, long_axis: Floats | None) -> Iterator[Floats]:
    """Yield the sides to look from: across the direction, or from all around and above."""
    if direction is not None and np.linalg.norm(direction) > 0:
        first = up_for(unit(direction))
        second = np.cross(unit(direction), first)
        for angle in np.radians(np.arange(0.0, 360.0, 15.0)):
            eye = np.cos(angle) * first + np.sin(angle) * second
            if eye[2] > -0.2:
                yield eye
        return
    if long_axis is not None:
        yield from (side for side in (long_axis, -long_axis) if side[2] > -0.2)
        return
    for height in (20.0, 35.0, 60.0):
        for turn in range(0, 360, 30):
            flat = np.cos(np.radians(height))
            yield np.array(
                [flat * np.cos(np.radians(turn)), flat * np.sin(np.radians(turn)), np.sin(np.radians(height))]
            )


def _section_sides(direction: Floats | None, long_axis: Floats | None) -> Iterator[Floats]:
    """Yield the sides to look at a section from; the cutting plane holds the direction."""
    if direction is None or not np.linalg.norm(direction):
        if long_axis is not None:
            yield from (side for side in (long_axis, -long_axis) if side[2] > -0.2)
            return
        yield from (np.array(side) for side in ((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, -1.0, 0.0)))
        return
    along = unit(direction)
    for axis in np.vstack([np.eye(3), -np.eye(3)]):
        across = axis - along * (axis @ along)
        if np.linalg.norm(across) > 0.3 and across[2] > -0.5:
            yield unit(across)


def _judged(triangles: Triangles, alone: Triangles, wanted: _Wanted, eye: Floats, *, cut: bool) -> View:
    """Look once and give marks: all that meets at the spot is there, and nothing else before it.

    What hides a region costs most; a whole view is liked better than a section, the operator's side better
    than others, and squarely along an axis, where a part looks like its drawing, better than aslant.
    """
    seen = what_is_seen(triangles, wanted.spot_mm, eye, 0.45 * wanted.height_mm, cut=cut)
    middle = _middle_weight()
    shares = {n: float(middle[seen == n].sum()) for n in wanted.bodies}
    known = sorted(wanted.bodies | wanted.regions)
    others = float(middle[(seen != _NOTHING) & ~np.isin(seen, known)].sum())
    present = sum(share > 0.04 for share in shares.values()) / max(1, len(shares))
    score = 0.5 * present + 0.4 * sum(shares.values()) - 0.6 * others
    if wanted.regions:
        score += 0.8 * _uncovered(triangles, alone, wanted, eye, cut=cut)
    elif not cut and _in_sight(triangles, wanted, eye):
        score += _IN_SIGHT
    score += 0.12 * float(eye @ unit(FRONT_RIGHT)) + 0.04 * float(np.max(np.abs(eye)) > 0.999)
    if wanted.long_axis is not None:
        score += 0.4 * abs(float(eye @ wanted.long_axis)) ** 8
    return View(eye=eye, cut=cut, score=score - (_CUT_COST if cut else 0.0))


def _in_sight(triangles: Triangles, wanted: _Wanted, eye: Floats) -> bool:
    """Tell whether nothing stands before the spot itself, the body that it is on included."""
    local = (triangles.corners_mm - wanted.spot_mm) @ picture_axes(eye).T
    depth = _depths(local, np.array([1e-4]), np.array([1e-4]))
    return float(depth.max(initial=-math.inf)) <= _AT_THE_SPOT * wanted.height_mm


def _uncovered(triangles: Triangles, alone: Triangles, wanted: _Wanted, eye: Floats, *, cut: bool) -> float:
    """Return the share of the regions that nothing else covers, 0 to 1."""
    full = what_is_seen(alone, wanted.spot_mm, eye, wanted.reach_mm, cut=cut) != _NOTHING
    if not full.any():
        # A region thinner than the grid is open to view where it is cut, and hidden elsewhere.
        return 0.8 if cut else 0.0
    seen = what_is_seen(triangles, wanted.spot_mm, eye, wanted.reach_mm, cut=cut)
    return float(np.isin(seen, sorted(wanted.regions))[full].mean())


def _middle_weight() -> Floats:
    """Return weights on the grid of sight lines, largest in the middle, with sum one."""
    across = (1.0 - 0.9 * np.abs(np.linspace(-1.0, 1.0, _GRID[0]))) ** 2
    down = (1.0 - 0.9 * np.abs(np.linspace(-1.0, 1.0, _GRID[1]))) ** 2
    weight = np.outer(down, across)
    return np.asarray(weight / weight.sum())


def what_is_seen(triangles: Triangles, spot: Floats, eye: Floats, reach_mm: float, *, cut: bool) -> Ints:
    """Return for each sight line the number of the shape that it meets first, or -1.

    With `cut` everything nearer than the spot is gone, and a line that starts inside a shape meets it at
    once: an odd number of its walls lies before the plane.

    Parameters
    ----------
    triangles : Triangles
        What can be met.
    spot : ndarray, shape (3,)
        Middle of the picture, mm.
    eye : ndarray, shape (3,)
        Unit vector toward the viewer.
    reach_mm : float
        Half the width that is looked at; half the height is 0.75 of it.
    cut : bool
        Whether what is nearer than the spot is cut away.

    Returns
    -------
    ndarray of int, shape (rows, columns)
        From the upper left, by number of shape.
    """
    local = (triangles.corners_mm - spot) @ picture_axes(eye).T
    flat = local[:, :, :2]
    near = np.all((flat.min(axis=1) < reach_mm) & (flat.max(axis=1) > -reach_mm), axis=1)
    local, owner = local[near], triangles.owner[near]
    # A hair off the middle: sight lines along a seam between two faces would meet neither.
    us = np.tile(np.linspace(-0.97, 1.0, _GRID[0]) * reach_mm, _GRID[1])
    vs = np.repeat(np.linspace(1.0, -0.97, _GRID[1]) * reach_mm * 0.75, _GRID[0])
    depth = _depths(local, us, vs)
    seen = _first_behind(np.where(depth <= 0, depth, -np.inf) if cut else depth, owner)
    if cut:
        for number in np.unique(owner):
            walls = np.sum(depth[:, owner == number] > 0, axis=1)
            seen[walls % 2 == 1] = number
    return seen.reshape(_GRID[1], _GRID[0])


def _depths(local: Floats, us: Floats, vs: Floats) -> Floats:
    """Return the depth toward the eye at which each sight line meets each triangle, -inf for a miss."""
    a, b, c = local[:, 0], local[:, 1], local[:, 2]
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    upright = np.abs(area) > 1e-12
    area = np.where(upright, area, 1.0)
    du, dv = us[:, None] - a[:, 0], vs[:, None] - a[:, 1]
    s = (du * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * dv) / area
    t = ((b[:, 0] - a[:, 0]) * dv - du * (b[:, 1] - a[:, 1])) / area
    inside = upright & (s >= 0) & (t >= 0) & (s + t <= 1)
    depth = a[:, 2] + s * (b[:, 2] - a[:, 2]) + t * (c[:, 2] - a[:, 2])
    return np.where(inside, depth, -np.inf)


def _first_behind(depth: Floats, owner: Ints) -> Ints:
    """Return the owner of the nearest triangle on each sight line, or -1."""
    if not depth.shape[1]:
        return np.full(len(depth), _NOTHING, dtype=np.int64)
    nearest = np.argmax(depth, axis=1)
    met = np.isfinite(depth[np.arange(len(depth)), nearest])
    return np.where(met, owner[nearest], _NOTHING)


_REGION_TIMES = 6.0
_SLAB_TIMES = 2.5
_GAP_TIMES = 25.0
_PATCH_TIMES = 3.0
_LEAST_MM = 1.2
_FLAT = 0.1


class Evidence(StrEnum):
    """What sets the scale of a close-up.

    A slab is a thin flat region: it is seen from its flat side, or magnified where it is cut.
    """

    REGION = "region"
    SLAB = "slab"
    GAP = "gap"
    PATCH = "patch"
    BODY = "body"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """What a close-up has to hold.

    Parameters
    ----------
    kind : Evidence
        What sets the scale.
    points_mm : ndarray, shape (n, 3)
        The evidence.
    bodies_mm : tuple of ndarray
        Points of each involved body.
    whole_mm : float
        Size of everything; no close-up shows more.
    gap_mm : float
        Width of the gap, or thickness of the slab.
    long_axis : ndarray or None
        The axis along which the evidence runs, where it is long and thin.
    flat_normal : ndarray or None
        Normal of a slab.
    """

    kind: Evidence
    points_mm: Floats
    bodies_mm: tuple[Floats, ...]
    whole_mm: float
    gap_mm: float
    long_axis: Floats | None
    flat_normal: Floats | None

    def seen_mm(self, view: View | None) -> float:
        """Return the size of the evidence in a view; before there is one, without its length."""
        return _seen(self.points_mm, view, self.long_axis)

    def ring_mm(self, view: View) -> float:
        """Return the radius of a ring that holds the regions in a view; zero where a small one will do."""
        whole = self.kind is Evidence.REGION or (self.kind is Evidence.SLAB and not view.cut)
        return 0.65 * self.seen_mm(view) if whole else 0.0

    def height_mm(self, view: View | None) -> float:
        """Return the height of the picture in a view, or a first guess of it."""
        if self.kind is Evidence.REGION:
            return max(_REGION_TIMES * self.seen_mm(view), _LEAST_MM)
        if self.kind is Evidence.SLAB and (view is None or not view.cut):
            return max(_SLAB_TIMES * self.seen_mm(view), _LEAST_MM)
        if self.kind in {Evidence.GAP, Evidence.SLAB}:
            return min(max(_GAP_TIMES * self.gap_mm, _LEAST_MM), self.whole_mm)
        bodies = [_seen(points, view, None) for points in self.bodies_mm]
        smallest = min(bodies, default=0.0)
        times = _PATCH_TIMES if self.kind is Evidence.PATCH else 1.0
        return min(max(times * self.seen_mm(view), 1.25 * smallest, _LEAST_MM), self.whole_mm)


def framed(
    finding: Finding,
    *,
    regions: Sequence[Floats],
    patches: Sequence[Floats],
    bodies: Mapping[str, Floats],
    gap_mm: float,
    whole_mm: float,
) -> Frame:
    """Return the frame of a finding from the points of its regions, patches and bodies.

    Parameters
    ----------
    finding : Finding
        What the close-up is of.
    regions : sequence of ndarray, shape (n, 3)
        Points of each solid region, mm.
    patches : sequence of ndarray, shape (n, 3)
        Points of each contact patch, mm; they count where there are no regions.
    bodies : mapping of str to ndarray, shape (n, 3)
        Points of each body and travel that is involved, mm, by its name.
    gap_mm : float
        Widest gap of the small-gap patches; zero where there is none and the finding's own length counts.
    whole_mm : float
        Size of everything; no close-up shows more.

    Returns
    -------
    Frame
        What sets the scale, and what has to be in the picture.
    """
    gap_mm = gap_mm or _length_mm(finding)
    if regions:
        kind: Evidence = Evidence.REGION
        points = np.vstack(regions)
        extents = _extents(points)
        if extents[2] < _FLAT * extents[1]:
            kind, gap_mm = Evidence.SLAB, float(extents[2])
    elif patches:
        kind, points = Evidence.PATCH, np.vstack(patches)
    else:
        kind, points = Evidence.BODY, np.vstack([np.zeros((0, 3)), *bodies.values()])
    flat_normal = _axes(points)[2] if kind is Evidence.SLAB else None
    # A length between two bodies is a gap to look into; an error of one body shows on the whole of it.
    if not regions and gap_mm > 0 and finding.location_mm is not None and len(bodies) > 1:
        kind = Evidence.GAP
    return Frame(
        kind=kind,
        points_mm=points,
        bodies_mm=tuple(bodies.values()),
        whole_mm=whole_mm,
        gap_mm=gap_mm,
        long_axis=None if kind in {Evidence.BODY, Evidence.SLAB} or len(points) < 2 else long_axis_of(points),
        flat_normal=flat_normal,
    )


def _axes(points: Floats) -> Floats:
    """Return the principal axes of points as rows, the longest first."""
    _, _, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=len(points) < 3)
    return np.asarray(axes)


def _extents(points: Floats) -> Floats:
    return np.sort(np.ptp(points @ _axes(points).T, axis=0))[::-1]


def long_axis_of(points: Floats) -> Floats | None:
    """Return the axis along which points (n, 3) run, where they are long and thin, else None.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        In any unit.

    Returns
    -------
    ndarray, shape (3,), or None
        Length 1.
    """
    axes = _axes(points)
    extents = np.ptp(points @ axes.T, axis=0)
    return unit(axes[0]) if extents[0] > 3.0 * extents[1] else None


def _seen(points: Floats, view: View | None, long_axis: Floats | None) -> float:
    """Return the diagonal of points as they appear in a view."""
    if not len(points):
        return 0.0
    if view is not None:
        points = points @ picture_axes(view.eye)[:2].T
    elif long_axis is not None:
        points = points - np.outer(points @ long_axis, long_axis)
    return float(np.linalg.norm(np.ptp(points, axis=0)))


def _length_mm(finding: Finding) -> float:
    """Return the finding's value where it is a length, in mm, else zero."""
    scale = {"mm": 1.0, "um": 1e-3}.get(finding.unit, 0.0)
    value = finding.value if finding.value is not None and math.isfinite(finding.value) else 0.0
    return abs(value) * scale
