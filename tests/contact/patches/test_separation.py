"""Bodies that are proven apart share nothing by the kernel's booleans; most that nest are proven apart."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

from fixturecheck.contact.patches.apart import proven_apart
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.contact.patches.separation import near_faces, overlap_mm, surfaces_part
from fixturecheck.contact.placed import place_bodies
from fixturecheck.kernel.boolean import common_solid
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Location, Placed
from fixturecheck.tolerances import Tolerances
from tests.nesting.pawl_gang import drawn_anew, unlike_gang


def placed(name, drawn, at=(0.0, 0.0, 0.0), turn=(0.0, 0.0, 0.0)):
    solid = drawn.val()
    location = cq.Location(cq.Vector(*at), cq.Vector(1, 0, 0), turn[0]) * cq.Location(
        cq.Vector(0, 0, 0), cq.Vector(0, 1, 0), turn[1]
    )
    location = location * cq.Location(cq.Vector(0, 0, 0), cq.Vector(0, 0, 1), turn[2])
    names = tuple(f"face_{i}" for i in range(len(faces_of(solid))))
    return Placed(name=name, solid=solid, face_names=names, at=Location(location.wrapped))


def step():
    """An L of 10 x 10 with a fillet in its corner."""
    outline = [(0, 0), (10, 0), (10, 4), (4, 4), (4, 10), (0, 10)]
    bar = cq.Workplane("XZ").polyline(outline).close().extrude(-6)
    return bar.edges(cq.selectors.NearestToPointSelector((4, 3, 4))).fillet(1.0)


def ring():
    return cq.Workplane("XY").circle(6).circle(4).extrude(5)


def block():
    return cq.Workplane("XY").box(3, 4, 5)


def plug():
    return cq.Workplane("XY").circle(3.0).extrude(7)


def cone():
    return cq.Workplane("XZ").polyline([(1, 0), (5, 0), (2, 6), (1, 6)]).close().revolve(360, (0, 0), (0, 1))


def channel():
    outline = [(-9, -9), (9, -9), (9, 9), (5, 9), (5, -5), (-5, -5), (-5, 9), (-9, 9)]
    return cq.Workplane("XZ").polyline(outline).close().extrude(-8)


MAKERS = {"channel": channel, "step": step, "ring": ring, "block": block, "plug": plug}


def test_what_is_proven_apart_shares_nothing():
    """Against the kernel's common, over seeded poses from deep in each other to well apart."""
    random = np.random.default_rng(7)
    shapes = {name: make() for name, make in MAKERS.items()}
    proven, met = 0, 0
    for _ in range(90):
        one, other = random.choice(["channel", "step", "ring"]), random.choice(["block", "plug", "step"])
        turn = random.choice([0.0, 90.0, 30.0, 17.3], size=3)
        at = random.uniform((-5, 0, -6), (5, 8, 6))
        bodies = [placed("a", shapes[one]), placed("b", shapes[other], at=at, turn=turn)]
        a, b = place_bodies(bodies)
        if not surfaces_part(a, b):
            met += 1
            continue
        proven += overlap_mm(a, b) > 0.0
        assert common_solid(a.solid, b.solid)[1] == 0.0, (one, other, bodies[1].at.toTuple())
    # It must say both often enough to mean anything, and more than planes between whole bodies do.
    assert proven >= 5
    assert met >= 10


def test_faces_that_are_proven_apart_are_by_the_kernels_distance():
    """Flat, round and conical faces over seeded poses, from in each other to well apart."""
    random = np.random.default_rng(5)
    shapes = [step(), ring(), plug(), cone(), channel()]
    least_mm, by, proven, apart = 0.4, np.array([0.03, -0.02, 0.05]), 0, 0
    for _ in range(24):
        one, other = random.integers(len(shapes), size=2)
        turn = random.choice([0.0, 90.0, 30.0, 17.3], size=3)
        at = np.round(random.uniform((-5, 0, -6), (5, 8, 6)), 1)
        a, b = place_bodies([placed("a", shapes[one]), placed("b", shapes[other], at=at, turn=turn)])
        pairs = near_faces(a, b, 1.0)
        found = proven_apart(pairs, a.sheets, b.sheets, by, least_mm)
        for k in random.permutation(len(pairs))[:12]:
            i, j = pairs[k].tolist()
            distance_mm = a.face(i).distance(b.face(j).moved(cq.Location(cq.Vector(*by))))
            assert distance_mm > least_mm - 1e-9 or not found[k], (one, other, i, j, at, turn)
            proven, apart = proven + found[k], apart + (distance_mm > least_mm)
    # Sheets prove most of what there is to prove.
    assert apart >= 90
    assert proven >= 0.75 * apart, (proven, apart)


@pytest.mark.parametrize(
    ("inner", "outer"),
    [
        (cq.Workplane("XY").rect(2, 2).extrude(1), cq.Workplane("XY").rect(9, 9).extrude(1)),
        (cq.Workplane("XY").rect(2, 2).extrude(1), cq.Workplane("XY").rect(9, 9).rect(4, 4).extrude(1)),
    ],
    ids=["over the inside", "over a hole"],
)
def test_a_face_over_the_inside_of_another_is_near_it_and_over_a_hole_is_not(inner, outer):
    """No border comes near another: what lies between tells, worked out by hand."""
    a, b = place_bodies([placed("a", outer), placed("b", inner, at=(0.0, 0.0, 1.01))])
    top = max(range(len(a.normals)), key=lambda i: a.lows[i, 2])
    foot = min(range(len(b.normals)), key=lambda j: b.highs[j, 2])
    pair, over_hole = np.array([[top, foot]]), len(a.table.rows) > 6
    assert proven_apart(pair, a.sheets, b.sheets, np.zeros(3), 0.0099).all()
    assert proven_apart(pair, a.sheets, b.sheets, np.zeros(3), 0.0101).all() == over_hole
    assert proven_apart(pair[:, ::-1].copy(), b.sheets, a.sheets, np.zeros(3), 0.0101).all() == over_hole


@pytest.mark.parametrize(
    ("inner", "outer"),
    [(block(), cq.Workplane("XY").box(20, 20, 20)), (block(), block()), (plug(), ring())],
    ids=["held inside", "the same place", "through the bore"],
)
def test_a_body_that_another_holds_is_apart_only_where_it_is_hollow(inner, outer):
    a, b = place_bodies([placed("a", inner), placed("b", outer)])
    shared_mm3 = common_solid(a.solid, b.solid)[1]
    assert not surfaces_part(a, b) or shared_mm3 == 0.0
    assert not surfaces_part(b, a) or shared_mm3 == 0.0


def test_a_ball_in_a_closed_hollow_is_not_taken_for_what_is_proven():
    """Their surfaces do not meet, and only the kernel tells the hollow from the solid."""
    hollow = cq.Workplane("XY").box(20, 20, 20).cut(cq.Workplane("XY").sphere(8))
    full = cq.Workplane("XY").box(20, 20, 20)
    for outer in (hollow, full):
        a, b = place_bodies([placed("a", cq.Workplane("XY").sphere(5)), placed("b", outer)])
        assert not surfaces_part(a, b)


@pytest.mark.parametrize("gap_mm", [0.0, 0.01])
def test_bodies_that_lie_round_each_other_are_proven_apart(gap_mm):
    """Two steps hook into each other, so that no plane parts them; where they touch, their normals do."""
    a = placed(
        "a",
        cq.Workplane("XZ").polyline([(0, 0), (10, 0), (10, 4), (4, 4), (4, 10), (0, 10)]).close().extrude(-6),
    )
    hook = [(4 + gap_mm, 4 + gap_mm), (14, 4 + gap_mm), (14, -6), (10 + gap_mm, -6), (10 + gap_mm, -10),
            (18, -10), (18, 14), (4 + gap_mm, 14)]  # fmt: skip
    b = placed("b", cq.Workplane("XZ").polyline(hook).close().extrude(-6))
    one, other = place_bodies([a, b])
    assert overlap_mm(one, other) > 1e-3
    away = np.array([1.0, 0.0, 1.0]) if gap_mm == 0.0 else np.zeros(3)
    assert surfaces_part(one, other, away)
    if gap_mm == 0.0:
        assert not surfaces_part(one, other)
        assert not surfaces_part(one, other, -away)
    assert common_solid(one.solid, other.solid)[1] == 0.0


def test_half_a_micron_of_overlap_is_not_proven_away():
    """The shift of touching bodies is a ten-thousandth of a micron: what is deeper stays for the kernel."""
    a = placed("a", step())
    for depth_mm in (5e-4, 5e-7):
        b = placed("b", block(), at=(4 + 1.5 - depth_mm, 3.0, 4 + 2.5 + 1.5))
        one, other = place_bodies([a, b])
        assert not surfaces_part(one, other, np.array([1.0, 0.0, 0.0]))


def test_a_gang_with_gaps_asks_for_few_booleans(monkeypatch):
    """Of five neighbours that stand open, none needs the kernel's common of two solids; one pair touches."""
    asked = []

    def counted(a, b):
        asked.append((a, b))
        return common_solid(a, b)

    monkeypatch.setattr("fixturecheck.contact.patches.contact_map.common_solid", counted)
    found = find_contacts(drawn_anew(unlike_gang(6)), Tolerances())
    assert len(asked) <= 1
    assert not found.overlaps
    nests = sum(1 for p in found.patches if p.contact.kind == "near" and "nest" in str(p.contact))
    assert nests == 4
    assert math.isclose(
        min(p.contact.gap_min_um for p in found.patches if p.contact.kind == "near"), 10.0, abs_tol=1e-6
    )
