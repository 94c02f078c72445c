"""Would the same part hold between the jaws of a vise, at an ordinary torque, in the pose that it has.

A real vise of the shop stands round the part: bed under its foot, jaws on a pair of opposite upright sides,
tops below the floor that is ground.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from fixturecheck.access.clearance import movers_of
from fixturecheck.access.dodge import clears
from fixturecheck.contact.find import find_contacts
from fixturecheck.hold_result import ClampKind
from fixturecheck.holding.cures_block import Side, upright_sides
from fixturecheck.holding.cures_model import Bench, Changed, Cure, holds_words
from fixturecheck.holding.factor import bearing_of, rig_of
from fixturecheck.kernel.measure import box_of
from fixturecheck.kernel.place import placed_at
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.make import equipment, place
from fixturecheck.setup.model import Body, Setup

TORQUE_NM = 12.0
"""On the handle of a toolmaker's vise: common practice, no source."""
WIDEST_MM = 100.0
BELOW_MM = 2.0
_LEAST_GRIP_MM = 3.0
_CHANGE = 10.0


def between_jaws(bench: Bench) -> Iterator[Cure]:
    """Look for the pair of sides that holds best between the jaws."""
    part, write = bench.scene.setup.body(bench.part.part), bench.scene.setup.write
    best: tuple[float, str] | None = None
    for near, far in _pairs(bench):
        setup = in_vise(bench, part, near, far)
        placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
        jaws = [placed[b.name] for b in setup.bodies if b.name != part.name]
        movers = list(movers_of(bench.scene.ground).values())
        if not all(clears(j, movers, bench.scene.setup.machine.least_clearance_mm) for j in jaws):
            continue
        contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
        if contacts.overlaps:
            continue
        rig = rig_of(setup, placed, contacts, None)
        made = Changed(rig=rig, bearing=bearing_of(setup, placed, bench.scene.ground, part))
        factor, _ = made.weakest()
        if factor >= bench.least_factor and (best is None or factor > best[0]):
            places = write.number(near.place_mm, "mm", ".1f"), write.length(far.place_mm, ".1f")
            best = factor, f"{'XY'[near.axis]} {' and '.join(places)}"
    if best is not None:
        factor, where = best
        says = (
            f"no change to this way of holding is enough: hold {part.name} between the jaws of a vise on its "
            f"sides at {where}, jaws {write.length(BELOW_MM, 'g')} below the floor, "
            f"{write.torque(TORQUE_NM, 'g')} on the screw: it then {holds_words(factor)}"
        )
        yield Cure(says=says, change_ratio=_CHANGE, factor=factor)


def _pairs(bench: Bench) -> Iterator[tuple[Side, Side]]:
    """Yield pairs of opposite sides that jaws can grip below the floor."""
    sides = {(s.axis, s.sign): s for s in upright_sides(bench.placed[bench.part.part])}
    top_mm = bench.scene.ground.path.floor_z_mm - BELOW_MM
    for axis in (1, 0):
        near, far = sides.get((axis, -1)), sides.get((axis, 1))
        if near is None or far is None or far.place_mm - near.place_mm > WIDEST_MM:
            continue
        along = 1 - axis
        shared = min(near.box[along + 3], far.box[along + 3]) - max(near.box[along], far.box[along])
        if shared > 0 and top_mm - max(near.box[2], far.box[2]) >= _LEAST_GRIP_MM:
            yield near, far


def in_vise(bench: Bench, part: Body, near: Side, far: Side) -> Setup:
    """Return the set-up with the part between the jaws and nothing else.

    The bed reaches up to the foot of the part, as parallels would.
    """
    stated, box = bench.scene.setup, box_of(bench.placed[part.name])
    top_mm = bench.scene.ground.path.floor_z_mm - BELOW_MM
    along = 1 - near.axis
    middle = 0.5 * (box[along] + box[along + 3])
    origin = (far.place_mm, middle, box[2]) if near.axis == 0 else (middle, far.place_mm, box[2])
    # Drawn, the jaws open along Y with the fixed one at the back; a quarter turn puts it at +X.
    at = place(at=origin, rotate=[("z", -90.0)] if near.axis == 0 else [])
    name = max(bench.placed, key=len) + "_vise"
    opening_mm = far.place_mm - near.place_mm
    vise = equipment(
        "grinding_vise",
        name=name,
        at=at,
        opening_mm=opening_mm,
        length_mm=opening_mm + 65.0 + 40.0,
        width_mm=max(73.0, math.ceil(box[along + 3] - box[along])),
        jaw_height_mm=top_mm - box[2],
        relief_mm=min(1.0, 0.2 * (top_mm - box[2])),
    )
    screw = Clamp(
        name="screw",
        kind=ClampKind.VISE,
        body=vise[1].name,
        face="moving_jaw",
        torque_nm=TORQUE_NM,
    )
    least = stated.holding.least_factor if stated.holding else bench.least_factor
    grinds = {k: v for k, v in (stated.holding.grinds_as if stated.holding else {}).items() if k == part.name}
    abrasive = stated.holding.abrasive if stated.holding else "alumina"
    holding = Holding(
        friction="ground_steel",
        mu=stated.holding.mu if stated.holding else (),
        clamps=(screw,),
        grinds_as=grinds,
        abrasive=abrasive,
        least_factor=least,
    )
    cut = replace(bench.scene.ground.cut, parts=(part.name,))
    machine = replace(stated.machine, table_z_mm=min(stated.table_z_mm, box[2] - 32.0))
    return Setup(
        name=f"{part.name} in a vise",
        bodies=(*vise, part),
        cuts=(cut,),
        machine=machine,
        wheel=stated.wheel,
        tolerances=stated.tolerances,
        holding=holding,
        units=stated.units,
    )
