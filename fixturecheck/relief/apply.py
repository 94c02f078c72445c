"""A set-up with a relief made: the new solid, every copy alike, and the files that hold it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.kernel.brep.topology import canonical_order, faces_of
from fixturecheck.kernel.measure import area_mm2, centroid_of, face_frame, is_flat
from fixturecheck.kernel.select import same_faces
from fixturecheck.kernel.shapes import Face, Solid
from fixturecheck.kernel.step import Named, write_step
from fixturecheck.names import BY_PLACE
from fixturecheck.relief.model import Refused, Relief, Reliefs
from fixturecheck.setup.model import Body, Setup

RELIEF = "relief"
_SAME_MM = 1e-6
_SAME_WAY = 1e-9
_MOST_BACK_MM = 1.0


def copies_of(setup: Setup, name: str) -> tuple[str, ...]:
    """Return the bodies that are made to the same drawing as one of them, itself included."""
    mine = setup.body(name)
    drawing = _drawing(mine.solid)
    same = (b for b in setup.bodies if b.role == mine.role and _same(drawing, _drawing(b.solid)))
    return tuple(b.name for b in same)


def _drawing(solid: Solid) -> Floats:
    """Return area and centre of every face, in order: what tells one drawing from another."""
    faces = faces_of(solid)
    order = canonical_order(solid)
    return np.array([(area_mm2(faces[i]), *centroid_of(faces[i])) for i in order])


def _same(one: Floats, two: Floats) -> bool:
    return one.shape == two.shape and bool(np.abs(one - two).max() < _SAME_MM)


def redrawn(body: Body, solid: Solid) -> Body:
    """Return a body with a changed solid whose faces keep their names; new ones are called `relief`.

    What was stated of a face that is gone is dropped.
    """
    faces = renamed(body, solid)
    kept = {*faces, "*", *(n for n in body.face_names() if BY_PLACE.fullmatch(n))}
    return replace(
        body,
        solid=solid,
        faces=faces,
        finish={k: v for k, v in body.finish.items() if k in kept},
        tolerance_mm={k: v for k, v in body.tolerance_mm.items() if k in kept},
        orientation_mm={k: v for k, v in body.orientation_mm.items() if k in kept},
        no_function=(body.no_function & set(faces)) | {n for n in faces if n not in body.faces},
        source=None,
    )


def renamed(body: Body, solid: Solid) -> Mapping[str, tuple[int, ...]]:
    """Return the named faces of a changed solid: the old names, and a new one for what a cut made.

    A flat face that is gone while a new one looks the same way a little behind it was set back: it keeps
    its name, and with it its tolerance and what else was stated of it.
    """
    was = {i: name for name, indices in body.faces.items() for i in indices}
    old, now = faces_of(body.solid), faces_of(solid)
    origin = same_faces(old, now)
    gone = [(i, f) for i, f in enumerate(old) if i not in origin and is_flat(f)]
    new = next(n for n in (RELIEF, *(f"{RELIEF}_{k}" for k in range(2, 100))) if n not in body.faces)
    faces: dict[str, tuple[int, ...]] = {}
    for i, (face, known) in enumerate(zip(now, origin, strict=True)):
        back = _set_back(face, gone) if known is None else known
        name = new if back is None else was.get(back)
        if name is not None:
            faces[name] = (*faces.get(name, ()), i)
    return faces


def _set_back(face: Face, gone: Sequence[tuple[int, Face]]) -> int | None:
    """Return which of the faces that are gone lies a little before a new one and looks the same way."""
    if not is_flat(face):
        return None
    centre, normal, _ = face_frame(face)
    for i, old in gone:
        place, out, _ = face_frame(old)
        step = float((place - centre) @ out)
        size = float(np.linalg.norm(place - centre))
        if float(normal @ out) > 1 - _SAME_WAY and 0.0 < step < _MOST_BACK_MM and size < area_mm2(old) ** 0.5:
            return i
    return None


def with_body(setup: Setup, changed: Mapping[str, Body]) -> Setup:
    """Return the set-up with some bodies changed."""
    return replace(setup, bodies=tuple(changed.get(b.name, b) for b in setup.bodies))


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
    data = {
        "tool": {"name": "fixturecheck", "version": version("fixturecheck")},
        "setup": reliefs.setup.name,
        "reliefs": [_relief(r) for r in reliefs.reliefs],
        "refused": [_refused(r) for r in reliefs.refused],
        "missing": list(reliefs.missing),
        "rest_before": reliefs.rest_before.says if reliefs.rest_before else None,
        "rest_after": reliefs.rest_after.says if reliefs.rest_after else None,
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
        lines += ["", f"before: {reliefs.rest_before.says}", f"after:  {reliefs.rest_after.says}"]
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
