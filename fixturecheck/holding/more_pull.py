"""How much more pull would hold a part: a stronger magnet, a better finish, a larger seat.

Magnet and finish are solved again as a field, at the weak end of finish and material, which is what the
factor is reported at; the strong end is left as it was, or at the weak one where that has passed it. A larger
seat is another part: it is tried with the pull per area that was found, and the remedy says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef, both_sides
from fixturecheck.holding.remedy_search import TrialHold, scaled_pull
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import area_mm2, face_frame, is_flat
from fixturecheck.magnet.circuit import MagnetModel, behind
from fixturecheck.magnet.pull import FacePull, Magnet, least_pulls
from fixturecheck.magnet.rating import MagnetSource, find_sources
from fixturecheck.result.magnet import MagnetState
from fixturecheck.result.remedy import Amount, Remedy, RemedyKind
from fixturecheck.setup.holding import Holding
from fixturecheck.setup.model import Body
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
    """Return the greatest area of the flat faces of a body that lie in one plane and look one way."""
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
    """Switch the magnet on, turn a trifle further up, or look for a chuck of a higher rating."""
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
        message = "of a chuck of another rating nothing but its rated pull is known"
        raise NotComputedError(message)
    setup = replace(trial.setup, holding=replace(holding, rated_pull_n_cm2=rated_n_cm2))
    found = find_sources(setup, trial.mesher)
    return found[0], found[1] if len(found) > 1 else None


def finer_seat(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the next finer finishes of the part's seats, one after the other."""
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

    Raises
    ------
    NotComputedError
        One of them has no finish that the table knows.
    """
    stated = [body.finish_of(f) or "" for f in FaceRef.of(body.name, faces).faces]
    if not set(stated) <= set(table):
        message = f"{body.name}.{faces} has no finish that is known"
        raise NotComputedError(message)
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
        message = "no magnet pulls here"
        raise NotComputedError(message)
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
