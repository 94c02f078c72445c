"""Faces that lean within their zones, on solids, against closed forms written out for each of them."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.stats import truncnorm

from fixturecheck.nesting.model import settling_model_of, varying_faces
from fixturecheck.nesting.tolerance import sampled_rest
from fixturecheck.result.tolerance import CriticalPlace
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.tolerancing.zones import draw_errors, sides

LEFT = Staging(push={"part": Push(direction=(-1, 0, 0))})
SHIFT_SHARE = truncnorm(-3, 3).var() / 9
"""Variance of the shift, in squares of the half zone."""
LEAN_SHARE = (
    SHIFT_SHARE
    / 3
    * (
        1
        - 2 / 3 * 2 * (1 - math.exp(-4.5)) / math.sqrt(2 * math.pi) / math.erf(3 / math.sqrt(2))
        + SHIFT_SHARE
    )
)
"""That of each slope of a rectangle, as what it lifts at the rim (the moments stand in the test of zones)."""

BASE = Seat(body="part", face="base", on="table", on_face="top")
BACK = Seat(body="part", face="back", on="stop", on_face="face", rank="secondary")


def on_a_table(shapes, zone_mm):
    """A bar 160 mm long on a table 100 mm long that leans."""
    table = shapes.body(
        "table", shapes.box(100, 60, 20, (0, 0, -20)), top=">Z", tolerance_mm={"top": zone_mm}
    )
    part = shapes.body("part", shapes.box(160, 20, 10), "part", base="<Z")
    return shapes.setup(table, part, seats=(BASE,))


@pytest.mark.parametrize(("x_mm", "y_mm"), [(0, 0), (30, 0), (80, 0), (80, 10)])
def test_a_bar_on_a_table_that_leans_is_out_by_shift_and_slope_times_offset(shapes, x_mm, y_mm):
    half_um = 10.0
    at = CriticalPlace(name="spot", body="part", at_mm=(x_mm, y_mm, 10), direction=(0, 0, 1))
    chances = sampled_rest(on_a_table(shapes, 2e-3 * half_um), targets=(at,)).chances
    (spot,) = chances.targets
    # The table's rim is 50 and 30 mm from its middle, and |s| + |a| + |b| <= h: at worst one has all of it.
    along, across = x_mm / 50, y_mm / 30
    most_um = half_um * max(1, along)
    assert (spot.low_um, spot.high_um) == pytest.approx((-most_um, most_um), abs=1e-3)
    variance = SHIFT_SHARE + (along**2 + across**2) * LEAN_SHARE
    assert spot.sigma_um == pytest.approx(half_um * math.sqrt(variance), rel=0.03)
    # The shares of the variance are those of the terms.
    by_leaning = (along**2 + across**2) * LEAN_SHARE / variance
    assert dict(spot.lean_by_face)["table.top"] == pytest.approx(by_leaning, abs=0.02)
    assert dict(spot.share_by_face)["table.top"] == pytest.approx(1.0, abs=1e-3)
    assert chances.checked_um < 0.02


def test_a_stop_that_leans_turns_the_part(shapes):
    half_um, lever_mm = 10.0, 100.0
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)), top=">Z")
    stop = shapes.body(
        "stop", shapes.box(10, 100, 20, (-5, 0, 0)), face=">X", tolerance_mm={"face": 2e-3 * half_um}
    )
    part = shapes.body("part", shapes.box(30, 20, 20, (15, 0, 0)), "part", base="<Z", back="<X")
    # Off the part's centre, which slides along the stop or not, but does not turn.
    far = CriticalPlace(name="tip", body="part", at_mm=(15 + lever_mm, 0, 10), direction=(0, 1, 0))
    chances = sampled_rest(shapes.setup(table, stop, part, seats=(BASE, BACK)), LEFT, targets=(far,)).chances
    (tip,) = chances.targets
    # The face is 100 mm wide, so it turns the part by slope / 50 mm, and the tip goes that times the lever.
    most_um = half_um * lever_mm / 50
    assert (tip.low_um, tip.high_um) == pytest.approx((-most_um, most_um), abs=2e-3)
    assert tip.sigma_um == pytest.approx(half_um * lever_mm / 50 * math.sqrt(LEAN_SHARE), rel=0.03)
    assert dict(tip.lean_by_face)["stop.face"] == pytest.approx(1.0, abs=1e-3)
    assert chances.checked_um < 0.02


def two_seats(shapes, **more):
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)), top=">Z", tolerance_mm={"top": 0.01})
    stop = shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0)), face=">X", tolerance_mm={"face": 0.02})
    block = more.pop("solid", None) or shapes.box(30, 20, 20, (15, 0, 0))
    zones = more.pop("zones", {"base": 0.03, "back": 0.01})
    part = shapes.body("part", block, "part", tolerance_mm=zones, base="<Z", back="<X", **more)
    return shapes.setup(table, stop, part, seats=(BASE, BACK))


class Drawn:
    """The errors of some faces in every draw, as heights at places in the machine's frame."""

    def __init__(self, setup, seed=1, count=10_000):
        self.bench = settling_model_of(setup)
        self.vary = varying_faces(self.bench)
        self.errors = draw_errors(self.vary.zones, count, seed)

    def rows(self, body, face, place):
        """What each error adds to a face's height at a place, (k,)."""
        number = self.bench.index(body)
        index = self.bench.bodies[number].faces[face][0]
        varies = self.vary.faces[number, index]
        local = self.bench.drawn.rotation[number].T @ (np.array(place) - self.bench.drawn.origin_mm[number])
        out = np.zeros(self.errors.shape[1])
        out[varies.columns()] = varies.shares(local)
        return out


def wall_rows(drawn, heights):
    """How far the wall, 20 mm up, is out along X with each error, if the back touches at one of the heights.

    The base lies flush on the table, so the part pitches by the difference of their heights over its length:
    by p it goes back by p times the height. It turns until the back lies along the stop; across the height it
    touches at one end. By hand: x(20) = d_back(z) + d_stop(z) + p z - 20 p.
    """
    pitch = sum(
        drawn.rows(*face, (1.0, 0, 0)) - drawn.rows(*face, (0.0, 0, 0))
        for face in (("table", "top"), ("part", "base"))
    )
    return [
        drawn.rows("stop", "face", (0, 0, z)) + drawn.rows("part", face, (0, 0, z)) + (z - 20.0) * pitch
        for face, z in heights
    ]


def test_two_seats_stack_as_their_planes_do_in_every_draw(shapes):
    setup = two_seats(shapes)
    wall = CriticalPlace(name="wall", body="part", at_mm=(15, 0, 20), direction=(1, 0, 0))
    sampled = sampled_rest(setup, LEFT, targets=(wall,))
    chances = sampled.chances
    (found,) = chances.targets
    drawn = Drawn(setup)
    low, high = wall_rows(drawn, [("back", 0.0), ("back", 20.0)])
    by_hand = 1e3 * np.maximum(drawn.errors @ low, drawn.errors @ high)
    assert sampled.draws_um[wall.name] == pytest.approx(by_hand, abs=1e-3)
    assert chances.checked_um < 0.05
    # The worst of a greater of two is the greater worst; each is a sum over the faces, at vertices.
    most, least = worst_by_programme(drawn, [low, high])
    assert (found.low_um, found.high_um) == pytest.approx((least, most), abs=1e-3)


def worst_by_programme(drawn, rows):
    """The most and the least of the greatest of some forms over all zones, um, from one programme each."""
    count = drawn.errors.shape[1]
    wide, limits, at = [], [], 0
    for zone in drawn.vary.zones:
        side, limit = sides(zone)
        block = np.zeros((len(side), count + 1))
        block[:, at : at + side.shape[1]] = side
        at += side.shape[1]
        wide.append(block)
        limits.append(limit)
    wide, limits = np.vstack(wide), np.concatenate(limits)
    free = [(None, None)] * (count + 1)
    most = max(-linprog(np.append(-row, 0.0), A_ub=wide, b_ub=limits, bounds=free).fun for row in rows)
    above = np.hstack((np.array(rows), -np.ones((len(rows), 1))))
    last = np.append(np.zeros(count), 1.0)
    least = linprog(
        last, A_ub=np.vstack((wide, above)), b_ub=np.concatenate((limits, np.zeros(len(rows)))), bounds=free
    ).fun
    return 1e3 * most, 1e3 * least


def test_a_ledge_lands_first_as_often_as_its_plane_reaches_further(shapes):
    # The upper half of the back stands 2 um behind the seat.
    block = shapes.box(30, 20, 20, (15, 0, 0))
    part = cq.Workplane(block).cut(cq.Workplane(shapes.box(0.002, 40, 12, (0.001, 0, 10)))).val()
    setup = two_seats(shapes, solid=part, zones={"back": 0.012, "tab": 0.012}, tab="<X[1]")
    chances = sampled_rest(setup, LEFT).chances
    drawn = Drawn(setup)
    seat = np.max([drawn.errors @ r for r in wall_pairs(drawn, "back", (0.0, 10.0))], axis=0)
    tab = np.max([drawn.errors @ r for r in wall_pairs(drawn, "tab", (10.0, 20.0))], axis=0) - 0.002
    lands = {frozenset((w.a, w.b)): w.share_lands for w in chances.wrong}
    # The two turn the part differently about Z, so both may carry; alone it is the tab where it is ahead at
    # both ends of its width, never where it is behind at both.
    share = lands[frozenset(("part.tab", "stop.face"))]
    assert share >= np.mean(tab - slack(drawn) > seat) - 1e-3
    assert share <= np.mean(tab + slack(drawn) > seat) + 1e-3
    assert chances.checked_um < 0.1


def wall_pairs(drawn, face, heights):
    """How far each end of a face's height pushes the part back, at the height itself."""
    pitch = drawn.rows("table", "top", (1.0, 0, 0)) - drawn.rows("table", "top", (0.0, 0, 0))
    return [
        drawn.rows("stop", "face", (0, 0, z)) + drawn.rows("part", face, (0, 0, z)) + z * pitch
        for z in heights
    ]


def slack(drawn):
    """How much the two faces' slopes along Y differ over half their width."""
    rows = [
        drawn.rows("part", face, (0, 10.0, 15.0)) - drawn.rows("part", face, (0, 0, 15.0))
        for face in ("back", "tab")
    ]
    return np.abs(drawn.errors @ (rows[0] - rows[1]))


def test_the_odds_do_not_depend_on_how_the_part_is_turned_in_its_own_frame(shapes):
    plain = sampled_rest(two_seats(shapes), LEFT)
    turned = shapes.box(30, 20, 20, (15, 0, 0)).rotate(cq.Vector(0, 0, 0), cq.Vector(1, 2, 3), 50)
    table = shapes.body("table", shapes.box(200, 200, 20, (0, 0, -20)), top=">Z", tolerance_mm={"top": 0.01})
    stop = shapes.body("stop", shapes.box(10, 100, 20, (-5, 0, 0)), face=">X", tolerance_mm={"face": 0.02})
    drawn = cq.Workplane(shapes.box(30, 20, 20, (15, 0, 0)))
    body = shapes.body(
        "part", turned, "part", turn=(cq.Vector(1, 2, 3), -50), tolerance_mm={"base": 0.03, "back": 0.01}
    )
    middles = {"base": drawn.faces("<Z").val().Center(), "back": drawn.faces("<X").val().Center()}
    spin = cq.Location(cq.Vector(0, 0, 0), cq.Vector(1, 2, 3), 50)
    faces = {
        name: (nearest(turned, (cq.Location(middle) * cq.Location()).toTuple()[0], spin),)
        for name, middle in middles.items()
    }
    again = sampled_rest(
        shapes.setup(table, stop, type(body)(**{**fields_of(body), "faces": faces}), seats=(BASE, BACK)), LEFT
    )
    assert again.move.std(axis=0) == pytest.approx(plain.move.std(axis=0), rel=0.05, abs=1e-7)


def fields_of(body):
    return {name: getattr(body, name) for name in body.__slots__}


def nearest(solid, place, spin):
    """The number of the face whose middle is nearest a turned place."""
    at = (spin * cq.Location(cq.Vector(*place))).toTuple()[0]
    away = [(f.Center() - cq.Vector(*at)).Length for f in solid.Faces()]
    return int(np.argmin(away))
