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
from fixturecheck.relief.clashes import clashes_of
from fixturecheck.relief.model import Refused, Relief, Reliefs, size_words
from fixturecheck.relief.search import relieve
from fixturecheck.report.folder import PICTURES, RELIEF_PAGE, scratch, written
from fixturecheck.report.pictures.draw import painted
from fixturecheck.report.pictures.painter import NOTHING_DRAWN, Drawn, Painter
from fixturecheck.report.relief_page import Across, ReliefShown, relief_page, relief_scenes, whole_scene
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.load import load
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing
from fixturecheck.wording.motion import settled_words


def run(
    setup_path: str, overrides: Mapping[str, str], folder: str, *, progress: Progress
) -> tuple[bool, str]:
    """Load a set-up, relieve it, write the changed parts and a page with each before and after.

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
        text = relief_summary(found)
        with written(Path(folder)):
            export(found, Path(folder))
            drawn = _page(setup, found, Path(folder))
    if drawn.trouble:
        text += f"\n\npictures could not all be drawn: {drawn.trouble}"
    done = found.cured and (found.rest_after is None or found.rest_after.rests)
    return done, text


def _page(setup: Setup, found: Reliefs, folder: Path) -> Drawn:
    """Draw each relief before and after, and write the page."""
    drawn = _pictures(setup, found, folder / PICTURES) if found.reliefs else NOTHING_DRAWN
    pictures = drawn.read(folder / PICTURES)
    told_reliefs = [
        ReliefShown(
            says=r.says,
            lines=_lines(r, setup.write),
            before=f"{n:02d}_before.png",
            after=f"{n:02d}_after.png",
        )
        for n, r in enumerate(found.reliefs, start=1)
    ]
    refused = [
        (f"{r.clash}: {r.gives}.", (*r.why, *((f"would do {r.marks}",) if r.marks else ())))
        for r in found.refused
    ]
    page = relief_page(setup.name, told_reliefs, refused, pictures, found.missing)
    (folder / RELIEF_PAGE).write_text(page, encoding="utf-8")
    return drawn


def _lines(relief: Relief, write: Writing) -> tuple[str, ...]:
    return (
        f"clears {relief.clears}",
        f"takes material from {', '.join(relief.touches)}; thinnest wall behind it "
        f"{write.length(relief.wall_mm, '.2f')}",
        f"code{'' if write.units == 'mm' else ', in mm'}: {relief.line}",
        f"takes {taken_words(relief)}",
        *relief.notes,
        *(f"or: {other}" for other in relief.instead),
        *((f"less would do {relief.marks}",) if relief.marks else ()),
        *(f"does not hold: {why}" for why in relief.rejected),
    )


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
        sides = ((f"{n:02d}_before.png", before), (f"{n:02d}_after.png", after))
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
        size_mm=max(relief.size_mm),
        says=size_words(relief.kind, relief.size_mm, relief.slope_deg, setup.write),
        before="in the way" if relief.share_lands == 1.0 else often,
    )


_STEEL = (0.62, 0.64, 0.67)
WORDS, DATA, PARTS = "reliefs.txt", "reliefs.json", "parts"


def export(reliefs: Reliefs, folder: Path) -> tuple[Path, ...]:
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
        first = relief.bodies[0]
        if first in drawn:
            continue
        drawn.update(relief.bodies)
        body = reliefs.setup.body(first)
        names = tuple(n if n in body.faces else "" for n in body.face_names())
        path = parts / f"{first}_relieved.step"
        write_step(path, path.stem, [Named(name=first, shape=body.solid, rgb=_STEEL, face_names=names)])
        written.append(path)
    (folder / WORDS).write_text(relief_summary(reliefs) + "\n", encoding="utf-8")
    write = reliefs.setup.write
    data = {
        "tool": {"name": "fixturecheck", "version": version("fixturecheck")},
        "setup": reliefs.setup.name,
        "reliefs": [_relief(r) for r in reliefs.reliefs],
        "refused": [_refused(r) for r in reliefs.refused],
        "missing": list(reliefs.missing),
        "rest_before": settled_words(reliefs.rest_before, write) if reliefs.rest_before else None,
        "rest_after": settled_words(reliefs.rest_after, write) if reliefs.rest_after else None,
    }
    (folder / DATA).write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
    return (*written, folder / WORDS, folder / DATA)


def relief_summary(reliefs: Reliefs) -> str:
    """Return what was relieved and what could not be, for people."""
    lines, write = [reliefs.setup.name, ""], reliefs.setup.write
    code = "code    " if write.units == "mm" else "code, mm"
    if not reliefs.reliefs and not reliefs.refused and not reliefs.missing:
        lines.append("Nothing is in the way with every seat closed: there is nothing to relieve.")
    for relief in reliefs.reliefs:
        often = "" if relief.share_lands == 1.0 else f", which met in {relief.share_lands:.1%} of draws"
        lines += [
            f"{relief.says}",
            f"  clears   {relief.clears}{often}"
            + (f", by {write.length(relief.clear_mm, '.3f')}" if relief.clear_mm else ""),
            f"  touches  {', '.join(relief.touches)}; thinnest wall behind it "
            f"{write.length(relief.wall_mm, '.2f')}",
            f"  takes    {taken_words(relief)}",
            f"  {code} {relief.line}",
        ]
        lines += [f"  mind     {note}" for note in relief.notes]
        lines += [f"  or       {other}" for other in relief.instead]
        lines += [f"  less     {relief.marks}"] if relief.marks else []
        lines += [f"  not      {why}" for why in relief.rejected]
    for refused in reliefs.refused:
        lines += [f"no relief cures {refused.clash}: {refused.gives}"]
        lines += [f"  tried    {why}" for why in refused.why]
        lines += [f"  would do {refused.marks}"] if refused.marks else []
    lines += [f"could not be computed: {what}" for what in reliefs.missing]
    if reliefs.rest_before and reliefs.rest_after and reliefs.reliefs:
        before, after = (settled_words(r, write) for r in (reliefs.rest_before, reliefs.rest_after))
        lines += ["", f"before: {before}", f"after:  {after}"]
    return "\n".join(lines)


def taken_words(relief: Relief) -> str:
    """Say how much a relief takes and whether a hand makes it."""
    how = "by hand" if relief.by_hand else "to be milled or ground"
    return f"{relief.write.volume(relief.removed_mm3, '.3g')}, {how}"


def _relief(relief: Relief) -> dict[str, object]:
    return {
        "bodies": list(relief.bodies),
        "kind": relief.kind,
        "edge": relief.edge,
        "size_mm": [round(v, 4) for v in relief.size_mm],
        "clears": relief.clears,
        "removed_mm3": round(relief.removed_mm3, 4),
        "by_hand": relief.by_hand,
        "clear_mm": round(relief.clear_mm, 4),
        "wall_mm": round(relief.wall_mm, 4),
        "touches": list(relief.touches),
        "at_mm": [round(v, 4) + 0.0 for v in relief.at_mm],
        "notes": list(relief.notes),
        "share_lands": round(relief.share_lands, 6),
        "line": relief.line,
        "instead": list(relief.instead),
        "rejected": list(relief.rejected),
        "marks": relief.marks,
    }


def _refused(refused: Refused) -> dict[str, object]:
    return {"clash": refused.clash, "why": list(refused.why), "gives": refused.gives, "marks": refused.marks}
