"""How a set-up comes apart after the cut: which body first, which way, with what force; burrs, pry edges."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.holding.bearing import movers, weights
from fixturecheck.holding.clamping import friction_of
from fixturecheck.holding.model import Release
from fixturecheck.interval import Range
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.features import Features, features_of
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of, extent_along
from fixturecheck.kernel.place import location_of, matrix_of, placed_at
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.machining.cut import GroundCut
from fixturecheck.magnet.iron import pitch_mm
from fixturecheck.magnet.pull import Pulls
from fixturecheck.magnet.remanence import (
    SOFT_BELOW_A_M,
    CoercivityClass,
    chip_field_t,
    kept_field_t,
    mmf_kept_a,
    worst_class,
)
from fixturecheck.numeric import UP, to_vector
from fixturecheck.release.motions import Room, TouchingFaces, WayOff, support_edges, touches_of, ways_off
from fixturecheck.result.contact import Sparks
from fixturecheck.result.hold import ClampKind
from fixturecheck.result.release import BodyLeaves, Burr, FirstSteps, OffKind, OffWay, PryAt, SteelKeeps
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import BodyRole
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
        """What sorts ways, the easiest first: finished faces rubbed, other faces rubbed, force, slant."""
        harms = self.way.harms
        slant = self.way.motion.kind is OffKind.LIFT and self.way.motion.along[2] < 1.0
        return sum(t.on_part for t in harms), len(harms), round(self.takes_n.high, 6), slant


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Standing:
    """The set-up as it stands before the first body is taken away."""

    setup: Setup
    room: Room
    touches: Mapping[str, tuple[TouchingFaces, ...]]
    weights: Mapping[str, Load]
    pulls: Pulls | None
    known: bool


def release_of(
    setup: Setup,
    placed: Mapping[str, Solid],
    contacts: ContactMap,
    cuts: Sequence[GroundCut],
    pulls: Pulls | None,
    reason: str,
) -> Release:
    """Work out how parts and loose blocking come off, one after the other, with the magnet switched off.

    Bodies that come off without rubbing a finished face come first: blocking before parts, then by the least
    force. If every body rubs, the one that rubs the parts least comes next, then the one that rubs the fewest
    faces. The residual pull is that with everything in place. Taking iron away shifts flux to what is left;
    the pull on that is not solved again. Fixtures stand as drawn, parts as ground.

    Parameters
    ----------
    setup : Setup
        As stated.
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        What touches among them.
    cuts : sequence of GroundCut
        Those that leave burrs.
    pulls : Pulls or None
        What a magnet that is off still pulls; None where there is none, or where that could not be solved.
    reason : str
        Why it could not be; empty where it could.

    Returns
    -------
    Release
        Without an order where it could not be computed, with the reason.
    """
    try:
        jaws = setup.holding.jaws if setup.holding else frozenset()
        loose = tuple(n for n in movers(setup, contacts) if n not in jaws)
        standing = _Standing(
            setup=setup,
            room=Room(placed, contacts),
            touches=touches_of(setup, contacts, loose),
            weights={w.body: w for w in weights(setup, placed, loose)},
            pulls=pulls,
            known=not reason,
        )
        order = _order(standing, loose, jaws)
        burrs = burrs_of(setup, cuts)
    except (NotComputedError, KernelError) as failure:
        return Release(order=(), burrs=(), before=_first_steps(setup, keeps=True), reason=str(failure))
    before = _first_steps(setup, keeps=any(b.demagnetise for b in order))
    return Release(order=order, burrs=burrs, before=before, reason=reason)


def _order(standing: _Standing, loose: Sequence[str], jaws: frozenset[str]) -> tuple[BodyLeaves, ...]:
    """Take bodies away one by one; those that cannot come off stay to the end."""
    gone, left, out = jaws, list(loose), []
    known: dict[tuple[str, frozenset[str]], list[_Tried]] = {}
    while left:
        tried = {}
        for name in left:
            near = (name, frozenset(standing.room.beside(name, gone)))
            if near not in known:
                known[near] = _tried(standing, name, gone)
            tried[name] = known[near]
        free = [n for n in left if tried[n]]
        if not free:
            out += [_leaving(standing, n, [], gone) for n in left]
            break
        following = min(free, key=lambda n: _next(standing, n, tried[n][0]))
        out.append(_leaving(standing, following, tried[following], gone))
        left.remove(following)
        gone |= {following}
    return tuple(out)


def _next(standing: _Standing, name: str, best: _Tried) -> tuple[int, int, bool, float, str]:
    """Return the key that sorts ways: those that rub the fewest finished faces first, then blocking first."""
    harm, count, force, _ = best.rank
    return harm, count, standing.setup.body(name).role == BodyRole.PART, force, name


def _tried(standing: _Standing, name: str, gone: frozenset[str]) -> list[_Tried]:
    ways = ways_off(name, standing.touches[name], standing.room, gone)
    known = standing.known or not material(standing.setup.body(name).material).magnetic
    found = [_Tried(way=w, takes_n=_takes(standing, name, w, gone), known=known) for w in ways]
    return sorted(found, key=lambda t: t.rank)


def _takes(standing: _Standing, name: str, way: WayOff, gone: frozenset[str]) -> Range:
    """Return what a way takes against weight and residual pull, as far as that is known."""
    ends, mu = [], friction_of(standing.setup).of(name)
    for high in (False, True):
        loads = [(np.array(standing.weights[name].force_n), np.array(standing.weights[name].at_mm))]
        loads += _pulls_on(standing, name, gone, high=high)
        ends.append(takes_n(way, loads, standing.room.solid(name), mu.high if high else mu.low))
    return Range(low=min(ends), high=max(ends))


def _pulls_on(
    standing: _Standing, name: str, gone: frozenset[str], *, high: bool
) -> list[tuple[Floats, Floats]]:
    """Return force and place of each residual pull on a body, from what is still there."""
    out = []
    for face in standing.pulls.on(name) if standing.pulls else ():
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

    Parameters
    ----------
    way : WayOff
        The motion, and what slides in it.
    loads : sequence of pairs of ndarray, shape (3,)
        Each a force in N and the place in mm where it acts.
    solid : Solid
        The body where it stands.
    mu : float
        Friction of what slides.

    Returns
    -------
    float
        N, zero or more.
    """
    whole = np.sum([force for force, _ in loads], axis=0)
    motion = way.motion
    if motion.axis is None or motion.at_mm is None:
        against = -float(whole @ motion.along)
        pressed = float(np.linalg.norm(whole + against * motion.along)) if way.slides else 0.0
        if motion.kind is OffKind.LIFT and motion.along[2] < 1.0:
            return float(np.linalg.norm(whole))
        return max(0.0, against + mu * pressed)
    moment = sum(float(np.cross(at - motion.at_mm, force) @ motion.axis) for force, at in loads)
    reach = float(motion.at_mm @ motion.along) - extent_along(solid, motion.along)[0]
    return max(0.0, -moment / reach)


def _leaving(standing: _Standing, name: str, tried: Sequence[_Tried], gone: frozenset[str]) -> BodyLeaves:
    """Return how one body comes off."""
    best = tried[0] if tried else None
    reached = _pries(name, standing.touches[name], standing.room, gone)
    pry = _chosen(reached, best)
    force = best.force_n if best else None
    keeps, unknown = _keeps(standing, name)
    motion = best.way.motion if best else None
    at = pry.at_mm if pry and motion is None else None
    if motion is not None:
        at = motion.at_mm if motion.at_mm is not None else np.array(standing.weights[name].at_mm)
    return BodyLeaves(
        body=name,
        residual_n=_residual(standing, name, gone),
        ways=tuple(_off_way(t, standing.touches[name]) for t in tried),
        pry=PryAt(under_mm=pry.under_mm, at_mm=to_vector(pry.at_mm)) if pry else None,
        by_hand=force.high <= HAND_N if force else None,
        at_mm=None if at is None else to_vector(at),
        direction=to_vector(motion.along) if motion is not None else None,
        keeps=keeps,
        keeps_unknown=unknown,
        motion=motion.as_result(standing.weights[name].at_mm) if motion is not None else None,
        not_slid=_not_slid(best, standing.touches[name]),
    )


def _not_slid(best: _Tried | None, touches: Sequence[TouchingFaces]) -> tuple[FaceRef, ...]:
    """Return the faces that a body lies on and must not be slid over; none where it comes off by rubbing."""
    if best is None or best.way.harms:
        return ()
    return tuple(sorted({t.own for t in touches if t.finished and t.supports}))


def _off_way(tried: _Tried, touches: Sequence[TouchingFaces]) -> OffWay:
    way, force = tried.way, tried.force_n
    return OffWay(
        kind=way.motion.kind,
        along=to_vector(way.motion.along),
        about_bottom=all(t.normal[2] < _LEVEL_DOWN for t in touches if t.supports),
        force_n=(force.low, force.high) if force else None,
        rubs=tuple((t.own, t.other) for t in way.harms),
    )


def _chosen(reached: Sequence[Pry], best: _Tried | None) -> Pry | None:
    """Return the edge farthest from the one that the body is tipped about."""
    if not reached:
        return None
    if best is None or best.way.motion.kind is not OffKind.TIP:
        return max(reached, key=lambda p: p.under_mm)
    along = best.way.motion.along
    return min(reached, key=lambda p: round(float(p.out @ along), 6))


def _residual(standing: _Standing, name: str, gone: frozenset[str]) -> tuple[float, float] | None:
    """Return the residual pull on a body from all that is still there, added up, low to high."""
    if not material(standing.setup.body(name).material).magnetic:
        return 0.0, 0.0
    if not standing.known:
        return None
    low, high = (
        sum(float(np.linalg.norm(force)) for force, _ in _pulls_on(standing, name, gone, high=end))
        for end in (False, True)
    )
    return min(low, high), max(low, high)


def _keeps(standing: _Standing, name: str) -> tuple[SteelKeeps | None, str]:
    """Return what a body's steel keeps of the magnet, and why that is not known."""
    found = material(standing.setup.body(name).material)
    poles = standing.setup.poles()
    if not poles:
        return None, ""
    try:
        kept = worst_class(found)
    except NotComputedError as reason:
        return None, str(reason)
    if kept in (None, CoercivityClass.SOFT) or found.coercivity_a_m is None:
        return None, ""
    low, high = found.coercivity_a_m
    path, source = pitch_mm(poles), standing.pulls.source if standing.pulls else None
    keeps = SteelKeeps(
        kept=str(kept),
        soft_too=low < SOFT_BELOW_A_M,
        coercivity_a_m=(low, high),
        path_mm=path,
        mmf_a=mmf_kept_a(high, path),
        magnet_mmf_a=source.mmf_a if source else None,
        field_t=kept_field_t(high),
        chips_t=chip_field_t(path),
    )
    return keeps, ""


def _first_steps(setup: Setup, *, keeps: bool) -> FirstSteps:
    """Return what comes before the first body is touched.

    Parameters
    ----------
    keeps : bool
        Some of the steel keeps magnetism.
    """
    poles = bool(setup.poles())
    return FirstSteps(
        grinds=bool(setup.cuts),
        mills=bool(setup.mills or setup.end_mills),
        drills=bool(setup.drills),
        magnet_off=poles,
        demagnetise=poles and keeps,
        opened=tuple(c.body for c in setup.clamps if c.kind == ClampKind.VISE),
        loosened=tuple(c.name for c in setup.clamps if c.kind != ClampKind.VISE),
    )


# An edge is left by the wheel where it looks this much along the traverse: 20 degrees off it.
_ACROSS = np.sin(np.radians(20.0))
_FLUSH = 1e-3


def burrs_of(setup: Setup, cuts: Sequence[GroundCut]) -> tuple[Burr, ...]:
    """Return the edges that the cuts leave a burr on, those on seats first.

    The table goes to and fro, so that the wheel leaves the work at both ends of the stroke. The rim always
    runs toward the side on which the sparks leave, and the burr there is the heavier: common practice, no
    source. Edges along the traverse are brushed and not counted.

    Parameters
    ----------
    setup : Setup
        Holds the parts.
    cuts : sequence of GroundCut
        An edge that several cuts leave a burr on is told once, of the first.

    Returns
    -------
    tuple of Burr
        Of each sort those where the sparks leave come first.
    """
    found: dict[str, Burr] = {}
    for cut in cuts:
        for part in cut.cut.parts:
            for burr in _burrs(setup, setup.body(part), [f for f in (cut.cut.floor, cut.cut.wall) if f]):
                found.setdefault(burr.edge, burr)
    return tuple(sorted(found.values(), key=lambda b: (not b.seats, not b.sparks, b.edge)))


def _burrs(setup: Setup, body: Body, ground: Sequence[str]) -> Iterator[Burr]:
    features = features_of(body.solid)
    turn = matrix_of(body.at)[:3, :3]
    names = body.face_names()
    targets = {i for name in ground for i in body.face_indices(name)}
    seats = {s.face for s in setup.seats if s.body == body.name}
    seats |= {s.on_face for s in setup.seats if s.on == body.name}
    rim = "+X" if setup.machine.sparks == Sparks.RIGHT else "-X"
    edges: dict[tuple[str, ...], tuple[set[str], float]] = {}
    for pair, outward, length in _sticking_out(features, targets, turn):
        if abs(outward[0]) >= _ACROSS:
            key = tuple(sorted({names[i] for i in pair}))
            ends, sum_mm = edges.get(key, (set(), 0.0))
            edges[key] = ends | {"+X" if outward[0] > 0 else "-X"}, sum_mm + length
    for key, (ends, sum_mm) in sorted(edges.items()):
        yield Burr(
            edge=f"{body.name}.{'+'.join(key)}",
            ends=tuple(sorted(ends)),
            sparks=rim in ends,
            seats=tuple(name for name in key if name in seats),
            length_mm=sum_mm,
        )


def _sticking_out(
    features: Features, targets: set[int], turn: Floats
) -> Iterator[tuple[tuple[int, int], Floats, float]]:
    """Yield the chords where a target ends at an outside edge: both faces, way out of the target, length."""
    lengths = np.linalg.norm(features.edges_mm[:, 1] - features.edges_mm[:, 0], axis=1)
    for row, (first, second) in enumerate(features.edge_faces.tolist()):
        mine = [side for side, face in enumerate((first, second)) if face in targets]
        if len(mine) != 1:
            continue
        normals = features.edge_normals[row]
        # Where the neighbour goes on flush there is no edge, and a face that rises beside it is a corner.
        falls = float(features.face_tangents[row, 1 - mine[0]] @ normals[mine[0]])
        if falls < -_FLUSH:
            yield (first, second), turn @ -features.face_tangents[row, mine[0]], float(lengths[row])


# A soft blade as used on small work: common practice, no source.
BLADE_WIDE_MM, BLADE_THICK_MM, BLADE_LONG_MM = 10.0, 2.0, 25.0

_CLEAR_MM = 0.02
_ALONG = (0.0, 0.25, -0.25, 0.45, -0.45)
_LEVEL_MM = 0.01
_START_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pry:
    """A place where the blade reaches the edge.

    Parameters
    ----------
    at_mm : ndarray, shape (3,)
        On the bottom edge.
    out : ndarray, shape (3,)
        Level direction away from the body.
    under_mm : float
        How far the body reaches out over the edge that it lies on: a chamfer or a ledge that the blade
        gets under; zero for a square edge.
    """

    at_mm: Floats
    out: Floats
    under_mm: float


def _pries(body: str, touches: Sequence[TouchingFaces], room: Room, gone: frozenset[str]) -> tuple[Pry, ...]:
    """Return the bottom edges of a body that a blade reaches, one place for each.

    The blade lies flat and square to the edge, on the level that the body lies on. What does not lie on one
    level, as a bar in a V, has no edge to get under from beside.
    """
    here = [t for t in touches if t.other_body not in gone]
    heights = np.concatenate([t.points_mm[:, 2] for t in here if t.supports] or [np.zeros(0)])
    if not len(heights) or np.ptp(heights) > _LEVEL_MM:
        return ()
    found = []
    for middle, out in support_edges(here):
        pry = next(_reached(body, middle, out, here, room, gone), None)
        if pry is not None:
            found.append(pry)
    return tuple(found)


def _reached(
    body: str, middle: Floats, out: Floats, here: Sequence[TouchingFaces], room: Room, gone: Iterable[str]
) -> Iterator[Pry]:
    """Yield the places along one edge where the blade fits, the middle first."""
    along = np.cross(UP, out)
    spans = [extent_along(s, along) for t in here if t.supports for s in t.shapes]
    low, high = min(s[0] for s in spans), max(s[1] for s in spans)
    for share in _ALONG:
        at = middle + ((0.5 + share) * (high - low) + low - float(middle @ along)) * along
        asked = partial(_outside, room.solid(body), at, out, along)
        beyond = room.recalled([body], "outside", (at, out, along), asked)
        if beyond is None:
            continue
        root = at + beyond * out
        blade = _blade(root, out, along)
        if room.takes(blade, gone):
            yield Pry(at_mm=root, out=out, under_mm=beyond if beyond > _START_MM else 0.0)


def _outside(solid: Solid, at: Floats, out: Floats, along: Floats) -> float | None:
    """Return how far the body reaches past the edge over the blade's width; None where it has none there."""
    reach = np.array(box_of(solid))
    size = float(np.linalg.norm(reach[3:] - reach[:3]))
    slab = _slab(at - size * out, out, along, size * 2)
    piece: Shape = common(solid, slab)
    if not solids_of(piece):
        return None
    return max(0.0, extent_along(piece, out)[1] - float(at @ out))


def _blade(root: Floats, out: Floats, along: Floats) -> Solid:
    return _slab(root + _CLEAR_MM * out, out, along, BLADE_LONG_MM)


def _slab(root: Floats, out: Floats, along: Floats, long_mm: float) -> Solid:
    """Return a bar as wide and thick as the blade that starts at a place and lies just over its level."""
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = out, along, UP, root
    return placed_at(_bar(long_mm), location_of(matrix))


@lru_cache(maxsize=16)
def _bar(long_mm: float) -> Solid:
    """Return the bar as drawn: one for all places, so that it is read from the kernel once."""
    return box((0.0, -BLADE_WIDE_MM / 2, _CLEAR_MM), (long_mm, BLADE_WIDE_MM / 2, BLADE_THICK_MM))
