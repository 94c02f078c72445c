"""Which other size of a cutter, or of its step, lets a run be made."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from shapely.geometry import Polygon

from fixturecheck.kernel.boolean import shared_mm3
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.shapes import Solid
from fixturecheck.machining.as_milled import MilledCut
from fixturecheck.machining.clearance import kept_clear_mm
from fixturecheck.machining.cutter_sweep import cutter_sweep, holder_sweeps
from fixturecheck.machining.detours import clears
from fixturecheck.machining.end_mill import flat_radius_mm, largest_radius_mm, passes_of, radius_at_mm
from fixturecheck.machining.swept_area import merged, polygons_in, swept_polygon
from fixturecheck.result.contact import Mover
from fixturecheck.result.remedy import Dodge, DodgeKind
from fixturecheck.setup.model import Setup
from fixturecheck.setup.tools import CutterMove, EndMilling

_STEP_MM = 0.5
"""Sizes of another cutter are named in these."""


def other_cutters(
    setup: Setup, cut: MilledCut, placed: Mapping[str, Solid], close: frozenset[Mover]
) -> Iterator[Dodge]:
    """Yield the least changes of a cutter by which its shank, or nut and nose, clear everything.

    Nut and nose clear where it stands out further, a shank where the flutes are longer or it is thinner. Each
    was tried on the solids, with the parts as milled, in steps of half a millimetre; longer flutes take
    nothing more of the drawn parts.

    Parameters
    ----------
    setup : Setup
        The set-up.
    cut : MilledCut
        The run worked out.
    placed : mapping of str to Solid
        Every body where it stands.
    close : frozenset of Mover
        What comes too close as it is.

    Yields
    ------
    Dodge
        Nothing where no change of one size clears.
    """
    run = cut.run
    every = tuple(dict.fromkeys(p for found in cut.passes.values() for p in found))
    bodies = {**placed, **{p.body: p.ground for p in cut.parts}}
    least_mm = setup.machine.least_clearance_mm
    held = frozenset({Mover.NUT, Mover.NOSE})

    def free(tried: EndMilling) -> bool:
        sweeps = holder_sweeps(tried, every)
        if any(
            not clears(shape, [sweep], kept_clear_mm(cut, mover, name, least_mm))
            for mover, sweep in sweeps.items()
            for name, shape in bodies.items()
        ):
            return False
        if tried.flute_mm == run.flute_mm:
            return True
        flutes, drawn = cutter_sweep(tried, every, cut.top_mm), {p.body: p for p in cut.parts}
        return all(
            clears(shape, [flutes], least_mm)
            if name not in drawn
            else shared_mm3(flutes, drawn[name].target, f"longer flutes of {run.name} and {name}")
            <= drawn[name].gouge_mm3 + setup.tolerances.overlap_mm3
            for name, shape in bodies.items()
        )

    lowest_mm = min(p.z_mm for p in every)
    highest_mm = max(box_of(shape)[5] for shape in bodies.values()) + least_mm - lowest_mm
    shank_mm = 2.0 * largest_radius_mm(run) if run.shank_mm is None else run.shank_mm
    stick_out_mm, flute_mm = run.stick_out_mm, run.flute_mm
    whole_mm = math.floor((stick_out_mm - flute_mm) / _STEP_MM) * _STEP_MM
    tries: list[tuple[DodgeKind, str, float, float, float]] = []
    if close & held and Mover.SHANK not in close:
        tries = [(DodgeKind.STICK_OUT, "stick_out_mm", stick_out_mm, 1.0, highest_mm - stick_out_mm)]
    elif close & {Mover.SHANK} and not close & held:
        tries = [
            (DodgeKind.FLUTES, "flute_mm", flute_mm, 1.0, min(highest_mm - flute_mm, whole_mm)),
            (DodgeKind.SHANK, "shank_mm", shank_mm, -1.0, 0.5 * shank_mm),
        ]
    for kind, name, from_mm, sign, most_mm in tries:

        def works(by_mm: float, name: str = name, from_mm: float = from_mm, sign: float = sign) -> bool:
            stated: dict[str, Any] = {name: from_mm + sign * by_mm}
            return free(replace(run, **stated))

        by_mm = _least_step_mm(works, most_mm)
        if by_mm is not None:
            yield Dodge(kind=kind, by_mm=by_mm, to_mm=from_mm + sign * by_mm, direction=(0.0, 0.0, 1.0))


def _least_step_mm(works: Callable[[float], bool], most_mm: float) -> float | None:
    """Return the least of some steps up to a most, or the first beyond it, that works; None for none."""
    low, high = 0, math.ceil(most_mm / _STEP_MM - 1e-9)
    if high <= 0 or not works(high * _STEP_MM):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if works(middle * _STEP_MM) else (middle, high)
    return high * _STEP_MM


_STEP_SHARES = (1.0, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5)
"""Of the step as it is, by which nothing may be left at all, and of shorter ones."""


def whole_step_mm(cut: MilledCut, part: str) -> float | None:
    """Return the largest of some shorter steps of a pocket that leaves nothing between the rounds.

    Parameters
    ----------
    cut : MilledCut
        The run worked out.
    part : str
        Name of the part.

    Returns
    -------
    float | None
        mm; None where the step as it is leaves nothing, or even the shortest tried leaves something.
    """
    run, passes = cut.run, cut.passes[part]
    steps = [p.step_mm for p in passes if p.step_mm > 0.0]
    if not steps:
        return None
    flat = flat_radius_mm(run) or radius_at_mm(run, run.corner_radius_mm)
    for share in _STEP_SHARES:
        step_mm = steps[0] if share == 1.0 else float(f"{share * steps[0]:.2g}")
        moves = tuple(replace(m, step_mm=step_mm) if m.kind == CutterMove.POCKET else m for m in run.moves)
        tried = passes_of(replace(run, moves=moves), cut.bodies[part], cut.solids[part])
        rounds = merged([swept_polygon([p.path for p in tried if p.step_mm > 0.0], flat)])
        whole = merged([Polygon(area.exterior) for area in polygons_in(rounds)])
        islands = merged([w.area for w in cut.walls[part]])
        if not polygons_in(whole.difference(rounds).difference(islands.buffer(largest_radius_mm(run)))):
            return None if share == 1.0 else step_mm
    return None
