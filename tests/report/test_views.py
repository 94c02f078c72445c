"""From which side a spot is looked at: against boxes where the answer is plain."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.report.pictures.views import (
    FRONT_RIGHT,
    Triangles,
    choose_view,
    off_the_ends,
    unit,
    up_for,
    what_is_seen,
)
from tests.report.staged import box

X, Y, Z = np.eye(3)


def triangles(*solids: cq.Solid) -> Triangles:
    worker = Tessellator()
    meshes = [worker.mesh(s) for s in solids]
    corners = np.concatenate([m.points_mm[m.triangles] for m in meshes])
    owner = np.concatenate([np.full(len(m.triangles), i) for i, m in enumerate(meshes)])
    return Triangles(corners_mm=corners, owner=owner)


def look(scene: Triangles, spot: tuple[float, float, float], **given: object):
    defaults = {
        "direction": None,
        "long_axis": None,
        "height_mm": 8.0,
        "region_mm": 1.0,
        "bodies": frozenset({0, 1}),
        "regions": frozenset(),
    }
    given.setdefault("section_direction", given.get("direction"))
    return choose_view(scene, spot_mm=np.array(spot), **{**defaults, **given})


def test_a_gap_is_seen_edge_on() -> None:
    """Two blocks one above the other, 0.3 mm apart along Z: the eye must lie in the plane of the gap."""
    scene = triangles(box(0, 0, 0, 20, 20, 10), box(0, 0, 10.3, 20, 20, 20))
    view = look(scene, (20, 10, 10.15), direction=Z)
    assert abs(view.eye @ Z) < 1e-9
    assert not view.cut
    assert up_for(view.eye) @ Z == pytest.approx(1.0)


def test_a_gap_behind_a_wall_is_looked_at_from_the_open_side() -> None:
    """Walls on three sides leave only -Y to look from."""
    gap = [box(0, 0, 0, 20, 20, 10), box(0, 0, 10.3, 20, 20, 20)]
    walls = [box(-9, -1, 0, -1, 30, 40), box(21, -1, 0, 29, 30, 40), box(-9, 22, 0, 29, 30, 40)]
    view = look(triangles(*gap, *walls), (10, 0, 10.15), direction=Z)
    assert view.eye @ -Y > 0.9
    assert not view.cut


def test_a_gap_walled_in_is_cut_open() -> None:
    gap = [box(0, 0, 0, 20, 20, 10), box(0, 0, 10.3, 20, 20, 20)]
    walls = [
        box(-9, -9, 0, -1, 30, 40),
        box(21, -9, 0, 29, 30, 40),
        box(-9, 22, 0, 29, 30, 40),
        box(-9, -9, 0, 29, -1, 40),
    ]
    view = look(triangles(*gap, *walls), (10, 10, 10.15), direction=Z)
    assert view.cut
    assert abs(view.eye @ Z) < 1e-9


def test_a_region_inside_a_body_is_cut_open() -> None:
    body, region = box(0, 0, 0, 40, 40, 40), box(18, 18, 18, 22, 22, 22)
    scene = triangles(body, region)
    view = look(
        scene, (20, 20, 20), bodies=frozenset({0}), regions=frozenset({1}), region_mm=3.0, height_mm=20.0
    )
    assert view.cut


def test_a_region_on_top_is_looked_at_whole() -> None:
    body, region = box(0, 0, 0, 40, 40, 10), box(18, 18, 10, 22, 22, 12)
    scene = triangles(body, region)
    view = look(
        scene, (20, 20, 11), bodies=frozenset({0}), regions=frozenset({1}), region_mm=3.0, height_mm=20.0
    )
    assert not view.cut
    assert view.eye @ unit(FRONT_RIGHT) > 0.7


def test_the_corner_of_a_pocket_is_looked_into() -> None:
    """A spot at the bottom of a pocket: its own body hides it from every side but from steeply above."""
    block = cq.Workplane().box(60, 30, 24).faces(">Z").workplane().rect(36, 16).cutBlind(-8).val()
    view = look(triangles(block), (17.9, 7.9, 4.0), bodies=frozenset({0}), height_mm=30.0)
    assert not view.cut
    assert view.eye @ -X > 0
    assert view.eye @ -Y > 0
    assert view.eye[2] > 0.5


def test_a_long_region_is_looked_at_along_its_length() -> None:
    body, region = box(0, 0, 0, 60, 10, 10), box(0, 0, 10, 60, 0.2, 10.2)
    scene = triangles(body, region)
    view = look(
        scene,
        (30, 0.1, 10.1),
        long_axis=X,
        bodies=frozenset({0}),
        regions=frozenset({1}),
        region_mm=0.2,
        height_mm=2.0,
    )
    assert abs(view.eye @ X) == pytest.approx(1.0)


@pytest.mark.parametrize(("x_mm", "moved_mm"), [(50.0, 48.5), (0.0, 1.5), (20.0, 20.0), (-1.0, 1.5)])
def test_a_section_is_moved_off_the_end_faces_along_the_line_of_sight_only(
    x_mm: float, moved_mm: float
) -> None:
    """A bar from 0 to 50 mm: 3 % of it at either end is left uncut."""
    bar = np.array([(x, y, z) for x in (0.0, 50.0) for y in (0.0, 10.0) for z in (0.0, 5.0)])
    spot = off_the_ends(np.array([x_mm, 4.0, 2.0]), np.array([1.0, 0.0, 0.0]), bar)
    assert spot == pytest.approx([moved_mm, 4.0, 2.0])


def test_sight_lines_meet_the_nearest_and_a_section_meets_what_it_cuts() -> None:
    """Looking along -Y at blocks at y 0..10 and 20..30; cut at y = 25 only the second is met, opened."""
    scene = triangles(box(-50, 0, -50, 50, 10, 50), box(-50, 20, -50, 50, 30, 50))
    whole = what_is_seen(scene, np.array([0.0, 25.0, 0.0]), -Y, 5.0, cut=False)
    assert set(whole.ravel().tolist()) == {0}
    cut = what_is_seen(scene, np.array([0.0, 25.0, 0.0]), -Y, 5.0, cut=True)
    assert set(cut.ravel().tolist()) == {1}
    behind = what_is_seen(scene, np.array([0.0, 15.0, 0.0]), -Y, 5.0, cut=True)
    assert set(behind.ravel().tolist()) == {1}
    beyond = what_is_seen(scene, np.array([0.0, 35.0, 0.0]), -Y, 5.0, cut=True)
    assert set(beyond.ravel().tolist()) == {-1}


@pytest.mark.parametrize("eye", [X, -Y, Z, unit((1, 1, 1)), unit(FRONT_RIGHT)])
def test_up_is_square_to_the_eye(eye: np.ndarray) -> None:
    up = up_for(eye)
    assert up @ eye == pytest.approx(0.0, abs=1e-12)
    assert np.linalg.norm(up) == pytest.approx(1.0)
