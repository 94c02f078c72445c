"""Pairs of surfaces without a closed form: the gap sampled at points, with its error said."""

from __future__ import annotations

from functools import partial

import numpy as np

from fixturecheck.contact.quadrics import Pair
from fixturecheck.contact.raw import Raw
from fixturecheck.contact.standing import Array
from fixturecheck.kernel.clip import closest_points, distance, dot, grid_on_face, normal_at, parameter_patch
from fixturecheck.kernel.shapes import Face
from fixturecheck.tolerances import Tolerances

_MOST = 1500
_APART_MM = 1e-2


def sampled(pair: Pair, tolerances: Tolerances) -> list[Raw]:
    """Return patches found by sampling face A and measuring each point's exact distance to face B."""
    a, i, b, j = pair
    ours, theirs = a.face(i), b.face(j)
    nearest = closest_points(ours, theirs, tolerances.near_mm)
    if not nearest:
        return []
    spacing = tolerances.sample_mm
    points, weights, parameters = grid_on_face(ours, spacing, _MOST)
    close = np.all(
        (points >= b.lows[j] - tolerances.near_mm) & (points <= b.highs[j] + tolerances.near_mm), axis=1
    )
    points, weights, parameters = points[close], weights[close], parameters[close]
    gaps = np.array([distance(dot(p), theirs)[0] for p in points])
    found = []
    touching = gaps <= tolerances.touch_mm
    if nearest[0][0] <= tolerances.touch_mm:
        if touching.sum() >= 3:
            found.append(_patch("area", pair, (points, weights, parameters, gaps), touching))
        else:
            found += _spots(pair, nearest, theirs)
    near = ~touching & (gaps <= tolerances.near_mm)
    if near.any():
        found.append(_patch("near", pair, (points, weights, parameters, gaps), near))
    return found


def _patch(kind: str, pair: Pair, samples: tuple[Array, Array, Array, Array], chosen: Array) -> Raw:
    """Weigh the chosen samples; the gap is known to half the step between neighbouring values."""
    a, i, _, j = pair
    points, weights, parameters, gaps = (s[chosen] for s in samples)
    share = weights / weights.sum()
    centre = share @ points
    spread = (
        np.ptp(samples[2], axis=0) / np.sqrt(max(len(samples[3]), 1)) if len(samples[3]) > 1 else np.zeros(2)
    )
    face = a.face(i)
    normal = share @ np.array([normal_at(face, p) for p in points])
    make = partial(
        parameter_patch, face, parameters.min(axis=0) - spread / 2, parameters.max(axis=0) + spread / 2
    )
    ordered = np.sort(gaps)
    return Raw(
        kind=kind,
        a_faces=(i,),
        b_faces=(j,),
        normal=normal / max(float(np.linalg.norm(normal)), 1e-300),
        centroid=centre,
        area_mm2=float(weights.sum()),
        gap_mean_mm=float(share @ gaps),
        gap_max_mm=float(gaps.max()),
        error_mm=float(np.diff(ordered).max() / 2) if len(ordered) > 1 else float(ordered[0]),
        make=make,
    )


def _spots(pair: Pair, nearest: list[tuple[float, Array, Array]], theirs: Face) -> list[Raw]:
    """Distinct points of contact."""
    _, i, _, j = pair
    found: list[Raw] = []
    for _, _, spot in nearest:
        if any(np.linalg.norm(spot - other.centroid) < _APART_MM for other in found):
            continue
        raw = Raw(
            kind="point", a_faces=(i,), b_faces=(j,), normal=-normal_at(theirs, spot), centroid=spot,
            make=partial(dot, spot), ends=(spot, spot),
        )  # fmt: skip
        found.append(raw)
    return found
