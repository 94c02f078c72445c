"""The flux method against the full field with air, at the poles and the magnets that ship.

The reference meshes all the air in NGSolve (LGPL-2.1, in the extra `test`). Poles are as wide, as far apart
and as deep as those of the shop's chuck, and both magnets are tried that a rating may stand for, the stiffest
and the softest, each about as strong as a rated 80 N/cm2 takes. The film of the method was chosen on a block
like the first, on narrower poles; nothing was chosen on the others.
"""

import cadquery as cq
import pytest

from fixturecheck.magnet.pull import FACE_ERROR_SHARE, lifted_low_share
from fixturecheck.setup.holding import SOURCE_GAP_PITCHES
from fixturecheck.shop.tables import read
from tests.magnet import fluxparts as parts
from tests.magnet import fullair

SHARE_OFF = 0.05

CHUCK = read("equipment")["flat_magnetic_chuck"]["params"]
PITCH, SPACER, DEEP = (CHUCK[k]["default"] for k in ("pole_pitch_mm", "spacer_mm", "plate_mm"))
LONG = 40.0
"""Length of the poles, a little beyond the parts: less than that of the chuck, to save air."""

STIFF, SOFT = "stiff", "soft"
# Gap behind the poles as a share of the pitch, and what drives the flux through it.
MAGNETS = {STIFF: (SOURCE_GAP_PITCHES[0], 50.0), SOFT: (SOURCE_GAP_PITCHES[1], 2400.0)}


def pair(count, pitch, spacer):
    """Reference poles at x >= 0 of a symmetric row."""
    half = 0.5 * (pitch - spacer)
    middles = [(i - (count - 1) / 2) * pitch for i in range(count)]
    return [
        (fullair.solid(box=(x - half, -LONG / 2, -DEEP, x + half, LONG / 2, 0)), 1 if i % 2 else -1)
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


def offset(box, *, cut=(), gap_um=5.0, magnet=STIFF, count=2, pitch=PITCH, spacer=SPACER):
    """Pull by the method over that of the full field, less one, and the latter in N."""
    solid, reference = drawn(box, cut)
    share, mmf_a = MAGNETS[magnet]
    behind_mm, drives_a = share * pitch, mmf_a * pitch / PITCH
    row = parts.bars(
        count=count, iron_mm=pitch - spacer, spacer_mm=spacer, length_mm=LONG, deep_mm=DEEP, mmf_a=drives_a,
        source_gap_mm=behind_mm,
    )  # fmt: skip
    ours = -parts.hold({"part": solid}, row, gap_um=gap_um)[2]
    truth, _ = fullair.flat_pull(
        reference, pair(count, pitch, spacer), [parts.MILD, parts.MILD], gap_um=gap_um, mmf_a=drives_a,
        source_gap_mm=behind_mm, size_mm=3.0, half_x=True, half_y=True,
    )  # fmt: skip
    return ours / truth - 1, truth


SEATED = {
    "block": {"box": (-15, -12, 0, 15, 12, 12)},
    "block, soft": {"box": (-20, -15, 0, 20, 15, 15), "magnet": SOFT},
    "bar along the seam, soft": {"box": (-8, -18, 0, 8, 18, 8), "magnet": SOFT},
    "thin plate, rough": {"box": (-15, -15, 0, 15, 15, 4), "gap_um": 20.0},
    "bridge with a slot over the seam, soft": {
        "box": (-18, -10, 0, 18, 10, 14), "cut": [("box", (-6, -11, -1, 6, 11, 6))], "gap_um": 8.0,
        "magnet": SOFT, "low": 0.20,
    },
    "fine poles": {"box": (-10, -10, 0, 10, 10, 6), "count": 4, "pitch": 5.0, "spacer": 1.0},
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", SEATED)
def test_pull_agrees_with_the_full_field(name, record_property):
    """Within a twentieth, half of what is carried. The reference is high itself: a slab half as thick gives
    1.1 and 0.5 % less on a bar along the seam and a block with a bore, finer elements 0.6 and 0.3 %."""
    case = dict(SEATED[name])
    # Flux that crosses the slot into its roof is not followed, so there the method reads low, the safe side.
    low = case.pop("low", SHARE_OFF)
    off, truth = offset(**case)
    record_property("reference_n", truth)
    record_property("share_off", off)
    assert -low < off < SHARE_OFF
    assert off < FACE_ERROR_SHARE


@pytest.mark.slow
@pytest.mark.parametrize(("gap_um", "magnet"), [(250.0, SOFT), (1000.0, SOFT)])
def test_a_face_that_stands_open_is_pulled_no_less_than_the_low_end_says(gap_um, magnet, record_property):
    """Flux that leaves a soft magnet's poles sideways does not cross the gap: the method reads high there."""
    off, truth = offset((-20, -15, 0, 20, 15, 15), gap_um=gap_um, magnet=magnet)
    record_property("reference_n", truth)
    record_property("share_off", off)
    assert off > 0.0
    low = (1.0 - FACE_ERROR_SHARE) * lifted_low_share(gap_um * 1e-3)
    assert (1.0 + off) * low < 1.0
