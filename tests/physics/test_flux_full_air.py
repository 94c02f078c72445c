"""The flux method against the full field with air, on solids that had no say in choosing its film.

The reference meshes all the air in NGSolve (LGPL-2.1, in the extra `test`). The 25 mm block is one of the
cases that the film was chosen on; the others are not. Tolerances are what the method claims.
"""

import cadquery as cq
import numpy as np
import pytest

from tests.physics import fluxparts as parts
from tests.physics import fullair

SHARE_OFF = 0.05


def pair(count=2, iron=10.0, spacer=3.0, long=40.0):
    """Reference poles at x >= 0 of a symmetric row."""
    pitch = iron + spacer
    middles = [(i - (count - 1) / 2) * pitch for i in range(count)]
    return [
        (fullair.solid(box=(x - iron / 2, -long / 2, -10, x + iron / 2, long / 2, 0)), 1 if i % 2 else -1)
        for i, x in enumerate(middles)
        if x > 0
    ]


def drawn(box, cut=()):
    """The same part for both: boxes and vertical cylinders."""
    x0, y0, z0, x1, y1, z1 = box
    work = cq.Workplane().box(x1 - x0, y1 - y0, z1 - z0, centered=False).translate((x0, y0, z0))
    for kind, v in cut:
        if kind == "box":
            tool = cq.Workplane().box(v[3] - v[0], v[4] - v[1], v[5] - v[2], centered=False).translate(v[:3])
        else:
            tool = cq.Workplane().circle(v[3]).extrude(v[4]).translate(v[:3])
        work = work.cut(tool)
    return work.val(), fullair.solid(box=box, cut=cut)


CASES = {
    "block that chose the film": (drawn((-12.5, -12.5, 0, 12.5, 12.5, 12)), {}, 5.0),
    "bar along the seam": (drawn((-6, -18, 0, 6, 18, 8)), {}, 5.0),
    "bar across the poles": (drawn((-18, -6, 0, 18, 6, 8)), {"count": 4}, 5.0),
    "thin plate, rough": (drawn((-15, -15, 0, 15, 15, 4)), {}, 20.0),
    "bridge with a slot over the seam": (
        drawn((-14, -10, 0, 14, 10, 14), [("box", (-4, -11, -1, 4, 11, 6))]),
        {},
        8.0,
    ),
    "block with a bore": (drawn((-13, -13, 0, 13, 13, 15), [("bore", (0, 0, -1, 5, 20))]), {}, 3.0),
    "fine poles": (drawn((-10, -10, 0, 10, 10, 6)), {"count": 4, "iron": 4.0, "spacer": 1.0}, 5.0),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_pull_agrees_with_the_full_field(name, record_property):
    """Within a twentieth; measured -0.8 to +2.5 %, five of seven high, which is the unsafe side.

    What makes the method read high, on the bar along the seam and the block with a bore, in shares of the
    reference: elements of 3 mm instead of 1.5 mm add 5.8 and 4.2 %, which is why they are 2 mm; leaving
    out the air round the part adds 3.8 and 3.3 %. Leakage between the poles takes 1.8 and 2.0 % off and
    the film 2.9 and 1.8 %. The reference is high itself: a slab half as thick gives 1.1 and 0.5 % less,
    finer elements 0.6 and 0.3 %.
    """
    (solid, reference), row, gap_um = CASES[name]
    poles = parts.bars(**{{"iron": "iron_mm", "spacer": "spacer_mm"}.get(k, k): v for k, v in row.items()})
    ours = -parts.hold({"part": solid}, poles, gap_um=gap_um)[2]
    truth, _ = fullair.flat_pull(
        reference, pair(**row), [parts.MILD, parts.MILD], gap_um=gap_um, mmf_a=100.0, source_gap_mm=0.064,
        half_x=True, half_y=True,
    )  # fmt: skip
    off = ours / truth - 1
    record_property("reference_n", truth)
    record_property("share_off", off)
    assert np.isfinite(off)
    assert abs(off) < SHARE_OFF
