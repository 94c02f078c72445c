"""How hard a magnet pulls, and where: flux through bodies and gaps, and the pull of each patch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.bh import MU0_H_M
from fixturecheck.physics.fluxgap import GapPatch, PoleSource
from fixturecheck.physics.fluxiron import MM, IronBody
from fixturecheck.physics.fluxsolve import least_energy
from fixturecheck.physics.fluxsystem import FluxState, FluxSystem

Array = NDArray[np.float64]


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
    force_n: Array
    pull_n: float
    moment_nmm: Array
    centre_mm: Array
    flux_wb: float
    flux_density_mean_t: float
    area_mm2: float
    pressure_n_mm2: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyPull:
    """Force and moment (about the origin of the set-up) of the magnet on one body."""

    name: str
    force_n: Array
    moment_nmm: Array
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
    iterations, unknowns : int
        Cost of the solution.
    potential_a : dict of str to ndarray
        Potential at each coupled body's nodes.
    """

    patches: tuple[PatchPull, ...]
    bodies: tuple[BodyPull, ...]
    loose: tuple[str, ...]
    energy_j: float
    residual: float
    iterations: int
    unknowns: int
    potential_a: dict[str, Array]

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
        message = f"the flux model has no body {name!r}"
        raise NotComputedError(message)


def solve_flux(
    bodies: Sequence[IronBody],
    gaps: Sequence[GapPatch],
    sources: Sequence[PoleSource],
    *,
    residual_share: float = 1e-8,
    near: FluxSolution | None = None,
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
    near : FluxSolution, optional
        Solution of the same meshes with other gaps, curves or strength, to start from.

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
        message = "no iron body is coupled to a magnet: nothing to solve"
        raise NotComputedError(message)
    system = FluxSystem(iron, live, sources)
    start = None
    if near is not None and all(len(near.potential_a.get(b.name, ())) == b.unknowns for b in iron):
        start = np.concatenate([near.potential_a[b.name] for b in iron])
    state, residual, count = least_energy(system, residual_share, start)
    potential = state.potential_a
    return FluxSolution(
        patches=tuple(_pulls(system, state)),
        bodies=tuple(_body_pull(b.name, system, state) for b in bodies),
        loose=tuple(b.name for b in bodies if b.name not in reached),
        energy_j=state.energy_j,
        residual=residual,
        iterations=count,
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
