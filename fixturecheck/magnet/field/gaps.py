"""Gaps that carry flux, the magnet behind a pole, and what fields on the same meshes and gaps have in common.

Fields in common have how potentials make jumps across gaps, and where the matrix has entries.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from threading import Lock

import numpy as np
from scipy import sparse
from scipy.optimize import brentq

from fixturecheck.arrays import Floats, Ints
from fixturecheck.constants import MU0_H_M
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.magnet.field.bh import BHLaw
from fixturecheck.magnet.field.elements import MM, IronBody, trace_shares
from fixturecheck.magnet.field.iron_loops import through_film
from fixturecheck.magnet.field.linear import SymmetricMatrix
from fixturecheck.magnet.field.sweep_loops import Places
from fixturecheck.units import Writing

FILM_MM = 0.1
"""Depth of iron at an interface whose saturation is counted with the gap."""
_STRENGTH_SHARE = 3e-3
_STRONGEST = 30.0
"""Strongest magnet tried, relative to the model's."""
_SAME_MM = 1e-9
# Of fields that are solved at once the first makes the frame, and the others wait for it.
_MAKING = Lock()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapPatch:
    """Two faces that look at each other across a gap, as quadrature points.

    Parameters
    ----------
    name : str
        Unique in a model.
    a, b : str
        Bodies on either side; `a` is the one whose surface triangles average a flat patch.
    points_a_mm, points_b_mm : ndarray, shape (n, 3)
        Where each tube of flux leaves one body and enters the other.
    gap_mm : ndarray, shape (n,)
        Length of each tube, geometric gap and finish gap together; above zero.
    weight_mm2 : ndarray, shape (n,)
        Area of each tube.
    normal : ndarray, shape (n, 3)
        Unit normal out of `a` into `b`.
    face_a, face_b : int or None
        Faces of the solids that the points lie on.
    averaged : bool
        Average the jump of potential over each triangle of `a`: for flat patches.
    film : BHLaw or None
        The weaker of the two irons, whose thin film at the interface saturates; None leaves it out.
    counts : bool
        Whether its pull is reported as hold; leakage between poles is not.
    """

    name: str
    a: str
    b: str
    points_a_mm: Floats
    points_b_mm: Floats
    gap_mm: Floats
    weight_mm2: Floats
    normal: Floats
    face_a: int | None = None
    face_b: int | None = None
    averaged: bool = True
    film: BHLaw | None = None
    film_mm: float = FILM_MM
    counts: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoleSource:
    """The magnet behind a pole: a magnetomotive force on the pole's back face behind a conductance.

    Parameters
    ----------
    body : str
        The pole.
    points_mm, weight_mm2 : ndarray, shapes (n, 3) and (n,)
        Quadrature points of the back face.
    mmf_a : float
        Magnetomotive force; positive on a north pole, negative on a south pole.
    gap_mm : float
        Air gap of the same conductance as the magnet behind the face.
    face : int or None
        Face of the pole's solid.
    """

    body: str
    points_mm: Floats
    weight_mm2: Floats
    mmf_a: float
    gap_mm: float
    face: int | None = None


def film_state(
    jump_a: Floats, gap_m: Floats, film: BHLaw | None, film_m: float
) -> tuple[Floats, Floats, Floats]:
    """Solve the gap and its film in series for the flux.

    Parameters
    ----------
    jump_a : ndarray, shape (n,)
        Jump of potential, either sign.
    gap_m : ndarray, shape (n,)
        Gap, m.
    film, film_m
        Law and depth of the film, m.

    Returns
    -------
    flux_density_t, slope_t_a, energy_j_m2 : ndarray, shape (n,)
        B with the sign of the jump, dB/d(jump), and the integral of B over the jump.
    """
    if film is None or film_m <= 0:
        b = MU0_H_M * jump_a / gap_m
        return b, MU0_H_M / gap_m, 0.5 * b * jump_a
    out = np.empty((3, len(jump_a)))
    through_film(jump_a, gap_m, *film.terms, film_m, out)
    return out[0], out[1], out[2]


def seat_gap_um(
    *, rz_a_um: float, rz_b_um: float, flatness_a_um: float = 0.0, flatness_b_um: float = 0.0
) -> float:
    """Return the gap between the mean planes of two faces that rest on each other.

    Parameters
    ----------
    rz_a_um, rz_b_um : float
        Greatest height of the roughness profile of either face.
    flatness_a_um, flatness_b_um : float
        Flatness zone of either face over the contact.

    Returns
    -------
    float
        Half of the sum of all four, um.

    Raises
    ------
    SetupError
        A height is negative, or all are zero.

    Notes
    -----
    The faces touch at their peaks. The mean line of a roughness profile lies about half of Rz below
    its peaks, the mean plane of a form error about half of its zone below its highest point, and
    peaks seldom meet valleys, so the four halves add. Common practice, no source; the pull that
    follows is therefore relative to a rated pull and not absolute.
    """
    heights = (rz_a_um, rz_b_um, flatness_a_um, flatness_b_um)
    if min(heights) < 0 or max(heights) == 0:
        raise SetupError(f"Rz and flatness must not be negative, nor all zero; got {heights} µm")
    return sum(heights) / 2


def strength_for_pull(pull_n: Callable[[float], float], *, wanted_n: float, write: Writing) -> float:
    """Find the strength of a magnet that gives a rated pull.

    Parameters
    ----------
    pull_n : callable
        Pull at a strength relative to the model's magnetomotive force; rises with it.
    wanted_n : float
        Pull of the rating piece.
    write : Writing
        What writes the pulls of the message.

    Returns
    -------
    float
        Strength, relative to the model's.

    Raises
    ------
    NotComputedError
        No magnet that is tried pulls so hard: the rating piece saturates first.
    """
    low, high = 0.0, 1.0
    while (reached_n := pull_n(high)) < wanted_n:
        low, high = high, 2 * high
        if high > _STRONGEST:
            raise NotComputedError(
                f"no magnetomotive force gives {write.force(wanted_n, '.0f')}: the iron saturates first, "
                f"at about {write.force(reached_n, '.0f')}, {int(100 * reached_n / wanted_n)}% of it; check "
                "the rated pull, the area it refers to, and the size of the poles as drawn"
            )
    return float(
        brentq(
            lambda s: pull_n(s) - wanted_n if s > 0 else -wanted_n,
            low,
            high,
            xtol=_STRENGTH_SHARE,
            rtol=_STRENGTH_SHARE,
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatchRows:
    """The rows of one gap or source: points whose jump is the same share one.

    Parameters
    ----------
    jump : sparse matrix, shape (rows, unknowns)
        Takes potentials to jumps.
    first : ndarray of int, shape (rows,)
        A point of each row.
    row_of_point : ndarray of int, shape (points,)
        The row of each point.
    weight_m2 : ndarray, shape (rows,)
        The area that each row stands for.
    """

    jump: sparse.csr_matrix
    first: Ints
    row_of_point: Ints
    weight_m2: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pattern:
    """Where the lower half of the matrix has entries.

    Parameters
    ----------
    columns, starts : ndarray of uint32
        Column of each entry, row by row, and where each row starts.
    slots : mapping of str to ndarray of uint32, shape (m, 55)
        Where the matrix of each tetrahedron of a body goes.
    sums : sparse matrix
        Takes the conductance of each row of the gaps to the entries that gaps have.
    slot : ndarray of int
        Where these go.
    """

    columns: Places
    starts: Places
    slots: Mapping[str, Places]
    sums: sparse.csr_matrix
    slot: Ints


class FieldFrame:
    """The meshes, gaps and backs of poles of a field.

    Parameters
    ----------
    bodies : sequence of IronBody
        Each coupled to some source, directly or through others.
    gaps : sequence of GapPatch
    sources : sequence of PoleSource
    """

    def __init__(
        self, bodies: Sequence[IronBody], gaps: Sequence[GapPatch], sources: Sequence[PoleSource]
    ) -> None:
        self._bodies, self._gaps, self._sources = tuple(bodies), tuple(gaps), tuple(sources)
        starts = np.concatenate([[0], np.cumsum([b.unknowns for b in bodies])]).astype(np.int64)
        self.starts = {b.name: int(s) for b, s in zip(bodies, starts[:-1], strict=True)}
        self.unknowns = int(starts[-1])
        self._by_name = {b.name: b for b in bodies}
        self.gap_rows = tuple(self._of_gap(g) for g in gaps)
        self.source_rows = tuple(self._of_source(s) for s in sources)
        every = self.gap_rows + self.source_rows
        self.jump = sparse.vstack([r.jump for r in every]).tocsr()
        self.jump_t = self.jump.T.tocsr()
        self.weight_m2 = np.concatenate([r.weight_m2 for r in every])
        counts = [len(r.first) for r in every]
        self.rows_of = tuple(np.split(np.arange(sum(counts)), np.cumsum(counts)[:-1]))
        self._pattern = self._made_pattern()

    def serves(
        self, bodies: Sequence[IronBody], gaps: Sequence[GapPatch], sources: Sequence[PoleSource]
    ) -> bool:
        """Tell whether a field has these meshes, and gaps and sources at these points.

        Parameters
        ----------
        bodies : sequence of IronBody
            Of the other field; the very same arrays of points and tetrahedra are asked for.
        gaps : sequence of GapPatch
            Points and weights have to be the very same arrays; widths may differ.
        sources : sequence of PoleSource
            As for the gaps.

        Returns
        -------
        bool
            False also where points that share a row of the matrix have different gaps.
        """
        pairs = (
            *_paired(self._bodies, bodies, lambda b: (b.points_mm, b.tets)),
            *_paired(self._gaps, gaps, lambda g: (g.points_a_mm, g.points_b_mm, g.weight_mm2)),
            *_paired(self._sources, sources, lambda s: (s.points_mm, s.weight_mm2)),
        )
        return all(pairs) and all(
            float(np.ptp(g.gap_mm - g.gap_mm[r.first][r.row_of_point])) < _SAME_MM
            for g, r in zip(gaps, self.gap_rows, strict=True)
        )

    @cached_property
    def from_corners(self) -> sparse.csr_matrix:
        """Takes a potential at the vertices alone to all unknowns."""
        return sparse.block_diag([b.net.from_corners for b in self._bodies], format="csr")

    @cached_property
    def to_corners(self) -> sparse.csr_matrix:
        """Sums what works on all unknowns into the vertices."""
        return self.from_corners.T.tocsr()

    def _made_pattern(self) -> _Pattern:
        iron = []
        for body in self._bodies:
            _, columns, starts = body.net.pattern
            rows = np.repeat(np.arange(body.unknowns), np.diff(starts))
            iron.append((rows + self.starts[body.name]) * self.unknowns + columns + self.starts[body.name])
        across, sums = self._across()
        keys = np.sort(np.concatenate([*iron, across]))
        keys = keys[np.concatenate([[True], np.diff(keys) > 0])]
        slots = {
            body.name: np.searchsorted(keys, own).astype(np.uint32)[body.net.pattern[0]].reshape(-1, 55)
            for body, own in zip(self._bodies, iron, strict=True)
        }
        rows, columns = np.divmod(keys, self.unknowns)
        starts = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=self.unknowns))])
        return _Pattern(
            columns=columns.astype(np.uint32),
            starts=starts.astype(np.uint32),
            slots=slots,
            sums=sums,
            slot=np.searchsorted(keys, across),
        )

    def _across(self) -> tuple[Ints, sparse.csr_matrix]:
        """Return which entries the gaps have, and what sums the conductance of the rows into them."""
        jump = self.jump
        size = np.diff(jump.indptr)
        row = np.repeat(np.arange(len(size)), size)
        left = np.repeat(np.arange(jump.nnz), size[row])
        begins = np.concatenate([[0], np.cumsum(size[row])[:-1]])
        right = np.arange(len(left)) - begins[left] + jump.indptr[row[left]]
        below = jump.indices[left] >= jump.indices[right]
        left, right = left[below], right[below]
        keys = jump.indices[left].astype(np.int64) * self.unknowns + jump.indices[right]
        found, slot = np.unique(keys, return_inverse=True)
        values = jump.data[left] * jump.data[right]
        return found, sparse.csr_matrix((values, (slot, row[left])), shape=(len(found), len(size)))

    def slots(self, name: str) -> Places:
        """Return where the lower half of the matrix of each tetrahedron of a body goes, shape (m, 55)."""
        return self._pattern.slots[name]

    def with_gaps(self, slope: Floats) -> Floats:
        """Return the entries of the matrix with nothing but gaps, of a conductance per area at each row."""
        found = self._pattern
        data = np.zeros(len(found.columns))
        data[found.slot] = found.sums @ (self.weight_m2 * slope)
        return data

    def matrix(self, data: Floats) -> SymmetricMatrix:
        """Return the matrix of these entries."""
        found = self._pattern
        return SymmetricMatrix(starts=found.starts, columns=found.columns, lower=data)

    def _trace(self, name: str, points_mm: Floats, face: int | None) -> tuple[sparse.csr_matrix, Ints]:
        """Rows that read one body's potential at points of its surface, and the triangles they lie on."""
        body = self._by_name[name]
        triangle, shares, _ = body.locate(points_mm, face)
        values = trace_shares(shares)
        cols = body.net.facet_unknowns[triangle] + self.starts[name]
        rows = np.repeat(np.arange(len(points_mm)), 6)
        shape = (len(points_mm), self.unknowns)
        return sparse.csr_matrix((values.ravel(), (rows, cols.ravel())), shape=shape), triangle

    def _of_gap(self, patch: GapPatch) -> PatchRows:
        if not len(patch.gap_mm) or patch.gap_mm.min() <= 0:
            raise NotComputedError(f"gap {patch.name!r}: every point needs a gap above zero")
        side_a, triangle = self._trace(patch.a, patch.points_a_mm, patch.face_a)
        side_b, _ = self._trace(patch.b, patch.points_b_mm, patch.face_b)
        jump = (side_a - side_b).tocsr()
        weight_m2 = patch.weight_mm2 * MM**2
        row = np.arange(len(weight_m2))
        if not patch.averaged:
            return PatchRows(jump=jump, first=row, row_of_point=row, weight_m2=weight_m2)
        group = np.unique(triangle, return_inverse=True)[1]
        share = weight_m2 / np.bincount(group, weight_m2)[group]
        collect = sparse.csr_matrix((share, (group, row)), shape=(int(group.max()) + 1, len(group)))
        same = np.stack([group, np.round(patch.gap_mm * MM * 1e12)], axis=1)
        _, first, row = np.unique(same, axis=0, return_index=True, return_inverse=True)
        return PatchRows(
            jump=(collect @ jump).tocsr()[group[first]],
            first=first,
            row_of_point=row,
            weight_m2=np.bincount(row, weight_m2).astype(np.float64),
        )

    def _of_source(self, source: PoleSource) -> PatchRows:
        jump, _ = self._trace(source.body, source.points_mm, source.face)
        row = np.arange(len(source.weight_mm2))
        return PatchRows(jump=jump, first=row, row_of_point=row, weight_m2=source.weight_mm2 * MM**2)


def _paired(
    known: Sequence[object], asked: Sequence[object], arrays: Callable[..., tuple[Floats, ...]]
) -> Iterable[bool]:
    """Tell of each pair whether it has the very same arrays."""
    if len(known) != len(asked):
        return (False,)
    return (
        all(a is b for a, b in zip(arrays(one), arrays(other), strict=True))
        for one, other in zip(known, asked, strict=True)
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """Keeps the frame of the last field for the next; no answer hangs on it."""

    _frames: list[FieldFrame] = field(default_factory=list, init=False)

    def frame(
        self, bodies: Sequence[IronBody], gaps: Sequence[GapPatch], sources: Sequence[PoleSource]
    ) -> FieldFrame:
        """Return the frame of a field, made anew where the one that is kept does not serve.

        Parameters
        ----------
        bodies : sequence of IronBody
            The meshed iron.
        gaps : sequence of GapPatch
            Where flux goes from one body to the next.
        sources : sequence of PoleSource
            The magnet behind the poles.
        """
        with _MAKING:
            if not self._frames or not self._frames[0].serves(bodies, gaps, sources):
                self._frames[:] = [FieldFrame(bodies, gaps, sources)]
            return self._frames[0]
