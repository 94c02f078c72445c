"""What an end mill and its holder sweep on their passes, and which ridges are left between the passes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from shapely.geometry import Polygon

from fixturecheck.errors import KernelError
from fixturecheck.kernel.boolean import united
from fixturecheck.kernel.brep.topology import solids_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import volume_mm3
from fixturecheck.kernel.outline import Line, around_mm2, prism_of
from fixturecheck.kernel.shapes import Shape
from fixturecheck.kernel.turned import along_path, fused, round_pocket, straight_down
from fixturecheck.machining.end_mill import (
    CutterPass,
    cutter_outline,
    flat_radius_mm,
    largest_radius_mm,
    radius_at_mm,
)
from fixturecheck.machining.swept_area import merged, points_of, polygons_in, swept_outlines, swept_polygon
from fixturecheck.result.contact import Mover
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.tools import CutterShape, EndMilling

_DRAWN_SAG_MM = 0.05
"""How far chords lie off an arc where a path is only shown."""


_NOSE_LONG_MM = 100.0
"""How much of what turns above the nut is looked at."""


def tool_at(run: EndMilling, one: CutterPass) -> Shape:
    """Return flutes, shank and nut of a cutter that stands at the end of a pass.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    one : CutterPass
        Where it goes.

    Returns
    -------
    Shape
        In the machine's frame; what turns above the nut is left out, since it would hide the work.
    """
    end = one.path[-1].end
    there = replace(one, path=(Line(start=end, end=end),))
    held = holder_sweeps(run, (there,))
    flutes = straight_down(cutter_outline(run), end, one.z_mm, one.z_mm)
    return compound([flutes, *(held[mover] for mover in (Mover.SHANK, Mover.NUT) if mover in held)])


def tip_path_mm(passes: Sequence[CutterPass], clear_mm: float) -> tuple[Vector, ...]:
    """Return where the tip of a cutter goes, corner by corner, its arcs as chords.

    Parameters
    ----------
    passes : sequence of CutterPass
        In order.
    clear_mm : float
        Height to which it is lifted between passes that do not follow each other.

    Returns
    -------
    tuple of Vector
        mm, from above the first pass to above the last.
    """
    found: list[Vector] = []
    for one in passes:
        level = [(x, y, one.z_mm) for x, y in points_of(one.path, _DRAWN_SAG_MM)]
        if one.from_z_mm is not None:
            closed = math.dist(level[0], level[-1]) < _DRAWN_SAG_MM
            level = [*_way_down(one, level, one.from_z_mm), *(level if closed else level[::-1])]
        if not found or math.dist(found[-1], level[0]) > _DRAWN_SAG_MM:
            above = [] if not found else [(*found[-1][:2], clear_mm)]
            found += [*above, (*level[0][:2], clear_mm)]
        found += level
    return (*found, (*found[-1][:2], clear_mm))


def _way_down(one: CutterPass, level: Sequence[Vector], from_z_mm: float) -> Iterator[Vector]:
    """Yield where the tip goes down evenly along a path, over and over until it is at its lowest."""
    long_mm = [math.dist(a, b) for a, b in pairwise(level)]
    z_mm, fall = from_z_mm, one.drop_mm / sum(long_mm)
    yield (*level[0][:2], z_mm)
    while z_mm > one.z_mm + _DRAWN_SAG_MM:
        for (x, y, _), step in zip(level[1:], long_mm, strict=True):
            z_mm = max(z_mm - fall * step, one.z_mm)
            yield (x, y, z_mm)


def cutter_sweep(run: EndMilling, passes: Sequence[CutterPass], top_mm: float) -> Shape:
    """Return what the flutes of a cutter sweep.

    That of a square cutter is a prism for each height, exact. On the way down a cutter takes nothing that it
    does not take at its lowest height, but above its flutes; there that of a square one is counted. Of any
    other, plunges, lines and arcs are exact, and so is the round of a pocket beside its walls; the rounds
    within it count from the ridges that they leave up, so that what lies between two rounds is left as a
    layer as high as its ridges.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    passes : sequence of Pass
        Where the cutter goes.
    top_mm : float
        Height from which a plunge comes down.

    Returns
    -------
    Shape
        In the machine's frame; several solids where passes do not touch.

    Raises
    ------
    KernelError
        The kernel could not build or join it.
    NotComputedError
        The outline of what it sweeps could not be put together.
    """
    if run.shape == CutterShape.SQUARE:
        return prisms_over(passes, 0.5 * run.diameter_mm, 0.0, run.flute_mm, top_mm)
    outline, pieces = cutter_outline(run), list[Shape]()
    pockets = _whole_pockets(run, passes)
    for one in passes:
        if one.plunges:
            pieces.append(straight_down(outline, one.path[0].start, one.z_mm, top_mm))
        elif one.round == 0 and not (pockets and one.step_mm > 0.0):
            pieces.append(along_path(outline, one.path, one.z_mm, outer=one.step_mm > 0.0))
    rounds = [p for p in passes if p.step_mm > 0.0]
    if pockets:
        pieces += pockets
    elif rounds:
        ridge_mm = ridge_of_rounds_mm(run, rounds[0].step_mm)
        pieces.append(prisms_over(rounds, radius_at_mm(run, ridge_mm), ridge_mm, run.flute_mm, top_mm))
    whole = fused([solid for piece in pieces for solid in solids_of(piece)])
    if len(pieces) > 1:
        most_mm3 = swept_by_sections_mm3(run, passes, top_mm)
        if volume_mm3(whole) > (1.0 + _SECTIONS_SHARE) * most_mm3:
            raise KernelError(
                f"the sweep of a cutter came out at {volume_mm3(whole):.6g} mm3, above {most_mm3:.6g}"
            )
    return whole


_SECTIONS_SHARE = 5e-3
"""How far the volume by a few sections may lie off the true one."""


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


def swept_by_sections_mm3(run: EndMilling, passes: Sequence[CutterPass], top_mm: float) -> float:
    """Return what the flutes of a cutter sweep by level sections, each seen from above, without the kernel.

    The kernel's union of round pieces has filled the island that a cutter went round and called it valid.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    passes : sequence of CutterPass
        Where the cutter goes.
    top_mm : float
        Height from which a plunge comes down.

    Returns
    -------
    float
        mm3, ridges between rounds not counted.

    Notes
    -----
    Gauss-Legendre over the square root of the height, as the radius of a round end grows.
    """
    meets_mm = cutter_outline(run)[0][-1][0]
    spans = [(p, max(p.z_mm + run.flute_mm, top_mm if p.plunges else -math.inf)) for p in passes]
    levels = sorted({round(z, 9) for p, high in spans for z in (p.z_mm, p.z_mm + meets_mm, high)})
    total = 0.0
    for low, high in pairwise(levels):
        for node, weight in zip(0.5 * (_NODES + 1.0), 0.5 * _WEIGHTS, strict=True):
            z_mm = low + (high - low) * node * node
            there = [
                swept_polygon([p.path], radius_at_mm(run, min(z_mm - p.z_mm, run.flute_mm)))
                for p, end in spans
                if p.z_mm < z_mm < end
            ]
            total += weight * 2.0 * node * (high - low) * merged(there).area
    return total


def _whole_pockets(run: EndMilling, passes: Sequence[CutterPass]) -> list[Shape]:
    """Return what the rounds of pockets sweep, face by face; nothing where that is not all, or not simple.

    Rounds too far apart leave an island between them, and a path that turns tightly to the wall crosses
    itself: those are joined of their pieces.
    """
    found: list[Shape] = []
    for z_mm in dict.fromkeys(p.z_mm for p in passes if p.step_mm > 0.0):
        rounds = [p for p in passes if p.step_mm > 0.0 and p.z_mm == z_mm]
        ridge_mm = ridge_of_rounds_mm(run, rounds[0].step_mm)
        beside = [p.path for p in rounds if p.round == 0]
        outer = [ring for ring in beside if around_mm2(ring) > 0.0]
        areas = polygons_in(swept_polygon([p.path for p in rounds], radius_at_mm(run, ridge_mm)))
        holes = sum(len(polygons_in(Polygon(hole))) for area in areas for hole in area.interiors)
        if len({p.step_mm for p in rounds}) > 1 or len(outer) != 1 or holes != len(beside) - 1:
            return []
        islands = [ring for ring in beside if ring is not outer[0]]
        swept = round_pocket(cutter_outline(run), outer[0], islands, z_mm, ridge_mm)
        if swept is None:
            return []
        found.append(swept)
    return found


def ridge_mm(run: EndMilling, step_mm: float) -> float:
    """Return how high the ridge is that a cutter leaves between two level passes a step apart, mm.

    r - sqrt(r^2 - (s - f)^2 / 4) for a corner of radius r beside a flat of width f; a ball has no flat.
    Beyond a step of f + 2 r a wall is left, and the height is that of the corner.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    step_mm : float
        From one pass to the next.

    Returns
    -------
    float
        mm above the floor; zero where the step is no wider than the flat.

    References
    ----------
    Chord of a circle, closed form.
    """
    corner, flat = run.corner_radius_mm, 2.0 * flat_radius_mm(run)
    half = 0.5 * max(step_mm - flat, 0.0)
    return corner if half >= corner else corner - math.sqrt(corner * corner - half * half)


def ridge_of_rounds_mm(run: EndMilling, step_mm: float) -> float:
    """Return the ridge that rounds of a pocket leave where they turn a square corner, sqrt 2 steps apart.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    step_mm : float
        From one pass to the next.

    Returns
    -------
    float
        mm above the floor.
    """
    return ridge_mm(run, math.sqrt(2.0) * step_mm)


def holder_sweeps(run: EndMilling, passes: Sequence[CutterPass]) -> dict[Mover, Shape]:
    """Return what shank, nut and nose sweep over all passes.

    Parameters
    ----------
    run : EndMilling
        The run as stated.
    passes : sequence of Pass
        Where the cutter goes.

    Returns
    -------
    dict[Mover, Shape]
        One for each that has a length; nothing of the flutes.
    """
    shank_mm = largest_radius_mm(run) if run.shank_mm is None else 0.5 * run.shank_mm
    nut_to = run.stick_out_mm + run.nut_long_mm
    spans = {
        Mover.SHANK: (shank_mm, run.flute_mm, run.stick_out_mm),
        Mover.NUT: (0.5 * run.nut_mm, run.stick_out_mm, nut_to),
        Mover.NOSE: (0.5 * run.nose_mm, nut_to, nut_to + _NOSE_LONG_MM),
    }
    return {
        mover: prisms_over(passes, radius, low, high, -math.inf)
        for mover, (radius, low, high) in spans.items()
        if high - low > 1e-6
    }


def prisms_over(
    passes: Sequence[CutterPass], radius_mm: float, low_mm: float, high_mm: float, top_mm: float
) -> Shape:
    """Return what a cylinder on a tool sweeps over level passes and plunges.

    Parameters
    ----------
    low_mm, high_mm : float
        Its ends above the tip.
    top_mm : float
        From what height a plunge comes down.
    passes : sequence of Pass
        Where the cutter goes.
    radius_mm : float
        Radius of what turns.

    Returns
    -------
    Shape
        In the machine's frame; several solids where passes do not touch.
    """
    spans = [
        (p, p.z_mm + low_mm, max(p.highest_mm + high_mm, top_mm if p.plunges else -math.inf)) for p in passes
    ]
    levels = sorted({round(z, 9) for _, a, b in spans for z in (a, b)})
    prisms: list[Shape] = []
    for low, high in pairwise(levels):
        there = [p.path for p, a, b in spans if a < high - 1e-9 and b > low + 1e-9]
        if there:
            prisms += [prism_of(rings, low, high) for rings in swept_outlines(there, radius_mm)]
    return prisms[0] if len(prisms) == 1 else _stacked(prisms, len(levels) > 2)


def _stacked(prisms: Sequence[Shape], meet: bool) -> Shape:
    return united(prisms, "what a cutter sweeps at several heights") if meet else compound(prisms)
