"""Works out what hardening does to every part of a set-up, once, for its check and the report."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hardening.steels import (
    HardeningSteel,
    hardening_process,
    hardening_steel,
    hardening_steels,
)
from fixturecheck.hardening.temper import hardness_hrc, temper_for, toughness_j, toughness_turns
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import centre_of, inside_points, is_flat, normal_at
from fixturecheck.kernel.place import placed_at
from fixturecheck.numeric import to_vector
from fixturecheck.result.hardening import HardeningFound, HardnessSpot, SizeChange, SteelTempered
from fixturecheck.setup.hardening import HardenedWhen, Hardening, hardened_parts
from fixturecheck.setup.model import Body, Setup
from fixturecheck.sizes.faces import holes_of
from fixturecheck.sizes.grown import clean_up_mm, grown, left_on_mm, sizes_of
from fixturecheck.sizes.hardness_spot import hardness_spot

READING_HRC = 1.0
"""A hardness that is wanted as one number is met within this: what two testers differ by; from memory."""

_SOFT_HRC = 50.0
"""Taken for the depth of a mark where the hardness is not known: no steel is hardened to less on purpose."""


def hardening_found(setup: Setup) -> HardeningFound | None:
    """Return what hardening does to the parts; None where the set-up states none."""
    hardening = setup.hardening
    if hardening is None:
        return None
    parts = hardened_parts(setup)
    names = list(dict.fromkeys(map(hardening.steel_of, parts)))
    steels = tuple(_tempered(hardening, parts, name) for name in names if name in hardening_steels())
    missing: list[tuple[str, str]] = [
        (name, f"the hardness of {name} after its temper is in no table; its size change is as stated")
        for name in names
        if name not in hardening_steels() and hardening.wanted is not None
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
        source=_sources(steel),
    )


def _wanted(hardening: Hardening) -> Range | None:
    """Return the hardness that is wanted; one number stands for what testers cannot tell from it."""
    wanted = hardening.wanted
    if wanted is None or wanted.low < wanted.high:
        return wanted
    return Range(low=wanted.low - READING_HRC, high=wanted.high + READING_HRC)


def _pairs(points: tuple[tuple[float, ...], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((p[0], p[1]) for p in points)


def _sources(steel: HardeningSteel) -> str:
    return steel.source


def _changes(setup: Setup, body: Body, missing: list[tuple[str, str]]) -> Iterator[SizeChange]:
    """Yield what becomes of each size of a part; what is not known is noted."""
    after = setup.hardening is not None and setup.hardening.when == HardenedWhen.AFTER
    faces = faces_of(placed_at(body.solid, body.at))
    for size in sizes_of(setup, body):
        if isinstance(size, NotComputedError):
            missing.append((body.name, str(size)))
            continue
        try:
            found = grown(setup, body, size)
        except NotComputedError as reason:
            missing.append((size.face, str(reason)))
            continue
        if not found.sides and not after:
            # Whether it was ground hard in an operation between is not stated here.
            continue
        face = faces[body.face_indices(size.face.face)[0]]
        spot = np.asarray(centre_of(face)) if is_flat(face) else inside_points(face)[0]
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
            at_mm=to_vector(spot),
            direction=to_vector(normal_at(face, spot)),
        )


def _spot(setup: Setup, body: Body, steels: tuple[SteelTempered, ...]) -> HardnessSpot:
    """Return where a part may be tested, at the least hardness that it may have."""
    known = [h for s in steels if body.name in s.parts for h in (*s.hardness_hrc, *s.wanted_hrc)]
    return hardness_spot(setup, body, min(known, default=_SOFT_HRC))


def _skins(setup: Setup, parts: tuple[Body, ...]) -> Iterator[tuple[FaceRef, float]]:
    """Yield faces with a tolerance that keep the surface that hardening leaves, where it spoils any."""
    hardening = setup.hardening
    if hardening is None or hardening.when != HardenedWhen.AFTER:
        return
    depth_mm = clean_up_mm(hardening)
    for body in parts if depth_mm > 0.0 else ():
        for name in dict.fromkeys(body.face_names()):
            if body.zone_mm(name) and not left_on_mm(setup, body, name):
                yield FaceRef.of(body.name, name), depth_mm


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
