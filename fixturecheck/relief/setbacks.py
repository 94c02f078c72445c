"""Which flat faces at a clash may be set back or their bevels deepened, and what that takes away."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.placed import Standing
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.measure import extent_along, is_within
from fixturecheck.kernel.shapes import Shape
from fixturecheck.relief.grooves import LEAST_MM, OVER_MM, SQUARE, STEP_MM, BoxCut, rounded_up, to_part
from fixturecheck.result.relief import ReliefKind

_SAME = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Bevel:
    """A flat face with the same angle to two faces beside it, whose edge it takes away.

    Parameters
    ----------
    leg_mm : float
        Length of the chamfer along either face, from the edge that is gone.
    slope_deg : float
        Its angle to either face.
    """

    leg_mm: float
    slope_deg: float

    def deeper_mm(self, leg_mm: float) -> float:
        """Return how far the face must go back for the chamfer to have a leg."""
        return (leg_mm - self.leg_mm) * math.sin(math.radians(self.slope_deg))

    def leg_after(self, deeper_mm: float) -> float:
        """Return the leg of the chamfer once its face has gone back by a length, up to the next hundredth."""
        leg = self.leg_mm + deeper_mm / math.sin(math.radians(self.slope_deg))
        return math.ceil(leg / STEP_MM - _SAME) * STEP_MM


def bevel_of(here: Standing, face: int) -> Bevel | None:
    """Return the bevel that a flat face is; None for any other face.

    Its two longest edges run parallel and lead to flat faces from which it turns away by the same angle.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    face : int
        Number of the face.

    Returns
    -------
    Bevel or None
        The bevel.
    """
    table = here.table
    if table.kinds[face] != SurfaceKind.PLANE:
        return None
    edges = sorted((int(e) for e in table.face_edges[face]), key=lambda e: -float(table.lengths_mm[e]))[:2]
    if len(edges) < 2 or not all(table.straight[e] and len(table.edge_faces[e]) == 2 for e in edges):
        return None
    beside = [next(f for f in table.edge_faces[e] if f != face) for e in edges]
    if beside[0] == beside[1] or any(table.kinds[f] != SurfaceKind.PLANE for f in beside):
        return None
    normal, (one, two) = here.normals[face], here.normals[beside]
    line = np.cross(one, two)
    sines = [float(np.linalg.norm(np.cross(normal, n))) for n in (one, two)]
    samples = here.edge_samples[edges]
    along = samples[:, -1] - samples[:, 0]
    parallel = all(
        float(np.linalg.norm(np.cross(a, line))) <= _SAME * float(np.linalg.norm(a)) for a in along
    )
    if (
        min(sines) < _SAME
        or abs(sines[0] - sines[1]) > _SAME
        or not parallel
        or float(np.linalg.norm(line)) < _SAME
    ):
        return None
    offsets = np.array([*here.offsets[beside], 0.0])
    corner = np.linalg.solve(np.stack((one, two, line)), offsets)
    high = float(normal @ corner - here.offsets[face])
    # A bevel takes an outside edge away; where the faces meet behind it, it fills an inside corner.
    if high <= _SAME:
        return None
    return Bevel(leg_mm=high / sines[0], slope_deg=math.degrees(math.asin(min(sines[0], 1.0))))


def setbacks(
    here: Standing, zone: Shape, allowed: frozenset[str], touch_mm: float, clear_mm: float = 0.0
) -> Iterator[tuple[Bevel | None, BoxCut]]:
    """Yield flat faces without function at a clash, each set back as far as the clash reaches behind it.

    What goes back is rounded up to a hundredth; of a bevel, which comes first, the leg of the chamfer is.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    zone : Shape
        The clash, machine's frame.
    allowed : frozenset of str
        Names of the faces without function.
    touch_mm : float
        How near to the clash a face must be, mm.
    clear_mm : float
        Air wanted besides.

    Yields
    ------
    tuple
        The bevel that the face is, None for another face, and the slab that is taken.
    """
    for face, name in enumerate(here.face_names):
        flat = here.table.kinds[face] == SurfaceKind.PLANE
        if flat and name in allowed and is_within(here.face(face), zone, touch_mm):
            normal = here.normals[face]
            deep = float(here.offsets[face]) - extent_along(zone, normal)[0]
            if deep > LEAST_MM:
                bevel, needed = bevel_of(here, face), rounded_up(deep) + clear_mm
                if bevel is not None:
                    needed = bevel.deeper_mm(bevel.leg_after(deep + clear_mm))
                yield bevel, _set_back(here, face, needed)


def _set_back(here: Standing, face: int, deep_mm: float) -> BoxCut:
    """Return the slab behind a flat face, over its outside edges and flush with its inside ones."""
    normal = here.normals[face]
    edges = here.table.face_edges[face]
    straight = [int(e) for e in edges if here.table.straight[e]]
    longest = max(straight or [int(edges[0])], key=lambda e: float(here.table.lengths_mm[e]))
    ends = here.edge_samples[longest]
    along = ends[-1] - ends[0]
    if longest not in straight:
        along = ends[1] - ends[0]
    along = along / np.linalg.norm(along)
    across = np.cross(normal, along)
    points = np.concatenate([here.edge_samples[e] for e in edges])
    low, high = [], []
    for way in (along, across):
        inner, outer = float((points @ way).min()), float((points @ way).max())
        low.append(inner - _over(here, face, -way, -inner, deep_mm))
        high.append(outer + _over(here, face, way, outer, deep_mm))
    corner = low[0] * along + low[1] * across + float(here.offsets[face]) * normal
    turn, place = to_part(here)
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    return BoxCut(
        kind=ReliefKind.SETBACK,
        faces=(here.face_names[face],),
        size_mm=(deep_mm, deep_mm),
        corner=turn @ (corner - place),
        axes=np.stack((-normal, along, across)) @ turn.T,
        sizes_mm=(deep_mm, high[0] - low[0], high[1] - low[1]),
        at_mm=turn @ (middle - place),
        along=turn @ along,
        round_about=frozenset(f for e in edges for f in here.table.edge_faces[e]) - {face},
    )


def _over(here: Standing, face: int, way: Floats, most: float, deep_mm: float) -> float:
    """Return how far to cut past one side of a face: over its outside edges, not into what stands beside."""
    for edge in here.table.face_edges[face]:
        samples = here.edge_samples[edge]
        if float((samples @ way).max()) < most - LEAST_MM:
            continue
        faces = here.table.edge_faces[edge]
        for k, other in enumerate(faces):
            rises = float(here.inward[edge][k] @ here.normals[face])
            if other != face and rises >= -SQUARE and float(np.ptp(samples @ way)) <= LEAST_MM:
                return 0.0
    return max(OVER_MM, 2.0 * deep_mm)
