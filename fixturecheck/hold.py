"""Works out the whole hold of a set-up: magnet, factors, where parts go, remedies, how it comes apart."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack, closing
from dataclasses import replace
from functools import partial
from typing import NoReturn

from fixturecheck.contact.patch import ContactMap
from fixturecheck.effort import HOLD, Budget, spending
from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.holding.axial import drilling_of, refuse_no_force, way_in_name, way_in_of, ways_in
from fixturecheck.holding.bearing import movers
from fixturecheck.holding.clamping import dry_mu_of, friction_of, stated_holding
from fixturecheck.holding.cutter import MillingProcess
from fixturecheck.holding.factor import CEILING, kept_of, load_cases, losses_of, part_hold, single_losses
from fixturecheck.holding.failure_path import ways_of
from fixturecheck.holding.model import Asked, Held, Lost, PartHold, PartInCut, Release, Whole
from fixturecheck.holding.process import CuttingProcess
from fixturecheck.holding.remedies import remedies_of
from fixturecheck.holding.remedy_search import TrialHold
from fixturecheck.holding.rig import Rig, rig_of
from fixturecheck.holding.wheel import grinding_of
from fixturecheck.interval import Range
from fixturecheck.kernel.mesh.tetrahedra import TetMesher
from fixturecheck.kernel.recall import recalled
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.side_by_side import Begun
from fixturecheck.machining.cut import GroundCut
from fixturecheck.magnet.plotted import flux_section, maps_of
from fixturecheck.magnet.pull import FacePull, Magnet, Pulls, magnet_of
from fixturecheck.magnet.rating import MagnetSource, find_sources
from fixturecheck.magnet.remanence import residual_pulls
from fixturecheck.nesting.seating import footings, holding_nothing
from fixturecheck.numeric import to_vector
from fixturecheck.progress import Progress, silent
from fixturecheck.release.motions import kept_shares
from fixturecheck.release.sequence import release_of
from fixturecheck.result.hold import (
    AxialStroke,
    Driver,
    FaceHeld,
    FrictionUsed,
    HoldFound,
    HoldInput,
    HoldLoss,
    MagnetState,
    MagnetUsed,
    PartHeld,
)
from fixturecheck.result.remedy import RemedyUnknown
from fixturecheck.setup.model import Setup, magnet_alone
from fixturecheck.setup.tools import EndMilling
from fixturecheck.statics.collapse import Swing
from fixturecheck.threads import at_once

ASKED = ("hold", "crash", "release")
"""The checks that look at what was found of a hold."""

_NOT_GROUND = "the cut could not be followed, so no load is known"

MOST_REMEDIED = 2
"""Parts of a cut for which remedies are looked for, the least held first: their like take the same."""
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


def held(
    setup: Setup,
    placed: Mapping[str, Solid],
    contacts: ContactMap,
    cuts: tuple[GroundCut, ...],
    *,
    asked: Collection[str] = ASKED,
    mesher: TetMesher | None = None,
    magnet_key: str = "",
    copied: bool = False,
    progress: Progress = silent,
) -> Held | None:
    """Work out how a set-up holds; None where it states no holding.

    What cannot be computed is listed with its reason under its subject and never counts as held. Fixtures
    that stand on nothing hold nothing: the set-up is worked out without them.

    Parameters
    ----------
    setup : Setup
        As stated.
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        What touches among them.
    cuts : tuple of GroundCut
        The cuts of the wheel that could be worked out.
    asked : collection of str
        The checks that will look at it; what is for others only is left out.
    mesher : TetMesher, optional
        With the meshes made so far; a new one where there is none.
    magnet_key : str
        Of `magnet_alone` of the set-up: what stands behind its poles is kept under it; empty keeps nothing.
    copied : bool
        Whether copies of this process may mesh, and load parts with one thing lost meanwhile.
    progress : Progress
        Is told what is being done.

    Returns
    -------
    Held or None
        Parts, magnet and release, with what is missing and why.
    """
    if setup.holding is None:
        return None
    standing = footings(setup, contacts)
    idle = holding_nothing(standing)
    try:
        left = setup.without(idle)
    except SetupError as reason:
        why = f"without {' and '.join(sorted(idle))}, which does not stand, {reason}"
        return Held(
            parts=(), pulls=None, release=None, missing={Whole.HOLDING: why}, left_out=tuple(sorted(idle))
        )
    there = {name: solid for name, solid in placed.items() if name not in idle}
    loose = {*movers(left, contacts.without(idle))} - setup.holding.jaws
    kept = kept_of(setup, standing, loose)
    mesher = mesher or TetMesher(copied=copied)
    find = partial(find_sources, magnet_alone(left), mesher)
    sources = partial(recalled, magnet_key and f"{magnet_key} without {sorted(idle)}", find)
    found = _worked_out(
        left, there, contacts.without(idle), cuts, asked, mesher, sources, progress, copied=copied
    )
    return replace(found, kept=kept, left_out=tuple(sorted(idle)))


def _worked_out(
    setup: Setup,
    placed: Mapping[str, Solid],
    contacts: ContactMap,
    cuts: tuple[GroundCut, ...],
    asked: Collection[str],
    mesher: TetMesher,
    sources: Callable[[], tuple[MagnetSource, ...]],
    progress: Progress,
    *,
    copied: bool,
) -> Held:
    """Work out how a set-up holds in which everything stands."""
    missing: dict[Asked, str] = {}
    progress("magnet", 0.0)
    loads, follows = "hold" in asked or "crash" in asked, "crash" in asked
    magnet, pulls, (left, unsolved) = _magnet(
        setup, contacts, mesher, sources, missing, pulls=loads, residual="release" in asked
    )
    why = missing.get(Whole.MAGNET, unsolved)
    coming_off = _ComingOff(partial(release_of, setup, placed, contacts, cuts, left, why))
    with closing(coming_off):
        meanwhile = coming_off.begin if copied and "release" in asked else None
        trials: list[TrialHold] = []
        rig = None if missing or not loads else _rig(setup, placed, contacts, pulls, missing)
        if rig is not None:
            load = partial(trial_hold_of, rig=rig, magnet=magnet, mesher=mesher, follow=follows)
            jobs = _processes(setup, placed, cuts)
            for i, (name, cut_name, process_of) in enumerate(jobs):
                progress(f"hold of {name}", 0.4 + 0.3 * i / len(jobs))
                try:
                    trials.append(load(process_of(), copied=copied, loaded=meanwhile))
                except (NotComputedError, KernelError) as reason:
                    missing[PartInCut(part=name, cut=cut_name)] = str(reason)
        ground = {cut.cut.name for cut in cuts}
        for cut in setup.cuts if loads else ():
            if cut.name not in ground:
                missing.update({PartInCut(part=n, cut=cut.name): _NOT_GROUND for n in cut.parts})
        progress("remedies", 0.7)
        # Where it goes is asked alone: no remedy is looked for.
        remedied = "hold" in asked
        parts, untried = _remedied(trials, Budget(HOLD)) if remedied else ([b.part for b in trials], [])
        progress("release", 0.9)
        release = coming_off.value() if "release" in asked else None
    return Held(parts=tuple(parts), pulls=pulls, release=release, missing=missing, notes=tuple(untried))


class _ComingOff:
    """How bodies come off: in a copy of this process where it was begun, else when it is asked for.

    Parameters
    ----------
    work : callable
        Works it out.
    """

    def __init__(self, work: Callable[[], Release]) -> None:
        self._work = work
        self._begun: Begun[tuple[Release, Mapping[str, object]]] | None = None

    def begin(self) -> None:
        """Let a copy of this process work it out, unless one does already."""
        self._begun = self._begun or Begun(partial(self._with_shares, {*kept_shares().answers}))

    def _with_shares(self, before: Collection[str]) -> tuple[Release, Mapping[str, object]]:
        """Return what was found, and what a process that stays warm keeps of it."""
        found = self._work()
        return found, {key: kept for key, kept in kept_shares().answers.items() if key not in before}

    def value(self) -> Release:
        """Return it, once it is worked out."""
        if self._begun is None:
            return self._work()
        found, more = self._begun.value()
        memory = kept_shares()
        for key, kept in more.items():
            memory.keep(key, kept)
        return found

    def close(self) -> None:
        """End the copy, if it still runs."""
        if self._begun is not None:
            self._begun.end()


def _rig(
    setup: Setup,
    placed: Mapping[str, Solid],
    contacts: ContactMap,
    pulls: Pulls | None,
    missing: dict[Asked, str],
) -> Rig | None:
    """Put together what holds it; None where that is not known."""
    try:
        return rig_of(setup, placed, contacts, pulls)
    except (NotComputedError, KernelError) as reason:
        missing[Whole.HOLDING] = str(reason)
        return None


def _processes(
    setup: Setup, placed: Mapping[str, Solid], cuts: tuple[GroundCut, ...]
) -> tuple[tuple[str, str, Callable[[], CuttingProcess]], ...]:
    """Return each part with each cut over it, ground ones first, and what makes the process of it."""
    ground = [
        (name, cut.cut.name, partial(grinding_of, setup, placed, cut, setup.body(name)))
        for cut in cuts
        for name in cut.cut.parts
    ]
    milled = [
        (part, mill.name, partial(MillingProcess, setup=setup, placed=placed, mill=mill, part=part))
        for mill in setup.mills
        for part in mill.parts
    ]
    drilled = [
        (part, drill.name, partial(drilling_of, setup, placed, drill, part))
        for drill in setup.drills
        for part in drill.parts
    ]
    entered = [
        one for run in setup.end_mills for part in run.parts for one in _ways_in(setup, placed, run, part)
    ]
    unknown = [(part, run.name, partial(refuse_no_force, run)) for part, run in setup.unloaded]
    return (*ground, *milled, *drilled, *entered, *unknown)


def _ways_in(
    setup: Setup, placed: Mapping[str, Solid], run: EndMilling, part: str
) -> Iterator[tuple[str, str, Callable[[], CuttingProcess]]]:
    """Yield how an end mill goes into a part, and what makes the process of it."""
    try:
        ways = ways_in(setup, placed, run, part)
    except (NotComputedError, KernelError) as reason:
        yield part, way_in_name(run, AxialStroke.ENTERS), partial(_refuse, f"how it goes in: {reason}")
        return
    for way, places_mm in ways.items():
        yield part, way_in_name(run, way), partial(way_in_of, setup, placed, run, part, way, places_mm)


def _refuse(reason: str) -> NoReturn:
    raise NotComputedError(reason)


def trial_hold_of(
    process: CuttingProcess,
    rig: Rig,
    *,
    magnet: Magnet | None,
    mesher: TetMesher | None = None,
    follow: bool,
    copied: bool = False,
    loaded: Callable[[], None] | None = None,
) -> TrialHold:
    """Load one part by one cut until it lets go, and follow it from there where that is asked.

    Parameters
    ----------
    process : CuttingProcess
        What the part has to bear.
    rig : Rig
        What holds it.
    magnet : Magnet or None
        What a remedy solves again; kept in the answer, not read here.
    mesher : TetMesher, optional
        With the meshes made so far; a new one where there is none.
    follow : bool
        Whether it is followed; else the part has no ways.
    copied : bool
        Whether a copy of this process may load it with one thing lost meanwhile.
    loaded : callable, optional
        Called once it is loaded, with each thing lost too: a copy that did so has ended then.

    Returns
    -------
    TrialHold
        What was found, ready to be changed.

    Raises
    ------
    NotComputedError
        The pull on the part is not known, the tool meets it nowhere, or the analysis gave no answer.
    """
    setup = process.setup
    losses: Callable[[], tuple[Lost, ...]] = partial(losses_of, single_losses(setup, rig), rig, process)
    with ExitStack() as ended:
        if copied:
            # What touches is the kernel's, and both processes have it.
            begun = Begun(losses, [patch for spot in rig.spots for patch in spot.patches])
            ended.callback(begun.end)
            losses = begun.value
        every = load_cases(rig, process)
        found = part_hold(rig, process, every, losses=losses)
    if loaded is not None:
        loaded()
    least = setup.holding.least_factor if setup.holding else 0.0
    scene = process.scene(rig) if follow else None
    ways = ways_of(scene, found, every, least) if scene is not None else None
    return TrialHold(
        process=process,
        rig=rig,
        part=replace(found, ways=ways),
        least_factor=least,
        magnet=magnet,
        mesher=mesher or TetMesher(),
    )


def _remedied(trials: list[TrialHold], budget: Budget) -> tuple[list[PartHold], list[RemedyUnknown]]:
    """Look for what brings the factors back: of the parts that are held least in each cut.

    Returns the parts with their remedies, and what could not be tried.
    """
    weak = sorted((b for b in trials if b.low < b.least_factor), key=lambda b: b.low)
    asked = set()
    for cut in {b.part.cut for b in weak}:
        asked |= {id(b) for b in [b for b in weak if b.part.cut == cut][:MOST_REMEDIED]}
    parts: list[PartHold] = []
    notes: list[RemedyUnknown] = []
    for trial in trials:
        with spending(budget):
            remedies, untried = remedies_of(trial) if id(trial) in asked else ((), ())
        cut_short = id(trial) in asked and budget.spent
        parts.append(replace(trial.part, remedies=remedies, cut_short=cut_short))
        notes += untried
    return parts, notes


_Left = tuple[Pulls | None, str]
"""What the magnet still pulls when it is off; None with the reason where that could not be solved."""


def _magnet(
    setup: Setup,
    contacts: ContactMap,
    mesher: TetMesher,
    sources: Callable[[], tuple[MagnetSource, ...]],
    missing: dict[Asked, str],
    *,
    pulls: bool,
    residual: bool,
) -> tuple[Magnet | None, Pulls | None, _Left]:
    """Put the magnet together as stated, and solve its pulls where they are asked; None when it is off."""
    holding = setup.holding
    if holding is None or not setup.poles():
        return None, None, (None, "")
    share = holding.strength_share

    def left() -> _Left:
        try:
            return residual_pulls(magnet, holding.residual_share) if residual else None, ""
        except NotComputedError as reason:
            return None, str(reason)

    try:
        magnet = magnet_of(setup, contacts, mesher, sources=sources)
        return magnet, *at_once(lambda: magnet.pulls(share) if share and pulls else None, left)
    except (NotComputedError, KernelError) as reason:
        missing[Whole.MAGNET] = str(reason)
        return None, None, (None, "")


def hold_found(setup: Setup, held: Held) -> HoldFound:
    """Return the hold as reports show it.

    Parameters
    ----------
    setup : Setup
        The set-up that is held.
    held : Held
        What was found of its hold.

    Returns
    -------
    HoldFound
    """
    holding = setup.holding
    release = held.release
    worst = min(held.parts, key=lambda p: p.factors.factor.low, default=None)
    return HoldFound(
        magnet=magnet_used(setup, held),
        least_factor=holding.least_factor if holding else 0.0,
        friction=_friction(setup),
        parts=tuple(_part(p, setup) for p in held.parts),
        faces=tuple(_face(f) for f in (held.pulls.faces if held.pulls else ())),
        missing=tuple((asked.subject, why) for asked, why in held.unknown),
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
    """Return what the magnet is taken for.

    Parameters
    ----------
    setup : Setup
        The set-up; its `holding` states the magnet.
    held : Held
        What was found of its hold.

    Returns
    -------
    MagnetUsed
        Off where no holding is stated; without the source where the pulls could not be computed.
    """
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
