"""A search for reliefs from file to folder."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path

import numpy as np

from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.kernel.step import Named, write_step
from fixturecheck.progress import Progress
from fixturecheck.relief.clashes import Reliefs, clashes_of
from fixturecheck.relief.search import relieve
from fixturecheck.report.folder import PICTURES, RELIEF_PAGE, scratch, written
from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.painter import NOTHING_DRAWN, Drawn, Painter
from fixturecheck.report.relief_page import Across, picture_files, relief_page, relief_scenes, whole_scene
from fixturecheck.result.relief import IfMarked, Refused, Relief
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.load import load
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing
from fixturecheck.wording.motion import settled_words
from fixturecheck.wording.relief import (
    clash_words,
    gives_words,
    groove_notes,
    marked_words,
    outcome_text,
    place_words,
    rejected_words,
    relief_size_words,
    relief_words,
    unknown_words,
    why_words,
)


def run(
    setup_path: str, overrides: Mapping[str, str], folder: str, *, progress: Progress
) -> tuple[bool, str]:
    """Load a set-up, relieve it, write the changed parts and a page with each before and after.

    Parameters
    ----------
    setup_path : str
        File of the set-up.
    overrides : mapping of str to str
        Parameters of the set-up that are given another value.
    folder : str
        An empty folder to write into.
    progress : callable
        Told what is being done, and the share done so far.

    Returns
    -------
    tuple
        Whether nothing is left in the way, and what was found, for the terminal.

    Raises
    ------
    FixturecheckError
        The set-up is wrong, or something could not be computed.
    """
    with scratch(Path(folder)):
        progress(f"read {Path(setup_path).name}", 0.05)
        setup = load(setup_path, overrides)
        progress("look for reliefs", 0.2)
        found = relieve(setup)
        progress("write", 0.8)
        text = outcome_text(setup.name, found, setup.write)
        with written(Path(folder)):
            _export(found, Path(folder))
            drawn = _page(setup, found, Path(folder))
    if drawn.trouble:
        text += f"\n\npictures could not all be drawn: {drawn.trouble}"
    done = found.cured and (found.rest_after is None or found.rest_after.rests)
    return done, text


def _page(setup: Setup, found: Reliefs, folder: Path) -> Drawn:
    """Draw each relief before and after, and write the page."""
    drawn = _pictures(setup, found, folder / PICTURES) if found.reliefs else NOTHING_DRAWN
    pictures = drawn.read(folder / PICTURES)
    page = relief_page(setup.name, found, pictures, setup.write)
    (folder / RELIEF_PAGE).write_text(page, encoding="utf-8")
    return drawn


def _pictures(setup: Setup, found: Reliefs, folder: Path) -> Drawn:
    """Draw the section across each relief's edge, before and after."""
    before, after = _shapes(setup, "before"), _shapes(found.setup, "after")
    before += [
        NamedShape(name=f"overlap {n}", role=Role.OVERLAP, geometry=c.zone, bodies=(c.a, c.b))
        for n, c in enumerate(clashes_of(setup), start=1)
    ]
    worker = Tessellator()
    every = [*before, *after]
    meshes = {s.name: worker.mesh(s.geometry) for s in every}
    points = np.vstack([meshes[s.name].all_points_mm() for s in before])
    scenes = [whole_scene(setup.name, before, points)]
    for n, relief in enumerate(found.reliefs, start=1):
        sides = tuple(zip(picture_files(n), (before, after), strict=True))
        scenes += relief_scenes(_across(setup, relief), sides, meshes, setup.shown_in)
    painter = Painter()
    try:
        return painted(painter, folder, scenes, (every, meshes))
    finally:
        painter.stop()


def _shapes(setup: Setup, when: str) -> list[NamedShape]:
    return [
        NamedShape(
            name=f"{b.name} {when}",
            role=Role.PART if b.role == Role.PART else Role.FIXTURE,
            geometry=placed_at(b.solid, b.at),
            bodies=(b.name,),
        )
        for b in setup.bodies
    ]


def _across(setup: Setup, relief: Relief) -> Across:
    """Return where a relief is looked at: on the copy that clashes, in the machine's frame."""
    place = matrix_of(setup.body(relief.on).at)
    middle = place[:3, :3] @ np.array(relief.at_mm) + place[:3, 3]
    clash = place[:3, :3] @ np.array(relief.clash_at_mm) + place[:3, 3]
    along = place[:3, :3] @ np.array(relief.along)
    often = f"lands in {relief.share_lands:.1%} of draws"
    return Across(
        at_mm=middle,
        clash_at_mm=clash,
        ring_mm=0.65 * relief.clash_size_mm,
        along=along,
        size_mm=max(relief.cut.size_mm),
        says=relief_size_words(relief.cut, setup.write),
        before="in the way" if relief.share_lands == 1.0 else often,
    )


_STEEL = (0.62, 0.64, 0.67)
WORDS, DATA, PARTS = "reliefs.txt", "reliefs.json", "parts"


def _export(reliefs: Reliefs, folder: Path) -> tuple[Path, ...]:
    """Write each changed drawing as STEP with its face names, the code lines, and the same as data.

    Raises
    ------
    KernelError
        A part could not be written.
    """
    parts = folder / PARTS
    parts.mkdir(parents=True, exist_ok=True)
    written = []
    drawn: set[str] = set()
    for relief in reliefs.reliefs:
        first = relief.cut.bodies[0]
        if first in drawn:
            continue
        drawn.update(relief.cut.bodies)
        body = reliefs.setup.body(first)
        names = tuple(n if n in body.faces else "" for n in body.face_names())
        path = parts / f"{first}_relieved.step"
        write_step(path, path.stem, [Named(name=first, shape=body.solid, rgb=_STEEL, face_names=names)])
        written.append(path)
    name, write = reliefs.setup.name, reliefs.setup.write
    (folder / WORDS).write_text(outcome_text(name, reliefs, write) + "\n", encoding="utf-8")
    data = {
        "tool": {"name": "fixturecheck", "version": version("fixturecheck")},
        "setup": name,
        "reliefs": [_relief(r, write) for r in reliefs.reliefs],
        "refused": [_refused(r, write) for r in reliefs.refused],
        "missing": list(unknown_words(reliefs)),
        "rest_before": settled_words(reliefs.rest_before, write) if reliefs.rest_before else None,
        "rest_after": settled_words(reliefs.rest_after, write) if reliefs.rest_after else None,
    }
    (folder / DATA).write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
    return (*written, folder / WORDS, folder / DATA)


def _relief(relief: Relief, write: Writing) -> dict[str, object]:
    cut = relief.cut
    return {
        "bodies": list(cut.bodies),
        "kind": cut.kind,
        "edge": place_words(cut),
        "size_mm": [round(v, 4) for v in cut.size_mm],
        "clears": clash_words(relief.clears),
        "removed_mm3": round(relief.removed_mm3, 4),
        "by_hand": relief.by_hand,
        "clear_mm": round(relief.clear_mm, 4),
        "wall_mm": round(relief.wall_mm, 4),
        "touches": list(relief.touches),
        "at_mm": [round(v, 4) + 0.0 for v in relief.at_mm],
        "notes": list(groove_notes(relief, write)),
        "share_lands": round(relief.share_lands, 6),
        "line": relief.line,
        "instead": [relief_words(other, write) for other in relief.instead],
        "rejected": [rejected_words(one, write) for one in relief.rejected],
        "marks": _marks(relief.if_marked, write),
    }


def _refused(refused: Refused, write: Writing) -> dict[str, object]:
    return {
        "clash": clash_words(refused.clash),
        "why": [why_words(one, write) for one in refused.why],
        "gives": gives_words(refused),
        "marks": _marks(refused.if_marked, write),
    }


def _marks(would_do: IfMarked | None, write: Writing) -> str:
    return "" if would_do is None else marked_words(would_do, write)
