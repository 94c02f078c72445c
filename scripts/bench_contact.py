"""The contact map of a gang against the script one would write without it, its growth, and plain STL."""

from __future__ import annotations

import itertools
import statistics
import tempfile
from collections import defaultdict
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from bench_timing import interleaved_s, ratio_of, shown_s

from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.kernel.shapes import Placed
from fixturecheck.setup.model import Body
from fixturecheck.tolerances import Tolerances
from tests.nesting.pawl_gang import copied, drawn_anew, gang, standing, unlike_gang

GANGS = (8, 16, 32, 64, 128, 256, 512, 1024)
AREA_TOLERANCE = 1e-6  # relative; both answers are exact
_MAPS = 5
Areas = dict[frozenset[str], float]


def vs_pairwise_16() -> dict[str, object]:
    """A gang of 16 as a script states it: distances and faces pair by pair against the map.

    The parts share one drawing, which the map reads once; pair by pair nothing can be shared.
    """
    return _against_pairs(gang(16), 60.0, "distances and face intersections pair by pair")


def unlike_16() -> dict[str, object]:
    """Sixteen pawls, each of a drawing of its own, at an uneven pitch: nothing read or found serves twice."""
    return _against_pairs(unlike_gang(16), 40.0, "pair by pair, each part of a drawing of its own")


def _against_pairs(bodies: Sequence[Body], goal: float, than: str) -> dict[str, object]:
    """Measure the map of some bodies against a script that goes through their pairs.

    Each is done once before it is timed: what loads then is no part of either. The map takes a small part of
    a round, in which whatever else the machine does weighs more, so it is made anew several times in each.
    """
    answers: dict[str, Areas] = {}

    def by_map() -> Callable[[], object]:
        placed = drawn_anew(bodies)
        return lambda: answers.update(by_map=_areas(find_contacts(placed, Tolerances())))

    def by_hand() -> Callable[[], object]:
        placed = standing(bodies)
        return lambda: answers.update(by_hand=_pairwise(placed))

    interleaved_s(1, by_hand, by_map)
    hand_s, *maps_s = interleaved_s(3, by_hand, *[by_map] * _MAPS)
    map_s = np.median(maps_s, axis=0).tolist()
    _same(answers["by_hand"], answers["by_map"])
    return {
        "figure": ratio_of(hand_s, map_s),
        "goal": goal,
        "says": f"times faster than {than}: {shown_s(map_s)} against {shown_s(hand_s)} for {len(bodies)} "
        "bodies, same areas",
    }


def _pairwise(bodies: Sequence[Placed]) -> Areas:
    """Return the areas that touch, as a script over CadQuery's own functions finds them."""
    touch_mm = Tolerances().touch_mm
    found: Areas = {}
    for a, b in itertools.combinations(bodies, 2):
        if a.solid.distance(b.solid) > touch_mm:
            continue
        shared = (f.intersect(g).Area() for f in a.solid.Faces() for g in b.solid.Faces())
        area_mm2 = sum(shared)
        if area_mm2 > 0:
            found[frozenset((a.name, b.name))] = area_mm2
    return found


def _areas(contacts: ContactMap) -> Areas:
    found: defaultdict[frozenset[str], float] = defaultdict(float)
    for patch in contacts.patches:
        if patch.contact.kind == "area":
            found[frozenset(patch.bodies)] += patch.contact.area_mm2
    return dict(found)


def _same(expected: Areas, found: Areas) -> None:
    """Refuse to compare the times of two different answers."""
    if set(expected) != set(found):
        raise ValueError(f"the two ways differ on what touches: {set(expected) ^ set(found)}")
    for pair, area_mm2 in expected.items():
        if abs(found[pair] - area_mm2) > AREA_TOLERANCE * area_mm2:
            raise ValueError(f"{sorted(pair)} share {area_mm2} mm2 by hand and {found[pair]} mm2 in the map")


def growth() -> dict[str, object]:
    """Gangs of 8 to 1024, each body a solid of its own: the exponent of a power law through the medians."""
    gangs = [gang(count) for count in GANGS]
    times_s = interleaved_s(3, *(_mapped(bodies) for bodies in gangs))
    medians_s = [statistics.median(t) for t in times_s]
    exponent = float(np.polyfit(np.log(GANGS), np.log(medians_s), 1)[0])
    told = ", ".join(f"{count}: {shown_s(t)}" for count, t in zip(GANGS, times_s, strict=True))
    return {
        "figure": exponent,
        "goal": 1.15,
        "says": f"exponent of the cost over the parts of a gang; {told}",
    }


def _mapped(bodies: Sequence) -> Callable[[], Callable[[], object]]:
    def make() -> Callable[[], object]:
        placed = copied(bodies)
        return lambda: find_contacts(placed, Tolerances())

    return make


def vs_stl_128() -> dict[str, object]:
    """A gang of 128, each body a solid of its own: the exact map against tessellating and writing STL."""
    bodies = gang(128)
    with tempfile.TemporaryDirectory() as folder:

        def by_stl() -> Callable[[], object]:
            placed = standing(bodies)
            return lambda: [b.solid.exportStl(str(Path(folder) / f"{b.name}.stl")) for b in placed]

        map_s, stl_s = interleaved_s(3, _mapped(bodies), by_stl)
    return {
        "figure": ratio_of(map_s, stl_s),
        "goal": 1.0,
        "says": f"times as long as tessellating and writing the same {len(bodies)} bodies: {shown_s(map_s)} "
        f"against {shown_s(stl_s)}",
    }
