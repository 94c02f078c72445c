"""How hard the magnet pulls on every face and body, low to high."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef, both_sides
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.magnet.circuit import ROUGH_SHARE, Fineness, Iron, MagnetModel, behind, magnet_model
from fixturecheck.magnet.field.gaps import GapPatch, seat_gap_um
from fixturecheck.magnet.field.solve import FluxSolution, PatchPull
from fixturecheck.magnet.iron import Ferrous, ferrous_bodies, irons_of
from fixturecheck.magnet.rating import MagnetSource, find_sources, pole_of
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.hold import PullNote, PullNoteKind
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import finish as finish_of
from fixturecheck.shop.tables import material
from fixturecheck.threads import at_once

# Error of the method against fields with air around the iron: faces, and lines and edges.
FACE_ERROR_SHARE = 0.10
LINE_ERROR_SHARE = 0.30
# A face that stands open is pulled harder by the method than by a field with air round it, by no more than
# this for each millimetre beyond the error of a face: flux finds its way back beside the part.
LIFTED_ERROR_SHARE = 1.5
# Where flux is driven beyond what the iron takes up, air beside a contact carries it too: it passes by the
# seat, and in a V what enters the sides of a part draws it out. Against plane fields of bars of 5 to 30 mm
# and full fields of blocks (`docs/validation.md`) what is too much grows with the flux density beyond this
# share of the weaker iron's saturation, by no more than this for each tesla beyond the error of a face.
_NEST_SATURATION_SHARE, NEST_ERROR_PER_T = 0.88, 0.5
_FLAT_SATURATION_SHARE, FLAT_ERROR_PER_T = 1.0, 0.25
# Pulls of one body that lean to each other by more than this draw it into a V.
_LEAN_COSINE = math.cos(math.radians(10.0))
_LIFTED_UM = 50.0
SEATED_BAND_MM = 0.1
"""How far flux is followed in a wedge beside closed seats; further changes little, and less pulls less."""
_NARROW_MM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FacePull:
    """The pull across one pair of faces, at the weak and the strong end of finish, material and source.

    Parameters
    ----------
    a, b : str
        `body.face` of either side.
    weak_n, strong_n : float
        Pull, before the error of the method.
    weak_at_mm, strong_at_mm : ndarray, shape (3,)
        Centre of pull.
    toward : ndarray, shape (3,)
        Unit direction in which `a` is drawn.
    area_mm2 : float
        Area that carries it.
    flux_density_t : float
        Mean flux density, strong end.
    low_share, high_share : float
        What the method's error makes of it.
    points_mm, pressure_n_mm2 : ndarray
        The pull over the patch, weak end, shapes (n, 3) and (n,).
    number : int
        Which of the field solution's patches it is: faces of several pieces have several of one name.
    """

    a: FaceRef
    b: FaceRef
    weak_n: float
    strong_n: float
    weak_at_mm: Floats
    strong_at_mm: Floats
    toward: Floats
    area_mm2: float
    flux_density_t: float
    low_share: float
    high_share: float
    points_mm: Floats = field(repr=False)
    pressure_n_mm2: Floats = field(repr=False)
    number: int = 0

    @property
    def bodies(self) -> tuple[str, str]:
        """The two bodies, that of `a` first."""
        return self.a.body, self.b.body

    def at(self, strength_share: float, error_share: float) -> tuple[float, Floats]:
        """Return pull and centre between the weak end (0) and the strong end (1).

        The error of the method is taken between its low end (-1) and its high end (1).

        Parameters
        ----------
        strength_share : float
            0 at the weak end, 1 at the strong end.
        error_share : float
            -1 at the low end of the method's error, 1 at its high end.

        Returns
        -------
        float
            The pull, N.
        ndarray, shape (3,)
            Where it acts, mm.
        """
        t, e = strength_share, 0.5 * (1.0 + error_share)
        size = ((1 - t) * self.weak_n + t * self.strong_n) * ((1 - e) * self.low_share + e * self.high_share)
        return size, (1 - t) * self.weak_at_mm + t * self.strong_at_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulls:
    """What the magnet does to a set-up.

    Parameters
    ----------
    faces : tuple of FacePull
        Every pair of faces that flux crosses, but for leakage between poles.
    source : MagnetSource or None
        What stands behind the poles; None with the magnet off.
    soft : MagnetSource or None
        The softer source that they may have; None where the source is known.
    notes : tuple of PullNote
        What was taken coarser, left out or bounded, in words.
    unknowns : int
        Size of the field solution.
    unruled : mapping of str to str
        Bodies that come near no iron by a face whose flux is counted, and their faces whose flux is not.
    model, solved : MagnetModel and FluxSolution, or None
        What was solved at the weak end, and its solution; None with the magnet off.
    """

    faces: tuple[FacePull, ...] = ()
    source: MagnetSource | None = None
    soft: MagnetSource | None = None
    notes: tuple[PullNote, ...] = ()
    unknowns: int = 0
    unruled: Mapping[str, str] = field(default_factory=dict)
    model: MagnetModel | None = field(default=None, repr=False)
    solved: FluxSolution | None = field(default=None, repr=False)

    def on(self, body: str) -> tuple[FacePull, ...]:
        """Return the pulls on one body."""
        return tuple(f for f in self.faces if body in f.bodies)

    def must_know(self, body: str) -> None:
        """Refuse a body whose pull was not counted, which is not the same as no pull.

        Raises
        ------
        NotComputedError
            It meets other iron only by faces that have no rule.
        """
        if body in self.unruled:
            raise NotComputedError(
                f"the pull on {body} is not known: it meets iron only by {self.unruled[body]}, where the "
                "shapes have no rule in the field solution"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Magnet:
    """The magnet with everything on it, to be solved at its states.

    Parameters
    ----------
    weak, strong : MagnetModel
        With the weaker curves and the wider gaps, and with the stronger and the narrower.
    source : MagnetSource
        What stands behind the poles; the stiffer one where the magnet may be one of two.
    soft : MagnetSource or None
        The softer one; None where the source is known.
    left_share : mapping of (FaceRef, FaceRef) to float
        What finish may leave of the low end beyond what its gap takes, by either side of a gap.
    """

    weak: MagnetModel
    strong: MagnetModel
    source: MagnetSource
    notes: tuple[PullNote, ...]
    soft: MagnetSource | None = None
    left_share: Mapping[tuple[FaceRef, FaceRef], float] = field(default_factory=dict)

    def sources(self) -> tuple[MagnetSource, ...]:
        """Return the sources that it may have, the stiffer first."""
        return (self.source,) if self.soft is None else (self.source, self.soft)

    def pulls(self, strength: float) -> Pulls:
        """Solve at a share of the full magnet.

        Parameters
        ----------
        strength : float
            Share of the full magnetomotive force.

        Raises
        ------
        NotComputedError
            The field did not converge.

        Notes
        -----
        At its weak end each face takes the least pull of the sources that the magnet may have, at its strong
        end the greatest: which source pulls harder differs from face to face, and from the full magnet to the
        residual one.
        """
        weak, strong = self._ends(strength)
        ends = zip(
            weak.patches,
            zip(*(s.patches for s in (*strong, weak.harder)), strict=True),
            counted(self.weak, weak.solved),
            strict=True,
        )
        nests = nested_patches(self.weak, weak.patches)
        faces = [face_pull(number, *found, nested=number in nests) for number, found in enumerate(ends)]
        faces = [replace(f, low_share=f.low_share * self.left_share.get((f.a, f.b), 1.0)) for f in faces]
        return Pulls(
            faces=tuple(sorted((f for f in faces if f.strong_n > 1e-6), key=lambda f: (f.a, f.b, f.number))),
            source=self.source,
            soft=self.soft,
            notes=self.notes + _islands(weak.solved, *strong, but=_unruled(self.weak)),
            unknowns=weak.solved.unknowns,
            unruled=_unruled(self.weak),
            model=self.weak,
            solved=weak.solved,
        )

    def _ends(self, strength: float) -> tuple[LeastPulls, tuple[FluxSolution, ...]]:
        """Solve both ends with each source that the magnet may have, the strong end at its greatest force."""
        stiff = self.weak.solve(strength)

        def strong() -> FluxSolution:
            # From weaker curves what is left over is smooth and adds up: it is followed further.
            return self.strong.solve(strength * self.source.most_share, near=stiff.potential_a)

        if self.soft is None:
            return _least_of(stiff), (strong(),)
        soft = self.soft
        # Both start from the first field, and neither from the other.
        first, weak = at_once(strong, lambda: _softer(self.weak, soft, strength, stiff))
        # The softer source changes the fields of both ends much alike.
        near = {n: u + weak.potential_a[n] - stiff.potential_a[n] for n, u in first.potential_a.items()}
        second = behind_soft(self.strong, soft).solve(
            strength * soft.most_share, near=near, residual_share=ROUGH_SHARE
        )
        return _least_of(stiff, weak), (first, second)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeastPulls:
    """The pulls of one model with each source that the magnet may have, the least of them for each patch.

    Parameters
    ----------
    patches : tuple of PatchPull
        The lesser pull of each patch.
    fields : tuple of FluxSolution
        The field of each source, the stiffer one first.
    """

    patches: tuple[PatchPull, ...]
    fields: tuple[FluxSolution, ...]

    @property
    def solved(self) -> FluxSolution:
        """The field of the source that pulls less on the whole."""
        return min(self.fields, key=_total_n)

    @property
    def harder(self) -> FluxSolution:
        """The field of the source that pulls more on the whole."""
        return max(self.fields, key=_total_n)


def _total_n(solved: FluxSolution) -> float:
    return sum(p.pull_n for p in solved.patches)


def behind_soft(model: MagnetModel, soft: MagnetSource | None) -> MagnetModel:
    """Return a model with the softer source behind its poles; as it is where there is none.

    Parameters
    ----------
    model : MagnetModel
        Meshes and gaps.
    soft : MagnetSource or None
        The softer source.

    Returns
    -------
    MagnetModel
        With that source behind every pole.
    """
    return model if soft is None else behind(model, mmf_a=soft.mmf_a, gap_mm=soft.gap_mm)


def least_pulls(model: MagnetModel, soft: MagnetSource | None, strength: float) -> LeastPulls:
    """Solve a model with each source that the magnet may have.

    Parameters
    ----------
    model : MagnetModel
        With the stiffer source behind its poles.
    soft : MagnetSource or None
        The softer one; None where there is one source.
    strength : float
        Share of the full magnetomotive force.

    Returns
    -------
    LeastPulls
        The least pull of each patch, and the fields that were solved.

    Raises
    ------
    NotComputedError
        The field did not converge.
    """
    first = model.solve(strength)
    return _least_of(first) if soft is None else _least_of(first, _softer(model, soft, strength, first))


def _least_of(*fields: FluxSolution) -> LeastPulls:
    """Return the least pull of each patch.

    Parameters
    ----------
    *fields : FluxSolution
        The field of each source, the stiffer one first.

    Returns
    -------
    LeastPulls
        The lesser pull of each patch, and the fields.
    """
    every = zip(*(f.patches for f in fields), strict=True)
    return LeastPulls(patches=tuple(min(each, key=lambda p: p.pull_n) for each in every), fields=fields)


def _softer(model: MagnetModel, soft: MagnetSource, strength: float, stiff: FluxSolution) -> FluxSolution:
    """Solve a model behind the softer source, from its field behind the stiffer one."""
    return behind_soft(model, soft).solve(strength, near=stiff.potential_a)


def magnet_of(
    setup: Setup,
    contacts: ContactMap,
    mesher: TetMesher | None = None,
    *,
    sources: Callable[[], Sequence[MagnetSource]] | None = None,
) -> Magnet:
    """Build the magnet of a set-up and find what stands behind its poles.

    Parameters
    ----------
    setup : Setup
        States bodies, poles and materials.
    contacts : ContactMap
        What touches as drawn, by which the band of gaps is chosen.
    mesher : TetMesher, optional
        Keeps meshes between calls.
    sources : callable, optional
        Finds what stands behind the poles, the stiffer first, where that is known otherwise.

    Returns
    -------
    Magnet
        The weak and the strong end of its iron and gaps, and its sources.

    Raises
    ------
    NotComputedError
        A curve, a finish or a return path is missing, or no magnet gives the rated pull.
    KernelError
        A body could not be meshed.
    """
    mesher = mesher or TetMesher()
    bodies = ferrous_bodies(setup)
    if not {"n", "s"} <= {b.pole for b in bodies}:
        raise NotComputedError("only one kind of pole lies near the parts: the flux has no return path")
    found = find_sources(setup, mesher) if sources is None else sources()
    source = found[0]
    fineness = Fineness(band_mm=_band_mm(setup, contacts))
    wide, narrow = _Gaps(setup, wide=True), _Gaps(setup, wide=False)
    weak = magnet_model(_weak_irons(bodies, source), seat_gap_um=wide, fineness=fineness, mesher=mesher)
    strong = _with_narrow_gaps(weak, bodies, wide, narrow)
    notes = [PullNote(kind=PullNoteKind.COARSE, of=name, mesh_mm=size) for name, size in weak.coarse.items()]
    notes += _left_out(weak)
    known = irons_of(setup)
    bounded = sorted({m for b in bodies if not material(m := known[b.placed.name].material).bh})
    notes += [
        PullNote(kind=PullNoteKind.NOT_MAGNETIC, of=b.name, material=b.material)
        for b in setup.parts()
        if not material(b.material).magnetic
    ]
    notes += [PullNote(kind=PullNoteKind.NO_CURVE, of=m) for m in bounded]
    soft = found[1] if len(found) > 1 else None
    left = {(a, b): narrow.left_share(a, b) for a, b in (both_sides(g.name) for g in weak.gaps if g.counts)}
    return Magnet(weak=weak, strong=strong, source=source, soft=soft, notes=tuple(notes), left_share=left)


def _left_out(model: MagnetModel) -> list[PullNote]:
    """Return which flux is not counted, once for each face of a part."""
    poles = {s.body for s in model.sources}
    pairs = set()
    for pair in model.left_out:
        first, second = sorted(pair, key=lambda face: FaceRef(face).body in poles)
        on = FaceRef(second).body if FaceRef(second).body in poles else second
        pairs.add((first, on))
    faces = sorted({face for face, _ in pairs})
    return [
        PullNote(kind=PullNoteKind.LEFT_OUT, of=face, across=tuple(sorted(o for f, o in pairs if f == face)))
        for face in faces
    ]


class _Gaps:
    """The gap that finish and flatness leave between two faces, at either end of what the table says."""

    def __init__(self, setup: Setup, *, wide: bool) -> None:
        self._bodies = irons_of(setup)
        self._end = 1 if wide else 0
        self._poles = {b.name for b in setup.poles()}
        self._chuck = setup.holding.calibrated if setup.holding else None

    def __call__(self, a: str, b: str) -> float:
        (rz_a, flat_a), (rz_b, flat_b) = self._heights_um(a), self._heights_um(b)
        return seat_gap_um(rz_a_um=rz_a, rz_b_um=rz_b, flatness_a_um=flat_a, flatness_b_um=flat_b)

    def left_share(self, *faces: str) -> float:
        """Return what the worse finish of some faces leaves beyond what its gap takes.

        Poles count for nothing: what theirs lose is in the rated or measured pull.
        """
        finishes = [
            self._bodies[ref.body].finish_of(f)
            for ref in map(FaceRef, faces)
            if ref.body not in self._poles
            for f in ref.faces
        ]
        return 1.0 - max((finish_of(f).lost_share for f in finishes if f is not None), default=0.0)

    def _heights_um(self, where: str) -> tuple[float, float]:
        """Return Rz and flatness of a face, or the greatest of the faces that meet there."""
        face = FaceRef(where)
        if self._chuck is not None and face.body in self._poles:
            # What a measured seat leaves for the pole, flatness and all, as if the piece were known.
            piece_um = sum(finish_of(self._chuck.piece_finish).rz_um) / 2
            return max(2.0 * self._chuck.seat_gap_um[self._end] - piece_um, 0.0), 0.0
        body = self._bodies[face.body]
        found = [body.finish_of(f) for f in face.faces]
        if None in found:
            raise NotComputedError(
                f"{where} has no finish, so its gap is not known; state the finish of {face.body!r}"
            )
        known = [finish_of(str(f)) for f in found]
        return max(f.rz_um[self._end] for f in known), max(f.flatness_um[self._end] for f in known)


def _weak_irons(bodies: Sequence[Ferrous], source: MagnetSource) -> list[Iron]:
    return [Iron(placed=b.placed, law=b.weak, pole=pole_of(b, source)) for b in bodies]


def _with_narrow_gaps(
    weak: MagnetModel, bodies: Sequence[Ferrous], wide: _Gaps, narrow: _Gaps
) -> MagnetModel:
    """Return the same meshes and tubes with the stronger curves and the narrower gaps."""
    laws = {b.placed.name: b.strong for b in bodies}
    gaps = []
    for gap in weak.gaps:
        a, b = both_sides(gap.name)
        closer = (wide(a, b) - narrow(a, b)) * 1e-3 if gap.counts else 0.0
        film = None if gap.film is None else min((laws[gap.a], laws[gap.b]), key=lambda w: w.saturation_t)
        gaps.append(replace(gap, gap_mm=gap.gap_mm - closer, film=film))
    made = tuple(b.of(laws[b.name]) for b in weak.bodies)
    return replace(weak, bodies=made, gaps=tuple(gaps))


def _band_mm(setup: Setup, contacts: ContactMap) -> float:
    """Return how far flux is followed through air: a little when every seat is closed, else a millimetre."""
    for seat in setup.seats:
        touching = [
            p
            for p in contacts.patches
            if p.contact.kind == ContactKind.AREA and seat.own in (p.contact.a, p.contact.b)
        ]
        if not touching:
            return 1.0
    return SEATED_BAND_MM


def counted(model: MagnetModel, solved: FluxSolution | None) -> list[GapPatch]:
    """Return the gaps whose pull is counted, in the order of the solution's patches.

    Parameters
    ----------
    model : MagnetModel
        The gaps.
    solved : FluxSolution or None
        The field, which knows bodies that no flux reaches.

    Returns
    -------
    list of GapPatch
        Without leakage between poles and without such bodies.
    """
    loose = set(solved.loose) if solved else set()
    return [g for g in model.gaps if g.counts and not {g.a, g.b} & loose]


def nested_patches(model: MagnetModel, patches: Sequence[PatchPull]) -> frozenset[int]:
    """Find the pulls of poles that lean to each other, as the flanks of a V draw a part.

    Parameters
    ----------
    model : MagnetModel
        Says which bodies are poles.
    patches : sequence of PatchPull
        In the order of the solution.

    Returns
    -------
    frozenset of int
        Places in that order.
    """
    poles = {s.body for s in model.sources}
    pulls: dict[str, list[tuple[int, Floats]]] = {}
    for number, patch in enumerate(patches):
        size = float(np.linalg.norm(patch.force_n))
        if size > 0.0 and patch.a not in poles and patch.b in poles:
            pulls.setdefault(patch.a, []).append((number, patch.force_n / size))
    return frozenset(
        number
        for ways in pulls.values()
        for number, way in ways
        if any(float(way @ other) < _LEAN_COSINE for _, other in ways)
    )


def _saturated_low_share(flux_density_t: float, saturation_t: float, *, nested: bool) -> float:
    """Return what is left of the low end of a face where the flux saturates iron, 1 below saturation."""
    share, per_t = (
        (_NEST_SATURATION_SHARE, NEST_ERROR_PER_T) if nested else (_FLAT_SATURATION_SHARE, FLAT_ERROR_PER_T)
    )
    return 1.0 / (1.0 + per_t * max(flux_density_t - share * saturation_t, 0.0))


def face_pull(
    number: int, weak: PatchPull, found: Sequence[PatchPull], gap: GapPatch, *, nested: bool = False
) -> FacePull:
    """Return the pull of one patch: the least at the weak end, and the greatest that was found.

    Parameters
    ----------
    number : int
        Which of the solution's patches it is.
    weak : PatchPull
        The least pull.
    found : sequence of PatchPull
        What else was found; the greatest is the strong end.
    gap : GapPatch
        The gap, at the weak end.
    nested : bool
        Whether it is a flank of a V.

    Returns
    -------
    FacePull
        Force at either end, where it acts, and what the method may be off by.
    """
    strong = max(found, key=lambda p: p.pull_n)
    a, b = both_sides(strong.name)
    points_mm, gap_mm = gap.points_a_mm, gap.gap_mm
    narrow = strong.area_mm2 < _NARROW_MM * float(np.ptp(points_mm, axis=0).max(initial=0.0))
    # What opens from an edge carries its flux in a line beside the edge, however wide it is followed.
    opens = float(np.ptp(gap_mm)) * 1e3 > _LIFTED_UM
    lifted = float(gap_mm.min()) * 1e3 > _LIFTED_UM
    low, high = 1.0 - FACE_ERROR_SHARE, 1.0 + FACE_ERROR_SHARE
    if narrow or opens:
        low, high = 1.0 - LINE_ERROR_SHARE, 1.0 + LINE_ERROR_SHARE
    if lifted:
        low *= _lifted_low_share(float(gap_mm.max()))
    if gap.film is not None:
        low *= _saturated_low_share(weak.flux_density_mean_t, gap.film.saturation_t, nested=nested)
    size = float(np.linalg.norm(strong.force_n))
    return FacePull(
        a=a,
        b=b,
        # Where normals lean over a face, its pull adds up to less than its pressure does.
        weak_n=float(np.linalg.norm(weak.force_n)),
        strong_n=size,
        weak_at_mm=weak.centre_mm,
        strong_at_mm=strong.centre_mm,
        toward=strong.force_n / size if size else np.array([0.0, 0.0, -1.0]),
        area_mm2=strong.area_mm2,
        flux_density_t=strong.flux_density_mean_t,
        low_share=low,
        high_share=high,
        points_mm=points_mm,
        pressure_n_mm2=weak.pressure_n_mm2,
        number=number,
    )


def _lifted_low_share(gap_mm: float) -> float:
    """Return what is left of the low end of a face that stands open by a gap, 1 where it is closed."""
    return 1.0 / (1.0 + LIFTED_ERROR_SHARE * gap_mm)


def _unruled(model: MagnetModel) -> Mapping[str, str]:
    """Find bodies with faces whose flux is left out, and no other face that lies close to iron."""
    close = {
        n for g in model.gaps if g.counts and float(g.gap_mm.min()) * 1e3 <= _LIFTED_UM for n in (g.a, g.b)
    }
    close |= {s.body for s in model.sources}
    faces: dict[str, set[str]] = {}
    for face in {f for pair in model.left_out for f in pair}:
        faces.setdefault(FaceRef(face).body, set()).add(face)
    return {body: " and ".join(sorted(found)) for body, found in faces.items() if body not in close}


def _islands(*solutions: FluxSolution, but: Iterable[str]) -> tuple[PullNote, ...]:
    loose = sorted({name for s in solutions for name in s.loose} - set(but))
    return tuple(PullNote(kind=PullNoteKind.NO_FLUX, of=name) for name in loose)
