"""Writes the parts that a search for reliefs changed, with what was done to them."""

from __future__ import annotations

import json
from importlib.metadata import version
from pathlib import Path

from fixturecheck.kernel.step.write import Named, write_step
from fixturecheck.remedy.model import Refused, Relief, Reliefs

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
    (folder / WORDS).write_text(told(reliefs) + "\n", encoding="utf-8")
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


def told(reliefs: Reliefs) -> str:
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
