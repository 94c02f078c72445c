"""All bodies, gaps and magnets as one convex function of the potential: value, gradient and matrix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fixturecheck.errors import NotComputedError
from fixturecheck.physics.bh import MU0_H_M
from fixturecheck.physics.fluxgap import GapPatch, PoleSource, film_state
from fixturecheck.physics.fluxiron import MM, IronBody, trace_shares

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coupling:
    """One patch or source made ready: rows that take potentials to jumps, and what stands in between."""

    jump: sparse.csr_matrix
    offset_a: float
    gap_m: Array
    weight_m2: Array
    patch: GapPatch | None = None
    source: PoleSource | None = None

    def state(self, potential_a: Array) -> tuple[Array, Array, Array]:
        """Return flux density, its slope and the energy per area at the points."""
        film = self.patch.film if self.patch else None
        depth = self.patch.film_mm * MM if self.patch else 0.0
        return film_state(self.jump @ potential_a - self.offset_a, self.gap_m, film, depth)

    def start_slope(self, field_level_a_m: float) -> Array:
        """Conductance per area with the film at one field level."""
        if self.patch is None or self.patch.film is None:
            return MU0_H_M / self.gap_m
        chord = float(self.patch.film.chord_h_m(np.array([field_level_a_m]))[0])
        return 1 / (self.gap_m / MU0_H_M + self.patch.film_mm * MM / chord)


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
        self._couplings = self.gaps + self.sources
        cells = [b.cell_unknowns + self.starts[b.name] for b in bodies]
        rows = np.concatenate([np.repeat(c, 10, axis=1).ravel() for c in cells])
        cols = np.concatenate([np.tile(c, (1, 10)).ravel() for c in cells])
        keys, self._slot = np.unique(rows * self.unknowns + cols, return_inverse=True)
        self._pattern = (keys // self.unknowns, keys % self.unknowns)

    def part_of(self, name: str, potential_a: Array) -> Array:
        """Return the potentials of one body."""
        start = self.starts[name]
        return potential_a[start : start + self._by_name[name].unknowns]

    def energy_j(self, potential_a: Array) -> float:
        """Return the energy that the solution makes least, J."""
        total = sum(b.coenergy_j(self.part_of(b.name, potential_a)) for b in self.bodies)
        for c in self._couplings:
            total += float(c.weight_m2 @ c.state(potential_a)[2])
        return total

    def gradient_wb(self, potential_a: Array) -> Array:
        """Return the derivative of the energy by each unknown, Wb."""
        out = np.concatenate([b.residual_wb(self.part_of(b.name, potential_a)) for b in self.bodies])
        for c in self._couplings:
            out += c.jump.T @ (c.weight_m2 * c.state(potential_a)[0])
        return out

    def load_wb(self) -> float:
        """Return the size of the right-hand side, Wb, against which a residual is judged."""
        total = np.zeros(self.unknowns)
        for c in self.sources:
            total += c.jump.T @ (c.weight_m2 * MU0_H_M / c.gap_m * c.offset_a)
        return float(np.linalg.norm(total))

    def matrix(self, potential_a: Array) -> sparse.csr_matrix:
        """Return the second derivative of the energy."""
        blocks = [b.stiffness(self.part_of(b.name, potential_a)) for b in self.bodies]
        return self._assemble(blocks, [c.state(potential_a)[1] for c in self._couplings])

    def start(self, field_level_a_m: float) -> tuple[sparse.csr_matrix, Array]:
        """Return matrix and right-hand side with every iron at the chord of one field level."""
        blocks = [b.stiffness(None, field_level_a_m=field_level_a_m) for b in self.bodies]
        slopes = [c.start_slope(field_level_a_m) for c in self._couplings]
        load = np.zeros(self.unknowns)
        for c, slope in zip(self._couplings, slopes, strict=True):
            load += c.jump.T @ (c.weight_m2 * slope * c.offset_a)
        return self._assemble(blocks, slopes), load

    def _assemble(self, blocks: list[Array], slopes: list[Array]) -> sparse.csr_matrix:
        values = np.concatenate([b.ravel() for b in blocks])
        data = np.bincount(self._slot, values, minlength=len(self._pattern[0]))
        shape = (self.unknowns, self.unknowns)
        iron = sparse.csr_matrix((data, self._pattern), shape=shape)
        jumps = sparse.vstack([c.jump for c in self._couplings]).tocsr()
        scale = np.concatenate([c.weight_m2 * s for c, s in zip(self._couplings, slopes, strict=True)])
        return (iron + jumps.T @ sparse.diags(scale) @ jumps).tocsr()

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
        if patch.averaged:
            _, group = np.unique(triangle, return_inverse=True)
            count = int(group.max()) + 1
            share = patch.weight_mm2 / np.bincount(group, patch.weight_mm2)[group]
            points = np.arange(len(group))
            collect = sparse.csr_matrix((share, (group, points)), shape=(count, len(group)))
            jump = (collect @ jump).tocsr()[group]
        return Coupling(
            jump=jump,
            offset_a=0.0,
            gap_m=patch.gap_mm * MM,
            weight_m2=patch.weight_mm2 * MM**2,
            patch=patch,
        )

    def _source(self, source: PoleSource) -> Coupling:
        jump, _ = self._trace(source.body, source.points_mm, source.face)
        return Coupling(
            jump=jump,
            offset_a=source.mmf_a,
            gap_m=np.full(len(source.weight_mm2), source.gap_mm * MM),
            weight_m2=source.weight_mm2 * MM**2,
            source=source,
        )
