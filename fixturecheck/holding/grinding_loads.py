"""How a cut loads a part: its passes from the set-up, where the wheel may stand, and the forces there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from fixturecheck.errors import NotComputedError
from fixturecheck.holding.model import LoadCase
from fixturecheck.interval import Range
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import compound
from fixturecheck.kernel.measure import box_of, face_frame
from fixturecheck.kernel.shapes import Box, Shape, Solid
from fixturecheck.machining.cut import GroundCut, rim_of
from fixturecheck.machining.grinding import Abrasion, Forces, Pass, Stroke, abrasion, cut_loads, pass_forces
from fixturecheck.numeric import to_vector
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.shop.tables import material
from fixturecheck.statics.equilibrium import Load

# Classes of the grinding table by the materials of the shop, where the set-up states none.


def grinding_class(setup: Setup, body: Body) -> str:
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
    message = (
        f"no grinding energy is known for {body.material!r} of {body.name!r}; state grinds_as = "
        f"{{ {body.name} = 'soft_steel' }} or another class that it grinds like"
    )
    raise NotComputedError(message)


def abrasion_of(setup: Setup, body: Body) -> Abrasion:
    """Return what grinding a part takes with the wheel that is stated."""
    kind = setup.holding.abrasive if setup.holding else "alumina"
    return abrasion(grinding_class(setup, body), kind)


def target_box(setup: Setup, placed: Mapping[str, Solid], body: str, face: str) -> Box:
    """Return the box of a named face where it stands."""
    return box_of(target_faces(setup, placed, body, face))


def target_faces(setup: Setup, placed: Mapping[str, Solid], body: str, face: str) -> Shape:
    """Return the pieces of a named face where it stands, as one shape."""
    names = setup.body(body).face_names()
    return compound([f for f, n in zip(faces_of(placed[body]), names, strict=True) if n == face])


def pass_of(setup: Setup, placed: Mapping[str, Solid], cut: Cut, body: Body) -> Pass:
    """Return the pass of a cut over one part.

    A traverse cuts a strip as wide as the cross feed, a plunge one as wide as the floor or the flat of the
    wheel. A wall is fed into by what the cut states, else by no more than the downfeed.
    """
    rim = rim_of(setup)
    floor = target_box(setup, placed, body.name, cut.floor)
    wide = min(floor[4] - floor[1], rim.flat_mm if rim.flat_mm > 0 else math.inf)
    if cut.way == "traverse":
        wide = min(wide, cut.cross_feed_mm)
    rpm = cut.rpm or setup.machine.rpm
    made = Pass(
        depth_mm=cut.downfeed_mm,
        width_mm=wide,
        table_speed_m_min=cut.table_speed_m_min,
        wheel_speed_m_s=math.pi * setup.wheel.diameter_mm * 1e-3 * rpm / 60.0,
        wheel_diameter_mm=setup.wheel.diameter_mm,
        sparks=setup.machine.sparks,
        cross_fed=cut.way == "traverse",
    )
    if cut.wall is None:
        return made
    wall = target_box(setup, placed, body.name, cut.wall)
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
    message = f"{body.name} has no face {wall!r}"
    raise NotComputedError(message)


def cases_of(
    setup: Setup, placed: Mapping[str, Solid], ground: GroundCut, body: Body
) -> tuple[LoadCase, ...]:
    """Return where the wheel may stand over a part: both ends of its floor, both edges of a traverse."""
    cut = ground.cut
    floor = target_box(setup, placed, body.name, cut.floor)
    half = min(pass_of(setup, placed, cut, body).width_mm, floor[4] - floor[1]) / 2
    edges = {"front": floor[1] + half, "back": floor[4] - half}
    if floor[4] - floor[1] - 2 * half < 1e-6:
        edges = {"middle": (floor[1] + floor[4]) / 2}
    cases = []
    for stroke in Stroke:
        for end, x in (("left", floor[0]), ("right", floor[3])):
            for edge, y in edges.items():
                at = (x, y, floor[5])
                cases.append(
                    LoadCase(label=f"{stroke}, wheel at the {end} end, {edge}", stroke=stroke, at_mm=at)
                )
    return tuple(cases)


def forces_of(setup: Setup, placed: Mapping[str, Solid], cut: Cut, body: Body) -> tuple[Pass, Forces]:
    """Return the pass and its forces, low to high."""
    made = pass_of(setup, placed, cut, body)
    return made, pass_forces(made, abrasion_of(setup, body))


def load_of(
    made: Pass, case: LoadCase, body: str, *, drag_n: float, press_n: float, wall_n: float, cross_n: float
) -> Load:
    """Return the load of one case at given sizes of its forces; `cross_n` is positive toward the column."""
    sizes = Forces(
        tangential_n=Range.exactly(drag_n),
        normal_n=Range.exactly(press_n),
        wall_n=Range.exactly(wall_n),
        cross_n=Range.exactly(cross_n),
        energy_j_mm3=Range.exactly(1.0),
    )
    found = next(c for c in cut_loads(made, sizes) if c.stroke is case.stroke)
    at = to_vector(a + b for a, b in zip(case.at_mm, found.offset_mm, strict=True))
    return Load(body=body, force_n=found.force_n, at_mm=at, label="cut")
