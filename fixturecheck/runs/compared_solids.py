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
from fixturecheck.report.comparison import alike_key
from fixturecheck.report.folder import PICTURES
from fixturecheck.report.pictures.draw import MOST_PAIRS, painted, pair_scenes, place_scenes
from fixturecheck.report.pictures.painter import NOTHING_DRAWN, Drawn, Painter
from fixturecheck.result.shapes import BodyDrawn, NamedShape, Role
from fixturecheck.runs.compare import GivenResult


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChangedRegions:
    """What was added to a body and removed from it, as solids in the machine's frame."""

    change: SolidChange
    added: Shape | None = None
    removed: Shape | None = None


def changed_regions(change: SolidChange, early: GivenResult, late: GivenResult) -> ChangedRegions:
    """Return what was added to a body and removed from it, in its own frame and so wherever it stands.

    Parameters
    ----------
    change : SolidChange
        What became of one body.
    early, late : GivenResult
        The two sides.

    Returns
    -------
    ChangedRegions
        Volumes are left open where a side holds no solid of it, or the two could not be cut by each other.
    """
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
    """Draw the place that changed before and after, then each body that changed.

    Parameters
    ----------
    regions : list of ChangedRegions
        One for each body.
    early, late : GivenResult
        The two sides.
    folder : Path
        The folder of the comparison; pictures go into one of their own in it.
    painter : Painter or None
        The drawing process; None draws nothing.

    Returns
    -------
    tuple of (list of str, Drawn)
        The titles in their order, and what came of drawing.
    """
    if painter is None:
        return [], Drawn(files=frozenset(), trouble="not asked for")
    if not early.solids and not late.solids:
        return [], Drawn(files=frozenset(), trouble="neither result holds its solids")
    about = _changed(regions, early, late)
    if not about:
        return [], NOTHING_DRAWN
    bodies = _bodies(early, "before"), _bodies(late, "after")
    alike: dict[object, list[ChangedRegions]] = {}
    for region in regions:
        if region.change.redrawn and (region.added or region.removed or region.change.faces):
            alike.setdefault(alike_key(region.change), []).append(region)
    marks = {id(region): _marks(region, early, late) for several in alike.values() for region in several}
    marked = tuple([s for pair in marks.values() for s in pair[side]] for side in (0, 1))
    every = [*bodies[0], *bodies[1], *marked[0], *marked[1]]
    worker = Tessellator()
    meshes = {s.name: worker.mesh(s.geometry) for s in every}
    titles = ["where it changed" if any(marked) else "where it stands"]
    scenes = place_scenes(titles[0], bodies, (marked[0], marked[1]), about, meshes)
    for number, several in enumerate(list(alike.values())[:MOST_PAIRS], start=2):
        region, change = several[0], several[0].change
        name, more = change.after or change.before, len(several) - 1
        titles.append(f"{name} and {more} more like it" if more else name)
        one, other = (
            [*(s for s in whole if s.bodies[0] in {change.before, change.after}), *own]
            for whole, own in zip(bodies, marks[id(region)], strict=True)
        )
        scenes += pair_scenes(number, titles[-1], (one, other), meshes)
    return titles, painted(painter, folder / PICTURES, scenes, (every, meshes))


def _changed(regions: list[ChangedRegions], early: GivenResult, late: GivenResult) -> frozenset[str]:
    """Return the bodies, by both names, that are drawn otherwise, stand elsewhere, are new or gone."""
    placed = [{body.name: body.at for body in side.stored.bodies} for side in (early, late)]
    changes = [r.change for r in regions]
    return frozenset(
        name
        for c in changes
        if c.redrawn or placed[0].get(c.before) != placed[1].get(c.after)
        for name in (c.before, c.after)
        if name
    )


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
