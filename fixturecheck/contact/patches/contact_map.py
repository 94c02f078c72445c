"""The contact map: every patch between every pair of bodies, each once, under its right name.

Pairs are found by the boxes of bodies and faces. Where two bodies stand to each other as two copies of them
did, the earlier answer is carried over.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap, Overlap, Patch, RawPatch, covered
from fixturecheck.contact.patches.edges import EdgeView, edges_across, edges_on_faces, rims_across
from fixturecheck.contact.patches.planar import flat_contacts
from fixturecheck.contact.patches.quadrics import curved
from fixturecheck.contact.patches.sampled import near_only, sampled
from fixturecheck.contact.patches.separation import (
    ROUNDING_MM,
    may_meet,
    near_faces,
    overlap_mm,
    surfaces_part,
)
from fixturecheck.contact.placed import Standing, place_bodies
from fixturecheck.contact.proximity.query import Between
from fixturecheck.errors import SetupError
from fixturecheck.kernel.boolean import common_solid
from fixturecheck.kernel.brep.primitives import SurfaceKind
from fixturecheck.kernel.brep.topology import ShapeKind, is_same, shape_kind
from fixturecheck.kernel.construct import segment
from fixturecheck.kernel.measure import Nearest, centroid_of, nearest_features
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.shapes import Placed, Shape
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import Contact, ContactKind
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.tolerances import Tolerances


def near_bodies(bodies: Sequence[Standing], within_mm: float) -> Iterator[tuple[int, int]]:
    """Yield index pairs i < j of bodies whose boxes come within a distance.

    Sorted along the axis in which the set-up is longest, each body looks only at those that start
    before it ends, so a row of parts costs in proportion to its neighbours.

    Parameters
    ----------
    bodies : sequence of Standing
        The bodies where they stand.
    within_mm : float
        Greatest gap between boxes along an axis.

    Yields
    ------
    (int, int)
        Each pair once.
    """
    lows = np.array([b.low for b in bodies]) - within_mm / 2
    highs = np.array([b.high for b in bodies]) + within_mm / 2
    axis = int(np.argmax(highs.max(axis=0) - lows.min(axis=0)))
    order = np.argsort(lows[:, axis], kind="stable")
    starts = lows[order, axis]
    for rank, i in enumerate(order):
        stop = int(np.searchsorted(starts, highs[i, axis], side="right"))
        rest = order[rank + 1 : stop]
        if not rest.size:
            continue
        clear = np.any((lows[rest] > highs[i]) | (highs[rest] < lows[i]), axis=1)
        for j in rest[~clear]:
            yield (int(i), int(j)) if i < j else (int(j), int(i))


_DECIMALS = 9
"""Two relative places are one when no entry differs in this many decimals: a nanometre in a metre."""

Key = tuple[int, int, bytes]


class PairCache:
    """Patches found between pairs of bodies, by their drawings and the place of one relative to the other."""

    def __init__(self) -> None:
        self._found: dict[Key, tuple[Standing, list[RawPatch], SharedSpace | None]] = {}

    def keep(self, key: Key, a: Standing, patches: Sequence[RawPatch], shared: SharedSpace | None) -> None:
        """Keep what was found between `a` and another body in their relative place.

        Parameters
        ----------
        key : Key
            From `relative_place`.
        a : Standing
            The first of the two bodies; what was found is carried along with it.
        patches : sequence of RawPatch
            In the machine's frame.
        shared : SharedSpace or None
            What the two share; None where that is nothing or was not asked.
        """
        self._found[key] = a, list(patches), shared

    def known(self, key: Key, a: Standing) -> tuple[list[RawPatch], SharedSpace | None] | None:
        """Return the patches of an earlier pair in the same relative place, carried to `a`; else None.

        Parameters
        ----------
        key : Key
            From `relative_place`.
        a : Standing
            The first body of the pair that is asked about.
        """
        kept = self._found.get(key)
        if kept is None:
            return None
        first, patches, shared = kept
        turn, shift = motion_between(first, a)
        if shared is not None and shared.shape is not None:
            shared = replace(shared, shape=transformed(shared.shape, turn, shift))
        return [raw.moved(turn, shift) for raw in patches], shared


def relative_place(a: Standing, b: Standing) -> Key:
    """Return the drawings of two bodies, and b's place seen from a; -0.0 is written as 0.0.

    Parameters
    ----------
    a, b : Standing
        The two bodies, in the order that the place is read in.

    Returns
    -------
    Key
        The same for two pairs only where both have the same face tables and the same relative place to
        nine decimals.
    """
    turn = a.turn.T @ b.turn
    shift = a.turn.T @ (b.shift - a.shift)
    place = np.round(np.append(turn.ravel(), shift), _DECIMALS) + 0.0
    return id(a.table), id(b.table), place.tobytes()


def motion_between(first: Standing, copy: Standing) -> tuple[Floats, Floats]:
    """Return the turn (3, 3) and the shift (3,), mm, that carry one body to where a copy of it stands.

    Parameters
    ----------
    first, copy : Standing
        Two bodies of one drawing.

    Returns
    -------
    turn, shift : ndarray, shape (3, 3) and (3,)
        x -> turn x + shift.
    """
    turn: Floats = copy.turn @ first.turn.T
    return turn, copy.shift - turn @ first.shift


_ROUNDING_MM3 = 1e-12
"""Common volume below which nothing is shared: rounding."""
_LOOK_MM = 1e-3
"""Reach of the query for features that lie slightly in each other; it looks 0.05 mm deep."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SharedSpace:
    """What two bodies share.

    Parameters
    ----------
    shape : Shape or None
        The common solid; None where it is no deeper than bodies that touch may lie in each other.
    volume_mm3 : float
    """

    shape: Shape | None
    volume_mm3: float


_NOWHERE = np.zeros(3)
_GRAZING = SharedSpace(shape=None, volume_mm3=0.0)


def overlap(a: Standing, b: Standing, tolerances: Tolerances) -> tuple[Shape, float] | None:
    """Return the common solid of two bodies and its volume in mm3, or None where they are apart.

    A plane that has all of one body on one side and all of the other beyond it proves them apart
    without asking the kernel, and so do surfaces that do not meet; only other pairs cost a boolean. What is
    thinner on average than the touch tolerance is contact, not overlap.

    Parameters
    ----------
    a, b : Standing
        The two bodies.
    tolerances : Tolerances
        Of these the touch distance and the least volume that counts are read.

    Returns
    -------
    (Shape, float) or None
    """
    if overlap_mm(a, b) <= tolerances.touch_mm or surfaces_part(a, b):
        return None
    shape, volume, area = common_solid(a.solid, b.solid)
    return (shape, volume) if _is_thick(volume, area, tolerances) else None


def shared_space(a: Standing, b: Standing, tolerances: Tolerances, away: Floats) -> SharedSpace | None:
    """Return what two bodies share, or None where they share nothing.

    It is an overlap where it is thick on average, or where some feature of one body lies deeper in the other
    than the touch tolerance: a sliver between a corner and a fillet is three times as deep as it is thick.
    The tip of a corner, whose volume is as good as none, counts unless the volume that counts was stated.

    Parameters
    ----------
    a, b : Standing
        The two bodies.
    tolerances : Tolerances
        Of these the touch distance, the least volume that counts and whether that was stated are read.
    away : ndarray, shape (3,)
        A way that may part them where they touch, as the sum of the normals out of `a`; zero without one.

    Returns
    -------
    SharedSpace or None
        Its shape is None where what they share is no overlap.
    """
    deep_mm = overlap_mm(a, b)
    if deep_mm <= tolerances.touch_mm:
        return None if deep_mm <= ROUNDING_MM else _GRAZING
    if surfaces_part(a, b, away):
        return None
    shape, volume, area = common_solid(a.solid, b.solid)
    if volume <= _ROUNDING_MM3:
        return None
    small = volume <= tolerances.overlap_mm3 and "overlap_mm3" in tolerances.stated
    if _is_thick(volume, area, tolerances) or (not small and _penetration_mm(a, b) > tolerances.touch_mm):
        return SharedSpace(shape=shape, volume_mm3=volume)
    return _GRAZING


def _is_thick(volume_mm3: float, area_mm2: float, tolerances: Tolerances) -> bool:
    return volume_mm3 > tolerances.overlap_mm3 and 2 * volume_mm3 / area_mm2 >= tolerances.touch_mm / 2


def _penetration_mm(a: Standing, b: Standing) -> float:
    """Return how deep the features of two bodies lie in each other, mm, where they overlap slightly."""
    return -float(Between(a.placed, b.placed).rows(_NOWHERE, _LOOK_MM).gap_mm.min(initial=0.0))


def _near_patches(a: Standing, b: Standing, tolerances: Tolerances) -> list[RawPatch]:
    """Return the least gap between two bodies as a near patch without area, once for each pair of features.

    Empty where they touch, overlap, or come no nearer than the near band.
    """
    apart = np.maximum(a.low - b.high, b.low - a.high)
    if float(np.linalg.norm(np.maximum(apart, 0.0))) > tolerances.near_mm:
        return []
    nearest = nearest_features(a.solid, b.solid, tolerances.near_mm)
    if not nearest or nearest[0][0] <= tolerances.touch_mm:
        return []
    groups: list[tuple[set[int], set[int], list[Nearest]]] = []
    for one in nearest:
        ours, theirs = set(_faces_at(a, one[3])), set(_faces_at(b, one[4]))
        for group in groups:
            if group[0] & ours and group[1] & theirs:
                # Both ends of an edge that runs alongside: the faces that they share are those of the edge.
                group[0].intersection_update(ours)
                group[1].intersection_update(theirs)
                group[2].append(one)
                break
        else:
            groups.append((ours, theirs, [one]))
    return [_near(tuple(sorted(ours)), tuple(sorted(theirs)), lines) for ours, theirs, lines in groups]


def _near(a_faces: tuple[int, ...], b_faces: tuple[int, ...], lines: Sequence[Nearest]) -> RawPatch:
    """Return a near patch from all shortest distances between two features."""
    gap = lines[0][0]
    starts, ends = (np.array([line[k] for line in lines]) for k in (1, 2))
    return RawPatch(
        kind=ContactKind.NEAR, a_faces=a_faces, b_faces=b_faces, normal=(ends[0] - starts[0]) / gap,
        centroid=(starts.mean(axis=0) + ends.mean(axis=0)) / 2,
        gap_min_mm=gap, gap_mean_mm=gap, gap_max_mm=gap, make=partial(segment, starts[0], ends[0]),
    )  # fmt: skip


def _faces_at(body: Standing, feature: Shape) -> tuple[int, ...]:
    """Return the faces that meet in a face, edge or corner of a body."""
    kind = shape_kind(feature)
    if kind == ShapeKind.FACE:
        return (next(i for i in range(len(body.table.kinds)) if is_same(body.face(i), feature)),)
    if kind == ShapeKind.EDGE:
        edges = body.table.edge_faces
        return edges[next(i for i in range(len(edges)) if is_same(body.edge(i), feature))]
    spot = np.array(centroid_of(feature))
    return body.table.vertex_faces[int(np.argmin(np.linalg.norm(body.vertices - spot, axis=1)))]


MOST_EACH = 8
"""Bodies that two overlapping ones may each overlap. A bed may overlap every part that is drawn too low, but
parts that each overlap many were not given their places, and their pairs grow with the square of the heap."""


def find_contacts(
    bodies: Sequence[Placed], tolerances: Tolerances, *, overlaps_too: bool = True
) -> ContactMap:
    """Return the contact map of placed bodies.

    Cost grows with the number of pairs of faces that come within the near band, not with the number
    of bodies squared.

    Parameters
    ----------
    bodies : sequence of Placed
        In any order; the map does not depend on it.
    tolerances : Tolerances
        What counts as contact, as near and as overlap.
    overlaps_too : bool
        Whether it is asked what bodies share; without it the map tells of no overlap.

    Returns
    -------
    ContactMap

    Raises
    ------
    SetupError
        Two bodies each overlap more than `MOST_EACH` others.
    """
    standing = place_bodies(sorted(bodies, key=lambda b: b.name))
    found: list[tuple[Standing, Standing, RawPatch]] = []
    overlaps, grazing = [], set()
    cache = PairCache()
    crowd: Counter[str] = Counter()
    pairs = sorted(near_bodies(standing, tolerances.near_mm))
    drawings = Counter((id(standing[m].table), id(standing[n].table)) for m, n in pairs)
    for m, n in pairs:
        a, b = standing[m], standing[n]
        key = relative_place(a, b) if drawings[id(a.table), id(b.table)] > 1 else None
        answer = None if key is None else cache.known(key, a)
        if answer is None:
            patches, face_to_face = _between(a, b, tolerances)
            away = sum((raw.normal for raw in patches if raw.kind == ContactKind.AREA), _NOWHERE)
            asks = overlaps_too and not face_to_face
            answer = patches, shared_space(a, b, tolerances, away) if asks else None
            if key is not None:
                cache.keep(key, a, *answer)
        patches, shared = answer
        found += [(a, b, raw) for raw in patches]
        if shared is not None and shared.shape is not None:
            _refuse_heap(crowd, a.name, b.name)
            overlaps.append(_overlap(a.name, b.name, shared.shape, shared.volume_mm3))
        elif shared is not None:
            grazing.add(frozenset((a.name, b.name)))
    return ContactMap(patches=tuple(_named(found)), overlaps=tuple(overlaps), grazing=frozenset(grazing))


def _overlap(a: str, b: str, common: Shape, volume_mm3: float) -> Overlap:
    named = NamedShape(name=f"overlap {a} | {b}", role=Role.OVERLAP, geometry=common, bodies=(a, b))
    return Overlap(a=a, b=b, volume_mm3=volume_mm3, common=common, shape=named)


def _refuse_heap(crowd: Counter[str], a: str, b: str) -> None:
    """Count what each body overlaps, and refuse two that each overlap more than `MOST_EACH`."""
    crowd.update((a, b))
    if min(crowd[a], crowd[b]) > MOST_EACH:
        raise SetupError(
            f"{a} and {b} each overlap more than {MOST_EACH} other bodies: they were drawn in one heap; "
            "place every body where it stands"
        )


def _between(a: Standing, b: Standing, tolerances: Tolerances) -> tuple[list[RawPatch], bool]:
    """Return the patches between two bodies, and whether they lie face to face with nothing beyond.

    Where a face that has its whole body behind it shares an area with another such face, everything
    that touches lies in that plane, and the two bodies cannot overlap.
    """
    pairs = near_faces(a, b, tolerances.near_mm)
    if not pairs.size:
        return [], False
    found = list(flat_contacts(a, b, pairs, tolerances))
    face_to_face = any(
        raw.kind == ContactKind.AREA
        and not raw.frayed
        and a.table.supporting[raw.a_faces[0]]
        and b.table.supporting[raw.b_faces[0]]
        for raw in found
    )
    for i, j in pairs.tolist():
        if a.table.kinds[i] == SurfaceKind.PLANE and b.table.kinds[j] == SurfaceKind.PLANE:
            continue
        pair = (a, i, b, j)
        patches = curved(pair, tolerances)
        found += sampled(pair, tolerances) if patches is None else patches
        if patches and not any(raw.kind in {ContactKind.AREA, ContactKind.NEAR} for raw in patches):
            found += near_only(pair, tolerances)
    if face_to_face:
        touching = [raw for raw in found if raw.kind in {ContactKind.AREA, ContactKind.NEAR}]
        return touching, True
    found += _sharp(a, b, found, tolerances)
    return _distinct(found, tolerances.touch_mm) or _near_patches(a, b, tolerances), False


_REACH = 5.0
"""How many touch tolerances an edge or corner that touches may be off the faces of either body."""


def _sharp(a: Standing, b: Standing, found: Sequence[RawPatch], tolerances: Tolerances) -> list[RawPatch]:
    """Return edges and corners that touch, looking from each body at the other."""
    touch = tolerances.touch_mm
    # Nothing that touches is further from both its faces than a few times the tolerance.
    pairs = {(i, j) for i, j in may_meet(a, b, touch, _REACH * touch).tolist()}
    if not pairs:
        return []
    view = EdgeView(
        a=a, b=b, pairs=pairs, areas=[r for r in found if r.kind == ContactKind.AREA], touch_mm=touch
    )
    sharp = list(edges_on_faces(view))
    sharp += [raw.turned() for raw in edges_on_faces(view.turned())]
    sharp += edges_across(view)
    sharp += rims_across(view)
    return sharp


_SIZE = {ContactKind.AREA: 0, ContactKind.LINE: 1, ContactKind.POINT: 2}


def _distinct(found: Sequence[RawPatch], touch_mm: float) -> list[RawPatch]:
    """Drop lines and points that lie on a larger patch, and patches found twice."""
    near = [r for r in found if r.kind == ContactKind.NEAR]
    rest = sorted(
        (r for r in found if r.kind != ContactKind.NEAR), key=lambda r: (_SIZE[r.kind], -r.length_mm)
    )
    kept: list[RawPatch] = []
    for raw in rest:
        if raw.kind == ContactKind.AREA or not covered(raw.spots(), kept, 2 * touch_mm):
            kept.append(raw)
    return kept + near


def _named(found: Sequence[tuple[Standing, Standing, RawPatch]]) -> Iterator[Patch]:
    """Name patches and put them in an order that does not depend on how they were found."""
    rows = []
    for a, b, raw in found:
        contact = Contact(
            a=a.label(raw.a_faces),
            b=b.label(raw.b_faces),
            kind=raw.kind,
            area_mm2=raw.area_mm2,
            length_mm=raw.length_mm,
            gap_min_um=1e3 * raw.gap_min_mm,
            gap_mean_um=1e3 * raw.gap_mean_mm,
            gap_max_um=1e3 * raw.gap_max_mm,
            normal=to_vector(raw.normal),
            centroid=to_vector(raw.centroid),
            error_um=1e3 * raw.error_mm,
        )
        rows.append((contact, raw, (a.name, b.name)))
    rows.sort(key=lambda r: (r[0].a, r[0].b, r[0].kind, *(round(v, 4) + 0.0 for v in r[0].centroid)))
    counts: dict[str, int] = {}
    for contact, raw, bodies in rows:
        stem = f"{contact.kind} {contact.a} | {contact.b}"
        counts[stem] = counts.get(stem, 0) + 1
        yield Patch(contact=contact, number=counts[stem], bodies=bodies, make=raw.make)
