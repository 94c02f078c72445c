"""The picture of what locates a part: an arrow where each seat acts, and one where each cut face follows."""

from __future__ import annotations

from typing import Any

import numpy as np

from fixturecheck.faceref import FaceRef
from fixturecheck.report.colours import body_colours
from fixturecheck.report.order import LOCATION
from fixturecheck.report.scene import Stage, actor, camera, fit
from fixturecheck.report.views import FRONT_RIGHT, unit, up_for
from fixturecheck.result import Finding, PartLocation, Result, Role
from fixturecheck.units import Writing

SEAT = (28, 96, 168)
TARGET = (176, 24, 44)
_GHOST = 0.45
_NIL = 5e-4


def drawn_part(result: Result) -> PartLocation | None:
    """Return the part whose location is drawn: the first that has a face to be cut, else the first."""
    parts = result.rest.location if result.rest else ()
    return next((p for p in parts if p.targets), next(iter(parts), None))


def location_scene(stage: Stage) -> dict[str, Any] | None:
    """Return the scene; None where no part has a closed seat."""
    part = drawn_part(stage.result)
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
        "file": LOCATION,
        "actors": actors,
        # Arrows and their words stand round the part.
        "camera": camera(centre, eye, up_for(eye), 1.9 * height),
        "cut": False,
        "tags": about,
        "arrows": arrows,
        "legend": [
            {"rgb": list(SEAT), "text": "seat holds"},
            {"rgb": list(TARGET), "text": f"cut face, {um} per {um}"},
        ],
        "title": f"what locates {part.body}: {part.rank} of 6 degrees of freedom",
        "verdict": str(_worst(stage.result, part)),
        "units": stage.result.shown_in,
    }


def _seats(part: PartLocation, placed: dict[str, Finding]) -> list[dict[str, Any]]:
    """Return an arrow into the part for each seat, with what it takes."""
    found = _found(part, placed)
    return [
        _arrow(one, SEAT, [f"{FaceRef(one.about[0]).face} takes {seat.takes}"], into=True)
        for seat in part.seats
        if (one := found.get(seat.seat)) is not None
    ]


def _found(part: PartLocation, placed: dict[str, Finding]) -> dict[str, Finding]:
    """Return what was found of each seat of a part that acts somewhere, by the seat's name."""
    subjects = {s.seat: f"{part.body}: {s.seat}" for s in part.seats}
    return {seat: placed[subject] for seat, subject in subjects.items() if subject in placed}


def _targets(part: PartLocation, placed: dict[str, Finding]) -> list[dict[str, Any]]:
    """Return an arrow out of each face that is cut, with how it follows the seats."""
    arrows, seats = [], _found(part, placed)
    for target in part.targets:
        found = placed.get(target.target)
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


def _worst(result: Result, part: PartLocation) -> str:
    """Return the worst verdict of what is drawn."""
    names = {part.body, *(f"{part.body}: {s.seat}" for s in part.seats), *(t.target for t in part.targets)}
    order = ["no-go", "unknown", "caution", "go"]
    verdicts = [str(f.verdict) for f in result.findings if f.check == "location" and f.subject in names]
    return min(verdicts, key=order.index, default="go")
