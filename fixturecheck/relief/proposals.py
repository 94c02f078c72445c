"""The cuts that might cure a clash: code, place, what stays clear, ranking, and whether one may be made."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.contact.placed import Standing, place_bodies
from fixturecheck.errors import KernelError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import stepped
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.depth import wall_mm
from fixturecheck.kernel.measure import (
    area_mm2,
    centroid_of,
    edge_middle,
    edge_way,
    face_frame,
    is_flat,
    volume_mm3,
)
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.sample import surface_points
from fixturecheck.kernel.select import nearest_edge, same_faces
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.nesting.seating import seating
from fixturecheck.relief.clashes import Clash
from fixturecheck.relief.edge_cuts import (
    Bevel,
    EdgeCut,
    bevel_of,
    cut_solid,
    edges_at,
    setbacks,
    smallest_cut,
    step_box,
)
from fixturecheck.relief.grooves import BoxCut, corners_at, groove
from fixturecheck.result.relief import (
    FaceUse,
    GrooveDetail,
    NoCut,
    NotMade,
    Objection,
    Rejected,
    ReliefCut,
    ReliefKind,
    SeatReduced,
    TakesFrom,
    ThinWall,
)
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Seat, Setup
from fixturecheck.units import Writing

_DECIMALS = 4


def _shown_middle(solid: Solid, edge: int) -> Vector:
    """Return the middle of an edge in the frame of the part, rounded to what a line of code shows."""
    x, y, z = centroid_of(edges_of(solid)[edge])
    return round(x, _DECIMALS) + 0.0, round(y, _DECIMALS) + 0.0, round(z, _DECIMALS) + 0.0


_PART = "part"
"""The variable that holds a part in a line that makes a cut on it."""


def _line_for(solid: Solid, cut: EdgeCut | BoxCut) -> str:
    """Return the line of Python that makes a cut on `part`, a `cadquery.Workplane`."""
    if isinstance(cut, BoxCut):
        return _box_line(cut.corner, cut.axes, cut.sizes_mm)
    if cut.kind == ReliefKind.UNDERCUT:
        return _box_line(*step_box(solid, cut))
    point = _shown_middle(solid, cut.edge)
    if nearest_edge(solid, point) != cut.edge:
        # Two edges share a middle; the nearest-point selector cannot tell them apart, the number can.
        picked = f"{_PART}.newObject([{_PART}.val().Edges()[{cut.edge}]])"
    else:
        picked = f"{_PART}.edges(cq.selectors.NearestToPointSelector({_tuple(point)}))"
    return f"{_PART} = {picked}.{cut.kind}({cut.size_mm[0]:.2f})"


def _box_line(corner: Floats, axes: Floats, sizes: tuple[float, float, float]) -> str:
    """Return the line that mills a box away."""
    # The box is described in a right-handed plane; a left-handed corner starts at its far end.
    right = float(np.linalg.det(axes)) > 0
    origin = corner if right else corner + axes[2] * sizes[2]
    normal = axes[2] if right else -axes[2]
    plane = f"cq.Plane({_tuple(origin)}, {_tuple(axes[0])}, {_tuple(normal)})"
    box = ", ".join(f"{v:.6g}" for v in sizes)
    return f"{_PART} = {_PART}.cut(cq.Workplane({plane}).box({box}, centered=False))"


def _tuple(values: Iterable[float]) -> str:
    return "(" + ", ".join(f"{round(float(v), 9) + 0.0:.11g}" for v in values) + ")"


_END = 1e-6
_BETWEEN = 63
_OF_EDGES = (ReliefKind.CHAMFER, ReliefKind.FILLET, ReliefKind.UNDERCUT)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """One cut on one body that might cure a clash, not tried yet.

    Parameters
    ----------
    faces : tuple of str
        The faces beside the edge or corner, or the one face that is set back.
    at_mm, along : ndarray, shape (3,)
        A place of it and a direction to look along, in the part's own frame.
    guard : Shape or None
        What of the other body must stand clear of the part afterwards, machine's frame.
    clear_mm : float
        How clear.
    bevel : Bevel or None
        The chamfer that is made larger, where the face that is set back is one.
    beside_bevel : bool
        Whether the cut is made on an edge of a chamfer.
    """

    cut: EdgeCut | BoxCut
    faces: tuple[str, ...]
    at_mm: Floats = field(repr=False)
    along: Floats = field(repr=False)
    guard: Shape | None = field(repr=False)
    clear_mm: float
    bevel: Bevel | None = None
    beside_bevel: bool = False

    @property
    def kind(self) -> ReliefKind:
        """What is done."""
        return self.cut.kind

    @property
    def slope_deg(self) -> float:
        """Angle of a chamfer to either face, whether new or made larger; 45 for other cuts."""
        if self.bevel is not None:
            return self.bevel.slope_deg
        return self.cut.slope_deg if isinstance(self.cut, EdgeCut) else 45.0

    def on(self, *bodies: str) -> ReliefCut:
        """Return kind, size and place of the cut on the bodies that it changes."""
        cut, bevel = self.cut, self.bevel
        return ReliefCut(
            bodies=bodies, kind=cut.kind, faces=self.faces, size_mm=cut.size_mm,
            slope_deg=self.slope_deg,
            leg_mm=None if bevel is None else bevel.leg_after(cut.size_mm[0]),
            leg_before_mm=None if bevel is None else bevel.leg_mm,
        )  # fmt: skip

    @property
    def is_plain(self) -> bool:
        """False for a round edge, and for a cut on the edge of a chamfer, which a toolmaker makes larger."""
        return self.kind != ReliefKind.FILLET and not self.beside_bevel

    def ends(self, solid: Solid) -> frozenset[int]:
        """Return the faces in which the cut ends: square to its run, or all round a face set back."""
        if isinstance(self.cut, BoxCut) and self.cut.kind == ReliefKind.SETBACK:
            return self.cut.round_about
        if isinstance(self.cut, EdgeCut) and self.cut.rim:
            return frozenset()
        flat = [(i, f) for i, f in enumerate(faces_of(solid)) if is_flat(f)]
        return frozenset(i for i, f in flat if abs(float(face_frame(f)[1] @ self.along)) > 1 - _END)

    def grown(self, by_mm: float) -> Proposal:
        """Return the same cut, larger."""
        return replace(self, cut=self.cut.grown(by_mm))

    def made(self, solid: Solid, write: Writing) -> Solid:
        """Return a part with the cut made on it.

        Parameters
        ----------
        write : Writing
            What writes its sizes in the error.

        Raises
        ------
        KernelError
            The cut does not fit.
        """
        cut = self.cut
        if isinstance(cut, EdgeCut):
            return cut_solid(solid, cut, write)
        return stepped(solid, cut.corner, cut.axes, cut.sizes_mm, write)

    def line(self, solid: Solid) -> str:
        """Return the line of code that makes it."""
        return _line_for(solid, self.cut)

    def groove(self) -> GrooveDetail | None:
        """Return what the shop must know of a groove besides its size; None for other cuts."""
        cut = self.cut
        if isinstance(cut, EdgeCut) or cut.kind is not ReliefKind.GROOVE:
            return None
        return GrooveDetail(
            behind_mm=cut.behind_mm,
            along_bisector=cut.half_rad is not None,
            tool_radius_mm=cut.tool_mm(self.clear_mm),
        )


def proposals(
    setup: Setup, clash: Clash, body: Body, beside: list[Shape], clear_mm: float
) -> Iterator[Proposal]:
    """Yield every cut of the wanted kinds on one body of a clash.

    Parameters
    ----------
    setup : Setup
        The set-up, its parts where every seat is closed.
    clash : Clash
        The clash.
    body : Body
        The body to cut.
    beside : list of Shape
        Faces of the other body at the clash.
    clear_mm : float
        Air wanted, tolerances included.

    Yields
    ------
    Proposal
        The smallest cut of each kind at each edge, corner and face.
    """
    here = place_bodies([body.placed()])[0]
    zone = clash.zone_of(body.name)
    touch = setup.tolerances.touch_mm
    kinds = allowed_kinds(setup)
    # Where faces only land within tolerances, the zone holds the air that is wanted already.
    wanted = 0.0 if clash.lands else clear_mm
    points = surface_points(compound(beside), _BETWEEN) if beside else np.zeros((0, 3))
    for edge in edges_at(here, zone, body.no_function, touch):
        for kind in (k for k in kinds if k in _OF_EDGES):
            if kind != ReliefKind.UNDERCUT or here.table.straight[edge]:
                cut = smallest_cut(here, edge, kind, zone, points, wanted)
                yield _on_edge(here, body, cut, None if clash.lands else compound(beside), clear_mm)
    if ReliefKind.GROOVE in kinds:
        other = setup.body(clash.b if body.name == clash.a else clash.a)
        for corner in corners_at(here, zone, body.no_function, touch):
            found = groove(here, corner, placed_at(other.solid, other.at), clear_mm)
            if found is not None:
                yield _milled(found, clear_mm)
    if ReliefKind.SETBACK in kinds:
        for bevel, one in setbacks(here, zone, body.no_function, touch, wanted):
            yield replace(_milled(one, clear_mm), bevel=bevel)


def _on_edge(here: Standing, body: Body, cut: EdgeCut, guard: Shape | None, clear_mm: float) -> Proposal:
    faces = here.label(here.table.edge_faces[cut.edge]).faces
    edge = edges_of(body.solid)[cut.edge]
    return Proposal(
        cut=cut, faces=faces, at_mm=edge_middle(edge), along=edge_way(edge), guard=guard, clear_mm=clear_mm,
        beside_bevel=any(bevel_of(here, f) is not None for f in here.table.edge_faces[cut.edge]),
    )  # fmt: skip


def _milled(cut: BoxCut, clear_mm: float) -> Proposal:
    return Proposal(
        cut=cut, faces=cut.faces, at_mm=cut.at_mm, along=cut.along, guard=cut.guard, clear_mm=clear_mm
    )


_BY_HAND_MM = 1.0
"""An edge is broken by stone or file up to this leg or radius (common practice, no source)."""
_DEEPER_BY_HAND_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialCut:
    """One cut on one body, and the material that it takes."""

    body: Body
    proposal: Proposal
    removed_mm3: float

    @property
    def cost(self) -> tuple[bool, bool, float]:
        """What ranks a cut: by hand first, plain before round edges, then by the material taken."""
        return not by_hand(self.proposal), not self.proposal.is_plain, round(self.removed_mm3, 6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialCuts:
    """The cuts that might cure one clash.

    Parameters
    ----------
    drawn : Setup
        The set-up before any relief; the order of its kinds decides between cuts that take the same.
    """

    drawn: Setup
    _cuts: list[TrialCut] = field(default_factory=list)
    _bare: list[NoCut] = field(default_factory=list)
    _rejected: dict[ReliefKind, list[Rejected]] = field(default_factory=dict)

    def add(self, body: Body, proposal: Proposal) -> None:
        """Make a cut on its solid to see what it takes; one that cannot be made is rejected.

        Parameters
        ----------
        body : Body
            The one that is cut.
        proposal : Proposal
            The cut.
        """
        try:
            solid = proposal.made(body.solid, self.drawn.write)
        except KernelError as reason:
            self.reject(body, proposal, (NotMade(reason=str(reason)),))
            return
        removed = volume_mm3(body.solid) - volume_mm3(solid)
        self._cuts.append(TrialCut(body=body, proposal=proposal, removed_mm3=removed))

    def ranked(self) -> list[TrialCut]:
        """Return the cuts, the cheapest first."""
        kinds = allowed_kinds(self.drawn)

        def rank(one: TrialCut) -> tuple[tuple[bool, bool, float], int, tuple[str, ...]]:
            return one.cost, kinds.index(one.proposal.kind), one.proposal.faces

        return sorted(self._cuts, key=rank)

    def bare(self, body: Body, kinds: tuple[ReliefKind, ...] = ()) -> None:
        """Keep that there is nothing to try on a body, and what was looked for.

        Parameters
        ----------
        body : Body
            On which nothing was found.
        kinds : tuple of ReliefKind
            What was looked for beside its faces without function; empty where it has no such face.
        """
        self._bare.append(NoCut(body=body.name, kinds=kinds))

    def reject(self, body: Body, proposal: Proposal, against: tuple[Objection, ...]) -> None:
        """Keep why a cut does not hold.

        Parameters
        ----------
        body : Body
            The one that would be cut.
        proposal : Proposal
            The cut.
        against : tuple of Objection
            Why it does not hold.
        """
        rejected = Rejected(cut=proposal.on(body.name), against=against)
        self._rejected.setdefault(proposal.kind, []).append(rejected)

    def why(self) -> tuple[NoCut | Rejected, ...]:
        """Return the bodies that have no cut and why cuts do not hold, once for each kind."""
        return (*dict.fromkeys(self._bare), *self.rejected(()))

    def rejected(self, held: Collection[ReliefKind]) -> tuple[Rejected, ...]:
        """Return why cuts do not hold, once for each kind but those of which some do."""
        once = [list(dict.fromkeys(cuts)) for kind, cuts in self._rejected.items() if kind not in held]
        return tuple(replace(cuts[0], more=len(cuts) - 1) for cuts in once)


def allowed_kinds(setup: Setup) -> tuple[ReliefKind, ...]:
    """Return the kinds of relief that a set-up allows, those wanted most first.

    Parameters
    ----------
    setup : Setup
        The set-up.

    Returns
    -------
    tuple of ReliefKind
        As they are stated.
    """
    return tuple(ReliefKind(kind) for kind in setup.relief.kinds)


def by_hand(proposal: Proposal) -> bool:
    """Tell whether a hand can make a cut: a small chamfer or rounded edge, or a chamfer made larger.

    Parameters
    ----------
    proposal : Proposal
        The cut.

    Returns
    -------
    bool
        Whether a stone or a file makes it.
    """
    largest = max(proposal.cut.size_mm)
    if proposal.kind in {ReliefKind.CHAMFER, ReliefKind.FILLET}:
        return largest <= _BY_HAND_MM + 1e-9
    bevel = proposal.bevel
    return (
        bevel is not None
        and largest <= _DEEPER_BY_HAND_MM + 1e-9
        and bevel.leg_after(largest) <= _BY_HAND_MM + _DEEPER_BY_HAND_MM
    )


_LOST_MM2 = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class CutEffect:
    """What a relief does to a part: the faces it makes smaller, the wall it leaves, and why it may not.

    `unmarked` are the faces that it takes from though they are not marked without function.
    """

    faces: tuple[str, ...]
    unmarked: tuple[str, ...]
    wall_mm: float
    against: tuple[Objection, ...]


def effect_of(setup: Setup, body: Body, solid: Solid, ends: Collection[int]) -> CutEffect:
    """Return what a relief takes from a body, and every reason against it.

    Parameters
    ----------
    setup : Setup
        The set-up.
    body : Body
        The body before the cut.
    solid : Solid
        The body after it, in its own frame.
    ends : collection of int
        Faces in which the relief ends; they become smaller by its section, which takes no function.

    Returns
    -------
    CutEffect
        What the cut does.
    """
    before, after = faces_of(body.solid), faces_of(solid)
    origin = same_faces(before, after)
    left = np.zeros(len(before))
    for face, old in zip(after, origin, strict=True):
        if old is not None:
            left[old] += area_mm2(face)
    names = body.face_names()
    faces: list[str] = []
    against: list[Objection] = []
    for i, face in enumerate(before):
        lost = area_mm2(face) - left[i]
        if lost <= _LOST_MM2 * max(area_mm2(face), 1.0):
            continue
        faces.append(names[i])
        use = _use_of(setup, body, names[i], gone=left[i] <= 0.0, ends=i in ends)
        against += [] if use is None else [use]
    new = [f for f, old in zip(after, origin, strict=True) if old is None]
    wall, least = wall_mm(solid, new), setup.relief.min_wall_mm
    unmarked = [a.face for a in against if isinstance(a, TakesFrom) and a.use is FaceUse.FUNCTION]
    if wall < least:
        against.append(ThinWall(wall_mm=wall, least_mm=least))
    return CutEffect(
        faces=tuple(dict.fromkeys(faces)), unmarked=tuple(dict.fromkeys(unmarked)), wall_mm=wall,
        against=tuple(dict.fromkeys(against)),
    )  # fmt: skip


def _use_of(setup: Setup, body: Body, face: str, *, gone: bool, ends: bool) -> TakesFrom | None:
    """Return why a face may not become smaller; None where it may."""
    for cut in setup.cuts:
        if body.name in cut.parts and face in (cut.floor, cut.wall):
            return TakesFrom(face=face, use=FaceUse.GROUND, cut=cut.name)
    if face in body.no_function:
        return None
    if is_seat(setup, body.name, face):
        return TakesFrom(face=face, use=FaceUse.SEAT) if gone else None
    if ends and not gone:
        return None
    return TakesFrom(face=face, use=FaceUse.FUNCTION)


def is_seat(setup: Setup, body: str, face: str) -> bool:
    """Tell whether a face of a body takes part in a seat.

    Parameters
    ----------
    setup : Setup
        The set-up.
    body : str
        Name of the body.
    face : str
        Name of the face.

    Returns
    -------
    bool
        Whether it does, on either side of one.
    """
    return any((body, face) in ((s.body, s.face), (s.on, s.on_face)) for s in setup.seats)


def reduced_seats(before: Setup, after: Setup) -> Iterator[SeatReduced]:
    """Yield the seats that a change leaves with too small a share of their face; both at the same pose.

    Parameters
    ----------
    before : Setup
        The set-up before the change.
    after : Setup
        The set-up after it.

    Yields
    ------
    SeatReduced
        One for each seat.
    """
    was: dict[Seat, float] | None = None
    for seat, share in _shares(after).items():
        if share >= seat.min_share:
            continue
        was = was or _shares(before)
        if share < was[seat] - 1e-9:
            face, on = FaceRef.of(seat.body, seat.face), FaceRef.of(seat.on, seat.on_face)
            yield SeatReduced(face=face, on=on, share=share, least_share=seat.min_share)


def _shares(setup: Setup) -> dict[Seat, float]:
    """Return the share of each seat that touches as drawn, 0 to 1."""
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
    return {seat: seating(setup, placed, contacts, seat).share for seat in setup.seats}
