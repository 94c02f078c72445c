"""Which cuts might cure a clash: what they are called, where they are looked at, what must stay clear."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.bevels import Bevel, bevel_of
from fixturecheck.contact.milled import BoxCut, groove, inside_corners, setbacks
from fixturecheck.contact.relief import EdgeCut, cut_solid, edges_at, smallest_cut
from fixturecheck.contact.slanted import slanted_groove
from fixturecheck.contact.standing import Standing, stand
from fixturecheck.kernel.boolean import stepped
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import edge_middle, edge_way, face_frame, is_flat
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.sample import surface_points
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.remedy.code import line_for
from fixturecheck.remedy.model import Clash, larger_words, size_words
from fixturecheck.setup.model import Body, Setup
from fixturecheck.units import METRIC, Writing

Array = NDArray[np.float64]
_END = 1e-6
_BETWEEN = 63
_OF_EDGES = ("chamfer", "fillet", "undercut")


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
    at_mm: Array = field(repr=False)
    along: Array = field(repr=False)
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
        return self.kind != "fillet" and not self.beside_bevel

    def ends(self, solid: Solid) -> frozenset[int]:
        """Return the faces in which the cut ends: square to its run, or all round a face set back."""
        if isinstance(self.cut, BoxCut) and self.cut.kind == "setback":
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
        if isinstance(cut, EdgeCut) or cut.kind != "groove":
            return ()
        one, two = (self.write.length(v, ".2f") for v in cut.behind_mm)
        told = [f"it goes {one} behind the wall and {two} behind the floor"]
        if cut.half_rad is not None:
            told.insert(0, "it runs along the bisector of floor and wall: width x depth below its mouth")
        tool = cut.tool_mm(self.clear_mm)
        if tool is not None:
            radius = self.write.length(tool, ".2f", "down")
            told.append(f"the corner of the tool may have a radius of {radius} at most")
        return tuple(told)


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
    here = stand([body.placed()])[0]
    zone = clash.zone_of(body.name)
    touch = setup.tolerances.touch_mm
    kinds = setup.relief.kinds
    # Where faces only land within tolerances, the zone holds the air that is wanted already.
    wanted = 0.0 if clash.lands else clear_mm
    points = surface_points(compound(beside), _BETWEEN) if beside else np.zeros((0, 3))
    for edge in edges_at(here, zone, body.no_function, touch):
        for kind in (k for k in kinds if k in _OF_EDGES):
            if kind != "undercut" or here.table.straight[edge]:
                cut = smallest_cut(here, edge, kind, zone, points, wanted)
                yield _on_edge(here, body, cut, None if clash.lands else compound(beside), clear_mm)
    if "groove" in kinds:
        other = setup.body(clash.b if body.name == clash.a else clash.a)
        for corner in inside_corners(here, zone, body.no_function, touch):
            smallest = groove if corner.is_square else slanted_groove
            found = smallest(here, corner, placed_at(other.solid, other.at), clear_mm)
            if found is not None:
                yield _milled(found, clear_mm)
    if "setback" in kinds:
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
