"""The cuts that might cure a clash: code, place, what stays clear, ranking, and whether one may be made."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.contact.placed import Standing, place_bodies
from fixturecheck.errors import KernelError
from fixturecheck.kernel.boolean import stepped
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import (
    area_mm2,
    centroid_of,
    edge_middle,
    edge_way,
    face_frame,
    is_flat,
    surface_points,
    volume_mm3,
    wall_mm,
)
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.select import nearest_edge, same_faces
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.nesting.seating import seating
from fixturecheck.relief.edge_cuts import EdgeCut, cut_solid, edges_at, smallest_cut, step_box
from fixturecheck.relief.grooves import (
    Bevel,
    BoxCut,
    bevel_of,
    groove,
    inside_corners,
    setbacks,
    slanted_groove,
)
from fixturecheck.relief.model import Clash, larger_words, size_words
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Seat, Setup
from fixturecheck.setup.records import ReliefKind
from fixturecheck.units import METRIC, Writing

_DECIMALS = 4


def middle_of(solid: Solid, edge: int) -> Vector:
    """Return the middle of an edge, rounded to what a line of code shows."""
    x, y, z = centroid_of(edges_of(solid)[edge])
    return round(x, _DECIMALS) + 0.0, round(y, _DECIMALS) + 0.0, round(z, _DECIMALS) + 0.0


def line_for(solid: Solid, cut: EdgeCut | BoxCut, name: str = "part") -> str:
    """Return the line that makes a cut on a part held in a variable as a `cadquery.Workplane`."""
    if isinstance(cut, BoxCut):
        return _box_line(cut.corner, cut.axes, cut.sizes_mm, name)
    if cut.kind == ReliefKind.UNDERCUT:
        return _box_line(*step_box(solid, cut), name)
    point = middle_of(solid, cut.edge)
    if nearest_edge(solid, point) != cut.edge:
        # Two edges share a middle; the nearest-point selector cannot tell them apart, the number can.
        picked = f"{name}.newObject([{name}.val().Edges()[{cut.edge}]])"
    else:
        picked = f"{name}.edges(cq.selectors.NearestToPointSelector({_tuple(point)}))"
    return f"{name} = {picked}.{cut.kind}({cut.size_mm[0]:.2f})"


def _box_line(corner: Floats, axes: Floats, sizes: tuple[float, float, float], name: str) -> str:
    """Return the line that mills a box away."""
    # The box is described in a right-handed plane; a left-handed corner starts at its far end.
    right = float(np.linalg.det(axes)) > 0
    origin = corner if right else corner + axes[2] * sizes[2]
    normal = axes[2] if right else -axes[2]
    plane = f"cq.Plane({_tuple(origin)}, {_tuple(axes[0])}, {_tuple(normal)})"
    box = ", ".join(f"{v:.6g}" for v in sizes)
    return f"{name} = {name}.cut(cq.Workplane({plane}).box({box}, centered=False))"


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
    where : str
        The edge by its faces, the corner by its faces, or the face.
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
    write : Writing
        What writes its sizes.
    """

    cut: EdgeCut | BoxCut
    where: str
    at_mm: Floats = field(repr=False)
    along: Floats = field(repr=False)
    guard: Shape | None = field(repr=False)
    clear_mm: float
    bevel: Bevel | None = None
    beside_bevel: bool = False
    write: Writing = METRIC

    @property
    def kind(self) -> str:
        """What is done."""
        return self.cut.kind

    @property
    def words(self) -> str:
        """Kind and size."""
        if self.bevel is not None:
            return larger_words(self.bevel, self.cut.size_mm[0], self.write)
        return size_words(self.kind, self.cut.size_mm, self.slope_deg, self.write)

    @property
    def slope_deg(self) -> float:
        """Angle of a chamfer to either face."""
        return self.cut.slope_deg if isinstance(self.cut, EdgeCut) else 45.0

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

    def made(self, solid: Solid) -> Solid:
        """Return a part with the cut made on it.

        Raises
        ------
        KernelError
            The cut does not fit.
        """
        cut = self.cut
        if isinstance(cut, EdgeCut):
            return cut_solid(solid, cut, self.write)
        return stepped(solid, cut.corner, cut.axes, cut.sizes_mm, self.write)

    def line(self, solid: Solid) -> str:
        """Return the line of code that makes it."""
        return line_for(solid, self.cut)

    def notes(self) -> tuple[str, ...]:
        """Return what the shop must know of the cut besides its size."""
        cut = self.cut
        if isinstance(cut, EdgeCut) or cut.kind != ReliefKind.GROOVE:
            return ()
        one, two = (self.write.length(v, ".2f") for v in cut.behind_mm)
        lines = [f"it goes {one} behind the wall and {two} behind the floor"]
        if cut.half_rad is not None:
            lines.insert(0, "it runs along the bisector of floor and wall: width x depth below its mouth")
        tool = cut.tool_mm(self.clear_mm)
        if tool is not None:
            radius = self.write.length(tool, ".2f", "down")
            lines.append(f"the corner of the tool may have a radius of {radius} at most")
        return tuple(lines)


def proposals(
    setup: Setup, clash: Clash, body: Body, beside: list[Shape], clear_mm: float
) -> Iterator[Proposal]:
    """Yield every cut of the wanted kinds on one body of a clash.

    Parameters
    ----------
    beside : list of Shape
        Faces of the other body at the clash.
    clear_mm : float
        Air wanted, tolerances included.
    """
    here = place_bodies([body.placed()])[0]
    zone = clash.zone_of(body.name)
    touch = setup.tolerances.touch_mm
    kinds = setup.relief.kinds
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
        for corner in inside_corners(here, zone, body.no_function, touch):
            smallest = groove if corner.is_square else slanted_groove
            found = smallest(here, corner, placed_at(other.solid, other.at), clear_mm)
            if found is not None:
                yield _milled(found, clear_mm)
    if ReliefKind.SETBACK in kinds:
        for bevel, one in setbacks(here, zone, body.no_function, touch, wanted):
            yield replace(_milled(one, clear_mm), bevel=bevel)


def _on_edge(here: Standing, body: Body, cut: EdgeCut, guard: Shape | None, clear_mm: float) -> Proposal:
    label = here.label(here.table.edge_faces[cut.edge]).face
    edge = edges_of(body.solid)[cut.edge]
    return Proposal(
        cut=cut, where=label, at_mm=edge_middle(edge), along=edge_way(edge), guard=guard, clear_mm=clear_mm,
        beside_bevel=any(bevel_of(here, f) is not None for f in here.table.edge_faces[cut.edge]),
    )  # fmt: skip


def _milled(cut: BoxCut, clear_mm: float) -> Proposal:
    return Proposal(
        cut=cut, where=cut.label, at_mm=cut.at_mm, along=cut.along, guard=cut.guard, clear_mm=clear_mm
    )


_BY_HAND_MM = 1.0
"""An edge is broken by stone or file up to this leg or radius (common practice, no source)."""
_DEEPER_BY_HAND_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Try:
    """One cut on one body, and the material that it takes."""

    body: Body
    proposal: Proposal
    removed_mm3: float

    @property
    def bother(self) -> tuple[bool, bool, float]:
        """What ranks a cut: by hand first, plain before round edges, then by the material taken."""
        return not by_hand(self.proposal), not self.proposal.is_plain, round(self.removed_mm3, 6)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tries:
    """The cuts that might cure one clash.

    Parameters
    ----------
    kinds : sequence of str
        As the set-up states them; decides between cuts that take the same.
    drawn : Setup
        The set-up before any relief.
    """

    drawn: Setup
    kinds: Sequence[str]
    _tries: list[Try] = field(default_factory=list)
    _notes: list[str] = field(default_factory=list)
    _rejected: dict[str, list[str]] = field(default_factory=dict)

    def add(self, body: Body, proposal: Proposal) -> None:
        """Make a cut on its solid to see what it takes; one that cannot be made is rejected."""
        try:
            solid = proposal.made(body.solid)
        except KernelError as reason:
            self.reject(proposal, f"{proposal.words} on {body.name}.{proposal.where}: {reason}")
            return
        removed = volume_mm3(body.solid) - volume_mm3(solid)
        self._tries.append(Try(body=body, proposal=proposal, removed_mm3=removed))

    def ranked(self) -> list[Try]:
        """Return the cuts, the least of a bother first."""

        def rank(one: Try) -> tuple[tuple[bool, bool, float], int, str]:
            return one.bother, self.kinds.index(one.proposal.kind), one.proposal.where

        return sorted(self._tries, key=rank)

    def note(self, why: str) -> None:
        """Keep why a body has no cut at all."""
        self._notes.append(why)

    def reject(self, proposal: Proposal, why: str) -> None:
        """Keep why a cut does not hold."""
        self._rejected.setdefault(proposal.kind, []).append(why)

    def why(self) -> tuple[str, ...]:
        """Return why bodies have no cut and why cuts do not hold, once for each kind."""
        return (*dict.fromkeys(self._notes), *self.rejected(()))

    def rejected(self, held: Collection[str]) -> tuple[str, ...]:
        """Return why cuts do not hold, once for each kind but those of which some do."""
        lines = []
        for kind, whys in self._rejected.items():
            once = list(dict.fromkeys(whys))
            more = f" ({len(once) - 1} more of this kind fail)" if len(once) > 1 else ""
            lines += [] if kind in held else [once[0] + more]
        return tuple(lines)


def by_hand(proposal: Proposal) -> bool:
    """Tell whether a hand can make a cut: a small chamfer or rounded edge, or a chamfer made larger."""
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
class Touched:
    """What a relief does to a part: the faces it makes smaller, the wall it leaves, and why it may not.

    `unmarked` are the faces that it takes from though they are not marked without function.
    """

    faces: tuple[str, ...]
    unmarked: tuple[str, ...]
    wall_mm: float
    against: tuple[str, ...]


def touched(setup: Setup, body: Body, solid: Solid, ends: Collection[int]) -> Touched:
    """Return what a relief takes from a body, and every reason against it.

    Parameters
    ----------
    ends : collection of int
        Faces in which the relief ends; they become smaller by its section, which takes no function.
    """
    before, after = faces_of(body.solid), faces_of(solid)
    origin = same_faces(before, after)
    left = np.zeros(len(before))
    for face, old in zip(after, origin, strict=True):
        if old is not None:
            left[old] += area_mm2(face)
    names = body.face_names()
    faces, against, unmarked = [], [], []
    for i, face in enumerate(before):
        lost = area_mm2(face) - left[i]
        if lost <= _LOST_MM2 * max(area_mm2(face), 1.0):
            continue
        faces.append(names[i])
        objection = _objection(setup, body, names[i], gone=left[i] <= 0.0, ends=i in ends)
        if objection is not None:
            against.append(objection[0])
            unmarked += [names[i]] if objection[1] else []
    new = [f for f, old in zip(after, origin, strict=True) if old is None]
    wall = wall_mm(solid, new)
    least = setup.relief.min_wall_mm
    if wall < least:
        thin, stated = setup.write.length(wall, ".2f"), setup.write.length(least, "g")
        against.append(f"it leaves a wall of {thin}, thinner than the {stated} stated")
    return Touched(
        faces=tuple(dict.fromkeys(faces)), unmarked=tuple(dict.fromkeys(unmarked)), wall_mm=wall,
        against=tuple(dict.fromkeys(against)),
    )  # fmt: skip


def _objection(setup: Setup, body: Body, face: str, *, gone: bool, ends: bool) -> tuple[str, bool] | None:
    """Return why a face may not become smaller, and whether to mark it without function would allow it."""
    for cut in setup.cuts:
        if body.name in cut.parts and face in (cut.floor, cut.wall):
            return f"it takes from {face}, which cut {cut.name} grinds", False
    if face in body.no_function:
        return None
    if is_seat(setup, body.name, face):
        return (f"nothing is left of {face}, which is a seat", False) if gone else None
    if ends and not gone:
        return None
    return f"it takes from {face}, which is not marked without function", True


def is_seat(setup: Setup, body: str, face: str) -> bool:
    """Tell whether a face of a body takes part in a seat."""
    return any((body, face) in ((s.body, s.face), (s.on, s.on_face)) for s in setup.seats)


def worn_seats(before: Setup, after: Setup) -> tuple[str, ...]:
    """Return the seats that a change leaves with too small a share, in words; both at the same pose."""
    found = []
    now = _shares(after)
    was: dict[Seat, float] | None = None
    for seat, share in now.items():
        if share >= seat.min_share:
            continue
        was = was or _shares(before)
        if share < was[seat] - 1e-9:
            where = f"{seat.body}.{seat.face} on {seat.on}.{seat.on_face}"
            found.append(f"it leaves {where} with {share:.0%} of the face, below {seat.min_share:.0%}")
    return tuple(found)


def _shares(setup: Setup) -> dict[Seat, float]:
    """Return the share of each seat that touches as drawn, 0 to 1."""
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
    return {seat: seating(setup, placed, contacts, seat).share for seat in setup.seats}
