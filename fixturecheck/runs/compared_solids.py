"""What was added to solids and removed from them between two results, and pictures of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.comparing.model import SolidChange
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.boolean import split
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.kernel.place import location_of, placed_at
from fixturecheck.kernel.shapes import Shape
from fixturecheck.report.comparison import MOST_PAIRS, alike_key, all_points, pair_scenes
from fixturecheck.report.folder import PICTURES
from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.painter import Drawn, Painter
from fixturecheck.result.shapes import BodyDrawn, NamedShape, Role
from fixturecheck.runs.given import GivenResult


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChangedRegions:
    """What was added to a body and removed from it, as solids in the machine's frame."""

    change: SolidChange
    added: Shape | None = None
    removed: Shape | None = None


def changed_regions(change: SolidChange, early: GivenResult, late: GivenResult) -> ChangedRegions:
    """Return what was added to a body and removed from it, in its own frame and so wherever it stands."""
    one, other = early.solids.get(change.before), late.solids.get(change.after)
    if one is None or other is None:
        return ChangedRegions(change=change)
    if not change.redrawn:
        return ChangedRegions(change=replace(change, added_mm3=0.0, removed_mm3=0.0))
    try:
        less = split(one, other, f"{change.before} before by {change.after} after")
        more = split(other, one, f"{change.after} after by {change.before} before")
    except NotComputedError:
        return ChangedRegions(change=change)
    changed = replace(change, added_mm3=more.kept_mm3, removed_mm3=less.kept_mm3)
    return ChangedRegions(
        change=changed,
        added=_placed(more.kept, change.after, late),
        removed=_placed(less.kept, change.before, early),
    )


def _placed(shape: Shape | None, name: str, side: GivenResult) -> Shape | None:
    body = next(b for b in side.stored.bodies if b.name == name)
    return None if shape is None else placed_at(shape, location_of(_matrix(body)))


def _matrix(body: BodyDrawn) -> Floats:
    return np.array(body.at, dtype=np.float64).reshape(3, 4)


def draw_changes(
    regions: list[ChangedRegions],
    early: GivenResult,
    late: GivenResult,
    folder: Path,
    painter: Painter | None,
) -> tuple[list[str], Drawn]:
    """Draw the whole before and after, then each body that changed."""
    if painter is None:
        return [], Drawn(files=frozenset(), trouble="not asked for")
    if not early.solids and not late.solids:
        return [], Drawn(files=frozenset(), trouble="neither result holds its solids")
    wholes = [_bodies(side, when) for side, when in ((early, "before"), (late, "after"))]
    worker = Tessellator()
    alike: dict[object, list[ChangedRegions]] = {}
    for region in regions:
        if region.change.redrawn and (region.added or region.removed or region.change.faces):
            alike.setdefault(alike_key(region.change), []).append(region)
    changed = [several[0] for several in alike.values()][:MOST_PAIRS]
    marks = [_marks(r, early, late) for r in changed]
    every = [s for shapes in (*wholes, *(m for pair in marks for m in pair)) for s in shapes]
    meshes = {s.name: worker.mesh(s.geometry) for s in every}
    points = all_points([meshes[s.name].all_points_mm() for shapes in wholes for s in shapes])
    titles = ["the whole set-up"]
    scenes = pair_scenes(1, titles[0], wholes, points, pale=False)
    for number, (region, pair) in enumerate(zip(changed, marks, strict=True), start=2):
        name = region.change.after or region.change.before
        more = len(alike[alike_key(region.change)]) - 1
        titles.append(f"{name} and {more} more like it" if more else name)
        sides = [
            [*(s for s in whole if s.bodies[0] in {region.change.before, region.change.after}), *marked]
            for whole, marked in zip(wholes, pair, strict=True)
        ]
        seen = all_points([meshes[s.name].all_points_mm() for shapes in sides for s in shapes])
        scenes += pair_scenes(number, titles[-1], sides, seen, pale=True)
    return titles, painted(painter, folder / PICTURES, scenes, (every, meshes))


def _bodies(side: GivenResult, when: str) -> list[NamedShape]:
    return [
        NamedShape(
            name=f"{body.name} {when}",
            role=Role.PART if body.role == Role.PART else Role.FIXTURE,
            geometry=placed_at(side.solids[body.name], location_of(_matrix(body))),
            bodies=(body.name,),
        )
        for body in side.stored.bodies
        if body.name in side.solids
    ]


def _marks(
    region: ChangedRegions, early: GivenResult, late: GivenResult
) -> tuple[list[NamedShape], list[NamedShape]]:
    """Return what is marked before, what was removed, and after, what was added; faces that moved in both."""
    change = region.change

    def mark(role: Role, shape: Shape | None, name: str) -> list[NamedShape]:
        return (
            []
            if shape is None
            else [NamedShape(name=f"{role} {name}", role=role, geometry=shape, bodies=(name,))]
        )

    moved = [{f.before for f in change.faces if f.before}, {f.after for f in change.faces if f.after}]
    before = mark(Role.REMOVED, region.removed, change.before) + _faces(
        early, change.before, moved[0], "before"
    )
    after = mark(Role.ADDED, region.added, change.after) + _faces(late, change.after, moved[1], "after")
    return before, after


def _faces(side: GivenResult, name: str, faces: set[str], when: str) -> list[NamedShape]:
    """Return the faces of a body that moved, where they stand."""
    body = next((b for b in side.stored.bodies if b.name == name), None)
    solid = side.solids.get(name)
    if body is None or solid is None:
        return []
    drawn = faces_of(solid)
    if len(drawn) != len(body.faces):
        return []
    at = location_of(_matrix(body))
    return [
        NamedShape(
            name=f"moved {name} {n} {when}", role=Role.MOVED, geometry=placed_at(face, at), bodies=(name,)
        )
        for n, (face, described) in enumerate(zip(drawn, body.faces, strict=True))
        if described.name in faces
    ]
