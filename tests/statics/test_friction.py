"""Whether friction holds loads without motion, against Coulomb's law, each body by its own load."""

from types import SimpleNamespace

import numpy as np
import pytest

from fixturecheck.statics.limit import HOLDS, unbalanced

MU = 0.3
SIZE_MM = np.array([10.0, 10.0])


def on_the_ground(*at_mm):
    """Four points under each body, whose middles lie 5 mm up; the ground is body 2."""
    points, bodies = [], []
    for body, (x, y) in enumerate(at_mm):
        for u, v in ((-5, -5), (-5, 5), (5, -5), (5, 5)):
            points.append((x + u, y + v, 0.0))
            bodies.append(body)
    count = len(points)
    at = np.array(points)
    return SimpleNamespace(
        gap_mm=np.zeros(count),
        normal=np.tile([0.0, 0.0, -1.0], (count, 1)),
        point_a_mm=at,
        point_b_mm=at,
        body_a=np.full(count, 2),
        body_b=np.array(bodies),
        face_a=np.zeros(count, dtype=np.int64),
        face_b=np.zeros(count, dtype=np.int64),
    )


def rest(light_n, pushed_share, *, beside):
    """A light body, pushed level at the ground by a share of its weight, and one of 1000 N beside it."""
    spots = ((0.0, 0.0), (100.0, 0.0))[: 1 + beside]
    rows = on_the_ground(*spots)
    centres = np.array([(x, y, 5.0) for x, y in spots])
    push = pushed_share * light_n
    # The push acts 5 mm below the middle; moments are over the size.
    load = np.array([[push, 0, -light_n, 0, -push * 5.0 / SIZE_MM[0], 0], [0, 0, -1000.0, 0, 0, 0]])
    args = rows, np.arange(1 + beside), centres, load[: 1 + beside], SIZE_MM[: 1 + beside]
    facts = {"mu": MU, "closure_mm": 1e-3}
    left = unbalanced(*args, **facts)
    return left, left <= HOLDS


@pytest.mark.parametrize("light_n", [1000.0, 1.0, 0.01, 0.001])
def test_a_light_body_beside_a_heavy_one_does_not_stay_put_for_being_light(light_n):
    """Coulomb: below mu times its weight it stays; beyond, as much is left as if it stood alone."""
    left, holds = rest(light_n, 0.9 * MU, beside=True)
    assert holds
    assert left < 1e-7
    alone, _ = rest(light_n, 2.0 * MU, beside=False)
    left, holds = rest(light_n, 2.0 * MU, beside=True)
    assert not holds
    assert left == pytest.approx(alone, rel=1e-3)
    assert alone > 0.1
