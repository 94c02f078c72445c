"""Write the STEP parts of models/ from their scripts, with every named face, for the TOML set-ups."""

from __future__ import annotations

import sys
from pathlib import Path

from fixturecheck import load
from fixturecheck.kernel.step import Named, write_step

MODELS = Path(__file__).resolve().parent.parent / "models"
PARTS = {
    "index_pawl/pawl_a.step": ("index_pawl/rev_a.py", "pawl_1"),
    "index_pawl/pawl_b.step": ("index_pawl/rev_b.py", "pawl_1"),
    "gib/gib.step": ("gib/thick_block.py", "gib"),
    "link/link.step": ("link/on_edge.py", "link"),
    "key/key.step": ("key/key.py", "key"),
    "pad/pad.step": ("pad/pads.py", "pad_1"),
    "pin/pin.step": ("pin/flatted.py", "pin"),
}


def main() -> int:
    """Write every part and return 0."""
    for target, (script, name) in PARTS.items():
        body = load(MODELS / script).body(name)
        # Only the faces that the set-up names are named in the file.
        names = [found if found in body.faces else "" for found in body.face_names()]
        part = Named(name=Path(target).stem, shape=body.solid, rgb=(0.6, 0.6, 0.6), face_names=tuple(names))
        write_step(MODELS / target, Path(target).stem, [part])
        print(f"{target}: {len(names)} faces, {sum(map(bool, names))} of them named")
    return 0


if __name__ == "__main__":
    sys.exit(main())
