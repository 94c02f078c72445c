"""A tool pushes where the face is: on parts that are no rectangles, worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from fixturecheck import Clamp, Cut, Holding, Milling, Seat, Setup, body, equipment
from fixturecheck.kernel.construct import box, extruded_polygon
from fixturecheck.result.hold import Driver
from tests.holding.rigs import milled, unfollowed

CLAPPER = ((0.0, 0.0), (60.0, 0.0), (60.0, 20.0), (22.0, 20.0), (22.0, 50.0), (0.0, 50.0))
THICK_MM, DENSITY_KG_MM3, G_M_S2 = 12.0, 7.87e-6, 9.80665
TOE_N, DOWN_DEG, MU = 320.0, 15.0, 0.1


def clapper(*, cuts=(), milling=()):
    """An L of 60 x 50 against a stop at its left end, a toe at its right end, its other leg free."""
    table = body(
        "table",
        box((-100, -70, -20), (100, 70, 0)),
        role="fixture",
        material="steel_1018",
        finish="ground",
        faces={"top": ">Z"},
    )
    sizes = {"length_mm": 25.0, "width_mm": 20.0, "height_mm": 8.0, "chamfer_mm": 0.0}
    stop = equipment("blocking_block", name="stop", at=(-12.5, 10, 0), fastened=True, **sizes)
    solid = extruded_polygon(np.array([(x, y, 0.0) for x, y in CLAPPER]), np.array([0.0, 0.0, THICK_MM]))
    part = body(
        "clapper",
        solid,
        material="steel_1018",
        finish="ground",
        faces={"seat": "<Z", "top": ">Z", "end": "<X"},
    )
    toe = Clamp(
        name="toe",
        kind="toe",
        body="clapper",
        at_mm=(60.0, 10.0, 8.0),
        inward=(-1.0, 0.0, 0.0),
        down_deg=DOWN_DEG,
        force_n=TOE_N,
        spread_share=0.0,
    )
    return Setup(
        name="clapper under a toe",
        bodies=(table, *stop, part),
        seats=(
            Seat(body="clapper", face="seat", on="table", on_face="top"),
            Seat(body="clapper", face="end", on="stop", on_face="plus_x", rank="stop", min_share=0.2),
        ),
        cuts=cuts,
        holding=Holding(magnet="off", mu=(MU, MU), clamps=(toe,), milling=milling),
    )


def test_a_wrong_no_go_by_a_wheel_where_the_part_is_not(compared):
    """The wheel at the end of the free leg turns the clapper about the corner of the stop at its foot.

    By moments about that corner: of toe, and of friction under toe, weight and wheel, against those of drag
    and cross feed. In the corner of the box round the L, where there is no part, the wheel tipped it at half
    of that.
    """
    cut = Cut(
        name="top",
        parts=("clapper",),
        floor="top",
        stock_mm=0.1,
        way="traverse",
        downfeed_mm=0.02,
        cross_feed_mm=5.0,
    )
    (part,) = unfollowed(clapper(cuts=(cut,))).held.parts
    drag, press, across = (
        end(part.forces[name])
        for name, end in (
            (Driver.DRAG, lambda r: r.high),
            (Driver.PRESS, lambda r: r.low),
            (Driver.CROSS, lambda r: r.high),
        )
    )
    x, y = 22.0, 50.0 - 2.5
    middle, area = np.array([(30.0 * 1200.0 + 11.0 * 660.0), (10.0 * 1200.0 + 35.0 * 660.0)]) / 1860.0, 1860.0
    weight = area * THICK_MM * DENSITY_KG_MM3 * G_M_S2
    down = math.radians(DOWN_DEG)
    toe = TOE_N * math.cos(down) * 10.0 + MU * TOE_N * math.sin(down) * math.hypot(60.0, 10.0)
    kept = toe + MU * weight * math.hypot(*middle)
    drives = drag * y + across * x - MU * press * math.hypot(x, y)
    by_hand = kept / drives
    assert part.borne.case.at_mm[:2] == pytest.approx((x, y))
    assert 0.93 * by_hand < part.factors.factor.low < 1.01 * by_hand
    what = "L-shaped part against a stop turns about its corner"
    compared(what, expected=by_hand, got=part.factors.factor.low)


def test_a_wrong_no_go_by_teeth_where_the_part_is_not():
    """Every tooth stands over the L as it lies there, its corners and the foot between them included."""
    mill = Milling(
        name="top",
        parts=("clapper",),
        face="top",
        cutter_mm=10.0,
        teeth=2,
        deep_mm=0.5,
        wide_mm=6.0,
        feed_mm_tooth=0.02,
    )
    for feed in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)):
        job = milled(clapper(milling=(replace(mill, feed=feed),)), "clapper").process
        places = np.array([t.at_mm[:2] for c in job.cases() for t in c.teeth])
        # As far beyond the edge from corner to corner as half of what is cut at a time.
        hull = shapely.MultiPoint(CLAPPER).convex_hull.buffer(3.0 * math.hypot(38.0, 30.0) / 30.0)
        assert hull.contains(shapely.MultiPoint(places))
        off_mm = [
            np.hypot(*(places - corner).T).min() for corner in ((0, 0), (60, 0), (0, 50), (22, 50), (60, 20))
        ]
        # The end of what is cut at a time is slanted there.
        assert max(off_mm) < 6.0 * 38.0 / 30.0 + 0.1
