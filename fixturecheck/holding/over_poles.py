"""Whether a part would hold elsewhere on the same magnet: over a seam of unlike poles, or full on one pole.

The pull on a small part depends on the poles under it. On like poles, or beside a seam, it is a fraction of
what it is a few millimetres further on, and sliding the part there costs nothing. The field is solved again
for each place, and the place is put through the full analysis.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.holding.remedy_search import TrialHold
from fixturecheck.holding.rig import rig_of
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import composed, placed_at, translation
from fixturecheck.magnet.pull import magnet_of
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.remedy import Amount, Remedy, RemedyKind
from fixturecheck.setup.model import Setup, together

_SLID = 1.1
"""How large a change it is: the least of all, nothing is taken off or added (chosen here, no source)."""
_HELPS = 1.25
"""How many times better a place has to be for a lighter cut to be looked for there."""
_LEAST_MM, _STEP_MM = 1.0, 0.1
"""The least slide worth making, and the step of the answer."""
_TRIES = 2
"""Fields solved for it: each costs as much as the first."""
_SAME_AREA = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleLine:
    """Pole pieces side by side, in order along the axis on which their polarity changes.

    Parameters
    ----------
    axis : int
        Along X (0) or Y (1).
    middles_mm : tuple of float
        Middle of each pole.
    seams_mm : tuple of float
        Halfway between neighbours of unlike polarity.
    """

    axis: int
    middles_mm: tuple[float, ...]
    seams_mm: tuple[float, ...]


def pole_line(boxes: Sequence[tuple[float, ...]], polarities: Sequence[str]) -> PoleLine | None:
    """Return the row that poles stand in; None where they stand in none.

    Parameters
    ----------
    boxes : sequence of tuple, shape (n, 6)
        Box of each pole, least corner and greatest, mm.
    polarities : sequence of str
        `n` or `s` for each.

    Returns
    -------
    PoleLine or None
        None where there are fewer than two, or unlike neighbours lie one above the other.
    """
    if len(boxes) < 2:
        return None
    middles = np.array([[(b[i] + b[i + 3]) / 2 for i in range(2)] for b in boxes])
    axis = int(np.argmax(np.ptp(middles, axis=0)))
    order = np.argsort(middles[:, axis], kind="stable")
    along = middles[order, axis]
    kinds = [polarities[i] for i in order]
    pairs = zip(along[:-1], along[1:], kinds[:-1], kinds[1:], strict=True)
    seams = tuple(float(p + q) / 2 for p, q, a, b in pairs if a != b and q - p > _LEAST_MM)
    return PoleLine(axis=axis, middles_mm=tuple(map(float, along)), seams_mm=seams) if seams else None


def slides_mm(row: PoleLine, middle_mm: float) -> tuple[float, ...]:
    """Return how far a part may be slid so that its middle comes over a seam or a pole, the shortest first.

    Over a seam comes first whatever its distance: there a part closes the circuit by the shortest way.

    Parameters
    ----------
    row : PoleLine
    middle_mm : float
        Middle of the part along the row.
    """

    def to(places: Sequence[float]) -> list[float]:
        # Of two places as near as each other the one toward plus: an answer has to repeat.
        away = sorted((p - middle_mm for p in places), key=lambda d: (round(abs(d), 6), -d))
        return [_STEP_MM * round(d / _STEP_MM) for d in away[:1] if abs(d) >= _LEAST_MM]

    return tuple([*to(row.seams_mm), *to(row.middles_mm)][:_TRIES])


def over_poles(trial: TrialHold, lighter: Callable[[TrialHold], Iterator[Remedy]]) -> Iterator[Remedy]:
    """Look for a better place of everything that stands on the magnet, along the row of its poles.

    The wheel's way goes with the work, so the magnet is moved under it instead, by as much the other way.
    What the parts touch has to stay as it was: a part against a rail across the row cannot be slid.

    Parameters
    ----------
    trial : TrialHold
        The part where it stands.
    lighter : callable
        Looks for a lighter cut of a part; asked at the new place where that helps and is not enough.
    """
    poles, pulls = trial.setup.poles(), trial.rig.pulls
    if trial.magnet is None or pulls is None or not pulls.on(trial.part.part):
        return
    row = pole_line([box_of(placed_at(p.solid, p.at)) for p in poles], [str(p.pole) for p in poles])
    if row is None:
        return
    box, least, now = box_of(trial.process.placed[trial.part.part]), trial.least_factor, trial.low
    stands = find_contacts([b.placed() for b in trial.setup.bodies], trial.setup.tolerances)
    best: tuple[float, TrialHold, Amount] | None = None
    for slide_mm in slides_mm(row, (box[row.axis] + box[row.axis + 3]) / 2):
        slid = _slid(trial, stands, row.axis, slide_mm)
        if slid is None:
            continue
        factor = slid.changed().factor(least)
        amount = Amount(name="XY"[row.axis], now=0.0, to=slide_mm, unit="mm")
        if factor >= least:
            yield trial.remedy(RemedyKind.SLID, factor, _SLID, amounts=(amount,))
            return
        if factor > max(_HELPS * now, best[0] if best else 0.0):
            best = factor, slid, amount
    if best is None:
        return
    _, slid, amount = best
    for also in lighter(slid):
        ratio = _SLID * also.change_ratio
        yield replace(trial.remedy(RemedyKind.SLID, also.factor, ratio, amounts=(amount,)), also=also)


def _slid(trial: TrialHold, stands: ContactMap, axis: int, slide_mm: float) -> TrialHold | None:
    """Return the trial with all work slid along the magnet; None where it cannot be slid there."""
    under = _magnet_bodies(trial.setup)
    at = translation((-slide_mm, 0.0, 0.0) if axis == 0 else (0.0, -slide_mm, 0.0))
    bodies = tuple(replace(b, at=composed(at, b.at)) if b.name in under else b for b in trial.setup.bodies)
    setup = replace(trial.setup, bodies=bodies)
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    if contacts.overlaps or not _touches_alike(stands, contacts):
        return None
    placed = dict(trial.process.placed)
    placed |= {b.name: placed_at(b.solid, b.at) for b in bodies if b.name in under}
    process = trial.process.moved_to(setup, placed)
    if not all(process.clears(placed[name]) for name in under):
        return None
    known, holding = trial.magnet, setup.holding
    sources = None if known is None else known.sources
    magnet = magnet_of(setup, contacts, trial.mesher, sources=sources)
    pulls = magnet.pulls(holding.strength_share if holding else 0.0)
    return replace(trial, process=process, rig=rig_of(setup, placed, contacts, pulls), magnet=magnet)


def _magnet_bodies(setup: Setup) -> frozenset[str]:
    """Return the bodies that poles are set in or are, and all of the same pieces of equipment."""
    bodies = {b.name for b in setup.bodies}
    owners = {p.group if p.group in bodies else p.name for p in setup.poles()}
    return frozenset(n for owner in owners for n in together(setup, owner))


def _touches_alike(before: ContactMap, after: ContactMap) -> bool:
    """Say whether every two bodies share as much area after a slide, and touch where they touched."""

    def areas(found: ContactMap) -> dict[tuple[str, str], float]:
        shared: dict[tuple[str, str], float] = {}
        for patch in found.patches:
            if patch.contact.kind != ContactKind.NEAR:
                a, b = sorted(patch.bodies)
                shared[a, b] = shared.get((a, b), 0.0) + patch.contact.area_mm2
        return shared

    was, now = areas(before), areas(after)
    return was.keys() == now.keys() and all(
        abs(now[pair] - area) <= _SAME_AREA * max(area, 1.0) for pair, area in was.items()
    )
