"""How much of the surroundings a close-up shows, so that the detail is large and still makes sense."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.report.views import Floats, View, unit
from fixturecheck.result import Finding

_REGION_TIMES = 6.0
_SLAB_TIMES = 2.5
_GAP_TIMES = 25.0
_PATCH_TIMES = 3.0
_LEAST_MM = 1.2
_FLAT = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """What a close-up has to hold.

    Parameters
    ----------
    kind : str
        `region`, `slab`, `gap`, `patch` or `body`: what sets the scale. A slab is a thin flat region: it
        is seen from its flat side, or magnified where it is cut.
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

    kind: str
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
        whole = self.kind == "region" or (self.kind == "slab" and not view.cut)
        return 0.65 * self.seen_mm(view) if whole else 0.0

    def height_mm(self, view: View | None) -> float:
        """Return the height of the picture in a view, or a first guess of it."""
        if self.kind == "region":
            return max(_REGION_TIMES * self.seen_mm(view), _LEAST_MM)
        if self.kind == "slab" and (view is None or not view.cut):
            return max(_SLAB_TIMES * self.seen_mm(view), _LEAST_MM)
        if self.kind in {"gap", "slab"}:
            return min(max(_GAP_TIMES * self.gap_mm, _LEAST_MM), self.whole_mm)
        bodies = [_seen(points, view, None) for points in self.bodies_mm]
        smallest = min(bodies, default=0.0)
        times = _PATCH_TIMES if self.kind == "patch" else 1.0
        return min(max(times * self.seen_mm(view), 1.25 * smallest, _LEAST_MM), self.whole_mm)


def frame_of(
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
    gap_mm : float
        Widest gap of the small-gap patches; zero where there is none and the finding's own length counts.
    """
    gap_mm = gap_mm or _length_mm(finding)
    if regions:
        kind, points = "region", np.vstack(regions)
        extents = _extents(points)
        if extents[2] < _FLAT * extents[1]:
            kind, gap_mm = "slab", float(extents[2])
    elif patches:
        kind, points = "patch", np.vstack(patches)
    else:
        kind, points = "body", np.vstack([np.zeros((0, 3)), *bodies.values()])
    flat_normal = _axes(points)[2] if kind == "slab" else None
    # A length between two bodies is a gap to look into; an error of one body shows on the whole of it.
    if not regions and gap_mm > 0 and finding.location_mm is not None and len(bodies) > 1:
        kind = "gap"
    return Frame(
        kind=kind,
        points_mm=points,
        bodies_mm=tuple(bodies.values()),
        whole_mm=whole_mm,
        gap_mm=gap_mm,
        long_axis=None if kind in {"body", "slab"} or len(points) < 2 else _long_axis(points),
        flat_normal=flat_normal,
    )


def _axes(points: Floats) -> Floats:
    """Return the principal axes of points as rows, the longest first."""
    _, _, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=len(points) < 3)
    return np.asarray(axes)


def _extents(points: Floats) -> Floats:
    return np.sort(np.ptp(points @ _axes(points).T, axis=0))[::-1]


def _long_axis(points: Floats) -> Floats | None:
    axes = _axes(points)
    extents = np.ptp(points @ axes.T, axis=0)
    return unit(axes[0]) if extents[0] > 3.0 * extents[1] else None


def _seen(points: Floats, view: View | None, long_axis: Floats | None) -> float:
    """Return the diagonal of points as they appear in a view."""
    if not len(points):
        return 0.0
    if view is not None:
        points = points @ np.stack([np.cross(view.up, view.eye), view.up], axis=1)
    elif long_axis is not None:
        points = points - np.outer(points @ long_axis, long_axis)
    return float(np.linalg.norm(np.ptp(points, axis=0)))


def _length_mm(finding: Finding) -> float:
    """Return the finding's value where it is a length, in mm, else zero."""
    scale = {"mm": 1.0, "um": 1e-3}.get(finding.unit, 0.0)
    value = finding.value if finding.value is not None and math.isfinite(finding.value) else 0.0
    return abs(value) * scale
