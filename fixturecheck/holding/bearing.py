"""What holds a set-up: contact patches as cells with stiffness and friction, pull as loads, who can move.

A patch carries at the centroids of small cells, on its rim and at its outermost corners. A cell stands for
its area. Friction against a motion is the integral of pressure times speed, and the speed of a rigid motion
is convex over the cell. Taken at the centroid it comes out low (Jensen), so finer cells only raise what a
face is found to bear. Rim and corners take a few thousandths of the load until the part tips, and then carry
it about the true edge and the true corner.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import shapely
from numpy.typing import NDArray

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap, Patch
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hull import convex_hull, farthest_out
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import (
    axis_of,
    box_of,
    centre_of,
    edge_length_mm,
    is_straight,
    joined_box,
    volume_mm3,
)
from fixturecheck.kernel.place import translation
from fixturecheck.kernel.sample import edge_points, triangles_of
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.magnet.pull import Pulls
from fixturecheck.nesting.seating import TABLE_MM, Base, footings, table_top_mm
from fixturecheck.numeric import square_to, to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import BodyRole
from fixturecheck.shop.tables import weight_n
from fixturecheck.statics.equilibrium import ContactPoint, Load, Rigid, patch_points
from fixturecheck.statics.stiffness import (
    contact_modulus_mpa,
    face_stiffness_n_mm,
    line_stiffness_n_mm,
    point_contact,
)

Part = tuple[Floats, Floats, float]
"""Points, what each counts among them, and what share of the patch they stand for together."""

THE_TABLE = "the table"
"""What stands below everything, whether or not it is drawn."""
LEAST_CELLS = 2
"""Cells along either side of the smallest face, and along the shortest line."""
RIM_SHARE, CORNER_SHARE = 4e-3, 4e-5
"""Of a patch, what its rim and its outermost points stand for: enough to tip about, too little to turn on."""
_DIRECTIONS = 8
_ROUND_PIECES = 8
_SLIVER_SHARE, _SAME_SHARE = 1e-7, 1e-9


def _points_on(patch: Patch, cell_mm: float) -> tuple[Floats, Floats]:
    """Return points that stand for a patch, shape (n, 3), and the share of it that each stands for.

    Parameters
    ----------
    cell_mm : float
        Largest side of a cell.

    Raises
    ------
    NotComputedError
        The patch has no extent.
    """
    if patch.contact.kind == ContactKind.POINT:
        return np.array([patch.contact.centroid]), np.ones(1)
    parts = _along(patch, cell_mm) if patch.contact.kind == ContactKind.LINE else _over(patch, cell_mm)
    if not all(float(size.sum()) > 0.0 for _, size, _ in parts):
        raise NotComputedError(f"{patch.contact.a} on {patch.contact.b}: the patch has no extent to carry on")
    shares = np.concatenate([part * size / size.sum() for _, size, part in parts])
    return np.vstack([points for points, _, _ in parts]), shares / shares.sum()


def _along(patch: Patch, cell_mm: float) -> list[Part]:
    """Return the pieces of a line and its ends."""
    middles, lengths, chain = _pieces(patch, cell_mm)
    return [(middles, lengths, 1.0), (chain, np.ones(len(chain)), CORNER_SHARE)]


def _over(patch: Patch, cell_mm: float) -> list[Part]:
    """Return the cells of a face, the pieces of its rim that it can tip about, and its corners."""
    across = square_to(np.array(patch.contact.normal))
    middles, areas = cells(triangles_of(cast("Shape", patch.shape.geometry)), across, cell_mm)
    rim, lengths, chain = _pieces(patch, cell_mm)
    hull = convex_hull(chain @ across.T)
    off_mm = shapely.distance(hull.boundary, shapely.points(rim @ across.T))
    outer = off_mm < _SAME_SHARE * hull.length
    corners = farthest_points(chain, across)
    found = [(middles, areas, 1.0), (corners, np.ones(len(corners)), CORNER_SHARE)]
    # Feet that stand apart may have no edge on the hull.
    return [*found, (rim[outer], lengths[outer], RIM_SHARE)] if outer.any() else found


def _pieces(patch: Patch, cell_mm: float) -> tuple[Floats, Floats, Floats]:
    """Return the middles and the lengths of the pieces of all edges of a patch, and where pieces end."""
    middles, lengths, ends = [], [], []
    for edge in edges_of(cast("Shape", patch.shape.geometry)):
        straight = is_straight(edge)
        least = LEAST_CELLS if straight else _ROUND_PIECES
        chain = edge_points(edge, 1 + max(least, _count(edge_length_mm(edge), cell_mm)))
        middles.append(0.5 * (chain[:-1] + chain[1:]))
        lengths.append(np.linalg.norm(np.diff(chain, axis=0), axis=1))
        ends.append(chain[[0, -1]] if straight else chain)
    return np.vstack(middles), np.concatenate(lengths), np.unique(np.round(np.vstack(ends), 9), axis=0)


def cells(triangles: Floats, across: Floats, cell_mm: float) -> tuple[Floats, Floats]:
    """Return the centroid of each cell of a face, shape (n, 3), and its area as seen, shape (n,).

    Parameters
    ----------
    triangles : ndarray, shape (m, 3, 3)
        The face.
    across : ndarray, shape (2, 3)
        Two directions square to each other along which it is cut up; it is seen square to both.
    cell_mm : float
        Largest side of a cell.

    Returns
    -------
    at_mm : ndarray, shape (n, 3)
        Of what lies in each cell, mm.
    area_mm2 : ndarray, shape (n,)
        Above zero; empty cells are left out.
    """
    flat = triangles @ across.T
    sides = flat[:, 1:] - flat[:, :1]
    wide = np.abs(np.linalg.det(sides))
    triangles, flat = triangles[wide > _SLIVER_SHARE * wide.max()], flat[wide > _SLIVER_SHARE * wide.max()]
    low, high = flat.min(axis=(0, 1)), flat.max(axis=(0, 1))
    counts = [max(LEAST_CELLS, _count(side, cell_mm)) for side in high - low]
    lines = [np.linspace(a, b, n + 1) for a, b, n in zip(low, high, counts, strict=True)]
    left, lower = (g.ravel() for g in np.meshgrid(lines[0][:-1], lines[1][:-1], indexing="ij"))
    right, upper = (g.ravel() for g in np.meshgrid(lines[0][1:], lines[1][1:], indexing="ij"))
    boxes, seen = shapely.box(left, lower, right, upper), shapely.polygons(flat)
    of_box, of_triangle = shapely.STRtree(seen).query(boxes, predicate="intersects")
    pieces = shapely.intersection(boxes[of_box], seen[of_triangle])
    area = shapely.area(pieces)
    kept = area > _SLIVER_SHARE * float(area.sum())
    area, of_box, of_triangle = area[kept], of_box[kept], of_triangle[kept]
    at = _lifted(shapely.get_coordinates(shapely.centroid(pieces[kept])), flat, triangles, of_triangle)
    total = np.bincount(of_box, area, minlength=len(boxes))
    moment = np.stack([np.bincount(of_box, area * x, minlength=len(boxes)) for x in at.T], axis=1)
    filled = total > 0.0
    return np.asarray(moment[filled] / total[filled, None]), np.asarray(total[filled], dtype=float)


def _lifted(seen: Floats, flat: Floats, triangles: Floats, which: NDArray[np.int64]) -> Floats:
    """Return the places on triangles that are seen at these places in the plane."""
    base, sides = flat[which, 0], flat[which, 1:] - flat[which, :1]
    share = np.linalg.solve(sides.transpose(0, 2, 1), (seen - base)[:, :, None])
    edges = triangles[which, 1:] - triangles[which, :1]
    return np.asarray(triangles[which, 0] + (share * edges).sum(axis=1))


def farthest_points(points: Floats, across: Floats) -> Floats:
    """Return the points that lie farthest out in a few directions in the plane, each once.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Points of a face, mm.
    across : ndarray, shape (2, 3)
        Two directions that span the plane.

    Returns
    -------
    ndarray, shape (m, 3)
        Some of the points.
    """
    # Not square to the edges of a plain face, along which all points would be as far out.
    return points[np.unique(farthest_out(points @ across.T, _DIRECTIONS, turned_rad=0.1))]


def _count(side_mm: float, cell_mm: float) -> int:
    """Return how many cells a side takes; what is over by rounding needs none of its own."""
    return int(np.ceil(side_mm / cell_mm - 1e-6))


DIVISIONS = 6
"""Cells along all that a body touches, to begin with; what counts is loaded again in smaller ones."""
_LEAST_SPAN_MM = 1e-3
_UPRIGHT, _PARALLEL = 0.05, 1.0 - 1e-9
# What an edge or a corner is taken to be loaded with and rounded to for its stiffness; only the ratio of
# stiffnesses matters, and a full slide not even on that.
_LINE_N_MM, _EDGE_RADIUS_MM, _DEEP_MM, _POINT_N = 10.0, 1.0, 10.0, 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """One contact patch between two bodies, as points, with its friction still to be chosen.

    Parameters
    ----------
    a, b : str
        Bodies; `b` empty for what stands still.
    faces : frozenset of FaceRef
        The two faces.
    normal : ndarray, shape (3,)
        Out of `a` into `b`.
    points_mm : ndarray, shape (n, 3)
    shares : ndarray, shape (n,)
        Of the patch's area, adding up to one.
    stiffness_n_mm : float
        Of the whole patch.
    patches : tuple of Patch
        What was cut up; empty for what is given by its points alone.
    cell_mm : float
        Largest side of a cell.
    """

    a: str
    b: str
    faces: frozenset[FaceRef]
    normal: Floats
    points_mm: Floats
    shares: Floats
    stiffness_n_mm: float
    label: str
    patches: tuple[Patch, ...] = ()
    cell_mm: float = math.inf

    def finer(self, ratio: float) -> Spot:
        """Return the same contact in cells so many times as small."""
        if not self.patches:
            return self
        cell_mm = self.cell_mm / ratio
        points_mm, shares = _cut_up(self.patches, cell_mm)
        return replace(self, points_mm=points_mm, shares=shares, cell_mm=cell_mm)

    @property
    def bodies(self) -> frozenset[str]:
        """The two bodies, also one that stands still."""
        return frozenset(face.body for face in self.faces)


def movers(setup: Setup, contacts: ContactMap) -> tuple[str, ...]:
    """Return the bodies that can move: parts, loose blocking, the jaw of a vise.

    Where blocking is not stated it is every fixture of one piece that only its weight, a magnet, a vise or a
    strap holds to something else, or that stands loose on the table. No pole is loose.

    Parameters
    ----------
    setup : Setup
        As stated.
    contacts : ContactMap
        What touches, from which it follows what a fixture stands on.

    Returns
    -------
    tuple of str
        Names, in the order of the set-up.
    """
    holding = setup.holding
    jaws = holding.jaws if holding else frozenset()
    if holding and holding.blocking is not None:
        loose = set(holding.blocking)
    else:
        pieces = [b.group for b in setup.bodies if b.group]
        loose = {
            name
            for name, footing in footings(setup, contacts).items()
            if footing.base in {Base.LOOSE, Base.CARRIED, Base.CLAMPED}
            and pieces.count(setup.body(name).group or "") <= 1
        }
    loose = {n for n in loose if not setup.body(n).pole and not setup.body(n).poles}
    return tuple(b.name for b in setup.bodies if b.role == BodyRole.PART or b.name in loose | jaws)


def on_the_table(
    setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, moving: Sequence[str]
) -> tuple[Patch, ...]:
    """Return where bodies that can move stand on the bare table, which nobody has drawn.

    Parameters
    ----------
    setup : Setup
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        Of all bodies that are drawn.
    moving : sequence of str
        Bodies that can move.

    Returns
    -------
    tuple of Patch
    """
    jaws = setup.holding.jaws if setup.holding else frozenset()
    height_mm = table_top_mm(setup, contacts)
    boxes = {n: box_of(placed[n]) for n in moving if n not in jaws}
    low = [setup.body(n).placed() for n, b in boxes.items() if b[2] <= height_mm + TABLE_MM]
    if not low:
        return ()
    whole = joined_box([boxes[b.name] for b in low])
    low_mm, high_mm = (whole[0] - 1.0, whole[1] - 1.0, height_mm - 1.0), (whole[3] + 1.0, whole[4] + 1.0)
    table = Body(name=THE_TABLE, solid=box(low_mm, (*high_mm, height_mm)), at=translation()).placed()
    return tuple(p for one in low for p in find_contacts([one, table], setup.tolerances).patches)


def rigid_bodies(
    setup: Setup,
    placed: Mapping[str, Solid],
    names: Iterable[str],
    guides: Mapping[str, Floats],
    contacts: ContactMap,
) -> tuple[Rigid, ...]:
    """Return the bodies that can move; a jaw slides along its guide only.

    Parameters
    ----------
    setup : Setup
        As stated.
    placed : mapping of str to Solid
        Every body where it stands.
    names : iterable of str
        The bodies that can move.
    guides : mapping of str to ndarray, shape (3,)
        Direction in which each jaw slides; a body without one is free.
    contacts : ContactMap
        What touches, from which it follows what a body rolls about.

    Returns
    -------
    tuple of Rigid
        One for each name, in the same order.
    """
    out = []
    for name in names:
        box = np.array(box_of(placed[name]))
        middle, size = 0.5 * (box[:3] + box[3:]), float((box[3:] - box[:3]).max()) / 2
        guide = to_vector(guides[name]) if name in guides else None
        axis = _rolls_about(setup.body(name), placed[name], contacts)
        out.append(
            Rigid(name=name, at_mm=to_vector(middle), size_mm=size, slides_along=guide, rolls_about=axis)
        )
    return tuple(out)


def _rolls_about(body: Body, solid: Solid, contacts: ContactMap) -> Vector | None:
    """Return the axis of the rounds that alone carry a body from below or press on it; None without."""
    touched = [p.contact for p in contacts.patches if body.name in p.bodies]
    carrying = [c for c in touched if c.kind != ContactKind.NEAR and abs(c.normal[2]) > _UPRIGHT]
    names = {c.a.face if c.a.body == body.name else c.b.face for c in carrying}
    faces, indices = faces_of(solid), [body.face_indices(name) for name in names]
    # An edge is none of its faces.
    axes = [axis_of(faces[i]) if i is not None else None for found in indices for i in found or (None,)]
    first = next((a for a in axes if a is not None), None)
    if first is None or any(a is None or abs(np.dot(a[1], first[1])) < _PARALLEL for a in axes):
        return None
    return first[1] if abs(first[1][2]) < _UPRIGHT else None


def weights(setup: Setup, placed: Mapping[str, Solid], names: Iterable[str]) -> tuple[Load, ...]:
    """Return the weight of each body at its centre of mass.

    Parameters
    ----------
    setup : Setup
        States the material of each body.
    placed : mapping of str to Solid
        Every body where it stands.
    names : iterable of str
        The bodies that are weighed.

    Returns
    -------
    tuple of Load
        One for each name, straight down.
    """
    out = []
    for name in names:
        force = (0.0, 0.0, -weight_n(setup.body(name).material, volume_mm3(placed[name])))
        out.append(Load(body=name, force_n=force, at_mm=centre_of(placed[name]), label="weight"))
    return tuple(out)


def spots(contacts: ContactMap, moving: Sequence[str]) -> tuple[Spot, ...]:
    """Return every patch that touches a body that can move; patches of one pair of faces are one spot.

    A name may stand for faces that look different ways, as both flanks of a V: those are spots of their own.

    Parameters
    ----------
    contacts : ContactMap
        Patches of every pair; those that are only near are left out.
    moving : sequence of str
        Names of the bodies that can move.

    Returns
    -------
    tuple of Spot
        Sorted by their faces and by the way they look.
    """
    together: dict[tuple[str, str, Vector], list[Patch]] = {}
    for patch in contacts.patches:
        c = patch.contact
        if c.kind != ContactKind.NEAR and {c.a.body, c.b.body} & set(moving):
            looks = to_vector(round(n, 3) + 0.0 for n in c.normal)
            together.setdefault((c.a, c.b, looks), []).append(patch)
    spans = _spans_mm([p for patches in together.values() for p in patches], moving)
    return tuple(
        _spot(patches, moving, min(spans[n] for n in patches[0].bodies if n in spans) / DIVISIONS)
        for _, patches in sorted(together.items())
    )


def _spans_mm(patches: Sequence[Patch], moving: Sequence[str]) -> dict[str, float]:
    """Return how far apart the outermost places are at which each body that can move is touched."""
    outlines = [(p.bodies, p.outline_mm()) for p in patches]
    spans = {}
    for name in moving:
        mine = [points for bodies, points in outlines if name in bodies]
        if mine:
            spans[name] = max(float(np.ptp(np.vstack(mine), axis=0).max()), _LEAST_SPAN_MM)
    return spans


def _spot(patches: Sequence[Patch], moving: Sequence[str], cell_mm: float) -> Spot:
    first = patches[0].contact
    a, b = first.a.body, first.b.body
    normal = np.array(first.normal)
    if a not in moving:
        a, b, normal = b, a, -normal
    points_mm, shares = _cut_up(patches, cell_mm)
    return Spot(
        a=a,
        b=b if b in moving else "",
        faces=frozenset({first.a, first.b}),
        normal=normal / np.linalg.norm(normal),
        points_mm=points_mm,
        shares=shares,
        stiffness_n_mm=sum(_stiffness_n_mm(patch) for patch in patches),
        label=f"{first.a} on {first.b}",
        patches=tuple(patches),
        cell_mm=cell_mm,
    )


def _cut_up(patches: Sequence[Patch], cell_mm: float) -> tuple[Floats, Floats]:
    """Return points over patches and their shares: by area, else by length, else each patch the same."""
    points, shares = [], []
    for patch in patches:
        found, part = _points_on(patch, cell_mm)
        points.append(found)
        shares.append((patch.contact.area_mm2 or patch.contact.length_mm or 1.0) * part)
    weight = np.concatenate(shares)
    return np.vstack(points), weight / weight.sum()


def _stiffness_n_mm(patch: Patch) -> float:
    c = patch.contact
    modulus = contact_modulus_mpa()
    if c.kind == ContactKind.AREA:
        return face_stiffness_n_mm(max(c.area_mm2, 1e-6), modulus)
    if c.kind == ContactKind.LINE:
        length = max(c.length_mm, 1e-3)
        return line_stiffness_n_mm(_LINE_N_MM * length, length, _EDGE_RADIUS_MM, _DEEP_MM)
    return point_contact(_POINT_N, _EDGE_RADIUS_MM, modulus).stiffness_n_mm


def contact_points(found: Sequence[Spot], mu: Callable[[frozenset[str]], float]) -> tuple[ContactPoint, ...]:
    """Return every spot's points.

    Parameters
    ----------
    found : sequence of Spot
        What touches.
    mu : callable
        Friction between two bodies, by their names.

    Returns
    -------
    tuple of ContactPoint
        Those of the first spot first.
    """
    return tuple(
        point
        for spot in found
        for point in patch_points(
            a=spot.a,
            b=spot.b,
            normal=to_vector(spot.normal),
            points_mm=spot.points_mm,
            area_mm2=spot.shares,
            mu=mu(spot.bodies),
            stiffness_n_mm=spot.stiffness_n_mm,
            label=spot.label,
        )
    )


def pull_loads(
    pulls: Pulls | None, moving: Container[str], *, strength_share: float, error_share: float
) -> tuple[Load, ...]:
    """Return the magnet's pull as a load on every body that can move, at its centre, whatever it touches.

    Parameters
    ----------
    pulls : Pulls or None
        The magnet; None pulls nothing.
    moving : container of str
        Bodies that can move.
    strength_share : float
        Between the weak end (0) and the strong end (1) of finish and material.
    error_share : float
        Between the low end (-1) and the high end (1) of the method's error.

    Returns
    -------
    tuple of Load
        A face between two bodies that can move gives one to each, the one against the other.
    """
    loads = []
    for face in pulls.faces if pulls else ():
        pull_n, centre = face.at(strength_share, error_share)
        a, b = face.bodies
        for body, by, sign in ((a, b, 1.0), (b, a, -1.0)):
            if body in moving:
                force = to_vector(sign * pull_n * face.toward)
                label = f"pull of {by}"
                loads.append(Load(body=body, force_n=force, at_mm=to_vector(centre), label=label, by=by))
    return tuple(loads)
