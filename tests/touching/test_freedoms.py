"""What contacts leave a body: the joints of a textbook, each by its lower pair or by hand.

Lower pairs (Reuleaux) leave: prismatic 1, revolute 1, cylindrical 2, spherical 3, planar 3
degrees of freedom.
"""

from __future__ import annotations

import cadquery as cq
import pytest

from fixturecheck.result import Result
from fixturecheck.result.rest import FreedomKind
from fixturecheck.units import METRIC
from fixturecheck.wording.motion import free_says
from tests.touching.blocks import ball, box, free, look, lying_rod, rod

S, T = FreedomKind.SLIDES, FreedomKind.TURNS


def bored(deep_mm: float | None = None) -> cq.Workplane:
    return box(40, 40, 10).faces(">Z").workplane().hole(10, deep_mm)


def cup() -> cq.Workplane:
    return box(30, 30, 10, (0, 0, -10)).cut(cq.Workplane().sphere(8))


def vee() -> cq.Workplane:
    cut = cq.Workplane("XZ").polyline([(-15, 30), (15, 30), (0, 15)]).close().extrude(80, both=True)
    return box(40, 60, 30).cut(cut)


def pocket(x_mm: float = 20.0) -> cq.Workplane:
    return box(40, 40, 30).cut(box(x_mm, 20, 10, (0, 0, 10)))


def keeps(result: Result, body: str) -> list[tuple[FreedomKind, tuple[float, ...]]]:
    return [(f.kind, tuple(round(v, 6) + 0.0 for v in f.axis)) for f in free(result, body).keeps]


X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)

JOINTS = {
    "planar": (box(40, 40, 10), box(20, 20, 5, (0, 0, 10)), [(S, X), (S, Y), (T, Z)], [Z]),
    "cylindrical": (bored(), rod(5, 30), [(S, Z), (T, Z)], []),
    "revolute on a shoulder": (bored(6), rod(5, 30, (0, 0, 4)), [(T, Z)], [Z]),
    "spherical": (cup(), ball(8, (0, 0, 0)), [(T, X), (T, Y), (T, Z)], [Z]),
    "rod in a V": (vee(), lying_rod(8, 30, (0, 0, 15 + 8 * 2**0.5)), [(S, Y), (T, Y)], [Z]),
    "rod on a plane": (
        box(40, 40, 10),
        lying_rod(8, 30, (0, 0, 18)),
        [(S, X), (S, Y), (T, Y), (T, Z)],
        [Z],
    ),
    "ball on a plane": (box(40, 40, 10), ball(8, (0, 0, 18)), [(S, X), (S, Y), (T, X), (T, Y), (T, Z)], [Z]),
    "shut in": (pocket(), box(20, 20, 10, (0, 0, 10)), [], []),
}


@pytest.mark.parametrize("joint", JOINTS)
def test_a_joint_leaves_the_freedoms_of_its_closed_form(joint: str) -> None:
    still, moves, expected, leaves = JOINTS[joint]
    result = look(still=still, moves=moves)
    told = free(result, "moves")
    assert keeps(result, "moves") == expected
    assert [tuple(round(v, 6) + 0.0 for v in way) for way in told.leaves[:1]] == leaves
    assert told.shut_in is not bool(leaves)


def test_how_far_a_slide_goes() -> None:
    """A block 19 long in a pocket 20 long, its middle 0.2 off: 0.3 one way and 0.7 the other."""
    result = look(still=pocket(), moves=box(19, 20, 10, (0.2, 0, 10)))
    (slide,) = free(result, "moves").keeps
    assert (slide.kind, slide.low, slide.high) == (S, pytest.approx(-0.7), pytest.approx(0.3))
    assert free(result, "moves").shut_in
    told = free_says(free(result, "moves"), METRIC)
    assert (
        told
        == "moves slides along X as far as -0.7 and +0.3 mm and keeps its contacts; it does not come away."
    )


def test_a_block_in_a_corner_leaves_along_two_ways() -> None:
    result = look(
        floor=box(40, 40, 10), wall=box(10, 40, 20, (-15, 0, 10)), block=box(10, 10, 10, (-5, 0, 10))
    )
    assert keeps(result, "block") == [(S, Y)]
    assert free(result, "block").leaves == (X, Z)


def test_a_body_that_comes_away_by_turning_only_is_not_shut_in() -> None:
    """A pad under one end of a bar, one over the other, rods at both ends: only tipping frees it."""
    bar = box(60, 10, 5)
    result = look(
        bar=bar,
        under_one=box(4, 10, 5, (-28, 0, -5)),
        over=box(4, 10, 5, (20, 0, 5)),
        left=lying_rod(2, 10, (-32, 0, 2.5)),
        right=lying_rod(2, 10, (32, 0, 2.5)),
        front=box(60, 4, 5, (0, -7, 0)),
        back=box(60, 4, 5, (0, 7, 0)),
    )
    told = free(result, "bar")
    assert (told.keeps, told.leaves, told.shut_in) == ((), (), False)
    assert free_says(told, METRIC).endswith("it comes away by turning only.")


def test_what_touches_nothing_keeps_all_six() -> None:
    result = look(still=box(40, 40, 10), moves=box(5, 5, 5, (0, 0, 10.2)))
    assert free_says(free(result, "moves"), METRIC) == (
        "moves touches nothing: all six degrees of freedom are left."
    )
    (finding,) = (f for f in result.findings if f.about == ("moves",))
    assert finding.value == 6.0


def test_of_what_overlaps_it_is_not_known() -> None:
    result = look(still=box(40, 40, 10), moves=box(5, 5, 5, (0, 0, 9.9)))
    assert free(result, "moves").unknown
    (group,) = (g for g in result.groups if result.findings[g.lead].kind == "overlap")
    assert sum(1 + len(g.like) for g in group.follows) == 2
