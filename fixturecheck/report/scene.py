"""What each picture shows: which shapes, how coloured, from where, with which words.

The scenes are plain values; the process that draws them needs neither the kernel nor the result.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.colours import ROLES, WORDS, Rgb, body_colours
from fixturecheck.report.frame import Frame, frame_of
from fixturecheck.report.order import OVERVIEW, Numbered
from fixturecheck.report.views import (
    FRONT_RIGHT,
    Floats,
    Triangles,
    View,
    beside,
    choose_view,
    off_the_ends,
    unit,
    up_for,
)
from fixturecheck.result import ContactKind, Finding, NamedShape, Result, Role, wheel_name
from fixturecheck.wording.quantity import shown_plain

BODIES = (Role.PART, Role.FIXTURE)
_REGIONS = (Role.OVERLAP, Role.COLLISION, Role.LEFTOVER, Role.GOUGE)
_PATCHES = (Role.AREA, Role.LINE, Role.POINT, Role.NEAR, Role.POLE)
_MOST_TAGS = 14
_LAYERS = {
    **dict.fromkeys((*BODIES, Role.WHEEL, Role.REST, Role.TRAVEL), 0.0),
    Role.POLE: 0.5,
}
"""What shares a plane is drawn in layers: poles on bodies, evidence on both (1)."""

GHOST = 0.28
"""Opacity of a part where it is meant to be, beside where it rests."""

_TRAVEL = 0.12
"""Opacity of the room that a travel takes: what it passes must show through."""


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
        if shape.role in BODIES or shape.role in _REGIONS:
            mesh = meshes[shape.name]
            corners.append(mesh.points_mm[mesh.triangles])
            owners.append(np.full(len(mesh.triangles), number, dtype=np.int64))
    triangles = Triangles(corners_mm=np.concatenate(corners), owner=np.concatenate(owners))
    numbers = {shape.name: i for i, shape in enumerate(result.shapes)}
    return Stage(result=result, meshes=meshes, triangles=triangles, numbers=numbers)


def overview(stage: Stage) -> dict[str, Any]:
    """Return the scene of the whole set-up: bodies, patches, and as a ghost the first cut's wheel."""
    colours = body_colours(stage.result.shapes)
    actors = []
    first = next((s for s in stage.result.shapes if s.role is Role.WHEEL), None)
    for shape in stage.result.shapes:
        if shape.role in (*BODIES, *_REGIONS, Role.POLE):
            actors.append(actor(shape, colours))
        elif shape.role is Role.WHEEL and shape is first:
            actors.append(actor(shape, colours, opacity_share=0.16))
    bodies = [s for s in stage.result.shapes if s.role in BODIES]
    tags = [s.name for s in bodies] if len(bodies) <= _MOST_TAGS else []
    points = np.vstack([stage.meshes[s.name].all_points_mm() for s in bodies or stage.result.shapes])
    eye = unit(FRONT_RIGHT)
    centre, height = fit(points, eye)
    return {
        "file": OVERVIEW,
        "actors": actors,
        "camera": camera(centre, eye, up_for(eye), height),
        "cut": False,
        "tags": tags,
        "legend": legend_of(a["role"] for a in actors),
        "frame": True,
        "title": stage.result.name,
        "verdict": None,
    }


def close_up(stage: Stage, row: Numbered) -> dict[str, Any]:
    """Return the scene of one finding, aimed at its spot."""
    finding = row.finding
    shapes = [s for s in finding.shapes if s.name in stage.numbers]
    spot = spot_of(stage, finding, shapes)
    involved = bodies_about(stage, finding, shapes)
    regions = [s for s in shapes if s.role in _REGIONS and len(stage.meshes[s.name].triangles)]
    travels = [s.name for s in shapes if s.role is Role.TRAVEL]
    direction = None if finding.direction is None else unit(finding.direction)
    frame = frame_of(
        finding,
        regions=[stage.meshes[s.name].all_points_mm() for s in regions],
        patches=[stage.meshes[s.name].all_points_mm() for s in shapes if s.role in _PATCHES],
        bodies={name: stage.meshes[name].all_points_mm() for name in (*involved, *travels)},
        gap_mm=_near_gap_mm(stage.result, shapes),
        whole_mm=_whole(stage),
    )
    view = _view(stage, finding, spot, frame, (involved, regions))
    if any(s.role is Role.REST for s in shapes):
        spot = off_the_ends(spot, view.eye, np.vstack([stage.meshes[n].all_points_mm() for n in involved]))
    passing = _passing_wheel(stage, finding, spot)
    actors = [*close_actors(stage, shapes, involved), *_wheel_actors(passing, cut=view.cut)]
    return {
        "file": row.picture,
        "actors": actors,
        "camera": camera(spot, view.eye, view.up, frame.height_mm(view)),
        "cut": view.cut,
        "tags": involved,
        "spot": spot.tolist(),
        "ring_mm": frame.ring_mm(view),
        "arrow": None if direction is None else direction.tolist(),
        "title": f"{finding.check}: {finding.subject}",
        "verdict": str(finding.overruled or finding.verdict),
        "counted_as": str(finding.verdict) if finding.overruled is not None else None,
        "number": row.number,
        "callout": _callout(finding, stage.result.shown_in, [*travels, *involved][:2] if travels else []),
        "legend": legend_of(a["role"] for a in actors if a["role"] not in BODIES),
        "units": stage.result.shown_in,
    }


def _view(
    stage: Stage, finding: Finding, spot: Floats, frame: Frame, about: tuple[list[str], list[NamedShape]]
) -> View:
    """Return the side from which a finding is looked at."""
    direction = None if finding.direction is None else unit(finding.direction)
    involved, regions = about
    if direction is not None and any(s.role is Role.REST for s in finding.shapes):
        return beside(direction)
    return choose_view(
        stage.triangles,
        spot_mm=spot,
        direction=direction if frame.flat_normal is None else None,
        section_direction=direction if frame.flat_normal is None else frame.flat_normal,
        long_axis=frame.long_axis,
        height_mm=frame.height_mm(None),
        region_mm=max(frame.seen_mm(None) / 2, 0.05),
        bodies=frozenset(stage.numbers[n] for n in involved),
        regions=frozenset(stage.numbers[r.name] for r in regions),
    )


def close_actors(stage: Stage, shapes: list[NamedShape], involved: list[str]) -> list[dict[str, Any]]:
    """Return all bodies, pale where not involved, and the evidence."""
    colours = body_colours(stage.result.shapes)
    evidence = {s.name for s in shapes if s.role not in (Role.GROUND, Role.WHEEL)}
    # Where a part is shown at rest, where it is meant to be is a ghost.
    ghosts = {b for s in shapes if s.role is Role.REST for b in s.bodies}
    return [
        actor(
            s,
            colours,
            pale=s.role in (*BODIES, Role.POLE) and not {s.name, *s.bodies} & set(involved),
            opacity_share=GHOST if s.name in ghosts else _TRAVEL if s.role is Role.TRAVEL else 1.0,
        )
        for s in stage.result.shapes
        if s.role in (*BODIES, Role.POLE) or s.name in evidence
    ]


def _passing_wheel(stage: Stage, finding: Finding, spot: Floats) -> list[tuple[NamedShape, Floats]]:
    """Return the wheel of the finding's cut and how far to move it so that it passes the spot."""
    if not any(s.role is Role.TRAVEL for s in finding.shapes):
        return []
    wheels = [s for s in stage.result.shapes if s.role is Role.WHEEL]
    own = [w for w in wheels if len(wheels) == 1 or w.name == wheel_name(finding.cut)]
    moved = []
    for wheel in own[:1]:
        points = stage.meshes[wheel.name].points_mm
        low, high = points.min(axis=0), points.max(axis=0)
        # Along the traverse the wheel passes every place; across it only as far as the spot is off.
        across = min(spot[1] - low[1], 0.0) + max(spot[1] - high[1], 0.0)
        moved.append((wheel, np.array([spot[0] - (low[0] + high[0]) / 2, across, 0.0])))
    return moved


def _wheel_actors(passing: list[tuple[NamedShape, Floats]], *, cut: bool) -> list[dict[str, Any]]:
    """Return the passing wheel: behind everything where it is cut open, a ghost where it is whole."""
    colours = body_colours(tuple(wheel for wheel, _ in passing))
    return [
        {
            **actor(wheel, colours, opacity_share=1.0 if cut else 0.25, pale=cut),
            "move": move.tolist(),
            "layer": -1,
        }
        for wheel, move in passing
    ]


def camera(target: Floats, eye: Floats, up: Floats, height_mm: float) -> dict[str, Any]:
    """Return a camera as plain values."""
    return {"target": target.tolist(), "eye": eye.tolist(), "up": up.tolist(), "height_mm": height_mm}


def actor(
    shape: NamedShape, colours: Mapping[str, Rgb], *, opacity_share: float = 1.0, pale: bool = False
) -> dict[str, Any]:
    """Return one shape as it is drawn: its mesh, colour, opacity and layer."""
    rgb = np.array(colours[shape.name], dtype=np.float64)
    if pale:
        # What is not involved steps back toward the paper.
        rgb = 0.45 * rgb + 0.55 * np.array([244.0, 245.0, 246.0])
    return {
        "mesh": shape.name,
        "role": str(shape.role),
        "rgb": [round(c) for c in rgb.tolist()],
        "opacity": opacity_share,
        "solid": shape.role not in _PATCHES,
        "layer": _LAYERS.get(shape.role, 1.0),
    }


def legend_of(roles: Iterable[str]) -> list[dict[str, Any]]:
    """Return a legend row for each role once; what the picture does not show is left out when it is drawn."""
    known = sorted({Role(role) for role in roles}, key=list(Role).index)
    return [{"rgb": list(ROLES[role]), "text": WORDS[role], "role": str(role)} for role in known]


def fit(points: Floats, eye: Floats) -> tuple[Floats, float]:
    """Return the middle and the picture height that hold all points, with a margin, at 4:3."""
    up = up_for(eye)
    right = np.cross(up, eye)
    axes = np.stack([right, up, eye])
    local = points @ axes.T
    low, high = local.min(axis=0), local.max(axis=0)
    width, height, _ = high - low
    return (low + high) / 2 @ axes, 1.18 * max(float(height), float(width) * 0.69, 1e-3)


def spot_of(stage: Stage, finding: Finding, shapes: list[NamedShape]) -> Floats:
    """Return where to aim: the finding's own place, or the middle of its evidence."""
    if finding.location_mm is not None:
        return np.array(finding.location_mm, dtype=np.float64)
    evidence = [s for s in shapes if s.role not in BODIES] or shapes
    return np.asarray(np.vstack([stage.meshes[s.name].all_points_mm() for s in evidence]).mean(axis=0))


def bodies_about(stage: Stage, finding: Finding, shapes: list[NamedShape]) -> list[str]:
    """Return the bodies that the finding is about, from its shapes and from what it names."""
    named = [s.name for s in shapes if s.role in BODIES]
    named += [b for s in shapes for b in s.bodies]
    named += [FaceRef(one).body for one in finding.about]
    bodies = [n for n in dict.fromkeys(named) if n in stage.numbers and stage.shape(n).role in BODIES]
    return bodies[:4]


def _near_gap_mm(result: Result, shapes: list[NamedShape]) -> float:
    """Return the widest gap of the small-gap patches among the evidence, mm."""
    pairs = [set(s.bodies) for s in shapes if s.role is Role.NEAR]
    gaps = [
        c.gap_max_um * 1e-3
        for c in result.contacts
        if c.kind == ContactKind.NEAR and {c.a.body, c.b.body} in pairs
    ]
    return max(gaps, default=0.0)


def _callout(finding: Finding, units: str, between: list[str]) -> list[str]:
    """Return the few words that stand beside the spot; of a clearance, the two things it is between."""
    if finding.value is None:
        return []
    lines = [shown_plain(finding.value, finding.unit, units)]
    if finding.limit is not None:
        lines.append(f"limit {shown_plain(finding.limit, finding.unit, units)}")
    return [*lines, *([" to ".join(between)] if len(between) > 1 else [])]


def _whole(stage: Stage) -> float:
    """Return the size of all bodies together, mm."""
    corners = stage.triangles.corners_mm.reshape(-1, 3)
    return float(np.linalg.norm(np.ptp(corners, axis=0))) if len(corners) else 10.0
