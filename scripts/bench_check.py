"""A check and a first set-up from the command line, against the least any program over the solids must do."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from bench_timing import interleaved_s, ratio_of, shown_s

MODELS = Path(__file__).resolve().parents[1] / "models"
SETUP = MODELS / "index_pawl" / "rev_a.py"

FLOOR = """
import runpy, sys
from pathlib import Path
import cadquery
script = Path(sys.argv[1])
sys.path.insert(0, str(script.parent))
setup = runpy.run_path(str(script))["setup"]
for body in setup.bodies:
    body.solid.moved(body.at).tessellate(0.1, 0.1)
"""


def vs_floor() -> dict[str, object]:
    """Revision A of the index pawls with everything written, against import, load and tessellate."""

    def check() -> Callable[[], object]:
        folder = tempfile.TemporaryDirectory()

        def work() -> None:
            out = Path(folder.name) / "out"
            command = [sys.executable, "-m", "fixturecheck", "check", str(SETUP), "--out", str(out)]
            # No-go is what this revision gets; anything else means that no whole check was timed.
            _ran(command, expected=1)
            if not (out / "report.html").is_file() or not any((out / "pictures").iterdir()):
                message = f"the check of {SETUP.name} did not write everything"
                raise ValueError(message)

        return work

    def floor() -> Callable[[], object]:
        return lambda: _ran([sys.executable, "-c", FLOOR, str(SETUP)], expected=0)

    check_s, floor_s = interleaved_s(3, check, floor)
    return {
        "figure": ratio_of(check_s, floor_s),
        "goal": 4.0,
        "says": f"times as long as importing cadquery, running the script and tessellating: "
        f"{shown_s(check_s)} with all outputs against {shown_s(floor_s)}",
    }


PART = MODELS / "index_pawl" / "pawl_b.step"

PART_FLOOR = """
import sys
import cadquery
cadquery.importers.importStep(sys.argv[1]).val().tessellate(0.1, 0.1)
"""


def new_vs_floor() -> dict[str, object]:
    """From the STEP file of the pawl to a set-up and its page, against import, read and tessellate."""

    def new() -> Callable[[], object]:
        folder = tempfile.TemporaryDirectory()

        def work() -> None:
            out = Path(folder.name) / "pawl.toml"
            _ran([sys.executable, "-m", "fixturecheck", "new", str(PART), "--out", str(out)], expected=0)
            page = Path(folder.name) / "pawl_check" / "report.html"
            if not out.is_file() or not page.is_file() or not any((page.parent / "pictures").iterdir()):
                message = f"no whole set-up was written for {PART.name}"
                raise ValueError(message)

        return work

    def floor() -> Callable[[], object]:
        return lambda: _ran([sys.executable, "-c", PART_FLOOR, str(PART)], expected=0)

    new_s, floor_s = interleaved_s(3, new, floor)
    return {
        "figure": ratio_of(new_s, floor_s),
        "goal": 3.0,
        "says": f"times as long as importing cadquery, reading and tessellating the part: {shown_s(new_s)} "
        f"from the STEP file to set-up, report and pictures against {shown_s(floor_s)}",
    }


def _ran(command: list[str], *, expected: int) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != expected:
        message = (
            f"{' '.join(command[:5])} ended with {done.returncode}, not {expected}: {done.stderr[-500:]}"
        )
        raise ValueError(message)
