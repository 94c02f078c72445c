"""Bench row of end mills: what a cutter sweeps over a pocket of 200 moves, against one sweep of a wheel."""

from __future__ import annotations

import math

from bench_timing import interleaved_s, ratio_of, shown_s

from fixturecheck.kernel.measure import volume_mm3
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.sweep import Segment, Travel, swept_outline
from fixturecheck.machining.cutter_sweep import cutter_sweep
from fixturecheck.machining.end_mill import CutterPass, passes_of
from fixturecheck.setup.tools import EndMilling, MillMove
from tests.machining.test_end_mill import pocketed, run_of

MOVES = 200
ROUNDS = 5
_LONG_MM, _WIDE_MM, _ROUND_MM, _STEP_MM = 36.0, 18.0, 4.0, 0.14
_TOP_MM = 30.0


def vs_wheel() -> dict[str, object]:
    """Sweep a pocket of 200 lines and arcs with a square and with a ball end mill, and a wheel once.

    The wheel has round edges, goes along X and is cross-fed.
    """
    square, passes = _pocket("square")
    ball, ball_passes = _pocket("ball")
    moves = sum(len(one.path) for one in passes)
    if moves < MOVES:
        raise RuntimeError(f"the pocket has {moves} moves, fewer than {MOVES}")
    squares_s, balls_s, wheels_s = interleaved_s(
        ROUNDS,
        lambda: lambda: cutter_sweep(square, passes, _TOP_MM),
        lambda: lambda: cutter_sweep(ball, ball_passes, _TOP_MM),
        lambda: _wheel,
    )
    swept_mm3 = volume_mm3(cutter_sweep(square, passes, _TOP_MM))
    return {
        "figure": max(ratio_of(squares_s, wheels_s), ratio_of(balls_s, wheels_s)),
        "goal": 10.0,
        "says": (
            f"A pocket of {moves} moves, {swept_mm3:.0f} mm3 swept: square end mill in {shown_s(squares_s)}, "
            f"ball in {shown_s(balls_s)}; one sweep of a wheel in {shown_s(wheels_s)}. The dearer counts."
        ),
    }


def _pocket(shape: str) -> tuple[EndMilling, tuple[CutterPass, ...]]:
    """Return a run over a pocket with round corners and where its cutter of 6 mm goes."""
    body = pocketed(_LONG_MM, _WIDE_MM, _ROUND_MM)
    move = MillMove(kind="pocket", face="floor", step_mm=_STEP_MM)
    run = run_of(shape=shape, diameter_mm=6.0, moves=(move,))
    return run, passes_of(run, body, body.solid)


def _wheel() -> Solid:
    wheel, corner = 88.0, 0.4
    off = corner * (1.0 - math.sqrt(0.5))
    outline: tuple[Segment, ...] = (
        ("arc", (0.0, wheel - corner), (off, wheel - off), (corner, wheel)),
        ("line", (corner, wheel), (13.0 - corner, wheel)),
        ("arc", (13.0 - corner, wheel), (13.0 - off, wheel - off), (13.0, wheel - corner)),
    )
    travel = Travel(x_from_mm=-60.0, x_to_mm=60.0, y_from_mm=-10.0, y_to_mm=10.0, axis_z_mm=112.0)
    return swept_outline(outline, travel)
