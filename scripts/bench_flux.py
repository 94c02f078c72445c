"""The flux method against a full field with air, against its own meshing, and after a block has moved.

The cases are those that the tests hold against the full field; times are of the processor.
"""

from __future__ import annotations

import statistics
import sys
from importlib.util import find_spec
from pathlib import Path

from bench_timing import MissingError

ROUNDS = 3
CASE = "a block 25 x 25 x 12 mm on two poles"


def _cases() -> object:
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    try:
        from tests.physics import fluxbench
    finally:
        sys.path.pop(0)
    return fluxbench


def vs_full_air() -> dict[str, object]:
    """Our answer against the full-air field of the same whole model."""
    if find_spec("ngsolve") is None:
        message = "needs ngsolve: pip install '.[reference]'"
        raise MissingError(message)
    import ngsolve

    # On a busy machine its threads wait for each other in loops, which would count as work.
    ngsolve.SetNumThreads(1)
    # Once only: the full field takes more than a minute. Expect the ratio to vary on a busy machine.
    found = _cases().flux_vs_full_air()
    return {
        "figure": found["ratio"],
        "goal": 10.0,
        "says": f"times faster than the full field with air on one thread, for {CASE}; the two forces are "
        f"{100 * found['share_off']:+.1f} % apart",
    }


def vs_mesh() -> dict[str, object]:
    """Solving against meshing."""
    found = [_cases().flux_vs_mesh() for _ in range(ROUNDS)]
    return {
        "figure": statistics.median(f["ratio"] for f in found),
        "goal": 3.0,
        "says": f"times as long to solve as to mesh and couple, for {CASE}",
    }


def edit() -> dict[str, object]:
    """What is meshed again when only a place has changed."""
    found = [_cases().flux_edit() for _ in range(ROUNDS)]
    share = statistics.median(f["ratio"] for f in found)
    return {
        "figure": max(f["meshed_again"] for f in found),
        "goal": 0.0,
        "says": f"meshes made again after {CASE} has moved; putting the model together then takes "
        f"{100 * share:.0f} % of the first time",
    }
