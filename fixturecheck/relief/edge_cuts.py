"""The smallest cut on an edge that takes a clash out of the way, and which faces may be set back for it.

A cut on an edge is described in the edge's own frame: its faces run off along unit directions m1 and m2, and
a point is p + s m1 + t m2 beside the edge. An equal-leg chamfer takes all points with s + t below the leg, a
milled step those with s below one size and t below the other, a rounded edge those beyond the circle that
touches both faces. So the size that clears a set of points is a closed form of their s and t.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.contact.placed import Standing, place_bodies
from fixturecheck.effort import CONTACTS, spend
from fixturecheck.errors import KernelError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import stepped
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import chamfered, filleted
from fixturecheck.kernel.measure import edge_ends, extent_along, is_within, loose_box
from fixturecheck.kernel.place import matrix_of
from fixturecheck.kernel.sample import surface_points
from fixturecheck.kernel.shapes import Placed, Shape, Solid
from fixturecheck.relief.grooves import LEAST_MM, OVER_MM, SQUARE, STEP_MM, BoxCut, rounded_up, to_part
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.relief import ReliefKind
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import METRIC, Writing

_SAME = 1e-6
_TRIES = 3
_SQUARE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Bevel:
    """A flat face with the same angle to two faces beside it, whose edge it takes away.

    Parameters
    ----------
    leg_mm : float
        Length of the chamfer along either face, from the edge that is gone.
    slope_deg : float
        Its angle to either face.
    """

    leg_mm: float
    slope_deg: float

    def deeper_mm(self, leg_mm: float) -> float:
        """Return how far the face must go back for the chamfer to have a leg."""
        return (leg_mm - self.leg_mm) * math.sin(math.radians(self.slope_deg))

    def leg_after(self, deeper_mm: float) -> float:
        """Return the leg of the chamfer once its face has gone back by a length, up to the next hundredth."""
        leg = self.leg_mm + deeper_mm / math.sin(math.radians(self.slope_deg))
        return math.ceil(leg / STEP_MM - _SAME) * STEP_MM


def bevel_of(here: Standing, face: int) -> Bevel | None:
    """Return the bevel that a flat face is; None for any other face.

    Its two longest edges run parallel and lead to flat faces from which it turns away by the same angle.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    face : int
        Number of the face.

    Returns
    -------
    Bevel or None
        The bevel.
    """
    table = here.table
    if table.kinds[face] != SurfaceKind.PLANE:
        return None
    edges = sorted((int(e) for e in table.face_edges[face]), key=lambda e: -float(table.lengths_mm[e]))[:2]
    if len(edges) < 2 or not all(table.straight[e] and len(table.edge_faces[e]) == 2 for e in edges):
        return None
    beside = [next(f for f in table.edge_faces[e] if f != face) for e in edges]
    if beside[0] == beside[1] or any(table.kinds[f] != SurfaceKind.PLANE for f in beside):
        return None
    normal, (one, two) = here.normals[face], here.normals[beside]
    line = np.cross(one, two)
    sines = [float(np.linalg.norm(np.cross(normal, n))) for n in (one, two)]
    samples = here.edge_samples[edges]
    along = samples[:, -1] - samples[:, 0]
    parallel = all(
        float(np.linalg.norm(np.cross(a, line))) <= _SAME * float(np.linalg.norm(a)) for a in along
    )
    if (
        min(sines) < _SAME
        or abs(sines[0] - sines[1]) > _SAME
        or not parallel
        or float(np.linalg.norm(line)) < _SAME
    ):
        return None
    offsets = np.array([*here.offsets[beside], 0.0])
    corner = np.linalg.solve(np.stack((one, two, line)), offsets)
    high = float(normal @ corner - here.offsets[face])
    # A bevel takes an outside edge away; where the faces meet behind it, it fills an inside corner.
    if high <= _SAME:
        return None
    return Bevel(leg_mm=high / sines[0], slope_deg=math.degrees(math.asin(min(sines[0], 1.0))))


def setbacks(
    here: Standing, zone: Shape, allowed: frozenset[str], touch_mm: float, clear_mm: float = 0.0
) -> Iterator[tuple[Bevel | None, BoxCut]]:
    """Yield flat faces without function at a clash, each set back as far as the clash reaches behind it.

    What goes back is rounded up to a hundredth; of a bevel, which comes first, the leg of the chamfer is.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    zone : Shape
        The clash, machine's frame.
    allowed : frozenset of str
        Names of the faces without function.
    touch_mm : float
        How near to the clash a face must be, mm.
    clear_mm : float
        Air wanted besides.

    Yields
    ------
    tuple
        The bevel that the face is, None for another face, and the slab that is taken.
    """
    for face, name in enumerate(here.face_names):
        flat = here.table.kinds[face] == SurfaceKind.PLANE
        if flat and name in allowed and is_within(here.face(face), zone, touch_mm):
            normal = here.normals[face]
            deep = float(here.offsets[face]) - extent_along(zone, normal)[0]
            if deep > LEAST_MM:
                bevel, needed = bevel_of(here, face), rounded_up(deep) + clear_mm
                if bevel is not None:
                    needed = bevel.deeper_mm(bevel.leg_after(deep + clear_mm))
                yield bevel, _set_back(here, face, needed)


def _set_back(here: Standing, face: int, deep_mm: float) -> BoxCut:
    """Return the slab behind a flat face, over its outside edges and flush with its inside ones."""
    normal = here.normals[face]
    edges = here.table.face_edges[face]
    straight = [int(e) for e in edges if here.table.straight[e]]
    longest = max(straight or [int(edges[0])], key=lambda e: float(here.table.lengths_mm[e]))
    ends = here.edge_samples[longest]
    along = ends[-1] - ends[0]
    if longest not in straight:
        along = ends[1] - ends[0]
    along = along / np.linalg.norm(along)
    across = np.cross(normal, along)
    points = np.concatenate([here.edge_samples[e] for e in edges])
    low, high = [], []
    for way in (along, across):
        inner, outer = float((points @ way).min()), float((points @ way).max())
        low.append(inner - _over(here, face, -way, -inner, deep_mm))
        high.append(outer + _over(here, face, way, outer, deep_mm))
    corner = low[0] * along + low[1] * across + float(here.offsets[face]) * normal
    turn, place = to_part(here)
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    return BoxCut(
        kind=ReliefKind.SETBACK,
        faces=(here.face_names[face],),
        size_mm=(deep_mm, deep_mm),
        corner=turn @ (corner - place),
        axes=np.stack((-normal, along, across)) @ turn.T,
        sizes_mm=(deep_mm, high[0] - low[0], high[1] - low[1]),
        at_mm=turn @ (middle - place),
        along=turn @ along,
        round_about=frozenset(f for e in edges for f in here.table.edge_faces[e]) - {face},
    )


def _over(here: Standing, face: int, way: Floats, most: float, deep_mm: float) -> float:
    """Return how far to cut past one side of a face: over its outside edges, not into what stands beside."""
    for edge in here.table.face_edges[face]:
        samples = here.edge_samples[edge]
        if float((samples @ way).max()) < most - LEAST_MM:
            continue
        faces = here.table.edge_faces[edge]
        for k, other in enumerate(faces):
            rises = float(here.inward[edge][k] @ here.normals[face])
            if other != face and rises >= -SQUARE and float(np.ptp(samples @ way)) <= LEAST_MM:
                return 0.0
    return max(OVER_MM, 2.0 * deep_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class NestChamfer:
    """A chamfer that was tried and opens the nest.

    Parameters
    ----------
    edge : FaceRef
        The edge, by the faces beside it.
    leg_mm : float
        Leg of the chamfer along either face, rounded up to a hundredth.
    slope_deg : float
        Angle of the chamfer to either face: 45 on a square edge.
    area_mm2 : float
        What then touches at the nest.
    was_mm : float
        Leg of a chamfer that is there already and is made larger, whose face is then named; zero for none.
    """

    edge: FaceRef
    leg_mm: float
    slope_deg: float
    area_mm2: float
    was_mm: float = 0.0

    def carried_to(self, names: Mapping[str, str]) -> NestChamfer:
        """Return the same relief on a copy of the body."""
        return replace(self, edge=FaceRef.of(names[self.edge.body], *self.edge.faces))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeCut:
    """A cut on one edge.

    Parameters
    ----------
    kind : ReliefKind
        `chamfer`, `fillet` or `undercut`.
    edge : int
        Index of the edge in `edges_of`.
    size_mm : tuple of float
        Sizes along the two faces; equal for a chamfer (its legs) and a fillet (its radius).
    inward : ndarray, shape (2, 3)
        Directions off the edge into its two faces, in the solid's own frame.
    rim : bool
        Whether the edge is an arc.
    """

    kind: ReliefKind
    edge: int
    size_mm: tuple[float, float]
    inward: Floats = field(repr=False)
    rim: bool = False

    @property
    def slope_deg(self) -> float:
        """Angle between an equal-leg chamfer and either face."""
        one, two = self.inward
        return 90.0 - math.degrees(math.acos(float(np.clip(one @ two, -1.0, 1.0)))) / 2

    def grown(self, by_mm: float) -> EdgeCut:
        """Return the same cut with both sizes larger by a length."""
        one, two = self.size_mm
        return replace(self, size_mm=(one + by_mm, two + by_mm))


def relieve_edge(
    part: Placed, other: Placed, common: Shape, allowed: frozenset[str], tolerances: Tolerances
) -> NestChamfer | None:
    """Return the smallest chamfer on an edge of `part` after which the two bodies no longer overlap.

    A chamfer that is there already is made larger, before another is put on its edge.

    Parameters
    ----------
    part : Placed
        The body to cut, where it stands.
    other : Placed
        The body it overlaps, where that stands.
    common : Shape
        What the two share as drawn.
    allowed : frozenset of str
        Faces of `part` without function; a chamfer must touch one of them.
    tolerances : Tolerances
        What counts as touching and as an overlap.

    Returns
    -------
    NestChamfer or None
        None where no edge of `part` can be chamfered so that the overlap goes and an area touches.
    """
    here = place_bodies([part])[0]
    larger = _larger(here, other, common, allowed, tolerances)
    if larger is not None:
        return larger
    found = []
    for edge in edges_at(here, common, allowed, tolerances.touch_mm):
        # A chamfer that need not stand clear of anything is known from what overlaps alone.
        first = smallest_cut(here, edge, ReliefKind.CHAMFER, common, np.empty((0, 3)), 0.0)
        for cut in (first.grown(k * STEP_MM) for k in range(_TRIES)):
            try:
                solid = cut_solid(here.placed.solid, cut)
            except KernelError:
                # Where a chamfer does not fit, a larger one does not.
                break
            area_mm2 = _closes(here, solid, other, tolerances)
            if area_mm2 > 0:
                label = here.label(here.table.edge_faces[edge])
                found.append(
                    NestChamfer(edge=label, leg_mm=cut.size_mm[0], slope_deg=cut.slope_deg, area_mm2=area_mm2)
                )
                break
    return min(found, key=lambda r: (r.leg_mm, r.edge), default=None)


def faces_at(here: Standing, common: Shape, touch_mm: float) -> frozenset[str]:
    """Return the names of the faces whose boxes come near an overlap.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    common : Shape
        What overlaps, machine's frame.
    touch_mm : float
        How near, mm.

    Returns
    -------
    frozenset of str
        A cut at the overlap depends on what is allowed of these alone.
    """
    box = np.array(loose_box(common))
    near = np.all((here.lows <= box[3:] + touch_mm) & (here.highs >= box[:3] - touch_mm), axis=1)
    return frozenset(here.face_names[f] for f in np.flatnonzero(near))


def _larger(
    here: Standing, other: Placed, common: Shape, allowed: frozenset[str], tolerances: Tolerances
) -> NestChamfer | None:
    """Return the least that a chamfer without function must grow for two bodies not to overlap."""
    found = []
    for bevel, box in setbacks(here, common, allowed, tolerances.touch_mm):
        if bevel is None:
            continue
        first = bevel.leg_after(box.size_mm[0])
        for leg in (first + k * STEP_MM for k in range(_TRIES)):
            deep = bevel.deeper_mm(leg)
            cut = box.sized((deep, deep))
            try:
                solid = stepped(here.placed.solid, cut.corner, cut.axes, cut.sizes_mm)
            except KernelError:
                # A chamfer that leaves nothing whole is no relief.
                break
            area_mm2 = _closes(here, solid, other, tolerances)
            if area_mm2 > 0:
                name = FaceRef.of(here.name, *box.faces)
                found.append(
                    NestChamfer(
                        edge=name,
                        leg_mm=leg,
                        slope_deg=bevel.slope_deg,
                        area_mm2=area_mm2,
                        was_mm=bevel.leg_mm,
                    )
                )
                break
    return min(found, key=lambda r: (r.leg_mm, r.edge), default=None)


def edges_at(here: Standing, common: Shape, allowed: frozenset[str], touch_mm: float) -> Iterator[int]:
    """Yield outside edges in the overlap beside a face without function: straight ones, and rims.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    common : Shape
        What overlaps, machine's frame.
    allowed : frozenset of str
        Names of the faces without function.
    touch_mm : float
        How near to the overlap an edge must be, mm.

    Yields
    ------
    int
        Number of the edge in the body's table.
    """
    for e in np.flatnonzero(here.table.sharp_edges):
        faces = here.table.edge_faces[e]
        if not any(here.face_names[f] in allowed for f in faces):
            continue
        shaped = _outside(here, int(e)) if here.table.straight[e] else is_rim(here, int(e))
        if shaped and is_within(here.edge(int(e)), common, touch_mm):
            yield int(e)


def _outside(here: Standing, edge: int) -> bool:
    """Whether the material fills less than half a turn at an edge between flat faces."""
    one, two = here.table.edge_faces[edge]
    if here.table.kinds[one] != SurfaceKind.PLANE or here.table.kinds[two] != SurfaceKind.PLANE:
        return False
    # Each inward direction dips behind the other face's plane at an outside edge.
    return bool((here.inward[edge] @ here.normals[[one, two]].T).min() < -1e-9)


def is_rim(here: Standing, edge: int) -> bool:
    """Tell whether an edge is a rim: an outside arc where a flat face ends a cylinder square to it.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    edge : int
        Number of the edge.

    Returns
    -------
    bool
        Whether it is one.
    """
    circle = here.circle(edge)
    faces = here.table.edge_faces[edge]
    kinds = {here.table.kinds[f] for f in faces}
    if circle is None or kinds != {SurfaceKind.CYLINDER, SurfaceKind.PLANE}:
        return False
    flat, wall = sorted(faces, key=lambda f: here.table.kinds[f] != SurfaceKind.PLANE)
    axis = np.cross(circle.x_axis, circle.y_axis)
    if abs(float(axis @ here.normals[flat])) < 1 - _SQUARE:
        return False
    middle = here.edge_samples[edge, 4]
    into_flat, into_wall = _rim_ways(here, edge)
    out = here.normal_near(wall, middle)
    return float(into_wall @ here.normals[flat]) < -_SQUARE and float(into_flat @ out) < -_SQUARE


def _rim_ways(here: Standing, edge: int) -> tuple[Floats, Floats]:
    """Return the unit directions from the middle of a rim into its flat face and into its cylinder."""
    faces = here.table.edge_faces[edge]
    one, two = here.inward[edge]
    return (one, two) if here.table.kinds[faces[0]] == SurfaceKind.PLANE else (two, one)


def smallest_cut(
    here: Standing, edge: int, kind: ReliefKind, common: Shape, beside: Floats, clear_mm: float
) -> EdgeCut:
    """Return the smallest cut of a kind that takes an overlap out of the way, rounded up to a hundredth.

    Parameters
    ----------
    here : Standing
        The body where it stands.
    edge : int
        Number of the edge.
    kind : ReliefKind
        Chamfer, fillet or undercut.
    common : Shape
        What overlaps, in the machine's frame.
    beside : ndarray, shape (n, 3)
        Points of the other body that the cut must stand clear of.
    clear_mm : float
        How clear.

    Returns
    -------
    EdgeCut
        Exact where `clear_mm` is zero and the cut's sides are flat; else from the points.
    """
    one, two = here.inward[edge]
    if here.table.straight[edge]:
        start = here.edge_samples[edge, 0]
        forms = np.linalg.pinv(np.stack((one, two))).T
        sizes = [float(np.linalg.norm(form)) for form in (*forms, forms.sum(axis=0))]
        reach = [
            size * (extent_along(common, form / size)[1] - float(start @ form) / size)
            for form, size in zip((*forms, forms.sum(axis=0)), sizes, strict=True)
        ]
        flat = (beside - start) @ forms.T
    else:
        zone = _beside_rim(here, edge, surface_points(common))
        sizes = [1.0, 1.0, math.sqrt(2.0)]
        reach = [float(v.max()) for v in (*zone.T, zone.sum(axis=1))]
        flat = _beside_rim(here, edge, beside)
    near = (flat >= -clear_mm - 1e-9).all(axis=1) & (flat <= np.array(reach[:2]) + 2 * clear_mm + 1e-9).all(
        axis=1
    )
    flat = flat[near]
    if len(flat) and clear_mm > 0:
        reach = [max(r, float(v.max())) for r, v in zip(reach, (*flat.T, flat.sum(axis=1)), strict=True)]
    if kind == ReliefKind.CHAMFER:
        needed = [reach[2] + clear_mm * sizes[2]] * 2
    elif kind == ReliefKind.UNDERCUT:
        needed = [reach[0] + clear_mm * sizes[0], reach[1] + clear_mm * sizes[1]]
    else:
        needed = [_radius_mm(one, two, np.vstack((flat, [[0.0, 0.0]])), clear_mm)] * 2
    up = [rounded_up(v) for v in needed]
    back = matrix_of(here.placed.at)[:3, :3].T
    ways = np.stack((back @ one, back @ two))
    rim = not bool(here.table.straight[edge])
    return EdgeCut(kind=kind, edge=edge, size_mm=(up[0], up[1]), inward=ways, rim=rim)


def _beside_rim(here: Standing, edge: int, points: Floats) -> Floats:
    """Return how far points (n, 3) lie behind a rim's cylinder and behind its flat face, (n, 2).

    The first is measured along the flat face, the second along the cylinder, as of the directions inward.
    """
    circle = here.circle(edge)
    if circle is None:
        raise TypeError(f"edge {edge} of {here.name} is no rim")
    into_flat, into_wall = _rim_ways(here, edge)
    axis = np.cross(circle.x_axis, circle.y_axis)
    away = points - circle.centre
    radial = away - np.outer(away @ axis, axis)
    out = here.edge_samples[edge, 4] - circle.centre
    sign = -1.0 if float(into_flat @ out) < 0 else 1.0
    s = sign * (np.linalg.norm(radial, axis=1) - circle.radius_mm)
    t = away @ into_wall
    flat_first = here.table.kinds[here.table.edge_faces[edge][0]] == SurfaceKind.PLANE
    return np.stack((s, t) if flat_first else (t, s), axis=-1)


def _radius_mm(one: Floats, two: Floats, flat: Floats, clear_mm: float) -> float:
    """Return the least radius of a round edge that clears points (n, 2) in the coordinates s and t.

    The circle's centre is k R from the edge along the bisector, k = 1 / sin(half the angle between the
    faces); a point q is clear where |q - k R b| >= R + clear, a quadratic in R.
    """
    half = math.acos(float(np.clip(one @ two, -1.0, 1.0))) / 2.0
    k = 1.0 / math.sin(half)
    places = flat[:, :1] * one + flat[:, 1:] * two
    along = k * (places @ ((one + two) / np.linalg.norm(one + two))) + clear_mm
    square = np.clip(along**2 - (k * k - 1.0) * ((places**2).sum(axis=1) - clear_mm**2), 0.0, None)
    return float(((along + np.sqrt(square)) / (k * k - 1.0)).max())


def cut_solid(solid: Solid, cut: EdgeCut, write: Writing = METRIC) -> Solid:
    """Return a solid with a cut made on it.

    Parameters
    ----------
    solid : Solid
        The part in its own frame.
    cut : EdgeCut
        The cut.
    write : Writing
        What writes sizes in the error.

    Returns
    -------
    Solid
        The part with the cut.

    Raises
    ------
    KernelError
        The cut does not fit.
    """
    if cut.kind == ReliefKind.CHAMFER:
        return chamfered(solid, cut.edge, cut.size_mm[0], write)
    if cut.kind == ReliefKind.FILLET:
        return filleted(solid, cut.edge, cut.size_mm[0], write)
    corner, axes, sizes = step_box(solid, cut)
    return stepped(solid, corner, axes, sizes, write)


def step_box(solid: Solid, cut: EdgeCut) -> tuple[Floats, Floats, tuple[float, float, float]]:
    """Return the box that a milled step takes: its corner, its directions as rows, its sizes in mm.

    It is longer than the edge at both ends, and stands out a little where there is nothing to take.

    Parameters
    ----------
    solid : Solid
        The part in its own frame.
    cut : EdgeCut
        The step.

    Returns
    -------
    tuple
        Corner, shape (3,), directions, shape (3, 3), and the three sizes; in the part's own frame.
    """
    start, end = edge_ends(edges_of(solid)[cut.edge])
    along = (end - start) / np.linalg.norm(end - start)
    one = cut.inward[0]
    two = cut.inward[1] - one * float(cut.inward[1] @ one)
    two /= np.linalg.norm(two)
    corner = start - OVER_MM * (one + two + along)
    wide, deep = (size + OVER_MM for size in cut.size_mm)
    sizes = wide, deep, float(np.linalg.norm(end - start)) + 2 * OVER_MM
    return corner, np.stack((one, two, along)), sizes


def _closes(here: Standing, solid: Solid, other: Placed, tolerances: Tolerances) -> float:
    """Area that touches once a body has another solid; zero where something else is still met."""
    spend(CONTACTS)
    names = tuple(f"face_{k}" for k in range(len(faces_of(solid))))
    contacts = find_contacts([replace(here.placed, solid=solid, face_names=names), other], tolerances)
    if contacts.overlaps or any(
        p.contact.kind in {ContactKind.LINE, ContactKind.POINT} for p in contacts.patches
    ):
        return 0.0
    return sum(p.contact.area_mm2 for p in contacts.patches if p.contact.kind == ContactKind.AREA)
