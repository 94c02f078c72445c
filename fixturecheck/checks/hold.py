"""Does every part hold against its cut, by what factor, and what would bring the factor back.

What: for each part of each cut the factor on the cutting load at which it lets go, low to high, at the
stroke and place that it bears least, under coolant unless it is stated as dry; what drives it; which single
loss makes it unsafe. A strap or toe on the very face that a `[[mill]]` loads is `unknown`: such a load states
no path.
Why: a part that scoots or tips under the wheel breaks the wheel and flies.
Formulas: pull from a field solution on the solids; cutting force from specific energy; contacts with
Coulomb friction that never pull, loaded until there is no equilibrium.
Limits: the low end of the factor has to reach the least factor that the set-up states, three by default
(common practice, no source). A loss under which the part lets go under the cut itself is a caution.
Go: a block of 60 x 60 on a flat chuck under a light cut. No-go: a part on edge in a V-block.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from fixturecheck.checks.stage import Stage
from fixturecheck.effort import SPENT
from fixturecheck.holding.clamping import pressed_by
from fixturecheck.holding.jaws import grip_of, squeezed_parts
from fixturecheck.holding.model import Held, PartHold, PartInCut
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import box_of, on_face
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.shapes import Box
from fixturecheck.machining.clearance import TIP_MM
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.hold import ClampKind, Loss, LossKind, MagnetState, Tool
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.result.shapes import Vector
from fixturecheck.shop import tables
from fixturecheck.units import percent
from fixturecheck.wording.hold import case_words, loss_words
from fixturecheck.wording.motion import goes_first, hold_words, lets_go_words, toward
from fixturecheck.wording.remedies import any_of
from fixturecheck.wording.sentences import first_up

TITLE = "Parts held against the cut"

SOURCE = (
    "field solution on the solids relative to the rated pull; specific energy of grinding; contacts with "
    "friction loaded to collapse; least factor as stated, three by default (common practice, no source)"
)
SOURCE_MILLED = (
    "cutting force by Kienzle's law, over a turn of the teeth; contacts with friction loaded to collapse; "
    "least factor as stated, three by default (common practice, no source)"
)
SOURCE_BORED = (
    "thrust and torque by Kienzle's law on the chips of the lips; what a drill lifts as it breaks through, "
    "common practice, no source; contacts with friction loaded to collapse; least factor as stated, three by "
    "default (common practice, no source)"
)
TIMES = "x load"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each part of each cut, for each loss that lets it go, and for what is missing."""
    held = stage.held
    if held is None:
        if stage.setup.holding is not None:
            says = "Whether the parts hold is not known: the holding was stated but not worked out."
            yield not_computed("holding", says, source=SOURCE)
        return
    yield from _missing(held)
    yield from _under_the_cutter(stage)
    if not stage.setup.loads_parts and not stage.setup.unloaded:
        yield judge(
            None,
            verdict=Verdict.UNKNOWN,
            subject="holding",
            kind=Kind.NO_CUT,
            says="Whether the parts hold is not known: without a cut there is nothing to hold against.",
            remedy="State the [[cut]], the [[mill]] or the [[drill]] that the parts are held for, or teeth "
            "of the [[end_mill]].",
            source=SOURCE,
        )
    for part in held.parts:
        yield _factor(stage, part)
        yield from _grip_lost(stage, part)
        yield from _losses(stage, part)


def _missing(held: Held) -> Iterator[Finding]:
    for asked, reason in held.unknown:
        if isinstance(asked, PartInCut):
            yield not_computed(
                asked.subject,
                f"Whether it holds is not known: {reason}.",
                about=(asked.part,),
                cut=asked.cut,
                asks=Kind.FACTOR,
                unit=TIMES,
                source=SOURCE,
            )
        else:
            says = f"Whether the parts hold is not known: {reason}."
            yield not_computed(asked.subject, says, named=asked.subject, source=SOURCE)


def _under_the_cutter(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each strap or toe that stands on the face that a `[[mill]]` loads.

    Such a load states no path, and is tried all over its face.
    """
    setup = stage.setup
    for mill in setup.holding.milling if setup.holding else ():
        for clamp in setup.clamps:
            if clamp.body not in mill.parts or clamp.kind == ClampKind.VISE or clamp.at_mm is None:
                continue
            faces = faces_of(stage.placed[clamp.body])
            pieces = [faces[i] for i in setup.body(clamp.body).face_indices(mill.face)]
            if not any(on_face(np.array(clamp.at_mm), piece, TIP_MM) for piece in pieces):
                continue
            yield not_computed(
                f"{mill.name}/{clamp.name}",
                f"Whether the cutter of {mill.name} clears {clamp.name} is not known: {clamp.name} presses "
                f"{clamp.body}.{mill.face}, which {mill.name} goes over. State the path as an [[end_mill]], "
                f"or press where nothing is milled.",
                about=(clamp.body,),
                cut=mill.name,
                named=clamp.name,
                unit="mm",
            )


def _factor(stage: Stage, part: PartHold) -> Finding:
    """Judge one factor by its low end."""
    holding = stage.setup.holding
    least = holding.least_factor if holding else 0.0
    low = part.factors.factor.low
    worst = part.factors.worst
    verdict = Verdict.GO
    if low < max(least, 1.0):
        # Beyond the search nothing is known.
        verdict = Verdict.UNKNOWN if worst.at_least else Verdict.NO_GO
    motion = worst.motions[0] if worst.motions else None
    write = stage.setup.write
    says = hold_words(part.part, worst.failure, least, write)
    # What moves off before the cut does so in every case.
    says += f" Weakest at: {case_words(part.case.of_cut, write)}." if worst.rests else ""
    says += _why(stage, part, verdict)
    return judge(
        low,
        unit=TIMES,
        at_least=least,
        verdict=verdict,
        subject=f"{part.part} in {part.cut}",
        kind=Kind.FACTOR,
        about=(part.part,),
        cut=part.cut,
        says=says,
        remedy=_remedy(stage, part) if verdict is not Verdict.GO else None,
        source=_source(part),
        shapes=stage.shapes_under(part.part),
        location_mm=part.case.at_mm,
        direction=motion.velocity_at(part.case.at_mm) if motion else None,
    )


def _remedy(stage: Stage, part: PartHold) -> str | None:
    """Say what brings the factor back; nobody clamps a part anew whose magnet was not switched on."""
    if _magnet_forgotten(stage) and all(r.kind is not RemedyKind.SWITCHED_ON for r in part.remedies):
        stated = 'state magnet = "full" and its rated_pull_n_cm2 in [holding]'
        return f"Switch the magnet on first: {stated}, and check again."
    return any_of(part.remedies, stage.setup.write)


def _magnet_forgotten(stage: Stage) -> bool:
    """Tell whether the set-up has a magnet that is off, and no clamp."""
    setup = stage.setup
    off = setup.holding is not None and setup.holding.magnet == MagnetState.OFF
    return off and not setup.clamps and bool(setup.poles())


def _source(part: PartHold) -> str:
    if part.down_its_axis:
        return SOURCE_BORED
    return SOURCE if part.tool is Tool.WHEEL else SOURCE_MILLED


def _why(stage: Stage, part: PartHold, verdict: Verdict) -> str:
    """Say what is behind a factor that is too low."""
    if verdict is Verdict.GO:
        return ""
    said = []
    if part.pushed_off_by:
        clamps = " and ".join(part.pushed_off_by)
        said.append(f"The force of {clamps} pushes it off its seat. Without that force the set-up rests.")
    if _magnet_forgotten(stage):
        return " ".join(["", *said, "The magnet is off, and no clamp is stated."])
    one_pole = _on_one_pole(stage, part.part)
    said += [*one_pole, *_off_the_poles(stage, part.part)]
    holding = stage.setup.holding
    if holding and holding.mu and holding.mu[1] == 0.0:
        said.append("No friction is stated: nothing holds along a face, only what stands in the way.")
    elif part.factors.driver and not one_pole:
        said.append(f"The strongest influence: {part.factors.driver}.")
    if _unpressed(stage, part.part):
        said.append("No clamp presses it as drawn: close its seats, or bring what clamps up to it, first.")
    elif part.cut_short:
        said.append(f"Not every cure was looked for: {SPENT}.")
    elif not part.remedies and verdict is Verdict.NO_GO:
        said.append("None of the changes that were tried is enough.")
    return "".join(f" {s}" for s in said)


def _unpressed(stage: Stage, part: str) -> bool:
    """Tell whether only jaws clamp, and none of them reaches a part or what touches it."""
    setup = stage.setup
    if not setup.clamps or any(c.kind != ClampKind.VISE for c in setup.clamps):
        return False
    if setup.holding is not None and setup.holding.magnet != MagnetState.OFF:
        return False
    reached: set[str] = set()
    for stated in setup.clamps:
        grip = grip_of(setup, stage.contacts, pressed_by(setup, stage.placed, stated))
        if grip is not None and not grip.stopped_by(setup, stage.contacts):
            reached |= {grip.jaw, *grip.spreads}
            reached |= {p.body.name for p in squeezed_parts(setup, stage.placed, stage.contacts, grip)}
    touched = {
        n
        for p in stage.contacts.patches
        if part in p.bodies and p.contact.kind is not ContactKind.NEAR
        for n in p.bodies
    }
    return not touched & reached


def _on_one_pole(stage: Stage, part: str) -> list[str]:
    """Say so where a part touches no iron but one pole: the flux finds no way back through it."""
    pulls = stage.held.pulls if stage.held else None
    if pulls is None:
        return []
    poles = {p.name for p in stage.setup.poles()}

    def touched_by(body: str) -> set[str]:
        return {face.body for pull in pulls.on(body) for face in (pull.a, pull.b)} - {body}

    touched = touched_by(part)
    under = touched & poles
    # Iron beside it that stands on another pole is a way back.
    if len(under) != 1 or any(touched_by(beside) & (poles - under) for beside in touched - poles):
        return []
    return [f"It stands on one pole only, {under.pop()}, so the magnet hardly pulls it. Set it across two."]


def _off_the_poles(stage: Stage, part: str) -> list[str]:
    """Say so where no pole lies under a part that the magnet does not pull, and where the nearest one is."""
    setup, pulls = stage.setup, stage.held.pulls if stage.held else None
    if pulls is None or any(p.strong_n > 0.0 for p in pulls.on(part)):
        return []
    if not tables.material(setup.body(part).material).magnetic:
        return []
    box = box_of(stage.placed[part])
    away = [_beside(box_of(placed_at(pole.solid, pole.at)), box) for pole in setup.poles()]
    nearest = min(away, key=lambda v: math.hypot(*v), default=(0.0, 0.0, 0.0))
    far_mm = math.hypot(*nearest)
    if far_mm == 0.0:
        return []
    where = f"{setup.write.length(far_mm)} {toward(np.asarray(nearest))}"
    return [f"No pole of the magnet lies under it: the nearest begins {where}. Set it over the poles."]


def _beside(pole: Box, part: Box) -> Vector:
    """Return how far a pole lies beside a part seen from above, from the part to the pole."""
    x, y = (max(pole[i] - part[i + 3], 0.0) - max(part[i] - pole[i + 3], 0.0) for i in range(2))
    return x, y, 0.0


def kind_of_loss(lost: Loss) -> Kind:
    """Return the kind of a finding that tells of a part with something lost.

    Parameters
    ----------
    lost : Loss
        What is lost.

    Returns
    -------
    Kind
        That of the film of coolant, or of anything else.
    """
    return Kind.FILM if lost.kind is LossKind.DRYNESS else Kind.LOSS


def about_loss(part: str, lost: Loss | None) -> tuple[str, ...]:
    """Return what a finding is about that tells of a part with something lost.

    Parameters
    ----------
    part : str
        The part.
    lost : Loss or None
        What is lost; None where nothing is.

    Returns
    -------
    tuple of str
        The part, and the body or clamp that is lost.
    """
    return (part, lost.label) if lost and lost.label else (part,)


def _losses(stage: Stage, part: PartHold) -> Iterator[Finding]:
    """Warn of each single loss under which the part lets go, though it holds with everything there."""
    if part.factors.factor.low < 1.0:
        return
    for loss in part.losses:
        words = loss_words(loss.lost)
        subject = f"{part.part} in {part.cut}, {words}"
        kind, about = kind_of_loss(loss.lost), about_loss(part.part, loss.lost)
        if loss.collapse is None:
            says = f"What is left {words} is not known: {loss.reason}."
            yield not_computed(
                subject, says, about=about, cut=part.cut, asks=kind, unit=TIMES, source=_source(part)
            )
        elif loss.collapse.factor.low < 1.0:
            failure = loss.collapse.failure
            how = lets_go_words(failure, stage.setup.write)
            who = part.part if failure.rests else goes_first(part.part, failure.motions)
            # What moves off before the cut does so in every case.
            case = (
                f" ({case_words(loss.borne[0].case.of_cut, stage.setup.write)})"
                if loss.collapse.rests
                else ""
            )
            yield judge(
                loss.collapse.factor.low,
                unit=TIMES,
                at_least=1.0,
                verdict=Verdict.CAUTION,
                subject=subject,
                kind=kind,
                about=about,
                cut=part.cut,
                says=f"{first_up(words)}, {who} {how}{case}.",
                source=_source(part),
                location_mm=loss.borne[0].case.at_mm,
            )


MOST_LOST = 0.5
"""Of the grip: common practice, no source."""
_SOURCE = "closed form: what the cut pushes along the screw over the least force of the screw; half of it is \
common practice, no source"


def _grip_lost(stage: Stage, part: PartHold) -> Iterator[Finding]:
    """Yield how much of its grip each vise that holds a part loses, over every place of one cut."""
    write = stage.setup.write
    for opened in part.opened:
        share = opened.push_n / opened.grip_n
        says = f"{part.cut} pushes {part.part} with up to {write.force(opened.push_n)} against {opened.jaw}, "
        says += f"which presses with {write.force(opened.grip_n)} at least: {percent(share)} of the grip on "
        says += "the other side is lost."
        needed = write.force(opened.push_n / MOST_LOST, toward="up")
        yield judge(
            share,
            unit="share",
            at_most=MOST_LOST,
            short=Verdict.NO_GO if share >= 1.0 else Verdict.CAUTION,
            subject=f"{part.part} in {part.cut}, {opened.jaw}",
            kind=Kind.GRIP_LOST,
            about=(part.part, opened.jaw),
            cut=part.cut,
            says=says,
            remedy=f"Press with at least {needed}, turn the part so that the cut pushes it against the fixed "
            "jaw, or take less at a time.",
            source=_SOURCE,
        )
