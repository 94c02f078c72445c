"""How far a body moves along a direction: until first contact, or until it no longer overlaps another."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import Patch
from fixturecheck.contact.patches.contact_map import find_contacts, overlap
from fixturecheck.contact.patches.hulls import reach_mm
from fixturecheck.contact.placed import Standing, place_bodies
from fixturecheck.contact.proximity.query import Between
from fixturecheck.effort import BOOLEAN, spend
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.measure import extent_along, is_within
from fixturecheck.kernel.place import moved_by
from fixturecheck.kernel.shapes import Placed, Shape
from fixturecheck.numeric import last_inside
from fixturecheck.result.contact import ContactKind
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import METRIC, Writing

_LOOKS = 9
_CLOSE_MM = 1e-5
_BEFORE_MM, _BEHIND_MM = 2e-6, 5e-4
"""The shared volume gives a travel to first contact. The part is taken to be clear this far before it, and
blocked this far behind it: a wedge counts as shared only once it is thick enough."""
_STEPS = 5
_SETTLED_MM = 1e-8
_UNSEEN_MM = 2e-3
"""How deep bodies may lie in each other without the kernel seeing it: a tip that has as good as no volume."""
_EARLY_MM = 1.0
"""What lies 1 um deep in a face that leans by a thousandth against the push is met that much earlier."""
_AHEAD = 1e-3
"""How much against the push the normal of a contact points that stops it; less only slides along."""
_FINE_UM = 0.02
"""What counts as overlap while closing in: far below the touch tolerance, so that the travel is sharp."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FirstContact:
    """The first contact of a pushed part.

    Parameters
    ----------
    travel_mm : float
        From the drawn pose along the push to first contact; negative where that comes before it.
    patches : tuple of Patch
        What touches there with a normal along the push, in world coordinates of that pose.
    """

    travel_mm: float
    patches: tuple[Patch, ...]

    def carried_to(self, names: Mapping[str, str], turn: Floats, shift: Floats) -> FirstContact:
        """Return the first contact of copies that stand to each other alike; see `Patch.carried_to`.

        Parameters
        ----------
        names : mapping of str to str
            Each body's name to that of its copy.
        turn, shift : ndarray, shape (3, 3) and (3,)
            What carries these bodies to the copies, mm.
        """
        return replace(self, patches=tuple(p.carried_to(names, turn, shift) for p in self.patches))


def find_first_contact(
    moving: Placed, still: Placed, push: Floats, reach_mm: float, tolerances: Tolerances,
    write: Writing = METRIC, *, drawn: Shape | None = None,
) -> FirstContact:  # fmt: skip
    """Push one body at another along a straight line and return the first contact.

    The drawn pose may overlap. The part is first drawn back by `reach_mm` and tried at places along the way;
    the travel is then found by bisection. Sliding along the other body is no first contact.

    Parameters
    ----------
    moving : Placed
        The pushed body as drawn.
    still : Placed
        What it is pushed at.
    push : ndarray, shape (3,)
        Unit direction of the push.
    reach_mm : float
        How far before and beyond the drawn pose is looked at.
    tolerances : Tolerances
        What counts as contact once it has landed; the travel is found with finer ones.
    write : Writing
        In which units the errors tell the reach.
    drawn : Shape, optional
        What the two are known to share as drawn.

    Returns
    -------
    FirstContact

    Raises
    ------
    NotComputedError
        It still overlaps when drawn back, or never touches within reach.
    """
    fine = replace(tolerances, touch_um=_FINE_UM, overlap_mm3=1e-12)
    here, target = place_bodies([moving, still])

    def shared(travel_mm: float) -> Shape | None:
        if travel_mm == 0.0 and drawn is not None:
            return drawn
        found = overlap(Standing(moved_by(moving, travel_mm * push), here.table), target, fine)
        return found[0] if found is not None else None

    reach = write.length(reach_mm, "g")
    looks = np.linspace(-reach_mm, reach_mm, 2 * _LOOKS - 1)
    if shared(looks[0]) is not None:
        raise NotComputedError(f"{moving.name} is in the way of {still.name} even when drawn back {reach}")
    met = next(((k, zone) for k, t in enumerate(looks[1:]) if (zone := shared(t)) is not None), None)
    if met is None:
        raise NotComputedError(f"{moving.name} does not land on {still.name} within {reach}")
    before, zone = met
    ends = float(looks[before]), float(looks[before + 1])
    low = _first_touch(Between(still, moving), push, ends, lambda t: shared(t) is not None, zone)
    rest = moved_by(moving, low * push)
    return FirstContact(travel_mm=low, patches=tuple(_ahead(rest, still, push, tolerances)))


def _first_touch(
    between: Between, push: Floats, ends_mm: tuple[float, float],
    blocked: Callable[[float], bool], zone: Shape,
) -> float:  # fmt: skip
    """Return the travel to first contact between one that is clear and one that is blocked.

    The length along the push of what two bodies share at a blocked travel is how far the part has gone too
    far, unless it came out again behind or what they share leans. The gaps of what is near from the clear
    side give another travel. Where the part is clear just before one of these and blocked just behind, the
    gaps there lead to the first contact; else travels are halved.
    """
    low_mm, high_mm = ends_mm
    shallow, deep = extent_along(zone, push)
    reach_mm = high_mm - low_mm
    for guess in (high_mm - (deep - shallow), _landed(between, push, ends_mm, reach_mm)):
        if guess is None:
            continue
        free, shut = guess - _BEFORE_MM, guess + _BEHIND_MM
        if low_mm < free and shut < high_mm and blocked(shut) and not blocked(free):
            landed = _landed(between, push, (free, shut), _UNSEEN_MM)
            if landed is not None:
                return landed
            low_mm, high_mm = free, shut
            break
    low = last_inside(lambda t: not blocked(t), low_mm, high_mm, apart=_CLOSE_MM)
    landed = _landed(between, push, (low, low + _CLOSE_MM), _UNSEEN_MM)
    return low if landed is None else landed


def early_mm(moving: Placed, still: Placed, push: Floats, deep_mm: float) -> float:
    """Return how far before the drawn pose a pushed body meets another that it lies in by little, mm.

    Parameters
    ----------
    moving : Placed
        The pushed body as drawn.
    still : Placed
        What it lies in by little.
    push : ndarray, shape (3,)
        Unit direction of the push.
    deep_mm : float
        How deep the two lie in each other at the most.

    Returns
    -------
    float
        Zero where nothing lies in the way of the push.
    """
    landed = _landed(Between(still, moving), push, (0.0, _CLOSE_MM), deep_mm)
    return 0.0 if landed is None else -min(landed, 0.0)


def _landed(between: Between, push: Floats, ends_mm: tuple[float, float], deep_mm: float) -> float | None:
    """Return the travel to first contact to rounding, from one at which bodies touch or overlap slightly.

    The kernel sees nothing of an overlap that is thinner than the tolerance of its edges: between a corner
    and a fillet 0.1 um. What is near there has gaps in closed form; each step closes the least of them along
    the push. None where no such step leads to a travel before the second of the ends.
    """
    low_mm, high_mm = ends_mm
    landed_mm = low_mm
    for _ in range(_STEPS):
        rows = between.rows(landed_mm * push, 2.0 * deep_mm)
        out = np.where(rows.body_a == 1, 1.0, -1.0)
        closing = -out * (rows.normal @ push)
        ahead = (closing > _AHEAD) & (rows.gap_mm >= -deep_mm)
        step_mm = float((rows.gap_mm[ahead] / closing[ahead]).min(initial=np.inf))
        if not low_mm - _EARLY_MM <= landed_mm + step_mm <= high_mm:
            return None
        landed_mm += step_mm
        if abs(step_mm) <= _SETTLED_MM:
            break
    return landed_mm


def _ahead(moving: Placed, still: Placed, push: Floats, tolerances: Tolerances) -> Iterator[Patch]:
    """Yield what the moving body touches ahead of it."""
    for patch in find_contacts([moving, still], tolerances, overlaps_too=False).patches:
        sign = 1.0 if patch.contact.a.body == moving.name else -1.0
        if patch.contact.kind != ContactKind.NEAR and sign * float(np.dot(patch.contact.normal, push)) > 1e-6:
            yield patch


_APART_MM = 1e-4
_SAME_WAY = 1.0 - 1e-9
_ON_MM = 1e-4
_AXES = np.vstack((np.eye(3), -np.eye(3)))
_NO_NORMALS = np.empty((0, 3))
_FAR = 100.0
_LEAVES_COSINE = 1e-6
"""A direction that looks away from a normal by more than this leaves the face that it belongs to."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parting:
    """A move that was tried: after it the bodies only touch.

    Parameters
    ----------
    bodies : tuple of str
        The bodies that move, all as one.
    by_mm : float
    direction : ndarray, shape (3,)
        Unit direction.
    leaves : bool
        Whether the bodies then leave what they should stay on.
    """

    bodies: tuple[str, ...]
    by_mm: float
    direction: Floats = field(repr=False)
    leaves: bool = False


def shortest_parting(
    moving: Sequence[Placed],
    still: Placed,
    others: Sequence[Placed],
    zone: Shape,
    tolerances: Tolerances,
    kept: Floats = _NO_NORMALS,
) -> Parting | None:
    """Return the shortest move of some bodies, as one, that takes them out of another one.

    Tried are the axes and the normals of the flat faces that bound what is shared, each by halving on the
    solids. A move that would drive them further into any other body does not count. A move that leaves what
    the bodies should stay on counts only where any other one is more than a hundred times as long: a part
    whose foot is a little too long is not slid off its chuck.

    Parameters
    ----------
    moving : sequence of Placed
        The bodies that move as one.
    still : Placed
        The body they are taken out of.
    others : sequence of Placed
        What else stands there.
    zone : Shape
        What is shared as drawn.
    tolerances : Tolerances
        Of these the least volume that counts as an overlap is read.
    kept : ndarray, shape (n, 3)
        Outward unit normals of the moving bodies at the faces that should stay on what they lie on.

    Returns
    -------
    Parting or None
        None where no straight move along those directions works.
    """
    fine = replace(tolerances, touch_um=_FINE_UM, overlap_mm3=1e-12)
    here, there = place_bodies(moving), place_bodies([still])[0]
    directions = _directions([*here, there], zone)
    guesses = np.round([_span(zone, direction) for direction in directions], 6)
    leaves = np.array([np.any(kept @ direction < -_LEAVES_COSINE) for direction in directions])
    around = place_bodies(others)
    before = _shared_mm3(moving, around, fine)

    def best_of(tried: Iterable[int], below_mm: float) -> tuple[float, Floats] | None:
        """Return the shortest move of some directions that works, below a given distance."""
        best: tuple[float, Floats] | None = None
        for k in tried:
            direction = directions[k]
            most = min(_clear_mm(here, there, direction), best[0] - _APART_MM if best else below_mm)
            by_mm = _least_mm(moving, there, direction, (guesses[k], most), fine)
            if by_mm is None:
                continue
            # A bit more than needed would be no collision either; a bit less is what is asked of the others.
            then = [moved_by(body, (by_mm - _APART_MM) * direction) for body in moving]
            if _shared_mm3(then, around, fine) <= before + tolerances.overlap_mm3:
                best = by_mm, direction
        return best

    order = np.argsort(guesses, kind="stable")
    best, left = best_of(order[~leaves[order]], np.inf), None
    if best is None or best[0] > _FAR * float(guesses[leaves].min(initial=np.inf)):
        left = best_of(order[leaves[order]], np.inf if best is None else best[0] / _FAR)
    found = left or best
    if found is None:
        return None
    bodies = tuple(b.name for b in moving)
    return Parting(bodies=bodies, by_mm=found[0], direction=found[1], leaves=left is not None)


def _directions(bodies: Sequence[Standing], zone: Shape) -> list[Floats]:
    """Return the directions in which a move may part bodies, each once."""
    normals = [
        sign * body.normals[f]
        for body in bodies
        for f in np.flatnonzero(~np.isnan(body.offsets))
        if is_within(body.face(int(f)), zone, _ON_MM)
        for sign in (1.0, -1.0)
    ]
    found: list[Floats] = []
    for direction in (*_AXES, *normals):
        if not any(float(direction @ known) > _SAME_WAY for known in found):
            found.append(direction)
    return found


def _span(zone: Shape, direction: Floats) -> float:
    low, high = extent_along(zone, direction)
    return high - low


def _clear_mm(here: Sequence[Standing], there: Standing, direction: Floats) -> float:
    """Return how far bodies must go along a direction until a plane across it parts them for sure."""
    x, y, z = direction.tolist()
    return reach_mm(there.hull, (x, y, z)) + max(reach_mm(body.hull, (-x, -y, -z)) for body in here)


def _least_mm(
    moving: Sequence[Placed],
    there: Standing,
    direction: Floats,
    range_mm: tuple[float, float],
    fine: Tolerances,
) -> float | None:
    """Return the least distance that takes bodies out of another, up to a given most."""
    guess, most = range_mm

    def blocked(by_mm: float) -> bool:
        spend(BOOLEAN * len(moving))
        return any(
            overlap(body, there, fine)
            for body in place_bodies([moved_by(b, by_mm * direction) for b in moving])
        )

    if most <= 0.0 or blocked(most):
        return None
    low, high = 0.0, most
    if guess >= most or not blocked(guess):
        # Between flat faces the thickness of what is shared is the answer.
        high = min(guess, most)
        less = high - 2 * _APART_MM
        if less <= 0.0 or blocked(less):
            return high
        high = less
    return last_inside(lambda by_mm: not blocked(by_mm), high, low, apart=_APART_MM)


def _shared_mm3(moving: Sequence[Placed], around: Sequence[Standing], fine: Tolerances) -> float:
    """Return how much bodies share with what stands round them, in all."""
    pairs = ((body, other) for body in place_bodies(moving) for other in around)
    return sum(found[1] for pair in pairs if (found := overlap(*pair, fine)) is not None)
