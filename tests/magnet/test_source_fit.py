"""Sources found again from readings that a magnetic circuit in closed form gives.

The circuit: a source behind its gap, the seat and the iron in series, `F = B (A/Ab g0 + h)/mu0 + l H(B)`,
with the saturation curve of Froelich `H = c B/(Bs - B)`; the pull of two poles is `A B^2/mu0` (textbook
formulas, from memory). For B this is a quadratic equation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixturecheck.magnet.source_fit import Contradiction, Fit, Reading, Space, fit_sources

MU0 = 4e-7 * math.pi
BACK_MM2, IRON_M, SATURATION_T, COERCIVE_A_M = 1600.0, 0.08, 2.0, 400.0
# Contact area on each pole and shim: a block, the block over a shim, a short piece, a long one.
PIECES = ((800.0, 0.0), (800.0, 0.1), (200.0, 0.0), (1500.0, 0.0))
SPACE = Space(gap_mm=(0.01, 5.0), seat_um=(0.5, 25.0), share=(0.1, 6.0))
TRUE = (520.0, 0.55, 4.0)


def circuit_n(mmf_a, gap_mm, seat_um, pieces=PIECES):
    """Pull of each piece, shape (n, k)."""
    out = []
    for area, shim in pieces:
        k = (area / BACK_MM2 * gap_mm + seat_um * 1e-3 + shim) * 1e-3 / MU0
        b = k * SATURATION_T + mmf_a + IRON_M * COERCIVE_A_M
        flux_t = (b - np.sqrt(b * b - 4 * k * mmf_a * SATURATION_T)) / (2 * k)
        out.append(area * 1e-6 * flux_t**2 / MU0)
    return np.stack(out, axis=1)


def one(mmf_a, gap_mm, seat_um, pieces=PIECES):
    return circuit_n(*(np.array([v]) for v in (mmf_a, gap_mm, seat_um)), pieces)[0]


def read(within, *, truth=TRUE, off=None):
    """Readings with a share of uncertainty either way, each off by a share of its own."""
    found = one(*truth)
    off = np.zeros(len(found)) if off is None else off
    return [
        Reading(name=f"piece {i}", low_n=n * (1 + o) * (1 - within), high_n=n * (1 + o) * (1 + within))
        for i, (n, o) in enumerate(zip(found, off, strict=True))
    ]


def holds(fit: Fit, truth=TRUE) -> bool:
    mmf, gap, seat = truth
    return (
        fit.gap_mm[0] <= gap <= fit.gap_mm[1]
        and fit.mmf_a[0] <= mmf <= fit.mmf_a[1]
        and fit.seat_um[0] <= seat <= fit.seat_um[1]
    )


@pytest.mark.parametrize("truth", [TRUE, (120.0, 0.02, 2.0), (3000.0, 4.0, 10.0)])
def test_the_source_behind_the_readings_is_in_the_range(truth):
    found = fit_sources(read(0.03, truth=truth), circuit_n, SPACE)
    assert isinstance(found, Fit)
    assert holds(found, truth)
    # The middle gives every reading.
    middle = one(found.middle.mmf_a, found.middle.gap_mm, found.middle.seat_um)
    assert middle == pytest.approx(one(*truth), rel=0.031)


@pytest.mark.parametrize("seed", range(4))
def test_readings_that_are_off_within_what_is_stated_keep_the_source_in_the_range(seed):
    off = np.random.default_rng(seed).uniform(-0.04, 0.04, len(PIECES))
    found = fit_sources(read(0.042, off=off), circuit_n, SPACE)
    assert isinstance(found, Fit)
    assert holds(found)


def test_better_readings_leave_fewer_sources():
    wide, narrow = (fit_sources(read(within), circuit_n, SPACE) for within in (0.10, 0.01))
    assert wide.gap_mm[0] < narrow.gap_mm[0] < TRUE[1] < narrow.gap_mm[1] < wide.gap_mm[1]
    assert narrow.gap_bounded == (True, True)
    assert narrow.gap_mm[1] / narrow.gap_mm[0] < 1.5


@pytest.mark.parametrize("piece", [(400.0, 0.0), (1100.0, 0.05), (800.0, 0.03)])
def test_other_pieces_lie_between_the_weakest_and_the_strongest_ends(piece):
    """Pieces that were not measured, of sizes between those that were."""
    found = fit_sources(read(0.05), circuit_n, SPACE)
    wanted = one(*TRUE, pieces=(piece,))[0]
    weak, strong = (
        [one(mmf, gap, seat, pieces=(piece,))[0] for mmf, gap in zip(ends, found.gap_mm, strict=True)]
        for ends, seat in ((found.end_low_a, found.seat_um[1]), (found.end_high_a, found.seat_um[0]))
    )
    assert min(weak) < wanted < max(strong)
    assert min(weak) > 0.5 * wanted


def test_one_pull_alone_leaves_the_source_gap_open():
    found = fit_sources(read(0.03)[:1], lambda *s: circuit_n(*s)[:, :1], SPACE)
    assert isinstance(found, Fit)
    assert found.gap_bounded == (False, False)


def test_two_readings_that_no_source_gives_are_named_with_what_was_to_be_expected():
    readings = read(0.03)
    block = readings[0].high_n
    # Nearly all of the pull is left over half a millimetre, which no source of the space does.
    pieces = (*PIECES, (800.0, 0.5))
    readings.append(Reading(name="over 0.5", low_n=0.95 * block, high_n=0.99 * block))
    found = fit_sources(readings, lambda *s: circuit_n(*s, pieces=pieces), SPACE)
    assert isinstance(found, Contradiction)
    assert len(found.readings) == 2
    assert found.readings[-1] == 4
    assert found.high_n < readings[-1].low_n


def test_a_reading_that_the_iron_cannot_carry_is_named_alone():
    readings = read(0.03)
    limit = PIECES[2][0] * 1e-6 * SATURATION_T**2 / MU0
    readings[2] = Reading(name="too much", low_n=1.2 * limit, high_n=1.3 * limit)
    found = fit_sources(readings, circuit_n, SPACE)
    assert isinstance(found, Contradiction)
    assert found.readings == (2,)
    assert found.high_n < limit
