"""How iron takes up flux: a smooth, monotone B-H law with closed-form coenergy, fitted to points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np
from scipy.optimize import nnls

from fixturecheck.arrays import Floats
from fixturecheck.constants import MU0_H_M, PURE_IRON_J_T
from fixturecheck.errors import SetupError

_FIT_POINTS_PER_DECADE = 6
# How far beyond its last point a law may still rise: nothing is known there, and less pulls less.
_BEYOND_SHARE = 0.04
_LIGHT, _HEAVY = 1e-3, 10.0

INITIAL_MU_R = 150.0
"""Relative permeability of carbon steel at its start, where tables have no point: iron 150, cold-rolled
steel 180 (Bozorth, Ferromagnetism [@bozorth1951], from memory). No more than a quarter of B/H at the first
point."""
_START_SHARE, _START_KNEE = 0.25, 20.0
_MOST_OFF = 0.5
_COUNTS_T = 0.5
_ENVELOPE_A_M = np.geomspace(100.0, 3e5, 60)


@dataclass(frozen=True, slots=True, kw_only=True)
class BHLaw:
    """An isotropic anhysteretic law, ``B = mu0 H + sum of saturating terms``.

    Parameters
    ----------
    name : str
        What the law belongs to; used in messages.
    knees : tuple of (float, float)
        Polarisation in T and field in A/m of each term ``J (2/pi) atan(H/a)``.
    feet : tuple of (float, float)
        The same for each term ``J (H/a)^2 / (1 + (H/a)^2)``, which carries the slow start of a
        real curve below its steepest point.

    Notes
    -----
    Every term is monotone in H, so the coenergy is convex and a field problem has one solution.
    """

    name: str
    knees: tuple[tuple[float, float], ...] = ()
    feet: tuple[tuple[float, float], ...] = ()

    @property
    def saturation_t(self) -> float:
        """Polarisation that the law approaches at any field, T."""
        return sum(j for j, _ in self.knees) + sum(j for j, _ in self.feet)

    @property
    def terms(self) -> tuple[Floats, Floats]:
        """The knees and the feet as compiled loops take them, shapes (k, 2) and (f, 2)."""
        knees, feet = (np.array(each, dtype=float).reshape(-1, 2) for each in (self.knees, self.feet))
        return knees, feet

    def flux_density_t(self, field_a_m: Floats) -> Floats:
        """Return B in T at field strengths of any shape, which must not be negative."""
        h = np.asarray(field_a_m, dtype=float)
        b = MU0_H_M * h
        for j, a in self.knees:
            b = b + j * (2 / pi) * np.arctan(h / a)
        for j, a in self.feet:
            x = (h / a) ** 2
            b = b + j * x / (1 + x)
        return np.asarray(b)

    def chord_h_m(self, field_a_m: Floats) -> Floats:
        """Return B/H in H/m, with its limit at H = 0."""
        h = np.asarray(field_a_m, dtype=float)
        s = np.full_like(h, MU0_H_M)
        for j, a in self.knees:
            x = h / a
            small = x < 1e-6
            safe = np.where(small, 1.0, x)
            s += j * (2 / pi) / a * np.where(small, 1.0, np.arctan(safe) / safe)
        for j, a in self.feet:
            x = h / a
            s += j * x / a / (1 + x**2)
        return s


def scaled_law(law: BHLaw, share: float) -> BHLaw:
    """Return a law with another share of its polarisation at every field, and no more than pure iron's.

    Parameters
    ----------
    law : BHLaw
        The law that is scaled.
    share : float
        Polarisation of the new law over that of the old one.

    Returns
    -------
    BHLaw
        Of the same name.
    """
    share = min(share, max(1.0, PURE_IRON_J_T / law.saturation_t)) if law.saturation_t else share
    return replace(
        law,
        knees=tuple((share * j, a) for j, a in law.knees),
        feet=tuple((share * j, a) for j, a in law.feet),
    )


def law_between(weak: BHLaw, strong: BHLaw, share: float) -> BHLaw:
    """Return the law whose flux density lies at a share of the way from one law to another at every field.

    Parameters
    ----------
    weak, strong : BHLaw
        The two laws.
    share : float
        0 is the weak one, 1 the strong one.

    Returns
    -------
    BHLaw
        With the name of the strong one.
    """
    if share in (0.0, 1.0):
        return strong if share else weak
    ends = (scaled_law(weak, 1.0 - share), scaled_law(strong, share))
    return BHLaw(
        name=strong.name,
        knees=tuple(knee for law in ends for knee in law.knees),
        feet=tuple(foot for law in ends for foot in law.feet),
    )


LATE_MU_R, LATE_END_T = 40.0, 1.4
"""Where the virgin curve of a hardened steel starts, and what it ends at (chosen here, no source)."""
_LATE_KNEE, _LATE_FOOT = 1.0 / 3.0, 1.2


def late_law(name: str, coercivity_a_m: float) -> BHLaw:
    """Return a virgin curve that rises as late as a coercivity lets one rise: it is steepest about there.

    A field that does not turn domain walls round does not carry them far at first either.

    Parameters
    ----------
    name : str
        Material, for messages.
    coercivity_a_m : float
        Greatest coercivity that it may have, A/m.

    Returns
    -------
    BHLaw
        From the initial permeability up to the end of the polarisation.
    """
    knee = _LATE_KNEE * coercivity_a_m
    start_t = (LATE_MU_R - 1.0) * MU0_H_M * knee * pi / 2.0
    feet = ((LATE_END_T - start_t, _LATE_FOOT * coercivity_a_m),)
    return BHLaw(name=name, knees=((start_t, knee),), feet=feet)


def lowest_law(laws: Sequence[BHLaw], *, highest: bool = False) -> BHLaw:
    """Return the law that has the least flux density of several at every field.

    Curves may cross: an iron that rises late may saturate late. A law that lies lowest everywhere is returned
    as it is; else the least values are fitted anew.

    Parameters
    ----------
    laws : sequence of BHLaw
        At least one.
    highest : bool
        Take the greatest flux density in place of the least.

    Returns
    -------
    BHLaw
        Named after all of them where they cross.
    """
    flux_t = np.array([law.flux_density_t(_ENVELOPE_A_M) for law in laws])
    found = flux_t.max(axis=0) if highest else flux_t.min(axis=0)
    for law, own in zip(laws, flux_t, strict=True):
        if np.allclose(own, found, rtol=1e-3):
            return law
    name = " or ".join(dict.fromkeys(law.name for law in laws))
    return fit_law(name, list(zip(_ENVELOPE_A_M.tolist(), found.tolist(), strict=True)))


def linear_law(name: str, *, mu_r: float) -> BHLaw:
    """Return a law of constant relative permeability, for closed forms.

    It is one term so wide that it stays straight up to some 1e9 A/m.

    Parameters
    ----------
    name : str
        Material, for messages.
    mu_r : float
        Relative permeability; one or less is air.

    Returns
    -------
    BHLaw
        B = mu0 mu_r H.
    """
    a = 1e13
    return BHLaw(name=name, knees=((MU0_H_M * (mu_r - 1) * a * pi / 2, a),)) if mu_r > 1 else BHLaw(name=name)


def fit_law(name: str, points: Sequence[tuple[float, float]]) -> BHLaw:
    """Fit a law to measured points.

    Non-negative least squares over a fixed ladder of knee fields, so the fit is monotone whatever
    the points, has no starting guess and repeats exactly. Below the first point the law starts with
    the permeability of iron at its start, so that a weak field is not stopped by what was not measured.

    Parameters
    ----------
    name : str
        Material, for messages.
    points : sequence of (field_a_m, flux_density_t)
        At least five, increasing in both.

    Returns
    -------
    BHLaw
        The law, with a closed-form coenergy.

    Raises
    ------
    SetupError
        Too few points, points that do not rise, a polarisation above that of pure iron, or a curve so steep
        that the law misses a point by more than half.

    References
    ----------
    The shape of the terms is chosen here, no source; the start after Bozorth [@bozorth1951], from memory.
    """
    table = np.asarray(points, dtype=float)
    if table.ndim != 2 or table.shape[1:] != (2,) or len(table) < 5:
        raise SetupError(
            f"material {name!r}: a B-H curve needs at least five (A/m, T) points; got {len(table)}"
        )
    h, b = table.T
    if h[0] <= 0 or np.any(np.diff(h) <= 0) or np.any(np.diff(b) <= 0):
        raise SetupError(f"material {name!r}: B-H points must start above zero and rise in both columns")
    j = b - MU0_H_M * h
    if j.max() > PURE_IRON_J_T:
        raise SetupError(
            f"material {name!r}: polarisation reaches {j.max():.3f} T, above the {PURE_IRON_J_T} T of "
            "pure iron; check the points or leave out the tail"
        )
    low, high = np.log10(h[0] / 3), np.log10(h[-1])
    count = int(np.ceil((high - low) * _FIT_POINTS_PER_DECADE)) + 1
    fields = np.logspace(low, high, count)
    start, top_t = _start(h[0], j[0]), j.max()
    j = j - start[0] * (2 / pi) * np.arctan(h / start[1])
    x = h[:, None] / fields[None, :]
    columns = np.hstack([(2 / pi) * np.arctan(x), x**2 / (1 + x**2)])
    # Relative errors count, or the foot of the curve would be left out; the last row keeps what lies beyond
    # the points close to the last of them.
    weights = 1 / b
    most = min(PURE_IRON_J_T, (1.0 + _BEYOND_SHARE) * float(top_t)) - start[0]
    rows, wanted = columns * weights[:, None], j * weights

    def fitted(weight: float) -> Floats:
        top = weight * np.ones((1, 2 * count)) / most
        return np.asarray(nnls(np.vstack([rows, top]), np.append(wanted, weight))[0])

    share = fitted(_LIGHT)
    if share.sum() > most:
        share = fitted(_HEAVY)
    share *= min(1.0, most / share.sum())
    terms = [(float(s), float(a)) for s, a in zip(share, np.tile(fields, 2), strict=True)]
    keep = 1e-4
    law = BHLaw(
        name=name,
        knees=(start, *(t for t in terms[:count] if t[0] > keep)),
        feet=tuple(t for t in terms[count:] if t[0] > keep),
    )
    _refuse_a_miss(law, h, b)
    return law


def fit_misses(law: BHLaw, points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return how far a law lies below and above its points, as shares of the flux density, at most.

    Points below 0.5 T are left out: there a steel takes so little of a magnet's force that its pull hardly
    changes.

    Parameters
    ----------
    law : BHLaw
        As fitted.
    points : sequence of (field_a_m, flux_density_t)
        What it was fitted to.

    Returns
    -------
    tuple of float
        The greatest share below and above, neither negative.
    """
    h, b = np.asarray(points, dtype=float).T
    counts = b >= _COUNTS_T
    off = law.flux_density_t(h[counts]) / b[counts] - 1.0
    return float(max(-off.min(initial=0.0), 0.0)), float(max(off.max(initial=0.0), 0.0))


def _refuse_a_miss(law: BHLaw, field_a_m: Floats, flux_t: Floats) -> None:
    """Raise where a law is off a point that it was fitted to by more than can be lived with."""
    off = np.abs(law.flux_density_t(field_a_m) / flux_t - 1.0)
    worst = int(np.argmax(off))
    if off[worst] > _MOST_OFF:
        raise SetupError(
            f"material {law.name!r}: its B-H points are steeper than can be followed: the law is off by "
            f"{off[worst]:.0%} at {field_a_m[worst]:g} A/m; state points from the knee upward, or curves "
            "that it lies between"
        )


def _start(first_a_m: float, first_j_t: float) -> tuple[float, float]:
    """Return the term that carries the permeability at no field; it has done its part by the first point."""
    mu_r = min(INITIAL_MU_R, _START_SHARE * (1.0 + first_j_t / (MU0_H_M * first_a_m)))
    knee_a_m = float(first_a_m) / _START_KNEE
    return max(0.0, float(mu_r) - 1.0) * MU0_H_M * knee_a_m * pi / 2, knee_a_m
