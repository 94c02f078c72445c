"""Which ways a body can come off what it lies on, from the solids: lift, tip about an edge, slide."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar, cast

import numpy as np
import shapely
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.separation import ROUNDING_MM, overlap_mm, surfaces_part
from fixturecheck.contact.placed import place_bodies
from fixturecheck.faceref import FaceRef
from fixturecheck.holding.bearing import farthest_points, spots
from fixturecheck.hull import convex_hull, hull_corners
from fixturecheck.kernel.boolean import common_solid
from fixturecheck.kernel.measure import box_gap_mm, box_of, extent_along
from fixturecheck.kernel.place import transformed
from fixturecheck.kernel.recall import Memory, asked_of, recalled
from fixturecheck.kernel.shapes import Placed, Shape, Solid
from fixturecheck.numeric import UP, to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.release import ComesOff, OffKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Cut, Setup
from fixturecheck.setup.records import BodyRole
from fixturecheck.shop.tables import finish as finish_of

T = TypeVar("T")

TRAVEL_MM = 5.0
"""How far every way is followed: the body's fastest point moves this far without meeting anything."""

_STEPS_MM = (0.1, 1.0, 2.5, TRAVEL_MM)
# Ra up to which a face counts as finished: what the table calls ground, or finer.
_FINISHED_RA_UM = 0.8
_STILL = 1e-6
_SUPPORTS = -0.1
_OVERLAP_MM3 = 1e-2
# A body is not tipped about a corner's chamfer: an edge is at least this share of the outline's least width.
_SHORTEST_SHARE = 0.25
_LEAST_ARM_MM = 0.5
_MOST_KEPT = 10_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TouchingFaces:
    """One pair of faces that a body touches another with.

    Parameters
    ----------
    own, other : str
        `body.face` of either side.
    normal : ndarray, shape (3,)
        Out of the body into the other.
    points_mm : ndarray, shape (n, 3)
        Outermost points of the patch, and its middle.
    shapes : tuple of Shape
        The patch itself.
    finished : bool
        A face of the two is ground or finer, or is made by a cut.
    on_part : bool
        A finished face of the two belongs to a part.
    """

    own: FaceRef
    other: FaceRef
    normal: Floats
    points_mm: Floats
    shapes: tuple[Shape, ...]
    finished: bool
    on_part: bool

    @property
    def other_body(self) -> str:
        """The body on the other side."""
        return self.other.body

    @property
    def supports(self) -> bool:
        """Whether the body lies on it."""
        return float(self.normal[2]) < _SUPPORTS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReleaseMotion:
    """One way of moving a body, scaled so that its fastest point moves as far as the travel.

    Parameters
    ----------
    kind : OffKind
        Whether it lifts, tips or slides.
    along : ndarray, shape (3,)
        Unit direction of a lift or slide; level direction toward which a tip topples.
    at_mm, axis : ndarray, shape (3,), or None
        Line that a tip turns about.
    arm_mm : float
        Distance of the farthest point from that line; 1 where there is none.
    """

    kind: OffKind
    along: Floats
    at_mm: Floats | None = None
    axis: Floats | None = None
    arm_mm: float = 1.0

    def velocity(self, points_mm: Floats) -> Floats:
        """Return how each point (n, 3) moves at first, mm for each mm of travel."""
        if self.axis is None or self.at_mm is None:
            return np.broadcast_to(self.along, points_mm.shape)
        return np.asarray(np.cross(self.axis, points_mm - self.at_mm) / self.arm_mm)

    def as_result(self, centre_mm: Vector) -> ComesOff:
        """Return the motion in a result, for a body with its centre there."""
        if self.axis is None or self.at_mm is None:
            still = (0.0, 0.0, 0.0)
            along = to_vector(self.along)
            return ComesOff(at_mm=centre_mm, velocity=along, rotation_rad_mm=still, travel_mm=TRAVEL_MM)
        return ComesOff(
            at_mm=to_vector(self.at_mm),
            velocity=(0.0, 0.0, 0.0),
            rotation_rad_mm=to_vector(self.axis / self.arm_mm),
            travel_mm=TRAVEL_MM,
        )

    def carry(self, solid: Shape, travel_mm: float) -> Shape:
        """Return the solid after some travel.

        Parameters
        ----------
        solid : Shape
            Where it stands at first.
        travel_mm : float
            Of all its points, or of the farthest one where it turns.
        """
        if self.axis is None or self.at_mm is None:
            return transformed(solid, np.eye(3), travel_mm * self.along)
        turn = Rotation.from_rotvec(travel_mm / self.arm_mm * self.axis).as_matrix()
        return transformed(solid, turn, self.at_mm - turn @ self.at_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WayOff:
    """A motion that runs into nothing, and what slides in it.

    Parameters
    ----------
    slides : tuple of TouchingFaces
        Pairs of faces that rub over their whole area.
    """

    motion: ReleaseMotion
    slides: tuple[TouchingFaces, ...]

    @property
    def harms(self) -> tuple[TouchingFaces, ...]:
        """The pairs that rub where one of the two is a finished face."""
        return tuple(t for t in self.slides if t.finished)

    @property
    def clean(self) -> bool:
        """Whether no finished face is rubbed."""
        return not self.harms


def touches_of(
    setup: Setup, contacts: ContactMap, loose: Sequence[str]
) -> dict[str, tuple[TouchingFaces, ...]]:
    """Return what every loose body touches, and whether that is finished.

    Parameters
    ----------
    setup : Setup
        States the finishes and the cuts.
    contacts : ContactMap
        What touches; what is only near is left out.
    loose : sequence of str
        Names of the bodies that are to come off.

    Returns
    -------
    dict of str to tuple of TouchingFaces
        An entry for every loose body, empty where it touches nothing.
    """
    shapes: dict[frozenset[FaceRef], list[Shape]] = {}
    for patch in contacts.patches:
        if patch.contact.kind != ContactKind.NEAR:
            key = frozenset({patch.contact.a, patch.contact.b})
            shapes.setdefault(key, []).append(cast("Shape", patch.shape.geometry))
    out: dict[str, list[TouchingFaces]] = {name: [] for name in loose}
    for spot in spots(contacts, loose):
        sides = sorted(spot.faces, key=lambda f: f.body != spot.a)
        done = [s for s in sides if finished(setup, s)]
        parts = [s for s in done if setup.body(s.body).role == BodyRole.PART]
        for own, other, sign in ((sides[0], sides[1], 1.0), (sides[1], sides[0], -1.0)):
            if own.body in out:
                out[own.body].append(
                    TouchingFaces(
                        own=own,
                        other=other,
                        normal=sign * spot.normal,
                        points_mm=spot.points_mm,
                        shapes=tuple(shapes[spot.faces]),
                        finished=bool(done),
                        on_part=bool(parts),
                    )
                )
    return {name: tuple(found) for name, found in out.items()}


def finished(setup: Setup, where: FaceRef) -> bool:
    """Say whether a face is ground or finer; one whose finish is not stated counts as such.

    Parameters
    ----------
    setup : Setup
        States the finishes, and the cuts that make a face.
    where : FaceRef
        A face, or an edge or corner between several: one that is finished is enough.

    Returns
    -------
    bool
        True also for a face that a cut of the set-up makes.
    """
    body = setup.body(where.body)
    for face in where.faces:
        stated = body.finish_of(face)
        if stated is None or finish_of(stated).ra_um[1] <= _FINISHED_RA_UM:
            return True
        if any(_makes(cut, where.body, face) for cut in setup.cuts):
            return True
    return False


def _makes(cut: Cut, body: str, face: str) -> bool:
    return body in cut.parts and face in (cut.floor, cut.wall)


class Room:
    """What stands round a body and would be run into.

    Parameters
    ----------
    placed : mapping of str to Solid
        Every body that is still there.
    contacts : ContactMap
        What interpenetrates as drawn is no news.
    """

    def __init__(self, placed: Mapping[str, Solid], contacts: ContactMap) -> None:
        self._placed = placed
        self._boxes = {name: box_of(solid) for name, solid in placed.items()}
        self._drawn = {frozenset({o.a, o.b}): o.volume_mm3 for o in contacts.overlaps}
        self._keys = {name: asked_of("stands", solid) for name, solid in placed.items()}
        # Apart from what else a process keeps: these are many, and small.
        self._memory = kept_shares()

    def beside(self, body: str, gone: Iterable[str]) -> tuple[str, ...]:
        """Return who stands within the travel of a body.

        Parameters
        ----------
        body : str
            Name of the body.
        gone : iterable of str
            Names of what has been taken away.
        """
        own = self._boxes[body]
        others = sorted(set(self._placed) - set(gone) - {body})
        return tuple(n for n in others if box_gap_mm(own, self._boxes[n]) <= TRAVEL_MM)

    def solid(self, body: str) -> Solid:
        """Return a body where it stands."""
        return self._placed[body]

    def recalled(self, bodies: Sequence[str], what: str, given: object, work: Callable[[], T]) -> T:
        """Return what is worked out of some bodies where they stand, and of no others.

        A process that stays warm works it out again only where one of them has moved.

        Parameters
        ----------
        bodies : sequence of str
            Whose solids the work looks at.
        what : str
            Names the work.
        given : object
            What else it depends on.
        work : callable
            Takes nothing.
        """
        key = asked_of(what, ([self._keys[name] for name in bodies], given))
        return self._memory.recalled(key, work) if key else work()

    def free(self, body: str, motion: ReleaseMotion, others: Iterable[str]) -> bool:
        """Say whether a body runs into none of the others along a motion.

        Parameters
        ----------
        body : str
            Name of the body.
        motion : ReleaseMotion
            Followed over `TRAVEL_MM`, at a few places.
        others : iterable of str
            Names; what overlaps as drawn may overlap as much.
        """
        others = tuple(others)
        for travel in _STEPS_MM:
            moved = motion.carry(self._placed[body], travel)
            around = box_of(moved)
            for name in others:
                if box_gap_mm(around, self._boxes[name]) > 0.0:
                    continue
                drawn = self._drawn.get(frozenset({body, name}), 0.0)
                if self._shared_mm3(moved, name, (body, name), (motion, travel)) > drawn + _OVERLAP_MM3:
                    return False
        return True

    def takes(self, shape: Solid, gone: Iterable[str]) -> bool:
        """Say whether a tool fits where it is: it meets no body that is still there.

        Parameters
        ----------
        shape : Solid
            The tool where it is.
        gone : iterable of str
            Names of what has been taken away.
        """
        around = box_of(shape)
        near = (n for n in set(self._placed) - set(gone) if box_gap_mm(around, self._boxes[n]) <= 0.0)
        return all(self._shared_mm3(shape, n, (n,), shape) <= _OVERLAP_MM3 for n in near)

    def _shared_mm3(self, shape: Shape, name: str, bodies: Sequence[str], given: object) -> float:
        """Return the volume that a shape, made of some bodies and what else is given, shares with one."""
        solid, other = cast("Solid", shape), self._placed[name]

        def shared_mm3() -> float:
            # Most are parted by a plane, which is seen at a hundredth of what the kernel's common takes.
            one, standing = place_bodies([Placed(name=name, solid=s, face_names=()) for s in (solid, other)])
            parted = overlap_mm(one, standing) <= ROUNDING_MM or surfaces_part(one, standing)
            return 0.0 if parted else common_solid(solid, other)[1]

        return self.recalled(bodies, "shared", given, shared_mm3)


def kept_shares() -> Memory:
    """Return what a process that stays warm keeps of `Room.recalled`.

    Returns
    -------
    Memory
        By what was asked; a new one, which nobody keeps, in any other process.
    """
    return recalled("room", lambda: Memory(_MOST_KEPT))


def ways_off(
    body: str, touches: Sequence[TouchingFaces], room: Room, gone: frozenset[str]
) -> tuple[WayOff, ...]:
    """Return every way in which a body can come off; where some rub no finished face, those alone.

    Parameters
    ----------
    body : str
        Name of the body.
    touches : sequence of TouchingFaces
        What it touches.
    room : Room
        What stands round it.
    gone : frozenset of str
        Bodies that have been taken away.

    Returns
    -------
    tuple of WayOff
        Lifts and tips first, then slides; empty where it cannot come off.
    """
    here = [t for t in touches if t.other_body not in gone]
    others = room.beside(body, gone)
    found: list[WayOff] = []
    # A slide is asked for only where nothing comes off clean otherwise.
    for motions in ((*_lifts(here), *tips(room.solid(body), here)), _slides(here)):
        for motion in motions:
            way = _way(motion, here)
            if way is not None and room.free(body, motion, others):
                found.append(way)
        if clean := tuple(way for way in found if way.clean):
            return clean
    return tuple(found)


def _way(motion: ReleaseMotion, touches: Sequence[TouchingFaces]) -> WayOff | None:
    """Return the motion with what slides in it; None where it pushes into something it touches."""
    slides = []
    for touch in touches:
        velocity = motion.velocity(touch.points_mm)
        closing = velocity @ touch.normal
        if closing.max() > _STILL:
            return None
        across = np.linalg.norm(velocity - closing[:, None] * touch.normal, axis=1)
        # Where only a line of the patch stays while the rest opens, the line leaves at second order.
        if closing.min() >= -_STILL and across.max() > _STILL:
            slides.append(touch)
    return WayOff(motion=motion, slides=tuple(slides))


def _lifts(touches: Sequence[TouchingFaces]) -> Iterator[ReleaseMotion]:
    """Yield straight up, and up and away from every side at once."""
    yield ReleaseMotion(kind=OffKind.LIFT, along=UP)
    away = np.zeros(3)
    for side in _level([-t.normal for t in touches if not t.supports]):
        away += side
    if np.linalg.norm(away) > _STILL:
        slant = UP + away / np.linalg.norm(away)
        yield ReleaseMotion(kind=OffKind.LIFT, along=slant / np.linalg.norm(slant))


def _slides(touches: Sequence[TouchingFaces]) -> Iterator[ReleaseMotion]:
    """Yield the level directions: along and across the table, and straight away from each side."""
    axes = [np.array(v) for v in ((1.0, 0, 0), (-1.0, 0, 0), (0, 1.0, 0), (0, -1.0, 0))]
    for along in _level([*axes, *(-t.normal for t in touches if not t.supports)]):
        yield ReleaseMotion(kind=OffKind.SLIDE, along=along)


def _level(directions: Iterable[Floats]) -> list[Floats]:
    """Return the level parts of directions as unit vectors, each once."""
    out: list[Floats] = []
    for direction in directions:
        level = np.array([direction[0], direction[1], 0.0])
        size = float(np.linalg.norm(level))
        if size > 0.1 and not any(level @ known / size > 1 - 1e-6 for known in out):
            out.append(level / size)
    return out


def tips(solid: Solid, touches: Sequence[TouchingFaces]) -> Iterator[ReleaseMotion]:
    """Yield a tip about each edge of what a body lies on, toward the outside.

    Parameters
    ----------
    solid : Solid
        The body where it stands.
    touches : sequence of TouchingFaces
        What it touches.

    Yields
    ------
    ReleaseMotion
        Round an edge as its axis, with the arm of the farthest corner.
    """
    corners = np.array(box_of(solid)).reshape(2, 3)
    for middle, out in support_edges(touches):
        axis = np.cross(UP, out)
        far = np.array([[x, y, z] for x in corners[:, 0] for y in corners[:, 1] for z in corners[:, 2]])
        off = far - middle
        off -= np.outer(off @ axis, axis)
        arm = float(np.linalg.norm(off, axis=1).max())
        if arm > _LEAST_ARM_MM:
            yield ReleaseMotion(kind=OffKind.TIP, along=out, at_mm=middle, axis=axis, arm_mm=arm)


def support_edges(touches: Sequence[TouchingFaces]) -> list[tuple[Floats, Floats]]:
    """Return the middle and the level direction outward of each edge of the outline that a body lies on.

    Parameters
    ----------
    touches : sequence of TouchingFaces
        What the body touches; only those that support it count.

    Returns
    -------
    list of pairs of ndarray, shape (3,)
        Middle in mm, and a unit vector; an edge that is not level comes at its lowest and at its highest
        point. Empty where the body lies on nothing or on a line.
    """
    under = [t for t in touches if t.supports]
    if not under:
        return []
    points = np.vstack([t.points_mm for t in under])
    # A round outline is tipped about in a few directions: all of its pieces would be too short.
    corners = np.vstack([farthest_points(t.points_mm, np.eye(3)[:2]) for t in under])
    ring = hull_corners(corners[:, :2])[::-1]
    if len(ring) < 3:
        return []
    shortest = _SHORTEST_SHARE * _least_width_mm(ring)
    out = []
    for start, end in zip(np.roll(ring, 1, axis=0), ring, strict=True):
        length = float(np.linalg.norm(end - start))
        if length < shortest:
            continue
        along = (end - start) / length
        outward = np.array([along[1], -along[0], 0.0])
        middle = np.append((start + end) / 2, 0.0)
        reach = max(extent_along(s, outward)[1] for t in under for s in t.shapes)
        middle += (reach - float(middle @ outward)) * outward
        # A bar at the end of a V turns about the lowest point there, or about the highest.
        heights = points[points @ outward > float(start @ outward[:2]) - 1e-6, 2]
        levels = sorted({round(float(h), 6) for h in (heights.min(), heights.max())})
        out += [(middle + level * UP, outward) for level in levels]
    return out


def _least_width_mm(corners: Floats) -> float:
    box = np.array(shapely.oriented_envelope(convex_hull(corners)).exterior.coords)
    return float(np.linalg.norm(np.diff(box, axis=0), axis=1)[:4].min())
