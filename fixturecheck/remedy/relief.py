"""The smallest relief that lets parts nest: found by solving, made on the solid, and settled again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fixturecheck.checks.tolerance import SURE
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.kernel.clip import common, distance, world_faces
from fixturecheck.kernel.shapes import Shape, Solid, to_vector, volume_mm3
from fixturecheck.remedy.accept import Touched, is_seat, touched, worn_seats
from fixturecheck.remedy.apply import RELIEF, copies_of, redrawn, with_body
from fixturecheck.remedy.bands import band_mm, refuse_crossing
from fixturecheck.remedy.clashes import clashes_of, intended
from fixturecheck.remedy.landings import landings_of, shares_of, varies
from fixturecheck.remedy.model import Clash, Refused, Relief, Reliefs
from fixturecheck.remedy.proposals import Proposal, proposals
from fixturecheck.settling.model import Settled
from fixturecheck.settling.run import settle_setup
from fixturecheck.setup.model import Body, Setup, among_its_own

_STEP_MM = 0.01
_TRIES = 3
_MOST_RELIEFS = 12
_CLEAR_MM = 1e-5


@among_its_own
def relieve(setup: Setup) -> Reliefs:
    """Return reliefs that take everything out of the way that keeps the seats of a set-up from closing.

    Clashes are the overlaps of bodies at the pose where all seats are closed, and then the faces that land
    first too often within tolerances. Each is relieved by the first kind the set-up allows that holds; a
    relief changes every copy of its drawing. The changed set-up stands as drawn.

    Raises
    ------
    NotComputedError
        The pose in which all seats are closed could not be found.
    SetupError
        Tolerances reach through a wall.
    """
    refuse_crossing(setup)
    nested = intended(setup)
    before = settle_setup(setup, setup.staging) if setup.staging is not None else None
    made: list[Relief] = []
    refused: dict[str, Refused] = {}
    missing: tuple[str, ...] = ()
    for _ in range(_MOST_RELIEFS):
        try:
            clash = _next(nested, refused)
        except NotComputedError as reason:
            missing = (f"whether anything lands first within tolerances: {reason}",)
            break
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
        missing=missing,
    )


def _next(setup: Setup, refused: dict[str, Refused]) -> Clash | None:
    """Return the next clash that was not given up: what overlaps first, then what lands within tolerances."""
    overlaps = clashes_of(setup)
    found = next((c for c in overlaps if c.says not in refused), None)
    if found is not None or overlaps or not varies(setup):
        return found
    return next((c for c in landings_of(setup) if c.says not in refused), None)


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
    why: list[str] = []
    found = [(setup.body(name), p) for name in (clash.a, clash.b) for p in _proposed(setup, clash, name, why)]
    # A face that lands by a few um is taken back as a whole: a chamfer on its edge leaves it there. Where
    # bodies overlap, to take a whole face back is the last resort.
    first = ("setback", "groove") if clash.lands else ("chamfer", "fillet", "undercut", "groove")
    for wanted in (True, False):
        group = [(body, p) for body, p in found if (p.kind in first) is wanted]
        held = _that_hold(setup, clash, group, why)
        if held:
            break
    order = sorted(setup.relief.kinds, key=lambda k: k != "setback") if clash.lands else setup.relief.kinds

    def rank(one: _Held) -> tuple[int, float, str]:
        return order.index(one.relief.kind), sum(one.relief.size_mm), one.relief.edge

    return sorted(held, key=rank), tuple(dict.fromkeys(why))


def _proposed(setup: Setup, clash: Clash, name: str, why: list[str]) -> list[Proposal]:
    """Return the cuts that might cure a clash on one of its bodies; note why where there is none."""
    body = setup.body(name)
    if not body.no_function:
        why.append(f"{name} has no face marked without function")
        return []
    other, faces = (clash.b, clash.faces_b) if name == clash.a else (clash.a, clash.faces_a)
    beside = _faces(setup.body(other), faces)
    clear_mm = setup.relief.clearance_mm + band_mm(setup, clash)
    looked = proposals(setup, clash, body, beside, clear_mm) if clash.zone_of(name).Solids() else ()
    found = [replace(p, write=setup.write) for p in looked]
    if not found:
        kinds = ", ".join(setup.relief.kinds)
        why.append(f"on {name} nothing beside a face without function takes a {kinds} at the clash")
    return found


def _that_hold(
    setup: Setup, clash: Clash, group: Sequence[tuple[Body, Proposal]], why: list[str]
) -> list[_Held]:
    """Return the reliefs of a group that hold, each once; note why others do not."""
    held: dict[tuple[object, ...], _Held] = {}
    for body, proposal in group:
        one = _made(setup, clash, body, proposal, why)
        if one is not None:
            # The same drawing on both sides of a clash gives the same relief twice.
            held.setdefault((one.relief.bodies, proposal.kind, proposal.where), one)
    return list(held.values())


def _made(setup: Setup, clash: Clash, body: Body, first: Proposal, why: list[str]) -> _Held | None:
    """Make and check one relief; note why not where it does not hold."""
    reasons: list[str] = []
    bodies = copies_of(setup, body.name)
    for proposal in (first.grown(k * _STEP_MM) for k in range(_TRIES)):
        try:
            solid = proposal.made(body.solid)
        except KernelError as reason:
            reasons = [str(reason)]
            break
        if not _clears(setup, clash, body, proposal, solid):
            reasons = ["it does not clear"]
            continue
        found = touched(setup, body, solid, proposal.ends(body.solid))
        reasons = list(found.against)
        if reasons:
            break
        changed = with_body(setup, {n: redrawn(setup.body(n), solid) for n in bodies})
        reasons = list(worn_seats(setup, changed))
        if reasons:
            break
        reasons = list(_still(changed, clash))
        if not reasons:
            relief = _relief(clash, body, proposal, solid, (bodies, found))
            return _Held(relief=relief, setup=changed)
    why.append(f"{proposal.words} on {body.name}.{proposal.where}: {'; '.join(reasons)}")
    return None


def _relief(
    clash: Clash, body: Body, proposal: Proposal, solid: Solid, found: tuple[tuple[str, ...], Touched]
) -> Relief:
    """Return a relief that holds, as it is told."""
    bodies, taken = found
    return Relief(
        bodies=bodies, kind=proposal.kind, edge=proposal.where, size_mm=proposal.cut.size_mm,
        clears=clash.says, clear_mm=proposal.clear_mm, wall_mm=taken.wall_mm, touches=taken.faces,
        at_mm=to_vector(proposal.at_mm), along=to_vector(proposal.along), line=proposal.line(body.solid),
        solid=solid, before=body.solid, slope_deg=proposal.slope_deg, notes=proposal.notes(),
        share_lands=clash.share_lands, write=proposal.write,
    )  # fmt: skip


def _clears(setup: Setup, clash: Clash, body: Body, proposal: Proposal, solid: Solid) -> bool:
    """Tell whether a relieved body is out of the clash, and clear of what must stay clear of it."""
    standing = solid.moved(body.at)
    if volume_mm3(common(standing, clash.zone_of(body.name))) > setup.tolerances.overlap_mm3:
        return False
    guard, clear_mm = proposal.guard, proposal.clear_mm
    return guard is None or clear_mm <= 0.0 or distance(standing, guard)[0] >= clear_mm - _CLEAR_MM


def _faces(body: Body, names: tuple[str, ...]) -> list[Shape]:
    """Return named faces of a body where it stands."""
    placed = body.placed()
    return [f for f, n in zip(world_faces(placed), placed.face_names, strict=True) if n in names]


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
    if clash.lands and settled.rests:
        for (one, two), share in shares_of(changed).items():
            if {one.partition(".")[0], two.partition(".")[0]} == pair and share > 1.0 - SURE:
                yield f"{one} still lands on {two} in {share:.2%} of draws"


def not_seated(settled: Settled, setup: Setup) -> Iterator[str]:
    """Yield what keeps settled parts from their seats, in words."""
    if not settled.rests:
        yield settled.says
        return
    touch_um = setup.tolerances.touch_um
    for seat in settled.seats:
        if not seat.closed or seat.gap_min_um > touch_um:
            gap = setup.write.gap(seat.gap_min_um, ".1f")
            yield f"{seat.seat.body}.{seat.seat.face} still rests {gap} off {seat.seat.on}"
    for one in settled.unintended():
        # Where every seat is closed, a round relief may run out onto a seat and touch there too.
        if not any(_runs_out(setup, *pair) for pair in ((one.a, one.b), (one.b, one.a))):
            yield f"{one.a} still lands on {one.b}"


def _runs_out(setup: Setup, relief: str, seat: str) -> bool:
    """Tell whether one face was made by a relief, by the name that it is given, and the other is a seat."""
    body, _, face = seat.partition(".")
    return relief.partition(".")[2].partition("_")[0] == RELIEF and is_seat(setup, body, face)


def _gives(setup: Setup, clash: Clash) -> str:
    """Say which face would have to give: one that is neither a seat nor ground, where there is one."""
    ground = {(p, f) for c in setup.cuts for p in c.parts for f in (c.floor, c.wall)}
    named = [(clash.a, f) for f in clash.faces_a] + [(clash.b, f) for f in clash.faces_b]
    free = [n for n in named if n not in ground and not is_seat(setup, *n)]
    listed = " or ".join(f"{body}.{face}" for body, face in (free or named))
    idle = "" if free else ", though each of them is a seat or is ground"
    return f"{listed} would have to give{idle}"
