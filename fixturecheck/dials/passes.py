"""How many passes a stock takes, and how long a batch."""

from __future__ import annotations

import math

from fixturecheck.result.dials import PassPlan

_SAME_SHARE = 1e-9
"""A depth that is a whole number of passes but for this share of one needs no further pass."""


def passes_for(depth_mm: float, feed_mm: float) -> int:
    """Return the least number of passes of a feed that takes a depth.

    References
    ----------
    Closed form.
    """
    if depth_mm <= 0:
        return 0
    return math.ceil(depth_mm / feed_mm - _SAME_SHARE)


def strokes_for(cross_mm: float, step_mm: float) -> int:
    """Return the strokes of the table that cover a cross feed, one at either end included.

    References
    ----------
    Closed form.
    """
    return 1 + passes_for(cross_mm, step_mm)


def stroke_min(stroke_mm: float, table_speed_m_min: float, reversal_s: float) -> float:
    """Return the time of one stroke with its reversal.

    References
    ----------
    Path over speed, closed form: 300 mm at 12 m/min are 1.5 s.
    """
    return stroke_mm * 1e-3 / table_speed_m_min + reversal_s / 60.0


def plan_passes(
    *,
    depth_mm: float,
    downfeed_mm: float,
    finish_mm: float,
    finish_downfeed_mm: float,
    wall_mm: float,
    wall_feed_mm: float,
    spark_out: int,
    strokes: int,
    stroke_mm: float,
    table_speed_m_min: float,
    reversal_s: float,
    once_min: float,
    parts: int,
) -> PassPlan:
    """Return the passes of a cut and its time.

    Down come first the rough passes, then those for `finish_mm`; each covers the floor in `strokes` strokes.
    A wall is fed into at full depth, one stroke for each feed. Spark-out goes over everything once more.

    Parameters
    ----------
    depth_mm, wall_mm : float
        Stock on floor and wall.
    downfeed_mm, finish_downfeed_mm, wall_feed_mm : float
        Depth of one pass of each sort.
    finish_mm : float
        How much of the depth is finished; no more than the depth.
    once_min : float
        Time to touch off and to change parts, once for the batch.
    parts : int
        Parts in the cut.

    References
    ----------
    Closed form.
    """
    finished_mm = min(finish_mm, depth_mm)
    rough = passes_for(depth_mm - finished_mm, downfeed_mm)
    finish = passes_for(finished_mm, finish_downfeed_mm)
    wall = passes_for(wall_mm, wall_feed_mm) if wall_mm > 0 else 0
    each_min = stroke_min(stroke_mm, table_speed_m_min, reversal_s)
    batch_min = ((rough + finish + spark_out) * strokes + wall) * each_min + once_min
    return PassPlan(
        rough=rough,
        finish=finish,
        wall=wall,
        spark_out=spark_out,
        strokes=strokes,
        stroke_mm=stroke_mm,
        batch_min=batch_min,
        part_min=batch_min / parts,
    )
