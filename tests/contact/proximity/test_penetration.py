"""Bodies that stand deep in each other, against closed forms and against the kernel's common solid."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fixturecheck.contact.proximity.penetration import (
    DEEP_MM,
    SHALLOW_MM,
    _nearest,
    _within,
    penetrations,
    with_boxes,
)
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.features import features_of
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.measure import distance, is_inside, volume_mm3
from fixturecheck.kernel.mesh.triangles import CHORD_MM, surface_triangulation
from fixturecheck.kernel.place import location_of

BORE = 5.02


def box(x, y, z):
    return cq.Workplane().box(x, y, z).val()


SHAPES = {
    "plate": box(60, 60, 20),
    "ball": cq.Workplane().sphere(5).val(),
    "rod": cq.Workplane("YZ", origin=(-40, 0, 0)).circle(5).extrude(80).val(),
    "ring": cq.Solid.makeTorus(12, 4),
    "cone": cq.Solid.makeCone(8, 0, 16),
    "drum": cq.Solid.makeCylinder(40, 20, cq.Vector(0, 0, -10)),
    "socket": cq.Workplane().box(60, 60, 20).faces(">Z").workplane().hole(2 * BORE).val(),
}
FEATURES = {name: features_of(solid) for name, solid in SHAPES.items()}
UPRIGHT = np.eye(3)
TIP_DOWN = np.diag([1.0, -1.0, -1.0])
ACROSS = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
TIP_IN = np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])


def found(still, moving, at, turn=UPRIGHT):
    rotation = np.array([np.eye(3), turn])
    return penetrations(
        [FEATURES[still], FEATURES[moving]], [False, True], rotation, np.array([[0, 0, 0], at], float)
    )


CASES = [
    # Where each just touches, the way on in, and its turn.
    ("plate", "ball", (3, 2, 15), (0, 0, -1), UPRIGHT),
    ("plate", "rod", (3, 2, 15), (0, 0, -1), UPRIGHT),
    ("plate", "ring", (3, 2, 14), (0, 0, -1), UPRIGHT),
    ("plate", "cone", (3, 2, 26), (0, 0, -1), TIP_DOWN),
    ("rod", "ball", (3, 0, 10), (0, 0, -1), UPRIGHT),
    ("rod", "rod", (3, 0, 10), (0, 0, -1), ACROSS),
    ("ball", "cone", (0, 0, 21), (0, 0, -1), TIP_DOWN),
    ("drum", "cone", (56, 0, 0), (-1, 0, 0), TIP_IN),
    ("drum", "ball", (0, 45, 0), (0, -1, 0), UPRIGHT),
    ("socket", "ball", (18, 18, 15), (0, 0, -1), UPRIGHT),
]
NAMES = [f"{moving} in {still}" for still, moving, *_ in CASES]


@pytest.mark.parametrize("deep", [1.5, 3.0, 4.5])
@pytest.mark.parametrize(("still", "moving", "at", "way", "turn"), CASES, ids=NAMES)
def test_what_starts_deep_in_another_is_told_by_how_deep_it_stands(still, moving, at, way, turn, deep):
    rows = found(still, moving, np.add(at, np.multiply(deep, way)), turn)
    assert len(rows.gap_mm) == 1
    assert {int(rows.body_a[0]), int(rows.body_b[0])} == {0, 1}
    # Straight back out is the shortest way; skins lie off curved faces by a chord each.
    assert -rows.gap_mm[0] == pytest.approx(deep, abs=2 * CHORD_MM)
    outward = rows.normal[0] * (1.0 if rows.body_a[0] == 1 else -1.0)
    assert outward @ np.array(way) < -0.99


@pytest.mark.parametrize("air", [0.3, 0.0, -0.9 * SHALLOW_MM])
@pytest.mark.parametrize(("still", "moving", "at", "way", "turn"), CASES, ids=NAMES)
def test_what_touches_or_is_just_apart_is_not(still, moving, at, way, turn, air):
    assert len(found(still, moving, np.add(at, np.multiply(-air, way)), turn).gap_mm) == 0


def test_a_plug_within_the_chords_of_its_bore_is_not_in_it():
    # 20 um of air all round, less than the chords of bore and plug take.
    upright = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    assert BORE - 5.0 < CHORD_MM
    assert len(found("socket", "rod", (0, 0, 0), upright).gap_mm) == 0
    assert len(found("socket", "rod", (2, 0, 0), upright).gap_mm) == 1


def test_a_body_wholly_within_another_is_told():
    (gap,) = found("drum", "ball", (0, 0, 0)).gap_mm
    # Its middle lies behind either end by half the height; its skin at least by that less its radius.
    assert 10 - 5 <= -gap <= 10


@pytest.mark.parametrize("thick", [20.0, 2.0])
@pytest.mark.parametrize("share", [0.0, 0.25, 0.5])
def test_bodies_face_in_face_are_told_where_no_edge_runs_through_a_face(thick, share):
    # The same block twice, at one place or pushed along: every corner lies on the other's skin or beyond it.
    features = [features_of(box(20, 20, thick))] * 2
    poses = np.tile(np.eye(3), (2, 1, 1)), np.array([[0, 0, 0], [20.0 * share, 0, 0]])
    (gap,) = penetrations(features, [False, True], *poses).gap_mm
    assert 0.25 * min(thick, 4.0) < -gap <= 0.5 * thick


def test_blocks_side_by_side_with_their_ends_flush_are_not_in_each_other():
    features = [features_of(box(20, 20, 20))] * 2
    for pushed in (0.0, 0.05, 0.9):
        poses = np.tile(np.eye(3), (2, 1, 1)), np.array([[0, 0, 0], [20.0 - pushed, 0, 0]])
        assert len(penetrations(features, [False, True], *poses).gap_mm) == 0


def test_a_rod_through_a_thin_shim_is_told():
    features = [features_of(box(60, 60, 0.5)), FEATURES["rod"]]
    upright = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    poses = np.array([np.eye(3), upright]), np.array([[0, 0, 0], [17.0, -8.0, 0.0]])
    assert len(penetrations(features, [False, True], *poses).gap_mm) == 1


def test_bodies_of_which_none_moves_are_not_looked_at():
    poses = np.tile(np.eye(3), (2, 1, 1)), np.zeros((2, 3))
    assert len(penetrations([FEATURES["plate"], FEATURES["ball"]], [False, False], *poses).gap_mm) == 0


@pytest.mark.parametrize("seed", range(40))
def test_of_random_pairs_the_kernel_finds_the_same_in_each_other(seed):
    random = np.random.default_rng(seed)
    still, moving = random.choice(list(SHAPES), 2)
    turn = Rotation.random(random_state=seed).as_matrix()
    at = random.uniform(-1, 1, 3) * (30, 30, 15)
    place = np.eye(4)
    place[:3, :3], place[:3, 3] = turn, at
    other = SHAPES[moving].moved(location_of(place))
    rows = found(still, moving, at, turn)
    shared = common(SHAPES[still], other)
    if len(rows.gap_mm):
        assert volume_mm3(shared) > 0.0
    for piece in shared.Solids():
        middle = np.array(piece.Center().toTuple())
        deep = min(
            distance(vertex(middle), cq.Compound.makeCompound(s.Faces()))[0] if is_inside(s, middle) else 0.0
            for s in (SHAPES[still], other)
        )
        if deep > DEEP_MM:
            assert len(rows.gap_mm) == 1


def test_a_skin_is_closed_and_lies_within_a_chord_of_the_solid():
    for name in ("ball", "ring", "socket"):
        skin = surface_triangulation(SHAPES[name])
        # Euler: corners - edges + triangles is two for a ball, none for what has one hole.
        hollow = {"ball": 2, "ring": 0, "socket": 0}[name]
        assert len(skin.points_mm) - len(skin.edges) + len(skin.triangles) == hollow
        corners = skin.points_mm[skin.triangles]
        volume = float(np.einsum("ni,ni->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))) / 6
        exact, area = SHAPES[name].Volume(), SHAPES[name].Area()
        assert math.isclose(volume, exact, abs_tol=CHORD_MM * area)


def solid_angle(place, corners):
    """Solid angle of triangles (t, 3, 3) seen from a place, over 4 pi (van Oosterom and Strackee 1983)."""
    a, b, c = (corners[:, k] - place for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    return float(np.sum(2 * np.arctan2(triple, below)) / (4 * math.pi))


def least_away(place, corners):
    """Least distance of a place from triangles, from the planes, edges and corners of every one of them."""
    a, b, c = (corners[:, k] for k in range(3))
    out = np.cross(b - a, c - a)
    out /= np.linalg.norm(out, axis=1)[:, None]
    off = ((place - a) * out).sum(1)
    foot = place - off[:, None] * out
    sides = [(np.cross(q - p, foot - p) * out).sum(1) for p, q in ((a, b), (b, c), (c, a))]
    away = np.where(np.min(sides, axis=0) >= 0, np.abs(off), np.inf)
    for p, q in ((a, b), (b, c), (c, a)):
        share = np.clip(((place - p) * (q - p)).sum(1) / ((q - p) ** 2).sum(1), 0, 1)
        away = np.minimum(away, np.linalg.norm(place - p - share[:, None] * (q - p), axis=1))
    return float(away.min())


@pytest.mark.parametrize("name", ["socket", "ring", "cone", "ball"])
def test_boxes_of_triangles_pass_over_none_that_counts(name):
    one = surface_triangulation(SHAPES[name])
    turn = Rotation.from_rotvec([0.7, -0.4, 0.2]).as_matrix()
    points = one.points_mm @ turn.T
    skin = with_boxes(points, one.triangles, one.edges)
    corners = points[one.triangles]
    for place in np.random.default_rng(3).uniform(1.1 * points.min(0), 1.1 * points.max(0), (60, 3)):
        at = tuple(place.tolist())
        assert _within(at, skin) == (abs(solid_angle(place, corners)) > 0.5)
        assert _nearest(skin, at, 0.0)[0] == pytest.approx(least_away(place, corners), abs=1e-9)


def test_whether_bodies_stand_in_each_other_is_told_without_the_deepest_place():
    for still, moving, at in (
        ("plate", "ball", (3, 4, 8.0)),
        ("socket", "plate", (0, 0, 0)),
        ("plate", "rod", (0, 0, 40)),
    ):
        rotation, origin = np.array([np.eye(3)] * 2), np.array([[0, 0, 0], at], float)
        pair = [FEATURES[still], FEATURES[moving]]
        some = penetrations(pair, [False, True], rotation, origin, any_place=True)
        deepest = penetrations(pair, [False, True], rotation, origin)
        assert (len(some.gap_mm) > 0) == (len(deepest.gap_mm) > 0)
        assert some.gap_mm.min(initial=0.0) >= deepest.gap_mm.min(initial=0.0) - 1e-9
