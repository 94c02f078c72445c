"""The smallest relief that lets parts nest: found by solving, made on the solid, and settled again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from fixturecheck.contact.relief import cut_solid, edges_at, smallest_cut
from fixturecheck.contact.standing import Standing, stand
from fixturecheck.errors import KernelError
from fixturecheck.kernel.clip import common, distance, world_faces
from fixturecheck.kernel.relieving import skin_points
from fixturecheck.kernel.shapes import compound, volume_mm3
from fixturecheck.remedy.accept import is_seat, touched, worn_seats
from fixturecheck.remedy.apply import copies_of, redrawn, with_body
from fixturecheck.remedy.clashes import clashes_of, intended
from fixturecheck.remedy.code import line_for, middle_of
from fixturecheck.remedy.model import Clash, Refused, Relief, Reliefs, size_words
from fixturecheck.settling.model import Settled
from fixturecheck.settling.run import settle_setup
from fixturecheck.setup.model import Body, Setup

_STEP_MM = 0.01
_TRIES = 3
_MOST_RELIEFS = 12
_CLEAR_MM = 1e-5


def relieve(setup: Setup) -> Reliefs:
    """Return reliefs that take everything out of the way that keeps the seats of a set-up from closing.

    Clashes are the overlaps of bodies at the pose where all seats are closed. Each is relieved by the
    first kind the set-up allows that holds; a relief changes every copy of its drawing. The changed
    set-up stands as drawn.

    Raises
    ------
    NotComputedError
        The pose in which all seats are closed could not be found.
    """
    nested = intended(setup)
    before = settle_setup(setup, setup.staging) if setup.staging is not None else None
    made: list[Relief] = []
    refused: dict[str, Refused] = {}
    for _ in range(_MOST_RELIEFS):
        clash = next((c for c in clashes_of(nested) if c.says not in refused), None)
        if clash is None:
            break
        held, why = _reliefs_for(nested, clash)
        if not held:
            refused[clash.says] = Refused(clash=clash.says, why=why, gives=_gives(nested, clash))
            continue
        best = held[0]
        made.append(replace(best.relief, instead=tuple(h.relief.says for h in held[1:])))
        nested = best.setup
    changed = _back_to(setup, nested)
    after = settle_setup(changed, setup.staging) if setup.staging is not None and made else before
    return Reliefs(
        setup=changed,
        reliefs=tuple(made),
        refused=tuple(refused.values()),
        rest_before=before,
        rest_after=after,
    )


def _back_to(drawn: Setup, nested: Setup) -> Setup:
    """Return the changed bodies where they were drawn."""
    places = {b.name: b.at for b in drawn.bodies}
    return replace(nested, bodies=tuple(replace(b, at=places[b.name]) for b in nested.bodies))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Held:
    """A relief that holds, and the set-up with it made."""

    relief: Relief
    setup: Setup


def _reliefs_for(setup: Setup, clash: Clash) -> tuple[list[_Held], tuple[str, ...]]:
    """Return every relief of a clash that holds, the wanted kinds first, and why others do not."""
    held: list[_Held] = []
    why: list[str] = []
    tried: set[tuple[object, ...]] = set()
    for name in (clash.a, clash.b):
        body = setup.body(name)
        if not body.no_function:
            why.append(f"{name} has no face marked without function")
            continue
        here = stand([body.placed()])[0]
        edges = list(edges_at(here, clash.zone, body.no_function, setup.tolerances.touch_mm))
        if not edges:
            where = "no straight outside edge between flat faces bounds it beside a face without function"
            why.append(f"on {name} {where}")
        for edge in edges:
            for kind in setup.relief.kinds:
                one = _made(setup, clash, here, body, (edge, kind), why)
                # The same drawing on both sides of a clash gives the same relief twice.
                if one is not None and (key := (one.relief.bodies, edge, kind)) not in tried:
                    tried.add(key)
                    held.append(one)
    kinds = setup.relief.kinds
    held.sort(key=lambda h: (kinds.index(h.relief.kind), sum(h.relief.size_mm), h.relief.edge))
    return held, tuple(dict.fromkeys(why))


def _made(
    setup: Setup, clash: Clash, here: Standing, body: Body, what: tuple[int, str], why: list[str]
) -> _Held | None:
    """Find, make and check one relief; note why not where it does not hold."""
    edge, kind = what
    other = clash.b if body.name == clash.a else clash.a
    clear_mm = setup.relief.clearance_mm + band_mm(setup, clash)
    faces = clash.faces_b if other == clash.b else clash.faces_a
    beside = _faces(setup.body(other), faces)
    first = smallest_cut(here, edge, kind, clash.zone, skin_points(compound(beside)), clear_mm)
    label = here.label(here.table.edge_faces[edge])
    reasons: list[str] = []
    for cut in (first.grown(k * _STEP_MM) for k in range(_TRIES)):
        try:
            solid = cut_solid(body.solid, cut)
        except KernelError as reason:
            reasons = [str(reason)]
            break
        standing = solid.moved(body.at)
        left = common(standing, clash.zone)
        short = clear_mm > 0 and distance(standing, compound(beside))[0] < clear_mm - _CLEAR_MM
        if volume_mm3(left) > setup.tolerances.overlap_mm3 or short:
            reasons = ["it does not clear"]
            continue
        found = touched(setup, body, solid, edge)
        reasons = list(found.against)
        if reasons:
            break
        bodies = copies_of(setup, body.name)
        changed = with_body(setup, {n: redrawn(setup.body(n), solid) for n in bodies})
        reasons = list(worn_seats(setup, changed))
        if reasons:
            break
        reasons = list(_still(changed, clash))
        if reasons:
            continue
        relief = Relief(
            bodies=bodies, kind=kind, edge=label.split(".", 1)[1], size_mm=cut.size_mm, clears=clash.says,
            clear_mm=clear_mm, wall_mm=found.wall_mm, touches=found.faces, at_mm=middle_of(body.solid, edge),
            line=line_for(body.solid, cut), solid=solid, before=body.solid,
        )  # fmt: skip
        return _Held(relief=relief, setup=changed)
    words = size_words(kind, cut.size_mm)
    why.append(f"{words} on {label}: {'; '.join(reasons)}")
    return None


def _faces(body: Body, names: tuple[str, ...]) -> list[object]:
    """Return named faces of a body where it stands."""
    placed = body.placed()
    return [f for f, n in zip(world_faces(placed), placed.face_names, strict=True) if n in names]


def band_mm(setup: Setup, clash: Clash) -> float:
    """Return how much nearer tolerances may bring two clashing faces at worst: half of every zone."""
    total = 0.0
    for name, faces in ((clash.a, clash.faces_a), (clash.b, clash.faces_b)):
        total += max((_half_mm(setup.body(name), f) for f in faces), default=0.0)
    for seat in setup.seats:
        if {seat.body, seat.on} == {clash.a, clash.b}:
            total += _half_mm(setup.body(seat.body), seat.face) + _half_mm(setup.body(seat.on), seat.on_face)
    return total


def _half_mm(body: Body, face: str) -> float:
    return 0.5 * body.tolerance_mm.get(face, body.tolerance_mm.get("*", 0.0))


def _still(changed: Setup, clash: Clash) -> Iterator[str]:
    """Yield what still keeps two bodies apart after a relief."""
    pair = {clash.a, clash.b}
    left = clashes_of(changed)
    for other in left:
        if {other.a, other.b} == pair and set(other.faces_a) & set(clash.faces_a):
            yield f"{other.says} is still in the way"
    if left or changed.staging is None:
        return
    # Nothing overlaps any more: let the parts go again, and see that every seat closes.
    settled = settle_setup(changed, changed.staging)
    yield from not_seated(settled, changed)


def not_seated(settled: Settled, setup: Setup) -> Iterator[str]:
    """Yield what keeps settled parts from their seats, in words."""
    if not settled.rests:
        yield settled.says
        return
    touch_um = setup.tolerances.touch_um
    for seat in settled.seats:
        if not seat.closed or seat.gap_min_um > touch_um:
            yield f"{seat.seat.body}.{seat.seat.face} still rests {seat.gap_min_um:.1f} um off {seat.seat.on}"
    for one in settled.unintended():
        yield f"{one.a} still lands on {one.b}"


def _gives(setup: Setup, clash: Clash) -> str:
    """Say which face would have to give: one that is neither a seat nor ground, where there is one."""
    ground = {(p, f) for c in setup.cuts for p in c.parts for f in (c.floor, c.wall)}
    named = [(clash.a, f) for f in clash.faces_a] + [(clash.b, f) for f in clash.faces_b]
    free = [n for n in named if n not in ground and not is_seat(setup, *n)]
    listed = " or ".join(f"{body}.{face}" for body, face in (free or named))
    idle = "" if free else ", though each of them is a seat or is ground"
    return f"{listed} would have to give{idle}"
