"""A tool that goes down its own axis as a cutting process: a drill, a tap, an end mill on its way in.

It stands in one place and pushes and turns the part there; an end mill that goes down a slope pushes it
sideways, too. A freed part is not followed: turned it goes round
with the tool, and lifted it climbs up it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from typing import NoReturn

import numpy as np
import shapely

from fixturecheck.drilling import thread_of
from fixturecheck.errors import NotComputedError
from fixturecheck.holding.cutter import LEAST_FEED_MM
from fixturecheck.holding.model import Borne, LoadCase
from fixturecheck.holding.process import Lighter, stays_below
from fixturecheck.holding.rig import Rig
from fixturecheck.hull import convex_hull
from fixturecheck.interval import Range
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.outline import Arc
from fixturecheck.kernel.place import matrix_of
from fixturecheck.kernel.sample import rim_points
from fixturecheck.kernel.shapes import Shape, Solid
from fixturecheck.machining.boring import (
    AxialForces,
    drill_feed_mm,
    drill_forces,
    plunge_forces,
    slope_forces,
    tap_forces,
)
from fixturecheck.machining.drilled import hole_of
from fixturecheck.machining.end_mill import CutterPass, passes_of
from fixturecheck.machining.milling import Mill, shearing
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import AxialStroke, CutCase, Driver, Tool
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Setup
from fixturecheck.setup.tools import DESCENDING, CutterMove, CutterShape, Drilling, EndMilling, MillMove
from fixturecheck.statics.equilibrium import Load

_FEED_STEP_MM = 0.005
_SEAT_TEETH = 2
_WAYS = 8
_WAY_OF = {
    CutterMove.PLUNGE: AxialStroke.PLUNGES,
    CutterMove.RAMP: AxialStroke.RAMPS,
    CutterMove.HELIX: AxialStroke.RAMPS,
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AxialProcess:
    """One part under a tool that goes down its axis in it.

    Parameters
    ----------
    setup : Setup
    placed : mapping of str to Solid
        Every body where it stands.
    part : str
        Name of the part.
    made : Drilling or EndMilling
        The hole, or the run that plunges.
    places_mm : tuple of Vector
        Where the tool meets the part.
    feed_mm, least_feed_mm : float
        The greatest feed in one turn, and the least worth setting.
    fed : callable
        What it does there at a greatest feed.
    tool : Tool
    """

    setup: Setup
    placed: Mapping[str, Solid]
    part: str
    made: Drilling | EndMilling
    places_mm: tuple[Vector, ...]
    feed_mm: float
    least_feed_mm: float
    fed: Callable[[float], tuple[AxialForces, ...]]
    tool: Tool
    heaviest: Mapping[str, float] = field(default_factory=lambda: {Driver.SIZE: 1.0, Driver.THRUST: 0.0})

    @property
    def cut_name(self) -> str:
        """Name of the hole or of the run."""
        if isinstance(self.made, Drilling):
            return self.made.name
        return way_in_name(self.made, self.strokes[0].stroke)

    @property
    def strokes(self) -> tuple[AxialForces, ...]:
        """What it does to the part, stroke by stroke."""
        return self.fed(self.feed_mm)

    @property
    def forces(self) -> Mapping[str, Range]:
        """Thrust, N, and torque, N m, over all strokes."""
        least = [f.thrust_n.scaled(self._least_share(f)).low for f in self.strokes]
        low_n = min([*least, *(f.thrust_n.low for f in self.strokes if f.thrust_n.low < 0.0)])
        turns = [f.torque_nmm.scaled(1e-3) for f in self.strokes]
        return {
            Driver.THRUST: Range(low=low_n, high=max(f.thrust_n.high for f in self.strokes)),
            Driver.TORQUE: Range(low=min(t.low for t in turns), high=max(t.high for t in turns)),
        }

    def inputs(self, case: LoadCase) -> Mapping[str, Range]:
        """Return the size of the cutting force over its greatest, and the thrust between its two ends."""
        least = self._least_share(self._stroke_of(case))
        return {Driver.SIZE: Range(low=least, high=1.0), Driver.THRUST: Range(low=0.0, high=1.0)}

    def _least_share(self, forces: AxialForces) -> float:
        return forces.torque_nmm.low / forces.torque_nmm.high

    def _stroke_of(self, case: LoadCase) -> AxialForces:
        return next(f for f in self.strokes if f.stroke is case.stroke)

    def cases(self) -> tuple[LoadCase, ...]:
        """Return each stroke at each place, and where it pushes sideways each of eight ways."""
        several = len(self.places_mm) > 1
        every = [
            (forces, place, aside)
            for forces, place in product(self.strokes, self.places_mm)
            for aside in self._aside(forces, place)
        ]
        return tuple(
            LoadCase(
                of_cut=CutCase(stroke=forces.stroke, at_mm=place[:2] if several else None),
                at_mm=place,
                group=(number,),
                teeth=aside,
            )
            for number, (forces, place, aside) in enumerate(every)
        )

    def _aside(self, forces: AxialForces, place: Vector) -> Iterator[tuple[Load, ...]]:
        """Yield what pushes sideways at a place, one way after the other; nothing once where nothing does."""
        if not forces.side_n:
            yield ()
            return
        for angle in np.arange(_WAYS) * 2.0 * math.pi / _WAYS:
            force = (forces.side_n * math.cos(angle), forces.side_n * math.sin(angle), 0.0)
            yield (Load(body=self.part, force_n=force, at_mm=place, label="cut"),)

    def loads(self, case: LoadCase, values: Mapping[str, float]) -> tuple[Load, ...]:
        """Return thrust and torque in a case.

        Parameters
        ----------
        case : LoadCase
            One stroke of the tool at one place.
        values : mapping of str to float
            Under `Driver.SIZE` a factor on every force, under `Driver.THRUST` how far (0 to 1) the thrust
            lies from its low to its high end.

        Returns
        -------
        tuple of Load
            The thrust with the torque, then what the teeth do to the part in that case.
        """
        forces, size, share = self._stroke_of(case), values[Driver.SIZE], values[Driver.THRUST]
        sense, thrust_n = 1.0 if forces.backward else -1.0, size * forces.thrust_n.at(share)
        turn = (0.0, 0.0, sense * size * forces.torque_nmm.high)
        down = Load(
            body=self.part, force_n=(0.0, 0.0, -thrust_n), at_mm=case.at_mm, moment_nmm=turn, label="cut"
        )
        return (down, *(replace(t, force_n=to_vector(size * f for f in t.force_n)) for t in case.teeth))

    def weakest(self, borne: Callable[[Mapping[str, float]], Borne]) -> Borne:
        """Return what is borne least: the greatest torque with the least and with the greatest thrust."""
        ends = (borne({**self.heaviest, Driver.THRUST: share}) for share in (0.0, 1.0))
        return min(ends, key=lambda b: b.low_factor)

    @property
    def floor_mm(self) -> float:
        """Height at which the tool meets the part first; blocks stay below it."""
        return min(place[2] for place in self.places_mm)

    def clears(self, shape: Shape) -> bool:
        """Say whether a shape stays below that; what stands higher is not known to be clear."""
        return stays_below(shape, self)

    def counterpart(self, case: LoadCase) -> LoadCase:
        """Return the case of the same stroke, place and way."""
        return next(c for c in self.cases() if c.group == case.group)

    def lighter(self) -> tuple[Lighter, ...]:
        """Return the feed in one turn; that of a tap follows from its thread, and nothing makes it less."""
        if isinstance(self.made, Drilling) and self.made.drilled:
            return ()
        return (
            Lighter(
                kind=RemedyKind.FEED_IN_TURN,
                now_mm=self.feed_mm,
                least_mm=self.least_feed_mm,
                step_mm=_FEED_STEP_MM,
                at=lambda value: replace(self, feed_mm=value),
            ),
        )

    def turned(self) -> Iterator[tuple[RemedyKind, tuple[str, str], AxialProcess]]:
        """Yield nothing: it goes down one way."""
        yield from ()

    def alone_in(self, setup: Setup) -> Setup:
        """Return a set-up with this tool in this part and no other."""
        alone = replace(self.made, parts=(self.part,))
        if isinstance(alone, Drilling):
            return replace(setup, drills=(alone,), end_mills=())
        return replace(setup, drills=(), end_mills=(alone,))

    def moved_to(self, setup: Setup, placed: Mapping[str, Solid]) -> AxialProcess:
        """Return the same tool in the same place of the part held otherwise.

        Parameters
        ----------
        setup : Setup
            One that has the part in it, placed in any way.
        placed : mapping of str to Solid
            Every body of it where it stands.
        """
        before, after = (matrix_of(s.body(self.part).at) for s in (self.setup, setup))
        way = after @ np.linalg.inv(before)
        places = tuple(to_vector((way @ np.append(place, 1.0))[:3]) for place in self.places_mm)
        return replace(self, setup=setup, placed=placed, places_mm=places)

    def scene(self, _rig: Rig) -> None:
        """Return nothing: a freed part goes round with the tool or climbs up it, and is not followed."""


WAYS_IN = {AxialStroke.PLUNGES: "plunge", AxialStroke.RAMPS: "ramp", AxialStroke.ENTERS: "entry"}
"""How an end mill goes in, and what that is called."""


def way_in_name(run: EndMilling, way: AxialStroke) -> str:
    """Return what a way in of a run is called.

    Parameters
    ----------
    run : EndMilling
    way : AxialStroke
        One of `WAYS_IN`.

    Returns
    -------
    str
    """
    return f"{run.name} {WAYS_IN[way]}"


def drilling_of(setup: Setup, placed: Mapping[str, Solid], drill: Drilling, part: str) -> AxialProcess:
    """Return a part under a drill, with the seat before it and the tap after it.

    Parameters
    ----------
    setup : Setup
        As stated.
    placed : mapping of str to Solid
        Every body where it stands.
    drill : Drilling
        The hole and the tools; a diameter or a feed that is not stated is taken from the hole and the drill.
    part : str
        Name of the part.

    Returns
    -------
    AxialProcess
        At one place, the start of the hole.

    Raises
    ------
    NotComputedError
        The hole is not found on the part.
    """
    hole = hole_of(setup.body(part), drill)
    drill_mm = hole.diameter_mm if drill.drill_mm is None else drill.drill_mm
    usual = drill_feed_mm(drill_mm) if drill.feed_mm is None else Range.exactly(drill.feed_mm)
    takes = shearing(drill.cuts_as)

    def fed(feed_mm: float) -> tuple[AxialForces, ...]:
        feed = Range(low=min(usual.low, feed_mm), high=feed_mm)
        drills = not drill.drilled
        strokes = drill_forces(takes, drill_mm, feed, drill.point_deg, through=hole.through) if drills else ()
        if drill.seat_mm is not None:
            strokes += (plunge_forces(takes, drill.seat_mm, feed, _SEAT_TEETH, AxialStroke.SEATS),)
        if drill.thread is not None:
            strokes += tap_forces(takes, *thread_of(drill.thread), drill.lead_pitches)
        return strokes

    return AxialProcess(
        setup=setup,
        placed=placed,
        part=part,
        made=drill,
        places_mm=(to_vector(hole.start),),
        feed_mm=usual.high,
        least_feed_mm=drill_feed_mm(drill_mm).low,
        fed=fed,
        tool=Tool.DRILL,
    )


def way_in_of(
    setup: Setup,
    placed: Mapping[str, Solid],
    run: EndMilling,
    part: str,
    way: AxialStroke,
    places_mm: tuple[Vector, ...],
) -> AxialProcess:
    """Return a part under an end mill on its way in.

    Parameters
    ----------
    setup : Setup
    placed : mapping of str to Solid
        Every body where it stands.
    run : EndMilling
    part : str
        Name of the part.
    way : AxialStroke
        One of `ways_in`.
    places_mm : tuple of Vector
        Where it goes in so, as `ways_in` gives it.

    Returns
    -------
    AxialProcess

    Raises
    ------
    NotComputedError
        A tapered cutter goes down a slope, over which how wide it cuts changes.
    """
    tapered = run.shape == CutterShape.TAPERED
    if tapered and way is not AxialStroke.PLUNGES:
        raise NotComputedError(
            f"a tapered cutter widens as it goes down, and what {run.name} then takes is not worked out"
        )
    teeth, each_mm = run.teeth or 1, run.feed_mm_tooth or 0.0
    takes, rounded = shearing(run.cuts_as), run.corner_radius_mm > 0.0
    slopes = (m for m in run.moves if m.kind in DESCENDING)
    passes = [p for move in slopes for p in _passes(setup, placed, run, part, move)]
    # A countersink cuts over all its slant up to the top of the part, as if there were no hole yet.
    deep_mm = max(box_of(placed[part])[5] - min(place[2] for place in places_mm), 0.0)
    across_mm = run.diameter_mm + 2.0 * deep_mm * math.tan(math.radians(run.taper_deg)) * tapered
    lean_deg = run.taper_deg if tapered else 90.0

    def fed(feed_mm: float) -> tuple[AxialForces, ...]:
        if way is not AxialStroke.RAMPS:
            feed = Range.exactly(feed_mm)
            return (plunge_forces(takes, across_mm, feed, teeth, way, rounded=rounded, lean_deg=lean_deg),)
        slot = Mill(
            cutter_mm=run.diameter_mm,
            teeth=teeth,
            deep_mm=max(run.deep_mm or 0.0, *(p.drop_mm for p in passes)),
            wide_mm=run.diameter_mm,
            feed_mm_tooth=feed_mm / teeth,
            helix_deg=run.helix_deg or 0.0,
            corner_mm=run.corner_radius_mm,
        )
        return (slope_forces(takes, slot, max(p.lead_deg for p in passes), rounded=rounded),)

    return AxialProcess(
        setup=setup,
        placed=placed,
        part=part,
        made=run,
        places_mm=places_mm,
        feed_mm=teeth * each_mm,
        least_feed_mm=teeth * LEAST_FEED_MM,
        fed=fed,
        tool=Tool.CUTTER,
    )


def refuse_no_force(run: EndMilling) -> NoReturn:
    """Refuse to load a part by a run of which nothing is stated that its force could be worked out from.

    Parameters
    ----------
    run : EndMilling
        Named in the error.

    Returns
    -------
    NoReturn
        It always raises.

    Raises
    ------
    NotComputedError
        Says what to state.
    """
    raise NotComputedError(
        f"how hard the cutter of {run.name} pushes is not known: state its teeth, feed_mm_tooth and deep_mm, "
        "or a [[mill]] over the part"
    )


def ways_in(
    setup: Setup, placed: Mapping[str, Solid], run: EndMilling, part: str
) -> dict[AxialStroke, tuple[Vector, ...]]:
    """Return where a run that states its teeth and feed goes into a part, by how, each place once.

    A move that is shut in on all sides, with nothing stated that goes down before it, is taken to go straight
    in anywhere along its way; a skimming cut and a tapered cutter, for an edge, come down beside what they
    take.

    Parameters
    ----------
    setup : Setup
    placed : mapping of str to Solid
        Every body where it stands.
    run : EndMilling
    part : str
        Name of the part.

    Returns
    -------
    dict of AxialStroke to tuple of Vector
        Empty where it comes in from outside.

    Raises
    ------
    NotComputedError
        Where it goes is not known.
    """
    if run.teeth is None or run.feed_mm_tooth is None:
        return {}
    # What the part covers from above, without its hollows.
    seen = convex_hull(rim_points(placed[part])[:, :2])
    reach = seen.buffer(0.5 * run.diameter_mm)
    found: dict[AxialStroke, dict[Vector, None]] = {}
    goes_down = False
    skims = run.stock_mm is not None or run.shape == CutterShape.TAPERED
    for move in run.moves:
        way = _WAY_OF.get(CutterMove(move.kind), AxialStroke.ENTERS)
        goes_down |= way is not AxialStroke.ENTERS
        if way is AxialStroke.ENTERS and (goes_down or skims):
            continue
        places = [at for p in _passes(setup, placed, run, part, move) for at in _stands_mm(p)]
        from_above = np.array([at[:2] for at in places])
        if way is AxialStroke.ENTERS and not shapely.contains_xy(seen, from_above).all():
            continue
        near = shapely.contains_xy(reach, from_above)
        found.setdefault(way, {}).update(dict.fromkeys(at for at, n in zip(places, near, strict=True) if n))
    return {way: tuple(places) for way, places in found.items() if places}


def _passes(
    setup: Setup, placed: Mapping[str, Solid], run: EndMilling, part: str, move: MillMove
) -> tuple[CutterPass, ...]:
    return passes_of(replace(run, moves=(move,)), setup.body(part), placed[part])


def _stands_mm(one: CutterPass) -> list[Vector]:
    """Return its tip at the ends of each piece of a pass and all round an arc, low and first of all high."""
    ends = [at for piece in one.path for at in (piece.start, piece.end)]
    ends += [piece.at(share) for piece in one.path if isinstance(piece, Arc) for share in (0.25, 0.5, 0.75)]
    return [(*at, z_mm) for at in ends for z_mm in dict.fromkeys((one.z_mm, one.highest_mm))]
