"""Which parts of a cut come out as another did: copies that stand alike, further along the traverse."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from fixturecheck.access.model import PartGround, WheelPath
from fixturecheck.access.targets import PartTargets
from fixturecheck.kernel.brep.topology import one_of_each
from fixturecheck.kernel.measure import loose_box
from fixturecheck.kernel.place import drawing_matrix, shifted
from fixturecheck.kernel.shapes import Shape
from fixturecheck.result import Vector
from fixturecheck.setup.model import Cut

_DECIMALS = 9
"""Two places are one when no entry differs in this many decimals: a nanometre in a metre."""

Key = tuple[object, ...]


def ground_each(
    cut: Cut, path: WheelPath, parts: Sequence[PartTargets], grind: Callable[[PartTargets], PartGround]
) -> tuple[PartGround, ...]:
    """Grind every part of a cut, those that come out alike once.

    Between the ends of its traverse the wheel sweeps the same section at every X. A copy that stands there,
    turned alike and at the same Y and Z, comes out as the first did, moved along X.
    """
    found: dict[Key, tuple[PartGround, float]] = {}
    ground = []
    for part, key in zip(parts, _keys(cut, path, parts), strict=True):
        x_mm = float(drawing_matrix(part.solid)[0, 3])
        if key in found:
            first, from_mm = found[key]
            ground.append(_carried(first, part, x_mm - from_mm))
        else:
            ground.append(grind(part))
            found[key] = ground[-1], x_mm
    return tuple(ground)


def _keys(cut: Cut, path: WheelPath, parts: Sequence[PartTargets]) -> list[Key]:
    """Return what parts that come out alike have in common; a part that reaches past an end is alone."""
    keys: list[Key] = []
    for part, first in zip(parts, one_of_each([p.solid for p in parts]), strict=True):
        box = loose_box(part.solid)
        if box[0] < path.x_from_mm or box[3] > path.x_to_mm:
            keys.append((part.body.name,))
            continue
        place = drawing_matrix(part.solid)
        place[0, 3] = 0.0
        faces = tuple(part.body.face_indices(name) for name in (cut.floor, cut.wall) if name)
        keys.append((first, faces, (np.round(place, _DECIMALS) + 0.0).tobytes()))
    return keys


def _carried(first: PartGround, part: PartTargets, by_mm: float) -> PartGround:
    """Return a part as ground from what a copy of it came to further along X."""

    def there(shape: Shape | None) -> Shape | None:
        return None if shape is None else shifted(shape, by)

    by: Vector = (by_mm, 0.0, 0.0)
    corner = None if first.corner is None else replace(first.corner, left=there(first.corner.left))
    names = [part.floor.name, *([part.wall.name] if part.wall else [])]
    return replace(
        first,
        body=part.body.name,
        target=part.solid,
        stock=shifted(first.stock, by),
        ground=shifted(first.ground, by),
        leftover=there(first.leftover),
        missed=there(first.missed),
        gouge=there(first.gouge),
        dug=there(first.dug),
        corner=corner,
        faces=tuple(replace(face, face=name) for face, name in zip(first.faces, names, strict=True)),
    )
