"""How a set-up comes apart after the cut: which body first, which way, with what force, what is stoned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.hold_result import ClampKind
from fixturecheck.holding.bearing import movers, weights
from fixturecheck.holding.clamping import friction_of
from fixturecheck.holding.model import Leaving, Release
from fixturecheck.interval import Range
from fixturecheck.kernel.measure import extent_along
from fixturecheck.kernel.shapes import Solid, to_vector
from fixturecheck.machining.cut import GroundCut
from fixturecheck.magnet.iron import pitch_mm
from fixturecheck.magnet.pull import Magnet, Pulls
from fixturecheck.magnet.remanence import (
    SOFT_BELOW_A_M,
    Keeps,
    chip_field_t,
    kept_field_t,
    mmf_kept_a,
    residual_pulls,
    worst_class,
)
from fixturecheck.release.edges import Pry, burrs_of, pries
from fixturecheck.release.motions import Room, Touch, WayOff, touches_of, ways_off
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import material
from fixturecheck.statics.equilibrium import Load
from fixturecheck.units import METRIC, Writing

_SIDES = (
    (np.array([1.0, 0.0]), "right", "+X"),
    (np.array([-1.0, 0.0]), "left", "-X"),
    (np.array([0.0, 1.0]), "back", "+Y"),
    (np.array([0.0, -1.0]), "front", "-Y"),
)
_SOME = 0.2


def first_steps(setup: Setup, *, keeps: bool) -> str:
    """Return what comes before the first body is touched.

    Parameters
    ----------
    keeps : bool
        Some of the steel keeps magnetism.
    """
    holding = setup.holding
    tools = (["wheel"] if setup.cuts else []) + (["cutter"] if holding and holding.milling else [])
    steps = [f"{' and '.join(tools) or 'wheel'} clear of the work and the spindle at rest"]
    if setup.poles():
        steps.append("magnet off")
        steps += ["its demagnetising cycle run where it has one"] if keeps else []
    clamps = holding.clamps if holding else ()
    steps += [f"open {c.body}" if c.kind == ClampKind.VISE else f"loosen {c.name}" for c in clamps]
    words = ", ".join(steps)
    return words[0].upper() + words[1:]


def step_words(
    name: str,
    way: WayOff | None,
    force_n: Range | None,
    touches: Sequence[Touch],
    *,
    hand_n: float,
    keeps: bool,
    write: Writing = METRIC,
) -> str:
    """Return what to do with a body in one sentence, without its full stop.

    Parameters
    ----------
    hand_n : float
        What fingers do.
    keeps : bool
        Its steel keeps magnetism, so that the force stands only once that is out.
    """
    if way is None:
        return f"{name} comes off no way that was tried: neither lifted, nor tipped, nor slid"
    words = f"{_verb(way)} {name} {_where(way, touches)}"
    if force_n is None:
        return f"{words}, against a residual pull that is not known"
    with_what = "by hand" if force_n.high <= hand_n else "more than fingers can"
    if keeps:
        with_what += " once demagnetised, more before"
    if way.motion.kind == "tip":
        if force_n.high == 0.0:
            return f"{words}: it topples by itself, so keep a hand on it"
        return f"{words}: {_force(force_n, write)} under the far edge, {with_what}"
    return f"{words}: {_force(force_n, write)}, {with_what}"


def way_words(way: WayOff, force_n: Range | None, touches: Sequence[Touch], write: Writing = METRIC) -> str:
    """Return one way in words, with what it takes and what it rubs."""
    words = f"{_verb(way)} {_where(way, touches)}".lower().replace("+x", "+X").replace("-x", "-X")
    words = words.replace("+y", "+Y").replace("-y", "-Y")
    if force_n is not None:
        words += f", {_force(force_n, write)}"
    if not way.clean:
        words += f"; rubs {', '.join(f'{t.own} on {t.other}' for t in way.harms)}"
    return words


def keeps_words(
    *,
    kept: str,
    coercivity_a_m: tuple[float, float],
    path_mm: float,
    mmf_a: float,
    magnet_mmf_a: float | None,
    field_t: float,
    chips_t: float,
    write: Writing = METRIC,
) -> str:
    """Say what magnetism a steel keeps, and what it does to chips."""
    low, high = (c * 1e-3 for c in coercivity_a_m)
    spread = kept if coercivity_a_m[0] >= SOFT_BELOW_A_M else f"soft to {kept}"
    words = f"{spread} material, coercivity {low:.2g} to {high:.2g} kA/m"
    beside = f" beside the {magnet_mmf_a:.0f} A of the magnet" if magnet_mmf_a is not None else ""
    words += f": over {write.length(path_mm, '.0f')} between poles it drives up to {mmf_a:.0f} A "
    words += f"of its own{beside}"
    words += f", and off the magnet it may show {field_t * 1e3:.2g} mT, "
    if field_t > chips_t:
        return words + f"where chips hang on from {chips_t * 1e3:.2g} mT"
    return words + f"less than the {chips_t * 1e3:.2g} mT at which round chips hang on, though slivers may"


def _force(span: Range, write: Writing) -> str:
    low, high = (write.number(v, "N", ".2g" if v < 100.0 else ".0f") for v in (span.low, span.high))
    return f"{low if low == high else f'{low} to {high}'} {write.name('N')}"


def _verb(way: WayOff) -> str:
    return {"lift": "Lift", "tip": "Tip", "slide": "Slide"}[way.motion.kind]


def _where(way: WayOff, touches: Sequence[Touch]) -> str:
    motion = way.motion
    side, toward = compass(motion.along)
    if motion.kind == "tip":
        flat = all(t.normal[2] < -0.999 for t in touches if t.supports)
        return (
            f"about {f'its {side} bottom edge' if flat else f'the {side} edge of its seat'}, toward {toward}"
        )
    if motion.kind == "slide":
        return f"toward {toward}"
    if motion.along[2] > 0.999:
        return "straight up"
    return f"up and away toward {toward} at once"


def compass(along: NDArray[np.float64]) -> tuple[str, str]:
    """Return a level direction as sides of the machine and as axes: `front left`, `-X -Y`."""
    level = along[:2] / max(float(np.linalg.norm(along[:2])), 1e-12)
    named = [(side, axis) for way, side, axis in _SIDES if float(way @ level) > _SOME]
    sides = [s for s, _ in reversed(named)]
    return " ".join(sides), " ".join(a for _, a in named)


HAND_N = 50.0
"""What fingers do on a small part: mean tip pinch of women, Mathiowetz [@mathiowetz1985], from memory."""


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
    touches: Mapping[str, tuple[Touch, ...]]
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
        burrs = tuple(b.says for b in burrs_of(setup, cuts))
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
    """Put one body's way into words."""
    best, write = tried[0] if tried else None, bench.setup.write
    reached = pries(name, bench.touches[name], bench.room, gone)
    pry = _chosen(reached, best)
    force = best.force_n if best else None
    by_hand = force.high <= HAND_N if force else None
    keeps, demagnetise = _keeps(bench, name)
    motion = best.way.motion if best else None
    at = pry.at_mm if pry and motion is None else None
    if motion is not None:
        at = motion.at_mm if motion.at_mm is not None else np.array(bench.weights[name].at_mm)
    return Leaving(
        body=name,
        residual_n=_residual(bench, name, gone),
        ways=tuple(way_words(t.way, t.force_n, bench.touches[name], write) for t in tried),
        pry=_pry_words(pry, write) if pry else None,
        demagnetise=demagnetise,
        step=step_words(
            name,
            best.way if best else None,
            force,
            bench.touches[name],
            hand_n=HAND_N,
            keeps=demagnetise,
            write=write,
        ),
        force_n=force,
        by_hand=by_hand,
        rubs=tuple((t.own, t.other) for t in best.way.harms) if best else (),
        at_mm=None if at is None else to_vector(at),
        direction=to_vector(motion.along) if motion is not None else None,
        keeps=keeps,
        motion=motion.told(bench.weights[name].at_mm) if motion is not None else None,
    )


def _chosen(reached: Sequence[Pry], best: _Tried | None) -> Pry | None:
    """Return the edge farthest from the one that the body is tipped about."""
    if not reached:
        return None
    if best is None or best.way.motion.kind != "tip":
        return max(reached, key=lambda p: p.under_mm)
    along = best.way.motion.along
    return min(reached, key=lambda p: round(float(p.out @ along), 6))


def _pry_words(pry: Pry, write: Writing) -> str:
    lip = f"under a lip of {write.length(pry.under_mm, '.2g')}"
    under = lip if pry.under_mm else "at a square edge, with a thin wedge"
    place = ", ".join(write.number(v, "mm", ".0f") for v in to_vector(pry.at_mm))
    return f"{under}, at ({place}) {write.name('mm')}"


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


def _keeps(bench: _Bench, name: str) -> tuple[str, bool]:
    """Say what a body's steel keeps of the magnet, and whether that must be taken out."""
    found = material(bench.setup.body(name).material)
    poles = bench.setup.poles()
    if not poles:
        return "", False
    try:
        kept = worst_class(found)
    except NotComputedError as reason:
        return f"whether it keeps magnetism is not known: {reason}", False
    if kept in (None, Keeps.SOFT) or found.coercivity_a_m is None:
        return "", False
    low, high = found.coercivity_a_m
    path = pitch_mm(poles)
    words = keeps_words(
        kept=str(kept),
        coercivity_a_m=(low, high),
        path_mm=path,
        mmf_a=mmf_kept_a(high, path),
        magnet_mmf_a=bench.magnet.source.mmf_a if bench.magnet else None,
        field_t=kept_field_t(high),
        chips_t=chip_field_t(path),
        write=bench.setup.write,
    )
    return words, True
