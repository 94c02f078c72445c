"""All bodies, gaps and magnets as one convex function of the potential: value, gradient and matrix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.bh import MU0_H_M, BHLaw
from fixturecheck.physics.fluxgap import GapPatch, PoleSource, film_state
from fixturecheck.physics.fluxiron import MM, IronBody, trace_shares

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_NO_JUMP_A = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coupling:
    """One patch or source made ready: rows that take potentials to jumps, and what stands in between.

    Points whose jump is averaged over one triangle and whose gap is the same share a row.
    """

    jump: sparse.csr_matrix
    offset_a: float
    gap_m: Array
    weight_m2: Array
    row_of_point: Index
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
    bodies : sequence of IronBody
        Each coupled to some source, directly or through others.
    gaps : sequence of GapPatch
    sources : sequence of PoleSource

    Notes
    -----
    Energy in J, its gradient in Wb, the unknown potential in A.
    """

    def __init__(
        self, bodies: Sequence[IronBody], gaps: Sequence[GapPatch], sources: Sequence[PoleSource]
    ) -> None:
        self.bodies = tuple(bodies)
        starts = np.concatenate([[0], np.cumsum([b.unknowns for b in bodies])]).astype(np.int64)
        self.starts = {b.name: int(s) for b, s in zip(bodies, starts[:-1], strict=True)}
        self.unknowns = int(starts[-1])
        self._by_name = {b.name: b for b in bodies}
        self.gaps = tuple(self._gap(g) for g in gaps)
        self.sources = tuple(self._source(s) for s in sources)
        self.couplings = self.gaps + self.sources
        self.jump = sparse.vstack([c.jump for c in self.couplings]).tocsr()
        self.jump_t = self.jump.T.tocsr()
        self.offset_a = np.concatenate([np.full(len(c.gap_m), c.offset_a) for c in self.couplings])
        self.gap_m = np.concatenate([c.gap_m for c in self.couplings])
        self.weight_m2 = np.concatenate([c.weight_m2 for c in self.couplings])
        counts = [len(c.gap_m) for c in self.couplings]
        self.rows = dict(
            zip(self.couplings, np.split(np.arange(sum(counts)), np.cumsum(counts)[:-1]), strict=True)
        )
        films: dict[tuple[BHLaw | None, float], list[Index]] = {}
        for c in self.couplings:
            films.setdefault(c.film, []).append(self.rows[c])
        self.films = tuple((*film, np.concatenate(rows)) for film, rows in films.items())

    @cached_property
    def from_corners(self) -> sparse.csr_matrix:
        """Takes a potential at the vertices alone to all unknowns."""
        return sparse.block_diag([b.from_corners for b in self.bodies], format="csr")

    def part_of(self, name: str, potential_a: Array) -> Array:
        """Return the potentials of one body."""
        start = self.starts[name]
        return potential_a[start : start + self._by_name[name].unknowns]

    def at(self, potential_a: Array) -> FluxState:
        """Return the whole problem under a potential."""
        return FluxState(self, potential_a)

    def load_wb(self) -> float:
        """Return the size of the right-hand side, Wb, against which a residual is judged."""
        return float(np.linalg.norm(self.jump_t @ (self.weight_m2 * MU0_H_M / self.gap_m * self.offset_a)))

    def start(self, field_level_a_m: float) -> tuple[sparse.csr_matrix, Array]:
        """Return matrix and right-hand side with every iron at the chord of one field level."""
        slope = MU0_H_M / self.gap_m
        for film, depth, rows in self.films:
            if film is not None:
                chord = float(film.chord_h_m(np.array([field_level_a_m]))[0])
                slope[rows] = 1 / (self.gap_m[rows] / MU0_H_M + depth / chord)
        load = self.jump_t @ (self.weight_m2 * slope * self.offset_a)
        return self.assembled([b.chord_matrix(field_level_a_m) for b in self.bodies], slope), load

    def assembled(self, blocks: Sequence[sparse.csr_matrix], slope: Array) -> sparse.csr_matrix:
        """Return the matrix of the bodies with the gaps of a conductance per area at each row."""
        across = self.jump_t @ sparse.diags(self.weight_m2 * slope) @ self.jump
        return (sparse.block_diag(blocks, format="csr") + across).tocsr()

    def _trace(self, name: str, points_mm: Array, face: int | None) -> tuple[sparse.csr_matrix, Index]:
        """Rows that read one body's potential at points of its surface, and the triangles they lie on."""
        body = self._by_name[name]
        triangle, shares, _ = body.locate(points_mm, face)
        values = trace_shares(shares)
        cols = body.facet_unknowns[triangle] + self.starts[name]
        rows = np.repeat(np.arange(len(points_mm)), 6)
        shape = (len(points_mm), self.unknowns)
        return sparse.csr_matrix((values.ravel(), (rows, cols.ravel())), shape=shape), triangle

    def _gap(self, patch: GapPatch) -> Coupling:
        if not len(patch.gap_mm) or patch.gap_mm.min() <= 0:
            message = f"gap {patch.name!r}: every point needs a gap above zero"
            raise NotComputedError(message)
        side_a, triangle = self._trace(patch.a, patch.points_a_mm, patch.face_a)
        side_b, _ = self._trace(patch.b, patch.points_b_mm, patch.face_b)
        jump = (side_a - side_b).tocsr()
        gap_m, weight_m2 = patch.gap_mm * MM, patch.weight_mm2 * MM**2
        row = np.arange(len(gap_m))
        if patch.averaged:
            group = np.unique(triangle, return_inverse=True)[1]
            share = weight_m2 / np.bincount(group, weight_m2)[group]
            collect = sparse.csr_matrix((share, (group, row)), shape=(int(group.max()) + 1, len(group)))
            same = np.stack([group, np.round(gap_m * 1e12)], axis=1)
            _, first, row = np.unique(same, axis=0, return_index=True, return_inverse=True)
            jump = (collect @ jump).tocsr()[group[first]]
            gap_m, weight_m2 = gap_m[first], np.bincount(row, weight_m2).astype(np.float64)
        return Coupling(
            jump=jump, offset_a=0.0, gap_m=gap_m, weight_m2=weight_m2, row_of_point=row, patch=patch
        )

    def _source(self, source: PoleSource) -> Coupling:
        jump, _ = self._trace(source.body, source.points_mm, source.face)
        count = len(source.weight_mm2)
        return Coupling(
            jump=jump,
            offset_a=source.mmf_a,
            gap_m=np.full(count, source.gap_mm * MM),
            weight_m2=source.weight_mm2 * MM**2,
            row_of_point=np.arange(count),
            source=source,
        )


class FluxState:
    """The whole problem under one potential; what is asked for is worked out once.

    Parameters
    ----------
    system : FluxSystem
    potential_a : ndarray, shape (unknowns,)
    """

    def __init__(self, system: FluxSystem, potential_a: Array) -> None:
        self._system = system
        self.potential_a = potential_a
        self._iron = [b.at(system.part_of(b.name, potential_a)) for b in system.bodies]

    @cached_property
    def _across(self) -> tuple[Array, Array, Array]:
        """Flux density, its slope and the energy per area at every row of the gaps and sources."""
        system = self._system
        jump = system.jump @ self.potential_a - system.offset_a
        out = np.empty((3, len(jump)))
        for film, depth, rows in system.films:
            out[:, rows] = film_state(jump[rows], system.gap_m[rows], film, depth)
        return out[0], out[1], out[2]

    @cached_property
    def energy_j(self) -> float:
        """The energy that the solution makes least."""
        iron = sum(i.coenergy_j for i in self._iron)
        return float(iron + self._system.weight_m2 @ self._across[2])

    @cached_property
    def gradient_wb(self) -> Array:
        """The derivative of the energy by each unknown."""
        iron = np.concatenate([i.residual_wb() for i in self._iron])
        return np.asarray(iron + self._system.jump_t @ (self._system.weight_m2 * self._across[0]))

    def matrix(self, *, chord: bool = False) -> sparse.csr_matrix:
        """Return the second derivative of the energy, or the same with every law along its chord."""
        slope = self._chords() if chord else self._across[1]
        return self._system.assembled([i.matrix(chord=chord) for i in self._iron], slope)

    def _chords(self) -> Array:
        """Flux density over jump, with its limit where there is no jump."""
        jump = self._system.jump @ self.potential_a - self._system.offset_a
        none = np.abs(jump) < _NO_JUMP_A
        return np.where(none, self._across[1], self._across[0] / np.where(none, 1.0, jump))

    def flux_density_t(self, coupling: Coupling) -> Array:
        """Return the flux density across one gap or source at each of its points."""
        return self._across[0][self._system.rows[coupling]][coupling.row_of_point]
