"""Where the tour of the 3-D view stops: the set-up, every finding, and what is known of rest and hold.

A stop is a camera, a section, what is shown and lit, and a label. Findings that have a picture are looked at
as the picture looks at them; others from the operator's side.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from fixturecheck.report.order import (
    HOLD_FLUX,
    HOLD_PULL,
    LOCATION,
    MOST_TOUCHES,
    OVERVIEW,
    REST,
    Numbered,
    numbered,
    ranked_contacts,
    stop_of_contact,
)
from fixturecheck.report.pictures.draw import Drawing
from fixturecheck.report.pictures.figures import body_colours
from fixturecheck.report.pictures.scene import (
    MeshedResult,
    actor,
    bodies_about,
    camera,
    close_actors,
    fit,
    spot_of,
)
from fixturecheck.report.pictures.views import FRONT_RIGHT, unit
from fixturecheck.report.viewer.things import scale_colours
from fixturecheck.result.contact import Contact, ContactKind
from fixturecheck.result.finding import Finding
from fixturecheck.result.shapes import BODIES, wheel_name
from fixturecheck.wording import sentences as words
from fixturecheck.wording.sentences import number_found, shown, verdict_words

WHOLE = "whole"
"""The stop at which the whole set-up is seen."""

PARTS = "parts"
"""The stop that is close to the parts."""

LIT, LIT_THIN = 1, 2
"""How a thing is lit: with a broad outline round it, or without."""

_ROOM = 1.6
"""Height of a view from the operator's side, in heights of the smallest body that the finding is about."""

_SEEN_THROUGH = 0.35
"""Opacity of two bodies whose contact is looked at."""

_PATCH_ROOM = 1.2
"""Least height of a view of a contact, in heights of its patch."""

_WHEEL = 0.16
"""Opacity of a wheel that passes over."""

_GENERAL = {
    OVERVIEW: "The whole set-up",
    REST: "At rest",
    LOCATION: "What locates the part",
    HOLD_PULL: "Pull of the magnet",
    HOLD_FLUX: "Flux in the iron",
}


def stops_of(drawing: Drawing, places: Mapping[str, int]) -> list[dict[str, Any]]:
    """Return every stop: the whole set-up, the findings worst first, then rest and hold.

    Parameters
    ----------
    drawing : Drawing
        The scenes of the result.
    places : mapping of str to int
        Where each shape and figure stands in the list of things, by name.

    Returns
    -------
    list of dict
        Contacts come last, at most `MOST_TOUCHES`.
    """
    whole, *others = [_general(drawing, scene, places) for scene in drawing.general]
    stops = [whole, *_close(drawing, whole)]
    for row in numbered(drawing.stage.result):
        stops += _row(drawing, row, places)
    shown_ones = enumerate(ranked_contacts(drawing.stage.result)[:MOST_TOUCHES])
    return stops + others + [_touch(drawing.stage, n, c, places) for n, c in shown_ones]


def _close(drawing: Drawing, whole: Mapping[str, Any]) -> Iterable[dict[str, Any]]:
    """Yield the stop at the parts, where they are small in the whole."""
    close = drawing.general[0]["close"]
    if close is not None:
        seen = {k: rounded_values(v) for k, v in close.items()}
        yield {**whole, "id": PARTS, "of": PARTS, "title": "The parts as they stand", "camera": seen}


def _touch(stage: MeshedResult, place: int, contact: Contact, places: Mapping[str, int]) -> dict[str, Any]:
    """Return the stop of a contact: its patch lit, seen through the part that it belongs to."""
    units = stage.result.shown_in
    patch = [s for s in (contact.patch,) if s in stage.numbers]
    about = [b for b in (contact.a.body, contact.b.body) if b in stage.numbers]
    colours = body_colours(stage.result.shapes)
    actors = [
        actor(s, colours, pale=s.name not in about, opacity_share=_SEEN_THROUGH if s.name in about else 1.0)
        for s in stage.result.shapes
        if s.role in BODIES
    ]
    actors += [actor(stage.shape(name), colours) for name in patch]
    eye = unit(FRONT_RIGHT)
    sized = [fit(stage.meshes[name].all_points_mm(), eye) for name in (*about, *patch)]
    centre = np.array(contact.centroid)
    height = min(_ROOM * min((h for _, h in sized[: len(about)]), default=1.0), 1e9)
    scene = {
        "actors": actors,
        "camera": camera(centre, eye, max(height, _PATCH_ROOM * sized[-1][1] if patch else 0.0)),
        "cut": False,
        "tags": about,
        "spot": centre.tolist(),
    }
    size = {
        ContactKind.AREA: shown(contact.area_mm2, "mm2", units),
        ContactKind.NEAR: shown(contact.area_mm2, "mm2", units),
        ContactKind.LINE: shown(contact.length_mm, "mm", units),
    }.get(contact.kind, "")
    return {
        **_stop(stage, scene, places, patch),
        "id": stop_of_contact(place),
        "of": WHOLE,
        "tour": False,
        "title": f"{contact.a} on {contact.b}",
        "verdict": "",
        "word": "",
        "lines": [f"{contact.kind} {size}".strip(), f"mean gap {shown(contact.gap_mean_um, 'um', units)}"],
        "says": "",
        "scale": None,
    }


def _general(drawing: Drawing, scene: Mapping[str, Any], places: Mapping[str, int]) -> dict[str, Any]:
    """Return the stop of a scene that belongs to no finding."""
    file = scene["file"]
    maps = drawing.figures.get(file, ()) if file in {HOLD_PULL, HOLD_FLUX} else ()
    stop = _stop(drawing.stage, scene, places, [f.name for f in maps], LIT_THIN)
    scale = scene.get("scale")
    return {
        **stop,
        "id": WHOLE if file == OVERVIEW else file,
        "of": WHOLE if file == OVERVIEW else file,
        "tour": True,
        "title": "The whole assembly"
        if drawing.stage.result.touching and file == OVERVIEW
        else _GENERAL.get(file, scene["title"]),
        "verdict": "",
        "word": "",
        "lines": [] if file == OVERVIEW else [scene["title"], *(n for n in _notes(scene))],
        "says": "",
        "scale": None
        if scale is None
        else {
            "title": scale["title"],
            "ends": ["0", f"{scale['top']:g} {scale['unit']}"],
            "rgb": scale_colours(),
        },
    }


def _notes(scene: Mapping[str, Any]) -> Iterable[str]:
    return (" ".join(note["lines"]) for note in scene.get("notes", ()))


def _row(drawing: Drawing, row: Numbered, places: Mapping[str, int]) -> list[dict[str, Any]]:
    """Return the stops of all that is reported under one number; the one that leads is on the tour."""
    stage, units = drawing.stage, drawing.stage.result.shown_in
    lead = drawing.close_ups.get(row.number) or _plain(stage, row.finding)
    titled = [(row.finding, lead, words.title(row.together))]
    titled += [(f, _alike(stage, lead, row.finding, f), f.subject) for f in row.together.like]
    for other in row.follows:
        titled += [(f, _plain(stage, f), f.subject) for f in other.all]
    stops = []
    for place, (finding, scene, title) in enumerate(titled):
        stops.append(
            {
                **_stop(stage, scene, places, _evidence(finding)),
                "id": str(row.number) if place == 0 else f"{row.number}.{place}",
                "of": str(row.number),
                "tour": place == 0,
                "title": f"{words.asked(finding)}: {title}",
                "verdict": str(finding.overruled or finding.verdict),
                "word": verdict_words(finding),
                "lines": _figures(finding, units),
                "says": finding.says,
                "scale": None,
            }
        )
    return stops


def _figures(finding: Finding, units: str) -> list[str]:
    """Return the number that was found and the one that it is held against."""
    if finding.value is None:
        return []
    limit = [] if finding.limit is None else [f"limit {shown(finding.limit, finding.unit, units)}"]
    return [number_found(finding, units), *limit]


def _evidence(finding: Finding) -> list[str]:
    """Return what is lit: patches and regions, or without them the bodies themselves."""
    thin = [s.name for s in finding.shapes if s.role not in BODIES]
    return thin or [s.name for s in finding.shapes]


def _stop(
    stage: MeshedResult,
    scene: Mapping[str, Any],
    places: Mapping[str, int],
    lit: Sequence[str],
    how: int = LIT,
) -> dict[str, Any]:
    """Return what a stop shows: by place of the thing, how opaque it is, whether lit, and another colour."""
    colours = body_colours(stage.result.shapes)
    looks: dict[int, list[Any]] = {}
    moves: dict[int, list[float]] = {}
    for a in scene["actors"]:
        name = a["mesh"]
        look = [round(a["opacity"], 3), how if name in lit else 0]
        looks[places[name]] = look if list(colours.get(name, a["rgb"])) == a["rgb"] else [*look, a["rgb"]]
        if "move" in a:
            moves[places[name]] = rounded_values(a["move"])
    spot, direction = scene.get("spot"), scene.get("arrow")
    return {
        "camera": {k: rounded_values(v) for k, v in scene["camera"].items()},
        "cut": bool(scene["cut"]),
        "looks": looks,
        "moves": moves,
        "spot": None if spot is None else rounded_values(spot),
        "ring_mm": round(float(scene.get("ring_mm", 0.0)), 4),
        "way": None if direction is None else rounded_values(direction),
        "arrows": [
            {
                "at": rounded_values(a["at"]),
                "way": rounded_values(a["way"]),
                "rgb": a["rgb"],
                "into": bool(a["into"]),
                "lines": list(a["lines"]),
            }
            for a in scene.get("arrows", ())
        ],
        "tags": [name for name in scene["tags"] if name in places] if "tags" in scene else [],
    }


def rounded_values(value: Any) -> Any:
    """Return a number, or the numbers of a vector, as the view is sent them.

    Parameters
    ----------
    value : float or iterable of float
        In any unit.

    Returns
    -------
    float or list of float
        To five decimals; never -0.0.
    """
    if isinstance(value, float | int):
        return round(float(value), 5) + 0.0
    return [round(float(v), 5) + 0.0 for v in value]


def _plain(stage: MeshedResult, finding: Finding) -> dict[str, Any]:
    """Return a view of a finding from the operator's side, as large as the smallest body it is about."""
    shapes = [s for s in finding.shapes if s.name in stage.numbers]
    about = bodies_about(stage, finding, shapes)
    eye = unit(FRONT_RIGHT)
    bodies = [s for s in stage.result.shapes if s.role in BODIES] or list(stage.result.shapes)
    reach = [stage.meshes[s.name].all_points_mm() for s in bodies]
    centre, height = fit(np.vstack(reach), eye)
    spot = None
    if about:
        sized = [(fit(stage.meshes[name].all_points_mm(), eye), name) for name in about]
        (middle, least), _ = min(sized, key=lambda s: (s[0][1], s[1]))
        seen = bool(shapes) or finding.location_mm is not None
        spot = spot_of(stage, finding, shapes) if seen else middle
        centre, height = spot, min(_ROOM * least, height)
    return {
        "actors": [*close_actors(stage, shapes, about), *_wheel_over(stage, finding)],
        "camera": camera(centre, eye, height),
        "cut": False,
        "tags": about,
        "spot": None if spot is None else spot.tolist(),
        "arrow": None if finding.direction is None else unit(finding.direction).tolist(),
    }


def _wheel_over(stage: MeshedResult, finding: Finding) -> list[dict[str, Any]]:
    """Return the cut's wheel as a ghost over the place of a finding that is about what it clears."""
    name = wheel_name(finding.cut)
    if finding.check != "clear" or finding.location_mm is None or name not in stage.numbers:
        return []
    points = stage.meshes[name].points_mm
    middle = (float(points[:, 0].min()) + float(points[:, 0].max())) / 2
    ghost = actor(stage.shape(name), body_colours(stage.result.shapes), opacity_share=_WHEEL)
    return [{**ghost, "move": [finding.location_mm[0] - middle, 0.0, 0.0]}]


def _alike(stage: MeshedResult, lead: Mapping[str, Any], first: Finding, finding: Finding) -> dict[str, Any]:
    """Return the view of a finding like another: the same side and section, at its own place."""
    shapes = [s for s in finding.shapes if s.name in stage.numbers]
    about = bodies_about(stage, finding, shapes)
    place = first.location_mm, finding.location_mm
    if place[0] is None or place[1] is None or not about:
        return _plain(stage, finding)
    shift = np.array(place[1]) - np.array(place[0])
    cam = lead["camera"]
    spot = None if lead.get("spot") is None else (np.array(lead["spot"]) + shift).tolist()
    return {
        **lead,
        "actors": close_actors(stage, shapes, about),
        "camera": {**cam, "target": (np.array(cam["target"]) + shift).tolist()},
        "tags": about,
        "spot": spot,
        "arrow": None if finding.direction is None else unit(finding.direction).tolist(),
    }
