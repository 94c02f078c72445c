"""Each part of an end mill's run once it is milled, and which other size of cutter or step would do."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from fixturecheck.errors import NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import shared_mm3, split
from fixturecheck.kernel.brep.topology import faces_of, solids_of
from fixturecheck.kernel.construct import compound, pulled
from fixturecheck.kernel.measure import box_of, hollow_rounds, is_flat, normal_in_middle, volume_mm3
from fixturecheck.kernel.outline import Line, prism_of
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.shapes import Face, Shape, Solid
from fixturecheck.kernel.stock import closed, found_again, with_blends
from fixturecheck.machining.as_ground import Stock, made_of, shapes_of, share_of, taken_of, with_layers
from fixturecheck.machining.clearance import kept_clear_mm
from fixturecheck.machining.cut import CutDone, PartGround
from fixturecheck.machining.cutter_sweep import (
    cutter_sweep,
    holder_sweeps,
    prisms_over,
    ridge_of_rounds_mm,
    tip_path_mm,
    tool_at,
)
from fixturecheck.machining.detours import clears
from fixturecheck.machining.end_mill import (
    CutterPass,
    Walls,
    flat_radius_mm,
    largest_radius_mm,
    passes_of,
    radius_at_mm,
    walls_of,
)
from fixturecheck.machining.swept_area import (
    AreaBounds,
    merged,
    outlines,
    polygons_in,
    swept_outlines,
    swept_polygon,
)
from fixturecheck.numeric import scaled
from fixturecheck.result.contact import FaceMade, Mover
from fixturecheck.result.remedy import Dodge, DodgeKind
from fixturecheck.result.shapes import Role
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.tools import CutterMove, EndMilling

_OVER_MM = 1.0
"""How far a plunge starts above everything that stands there."""
_TRIM_MM = 1e-3
"""How far within what the cutter could reach stock must lie to count as missed, not as left in a corner."""
_UPWARD = 0.999
_COVERED_SHARE = 0.99
"""How much of a face that is made must lie under stock before."""
OF_HOLDER = frozenset({Mover.SHANK, Mover.NUT, Mover.NOSE})
"""What goes up where a cutter stands out further."""
_STEP_MM = 0.5
"""Sizes of another cutter are named in these."""
_STEP_SHARES = (1.0, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5)
"""Of the step as it is, by which nothing may be left at all, and of shorter ones."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MilledCut(CutDone):
    """One run of an end mill worked out.

    Parameters
    ----------
    run : EndMilling
        As stated.
    bodies, solids : mapping of str to Body, Solid
        Its parts, and each where it stands.
    passes : mapping of str to tuple of CutterPass
        Where it goes over each part.
    walls : mapping of str to tuple of Walls
        What of each part its axis keeps away from at its lowest.
    top_mm : float
        Height from which a plunge comes down.
    """

    run: EndMilling
    bodies: Mapping[str, Body]
    solids: Mapping[str, Solid]
    passes: Mapping[str, tuple[CutterPass, ...]]
    walls: Mapping[str, tuple[Walls, ...]]
    top_mm: float

    def depth_mm(self, part: str) -> float:
        """Return how far the lowest tip goes below the highest place of the stock that the cutter takes."""
        (one,) = (p for p in self.parts if p.body == part)
        stock, passes = one.stock, self.passes[part]
        if self.run.neck_radius_mm is not None:
            # A neck stands beside what is above the flutes.
            full = split(stock, one.target, f"the stock of {part}").kept
            stock = stock if full is None else compound(solids_of(full))
        high_mm = max(box_of(stock)[5] - self.lowest_mm(part), 0.0) + _OVER_MM
        column = prisms_over(passes, largest_radius_mm(self.run), 0.0, high_mm, -math.inf)
        taken = split(stock, column, f"the stock of {part} by the way of the cutter").taken
        return 0.0 if taken is None else box_of(taken)[5] - self.lowest_mm(part)

    def lowest_mm(self, part: str) -> float:
        """Return the height of the tip where it is lowest over a part."""
        return min(p.z_mm for p in self.passes[part])


def mill(setup: Setup, run: EndMilling) -> MilledCut:
    """Mill the parts of a run and compare them with the drawing.

    Parameters
    ----------
    setup : Setup
        The set-up.
    run : EndMilling
        The run as stated.

    Returns
    -------
    MilledCut
        The parts as milled, what moves, and the numbers.

    Raises
    ------
    NotComputedError
        A pass could not be worked out, or a boolean did not add up; no number is given from it.
    KernelError
        The pocket cannot be closed, or a sweep could not be built.
    """
    bodies = _left_by(setup, run)
    placed = {part: placed_at(b.solid, b.at) for part, b in bodies.items()}
    passes = {part: passes_of(run, b, placed[part]) for part, b in bodies.items()}
    stocks = {part: _stock(setup, run, b, placed[part]) for part, b in bodies.items()}
    top_mm = max(box_of(s.solid)[5] for s in stocks.values()) + _OVER_MM
    every = tuple(dict.fromkeys(p for found in passes.values() for p in found))
    movers = {Mover.CUTTER: cutter_sweep(run, every, top_mm), **holder_sweeps(run, every)}
    walls = {part: walls_of(run, placed[part], min(p.z_mm for p in found)) for part, found in passes.items()}
    parts = tuple(
        _milled(
            setup,
            run,
            bodies[part],
            placed[part],
            stocks[part],
            movers[Mover.CUTTER],
            passes[part],
            walls[part],
        )
        for part in run.parts
    )
    return MilledCut(
        run=run,
        bodies=bodies,
        solids=placed,
        passes=passes,
        walls=walls,
        movers=movers,
        parts=parts,
        made=replace(made_of(run.name, parts, None, None), tip_mm=tip_path_mm(every, top_mm)),
        top_mm=top_mm,
        shapes=tuple(shapes_of(run.name, parts, tool_at(run, every[-1]), Role.CUTTER)),
    )


def _left_by(setup: Setup, run: EndMilling) -> dict[str, Body]:
    """Return the parts of a run as it leaves them: what later runs cut is still full.

    Faces that a later run only skims, with `stock_mm`, stay as drawn.

    Parameters
    ----------
    setup : Setup
        Its runs are in the order in which they are made.
    run : EndMilling
        One of them.

    Returns
    -------
    dict of str to Body
        By name; as drawn where no later run cuts into it.

    Raises
    ------
    KernelError
        What a later run cuts cannot be closed.
    """
    later = setup.end_mills[setup.end_mills.index(run) + 1 :] if run in setup.end_mills else ()
    found = {}
    for part in run.parts:
        body = setup.body(part)
        names = {n for o in later if part in o.parts and o.stock_mm is None for n in _filled(setup, o, body)}
        full = sorted(names - {*run.makes})
        found[part] = _closed_body(body, full) if full else body
    return found


def _filled(setup: Setup, run: EndMilling, body: Body) -> tuple[str, ...]:
    """Return the faces between which a run finds its part full.

    A T-slot is widened out of a slot that is there down to its floor. The floor, and what the run of that
    slot makes, are no borders of what is full.
    """
    if run.neck_radius_mm is None:
        return run.makes
    solid = placed_at(body.solid, body.at)
    ups = {i for i, f in enumerate(faces_of(solid)) if is_flat(f) and normal_in_middle(f)[2] > _UPWARD}
    before = setup.end_mills[: setup.end_mills.index(run)] if run in setup.end_mills else ()
    there = {n for o in before if body.name in o.parts for n in o.makes}
    beside = tuple(n for n in run.makes if n not in there and not ups.issuperset(body.face_indices(n)))
    return beside or run.makes


def _closed_body(body: Body, names: Sequence[str]) -> Body:
    """Return a body with what some faces bound closed, and its other faces named as before."""
    numbers = sorted({i for name in names for i in body.face_indices(name)})
    solid = closed(body.solid, with_blends(body.solid, numbers), f"{', '.join(names)} of {body.name}")
    others = {n: own for n, own in body.faces.items() if n not in names}
    there = found_again(body.solid, solid, {i: 0.0 for own in others.values() for i in own})
    faces = {n: tuple(sorted({j for i in own for j in there[i]})) for n, own in others.items()}
    return replace(body, solid=solid, faces={n: own for n, own in faces.items() if own})


def _stock(setup: Setup, run: EndMilling, body: Body, solid: Solid) -> Stock:
    """Return a part before a run: its pocket, slot or step full, or stock on the faces that are made."""
    part = body.name
    numbers = sorted({i for name in run.makes for i in body.face_indices(name)})
    faces = [faces_of(solid)[i] for i in numbers]
    if run.stock_mm is not None:
        layers = [pulled(face, scaled(normal_in_middle(face), run.stock_mm)) for face in faces]
        return with_layers(part, solid, layers, run.name, setup.write)
    filled = _filled(setup, run, body)
    numbers = sorted({i for name in filled for i in body.face_indices(name)})
    what = f"{', '.join(filled)} of {part}"
    full = closed(solid, with_blends(solid, numbers), what)
    layer = split(full, solid, f"{part} with {what} full by the part").kept
    if layer is None:
        raise NotComputedError(
            f"closing {what} adds nothing, so what {run.name} takes is not known; state stock_mm"
        )
    near_mm = setup.tolerances.touch_mm
    for name in filled:
        flat = [faces_of(solid)[i] for i in body.face_indices(name) if is_flat(faces_of(solid)[i])]
        if flat and share_of(flat, layer, near_mm, facing=-1) < _COVERED_SHARE:
            raise NotComputedError(
                f"closing {what} leaves {name} partly open, so what {run.name} takes is not known; name "
                "every face of the pocket, slot or step in makes, or state stock_mm"
            )
    return Stock(solid=full, layer=layer, solid_mm3=volume_mm3(full))


def _milled(
    setup: Setup,
    run: EndMilling,
    body: Body,
    solid: Solid,
    stock: Stock,
    sweep: Shape,
    passes: Sequence[CutterPass],
    walls: Sequence[Walls],
) -> PartGround:
    """Take the sweep of the flutes from one part's stock."""
    part = body.name
    taken = taken_of(part, solid, stock, sweep, f"the cutter of {run.name}", setup.write)
    flat = [name for name in run.makes if all(is_flat(faces_of(solid)[i]) for i in body.face_indices(name))]
    faces = {name: [faces_of(solid)[i] for i in body.face_indices(name)] for name in flat}
    missed = _missed(run, solid, taken.layer.kept, passes, walls)
    # Ridges between rounds are judged by their height; a floor under them counts as made.
    steps = [ridge_of_rounds_mm(run, p.step_mm) for p in passes if p.step_mm > 0.0]
    near_mm = setup.tolerances.touch_mm + max(steps, default=0.0)
    left = taken.layer.kept
    made = {name: share_of(of, taken.ground, near_mm) for name, of in faces.items()}
    kept = {n: 0.0 if left is None else _kept_share(of, left, missed, near_mm) for n, of in faces.items()}
    return PartGround(
        body=part,
        target=solid,
        stock=stock.solid,
        ground=taken.ground,
        leftover=taken.layer.kept,
        missed=missed,
        gouge=taken.drawn.taken,
        dug=_dug(run, solid, taken.drawn.taken, passes, walls),
        removed_mm3=taken.removed_mm3,
        leftover_mm3=taken.layer.kept_mm3,
        gouge_mm3=taken.drawn.taken_mm3,
        corner=None,
        faces=tuple(FaceMade(face=FaceRef.of(part, name), share_made=share) for name, share in made.items()),
        # A ridge lies on a face that counts as made: no share is counted twice.
        corner_shares=tuple(min(kept[name], 1.0 - share) for name, share in made.items()),
        like=(part, 0.0),
    )


def _kept_share(faces: Sequence[Face], left: Shape, missed: Shape | None, near_mm: float) -> float:
    """Return the share of faces that the cutter's own corners keep it from."""
    whole = share_of(faces, left, near_mm, facing=-1)
    return whole - (0.0 if missed is None else share_of(faces, missed, near_mm, facing=-1))


def _free(walls: Sequence[Walls], around: BaseGeometry) -> BaseGeometry:
    """Return where the axis of the cutter may stand, of an area."""
    free = around.difference(merged([w.area.buffer(w.keep_mm, quad_segs=48) for w in walls]))
    # A sliver of no area would be widened like any other.
    return merged(polygons_in(free))


def _missed(
    run: EndMilling,
    solid: Solid,
    leftover: Shape | None,
    passes: Sequence[CutterPass],
    walls: Sequence[Walls],
) -> Shape | None:
    """Return the leftover that the cutter could have reached from anywhere between the walls.

    Its own way counts besides: between walls that are just as far apart as it is wide no area is free.
    """
    if leftover is None:
        return None
    x0, y0, z0, x1, y1, z1 = box_of(leftover)
    wide = 2.0 * largest_radius_mm(run)
    corners = [(x0 - wide, y0 - wide), (x1 + wide, y0 - wide), (x1 + wide, y1 + wide), (x0 - wide, y1 + wide)]
    around = [Line(start=a, end=b) for a, b in pairwise([*corners, corners[0]])]
    tip_mm, corner_mm = min(p.z_mm for p in passes), run.corner_radius_mm
    if corner_mm <= 0.0 and z0 < tip_mm - _TRIM_MM:
        # It went less deep than it might have gone.
        walls, tip_mm = walls_of(run, solid, z0), z0
    free = _free(walls, Polygon(corners))
    steps = [p.step_mm for p in passes if p.step_mm > 0.0]
    low_mm = tip_mm + (ridge_of_rounds_mm(run, steps[0]) + 1e-6 if steps and corner_mm > 0.0 else 0.0)
    spans = [(max(tip_mm + corner_mm, low_mm), z1 + 1.0, 0.5 * run.diameter_mm)]
    if corner_mm > 0.0 and low_mm < tip_mm + corner_mm:
        spans.append((low_mm, tip_mm + corner_mm, flat_radius_mm(run)))
    found: list[Shape] = []
    left: Shape | None = leftover
    ways = [p.path for p in passes if not p.plunges]
    bounds = AreaBounds.joined([AreaBounds.offsets(around, 0.0), *(_kept(w, w.keep_mm) for w in walls)])
    edges = [p for area in outlines(free, bounds, wide) for ring in area for p in ring]
    for low, high, radius in spans:
        if low >= high:
            continue
        trimmed = max(radius - _TRIM_MM, 0.0)
        reach = free.buffer(trimmed, quad_segs=48) if trimmed > 0.0 else free
        over = outlines(reach, AreaBounds.offsets(edges, trimmed), wide)
        for rings in (*over, *(swept_outlines(ways, trimmed) if ways else ())):
            if left is None:
                break
            inside = split(left, prism_of(rings, low, high), f"what {run.name} leaves, in reach")
            left = inside.kept
            found += [] if inside.taken is None else solids_of(inside.taken)
    return compound(found) if found else None


def _kept(wall: Walls, by_mm: float) -> AreaBounds:
    return AreaBounds.offsets(wall.pieces, by_mm)


def floor_fillet_mm(solid: Solid, floor_mm: float) -> float | None:
    """Return the largest drawn radius between a floor at a height and what stands beside it; 0 for none.

    Parameters
    ----------
    solid : Solid
        The part where it stands.
    floor_mm : float
        Height of the floor.

    Returns
    -------
    float or None
        mm; None where there is no floor at that height: the bottom is a round, or the tip goes below it.
    """
    found = [
        fillet.radius_mm
        for fillet in hollow_rounds(solid, along_x=False)
        if abs(fillet.z_mm - floor_mm - fillet.radius_mm) < _TRIM_MM
    ]
    boxes = [box_of(face) for face in faces_of(solid) if is_flat(face)]
    if not any(max(abs(z - floor_mm) for z in (b[2], b[5])) < _TRIM_MM for b in boxes):
        return None
    return max(found, default=0.0)


def _dug(
    run: EndMilling, solid: Solid, gouge: Shape | None, passes: Sequence[CutterPass], walls: Sequence[Walls]
) -> Shape | None:
    """Return the portion of a gouge outside the fillet drawn between floor and walls."""
    floor_mm = min(p.z_mm for p in passes)
    drawn_mm = floor_fillet_mm(solid, floor_mm)
    if gouge is None or not drawn_mm:
        return gouge
    by_mm = drawn_mm + _TRIM_MM
    ring = merged([w.area.buffer(by_mm, quad_segs=48) for w in walls])
    kept: Shape | None = gouge
    for rings in outlines(ring, AreaBounds.joined([_kept(w, by_mm) for w in walls]), by_mm):
        if kept is None:
            return None
        zone = prism_of(rings, floor_mm - _TRIM_MM, floor_mm + drawn_mm + _TRIM_MM)
        try:
            kept = split(kept, zone, f"what {run.name} gouges, by the drawn fillet").kept
        except NotComputedError:
            # Of a sliver too thin for the kernel to cut, nothing is taken as lying in the fillet.
            return kept
    return kept


def below_floor_mm(cut: MilledCut, part: PartGround) -> float:
    """Return how far the tip goes below the lowest face that it makes.

    Parameters
    ----------
    cut : MilledCut
        The run worked out.
    part : PartGround
        The part as milled.

    Returns
    -------
    float
        mm, zero or more.
    """
    body = cut.bodies[part.body]
    numbers = [i for name in cut.run.makes for i in body.face_indices(name)]
    low_mm = min(box_of(faces_of(part.target)[i])[2] for i in numbers)
    return max(low_mm - cut.lowest_mm(part.body), 0.0)


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
