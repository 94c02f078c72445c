"""How much more pull would hold a part: a stronger magnet, a better finish, a larger seat, a better place.

Magnet and finish are solved again as a field, at the weak end of finish and material, which is what the
factor is reported at; the strong end is left as it was, or at the weak one where that has passed it. A larger
seat is another part: it is tried with the pull per area that was found, and the remedy says so.

The pull on a small part depends on the poles under it. On like poles, or beside a seam, it is a fraction of
what it is a few millimetres further on, and sliding the part there costs nothing. The field is solved again
for each place, and the place is put through the full analysis.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef, both_sides
from fixturecheck.holding.remedy_search import TrialHold, scaled_pull
from fixturecheck.holding.rig import rig_of
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, box_of, face_frame, is_flat
from fixturecheck.kernel.place import composed, placed_at, translation
from fixturecheck.magnet.circuit import MagnetModel, behind
from fixturecheck.magnet.pull import FacePull, Magnet, least_pulls, magnet_of
from fixturecheck.magnet.rating import MagnetSource, find_sources
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.hold import MagnetState
from fixturecheck.result.remedy import Amount, Remedy, RemedyKind
from fixturecheck.setup.holding import Holding
from fixturecheck.setup.model import Body, Setup, together
from fixturecheck.shop.tables import Finish, finishes

MOST_PULL_RATIO, PULL_STEP = 4.0, 0.05
RATED_STEP_N_CM2, SHARE_STEP = 5.0, 0.05
MOST_RATED_N_CM2 = 160.0
"""No chuck is rated higher: iron that carries 2 T is pulled by B^2 / (2 mu0), 159 N/cm2."""
_FINISH_CHANGE = 2.0
_SOLVES, _RUNGS = 2, 3
"""Fields solved again for one remedy: each costs as much as the first."""
_PULL_EXPONENT = 1.5
"""How pull rises with the magnet short of saturation; only a first guess: what is reported is solved."""
_SLID = 1.1
"""How large a change it is: the least of all, nothing is taken off or added (chosen here, no source)."""
_HELPS = 1.25
"""How many times better a place has to be for a lighter cut to be looked for there."""
_LEAST_MM, _STEP_MM = 1.0, 0.1
"""The least slide worth making, and the step of the answer."""
_TRIES = 2
"""Fields solved for it: each costs as much as the first."""
_SAME_AREA = 1e-3


def _needed(trial: TrialHold, pulled: Callable[[FacePull], bool]) -> tuple[float, float] | None:
    """Return how many times the pull of some faces is needed, and the factor; None where none is enough."""
    if trial.rig.pulls is None:
        return None
    return trial.least(
        lambda ratio: trial.changed(rig=scaled_pull(trial.rig, ratio, pulled)),
        now=1.0,
        most=MOST_PULL_RATIO,
        step=PULL_STEP,
    )


def larger_seat(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the area of seat that holds the part, at the pull per area that was found.

    No more is asked for than the part has in one plane.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        One, or none where no area that the part has in one plane is enough, or where no magnet pulls.
    """
    part, poles = trial.part.part, {b.name for b in trial.setup.poles()}

    def seated(face: FacePull) -> bool:
        return part in face.bodies and not poles.isdisjoint(face.bodies)

    found = _needed(trial, seated)
    if found is None or trial.rig.pulls is None:
        return
    ratio, factor = found
    area_mm2 = sum(f.area_mm2 for f in trial.rig.pulls.faces if seated(f))
    if ratio * area_mm2 > most_in_a_plane_mm2(trial.setup.body(part)):
        return
    amount = Amount(now=area_mm2, to=ratio * area_mm2, unit="mm2")
    yield trial.remedy(RemedyKind.SEAT, factor, ratio, amounts=(amount,))


def most_in_a_plane_mm2(body: Body) -> float:
    """Return the greatest area of the flat faces of a body that lie in one plane and look one way.

    Parameters
    ----------
    body : Body
        As drawn.

    Returns
    -------
    float
        Zero where no face is flat.
    """
    areas: dict[tuple[float, ...], float] = {}
    for face in faces_of(body.solid):
        # The middle of a round face lies on its axis, where it has no normal.
        if not is_flat(face):
            continue
        centre, normal, _ = face_frame(face)
        plane = (*np.round(normal, 6), round(float(centre @ normal), 3))
        key = tuple(v + 0.0 for v in plane)
        areas[key] = areas.get(key, 0.0) + area_mm2(face)
    return max(areas.values(), default=0.0)


def more_magnet(trial: TrialHold) -> Iterator[Remedy]:
    """Switch the magnet on, turn a trifle further up, or look for a chuck of a higher rating.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        One, or none where nothing that was tried is enough.
    """
    magnet, holding = trial.magnet, trial.setup.holding
    if magnet is None or holding is None:
        return
    if trial.rig.pulls is None:
        yield from _switched_on(trial, magnet)
        return
    found = _needed(trial, lambda _: True)
    if found is None:
        return
    if holding.magnet == MagnetState.TRIFLE:
        yield from _turned_up(trial, magnet, holding, found[0])
    else:
        yield from _higher_rated(trial, magnet, holding, found[0])


def _switched_on(trial: TrialHold, magnet: Magnet) -> Iterator[Remedy]:
    """Look at what the magnet does when it is switched on."""
    factor = trial.changed(rig=replace(trial.rig, pulls=magnet.pulls(1.0))).factor(trial.least_factor)
    if factor >= trial.least_factor:
        yield trial.remedy(RemedyKind.SWITCHED_ON, factor, 1.0)


def _turned_up(trial: TrialHold, magnet: Magnet, holding: Holding, ratio: float) -> Iterator[Remedy]:
    share = holding.trifle_share * ratio ** (1.0 / _PULL_EXPONENT)
    for _ in range(_SOLVES):
        share = min(1.0, SHARE_STEP * math.ceil(share / SHARE_STEP - 1e-9))
        factor = _solved_again(trial, magnet.weak, magnet.soft, share)
        if factor >= trial.least_factor:
            amount = Amount(now=holding.trifle_share, to=share, unit="share")
            ratio = share / holding.trifle_share
            yield trial.remedy(RemedyKind.TURNED_UP, factor, ratio, amounts=(amount,))
            return
        share *= 1.5


def _higher_rated(trial: TrialHold, magnet: Magnet, holding: Holding, ratio: float) -> Iterator[Remedy]:
    rated_n_cm2 = holding.rated_n_cm2 * ratio
    for _ in range(_SOLVES):
        rated_n_cm2 = RATED_STEP_N_CM2 * math.ceil(rated_n_cm2 / RATED_STEP_N_CM2 - 1e-9)
        if rated_n_cm2 > MOST_RATED_N_CM2:
            return
        stiff, soft = _sources(trial, holding, rated_n_cm2)
        stronger = behind(magnet.weak, mmf_a=stiff.mmf_a, gap_mm=stiff.gap_mm)
        factor = _solved_again(trial, stronger, soft, holding.strength_share)
        if factor >= trial.least_factor:
            amount = Amount(now=holding.rated_n_cm2, to=rated_n_cm2, unit="N/cm2")
            ratio = rated_n_cm2 / holding.rated_n_cm2
            yield trial.remedy(RemedyKind.CHUCK, factor, ratio, amounts=(amount,))
            return
        rated_n_cm2 *= max(1.1, trial.least_factor / max(factor, 1e-3))


def _sources(
    trial: TrialHold, holding: Holding, rated_n_cm2: float
) -> tuple[MagnetSource, MagnetSource | None]:
    """Return the sources that a magnet of another rated pull may have."""
    if holding.shim_mm is not None or holding.source_mmf_a:
        raise NotComputedError("of a chuck of another rating nothing but its rated pull is known")
    setup = replace(trial.setup, holding=replace(holding, rated_pull_n_cm2=rated_n_cm2))
    found = find_sources(setup, trial.mesher)
    return found[0], found[1] if len(found) > 1 else None


def finer_seat(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the next finer finishes of the part's seats, one after the other.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        The first finish tried that is enough, or none.
    """
    magnet, holding = trial.magnet, trial.setup.holding
    body, pulls = trial.setup.body(trial.part.part), trial.rig.pulls
    if pulls is None or magnet is None or holding is None:
        return
    seats = sorted({_mine(f, body.name) for f in pulls.on(body.name)})
    table = finishes()
    now = {s: roughest_of(body, s, table) for s in seats}
    if not seats:
        return
    roughest = max(now.values(), key=lambda n: table[n].rz_um[1])
    # Of finishes that are as rough as each other the last by name: rough ground before milled.
    rungs = {table[n].rz_um[1]: n for n in sorted(table)}
    finer = [rungs[rz] for rz in sorted(rungs, reverse=True) if rz < table[roughest].rz_um[1]]
    for name in finer[:_RUNGS]:
        closer_um = {s: _gap_saved_um(table[n], table[name]) for s, n in now.items()}
        factor = _solved_again(
            trial, _closer(magnet.weak, body.name, closer_um), magnet.soft, holding.strength_share
        )
        if factor >= trial.least_factor:
            names = (roughest, name)
            yield trial.remedy(RemedyKind.FINISH, factor, _FINISH_CHANGE, names=names)
            return


def _gap_saved_um(now: Finish, finer: Finish) -> float:
    """Return how much narrower the gap under a face becomes by another finish, at the wide end of both."""
    return ((now.rz_um[1] + now.flatness_um[1]) - (finer.rz_um[1] + finer.flatness_um[1])) / 2


def roughest_of(body: Body, faces: str, table: Mapping[str, Finish]) -> str:
    """Return the roughest finish of a face or of the pieces that meet there.

    Parameters
    ----------
    body : Body
        States the finishes of its faces.
    faces : str
        Name of the face, or of several joined by `+`.
    table : mapping of str to Finish
        Finishes by name.

    Returns
    -------
    str
        Name of the finish with the greatest upper end of Rz.

    Raises
    ------
    NotComputedError
        One of them has no finish that the table knows.
    """
    stated = [body.finish_of(f) or "" for f in FaceRef.of(body.name, faces).faces]
    if not set(stated) <= set(table):
        raise NotComputedError(f"{body.name}.{faces} has no finish that is known")
    return max(stated, key=lambda n: table[n].rz_um[1])


def _mine(face: FacePull, body: str) -> str:
    """Return the face of the body that is pulled."""
    return (face.a if face.a.body == body else face.b).face


def _closer(model: MagnetModel, body: str, closer_um: dict[str, float]) -> MagnetModel:
    """Return the model with the gaps of a body's faces made narrower by a finer finish."""
    gaps = []
    for gap in model.gaps:
        mine = [s.face for s in both_sides(gap.name) if s.body == body and s.face in closer_um]
        narrower_mm = max(0.0, closer_um[mine[0]]) * 1e-3 if mine and gap.counts else 0.0
        gaps.append(replace(gap, gap_mm=gap.gap_mm - narrower_mm))
    return replace(model, gaps=tuple(gaps))


def _solved_again(trial: TrialHold, model: MagnetModel, soft: MagnetSource | None, strength: float) -> float:
    """Solve the field at its weak end and put it through the full analysis.

    Parameters
    ----------
    model : MagnetModel
        With the stiffer source behind its poles.
    soft : MagnetSource or None
        The softer one; None where the source is known.
    strength : float
        Share of the full magnetomotive force.

    Raises
    ------
    NotComputedError
        The field did not converge.
    """
    pulls = trial.rig.pulls
    if pulls is None:
        raise NotComputedError("no magnet pulls here")
    solved = least_pulls(model, soft, strength).patches
    faces = []
    for face in pulls.faces:
        found = solved[face.number]
        size_n = float(np.linalg.norm(found.force_n))
        faces.append(
            replace(
                face,
                weak_n=size_n,
                weak_at_mm=found.centre_mm,
                strong_n=max(face.strong_n, size_n),
                pressure_n_mm2=found.pressure_n_mm2,
            )
        )
    rig = replace(trial.rig, pulls=replace(pulls, faces=tuple(faces)))
    return trial.changed(rig=rig).factor(trial.least_factor)


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
        The poles side by side.
    middle_mm : float
        Middle of the part along the row.

    Returns
    -------
    tuple of float
        At most a few, of either sign; along X or Y as the row lies.
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

    Yields
    ------
    Remedy
        One place that is enough; else the best one, once with each lighter cut that is enough there; or none.
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
