"""Face names reach the file on solids whose faces carry locations of their own, as extrusions have."""

from __future__ import annotations

import re

import cadquery as cq
import pytest

from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.step import Named, read, write_step

SOLIDS = {
    "box": cq.Workplane().box(10, 20, 30),
    "extruded": cq.Workplane("XY").polyline([(0, 0), (9, 0), (9, 4), (0, 7)]).close().extrude(5),
    "filleted": cq.Workplane().box(60, 6, 24).edges("|Y").fillet(4.0),
    "chamfered and drilled": cq.Workplane()
    .box(110, 22, 10)
    .edges("|Z")
    .chamfer(1.0)
    .faces(">Z")
    .workplane()
    .hole(5),
    "moved": cq.Workplane().box(10, 20, 30).translate((5, 6, 7)),
}


@pytest.mark.parametrize("solid", SOLIDS.values(), ids=SOLIDS)
def test_every_name_is_in_the_file_and_comes_back_on_its_own_face(solid, tmp_path):
    shape = solid.val()
    faces = faces_of(shape)
    names = tuple(f"name_{k}" for k in range(len(faces)))
    write_step(
        tmp_path / "part.step",
        "part",
        [Named(name="part", shape=shape, rgb=(0.5, 0.5, 0.5), face_names=names)],
    )
    written = re.findall(r"ADVANCED_FACE\('([^']*)'", (tmp_path / "part.step").read_text())
    assert sorted(written) == sorted(names)
    back = read(tmp_path / "part.step").solids[0]
    found = faces_of(back.solid)
    for name, (index,) in back.faces.items():
        drawn = faces[names.index(name)]
        assert (found[index].Center() - drawn.Center()).Length < 1e-6


def test_the_trap_is_there_to_fall_into():
    boxes = (s for name, s in SOLIDS.items() if name != "extruded")
    assert all(any(not f.wrapped.Location().IsIdentity() for f in faces_of(b.val())) for b in boxes)
