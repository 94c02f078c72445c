"""What would bring a factor back: a lighter cut, another way of cutting, clamps, pull, a block, a vise.

Every remedy is solved for on the set-up itself. It is offered only after the changed set-up went through the
full analysis and reached the least factor. How large a change is compares what is needed with what there is.
Work slid along the magnet counts as 1.1, a cut taken another way as 1.25, a block fastened as 1.5, one added
and a better finish as 2, dry contacts as 2.5, another way of holding as 10 (common practice, no source).

A block stands on the side that the part fails toward; where it stands and how tall it is are searched for. It
is tried as a solid. The part touches it as it does any other fixture. It stands in no other body, and keeps
the machine's least clearance from wheel, flanges and guard over the whole travel.

A vise of the shop is tried round the part in the pose that it has, at an ordinary torque. Its bed is under
the foot of the part, its jaws on a pair of opposite upright sides, with their tops below the floor that is
ground.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.effort import SpentError
from fixturecheck.errors import KernelError, NotComputedError, SetupError
from fixturecheck.holding.bearing import spots
from fixturecheck.holding.clamping import friction_of, pressed
from fixturecheck.holding.factor import loose_blocks
from fixturecheck.holding.more_pull import finer_seat, larger_seat, more_magnet, over_poles
from fixturecheck.holding.process import Lighter
from fixturecheck.holding.remedy_search import Changed, TrialHold
from fixturecheck.holding.rig import Rig, rig_of
from fixturecheck.kernel.boolean import split
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.construct import box, compound
from fixturecheck.kernel.measure import box_gap_mm, box_of, flat_of
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.shapes import Box, Face, Solid
from fixturecheck.numeric import to_vector
from fixturecheck.result.hold import ClampKind
from fixturecheck.result.remedy import Amount, Jaws, Remedy, RemedyKind, RemedySearch, RemedyUnknown, StopAt
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.make import equipment, place
from fixturecheck.setup.model import Body, Setup
from fixturecheck.statics.mechanism import StartingMotion

THICK_MM, STEP_MM, LEAST_TOUCH_MM = 20.0, 0.5, 2.0
"""How thick the block is, the step of its height, and how much of the side it touches at least: a part rides
over less with a burr (common practice, no source)."""
_CHANGE, _FASTENING = 2.0, 1.5
_TOWARD = 0.05
_SQUARE = 1.0 - 1e-6
TORQUES_NM = (12.0, 16.0, 20.0)
"""On the handle of a toolmaker's vise, the first that is enough: common practice, no source."""
WIDEST_MM = 100.0
BELOW_MM = 2.0
_LEAST_GRIP_MM = 3.0
_VISE_CHANGE = 10.0
Change = Callable[[TrialHold], Iterator[Remedy]]
MOST_CLAMP_RATIO, CLAMP_STEP = 4.0, 0.05
"""How far a clamp may be tightened beyond what is stated; its screw is not judged."""
_TURNED, _DRY = 1.25, 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSide:
    """An upright flat side of a part: along X (0) or Y (1), outward sign, and its box."""

    axis: int
    sign: int
    box: Box

    @property
    def place_mm(self) -> float:
        """Where it lies along its axis."""
        return self.box[self.axis]

    def block(self, bottom_mm: float, height_mm: float) -> Solid:
        """Return a block against it that stands at a height.

        Parameters
        ----------
        bottom_mm : float
            Height of its foot.
        height_mm : float
            From its foot to its top.

        Returns
        -------
        Solid
            As wide as the part, and `THICK_MM` thick.
        """
        low, high = list(self.box[:3]), list(self.box[3:])
        far_mm = self.place_mm + self.sign * THICK_MM
        low[self.axis], high[self.axis] = sorted((self.place_mm, far_mm))
        low[2], high[2] = bottom_mm, bottom_mm + height_mm
        return box(to_vector(low), to_vector(high))


def stopped(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the lowest block on each side that the part moves toward when it lets go.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        Of the first side on which a block is enough, or none.
    """
    for side in _sides_toward(trial):
        cure = _lowest(trial, side)
        if cure is not None:
            yield cure
            return


def fastened(trial: TrialHold) -> Iterator[Remedy]:
    """Look at what a loose block does once it is fastened; at all of them where no single one is enough.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        One for each block that is enough alone; else one for all together, or none.
    """
    loose = loose_blocks(trial.setup, trial.rig)
    found: list[Remedy] = []
    for names in [(n,) for n in loose] + ([loose] if len(loose) > 1 else []):
        if len(names) > 1 and found:
            break
        factor = trial.changed(rig=with_fixed(trial.rig, names)).factor(trial.least_factor)
        if factor >= trial.least_factor:
            found.append(trial.remedy(RemedyKind.FASTENED, factor, _FASTENING, names=tuple(names)))
    yield from found


def with_fixed(rig: Rig, names: Sequence[str]) -> Rig:
    """Return the rig with some of its bodies standing still.

    Parameters
    ----------
    rig : Rig
        What holds the set-up.
    names : sequence of str
        The bodies that no longer move; what they weigh, clamps on them and contacts with no body that moves
        are left out.

    Returns
    -------
    Rig
        The rest as it was.
    """
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


def _sides_toward(trial: TrialHold) -> tuple[PartSide, ...]:
    """Return the upright flat sides that move outward in the failure, the fastest first."""
    moving = [m for m in trial.part.factors.worst.motions if m.body == trial.part.part]
    solid = trial.process.placed[trial.part.part]
    found = [(_outward(moving, s), s) for s in _upright_sides(solid)]
    return tuple(s for speed, s in sorted(found, key=lambda p: -p[0]) if speed > _TOWARD)


def _outward(moving: list[StartingMotion], side: PartSide) -> float:
    """Return how fast any corner of a side moves outward."""
    corners = [to_vector((x, y, z)) for x in side.box[0::3] for y in side.box[1::3] for z in side.box[2::3]]
    return max((side.sign * m.velocity_at(c)[side.axis] for m in moving for c in corners), default=0.0)


def _upright_sides(solid: Solid) -> list[PartSide]:
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
    return [PartSide(axis=a, sign=s, box=box_of(compound(f))) for (a, s), f in sorted(groups.items())]


def _lowest(trial: TrialHold, side: PartSide) -> Remedy | None:
    """Look for the lowest block against one side."""
    foot_mm, floor_mm = box_of(trial.process.placed[trial.part.part])[2], trial.process.floor_mm
    top_mm = floor_mm - trial.setup.machine.least_clearance_mm
    most_mm = STEP_MM * math.floor((top_mm - foot_mm) / STEP_MM + 1e-9)
    from_mm = STEP_MM * math.ceil((side.box[2] - foot_mm + LEAST_TOUCH_MM) / STEP_MM - 1e-9)
    if most_mm - from_mm < STEP_MM or not _has_room(trial, side.block(foot_mm, most_mm)):
        return None
    found = trial.least(
        lambda h: _with_block(trial, side.block(foot_mm, h)),
        now=from_mm - STEP_MM,
        most=most_mm,
        step=STEP_MM,
    )
    if found is None or not trial.process.clears(side.block(foot_mm, found[0])):
        return None
    tall_mm, factor = found
    along = 1 - side.axis
    stop = StopAt(
        axis=side.axis,
        sign=side.sign,
        place_mm=side.place_mm,
        low_mm=side.box[along],
        high_mm=side.box[along + 3],
        tall_mm=tall_mm,
        below_mm=floor_mm - foot_mm - tall_mm,
    )
    kind = "a block of brass or aluminium" if trial.rig.pulls else "a block"
    names = (kind, str(trial.process.tool))
    return trial.remedy(RemedyKind.STOP, factor, _CHANGE, names=names, stop=stop)


def _has_room(trial: TrialHold, block: Solid) -> bool:
    """Say whether the block stands in no other body, nor in the way of the tool."""
    mine = box_of(block)
    for name, shape in trial.process.placed.items():
        if box_gap_mm(mine, box_of(shape)) <= 0 and split(shape, block, f"{name} by an added block").taken:
            return False
    return trial.process.clears(block)


def _with_block(trial: TrialHold, block: Solid) -> Changed:
    """Return the set-up with a fastened block in it."""
    part = trial.setup.body(trial.part.part)
    added = Body(name=_new_name(trial, "stop"), solid=block, role="fixture", finish={"*": "ground"})
    contacts = find_contacts([part.placed(), added.placed()], trial.setup.tolerances)
    more = spots(contacts, [b.name for b in trial.rig.bodies])
    return trial.changed(rig=replace(trial.rig, spots=(*trial.rig.spots, *more)))


def _new_name(trial: TrialHold, what: str) -> str:
    return f"{max(trial.process.placed, key=len)}_{what}"


def between_jaws(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the pair of sides that holds best between the jaws.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        At the least torque tried that is enough, or none; none also for a part that is in a vise already.
    """
    stated = trial.setup
    part = stated.body(trial.part.part)
    if stated.holding and stated.holding.jaws:
        # It is in a vise already.
        return
    grips = [grip for near, far in _pairs(trial) if (grip := _gripped(trial, part, near, far)) is not None]
    for torque_nm in TORQUES_NM:
        held = [(_factor_between(trial, grip, torque_nm), grip) for grip in grips]
        factor, grip = max(held, key=lambda found: found[0], default=(0.0, None))
        if grip is not None and factor >= trial.least_factor:
            jaws = Jaws(
                axis=grip.near.axis,
                near_mm=grip.near.place_mm,
                far_mm=grip.far.place_mm,
                below_mm=BELOW_MM,
                torque_nm=torque_nm,
            )
            yield trial.remedy(RemedyKind.VISE, factor, _VISE_CHANGE, jaws=jaws)
            return


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grip:
    """A part between the jaws of a vise, by two opposite sides."""

    near: PartSide
    far: PartSide
    setup: Setup
    placed: Mapping[str, Solid]
    contacts: ContactMap


def _gripped(trial: TrialHold, part: Body, near: PartSide, far: PartSide) -> _Grip | None:
    """Return the part between jaws; None where the wheel does not clear them or they overlap something."""
    setup = in_vise(trial, part, near, far)
    placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
    if not all(trial.process.clears(placed[b.name]) for b in setup.bodies if b.name != part.name):
        return None
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    if contacts.overlaps:
        return None
    return _Grip(near=near, far=far, setup=setup, placed=placed, contacts=contacts)


def _factor_between(trial: TrialHold, grip: _Grip, torque_nm: float) -> float:
    """Return how many times its load a part holds between jaws, with a torque on their screw."""
    stated = grip.setup.holding or Holding()
    clamps = tuple(replace(clamp, torque_nm=torque_nm) for clamp in stated.clamps)
    setup = replace(grip.setup, holding=replace(stated, clamps=clamps))
    rig = rig_of(setup, grip.placed, grip.contacts, None)
    process = trial.process.moved_to(setup, grip.placed)
    return trial.changed(rig=rig, process=process).factor(trial.least_factor)


def _pairs(trial: TrialHold) -> Iterator[tuple[PartSide, PartSide]]:
    """Yield pairs of opposite sides that jaws can grip below the floor."""
    sides = {(s.axis, s.sign): s for s in _upright_sides(trial.process.placed[trial.part.part])}
    top_mm = trial.process.floor_mm - BELOW_MM
    for axis in (1, 0):
        near, far = sides.get((axis, -1)), sides.get((axis, 1))
        if near is None or far is None or far.place_mm - near.place_mm > WIDEST_MM:
            continue
        along = 1 - axis
        shared = min(near.box[along + 3], far.box[along + 3]) - max(near.box[along], far.box[along])
        if shared > 0 and top_mm - max(near.box[2], far.box[2]) >= _LEAST_GRIP_MM:
            yield near, far


def in_vise(trial: TrialHold, part: Body, near: PartSide, far: PartSide) -> Setup:
    """Return the set-up with the part between the jaws and nothing else.

    The bed reaches up to the foot of the part, as parallels would.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.
    part : Body
        The part.
    near : PartSide
        The side that the moving jaw presses on.
    far : PartSide
        The opposite side, at the greater coordinate, where the fixed jaw stands.

    Returns
    -------
    Setup
        With the cut over this part alone.
    """
    stated, box = trial.setup, box_of(trial.process.placed[part.name])
    top_mm = trial.process.floor_mm - BELOW_MM
    along = 1 - near.axis
    middle = 0.5 * (box[along] + box[along + 3])
    origin = (far.place_mm, middle, box[2]) if near.axis == 0 else (middle, far.place_mm, box[2])
    # Drawn, the jaws open along Y with the fixed one at the back; a quarter turn puts it at +X.
    at = place(at=origin, rotate=[("z", -90.0)] if near.axis == 0 else [])
    name = _new_name(trial, "vise")
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
        name="screw", kind=ClampKind.VISE, body=vise[1].name, face="moving_jaw", torque_nm=TORQUES_NM[0]
    )
    was = stated.holding or Holding(least_factor=trial.least_factor)
    holding = Holding(
        friction="ground_steel",
        mu=was.mu,
        clamps=(screw,),
        grinds_as={k: v for k, v in was.grinds_as.items() if k == part.name},
        abrasive=was.abrasive,
        least_factor=was.least_factor,
    )
    machine = replace(stated.machine, table_z_mm=min(stated.table_z_mm, box[2] - 32.0))
    return trial.process.alone_in(
        Setup(
            name=f"{part.name} in a vise",
            bodies=(*vise, part),
            machine=machine,
            wheel=stated.wheel,
            tolerances=stated.tolerances,
            holding=holding,
            units=stated.units,
        )
    )


def remedies_of(trial: TrialHold) -> tuple[tuple[Remedy, ...], tuple[RemedyUnknown, ...]]:
    """Return every change that brings the factor back, the smallest first.

    Another way of holding is looked for only where no change is enough.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Returns
    -------
    remedies : tuple of Remedy
    untried : tuple of RemedyUnknown
        What could not be computed, and why.
    """
    changes: Mapping[RemedySearch, Change] = {
        RemedySearch.LIGHTER_CUT: lighter_cut,
        RemedySearch.CLAMPS: tighter_clamps,
        RemedySearch.ANOTHER_WAY: cut_another_way,
        RemedySearch.FASTENED: fastened,
        RemedySearch.STOP: stopped,
        RemedySearch.PLACE: partial(over_poles, lighter=lighter_cut),
        RemedySearch.SEAT: larger_seat,
        RemedySearch.MAGNET: more_magnet,
        RemedySearch.FINISH: finer_seat,
        RemedySearch.DRY: dried,
    }
    untried: list[RemedyUnknown] = []
    found: list[Remedy] = []
    try:
        for search, change in changes.items():
            found += _tried(search, change, trial, untried)
        if not found:
            found = _tried(RemedySearch.VISE, between_jaws, trial, untried)
    except SpentError as reason:
        untried.append(RemedyUnknown(part=trial.part.part, cut=trial.part.cut, reason=str(reason)))
    return tuple(sorted(found, key=lambda r: (r.change_ratio, r.kind))), tuple(untried)


def _tried(
    search: RemedySearch, change: Change, trial: TrialHold, untried: list[RemedyUnknown]
) -> list[Remedy]:
    """Return what a change gives; one that cannot be computed cures nothing and says why."""
    try:
        return list(change(trial))
    except SpentError:
        raise
    except (NotComputedError, KernelError, SetupError) as reason:
        part = trial.part
        untried.append(RemedyUnknown(part=part.part, cut=part.cut, reason=str(reason), search=search))
        return []


def lighter_cut(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the heaviest cut that is held, by each of its numbers alone, on whole steps.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        One for each number of the cut that is enough alone.
    """
    for one in trial.process.lighter():
        found = trial.least(
            _cut_at(trial, one),
            now=one.step_mm * -(-one.now_mm // one.step_mm),
            most=one.least_mm,
            step=one.step_mm,
        )
        if found is not None:
            to_mm, factor = found
            amount = Amount(now=one.now_mm, to=to_mm, unit="mm")
            yield trial.remedy(one.kind, factor, one.now_mm / to_mm, amounts=(amount,))


def _cut_at(trial: TrialHold, lighter: Lighter) -> Callable[[float], Changed]:
    return lambda value: trial.changed(process=lighter.at(value))


def cut_another_way(trial: TrialHold) -> Iterator[Remedy]:
    """Look at the cut fed or milled another way: the first of each that is held.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        At most one of each kind.
    """
    done: set[RemedyKind] = set()
    for kind, names, process in trial.process.turned():
        factor = trial.changed(process=process).factor(trial.least_factor) if kind not in done else 0.0
        if factor >= trial.least_factor:
            done.add(kind)
            yield trial.remedy(kind, factor, _TURNED, names=names)


def tighter_clamps(trial: TrialHold) -> Iterator[Remedy]:
    """Look for the factor by which all clamps together must press harder.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        One, or none where there is no clamp or no factor tried is enough.
    """
    setup = trial.setup
    if not setup.clamps:
        return

    def at(ratio: float) -> Changed:
        harder = pressed(tightened(setup, ratio), trial.process.placed)
        return trial.changed(rig=replace(trial.rig, clamps=harder))

    found = trial.least(at, now=1.0, most=MOST_CLAMP_RATIO, step=CLAMP_STEP)
    if found is not None:
        ratio, factor = found
        amounts = tightened_amounts(setup.clamps, ratio)
        yield trial.remedy(RemedyKind.CLAMPS, factor, ratio, amounts=amounts)


def tightened(setup: Setup, ratio: float) -> Setup:
    """Return a set-up with the press of every clamp multiplied by a factor.

    Parameters
    ----------
    setup : Setup
        States the clamps.
    ratio : float
        The factor.

    Returns
    -------
    Setup
        The rest as stated.
    """
    holding = setup.holding or Holding()
    return replace(
        setup, holding=replace(holding, clamps=tuple(_times_as_hard(c, ratio) for c in holding.clamps))
    )


def _times_as_hard(clamp: Clamp, ratio: float) -> Clamp:
    if clamp.force_n is not None:
        return replace(clamp, force_n=ratio * clamp.force_n)
    return replace(clamp, torque_nm=ratio * (clamp.torque_nm or 0.0))


def tightened_amounts(clamps: Sequence[Clamp], ratio: float) -> tuple[Amount, ...]:
    """Return the stated press of each clamp, and that press multiplied by a factor.

    Parameters
    ----------
    clamps : sequence of Clamp
        As stated.
    ratio : float
        The factor.

    Returns
    -------
    tuple of Amount
        Force in N, or torque in N m where no force is stated.
    """
    stated = (
        (c.name, c.torque_nm or 0.0, "N m") if c.force_n is None else (c.name, c.force_n, "N") for c in clamps
    )
    return tuple(Amount(name=name, now=now, to=ratio * now, unit=unit) for name, now, unit in stated)


def dried(trial: TrialHold) -> Iterator[Remedy]:
    """Look at what the contacts hold without their film of coolant.

    Parameters
    ----------
    trial : TrialHold
        The part that does not hold as stated.

    Yields
    ------
    Remedy
        One, or none where no coolant is used, where the film changes nothing or where dry is not enough.
    """
    setup = trial.setup
    if setup.holding is None or not trial.rig.wet:
        return
    wet, dry = trial.rig.friction, friction_of(replace(setup, holding=replace(setup.holding, coolant=False)))
    if dry.general == wet.general:
        return
    factor = trial.changed(rig=replace(trial.rig, friction=dry, wet=False)).factor(trial.least_factor)
    if factor >= trial.least_factor:
        ends = zip((wet.general.low, wet.general.high), (dry.general.low, dry.general.high), strict=True)
        amounts = tuple(Amount(now=now, to=to, unit="") for now, to in ends)
        yield trial.remedy(RemedyKind.DRY, factor, _DRY, amounts=amounts)
