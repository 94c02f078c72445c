"""The grinding wheel as a cutting process: its passes over a part, where it may stand, what it bites into.

The wheel stands where the case puts it, at the height of the last pass. The part is taken as that pass
leaves it: what the wheel takes beyond that, while the part follows its motion, is a bite. The stock of the
pass itself is no bite, however fast the part is drawn under the wheel.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.holding.model import Borne, LoadCase
from fixturecheck.holding.process import TRAVEL_MM, Lighter
from fixturecheck.holding.rig import Rig
from fixturecheck.hull import corners_round
from fixturecheck.interval import Range
from fixturecheck.kernel.boolean import clipped, shared_mm3
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import box_of, face_frame, loose_box
from fixturecheck.kernel.place import shifted, transformed
from fixturecheck.kernel.sample import rim_points
from fixturecheck.kernel.shapes import Box, Shape, Solid
from fixturecheck.machining.bite import GIVE_MM
from fixturecheck.machining.cut import GroundCut
from fixturecheck.machining.detours import clears
from fixturecheck.machining.grinding import Abrasion, Forces, Pass, abrasion, cut_loads, pass_forces
from fixturecheck.machining.wheel_path import rim_of, sweeps_of
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import Mover
from fixturecheck.result.hold import CutCase, Driver, Edge, End, Outcome, Stroke, Tool
from fixturecheck.result.remedy import RemedyKind
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.setup.records import CutWay
from fixturecheck.shop.tables import material
from fixturecheck.statics.equilibrium import Load
from fixturecheck.statics.mechanism import Crash, StartingMotion, follow_overlap

LEAST_DEPTH_MM, DEPTH_STEP_MM = 0.001, 0.0005
"""The finest downfeed worth setting on a hand wheel, and the step of the answer."""
_SAMPLES = 5
_SAME_MM = 1e-6
_SAME_LEVER = 0.02
"""By how much of its height over the foot of the part a pass may lie higher and be taken for the last."""
_STANDS_CLEAR = Crash(outcome=Outcome.STAYS, moved_mm=(0.0, TRAVEL_MM), overlap_mm3=(0.0, 0.0), first_mm=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GrindingProcess:
    """One part under one cut of the wheel.

    Parameters
    ----------
    setup : Setup
    placed : mapping of str to Solid
        Every body where it stands.
    ground : GroundCut
        The cut as the wheel makes it.
    part : str
        Name of the part.
    made : Pass
        The pass over it.
    sizes : Forces
        Cutting force, low to high.
    """

    setup: Setup
    placed: Mapping[str, Solid]
    ground: GroundCut
    part: str
    made: Pass
    sizes: Forces
    tool: Tool = Tool.WHEEL

    @property
    def cut_name(self) -> str:
        """Name of the cut."""
        return self.ground.cut.name

    @property
    def forces(self) -> Mapping[str, Range]:
        """Each force of the cut, low to high, N."""
        return {
            Driver.DRAG: self.sizes.tangential_n,
            Driver.PRESS: self.sizes.normal_n,
            Driver.WALL: self.sizes.wall_n,
            Driver.CROSS: self.sizes.cross_n,
        }

    @property
    def heaviest(self) -> Mapping[str, float]:
        """The drag at its greatest, and the push of the wheel, which also holds a part down, at its least."""
        return {name: span.low if name == Driver.PRESS else span.high for name, span in self.forces.items()}

    def inputs(self, _case: LoadCase) -> Mapping[str, Range]:
        """Return what is not known well of the cut."""
        return self.forces

    def cases(self) -> tuple[LoadCase, ...]:
        """Return where the wheel may stand over the part: at each corner of what it grinds of the floor.

        Midway between front and back edge it stands at either end, too.

        Raises
        ------
        NotComputedError
            It meets the part nowhere.
        """
        faces = target_faces(self.setup, self.placed, self.part, self.ground.cut.floor)
        floor = box_of(faces)
        half = min(self.made.width_mm, floor[4] - floor[1]) / 2
        rim = rim_points(faces)[:, :2]
        rim[:, 1] = np.clip(rim[:, 1], floor[1] + half, floor[4] - half)
        corners = [(x, y, False) for x, y in corners_round(rim).tolist()]
        middle = (floor[1] + floor[4]) / 2
        wide = floor[4] - floor[1] - 2 * half > _SAME_MM
        midway = [(x, middle, True) for x in (floor[0], floor[3])] if wide else []
        places = product(Stroke, enumerate(self._passes_mm(floor[5])), corners + midway)
        return tuple(
            LoadCase(
                of_cut=replace(self._case(stroke, x, y, floor, half), first_pass=earlier > 0),
                at_mm=(x, y, z),
                group=(number,),
                midway=between,
            )
            for number, (stroke, (earlier, z), (x, y, between)) in enumerate(places)
        )

    def _passes_mm(self, floor_mm: float) -> tuple[float, ...]:
        """Return the height of the last pass, and of the first where that lies far higher."""
        cut, low_mm = self.ground.cut, box_of(self.placed[self.part])[2]
        first_mm = floor_mm + max(cut.stock_mm - cut.downfeed_mm, 0.0)
        far = first_mm - floor_mm > _SAME_LEVER * (floor_mm - low_mm)
        return (floor_mm, first_mm) if far else (floor_mm,)

    def _case(self, stroke: Stroke, x_mm: float, y_mm: float, floor: Box, half_mm: float) -> CutCase:
        """Return a case by the corner of the floor's box where the wheel stands, else by its place."""
        ends = {End.LEFT: floor[0], End.RIGHT: floor[3]}
        edges = {Edge.MIDDLE: (floor[1] + floor[4]) / 2}
        if floor[4] - floor[1] - 2 * half_mm > _SAME_MM:
            edges |= {Edge.FRONT: floor[1] + half_mm, Edge.BACK: floor[4] - half_mm}
        end = next((name for name, x in ends.items() if abs(x_mm - x) < _SAME_MM), None)
        edge = next((name for name, y in edges.items() if abs(y_mm - y) < _SAME_MM), None)
        if end is None or edge is None:
            return CutCase(stroke=stroke, at_mm=(x_mm, y_mm))
        return CutCase(stroke=stroke, end=end, edge=edge)

    def loads(self, case: LoadCase, values: Mapping[str, float]) -> tuple[Load, ...]:
        """Return the load of a case at given sizes of its forces; a cross feed is positive to the column.

        Parameters
        ----------
        case : LoadCase
            Where the wheel stands, and its stroke.
        values : mapping of str to float
            Forces by `Driver` in N: drag, press, wall and cross.

        Returns
        -------
        tuple of Load
            At the wheel's contact and at its side, those of zero force left out.
        """
        sizes = Forces(
            tangential_n=Range.exactly(values[Driver.DRAG]),
            normal_n=Range.exactly(values[Driver.PRESS]),
            wall_n=Range.exactly(values[Driver.WALL]),
            side_n=Range.exactly(values[Driver.DRAG] * self.sizes.side_share),
            cross_n=Range.exactly(values[Driver.CROSS]),
            energy_j_mm3=Range.exactly(1.0),
        )
        found = next(c for c in cut_loads(self.made, sizes) if c.stroke is case.stroke)
        sides = ((found.force_n, found.offset_mm), (found.side_force_n, found.side_offset_mm))
        return tuple(
            Load(
                body=self.part,
                force_n=force,
                at_mm=to_vector(a + b for a, b in zip(case.at_mm, offset, strict=True)),
                label="cut",
            )
            for force, offset in sides
            if any(force)
        )

    def weakest(self, borne: Callable[[Mapping[str, float]], Borne]) -> Borne:
        """Return what is borne least: both ends of a cross feed, and the push of the wheel at both ends.

        Midway between walls a pass without cross feed counts as well: it presses the part against neither.
        The greater push of the wheel is tried with the worse way of the feed alone.
        """
        press = self.sizes.normal_n
        light = [borne({**self.heaviest, Driver.CROSS: across}) for across in self.sizes.cross_n.ends]
        if light[0].case.midway:
            light.append(borne({**self.heaviest, Driver.CROSS: 0.0}))
        worst = min(light, key=lambda b: b.low_factor)
        if press.low < press.high:
            values = {name: worst.values[name] for name in self.forces}
            pressed_down = borne({**values, Driver.PRESS: press.high})
            worst = min(worst, pressed_down, key=lambda b: b.low_factor)
        return worst

    @property
    def floor_mm(self) -> float:
        """Height of the floor that the wheel leaves."""
        return self.ground.path.floor_z_mm

    def clears(self, shape: Shape) -> bool:
        """Say whether wheel, flanges and guard keep the machine's least clearance over the whole travel."""
        return clears(shape, list(self.ground.movers.values()), self.setup.machine.least_clearance_mm)

    def counterpart(self, case: LoadCase) -> LoadCase:
        """Return the case itself: the wheel stands at the same places whatever the downfeed."""
        return case

    def lighter(self) -> tuple[Lighter, ...]:
        """Return the downfeed, on whole steps whatever is stated."""

        def at(depth_mm: float) -> GrindingProcess:
            shallow = replace(self.ground, cut=replace(self.ground.cut, downfeed_mm=depth_mm))
            return self._again(self.setup, self.placed, shallow)

        return (
            Lighter(
                kind=RemedyKind.DOWNFEED,
                now_mm=self.ground.cut.downfeed_mm,
                least_mm=LEAST_DEPTH_MM,
                step_mm=DEPTH_STEP_MM,
                at=at,
            ),
        )

    def turned(self) -> Iterator[tuple[RemedyKind, tuple[str, str], GrindingProcess]]:
        """Yield nothing: a wheel grinds both ways of the table."""
        yield from ()

    def alone_in(self, setup: Setup) -> Setup:
        """Return a set-up with this cut over this part and no other."""
        return replace(setup, cuts=(replace(self.ground.cut, parts=(self.part,)),))

    def moved_to(self, setup: Setup, placed: Mapping[str, Solid]) -> GrindingProcess:
        """Return the same cut over the same part held otherwise.

        Parameters
        ----------
        setup : Setup
            One that has the part in it.
        placed : mapping of str to Solid
            Every body of it where it stands.
        """
        return self._again(setup, placed, self.ground)

    def _again(self, setup: Setup, placed: Mapping[str, Solid], ground: GroundCut) -> GrindingProcess:
        return grinding_of(setup, placed, ground, self.setup.body(self.part))

    def scene(self, rig: Rig) -> WheelScene:
        """Return what stands there once the part has let go."""
        after = {p.body: p.ground for p in self.ground.parts}
        standing = {n: after.get(n, s) for n, s in self.placed.items()}
        return WheelScene(process=self, rig=rig, standing=standing)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WheelScene:
    """Everything that stands there while one cut is ground, the parts of the cut as it leaves them."""

    process: GrindingProcess
    rig: Rig
    standing: Mapping[str, Shape]
    stops_count: bool = False
    # Many cases have the wheel at one place, and each asks for it several times.
    _there: dict[tuple[float, float], Mapping[Mover, Shape]] = field(default_factory=dict, repr=False)
    _within_reach: dict[tuple[Shape, str, float], Shape | None] = field(default_factory=dict, repr=False)

    def wheel_at(self, case: LoadCase) -> Mapping[Mover, Shape]:
        """Return wheel, flanges and guard where a case puts them."""
        place = case.at_mm[0], case.at_mm[1]
        if place not in self._there:
            self._there[place] = self._wheel_at(*place)
        return self._there[place]

    def _wheel_at(self, x_mm: float, y_mm: float) -> Mapping[Mover, Shape]:
        setup, path = self.process.setup, self.process.ground.path
        rim = rim_of(setup)
        flat_mm = (rim.flat_from_mm + rim.flat_to_mm) / 2
        y_mm = min(max(y_mm - flat_mm, path.y_from_mm), path.y_to_mm)
        still = replace(path, x_from_mm=x_mm, x_to_mm=x_mm, y_from_mm=y_mm, y_to_mm=y_mm)
        return sweeps_of(setup.machine, rim, still)

    def within_reach(self, wheel: Shape, body: str, travel_mm: float) -> Shape | None:
        """Return the portion of the wheel that a body can reach on its way: booleans with it cost less.

        Parameters
        ----------
        wheel : Shape
            Where it stands.
        body : str
            Name of the body.
        travel_mm : float
            How far the body is followed.

        Returns
        -------
        Shape or None
            None where the body cannot reach it.
        """
        key = wheel, body, travel_mm
        if key not in self._within_reach:
            x0, y0, z0, x1, y1, z1 = loose_box(self.standing[body])
            far = 1.5 * travel_mm
            reach = (x0 - far, y0 - far, z0 - far, x1 + far, y1 + far, z1 + far)
            self._within_reach[key] = clipped(wheel, reach, "the wheel by the reach of a body")
        return self._within_reach[key]

    def others(self, case: LoadCase) -> Mapping[str, Shape]:
        """Return what a freed part may run into: every body, the flange and the guard."""
        beside = {f"the {m}": shape for m, shape in self.wheel_at(case).items() if m is not Mover.WHEEL}
        return {**self.standing, **beside}

    def stands_firm(self, _name: str) -> bool:
        """Say that nothing is trusted to stop a part that a wheel has thrown."""
        return False

    def bite(
        self,
        case: LoadCase,
        motions: Sequence[StartingMotion],
        stopped_mm: float | None = None,
        *,
        travel_mm: float = TRAVEL_MM,
    ) -> tuple[Crash, str | None]:
        """Return what the wheel takes: of the first body that it bites into, else of the part.

        Parameters
        ----------
        case : LoadCase
            Where the wheel stands.
        motions : sequence of StartingMotion
            Of every body that moves.
        stopped_mm : float or None
            Not read: what stands in the way of a part does not bound the bite of a wheel.
        travel_mm : float
            How far they are followed; beyond `TRAVEL_MM` only a bite counts, not what stays under the wheel.

        Returns
        -------
        tuple of Crash and str or None
            And the name of the body that is bitten into, None for none.
        """
        wheel = self.wheel_at(case)[Mover.WHEEL]
        for motion in motions:
            crash = follow_into(self, motion, wheel, travel_mm=travel_mm)
            if crash.outcome is Outcome.DIGS_IN:
                return crash, motion.body
        mine = next((m for m in motions if m.body == self.process.part), motions[0])
        return (follow_away(self, mine, wheel) if travel_mm <= TRAVEL_MM else _STANDS_CLEAR), None

    def drawn_in(self, case: LoadCase, motion: StartingMotion) -> bool:
        """Say whether a body moves the way the table goes, faster than it is fed.

        Parameters
        ----------
        case : LoadCase
            States the stroke.
        motion : StartingMotion
            How the body starts.
        """
        return isinstance(case.stroke, Stroke) and motion.velocity[0] * case.stroke.travel > 0.5


def grinding_of(setup: Setup, placed: Mapping[str, Solid], ground: GroundCut, body: Body) -> GrindingProcess:
    """Return a part under a cut of the wheel.

    Parameters
    ----------
    setup : Setup
        As stated.
    placed : mapping of str to Solid
        Every body where it stands.
    ground : GroundCut
        The cut worked out.
    body : Body
        The part.

    Returns
    -------
    GrindingProcess
        With the forces of its pass.

    Raises
    ------
    NotComputedError
        No grinding energy is known.
    SetupError
        The cut's numbers make no sense.
    """
    made, sizes = forces_of(setup, placed, ground.cut, body)
    return GrindingProcess(setup=setup, placed=placed, ground=ground, part=body.name, made=made, sizes=sizes)


def _grinding_class(setup: Setup, body: Body) -> str:
    """Return the class that a part's material has in the table of grinding.

    Raises
    ------
    NotComputedError
        The table has no class for the material and the set-up states none.
    """
    holding = setup.holding
    if holding and body.name in holding.grinds_as:
        return holding.grinds_as[body.name]
    known = material(body.material).grinds_as
    if known:
        return known
    raise NotComputedError(
        f"no grinding energy is known for {body.material!r} of {body.name!r}; state grinds_as = "
        f"{{ {body.name} = 'soft_steel' }} or another class that it grinds like"
    )


def abrasion_of(setup: Setup, body: Body) -> Abrasion:
    """Return what grinding a part takes with the wheel that is stated.

    Parameters
    ----------
    setup : Setup
        States the abrasive; alumina where it states no holding.
    body : Body
        The part.

    Returns
    -------
    Abrasion
        Of the table of grinding, with its source.
    """
    kind = setup.holding.abrasive if setup.holding else "alumina"
    return abrasion(_grinding_class(setup, body), kind)


def _target_box(setup: Setup, placed: Mapping[str, Solid], body: str, face: str) -> Box:
    """Return the box of a named face where it stands."""
    return box_of(target_faces(setup, placed, body, face))


def target_faces(setup: Setup, placed: Mapping[str, Solid], body: str, face: str) -> Shape:
    """Return the pieces of a named face where it stands, as one shape.

    Parameters
    ----------
    setup : Setup
        Names the faces of its bodies.
    placed : mapping of str to Solid
        Every body where it stands.
    body : str
        Name of the body.
    face : str
        Name of the face.

    Returns
    -------
    Shape
        A compound of faces.
    """
    names = setup.body(body).face_names()
    return compound([f for f, n in zip(faces_of(placed[body]), names, strict=True) if n == face])


def _pass_of(setup: Setup, placed: Mapping[str, Solid], cut: Cut, body: Body) -> Pass:
    """Return the pass of a cut over one part.

    A traverse cuts a strip as wide as the cross feed, a plunge one as wide as the floor or the flat of the
    wheel. A wall is fed into by what the cut states, else by no more than the downfeed.
    """
    rim = rim_of(setup)
    floor = _target_box(setup, placed, body.name, cut.floor)
    wide = min(floor[4] - floor[1], rim.flat_mm if rim.flat_mm > 0 else math.inf)
    if cut.way == CutWay.TRAVERSE:
        wide = min(wide, cut.cross_feed_mm)
    rpm = cut.rpm or setup.machine.rpm
    made = Pass(
        depth_mm=cut.downfeed_mm,
        width_mm=wide,
        table_speed_m_min=cut.table_speed_m_min,
        wheel_speed_m_s=math.pi * setup.wheel.diameter_mm * 1e-3 * rpm / 60.0,
        wheel_diameter_mm=setup.wheel.diameter_mm,
        sparks=setup.machine.sparks,
        cross_fed=cut.way == CutWay.TRAVERSE,
    )
    if cut.wall is None:
        return made
    wall = _target_box(setup, placed, body.name, cut.wall)
    return replace(
        made,
        wall_depth_mm=min(cut.wall_stock_mm, cut.wall_feed_mm or cut.downfeed_mm),
        wall_height_mm=wall[5] - floor[5],
        wall_normal=_wall_normal(setup, placed, body, cut.wall),
    )


def _wall_normal(setup: Setup, placed: Mapping[str, Solid], body: Body, wall: str) -> Vector:
    for face, name in zip(faces_of(placed[body.name]), body.face_names(), strict=True):
        if name == wall:
            _, normal, _ = face_frame(face)
            level = math.hypot(normal[0], normal[1])
            return to_vector((normal[0] / level, normal[1] / level, 0.0))
    raise NotComputedError(f"{body.name} has no face {wall!r}")


def forces_of(setup: Setup, placed: Mapping[str, Solid], cut: Cut, body: Body) -> tuple[Pass, Forces]:
    """Return the pass and its forces, low to high.

    Parameters
    ----------
    setup : Setup
        As stated.
    placed : mapping of str to Solid
        Every body where it stands.
    cut : Cut
        States feeds and speeds.
    body : Body
        The part.

    Returns
    -------
    Pass
        Its numbers.
    Forces
        Of the wheel on the part.
    """
    made = _pass_of(setup, placed, cut, body)
    return made, pass_forces(made, abrasion_of(setup, body))


def follow_into(
    scene: WheelScene, motion: StartingMotion, wheel: Shape, *, travel_mm: float = TRAVEL_MM
) -> Crash:
    """Say whether the wheel bites into a body beyond what its pass takes.

    Parameters
    ----------
    scene : WheelScene
        What stands there during the cut.
    motion : StartingMotion
        Of the body that is followed.
    wheel : Shape
        Where it stands.
    travel_mm : float
        How far the body is followed.

    Returns
    -------
    Crash
        Over the whole travel; without any overlap where the body cannot reach the wheel.
    """
    shape = scene.standing[motion.body]
    what = f"{motion.body} on its way and the wheel"
    near = scene.within_reach(wheel, motion.body, travel_mm)
    if near is None:
        return _STANDS_CLEAR
    # Off the wall that the wheel grinds.
    side_mm = -GIVE_MM * scene.process.ground.path.wall_sign
    give_mm3 = shared_mm3(shifted(shape, (0.0, side_mm, GIVE_MM)), near, what)
    return follow_overlap(
        lambda t: shared_mm3(transformed(shape, *motion.pose_after(t)), near, what),
        travel_mm=travel_mm,
        noise_mm3=give_mm3 + 1e-6,
        samples=_SAMPLES,
    )


def follow_away(scene: WheelScene, motion: StartingMotion, wheel: Shape) -> Crash:
    """Say whether a body that the wheel does not bite into stays under it or falls away.

    Read on what the wheel takes of the pass: it is lowered by the downfeed.

    Parameters
    ----------
    scene : WheelScene
        What stands there during the cut.
    motion : StartingMotion
        Of the body that is followed, over `TRAVEL_MM`.
    wheel : Shape
        Where it stands.

    Returns
    -------
    Crash
        It never digs in; without any overlap where the body cannot reach the wheel.
    """
    shape = scene.standing[motion.body]
    what = f"the stock of {motion.body} on its way and the wheel"
    near = scene.within_reach(wheel, motion.body, TRAVEL_MM)
    if near is None:
        return _STANDS_CLEAR
    lowered = shifted(near, (0.0, 0.0, -scene.process.ground.cut.downfeed_mm))
    crash = follow_overlap(
        lambda t: shared_mm3(transformed(shape, *motion.pose_after(t)), lowered, what),
        travel_mm=TRAVEL_MM,
        samples=_SAMPLES,
    )
    # More of the same layer is the pass itself, at the depth that was set.
    stays = crash.outcome is Outcome.DIGS_IN
    return replace(crash, outcome=Outcome.STAYS, first_mm=None) if stays else crash
