"""Contact points spread over flat faces, and a block on one such face that a load pushes."""

import numpy as np

from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem, Load, Rigid


def patch(a, b, centre, normal, first, second, mu, *, points=2, pull=0.0, stiffness=1e5):
    """Points over a face from its middle: `first` and `second` lead to the middles of two of its sides."""
    grid = np.linspace(-1, 1, points)
    return tuple(
        ContactPoint(
            a=a,
            b=b,
            at_mm=tuple(np.array(centre) + s * np.array(first) + t * np.array(second)),
            normal=tuple(normal),
            mu=mu,
            pull_n=pull / points**2,
            stiffness_n_mm=stiffness,
        )
        for s in grid
        for t in grid
    )


def seat(body, centre, half, mu, *, pull=0.0, points=2):
    """Points over a level face that a body stands on."""
    first, second = (half[0], 0, 0), (0, half[1], 0)
    return patch(body, "", centre, (0, 0, -1), first, second, mu, points=points, pull=pull)


def block(*, mu, base=40.0, tall=60.0, weight=10.0, pull=500.0, push=(1.0, 0.0, 0.0), height=60.0, points=2):
    """A block on a magnet, pushed at a height."""
    return EquilibriumProblem(
        bodies=(Rigid(name="part", at_mm=(0, 0, tall / 2), size_mm=max(base, tall) / 2),),
        contacts=seat("part", (0, 0, 0), (base / 2, base / 2), mu, pull=pull, points=points),
        held=(Load(body="part", force_n=(0, 0, -weight), at_mm=(0, 0, tall / 2)),),
        cutting=(Load(body="part", force_n=push, at_mm=(0, 0, height)),),
    )
