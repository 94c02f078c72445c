"""What each picture shows: which shapes, how coloured, from where, with which words.

The scenes are plain values; the process that draws them needs neither the kernel nor the result.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixturecheck.kernel.mesh import Mesh
from fixturecheck.report.colours import ROLES, WORDS, Rgb, body_colours
from fixturecheck.report.order import OVERVIEW, Numbered
from fixturecheck.report.quantity import shown_plain
from fixturecheck.report.views import FRONT_RIGHT, Floats, Triangles, View, choose_view, unit, up_for
from fixturecheck.result import Finding, NamedShape, Result, Role

_BODIES = (Role.PART, Role.FIXTURE)
_REGIONS = (Role.OVERLAP, Role.COLLISION, Role.LEFTOVER, Role.GOUGE)
_PATCHES = (Role.AREA, Role.LINE, Role.POINT, Role.NEAR)
_MOST_TAGS = 14


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stage:
    """A result's shapes with their meshes, numbered in the order of the result."""

    result: Result
    meshes: Mapping[str, Mesh]
    triangles: Triangles
    numbers: Mapping[str, int]

    def shape(self, name: str) -> NamedShape:
        """Return the shape of that name."""
        return self.result.shapes[self.numbers[name]]


def set_stage(result: Result, meshes: Mapping[str, Mesh]) -> Stage:
    """Gather what can stand in the way of a sight line: bodies and solid regions, but no patches."""
    corners, owners = [np.zeros((0, 3, 3))], [np.zeros(0, dtype=np.int64)]
    for number, shape in enumerate(result.shapes):
        if shape.role in _BODIES or shape.role in _REGIONS:
            mesh = meshes[shape.name]
            corners.append(mesh.points_mm[mesh.triangles])
            owners.append(np.full(len(mesh.triangles), number, dtype=np.int64))
    triangles = Triangles(corners_mm=np.concatenate(corners), owner=np.concatenate(owners))
    numbers = {shape.name: i for i, shape in enumerate(result.shapes)}
    return Stage(result=result, meshes=meshes, triangles=triangles, numbers=numbers)


def overview(stage: Stage) -> dict[str, Any]:
    """Return the scene of the whole set-up: bodies, patches, and the wheel as a ghost."""
    colours = body_colours(stage.result.shapes)
    actors = []
    for shape in stage.result.shapes:
        if shape.role in _BODIES or shape.role in _REGIONS:
            actors.append(_actor(shape, colours))
        elif shape.role is Role.WHEEL:
            actors.append(_actor(shape, colours, opacity=0.22))
    bodies = [s for s in stage.result.shapes if s.role in _BODIES]
    tags = [s.name for s in bodies] if len(bodies) <= _MOST_TAGS else []
    points = np.vstack([stage.meshes[s.name].all_points_mm() for s in bodies or stage.result.shapes])
    eye = unit(FRONT_RIGHT)
    centre, height = _fit(points, eye)
    return {
        "file": OVERVIEW,
        "actors": actors,
        "camera": _camera(centre, eye, up_for(eye), height),
        "cut": False,
        "tags": tags,
        "legend": _legend(tuple(s for s in stage.result.shapes if s.role not in (*_PATCHES, Role.GROUND))),
        "frame": True,
        "title": stage.result.name,
        "verdict": str(stage.result.verdict),
    }


def close_up(stage: Stage, row: Numbered) -> dict[str, Any]:
    """Return the scene of one finding, aimed at its spot."""
    finding = row.finding
    shapes = [s for s in finding.shapes if s.name in stage.numbers]
    spot = _spot(stage, finding, shapes)
    involved = _involved(stage, finding, shapes)
    regions = [s for s in shapes if s.role in _REGIONS and len(stage.meshes[s.name].triangles)]
    direction = None if finding.direction is None else unit(finding.direction)
    height, long_axis = _size(stage, finding, shapes, regions)
    view = choose_view(
        stage.triangles,
        spot_mm=spot,
        direction=direction,
        long_axis=long_axis,
        height_mm=height,
        region_mm=max(height / 14.0, 0.05),
        bodies=frozenset(stage.numbers[n] for n in involved),
        regions=frozenset(stage.numbers[r.name] for r in regions),
    )
    seen_mm = _seen_size(stage, regions, view)
    if regions:
        height = max(9.0 * seen_mm, 1.2)
    colours = body_colours(stage.result.shapes)
    evidence = {s.name for s in shapes}
    actors = [
        _actor(s, colours, pale=s.role in _BODIES and s.name not in involved)
        for s in stage.result.shapes
        if s.role in _BODIES or (s.name in evidence and s.role is not Role.GROUND)
    ]
    return {
        "file": row.picture,
        "actors": actors,
        "camera": _camera(spot, view.eye, view.up, height),
        "cut": view.cut,
        "tags": involved,
        "spot": spot.tolist(),
        "ring_mm": 0.65 * seen_mm,
        "arrow": None if direction is None else direction.tolist(),
        "title": f"{finding.check}: {finding.subject}",
        "verdict": str(finding.verdict),
        "number": row.number,
        "callout": _callout(finding, stage.result.units),
        "legend": _legend(tuple(s for s in shapes if s.role not in _BODIES)),
        "units": stage.result.units,
    }


def _camera(target: Floats, eye: Floats, up: Floats, height_mm: float) -> dict[str, Any]:
    return {"target": target.tolist(), "eye": eye.tolist(), "up": up.tolist(), "height_mm": height_mm}


def _actor(
    shape: NamedShape, colours: Mapping[str, Rgb], *, opacity: float = 1.0, pale: bool = False
) -> dict[str, Any]:
    rgb = np.array(colours[shape.name], dtype=np.float64)
    if pale:
        # What is not involved steps back toward the paper.
        rgb = 0.45 * rgb + 0.55 * np.array([244.0, 245.0, 246.0])
    return {
        "mesh": shape.name,
        "role": str(shape.role),
        "rgb": [round(c) for c in rgb.tolist()],
        "opacity": opacity,
        "solid": shape.role not in _PATCHES,
        "before": shape.role not in (*_BODIES, Role.WHEEL),
    }


def _legend(shapes: tuple[NamedShape, ...]) -> list[dict[str, Any]]:
    roles = sorted({s.role for s in shapes}, key=list(Role).index)
    return [{"rgb": list(ROLES[role]), "text": WORDS[role]} for role in roles]


def _fit(points: Floats, eye: Floats) -> tuple[Floats, float]:
    """Return the middle and the picture height that hold all points, with a margin, at 4:3."""
    up = up_for(eye)
    right = np.cross(up, eye)
    axes = np.stack([right, up, eye])
    local = points @ axes.T
    low, high = local.min(axis=0), local.max(axis=0)
    width, height, _ = high - low
    return (low + high) / 2 @ axes, 1.18 * max(float(height), float(width) * 0.69, 1e-3)


def _spot(stage: Stage, finding: Finding, shapes: list[NamedShape]) -> Floats:
    """Return where to aim: the finding's own place, or the middle of its evidence."""
    if finding.location_mm is not None:
        return np.array(finding.location_mm, dtype=np.float64)
    evidence = [s for s in shapes if s.role not in _BODIES] or shapes
    return np.asarray(np.vstack([stage.meshes[s.name].all_points_mm() for s in evidence]).mean(axis=0))


def _involved(stage: Stage, finding: Finding, shapes: list[NamedShape]) -> list[str]:
    """Return the bodies that the finding is about, from its shapes and its subject."""
    named = [s.name for s in shapes if s.role in _BODIES]
    named += [b for s in shapes for b in s.bodies]
    words = finding.subject.replace("/", " ").replace(",", " ").split()
    named += [w.split(".", 1)[0] for w in words]
    bodies = [n for n in dict.fromkeys(named) if n in stage.numbers and stage.shape(n).role in _BODIES]
    return bodies[:4]


def _size(
    stage: Stage, finding: Finding, shapes: list[NamedShape], regions: list[NamedShape]
) -> tuple[float, Floats | None]:
    """Return the height of the picture and, for a long region, the axis along which it runs."""
    gap_mm = _length_mm(finding)
    if regions:
        points = np.vstack([stage.meshes[r.name].all_points_mm() for r in regions])
        _, _, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
        extents = np.ptp(points @ axes.T, axis=0)
        long_axis = unit(axes[0]) if extents[0] > 3.0 * extents[1] else None
        seen = float(np.linalg.norm(extents[1:] if long_axis is not None else extents))
        return max(7.0 * seen, 1.2), long_axis
    if gap_mm is not None and gap_mm > 0 and finding.location_mm is not None:
        return min(max(25.0 * gap_mm, 1.5), _whole(stage)), None
    evidence = [s for s in shapes if s.role not in _BODIES] or shapes
    if not evidence:
        return 0.5 * _whole(stage), None
    points = np.vstack([stage.meshes[s.name].all_points_mm() for s in evidence])
    return min(max(1.6 * float(np.linalg.norm(np.ptp(points, axis=0))), 3.0), _whole(stage)), None


def _seen_size(stage: Stage, regions: list[NamedShape], view: View) -> float:
    """Return the size of the regions as they appear in a view, mm."""
    if not regions:
        return 0.0
    points = np.vstack([stage.meshes[r.name].all_points_mm() for r in regions])
    across = np.stack([np.cross(view.up, view.eye), view.up], axis=1)
    return float(np.linalg.norm(np.ptp(points @ across, axis=0)))


def _whole(stage: Stage) -> float:
    """Return the size of all bodies together, mm."""
    corners = stage.triangles.corners_mm.reshape(-1, 3)
    return float(np.linalg.norm(np.ptp(corners, axis=0))) if len(corners) else 10.0


def _length_mm(finding: Finding) -> float | None:
    """Return the finding's value where it is a length, in mm."""
    scale = {"mm": 1.0, "um": 1e-3}.get(finding.unit)
    if scale is None or finding.value is None or not math.isfinite(finding.value):
        return None
    return abs(finding.value) * scale


def _callout(finding: Finding, units: str) -> list[str]:
    """Return the few words that stand beside the spot."""
    if finding.value is None:
        return []
    lines = [shown_plain(finding.value, finding.unit, units)]
    if finding.limit is not None:
        lines.append(f"limit {shown_plain(finding.limit, finding.unit, units)}")
    return lines
