"""The smallest chamfer that takes a corner out of the way, tried on the solid."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.find import find_contacts
from fixturecheck.contact.standing import Standing, stand
from fixturecheck.errors import KernelError
from fixturecheck.kernel.clip import chamfered, distance, extent_along
from fixturecheck.kernel.shapes import Placed, Shape
from fixturecheck.tolerances import Tolerances

Array = NDArray[np.float64]
_STEP_MM = 0.01
_TRIES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Relief:
    """A chamfer that was tried and opens the nest.

    Parameters
    ----------
    edge : str
        The edge, as `body.face+face`.
    leg_mm : float
        Leg of the 45 degree chamfer, rounded up to a hundredth.
    area_mm2 : float
        What then touches at the nest.
    """

    edge: str
    leg_mm: float
    area_mm2: float


def relieve_edge(
    part: Placed, other: Placed, common: Shape, allowed: frozenset[str], tolerances: Tolerances
) -> Relief | None:
    """Return the smallest chamfer on an edge of `part` after which the two bodies no longer overlap.

    For an edge whose faces run off along unit directions m1 and m2, an equal-leg chamfer takes all points
    p + s m1 + t m2 with s + t below the leg; the leg needed is the greatest s + t over what overlaps, a
    linear function and so exact.

    Parameters
    ----------
    common : Shape
        What the two share as drawn.
    allowed : frozenset of str
        Faces of `part` without function; a chamfer must touch one of them.

    Returns
    -------
    Relief or None
        None where no edge of `part` can be chamfered so that the overlap goes and an area touches.
    """
    here = stand([part])[0]
    found = []
    for edge in _candidates(here, common, allowed, tolerances.touch_mm):
        leg_mm = math.ceil(_leg_mm(here, edge, common) / _STEP_MM - 1e-6) * _STEP_MM
        for leg in (leg_mm + k * _STEP_MM for k in range(_TRIES)):
            area_mm2 = _tried(here, edge, leg, other, tolerances)
            if area_mm2 > 0:
                label = here.label(here.table.edge_faces[edge])
                found.append(Relief(edge=label, leg_mm=leg, area_mm2=area_mm2))
                break
    return min(found, key=lambda r: (r.leg_mm, r.edge), default=None)


def _candidates(here: Standing, common: Shape, allowed: frozenset[str], touch_mm: float) -> Iterator[int]:
    """Straight outside edges in the overlap, beside a face without function."""
    for e in np.flatnonzero(here.table.sharp & here.table.straight):
        faces = here.table.edge_faces[e]
        if not any(here.face_names[f] in allowed for f in faces):
            continue
        if _outside(here, int(e)) and distance(here.edge(int(e)), common)[0] <= touch_mm:
            yield int(e)


def _outside(here: Standing, edge: int) -> bool:
    """Whether the material fills less than half a turn at an edge between flat faces."""
    one, two = here.table.edge_faces[edge]
    if here.table.kinds[one] != "plane" or here.table.kinds[two] != "plane":
        return False
    # Each inward direction dips behind the other face's plane at an outside edge.
    return bool((here.inward()[edge] @ here.normals[[one, two]].T).min() < -1e-9)


def _leg_mm(here: Standing, edge: int, common: Shape) -> float:
    """Greatest s + t over what overlaps."""
    one, two = here.inward()[edge]
    bisector = one + two
    # The linear form that is 1 on both directions and 0 along the edge.
    form = bisector / (1.0 + float(one @ two))
    size = float(np.linalg.norm(form))
    reach = extent_along(common, form / size)[1]
    return size * (reach - float(here.edge_samples()[edge, 0] @ form) / size)


def _tried(here: Standing, edge: int, leg_mm: float, other: Placed, tolerances: Tolerances) -> float:
    """Area that touches after the chamfer; zero where the bodies still overlap or it cannot be cut."""
    try:
        solid = chamfered(here.placed.solid, edge, leg_mm)
    except KernelError:
        return 0.0
    names = tuple(f"face_{k}" for k in range(len(solid.Faces())))
    contacts = find_contacts([replace(here.placed, solid=solid, face_names=names), other], tolerances)
    if contacts.overlaps or any(p.contact.kind in {"line", "point"} for p in contacts.patches):
        return 0.0
    return sum(p.contact.area_mm2 for p in contacts.patches if p.contact.kind == "area")
