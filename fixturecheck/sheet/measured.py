"""What is measured: faces that are ground, from those that their part seats by, and sizes over rolls."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import flat_of
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.sizes.over_rolls import RolledSize, rolled_sizes

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
