"""The contact map: every patch between every pair of bodies, each once, under its right name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from fixturecheck.contact.alike import Alike
from fixturecheck.contact.beside import beside
from fixturecheck.contact.broad import near_bodies, near_faces
from fixturecheck.contact.crossings import edges_across, rims_across
from fixturecheck.contact.edges import Look, edges_on_faces
from fixturecheck.contact.model import ContactMap, Overlap, Patch
from fixturecheck.contact.overlap import overlap
from fixturecheck.contact.planar import facing
from fixturecheck.contact.quadrics import curved
from fixturecheck.contact.raw import Raw, covered
from fixturecheck.contact.sampled import near_only, sampled
from fixturecheck.contact.standing import Standing, stand
from fixturecheck.errors import SetupError
from fixturecheck.kernel.shapes import Placed, to_vector
from fixturecheck.result import Contact, ContactKind, NamedShape, Role
from fixturecheck.tolerances import Tolerances

MOST_EACH = 8
"""Bodies that two overlapping ones may each overlap. A bed may overlap every part that is drawn too low, but
parts that each overlap many were not given their places, and their pairs grow with the square of the heap."""


def find_contacts(bodies: Sequence[Placed], tolerances: Tolerances) -> ContactMap:
    """Return the contact map of placed bodies.

    Cost grows with the number of pairs of faces that come within the near band, not with the number
    of bodies squared.

    Parameters
    ----------
    bodies : sequence of Placed
        In any order; the map does not depend on it.

    Raises
    ------
    SetupError
        Two bodies each overlap more than `MOST_EACH` others.
    """
    standing = stand(sorted(bodies, key=lambda b: b.name))
    found: list[tuple[Standing, Standing, Raw]] = []
    overlaps = []
    alike = Alike()
    crowd: Counter[str] = Counter()
    for m, n in sorted(near_bodies(standing, tolerances.near_mm)):
        a, b = standing[m], standing[n]
        answer = alike.known(a, b)
        if answer is None:
            patches, face_to_face = _between(a, b, tolerances)
            answer = patches, None if face_to_face else overlap(a, b, tolerances)
            alike.keep(a, b, *answer)
        patches, shared = answer
        found += [(a, b, raw) for raw in patches]
        if shared is not None:
            _refuse_heap(crowd, a.name, b.name)
            shape, volume = shared
            name = f"overlap {a.name} | {b.name}"
            named = NamedShape(name=name, role=Role.OVERLAP, geometry=shape, bodies=(a.name, b.name))
            overlaps.append(Overlap(a=a.name, b=b.name, volume_mm3=volume, common=shape, shape=named))
    return ContactMap(patches=tuple(_named(found)), overlaps=tuple(overlaps))


def _refuse_heap(crowd: Counter[str], a: str, b: str) -> None:
    """Count what each body overlaps, and refuse two that each overlap more than `MOST_EACH`."""
    crowd.update((a, b))
    if min(crowd[a], crowd[b]) > MOST_EACH:
        message = (
            f"{a} and {b} each overlap more than {MOST_EACH} other bodies: they were drawn in one heap; "
            "place every body where it stands"
        )
        raise SetupError(message)


def _between(a: Standing, b: Standing, tolerances: Tolerances) -> tuple[list[Raw], bool]:
    """Return the patches between two bodies, and whether they lie face to face with nothing beyond.

    Where a face that has its whole body behind it shares an area with another such face, everything
    that touches lies in that plane, and the two bodies cannot overlap.
    """
    pairs = near_faces(a, b, tolerances.near_mm)
    if not pairs[0].size:
        return [], False
    found = list(facing(a, b, pairs, tolerances))
    face_to_face = any(
        raw.kind == ContactKind.AREA
        and not raw.frayed
        and a.table.supporting[raw.a_faces[0]]
        and b.table.supporting[raw.b_faces[0]]
        for raw in found
    )
    for i, j in zip(*pairs, strict=True):
        if a.table.kinds[i] == "plane" and b.table.kinds[j] == "plane":
            continue
        pair = (a, int(i), b, int(j))
        patches = curved(pair, tolerances)
        found += sampled(pair, tolerances) if patches is None else patches
        if patches and not any(raw.kind in {ContactKind.AREA, ContactKind.NEAR} for raw in patches):
            found += near_only(pair, tolerances)
    if face_to_face:
        touching = [raw for raw in found if raw.kind in {ContactKind.AREA, ContactKind.NEAR}]
        return touching, True
    found += _sharp(a, b, found, tolerances)
    return _distinct(found, tolerances.touch_mm) or beside(a, b, tolerances), False


def _sharp(a: Standing, b: Standing, found: Sequence[Raw], tolerances: Tolerances) -> list[Raw]:
    """Return edges and corners that touch, looking from each body at the other."""
    touch = tolerances.touch_mm
    pairs = {(int(i), int(j)) for i, j in zip(*near_faces(a, b, touch), strict=True)}
    if not pairs:
        return []
    look = Look(a=a, b=b, pairs=pairs, areas=[r for r in found if r.kind == ContactKind.AREA], touch_mm=touch)
    sharp = list(edges_on_faces(look))
    sharp += [raw.turned() for raw in edges_on_faces(look.turned())]
    sharp += edges_across(look)
    sharp += rims_across(look)
    return sharp


_SIZE = {ContactKind.AREA: 0, ContactKind.LINE: 1, ContactKind.POINT: 2}


def _distinct(found: Sequence[Raw], touch_mm: float) -> list[Raw]:
    """Drop lines and points that lie on a larger patch, and the second telling of the same one."""
    near = [r for r in found if r.kind == ContactKind.NEAR]
    rest = sorted(
        (r for r in found if r.kind != ContactKind.NEAR), key=lambda r: (_SIZE[r.kind], -r.length_mm)
    )
    kept: list[Raw] = []
    for raw in rest:
        if raw.kind == ContactKind.AREA or not covered(raw.spots(), kept, 2 * touch_mm):
            kept.append(raw)
    return kept + near


def _named(found: Sequence[tuple[Standing, Standing, Raw]]) -> Iterator[Patch]:
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
