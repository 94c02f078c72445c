"""What the magnet is worth: its pull on a plain piece of steel, and the source behind its poles."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from fixturecheck.arrays import Floats
from fixturecheck.constants import MU0_H_M
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.topology import brep_bytes, edges_of, faces_of
from fixturecheck.kernel.construct import box, only_solid, prism
from fixturecheck.kernel.measure import box_of, edge_ends, face_frame
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.kernel.place import location_of, matrix_of, placed_at, transformed
from fixturecheck.kernel.shapes import Placed, Solid
from fixturecheck.magnet.circuit import Fineness, Iron, MagnetModel, Pole, behind, magnet_model
from fixturecheck.magnet.field.bh import law_between
from fixturecheck.magnet.field.gaps import strength_for_pull
from fixturecheck.magnet.field.solve import FluxSolution
from fixturecheck.magnet.iron import Ferrous, as_iron, curves, felt, pitch_mm, pole_row
from fixturecheck.numeric import to_vector
from fixturecheck.setup.holding import SOURCE_GAP_PITCHES, CalibratedChuck, Holding
from fixturecheck.setup.model import Body, Setup, magnet_alone
from fixturecheck.setup.records import PoleSign
from fixturecheck.shop.tables import finish
from fixturecheck.units import Writing

# Sides and height of a piece that is not stated, in distances between poles: 100 x 100 x 40 mm at 25, which a
# chuck maker rates on (SAV 244 manual p. 39, manualshive.com/en/manual/sav/244-01/1203357).
_LONG_PITCHES, _HIGH_PITCHES = 4.0, 1.6
_NAME = "rating piece"
_UP = 0.999
# A magnet that leans by less, as a cosine short of one, is level.
_LEVEL = 1e-9
_AS_IT_STANDS: Floats = np.eye(3)
# The pull of the piece is read to half a per cent; this leaves it 2e-5 of itself off.
_RESIDUAL_SHARE = 1e-4
# Elements in distances between poles, 3 mm at 25: the piece is thick; finer ones change two per cent.
_COARSE_PITCHES = 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class MagnetSource:
    """What stands behind every pole.

    Parameters
    ----------
    mmf_a : float
        Magnetomotive force of the full magnet.
    gap_mm : float
        Air gap of the same conductance as the magnet, per area of a pole's back.
    piece : str
        The piece that it was found with, in words; empty where it was stated.
    most_share : float
        How many times that force the magnet has at most.
    """

    mmf_a: float
    gap_mm: float
    piece: str = ""
    most_share: float = 1.0


def pole_of(body: Ferrous, source: MagnetSource) -> Pole | None:
    """Return what drives a body; None for one that is no pole.

    Parameters
    ----------
    body : Ferrous
        Any iron body.
    source : MagnetSource
        The magnet behind every pole.

    Returns
    -------
    Pole or None
        Magnetomotive force, positive on a north pole, with the gap behind it.
    """
    if body.pole is None:
        return None
    sign = 1.0 if body.pole == PoleSign.N else -1.0
    return Pole(mmf_a=sign * source.mmf_a, source_gap_mm=source.gap_mm, back_faces=body.back_faces)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RatingPiece:
    """A piece where it lies on the poles.

    Parameters
    ----------
    placed : Placed
        The solid, where it lies.
    area_mm2 : float
        Area of the faces that lie on the magnet, poles and what is between them alike.
    says : str
        Its size in words.
    """

    placed: Placed
    area_mm2: float
    says: str


class PieceOnPoles:
    """A piece on the poles of a set-up, meshed once and solved for any source and gap.

    Parameters
    ----------
    setup : Setup
        States the poles; its parts do not matter.
    piece : RatingPiece
    material : str
        Steel of the piece.
    share : float
        Where between its weaker curve (0) and its stronger (1) the steel lies.
    mesher : TetMesher

    Raises
    ------
    NotComputedError
        A material has no curve.
    KernelError
        The piece or a pole could not be meshed.
    """

    def __init__(
        self, setup: Setup, piece: RatingPiece, *, material: str, mesher: TetMesher, share: float = 0.5
    ) -> None:
        self.piece = piece
        found = np.array(box_of(placed_at(piece.placed.solid, piece.placed.at)))
        near = felt([(found[:3], found[3:])], setup.poles())
        poles = [p for b in setup.poles() if (p := as_iron(setup, b, near)) is not None]
        start = MagnetSource(mmf_a=1.0, gap_mm=1.0)
        law = law_between(*curves(setup, material, _NAME), share)
        irons = [Iron(placed=piece.placed, law=law)]
        # Poles of weak iron need more behind them, and where parts lie they are then weak or strong.
        irons += [Iron(placed=p.placed, law=p.weak, pole=pole_of(p, start)) for p in poles]
        coarse = Fineness(size_mm=_COARSE_PITCHES * pitch_mm(setup.poles()))
        self._model = magnet_model(irons, seat_gap_um=lambda _a, _b: 1.0, fineness=coarse, mesher=mesher)
        self._last: FluxSolution | None = None

    def pull_n(self, source: MagnetSource, *, seat_gap_um: float, shim_mm: float = 0.0) -> float:
        """Return the pull square to the faces of the piece that lie on the magnet, added up.

        Parameters
        ----------
        source : MagnetSource
            What stands behind every pole.
        seat_gap_um : float
            Gap that finish and flatness of both leave between them.
        shim_mm : float
            Thickness of a shim without iron between them.

        Raises
        ------
        NotComputedError
            The field did not converge.
        """
        model = _with_gap(behind(self._model, mmf_a=source.mmf_a, gap_mm=source.gap_mm), seat_gap_um, shim_mm)
        near = self._last.potential_a if self._last else None
        self._last = solved = model.solve(near=near, residual_share=_RESIDUAL_SHARE)
        return float(sum(p.pull_n for p in solved.patches if _NAME in (p.a, p.b)))

    def back_flux_density_t(self) -> float:
        """Return the mean flux density at the backs of the poles under the piece, as last solved."""
        if self._last is None:
            return 0.0
        under = {n for p in self._last.patches if p.pull_n > 0.0 for n in (p.a, p.b)} - {_NAME}
        area_m2 = sum(float(s.weight_mm2.sum()) for s in self._model.sources if s.body in under) * 1e-6
        flux_wb = sum(abs(p.flux_wb) for p in self._last.patches)
        return flux_wb / area_m2 if area_m2 else 0.0


def _with_gap(model: MagnetModel, seat_gap_um: float, shim_mm: float) -> MagnetModel:
    """Return the model with the gap of one micrometre that it was built with made another."""
    more_mm = (seat_gap_um - 1.0) * 1e-3 + shim_mm
    return replace(
        model, gaps=tuple(replace(g, gap_mm=g.gap_mm + more_mm) if g.counts else g for g in model.gaps)
    )


def piece_on(setup: Setup, size_mm: Sequence[float] = ()) -> RatingPiece:
    """Return a piece on the poles that the parts lie on, in the middle of the magnet.

    Parameters
    ----------
    setup : Setup
        States the poles, and the seats that lie on them.
    size_mm : sequence of float
        Along X, along Y, and height, of a piece on a flat chuck; empty takes one over two poles.

    Returns
    -------
    RatingPiece
        The piece where it lies.

    Raises
    ------
    NotComputedError
        The poles are neither a flat chuck nor a V, or no seat lies on a V.
    """
    seats = _seated(setup) or _tops(setup)
    if not seats:
        raise NotComputedError(
            "no seat lies on a flat face of a pole, so the rated pull has no place to act; state a seat of a "
            "part on the chuck or the V-block"
        )
    if _one_way(seats):
        normal = next(iter(seats.values()))[1]
        seated = [b for b in setup.poles() if b.name in {name for name, _ in seats}]
        level = _level_frame(seated[0], next(iter(seats)), normal)
        top_mm = level @ next(iter(seats.values()))[0]
        return _flat_piece(seated, top_mm[2], size_mm, setup.write, level)
    if size_mm:
        raise NotComputedError(
            "a rating piece of a stated size lies on a flat chuck; the seats here are of no flat chuck"
        )
    if len(seats) == 2:
        lengths = [
            np.ptp(np.array(box_of(placed_at(p.solid, p.at))).reshape(2, 3), axis=0) for p in setup.poles()
        ]
        return _nested_piece(
            list(seats.values()), lengths, _LONG_PITCHES * pitch_mm(setup.poles()), setup.write
        )
    raise NotComputedError("the seats lie neither on a flat chuck nor on the two flanks of a V-block")


def _seated(setup: Setup) -> dict[tuple[str, str], Floats]:
    """Return the flat faces of poles that parts seat on, as `_flats` does, by pole and face."""
    seats: dict[tuple[str, str], Floats] = {}
    for pole in setup.poles():
        wanted = {s.on_face for s in setup.seats if s.on in (pole.name, pole.group)}
        seats |= {(pole.name, n): at for n, at in _flats(pole).items() if n in wanted}
    return seats


def _one_way(seats: Mapping[tuple[str, str], Floats]) -> bool:
    """Whether all seats look the same way, as those on a flat chuck do."""
    normals = np.array([at[1] for at in seats.values()])
    return bool(np.allclose(normals, normals[:1], atol=1e-6))


def _flats(pole: Body) -> dict[str, Floats]:
    """Return the middle and the outward normal, shape (2, 3), of each flat face of a pole where it stands."""
    frames = zip(map(face_frame, faces_of(placed_at(pole.solid, pole.at))), pole.face_names(), strict=True)
    return {name: np.vstack([centre, normal]) for (centre, normal, flat), name in frames if flat}


def _tops(setup: Setup) -> dict[tuple[str, str], Floats]:
    """Return the tops of a flat chuck's poles, for parts that lie on something between; empty for others."""
    poles = setup.poles()
    try:
        pole_row(setup)
    except NotComputedError:
        return {}
    found = {(p.name, n): at for p in poles for n, at in _flats(p).items() if at[1][2] > _UP}
    level = len({round(float(at[0][2]), 6) for at in found.values()}) == 1
    return found if level else {}


def _level_frame(pole: Body, seat: tuple[str, str], normal: Floats) -> Floats:
    """Return the turn (3, 3) that brings the top of a magnet level, its poles along the axes."""
    if normal[2] > 1.0 - _LEVEL:
        return _AS_IT_STANDS
    index = pole.face_indices(seat[1])[0]
    ends = [edge_ends(e) for e in edges_of(faces_of(placed_at(pole.solid, pole.at))[index])]
    along = max((b - a for a, b in ends), key=lambda v: float(np.linalg.norm(v)))
    along = along / np.linalg.norm(along)
    return np.array([along, np.cross(normal, along), normal])


def _flat_piece(
    poles: Sequence[Body],
    top_z_mm: float,
    size_mm: Sequence[float],
    write: Writing,
    level: Floats = _AS_IT_STANDS,
) -> RatingPiece:
    """Return a block in the middle of the magnet, half-way between a north and a south pole.

    `level` turns the magnet so that its top is level, where it leans; `top_z_mm` is its height then.
    """
    flat = {p.name: transformed(placed_at(p.solid, p.at), level, np.zeros(3)) for p in poles}
    boxes = {name: np.array(box_of(solid)) for name, solid in flat.items()}
    middle = {n: 0.5 * (b[:3] + b[3:]) for n, b in boxes.items()}
    near = np.mean(list(middle.values()), axis=0)
    order = sorted(poles, key=lambda p: float(np.linalg.norm(middle[p.name] - near)))
    first = order[0]
    others = [p for p in order if p.pole != first.pole]
    if not others:
        raise NotComputedError("the parts lie on poles of one kind only: the flux has no return path")
    # Of two as near, the one that lies nearer the middle.
    second = min(others, key=lambda p: round(float(np.linalg.norm(middle[p.name] - middle[first.name])), 6))
    a, b = middle[first.name], middle[second.name]
    centre = 0.5 * (a + b)
    if len(size_mm):
        size = np.array(size_mm, dtype=float)
    else:
        pitch = float(np.abs(b - a)[:2].max())
        every = np.array(list(boxes.values()))
        # No further than the poles reach to either side.
        reach = 2.0 * np.minimum(
            every[:, 3:5].max(axis=0) - centre[:2], centre[:2] - every[:, :2].min(axis=0)
        )
        size = np.array([*np.minimum(_LONG_PITCHES * pitch, reach), _HIGH_PITCHES * pitch])
    low = np.array([*(centre[:2] - size[:2] / 2), top_z_mm])
    solid = transformed(box(to_vector(low), to_vector(low + size)), level.T, np.zeros(3))
    return RatingPiece(
        placed=_named(only_solid(solid)), area_mm2=float(size[0] * size[1]), says=_by(size, write)
    )


def _by(size_mm: Floats, write: Writing) -> str:
    """Return the size of a block in words."""
    sides = " by ".join(write.number(float(v), "mm", ".0f") for v in size_mm[:2])
    return f"a block of {sides} by {write.length(float(size_mm[2]), '.0f')}"


def _nested_piece(
    seats: Sequence[Floats], sizes_mm: Sequence[Floats], long_mm: float, write: Writing
) -> RatingPiece:
    """Return a bar nested on both flanks of a V, two thirds as wide as the flanks and no longer than they."""
    (c1, n1), (c2, n2) = seats
    axis = np.cross(n1, n2)
    axis /= np.linalg.norm(axis)
    long_mm = min(long_mm, *(float(np.abs(axis) @ size) for size in sizes_mm))
    up = (n1 + n2) / np.linalg.norm(n1 + n2)
    side = np.cross(up, axis)
    # Where both planes meet, half-way along the seats.
    system = np.array([n1, n2, axis])
    origin = np.linalg.solve(system, [n1 @ c1, n2 @ c2, axis @ (c1 + c2) / 2])
    flanks = []
    for centre, normal in seats:
        run = np.cross(axis, normal)
        run = run if run @ up > 0 else -run
        flanks.append((float(run @ side), float(run @ up), float(run @ (centre - origin))))
    wide = 4.0 / 3.0 * min(f[2] for f in flanks)
    (y1, z1, _), (y2, z2, _) = flanks
    outline = [
        (0.0, 0.0),
        (wide * y1, wide * z1),
        (wide * (y1 + y2), wide * (z1 + z2)),
        (wide * y2, wide * z2),
    ]
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(outline, outline[1:] + outline[:1], strict=True))
    half = long_mm / 2
    solid = prism(outline if area > 0 else outline[::-1], from_x_mm=-half, to_x_mm=half)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = axis, side, up, origin
    return RatingPiece(
        placed=_named(placed_at(solid, location_of(matrix))),
        area_mm2=2.0 * wide * long_mm,
        says=f"a bar {write.length(wide, '.0f')} square and {write.length(long_mm, '.0f')} long, nested",
    )


def _named(solid: Solid) -> Placed:
    names = tuple(f"face_{i + 1}" for i in range(len(faces_of(solid))))
    return Placed(name=_NAME, solid=solid, face_names=names)


def piece_at(setup: Setup, size_mm: Sequence[float], at_mm: Sequence[float]) -> RatingPiece:
    """Return a block on a flat chuck.

    Parameters
    ----------
    setup : Setup
        States the poles.
    size_mm : sequence of float
        Along X, along Y, and height.
    at_mm : sequence of float
        Where the middle of the block lies; empty takes half-way between the two poles next to the middle.

    Returns
    -------
    RatingPiece
        The block where it lies.

    Raises
    ------
    NotComputedError
        The poles are all of one kind.
    """
    poles = setup.poles()
    top_z_mm = max(box_of(placed_at(p.solid, p.at))[5] for p in poles)
    found = _flat_piece(poles, top_z_mm, size_mm, setup.write)
    if not len(at_mm):
        return found
    low = np.array([at_mm[0] - size_mm[0] / 2, at_mm[1] - size_mm[1] / 2, top_z_mm])
    solid = box(to_vector(low), to_vector(low + np.array(size_mm)))
    return replace(found, placed=_named(solid))


_SAME_MM = 1e-3
RATING_STEEL = "steel_1018"
POLE_FINISH = "ground"
# Magnets that are tried for a pull over a shim, from one that drives its flux through any gap to the softest.
_SOURCE_GAPS_MM = (0.002, 0.02, 0.1, 0.5, 2.0, 5.0)
# How well the gap is found, a share of it, and the rated pull.
_SHIM_LOG, _RATED_SHARE = 0.02, 5e-3
# How pull may rise with the magnet between two tries: by less where iron saturates, by more where poles leak.
_LEAST_EXPONENT, _MOST_EXPONENT = 0.2, 6.0
_MOST_TRIES, _MOST_STEP = 12, 4.0
START_MMF_A, START_FLUX_T = 50.0, 0.8
"""What a magnet is first tried with: a force for the iron, and a flux density at the backs of the poles."""


def rating_gap_um(piece_finish: str) -> float:
    """Return the gap under a rating piece: half the sum of its middle Rz and that of a ground pole.

    Parameters
    ----------
    piece_finish : str
        Finish of the piece, a row of the table of finishes.

    Returns
    -------
    float
        um.
    """
    return 0.5 * sum(0.5 * sum(finish(name).rz_um) for name in (piece_finish, POLE_FINISH))


def _source_gaps_mm(setup: Setup, holding: Holding) -> tuple[float, float]:
    """Return the stiffest and the softest gap that a magnet may have behind its poles.

    Where none is stated it goes with the distance between poles: magnets twice as far apart are twice as
    thick.
    """
    if holding.source_gap_mm:
        return holding.source_gap_mm[0], holding.source_gap_mm[1]
    pitch = pitch_mm(setup.poles())
    return SOURCE_GAP_PITCHES[0] * pitch, SOURCE_GAP_PITCHES[1] * pitch


def find_sources(setup: Setup, mesher: TetMesher) -> tuple[MagnetSource, ...]:
    """Find the sources that the magnet may have: the stiffest, and the softest where it is another.

    Each gives the rated pull. With a pull over a shim there is one, that gives both. A source that is
    stated is taken as it is.

    Parameters
    ----------
    setup : Setup
        States poles, seats and holding.
    mesher : TetMesher
        Keeps meshes between calls.

    Returns
    -------
    tuple of MagnetSource
        One, or the stiffest and the softest.

    Raises
    ------
    NotComputedError
        No source gives that pull, or the poles are neither a flat chuck nor a V.
    """
    holding = setup.holding
    if holding is None:
        raise NotComputedError("no holding is stated")
    if holding.calibrated is not None:
        return _calibrated(setup, holding.calibrated)
    if holding.source_mmf_a:
        ends = zip(holding.source_mmf_a, _source_gaps_mm(setup, holding), strict=True)
        return tuple(dict.fromkeys(MagnetSource(mmf_a=mmf, gap_mm=gap) for mmf, gap in ends))
    magnets = _magnets(setup)
    ratings = [_rating_of(magnet, holding, mesher) for magnet in magnets]
    if holding.shim_mm is not None and holding.shim_pull_n_cm2 is not None:
        if len(ratings) > 1:
            raise NotComputedError(
                "a pull over a shim is of one magnet, and those that the parts lie on are not alike"
            )
        return (ratings[0].over_shim(holding.shim_mm, holding.shim_pull_n_cm2),)
    gaps_mm = [_source_gaps_mm(magnet, holding) for magnet in magnets]
    stiff_mm, soft_mm = min(stiff for stiff, _ in gaps_mm), max(soft for _, soft in gaps_mm)
    stiff = _weakest([rating.at(stiff_mm) for rating in ratings])
    if soft_mm <= stiff_mm:
        return (stiff,)
    return stiff, _weakest([rating.at(soft_mm) for rating in ratings])


def _rating_of(setup: Setup, holding: Holding, mesher: TetMesher) -> _Rating:
    piece = PieceOnPoles(
        setup, piece_on(setup, holding.rating_piece_mm), material=RATING_STEEL, mesher=mesher
    )
    return _Rating(piece=piece, holding=holding, write=setup.write)


def _weakest(sources: Sequence[MagnetSource]) -> MagnetSource:
    """Return the weakest source of several magnets, with how much stronger the strongest is."""
    weakest = min(sources, key=lambda source: source.mmf_a)
    return replace(weakest, most_share=max(source.mmf_a for source in sources) / weakest.mmf_a)


def _magnets(setup: Setup) -> tuple[Setup, ...]:
    """Return a set-up for each magnet that a part nests in, of like ones the first; of a flat chuck as it is.

    Every magnet is rated by itself, with no other beside it.
    """
    seats = _seated(setup)
    groups = {p.group for p in setup.poles() if any(name == p.name for name, _ in seats)}
    if len(groups) < 2 or None in groups or _one_way(seats):
        return (setup,)
    alone = [magnet_alone(setup, of=group) for group in sorted(g for g in groups if g)]
    first: dict[object, Setup] = {}
    for magnet in alone:
        first.setdefault(_drawn(magnet), magnet)
    return tuple(first.values())


def _drawn(magnet: Setup) -> tuple[tuple[object, ...], ...]:
    """Return what tells a magnet from another, wherever it stands: its poles, and which faces are seats."""
    poles, seats = magnet.poles(), _seated(magnet)
    home = np.linalg.inv(matrix_of(poles[0].at))
    return tuple(
        (
            pole.pole,
            pole.material,
            brep_bytes(pole.solid),
            tuple(np.round(home @ matrix_of(pole.at), 6).ravel() + 0.0),
            frozenset(face for name, face in seats if name == pole.name),
        )
        for pole in poles
    )


def _calibrated(setup: Setup, chuck: CalibratedChuck) -> tuple[MagnetSource, ...]:
    """Return the sources of a chuck file, which must be of a chuck with such poles."""
    differ = _differ(setup, chuck)
    if differ:
        raise NotComputedError(
            f"{chuck.name} was measured on another chuck than the one here: {'; '.join(differ)}; calibrate "
            "the chuck that is used, or correct the equipment"
        )
    ends = zip(chuck.source_mmf_low_a, chuck.source_mmf_high_a, chuck.source_gap_mm, strict=True)
    return tuple(
        dict.fromkeys(
            MagnetSource(mmf_a=low, gap_mm=gap, most_share=high / low, piece=chuck.name)
            for low, high, gap in ends
        )
    )


def _differ(setup: Setup, chuck: CalibratedChuck) -> list[str]:
    """Say each key of a chuck file that the poles of a set-up do not meet."""
    row, length = pole_row(setup), setup.write.length
    pairs = {
        "poles": (f"{chuck.poles}", f"{row.poles}", chuck.poles == row.poles),
        "pole_pitch_mm": (
            length(chuck.pole_pitch_mm, "g"),
            length(row.pole_pitch_mm, "g"),
            abs(chuck.pole_pitch_mm - row.pole_pitch_mm) <= _SAME_MM,
        ),
        "pole_size_mm": (
            " by ".join(length(v, "g") for v in chuck.pole_size_mm),
            " by ".join(length(v, "g") for v in row.pole_size_mm),
            all(abs(a - b) <= _SAME_MM for a, b in zip(chuck.pole_size_mm, row.pole_size_mm, strict=True)),
        ),
        "pole_material": (chuck.pole_material, row.pole_material, chuck.pole_material == row.pole_material),
    }
    return [f"{key} {file} there, {here} here" for key, (file, here, same) in pairs.items() if not same]


class _Rating:
    """Finds what must stand behind the poles for the piece to be pulled as stated."""

    def __init__(self, *, piece: PieceOnPoles, holding: Holding, write: Writing) -> None:
        self._piece, self._write = piece, write
        self._gap_um = rating_gap_um(holding.rating_finish)
        self._rated_n_cm2 = holding.rated_n_cm2
        self._rated_n = holding.rated_n_cm2 * piece.piece.area_mm2 / 100.0
        # Sources that were found, each with the flux density at the backs of the poles.
        self._known: list[tuple[MagnetSource, float]] = [
            (MagnetSource(mmf_a=START_MMF_A, gap_mm=0.0), START_FLUX_T)
        ]

    def at(self, gap_mm: float) -> MagnetSource:
        """Return the source behind a gap of its own that gives the rated pull."""
        near, flux_t = min(self._known, key=lambda known: abs(known[0].gap_mm - gap_mm))
        # What another magnet drops inside itself comes on top.
        start_a = max(near.mmf_a + flux_t * (gap_mm - near.gap_mm) * 1e-3 / MU0_H_M, START_MMF_A / 4.0)
        start = MagnetSource(mmf_a=start_a, gap_mm=gap_mm, piece=self._piece.piece.says)

        def pull(strength: float) -> float:
            source = replace(start, mmf_a=strength * start_a)
            return self._piece.pull_n(source, seat_gap_um=self._gap_um)

        found = replace(start, mmf_a=start_a * _strength(pull, self._rated_n, self._write))
        self._known.append((found, self._piece.back_flux_density_t()))
        return found

    def over_shim(self, shim_mm: float, shim_pull_n_cm2: float) -> MagnetSource:
        """Find the source that gives the rated pull on the poles and another over a shim.

        The more the source gives way, the less a shim takes of the pull, so one gap behind the poles fits.
        """
        wanted = shim_pull_n_cm2 / self._rated_n_cm2
        found: dict[float, MagnetSource] = {}

        def more(log_gap: float) -> float:
            """Return how much more than wanted is left of the pull over the shim."""
            source = found[log_gap] = self.at(math.exp(log_gap))
            over = self._piece.pull_n(source, seat_gap_um=self._gap_um, shim_mm=shim_mm)
            return over / self._rated_n - wanted

        # The softest drive more flux from pole to pole than through the piece, and more gap then leaves less.
        tried: dict[float, float] = {}
        for log_gap in (math.log(gap) for gap in _SOURCE_GAPS_MM):
            tried[log_gap] = more(log_gap)
            if tried[log_gap] >= 0.0:
                break
        *_, (below_at, below), (above_at, above) = [(math.nan, math.nan), *tried.items()]
        if math.isnan(below):
            self._refuse(shim_mm, wanted, f"at least {above + wanted:.0%}")
        if above < 0.0:
            self._refuse(shim_mm, wanted, f"at most {max(tried.values()) + wanted:.0%}")
        fits = brentq(lambda x: tried[x] if x in tried else more(x), below_at, above_at, xtol=_SHIM_LOG)
        return found.get(fits) or self.at(math.exp(fits))

    def _refuse(self, shim_mm: float, wanted: float, left: str) -> None:
        raise NotComputedError(
            f"a pull of {wanted:.0%} of the rated one over {self._write.length(shim_mm, 'g')} fits no "
            f"magnet: over it {left} would be left; check shim_mm and shim_pull_n_cm2"
        )


def _strength(pull: Callable[[float], float], wanted_n: float, write: Writing) -> float:
    """Find the strength that pulls as wanted, by a power law kept between too weak and too hard.

    Raises
    ------
    NotComputedError
        No strength pulls so hard.
    """
    weak: tuple[float, float] | None = None
    hard: tuple[float, float] | None = None
    strength, exponent = 1.0, 1.5
    last: tuple[float, float] | None = None
    for _ in range(_MOST_TRIES):
        found = pull(strength)
        if abs(found - wanted_n) <= _RATED_SHARE * wanted_n:
            return strength
        if last is not None and found != last[1]:
            slope = math.log(found / last[1]) / math.log(strength / last[0])
            exponent = min(max(slope, _LEAST_EXPONENT), _MOST_EXPONENT)
        last = strength, found
        if found < wanted_n:
            weak = last
        else:
            hard = last
        strength *= min(max((wanted_n / found) ** (1.0 / exponent), 1.0 / _MOST_STEP), _MOST_STEP)
        if weak and hard and not weak[0] < strength < hard[0]:
            strength = math.sqrt(weak[0] * hard[0])
    return strength_for_pull(pull, wanted_n=wanted_n, write=write)
