"""Faces that are clear as drawn but land first within tolerances, as clashes that a relief can cure."""

from __future__ import annotations

from collections.abc import Mapping

from fixturecheck.checks.tolerance import SURE
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import compound, thickened
from fixturecheck.kernel.measure import volume_mm3
from fixturecheck.kernel.place import world_faces
from fixturecheck.kernel.shapes import Face, Shape
from fixturecheck.remedy.bands import band_mm
from fixturecheck.remedy.model import Clash
from fixturecheck.settling.tolerance import odds_of
from fixturecheck.setup.model import Body, Setup
from fixturecheck.units import percent

_LEAST_MM3 = 1e-9


def varies(setup: Setup) -> bool:
    """Tell whether there is anything to draw: staging stated, and a face with a tolerance."""
    return setup.staging is not None and any(w > 0 for b in setup.bodies for w in b.tolerance_mm.values())


def shares_of(setup: Setup) -> Mapping[tuple[FaceRef, FaceRef], float]:
    """Return in how many draws faces land that no seat states, by the two faces, the most likely first.

    Raises
    ------
    NotComputedError
        The parts as drawn do not rest, or too often do not go in between the fixtures.
    SetupError
        Tolerances reach through a part.
    """
    if setup.staging is None or not varies(setup):
        return {}
    odds = odds_of(setup, setup.staging, draws=setup.staging.draws, seed=setup.staging.seed)
    barred = sum(one.share for one in odds.barred)
    if barred > 1.0 - SURE:
        message = f"the parts do not go in between the fixtures in {percent(barred)} of {odds.draws} draws"
        raise NotComputedError(message)
    return {(w.a, w.b): w.share_lands for w in odds.wrong}


def landings_of(setup: Setup) -> list[Clash]:
    """Return every pair of faces that lands first too often, the most likely first.

    Raises
    ------
    NotComputedError, SetupError
        As `shares_of`.
    """
    found = []
    for (one, two), share in shares_of(setup).items():
        if share <= 1.0 - SURE:
            continue
        found.append(_clash(setup, one, two, share))
    return found


def _clash(setup: Setup, one: FaceRef, two: FaceRef, share: float) -> Clash:
    """Return a landing with what of either body lies within reach of the other's face."""
    bare = Clash(
        a=one.body, b=two.body, faces_a=(one.face,), faces_b=(two.face,), zone=compound([]), volume_mm3=0.0,
        zone_b=compound([]), share_lands=share,
    )  # fmt: skip
    reach = setup.relief.clearance_mm + band_mm(setup, bare)
    mine, theirs = _faces(setup.body(one.body), one.face), _faces(setup.body(two.body), two.face)
    zone, zone_b = _within(mine, theirs, reach), _within(theirs, mine, reach)
    return Clash(
        a=one.body, b=two.body, faces_a=(one.face,), faces_b=(two.face,), zone=zone,
        volume_mm3=volume_mm3(zone), zone_b=zone_b, share_lands=share,
    )  # fmt: skip


def _within(mine: list[Face], theirs: list[Face], reach_mm: float) -> Shape:
    """Return what behind some faces lies within reach of others."""
    pieces: list[Shape] = []
    for face in mine:
        for other in theirs:
            try:
                shared = common(thickened(face, -reach_mm), thickened(other, reach_mm))
            except KernelError:
                # A round face cannot be offset past its own axis; the other body's side is then relieved.
                continue
            pieces += [s for s in solids_of(shared) if volume_mm3(s) > _LEAST_MM3]
    return compound(pieces)


def _faces(body: Body, name: str) -> list[Face]:
    every = world_faces(body.placed())
    return [every[i] for i in body.face_indices(name)]
