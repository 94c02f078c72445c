"""What page, terminal and pictures say where a cutter mills: its cautions, and where a part goes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fixturecheck import Holding, Milling
from fixturecheck.report.hold_page import apart_section, hold_section
from fixturecheck.report.html import page
from fixturecheck.report.pictures.figures import cylinder_triangles
from fixturecheck.report.pictures.hold_scene import hold_scenes
from fixturecheck.report.pictures.scene import set_stage
from fixturecheck.report.terminal import hold_lines
from fixturecheck.report.write import meshes_of
from fixturecheck.result import Result
from fixturecheck.result.finding import Verdict
from fixturecheck.result.hold import CutCase, CutterWay, End, Tool
from fixturecheck.setup.model import Setup
from tests.report import staged, staged_hold
from tests.report.test_hold_page import said

OUTCOMES = {
    "digs in": "is taken into the cutter",
    "stopped": "moves into the cutter and is stopped",
    "stays": "passes the cutter",
    "falls away": "moves away from the cutter",
    "": "whether it goes into the cutter is not known",
}
MILL = Milling(
    name="edge",
    parts=("gib_1",),
    face="top",
    cutter_mm=16.0,
    teeth=3,
    deep_mm=0.5,
    wide_mm=6.0,
    feed_mm_tooth=0.03,
    way="climb",
)


def milled(outcome: str = "digs in") -> Result:
    part = replace(
        staged_hold.WEAK,
        case=CutCase(stroke=CutterWay.CLIMB, end=End.LEFT, force_n=150.0),
        drag_n=(0.0, 0.0),
        press_n=(0.0, 0.0),
        milling_n=(40.0, 120.0),
        tool=Tool.CUTTER,
        outcome=outcome,
        axis_mm=(-25.0, -6.0, 10.0),
        cutter_mm=16.0,
        inputs=(),
        remedies=(),
    )
    hold = replace(staged_hold.hold(), parts=(part,), before="", maps=(), section=None)
    return replace(staged.result(), holding=hold)


def mills(*, grinds: bool) -> Setup:
    setup = staged.setup()
    return replace(setup, holding=Holding(milling=(MILL,)), cuts=setup.cuts if grinds else ())


@pytest.mark.parametrize("outcome", OUTCOMES)
def test_where_it_goes_is_told_of_the_cutter(outcome: str) -> None:
    page_says = said(hold_section(milled(outcome), {}))
    lines = " ".join(hold_lines(milled(outcome).holding, "mm"))
    words = OUTCOMES[outcome]
    assert words in lines
    assert words[:1].upper() + words[1:] in page_says
    assert "wheel" not in lines
    assert "wheel" not in page_says


def test_what_it_goes_over_is_told() -> None:
    result = milled()
    part = replace(result.holding.parts[0], over=("rail",), tips_over=True, hits=None)
    result = replace(result, holding=replace(result.holding, parts=(part,)))
    assert "Tips over rail into the cutter." in said(hold_section(result, {}))
    assert "tips over rail into the cutter" in " ".join(hold_lines(result.holding, "mm"))


def test_the_cautions_are_those_of_a_cutter() -> None:
    """The usual cautions of milling, common practice, no source."""
    told = said(hold_section(milled(), {})) + said(apart_section(milled()))
    assert "tug every part and block before the cutter turns" in told
    assert "no glove, sleeve or hand near a turning cutter" in told
    assert "Cutter clear of the work and the spindle at rest" in told
    assert "hands off a turning cutter" in hold_lines(milled().holding, "mm")[-1]


def test_the_sum_along_the_teeth_is_not_called_as_the_force_that_they_come_to() -> None:
    """The case tells what all teeth come to, with what is square to their way: more than the sum along it."""
    text = said(hold_section(milled(), {}))
    assert "along the teeth" in text
    assert "milling force of 150 N" in text


def test_both_are_named_where_both_cut() -> None:
    result = milled()
    parts = (*result.holding.parts, staged_hold.SAFE)
    both = replace(result, holding=replace(result.holding, parts=parts))
    assert "before the wheel or cutter turns" in said(hold_section(both, {}))


@pytest.mark.parametrize(("grinds", "wheel"), [(False, False), (True, True)])
def test_the_page_speaks_of_what_cuts(grinds: bool, wheel: bool) -> None:
    setup = mills(grinds=grinds)
    result = replace(milled(), verdict=Verdict.NO_GO)
    text = said(page(result if grinds else replace(result, cuts=()), setup, pictures={}))
    assert ("Do not grind this set-up" in text) is wheel
    assert ("Do not mill this set-up" in text) is not wheel
    assert ("ring it" in text) is wheel
    assert "Climb milling draws the part and the table into the cutter" in text
    stated = text.replace("\u202f", " ")
    assert "mill edge parts gib_1; face top; cutter 16 mm; teeth 3;" in stated
    assert "way climb" in stated


def test_the_cutter_is_drawn_where_it_stands() -> None:
    result = milled()
    ((scene, figures),) = hold_scenes(set_stage(result, meshes_of(result)))
    cutter = figures[-1]
    assert np.ptp(cutter.points_mm, axis=0) == pytest.approx((16.0, 16.0, 16.0), rel=0.01)
    assert cutter.points_mm[:, 2].min() == 10.0
    assert {"cutter, its lower end"} <= {row["text"] for row in scene["legend"]}


def test_a_cylinder_has_the_area_of_its_side_and_end() -> None:
    """2 pi r h and pi r^2, a polygon of 48 sides of them."""
    points, triangles = cylinder_triangles(np.array([1.0, 2.0, 3.0]), 5.0, 7.0)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    assert areas.sum() == pytest.approx(2 * np.pi * 5 * 7 + np.pi * 25, rel=3e-3)
    outward = np.einsum("ij,ij->i", np.cross(b - a, c - a), (a + b + c) / 3 - [1.0, 2.0, 6.5])
    assert (outward > 0).all()
