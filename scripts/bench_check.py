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


PART = MODELS / "index_pawl" / "pawl_b.step"

PART_FLOOR = """
import sys
import cadquery
cadquery.importers.importStep(sys.argv[1]).val().tessellate(0.1, 0.1)
"""


def vs_floor() -> dict[str, object]:
    """Revision A of the index pawls with everything written, against import, load and tessellate."""
    # No-go is what this revision gets; anything else means that no whole check was timed.
    check_s, floor_s = _against(["check", str(SETUP)], "out", "out", FLOOR, expected=1)
    return {
        "figure": ratio_of(check_s, floor_s),
        "goal": 2.0,
        "says": f"times as long as importing cadquery, running the script and tessellating: "
        f"{shown_s(check_s)} with all outputs against {shown_s(floor_s)}",
    }


def new_vs_floor() -> dict[str, object]:
    """From the STEP file of the pawl to a set-up and its page, against import, read and tessellate."""
    new_s, floor_s = _against(["new", str(PART)], "pawl.toml", "pawl_check", PART_FLOOR, expected=0)
    return {
        "figure": ratio_of(new_s, floor_s),
        "goal": 3.0,
        "says": f"times as long as importing cadquery, reading and tessellating the part: {shown_s(new_s)} "
        f"from the STEP file to set-up, report and pictures against {shown_s(floor_s)}",
    }


def _against(
    command: list[str], out: str, report: str, floor_code: str, *, expected: int
) -> list[list[float]]:
    """Return how long a command took over a file in each round, and the least code over it, s.

    `out` is what the command is told to write and `report` the folder of its report, both in a new folder
    for each run.
    """

    def whole() -> Callable[[], object]:
        folder = tempfile.TemporaryDirectory()

        def work() -> None:
            home = Path(folder.name)
            _ran(
                [sys.executable, "-m", "fixturecheck", *command, "--out", str(home / out)], expected=expected
            )
            shown = home / report
            if not (home / out).exists() or not (shown / "report.html").is_file():
                raise ValueError(f"{' '.join(command)} did not write everything")
            if not any((shown / "pictures").iterdir()):
                raise ValueError(f"{' '.join(command)} drew no pictures")

        return work

    def floor() -> Callable[[], object]:
        return lambda: _ran([sys.executable, "-c", floor_code, command[1]], expected=0)

    return interleaved_s(3, whole, floor)


def _ran(command: list[str], *, expected: int) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != expected:
        raise ValueError(
            f"{' '.join(command[:5])} ended with {done.returncode}, not {expected}: {done.stderr[-500:]}"
        )
