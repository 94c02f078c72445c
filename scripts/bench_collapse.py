"""Bench row `collapse_100_ms`: a whole collapse analysis of a gang of four with 100 contact points."""

from __future__ import annotations

import time

import numpy as np

from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem, Load, Rigid

GOAL_MS = 50.0


def gang_of_four() -> EquilibriumProblem:
    """Four parts 20 x 36 x 25 mm on a chuck: 16 points under each, 12 between neighbours: 100 in all."""
    bodies, contacts, held = [], [], []
    for i in range(4):
        x, name = 20.0 * i, f"part_{i + 1}"
        bodies.append(Rigid(name=name, at_mm=(x, 0.0, 12.5), size_mm=20.0))
        held.append(Load(body=name, force_n=(0.0, 0.0, -1.0), at_mm=(x, 0.0, 12.5)))
        contacts += [
            ContactPoint(a=name, at_mm=(x + u, v, 0.0), normal=(0.0, 0.0, -1.0), mu=0.2, pull_n=120 / 16)
            for u in np.linspace(-9, 9, 4)
            for v in np.linspace(-18, 18, 4)
        ]
        if i:
            contacts += [
                ContactPoint(a=f"part_{i}", b=name, at_mm=(x - 10, v, w), normal=(1.0, 0.0, 0.0), mu=0.2)
                for v in np.linspace(-18, 18, 4)
                for w in np.linspace(1, 24, 3)
            ]
    return EquilibriumProblem(bodies=tuple(bodies), contacts=tuple(contacts), held=tuple(held), cutting=())


PUSHES = {
    "slides": ((20.0, 3.0, -40.0), 25.0),
    "tips": ((20.0, 3.0, -40.0), 60.0),
    "one goes sideways": ((5.0, 30.0, -40.0), 25.0),
    "one goes back": ((-20.0, 3.0, -40.0), 25.0),
}


def collapse_100_ms(repeats: int = 7) -> dict[str, float]:
    """Least processor time in ms of a collapse analysis, all starts and the upper bound included, by push.

    Processor time, of all threads: on a busy machine the clock on the wall measures the others.
    """
    plain = gang_of_four()
    times = {}
    for name, (force, height) in PUSHES.items():
        load = Load(body="part_1", force_n=force, at_mm=(0.0, 0.0, height))
        holding = EquilibriumProblem(
            bodies=plain.bodies, contacts=plain.contacts, held=plain.held, cutting=(load,)
        )
        if len(holding.contacts) != 100:
            raise ValueError(f"{len(holding.contacts)} contact points, not 100")
        taken = []
        for _ in range(repeats):
            start = time.process_time()
            collapse(holding)
            taken.append(1e3 * (time.process_time() - start))
        times[name] = min(taken)
    return times


def row() -> dict[str, object]:
    """Return the bench row: the slowest of the pushes against the goal."""
    times = collapse_100_ms()
    said = ", ".join(f"{name} {ms:.0f} ms" for name, ms in times.items())
    return {"row": "collapse_100_ms", "figure": max(times.values()), "goal": GOAL_MS, "says": said}


if __name__ == "__main__":
    print(row())
