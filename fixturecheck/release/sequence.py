"""How a set-up comes apart after the cut: which body first, which way, with what force, what is stoned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.holding.bearing import movers, weights
from fixturecheck.holding.clamping import friction_of
from fixturecheck.holding.model import Leaving, Release
from fixturecheck.interval import Range
from fixturecheck.kernel.measure import extent_along
from fixturecheck.kernel.shapes import Solid
from fixturecheck.machining.cut import GroundCut
from fixturecheck.magnet.iron import pitch_mm
from fixturecheck.magnet.pull import (
    SOFT_BELOW_A_M,
    Keeps,
    Magnet,
    Pulls,
    chip_field_t,
    kept_field_t,
    mmf_kept_a,
    residual_pulls,
    worst_class,
)
from fixturecheck.numeric import to_vector
from fixturecheck.release.motions import Room, TouchingFaces, WayOff, touches_of, ways_off
from fixturecheck.release.sequence import Pry, burrs_of, pries
from fixturecheck.result.hold import ClampKind
from fixturecheck.result.release import FirstSteps, OffKind, OffWay, PryAt, SteelKeeps
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import material
from fixturecheck.statics.equilibrium import Load

HAND_N = 50.0
"""What fingers do on a small part: mean tip pinch of women, Mathiowetz [@mathiowetz1985], from memory."""


_LEVEL_DOWN = -0.999


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tried:
    """A way with the force that it takes, by weight alone where the residual pull is not known."""

    way: WayOff
    takes_n: Range
    known: bool

    @property
    def force_n(self) -> Range | None:
        """The force; None where it is not known."""
        return self.takes_n if self.known else None

    @property
    def rank(self) -> tuple[int, int, float, bool]:
        """The easiest first: nothing finished rubbed, least of a part's faces, least force, no slant."""
        harms = self.way.harms
        slant = self.way.motion.kind == "lift" and self.way.motion.along[2] < 1.0
        return sum(t.on_part for t in harms), len(harms), round(self.takes_n.high, 6), slant


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Bench:
    """What does not change while bodies are taken away."""

    setup: Setup
    room: Room
    touches: Mapping[str, tuple[TouchingFaces, ...]]
    weights: Mapping[str, Load]
    pulls: Pulls | None
    known: bool
    magnet: Magnet | None


def release_of(
    setup: Setup,
    placed: Mapping[str, Solid],
    contacts: ContactMap,
    cuts: Sequence[GroundCut],
    magnet: Magnet | None,
    reason: str,
) -> Release:
    """Work out how parts and loose blocking come off, one after the other, with the magnet switched off.

    Among the bodies that come off without rubbing a finished face the next one is blocking before parts, then
    the one that takes the least force; where none does, the one that rubs least of the parts. The residual
    pull is solved with everything in place; taking iron away shifts flux to what is left, and the pull on
    that is not solved again. What stands is as drawn, the part as ground.

    Parameters
    ----------
    magnet : Magnet or None
        None where there is none, or where it could not be solved.
    reason : str
        Why it could not be; empty where it could.
    """
    pulls = None
    if magnet is not None and setup.holding is not None:
        try:
            pulls = residual_pulls(magnet, setup.holding.residual_share)
        except NotComputedError as failure:
            reason = str(failure)
    try:
        jaws = setup.holding.jaws if setup.holding else frozenset()
        loose = tuple(n for n in movers(setup, contacts) if n not in jaws)
        bench = _Bench(
            setup=setup,
            room=Room(placed, contacts),
            touches=touches_of(setup, contacts, loose),
            weights={w.body: w for w in weights(setup, placed, loose)},
            pulls=pulls,
            known=not reason,
            magnet=magnet,
        )
        order = _order(bench, loose, jaws)
        burrs = burrs_of(setup, cuts)
    except (NotComputedError, KernelError) as failure:
        return Release(order=(), burrs=(), before=first_steps(setup, keeps=True), reason=str(failure))
    before = first_steps(setup, keeps=any(b.demagnetise for b in order))
    return Release(order=order, burrs=burrs, before=before, reason=reason)


def _order(bench: _Bench, loose: Sequence[str], jaws: frozenset[str]) -> tuple[Leaving, ...]:
    """Take bodies away one by one; what comes off no way stays to the end."""
    gone, left, out = jaws, list(loose), []
    known: dict[tuple[str, frozenset[str]], list[_Tried]] = {}
    while left:
        tried = {}
        for name in left:
            near = (name, frozenset(bench.room.beside(name, gone)))
            if near not in known:
                known[near] = _tried(bench, name, gone)
            tried[name] = known[near]
        free = [n for n in left if tried[n]]
        if not free:
            out += [_leaving(bench, n, [], gone) for n in left]
            break
        following = min(free, key=lambda n: _next(bench, n, tried[n][0]))
        out.append(_leaving(bench, following, tried[following], gone))
        left.remove(following)
        gone |= {following}
    return tuple(out)


def _next(bench: _Bench, name: str, best: _Tried) -> tuple[int, bool, bool, int, float, str]:
    """Sort key: what rubs nothing finished before what does, and of those alike blocking before parts."""
    harm, count, force, _ = best.rank
    return harm, count > 0, bench.setup.body(name).role == "part", count, force, name


def _tried(bench: _Bench, name: str, gone: frozenset[str]) -> list[_Tried]:
    ways = ways_off(name, bench.touches[name], bench.room, gone)
    known = bench.known or not material(bench.setup.body(name).material).magnetic
    found = [_Tried(way=w, takes_n=_takes(bench, name, w, gone), known=known) for w in ways]
    return sorted(found, key=lambda t: t.rank)


def _takes(bench: _Bench, name: str, way: WayOff, gone: frozenset[str]) -> Range:
    """Return what a way takes against weight and residual pull, as far as that is known."""
    ends, mu = [], friction_of(bench.setup).of(name)
    for high in (False, True):
        loads = [(np.array(bench.weights[name].force_n), np.array(bench.weights[name].at_mm))]
        loads += _pulls_on(bench, name, gone, high=high)
        ends.append(takes_n(way, loads, bench.room.solid(name), mu.high if high else mu.low))
    return Range(low=min(ends), high=max(ends))


def _pulls_on(bench: _Bench, name: str, gone: frozenset[str], *, high: bool) -> list[tuple[Floats, Floats]]:
    """Return force and place of each residual pull on a body, from what is still there."""
    out = []
    for face in bench.pulls.on(name) if bench.pulls else ():
        if not gone.isdisjoint(face.bodies):
            continue
        size = face.strong_n * face.high_share if high else face.weak_n * face.low_share
        toward = face.toward if face.a.body == name else -face.toward
        out.append((size * toward, face.strong_at_mm if high else face.weak_at_mm))
    return out


def takes_n(way: WayOff, loads: Sequence[tuple[Floats, Floats]], solid: Solid, mu: float) -> float:
    """Return the force that starts a way: the load against it with its friction, or a moment over the reach.

    Friction is that of the load square to the way. A tip is lifted at the far side, straight up; it takes
    nothing where the body topples by itself.
    """
    whole = np.sum([force for force, _ in loads], axis=0)
    motion = way.motion
    if motion.axis is None or motion.at_mm is None:
        against = -float(whole @ motion.along)
        pressed = float(np.linalg.norm(whole + against * motion.along)) if way.slides else 0.0
        if motion.kind == "lift" and motion.along[2] < 1.0:
            return float(np.linalg.norm(whole))
        return max(0.0, against + mu * pressed)
    moment = sum(float(np.cross(at - motion.at_mm, force) @ motion.axis) for force, at in loads)
    reach = float(motion.at_mm @ motion.along) - extent_along(solid, motion.along)[0]
    return max(0.0, -moment / reach)


def _leaving(bench: _Bench, name: str, tried: Sequence[_Tried], gone: frozenset[str]) -> Leaving:
    """Return how one body comes off."""
    best = tried[0] if tried else None
    reached = pries(name, bench.touches[name], bench.room, gone)
    pry = _chosen(reached, best)
    force = best.force_n if best else None
    keeps, unknown = _keeps(bench, name)
    motion = best.way.motion if best else None
    at = pry.at_mm if pry and motion is None else None
    if motion is not None:
        at = motion.at_mm if motion.at_mm is not None else np.array(bench.weights[name].at_mm)
    return Leaving(
        body=name,
        residual_n=_residual(bench, name, gone),
        ways=tuple(_off_way(t, bench.touches[name]) for t in tried),
        pry=PryAt(under_mm=pry.under_mm, at_mm=to_vector(pry.at_mm)) if pry else None,
        by_hand=force.high <= HAND_N if force else None,
        at_mm=None if at is None else to_vector(at),
        direction=to_vector(motion.along) if motion is not None else None,
        keeps=keeps,
        keeps_unknown=unknown,
        motion=motion.told(bench.weights[name].at_mm) if motion is not None else None,
    )


def _off_way(tried: _Tried, touches: Sequence[TouchingFaces]) -> OffWay:
    way, force = tried.way, tried.force_n
    return OffWay(
        kind=OffKind(way.motion.kind),
        along=to_vector(way.motion.along),
        about_bottom=all(t.normal[2] < _LEVEL_DOWN for t in touches if t.supports),
        force_n=(force.low, force.high) if force else None,
        rubs=tuple((t.own, t.other) for t in way.harms),
    )


def _chosen(reached: Sequence[Pry], best: _Tried | None) -> Pry | None:
    """Return the edge farthest from the one that the body is tipped about."""
    if not reached:
        return None
    if best is None or best.way.motion.kind != "tip":
        return max(reached, key=lambda p: p.under_mm)
    along = best.way.motion.along
    return min(reached, key=lambda p: round(float(p.out @ along), 6))


def _residual(bench: _Bench, name: str, gone: frozenset[str]) -> Range | None:
    """Return the residual pull on a body from all that is still there, added up."""
    if not material(bench.setup.body(name).material).magnetic:
        return Range(low=0.0, high=0.0)
    if not bench.known:
        return None
    low, high = (
        sum(float(np.linalg.norm(force)) for force, _ in _pulls_on(bench, name, gone, high=end))
        for end in (False, True)
    )
    return Range(low=min(low, high), high=max(low, high))


def _keeps(bench: _Bench, name: str) -> tuple[SteelKeeps | None, str]:
    """Return what a body's steel keeps of the magnet, and why that is not known."""
    found = material(bench.setup.body(name).material)
    poles = bench.setup.poles()
    if not poles:
        return None, ""
    try:
        kept = worst_class(found)
    except NotComputedError as reason:
        return None, str(reason)
    if kept in (None, Keeps.SOFT) or found.coercivity_a_m is None:
        return None, ""
    low, high = found.coercivity_a_m
    path = pitch_mm(poles)
    keeps = SteelKeeps(
        kept=str(kept),
        soft_too=low < SOFT_BELOW_A_M,
        coercivity_a_m=(low, high),
        path_mm=path,
        mmf_a=mmf_kept_a(high, path),
        magnet_mmf_a=bench.magnet.source.mmf_a if bench.magnet else None,
        field_t=kept_field_t(high),
        chips_t=chip_field_t(path),
    )
    return keeps, ""


def first_steps(setup: Setup, *, keeps: bool) -> FirstSteps:
    """Return what comes before the first body is touched.

    Parameters
    ----------
    keeps : bool
        Some of the steel keeps magnetism.
    """
    holding, poles = setup.holding, bool(setup.poles())
    clamps = holding.clamps if holding else ()
    return FirstSteps(
        grinds=bool(setup.cuts),
        mills=bool(holding and holding.milling),
        magnet_off=poles,
        demagnetise=poles and keeps,
        opened=tuple(c.body for c in clamps if c.kind == ClampKind.VISE),
        loosened=tuple(c.name for c in clamps if c.kind != ClampKind.VISE),
    )
