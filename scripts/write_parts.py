"""Write the STEP parts of models/ from their scripts, with every named face, for the TOML set-ups."""

from __future__ import annotations

import sys
from pathlib import Path

from fixturecheck import Body, Job, load_any
from fixturecheck.kernel.step import Named, write_step

MODELS = Path(__file__).resolve().parent.parent / "models"
BLANK = "blank"
"""Stands for what the part of a job is made from."""

PARTS = {
    "index_pawl/pawl_a.step": ("index_pawl/rev_a.py", "pawl_1"),
    "index_pawl/pawl_b.step": ("index_pawl/rev_b.py", "pawl_1"),
    "gib/gib.step": ("gib/thick_block.py", "gib"),
    "link/link.step": ("link/on_edge.py", "link"),
    "key/key.step": ("key/key.py", "key"),
    "pad/pad.step": ("pad/pads.py", "pad_1"),
    "pin/pin.step": ("pin/flatted.py", "pin"),
    "index_pawl/pawl_job.step": ("index_pawl/job.py", "pawl"),
    "index_pawl/bar.step": ("index_pawl/job.py", BLANK),
    "index_pawl/bar_long.step": ("index_pawl/job_faults.py", BLANK),
}


def body_of(script: Path, name: str) -> Body:
    """Return a body of a set-up, the part of a job, or its blank."""
    stated = load_any(script, {})
    if not isinstance(stated, Job):
        return stated.body(name)
    if name != BLANK or stated.blank is None:
        return stated.part
    return Body(name=BLANK, solid=stated.blank.solid, faces=stated.blank.faces)


def main() -> int:
    """Write every part and return 0."""
    for target, (script, name) in PARTS.items():
        body = body_of(MODELS / script, name)
        # Only the faces that the set-up names are named in the file.
        names = [found if found in body.faces else "" for found in body.face_names()]
        part = Named(name=Path(target).stem, shape=body.solid, rgb=(0.6, 0.6, 0.6), face_names=tuple(names))
        write_step(MODELS / target, Path(target).stem, [part])
        print(f"{target}: {len(names)} faces, {sum(map(bool, names))} of them named")
    return 0


if __name__ == "__main__":
    sys.exit(main())
