"""From placed solids to the pull of a magnet: meshes, gaps and poles put together and solved."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from scipy.spatial import cKDTree

from fixturecheck.arrays import Floats
from fixturecheck.contact.patches.contact_map import near_bodies
from fixturecheck.contact.patches.separation import near_faces
from fixturecheck.contact.placed import PlaneFrame, Standing, place_bodies
from fixturecheck.effort import FIELD, spend
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.faceref import on
from fixturecheck.kernel.brep.canonical import canonical_form
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.measure import box_gap_mm
from fixturecheck.kernel.mesh.tetrahedra import MeshWish, TetMesh, TetMesher, shape_hash
from fixturecheck.kernel.place import composed
from fixturecheck.kernel.shapes import Placed
from fixturecheck.magnet.air_gaps import (
    PARALLEL_RAD,
    TOUCH_MM,
    WIDEST_RAD,
    Band,
    GapField,
    GapRegion,
    Hinge,
    clean,
    gap_regions,
    hinge_of,
)
from fixturecheck.magnet.field.bh import BHLaw
from fixturecheck.magnet.field.elements import IronBody
from fixturecheck.magnet.field.gaps import GapPatch, Kept, PoleSource
from fixturecheck.magnet.field.solve import FluxSolution, solve_flux

_NEAREST_MM, _LEAST_MM2 = 0.1, 1.0


def arched_regions(
    bodies: Sequence[Standing], leak: Callable[[int, int], bool], loose: Sequence[int], reach_mm: float
) -> list[GapRegion]:
    """Find the faces of poles beside each other between which flux leaks over the open.

    Parameters
    ----------
    bodies : sequence of Standing
        All iron bodies where they stand.
    leak : callable
        Whether two bodies, by index, are a north and a south pole.
    loose : sequence of int
        Bodies that are no poles: they are in the way of arcs.
    reach_mm : float
        How far apart two poles may stand.

    Returns
    -------
    list of GapRegion
        Arcs between flat faces that look past each other, as tops of a chuck and flanks of a V do.
    """
    regions: list[GapRegion] = []
    for i, j in sorted(near_bodies(bodies, reach_mm)):
        if not leak(i, j) or _another_between(bodies, i, j, loose):
            continue
        a, b = bodies[i], bodies[j]
        for f, g in near_faces(a, b, reach_mm).tolist():
            if a.table.kinds[f] == b.table.kinds[g] == "plane":
                regions += _arches(bodies, (i, f), (j, g), loose)
    return regions


def _another_between(bodies: Sequence[Standing], i: int, j: int, loose: Sequence[int]) -> bool:
    """Whether a third pole lies nearer to each of two poles than they do to each other."""

    def apart(k: int, m: int) -> float:
        return max(box_gap_mm(*((*bodies[n].low, *bodies[n].high) for n in (k, m))), 0.0)

    limit = apart(i, j) - TOUCH_MM
    others = (k for k in range(len(bodies)) if k not in {i, j} and k not in loose)
    return any(max(apart(i, k), apart(k, j)) < limit for k in others)


def _arches(
    bodies: Sequence[Standing], ours: tuple[int, int], theirs: tuple[int, int], loose: Sequence[int]
) -> Iterator[GapRegion]:
    """Tubes in arcs through open air between flat faces beside each other: flanks of a V, tops of a chuck.

    Arcs about the line where both planes meet, or about the middle of the space between faces of one plane.
    Between strips with a gap at that line the conductance of a length is mu0 ln(far / near) / opening: exact
    but for the far end where planes meet, up to a seventh too low over the tops of a row of poles (an
    elliptic integral, `tests/magnet/test_flux_closed_forms.py`). Where another body stands in the way of an
    arc there is none.
    """
    a, b = bodies[ours[0]], bodies[theirs[0]]
    n, m = a.normals[ours[1]], b.normals[theirs[1]]
    opening = math.atan2(float(np.linalg.norm(np.cross(n, m))), float(-n @ m))
    if opening <= WIDEST_RAD:
        return
    hinge = _hinge((a, ours[1]), (b, theirs[1]), opening)
    if hinge is None:
        return
    out_a, out_b = hinge.out_a, hinge.out_b
    shared = hinge.shared((a, ours[1]), (b, theirs[1]))
    low, _, high, far = shared.bounds if shared.area > 0 else (0.0, 0.0, 0.0, 0.0)
    shared = shapely.intersection(shared, shapely.box(low, _NEAREST_MM, high, max(far, _NEAREST_MM)))
    for k in loose:
        shared = shapely.difference(shared, _shadow(bodies[k], hinge, out_a + out_b, out_a - out_b, n + m))
    shared = clean(shared)
    if shared.area <= _LEAST_MM2:
        return
    yield GapRegion(
        a=ours[0],
        b=theirs[0],
        face_a=ours[1],
        face_b=theirs[1],
        flat=False,
        seated=False,
        fine_points_mm=np.zeros((0, 3)),
        shape=shared,
        box=shared.bounds,
        tubes=hinge.tubes(opening, (out_b - out_a) / np.linalg.norm(out_b - out_a)),
        opening=True,
        arched=True,
    )


def _hinge(ours: tuple[Standing, int], theirs: tuple[Standing, int], opening: float) -> Hinge | None:
    """Return the line that arcs turn about; None where faces of one plane leave no space between them."""
    if math.pi - opening > PARALLEL_RAD:
        return hinge_of(ours, theirs)
    (a, f), (b, g) = ours, theirs
    n = a.normals[f]
    if abs(a.offsets[f] - b.offsets[g]) > TOUCH_MM:
        return None
    frame = PlaneFrame(n * a.offsets[f], n)
    near = shapely.shortest_line(frame.polygon(a.rings(f)), frame.polygon(b.rings(g)))
    if near.length <= 2.0 * _NEAREST_MM:
        return None
    first, last = frame.space(shapely.get_coordinates(near))
    out_b = (last - first) / np.linalg.norm(last - first)
    return Hinge(origin=(first + last) / 2.0, line=np.cross(n, out_b), out_a=-out_b, out_b=out_b)


def _shadow(body: Standing, hinge: Hinge, *ways: Floats) -> Any:
    """Return where a body bars arcs about a line, along it and away from it, as a rectangle.

    Its box across the line is taken for it, in the two longest of some ways: which arcs start beside it.
    """
    points = body.points(body.table.samples.reshape(-1, 3)) - hinge.origin
    along = points @ hinge.line
    across = points - along[:, None] * hinge.line
    axes = [w / np.linalg.norm(w) for w in sorted(ways, key=np.linalg.norm)[-2:]]
    spans = [(float((across @ w).min()), float((across @ w).max())) for w in axes]
    near = math.hypot(*(max(low, -high, 0.0) for low, high in spans))
    far = float(np.linalg.norm(across, axis=1).max())
    return shapely.box(float(along.min()), near, float(along.max()), far)


_TUBES_PER_ELEMENT = 3.0
# Elements inside a body over those where flux crosses; and those on a round face over its radius.
_COARSER_INSIDE = 2.0
# A gap over less than this share of all that either body has needs no elements of its own. Where iron
# saturates it is pulled some ten times as hard as on the whole, and so by a thousandth of a body's pull.
_SLIVER_SHARE = 1e-4
# Elements along the middle one of a part's three extents, at least.
_LEAST_ELEMENTS = 6
# Elements along the diagonal of a sheet, at most: with elements of half its thickness, one of 60 x 40 x 0.5
# mm takes over ten minutes of computing.
_MOST_ELEMENTS = 150
_ROUND_SHARE = 0.5

# Six points that integrate up to the fourth power over a triangle, Dunavant [@dunavant1985] (from memory; the
# tests hold the moments to their closed forms).
_NEAR, _FAR = 0.445948490915965, 0.091576213509771
_TRIANGLE = np.array([np.roll((1 - 2 * s, s, s), turn) for s in (_NEAR, _FAR) for turn in range(3)])
_TRIANGLE_SHARE = np.repeat((0.223381589678011, 0.109951743655322), 3)

RESIDUAL_SHARE = 1e-5
"""Residual of a solution, a share of its load. On a gib on a chuck, a block beside it in two places, no pull
of a patch is off by more than 4.2e-4 of itself, and none on a body by more than 1.6e-4, from what a residual
of 1e-9 gives."""
ROUGH_SHARE = 1e-4
"""The same where nothing is judged by it, at the strong end behind a softer source; no pull of that gib is
off by more than 7e-4."""

CUT_FACE = "cut"
"""Name of a face where a body was cut that goes on beyond it."""

GapOfSeat = Callable[[str, str], float]
"""Gap in um that the finish of two faces, `body.face` each, leaves between them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pole:
    """What drives a pole piece.

    Parameters
    ----------
    mmf_a : float
        Magnetomotive force behind the pole, positive for north, with the magnet fully on.
    source_gap_mm : float
        Air gap of the same conductance as the magnet, per area of the back face.
    back_faces : tuple of int
        Faces of the solid that the magnet lies against.
    """

    mmf_a: float
    source_gap_mm: float
    back_faces: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Iron:
    """One ferromagnetic body where it stands."""

    placed: Placed
    law: BHLaw
    pole: Pole | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fineness:
    """How finely the field is resolved.

    Parameters
    ----------
    size_mm : float
        Largest element at contacts of a part of ordinary size; small parts have smaller ones.
    fine_mm : float
        Element at narrow and line contacts.
    band_mm : float
        Longest tube between a part and anything else, where the gap opens: wedges and round faces.
    flat_mm : float
        Longest tube between flat faces parallel within a degree.
    leak_mm : float
        Longest tube between two poles.
    film_mm : float
        Depth of the saturable film at each interface.
    """

    size_mm: float = 2.0
    fine_mm: float = 0.5
    band_mm: float = 1.0
    flat_mm: float = 1.0
    leak_mm: float = 12.0
    film_mm: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MagnetModel:
    """The discrete model of a magnet with what lies on it, ready to solve at any strength.

    Parameters
    ----------
    bodies, gaps, sources
        What `solve_flux` takes.
    regions : tuple of GapRegion
        The faces behind each gap, in the same order.
    left_out : tuple of (str, str)
        Pairs of faces near each other whose flux is not counted.
    coarse : mapping of str to float
        Bodies that could only be meshed coarser than asked, with the size in mm.
    """

    bodies: tuple[IronBody, ...]
    gaps: tuple[GapPatch, ...]
    sources: tuple[PoleSource, ...]
    regions: tuple[GapRegion, ...]
    left_out: tuple[tuple[str, str], ...]
    coarse: Mapping[str, float]
    # Handed on to models of the same meshes: each is one more field on them.
    kept: Kept = field(default_factory=Kept, repr=False)

    def solve(
        self,
        strength: float = 1.0,
        *,
        near: Mapping[str, Floats] | None = None,
        residual_share: float = RESIDUAL_SHARE,
    ) -> FluxSolution:
        """Solve with the magnet at a share of its full strength: 1 is on, a small share is off.

        Potentials of the same meshes at nearly the same strength are a good start, those of weaker curves
        too: `near` spares half of the steps. Behind another source they are one for the same curves.

        Parameters
        ----------
        strength : float
            Factor on the magnetomotive force of every source.
        near : mapping of str to ndarray, optional
            Potentials by body to start from, A.
        residual_share : float
            Stop when the gradient of the energy is this share of the load.
        """
        spend(FIELD * sum(len(b.points_mm) for b in self.bodies) // 1000)
        sources = [replace(s, mmf_a=s.mmf_a * strength) for s in self.sources]
        return solve_flux(
            self.bodies, self.gaps, sources, near=near, residual_share=residual_share, kept=self.kept
        )


def behind(model: MagnetModel, *, mmf_a: float, gap_mm: float) -> MagnetModel:
    """Return the same meshes and gaps with another magnet behind every pole.

    Parameters
    ----------
    model : MagnetModel
        The meshes and gaps.
    mmf_a : float
        Magnetomotive force of the full magnet.
    gap_mm : float
        Air gap of the same conductance as the magnet, per area of the back face.

    Returns
    -------
    MagnetModel
        The same iron and gaps, driven by that magnet.
    """
    sources = (replace(s, mmf_a=math.copysign(mmf_a, s.mmf_a), gap_mm=gap_mm) for s in model.sources)
    return replace(model, sources=tuple(sources))


def magnet_model(
    irons: Sequence[Iron],
    *,
    seat_gap_um: GapOfSeat,
    fineness: Fineness | None = None,
    mesher: TetMesher | None = None,
) -> MagnetModel:
    """Mesh the iron, find its gaps and put the magnet behind its poles.

    Parameters
    ----------
    irons : sequence of Iron
        Every ferromagnetic body; others carry no flux and are left out.
    seat_gap_um : callable
        Gap that finish leaves between two faces; added to the drawn gap.
    fineness : Fineness, optional
    mesher : TetMesher, optional
        Keeps meshes between calls.

    Returns
    -------
    MagnetModel
        Meshes, gaps and sources, ready to be solved at any strength.

    Raises
    ------
    SetupError
        No pole is driven.
    """
    if not any(i.pole for i in irons):
        raise SetupError("no body is a magnet's pole: state pole 'n' or 's' on the pole pieces")
    fineness = fineness or Fineness()
    mesher = mesher or TetMesher()
    irons = [_in_form(i) for i in irons]
    bodies = place_bodies([i.placed for i in irons])
    sizes = [_size_mm(b, fineness) for b in bodies]

    def band(i: int, j: int) -> Band:
        both = irons[i].pole is not None and irons[j].pole is not None
        return Band(
            band_mm=fineness.leak_mm if both else fineness.band_mm,
            flat_mm=0.0 if both else fineness.flat_mm,
            fine_mm=fineness.fine_mm,
            narrow_mm=min(sizes[i], sizes[j]),
        )

    regions, left_out = gap_regions(bodies, band)
    loose = [n for n, iron in enumerate(irons) if iron.pole is None]
    regions += arched_regions(
        bodies, lambda i, j: _opposite(irons[i].pole, irons[j].pole), loose, fineness.leak_mm
    )
    regions = [r for r in regions if _useful(r, irons)]
    wishes = _wishes(irons, bodies, regions, sizes, fineness)
    made, coarse = [], {}
    for iron, body, wish, found in zip(irons, bodies, wishes, mesher.meshes(wishes), strict=True):
        made.append(_iron_body(iron, body, found))
        if found.size_mm > 1.01 * wish.size_mm:
            coarse[iron.placed.name] = found.size_mm
    fields = [_sample(r, made, irons) for r in regions]
    gaps = tuple(
        _patch(r, f, irons, bodies, seat_gap_um, fineness) for r, f in zip(regions, fields, strict=True)
    )
    sources = [s for i, iron in enumerate(irons) if iron.pole for s in _sources(iron.pole, made[i])]
    return MagnetModel(
        bodies=tuple(made),
        gaps=gaps,
        sources=tuple(sources),
        regions=tuple(regions),
        left_out=tuple(left_out),
        coarse=coarse,
    )


def _in_form(iron: Iron) -> Iron:
    """Return iron drawn in the one form of its shape, so that its mesh and gaps do not hang on its file."""
    form = canonical_form(iron.placed.solid)
    placed = Placed(
        name=iron.placed.name,
        solid=form.solid,
        face_names=tuple(iron.placed.face_names[i] for i in form.drawn_faces),
        at=composed(iron.placed.at, form.at),
    )
    if iron.pole is None:
        return replace(iron, placed=placed)
    back = tuple(form.drawn_faces.index(i) for i in iron.pole.back_faces)
    return replace(iron, placed=placed, pole=replace(iron.pole, back_faces=tuple(sorted(back))))


def _size_mm(body: Standing, fineness: Fineness) -> float:
    """Element size at contacts: half the least extent; a share of the others for large and small bodies."""
    extent = np.sort(body.high - body.low)
    # On a part 8 mm square elements of 2 mm pull 9 % too hard.
    asked = min(fineness.size_mm, extent[1] / _LEAST_ELEMENTS)
    return float(min(_thin_mm(body), max(asked, np.hypot(*extent[1:]) / 25)))


def _thin_mm(body: Standing) -> float:
    """Element size that follows how thin a body is; of a sheet no less than a share of its length."""
    extent = np.sort(body.high - body.low)
    return float(max(extent[0] / 2, np.hypot(*extent[1:]) / _MOST_ELEMENTS))


def _opposite(one: Pole | None, other: Pole | None) -> bool:
    """Whether two bodies are a north and a south pole."""
    return one is not None and other is not None and one.mmf_a * other.mmf_a < 0.0


def _useful(region: GapRegion, irons: Sequence[Iron]) -> bool:
    """Between poles leakage counts across a gap and over the open; the magnet lies against a pole's back.

    Where a pole was cut it goes on, so nothing leaks from there.
    """
    sides = (irons[region.a], region.face_a), (irons[region.b], region.face_b)
    if any(iron.pole is not None and face in iron.pole.back_faces for iron, face in sides):
        return False
    if region.arched:
        return all(iron.placed.face_names[face] != CUT_FACE for iron, face in sides)
    return region.flat or any(iron.pole is None for iron, _ in sides)


def _wishes(
    irons: Sequence[Iron],
    bodies: Sequence[Standing],
    regions: Sequence[GapRegion],
    sizes: Sequence[float],
    fineness: Fineness,
) -> list[MeshWish]:
    """Ask for fine elements where flux crosses to another body, and alike for solids drawn alike.

    One mesh for a gang costs a few elements on the outermost and spares meshing each. Leakage between
    poles is spread wide and needs no fine elements. Nor does a sliver of what both bodies share with others:
    it pulls next to nothing, and comes and goes where a body is moved a little.
    """
    touched: list[set[int]] = [set() for _ in irons]
    fine: list[list[Floats]] = [[] for _ in irons]
    across = [r for r in regions if irons[r.a].pole is None or irons[r.b].pole is None]
    shared_mm2 = [0.0 for _ in irons]
    for r in across:
        for index in (r.a, r.b):
            shared_mm2[index] += r.most_mm2
    for r in across:
        if r.most_mm2 < _SLIVER_SHARE * min(shared_mm2[r.a], shared_mm2[r.b]):
            continue
        for index, face in ((r.a, r.face_a), (r.b, r.face_b)):
            touched[index].add(face)
            if len(r.fine_points_mm):
                fine[index].append((r.fine_points_mm - bodies[index].shift) @ bodies[index].turn)
    alike: dict[str, set[int]] = {}
    drawn = [shape_hash(i.placed.solid) for i in irons]
    for key, faces in zip(drawn, touched, strict=True):
        alike.setdefault(key, set()).update(faces)
    return [
        MeshWish(
            name=iron.placed.name,
            solid=iron.placed.solid,
            size_mm=min(_COARSER_INSIDE * size, _thin_mm(body)),
            face_size_mm={f: _face_size_mm(body, f, size) for f in sorted(alike[key])},
            fine_points_mm=np.vstack(points) if points else np.zeros((0, 3)),
            fine_mm=fineness.fine_mm,
        )
        for iron, body, key, size, points in zip(irons, bodies, drawn, sizes, fine, strict=True)
    ]


def _face_size_mm(body: Standing, face: int, size_mm: float) -> float:
    """Element size on a face that flux crosses; a round one is followed closely."""
    if body.table.kinds[face] != SurfaceKind.CYLINDER:
        return size_mm
    return min(size_mm, body.surface(face).radius_mm * _ROUND_SHARE)


def _iron_body(iron: Iron, body: Standing, found: TetMesh) -> IronBody:
    return IronBody(
        name=iron.placed.name,
        points_mm=body.points(found.points_mm),
        tets=found.tets,
        facets=found.facets,
        facet_face=found.facet_face,
        law=iron.law,
    )


def _sample(region: GapRegion, made: Sequence[IronBody], irons: Sequence[Iron]) -> GapField:
    """Cut a gap into tubes that neither mesh slips between."""
    both = irons[region.a].pole is not None and irons[region.b].pole is not None
    share = 1.0 if both else _TUBES_PER_ELEMENT
    size_a = _element_sizes(made[region.a], region.face_a)
    size_b = _element_sizes(made[region.b], region.face_b)

    def local(points_a: Floats, points_b: Floats) -> Floats:
        return np.minimum(size_a(points_a), size_b(points_b)) / share

    return region.sample(local, 1e3)


def _element_sizes(body: IronBody, face: int) -> Callable[[Floats], Floats]:
    """Return a function from points of a face to the side of the surface triangle near them."""
    corner = body.points_mm[body.facets[body.facet_face == face]]
    if not len(corner):
        raise NotComputedError(f"body {body.name!r}: face {face} has no triangle in the mesh")
    area = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1) / 2
    side = np.sqrt(area * 4 / np.sqrt(3))
    tree = cKDTree(corner.mean(axis=1))
    return lambda points: np.asarray(side[tree.query(points)[1]])


def _patch(
    region: GapRegion,
    field: GapField,
    irons: Sequence[Iron],
    bodies: Sequence[Standing],
    seat_gap_um: GapOfSeat,
    fineness: Fineness,
) -> GapPatch:
    a, b = bodies[region.a], bodies[region.b]
    names = a.label([region.face_a]), b.label([region.face_b])
    if not len(field.gap_mm):
        raise NotComputedError(
            f"the gap between {names[0]} and {names[1]} is too narrow a sliver to cut into tubes"
        )
    both = irons[region.a].pole is not None and irons[region.b].pole is not None
    # The side whose triangles average a flat patch is the one that lies on the pole.
    swap = irons[region.a].pole is not None and not both
    laws = irons[region.a].law, irons[region.b].law
    weaker = min(laws, key=lambda law: law.saturation_t)
    gap = field.gap_mm + (0.0 if both else seat_gap_um(*names) * 1e-3)
    if gap.min() <= 0:
        raise NotComputedError(
            f"{names[0]} on {names[1]}: their finish leaves no gap at all; state a finish for both"
        )
    return GapPatch(
        name=on(*(names[::-1] if swap else names)),
        a=(b if swap else a).name,
        b=(a if swap else b).name,
        points_a_mm=field.points_b_mm if swap else field.points_a_mm,
        points_b_mm=field.points_a_mm if swap else field.points_b_mm,
        gap_mm=gap,
        weight_mm2=field.weight_mm2,
        normal=-field.normal if swap else field.normal,
        face_a=region.face_b if swap else region.face_a,
        face_b=region.face_a if swap else region.face_b,
        averaged=region.flat,
        film=None if both else weaker,
        film_mm=fineness.film_mm,
        counts=not both,
    )


def _sources(pole: Pole, body: IronBody) -> list[PoleSource]:
    """Put the magnet behind a pole's back, over the triangles of the mesh: exact for its own potential."""
    out = []
    for face in pole.back_faces:
        corner = body.points_mm[body.facets[body.facet_face == face]]
        area = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1) / 2
        out.append(
            PoleSource(
                body=body.name,
                points_mm=np.einsum("pk,fkx->fpx", _TRIANGLE, corner).reshape(-1, 3),
                weight_mm2=np.outer(area, _TRIANGLE_SHARE).ravel(),
                mmf_a=pole.mmf_a,
                gap_mm=pole.source_gap_mm,
                face=face,
            )
        )
    return out
