"""Which bodies are in each other's way: with every seat closed, and within tolerances."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.contact.proximity.candidates import Candidates, ProximityScene
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import common
from fixturecheck.kernel.brep.topology import faces_of, solids_of
from fixturecheck.kernel.construct import compound, thickened, vertex
from fixturecheck.kernel.depth import wall_mm
from fixturecheck.kernel.measure import face_frame, is_within, volume_mm3
from fixturecheck.kernel.place import location_of, placed_at, world_faces
from fixturecheck.kernel.sample import inside_points
from fixturecheck.kernel.shapes import Face, Placed, Shape, Solid
from fixturecheck.nesting.model import SURE, SettlingModel, settling_model_of
from fixturecheck.nesting.outcome import seat_gaps_um
from fixturecheck.nesting.settle import loads_of, loose_of, moved_back, retreats_of
from fixturecheck.nesting.tolerance import sampled_rest
from fixturecheck.result.relief import ClashFaces, ReliefOutcome
from fixturecheck.result.rest import Ending
from fixturecheck.rigid import Poses
from fixturecheck.setup.model import Body, Seat, Setup
from fixturecheck.statics.rest import Bounds, settle
from fixturecheck.units import percent


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clash:
    """One place where two bodies are in each other's way when every seat is closed.

    Parameters
    ----------
    a, b : str
        The bodies.
    faces_a, faces_b : tuple of str
        Names of the faces of each that bound it.
    zone : Shape
        What both would fill, machine's frame, at the intended pose.
    volume_mm3 : float
        Size of the zone.
    zone_b : Shape or None
        For faces that only land within tolerances: what of `b` lies within reach of `a`; `zone` is then
        what of `a` lies within reach of `b`. None where the bodies overlap.
    share_lands : float
        In how many draws they land; one where they overlap as drawn.
    """

    a: str
    b: str
    faces_a: tuple[str, ...]
    faces_b: tuple[str, ...]
    zone: Shape = field(repr=False)
    volume_mm3: float
    zone_b: Shape | None = field(repr=False, default=None)
    share_lands: float = 1.0

    @property
    def lands(self) -> bool:
        """True where the bodies are clear as drawn and only tolerances bring them together."""
        return self.zone_b is not None

    def zone_of(self, body: str) -> Shape:
        """Return what must be taken from one of the bodies."""
        return self.zone_b if self.zone_b is not None and body == self.b else self.zone

    @property
    def between(self) -> ClashFaces:
        """The faces on either side, and whether only tolerances bring them together."""
        a, b = FaceRef.of(self.a, *self.faces_a), FaceRef.of(self.b, *self.faces_b)
        return ClashFaces(a=a, b=b, lands=self.lands)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reliefs(ReliefOutcome):
    """What a search for reliefs came to, and the set-up with them.

    Parameters
    ----------
    setup : Setup
        The set-up with every relief made; the one given where there is none.
    """

    setup: Setup

    @property
    def solids(self) -> dict[str, Solid]:
        """The new solid of every body that was changed, in its own frame."""
        return {name: self.setup.body(name).solid for r in self.reliefs for name in r.cut.bodies}


_ON_MM = 1e-5


def intended(setup: Setup) -> Setup:
    """Return the set-up with its parts where every seat would be closed if nothing else were in the way.

    That is the drawn pose where it closes the seats. Where it does not and staging is stated, the parts
    are settled on the faces of their seats alone.

    Parameters
    ----------
    setup : Setup
        The set-up.

    Returns
    -------
    Setup
        The set-up itself, or one whose loose parts lie where their seats alone put them.

    Raises
    ------
    NotComputedError
        The seats alone do not stop the parts.
    """
    if setup.staging is None or not setup.seats:
        return setup
    model = settling_model_of(setup)
    if all(_closed_as_drawn(model, k) for k in range(len(setup.seats))):
        return setup
    loose = loose_of(model, setup.staging)
    loads = loads_of(model, setup.staging, loose)
    ranks = {body: k for k, body in enumerate(loose)}
    start = moved_back(model.drawn, retreats_of(loads, ranks, setup.staging.approach_mm))
    scene = ProximityScene(model.features, [i in loose for i in range(len(model.bodies))])
    wanted = _wanted(model)

    def seats_only(poses: Poses, reach: float, slack: float, deep: float) -> Candidates:
        rows = find_candidates(scene, poses.rotation, poses.origin_mm, reach, slack, deep)
        sides = zip(rows.body_a, rows.face_a, rows.body_b, rows.face_b, strict=True)
        pairs = [frozenset(((int(a), int(i)), (int(b), int(j)))) for a, i, b, j in sides]
        return rows.where(np.flatnonzero([pair in wanted for pair in pairs]))

    raw = settle(loads, start, seats_only, Bounds())
    if raw.ending is not Ending.REST:
        raise NotComputedError(
            f"the seats alone do not hold the parts ({raw.ending}), so there is no pose to relieve for"
        )
    poses = {model.bodies[i].name: location_of(raw.poses.matrix(i)) for i in loose}
    bodies = tuple(replace(b, at=poses.get(b.name, b.at)) for b in setup.bodies)
    return replace(setup, bodies=bodies)


def _wanted(model: SettlingModel) -> set[frozenset[tuple[int, int]]]:
    """Return the pairs of faces that seats state, as body and face numbers."""
    pairs = set()
    for seat in model.setup.seats:
        for i in model.setup.body(seat.body).face_indices(seat.face):
            for j in model.setup.body(seat.on).face_indices(seat.on_face):
                pairs.add(frozenset(((model.index(seat.body), i), (model.index(seat.on), j))))
    return pairs


def _closed_as_drawn(model: SettlingModel, number: int) -> bool:
    """Tell whether a seat touches where it is drawn."""
    touch = model.setup.tolerances.touch_um
    gaps = seat_gaps_um(model, model.drawn, model.setup.seats[number])
    return any(abs(low) <= touch for low, _ in gaps)


def clashes_of(setup: Setup) -> list[Clash]:
    """Return every place where two bodies overlap, each connected piece on its own, the largest first.

    Parameters
    ----------
    setup : Setup
        The set-up, its bodies where the overlap is looked for.

    Returns
    -------
    list of Clash
        One for each connected piece larger than the tolerance for overlaps.
    """
    placed = {b.name: b.placed() for b in setup.bodies}
    found = []
    for overlap in find_contacts(list(placed.values()), setup.tolerances).overlaps:
        a, b = placed[overlap.a], placed[overlap.b]
        faces = world_faces(a), world_faces(b)
        for zone in solids_of(overlap.common):
            volume = volume_mm3(zone)
            if volume <= setup.tolerances.overlap_mm3:
                continue
            faces_a, faces_b = _bounding(zone, (a, faces[0]), (b, faces[1]))
            found.append(
                Clash(a=a.name, b=b.name, zone=zone, volume_mm3=volume, faces_a=faces_a, faces_b=faces_b)
            )
    return sorted(found, key=lambda c: (-round(c.volume_mm3, 6), c.a, c.b))


def _bounding(
    zone: Shape, one: tuple[Placed, Sequence[Face]], two: tuple[Placed, Sequence[Face]]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the names of the faces of two bodies on which the skin of a zone lies, sorted.

    Each body comes with its faces where it stands. Faces of both that lie in one plane, as the sides of a
    row of like parts do, bound nothing.
    """
    names: tuple[set[str], set[str]] = (set(), set())
    sides: tuple[set[str], set[str]] = (set(), set())
    for piece in faces_of(zone):
        spot = vertex(inside_points(piece, 1)[0])
        on = [
            {n for n, f in zip(p.face_names, faces, strict=True) if is_within(spot, f, _ON_MM)}
            for p, faces in (one, two)
        ]
        for into, found in zip(sides if all(on) else names, on, strict=True):
            into.update(found)
    first, second = (tuple(sorted(n or s)) for n, s in zip(names, sides, strict=True))
    return first, second


def band_mm(setup: Setup, clash: Clash) -> float:
    """Return how much nearer tolerances may bring two clashing faces at worst.

    Half of the zones of the faces themselves, and the longest shift of a part whose seats are all out by
    half of their zones: for seats square to each other the root of the sum of their squares. Faces are
    taken to shift parallel to themselves.

    Parameters
    ----------
    setup : Setup
        The set-up, which states zones and seats.
    clash : Clash
        The bodies and faces.

    Returns
    -------
    float
        How much nearer, mm; zero where no zone is stated.
    """
    total = sum(
        max((half_mm(setup.body(name), f) for f in faces), default=0.0)
        for name, faces in ((clash.a, clash.faces_a), (clash.b, clash.faces_b))
    )
    return total + sum(_shift_mm(setup, name) for name in (clash.a, clash.b))


def _shift_mm(setup: Setup, body: str) -> float:
    """Return the longest shift of one body that its own seats allow; zero where it has none."""
    shifts = [
        out * _normal(setup.body(body), seat.face)
        for seat in setup.seats
        if seat.body == body and (out := _seat_mm(setup, seat)) > 0
    ]
    if not shifts:
        return 0.0
    signs = product((-1.0, 1.0), repeat=len(shifts) - 1)
    sums = (
        shifts[0] + sum((s * v for s, v in zip(one, shifts[1:], strict=True)), np.zeros(3)) for one in signs
    )
    return max(float(np.linalg.norm(v)) for v in sums)


def _seat_mm(setup: Setup, seat: Seat) -> float:
    return half_mm(setup.body(seat.body), seat.face) + half_mm(setup.body(seat.on), seat.on_face)


def _normal(body: Body, face: str) -> Floats:
    faces = faces_of(placed_at(body.solid, body.at))
    return face_frame(faces[body.face_indices(face)[0]])[1]


def half_mm(body: Body, face: str) -> float:
    """Return half of the zone of a face: how far it may be out either way.

    Parameters
    ----------
    body : Body
        The body.
    face : str
        Name of the face.

    Returns
    -------
    float
        Half the width of the zone, mm; zero where none is stated.
    """
    return 0.5 * (body.zone_mm(face) or 0.0)


def refuse_crossing(setup: Setup) -> None:
    """Raise where a face and the widest zone of its body could meet inside a wall.

    Parameters
    ----------
    setup : Setup
        The set-up.

    Raises
    ------
    SetupError
        Names the face, the wall behind it and the zones.
    """
    for body in setup.bodies:
        widest = max((0.5 * w for w in body.tolerance_mm.values()), default=0.0)
        if widest <= 0.0:
            continue
        for face, name in zip(faces_of(body.solid), body.face_names(), strict=True):
            mine = half_mm(body, name)
            wall = wall_mm(body.solid, [face]) if mine > 0 else np.inf
            if mine + widest >= wall:
                write = setup.write
                raise SetupError(
                    f"tolerances of {body.name} reach through the wall of {write.length(wall, '.3g')} behind "
                    f"{name}: half zones of {write.number(mine, 'mm', '.3g')} and "
                    f"{write.length(widest, '.3g')} meet inside it; state narrower ones"
                )


_LEAST_MM3 = 1e-9


def has_tolerances(setup: Setup) -> bool:
    """Tell whether there is anything to draw: staging stated, and a face with a tolerance.

    Parameters
    ----------
    setup : Setup
        The set-up.

    Returns
    -------
    bool
        Whether both are stated.
    """
    return setup.staging is not None and any(w > 0 for b in setup.bodies for w in b.tolerance_mm.values())


def shares_of(setup: Setup) -> Mapping[tuple[FaceRef, FaceRef], float]:
    """Return in how many draws faces land that no seat states, by the two faces, the most likely first.

    Parameters
    ----------
    setup : Setup
        The set-up, with staging and zones.

    Returns
    -------
    Mapping[tuple[FaceRef, FaceRef], float]
        Share of the draws, 0 to 1, by the two faces; empty where nothing is to be drawn.

    Raises
    ------
    NotComputedError
        The parts as drawn do not rest, or too often do not go in between the fixtures.
    SetupError
        Tolerances reach through a part.
    """
    if setup.staging is None or not has_tolerances(setup):
        return {}
    staging = setup.staging
    chances = sampled_rest(setup, staging, draws=staging.draws, seed=staging.seed).chances
    barred = sum(one.share for one in chances.barred)
    if barred > 1.0 - SURE:
        raise NotComputedError(
            f"the parts do not go in between the fixtures in {percent(barred)} of {chances.draws} draws"
        )
    return {(w.a, w.b): w.share_lands for w in chances.wrong}


def clashing_contacts(setup: Setup) -> list[Clash]:
    """Return every pair of faces that lands first too often, the most likely first.

    Parameters
    ----------
    setup : Setup
        The set-up, with staging and zones.

    Returns
    -------
    list of Clash
        One for each pair of faces, with what of either body lies within reach of the other.

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
