"""What was found of a hold, as plain numbers for reports."""

from __future__ import annotations

from dataclasses import replace

from fixturecheck.holding.clamping import dry_mu_of, friction_of, stated_holding
from fixturecheck.holding.factor import CEILING
from fixturecheck.holding.model import Held, Lost, PartHold
from fixturecheck.interval import Range
from fixturecheck.magnet.plotted import flux_section, maps_of
from fixturecheck.magnet.pull import FacePull
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import Driver, FrictionUsed, HoldFound, HoldInput, HoldLoss, PartHeld
from fixturecheck.result.magnet import FaceHeld, MagnetState, MagnetUsed
from fixturecheck.setup.model import Setup
from fixturecheck.statics.collapse import Swing

_UNITS = {
    Driver.FRICTION: "",
    Driver.DRAG: "N",
    Driver.PRESS: "N",
    Driver.WALL: "N",
    Driver.CROSS: "N",
    Driver.FINISH: "share",
    Driver.METHOD: "share",
    Driver.CLAMP: "share",
    Driver.SIZE: "share",
    Driver.THRUST: "share",
}


def hold_found(setup: Setup, held: Held) -> HoldFound:
    """Return the hold as reports show it."""
    holding = setup.holding
    release = held.release
    worst = min(held.parts, key=lambda p: p.factors.factor.low, default=None)
    return HoldFound(
        magnet=magnet_used(setup, held),
        least_factor=holding.least_factor if holding else 0.0,
        friction=_friction(setup),
        parts=tuple(_part(p, setup) for p in held.parts),
        faces=tuple(_face(f) for f in (held.pulls.faces if held.pulls else ())),
        missing=tuple(sorted(held.missing.items())),
        notes=(*held.notes, *(held.pulls.notes if held.pulls else ())),
        kept=held.kept,
        left_out=held.left_out,
        leaving=release.order if release else (),
        burrs=release.burrs if release else (),
        before=release.before if release else None,
        ceiling=CEILING,
        maps=maps_of(held.pulls),
        section=flux_section(held.pulls, worst.part if worst else None),
    )


def magnet_used(setup: Setup, held: Held) -> MagnetUsed:
    """Return what the magnet is taken for."""
    holding = setup.holding
    if holding is None or holding.magnet == MagnetState.OFF:
        return MagnetUsed(state=MagnetState.OFF)
    used = MagnetUsed(state=MagnetState(holding.magnet), trifle_share=holding.trifle_share)
    if held.pulls is None or held.pulls.source is None:
        return used
    source, soft = held.pulls.source, held.pulls.soft
    return replace(
        used,
        gives_mm=(source.gap_mm,) if soft is None else (source.gap_mm, soft.gap_mm),
        calibrated=holding.calibrated.name if holding.calibrated is not None else None,
        source_stated=bool(holding.source_mmf_a),
        rated_n_cm2=holding.rated_n_cm2,
        rated_stated=holding.rated_pull_n_cm2 is not None,
        piece=source.piece,
        finish=holding.rating_finish,
    )


def _friction(setup: Setup) -> FrictionUsed:
    used = friction_of(setup)
    return FrictionUsed(
        coolant=stated_holding(setup).coolant,
        mu=_pair(used.general),
        dry_mu=_pair(dry_mu_of(setup)),
        by_material={name: _pair(span) for name, span in used.by_material.items()},
    )


def _pair(span: Range) -> tuple[float, float]:
    return span.low, span.high


def _part(p: PartHold, setup: Setup) -> PartHeld:
    mills = setup.mills

    def force(driver: Driver) -> tuple[float, float]:
        return _pair(p.forces.get(driver, Range.exactly(0.0)))

    worst = p.factors.worst
    motion = worst.motions[0] if worst.motions else None
    way = p.ways.worst if p.ways else None
    return PartHeld(
        part=p.part,
        cut=p.cut,
        case=p.case.of_cut,
        factor_low=p.factors.factor.low,
        factor_high=min(p.factors.factor.high, CEILING),
        pull_n=_pair(p.pull_n),
        drag_n=force(Driver.DRAG),
        press_n=force(Driver.PRESS),
        wall_n=force(Driver.WALL),
        cross_n=force(Driver.CROSS),
        load_n=p.load_n,
        load_at_mm=p.case.at_mm,
        failure=worst.failure,
        direction=motion.velocity_at(p.case.at_mm) if motion else None,
        outcome=way.crash.outcome if way and way.crash else None,
        hits=way.hits if way else None,
        over=way.over if way else (),
        tips_over=bool(way and way.motion and way.motion.kind.tips_over),
        inputs=tuple(_input(s) for s in p.factors.swings),
        losses=tuple(_loss(x) for x in p.losses),
        remedies=p.remedies,
        milling_n=force(Driver.SIZE),
        tool=p.tool,
        thrust_n=force(Driver.THRUST),
        torque_nm=force(Driver.TORQUE),
        axis_mm=p.case.axis_mm,
        cutter_mm=next((m.cutter_mm for m in mills if m.name == p.cut), 0.0),
    )


def _input(swing: Swing) -> HoldInput:
    driver = Driver(swing.name)
    return HoldInput(
        name=driver,
        unit=_UNITS[driver],
        span=(swing.input_range.low, swing.input_range.high),
        factor_at_low=swing.factor_at_low,
        factor_at_high=swing.factor_at_high,
    )


def _loss(loss: Lost) -> HoldLoss:
    failure = loss.collapse.failure if loss.collapse else None
    return HoldLoss(lost=loss.lost, failure=failure, reason=loss.reason)


def _face(f: FacePull) -> FaceHeld:
    low, high = sorted((f.weak_n, f.strong_n))
    return FaceHeld(
        a=f.a,
        b=f.b,
        low_n=low * f.low_share,
        high_n=high * f.high_share,
        area_mm2=f.area_mm2,
        flux_density_t=f.flux_density_t,
        centre_mm=to_vector(f.weak_at_mm),
        toward=to_vector(f.toward),
    )
