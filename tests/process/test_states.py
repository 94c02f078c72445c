"""States of a part against volumes by hand and by mesh booleans of another library."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import cadquery as cq
import manifold3d
import numpy as np
import pytest

from fixturecheck import body
from fixturecheck.errors import SetupError
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.process.load import job_of
from fixturecheck.process.records import Operation
from fixturecheck.process.setups import states_of
from tests.process.jobs import (
    HIGH,
    HOLE_D,
    LONG,
    POCKET,
    POCKET_DEEP,
    ROUTE,
    WIDE,
    block,
    changed,
    part,
    route,
)

WHOLE = LONG * WIDE
HOLE_MM3 = math.pi * HOLE_D**2 / 4 * HIGH
POCKET_MM3 = POCKET[0] * POCKET[1] * POCKET_DEEP


@pytest.fixture(scope="module")
def states():
    return states_of(route())


def test_volumes_are_those_worked_out_by_hand(states) -> None:
    """Closed form: slabs of 0.3 and 0.2 mm, a box and a cylinder."""
    taken = [0.3 * WHOLE, 0.2 * WHOLE, POCKET_MM3, HOLE_MM3]
    volumes = [WHOLE * (HIGH + 0.5)]
    for by in taken:
        volumes.append(volumes[-1] - by)
    assert [s.volume_mm3 for s in states] == pytest.approx(volumes, rel=1e-9)
    assert [s.taken_mm3 for s in states[1:]] == pytest.approx(taken, rel=1e-9)
    assert [s.after for s in states] == [None, 10, 20, 30, 40]


def test_the_last_state_is_the_finished_part(states) -> None:
    assert states[-1].volume_mm3 == pytest.approx(block().val().Volume(), rel=1e-6)


def test_names_are_there_as_long_as_their_faces_are(states) -> None:
    assert {"top", "bottom", "left"} <= set(states[0].faces)
    assert "pocket_floor" not in states[2].faces
    assert "pocket_floor" in states[3].faces
    assert "hole" not in states[3].faces
    assert "hole" in states[4].faces
    assert dict(states[0].stock_mm) == {"top": 0.3, "bottom": 0.2}
    assert dict(states[1].stock_mm) == {"bottom": 0.2}


def _manifold(solid) -> manifold3d.Manifold:
    mesh = Tessellator().mesh(solid)
    made = manifold3d.Mesh(
        vert_properties=np.asarray(mesh.points_mm, dtype=np.float32),
        tri_verts=np.asarray(mesh.triangles, dtype=np.uint32),
    )
    made.merge()
    return manifold3d.Manifold(made)


def test_what_is_taken_is_the_difference_that_manifold_finds(states) -> None:
    for before, after in pairwise(states):
        left = _manifold(before.solid) - _manifold(after.solid)
        over = _manifold(after.solid) - _manifold(before.solid)
        assert left.volume() == pytest.approx(after.taken_mm3, rel=2e-3)
        assert over.volume() == pytest.approx(0.0, abs=0.05)


def test_rough_and_finish_of_one_face_add_up() -> None:
    rough = Operation(
        number=5, name="rough", kind="grind", makes=("top",), stock_mm={"top": 1.0}, leave_mm={"top": 0.3}
    )
    found = states_of(route(rough, *ROUTE))
    assert [s.stock_mm.get("top", 0.0) for s in found] == pytest.approx([1.3, 0.3, 0, 0, 0, 0])
    assert box_of(found[0].solid)[5] == pytest.approx(HIGH + 1.3)


def test_stock_that_nobody_takes_is_on_the_part_at_the_end() -> None:
    found = states_of(route(*changed(10, leave_mm={"top": 0.25})))
    assert found[-1].stock_mm == {"top": 0.25}
    # The pocket and the hole are open through what is left, too: the faces around follow.
    open_mm2 = POCKET[0] * POCKET[1] + math.pi * HOLE_D**2 / 4
    assert found[-1].volume_mm3 - block().val().Volume() == pytest.approx(0.25 * (WHOLE - open_mm2), rel=1e-6)


@pytest.mark.parametrize(
    ("size", "low", "lies"),
    [((40, 30, 20.5), (-20, -15, -0.2), True), ((40, 30, 20.2), (-20, -15, -0.2), False)],
)
def test_a_blank_must_hold_the_part_with_its_stock(size, low, lies) -> None:
    solid = cq.Workplane().box(*size, centered=False).translate(low).val()
    if lies:
        states_of(route(blank=solid))
        return
    with pytest.raises(SetupError, match=r"blank is smaller .* 360 mm"):
        states_of(route(blank=solid))


def test_faces_that_cannot_be_closed_are_named_with_what_to_state() -> None:
    """The floor of a pocket alone leaves walls that end nowhere."""
    with pytest.raises(SetupError, match=r"pocket_floor cannot be closed.*solid_before"):
        states_of(route(*changed(30, makes=("pocket_floor",))))


def test_a_stated_solid_stands_where_faces_cannot_be_put_back() -> None:
    solid = cq.Workplane("XY").box(LONG, WIDE, HIGH, centered=(True, True, False)).val()
    route_ = changed(30, makes=("pocket_floor",))
    without = [o for o in route_ if o.number != 40]
    found = states_of(job_of("stated", part(), tuple(without), solids_before={30: solid}))
    assert found[2].volume_mm3 == pytest.approx(WHOLE * HIGH)


def test_a_bore_with_stock_is_narrower_before() -> None:
    """Closed form: a ring of 0.25 mm."""
    ream = (*ROUTE[:3], replace(ROUTE[3], stock_mm={"hole": 0.25}))
    found = states_of(route(*ream))
    ring = math.pi * ((HOLE_D / 2) ** 2 - (HOLE_D / 2 - 0.25) ** 2) * HIGH
    assert found[4].taken_mm3 == pytest.approx(ring, rel=1e-9)


def test_a_corner_with_a_fillet_gets_its_stock_up_to_the_sharp_corner() -> None:
    """Closed form: 0.2 mm on the floor and 0.1 mm on the wall of an L, beside a fillet of 1 mm."""
    outline = [(0, 0), (20, 0), (20, 5), (8, 5), (8, 15), (0, 15)]
    ell = cq.Workplane("XZ").polyline(outline).close().extrude(10)
    rounded = ell.edges(cq.selectors.NearestToPointSelector((8, -5, 5))).fillet(1.0)
    faces = {"floor": (15, -5, 5), "wall": (8, -5, 12)}
    ground = Operation(
        number=10, name="corner", kind="grind", makes=("floor", "wall"), stock_mm={"floor": 0.2, "wall": 0.1}
    )
    found = states_of(job_of("ell", body("ell", rounded, faces=faces), (ground,)))
    # The stock in section, 12 by 0.2 and 10 by 0.1 less their overlap, less what the fillet fills of it.
    x = np.linspace(8.0, 9.0, 200001)
    fillet = 6.0 - np.sqrt(1.0 - (9.0 - x) ** 2)
    stock_top = np.where(x < 8.1, 15.0, 5.2)
    section = 11.0 * 0.2 + np.trapezoid(np.maximum(stock_top - fillet, 0.0), x)
    assert found[1].taken_mm3 == pytest.approx(10.0 * section, rel=2e-3)
