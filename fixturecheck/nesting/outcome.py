"""The result of a settling: poses, faces that carry, seats, freedoms, and a bound on overlaps it missed.

Where a face is free-form, the depth of any overlap between two bodies is bounded
(`contact/proximity/bounds`). Curved edges are chords against other edges and simple round faces; where those
come near, the distance of the chord from its arc bounds the overlap that is missed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.contact.proximity.bounds import PlacedPieces, deepest_mm
from fixturecheck.contact.proximity.candidates import Candidates, ProximityScene
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.hull import convex_hull
from fixturecheck.kernel.brep.features import Features
from fixturecheck.kernel.brep.free_form import Target
from fixturecheck.kernel.brep.primitives import CurveKind, SurfaceKind, SweptPrimitive
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import vertex
from fixturecheck.kernel.measure import is_within
from fixturecheck.nesting.model import SettlingModel
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.rest import (
    Departure,
    Ending,
    Freedom,
    FreedomKind,
    LoadedContact,
    RestPose,
    SeatGap,
    Settled,
)
from fixturecheck.rigid import FreeMotion, Poses, jacobian, motions
from fixturecheck.setup.model import Seat
from fixturecheck.statics.contact_step import SteadyLoad
from fixturecheck.statics.rest import Settling

_GOES = (Ending.FALLS, Ending.SLIDES)
_HALVINGS = 12
"""How often the step in which a body is carried no longer is halved to find where: to a hundredth of a mm."""
_LEANS_RAD, _TOUCHES_MM, _CARRIES = 0.01, 0.01, 0.3
"""How much faces may lean and how far they may be off where one carries, and how much it looks up or down."""


def gap_um(
    model: SettlingModel, poses: Poses, first: tuple[int, int], second: tuple[int, int]
) -> tuple[float, float]:
    """Return the least and greatest gap in um between two faces where they look at each other.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    poses : Poses
        Where all bodies stand.
    first, second : tuple of int
        Body and face index.

    Returns
    -------
    (low, high)
        Negative where they overlap; both infinite where the faces do not look at each other.
    """
    plane_a, plane_b = _plane(model, first), _plane(model, second)
    if plane_a is None or plane_b is None:
        return _round_gap(model, poses, first, second)
    a, b = _placed(model, poses, first, plane_a), _placed(model, poses, second, plane_b)
    if float(a[1] @ b[1]) > -0.5:
        return np.inf, np.inf
    shadow = _shadow(model.features[first[0]], plane_a, a, b)
    common = shadow.intersection(model.features[second[0]].face_polygon(plane_b))
    if common.area < 1e-9:
        return np.inf, np.inf
    parts = [p for p in shapely.get_parts(common) if p.geom_type == "Polygon"]
    flat = np.concatenate([shapely.get_coordinates(p.exterior) for p in parts])
    places = b[0] + flat[:, :1] * b[2] + flat[:, 1:] * b[3]
    along = float(a[1] @ b[1])
    gaps = -((places - a[0]) @ a[1]) / along
    return float(gaps.min() * 1e3), float(gaps.max() * 1e3)


def seat_gaps_um(model: SettlingModel, poses: Poses, seat: Seat) -> list[tuple[float, float]]:
    """Return the gaps, as `gap_um`, between each face of one side of a seat and each of the other.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    poses : Poses
        Where all bodies stand.
    seat : Seat
        The seat, with both its faces.

    Returns
    -------
    list of (float, float)
        Least and greatest gap of each pair of faces.
    """
    return [
        gap_um(model, poses, (model.index(seat.body), i), (model.index(seat.on), j))
        for i in model.setup.body(seat.body).face_indices(seat.face)
        for j in model.setup.body(seat.on).face_indices(seat.on_face)
    ]


def _plane(model: SettlingModel, which: tuple[int, int]) -> int | None:
    """Return the number of a face among the flat faces of its body; None when it is curved."""
    found = np.flatnonzero(model.features[which[0]].plane_faces == which[1])
    return int(found[0]) if len(found) else None


def _placed(model: SettlingModel, poses: Poses, which: tuple[int, int], plane: int) -> Floats:
    """Return point, normal and two directions of a flat face in the machine's frame."""
    local = model.features[which[0]].planes[plane]
    rotation, origin = poses.rotation[which[0]], poses.origin_mm[which[0]]
    out = local @ rotation.T
    out[0] += origin
    return np.asarray(out)


def _shadow(features: Features, plane: int, a: Floats, b: Floats) -> Any:
    """Return flat face a dropped on the plane of face b, in the directions of b."""

    def drop(flat: Floats) -> Floats:
        places = a[0] + flat[:, :1] * a[2] + flat[:, 1:] * a[3] - b[0]
        return np.stack((places @ b[2], places @ b[3]), axis=-1)

    return shapely.buffer(shapely.transform(features.face_polygon(plane), drop), 0.0)


def _round_gap(
    model: SettlingModel, poses: Poses, first: tuple[int, int], second: tuple[int, int]
) -> tuple[float, float]:
    """Return the least gap found between two faces of which one is curved."""
    pair = [model.features[first[0]], model.features[second[0]]]
    scene = ProximityScene(pair, [True, True])
    bodies = [first[0], second[0]]
    rows = find_candidates(scene, poses.rotation[bodies], poses.origin_mm[bodies], 5.0, 0.01)
    one = (rows.body_a == 0) & (rows.face_a == first[1]) & (rows.face_b == second[1])
    two = (rows.body_a == 1) & (rows.face_a == second[1]) & (rows.face_b == first[1])
    gaps = rows.gap_mm[one | two]
    return (float(gaps.min() * 1e3), float(gaps.max() * 1e3)) if len(gaps) else (np.inf, np.inf)


_ON_MM = 2e-3


def _with_borders(
    model: SettlingModel, poses: Poses, carried: Sequence[LoadedContact]
) -> tuple[LoadedContact, ...]:
    """Count contacts on the border of a seat as the seat's own.

    Where two seat faces lie on each other, the edges of the faces beside them touch there too. Such a
    place lies on both seat faces, so it is not an unintended contact.
    """
    seats: dict[frozenset[str], list[LoadedContact]] = {}
    for one in carried:
        if one.intended:
            seats.setdefault(frozenset(one.bodies), []).append(one)

    def on_seat(one: LoadedContact) -> bool:
        return any(_lies_on(model, poses, one, seat) for seat in seats.get(frozenset(one.bodies), ()))

    return tuple(replace(one, intended=one.intended or on_seat(one)) for one in carried)


def _lies_on(model: SettlingModel, poses: Poses, one: LoadedContact, seat: LoadedContact) -> bool:
    """Tell whether every place of a contact lies on both faces of a seat."""
    return all(_all_on(model, poses, one, face) for face in (seat.a, seat.b))


def _all_on(model: SettlingModel, poses: Poses, one: LoadedContact, face: FaceRef) -> bool:
    index = model.index(face.body)
    faces = faces_of(model.bodies[index].solid)
    pieces = [faces[i] for i in model.bodies[index].face_indices(face.face)]
    local = (np.array(one.points_mm) - poses.origin_mm[index]) @ poses.rotation[index]
    return all(any(is_within(vertex(p), f, _ON_MM) for f in pieces) for p in local)


NEAR_MM = 0.02
"""Features further apart than this where the parts rest are no cause of an error there."""
FINE_MM, DEEP_MM = 1e-4, 1.5


def unseen_overlap_mm(scene: ProximityScene, poses: Poses) -> float:
    """Return a bound on overlaps of the bodies of a scene that settling does not see.

    Parameters
    ----------
    scene : ProximityScene
        The bodies that settling looks at.
    poses : Poses
        Where all bodies stand.

    Returns
    -------
    float
        Never below zero.
    """
    low, high = scene.boxes(poses.rotation, poses.origin_mm)
    worst = 0.0
    for one, other in scene.pairs(low, high, NEAR_MM).tolist():
        for a, b in ((one, other), (other, one)):
            turn = poses.rotation[b].T @ poses.rotation[a]
            shift = poses.rotation[b].T @ (poses.origin_mm[a] - poses.origin_mm[b])
            pair = scene.features[a], scene.features[b]
            worst = max(
                [worst, _chords_mm(*pair, turn, shift), *_smooth_mm(*pair, turn, shift, first=a == one)]
            )
    return worst


def _smooth_mm(a: Features, b: Features, turn: Floats, shift: Floats, *, first: bool) -> Iterator[float]:
    """Yield bounds for free-form faces of a, and for edges of a where either body has free-form faces."""
    if not (a.smooth or b.smooth):
        return
    targets, freeform = b.targets(), {one.face for one in b.smooth}
    for one in a.smooth:
        points = one.points @ turn.T + shift
        side = None
        for target in _near(points.reshape(-1, 3), one.reach_mm, targets):
            if target.face in freeform and not first:
                continue  # found from the other body's side
            side = side or PlacedPieces(a.targets()[one.face].pieces(), turn, shift)
            yield deepest_mm(side, _standing(target), fine_mm=FINE_MM, deep_mm=DEEP_MM)
    for curve in a.curves():
        points = curve.points @ turn.T + shift
        slack = 0.5 * float(np.linalg.norm(np.diff(points, axis=0), axis=1).max())
        side = None
        for target in _near(points, slack, targets):
            # Straight edges and circles over flat faces, and straight edges over all simple ones, are exact.
            simple = target.face not in freeform
            if simple and (
                curve.kind == CurveKind.LINE or target.plane is None or curve.kind == CurveKind.CIRCLE
            ):
                continue
            side = side or PlacedPieces(curve.pieces(), turn, shift)
            yield deepest_mm(side, _standing(target), fine_mm=FINE_MM, deep_mm=DEEP_MM)


def _standing(target: Target) -> PlacedPieces:
    return PlacedPieces(target.pieces(), np.eye(3), np.zeros(3))


def _near(points: Floats, slack_mm: float, targets: tuple[Target, ...]) -> Iterator[Target]:
    """Yield the faces whose boxes come near points (n, 3) and what lies within a distance of them."""
    low, high = points.min(axis=0) - slack_mm - NEAR_MM, points.max(axis=0) + slack_mm + NEAR_MM
    for target in targets:
        if np.all(target.low_mm <= high) and np.all(target.high_mm >= low):
            yield target


def _chords_mm(a: Features, b: Features, turn: Floats, shift: Floats) -> float:
    """Return the greatest bow of the chords of a that come near an edge or a simple curved face of b."""
    bent = ~a.straight
    if not bent.any():
        return 0.0
    ends, bows = a.edges_mm[bent] @ turn.T + shift, a.bows_mm[bent]
    slack = bows[:, None] + NEAR_MM
    low, high = ends.min(axis=1) - slack, ends.max(axis=1) + slack
    near = _meet(low, high, b.edges_mm.min(axis=1), b.edges_mm.max(axis=1))
    for one in b.swept:
        near |= np.abs(_off(one, ends.mean(axis=1))) <= slack[:, 0]
    if not (a.smooth or b.smooth):
        # Ellipses and splines are followed over flat faces only where a free-form face is about.
        near |= a.free[bent] & _meet(low, high, b.box_mm[:1], b.box_mm[1:])
    return float(bows[near].max(initial=0.0))


def _meet(low: Floats, high: Floats, other_low: Floats, other_high: Floats) -> NDArray[np.bool_]:
    """Return which boxes (n, 3) meet any of the others (m, 3)."""
    meet = np.all(low[:, None] <= other_high[None], axis=2) & np.all(high[:, None] >= other_low[None], axis=2)
    return np.asarray(meet.any(axis=1))


def _off(one: SweptPrimitive, points: Floats) -> Floats:
    """Return how far points (n, 3) are from the untrimmed surface of a curved face."""
    arm = points - one.a_mm
    height = arm @ one.axis
    radius = np.linalg.norm(arm - height[:, None] * one.axis, axis=1)
    if one.kind == SurfaceKind.SPHERE:
        return np.asarray(np.linalg.norm(arm, axis=1) - one.tube_mm)
    if one.kind == SurfaceKind.TORUS:
        return np.asarray(np.hypot(radius - one.radius_a_mm, height) - one.tube_mm)
    long = float((one.b_mm - one.a_mm) @ one.axis)
    taper = (one.radius_b_mm - one.radius_a_mm) / (long or 1.0)
    return np.asarray((radius - one.radius_a_mm - taper * height) / math.hypot(1.0, taper))


LOOK_MM = 5.0
HAIR_MM = 1e-3
CARRIES = 1e-6
"""Share of the greatest load below which a contact carries nothing."""


def settled_outcome(
    model: SettlingModel, raw: Settling, loads: Sequence[SteadyLoad], loose: Sequence[int]
) -> Settled:
    """Return the result of a settling, in the set-up's names.

    Parameters
    ----------
    model : SettlingModel
        The bodies and their names.
    raw : Settling
        What came of the settling, by numbers of bodies.
    loads : sequence of SteadyLoad
        Loads on the loose bodies.
    loose : sequence of int
        Numbers of the bodies that move.

    Returns
    -------
    Settled
    """
    touch = model.setup.tolerances.touch_mm
    rests = raw.ending is Ending.REST
    carried = faces_carrying(model, raw, loads, touch) if rests else ()
    seats = _seats_at_rest(model, raw.poses, loose, carried) if rests else ()
    error = unseen_overlap_mm(model.scene(loose), raw.poses) if rests else 0.0
    return Settled(
        ending=raw.ending,
        body=model.bodies[raw.body].name if raw.body >= 0 else "",
        departure=_departure(model, raw, loose) if raw.ending in _GOES else None,
        overlapping=_deepest_pair(model, raw) if raw.ending in (Ending.OVERLAPS, Ending.JAMMED) else (),
        poses={model.bodies[i].name: rest_pose(model, raw.poses, i) for i in loose},
        carried=carried,
        seats=seats,
        freedoms=_freedoms_left(model, raw, loose, touch) if rests else (),
        residual_um=raw.residual_mm * 1e3,
        balance=raw.balance,
        steps=raw.steps,
        error_um=error * 1e3,
    )


def _departure(model: SettlingModel, raw: Settling, loose: Sequence[int]) -> Departure:
    """Return what last carries a body that never comes to rest, and where its weight leaves that."""
    body, centre = raw.body, model.features[raw.body].centre_mm
    scene = model.scene(loose)
    on = next((p for p in reversed(raw.visited) if _carrier(scene, p, body, centre) is not None), None)
    if on is None:
        off = _carrier(scene, model.drawn, body, centre, within_mm=math.inf)
        return _gone_to(model, raw.visited[-1] if off is None else model.drawn, body, off)
    last = next(i for i, p in enumerate(raw.visited) if p is on)
    if last + 1 < len(raw.visited):
        beyond = raw.visited[last + 1]
        for _ in range(_HALVINGS):
            middle = _halfway(on, beyond)
            carried = _carrier(scene, middle, body, centre) is not None
            on, beyond = (middle, beyond) if carried else (on, middle)
    return _gone_to(model, on, body, _carrier(scene, on, body, centre))


def _carrier(
    scene: ProximityScene, poses: Poses, body: int, centre: Floats, within_mm: float = _TOUCHES_MM
) -> int | None:
    """Return what carries a body from below with its weight over it, or within a distance; None without."""
    rows = find_candidates(scene, poses.rotation, poses.origin_mm, _TOUCHES_MM, _LEANS_RAD, 0.0)
    mine = ((rows.body_a == body) | (rows.body_b == body)) & (np.abs(rows.normal[:, 2]) > _CARRIES)
    at, weight = rows.point_a_mm[mine], poses.apply(body, centre)
    below = at[:, 2] < weight[2]
    if not below.any() or _off_mm(at[below], weight) > within_mm:
        return None
    others = np.where(rows.body_a == body, rows.body_b, rows.body_a)[mine][below]
    return int(others.min())


def _off_mm(at: Floats, weight: Floats) -> float:
    """Return how far a weight lies, seen from above, outside all that carries it."""
    return float(shapely.distance(convex_hull(at[:, :2]), shapely.Point(*weight[:2])))


def _halfway(one: Poses, other: Poses) -> Poses:
    """Return the poses midway between two."""
    first = Rotation.from_matrix(one.rotation)
    half = Rotation.from_rotvec(0.5 * (Rotation.from_matrix(other.rotation) * first.inv()).as_rotvec())
    return Poses(
        rotation=np.asarray((half * first).as_matrix()), origin_mm=0.5 * (one.origin_mm + other.origin_mm)
    )


def _gone_to(model: SettlingModel, poses: Poses, body: int, off: int | None) -> Departure:
    """Return how far a body has gone from where it is drawn, and which way."""
    centre = model.features[body].centre_mm
    gone = poses.apply(body, centre) - model.drawn.apply(body, centre)
    far_mm = float(np.linalg.norm(gone))
    name = "" if off is None else model.bodies[off].name
    return Departure(off=name, way=to_vector(gone / (far_mm or 1.0)), far_mm=far_mm)


def _deepest_pair(model: SettlingModel, raw: Settling) -> tuple[str, ...]:
    """Return the two bodies that overlap deepest, in the order of their names; empty where none do."""
    if len(raw.rows.gap_mm) == 0:
        return ()
    deepest = int(np.argmin(raw.rows.gap_mm))
    return tuple(
        sorted(model.bodies[int(i)].name for i in (raw.rows.body_a[deepest], raw.rows.body_b[deepest]))
    )


def rest_pose(model: SettlingModel, poses: Poses, body: int) -> RestPose:
    """Return one body's pose against the drawn one.

    Parameters
    ----------
    model : SettlingModel
        The bodies as drawn.
    poses : Poses
        Where all bodies rest.
    body : int
        Number of the body.

    Returns
    -------
    RestPose
    """
    centre = model.features[body].centre_mm
    shift = poses.apply(body, centre) - model.drawn.apply(body, centre)
    turn = Rotation.from_matrix(poses.rotation[body] @ model.drawn.rotation[body].T).as_rotvec()
    return RestPose(
        body=model.bodies[body].name,
        matrix=poses.matrix(body),
        shift_mm=to_vector(shift),
        turn_deg=to_vector(np.degrees(turn)),
    )


def candidates(raw: Settling) -> Candidates:
    """Return the rows of a settling of solids, which name faces.

    Parameters
    ----------
    raw : Settling
        What came of a settling.

    Returns
    -------
    Candidates

    Raises
    ------
    NotComputedError
        The rows were found by something that knows no faces.
    """
    if not isinstance(raw.rows, Candidates):
        raise NotComputedError("the settling was not run on solids, so its contacts belong to no faces")
    return raw.rows


def faces_carrying(
    model: SettlingModel, raw: Settling, loads: Sequence[SteadyLoad], touch_mm: float
) -> tuple[LoadedContact, ...]:
    """Return the pairs of faces that touch at rest, with the force across each.

    Parameters
    ----------
    model : SettlingModel
        The bodies and their seats.
    raw : Settling
        A settling that came to rest.
    loads : sequence of SteadyLoad
        Loads on the loose bodies, one at least; a force that is a trifle beside the greatest counts as zero.
    touch_mm : float
        Greatest gap at which two faces touch.

    Returns
    -------
    tuple of LoadedContact
    """
    rows = candidates(raw)
    names = [b.face_names() for b in model.bodies]
    wanted = {_seat_key(s) for s in model.setup.seats}
    greatest = max(float(np.linalg.norm(one.total_n())) for one in loads)
    groups: dict[tuple[int, int, int, int], list[int]] = {}
    for i in np.flatnonzero(rows.gap_mm <= touch_mm):
        key = int(rows.body_a[i]), int(rows.face_a[i]), int(rows.body_b[i]), int(rows.face_b[i])
        swap = key[2] < key[0]
        groups.setdefault((key[2], key[3], key[0], key[1]) if swap else key, []).append(int(i))
    out = []
    for (a, face_a, b, face_b), members in sorted(groups.items()):
        force = float(raw.force_n[members].sum())
        places = _distinct(rows.point_b_mm[members])
        signs = np.where(rows.body_a[members] == a, 1.0, -1.0)[:, None]
        normal = (rows.normal[members] * signs).sum(axis=0)
        one = FaceRef.of(model.bodies[a].name, names[a][face_a])
        two = FaceRef.of(model.bodies[b].name, names[b][face_b])
        out.append(
            LoadedContact(
                a=one,
                b=two,
                kind=_kind(places),
                force_n=force if force > CARRIES * greatest else 0.0,
                normal=to_vector(normal / max(float(np.linalg.norm(normal)), 1e-12)),
                points_mm=tuple(to_vector(p) for p in places),
                intended=frozenset((one, two)) in wanted,
            )
        )
    return _with_borders(model, raw.poses, out)


def _seat_key(seat: Seat) -> frozenset[FaceRef]:
    return frozenset((seat.own, seat.other))


def _distinct(places: Floats) -> Floats:
    """Return places that differ by more than a hair, in a fixed order."""
    ordered = places[np.lexsort(np.round(places, 4).T)]
    kept = np.ones(len(ordered), dtype=bool)
    for i, beside in enumerate(cKDTree(ordered).query_ball_point(ordered, HAIR_MM)):
        if kept[i]:
            kept[[j for j in beside if j > i]] = False
    return np.asarray(ordered[kept])


def _kind(places: Floats) -> ContactKind:
    """Return `point`, `line` or `area` by how places lie."""
    if len(places) < 2:
        return ContactKind.POINT
    values = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)
    if values[0] < 1e-2:
        return ContactKind.POINT
    return (
        ContactKind.AREA
        if len(values) > 1 and values[1] > 1e-3 * values[0] and values[1] > 1e-2
        else ContactKind.LINE
    )


def _seats_at_rest(
    model: SettlingModel, poses: Poses, loose: Sequence[int], carried: Sequence[LoadedContact]
) -> tuple[SeatGap, ...]:
    """Return the gap and the force at every intended seat of a loose body."""
    touch = model.setup.tolerances.touch_um
    names = {model.bodies[i].name for i in loose}
    force = {frozenset((c.a, c.b)): c.force_n for c in carried}
    out = []
    for seat in model.setup.seats:
        if seat.body not in names and seat.on not in names:
            continue
        gaps = seat_gaps_um(model, poses, seat)
        low = min((g[0] for g in gaps), default=np.inf)
        high = max((g[1] for g in gaps if np.isfinite(g[1])), default=np.inf)
        out.append(
            SeatGap(
                own=seat.own,
                other=seat.other,
                gap_min_um=low,
                gap_max_um=high,
                closed=low <= touch,
                force_n=force.get(_seat_key(seat), 0.0),
            )
        )
    return tuple(out)


def _freedoms_left(
    model: SettlingModel, raw: Settling, loose: Sequence[int], touch_mm: float
) -> tuple[Freedom, ...]:
    """Return the motions that each body has left among its neighbours where they stand."""
    around = find_candidates(model.scene(loose), raw.poses.rotation, raw.poses.origin_mm, LOOK_MM, 1e-2)
    out: list[Freedom] = []
    for body in loose:
        mine = (raw.rows.body_a == body) | (raw.rows.body_b == body)
        closed = candidates(raw).where(mine & (raw.rows.gap_mm <= touch_mm))
        near = around.where((around.body_a == body) | (around.body_b == body))
        out += freedoms_among(model, raw.poses, (closed, near), body)
    return tuple(out)


def freedoms_among(
    model: SettlingModel, poses: Poses, rows: tuple[Candidates, Candidates], body: int
) -> tuple[Freedom, ...]:
    """Return the motions of one body that keep its contacts closed, with how far each goes.

    Parameters
    ----------
    model : SettlingModel
        The bodies as features.
    poses : Poses
        Where all bodies stand.
    rows : tuple of Candidates
        Of this body: where it touches, and what is near.
    body : int
        Number of the body.

    Returns
    -------
    tuple of Freedom
    """
    closed, near = rows
    touch_mm = model.setup.tolerances.touch_mm
    centre = poses.apply(body, model.features[body].centre_mm)
    slopes = jacobian(closed, np.array([body]), centre[None])
    ahead = jacobian(near, np.array([body]), centre[None])
    out = []
    for motion in motions(slopes, centre, model.features[body].size_mm):
        sign = _forward(motion.axis)
        rate = ahead @ motion.twist * sign
        limits = _room(near.gap_mm, rate, touch_mm), _room(near.gap_mm, -rate, touch_mm)
        out.append(_freedom(model.bodies[body].name, motion, sign, limits))
    return tuple(out)


def _room(gap_mm: Floats, rate: Floats, touch_mm: float) -> float:
    """Return how far a motion goes, to first order, before the first open gap closes."""
    closing = (rate < -1e-6) & (gap_mm > touch_mm)
    return float((gap_mm[closing] / -rate[closing]).min(initial=np.inf))


def _freedom(name: str, motion: FreeMotion, sign: float, limits: tuple[float, float]) -> Freedom:
    """Return one motion with how far it goes either way."""
    axis = to_vector(motion.axis * sign)
    slides = motion.kind is FreedomKind.SLIDES
    high, low = limits if slides else (_degrees(limits[0]), _degrees(limits[1]))
    return Freedom(
        body=name, kind=motion.kind, axis=axis, point_mm=to_vector(motion.point_mm), low=-low, high=high
    )


def _degrees(turn_rad: float) -> float:
    """Return an angle in degrees; beyond a tenth of a radian the first order does not hold."""
    return float(np.degrees(turn_rad)) if turn_rad <= 0.1 else np.inf


def _forward(axis: Floats) -> float:
    """Return the sign that makes the greatest part of an axis positive."""
    return 1.0 if axis[int(np.argmax(np.abs(np.round(axis, 9))))] >= 0 else -1.0
