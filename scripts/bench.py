"""Measures how fast the program is, in ratios that mean the same on every machine.

Each row times two ways of doing the same work, or one work in several sizes, turn by turn in one run.
`python scripts/bench.py` prints them all; `--only ROW` one; `--json FILE` also writes them to a file.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import sys
import textwrap
import traceback
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from bench_timing import MissingError

# Arrays of every row work on one thread, whatever the machine has; set before the libraries are imported.
for _library in ("OMP", "OPENBLAS"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")

# What is measured is computed, not recalled; a row about what is kept names a folder of its own.
os.environ["FIXTURECHECK_CACHE"] = "off"

# Gangs and cases are those that the tests know.
sys.path.append(str(Path(__file__).resolve().parents[1]))

AT_LEAST, AT_MOST = "at least", "at most"

ROWS: Mapping[str, tuple[str, str]] = {
    "contact_vs_pairwise_16": ("bench_contact:vs_pairwise_16", AT_LEAST),
    "contact_unlike_16": ("bench_contact:unlike_16", AT_LEAST),
    "contact_growth": ("bench_contact:growth", AT_MOST),
    "contact_vs_stl_128": ("bench_contact:vs_stl_128", AT_MOST),
    "check_vs_floor": ("bench_check:vs_floor", AT_MOST),
    "new_vs_floor": ("bench_check:new_vs_floor", AT_MOST),
    "edit_vs_cold": ("bench_warm:edit", AT_MOST),
    "edit_cut_vs_cold": ("bench_warm:edit_cut", AT_MOST),
    "edit_hold_vs_cold": ("bench_warm:edit_hold", AT_MOST),
    "repeat_vs_cold": ("bench_warm:repeat", AT_MOST),
    "sweep_efficiency_2": ("bench_warm:efficiency", AT_LEAST),
    "cutter_sweep_vs_wheel": ("bench_cutter:vs_wheel", AT_MOST),
    "process_vs_checks": ("bench_job:vs_checks", AT_MOST),
    "settle_vs_mujoco_16": ("bench_settle:vs_mujoco_16", AT_LEAST),
    "settle_growth": ("bench_settle:growth", AT_MOST),
    "settle_detailed_4": ("bench_settle:detailed_4", AT_MOST),
    "seat_place_16": ("bench_place:seat_place_16", AT_MOST),
    "tolerance_vs_settle": ("bench_settle:tolerance", AT_MOST),
    "flux_vs_full_air": ("bench_flux:vs_full_air", AT_LEAST),
    "flux_vs_mesh": ("bench_flux:vs_mesh", AT_MOST),
    "flux_long_vs_short": ("bench_flux:long_vs_short", AT_MOST),
    "flux_edit": ("bench_flux:edit", AT_MOST),
    "page_bytes": ("bench_page:size", AT_MOST),
    "page_first_frame": ("bench_page:first_frame", AT_MOST),
    "collapse_100_ms": ("bench_collapse:row", AT_MOST),
}
"""By name: where a row is measured, and which way its figure is held against the goal.

What is named takes nothing and returns a mapping with `figure`, `goal` and `says`, or raises `MissingError`.
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, print and write the rows asked for; 1 if one of them failed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", metavar="ROW", choices=ROWS, help=f"one of: {', '.join(ROWS)}")
    parser.add_argument("--json", metavar="FILE", type=Path, help="write the rows to a file, too")
    options = parser.parse_args(arguments)
    rows, failed = [], False
    for name in [options.only] if options.only else ROWS:
        try:
            row = measured(name)
        except (MissingError, ModuleNotFoundError) as missing:
            row = {"row": name, "figure": None, "goal": None, "says": f"not measured: {missing}"}
        except Exception:  # noqa: BLE001 -- the other rows are still worth having
            failed = True
            last = traceback.format_exc().strip().splitlines()[-1]
            row = {"row": name, "figure": None, "goal": None, "says": f"failed: {last}"}
            traceback.print_exc()
        rows.append(row)
        print("\n".join(_shown(row)), flush=True)
    if options.json:
        options.json.write_text(json.dumps(rows, indent=2) + "\n", encoding="utf-8")
    return int(failed)


def measured(name: str) -> dict[str, object]:
    """Return one row, measured now."""
    module, function = ROWS[name][0].split(":")
    found = getattr(importlib.import_module(module), function)()
    return {
        "row": name,
        "figure": float(found["figure"]),
        "goal": float(found["goal"]),
        "says": found["says"],
    }


def _shown(row: Mapping[str, object]) -> Iterator[str]:
    """Yield the lines of a row in the table."""
    name, figure, goal = str(row["row"]), row["figure"], row["goal"]
    if isinstance(figure, float) and isinstance(goal, float):
        which = ROWS[name][1]
        met = figure >= goal if which == AT_LEAST else figure <= goal
        yield f"{name:<24} {figure:>8.3g}  {which} {goal:g}: {'met' if met else 'MISSED'}"
    else:
        yield f"{name:<24} {'-':>8}"
    yield from textwrap.wrap(str(row["says"]), 100, initial_indent=" " * 4, subsequent_indent=" " * 4)


if __name__ == "__main__":
    sys.exit(main())
