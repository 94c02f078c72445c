"""Which bodies and faces are the same ones before and after, whatever they are called, and what moved.

A name that is on both sides stands for itself. What is left over is paired by place and size: each pair costs
how far apart the two are, and all together cost least.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

import numpy as np
from scipy.optimize import linear_sum_assignment

from fixturecheck.comparing.model import FaceChange, Renames, SolidChange, Trend
from fixturecheck.names import BY_PLACE
from fixturecheck.result.shapes import BodyDrawn, FaceDrawn

T = TypeVar("T")

_SAME_MM = 5e-6
"""Places are kept to 1e-6 mm; faces nearer to each other than this have not moved."""
_SAME_DEG = 1e-5
_MOST_TURNED_DEG = 20.0
"""A flat face that turned by more is another face."""
_ALIKE_VOLUME = 0.2
"""Bodies whose volumes differ by more than this share are not one that was renamed."""
_FAR = 1e9


def paired(before: Sequence[T], after: Sequence[T], cost: Callable[[T, T], float]) -> list[tuple[int, int]]:
    """Return the pairs, as places in the two lists, that cost least together; `_FAR` and more is no pair."""
    if not before or not after:
        return []
    if len(before) == len(after) == 1:
        return [(0, 0)] if cost(before[0], after[0]) < _FAR else []
    costs = np.array([[min(cost(b, a), _FAR) for a in after] for b in before])
    rows, columns = linear_sum_assignment(costs)
    found = zip(rows.tolist(), columns.tolist(), strict=True)
    return [(i, j) for i, j in found if costs[i, j] < _FAR]


def _bodies_paired(
    before: Sequence[BodyDrawn], after: Sequence[BodyDrawn]
) -> list[tuple[BodyDrawn, BodyDrawn]]:
    """Return each body with what it has become, by name, else by role, size and place."""
    there = {b.name: b for b in after}
    named = [(b, there[b.name]) for b in before if b.name in there]
    taken = {b.name for b, _ in named}
    left = [b for b in before if b.name not in taken]
    free = [b for b in after if b.name not in taken]
    return named + [(left[i], free[j]) for i, j in paired(left, free, _body_cost)]


def _body_cost(one: BodyDrawn, other: BodyDrawn) -> float:
    large = max(one.volume_mm3, other.volume_mm3)
    size = max(*one.size_mm, *other.size_mm)
    apart = math.dist(one.centre_mm, other.centre_mm)
    differs = math.dist(sorted(one.size_mm), sorted(other.size_mm))
    far = (
        one.role != other.role
        or apart > size
        or abs(one.volume_mm3 - other.volume_mm3) > _ALIKE_VOLUME * large
    )
    return _FAR if far else apart + differs


def _faces_paired(before: BodyDrawn, after: BodyDrawn) -> list[tuple[FaceDrawn, FaceDrawn]]:
    """Return each face of a body with what it has become."""
    if before.faces == after.faces:
        return list(zip(before.faces, after.faces, strict=True))
    size = max(*before.size_mm, *after.size_mm)
    found = paired(before.faces, after.faces, lambda b, a: _face_cost(b, a, size))
    return [(before.faces[i], after.faces[j]) for i, j in found]


def _face_cost(one: FaceDrawn, other: FaceDrawn, size_mm: float) -> float:
    """Return how far two faces are from being one; the same given name is worth a quarter of the body."""
    if one.kind != other.kind:
        return _FAR
    turned_deg = _turned_deg(one, other)
    if turned_deg > _MOST_TURNED_DEG:
        return _FAR
    named = one.name == other.name and not BY_PLACE.fullmatch(one.name)
    apart = math.dist(one.centre_mm, other.centre_mm)
    differs = abs(math.sqrt(one.area_mm2) - math.sqrt(other.area_mm2))
    turned = math.radians(turned_deg) * size_mm
    if not named and apart + differs > size_mm:
        return _FAR
    return apart + differs + turned + (0.0 if named else 0.25 * size_mm)


def _turned_deg(one: FaceDrawn, other: FaceDrawn) -> float:
    if one.normal is None or other.normal is None:
        return 0.0
    # Each face of a body is held against each: arrays of three numbers cost thirty times as much.
    (a, b, c), (x, y, z) = one.normal, other.normal
    across = math.hypot(b * z - c * y, c * x - a * z, a * y - b * x)
    return math.degrees(math.atan2(across, a * x + b * y + c * z))


def face_changes(before: BodyDrawn, after: BodyDrawn) -> tuple[FaceChange, ...]:
    """Return the faces of a body that moved, turned, are new or gone."""
    pairs = _faces_paired(before, after)
    found = [c for b, a in pairs if (c := _moved(b, a)) is not None]
    olds, news = {id(b) for b, _ in pairs}, {id(a) for _, a in pairs}
    found += [FaceChange(before=f.name, after="") for f in before.faces if id(f) not in olds]
    found += [FaceChange(before="", after=f.name) for f in after.faces if id(f) not in news]
    return tuple(sorted(found, key=lambda c: (-abs(c.moved_mm or 0.0), c.after, c.before)))


def _moved(before: FaceDrawn, after: FaceDrawn) -> FaceChange | None:
    """Return how a face moved; None where it stands as it was. A flat face moves along its normal only."""
    if before == after:
        return None
    step = np.subtract(after.centre_mm, before.centre_mm)
    if before.normal is not None and after.normal is not None:
        # The mean of the two normals, so that the way back is as long.
        mean = np.add(before.normal, after.normal)
        moved = float(step @ mean / np.linalg.norm(mean))
    else:
        moved = float(np.linalg.norm(step))
    turned = _turned_deg(before, after)
    if abs(moved) <= _SAME_MM and turned <= _SAME_DEG:
        return None
    return FaceChange(
        before=before.name,
        after=after.name,
        moved_mm=moved if abs(moved) > _SAME_MM else 0.0,
        turned_deg=turned if turned > _SAME_DEG else 0.0,
    )


def solid_changes(before: Sequence[BodyDrawn], after: Sequence[BodyDrawn]) -> tuple[SolidChange, ...]:
    """Return what became of each body, those that changed first; what was added and removed is left open."""
    pairs = _bodies_paired(before, after)
    found = [
        SolidChange(
            before=b.name,
            after=a.name,
            change=Trend.SAME,
            before_mm3=b.volume_mm3,
            after_mm3=a.volume_mm3,
            faces=face_changes(b, a),
        )
        for b, a in pairs
    ]
    olds, news = {b.name for b, _ in pairs}, {a.name for _, a in pairs}
    for body in before:
        if body.name not in olds:
            gone = SolidChange(
                before=body.name, after="", change=Trend.GONE, before_mm3=body.volume_mm3, after_mm3=0.0
            )
            found.append(gone)
    for body in after:
        if body.name not in news:
            new = SolidChange(
                before="", after=body.name, change=Trend.NEW, before_mm3=0.0, after_mm3=body.volume_mm3
            )
            found.append(new)
    return tuple(sorted(found, key=lambda s: (not s.redrawn, s.before == s.after, s.after, s.before)))


def renames(
    before: Sequence[BodyDrawn], after: Sequence[BodyDrawn], cuts: tuple[Iterable[str], Iterable[str]]
) -> Renames:
    """Return what has another name after: bodies, their faces, and a cut where just one was renamed."""
    bodies: dict[str, str] = {}
    faces: dict[tuple[str, str], str] = {}
    for one, other in _bodies_paired(before, after):
        bodies[one.name] = other.name
        there, here = {f.name for f in other.faces}, {f.name for f in one.faces}
        for b, a in sorted(_faces_paired(one, other), key=lambda pair: -pair[0].area_mm2):
            # A name that is on both sides stands for itself.
            if b.name not in there and a.name not in here:
                faces.setdefault((one.name, b.name), a.name)
    olds, news = (dict.fromkeys(names) for names in cuts)
    left, free = [c for c in olds if c not in news], [c for c in news if c not in olds]
    renamed = {left[0]: free[0]} if len(left) == len(free) == 1 else {}
    return Renames(bodies=bodies, faces=faces, cuts=renamed)
