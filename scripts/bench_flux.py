"""The flux method against a full field with air, against its own meshing, and after a block has moved.

The cases are those that the tests hold against the full field; times are of the processor.
"""

from __future__ import annotations

import statistics
from importlib.util import find_spec

from bench_timing import MissingError

ROUNDS = 3
CASE = "a gang of four blocks 25 x 25 x 12 mm on eight poles"


def _cases() -> object:
    from tests.magnet import fluxbench

    return fluxbench


def vs_full_air() -> dict[str, object]:
    """Our answer against the full-air field of the same whole model."""
    if find_spec("ngsolve") is None:
        raise MissingError("needs ngsolve: pip install '.[reference]'")
    import ngsolve

    # On a busy machine its threads wait for each other in loops, which would count as work.
    ngsolve.SetNumThreads(1)
    # Once only: the full field takes minutes. Expect the ratio to vary on a busy machine.
    found = _cases().flux_vs_full_air()
    return {
        "figure": found["ratio"],
        "goal": 10.0,
        "says": f"times faster than the full field with air on one thread, for a bar as large as {CASE}, no "
        f"symmetry used; by finer meshes ours is off by {100 * found['our_mesh_off']:+.1f} % of the "
        f"pull and the full field by {100 * found['their_mesh_off']:+.1f} %; our pull is "
        f"{100 * found['share_off']:+.1f} % off the finer full field",
    }


def vs_mesh() -> dict[str, object]:
    """Solving against meshing."""
    found = [_cases().flux_vs_mesh() for _ in range(ROUNDS)]
    return {
        "figure": statistics.median(f["ratio"] for f in found),
        "goal": 3.0,
        "says": f"times as long to solve {found[0]['unknowns']} unknowns as to mesh and couple, for {CASE} "
        f"that share {found[0]['meshed']} meshes",
    }


def long_vs_short() -> dict[str, object]:
    """A long part against a short one."""
    found = [_cases().flux_long_vs_short() for _ in range(ROUNDS)]
    return {
        "figure": statistics.median(f["ratio"] for f in found),
        "goal": 6.0,
        "says": "times as long for a part of 120 or 160 mm, the slower of the two, as for one of 30 mm, "
        "meshed and solved on the poles that it covers",
    }


def edit() -> dict[str, object]:
    """What is meshed again when only a place has changed."""
    found = [_cases().flux_edit() for _ in range(ROUNDS)]
    share = statistics.median(f["ratio"] for f in found)
    return {
        "figure": max(f["meshed_again"] for f in found),
        "goal": 0.0,
        "says": f"meshes made again after one block of {CASE} has moved; putting the model together then "
        f"takes {100 * share:.0f} % of the first time",
    }
