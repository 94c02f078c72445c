"""What is doubtful in a set-up that can be checked: values that look wrong, and defaults that were used."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.faceref import FaceRef
from fixturecheck.fields import allowed_in, own_fields
from fixturecheck.kernel.brep.topology import faces_of, one_of_each
from fixturecheck.kernel.measure import box_of, flat_of
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.result import Assumed
from fixturecheck.result.finding import Finding, Kind, Verdict, judge
from fixturecheck.result.hold import ClampKind, MagnetState
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.dials import Dials
from fixturecheck.setup.document import guessed_rows
from fixturecheck.setup.holding import ASSUMED_PULL_N_CM2, SOURCE_GAP_PITCHES, Holding
from fixturecheck.setup.model import Body, Cut, Setup
from fixturecheck.setup.records import BodyRole, CutWay
from fixturecheck.setup.validate import TABLE_MM
from fixturecheck.shop import tables
from fixturecheck.shop.wheels import speed_limit
from fixturecheck.units import INCH_MM, metric_unit

LARGE_MM = 2000.0
SMALL_MM = 0.1
"""A body larger or smaller than this all over was probably read in the wrong units."""

WIDE_SHARE = 0.25
"""A tolerance zone wider than this share of the thinnest extent of its body was probably not meant."""


PLAIN_STEEL = "steel_1018"
"""Friction stated for all contacts was probably not meant for a material that is slipperier than this."""


def suspicions(setup: Setup) -> tuple[Finding, ...]:
    """Return a caution for each thing that can be checked but was probably not meant so.

    Parameters
    ----------
    setup : Setup
        As it is stated.

    Returns
    -------
    tuple of Finding
        Cautions about sizes, units, heights, passes, seats, zones, friction and pull, in this order.
    """
    return tuple(
        itertools.chain(
            _sizes(setup),
            _no_units(setup),
            _other_unit(setup),
            _below_table(setup),
            _coarse_passes(setup),
            _seats_of_nothing(setup),
            _zones(setup),
            _rough(setup),
            _not_pulled(setup),
        )
    )


_doubt = partial(judge, check="describe", verdict=Verdict.CAUTION, source="common practice, no source")
"""Return a caution about what was stated."""


def _sizes(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each body whose size says that it was read in the wrong units."""
    for body, sizes_mm in _spans(setup):
        size_mm = max(sizes_mm)
        if SMALL_MM <= size_mm <= LARGE_MM:
            continue
        large = size_mm > LARGE_MM
        limit_mm = LARGE_MM if large else SMALL_MM
        shape = NamedShape(
            name=body.name,
            role=Role.PART if body.role == BodyRole.PART else Role.FIXTURE,
            geometry=placed_at(body.solid, body.at),
            bodies=(body.name,),
        )
        yield _doubt(
            size_mm,
            unit="mm",
            at_most=limit_mm if large else None,
            at_least=None if large else limit_mm,
            kind=Kind.SIZE,
            about=(body.name,),
            says=f"Body {body.name} is {setup.write.length(size_mm)} over its longest side, "
            f"{'more' if large else 'less'} than {setup.write.length(limit_mm, 'g')}: "
            "was it drawn or exported in other units?",
            shapes=(shape,),
        )


def _spans(setup: Setup) -> Iterator[tuple[Body, tuple[float, float, float]]]:
    """Yield every body with its size along its own axes; copies are measured once."""
    shapes = [b.solid for b in setup.bodies]
    spans: dict[int, tuple[float, float, float]] = {}
    for body, i in zip(setup.bodies, one_of_each(shapes), strict=True):
        if i not in spans:
            box = box_of(shapes[i])
            spans[i] = (box[3] - box[0], box[4] - box[1], box[5] - box[2])
        yield body, spans[i]


def _no_units(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each part file that states no unit of length."""
    files: dict[str, list[tuple[Body, float]]] = {}
    for body, spans_mm in _spans(setup):
        if not body.says_unit and body.source is not None:
            files.setdefault(body.source.path, []).append((body, max(spans_mm)))
    for path, bodies in files.items():
        body, size_mm = bodies[0]
        yield _doubt(
            size_mm,
            kind=Kind.NO_UNIT,
            says=f"{Path(path).name} states no unit of length, and its numbers were taken for mm: "
            f"{body.name} is "
            f"then {setup.write.length(size_mm)} over its longest side. Export it again with its unit.",
            about=(body.name,),
            unit="mm",
        )


_MEETS_MM, _APART_MM = 0.01, 1.0
"""What meets when its places are read in the other unit, and what does not as they were read."""


def _other_unit(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each part whose flat seats all meet once the places are read in the other unit."""
    factor, other = (1.0 / INCH_MM, "mm") if setup.units == "inch" else (INCH_MM, "inches")
    flat = cache(partial(_flat_face, setup))
    for part in setup.parts():
        gaps = [(s, _apart_mm(flat(s.own), flat(s.other))) for s in setup.seats if s.body == part.name]
        known = [(s, drawn + placed, drawn + factor * placed) for s, (drawn, placed) in gaps]
        # Without a flat face it is not a number, and meets nothing.
        if not known or not all(abs(read) <= _MEETS_MM for _, _, read in known):
            continue
        seat, most, _ = max(known, key=lambda one: abs(one[1]))
        stands = "off" if abs(most) > _APART_MM else "beside"
        if stands == "beside":
            beside = [(_beside_mm(flat(s.own), flat(s.other), 1.0), s) for s, *_ in known]
            most, seat = max(beside, key=lambda one: one[0])
            read = max(_beside_mm(flat(s.own), flat(s.other), factor) for s, *_ in known)
            if most <= _APART_MM or read > _MEETS_MM:
                continue
        yield _doubt(
            abs(most),
            kind=Kind.OTHER_UNIT,
            says=f"{seat.own} stands {setup.write.length(abs(most))} {stands} {seat.other}. Were the places "
            f"stated in {other}, a factor of 25.4, all seats of {part.name} would meet: is "
            f'units = "{setup.units}" meant?',
            about=(part.name,),
            unit="mm",
        )


_FlatFace = tuple[Floats, Floats, Floats, Floats]
"""Centre and normal (3,) of a face turned as its body stands, the body's shift (3,), and a box (2, 3), mm."""


def _flat_face(setup: Setup, ref: FaceRef) -> _FlatFace | None:
    """Return a flat face turned as its body stands but not shifted with it, and that shift.

    None where the face is not one flat face.
    """
    body = setup.body(ref.body)
    faces = faces_of(body.solid)
    flats = [flat_of(faces[i]) for i in body.face_indices(ref.face)]
    if len(flats) != 1 or flats[0] is None:
        return None
    matrix = matrix_of(body.at)
    centre, normal = (matrix[:3, :3] @ np.array(v) for v in flats[0])
    box = np.array(box_of(placed_at(faces[body.face_indices(ref.face)[0]], body.at))).reshape(2, 3)
    return centre, normal, matrix[:3, 3], box - matrix[:3, 3]


def _apart_mm(own: _FlatFace | None, other: _FlatFace | None) -> tuple[float, float]:
    """Return how far two faces stand apart as drawn at one origin, and by their places; nan if not flat."""
    if own is None or other is None:
        return math.nan, math.nan
    return float(other[1] @ (own[0] - other[0])), float(other[1] @ (own[2] - other[2]))


def _beside_mm(own: _FlatFace | None, other: _FlatFace | None, factor: float) -> float:
    """Return how far the boxes of two faces stand apart with their shifts scaled; infinite if not flat."""
    if own is None or other is None:
        return math.inf
    first, second = own[3] + factor * own[2], other[3] + factor * other[2]
    return float(np.max(np.maximum(first[0] - second[1], second[0] - first[1]), initial=0.0))


def _below_table(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each part that reaches below the table where its height is stated."""
    table_mm, write = setup.machine.table_z_mm, setup.write
    for body in setup.parts() if table_mm is not None else ():
        low_mm = box_of(placed_at(body.solid, body.at))[2]
        if table_mm is not None and low_mm < table_mm - TABLE_MM:
            yield _doubt(
                low_mm,
                kind=Kind.BELOW_TABLE,
                says=f"{body.name} reaches {write.length(table_mm - low_mm)} below the table, which is "
                "stated at "
                f"z = {write.length(table_mm)}: is that height right?",
                about=(body.name,),
                at_least=table_mm,
                unit="mm",
            )


def _coarse_passes(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each cut whose one pass is deeper than all that there is to grind."""
    write = setup.write
    for cut in setup.cuts:
        if cut.downfeed_mm > cut.stock_mm > 0.0:
            yield _doubt(
                cut.downfeed_mm,
                kind=Kind.DEEP_CUT,
                says=f"One pass of {cut.name} is stated as {write.length(cut.downfeed_mm, 'g')} deep, more "
                "than "
                f"the {write.length(cut.stock_mm, 'g')} of stock; the cutting force is that of such a pass.",
                cut=cut.name,
                at_most=cut.stock_mm,
                unit="mm",
            )


def _seats_of_nothing(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each seat that counts as closed whatever area touches."""
    for seat in setup.seats:
        if seat.min_share == 0.0:
            name = f"{seat.body}.{seat.face}"
            yield _doubt(
                0.0,
                kind=Kind.NO_LEAST_SHARE,
                says=f"The seat of {name} on {seat.on}.{seat.on_face} states min_share = 0, so that a point "
                "would "
                "do; state the share of the face that must touch.",
                about=(seat.own, seat.other),
                unit="share",
            )


def _zones(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each body with a tolerance zone wider than the body is thin."""
    for body, spans_mm in _spans(setup):
        widest = max(body.tolerance_mm, key=body.tolerance_mm.__getitem__, default=None)
        if widest is not None and body.tolerance_mm[widest] > WIDE_SHARE * min(spans_mm):
            zone, thin = (setup.write.length(v) for v in (body.tolerance_mm[widest], min(spans_mm)))
            what = "its faces" if widest == "*" else f"its face {widest}"
            yield _doubt(
                body.tolerance_mm[widest],
                kind=Kind.WIDE_ZONE,
                says=f"{body.name} is {thin} where it is thinnest, and the tolerance of {what} is {zone}: "
                "is that "
                "the zone that was meant?",
                about=(body.name,),
                at_most=WIDE_SHARE * min(spans_mm),
                unit="mm",
            )


def _rough(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each material that is slipperier than all contacts are stated to be."""
    holding = setup.holding
    if holding is None or not holding.mu:
        return
    usual = min(holding.mu[0], tables.material(PLAIN_STEEL).friction_on_steel[0])
    for name in sorted({b.material for b in setup.bodies}):
        low = tables.material(name).friction_on_steel[0]
        if low < usual:
            yield _doubt(
                holding.mu[0],
                kind=Kind.SLIPPERY,
                says=f"Friction is stated as at least {holding.mu[0]:g} for all contacts, though {name} has "
                f"{low:g} on steel: state less unless it was measured.",
                named=name,
                at_most=low,
                unit="",
            )


def _not_pulled(setup: Setup) -> Iterator[Finding]:
    """Yield a caution for each part that the magnet cannot pull where no clamp is stated either."""
    holding = setup.holding
    if holding is None or holding.magnet == MagnetState.OFF or holding.clamps or not setup.poles():
        return
    for body in setup.parts():
        if not tables.material(body.material).magnetic:
            yield _doubt(
                0.0,
                kind=Kind.NOT_MAGNETIC,
                says=f"{body.name} is of {body.material}, which no magnet pulls, and no clamp is stated: "
                "only its weight and what stands round it keep it in place. Block it in on all sides with "
                "steel that the magnet holds and that stands nearly as high as the floor, or hold it in a "
                "vise.",
                about=(body.name,),
                unit="N",
            )


_HAND = "a light hand, a quarter of what seats the part"
_CENTRE = "its centre"
_FLUTES = "what cutters are sold with"
_OF_DRILLS_LOAD = frozenset({"feed_mm", "cuts_as"})
_ANY_CLAMP = ("down_deg", "screw_mm", "thread", "screw_to_heel_mm", "screw_to_part_mm")


def assumed(setup: Setup) -> tuple[Assumed, ...]:
    """Return what is guessed or was used without being stated; like values of like things are listed once.

    Parameters
    ----------
    setup : Setup
        As it is stated.

    Returns
    -------
    tuple of Assumed
        What is marked as guessed first, then the rest, each in the order of the tables of a set-up.
    """
    found: dict[tuple[str, object, str, bool], list[str]] = {}
    rows: dict[tuple[str, object, str, bool], Assumed] = {}
    for row in (*guessed_rows(setup.guessed), *_rows(setup)):
        key = (row.key, row.value, row.hangs_on, row.guessed)
        rows.setdefault(key, row)
        found.setdefault(key, []).append(row.of)
    return tuple(replace(rows[key], of=_listed(owners)) for key, owners in found.items())


def _rows(setup: Setup) -> Iterator[Assumed]:
    if setup.cuts:
        yield from _machine(setup)
    yield from _records(setup)
    if setup.holding is not None or setup.staging is not None:
        yield from _materials(setup)
    with tables.among_ours(setup.own):
        yield from list(_curves(setup))
    for body in setup.bodies:
        for key, value in body.shop_sizes.items():
            hangs_on = "where its faces stand, and how a magnet or jaw holds with it"
            yield Assumed(
                of=f"equipment {body.group}",
                key=key,
                value=value,
                unit=metric_unit(key),
                hangs_on=hangs_on,
                aside=True,
            )


def _machine(setup: Setup) -> Iterator[Assumed]:
    """Yield what was assumed of the machine and the wheel, which only grinding asks for."""
    machine = setup.machine
    skips = ("rpm",) if all(c.rpm is not None for c in setup.cuts) else ()
    yield from _defaults("machine", machine, skips=skips, instead={"table_z_mm": round(setup.table_z_mm, 6)})
    yield from _defaults("machine.flange", machine.flange)
    if machine.downfeed is not None:
        yield from _defaults("dials", setup.dials or Dials())
    if machine.guard is not None:
        yield from _defaults("machine.guard", machine.guard)
    try:
        marked: object = round(speed_limit(setup.wheel).speed_m_s, 3)
    except (NotComputedError, SetupError):
        marked = "not known"
    # A marked wheel needs no table, and so nothing of what it is made of.
    skips = ("spec",) if setup.wheel.max_speed_m_s is not None else ()
    yield from _defaults("wheel", setup.wheel, skips=skips, instead={"max_speed_m_s": marked})


def _records(setup: Setup) -> Iterator[Assumed]:
    """Yield every other record whose defaults may have been used."""
    for seat in setup.seats:
        yield from _defaults(f"seat {seat.body}.{seat.face}", seat, aside=True)
    for cut in setup.cuts:
        yield from _cut(setup, cut)
    for transfer in setup.transfers:
        plain = ("block_error_mm", "block_square_mm") if transfer.block_mm is None else ()
        yield from _defaults(f"transfer {transfer.name}", transfer, skips=plain)
    for one in setup.over_rolls:
        yield from _defaults(f"over_rolls {one.name}", one)
    if setup.staging is not None:
        skips = () if any(b.tolerance_mm for b in setup.bodies) else ("draws",)
        yield from _defaults("staging", setup.staging, skips=skips)
        for name, push in setup.staging.push.items():
            yield from _defaults(f"staging.push.{name}", push, instead={"force_n": _HAND, "at_mm": _CENTRE})
    if setup.holding is not None:
        yield from _holding(setup, setup.holding)
    yield from _defaults("tolerances", setup.tolerances, aside=True)


def _cut(setup: Setup, cut: Cut) -> Iterator[Assumed]:
    feed_mm = min(cut.downfeed_mm, cut.wall_stock_mm)
    skips = ["rpm"]
    skips += ["cross_feed_mm"] if cut.way == CutWay.PLUNGE else []
    skips += ["wall_stock_mm"] if cut.wall is None else []
    skips += ["wall_feed_mm"] if cut.wall is None or feed_mm == 0.0 else []
    skips += ["table_speed_m_min", "downfeed_mm", "wall_feed_mm"] if setup.holding is None else []
    yield from _defaults(f"cut {cut.name}", cut, skips=skips, instead={"wall_feed_mm": feed_mm})


def _holding(setup: Setup, holding: Holding) -> Iterator[Assumed]:
    off = holding.magnet == MagnetState.OFF
    skips = ["rated_pull_n_cm2", "residual_share", "rating_piece_mm", "rating_finish"] if off else []
    skips += ["source_gap_mm"] if off or holding.shim_mm is not None or holding.calibrated else []
    skips += ["rating_piece_mm", "rating_finish", "rated_pull_n_cm2"] if holding.source_mmf_a else []
    skips += ["trifle_share"] if holding.magnet != MagnetState.TRIFLE else []
    skips += ["friction"] if holding.mu else []
    skips += ["abrasive"] if not setup.cuts else []
    low, high = SOURCE_GAP_PITCHES
    instead = {
        "rated_pull_n_cm2": ASSUMED_PULL_N_CM2,
        "rating_piece_mm": "four distances between poles square, or as far as they reach",
        "source_gap_mm": f"{low:g} to {high:g} of the distance between poles",
    }
    yield from _defaults("holding", holding, skips=skips, instead=instead)
    for clamp in holding.clamps:
        used = {ClampKind.TOE: ("down_deg",), ClampKind.STRAP: ("screw_to_heel_mm", "screw_to_part_mm")}.get(
            ClampKind(clamp.kind), ()
        )
        used += ("screw_mm", "thread") if clamp.torque_nm is not None else ()
        unused = tuple(f for f in _ANY_CLAMP if f not in used)
        yield from _defaults(f"clamp {clamp.name}", clamp, skips=unused)
    for mill in holding.milling:
        yield from _defaults(f"mill {mill.name}", mill, instead={"helix_deg": _FLUTES})
    for drill in setup.drills:
        unused = tuple(f.name for f in own_fields(type(drill)) if f.name not in _OF_DRILLS_LOAD)
        usual = "what handbooks give for its diameter"
        yield from _defaults(f"drill {drill.name}", drill, skips=unused, instead={"feed_mm": usual})


def _materials(setup: Setup) -> Iterator[Assumed]:
    """Yield the material of each body that states none."""
    for body in setup.bodies:
        if body.group is None and "material" not in body.stated:
            hangs_on = "its weight, how a magnet holds it, friction, the cutting force"
            yield Assumed(
                of=f"body {body.name}", key="material", value=body.material, unit="", hangs_on=hangs_on
            )


def _curves(setup: Setup) -> Iterator[Assumed]:
    """Yield the curves between which a magnetic material without one was taken."""
    holding = setup.holding
    if holding is None or holding.magnet == MagnetState.OFF:
        return
    for name in dict.fromkeys(b.material for b in setup.bodies):
        between = tables.material(name).between
        if between and name not in holding.curves_between:
            yield Assumed(
                of="holding.curves_between",
                key=name,
                value=" and ".join(between),
                unit="",
                hangs_on="every pull on it, and so the hold",
            )


def _defaults(
    of: str,
    record: Any,
    *,
    skips: Collection[str] = (),
    instead: Mapping[str, Any] = MappingProxyType({}),
    aside: bool = False,
) -> Iterator[Assumed]:
    """Yield the defaults of a record that were used and not stated.

    Parameters
    ----------
    skips : collection of str
        Fields that play no part here.
    instead : mapping of str to object
        What is used in place of a field that is None or empty.
    aside : bool
        As in `Assumed`.
    """
    for key in own_fields(type(record)):
        rule = allowed_in(key)
        if key.name in record.stated or key.name in skips or rule is None or not rule.matters:
            continue
        value = getattr(record, key.name)
        value = instead.get(key.name) if value is None or value == () else value
        if value is None:
            continue
        if isinstance(value, tuple):
            value = ", ".join(f"{v:g}" for v in value)
        yield Assumed(
            of=of,
            key=key.name,
            value=value,
            unit="" if isinstance(value, str) else metric_unit(key.name),
            hangs_on=rule.matters,
            aside=aside,
        )


def _listed(owners: list[str]) -> str:
    """Name up to four owners, and count the rest."""
    unique = list(dict.fromkeys(owners))
    more = f" and {len(unique) - 4} more" if len(unique) > 4 else ""
    return ", ".join(unique[:4]) + more
