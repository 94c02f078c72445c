"""Do wheel, machine and guard stay within their limits.

What: surface speed of the wheel against its mark or the table; table and cross travel against the
machine's; daylight over the work; side pressure on a straight wheel; size of the flanges; opening of the
guard.
Why: a wheel that turns too fast or is pressed on its side bursts. The numbers here help to ask; the marks
on the wheel and machine, local rules and trained people decide.
Formulas: v = pi D n / 60000 (D mm, n 1/min, v m/s); the travel is the path's own length.
Limits: ANSI B7.1 [@ansib71] (speed: mark first, else table 23, from memory); OSHA 1910.215 [@osha215]
(flanges a third of the wheel, 150 degrees of guard opening, a guard at all; from memory, the opening also WAC
296-806-40506 table 405-1 [@wac296]).
Go: 178 mm at 2850 rpm is 26.6 m/s, within 27.9 for an unmarked vitrified wheel. No-go: the same wheel at
3450 rpm.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fixturecheck.checks.stage import Stage
from fixturecheck.errors import NotComputedError
from fixturecheck.files import uncited
from fixturecheck.kernel.measure import box_of
from fixturecheck.machining.clearance import ROUNDING_MM
from fixturecheck.machining.cut import GroundCut
from fixturecheck.machining.detours import overrun_of, tight_step_mm
from fixturecheck.machining.wheel_path import rim_of, wheel_path
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, meets, not_computed
from fixturecheck.setup.model import Setup, is_loose
from fixturecheck.shop.wheels import Guard, guard_exposure, least_flange_mm, rpm_for, speed_limit, speed_m_s
from fixturecheck.units import angle_text

TITLE = "Speeds, travels, flanges and guard"

DEFER = "The marks on wheel and machine, local rules and trained people come first."
_SIDE_SOURCE = (
    "common practice, no source; ANSI B7.1 allows only slight side pressure on straight wheels, from memory"
)


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of each cut, then those of wheel and guard."""
    for cut in stage.cuts:
        yield _speed(stage.setup, cut)
        yield from _travels(stage.setup, cut)
        yield from _side(stage.setup, cut)
    if stage.cuts:
        yield _daylight(stage)
    # Where nothing is ground, as where a part is only milled, no wheel is mounted.
    if stage.setup.cuts:
        yield _flange(stage.setup)
        yield _guard(stage.setup.machine.guard)


def _speed(setup: Setup, cut: GroundCut) -> Finding:
    """Hold the surface speed against the wheel's limit."""
    wheel, rpm = setup.wheel, cut.cut.rpm if cut.cut.rpm is not None else setup.machine.rpm
    speed, write = speed_m_s(wheel.diameter_mm, rpm), setup.write
    try:
        limit = speed_limit(wheel)
    except NotComputedError as reason:
        says = f"The wheel's surface runs at {write.speed(speed)} in {cut.cut.name}; "
        says += f"its limit is not known: {reason}"
        return not_computed(cut.cut.name, says, cut=cut.cut.name, asks=Kind.SPEED, value=speed, unit="m/s")
    good = meets(speed, at_most=limit.speed_m_s)
    whose = "marked on it" if limit.marked else "of its kind"
    remedy = None
    if not good:
        most_rpm = rpm_for(limit.speed_m_s, diameter_mm=wheel.diameter_mm)
        remedy = (
            f"Turn it at no more than {int(most_rpm)} rpm, or mount a wheel marked for the speed. {DEFER}"
        )
    return judge(
        speed,
        unit="m/s",
        at_most=limit.speed_m_s,
        kind=Kind.SPEED,
        cut=cut.cut.name,
        says=f"The wheel's surface runs at {write.speed(speed)} in {cut.cut.name}, "
        f"{'within' if good else 'above'} the limit of {write.speed(limit.speed_m_s)} {whose}.",
        remedy=remedy,
        source=uncited(limit.source),
    )


def _travels(setup: Setup, cut: GroundCut) -> Iterator[Finding]:
    """Hold the path's travel against the machine's."""
    machine, path, name, write = setup.machine, cut.path, cut.cut.name, setup.write
    over_mm = (path.x_to_mm - path.x_from_mm - machine.travel_x_mm) / 2
    shorter = max(cut.cut.overtravel_mm - over_mm, 0.0)
    rows = (
        (
            "table",
            Kind.TABLE_TRAVEL,
            path.x_to_mm - path.x_from_mm,
            machine.travel_x_mm,
            f"Cut the overtravel to {write.length(shorter, '.1f', 'down')}.",
        ),
        (
            "cross feed",
            Kind.CROSS_FEED_TRAVEL,
            path.y_to_mm - path.y_from_mm,
            machine.travel_y_mm,
            _tighter(setup, cut),
        ),
    )
    for what, kind, needed_mm, has_mm, remedy in rows:
        fits = what != "table" or over_mm <= cut.cut.overtravel_mm
        yield judge(
            needed_mm,
            unit="mm",
            at_most=has_mm,
            kind=kind,
            cut=name,
            says=f"Cut {name} needs {write.length(needed_mm)} of {what} travel; "
            f"the machine has {write.length(has_mm, 'g')}.",
            remedy=remedy if fits else None,
            source="travels stated for the machine",
        )


def _tighter(setup: Setup, cut: GroundCut) -> str | None:
    """Return the cross feed that ends at the edge of the floor, where the machine has the travel for it."""
    overrun_mm = overrun_of(cut, rim_of(setup), cut.targets)
    step_mm = tight_step_mm(cut, overrun_mm)
    if step_mm is None:
        return None
    path = wheel_path(replace(cut.cut, cross_feed_mm=step_mm), rim_of(setup), cut.targets)
    if path.y_to_mm - path.y_from_mm > setup.machine.travel_y_mm:
        return None
    step = setup.write.length(step_mm, "g")
    return f"Feed across by {step} a step: the same number of passes, and no overrun."


def _side(setup: Setup, cut: GroundCut) -> Iterator[Finding]:
    """Caution where a wall is ground with the side of a straight wheel."""
    if setup.wheel.shape != "1" or cut.cut.wall is None or cut.cut.wall_stock_mm <= 0:
        return
    write = setup.write
    yield judge(
        cut.cut.wall_stock_mm,
        unit="mm",
        at_most=0.0,
        verdict=Verdict.CAUTION,
        kind=Kind.SIDE_PRESSURE,
        cut=cut.cut.name,
        says=f"Cut {cut.cut.name} takes {write.length(cut.cut.wall_stock_mm, 'g')} off a wall with the side "
        "of a straight wheel. Such a wheel bears little side pressure: "
        f"feed by {write.fine_steps} and dress the side hollow. " + DEFER,
        source=_SIDE_SOURCE,
    )


def _daylight(stage: Stage) -> Finding:
    """Hold the highest thing on the table against the daylight under the raised wheel."""
    machine, write = stage.setup.machine, stage.setup.write
    tops = {name: box_of(solid)[5] for name, solid in stage.placed.items()}
    tops |= {p.body: max(tops[p.body], box_of(p.stock)[5]) for c in stage.cuts for p in c.parts}
    highest = max(tops, key=lambda n: (tops[n], n))
    height_mm = tops[highest] - stage.setup.table_z_mm
    needed_mm = height_mm + machine.least_clearance_mm
    good = meets(needed_mm, at_most=machine.daylight_mm, rounding=ROUNDING_MM)
    return judge(
        needed_mm,
        unit="mm",
        at_most=machine.daylight_mm,
        rounding=ROUNDING_MM,
        kind=Kind.DAYLIGHT,
        about=(highest,),
        says=f"{highest} stands {write.length(height_mm)} above the table; the raised wheel leaves "
        f"{write.length(machine.daylight_mm, 'g')}, of which "
        f"{write.length(machine.least_clearance_mm, 'g')} is kept clear.",
        remedy=None if good else _lower(stage, highest, needed_mm - machine.daylight_mm),
        source="daylight stated for the machine",
    )


def _lower(stage: Stage, highest: str, by_mm: float) -> str:
    """Say what gives the raised wheel its room: a lower block, or a smaller wheel."""
    setup, write = stage.setup, stage.setup.write
    if is_loose(setup, highest):
        return f"Use a lower {highest}, by at least {write.length(by_mm, '.2f', 'up')}."
    far = write.length(by_mm, ".2f", "up")
    return f"Set {highest} at least {far} lower, or mount a wheel smaller by twice as much."


def _flange(setup: Setup) -> Finding:
    """Hold the flanges against a third of the wheel's diameter."""
    has_mm, least_mm = setup.machine.flange.diameter_mm, least_flange_mm(setup.wheel)
    write = setup.write
    good = meets(has_mm, at_least=least_mm)
    return judge(
        has_mm,
        unit="mm",
        at_least=least_mm,
        subject="flange",
        kind=Kind.FLANGE,
        says=f"Flanges of {write.length(has_mm, 'g')} are {'at least' if good else 'less than'} "
        f"a third of the {write.length(setup.wheel.diameter_mm, 'g')} wheel.",
        remedy=f"Mount the wheel between flanges of at least {write.length(least_mm, '.1f', 'up')}. {DEFER}",
        source="OSHA 1910.215(c), from memory",
    )


def _guard(guard: Guard | None) -> Finding:
    """Hold the guard's opening against what a surface grinder may leave open."""
    allowed = guard_exposure("surface_grinder")
    if guard is None:
        return judge(
            360.0,
            unit="deg",
            at_most=float(allowed.total_deg),
            verdict=Verdict.NO_GO,
            subject="guard",
            kind=Kind.GUARD,
            says="No guard is stated over the wheel, and a wheel is not run without one.",
            remedy=f"Fit the guard and state it. {DEFER}",
            source="OSHA 1910.215(a)(1), from memory",
        )
    return judge(
        guard.opening_deg,
        unit="deg",
        at_most=float(allowed.total_deg),
        subject="guard",
        kind=Kind.GUARD,
        says=f"The guard leaves {angle_text(guard.opening_deg, 'g')} of the wheel open; that of a surface "
        f"grinder may leave {angle_text(allowed.total_deg, 'g')}.",
        remedy=f"Close the guard to {angle_text(allowed.total_deg, 'g')}. {DEFER}",
        source=uncited(allowed.source),
    )
