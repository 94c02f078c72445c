"""How copies of a part stand behind each other along X: nested, or with blocks between."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from fixturecheck.arrays import Floats
from fixturecheck.kernel.depth import chords
from fixturecheck.setup.records import Rank, Seat
from fixturecheck.start.layout import copies, touching
from fixturecheck.start.part import SAME, FaceNames, Part, Plane

_LEAST_SHARE = 0.25
"""Share of the smaller face that has to lie on the other for the two to be called a nest (chosen here)."""

_LINES = 200
_PIERCED_MM = 1e-3
"""Lines along X on which neighbours are held against each other, and how far two may overlap on one before
they are taken to overlap (chosen here)."""

_EARLY_SHARE = 0.05
"""Share of the pitch by which something may land before the faces of a nest meet, for the nest still to be
taken as the one that is meant (chosen here)."""

_MOST_TRIED = 6
"""Nests that are looked at with the solids, the closest first, which takes up to seconds each."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nest:
    """How the next part stands: so far along X, with these faces on each other.

    Parameters
    ----------
    pitch_mm : float
        From one part to the next, along +X.
    low, high : Plane
        The face of each part that looks toward -X, and the one toward +X; the high face of a part lies on
        the low face of the next.
    shared_mm2 : float
        Area on which they lie on each other.
    early_mm : float
        How far something else lands before they meet; zero where nothing does.
    """

    pitch_mm: float
    low: Plane
    high: Plane
    shared_mm2: float
    early_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nesting:
    """What a search for a nest came to.

    Parameters
    ----------
    nest : Nest or None
        The closest one found that fits; where none fits, the one in which least lands early.
    least_mm : float or None
        No nest is closer than this, as lines through the part show; None where it has none at all.
    untried : int
        Nests that were not looked at, since others had used up the tries or they are too wide apart.
    """

    nest: Nest | None
    least_mm: float | None
    untried: int


def nesting_of(part: Part, turn: Floats, most_mm: float = np.inf) -> Nesting:
    """Return the closest nest of a part with its copy.

    Lines along X through the part rule out most candidates; only what they leave is tried with the solids.
    Where none fits without an overlap, the one that is all but closed is taken as meant: a check of it then
    tells what lands first, and what would cure that.

    Parameters
    ----------
    turn : ndarray, shape (3, 3)
        From the part's frame to the machine's.
    most_mm : float
        Nests of a greater pitch are of no use.
    """
    spans = _spans(part, turn)
    every = [replace(n, early_mm=_pierced_mm(spans, n.pitch_mm)) for n in _candidates(part, turn)]
    left = sorted(
        (replace(n, early_mm=0.0) for n in every if n.early_mm <= _PIERCED_MM),
        key=lambda n: (round(n.pitch_mm, 6), -n.shared_mm2),
    )
    useful = [n for n in left if n.pitch_mm <= most_mm]
    least_mm = left[0].pitch_mm if left else None
    for nest in useful[:_MOST_TRIED]:
        pair = copies(part, {}, turn, (("a", (0.0, 0.0, 0.0)), ("b", (nest.pitch_mm, 0.0, 0.0))))
        if not touching(pair).overlaps:
            return Nesting(nest=nest, least_mm=least_mm, untried=0)
    meant = [
        n for n in every if n.pitch_mm <= most_mm and _PIERCED_MM < n.early_mm < _EARLY_SHARE * n.pitch_mm
    ]
    if meant and not useful:
        return Nesting(nest=min(meant, key=lambda n: n.early_mm), least_mm=least_mm, untried=0)
    return Nesting(nest=None, least_mm=least_mm, untried=len(left) - len(useful[:_MOST_TRIED]))


def _spans(part: Part, turn: Floats) -> list[Floats]:
    """Return where lines along X run inside a turned part, spread evenly over its width and height."""
    across = part.points @ turn.T[:, 1:]
    low, high = across.min(axis=0), across.max(axis=0)
    # Steps by the plastic number fill a square evenly, and put no line into a plane of the part.
    steps = np.arange(1, _LINES + 1)[:, None] * (0.7548776662466927, 0.5698402909980532)
    places = low + (high - low) * (steps % 1.0)
    starts = np.column_stack([np.zeros(_LINES), places]) @ turn
    return [rows for rows in chords(part.body.solid, starts, turn[0]) if rows.size]


def _pierced_mm(spans: Sequence[Floats], pitch_mm: float) -> float:
    """Return the longest piece of a line that a part shares with its copy, so far along; at least zero."""
    deepest = 0.0
    for rows in spans:
        low = np.maximum(rows[:, None, 0], rows[None, :, 0] + pitch_mm)
        high = np.minimum(rows[:, None, 1], rows[None, :, 1] + pitch_mm)
        deepest = max(deepest, float((high - low).max()))
    return deepest


def _candidates(part: Part, turn: Floats) -> Iterator[Nest]:
    lows = [p for p in part.planes if np.linalg.norm(turn @ p.normal + (1.0, 0.0, 0.0)) < SAME]
    highs = [p for p in part.planes if np.linalg.norm(turn @ p.normal - (1.0, 0.0, 0.0)) < SAME]
    for low in lows:
        for high in highs:
            pitch = high.offset_mm + low.offset_mm
            shared = outline(low, turn).intersection(outline(high, turn)).area
            if pitch > 0 and shared > _LEAST_SHARE * min(low.area_mm2, high.area_mm2):
                yield Nest(pitch_mm=pitch, low=low, high=high, shared_mm2=shared)


def outline(plane: Plane, turn: Floats) -> shapely.Geometry:
    """Return the outline of a plane that looks along X, in Y and Z."""
    faces = []
    for rings in plane.rings:
        flat = [(ring @ turn.T)[:, 1:] for ring in rings]
        faces.append(shapely.Polygon(flat[0], flat[1:]).buffer(0))
    return shapely.union_all(faces)


def nest_seat(nest: Nest, names: FaceNames, copy: str, before: str) -> Seat:
    """Return the seat of a copy of a part on the one before it in the row."""
    high, low = names.name(nest.high.faces, "right"), names.name(nest.low.faces, "left")
    return Seat(body=copy, face=high, on=before, on_face=low, rank=Rank.NEST)
