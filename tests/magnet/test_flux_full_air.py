"""The flux method against the full field with air, at the poles and the magnets that ship.

The reference meshes all the air in NGSolve (LGPL-2.1, in the extra `test`). Poles are as wide, as far apart
and as deep as those of the shop's chuck, and both magnets are tried that a rating may stand for, the stiffest
and the softest, each about as strong as a rated 80 N/cm2 takes. The film of the method was chosen on a block
like the first, on narrower poles; nothing was chosen on the others.
"""

import cadquery as cq
import pytest

from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.pull import FACE_ERROR_SHARE, lifted_low_share
from fixturecheck.setup.holding import SOURCE_GAP_PITCHES
from fixturecheck.shop.tables import read
from tests.magnet import fluxparts as parts
from tests.magnet import fullair

SHARE_OFF = 0.05
MESHER = TetMesher()

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


def method_n(box, *, cut=(), gap_um=5.0, magnet=STIFF, count=2, pitch=PITCH, spacer=SPACER):
    """Pull by the method, N."""
    share, mmf_a = MAGNETS[magnet]
    row = parts.bars(
        count=count, iron_mm=pitch - spacer, spacer_mm=spacer, length_mm=LONG, deep_mm=DEEP,
        mmf_a=mmf_a * pitch / PITCH, source_gap_mm=share * pitch,
    )  # fmt: skip
    return -parts.hold({"part": drawn(box, cut)[0]}, row, gap_um=gap_um, mesher=MESHER)[2]


def reference_n(box, *, cut=(), gap_um=5.0, magnet=STIFF, count=2, pitch=PITCH, spacer=SPACER):
    """Pull by the full field, N."""
    share, mmf_a = MAGNETS[magnet]
    return fullair.flat_pull(
        drawn(box, cut)[1], pair(count, pitch, spacer), [parts.MILD, parts.MILD], gap_um=gap_um,
        mmf_a=mmf_a * pitch / PITCH, source_gap_mm=share * pitch, size_mm=3.0, half_x=True, half_y=True,
    )[0]  # fmt: skip


CASES = {
    "block": {"box": (-15, -12, 0, 15, 12, 12)},
    "block, soft": {"box": (-20, -15, 0, 20, 15, 15), "magnet": SOFT},
    "bar along the seam, soft": {"box": (-8, -18, 0, 8, 18, 8), "magnet": SOFT},
    "thin plate, rough": {"box": (-15, -15, 0, 15, 15, 4), "gap_um": 20.0},
    "bridge with a slot over the seam, soft": {
        "box": (-18, -10, 0, 18, 10, 14), "cut": [("box", (-6, -11, -1, 6, 11, 6))], "gap_um": 8.0,
        "magnet": SOFT,
    },
    "fine poles": {"box": (-10, -10, 0, 10, 10, 6), "count": 4, "pitch": 5.0, "spacer": 1.0},
    "0.25 mm open, soft": {"box": (-20, -15, 0, 20, 15, 15), "gap_um": 250.0, "magnet": SOFT},
    "1 mm open, soft": {"box": (-20, -15, 0, 20, 15, 15), "gap_um": 1000.0, "magnet": SOFT},
}  # fmt: skip

# What `reference_n` gave for each, N: it takes a quarter of a minute, and nothing of ours goes into it. Two
# are found again in every run.
RECORDED_N = {
    "block": 452.7,
    "block, soft": 835.9,
    "bar along the seam, soft": 824.9,
    "thin plate, rough": 92.7,
    "bridge with a slot over the seam, soft": 446.6,
    "fine poles": 29.74,
    "0.25 mm open, soft": 411.8,
    "1 mm open, soft": 108.7,
}
AGAIN = ("block", "0.25 mm open, soft")
# Flux that crosses the slot into its roof is not followed, so there the method reads low, the safe side.
LOW = {"bridge with a slot over the seam, soft": 0.20}
OPEN = [n for n in CASES if "open" in n]


@pytest.mark.slow
@pytest.mark.parametrize("name", AGAIN)
def test_the_full_field_is_as_recorded(name):
    assert reference_n(**CASES[name]) == pytest.approx(RECORDED_N[name], rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("name", [n for n in CASES if n not in OPEN])
def test_pull_agrees_with_the_full_field(name, record_property):
    """Within a twentieth, half of what is carried. The reference is high itself: a slab half as thick gives
    1.1 and 0.5 % less on a bar along the seam and a block with a bore, finer elements 0.6 and 0.3 %."""
    off = method_n(**CASES[name]) / RECORDED_N[name] - 1
    record_property("share_off", off)
    assert -LOW.get(name, SHARE_OFF) < off < SHARE_OFF
    assert off < FACE_ERROR_SHARE


@pytest.mark.slow
@pytest.mark.parametrize("name", OPEN)
def test_a_face_that_stands_open_is_pulled_no_less_than_the_low_end_says(name, record_property):
    """Flux that leaves a soft magnet's poles sideways does not cross the gap: the method reads high there."""
    off = method_n(**CASES[name]) / RECORDED_N[name] - 1
    record_property("share_off", off)
    assert off > 0.0
    low = (1.0 - FACE_ERROR_SHARE) * lifted_low_share(CASES[name]["gap_um"] * 1e-3)
    assert (1.0 + off) * low < 1.0
