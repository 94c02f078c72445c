"""What hardening does to every part of a set-up, and where its hardness may be tested."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hardening.steels import hardening_process, hardening_steel, hardening_steels
from fixturecheck.hardening.temper import (
    hardness_hrc,
    least_edge_mm,
    least_thickness_mm,
    temper_for,
    toughness_j,
    toughness_turns,
)
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.depth import through_mm
from fixturecheck.kernel.measure import centre_of, centroid_of, is_flat, normal_at
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.kernel.sample import edge_points, face_window, grid_on_face, inside_points
from fixturecheck.kernel.shapes import Face
from fixturecheck.numeric import to_vector
from fixturecheck.result.hardening import HardeningFound, HardnessSpot, SizeChange, SpoiltFace, SteelTempered
from fixturecheck.setup.hardening import HardenedWhen, Hardening, hardened_parts
from fixturecheck.setup.model import Body, Setup
from fixturecheck.sizes.faces import FlatFace, flat_faces, holes_of
from fixturecheck.sizes.grown import clean_up_mm, left_on_mm, resized, sizes_of

_POINTS = 900
_ALONG_EDGE = 64
_SAME_MM = 1e-6
_STEP_SHARE = 0.02
_TRIED = 40


def _hardness_spot(setup: Setup, body: Body, hardness_hrc: float) -> HardnessSpot:
    """Return the best place of a part to test its hardness.

    Parameters
    ----------
    hardness_hrc : float
        The least hardness that it may come out with, which marks deepest.
    """
    flats = flat_faces(body)
    least = least_thickness_mm(hardness_hrc), least_edge_mm(hardness_hrc)
    found = [
        _on_face(body, face, flats, least) for face in flats if _is_without_function(setup, body, face.name)
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


def _is_without_function(setup: Setup, body: Body, face: str) -> bool:
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
        raise NotComputedError(f"a face of {body.name}, {face.name}, has no point inside its edges")
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


READING_HRC = 1.0
"""A hardness that is wanted as one number is met within this: what two testers differ by; from memory."""

_SOFT_HRC = 50.0
"""Taken for the depth of a mark where the hardness is not known: no steel is hardened to less on purpose."""


def hardening_found(setup: Setup) -> HardeningFound | None:
    """Return what hardening does to the parts; None where the set-up states none.

    Parameters
    ----------
    setup : Setup
        States the hardening, the parts and the cuts.

    Returns
    -------
    HardeningFound or None
        With what could not be worked out and why.
    """
    hardening = setup.hardening
    if hardening is None:
        return None
    parts = hardened_parts(setup)
    names = list(dict.fromkeys(map(hardening.steel_of, parts)))
    steels = tuple(_tempered(hardening, parts, name) for name in names if name in hardening_steels())
    missing: list[tuple[str, str]] = [
        (name, f"the hardness of {name} after its temper is in no table")
        for name in names
        if name not in hardening_steels() and (hardening.wanted is not None or not hardening.growth_share)
    ]
    sizes = tuple(c for body in parts for c in _changes(setup, body, missing))
    return HardeningFound(
        steels=steels,
        sizes=sizes,
        spots=tuple(_spot(setup, body, steels) for body in parts)
        if hardening.when == HardenedWhen.AFTER
        else (),
        skins=tuple(_skins(setup, parts)),
        holes=tuple(_holes(setup, parts)),
        missing=tuple(missing),
    )


def _tempered(hardening: Hardening, parts: tuple[Body, ...], name: str) -> SteelTempered:
    """Return how one steel comes out."""
    steel, process = hardening_steel(name), hardening_process(hardening.process)
    wanted = _wanted(hardening)
    temper_c, missing = hardening.temper_c, ""
    hardness: tuple[float, ...] = ()
    best_c = best_j = None
    allowed: tuple[tuple[float, float], ...] = ()
    try:
        if wanted is not None:
            choice = temper_for(steel, wanted)
            best_c, allowed = choice.temper_c, tuple((r.low, r.high) for r in choice.allowed_c)
            best_j = toughness_j(steel, best_c)
            temper_c = best_c if temper_c is None else temper_c
    except NotComputedError as reason:
        missing = str(reason)
    try:
        if not missing or temper_c is not None:
            found = hardness_hrc(steel, temper_c)
            hardness = (found.low, found.high)
    except NotComputedError as reason:
        missing = str(reason)
    return SteelTempered(
        steel=name,
        process=process.name,
        parts=tuple(b.name for b in parts if hardening.steel_of(b) == name),
        says=process.says,
        surface=process.surface,
        temper_c=temper_c,
        stated=hardening.temper_c is not None,
        hardness_hrc=hardness,
        energy_j=None if temper_c is None else toughness_j(steel, temper_c),
        wanted_hrc=() if wanted is None else (wanted.low, wanted.high),
        best_c=best_c,
        best_j=best_j,
        allowed_c=allowed,
        curve_hrc=_pairs(steel.hardness),
        curve_j=_pairs(steel.toughness),
        spread_hrc=steel.spread_hrc,
        turns=tuple((str(t.turn), t.temper_c, t.energy_j) for t in toughness_turns(steel)),
        hardens=process.quench in steel.quenches,
        quenches=steel.quenches,
        missing=missing,
        source=steel.source,
    )


def _wanted(hardening: Hardening) -> Range | None:
    """Return the hardness that is wanted; one number stands for what testers cannot tell from it."""
    wanted = hardening.wanted
    if wanted is None or wanted.low < wanted.high:
        return wanted
    return Range(low=wanted.low - READING_HRC, high=wanted.high + READING_HRC)


def _pairs(points: tuple[tuple[float, ...], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((p[0], p[1]) for p in points)


def _changes(setup: Setup, body: Body, missing: list[tuple[str, str]]) -> Iterator[SizeChange]:
    """Yield what becomes of each size of a part; what is not known is noted."""
    after = setup.hardening is not None and setup.hardening.when == HardenedWhen.AFTER
    faces = faces_of(placed_at(body.solid, body.at))
    for size in sizes_of(setup, body):
        if isinstance(size, NotComputedError):
            missing.append((body.name, str(size)))
            continue
        try:
            found = resized(setup, body, size)
        except NotComputedError as reason:
            missing.append((size.face, str(reason)))
            continue
        if not found.sides and not after:
            # Whether it was ground hard in an operation between is not stated here.
            continue
        face = faces[body.face_indices(size.face.face)[0]]
        spot = np.asarray(centre_of(face)) if is_flat(face) else inside_points(face, 1)[0]
        yield SizeChange(
            face=size.face,
            to=size.to,
            size_mm=size.size_mm,
            low_mm=found.change_mm.low,
            usual_mm=found.change_mm.usual,
            high_mm=found.change_mm.high,
            limit_mm=size.limit_mm,
            stated=size.stated,
            sides=found.sides,
            left_mm=found.left_mm,
            needed_mm=found.needed_mm,
            bends_low_mm=found.bends_mm.low,
            bends_high_mm=found.bends_mm.high,
            at_mm=to_vector(spot),
            direction=to_vector(normal_at(face, spot)),
        )


def _spot(setup: Setup, body: Body, steels: tuple[SteelTempered, ...]) -> HardnessSpot:
    """Return where a part may be tested, at the least hardness that it may have."""
    known = [h for s in steels if body.name in s.parts for h in (*s.hardness_hrc, *s.wanted_hrc)]
    return _hardness_spot(setup, body, min(known, default=_SOFT_HRC))


def _skins(setup: Setup, parts: tuple[Body, ...]) -> Iterator[SpoiltFace]:
    """Yield faces with a tolerance that keep the surface that hardening leaves, where it spoils any."""
    hardening = setup.hardening
    if hardening is None or hardening.when != HardenedWhen.AFTER:
        return
    depth_mm = clean_up_mm(hardening)
    for body in parts if depth_mm.high > 0.0 else ():
        for name in dict.fromkeys(body.face_names()):
            zone_mm = body.zone_mm(name)
            if zone_mm and not left_on_mm(setup, body, name):
                yield SpoiltFace(
                    face=FaceRef.of(body.name, name),
                    low_mm=depth_mm.low,
                    high_mm=depth_mm.high,
                    limit_mm=0.5 * zone_mm,
                )


def _holes(setup: Setup, parts: tuple[Body, ...]) -> Iterator[FaceRef]:
    """Yield the holes with a function that are open to the blast."""
    hardening = setup.hardening
    if hardening is None or not (hardening.blast or hardening_process(hardening.process).scale):
        return
    for body in parts:
        for hole in holes_of(body):
            named = [n for n in hole.names if n in body.faces or body.zone_mm(n)]
            spared = {*hardening.plugged, *body.no_function}
            if named and not spared & {*hole.names}:
                yield FaceRef.of(body.name, named[0])
