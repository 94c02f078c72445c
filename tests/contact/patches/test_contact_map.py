"""The contact map: pairs that stand alike share one answer, that of each alone; a heap is refused."""

from __future__ import annotations

import itertools

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.patches import contact_map as find
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep import table
from fixturecheck.kernel.brep.face_table import face_tables
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Placed
from fixturecheck.tolerances import Tolerances


def put(name: str, solid: cq.Solid, at: cq.Location) -> Placed:
    names = tuple(f"f{k}" for k in range(len(faces_of(solid))))
    return Placed(name=name, solid=solid, face_names=names, at=at)


def notched() -> cq.Solid:
    bar = cq.Workplane().box(10, 20, 8, centered=False).edges("|X and >Z").fillet(1.5)
    return bar.faces(">X").workplane(centerOption="CenterOfBoundBox").hole(4).val()


@pytest.mark.parametrize("copied", [False, True], ids=["shared", "copies"])
def test_each_pair_of_a_turned_row_has_the_answer_it_has_alone(copied):
    drawn = notched()
    turn = cq.Location((3, 4, 5), (1, 2, 3), 37)
    row = [
        put(f"bar_{k}", drawn.copy() if copied else drawn, turn * cq.Location((10.0 * k, 0.3 * (k % 2), 0)))
        for k in range(5)
    ]
    together = find_contacts(row, Tolerances()).patches
    assert together
    for one, two in itertools.pairwise(row):
        alone = find_contacts([one, two], Tolerances()).patches
        mine = [p for p in together if set(p.bodies) == {one.name, two.name}]
        assert [p.contact.kind for p in mine] == [p.contact.kind for p in alone]
        for got, wanted in zip(mine, alone, strict=True):
            assert (got.contact.a, got.contact.b) == (wanted.contact.a, wanted.contact.b)
            assert got.contact.area_mm2 == pytest.approx(wanted.contact.area_mm2, abs=1e-9)
            assert got.contact.normal == pytest.approx(wanted.contact.normal, abs=1e-9)
            assert got.contact.centroid == pytest.approx(wanted.contact.centroid, abs=1e-9)
            drawn_at, wanted_at = (np.array(p.shape.geometry.Center().toTuple()) for p in (got, wanted))
            assert drawn_at == pytest.approx(wanted_at, abs=1e-9)


def test_a_drawing_is_read_once_however_often_it_is_asked_about(monkeypatch):
    read = []
    plain = table.read_table
    monkeypatch.setattr(table, "read_table", lambda solid: read.append(solid) or plain(solid))
    one, other = notched().copy(), cq.Workplane().box(7, 7, 7).val()
    for x in (10.0, 10.1, 10.2):
        find_contacts([put("a", one, cq.Location()), put("b", other, cq.Location((x, 0, 0)))], Tolerances())
    find_contacts([put("a", one, cq.Location()), put("c", one.copy(), cq.Location((10, 0, 0)))], Tolerances())
    assert len(read) == 2


def test_no_more_tables_are_kept_than_there_is_room_for(monkeypatch):
    monkeypatch.setattr(table, "_KEPT", 3)
    for k in range(5):
        face_tables([cq.Workplane().box(1, 1, 1 + k).val()])
    assert len(table._known) == 3


def test_what_a_pair_alike_shares_is_carried_and_not_asked_of_the_kernel_again(monkeypatch):
    asked = []
    plain = find.shared_space
    monkeypatch.setattr(find, "shared_space", lambda *pair: asked.append(pair) or plain(*pair))
    drawn = notched()
    turn = cq.Location((3, 4, 5), (1, 2, 3), 37)
    # The bars are 10 mm long and stand every 9.9 mm: neighbours share a slice 0.1 mm thick.
    row = [put(f"bar_{k}", drawn, turn * cq.Location((9.9 * k, 0, 0))) for k in range(4)]
    shared = find_contacts(row, Tolerances()).overlaps
    assert [(o.a, o.b) for o in shared] == [("bar_0", "bar_1"), ("bar_1", "bar_2"), ("bar_2", "bar_3")]
    # Once for neighbours and once for bars two apart, whose boxes meet since the row is turned.
    assert len(asked) == 2
    for k, overlap in enumerate(shared):
        alone = find_contacts(row[k : k + 2], Tolerances()).overlaps[0]
        assert overlap.volume_mm3 == pytest.approx(alone.volume_mm3, rel=1e-9)
        assert overlap.common.Volume() == pytest.approx(alone.volume_mm3, rel=1e-9)
        assert overlap.common.Center().toTuple() == pytest.approx(alone.common.Center().toTuple(), abs=1e-7)


def test_a_heap_of_bodies_is_refused_before_all_its_pairs_are_asked():
    drawn = cq.Workplane().box(10, 10, 10).val()
    heap = [put(f"part_{k:03d}", drawn, cq.Location((0.1, 0, 0))) for k in range(100)]
    with pytest.raises(SetupError, match=r"each overlap more than 8 other bodies.*place every body"):
        find_contacts(heap, Tolerances())


def test_many_parts_drawn_too_low_in_one_bed_are_no_heap():
    bed = put("bed", cq.Workplane().box(400, 40, 10).val(), cq.Location((95, 0, -4.9)))
    part = cq.Workplane().box(8, 8, 8).val()
    row = [put(f"part_{k:02d}", part, cq.Location((10.0 * k, 0, 4))) for k in range(20)]
    assert len(find_contacts([bed, *row], Tolerances()).overlaps) == 20


def test_a_mirrored_neighbour_is_not_taken_for_the_same():
    drawn = notched()
    row = [
        put("a", drawn, cq.Location()),
        put("b", drawn, cq.Location((10, 0, 0))),
        put("c", drawn, cq.Location((20.02, 0, 0))),
    ]
    kinds = {
        p.bodies: p.contact.kind for p in find_contacts(row, Tolerances()).patches if p.contact.area_mm2 > 50
    }
    assert kinds == {("a", "b"): "area", ("b", "c"): "near"}


def test_area_of_round_outlines_is_exact_without_the_kernel():
    # A plate with a round hole well inside, under a block that covers it: closed form of the two outlines.
    plate = cq.Workplane().box(40, 30, 6, centered=(True, True, False)).faces(">Z").workplane().hole(10).val()
    block = cq.Workplane().box(60, 20, 5, centered=(True, True, False)).translate((0, 0, 6)).val()
    bodies = [put("plate", plate, cq.Location()), put("block", block, cq.Location())]
    (patch,) = [p for p in find_contacts(bodies, Tolerances()).patches if p.contact.kind == "area"]
    assert patch.contact.area_mm2 == pytest.approx(40 * 20 - np.pi * 5**2, abs=1e-9)
    assert patch.shape.geometry.Area() == pytest.approx(patch.contact.area_mm2, rel=1e-9)
