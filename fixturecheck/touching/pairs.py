"""How two bodies stand to each other: what they touch with, how far they clear, how deep they overlap."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from fixturecheck.contact.patch import ContactMap, Overlap, Patch
from fixturecheck.contact.patches.approach import shortest_parting
from fixturecheck.effort import BOOLEAN, SEAT, Budget, SpentError, spend, spending
from fixturecheck.errors import KernelError
from fixturecheck.kernel.depth import reach_mm
from fixturecheck.kernel.measure import (
    centroid_of,
    distance,
    volume_mm3,
)
from fixturecheck.kernel.shapes import Solid
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.touching import BodyPair, PairState
from fixturecheck.setup.model import Setup

_ORDER = (PairState.OVERLAP, PairState.TOUCH, PairState.CLEAR)


def body_pairs(setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap) -> tuple[BodyPair, ...]:
    """Return every pair of bodies that overlaps, touches or clears by no more than the near band.

    Parameters
    ----------
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        What touches, is near and overlaps.

    Returns
    -------
    tuple of BodyPair
        What overlaps first, then what touches, then what clears, each in the order of the bodies.
    """
    rank = {b.name: i for i, b in enumerate(setup.bodies)}
    between: dict[tuple[str, str], list[Patch]] = defaultdict(list)
    for patch in contacts.patches:
        between[_in_order(patch.bodies, rank)].append(patch)
    overlaps = {_in_order((o.a, o.b), rank): o for o in contacts.overlaps}
    budget = Budget(SEAT)
    found = [_overlapping(setup, placed, names, o, budget) for names, o in overlaps.items()]
    found += [
        _apart(placed, names, patches, setup.tolerances.touch_mm)
        for names, patches in between.items()
        if names not in overlaps
    ]
    return tuple(sorted(found, key=lambda p: (_ORDER.index(p.state), rank[p.a], rank[p.b])))


def _in_order(names: tuple[str, str], rank: Mapping[str, int]) -> tuple[str, str]:
    a, b = sorted(names, key=rank.__getitem__)
    return a, b


def _apart(
    placed: Mapping[str, Solid], names: tuple[str, str], patches: Sequence[Patch], touch_mm: float
) -> BodyPair:
    """Return a pair that touches, or that has a gap between it."""
    a, b = names
    touching = [p.contact for p in patches if p.contact.kind != ContactKind.NEAR]
    if touching:
        kinds = [c.kind for c in touching]
        largest = max(touching, key=lambda c: (c.area_mm2, c.length_mm))
        return BodyPair(
            a=a,
            b=b,
            state=PairState.TOUCH,
            area_mm2=sum(c.area_mm2 for c in touching),
            length_mm=sum(c.length_mm for c in touching),
            areas=kinds.count(ContactKind.AREA),
            lines=kinds.count(ContactKind.LINE),
            points=kinds.count(ContactKind.POINT),
            at_mm=largest.centroid,
        )
    pair = BodyPair(a=a, b=b, state=PairState.CLEAR, at_mm=patches[0].contact.centroid)
    try:
        gap_mm, here, there = distance(placed[a], placed[b])
    except KernelError as reason:
        return replace(pair, unknown=str(reason))
    if gap_mm <= touch_mm:
        return replace(pair, unknown="the two come within the touch tolerance where no contact was found")
    return replace(pair, gap_mm=gap_mm, at_mm=to_vector((here + there) / 2))


def _overlapping(
    setup: Setup, placed: Mapping[str, Solid], names: tuple[str, str], shared: Overlap, budget: Budget
) -> BodyPair:
    """Return a pair that shares space: how much, how deep, and the shortest straight way out."""
    # The smaller one is the one to move.
    a, b = names if volume_mm3(placed[names[0]]) <= volume_mm3(placed[names[1]]) else names[::-1]
    pair = BodyPair(
        a=a,
        b=b,
        state=PairState.OVERLAP,
        volume_mm3=shared.volume_mm3,
        at_mm=centroid_of(shared.common),
    )
    try:
        with spending(budget):
            spend(_READING)
            depth_mm = _depth_mm(placed[a], placed[b], shared)
            pair = replace(pair, depth_mm=depth_mm)
            moving, still = (setup.body(n).placed() for n in (a, b))
            way = shortest_parting([moving], still, (), shared.common, setup.tolerances)
    except (SpentError, KernelError) as reason:
        return replace(pair, unknown=str(reason))
    if way is None:
        return replace(pair, unknown="no straight move along an axis or across a face parts them")
    return replace(pair, parting_mm=way.by_mm, parting_way=to_vector(way.direction))


_READING = 20 * BOOLEAN
"""What reading a depth costs."""


def _depth_mm(a: Solid, b: Solid, shared: Overlap) -> float | None:
    """Return how deep one body reaches into another: the surface of either in the other, the lesser way."""
    reaches = [reach_mm(shared.common, *pair) for pair in ((a, b), (b, a))]
    return min((r for r in reaches if r is not None), default=None)


def touched_by(pairs: Sequence[BodyPair], setup: Setup) -> dict[str, frozenset[str]]:
    """Return the bodies that each body touches."""

    def sides() -> Iterator[tuple[str, str]]:
        for pair in pairs:
            if pair.state is PairState.TOUCH:
                yield pair.a, pair.b
                yield pair.b, pair.a

    found: dict[str, set[str]] = {b.name: set() for b in setup.bodies}
    for one, other in sides():
        found[one].add(other)
    return {name: frozenset(others) for name, others in found.items()}
