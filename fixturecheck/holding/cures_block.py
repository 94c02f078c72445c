"""Which fastened block, on the side that a part fails toward, would hold it: where, and how tall.

The block is a solid: it is touched by the part as any other fixture is, stands in no other body, and keeps
the machine's least clearance from wheel, flanges and guard over the whole travel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.access.clearance import movers_of
from fixturecheck.access.dodge import clears
from fixturecheck.contact.find import find_contacts
from fixturecheck.holding.cures_model import Bench, Changed, Cure, Search, holds_words
from fixturecheck.holding.factor import Rig, loose_blocks
from fixturecheck.holding.points import spots
from fixturecheck.kernel.boolean import split
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import box, compound
from fixturecheck.kernel.measure import box_gap_mm, box_of, flat_of
from fixturecheck.kernel.shapes import Box, Face, Solid, to_vector
from fixturecheck.physics.collapse_motion import Motion
from fixturecheck.setup.model import Body

THICK_MM, STEP_MM, LEAST_TOUCH_MM = 20.0, 0.5, 2.0
"""How thick the block is, the step of its height, and how much of the side it touches at least: a part rides
over less with a burr (common practice, no source)."""
_CHANGE, _FASTENING = 2.0, 1.5
_TOWARD = 0.05
_SQUARE = 1.0 - 1e-6
_SIDES = {(0, 1): "right side", (0, -1): "left side", (1, 1): "column side", (1, -1): "operator's side"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """An upright flat side of a part: along X (0) or Y (1), outward sign, and its box."""

    axis: int
    sign: int
    box: Box

    @property
    def place_mm(self) -> float:
        """Where it lies along its axis."""
        return self.box[self.axis]

    def block(self, bottom_mm: float, height_mm: float) -> Solid:
        """Return a block against it that stands at a height."""
        low, high = list(self.box[:3]), list(self.box[3:])
        far_mm = self.place_mm + self.sign * THICK_MM
        low[self.axis], high[self.axis] = sorted((self.place_mm, far_mm))
        low[2], high[2] = bottom_mm, bottom_mm + height_mm
        return box(to_vector(low), to_vector(high))


def stopped(bench: Bench) -> Iterator[Cure]:
    """Look for the lowest block on each side that the part moves toward when it lets go."""
    for side in sides_toward(bench):
        cure = _lowest(bench, side)
        if cure is not None:
            yield cure
            return


def fastened(bench: Bench) -> Iterator[Cure]:
    """Look at what a loose block does once it is fastened; at all of them where no single one is enough."""
    loose = loose_blocks(bench.scene.setup, bench.rig)
    found: list[Cure] = []
    for names in [(n,) for n in loose] + ([loose] if len(loose) > 1 else []):
        if len(names) > 1 and found:
            break
        factor, _ = Changed(rig=with_fixed(bench.rig, names), bearing=bench.bearing).weakest()
        if factor >= bench.least_factor:
            says = f"fasten {' and '.join(names)} so that nothing moves it: {bench.part.part} then "
            found.append(Cure(says=says + holds_words(factor), change_ratio=_FASTENING, factor=factor))
    yield from found


def with_fixed(rig: Rig, names: Sequence[str]) -> Rig:
    """Return the rig with some of its bodies standing still."""
    left = []
    for spot in rig.spots:
        if spot.a not in names:
            left.append(replace(spot, b="") if spot.b in names else spot)
        elif spot.b and spot.b not in names:
            left.append(replace(spot, a=spot.b, b="", normal=-spot.normal))
    return replace(
        rig,
        bodies=tuple(b for b in rig.bodies if b.name not in names),
        spots=tuple(left),
        held=tuple(h for h in rig.held if h.body not in names),
        clamps=tuple(c for c in rig.clamps if c.clamp.body not in names),
    )


def sides_toward(bench: Bench) -> tuple[Side, ...]:
    """Return the upright flat sides that move outward in the failure, the fastest first."""
    moving = [m for m in bench.part.factors.worst.motions if m.body == bench.part.part]
    solid = bench.placed[bench.part.part]
    found = [(_outward(moving, s), s) for s in upright_sides(solid)]
    return tuple(s for speed, s in sorted(found, key=lambda p: -p[0]) if speed > _TOWARD)


def _outward(moving: list[Motion], side: Side) -> float:
    """Return how fast any corner of a side moves outward."""
    corners = [to_vector((x, y, z)) for x in side.box[0::3] for y in side.box[1::3] for z in side.box[2::3]]
    return max((side.sign * m.velocity_at(c)[side.axis] for m in moving for c in corners), default=0.0)


def upright_sides(solid: Solid) -> list[Side]:
    """Return the outermost flat faces that look square along X or Y, one for each way."""
    whole = box_of(solid)
    groups: dict[tuple[int, int], list[Face]] = {}
    for face in faces_of(solid):
        flat = flat_of(face)
        if flat is None:
            continue
        centre, normal = flat
        axis = int(np.argmax(np.abs(normal)))
        if axis == 2 or abs(normal[axis]) < _SQUARE:
            continue
        sign = 1 if normal[axis] > 0 else -1
        outermost = whole[axis + 3] if sign > 0 else whole[axis]
        if abs(centre[axis] - outermost) < 1e-6:
            groups.setdefault((axis, sign), []).append(face)
    return [Side(axis=a, sign=s, box=box_of(compound(f))) for (a, s), f in sorted(groups.items())]


def _lowest(bench: Bench, side: Side) -> Cure | None:
    """Look for the lowest block against one side."""
    least_mm = bench.scene.setup.machine.least_clearance_mm
    bottom_mm = box_of(bench.placed[bench.part.part])[2]
    top_mm = bench.scene.ground.path.floor_z_mm - least_mm
    most_mm = STEP_MM * math.floor((top_mm - bottom_mm) / STEP_MM + 1e-9)
    from_mm = STEP_MM * math.ceil((side.box[2] - bottom_mm + LEAST_TOUCH_MM) / STEP_MM - 1e-9)
    if most_mm - from_mm < STEP_MM or not _has_room(bench, side.block(bottom_mm, most_mm)):
        return None
    search = Search(
        change=lambda h: _with_block(bench, side.block(bottom_mm, h)),
        corners=[bench.first_corner()],
    )
    found = search.least(bench.least_factor, now=from_mm - STEP_MM, most=most_mm, step=STEP_MM)
    if found is None:
        return None
    height_mm, factor = found
    block = side.block(bottom_mm, height_mm)
    if not clears(block, list(movers_of(bench.scene.ground).values()), least_mm):
        return None
    return Cure(
        says=_says(bench, side, height_mm, top_mm + least_mm - bottom_mm, factor),
        change_ratio=_CHANGE,
        factor=factor,
    )


def _has_room(bench: Bench, block: Solid) -> bool:
    """Say whether the block stands in no other body, nor in the wheel's way."""
    mine = box_of(block)
    for name, shape in bench.placed.items():
        if box_gap_mm(mine, box_of(shape)) <= 0 and split(shape, block, f"{name} by an added block").taken:
            return False
    movers = list(movers_of(bench.scene.ground).values())
    return clears(block, movers, bench.scene.setup.machine.least_clearance_mm)


def _with_block(bench: Bench, block: Solid) -> Changed:
    """Return the set-up with a fastened block in it."""
    setup = bench.scene.setup
    part = setup.body(bench.part.part)
    added = Body(name=_new_name(bench), solid=block, role="fixture", finish={"*": "ground"})
    contacts = find_contacts([part.placed(), added.placed()], setup.tolerances)
    more = spots(contacts, [b.name for b in bench.rig.bodies])
    return Changed(rig=replace(bench.rig, spots=(*bench.rig.spots, *more)), bearing=bench.bearing)


def _new_name(bench: Bench) -> str:
    return max(bench.placed, key=len) + "_stop"


def _says(bench: Bench, side: Side, height_mm: float, floor_mm: float, factor: float) -> str:
    along, write = 1 - side.axis, bench.scene.setup.write
    places = (side.place_mm, side.box[along], side.box[along + 3])
    place, low, high = (write.number(v, "mm", ".1f") for v in places)
    where = f"{'XY'[side.axis]} {place}, {'XY'[along]} {low} to {high} {write.name('mm')}"
    kind = "a block of brass or aluminium" if bench.rig.pulls else "a block"
    return (
        f"fasten {kind} against the {_SIDES[side.axis, side.sign]} of {bench.part.part} ({where}), "
        f"{write.length(height_mm, '.1f', 'up')} tall from its foot, which stays "
        f"{write.length(floor_mm - height_mm, '.1f')} below the wheel: "
        f"it then {holds_words(factor)}"
    )
