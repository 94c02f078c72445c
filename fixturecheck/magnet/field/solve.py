"""The magnetic field problem: one convex energy of bodies, gaps and magnets, its minimum, and pulls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fixturecheck.arrays import Floats, Ints
from fixturecheck.cache import cached
from fixturecheck.constants import MU0_H_M
from fixturecheck.errors import NotComputedError
from fixturecheck.magnet.field.bh import BHLaw
from fixturecheck.magnet.field.elements import MM, IronBody
from fixturecheck.magnet.field.gaps import FieldFrame, GapPatch, Kept, PoleSource, film_state
from fixturecheck.magnet.field.linear import SymmetricMatrix, TwoLevels, inner_product, norm

_NO_JUMP_A = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coupling:
    """One patch or source made ready: which rows of the frame are its own, and what stands in between.

    Parameters
    ----------
    rows : ndarray of int
        Its rows, in the order of the frame.
    row_of_point : ndarray of int, shape (n,)
        Which of them each of its points shares.
    gap_m, weight_m2 : ndarray
        Of each row.
    offset_a : float
        Magnetomotive force of a source.
    """

    rows: Ints
    row_of_point: Ints
    gap_m: Floats
    weight_m2: Floats
    offset_a: float = 0.0
    patch: GapPatch | None = None
    source: PoleSource | None = None

    @property
    def film(self) -> tuple[BHLaw | None, float]:
        """Law and depth of the film, m."""
        return (self.patch.film, self.patch.film_mm * MM) if self.patch else (None, 0.0)


class FluxSystem:
    """The discrete problem.

    Parameters
    ----------
    frame : FieldFrame
        Of these bodies, gaps and sources.
    bodies : sequence of IronBody
    gaps : sequence of GapPatch
    sources : sequence of PoleSource

    Notes
    -----
    Energy in J, its gradient in Wb, the unknown potential in A.
    """

    def __init__(
        self,
        frame: FieldFrame,
        bodies: Sequence[IronBody],
        gaps: Sequence[GapPatch],
        sources: Sequence[PoleSource],
    ) -> None:
        self.frame, self.bodies = frame, tuple(bodies)
        self._by_name = {b.name: b for b in bodies}
        every = iter(frame.rows_of)
        self.gaps = tuple(
            Coupling(
                rows=next(every),
                row_of_point=r.row_of_point,
                gap_m=g.gap_mm[r.first] * MM,
                weight_m2=r.weight_m2,
                patch=g,
            )
            for g, r in zip(gaps, frame.gap_rows, strict=True)
        )
        self.sources = tuple(
            Coupling(
                rows=next(every),
                row_of_point=r.row_of_point,
                gap_m=np.full(len(r.first), s.gap_mm * MM),
                weight_m2=r.weight_m2,
                offset_a=s.mmf_a,
                source=s,
            )
            for s, r in zip(sources, frame.source_rows, strict=True)
        )
        couplings = self.gaps + self.sources
        self.offset_a = np.concatenate([np.full(len(c.gap_m), c.offset_a) for c in couplings])
        self.gap_m = np.concatenate([c.gap_m for c in couplings])
        if float(self.gap_m.min()) <= 0.0:
            bad = next(c for c in couplings if float(c.gap_m.min()) <= 0.0)
            raise NotComputedError(f"gap {(bad.patch or bad.source)!r}: every point needs a gap above zero")
        films: dict[tuple[BHLaw | None, float], list[Ints]] = {}
        for c in couplings:
            films.setdefault(c.film, []).append(c.rows)
        self.films = tuple((*film, np.concatenate(rows)) for film, rows in films.items())

    @property
    def unknowns(self) -> int:
        """Number of unknowns."""
        return self.frame.unknowns

    def part_of(self, name: str, potential_a: Floats) -> Floats:
        """Return the potentials of one body.

        Parameters
        ----------
        name : str
            Name of the body.
        potential_a : ndarray, shape (unknowns,)
            Potentials of all bodies.
        """
        start = self.frame.starts[name]
        return potential_a[start : start + self._by_name[name].unknowns]

    def at(self, potential_a: Floats) -> FluxState:
        """Return the whole problem under a potential."""
        return FluxState(self, potential_a)

    def load_wb(self) -> float:
        """Return the size of the right-hand side, Wb, against which a residual is judged."""
        pushed = self.frame.weight_m2 * MU0_H_M / self.gap_m * self.offset_a
        return float(np.linalg.norm(self.frame.jump_t @ pushed))

    def start(self, field_level_a_m: float) -> tuple[SymmetricMatrix, Floats]:
        """Return matrix and right-hand side with every iron at the chord of one field level."""
        slope = MU0_H_M / self.gap_m
        for film, depth, rows in self.films:
            if film is not None:
                chord = float(film.chord_h_m(np.array([field_level_a_m]))[0])
                slope[rows] = 1 / (self.gap_m[rows] / MU0_H_M + depth / chord)
        load = self.frame.jump_t @ (self.frame.weight_m2 * slope * self.offset_a)
        data = self.frame.with_gaps(slope)
        for body in self.bodies:
            body.add_chords(field_level_a_m, self.frame.slots(body.name), data)
        return self.frame.matrix(data), load


class FluxState:
    """The whole problem under one potential; what is asked for is worked out once.

    Parameters
    ----------
    system : FluxSystem
    potential_a : ndarray, shape (unknowns,)
    """

    def __init__(self, system: FluxSystem, potential_a: Floats) -> None:
        self._system = system
        self.potential_a = potential_a
        self._iron = [b.at(system.part_of(b.name, potential_a)) for b in system.bodies]

    @cached_property
    def _across(self) -> tuple[Floats, Floats, Floats]:
        """Flux density, its slope and the energy per area at every row of the gaps and sources."""
        system = self._system
        jump = system.frame.jump @ self.potential_a - system.offset_a
        out = np.empty((3, len(jump)))
        for film, depth, rows in system.films:
            out[:, rows] = film_state(jump[rows], system.gap_m[rows], film, depth)
        return out[0], out[1], out[2]

    @cached_property
    def energy_j(self) -> float:
        """The energy that the solution makes least."""
        iron = sum(i.coenergy_j for i in self._iron)
        return float(iron + self._system.frame.weight_m2 @ self._across[2])

    @cached_property
    def gradient_wb(self) -> Floats:
        """The derivative of the energy by each unknown."""
        iron = np.concatenate([i.residual_wb for i in self._iron])
        frame = self._system.frame
        return np.asarray(iron + frame.jump_t @ (frame.weight_m2 * self._across[0]))

    def matrix(self, *, chord: bool = False) -> SymmetricMatrix:
        """Return the second derivative of the energy, or the same with every law along its chord."""
        frame = self._system.frame
        data = frame.with_gaps(self._chords() if chord else self._across[1])
        for body, iron in zip(self._system.bodies, self._iron, strict=True):
            iron.add_to(frame.slots(body.name), data, chord=chord)
        return frame.matrix(data)

    def _chords(self) -> Floats:
        """Flux density over jump, with its limit where there is no jump."""
        jump = self._system.frame.jump @ self.potential_a - self._system.offset_a
        none = np.abs(jump) < _NO_JUMP_A
        return np.where(none, self._across[1], self._across[0] / np.where(none, 1.0, jump))

    def flux_density_t(self, coupling: Coupling) -> Floats:
        """Return the flux density across one gap or source at each of its points."""
        return self._across[0][coupling.rows][coupling.row_of_point]


# Field strength whose chords of the laws are taken as straight: below the knee of mild steel, as most of the
# iron is. From 1.5 kA/m a gib on a chuck took nine steps in place of seven.
_START_LEVEL_A_M = 500.0
_MOST_ITERATIONS = 40
_ARMIJO = 1e-4


def _least_energy(
    system: FluxSystem, residual_share: float, start_a: Floats | None = None
) -> tuple[FluxState, float]:
    """Find the least energy by Newton's method with halving steps.

    Parameters
    ----------
    system : FluxSystem
    residual_share : float
        Stop when the gradient of the energy is this share of the load.
    start_a : ndarray, optional
        A potential near the solution, such as that of a magnet of nearly the same strength.

    Returns
    -------
    state : FluxState
    residual : float
        Size of the gradient over the size of the load.

    Raises
    ------
    NotComputedError
        It did not converge.

    Notes
    -----
    A step that had to be halved, or that left a larger residual, is followed by one along the chords
    of the laws: it gets less far where they are nearly straight, but does not swing past the knee,
    where Newton's steps go to and fro.
    """
    load = system.load_wb()
    if load == 0:
        return system.at(np.zeros(system.unknowns)), 0.0
    solver = TwoLevels(system.frame.from_corners, system.frame.to_corners)
    state = system.at(start_a) if start_a is not None else _linear_start(system, solver)
    last_share, last_residual = 1.0, np.inf
    for _ in range(_MOST_ITERATIONS + 1):
        gradient = state.gradient_wb
        residual = norm(gradient) / load
        if residual < residual_share:
            return state, residual
        # A rough step is enough far from the solution; near it the step must be as sharp as the goal.
        goal = min(1e-2, max(0.1 * residual, 0.1 * residual_share / residual, 1e-12))
        chord = last_share < 1.0 or residual > last_residual
        step = solver.solve(state.matrix(chord=chord), -gradient, goal)
        state, share = _descend(system, state, step)
        last_share, last_residual = (1.0, np.inf) if chord else (share, residual)
    raise NotComputedError(f"flux not converged: residual {residual:.1e} after {_MOST_ITERATIONS} iterations")


def _linear_start(system: FluxSystem, solver: TwoLevels) -> FluxState:
    """Solve with straight laws; the energy is convex, so that where it starts costs steps only."""
    matrix, right = system.start(_START_LEVEL_A_M)
    return system.at(solver.solve(matrix, right, 1e-2))


def _descend(system: FluxSystem, state: FluxState, step: Floats) -> tuple[FluxState, float]:
    """Halve the step until the energy falls as a convex function must."""
    slope = inner_product(state.gradient_wb, step)
    share = 1.0
    # Rounding of the energy hides true descent near the solution.
    noise = 1e-13 * abs(state.energy_j)
    while share > 1e-6:
        trial = system.at(state.potential_a + share * step)
        if trial.energy_j <= state.energy_j + _ARMIJO * share * slope + noise:
            return trial, share
        share /= 2
    raise NotComputedError("flux not converged: no step lowers the energy")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatchPull:
    """What one patch carries.

    Parameters
    ----------
    name, a, b : str
        The patch and its bodies.
    force_n : ndarray, shape (3,)
        Pull on `a`, toward `b`.
    pull_n : float
        Sum of the normal pressures.
    moment_nmm : ndarray, shape (3,)
        Moment of the pull on `a` about the origin of the set-up.
    centre_mm : ndarray, shape (3,)
        Centre of pull.
    flux_wb : float
        Flux from `a` into `b`.
    flux_density_mean_t : float
        Mean normal flux density over the patch.
    area_mm2 : float
        Area that carries it.
    pressure_n_mm2 : ndarray, shape (n,)
        Pull per area at the patch's points, in their order.
    """

    name: str
    a: str
    b: str
    force_n: Floats
    pull_n: float
    moment_nmm: Floats
    centre_mm: Floats
    flux_wb: float
    flux_density_mean_t: float
    area_mm2: float
    pressure_n_mm2: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyPull:
    """Force and moment (about the origin of the set-up) of the magnet on one body."""

    name: str
    force_n: Floats
    moment_nmm: Floats
    balance: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FluxSolution:
    """A solved field.

    Parameters
    ----------
    patches : tuple of PatchPull
        One per gap of the model, in its order, leakage gaps left out.
    bodies : tuple of BodyPull
        One per body, in the model's order; a body that no flux reaches has no pull.
    loose : tuple of str
        Bodies that nothing couples to a magnet.
    energy_j : float
        Energy at the solution.
    residual : float
        Size of the gradient over the size of the load.
    unknowns : int
        Of the system that was solved.
    potential_a : dict of str to ndarray
        Potential at each coupled body's nodes.
    """

    patches: tuple[PatchPull, ...]
    bodies: tuple[BodyPull, ...]
    loose: tuple[str, ...]
    energy_j: float
    residual: float
    unknowns: int
    potential_a: dict[str, Floats]

    def body(self, name: str) -> BodyPull:
        """Return the pull on one body.

        Raises
        ------
        NotComputedError
            The model has no such body.
        """
        for found in self.bodies:
            if found.name == name:
                return found
        raise NotComputedError(f"the flux model has no body {name!r}")


@cached
def solve_flux(
    bodies: Sequence[IronBody],
    gaps: Sequence[GapPatch],
    sources: Sequence[PoleSource],
    *,
    residual_share: float = 1e-8,
    near: Mapping[str, Floats] | None = None,
    kept: Kept | None = None,
) -> FluxSolution:
    """Solve for the flux and return what it pulls.

    Parameters
    ----------
    bodies : sequence of IronBody
        The meshed iron, lengths in mm.
    gaps : sequence of GapPatch
        Where flux goes from one body to the next.
    sources : sequence of PoleSource
        The magnet behind the poles.
    residual_share : float
        Stop when the gradient of the energy is this share of the load.
    near : mapping of str to ndarray, optional
        Potentials of the same meshes, as of other gaps, curves or strengths, to start from.
    kept : Kept, optional
        Keeps what fields on the same meshes share.

    Returns
    -------
    FluxSolution
        The pull of each patch and body, and the field.

    Raises
    ------
    NotComputedError
        No body is coupled to a magnet, or Newton's method did not converge.

    Notes
    -----
    Only iron is meshed. The potential in each body, the jump across each gap and the magnet behind
    each pole form one convex energy; its least value is the field. The pull of a patch is the
    Maxwell pressure ``B^2 / (2 mu0)`` over it, which is also the derivative of that energy by the
    gap [1]_.

    References
    ----------
    .. [1] Jackson, Classical Electrodynamics [@jackson1999], sections 5.9 and 6.7, from memory.
    """
    reached = _reached(bodies, gaps, sources)
    iron = [b for b in bodies if b.name in reached]
    live = [g for g in gaps if g.a in reached and g.b in reached]
    if not iron:
        raise NotComputedError("no iron body is coupled to a magnet: nothing to solve")
    frame = (kept or Kept()).frame(iron, live, sources)
    system = FluxSystem(frame, iron, live, sources)
    start = None
    if near is not None and all(len(near.get(b.name, ())) == b.unknowns for b in iron):
        start = np.concatenate([near[b.name] for b in iron])
    state, residual = _least_energy(system, residual_share, start)
    potential = state.potential_a
    return FluxSolution(
        patches=tuple(_pulls(system, state)),
        bodies=tuple(_body_pull(b.name, system, state) for b in bodies),
        loose=tuple(b.name for b in bodies if b.name not in reached),
        energy_j=state.energy_j,
        residual=residual,
        unknowns=system.unknowns,
        potential_a={b.name: system.part_of(b.name, potential) for b in iron},
    )


def _reached(
    bodies: Sequence[IronBody], gaps: Sequence[GapPatch], sources: Sequence[PoleSource]
) -> frozenset[str]:
    """Names of the bodies that some chain of gaps joins to a source."""
    names = {b.name for b in bodies}
    reached = {s.body for s in sources} & names
    grew = True
    while grew:
        more = {n for g in gaps for n in (g.a, g.b) if {g.a, g.b} & reached and n in names} - reached
        reached |= more
        grew = bool(more)
    return frozenset(reached)


def _pulls(system: FluxSystem, state: FluxState) -> list[PatchPull]:
    pulls = []
    for coupling in system.gaps:
        patch = coupling.patch
        if patch is None or not patch.counts:
            continue
        b, area_m2 = state.flux_density_t(coupling), patch.weight_mm2 * MM**2
        pressure = b**2 / (2 * MU0_H_M)
        weight = pressure * area_m2
        each = weight[:, None] * patch.normal
        pull = float(weight.sum())
        centre = weight @ patch.points_a_mm / pull if pull > 0 else patch.points_a_mm.mean(axis=0)
        area = float(patch.weight_mm2.sum())
        pulls.append(
            PatchPull(
                name=patch.name,
                a=patch.a,
                b=patch.b,
                force_n=each.sum(axis=0),
                pull_n=pull,
                moment_nmm=np.cross(patch.points_a_mm, each).sum(axis=0),
                centre_mm=centre,
                flux_wb=float(b @ area_m2),
                flux_density_mean_t=float(np.abs(b) @ patch.weight_mm2) / area,
                area_mm2=area,
                pressure_n_mm2=pressure * 1e-6,
            )
        )
    return pulls


def _body_pull(name: str, system: FluxSystem, state: FluxState) -> BodyPull:
    """Sum the pulls of every gap of a body, leakage included, and its flux in against flux out."""
    force, moment = np.zeros(3), np.zeros(3)
    net = gross = 0.0
    for coupling in system.gaps:
        patch = coupling.patch
        if patch is None or name not in (patch.a, patch.b):
            continue
        sign = 1.0 if name == patch.a else -1.0
        points = patch.points_a_mm if name == patch.a else patch.points_b_mm
        b, area_m2 = state.flux_density_t(coupling), patch.weight_mm2 * MM**2
        each = sign * (b**2 / (2 * MU0_H_M) * area_m2)[:, None] * patch.normal
        force += each.sum(axis=0)
        moment += np.cross(points, each).sum(axis=0)
        net += sign * float(b @ area_m2)
        gross += float(np.abs(b) @ area_m2)
    for coupling in system.sources:
        if coupling.source is not None and coupling.source.body == name:
            flux = state.flux_density_t(coupling) * coupling.weight_m2
            net += float(flux.sum())
            gross += float(np.abs(flux).sum())
    return BodyPull(name=name, force_n=force, moment_nmm=moment, balance=abs(net) / gross if gross else 0.0)
