"""A bar in the V-block: the flux method against a plane field in which every gap is meshed as it is.

What was measured, a 12 mm square bar 30 mm long, magnet 150 A behind 0.04 mm, 5 um seats, N on the bar:

===================  =====  ======  ======
bar                  truth  method  off
===================  =====  ======  ======
nested                579    623    +7.6 %
one flank 0.05 up     534    557    +4.3 %
one flank 0.2 up      311    299    -3.9 %
on 0.1 mm lands       40.3   30.4    -24 %
round, 16 mm          221    224    +1.2 %
===================  =====  ======  ======

Elements of 1.5 mm give 614 N nested by the first magnet, so that most of what is too much there is not the
mesh's. In the shop's V-block the method reads the higher the further iron is driven into saturation: air
beside the bar then carries flux past the seats, and what enters its upper faces draws it out of the V.
"""

import math
import tomllib
from functools import partial
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.circuit import Fineness, magnet_model
from fixturecheck.magnet.field.bh import fit_law
from fixturecheck.magnet.pull import (
    FACE_ERROR_SHARE,
    LINE_ERROR_SHARE,
    SEATED_BAND_MM,
    counted,
    face_pull,
    nested_patches,
)
from tests.magnet import fluxparts as parts
from tests.magnet import fullvee

MESHER = TetMesher()
GAP_UM = 5.0
FACES, LINES = FACE_ERROR_SHARE, LINE_ERROR_SHARE
"""What the product carries."""


SOURCES = {"as measured": (150.0, 0.04), "stiff": (60.0, 0.016), "soft": (1200.0, 3.0)}
"""Force and gap behind the poles. Nested, the bar is pulled with 88 to 115 N/cm2 of a flank."""


def solved(solid, poles=None, **more):
    """The model of a bar in the V, and its field."""
    model = parts.model({"part": solid}, poles or parts.vee(), gap_um=GAP_UM, mesher=MESHER, **more)
    return model, model.solve()


def of_sides(solution):
    """Force on the bar, and the size of the pull of the left and of the right flank."""
    sides = [sum(p.force_n for p in solution.patches if f" on {s}." in p.name) for s in ("left", "right")]
    return solution.body("part").force_n[[0, 2]], [float(np.linalg.norm(f)) for f in sides]


def truth(bar, fine, **source):
    force, *sides = fullvee.pull(bar, fine, **source)
    return force, [float(np.linalg.norm(f)) for f in sides]


def ends(model, solution):
    """What is told of the pull of the left and of the right flank, low and high, N."""
    nests = nested_patches(model, solution.patches)
    faces = [
        face_pull(n, patch, [patch], gap, nested=n in nests)
        for n, (patch, gap) in enumerate(zip(solution.patches, counted(model, solution), strict=True))
    ]
    flanks = [[f for f in faces if s in (f.a.body, f.b.body)] for s in ("left", "right")]
    return [
        (sum(f.at(0.0, -1.0)[0] for f in flank), sum(f.at(1.0, 1.0)[0] for f in flank)) for flank in flanks
    ]


def compare(solid, plane, hold, poles=None, **source):
    """Share by which the method is above the truth: in all, left flank, right flank.

    And low and high end of what is told of either flank, as shares of the truth. `hold` holds the two forces.
    """
    model, field = solved(solid, poles)
    (ours, our_sides), (full, full_sides) = of_sides(field), truth(*plane, **source)
    offs = [np.linalg.norm(ours) / np.linalg.norm(full) - 1]
    offs += [a / b - 1 for a, b in zip(our_sides, full_sides, strict=True)]
    told = np.array(ends(model, field)) / np.array(full_sides)[:, None]
    hold(expected=float(np.linalg.norm(full)), got=float(np.linalg.norm(ours)))
    return offs, told


NESTED = {
    "square bar nested in the V": ("as measured", 0.0),
    "square bar, one flank 0.05 mm up": ("as measured", 0.05),
    "square bar, one flank 0.2 mm up": ("as measured", 0.2),
    "square bar, one flank 0.05 mm up, stiff": ("stiff", 0.05),
    "square bar nested, soft, 115 N/cm2": ("soft", 0.0),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", NESTED)
def test_square_bar_nested_and_with_one_flank_lifted(name, compared):
    """Within a tenth in all, a single flank within an eighth; what is told of a flank holds the truth."""
    source, lift_mm = NESTED[name]
    mmf_a, gap_mm = SOURCES[source]
    plane = fullvee.square(12.0, gap_mm=GAP_UM * 1e-3, lift_mm=lift_mm)
    poles = parts.vee(mmf_a=mmf_a, source_gap_mm=gap_mm)
    bar = parts.nested_bar(lift_mm=lift_mm)
    hold = partial(compared, name)
    (total, *flanks), told = compare(bar, plane, hold, poles, mmf_a=mmf_a, source_gap_mm=gap_mm)
    assert abs(total) < FACES
    assert np.abs(flanks).max() < 0.125
    assert (told[:, 0] > 0.6).all()
    assert (told[:, 0] < 1.0).all()
    # The flank that stays closed where the other stands 0.2 mm open is read low.
    assert (told[:, 1] > (1.0 if lift_mm < 0.1 else 0.96)).all()


@pytest.mark.slow
def test_square_bar_on_its_edges(compared):
    """Lands of 0.1 mm: within three tenths, and low, since the air of the two wedges pulls as well."""
    c = 0.1 / math.sqrt(2)
    bar = cq.Workplane().box(12, 30, 12).edges("|Y and <Z").chamfer(c).translate((0, 0, 12 - c / 2)).val()
    plane = fullvee.on_edge(12.0, gap_mm=GAP_UM * 1e-3, land_mm=0.1)
    (total, *_), told = compare(bar, plane, partial(compared, "square bar on edges of 0.1 mm"))
    assert -LINES < total < 0
    assert (told[:, 0] < 1.0).all()


@pytest.mark.slow
def test_a_round_bar_in_the_vee_is_pulled_within_three_tenths_of_the_full_field(compared):
    """Two lines of contact: within three tenths."""
    bar = cq.Workplane("XZ").circle(8.0).extrude(15, both=True).translate((0, 0, 8 * math.sqrt(2))).val()
    plane = fullvee.round_bar(8.0, gap_mm=GAP_UM * 1e-3)
    (total, *_), told = compare(bar, plane, partial(compared, "round bar in the V"))
    assert abs(total) < LINES
    assert (told[:, 0] < 1.0).all()


def round_and_on_edges():
    """The bars of the two tests above, and what the plane field pulls them with, N."""
    c = 0.1 / math.sqrt(2)
    edges = cq.Workplane().box(12, 30, 12).edges("|Y and <Z").chamfer(c).translate((0, 0, 12 - c / 2)).val()
    circle = cq.Workplane("XZ").circle(8.0).extrude(15, both=True).translate((0, 0, 8 * math.sqrt(2))).val()
    return {"round": (circle, 221.5), "on edges": (edges, 40.3)}


@pytest.mark.parametrize("name", ["round", "on edges"])
def test_wedges_that_are_followed_a_tenth_of_a_millimetre_read_low(name, record_property):
    """So far they are followed where every seat is closed: flux that is left out of a wedge pulls less."""
    solid, truth_n = round_and_on_edges()[name]
    force, _ = of_sides(solved(solid, fineness=Fineness(band_mm=SEATED_BAND_MM))[1])
    record_property("method_n", float(np.linalg.norm(force)))
    assert 0.6 * truth_n < np.linalg.norm(force) < truth_n


@pytest.mark.slow
def test_the_reference_itself_does_not_hang_on_its_mesh(record_property):
    """Finer elements everywhere move the nested bar's pull by less than three thousandths."""
    found = [
        float(np.linalg.norm(fullvee.pull(*fullvee.square(12.0, gap_mm=GAP_UM * 1e-3), size_mm=size)[0]))
        for size in (1.5, 1.0)
    ]
    record_property("coarse_and_fine_n", found)
    assert found[0] == pytest.approx(found[1], rel=0.003)


RECORDED = tomllib.loads((Path(__file__).parent / "full_fields.toml").read_text(encoding="utf-8"))["vee"]
IRON = {"mild": parts.MILD, "gray": fit_law("gray_iron", parts.GRAY)}
# Force and gap behind the poles: what a rating of 80 N/cm2 on the shop's V-block stands for.
RATED = {"stiff": (150.3, 0.02336), "soft": (4629.5, 4.38)}


def down_n(side_mm, iron, source):
    """Pull down on a square bar in the shop's V-block, by the plane field, N."""
    mmf_a, gap_mm = RATED[source]
    plane = fullvee.square(side_mm, gap_mm=GAP_UM * 1e-3, vee=fullvee.SHIPPED)
    force = fullvee.pull(
        *plane, mmf_a=mmf_a, source_gap_mm=gap_mm, vee=fullvee.SHIPPED, law=IRON[iron]
    )[0]  # fmt: skip
    return -force[1]


@pytest.mark.slow
def test_the_plane_field_is_as_recorded():
    (row,) = [r for r in RECORDED if r["side_mm"] == 8.0]
    assert down_n(8.0, row["iron"], "stiff") == pytest.approx(row["stiff"], rel=1e-3)


@pytest.mark.parametrize("source", RATED)
@pytest.mark.parametrize("row", RECORDED, ids=lambda r: f"{r['side_mm']:g} mm of {r['iron']}")
def test_the_low_end_of_a_bar_in_the_shipped_v_lies_below_the_plane_field(row, source, compared):
    """A bar as large as the rating piece, and smaller ones that the same magnet drives into saturation."""
    mmf_a, gap_mm = RATED[source]
    bar = parts.iron("part", parts.nested_bar(side_mm=row["side_mm"]), law=IRON[row["iron"]])
    poles = parts.shipped_vee(mmf_a=mmf_a, source_gap_mm=gap_mm)
    model = magnet_model([bar, *poles], seat_gap_um=lambda _a, _b: GAP_UM, mesher=MESHER)
    field = model.solve()
    nests = nested_patches(model, field.patches)
    faces = [
        face_pull(n, patch, [patch], gap, nested=n in nests)
        for n, (patch, gap) in enumerate(zip(field.patches, counted(model, field), strict=True))
    ]
    low_n = -sum(f.at(0.0, -1.0)[0] * f.toward[2] * (1 if f.a.body == "part" else -1) for f in faces)
    iron = " of gray iron" if row["iron"] == "gray" else ""
    compared(
        f"bar {row['side_mm']:g} mm square{iron} in the shop's V, {source}",
        expected=row[source],
        got=-field.body("part").force_n[2],
        low_share=low_n / row[source],
    )
    assert len(nests) == 2
    assert 0.75 * row[source] < low_n < 0.98 * row[source]
