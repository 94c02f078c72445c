"""What the 3-D view shows and plays: shapes, stops, staging, strokes, how parts let go and come off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.report.order import REST, let_go_picture, worst_of_each_cut
from fixturecheck.report.pictures.draw import Drawing
from fixturecheck.report.pictures.figures import Figure
from fixturecheck.report.pictures.hold_scene import far_of, moved_name
from fixturecheck.report.pictures.scene import MeshedResult, camera, fit
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit
from fixturecheck.report.viewer.stops import PARTS, WHOLE, rounded_values, stops_of
from fixturecheck.report.viewer.things import (
    LAYERS,
    Store,
    ViewerMarkup,
    figure_thing,
    gap_scale,
    things_of,
    view_with,
)
from fixturecheck.result import Result
from fixturecheck.result.contact import CutMade, WheelPath
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.hold import HoldFound, PartHeld
from fixturecheck.result.rest import VisitedPose, WayIn
from fixturecheck.result.shapes import Role, Vector, cutter_name, wheel_name
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing
from fixturecheck.wording.hold import first_words, outcome_words, way_words
from fixturecheck.wording.motion import lets_go_words
from fixturecheck.wording.sentences import capitalised, number_found, plural, sentence, shown

_STROKE_S, _MOVES_S, _IN_S, _SETTLE_S, _GO_S, _OFF_S = 4.0, 20.0, 1.2, 1.4, 2.5, 1.6
_ROOM = 1.25
"""Height of a view of bodies that move, in their own."""

_FAR_MM = 0.1
"""Moves from this on are written in millimetres, shorter ones in micrometres."""

_MOST_OFF_MM = 20.0
"""How far off a pose is drawn at most where no hand brings the part."""
_FIGURE_LAYERS = {"figure pull": "pull", "figure flux": "flux"}


def _motions_of(drawing: Drawing, places: Mapping[str, int]) -> list[dict[str, Any]]:
    """Return every motion that a result tells of.

    Each has an `id`, a `title`, what it `says` of its own truth, how long it takes (`seconds`), the stop that
    it is looked at from (`stop`) and `tracks`: for each thing that moves a list of keys `[share of the time,
    shift mm, rotation vector rad]` about a point.
    """
    stage = drawing.stage
    found = [*_staging(drawing, places)]
    found += [m for cut in stage.result.cuts for m in _stroke(stage, cut, places)]
    found += [m for cut in stage.result.cuts for m in _moves(stage, cut, places)]
    hold = stage.result.holding
    if hold is not None:
        found += [
            _goes(drawing, part, let_go_picture(hold, part), places)
            for part in worst_of_each_cut(hold)
            if part.motions
        ]
        found += _leaving(stage, hold, places)
    return found


def _key(time: float, shift: Sequence[float] | Floats = (0, 0, 0), turn: Any = (0, 0, 0)) -> list[Any]:
    return [round(time, 5), _values(shift), _values(turn)]


def _values(vector: Any) -> list[float]:
    return [round(float(v), 6) + 0.0 for v in vector]


def _motion(
    name: str,
    title: str,
    says: str,
    seconds: float,
    tracks: Sequence[Mapping[str, Any]],
    *,
    stop: str = WHOLE,
    hidden: Sequence[int] = (),
    marks: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """Return one motion as the view knows it; what moves is shown."""
    return {
        "id": name,
        "title": title,
        "says": says,
        "seconds": seconds,
        "stop": stop,
        "shown": [track["thing"] for track in tracks],
        "hidden": list(hidden),
        "marks": list(marks),
        "tracks": list(tracks),
    }


def _track(thing: int, keys: Sequence[Sequence[Any]], about: Any = (0, 0, 0)) -> dict[str, Any]:
    """Return where a thing goes, turned about a place."""
    return {"thing": thing, "about": _values(about), "keys": list(keys)}


def _stroke(stage: MeshedResult, cut: CutMade, places: Mapping[str, int]) -> Iterator[dict[str, Any]]:
    """Yield the wheel's travel from one end of its traverse to the other and back, in the last pass."""
    name, path = wheel_name(cut.name), cut.path
    if path is None or name not in places:
        return
    points = stage.meshes[name].points_mm
    drawn = (points.min(axis=0) + points.max(axis=0)) / 2
    low, high = (np.array([x - drawn[0], 0.0, 0.0]) for x in (path.x_from_mm, path.x_to_mm))
    nearest = _nearest(stage.result, cut.name)
    yield _motion(
        f"stroke {cut.name}",
        f"wheel: {cut.name}",
        _stroke_says(path, nearest, stage.result.shown_in),
        _STROKE_S,
        [_track(places[name], [_key(0, low), _key(0.5, high), _key(1, low)])],
        marks=_marks(nearest, path, stage.result.shown_in),
    )


def _moves(stage: MeshedResult, cut: CutMade, places: Mapping[str, int]) -> Iterator[dict[str, Any]]:
    """Yield where an end mill goes, at one speed, from where it stands as drawn."""
    name = cutter_name(cut.name)
    if name not in places or len(cut.tip_mm) < 2:
        return
    path = np.array(cut.tip_mm)
    # As drawn it stands at the end of the last pass, which comes before it is lifted.
    shifts = path - path[-2]
    way_mm = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    nearest = _nearest(stage.result, cut.name)
    keys = [_key(at / way_mm[-1], by) for at, by in zip(way_mm, shifts, strict=True)]
    yield _motion(
        f"moves {cut.name}",
        f"cutter: {cut.name}",
        _moves_says(cut.tip_mm, nearest, stage.result.shown_in),
        _MOVES_S,
        [_track(places[name], keys)],
    )


def _moves_says(tip_mm: Sequence[Vector], nearest: list[Finding], units: str) -> str:
    low = shown(min(z for _, _, z in tip_mm), "mm", units)
    head = f"Every pass at true size, the tip down to z {low}; arcs are chords, the speed is not true."
    return f"{head} {_clears_says(nearest)}"


def _clears_says(nearest: list[Finding]) -> str:
    return f"Least clearance: {nearest[0].says}" if nearest else "What it clears was not asked."


def _nearest(result: Result, cut: str) -> list[Finding]:
    """Return what the cut's wheel, flange and guard come closest to, the least margin first."""
    known = [f for f in result.findings if f.check == "clear" and f.cut == cut and f.value is not None]
    return sorted(known, key=lambda f: (f.margin if f.margin is not None else f.value, f.subject))


def _stroke_says(path: WheelPath, nearest: list[Finding], units: str) -> str:
    along = shown(path.x_to_mm - path.x_from_mm, "mm", units)
    head = f"The last pass, {along} along the table, at true size."
    return f"{head} {_clears_says(nearest)}"


def _marks(nearest: list[Finding], path: WheelPath, units: str) -> list[dict[str, Any]]:
    """Return places that are named while the wheel passes them, with the share of the stroke."""
    marks = []
    for f in nearest:
        if f.location_mm is None or f.value is None:
            continue
        long = max(path.x_to_mm - path.x_from_mm, 1e-9)
        share = min(max((f.location_mm[0] - path.x_from_mm) / long, 0.0), 1.0)
        limit = "" if f.limit is None else f", limit {shown(f.limit, f.unit, units)}"
        marks.append(
            {
                "at": _values(f.location_mm),
                "share": round(share, 4),
                "says": f"{f.kind}: {number_found(f, units)}{limit}",
                "verdict": str(f.verdict),
            }
        )
    return marks


def _staging(drawing: Drawing, places: Mapping[str, int]) -> Iterator[dict[str, Any]]:
    """Yield how the parts come from the hand to where they rest, through the poses that settling visited."""
    result = drawing.stage.result
    if result.rest is None or not result.rest.settled.rests:
        return
    followed = [way for way in result.rest.ways_in if way.body in places]
    if not followed:
        return
    scene = next((s for s in drawing.general if s["file"] == REST), None)
    times = float(scene["times"]) if scene else 1.0
    in_turn = all(one.visited[-1].step <= two.visited[0].step for one, two in pairwise(followed))
    rests = {s.bodies[0]: s.name for s in drawing.stage.result.shapes if s.role is Role.REST}
    tracks, seen = [], []
    for i, way in enumerate(followed):
        keys = _keys_in(way, times, _phases(i, len(followed), in_turn=in_turn))
        points = drawing.stage.meshes[way.body].all_points_mm()
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        tracks.append(_track(places[way.body], keys, middle))
        # A part comes from outside of the picture, and is in it from where the hand lets go.
        seen += [points + shift for _, shift, _ in keys[1:]]
    yield {
        **_motion(
            "staging",
            "staging and settling",
            _staging_says(result, followed, times),
            len(followed) * (_IN_S + _SETTLE_S),
            tracks,
            stop=REST if scene else WHOLE,
            hidden=[places[name] for name in rests.values()],
        ),
        "camera": _camera(np.vstack(seen), np.array(scene["camera"]["eye"] if scene else FRONT_RIGHT)),
        "waits": True,
    }


def _phases(place: int, count: int, *, in_turn: bool) -> tuple[float, float, float, float]:
    """Return when a part leaves the hand, is let go, begins to settle and lies still: shares of the motion.

    Parts staged in turn do all of it one after the other; parts let go together are brought first.
    """
    if in_turn:
        return place / count, (place + 0.45) / count, (place + 0.45) / count, (place + 0.95) / count
    return 0.6 * place / count, 0.6 * (place + 1) / count, 0.6, 0.97


def _keys_in(way: WayIn, times: float, phases: tuple[float, float, float, float]) -> list[list[Any]]:
    """Return the way of one part as keys: straight from the hand, then through the poses visited."""
    start, let_go, settles, still = phases
    seen = _seen(way, times)
    poses = [(times * np.array(v.shift_mm), times * np.radians(v.turn_deg)) for v in seen]
    off = np.zeros(3) if way.from_mm is None else np.array(way.from_mm)
    keys = [_key(start, poses[0][0] + off, poses[0][1]), _key(let_go, *poses[0])]
    span = max(seen[-1].step - seen[0].step, 1)
    for v, pose in zip(seen, poses, strict=True):
        keys.append(_key(settles + (still - settles) * (v.step - seen[0].step) / span, *pose))
    return [*keys, _key(1.0, *poses[-1])]


def _seen(way: WayIn, times: float) -> tuple[VisitedPose, ...]:
    """Return the poses of a way that are not drawn further from its end than the hand starts."""
    rest = np.array(way.visited[-1].shift_mm)
    most = _MOST_OFF_MM if way.from_mm is None else float(np.linalg.norm(way.from_mm))
    return tuple(v for v in way.visited if times * np.linalg.norm(np.array(v.shift_mm) - rest) <= most)


def _staging_says(result: Result, followed: Sequence[WayIn], times: float) -> str:
    """Say what of the motion is computed, and the true size of what is drawn larger."""
    barred = [way.body for way in followed if way.from_mm is None]
    poses = max(len(way.visited) for way in followed)
    text = "Straight from the hand, by a way found clear of all that is there"
    if barred:
        text += f" (none was found for {', '.join(barred)})"
    text += f"; then through the poses that settling visited, {plural(poses, 'pose')} at most."
    if (more := len(result.rest.poses if result.rest else ()) - len(followed)) > 0:
        text += f" The way of {plural(more, 'more part')} was not followed."
    far, body = max((float(np.linalg.norm(way.visited[-1].shift_mm)), way.body) for way in followed)
    true = shown(far, "mm", result.shown_in) if far >= _FAR_MM else shown(1e3 * far, "um", result.shown_in)
    text += (
        f" Settling is drawn {times:g} times larger: {body} comes to rest {true} from its place in truth."
        if times > 1.0
        else " Drawn at true size."
    )
    if any(len(_seen(way, times)) < len(way.visited) for way in followed):
        text += " Poses that would lie further off than the hand are left out."
    return text


def _goes(drawing: Drawing, part: PartHeld, picture: str, places: Mapping[str, int]) -> dict[str, Any]:
    """Return how a part and what goes with it start to move, drawn larger."""
    stage = drawing.stage
    far_mm = far_of(stage, part)
    moved = {moved_name(picture, i) for i in range(len(part.motions))}
    tracks = []
    for m in part.motions:
        if m.body in places:
            far = far_mm * np.array(m.velocity), far_mm * np.array(m.rotation_rad_mm)
            tracks.append(_track(places[m.body], [_key(0.0), _key(0.8, *far), _key(1.0, *far)], m.at_mm))
    return _motion(
        f"lets go {part.part} {part.cut}",
        f"{part.part} lets go: {part.cut}",
        f"{_goes_says(stage, part)} The first move is drawn larger than it is.",
        _GO_S,
        tracks,
        stop=picture,
        # What moves is not shown a second time where it will be.
        hidden=[places[f.name] for f in drawing.figures[picture] if f.name in moved],
    )


def _goes_says(stage: MeshedResult, part: PartHeld) -> str:
    """Return how a part lets go, and what comes of it."""
    how = lets_go_words(part.failure, Writing(units=stage.result.shown_in))
    return sentence(f"{part.part} {how}; {outcome_words(part)}", frozenset({part.part}))


def _leaving(stage: MeshedResult, hold: HoldFound, places: Mapping[str, int]) -> Iterator[dict[str, Any]]:
    """Yield how the bodies come off, one after the other, each in the way that was tried first."""
    order = [(b, b.motion) for b in hold.leaving if b.motion is not None and b.body in places]
    if not order:
        return
    each = 1.0 / len(order)
    tracks = []
    for i, (body, way) in enumerate(order):
        far = way.travel_mm * np.array(way.velocity), way.travel_mm * np.array(way.rotation_rad_mm)
        tracks.append(_track(places[body.body], [_key(each * i), _key(each * (i + 0.8), *far)], way.at_mm))
    follows = shown(max(way.travel_mm for _, way in order), "mm", stage.result.shown_in)
    write = Writing(units=stage.result.shown_in)
    steps = "; ".join(
        f"{i}. {body.body}: {way_words(body.ways[0], write)}" for i, (body, _) in enumerate(order, 1)
    )
    before = f"{capitalised(first_words(hold.before))}; " if hold.before else ""
    says = f"{sentence(before + steps)} Each was followed for {follows}, drawn at true size."
    reach = np.vstack([stage.meshes[body.body].all_points_mm() for body, _ in order])
    yield {
        **_motion("coming off", "coming off", says, _OFF_S * len(order), tracks),
        "camera": _camera(reach, np.array(FRONT_RIGHT)),
    }


def _camera(points: Floats, toward: Floats) -> dict[str, Any]:
    """Return the view of some points from a side."""
    eye = unit(toward)
    centre, height = fit(points, eye)
    found = camera(centre, eye, _ROOM * height)
    return {key: rounded_values(value) for key, value in found.items()}


def view_of(result: Result, setup: Setup, meshes: Mapping[str, Mesh], drawing: Drawing) -> ViewerMarkup:
    """Return the 3-D view of a result.

    Parameters
    ----------
    result : Result
        What was found.
    setup : Setup
        The set-up that was checked.
    meshes : mapping of str to Mesh
        By the name of the shape.
    drawing : Drawing
        The scenes of the result, which become stops and figures.

    Returns
    -------
    ViewerMarkup
        Style, place and script for the page.

    Raises
    ------
    ValueError
        A number that would be drawn is not finite.
    """
    return view_with(packed_view(result, setup, meshes, drawing))


def packed_view(result: Result, setup: Setup, meshes: Mapping[str, Mesh], drawing: Drawing) -> str:
    """Return all that the view shows, as text of ASCII letters.

    Parameters
    ----------
    result : Result
        What was found.
    setup : Setup
        The set-up that was checked.
    meshes : mapping of str to Mesh
        By the name of the shape.
    drawing : Drawing
        The scenes of the result, which become stops and figures.

    Returns
    -------
    str
        Base64, as `Store.packed` makes it.
    """
    store = Store()
    things = things_of(result, setup, meshes, store)
    things += [_figure(f, drawing, store) for several in drawing.figures.values() for f in several]
    places = {thing["name"]: i for i, thing in enumerate(things)}
    bodies = [s.name for s in result.shapes if s.role in (Role.PART, Role.FIXTURE)]
    points = np.vstack([meshes[n].all_points_mm() for n in bodies] or [np.zeros((1, 3))])
    used = {t["layer"] for t in things}
    stops = stops_of(drawing, places)
    ids = {stop["id"] for stop in stops}
    return store.packed(
        {
            "name": result.name,
            "verdict": str(result.verdict),
            "first": "1" if result.verdict is Verdict.NO_GO else next(s for s in (PARTS, WHOLE) if s in ids),
            "box": [points.min(axis=0).round(4).tolist(), points.max(axis=0).round(4).tolist()],
            "layers": [[key, words] for key, words in LAYERS.items() if key in used],
            "things": things,
            "stops": stops,
            "motions": _motions_of(drawing, places),
            "gaps": gap_scale(result),
        }
    )


def _figure(figure: Figure, drawing: Drawing, store: Store) -> dict[str, Any]:
    """Return a figure of the pictures as a thing; how opaque it is stands in the scene that shows it."""
    opacity = next(
        (a["opacity"] for scene in drawing.general for a in scene["actors"] if a["mesh"] == figure.name), 1.0
    )
    return figure_thing(figure, _FIGURE_LAYERS.get(figure.name, "moved"), opacity, store)
