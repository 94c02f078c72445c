"""The flux method against the full field with air, at the poles and the magnets that ship.

The reference meshes all the air in NGSolve (LGPL-2.1, in the extra `test`). Poles are as wide, as far apart
and as deep as those of the shop's chuck, and both magnets are tried that a rating may stand for, the stiffest
and the softest, as strong as a rating of 80 N/cm2 on a piece of 100 x 100 x 40 mm takes. The film of the
method was chosen on a block like the first, on narrower poles; nothing was chosen on the others.
"""

import tomllib
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck import Holding, Seat, Setup, body, equipment
from fixturecheck.kernel.construct import box as made_box
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.pull import counted, face_pull, nested_patches
from fixturecheck.magnet.rating import find_sources
from fixturecheck.setup.holding import SOURCE_GAP_PITCHES
from fixturecheck.shop.tables import read
from tests.magnet import fluxparts as parts
from tests.magnet import fullair

MESHER = TetMesher()

CHUCK = read("equipment")["flat_magnetic_chuck"]["params"]
PITCH, SPACER, DEEP = (CHUCK[k]["default"] for k in ("pole_pitch_mm", "spacer_mm", "plate_mm"))
LONG = 40.0
"""Length of the poles, a little beyond the parts: less than that of the chuck, to save air."""

STIFF, SOFT = "stiff", "soft"
# Gap behind the poles as a share of the pitch, and what drives the flux through it.
MAGNETS = {STIFF: (SOURCE_GAP_PITCHES[0], 125.4), SOFT: (SOURCE_GAP_PITCHES[1], 3551.0)}


def pair(count, pitch, spacer, long_mm=LONG):
    """Reference poles at x >= 0 of a symmetric row."""
    half = 0.5 * (pitch - spacer)
    middles = [(i - (count - 1) / 2) * pitch for i in range(count)]
    return [
        (fullair.solid(box=(x - half, -long_mm / 2, -DEEP, x + half, long_mm / 2, 0)), 1 if i % 2 else -1)
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


def told(box, *, cut=(), gap_um=5.0, magnet=STIFF, count=2, pitch=PITCH, spacer=SPACER, long_mm=LONG):
    """Pull by the method, and the low end that is told of it, N."""
    share, mmf_a = MAGNETS[magnet]
    row = parts.bars(
        count=count, iron_mm=pitch - spacer, spacer_mm=spacer, length_mm=long_mm, deep_mm=DEEP,
        mmf_a=mmf_a * pitch / PITCH, source_gap_mm=share * pitch,
    )  # fmt: skip
    model = parts.model({"part": drawn(box, cut)[0]}, row, gap_um=gap_um, mesher=MESHER)
    field = model.solve()
    nests = nested_patches(model, field.patches)
    faces = [
        face_pull(n, patch, [patch], gap, nested=n in nests)
        for n, (patch, gap) in enumerate(zip(field.patches, counted(model, field), strict=True))
    ]
    return -field.body("part").force_n[2], sum(f.at(0.0, -1.0)[0] for f in faces)


def reference_n(box, *, cut=(), gap_um=5.0, magnet=STIFF, count=2, pitch=PITCH, spacer=SPACER, long_mm=LONG):
    """Pull by the full field, N."""
    share, mmf_a = MAGNETS[magnet]
    return fullair.flat_pull(
        drawn(box, cut)[1], pair(count, pitch, spacer, long_mm), [parts.MILD, parts.MILD], gap_um=gap_um,
        mmf_a=mmf_a * pitch / PITCH, source_gap_mm=share * pitch, size_mm=3.0, half_x=True, half_y=True,
    )[0]  # fmt: skip


LARGE = (-20, -15, 0, 20, 15, 15)
CASES = {
    "block of 30 x 24 x 12": {"box": (-15, -12, 0, 15, 12, 12)},
    "block of 40 x 30 x 15": {"box": LARGE},
    "bar of 16 x 36 x 8 along the seam": {"box": (-8, -18, 0, 8, 18, 8)},
    "bar of 12 x 36 x 8 along the seam": {"box": (-6, -18, 0, 6, 18, 8)},
    "plate of 30 x 30 x 4, rough": {"box": (-15, -15, 0, 15, 15, 4), "gap_um": 20.0},
    "plate of 40 x 30 x 3": {"box": (-20, -15, 0, 20, 15, 3)},
    "bridge with a slot over the seam": {
        "box": (-18, -10, 0, 18, 10, 14), "cut": [("box", (-6, -11, -1, 6, 11, 6))], "gap_um": 8.0,
    },
    "block on poles 5 mm apart": {"box": (-10, -10, 0, 10, 10, 6), "count": 4, "pitch": 5.0, "spacer": 1.0},
    "block of 10 x 10 x 8 on poles of 100 mm": {"box": (-5, -5, 0, 5, 5, 8), "count": 4, "long_mm": 100.0},
    "block 0.25 mm up": {"box": LARGE, "gap_um": 250.0},
    "block 1 mm up": {"box": LARGE, "gap_um": 1000.0},
    "rating piece of 100 x 100 x 40": {"box": (-50, -50, 0, 50, 50, 40), "count": 6, "long_mm": 110.0},
}  # fmt: skip

RECORDED_N = tomllib.loads((Path(__file__).parent / "full_fields.toml").read_text(encoding="utf-8"))["flat"]
EVERY = [(name, magnet) for name in CASES for magnet in MAGNETS]
SEATED = [(name, magnet) for name, magnet in EVERY if " up" not in name]
# How far the method may lie off: a twentieth, but for these. Flux that passes through air beside a thin
# plate or a bridge helps to hold it and is not followed: low, the safe side. A small part is driven into
# saturation.
ABOVE = {
    ("block of 10 x 10 x 8 on poles of 100 mm", STIFF): 0.12,
    ("block of 10 x 10 x 8 on poles of 100 mm", SOFT): 0.18,
}
BELOW = {
    ("plate of 30 x 30 x 4, rough", SOFT): 0.25,
    ("plate of 40 x 30 x 3", STIFF): 0.15,
    ("plate of 40 x 30 x 3", SOFT): 0.40,
    ("bridge with a slot over the seam", SOFT): 0.30,
    ("rating piece of 100 x 100 x 40", SOFT): 0.10,
}


@pytest.mark.slow
def test_the_full_field_is_as_recorded():
    name = "block of 30 x 24 x 12"
    assert reference_n(**CASES[name]) == pytest.approx(RECORDED_N[name][STIFF], rel=1e-3)


def test_the_sources_are_those_that_a_rating_on_the_shipped_chuck_stands_for():
    """Of which the pull hangs little: a tenth more force of the soft one pulls a block 4 % harder."""
    chuck = equipment("flat_magnetic_chuck", name="chuck", back_rail_height_mm=0.0)
    block = body("block", made_box((-20, -15, 0), (20, 15, 15)), material="steel_1018", faces={"seat": "<Z"})
    found = find_sources(
        Setup(
            name="block on the chuck",
            bodies=(*chuck, block),
            seats=(Seat(body="block", face="seat", on="chuck_plate", on_face="top"),),
            holding=Holding(magnet="full"),
        ),
        MESHER,
    )
    for source, (share, mmf_a) in zip(found, MAGNETS.values(), strict=True):
        assert source.gap_mm == pytest.approx(share * PITCH)
        assert source.mmf_a == pytest.approx(mmf_a, rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "magnet"), EVERY)
def test_the_low_end_of_a_pull_lies_below_the_full_field(name, magnet, compared):
    """Seated or open, behind the stiff source and the soft, by a tenth of what is told at most times.

    The reference is high itself: a slab half as thick gives 1.1 and 0.5 % less on a bar along the seam and a
    block with a bore, finer elements 0.6 and 0.3 %.
    """
    pull_n, low_n = told(**CASES[name], magnet=magnet)
    truth_n = RECORDED_N[name][magnet]
    compared(f"{name}, {magnet}", expected=truth_n, got=pull_n, low_share=low_n / truth_n)
    assert (0.3 if " up" in name else 0.5) * truth_n < low_n < 0.96 * truth_n
    if (name, magnet) in SEATED:
        off = pull_n / truth_n - 1
        assert -BELOW.get((name, magnet), 0.05) < off < ABOVE.get((name, magnet), 0.05)
    elif magnet == SOFT:
        # Flux that leaves a soft magnet's poles sideways does not cross the gap: the method reads high there.
        assert pull_n > 1.1 * truth_n
