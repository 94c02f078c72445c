"""The picture of parts at rest: where they are meant to be as ghosts, their moves drawn larger."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from fixturecheck.report.colours import body_colours
from fixturecheck.report.order import REST
from fixturecheck.report.scene import GHOST, Stage, actor, camera, fit, legend_of
from fixturecheck.report.views import Floats, beside, off_the_ends, unit
from fixturecheck.result import Finding, Result, Role, Verdict
from fixturecheck.wording.quantity import shown_plain

_SHOWN_SHARE = 0.06
"""Share of the picture's height that the largest gap should take."""

_MOST_TIMES = 200.0


def rest_scene(stage: Stage) -> dict[str, Any] | None:
    """Return the scene of all parts at rest; None where they rest as drawn or do not rest."""
    moved = {s.bodies[0]: s for s in stage.result.shapes if s.role is Role.REST}
    finding = _worst(stage.result)
    if not moved or finding is None or stage.result.rest is None:
        return None
    shifts = {p.body: np.array(p.shift_mm) for p in stage.result.rest.parts}
    about = sorted({_body(finding), *moved})
    spot = (
        np.array(finding.location_mm) if finding.location_mm else _middle(stage, moved[_body(finding)].name)
    )
    reach = np.vstack([stage.meshes[n].all_points_mm() for n in about])
    span = float(np.linalg.norm(np.ptp(reach, axis=0)))
    gap_mm = _gap_mm(finding) or max(float(np.linalg.norm(shifts[b])) for b in moved)
    times = min(_round(_SHOWN_SHARE * span / max(gap_mm, 1e-9)), _MOST_TIMES)
    way = shifts[_body(finding)] if finding.direction is None else np.array(finding.direction)
    view = beside(unit(way))
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
        "file": REST,
        "actors": actors,
        "camera": camera(centre, view.eye, view.up, height),
        "cut": view.cut,
        "times": times,
        "tags": about,
        "spot": (spot + (times - 1.0) * shifts[_body(finding)]).tolist(),
        "ring_mm": 0.0,
        "arrow": None,
        "title": f"at rest, moves drawn {times:g} times; as drawn: ghosts",
        "verdict": str(finding.verdict),
        "callout": [f"{_body(finding)} open by {gap}", f"drawn {times:g} times"] if gap else [],
        "legend": legend_of(a["role"] for a in actors),
        "units": stage.result.shown_in,
    }


def _worst(result: Result) -> Finding | None:
    """Return the finding about the part whose seat is open widest."""
    parts = {p.body for p in result.rest.parts} if result.rest else set()
    about = [f for f in result.findings if f.check == "rest" and f.subject in parts]
    bad = [f for f in about if f.verdict is not Verdict.GO] or about
    return max(bad, key=lambda f: f.value or 0.0, default=None)


def _gap_mm(finding: Finding) -> float:
    """Return how far the part's worst seat is open; zero where that is not known."""
    return (finding.value or 0.0) * 1e-3 if finding.unit == "um" else 0.0


def _body(finding: Finding) -> str:
    return finding.subject


def _middle(stage: Stage, name: str) -> Floats:
    points = stage.meshes[name].all_points_mm()
    return np.asarray((points.min(axis=0) + points.max(axis=0)) / 2)


def _round(times: float) -> float:
    """Round a magnification down to 1, 2 or 5 times a power of ten."""
    if times <= 1.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(times))
    return max(power * m for m in (1.0, 2.0, 5.0) if power * m <= times)
