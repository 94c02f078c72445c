"""What the magnet is worth: the source behind its poles, from what is stated of its pull."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from scipy.optimize import brentq

from fixturecheck.errors import NotComputedError
from fixturecheck.holding.iron import pitch_mm, pole_row
from fixturecheck.holding.piece import PieceOnPoles, Source, piece_on
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.physics.bh import MU0_H_M
from fixturecheck.physics.seat_gap import strength_for_pull
from fixturecheck.setup.calibrated import CalibratedChuck
from fixturecheck.setup.holding import SOURCE_GAP_PITCHES, Holding
from fixturecheck.setup.model import Setup
from fixturecheck.shop.tables import finish
from fixturecheck.units import Writing

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
    """Return the gap under a rating piece: half the sum of its middle Rz and that of a ground pole."""
    return 0.5 * sum(0.5 * sum(finish(name).rz_um) for name in (piece_finish, POLE_FINISH))


def source_gaps_mm(setup: Setup, holding: Holding) -> tuple[float, float]:
    """Return the stiffest and the softest gap that a magnet may have behind its poles.

    Where none is stated it goes with the distance between poles: magnets twice as far apart are twice as
    thick.
    """
    if holding.source_gap_mm:
        return holding.source_gap_mm[0], holding.source_gap_mm[1]
    pitch = pitch_mm(setup.poles())
    return SOURCE_GAP_PITCHES[0] * pitch, SOURCE_GAP_PITCHES[1] * pitch


def find_sources(setup: Setup, mesher: TetMesher) -> tuple[Source, ...]:
    """Find the sources that the magnet may have: the stiffest, and the softest where it is another.

    Each gives the rated pull. With a pull over a shim there is one, that gives both. A source that is
    stated is taken as it is.

    Raises
    ------
    NotComputedError
        No source gives that pull, or the poles are neither a flat chuck nor a V.
    """
    holding = setup.holding
    if holding is None:
        message = "no holding is stated"
        raise NotComputedError(message)
    if holding.calibrated is not None:
        return _calibrated(setup, holding.calibrated)
    if holding.source_mmf_a:
        ends = zip(holding.source_mmf_a, source_gaps_mm(setup, holding), strict=True)
        return tuple(dict.fromkeys(Source(mmf_a=mmf, gap_mm=gap) for mmf, gap in ends))
    piece = PieceOnPoles(
        setup, piece_on(setup, holding.rating_piece_mm), material=RATING_STEEL, mesher=mesher
    )
    found = _Rating(piece=piece, holding=holding, write=setup.write)
    if holding.shim_mm is not None and holding.shim_pull_n_cm2 is not None:
        return (found.over_shim(holding.shim_mm, holding.shim_pull_n_cm2),)
    stiff_mm, soft_mm = source_gaps_mm(setup, holding)
    stiff = found.at(stiff_mm)
    if soft_mm <= stiff_mm:
        return (stiff,)
    return stiff, found.at(soft_mm)


def _calibrated(setup: Setup, chuck: CalibratedChuck) -> tuple[Source, ...]:
    """Return the sources of a chuck file, which must be of a chuck with such poles."""
    differ = _differ(setup, chuck)
    if differ:
        message = (
            f"{chuck.name} was measured on another chuck than the one here: {'; '.join(differ)}; calibrate "
            "the chuck that is used, or correct the equipment"
        )
        raise NotComputedError(message)
    ends = zip(chuck.source_mmf_low_a, chuck.source_mmf_high_a, chuck.source_gap_mm, strict=True)
    return tuple(
        dict.fromkeys(
            Source(mmf_a=low, gap_mm=gap, most_share=high / low, piece=chuck.name) for low, high, gap in ends
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
        "pole_material": (
            chuck.pole_material,
            row.pole_material,
            chuck.pole_material == row.pole_material,
        ),
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
        self._known: list[tuple[Source, float]] = [
            (Source(mmf_a=START_MMF_A, gap_mm=0.0), START_FLUX_T),
        ]

    def at(self, gap_mm: float) -> Source:
        """Return the source behind a gap of its own that gives the rated pull."""
        near, flux_t = min(self._known, key=lambda known: abs(known[0].gap_mm - gap_mm))
        # What another magnet drops inside itself comes on top.
        start_a = max(near.mmf_a + flux_t * (gap_mm - near.gap_mm) * 1e-3 / MU0_H_M, START_MMF_A / 4.0)
        start = Source(mmf_a=start_a, gap_mm=gap_mm, piece=self._piece.piece.says)

        def pull(strength: float) -> float:
            source = replace(start, mmf_a=strength * start_a)
            return self._piece.pull_n(source, seat_gap_um=self._gap_um)

        found = replace(start, mmf_a=start_a * _strength(pull, self._rated_n, self._write))
        self._known.append((found, self._piece.back_flux_density_t()))
        return found

    def over_shim(self, shim_mm: float, shim_pull_n_cm2: float) -> Source:
        """Find the source that gives the rated pull on the poles and another over a shim.

        The more the source gives way, the less a shim takes of the pull, so one gap behind the poles fits.
        """
        wanted = shim_pull_n_cm2 / self._rated_n_cm2
        found: dict[float, Source] = {}

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
        message = (
            f"a pull of {wanted:.0%} of the rated one over {self._write.length(shim_mm, 'g')} fits no "
            f"magnet: over it {left} would be left; check shim_mm and shim_pull_n_cm2"
        )
        raise NotComputedError(message)


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
