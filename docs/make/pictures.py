"""Draws the pictures of the tutorial and of the README's nest again: python docs/make/pictures.py.

They are the program's own pictures, made smaller. They are kept in the repository, since drawing needs OpenGL
and a minute.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
PICTURES = {
    "models/index_pawl/rev_a_nest.png": ("check", "models/index_pawl/rev_a.py", "01_nest.png"),
    "docs/pictures/tutorial_no_go.png": ("check", "models/index_pawl/rev_a.py", "01_nest.png"),
    "docs/pictures/tutorial_relieved.png": ("relieve", "models/index_pawl/rev_a.py", "01_after.png"),
    "docs/pictures/tutorial_go.png": ("check", "models/index_pawl/rev_b.py", "overview.png"),
}
"""Each picture: the command, the set-up, and the picture that it draws."""
_WIDE, _COLOURS = 800, 192


def main() -> None:
    """Run each command and keep its picture."""
    for name, (command, setup, drawn) in PICTURES.items():
        with tempfile.TemporaryDirectory() as home:
            out = Path(home) / "out"
            subprocess.run(
                [sys.executable, "-m", "fixturecheck", command, setup, "--out", out], cwd=ROOT, check=False
            )
            with Image.open(out / "pictures" / drawn) as picture:
                small = picture.convert("RGB")
            small = small.resize((_WIDE, small.height * _WIDE // small.width), Image.Resampling.LANCZOS)
            small.quantize(_COLOURS).save(ROOT / name, optimize=True)


if __name__ == "__main__":
    main()
