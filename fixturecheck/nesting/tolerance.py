"""What tolerances do to the rest: how often seats close, what lands first, how far the work is out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.contact.proximity.candidates import Candidates
from fixturecheck.contact.proximity.perturbed import (
    FaceShift,
    extended_to_walls,
    features_over_low_steps,
    gap_sensitivity,
    perturbed_features,
)
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.nesting.locating import closing_fixtures
from fixturecheck.nesting.model import SampledRest, SettlingModel, Varying, settling_model_of, varying_faces
from fixturecheck.nesting.outcome import faces_carrying
from fixturecheck.nesting.settle import AWAY_MM, loose_of, moved_back, settle_in_order
from fixturecheck.result.rest import Ending
from fixturecheck.result.tolerance import (
    BarredChance,
    Chances,
    CriticalPlace,
    SeatChance,
    TargetSpread,
    WrongChance,
)
from fixturecheck.rigid import jacobian
from fixturecheck.setup.model import Setup
from fixturecheck.setup.records import BodyRole, Rank
from fixturecheck.setup.staging import Staging
from fixturecheck.statics.contact_step import SteadyLoad, forces_at, outermost, wrenches
from fixturecheck.statics.rest import Bounds, Settling
from fixturecheck.tolerancing.linear_rest import (
    CriticalRegions,
    Linear,
    NoRestError,
    ReducedProblem,
    SampleOutcomes,
    climbed_mm,
    critical_regions_of,
    most_gap_mm,
    most_of,
    reduced_problem,
    solve_or_bar,
)
from fixturecheck.tolerancing.zones import (
    Box,
    Distribution,
    box_around,
    corners_of_zone,
    differences,
    draw_errors,
)


def corners_mm(model: SettlingModel, body: int, face: str) -> Floats:
    """Return the corners (n, 3) of a flat face where it is drawn; none where any piece of it is curved.

    Parameters
    ----------
    model : SettlingModel
        The bodies as drawn.
    body : int
        Number of the body.
    face : str
        One of its named faces.

    Returns
    -------
    ndarray, shape (n, 3)
        Machine's frame.
    """
    features, found = model.features[body], []
    for index in model.bodies[body].face_indices(face):
        flat = np.flatnonzero(features.plane_faces == index)
        if len(flat) == 0:
            return np.zeros((0, 3))
        origin, _, x, y = features.planes[flat[0]]
        corners = corners_of_zone(features.outlines[flat[0]].reshape(-1, 2))
        found.append(origin + corners[:, :1] * x + corners[:, 1:] * y)
    return model.drawn.apply(body, np.concatenate(found))


LEAST_REACH_MM = 0.2
_EXACT = 2
"""Worst draws that are settled again exactly."""
_TRIES = 3
"""Draws tried, furthest out first, for each that is to be settled exactly."""
_EVEN = 1e-9
"""Share of an error of a face by which a gap may be off a straight line over the face, for rounding."""
LEAST_SLACK_RAD, MOST_SLACK_RAD = 1e-3, 1e-2
"""How far faces and parts may turn against each other from where they rest as drawn."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _LinearModel:
    """The linear problem with the names it is about."""

    model: SettlingModel
    raw: Settling
    loads: list[SteadyLoad]
    rows: Candidates
    problem: Linear
    frame: ReducedProblem
    scale: Floats
    centres: Floats
    varying: Varying
    box: Box


def sampled_rest(
    setup: Setup,
    staging: Staging | None = None,
    *,
    targets: Sequence[CriticalPlace] = (),
    draws: int = 10_000,
    seed: int = 1,
    spread: Distribution = Distribution.NORMAL,
    model: SettlingModel | None = None,
) -> SampledRest:
    """Return how tolerances spread the rest.

    Parameters
    ----------
    setup : Setup
        With `tolerance_mm` on its bodies: the whole width of each face's profile zone, half of it either way.
        A flat face shifts and leans within it, by no more than its `orientation_mm`; a curved one shifts.
    staging : Staging, optional
        Pushes, order, what is loose; by default every part under its weight alone.
    targets : sequence of CriticalPlace
        Places whose error is wanted.
    draws : int
        How many sets of errors are drawn.
    seed : int
        The same one draws the same errors again.
    spread : Distribution
        How faces are drawn within their zones.
    model : SettlingModel, optional
        That of the set-up, where it is made already.

    Returns
    -------
    SampledRest

    Raises
    ------
    SetupError
        No face has a tolerance, or one is negative or not a number.
    NotComputedError
        The nominal parts do not rest, or some draws have no rest.
    """
    staging, whole = staging or Staging(), model or settling_model_of(setup)
    model, closed_in = _opened(whole, staging)
    linear = _linear_model(model, staging)
    errors = draw_errors(linear.varying.zones, draws, seed, spread, leaning=_touching(linear))
    every = solve_or_bar(linear.problem, errors, linear.frame)
    fits = every.barred < 0
    if not np.any(fits):
        raise NotComputedError("in no draw within tolerance do the parts go in between what holds them")
    drawn, errors = every.where(fits), errors[fits]
    regions, contradict = _regions(linear)
    chosen = _worst_draws(linear, drawn, targets, _TRIES * _EXACT)
    checked, unsettled = _checked(linear, staging, [(errors[i], drawn.move[i]) for i in chosen])
    spreads = {one.name: _spread(linear, drawn, regions, one, errors) for one in targets}
    chances = Chances(
        draws=draws,
        seed=seed,
        faces=tuple(linear.varying.names[body][face] for body, face in linear.varying.faces),
        leaning=sum(z.columns > 1 for z in linear.varying.zones),
        seats=tuple(s for s in _seat_chances(linear, drawn, regions) if s.other.body not in closed_in),
        closed_in=closed_in,
        wrong=_wrong_faces(linear, drawn),
        targets=tuple(spread for spread, _, _ in spreads.values()),
        checked_um=checked * 1e3,
        unsettled=unsettled,
        contradict=contradict and bool(np.all(fits)),
        barred=_barred_chances(linear, every),
    )
    return SampledRest(
        chances=chances,
        move=drawn.move * linear.scale,
        bases=drawn.bases,
        draws_um={name: middle for name, (_, middle, _) in spreads.items()},
        out_um={name: out for name, (_, _, out) in spreads.items()},
    )


def _opened(model: SettlingModel, staging: Staging) -> tuple[SettlingModel, tuple[str, ...]]:
    """Remove the fixtures set up against the parts last, since they follow the parts, and name them."""
    if all(s.rank != Rank.STOP for s in model.setup.seats):
        return model, ()
    loose = loose_of(model, staging)
    raw, loads = settle_in_order(model, staging, loose, Bounds())
    touch = model.setup.tolerances.touch_mm
    if raw.ending is not Ending.REST:
        return model, ()
    raw = replace(raw, force_n=forces_at(loads, raw.poses, raw.rows, touch))
    carried = faces_carrying(model, raw, loads, touch)
    bodies = closing_fixtures(model, carried, [model.bodies[i].name for i in loose])
    away = dict.fromkeys(bodies, np.full(3, AWAY_MM))
    return replace(model, drawn=moved_back(model.drawn, away)), tuple(model.bodies[i].name for i in bodies)


def _linear_model(model: SettlingModel, staging: Staging) -> _LinearModel:
    """Settle the nominal parts and linearise about their rest."""
    loose = loose_of(model, staging)
    raw, loads = settle_in_order(model, staging, loose, Bounds())
    if raw.ending is not Ending.REST:
        raise NotComputedError(
            f"the parts as drawn do not come to rest ({raw.ending}), so no tolerance can be judged"
        )
    vary = varying_faces(model)
    reach = max(LEAST_REACH_MM, 4.0 * vary.widest_mm())
    either = tuple(
        extended_to_walls(features_over_low_steps(f, 2.0 * vary.widest_mm()), reach) for f in model.features
    )
    scene = replace(model, features=either).scene(one.body for one in loads)
    slack = min(max(LEAST_SLACK_RAD, 2.0 * vary.steepest()), MOST_SLACK_RAD)
    rows = find_candidates(scene, raw.poses.rotation, raw.poses.origin_mm, reach, slack)
    growth = gap_sensitivity(rows, model.features, raw.poses.rotation, raw.poses.origin_mm, vary.faces)
    rows, growth = _telling(rows, growth)
    bodies = np.array([one.body for one in loads])
    centres = np.array([raw.poses.apply(one.body, one.centre_mm) for one in loads])
    scale = np.ones((len(loads), 6))
    scale[:, 3:] = 1.0 / np.array([one.size_mm for one in loads])[:, None]
    load = wrenches(loads, raw.poses).ravel()
    problem = Linear(
        gap_mm=rows.gap_mm, slope=jacobian(rows, bodies, centres) * scale.ravel(), growth=growth, load=load
    )
    return _LinearModel(
        model=model, raw=raw, loads=loads, rows=rows, problem=problem, frame=reduced_problem(problem),
        scale=scale.ravel(), centres=centres, varying=vary, box=box_around(vary.zones),
    )  # fmt: skip


def _telling(rows: Candidates, growth: Floats) -> tuple[Candidates, Floats]:
    """Leave out contacts of flat faces that lie between others of the same two faces.

    Their gaps are means of those of the others, whatever the parts do; where errors of faces do not change
    them evenly over the face, all are kept.
    """
    keep = np.zeros(len(rows.gap_mm), dtype=bool)
    keep[outermost(rows, np.arange(len(keep)))] = True
    names = np.stack((rows.body_a, rows.face_a, rows.body_b, rows.face_b), axis=1)
    groups = np.unique(names, axis=0, return_inverse=True)[1].ravel()
    for group in np.unique(groups[~keep]):
        some = np.flatnonzero(groups == group)
        across = np.column_stack(
            (np.ones(len(some)), rows.point_a_mm[some] - rows.point_a_mm[some].mean(axis=0))
        )
        changes = growth[some][:, np.any(growth[some] != 0.0, axis=0)]
        even = across @ np.linalg.lstsq(across, changes, rcond=None)[0]
        if np.abs(even - changes).max(initial=0.0) > _EVEN:
            keep[some] = True
    return rows.where(keep), growth[keep]


def _touching(linear: _LinearModel) -> NDArray[np.bool_]:
    """Tell for each face that varies whether any gap depends on it; the lean of others is not drawn."""
    columns = [v.columns() for v in linear.varying.faces.values()]
    return np.array([bool(np.any(linear.problem.growth[:, one])) for one in columns])


def _pairs(linear: _LinearModel) -> dict[frozenset[FaceRef], NDArray[np.int64]]:
    """Return the rows of each pair of faces."""
    names, rows = linear.varying.names, linear.rows
    found: dict[frozenset[FaceRef], list[int]] = {}
    for i in range(len(rows.gap_mm)):
        a, b = names[rows.body_a[i]][rows.face_a[i]], names[rows.body_b[i]][rows.face_b[i]]
        found.setdefault(frozenset((a, b)), []).append(i)
    return {key: np.array(value) for key, value in found.items()}


def _regions(linear: _LinearModel) -> tuple[CriticalRegions | None, bool]:
    """Return the critical regions, or None, and whether that is because seats contradict each other."""
    try:
        return critical_regions_of(linear.problem, linear.frame, linear.box), False
    except NoRestError:
        return None, True
    except NotComputedError:
        return None, False


def _seat_chances(
    linear: _LinearModel, drawn: SampleOutcomes, regions: CriticalRegions | None
) -> tuple[SeatChance, ...]:
    pairs = _pairs(linear)
    touch = linear.model.setup.tolerances.touch_um
    loose = {linear.model.bodies[one.body].name for one in linear.loads}
    out = []
    for seat in linear.model.setup.seats:
        if not loose & {seat.body, seat.on}:
            continue  # neither moves, so what touches as drawn is all there is to say
        members = pairs.get(frozenset((seat.own, seat.other)))
        if members is None:
            gap, worst, of_zones = np.full(1, np.inf), np.inf, True
        else:
            gap = drawn.gap_mm[:, members].min(axis=1) * 1e3
            worst, of_zones = _worst_gap_um(regions, members, float(gap.max()))
        out.append(
            SeatChance(
                own=seat.own, other=seat.other, share_closed=float(np.mean(gap <= touch)),
                gap_p95_um=float(np.quantile(gap, 0.95, method="higher")),
                gap_worst_um=worst, of_zones=of_zones,
            )
        )  # fmt: skip
    return tuple(out)


def _barred_chances(linear: _LinearModel, drawn: SampleOutcomes) -> tuple[BarredChance, ...]:
    """Return which faces keep the parts from going in, and how often, the most frequent first."""
    rows, counts = np.unique(drawn.barred[drawn.barred >= 0], return_counts=True)
    shares: dict[tuple[FaceRef, FaceRef], float] = {}
    names = linear.varying.names
    for i, count in zip(rows.tolist(), counts.tolist(), strict=True):
        a = names[linear.rows.body_a[i]][linear.rows.face_a[i]]
        b = names[linear.rows.body_b[i]][linear.rows.face_b[i]]
        pair = min(a, b), max(a, b)
        shares[pair] = shares.get(pair, 0.0) + count / len(drawn.barred)
    found = [BarredChance(a=a, b=b, share=share) for (a, b), share in shares.items()]
    return tuple(sorted(found, key=lambda one: (-one.share, one.a, one.b)))


def _wrong_faces(linear: _LinearModel, drawn: SampleOutcomes) -> tuple[WrongChance, ...]:
    seats = {frozenset((s.own, s.other)) for s in linear.model.setup.seats}
    parts = {b.name for b in linear.model.bodies if b.role == BodyRole.PART}
    out = []
    for pair, members in _pairs(linear).items():
        share = float(drawn.carries[:, members].any(axis=1).mean())
        # What a fixture that is pushed up stands on needs no seat.
        if pair not in seats and share > 0 and any(face.body in parts for face in pair):
            a, b = sorted(pair)
            out.append(WrongChance(a=a, b=b, share_lands=share))
    return tuple(sorted(out, key=lambda w: (-w.share_lands, w.a, w.b)))


def _seen(linear: _LinearModel, target: CriticalPlace, places_mm: Floats) -> Floats:
    """Return how places (q, 3) of a target move along its direction with the moves of all bodies, (q, m)."""
    out = np.zeros((len(places_mm), len(linear.loads), 6))
    body = linear.model.index(target.body)
    direction = np.array(target.direction) / np.linalg.norm(target.direction)
    for i, one in enumerate(linear.loads):
        if one.body == body:
            out[:, i, :3] = direction
            out[:, i, 3:] = np.cross(places_mm - linear.centres[i], direction)
    return np.asarray(out.reshape(len(places_mm), -1) * linear.scale)


def _middle(linear: _LinearModel, target: CriticalPlace) -> Floats:
    """Return how the middle of a target moves along its direction, (m,)."""
    return np.asarray(_seen(linear, target, np.array([target.at_mm]))[0])


def _worst_gap_um(
    regions: CriticalRegions | None, members: NDArray[np.int64], drawn_um: float
) -> tuple[float, bool]:
    """Return how far a seat opens at most, and whether over all zones or over the draws alone."""
    if regions is None:
        return drawn_um, False
    try:
        return most_gap_mm(regions, members, drawn_um * 1e-3) * 1e3, True
    except NotComputedError:
        return drawn_um, False


_CLASSES = 41
"""Classes of the histogram."""


def _spread(
    linear: _LinearModel, drawn: SampleOutcomes, regions: CriticalRegions | None, target: CriticalPlace,
    errors: Floats,
) -> tuple[TargetSpread, Floats, Floats]:  # fmt: skip
    """Return how far a target is out, and in every draw the error of its middle and of its furthest place."""
    corners = np.zeros((0, 3))
    if target.face is not None:
        corners = corners_mm(linear.model, linear.model.index(target.body), target.face)
    seen = _seen(linear, target, np.vstack((target.at_mm, corners)))
    across = _across(linear, target, corners)
    draws, leans = drawn.move @ seen.T * 1e3, drawn.move @ across.T * 1e3
    groups = ((-seen, -draws), (seen, draws), (across, leans))
    worst, of_zones = _worst_um(linear, regions, groups, errors)
    whole, lean = _shares(linear, draws[:, int(np.argmax(draws.var(axis=0)))], errors)
    middle, out = draws[:, 0], draws[np.arange(len(draws)), np.abs(draws).argmax(axis=1)]
    limit = _limit_um(linear.model.setup, target)
    edges, counts, corner_counts = _histogram(middle, out, corners=len(corners) > 0)
    spread = TargetSpread(
        place=target,
        mean_um=float(middle.mean()),
        sigma_um=float(middle.std(ddof=1)) if len(middle) > 1 else 0.0,
        low_um=-worst[0],
        high_um=worst[1],
        of_zones=of_zones,
        corners=len(corners),
        limit_um=limit,
        share_beyond=0.0 if limit is None else float(np.mean(np.abs(out) > limit)),
        lean_p95_um=float(np.quantile(leans.max(axis=1), 0.95, method="higher")) if len(across) else 0.0,
        lean_worst_um=worst[2],
        share_by_face=tuple(whole.items()),
        lean_by_face=tuple(lean.items()),
        edges_um=edges,
        counts=counts,
        corner_counts=corner_counts,
    )
    return spread, middle, out


def _limit_um(setup: Setup, target: CriticalPlace) -> float | None:
    """Return half of the zone of a target's face; None where it states none."""
    width = None if target.face is None else setup.body(target.body).zone_mm(target.face)
    return None if width is None else 0.5e3 * width


def _histogram(
    middle_um: Floats, out_um: Floats, *, corners: bool
) -> tuple[tuple[float, ...], tuple[int, ...], tuple[int, ...]]:
    """Return the borders of the classes, and the draws in each by the middle and by the furthest corner."""
    both = np.concatenate((middle_um, out_um))
    low, high = float(both.min()), float(both.max())
    if high - low < 1e-6:
        low, high = low - 0.5, high + 0.5
    counts, edges = np.histogram(middle_um, bins=_CLASSES, range=(low, high))
    furthest, _ = np.histogram(out_um if corners else (), bins=_CLASSES, range=(low, high))
    furthest_counts = tuple(int(c) for c in furthest) if corners else ()
    return tuple(float(e) for e in edges), tuple(int(c) for c in counts), furthest_counts


def _worst_um(
    linear: _LinearModel, regions: CriticalRegions | None, groups: Sequence[tuple[Floats, Floats]],
    errors: Floats,
) -> tuple[list[float], bool]:  # fmt: skip
    """Return the greatest of each group of functions of the moves, and whether over all zones.

    Each group is what is seen, one a row, and what it comes to in every draw, one a column, um.
    """
    found, of_zones = [], regions is not None
    for seen, draws in groups:
        known = 0.0
        if len(seen):
            known = 1e-3 * float(draws.max())
            worst = None if regions is None else _known(regions, seen, linear.frame, known)
            if worst is None:
                of_zones = False
                furthest = errors[draws.argmax(axis=0)]
                worst = climbed_mm(linear.problem, linear.frame, linear.box, seen, furthest)
            known = max(known, worst)
        found.append(1e3 * known)
    return found, of_zones


def _known(regions: CriticalRegions, seen: Floats, frame: ReducedProblem, least_mm: float) -> float | None:
    """Return the worst over all zones, mm; None where that takes too many programmes."""
    try:
        return most_of(regions, seen, frame.held, least_mm)
    except NotComputedError:
        return None


def _across(linear: _LinearModel, target: CriticalPlace, corners: Floats) -> Floats:
    """Return how much more one corner of a target moves than another, for all pairs that may be furthest."""
    if len(corners) == 0:
        return np.zeros((0, len(linear.scale)))
    arms = corners - corners.mean(axis=0)
    flat = np.linalg.svd(arms, full_matrices=False)[2][:2]
    apart = differences(corners_of_zone(arms @ flat.T)) @ flat
    return _seen(linear, target, apart) - _seen(linear, target, np.zeros((1, 3)))


def _shares(
    linear: _LinearModel, draws: Floats, errors: Floats
) -> tuple[dict[FaceRef, float], dict[FaceRef, float]]:
    """Return each face's share of the variance of some draws, and the part of it due to leaning.

    A share is what a straight line through the face's own errors has of the variance.
    """
    out = draws - draws.mean()
    total = max(float(out @ out), 1e-300)
    own = errors - errors.mean(axis=0)
    along, square = own.T @ out, own.T @ own
    whole, lean = {}, {}
    for (body, face), varies in linear.varying.faces.items():
        at = varies.columns()
        slope = np.linalg.lstsq(square[at, at], along[at], rcond=None)[0]
        name = linear.varying.names[body][face]
        whole[name] = float(slope @ along[at]) / total
        lean[name] = float(slope[1:] @ along[at][1:]) / total
    return whole, lean


def _worst_draws(
    linear: _LinearModel, drawn: SampleOutcomes, targets: Sequence[CriticalPlace], count: int
) -> list[int]:
    """Return the draws furthest out: by each target, else by how far the parts went."""
    if targets:
        score = np.max([np.abs(drawn.move @ _middle(linear, t)) for t in targets], axis=0)
    else:
        score = np.abs(drawn.move).max(axis=1)
    return [int(i) for i in np.argsort(-score, kind="stable")[:count]]


def _checked(
    linear: _LinearModel, staging: Staging, draws: Sequence[tuple[Floats, Floats]]
) -> tuple[float, int]:
    """Settle draws exactly until so many have come to rest: how far off they are, mm, and how many have not.

    Raises
    ------
    NotComputedError
        None of them comes to rest.
    """
    apart: list[float] = []
    reasons: list[NotComputedError] = []
    for errors, move in draws:
        if len(apart) == _EXACT:
            break
        try:
            apart.append(_exactly(linear, staging, errors, move))
        except NotComputedError as reason:
            reasons.append(reason)
    if not apart:
        raise reasons[0]
    return max(apart, default=0.0), len(reasons)


def _exactly(linear: _LinearModel, staging: Staging, errors: Floats, move: Floats) -> float:
    """Settle one draw exactly and return how far the linear answer is from it, in mm along what is held."""
    model = linear.model
    by_body: dict[int, dict[int, FaceShift]] = {}
    for (body, face), varies in linear.varying.faces.items():
        by_body.setdefault(body, {})[face] = varies.error(errors)
    features = tuple(perturbed_features(f, by_body.get(i, {})) for i, f in enumerate(model.features))
    raw, _ = settle_in_order(
        replace(model, features=features), staging, [one.body for one in linear.loads], Bounds()
    )
    # A part in balance that still creeps along a way that costs nothing stands where it stands.
    balanced = raw.residual_mm <= Bounds().closure_mm and raw.balance <= Bounds().balance
    if raw.ending is not Ending.REST and not (raw.ending is Ending.NOT_CONVERGED and balanced):
        raise NotComputedError(f"the worst draw within tolerance does not come to rest ({raw.ending})")
    moves = move.reshape(len(linear.loads), 6) * linear.scale.reshape(-1, 6)
    held = linear.problem.slope[linear.problem.gap_mm <= 1e-5]
    apart = np.zeros((len(linear.loads), 6))
    for i, one in enumerate(linear.loads):
        centre = linear.raw.poses.apply(one.body, one.centre_mm)
        change = raw.poses.rotation[one.body] @ linear.raw.poses.rotation[one.body].T
        apart[i, :3] = raw.poses.apply(one.body, one.centre_mm) - centre - moves[i, :3]
        apart[i, 3:] = Rotation.from_matrix(change).as_rotvec() - moves[i, 3:]
    return float(np.abs(held @ (apart.ravel() / linear.scale)).max(initial=0.0))
