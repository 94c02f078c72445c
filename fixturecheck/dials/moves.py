"""The order in which a hand sets the dials and feeds a cut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fixturecheck.result.dials import (
    DialMove,
    DialReading,
    Feed,
    MoveKind,
    PassPlan,
    Side,
    TargetReading,
    TouchOff,
)
from fixturecheck.setup.dials import Dials


def moves_of(
    dials: Dials,
    touches: Sequence[TouchOff],
    targets: Sequence[TargetReading],
    ends: Sequence[DialReading],
    passes: PassPlan,
    rough: DialReading | None,
) -> Iterator[DialMove]:
    """Yield every step: touch the side, set zero, lift clear, over, touch the top, set zero, down.

    Parameters
    ----------
    touches : sequence of TouchOff
        The side first, the top last.
    targets : sequence of TargetReading
        The floor first, then the wall where there is one.
    ends : sequence of DialReading
        The cross feed where the cut starts, then at its far end.
    rough : DialReading or None
        Where the rough passes end; None where none of the stock is left for finishing.
    """
    lift_mm = dials.lift_mm
    yield DialMove(kind=MoveKind.RAISE, distance_mm=lift_mm)
    for touch in touches:
        if touch.side is Side.SIDE:
            yield DialMove(kind=MoveKind.LOWER_BESIDE, face=touch.face, distance_mm=touch.contact_mm)
            yield DialMove(kind=MoveKind.TOUCH_SIDE, face=touch.face)
            yield DialMove(kind=MoveKind.ZERO_CROSS)
            yield DialMove(kind=MoveKind.LIFT, distance_mm=lift_mm)
        else:
            yield DialMove(kind=MoveKind.OVER, face=touch.face)
            yield DialMove(kind=MoveKind.TOUCH_TOP, face=touch.face)
            yield DialMove(kind=MoveKind.ZERO_DOWN)
            yield DialMove(kind=MoveKind.TO_START, reading=ends[0] if ends else None)
    floor = targets[0]
    if rough is not None and passes.rough:
        yield DialMove(kind=MoveKind.FEED_DOWN, face=floor.face, reading=rough, passes=passes.rough)
    yield DialMove(
        kind=MoveKind.FEED_DOWN,
        face=floor.face,
        reading=floor.reading,
        passes=passes.finish if rough is not None else passes.rough,
    )
    for wall in targets[1:]:
        if passes.wall and wall.reading.feed is Feed.CROSS:
            yield DialMove(kind=MoveKind.FEED_WALL, face=wall.face, reading=wall.reading, passes=passes.wall)
    if passes.spark_out:
        yield DialMove(kind=MoveKind.SPARK_OUT, passes=passes.spark_out)
