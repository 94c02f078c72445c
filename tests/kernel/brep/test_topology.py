"""Faces that nobody named are numbered by place: the same numbers after a STEP round trip."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck.kernel.brep.topology import canonical_order, faces_of, once_per_drawing
from fixturecheck.kernel.step import read


def gear() -> cq.Workplane:
    points = [
        ((20 + 2 * (i % 2)) * math.cos(i * math.pi / 40), (20 + 2 * (i % 2)) * math.sin(i * math.pi / 40))
        for i in range(80)
    ]
    return cq.Workplane().polyline(points).close().extrude(5)


def studs() -> cq.Workplane:
    """Draw 64 studs whose sides lie on the boundary between two thousandths, where rounding swaps them."""
    block = cq.Workplane().rarray(2.125, 2.125, 8, 8).rect(1.125, 1.125).extrude(3.0625)
    return block.union(cq.Workplane().box(30.125, 30.125, 1)).rotate((0, 0, 0), (0, 0, 1), 90)


SHAPES = {
    "polar holes": cq.Workplane()
    .polygon(24, 50)
    .extrude(7.625)
    .faces(">Z")
    .workplane()
    .polarArray(15.8125, 0, 360, 24)
    .hole(1.5875),
    "rounded cube": cq.Workplane().box(10.0625, 10.0625, 10.0625).edges().fillet(1.0625),
    "turned cube": cq.Workplane().box(10, 10, 10).edges().chamfer(1).rotate((0, 0, 0), (1, 2, 3), 33),
    "gear": gear(),
    "studs": studs(),
}


@pytest.mark.parametrize("name", SHAPES)
def test_order_survives_a_step_round_trip(name: str, tmp_path: Path) -> None:
    drawn = SHAPES[name].val()
    drawn = drawn.Solids()[0]
    path = tmp_path / "a.step"
    cq.Assembly(name="file").add(drawn, name="p").export(str(path))
    back = read(path).pick().solid
    pairs = zip(
        (faces_of(drawn)[i] for i in canonical_order(drawn)),
        (faces_of(back)[i] for i in canonical_order(back)),
        strict=True,
    )
    for one, other in pairs:
        assert (one.Center() - other.Center()).Length < 1e-6
        assert one.Area() == pytest.approx(other.Area(), abs=1e-6)
        assert one.geomType() == other.geomType()


def test_rings_about_one_centre_are_told_apart() -> None:
    """Two rings of one area about one centre differ only in their boxes."""
    inner, wide = 3.0, 1.0
    # Same area: R2^2 - R1^2 = (inner + wide)^2 - inner^2.
    r1 = 6.0
    r2 = math.sqrt(r1**2 + (inner + wide) ** 2 - inner**2)
    rings = cq.Workplane().circle(r2 + 2).extrude(2)
    for r, outer in ((inner, inner + wide), (r1, r2)):
        rings = rings.union(cq.Workplane().workplane(offset=2).circle(outer).circle(r).extrude(1))
    solid = rings.val()
    solid = solid.Solids()[0]
    faces = faces_of(solid)
    tops = [faces[i] for i in canonical_order(solid) if abs(faces[i].Center().z - 3) < 1e-9]
    assert len(tops) == 2
    assert tops[0].Area() == pytest.approx(tops[1].Area(), rel=1e-9)
    # The wider ring reaches further to -X, so its box comes first.
    assert tops[0].BoundingBox().xmin < tops[1].BoundingBox().xmin


def test_what_is_found_of_a_drawing_is_found_once_for_its_copies_and_again_for_another():
    asked = []

    @once_per_drawing(2)
    def length_mm(solid):
        asked.append(solid)
        return solid.BoundingBox().xlen

    def bar(long_mm):
        return cq.Workplane().box(long_mm, 5, 5).val()

    assert [length_mm(one) for one in (bar(10), bar(10))] == pytest.approx([10.0, 10.0])
    assert len(asked) == 1
    # As far as the last digit, and where it stands.
    assert length_mm(bar(math.nextafter(10.0, 11.0))) == pytest.approx(10.0)
    assert length_mm(bar(10).moved(cq.Location((1, 0, 0)))) == pytest.approx(10.0)
    assert len(asked) == 3
    length_mm(bar(10))  # two are kept
    assert len(asked) == 4
