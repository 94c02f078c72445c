"""What each picture shows: which shapes, how coloured, from where, with which words.

The scenes are plain values; the process that draws them needs neither the kernel nor the result.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.order import LOCATION, OVERVIEW, REST, Numbered
from fixturecheck.report.pictures.figures import ROLES, WORDS, Rgb, body_colours, round_below
from fixturecheck.report.pictures.views import (
    FRONT_RIGHT,
    Frame,
    Triangles,
    View,
    choose_view,
    framed,
    off_the_ends,
    picture_axes,
    side_view,
    unit,
    up_for,
)
from fixturecheck.result import Result
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Verdict, worst
from fixturecheck.result.rest import PartLocation
from fixturecheck.result.shapes import BODIES, PATCHES, NamedShape, Role, wheel_name
from fixturecheck.units import Writing
from fixturecheck.wording.sentences import number_found, shown_plain

TOOLS = (Role.WHEEL, Role.CUTTER)
_REGIONS = (Role.OVERLAP, Role.COLLISION, Role.LEFTOVER, Role.GOUGE)
MOST_TAGS = 14
_LAYERS = {**dict.fromkeys((*BODIES, *TOOLS, Role.REST, Role.TRAVEL), 0.0), Role.POLE: 0.5, Role.MOVED: 1.5}
"""What shares a plane is drawn in layers: poles on bodies, evidence on both (1), and on what was added there
the faces that it moved."""

_ROUND_PARTS = 0.4
"""How much of the parts' longest side is shown round them where they are looked at closely."""

_CLOSER = 0.75
"""They are looked at closely where that shows less than this share of the height of the whole."""

GHOST = 0.28
"""Opacity of a part where it is meant to be, beside where it rests."""

_TRAVEL = 0.12
"""Opacity of the room that a travel takes: what it passes must show through."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeshedResult:
    """A result's shapes with their meshes, numbered in the order of the result."""

    result: Result
    meshes: Mapping[str, Mesh]
    triangles: Triangles
    numbers: Mapping[str, int]

    def shape(self, name: str) -> NamedShape:
        """Return the shape of that name."""
        return self.result.shapes[self.numbers[name]]


def set_stage(result: Result, meshes: Mapping[str, Mesh]) -> MeshedResult:
    """Gather what can stand in the way of a sight line: bodies and solid regions, but no patches.

    Parameters
    ----------
    result : Result
        What was found.
    meshes : mapping of str to Mesh
        By the name of the shape.

    Returns
    -------
    MeshedResult
        Its triangles are numbered by the place of their shape in the result.
    """
    corners, owners = [np.zeros((0, 3, 3))], [np.zeros(0, dtype=np.int64)]
    for number, shape in enumerate(result.shapes):
        if shape.role in BODIES or shape.role in _REGIONS:
            mesh = meshes[shape.name]
            corners.append(mesh.points_mm[mesh.triangles])
            owners.append(np.full(len(mesh.triangles), number, dtype=np.int64))
    triangles = Triangles(corners_mm=np.concatenate(corners), owner=np.concatenate(owners))
    numbers = {shape.name: i for i, shape in enumerate(result.shapes)}
    return MeshedResult(result=result, meshes=meshes, triangles=triangles, numbers=numbers)


def scene_base(file: str, title: str, verdict: Verdict | None = None) -> dict[str, Any]:
    """Return what every picture has; a plain view has no verdict.

    Parameters
    ----------
    file : str
        Its PNG file.
    title : str
        What stands above it.
    verdict : Verdict or None
        The verdict of what it shows.

    Returns
    -------
    dict
        A scene without actors and camera: not cut, without names and legend.
    """
    return {
        "file": file,
        "title": title,
        "verdict": None if verdict is None else str(verdict),
        "cut": False,
        "tags": [],
        "legend": [],
    }


def overview(stage: MeshedResult) -> dict[str, Any]:
    """Return the scene of the whole set-up: bodies, patches, and as a ghost the first cut's wheel.

    Where the parts are small in it, `close` is the camera that holds them, else None.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.

    Returns
    -------
    dict
        A scene, as `scene_base` begins it.
    """
    colours = body_colours(stage.result.shapes)
    actors = []
    first = next((s for s in stage.result.shapes if s.role in TOOLS), None)
    for shape in stage.result.shapes:
        if shape.role in (*BODIES, *_REGIONS, Role.POLE):
            actors.append(actor(shape, colours))
        elif shape.role in TOOLS and shape is first:
            actors.append(actor(shape, colours, opacity_share=0.16))
    bodies = [s for s in stage.result.shapes if s.role in BODIES]
    tags = [s.name for s in bodies] if len(bodies) <= MOST_TAGS else []
    points = np.vstack([stage.meshes[s.name].all_points_mm() for s in bodies or stage.result.shapes])
    whole = fitted(points)
    return {
        **scene_base(OVERVIEW, stage.result.name),
        "actors": actors,
        "camera": whole,
        "close": _close(stage, whole),
        "tags": tags,
        "legend": legend_of(a["role"] for a in actors),
        "machine": stage.result.touching is None,
    }


def _close(stage: MeshedResult, whole: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the camera that holds the parts and what stands round them; None where that is the whole."""
    parts = [s for s in stage.result.shapes if s.role is Role.PART]
    if not parts:
        return None
    points = np.vstack([stage.meshes[s.name].all_points_mm() for s in parts])
    everything = np.vstack(
        [stage.meshes[s.name].all_points_mm() for s in stage.result.shapes if s.role in BODIES]
    )
    near = fitted(around_of(points, everything))
    return near if near["height_mm"] < _CLOSER * whole["height_mm"] else None


def around_of(points: Floats, everything: Floats) -> Floats:
    """Return the corners of the box that holds points and what stands just round them, within everything.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Of what is looked at.
    everything : ndarray, shape (m, 3)
        Of all that there is.

    Returns
    -------
    ndarray, shape (8, 3)
    """
    margin_mm = _ROUND_PARTS * float(np.ptp(points, axis=0).max())
    low = np.maximum(points.min(axis=0) - margin_mm, everything.min(axis=0))
    high = np.minimum(points.max(axis=0) + margin_mm, everything.max(axis=0))
    ends = np.stack([low, high])
    return np.array([[ends[i, 0], ends[j, 1], ends[k, 2]] for i, j, k in product((0, 1), repeat=3)])


def fitted(points: Floats) -> dict[str, Any]:
    """Return the camera from the operator's side that holds all points (n, 3).

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        mm.

    Returns
    -------
    dict
        As `camera` returns it.
    """
    eye = unit(FRONT_RIGHT)
    centre, height = fit(points, eye)
    return camera(centre, eye, height)


def close_up(stage: MeshedResult, row: Numbered) -> dict[str, Any]:
    """Return the scene of one finding, aimed at its spot.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.
    row : Numbered
        The finding that leads its number, and the file name of its picture.

    Returns
    -------
    dict
        A scene, as `scene_base` begins it.
    """
    finding = row.finding
    shapes = [s for s in finding.shapes if s.name in stage.numbers]
    spot = spot_of(stage, finding, shapes)
    involved = bodies_about(stage, finding, shapes)
    regions = [s for s in shapes if s.role in _REGIONS and len(stage.meshes[s.name].triangles)]
    travels = [s.name for s in shapes if s.role is Role.TRAVEL]
    direction = None if finding.direction is None else unit(finding.direction)
    frame = framed(
        finding,
        regions=[stage.meshes[s.name].all_points_mm() for s in regions],
        patches=[stage.meshes[s.name].all_points_mm() for s in shapes if s.role in PATCHES],
        bodies={name: stage.meshes[name].all_points_mm() for name in (*involved, *travels)},
        gap_mm=_near_gap_mm(stage.result, shapes),
        whole_mm=_whole(stage),
    )
    view = _view(stage, finding, spot, frame, (involved, regions))
    if any(s.role is Role.REST for s in shapes):
        spot = off_the_ends(spot, view.eye, np.vstack([stage.meshes[n].all_points_mm() for n in involved]))
    actors = close_actors(stage, shapes, involved)
    if travels:
        # Behind everything where it is cut open, a ghost where it is whole.
        share = 1.0 if view.cut else 0.25
        actors += wheel_passing(stage, finding.cut, spot, opacity_share=share, pale=view.cut)
    return {
        **scene_base(
            str(row.picture), f"{finding.check}: {finding.subject}", finding.overruled or finding.verdict
        ),
        "actors": actors,
        "camera": camera(spot, view.eye, frame.height_mm(view)),
        "cut": view.cut,
        "tags": involved,
        "spot": spot.tolist(),
        "ring_mm": frame.ring_mm(view),
        "arrow": None if direction is None else direction.tolist(),
        "counted_as": str(finding.verdict) if finding.overruled is not None else None,
        "number": row.number,
        "callout": _callout(finding, stage.result.shown_in, [*travels, *involved][:2] if travels else []),
        "legend": legend_of(a["role"] for a in actors if a["role"] not in BODIES),
        "units": stage.result.shown_in,
    }


def _view(
    stage: MeshedResult,
    finding: Finding,
    spot: Floats,
    frame: Frame,
    about: tuple[list[str], list[NamedShape]],
) -> View:
    """Return the side from which a finding is looked at."""
    direction = None if finding.direction is None else unit(finding.direction)
    involved, regions = about
    if direction is not None and any(s.role is Role.REST for s in finding.shapes):
        return side_view(direction)
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


def close_actors(stage: MeshedResult, shapes: list[NamedShape], involved: list[str]) -> list[dict[str, Any]]:
    """Return all bodies, pale where not involved, and the evidence.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.
    shapes : list of NamedShape
        Those of the finding; what is no body among them is its evidence.
    involved : list of str
        Names of the bodies that are not pale; a pole on one of them is not either.

    Returns
    -------
    list of dict
        Actors, as `actor` returns them, in the order of the result.
    """
    colours = body_colours(stage.result.shapes)
    evidence = {s.name for s in shapes if s.role not in (Role.GROUND, *TOOLS)}
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


def _wheel_of(result: Result, cut: str) -> NamedShape | None:
    """Return the wheel of a cut, the only one where it is not named; None where there is none."""
    wheels = [s for s in result.shapes if s.role is Role.WHEEL]
    return next((w for w in wheels if len(wheels) == 1 or w.name == wheel_name(cut)), None)


def wheel_passing(
    stage: MeshedResult, cut: str, at_mm: Floats, *, opacity_share: float, pale: bool = False
) -> list[dict[str, Any]]:
    """Return the wheel of a cut, moved so that it passes a place, behind all else; none where there is none.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.
    cut : str
        The cut.
    at_mm : ndarray, shape (3,)
        The place.
    opacity_share : float
        How much it hides, from 0 to 1.
    pale : bool
        Whether it steps back toward the paper.

    Returns
    -------
    list of dict
        The wheel as an actor, or nothing.
    """
    wheel = _wheel_of(stage.result, cut)
    if wheel is None:
        return []
    points = stage.meshes[wheel.name].points_mm
    low, high = points.min(axis=0), points.max(axis=0)
    # Along the traverse the wheel passes every place; across it only as far as the place is off.
    across = min(at_mm[1] - low[1], 0.0) + max(at_mm[1] - high[1], 0.0)
    move = [float(at_mm[0] - (low[0] + high[0]) / 2), float(across), 0.0]
    drawn = actor(wheel, body_colours((wheel,)), opacity_share=opacity_share, pale=pale)
    return [{**drawn, "move": move, "layer": -1}]


def camera(target: Floats, eye: Floats, height_mm: float) -> dict[str, Any]:
    """Return a camera as plain values.

    Parameters
    ----------
    target : ndarray, shape (3,)
        What stands in the middle of the picture.
    eye : ndarray, shape (3,)
        From the target toward the viewer, length 1.
    height_mm : float
        Height of the picture.

    Returns
    -------
    dict
        With `up`, square to `eye`, besides.
    """
    up = up_for(eye)
    return {"target": target.tolist(), "eye": eye.tolist(), "up": up.tolist(), "height_mm": height_mm}


def actor(
    shape: NamedShape, colours: Mapping[str, Rgb], *, opacity_share: float = 1.0, pale: bool = False
) -> dict[str, Any]:
    """Return one shape as it is drawn: its mesh, colour, opacity and layer.

    Parameters
    ----------
    shape : NamedShape
        What is drawn.
    colours : mapping of str to Rgb
        By the name of the shape.
    opacity_share : float
        0 is clear, 1 opaque.
    pale : bool
        Whether the colour is mixed with that of paper.

    Returns
    -------
    dict
        `mesh` is the name of the shape.
    """
    rgb = np.array(colours[shape.name], dtype=np.float64)
    if pale:
        # What is not involved steps back toward the paper.
        rgb = 0.45 * rgb + 0.55 * np.array([244.0, 245.0, 246.0])
    return {
        "mesh": shape.name,
        "role": str(shape.role),
        "rgb": [round(c) for c in rgb.tolist()],
        "opacity": opacity_share,
        "solid": shape.role not in PATCHES,
        "layer": _LAYERS.get(shape.role, 1.0),
    }


def legend_of(roles: Iterable[str]) -> list[dict[str, Any]]:
    """Return a legend row for each role once; what the picture does not show is left out when it is drawn.

    Parameters
    ----------
    roles : iterable of str
        Values of `Role`, in any order and as often as they come.

    Returns
    -------
    list of dict
        `rgb`, `text` and `role` of each, in the order of `Role`.
    """
    known = sorted({Role(role) for role in roles}, key=list(Role).index)
    return [{"rgb": list(ROLES[role]), "text": WORDS[role], "role": str(role)} for role in known]


def fit(points: Floats, eye: Floats) -> tuple[Floats, float]:
    """Return the middle and the picture height that hold all points, with a margin, at 4:3.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        mm.
    eye : ndarray, shape (3,)
        Unit vector toward the viewer.

    Returns
    -------
    (ndarray, shape (3,), float)
        Middle and height, mm.
    """
    axes = picture_axes(eye)
    local = points @ axes.T
    low, high = local.min(axis=0), local.max(axis=0)
    width, height, _ = high - low
    return (low + high) / 2 @ axes, 1.18 * max(float(height), float(width) * 0.69, 1e-3)


def spot_of(stage: MeshedResult, finding: Finding, shapes: list[NamedShape]) -> Floats:
    """Return where to aim: the finding's own place, or the middle of its evidence.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.
    finding : Finding
        What to aim at.
    shapes : list of NamedShape
        Those of the finding that are in the result; used where it has no place.

    Returns
    -------
    ndarray, shape (3,)
        mm.
    """
    if finding.location_mm is not None:
        return np.array(finding.location_mm, dtype=np.float64)
    evidence = [s for s in shapes if s.role not in BODIES] or shapes
    return np.asarray(np.vstack([stage.meshes[s.name].all_points_mm() for s in evidence]).mean(axis=0))


def bodies_about(stage: MeshedResult, finding: Finding, shapes: list[NamedShape]) -> list[str]:
    """Return the bodies that the finding is about, from its shapes and from what it names.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.
    finding : Finding
        What it names is added.
    shapes : list of NamedShape
        Those of the finding.

    Returns
    -------
    list of str
        Names, four at most, without repeats.
    """
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
    lines = [number_found(finding, units, shown_plain)]
    if finding.limit is not None:
        lines.append(f"limit {shown_plain(finding.limit, finding.unit, units)}")
    return [*lines, *([" to ".join(between)] if len(between) > 1 else [])]


def _whole(stage: MeshedResult) -> float:
    """Return the size of all bodies together, mm."""
    corners = stage.triangles.corners_mm.reshape(-1, 3)
    return float(np.linalg.norm(np.ptp(corners, axis=0))) if len(corners) else 10.0


SEAT = (28, 96, 168)
TARGET = (176, 24, 44)
_GHOST = 0.45
_NIL = 5e-4


def _drawn_part(result: Result) -> PartLocation | None:
    """Return the part whose location is drawn: the first that has a face to be cut, else the first."""
    parts = result.rest.location if result.rest else ()
    return next((p for p in parts if p.targets), next(iter(parts), None))


def location_scene(stage: MeshedResult) -> dict[str, Any] | None:
    """Return the scene; None where no part has a closed seat.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.

    Returns
    -------
    dict or None
        A scene, as `scene_base` begins it, with its arrows.
    """
    part = _drawn_part(stage.result)
    if part is None:
        return None
    placed = {f.subject: f for f in stage.result.findings if f.check == "location" and f.location_mm}
    arrows = [*_seats(part, placed), *_targets(part, placed)]
    if not arrows:
        return None
    held_by = {FaceRef(found.about[1]).body for found in _found(part, placed).values()}
    about = [n for n in (part.body, *sorted(held_by)) if n in stage.meshes]
    eye = unit(FRONT_RIGHT)
    points = np.vstack([stage.meshes[part.body].all_points_mm(), *([a["at"]] for a in arrows)])
    centre, height = fit(points, eye)
    colours, um = body_colours(stage.result.shapes), Writing(units=stage.result.shown_in).name("um")
    actors = []
    for shape in stage.result.shapes:
        if shape.role in (Role.FIXTURE, Role.POLE) or (shape.role is Role.PART and shape.name != part.body):
            actors.append(actor(shape, colours, pale=True))
        elif shape.role is Role.PART:
            actors.append(actor(shape, colours, opacity_share=_GHOST))
    return {
        **scene_base(
            LOCATION,
            f"what locates {part.body}: {part.rank} of 6 degrees of freedom",
            _worst(stage.result, part),
        ),
        "actors": actors,
        # Arrows and their words stand round the part.
        "camera": camera(centre, eye, 1.9 * height),
        "tags": about,
        "arrows": arrows,
        "legend": [
            {"rgb": list(SEAT), "text": "seat holds"},
            {"rgb": list(TARGET), "text": f"cut face, {um} per {um}"},
        ],
    }


def _seats(part: PartLocation, placed: dict[str, Finding]) -> list[dict[str, Any]]:
    """Return an arrow into the part for each seat, with what it takes."""
    found = _found(part, placed)
    return [
        _arrow(one, SEAT, [f"{FaceRef(one.about[0]).face} takes {seat.role.takes}"], into=True)
        for seat in part.seats
        if (one := found.get(seat.role.name)) is not None
    ]


def _found(part: PartLocation, placed: dict[str, Finding]) -> dict[str, Finding]:
    """Return what was found of each seat of a part that acts somewhere, by the seat's name."""
    subjects = {s.role.name: f"{part.body}: {s.role.name}" for s in part.seats}
    return {seat: placed[subject] for seat, subject in subjects.items() if subject in placed}


def _targets(part: PartLocation, placed: dict[str, Finding]) -> list[dict[str, Any]]:
    """Return an arrow out of each face that is cut, with how it follows the seats."""
    arrows, seats = [], _found(part, placed)
    for target in part.targets:
        found = placed.get(target.place.name)
        if found is None:
            continue
        lines = [FaceRef(found.about[0]).face]
        if not target.located:
            lines.append("not located")
        for seat, value in target.by_seat:
            if target.located and abs(value) >= _NIL:
                lines.append(f"{FaceRef(seats[seat].about[0]).face if seat in seats else seat} {value:+.2f}")
        arrows.append(_arrow(found, TARGET, lines, into=False))
    return arrows


def _arrow(found: Finding, rgb: tuple[int, int, int], lines: list[str], *, into: bool) -> dict[str, Any]:
    at, way = found.location_mm, found.direction
    return {"at": list(at or ()), "way": list(way or ()), "rgb": list(rgb), "lines": lines, "into": into}


def _worst(result: Result, part: PartLocation) -> Verdict:
    """Return the worst verdict of what is drawn."""
    seats = (f"{part.body}: {s.role.name}" for s in part.seats)
    names = {part.body, *seats, *(t.place.name for t in part.targets)}
    return worst(f.verdict for f in result.findings if f.check == "location" and f.subject in names)


_SHOWN_SHARE = 0.06
"""Share of the picture's height that the largest gap should take."""

_MOST_TIMES = 200.0


def rest_scene(stage: MeshedResult) -> dict[str, Any] | None:
    """Return the scene of all parts at rest; None where they rest as drawn or do not rest.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.

    Returns
    -------
    dict or None
        A scene, as `scene_base` begins it; `times` is how much larger moves are drawn.
    """
    moved = {s.bodies[0]: s for s in stage.result.shapes if s.role is Role.REST}
    finding = _widest_open(stage.result)
    if not moved or finding is None or stage.result.rest is None:
        return None
    shifts = {p.body: np.array(p.shift_mm) for p in stage.result.rest.poses}
    about = sorted({_body(finding), *moved})
    spot = (
        np.array(finding.location_mm) if finding.location_mm else _middle(stage, moved[_body(finding)].name)
    )
    reach = np.vstack([stage.meshes[n].all_points_mm() for n in about])
    span = float(np.linalg.norm(np.ptp(reach, axis=0)))
    gap_mm = _gap_mm(finding) or max(float(np.linalg.norm(shifts[b])) for b in moved)
    times = min(max(round_below(_SHOWN_SHARE * span / max(gap_mm, 1e-9)), 1.0), _MOST_TIMES)
    way = shifts[_body(finding)] if finding.direction is None else np.array(finding.direction)
    view = side_view(unit(way))
    spot = off_the_ends(spot, view.eye, reach)
    centre, height = fit(np.vstack([reach, *(reach + times * s for s in shifts.values())]), view.eye)
    # The section is at the spot; the picture is centred on the parts.
    centre = centre + view.eye * float((spot - centre) @ view.eye)
    colours = body_colours(stage.result.shapes)
    actors = []
    for shape in stage.result.shapes:
        if shape.role in (Role.FIXTURE, Role.POLE):
            actors.append(actor(shape, colours, pale=True))
        elif shape.role is Role.PART:
            actors.append(actor(shape, colours, opacity_share=GHOST if shape.name in moved else 1.0))
        elif shape.role is Role.REST:
            far = (times - 1.0) * shifts[shape.bodies[0]]
            actors.append({**actor(shape, colours), "move": far.tolist(), "layer": 0})
    gap = "" if finding.value is None else shown_plain(finding.value, finding.unit, stage.result.shown_in)
    return {
        **scene_base(REST, f"at rest, moves drawn {times:g} times; as drawn: ghosts", finding.verdict),
        "actors": actors,
        "camera": camera(centre, view.eye, height),
        "cut": view.cut,
        "times": times,
        "tags": about,
        "spot": (spot + (times - 1.0) * shifts[_body(finding)]).tolist(),
        "ring_mm": 0.0,
        "arrow": None,
        "callout": [f"{_body(finding)} open by {gap}", f"drawn {times:g} times"] if gap else [],
        "legend": legend_of(a["role"] for a in actors),
        "units": stage.result.shown_in,
    }


def _widest_open(result: Result) -> Finding | None:
    """Return the finding about the part whose seat is open widest."""
    parts = set(result.rest.settled.poses) if result.rest else set()
    about = [f for f in result.findings if f.check == "rest" and f.subject in parts]
    bad = [f for f in about if f.verdict is not Verdict.GO] or about
    return max(bad, key=lambda f: f.value or 0.0, default=None)


def _gap_mm(finding: Finding) -> float:
    """Return how far the part's worst seat is open; zero where that is not known."""
    return (finding.value or 0.0) * 1e-3 if finding.unit == "um" else 0.0


def _body(finding: Finding) -> str:
    return finding.subject


def _middle(stage: MeshedResult, name: str) -> Floats:
    points = stage.meshes[name].all_points_mm()
    return np.asarray((points.min(axis=0) + points.max(axis=0)) / 2)
