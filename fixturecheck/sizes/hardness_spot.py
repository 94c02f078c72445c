"""Where a hardness test may mark a part: a flat face without function, thick and wide enough."""

from __future__ import annotations

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.hardening.indentation import least_edge_mm, least_thickness_mm
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.measure import centroid_of, edge_points, face_window, grid_on_face, through_mm
from fixturecheck.kernel.place import matrix_of
from fixturecheck.kernel.shapes import Face
from fixturecheck.numeric import to_vector
from fixturecheck.result.hardening import HardnessSpot
from fixturecheck.setup.model import Body, Setup
from fixturecheck.sizes.faces import FlatFace, flat_faces

_POINTS = 900
_ALONG_EDGE = 64
_SAME_MM = 1e-6
_STEP_SHARE = 0.02
_TRIED = 40


def hardness_spot(setup: Setup, body: Body, hardness_hrc: float) -> HardnessSpot:
    """Return the best place of a part to test its hardness.

    Parameters
    ----------
    hardness_hrc : float
        The least hardness that it may come out with, which marks deepest.
    """
    flats = flat_faces(body)
    least = least_thickness_mm(hardness_hrc), least_edge_mm(hardness_hrc)
    found = [
        _on_face(body, face, flats, least) for face in flats if is_without_function(setup, body, face.name)
    ]
    if found:
        return max(
            found, key=lambda s: (s.good, s.rests, min(s.thickness_mm / least[0], s.edge_mm / least[1]))
        )
    return HardnessSpot(
        part=body.name,
        face="",
        at_mm=None,
        direction=None,
        thickness_mm=0.0,
        least_thickness_mm=least[0],
        edge_mm=0.0,
        least_edge_mm=least[1],
        rests=False,
    )


def is_without_function(setup: Setup, body: Body, face: str) -> bool:
    """Tell whether nothing is stated that a face does: stated so, or no seat, target, tolerance or size.

    Faces that must not be marked have one, whatever else is stated.
    """
    if setup.hardening is not None and face in setup.hardening.not_marked:
        return False
    if face in body.no_function:
        return True
    seats = {s.face for s in setup.seats if s.body == body.name} | {
        s.on_face for s in setup.seats if s.on == body.name
    }
    cuts = {f for c in setup.cuts if body.name in c.parts for f in (c.floor, c.wall)}
    hardening = setup.hardening
    sizes = (
        {f for s in hardening.sizes if s.part == body.name for f in (s.face, s.to)} if hardening else set()
    )
    return face not in seats | cuts | sizes and body.zone_mm(face) is None


def _on_face(
    body: Body, face: FlatFace, flats: tuple[FlatFace, ...], least: tuple[float, float]
) -> HardnessSpot:
    """Return a point of a face that may be marked, else the one furthest from its edges."""
    drawn = faces_of(body.solid)[face.index]
    points, edges_mm = _inner_points(drawn)
    place = matrix_of(body.at)
    found: HardnessSpot | None = None
    for point, edge_mm in zip(points, edges_mm, strict=True):
        if found is not None and (found.good or edge_mm < least[1]):
            break
        thick_mm = through_mm(body.solid, point, -face.normal)
        spot = HardnessSpot(
            part=body.name,
            face=face.name,
            at_mm=to_vector(place[:3, :3] @ point + place[:3, 3]),
            direction=to_vector(place[:3, :3] @ face.normal),
            thickness_mm=thick_mm,
            least_thickness_mm=least[0],
            edge_mm=float(edge_mm),
            least_edge_mm=least[1],
            rests=any(face.opposite(o) and abs(face.apart_mm(o) - thick_mm) < _SAME_MM for o in flats),
        )
        found = spot if found is None or spot.good else found
    if found is None:
        message = f"a face of {body.name}, {face.name}, has no point inside its edges"
        raise NotComputedError(message)
    return found


def _inner_points(face: Face) -> tuple[Floats, Floats]:
    """Return points (n, 3) of a flat face and at least how far each is from its edges, mm.

    The one furthest in comes first, of those that are as far in the one in the middle; a few others follow.
    """
    grid = grid_on_face(face, face_window(face), 0.05, _POINTS, fewest=9).points
    centre = np.asarray(centroid_of(face))
    if not len(grid):
        return centre[None], np.zeros(1)
    nearest_mm = np.full(len(grid), np.inf)
    for edge in edges_of(face):
        along = edge_points(edge, _ALONG_EDGE)
        step_mm = float(np.linalg.norm(np.diff(along, axis=0), axis=1).max())
        far_mm = np.linalg.norm(grid[:, None] - along, axis=2).min(axis=1)
        # The nearest point of the edge may lie between two that were asked.
        nearest_mm = np.minimum(nearest_mm, np.sqrt(np.maximum(far_mm**2 - (step_mm / 2) ** 2, 0.0)))
    steps = np.floor(nearest_mm / (_STEP_SHARE * nearest_mm.max()))
    order = np.lexsort((np.linalg.norm(grid - centre, axis=1), -steps))
    chosen = np.concatenate([order[:1], order[1 :: max(len(order) // _TRIED, 1)]])
    return grid[chosen], nearest_mm[chosen]
