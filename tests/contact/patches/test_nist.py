"""Parts drawn by NIST on a slotted plate, against shapely on the triangles of a fine mesh (tests/data/nist).

The mesh comes from the kernel's mesher, the outline of the plate from the numbers it is drawn with, and their
common area from shapely, so neither the contact code nor the kernel's booleans have a say in it.
"""

from __future__ import annotations

from pathlib import Path

import cadquery as cq
import numpy as np
import pytest
import shapely
import trimesh

from fixturecheck.kernel.measure import box_of, distance
from fixturecheck.kernel.step import read
from tests.contact.staging import anywhere, contacts, found, place, plate, put

NIST = Path(__file__).parents[2] / "data" / "nist"
SHARE = 1e-3
SLOTS_MM, SLOT_MM, HOLES_MM = np.arange(-400.0, 401.0, 16.0), 5.0, 9.0


def slotted_plate(width_mm: float, depth_mm: float) -> tuple[cq.Workplane, shapely.Polygon]:
    """A plate whose top is z = 0, slots along y and a row of holes; and its outline."""
    top = shapely.box(-width_mm / 2, -depth_mm / 2, width_mm / 2, depth_mm / 2)
    drawn = cq.Workplane().box(width_mm, depth_mm, 20, centered=(True, True, False)).translate((0, 0, -20))
    for x in SLOTS_MM[np.abs(SLOTS_MM) < width_mm / 2 - SLOT_MM]:
        drawn = drawn.cut(cq.Workplane().box(SLOT_MM, 2 * depth_mm, 4).translate((x, 0, 0)))
        top = top.difference(shapely.box(x - SLOT_MM / 2, -depth_mm, x + SLOT_MM / 2, depth_mm))
        spot = (x + 8.0, depth_mm / 6)
        drawn = drawn.cut(cq.Workplane().circle(HOLES_MM / 2).extrude(40, both=True).translate((*spot, 0)))
        top = top.difference(shapely.Point(spot).buffer(HOLES_MM / 2, quad_segs=256))
    return drawn, top


def resting_planes(solid: cq.Solid) -> list[tuple[float, cq.Face]]:
    """Flat faces that the whole part lies behind, one for each plane, with the area in it, largest first."""
    corners = np.array([v.toTuple() for v in solid.Vertices()])
    planes: dict[tuple[float, ...], list[cq.Face]] = {}
    for face in solid.Faces():
        if face.geomType() == "PLANE":
            normal = np.array(face.normalAt().toTuple())
            offset = float(normal @ np.array(face.Center().toTuple()))
            if (corners @ normal).max() <= offset + 1e-6:
                planes.setdefault((*np.round(normal, 6) + 0.0, round(offset, 4)), []).append(face)
    rows = [(sum(f.Area() for f in faces), faces[0]) for faces in planes.values()]
    return sorted(rows, key=lambda row: -row[0])


def stood_on(face: cq.Face) -> cq.Location:
    """The place that turns a face down onto z = 0, askew to the slots and off the middle of the plate."""
    normal, centre = np.array(face.normalAt().toTuple()), face.Center()
    down = np.array([0.0, 0.0, -1.0])
    axis, angle = np.cross(normal, down), np.degrees(np.arccos(np.clip(normal @ down, -1, 1)))
    axis = axis if np.linalg.norm(axis) > 1e-9 else np.array([1.0, 0.0, 0.0])
    turn = cq.Location(cq.Vector(), cq.Vector(*axis), angle)
    skew = cq.Location(cq.Vector(7.3, 11.9, 0), cq.Vector(0, 0, 1), 20.0)
    return skew * turn * cq.Location(cq.Vector(-centre.x, -centre.y, -centre.z))


def area_by_triangles_mm2(solid: cq.Solid, at: cq.Location, top: shapely.Polygon) -> float:
    """Common area of the plate's outline and the triangles that lie in its plane."""
    low = [f for f in solid.moved(at).Faces() if f.BoundingBox(1e-3).zmax < 1e-2]
    outlines = []
    for face in low:
        vertices, triangles = face.tessellate(0.005, 0.05)
        mesh = trimesh.Trimesh(np.array([v.toTuple() for v in vertices]), np.array(triangles), process=False)
        assert np.abs(mesh.vertices[:, 2]).max() < 1e-5
        outlines += list(shapely.polygons(mesh.triangles[:, :, :2]))
    return float(shapely.union_all(outlines, grid_size=1e-9).intersection(top).area)


@pytest.mark.parametrize(
    ("part", "rank"),
    [("nist_ctc_01", 0), ("nist_ctc_01", 1), ("nist_ctc_03", 0), ("nist_ctc_03", 1), ("nist_ftc_11", 0)],
)
def test_seat_of_a_part_that_nobody_here_drew(part, rank):
    solid = read(NIST / f"{part}.stp").solids[0].solid
    face = resting_planes(solid)[rank][1]
    box = solid.BoundingBox()
    size = max(box.xlen, box.ylen, box.zlen)
    plate, top = slotted_plate(min(1.1 * size, 300.0), min(0.8 * size, 200.0))
    at = stood_on(face)
    expected = area_by_triangles_mm2(solid, at, top)
    assert expected > 0
    # The set-up is then carried somewhere else as a whole, which no area may notice.
    away = anywhere()
    contacts = found(put("plate", plate, away), put("part", solid, away * at))
    assert not contacts.overlaps
    areas = [p.contact for p in contacts.patches if p.contact.kind == "area"]
    assert sum(c.area_mm2 for c in areas) == pytest.approx(expected, rel=SHARE)
    stray = [p.contact for p in contacts.patches if p.contact.kind in {"line", "point"}]
    assert not stray, [f"{c.kind} {c.a} | {c.b} {c.centroid}" for c in stray]


@pytest.mark.parametrize("draw", [0, 1])
@pytest.mark.parametrize("name", ["nist_ctc_01", "nist_ctc_03", "nist_ftc_11"])
def test_least_gap_of_a_part_held_askew_over_a_plate(name, draw):
    """Turned at random, its lowest place, on whatever feature, is as far up as the kernel's own distance.

    Round outlines of flat faces are chords within 1 um, so a slanted one may tell a tenth of that too much.
    """
    rng = np.random.default_rng([draw, len(name), ord(name[-1])])
    turned = (
        read(NIST / f"{name}.stp")
        .solids[0]
        .solid.moved(place(axis=tuple(rng.normal(size=3)), angle_deg=float(rng.uniform(0, 360))))
    )
    low_x, low_y, low_z, high_x, high_y, _ = box_of(turned)
    size = 1.2 * max(high_x - low_x, high_y - low_y)
    held = turned.moved(place((-(low_x + high_x) / 2, -(low_y + high_y) / 2, 0.05 - low_z)))
    under = plate(size, size)
    near = contacts(put("plate", under), put("part", held), kinds=["near"])
    exact_mm = distance(under.val(), held)[0]
    assert exact_mm == pytest.approx(0.05, abs=1e-4)
    assert min(c.gap_min_um for c in near) == pytest.approx(1e3 * exact_mm, abs=0.1)
