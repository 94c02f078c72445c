"""What tolerances do to the rest: how often seats close, what lands first, how far the work is out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.candidates import Candidates
from fixturecheck.contact.grow import grown, growth_rows
from fixturecheck.contact.look import find_candidates
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.physics.rigid import jacobian
from fixturecheck.physics.settle import Bounds, Ending, Settling
from fixturecheck.physics.step import Load, wrenches
from fixturecheck.physics.tolerance import (
    Drawn,
    Linear,
    corners,
    draw_errors,
    linear_extremes,
    solve_draws,
)
from fixturecheck.result import Vector
from fixturecheck.settling.bench import Bench, bench_of
from fixturecheck.settling.model import Staging
from fixturecheck.settling.run import loose_of, walk
from fixturecheck.setup.model import Setup

Floats = NDArray[np.float64]
LEAST_REACH_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A place of the work whose error matters, drawn in the machine's frame."""

    name: str
    body: str
    at_mm: Vector
    direction: Vector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeatOdds:
    """How often one seat closes: `share_closed` of the draws, and the gap left, um."""

    body: str
    face: str
    on: str
    on_face: str
    share_closed: float
    gap_mean_um: float
    gap_p95_um: float
    gap_worst_um: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WrongOdds:
    """How often two faces that no seat names carry force: `share_lands` of the draws."""

    a: str
    b: str
    share_lands: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TargetOdds:
    """Error of one target, um: moments, the draws themselves, and the least and greatest.

    Parameters
    ----------
    worst_um : (float, float)
        Least and greatest over all zones where `of_zones`, else over the draws alone.
    """

    name: str
    mean_um: float
    sigma_um: float
    draws_um: Floats
    worst_um: tuple[float, float]
    of_zones: bool
    share_by_face: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Odds:
    """What tolerances came to.

    Parameters
    ----------
    faces : tuple of str
        The faces that vary, `body.face`.
    move : ndarray, shape (draws, 6 * bodies)
        Shift in mm and turn in radians of each loose body from its nominal rest.
    bases : int
        Different sets of contacts that carried.
    checked_um : float
        Greatest difference between the linear answer and an exact settling of the worst draws.
    """

    draws: int
    seed: int
    faces: tuple[str, ...]
    seats: tuple[SeatOdds, ...]
    wrong: tuple[WrongOdds, ...]
    targets: tuple[TargetOdds, ...]
    move: Floats
    bases: int
    checked_um: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Model:
    """The linear problem with the names it is about."""

    bench: Bench
    raw: Settling
    loads: list[Load]
    rows: Candidates
    problem: Linear
    scale: Floats
    centres: Floats
    variables: Mapping[tuple[int, int], int]
    half: Floats


def odds_of(
    setup: Setup, staging: Staging | None = None, *, targets: Sequence[Target] = (), draws: int = 10_000,
    seed: int = 1, spread: str = "normal", exact: int = 2, bench: Bench | None = None,
) -> Odds:  # fmt: skip
    """Return how tolerances spread the rest.

    Parameters
    ----------
    setup : Setup
        With `tolerance_mm` on its bodies: the whole width of each face's profile zone, half of it either way.
    targets : sequence of Target
        Places whose error is wanted.
    exact : int
        Worst draws that are settled again exactly.

    Raises
    ------
    SetupError
        No face has a tolerance, or one is negative or not a number.
    NotComputedError
        The nominal parts do not rest, or some draws have no rest.
    """
    staging, bench = staging or Staging(), bench or bench_of(setup)
    model = _model(bench, staging)
    errors = draw_errors(model.half, draws, seed, spread)
    drawn = solve_draws(model.problem, errors)
    extreme = corners(model.half)
    worst = solve_draws(model.problem, extreme) if extreme is not None else None
    chosen = _worst_draws(model, drawn, targets, exact)
    checked = max((_exactly(model, staging, errors[i], drawn.move[i]) for i in chosen), default=0.0)
    return Odds(
        draws=draws,
        seed=seed,
        faces=tuple(_face_name(bench, key) for key in model.variables),
        seats=_seat_odds(model, drawn, worst),
        wrong=_wrong_odds(model, drawn),
        targets=tuple(_target_odds(model, drawn, worst, one, errors) for one in targets),
        move=drawn.move * model.scale,
        bases=drawn.bases,
        checked_um=checked * 1e3,
    )


def zones(bench: Bench) -> tuple[dict[tuple[int, int], int], Floats]:
    """Return the faces that vary, as (body, face) to column, and half of each zone in mm.

    Raises
    ------
    SetupError
        None varies, or a tolerance is negative or not finite.
    """
    variables: dict[tuple[int, int], int] = {}
    half: list[float] = []
    for number, body in enumerate(bench.bodies):
        if not body.tolerance_mm:
            continue
        for face, name in enumerate(body.face_names()):
            width = body.tolerance_mm.get(name, body.tolerance_mm.get("*", 0.0))
            if not np.isfinite(width) or width < 0:
                message = f"tolerance of {body.name}.{name} must be zero or more, got {width}"
                raise SetupError(message)
            if width > 0:
                variables[number, face] = len(half)
                half.append(0.5 * width)
    if not half:
        message = f"set-up {bench.setup.name!r} states no tolerance on any face; nothing can vary"
        raise SetupError(message)
    return variables, np.array(half)


def _model(bench: Bench, staging: Staging) -> _Model:
    """Settle the nominal parts and linearise about their rest."""
    loose = loose_of(bench, staging)
    raw, loads = walk(bench, staging, loose, Bounds())
    if raw.ending is not Ending.REST:
        message = f"the parts as drawn do not come to rest ({raw.ending}), so no tolerance can be judged"
        raise NotComputedError(message)
    variables, half = zones(bench)
    thin = [b.name for f, b in zip(bench.features, bench.bodies, strict=True) if _crosses(f.size_mm, half)]
    if thin:
        message = f"tolerances reach through {thin[0]}: the widest zone is {2 * half.max():g} mm"
        raise SetupError(message)
    scene = bench.scene(one.body for one in loads)
    reach = max(LEAST_REACH_MM, 8.0 * float(half.max()))
    rows = find_candidates(scene, raw.poses.rotation, raw.poses.origin_mm, reach, 1e-3)
    bodies = np.array([one.body for one in loads])
    centres = np.array([raw.poses.apply(one.body, one.centre_mm) for one in loads])
    scale = np.ones((len(loads), 6))
    scale[:, 3:] = 1.0 / np.array([one.size_mm for one in loads])[:, None]
    load = wrenches(loads, raw.poses).ravel()
    problem = Linear(
        gap_mm=rows.gap_mm,
        slope=jacobian(rows, bodies, centres) * scale.ravel(),
        growth=growth_rows(rows, bench.features, raw.poses.rotation, raw.poses.origin_mm, variables),
        load=load,
    )
    return _Model(
        bench=bench, raw=raw, loads=loads, rows=rows, problem=problem, scale=scale.ravel(), centres=centres,
        variables=variables, half=half,
    )  # fmt: skip


def _crosses(size_mm: float, half: Floats) -> bool:
    """Tell whether two zones could meet inside a body."""
    return 4.0 * float(half.max()) >= size_mm


def _face_name(bench: Bench, key: tuple[int, int]) -> str:
    body = bench.bodies[key[0]]
    return f"{body.name}.{body.face_names()[key[1]]}"


def _pairs(model: _Model) -> dict[frozenset[str], NDArray[np.int64]]:
    """Return the rows of each pair of faces."""
    names = [[f"{b.name}.{n}" for n in b.face_names()] for b in model.bench.bodies]
    rows = model.rows
    found: dict[frozenset[str], list[int]] = {}
    for i in range(len(rows.gap_mm)):
        a, b = names[rows.body_a[i]][rows.face_a[i]], names[rows.body_b[i]][rows.face_b[i]]
        found.setdefault(frozenset((a, b)), []).append(i)
    return {key: np.array(value) for key, value in found.items()}


def _seat_odds(model: _Model, drawn: Drawn, worst: Drawn | None) -> tuple[SeatOdds, ...]:
    pairs = _pairs(model)
    touch = model.bench.setup.tolerances.touch_um
    out = []
    for seat in model.bench.setup.seats:
        members = pairs.get(frozenset((f"{seat.body}.{seat.face}", f"{seat.on}.{seat.on_face}")))
        if members is None:
            gap = extreme = np.full(1, np.inf)
        else:
            gap = drawn.gap_mm[:, members].min(axis=1) * 1e3
            extreme = gap if worst is None else worst.gap_mm[:, members].min(axis=1) * 1e3
        out.append(
            SeatOdds(
                body=seat.body, face=seat.face, on=seat.on, on_face=seat.on_face,
                share_closed=float(np.mean(gap <= touch)), gap_mean_um=float(gap.mean()),
                gap_p95_um=float(np.quantile(gap, 0.95, method="higher")),
                gap_worst_um=float(max(gap.max(), extreme.max())),
            )
        )  # fmt: skip
    return tuple(out)


def _wrong_odds(model: _Model, drawn: Drawn) -> tuple[WrongOdds, ...]:
    seats = {frozenset((f"{s.body}.{s.face}", f"{s.on}.{s.on_face}")) for s in model.bench.setup.seats}
    out = []
    for pair, members in _pairs(model).items():
        share = float(drawn.carries[:, members].any(axis=1).mean())
        if pair not in seats and share > 0:
            a, b = sorted(pair)
            out.append(WrongOdds(a=a, b=b, share_lands=share))
    return tuple(sorted(out, key=lambda w: (-w.share_lands, w.a, w.b)))


def _seen(model: _Model, target: Target) -> Floats:
    """Return how a target moves along its direction with the moves of all bodies."""
    out = np.zeros((len(model.loads), 6))
    body = model.bench.index(target.body)
    for i, one in enumerate(model.loads):
        if one.body == body:
            direction = np.array(target.direction) / np.linalg.norm(target.direction)
            out[i, :3] = direction
            out[i, 3:] = np.cross(np.array(target.at_mm) - model.centres[i], direction)
    return np.asarray(out.ravel() * model.scale)


def _extremes(model: _Model, worst: Drawn | None, target: Target) -> Floats | None:
    """Return least and greatest error of a target over all zones, um; None where only draws are known."""
    seen = _seen(model, target)
    if worst is not None:
        return np.asarray(worst.move @ seen * 1e3)
    swing = linear_extremes(model.problem, model.half, seen[None, :])
    return None if swing is None else np.array([-1e3, 1e3]) * swing[0]


def _target_odds(
    model: _Model, drawn: Drawn, worst: Drawn | None, target: Target, errors: Floats
) -> TargetOdds:
    seen, extremes = _seen(model, target), _extremes(model, worst, target)
    draws = drawn.move @ seen * 1e3
    corner = draws if extremes is None else extremes
    total = max(float(draws.var()), 1e-300)
    shares = {}
    for key, column in model.variables.items():
        error = errors[:, column] * 1e3
        slope = float(np.mean((draws - draws.mean()) * (error - error.mean())) / max(error.var(), 1e-300))
        shares[_face_name(model.bench, key)] = slope**2 * float(error.var()) / total
    return TargetOdds(
        name=target.name,
        mean_um=float(draws.mean()),
        sigma_um=float(draws.std(ddof=1)) if len(draws) > 1 else 0.0,
        draws_um=draws,
        worst_um=(float(min(draws.min(), corner.min())), float(max(draws.max(), corner.max()))),
        of_zones=extremes is not None,
        share_by_face=shares,
    )


def _worst_draws(model: _Model, drawn: Drawn, targets: Sequence[Target], count: int) -> list[int]:
    """Return the draws furthest out: by each target, else by how far the parts went."""
    if targets:
        score = np.max([np.abs(drawn.move @ _seen(model, t)) for t in targets], axis=0)
    else:
        score = np.abs(drawn.move).max(axis=1)
    return [int(i) for i in np.argsort(-score, kind="stable")[:count]]


def _exactly(model: _Model, staging: Staging, errors: Floats, move: Floats) -> float:
    """Settle one draw exactly and return how far the linear answer is from it, in mm along what is held."""
    bench = model.bench
    by_body: dict[int, dict[int, float]] = {}
    for (body, face), column in model.variables.items():
        by_body.setdefault(body, {})[face] = float(errors[column])
    features = tuple(grown(f, by_body.get(i, {})) for i, f in enumerate(bench.features))
    raw, _ = walk(replace(bench, features=features), staging, [one.body for one in model.loads], Bounds())
    if raw.ending is not Ending.REST:
        message = f"the worst draw within tolerance does not come to rest ({raw.ending})"
        raise NotComputedError(message)
    moves = move.reshape(len(model.loads), 6) * model.scale.reshape(-1, 6)
    held = model.problem.slope[model.problem.gap_mm <= 1e-5]
    apart = np.zeros((len(model.loads), 6))
    for i, one in enumerate(model.loads):
        centre = model.raw.poses.apply(one.body, one.centre_mm)
        change = raw.poses.rotation[one.body] @ model.raw.poses.rotation[one.body].T
        apart[i, :3] = raw.poses.apply(one.body, one.centre_mm) - centre - moves[i, :3]
        skew = np.array(
            [change[2, 1] - change[1, 2], change[0, 2] - change[2, 0], change[1, 0] - change[0, 1]]
        )
        apart[i, 3:] = 0.5 * skew - moves[i, 3:]
    return float(np.abs(held @ (apart.ravel() / model.scale)).max(initial=0.0))
