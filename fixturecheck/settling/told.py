"""Turns a settling's numbers into poses, faces that carry, seats left open, freedoms and sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fixturecheck.contact.candidates import Candidates
from fixturecheck.contact.look import find_candidates
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.physics.freedom import Motion, motions
from fixturecheck.physics.rigid import Poses, jacobian, turn_of
from fixturecheck.physics.settle import Ending, Settling
from fixturecheck.physics.step import Load
from fixturecheck.result import ContactKind, Freedom, FreedomKind, Vector
from fixturecheck.settling.bench import Bench
from fixturecheck.settling.gaps import gap_um
from fixturecheck.settling.model import Carried, RestPose, SeatAtRest, Settled
from fixturecheck.settling.seated import with_borders
from fixturecheck.settling.unseen import unseen_mm
from fixturecheck.setup.model import Seat

Floats = NDArray[np.float64]
LOOK_MM = 5.0
HAIR_MM = 1e-3
CARRIES = 1e-6
"""Share of the greatest load below which a contact carries nothing."""


def told(bench: Bench, raw: Settling, loads: Sequence[Load], loose: Sequence[int]) -> Settled:
    """Return what a settling came to, in the set-up's names."""
    touch = bench.setup.tolerances.touch_mm
    rests = raw.ending is Ending.REST
    carried = faces_carrying(bench, raw, loads, touch) if rests else ()
    seats = seats_at_rest(bench, raw.poses, loose, carried) if rests else ()
    error = unseen_mm(bench.scene(loose), raw.poses) if rests else 0.0
    return Settled(
        ending=raw.ending,
        says=_says(bench, raw, carried, seats),
        poses={bench.bodies[i].name: rest_pose(bench, raw.poses, i) for i in loose},
        carried=carried,
        seats=seats,
        freedoms=freedoms_left(bench, raw, loose, touch) if rests else (),
        residual_um=raw.residual_mm * 1e3,
        balance=raw.balance,
        steps=raw.steps,
        error_um=error * 1e3,
    )


def rest_pose(bench: Bench, poses: Poses, body: int) -> RestPose:
    """Return one body's pose against the drawn one."""
    centre = bench.features[body].centre_mm
    shift = poses.apply(body, centre) - bench.drawn.apply(body, centre)
    turn = turn_of(poses.rotation[body] @ bench.drawn.rotation[body].T)
    return RestPose(
        body=bench.bodies[body].name,
        matrix=poses.matrix(body),
        shift_mm=vector(shift),
        turn_deg=vector(np.degrees(turn)),
    )


def candidates(raw: Settling) -> Candidates:
    """Return a settling's rows as the ones found on solids, which know their faces.

    Raises
    ------
    NotComputedError
        The rows were found by something that knows no faces.
    """
    if not isinstance(raw.rows, Candidates):
        message = "the settling was not run on solids, so its contacts belong to no faces"
        raise NotComputedError(message)
    return raw.rows


def faces_carrying(
    bench: Bench, raw: Settling, loads: Sequence[Load], touch_mm: float
) -> tuple[Carried, ...]:
    """Return the pairs of faces that touch at rest, with the force across each."""
    rows = candidates(raw)
    names = [b.face_names() for b in bench.bodies]
    wanted = {_seat_key(s) for s in bench.setup.seats}
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
        one = FaceRef.of(bench.bodies[a].name, names[a][face_a])
        two = FaceRef.of(bench.bodies[b].name, names[b][face_b])
        out.append(
            Carried(
                a=one,
                b=two,
                kind=_kind(places),
                force_n=force if force > CARRIES * greatest else 0.0,
                normal=vector(normal / max(float(np.linalg.norm(normal)), 1e-12)),
                points_mm=tuple(vector(p) for p in places),
                intended=frozenset((one, two)) in wanted,
            )
        )
    return with_borders(bench, raw.poses, out)


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


def seats_at_rest(
    bench: Bench, poses: Poses, loose: Sequence[int], carried: Sequence[Carried]
) -> tuple[SeatAtRest, ...]:
    """Return the gap and the force at every intended seat of a loose body."""
    touch = bench.setup.tolerances.touch_um
    names = {bench.bodies[i].name for i in loose}
    force = {frozenset((c.a, c.b)): c.force_n for c in carried}
    out = []
    for seat in bench.setup.seats:
        if seat.body not in names and seat.on not in names:
            continue
        gaps = [
            gap_um(bench, poses, (bench.index(seat.body), i), (bench.index(seat.on), j))
            for i in bench.setup.body(seat.body).faces.get(seat.face, ())
            for j in bench.setup.body(seat.on).faces.get(seat.on_face, ())
        ]
        low = min((g[0] for g in gaps), default=np.inf)
        high = max((g[1] for g in gaps if np.isfinite(g[1])), default=np.inf)
        out.append(
            SeatAtRest(
                seat=seat,
                gap_min_um=low,
                gap_max_um=high,
                closed=low <= touch,
                force_n=force.get(_seat_key(seat), 0.0),
            )
        )
    return tuple(out)


def freedoms_left(bench: Bench, raw: Settling, loose: Sequence[int], touch_mm: float) -> tuple[Freedom, ...]:
    """Return the motions each body has left among its neighbours as they stand."""
    around = find_candidates(
        bench.scene(loose),
        raw.poses.rotation,
        raw.poses.origin_mm,
        LOOK_MM,
        1e-2,
    )
    out: list[Freedom] = []
    for body in loose:
        mine = (raw.rows.body_a == body) | (raw.rows.body_b == body)
        rows = candidates(raw).where(mine & (raw.rows.gap_mm <= touch_mm))
        centre = raw.poses.apply(body, bench.features[body].centre_mm)
        slopes = jacobian(rows, np.array([body]), centre[None])
        near = around.where((around.body_a == body) | (around.body_b == body))
        ahead = jacobian(near, np.array([body]), centre[None])
        for motion in motions(slopes, centre, bench.features[body].size_mm):
            way = _forward(motion.axis)
            rate = ahead @ motion.twist * way
            limits = _room(near.gap_mm, rate, touch_mm), _room(near.gap_mm, -rate, touch_mm)
            out.append(_freedom(bench.bodies[body].name, motion, way, limits))
    return tuple(out)


def _room(gap_mm: Floats, rate: Floats, touch_mm: float) -> float:
    """Return how far a motion goes, to first order, before the first open gap closes."""
    closing = (rate < -1e-6) & (gap_mm > touch_mm)
    return float((gap_mm[closing] / -rate[closing]).min(initial=np.inf))


def _freedom(name: str, motion: Motion, way: float, limits: tuple[float, float]) -> Freedom:
    """Return one motion with how far it goes either way."""
    axis = vector(motion.axis * way)
    slides = motion.kind is FreedomKind.SLIDES
    high, low = limits if slides else (_degrees(limits[0]), _degrees(limits[1]))
    return Freedom(
        body=name,
        kind=motion.kind,
        axis=axis,
        point_mm=vector(motion.point_mm),
        low=-low,
        high=high,
    )


def _degrees(turn_rad: float) -> float:
    """Return an angle in degrees; beyond a tenth of a radian the first order says nothing."""
    return float(np.degrees(turn_rad)) if turn_rad <= 0.1 else np.inf


def _forward(axis: Floats) -> float:
    """Return the sign that makes the greatest part of an axis positive."""
    return 1.0 if axis[int(np.argmax(np.abs(np.round(axis, 9))))] >= 0 else -1.0


def _says(bench: Bench, raw: Settling, carried: Sequence[Carried], seats: Sequence[SeatAtRest]) -> str:
    """Return one sentence on how it ended."""
    who = bench.bodies[raw.body].name if raw.body >= 0 else "the parts"
    plain = {
        Ending.NO_PUSH: f"nothing pushes {who}: no weight, no pull and no push was stated",
        Ending.FALLS: f"{who} falls away: nothing is in its way",
        Ending.SLIDES: f"{who} slides away: nothing stops it along its push",
        Ending.JAMMED: f"the seats contradict each other: no move frees {who} of all overlaps at once",
        Ending.OVERLAPS: _no_room(bench, raw),
        Ending.NOT_CONVERGED: (
            f"no rest after {raw.steps} steps: {raw.balance:.1e} of the load still moves the parts and they "
            f"overlap by {bench.setup.write.gap(raw.residual_mm * 1e3)}"
        ),
    }
    if raw.ending in plain:
        return plain[raw.ending]
    open_ = [s for s in seats if not s.closed]
    wrong = [c for c in carried if not c.intended and c.force_n > 0]
    if bench.setup.seats and not open_ and not wrong:
        return "every seat is closed and nothing else touches"
    if open_:
        seat = open_[0]
        off = (
            f"is {bench.setup.write.gap(seat.gap_min_um, '.1f')} off" if np.isfinite(seat.gap_min_um) else ""
        )
        gap = off or "no longer faces"
        first = f"; {_lands(bench, wrong[0])} first" if wrong else ""
        return f"{seat.seat.body}.{seat.seat.face} {gap} {seat.seat.on}.{seat.seat.on_face}{first}"
    pairs = ", ".join(f"{c.a} on {c.b}" for c in (wrong or carried)[:3])
    return f"at rest on {pairs}"


def _no_room(bench: Bench, raw: Settling) -> str:
    """Say who overlaps whom where the parts start."""
    where = "overlap even well back from where they are drawn"
    deepest = int(np.argmin(raw.rows.gap_mm)) if len(raw.rows.gap_mm) else -1
    pair = "each other"
    if deepest >= 0:
        names = [bench.bodies[int(i)].name for i in (raw.rows.body_a[deepest], raw.rows.body_b[deepest])]
        pair = " and ".join(sorted(names))
    if raw.body >= 0:
        who = bench.bodies[raw.body].name
        return f"{who} finds no room when its turn comes: {pair} {where}"
    return f"the parts have no room to start from: {pair} {where}"


def _lands(bench: Bench, one: Carried) -> str:
    """Return which face lands on which, the part's first."""
    part, other = one.a, one.b
    if bench.setup.body(part.body).role != "part":
        part, other = other, part
    return f"{part} lands on {other}"


def vector(values: Floats) -> Vector:
    """Return three numbers without negative zeros."""
    x, y, z = (float(v) + 0.0 for v in values)
    return x, y, z
