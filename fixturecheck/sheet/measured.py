"""Which sizes are measured at the end, and with which gauge."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import flat_of
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.sizes.faces import RolledSize, rolled_sizes
from fixturecheck.units import Writing
from fixturecheck.wording.settings import rolls_words

_PARALLEL = 1.0 - 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredFace:
    """A face to be measured.

    Parameters
    ----------
    face : FaceRef
        The face, on the first part of its cut.
    over : FaceRef or None
        The seat of the part that is parallel to it; None where there is none.
    size_mm : float or None
        How far apart they are.
    parts : int
        How many parts of the cut have the face.
    """

    face: FaceRef
    over: FaceRef | None
    size_mm: float | None
    parts: int


def measured_of(setup: Setup) -> Iterator[MeasuredFace | RolledSize]:
    """Yield faces that are ground or milled, with their distance from a parallel seat, then sizes over rolls.

    Parameters
    ----------
    setup : Setup
        Of each cut the floor, and the wall where stock comes off it; of each end mill the flat faces that it
        makes.

    Yields
    ------
    MeasuredFace or RolledSize
        A face once for all parts of a cut; sizes over rolls that can be worked out.
    """
    for cut in setup.cuts:
        body = setup.body(cut.parts[0])
        for face in (cut.floor, cut.wall if _ground(cut) else None):
            if face is not None:
                yield _height(setup, body, face, len(cut.parts))
    for run in setup.end_mills:
        body = setup.body(run.parts[0])
        for face in run.makes:
            if _plane(body, face) is not None:
                yield _height(setup, body, face, len(run.parts))
    yield from (one for one in rolled_sizes(setup) if isinstance(one, RolledSize))


def _ground(cut: Cut) -> bool:
    """Tell whether a cut takes anything off its wall."""
    return cut.wall is not None and cut.wall_stock_mm > 0


def _height(setup: Setup, body: Body, face: str, parts: int) -> MeasuredFace:
    target = _plane(body, face)
    name = FaceRef.of(body.name, face)
    for seat in setup.seats:
        other = _plane(body, seat.face) if seat.body == body.name else None
        if target is None or other is None:
            continue
        along = sum(a * b for a, b in zip(target[1], other[1], strict=True))
        if abs(along) >= _PARALLEL:
            size_mm = abs(sum((p - q) * n for p, q, n in zip(target[0], other[0], target[1], strict=True)))
            return MeasuredFace(face=name, over=seat.own, size_mm=size_mm, parts=parts)
    return MeasuredFace(face=name, over=None, size_mm=None, parts=parts)


def _plane(body: Body, face: str) -> tuple[Vector, Vector] | None:
    """Return a point and the normal of a flat face in the part's own frame; None where it is not flat."""
    faces = faces_of(body.solid)
    indices = body.face_indices(face)
    return flat_of(faces[indices[0]]) if indices else None


_TEN = 10.0
"""A gauge reads a tenth of the tolerance or finer: common practice, no source."""
_GAUGES = (
    (0.02, "caliper"),
    (0.01, "micrometer or depth micrometer"),
    (0.002, "micrometer with vernier, or indicator over gauge blocks"),
    (0.0, "indicator of {finest} or finer over gauge blocks, at one temperature"),
)
"""By the least step that a gauge reads, mm, what it is: common practice, no source."""
_FINEST = {"mm": "0.5 µm", "inch": "0.00002 in"}
"""A step of a fine indicator, by the units of its dial: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureRow:
    """A face to be measured: its size, its tolerance, and with what."""

    face: str
    size: str
    tolerance: str
    gauge: str


def measure_rows(
    setup: Setup, heights: Sequence[MeasuredFace | RolledSize], left_mm: Mapping[str, float]
) -> Iterator[MeasureRow]:
    """Yield what to measure of the first part of each cut, and with what.

    Parameters
    ----------
    setup : Setup
        With the tolerance of each face.
    heights : sequence of MeasuredFace or RolledSize
        What `measured_of` yields.
    left_mm : mapping of str to float
        By face, the stock that is left on it for a later operation.

    Yields
    ------
    MeasureRow
        In the order of `heights`.
    """
    write = setup.write
    for height in heights:
        if isinstance(height, RolledSize):
            yield _over_rolls(height, write)
            continue
        zone_mm = setup.body(height.face.body).zone_mm(height.face.face)
        size = "by the drawing"
        if height.size_mm is not None:
            size = f"{write.length(height.size_mm, '.3f')} from {height.over}"
        tolerance = "by the drawing" if zone_mm is None else f"±{write.length(zone_mm / 2, 'g')}"
        left = left_mm.get(height.face.face, 0.0)
        if left > 0.0:
            # A tenth of the stock that is left reads a rough size well enough: common practice, no source.
            zone_mm, tolerance = left, f"rough: {write.length(left, 'g')} is left"
        more = f" (each of {height.parts})" if height.parts > 1 else ""
        yield MeasureRow(
            face=f"{height.face}{more}", size=size, tolerance=tolerance, gauge=gauge_for(zone_mm, write.units)
        )


def _over_rolls(size: RolledSize, write: Writing) -> MeasureRow:
    """Return the row of a size that is measured over rolls."""
    one, off_mm = size.stated, size.off_mm
    how = rolls_words(len(one.lies_on), one.roll_mm, one.to, write, between=size.between)
    return MeasureRow(
        face=f"{one.part}, {one.name}",
        size=f"{write.length(size.reading_mm, '.4f')} {how}",
        tolerance="by the drawing" if off_mm is None else f"±{write.length(off_mm, '.4f', 'down')}",
        gauge=gauge_for(None if off_mm is None else 2.0 * off_mm, write.units),
    )


def gauge_for(zone_mm: float | None, units: str) -> str:
    """Return what reads a tenth of a tolerance zone or finer: common practice, no source.

    Parameters
    ----------
    zone_mm : float or None
        The whole width of the zone; None where none is stated.
    units : str
        `mm` or `inch`: what the gauge is graduated in.

    Returns
    -------
    str
        The gauge; without a zone, that the drawing asks for it.
    """
    if zone_mm is None:
        return "as the drawing asks"
    kind = next(gauge for step_mm, gauge in _GAUGES if zone_mm / _TEN >= step_mm)
    return kind.format(finest=_FINEST[units])
