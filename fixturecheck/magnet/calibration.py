"""The magnet of a chuck from what was measured on it: every source that fits, by the field of each piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NoReturn

import numpy as np
from numpy.polynomial import chebyshev

from fixturecheck.arrays import Floats
from fixturecheck.constants import MU0_H_M
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.construct import box
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.kernel.place import placed_at
from fixturecheck.magnet.field.gaps import seat_gap_um
from fixturecheck.magnet.iron import pole_row
from fixturecheck.magnet.rating import POLE_FINISH, MagnetSource, PieceOnPoles, RatingPiece, piece_at
from fixturecheck.magnet.source_fit import Contradiction, Fit, FittedSource, Reading, Space, fit_sources
from fixturecheck.progress import Progress, silent
from fixturecheck.setup.holding import CalibratedChuck
from fixturecheck.setup.make import body, equipment
from fixturecheck.setup.measurement import Measured, Measurement
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import finish, weight_n

# Sources that are tried, from one that drives its flux through any gap to the softest.
_GAP_MM, _SHARE = (0.004, 5.0), (0.1, 10.0)
# How far a chuck and a small piece may be bent over their contact: common practice, no source.
_BENT_UM = 5.0
_THIN_SHIM_MM = 0.05
THIN_SHIM_SHARE, SHIM_SHARE = 0.10, 0.26
"""By which share of itself the pull over a shim may be too high, see `too_high_share`."""
# Forces about the one that gives a reading, between which its pull is tabled.
_TABLE_SHARES = (0.5, 2.0)
_FORCE_SHARE, _FORCE_TRIES = 0.05, 6
# At how many forces, source gaps and seat gaps the field of each piece is solved; between them it is a
# polynomial in the logarithms.
NODES = (4, 4, 3)
MODEL_SHARE = 0.03
"""What the pull on a seated piece is off by: -0.8 to +2.5 % in seven cases against the field with air."""
# A polynomial that misses the field by more than this is not used.
_TABLE_SHARE = 0.03
_LEAST_N = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measurement and what came of it.

    Parameters
    ----------
    measurement : Measurement
    pull_n : tuple of float
        The magnet's pull as measured, least and greatest.
    fitted_n : float
        What the middle of the sources that fit gives.
    """

    measurement: Measurement
    pull_n: tuple[float, float]
    fitted_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """A chuck as calibrated.

    Parameters
    ----------
    chuck : CalibratedChuck
        What set-ups take.
    fit : Fit
        Every source that fits.
    rows : tuple of Row
        The measurements.
    """

    chuck: CalibratedChuck
    fit: Fit
    rows: tuple[Row, ...]


def calibrate(measured: Measured, *, progress: Progress = silent) -> Calibration:
    """Find every source that gives what was measured on a chuck.

    Parameters
    ----------
    measured : Measured
    progress : callable, optional
        Takes what is done and which share of all is behind.

    Returns
    -------
    Calibration
        The chuck with every source that fits, and the measurements.

    Raises
    ------
    SetupError
        Measurements contradict each other, or a piece does not lie on poles of both kinds.
    NotComputedError
        A field could not be solved, or changes too sharply to be tabled.
    """
    setup = _rating_setup(measured)
    weights = [weight_n(m.material, float(np.prod(m.piece_mm))) for m in measured.measurements]
    pulls_n = [m.force_n(w) for m, w in zip(measured.measurements, weights, strict=True)]
    pieces = _pieces(setup, measured, progress)
    seats_um = _seats_um(measured.head.finish)
    tables = []
    for n, (piece, one, pull_n) in enumerate(zip(pieces, measured.measurements, pulls_n, strict=True)):
        progress(f"solve {one.name}", 0.1 + 0.8 * n / len(pieces))
        tables.append(_Table(piece, one.shim_mm or 0.0, seats_um, pull_n))
    readings = [
        Reading(
            name=m.name,
            low_n=max(low * (1.0 - MODEL_SHARE), _LEAST_N),
            high_n=max(high / (1.0 - too_high_share(m.shim_mm)), 2 * _LEAST_N),
        )
        for m, (low, high) in zip(measured.measurements, pulls_n, strict=True)
    ]

    def pulls(mmf_a: Floats, gap_mm: Floats, seat_um: Floats) -> Floats:
        return np.stack([t(mmf_a, gap_mm, seat_um) for t in tables], axis=1)

    progress("fit", 0.95)
    found = fit_sources(readings, pulls, replace(tables[0].space, share=_SHARE))
    if isinstance(found, Contradiction):
        _refuse(found, measured, pulls_n)
    fitted = [
        _checked(piece, m, t, found.middle)
        for piece, m, t in zip(pieces, measured.measurements, tables, strict=True)
    ]
    rows = zip(measured.measurements, pulls_n, fitted, strict=True)
    return Calibration(
        chuck=_chuck(setup, measured, found),
        fit=found,
        rows=tuple(Row(measurement=m, pull_n=p, fitted_n=f) for m, p, f in rows),
    )


def too_high_share(shim_mm: float | None) -> float:
    """Return by which share of its own pull the field may pull harder than a magnet with air round it.

    Over a shim flux that goes round through the air is not seen: against the full field with air our pull is
    9 % high over 0.05 mm, 20 % over 0.1 mm and 23 to 29 % over 0.3 mm.

    Parameters
    ----------
    shim_mm : float or None
        Thickness of the shim without iron; None where the piece lies on the poles.

    Returns
    -------
    float
        Share of the computed pull.
    """
    if not shim_mm:
        return MODEL_SHARE
    return THIN_SHIM_SHARE if shim_mm < _THIN_SHIM_MM else SHIM_SHARE


def _rating_setup(measured: Measured) -> Setup:
    """Return a set-up of the chuck with the first piece on it, which only has to be there."""
    facts = measured.chuck
    chuck = equipment(facts.kind, name=facts.name, **facts.params)
    x, y, z = measured.measurements[0].piece_mm
    part = body(
        "piece",
        box((-x / 2, -y / 2, 0.0), (x / 2, y / 2, z)),
        material=measured.measurements[0].material,
        finish=measured.head.finish,
    )
    return Setup(name=measured.head.name, units=measured.head.units, bodies=(*chuck, part), seats=(), cuts=())


def _pieces(setup: Setup, measured: Measured, progress: Progress) -> list[PieceOnPoles]:
    """Mesh each piece once, whatever it was measured over."""
    mesher = TetMesher()
    known: dict[tuple[object, ...], PieceOnPoles] = {}
    found: list[PieceOnPoles] = []
    for one in measured.measurements:
        key = (one.piece_mm, one.at_mm, one.material)
        if key not in known:
            progress(f"mesh {one.name}", 0.1 * len(found) / len(measured.measurements))
            piece = piece_at(setup, one.piece_mm, one.at_mm)
            _refuse_one_sided(setup, piece, one.name)
            known[key] = PieceOnPoles(setup, piece, material=one.material, mesher=mesher)
        found.append(known[key])
    return found


def _refuse_one_sided(setup: Setup, piece: RatingPiece, name: str) -> None:
    """Refuse a piece that lies on one kind of pole, or on none."""
    own = np.array(box_of(placed_at(piece.placed.solid, piece.placed.at)))
    under = set()
    for pole in setup.poles():
        other = np.array(box_of(placed_at(pole.solid, pole.at)))
        if (np.minimum(own[3:5], other[3:5]) > np.maximum(own[:2], other[:2])).all():
            under.add(pole.pole)
    if under != {"n", "s"}:
        raise SetupError(
            f"measurement {name!r}: the piece lies on {'poles of one kind only' if under else 'no pole'}; "
            "lay it over a north and a south pole, or state at_mm as it lay"
        )


def _seats_um(piece_finish: str) -> tuple[float, float]:
    """Return the least and the greatest gap between a piece and ground poles."""
    low, high = (seat_gap_um(rz_a_um=a, rz_b_um=b) for a, b in zip(*_rz_um(piece_finish), strict=True))
    return low, high + _BENT_UM


def _rz_um(piece_finish: str) -> tuple[tuple[float, float], tuple[float, float]]:
    return finish(piece_finish).rz_um, finish(POLE_FINISH).rz_um


def _space(
    piece: PieceOnPoles,
    shim_mm: float,
    seats_um: tuple[float, float],
    pull_n: tuple[float, float],
) -> Space:
    """Return the sources to try about those that give one reading.

    At one pull the force that is needed grows in a line with the source gap and with the seat gap.
    """
    wanted_n = max(0.5 * sum(pull_n), _LEAST_N)
    stiff, soft, rough = (
        _force_a(piece, wanted_n, gap_mm=gap, seat_um=seat, shim_mm=shim_mm)
        for gap, seat in ((_GAP_MM[0], seats_um[0]), (_GAP_MM[1], seats_um[0]), (_GAP_MM[0], seats_um[1]))
    )
    flux_t = max((soft - stiff) / (_GAP_MM[1] - _GAP_MM[0]) * 1e3 * MU0_H_M, 0.0)
    seat_flux_t = max((rough - stiff) / (seats_um[1] - seats_um[0]) * 1e6 * MU0_H_M, 0.0)
    iron_a = stiff - (flux_t * _GAP_MM[0] * 1e-3 + seat_flux_t * seats_um[0] * 1e-6) / MU0_H_M
    return Space(
        gap_mm=_GAP_MM,
        seat_um=seats_um,
        share=_TABLE_SHARES,
        flux_t=flux_t,
        seat_flux_t=seat_flux_t,
        iron_a=max(iron_a, 0.1 * stiff),
    )


def _force_a(piece: PieceOnPoles, wanted_n: float, *, gap_mm: float, seat_um: float, shim_mm: float) -> float:
    """Return roughly the magnetomotive force that gives a pull, by power laws through two tries."""
    force_a, exponent = 50.0 + 0.5 * gap_mm * 1e-3 / MU0_H_M, 1.5
    before: tuple[float, float] | None = None
    for _ in range(_FORCE_TRIES):
        source = MagnetSource(mmf_a=force_a, gap_mm=gap_mm)
        pull_n = max(piece.pull_n(source, seat_gap_um=seat_um, shim_mm=shim_mm), _LEAST_N)
        if abs(pull_n - wanted_n) <= _FORCE_SHARE * wanted_n:
            break
        if before is not None and before[0] != force_a:
            exponent = max(0.3, np.log(pull_n / before[1]) / np.log(force_a / before[0]))
        before = force_a, pull_n
        force_a *= float(np.clip((wanted_n / pull_n) ** (1.0 / exponent), 0.1, 10.0))
    return float(force_a)


class _Table:
    """The pull of one piece over sources and seats: a polynomial through fields at Chebyshev's nodes."""

    def __init__(
        self, piece: PieceOnPoles, shim_mm: float, seats_um: tuple[float, float], pull_n: tuple[float, float]
    ) -> None:
        self.space = space = _space(piece, shim_mm, seats_um, pull_n)
        self._box = np.log([space.share, space.gap_mm, space.seat_um])
        at = [np.cos(np.pi * np.arange(n) / (n - 1)) for n in NODES]
        share, gap, seat = (
            np.exp(low + 0.5 * (x + 1.0) * (high - low)) for x, (low, high) in zip(at, self._box, strict=True)
        )
        logs = np.empty([len(x) for x in at])
        for i, j, k in np.ndindex(*logs.shape):
            source = MagnetSource(
                mmf_a=float(share[i] * space.reference_a(gap[j], seat[k])), gap_mm=float(gap[j])
            )
            pull = piece.pull_n(source, seat_gap_um=float(seat[k]), shim_mm=shim_mm)
            logs[i, j, k] = np.log(max(pull, _LEAST_N))
        inverse = [np.linalg.inv(chebyshev.chebvander(x, len(x) - 1)) for x in at]
        self._weights = np.einsum("ai,bj,ck,ijk->abc", *inverse, logs)

    def __call__(self, mmf_a: Floats, gap_mm: Floats, seat_um: Floats) -> Floats:
        """Return the pull, N, shape (n,)."""
        logs = np.log([mmf_a / self.space.reference_a(gap_mm, seat_um), gap_mm, seat_um])
        low, high = self._box[:, :1], self._box[:, 1:]
        at = np.clip(2.0 * (logs - low) / (high - low) - 1.0, -1.0, 1.0)
        share, gap, seat = at
        return np.asarray(np.exp(chebyshev.chebval3d(share, gap, seat, self._weights)))


def _checked(piece: PieceOnPoles, one: Measurement, table: _Table, source: FittedSource) -> float:
    """Return the pull with one source by its own field, which the table must meet."""
    exact = piece.pull_n(
        MagnetSource(mmf_a=source.mmf_a, gap_mm=source.gap_mm),
        seat_gap_um=source.seat_um,
        shim_mm=one.shim_mm or 0.0,
    )
    tabled = float(table(*(np.array([v]) for v in (source.mmf_a, source.gap_mm, source.seat_um)))[0])
    if abs(tabled - exact) > _TABLE_SHARE * exact:
        raise NotComputedError(
            f"measurement {one.name!r}: its pull changes too sharply with the source to be tabled, "
            f"{tabled / exact - 1.0:+.0%}"
        )
    return exact


def _refuse(found: Contradiction, measured: Measured, pulls_n: Sequence[tuple[float, float]]) -> NoReturn:
    """Refuse measurements that contradict each other, and say by how much."""
    write, names = measured.write, [measured.measurements[i].name for i in found.readings]
    last = found.readings[-1]
    low, high = (write.force(v, ".4g") for v in pulls_n[last])
    least, most = (write.force(v, ".4g") for v in (found.low_n, found.high_n))
    reading = f"{names[-1]!r} was measured as a pull of {low} to {high}"
    if len(names) == 1:
        message = f"measurement {reading}, and no magnet on these poles pulls more than {most}; check it"
    else:
        others = " and ".join(repr(n) for n in names[:-1])
        message = (
            f"measurements {' and '.join(repr(n) for n in names)} contradict each other: with {others} as "
            f"read, the pull of {names[-1]!r} lies between {least} and {most}, but {reading}; check sizes, "
            "shim, friction and scale, or state a greater reading_n"
        )
    raise SetupError(message)


def _chuck(setup: Setup, measured: Measured, found: Fit) -> CalibratedChuck:
    row = pole_row(setup)
    return CalibratedChuck(
        name=measured.head.name,
        poles=row.poles,
        pole_pitch_mm=row.pole_pitch_mm,
        pole_size_mm=row.pole_size_mm,
        pole_material=row.pole_material,
        piece_finish=measured.head.finish,
        source_gap_mm=found.gap_mm,
        source_mmf_low_a=found.end_low_a,
        source_mmf_high_a=found.end_high_a,
        seat_gap_um=found.seat_um,
    )
