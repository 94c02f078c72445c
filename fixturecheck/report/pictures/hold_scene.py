"""The pictures of a hold: pull over the faces, flux in a section, and how the worst part lets go."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.report.order import HOLD_FLUX, HOLD_PULL, let_go_picture, worst_of_each_cut
from fixturecheck.report.pictures.figures import (
    VERDICTS,
    Figure,
    body_colours,
    cylinder_triangles,
    flat_arrows,
    is_hidden,
    shaded,
    squares,
    turned_and_shifted,
)
from fixturecheck.report.pictures.scene import MeshedResult, actor, camera, fit, scene_base, wheel_passing
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit, up_for
from fixturecheck.result import Result
from fixturecheck.result.finding import Verdict, worst
from fixturecheck.result.hold import BodyMotion, FluxSection, HoldFound, PartHeld, PullMap, Tool
from fixturecheck.result.shapes import BODIES, Role
from fixturecheck.wording.hold import amount, digits, magnet_state, outcome_words, range_words
from fixturecheck.wording.sentences import plain_name, sized

Drawn = tuple[dict[str, Any], list[Figure]]

_STANDING = (*BODIES, Role.POLE)
_VIEWS = (FRONT_RIGHT, (0.42, -0.62, 0.75), (0.2, -0.75, 0.75), (0.15, -0.6, 0.95), (0.1, -0.2, 0.97))
"""From the operator's side, so that X runs to the right."""

_GHOST, _GHOST_EDGES = 0.1, 0.75
_MOST_CUTS = 4
_ROOM_MM = 60.0
"""A small part is not drawn larger than a picture of this height shows it."""

_LONGEST, _SHORTEST = 1.2, 0.45
"""Of the arrows of flux, in distances between them."""

_LARGEST_MOVE_SHARE = 0.11
ARROW_SHARE = 0.15
"""Length of a drawn arrow, as a share of the picture's height."""

_LOAD_RGB = (18, 74, 130)
_CUTTER, _CUTTER_RGB = 0.35, (96, 84, 128)


def hold_scenes(stage: MeshedResult) -> list[Drawn]:
    """Return every picture of the hold with the figures in it; none where no holding was asked.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.

    Returns
    -------
    list of (dict, list of Figure)
        Each scene with what it shows besides shapes: pull, flux, how a part lets go in each of the first
        cuts.
    """
    hold = stage.result.holding
    if hold is None:
        return []
    drawn = [_pull(stage, hold)] if hold.maps else []
    drawn += [_flux(stage, hold.section)] if hold.section and hold.section.points_mm else []
    return drawn + [_goes(stage, hold, part) for part in worst_of_each_cut(hold)[:_MOST_CUTS]]


def _pull(stage: MeshedResult, hold: HoldFound) -> Drawn:
    """Return the map of the pull: parts and blocks as ghosts, their contact faces coloured."""
    units = stage.result.shown_in
    values = [np.array([sized(v, "N/cm2", units)[0] for v in m.pull_n_cm2]) for m in hold.maps]
    top = _round_up(_most(np.concatenate(values), np.concatenate([m.area_mm2 for m in hold.maps])))
    figure = _joined("figure pull", [_squares(m, v / top) for m, v in zip(hold.maps, values, strict=True)])
    loose = _loose(stage, hold)
    faces = [(np.array(m.toward), sum(m.area_mm2)) for m in hold.maps]
    eye = _best_eye(faces, figure.points_mm)
    centre, height = fit(figure.points_mm, eye)
    height *= 1.2
    # The scale stands in a corner, so the map makes room for it.
    centre = centre + 0.1 * height * np.cross(up_for(eye), eye)
    colours = body_colours(stage.result.shapes)
    actors = [
        {**actor(s, colours, pale=True), "opacity": 1.0}
        if s.name not in loose
        else {**actor(s, colours, opacity_share=_GHOST), "edges": _GHOST_EDGES}
        for s in stage.result.shapes
        if s.role in _STANDING
    ]
    unit_name = plain_name("N/cm2", units)
    scene = {
        **scene_base(HOLD_PULL, f"pull of the magnet, {magnet_state(hold.magnet)}"),
        "actors": [*actors, figure.actor(layer=1)],
        "camera": camera(centre, eye, height),
        "scale": {"title": "pull per area", "unit": unit_name, "top": top},
        "notes": [_total(stage, hold, name) for name in loose],
    }
    return scene, [figure]


def _squares(found: PullMap, shares: Floats) -> tuple[Floats, Any, Any]:
    points, triangles = squares(np.array(found.points_mm), np.array(found.area_mm2), np.array(found.toward))
    return points, triangles, np.tile(shaded(shares), (2, 1))


def _joined(name: str, pieces: list[tuple[Floats, Any, Any]]) -> Figure:
    """Put several sets of triangles into one figure."""
    starts = np.cumsum([0, *(len(p) for p, _, _ in pieces)])
    return Figure(
        name=name,
        points_mm=np.vstack([p for p, _, _ in pieces]),
        triangles=np.vstack([t + s for (_, t, _), s in zip(pieces, starts, strict=False)]),
        rgb=np.vstack([c for _, _, c in pieces]),
    )


def _loose(stage: MeshedResult, hold: HoldFound) -> list[str]:
    """Return the bodies that lie on the magnet, as the result names them."""
    named = {face.body for m in hold.maps for face in (m.a, m.b)}
    return [s.name for s in stage.result.shapes if s.role in BODIES and s.name in named]


def _total(stage: MeshedResult, hold: HoldFound, name: str) -> dict[str, Any]:
    """Return the words that stand beside a body: its name and the whole pull on it."""
    faces = [f for f in hold.faces if name in (f.a.body, f.b.body)]
    both = sum(f.low_n for f in faces), sum(f.high_n for f in faces)
    points = stage.meshes[name].all_points_mm()
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    top = np.array([middle[0], middle[1], points[:, 2].max()])
    return {"at": top.tolist(), "lines": [name, range_words(both, "N", stage.result.shown_in)]}


def _best_eye(faces: list[tuple[Floats, float]], points: Floats) -> Floats:
    """Return the view from the operator's side that lays the faces most open and shows them largest."""
    whole = sum(area for _, area in faces)

    def score(eye: Floats) -> float:
        lies_open = sum(math.sqrt(abs(float(eye @ normal))) * area / whole for normal, area in faces)
        return round(lies_open / math.sqrt(math.sqrt(fit(points, eye)[1])), 6)

    return max((unit(v) for v in _VIEWS), key=score)


def _flux(stage: MeshedResult, section: FluxSection) -> Drawn:
    """Return the section with its arrows."""
    normal = np.array(section.normal)
    eye = unit(normal if float(normal @ np.array(FRONT_RIGHT)) > 0 else -normal)
    up = up_for(eye)
    points, density = np.array(section.points_mm), np.array(section.flux_density_t)
    in_plane = density - np.outer(density @ eye, eye)
    size_t = np.linalg.norm(density, axis=1)
    top = _round_up(float(size_t.max()))
    spacing = section.spacing_mm
    ways = in_plane / top * _LONGEST * spacing
    ways *= np.maximum(1.0, _SHORTEST * spacing / np.maximum(np.linalg.norm(ways, axis=1), 1e-9))[:, None]
    corners, triangles = flat_arrows(points, ways, eye)
    arrows = Figure(
        name="figure flux",
        points_mm=corners,
        triangles=triangles,
        rgb=np.tile(shaded(size_t / top), (3, 1)),
        lines_mm=tuple(np.array(piece) for _, pieces in section.outlines for piece in pieces),
    )
    colours = body_colours(stage.result.shapes)
    bodies = [s for s in stage.result.shapes if s.role in BODIES]
    tall = float(np.ptp(points @ up))
    at = np.array(section.at_mm)
    # The scale stands beside the arrows, not on them.
    at = at - 0.16 * section.wide_mm * np.cross(up, eye)
    axis = int(np.argmax(np.abs(normal)))
    place = amount(round(section.at_mm[axis], 2), "mm", stage.result.shown_in)
    scene = {
        **scene_base(HOLD_FLUX, f"flux in the iron at {'XYZ'[axis]} {place}"),
        "actors": [*(actor(s, colours, pale=True) for s in bodies), arrows.actor(layer=2)],
        "camera": camera(at, eye, max(1.12 * tall, 0.93 * section.wide_mm)),
        "cut": True,
        "scale": {"title": "flux density", "unit": "T", "top": top},
        "notes": [],
        "letters": [{"at": list(place), "text": letter} for letter, place in section.poles],
        "tags": [s.name for s in bodies if s.name in dict(section.outlines)],
    }
    return scene, [arrows]


def _goes(stage: MeshedResult, hold: HoldFound, part: PartHeld) -> Drawn:
    """Return the cutting force on a part and how it starts to move, drawn larger."""
    name = let_go_picture(hold, part)
    moves = [m for m in part.motions if m.body in stage.numbers]
    about = [part.part, *(m.body for m in moves if m.body != part.part)]
    reach = np.vstack([stage.meshes[n].all_points_mm() for n in about])
    far_mm = far_of(stage, part)
    moved = [_moved(stage, m, far_mm, moved_name(name, i)) for i, m in enumerate(moves)]
    cutter = _cutter(part, f"figure {name} cutter")
    rims = [f.lines_mm[0] for f in cutter]
    points = np.vstack([reach, *(f.points_mm for f in moved), *rims, [part.load_at_mm]])
    eye = _side_eye(stage, part, points)
    load_n = float(np.linalg.norm(part.load_n))
    # The tail of the force's arrow, and the head of the motion's, must be in the picture too.
    room_mm = ARROW_SHARE * fit(points, eye)[1]
    tail = np.array(part.load_at_mm) - room_mm * np.array(part.load_n) / max(load_n, 1e-30)
    centre, height = fit(np.vstack([points, tail]), eye)
    colours = body_colours(stage.result.shapes)
    bodies = [s for s in stage.result.shapes if s.role in _STANDING]
    arrows = [
        {
            "at": list(part.load_at_mm),
            "way": (np.array(part.load_n) / load_n).tolist(),
            "rgb": list(_LOAD_RGB),
            "into": True,
            "lines": ["cutting force", range_words((load_n, load_n), "N", stage.result.shown_in)],
        }
    ]
    wheel = []
    if part.tool is Tool.WHEEL:
        wheel = wheel_passing(stage, part.cut, np.array(part.load_at_mm), opacity_share=_GHOST)
    arrows += [_motion_arrow(stage, moves[0], far_mm, part)] if moves else []
    scene = {
        **scene_base(name, _headline(part), _verdict(stage.result, part)),
        "actors": [
            *(actor(s, colours, pale=s.name not in about) for s in bodies),
            *(f.actor(layer=1, opacity_share=0.26, lit=True) for f in moved),
            *wheel,
            *(f.actor(layer=-1, opacity_share=_CUTTER, lit=True) for f in cutter),
        ],
        "camera": camera(centre, eye, max(1.15 * height, min(1.8 * height, _ROOM_MM))),
        "tags": [*about[:4]],
        "arrows": arrows,
        "legend": [
            {"rgb": list(_LOAD_RGB), "text": "cutting force, worst place"},
            *([{"rgb": list(VERDICTS[Verdict.NO_GO]), "text": "first move, drawn larger"}] if moves else []),
            *([{"rgb": list(_CUTTER_RGB), "text": "cutter, its lower end"}] if cutter else []),
        ],
    }
    return scene, moved + cutter


def moved_name(picture: str, place: int) -> str:
    """Return the name of the figure that shows where a body goes in a picture, by its place among them.

    Parameters
    ----------
    picture : str
        File name of the picture.
    place : int
        Place of the body among those that move in it, from 0.

    Returns
    -------
    str
        The same in pictures and 3-D view.
    """
    return f"figure {picture} {place}"


def far_of(stage: MeshedResult, part: PartHeld) -> float:
    """Return how far the fastest point of what goes is drawn to move, mm.

    Parameters
    ----------
    stage : MeshedResult
        The shapes of the result with their meshes.
    part : PartHeld
        The part that goes, with the bodies that move with it.

    Returns
    -------
    float
        mm.
    """
    about = [part.part, *(m.body for m in part.motions if m.body in stage.numbers)]
    reach = np.vstack([stage.meshes[n].all_points_mm() for n in about])
    return _LARGEST_MOVE_SHARE * float(np.linalg.norm(np.ptp(reach, axis=0)))


def _headline(part: PartHeld) -> str:
    bears = "holds at least" if part.at_least else "lets go at"
    return f"{part.part} in {part.cut}: {bears} {digits(part.factor_low)} times its load"


def _moved(stage: MeshedResult, move: BodyMotion, far_mm: float, name: str) -> Figure:
    """Return a body where it goes, in the colour of what is wrong."""
    mesh = stage.meshes[move.body]
    about, turn, shift = (np.array(v) for v in (move.at_mm, move.rotation_rad_mm, move.velocity))

    def carried(points: Floats) -> Floats:
        return turned_and_shifted(points, about, far_mm * turn, far_mm * shift)

    return Figure(
        name=name,
        points_mm=carried(mesh.points_mm),
        triangles=mesh.triangles,
        rgb=np.tile(np.array(VERDICTS[Verdict.NO_GO]), (len(mesh.triangles), 1)),
        lines_mm=tuple(carried(line) for line in mesh.lines_mm),
    )


def _motion_arrow(stage: MeshedResult, move: BodyMotion, far_mm: float, part: PartHeld) -> dict[str, Any]:
    """Return the arrow of the body that goes first, from the top of its middle."""
    foot = _foot(stage.meshes[move.body].all_points_mm(), np.array(part.load_at_mm))
    way = np.array(move.velocity) + np.cross(move.rotation_rad_mm, foot - np.array(move.at_mm))
    return {
        "at": foot.tolist(),
        "way": unit(way).tolist() if float(np.linalg.norm(way)) > 0 else [0.0, 0.0, 1.0],
        "rgb": list(VERDICTS[Verdict.NO_GO]),
        "into": False,
        "lines": [f"{move.body} goes this way", outcome_words(part)],
    }


def _foot(points: Floats, load_at_mm: Floats) -> Floats:
    """Return a place on top of a body, along its longer side, that is well away from the load."""
    low, high = points.min(axis=0), points.max(axis=0)
    along = int(np.argmax((high - low)[:2]))
    feet = []
    for share in (0.5, 0.25, 0.75):
        foot = np.append(0.5 * (low + high)[:2], high[2])
        foot[along] = low[along] + share * (high - low)[along]
        feet.append(foot)
    return max(feet, key=lambda foot: round(float(np.linalg.norm(foot - load_at_mm)), 3))


def _side_eye(stage: MeshedResult, part: PartHeld, points: Floats) -> Floats:
    """Return the view in which force and motion lie most in the picture, and nothing hides their places."""
    ways = [unit(part.load_n)] if any(part.load_n) else []
    ways += [unit(m.velocity) for m in part.motions[:1] if any(m.velocity)]
    place = np.array(part.load_at_mm)

    def score(eye: Floats) -> float:
        seen = sum(float(np.linalg.norm(np.cross(w, eye))) for w in ways) or 1.0
        hidden = 0.5 if is_hidden(stage.triangles.corners_mm, place, eye) else 1.0
        return round(hidden * seen / math.sqrt(math.sqrt(fit(points, eye)[1])), 4)

    return max((unit(v) for v in _VIEWS), key=score)


def _cutter(part: PartHeld, name: str) -> list[Figure]:
    """Return a milling cutter where it stands, cut off a diameter above its end; none where a wheel cuts."""
    if part.axis_mm is None or part.cutter_mm <= 0.0:
        return []
    points, triangles = cylinder_triangles(np.array(part.axis_mm), 0.5 * part.cutter_mm, part.cutter_mm)
    rims = points[:-1].reshape(2, -1, 3)
    return [
        Figure(
            name=name,
            points_mm=points,
            triangles=triangles,
            rgb=np.tile(np.array(_CUTTER_RGB), (len(triangles), 1)),
            lines_mm=tuple(np.vstack([rim, rim[:1]]) for rim in rims),
        )
    ]


def _verdict(result: Result, part: PartHeld) -> Verdict:
    """Return the worse of what was found of a part's hold in a cut and of where it goes."""
    subject = f"{part.part} in {part.cut}"
    return worst(f.verdict for f in result.findings if f.check in ("hold", "crash") and f.subject == subject)


def _most(values: Floats, weights: Floats) -> float:
    """Return what all but a hundredth of the area lies below."""
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weights[order]) / weights.sum()
    return float(values[order][min(int(np.searchsorted(share, 0.99)), len(values) - 1)])


def _round_up(value: float) -> float:
    """Return the next round number for the end of a scale."""
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(
        m * power for m in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if m * power >= value * 0.999
    )
